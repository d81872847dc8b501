package forecast

import (
	"slices"
	"time"

	"cobline/calc"
	"cobline/dialog"
	"cobline/gateway"
)

// Draft is a notice about the weather, ready to be started by an officer who has
// read it: of a ready text, for one place, to those who reported something under
// way and those who probably have.
type Draft struct {
	Notice    gateway.Notice
	Place     dialog.Place
	Day       Day // on which the weather comes
	HourKnown bool
	Around    gateway.Around // whom it concerns; Reach tells the rings
	// Started is the id of a notice that was started about the same; empty if
	// there is none.
	Started string
}

const (
	// draftsAhead is how far ahead weather is worth a word. Common practice.
	draftsAhead = 36 * time.Hour
	// tooLate is how short before the hour a notice helps nobody any more.
	tooLate = 15 * time.Minute
	// sameWeather is how far apart the hours of two notices about the same rain
	// may be.
	sameWeather = 6 * time.Hour
)

// Clock hours that stand for weather whose hour no forecast tells: rain of all
// day and wind begin in the morning, wind falls before the evening, a night is
// cold from dusk on. Common practice.
const (
	morning   = 9
	windFalls = 16
	nightfall = 18
)

// Drafts returns the notices that the outlooks call for in the next 36 hours:
// rain, wind, a cold night; of each the next of a place. A forecast that is not
// fresh calls for none. sent are the notices on the Desk.
func Drafts(outlooks []Outlook, sent []gateway.Notice, now time.Time) []Draft {
	var drafts []Draft
	for _, o := range outlooks {
		if o.Freshness != calc.Fresh {
			continue
		}
		for _, ready := range []struct {
			name string
			hour func(o Outlook, d Day, now time.Time) (at time.Time, known bool)
		}{{"rain", rainHour}, {"wind", windHour}, {"cold", coldHour}} {
			for _, d := range o.Days {
				at, known := ready.hour(o, d, now)
				if at.Before(now.Add(tooLate)) || at.After(now.Add(draftsAhead)) {
					continue
				}
				drafts = append(drafts, Draft{
					Notice: gateway.Notice{
						Message:  dialog.Notice{Ready: ready.name, Hour: at, Expires: at, Weather: true},
						Audience: gateway.Audience{Places: []string{o.Place.Key}, Ring: dialog.RingLikely},
					},
					Place: o.Place, Day: d, HourKnown: known, Around: o.Around,
					Started: started(sent, ready.name, o.Place.Key, at),
				})
				break
			}
		}
	}
	slices.SortStableFunc(drafts, func(a, b Draft) int { return a.Notice.Message.Hour.Compare(b.Notice.Message.Hour) })
	return drafts
}

// rainHour is when the rain of a day begins. If its hour is not known it is that
// at which the rack comes in.
func rainHour(o Outlook, d Day, now time.Time) (time.Time, bool) {
	switch {
	case !d.Wet:
		return time.Time{}, false
	case !d.RainFrom.IsZero():
		return d.RainFrom, true
	case !d.In.IsZero():
		return d.In, false
	}
	return clock(o, d, morning, now), false
}

func windHour(o Outlook, d Day, now time.Time) (time.Time, bool) {
	if !d.Windy() {
		return time.Time{}, false
	}
	at := clock(o, d, morning, now)
	if at.Sub(d.Date) > windFalls*time.Hour {
		return time.Time{}, false
	}
	return at, false
}

func coldHour(o Outlook, d Day, now time.Time) (time.Time, bool) {
	if d.Cautions&calc.ColdNight == 0 {
		return time.Time{}, false
	}
	y, m, day := d.Date.Date()
	return time.Date(y, m, day, nightfall, 0, 0, 0, o.Place.Zone), true
}

// clock is a clock hour of a day, or the next full hour but one if it is past.
func clock(o Outlook, d Day, hour int, now time.Time) time.Time {
	y, m, day := d.Date.Date()
	at := time.Date(y, m, day, hour, 0, 0, 0, o.Place.Zone)
	for at.Before(now.Add(time.Hour)) {
		at = at.Add(time.Hour)
	}
	return at
}

// started returns the id of a notice that was started about the same weather.
func started(sent []gateway.Notice, ready, place string, at time.Time) string {
	for _, n := range slices.Backward(sent) {
		m := n.Message
		here := len(n.Audience.Places) == 0 || slices.Contains(n.Audience.Places, place)
		if m.Ready == ready && here && n.Progress != gateway.Cancelled && m.Hour.Sub(at).Abs() <= sameWeather {
			return m.ID
		}
	}
	return ""
}
