package dialog

import (
	"slices"
	"strings"
	"time"

	"cobline/calc"
	"cobline/locales"
)

const topicWeather = "weather"

// weatherTopic tells the coming days for drying and for lighting.
var weatherTopic = topic{key: topicWeather, next: (*turn).askNothing, answer: (*turn).weather}

// daysSaid is how many coming days one message holds.
const daysSaid = 4

// forecast returns the forecast of the place while it is fresh, or nil: an old
// one is not fair weather.
func (t *turn) forecast() *calc.Forecast {
	f := t.place.Forecast
	if f == nil || f.Freshness(t.w.Now) != calc.Fresh {
		return nil
	}
	return f
}

// age says that there is no forecast, or none since a day, and what then holds;
// nothing if there is a fresh one.
func (t *turn) age() string {
	switch f := t.place.Forecast; {
	case f == nil:
		return t.text("weather.none", nil)
	case t.forecast() == nil:
		return t.text("weather.none-since", locales.Args{"Day": t.day(f.Issued)})
	}
	return ""
}

// day names the day of the week.
func (t *turn) day(at time.Time) string {
	return t.text(locales.ID("day."+strings.ToLower(at.In(t.place.Zone).Weekday().String()[:3])), nil)
}

// outlook returns the coming days that a fresh forecast still holds.
func (t *turn) outlook() []calc.OutlookDay {
	if t.forecast() == nil {
		return nil
	}
	return t.ahead()
}

// ahead returns the coming days of the forecast, however old it is.
func (t *turn) ahead() []calc.OutlookDay {
	today := midnight(t.now)
	for i, d := range t.place.Outlook {
		if !d.Date.Before(today) {
			return t.place.Outlook[i:]
		}
	}
	return nil
}

// warnedDays returns the coming days as far as their warnings hold. What an old
// forecast warned of may be true still; its fair days say nothing.
func (t *turn) warnedDays() []calc.OutlookDay {
	if f := t.place.Forecast; f != nil && f.Freshness(t.w.Now) == calc.Old {
		return t.ahead()
	}
	return t.outlook()
}

// mayLight returns the first day from one on, of those that hold warnings, on
// which a drum may be lit; the day itself where nothing warns.
func (t *turn) mayLight(from time.Time) (day time.Time, ok bool) {
	day = midnight(from)
	for _, d := range t.warnedDays() {
		switch {
		case d.Date.Before(day):
		case d.Date.After(day) || d.Fire.Level != calc.DoNotLightToday:
			return day, true // nothing is known of that day, or nothing against it
		default:
			day = midnight(day.Add(30 * time.Hour))
		}
	}
	return day, day.Equal(midnight(from))
}

// fitToday reports whether no forecast warns of lighting today.
func (t *turn) fitToday() bool {
	day, _ := t.mayLight(t.now)
	return day.Equal(midnight(t.now))
}

// dayLine is what is said of one day: a message with the day, and perhaps a
// time of the day.
type dayLine struct {
	id   locales.ID
	time string
	date time.Time
}

// dayLines joins what is said of some days; three or more alike become one.
func (t *turn) dayLines(days []dayLine) string {
	var lines []string
	for i := 0; i < len(days); {
		last := i
		for last+1 < len(days) && days[last+1].id == days[i].id && days[last+1].time == days[i].time {
			last++
		}
		name := t.day(days[i].date)
		if last > i+1 {
			name = t.text("measure.range", locales.Args{"Low": name, "High": t.day(days[last].date)})
		} else {
			last = i
		}
		lines = append(lines, t.text(days[i].id, locales.Args{"Day": name, "Time": days[i].time}))
		i = last + 1
	}
	return strings.Join(lines, ", ")
}

// wetDay is the rain that makes a day a wet one.
const wetDay calc.Millimetre = 1

// weather says what each coming day is good for. Wind and rain bring their
// cautions with them.
func (t *turn) weather(*Frame) {
	days := t.outlook()
	if len(days) == 0 {
		none := t.text("weather.none", nil)
		if t.forecast() == nil {
			none = t.age()
		}
		t.add(Reply{Key: "weather.none", Text: none, Urgency: Answer})
		t.lighting(t.warnedDays())
		t.appendText("change.place", "next.weather")
		return
	}
	lines, rain := t.sky(days)
	t.say2("weather.days", locales.Args{"Place": t.place.Name, "Lines": lines})
	if rain && t.burning() {
		t.say("burn.rain", Answer, nil)
	}
	t.lighting(days)
	t.appendText("change.place", "next.weather")
}

// sky is what is said of the coming days, and whether it rains today or
// tomorrow.
func (t *turn) sky(days []calc.OutlookDay) (said string, rain bool) {
	var lines []dayLine
	for i, d := range days[:min(daysSaid, len(days))] {
		id, at := locales.ID("weather.dry"), ""
		switch wet := d.Rain >= wetDay || !d.RainFrom.IsZero(); {
		case wet && d.Action == calc.PutOutUntil && !d.RainFrom.IsZero():
			id, at = "weather.rain", t.clock(d.RainFrom)
		case wet && d.Action == calc.KeepCovered:
			id = "weather.wet"
		case d.Action == calc.KeepCovered, d.Cautions&calc.DampSpell != 0:
			id = "weather.damp"
		}
		rain = rain || i < 2 && (id == "weather.rain" || id == "weather.wet")
		lines = append(lines, dayLine{id, at, d.Date})
	}
	return t.dayLines(lines), rain
}

// lighting says on which of the coming days no drum is lit, else what care
// lighting takes. Without a forecast the warnings of authorities still hold.
func (t *turn) lighting(days []calc.OutlookDay) {
	var still []string
	care := false
	for i := range daysSaid {
		date, level := midnight(t.now).AddDate(0, 0, i), calc.OrdinaryCare
		if i < len(days) {
			date, level = days[i].Date, days[i].Fire.Level
		}
		warned := slices.ContainsFunc(t.place.NoFire, func(s Span) bool {
			return s.From.Before(date.AddDate(0, 0, 1)) && s.Until.After(date) && s.Until.After(t.w.Now)
		})
		if warned || level == calc.DoNotLightToday {
			still = append(still, t.day(date))
		}
		care = care || level == calc.ExtraCare
	}
	no := strings.Join(still, ", ")
	if len(still) == daysSaid {
		no = t.text("measure.range", locales.Args{"Low": still[0], "High": still[len(still)-1]})
	}
	switch {
	case len(still) > 0:
		t.say("weather.no-light", Answer, locales.Args{"Days": no})
	case care:
		t.say("weather.care", Answer, nil)
	default:
		t.say("weather.light", Answer, nil)
	}
}
