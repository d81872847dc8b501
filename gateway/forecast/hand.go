package forecast

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"cobline/calc"
	"cobline/dialog"
)

// ByHand is a day of weather as a person types it, from the radio or a phone.
// What is nil or empty they did not say.
type ByHand struct {
	Date      time.Time // any moment of the day
	Low, High *float64  // degrees Celsius
	Rain      *float64  // mm
	RainHour  *int      // the clock hour at which it begins, 0 to 23
	Wind      string    // one of Winds
	Sky       string    // one of Skies
}

// Winds are the words for wind, each with what is taken for it in m/s, ten
// metres above the ground, and its gusts: what the Beaufort scale says of leaves
// (2), small branches (4) and whole trees (6 to 7).
var winds = map[string]struct{ wind, gust calc.MetrePerSecond }{
	"calm":   {1, 2},
	"light":  {2.5, 5},
	"fresh":  {6.5, 9.5},
	"strong": {12, 17},
}

// skiesByHand are the words for the sky, each with its weather code.
var skiesByHand = map[string]int{"clear": 0, "some-cloud": 2, "overcast": 3, "drizzle": 51, "rain": 61, "showers": 80, "thunder": 95}

// Winds returns the words for wind, the weakest first.
func Winds() []string {
	return slices.SortedFunc(maps.Keys(winds), func(a, b string) int { return int(10 * (winds[a].wind - winds[b].wind)) })
}

// Skies returns the words for the sky, the fairest first.
func Skies() []string {
	return slices.SortedFunc(maps.Keys(skiesByHand), func(a, b string) int { return skiesByHand[a] - skiesByHand[b] })
}

// hoursOfRain is how long rain lasts whose beginning alone is known. Common
// practice.
const hoursOfRain = 3

// Typed makes a forecast of what a person typed, issued now.
func Typed(days []ByHand, place dialog.Place, now time.Time) (calc.ForecastInput, error) {
	in := calc.ForecastInput{Place: Site(place), Issued: now}
	for n, h := range days {
		d, err := h.day()
		if err != nil {
			return in, fmt.Errorf("day %d: %w", n+1, err)
		}
		in.Days = append(in.Days, d)
	}
	return in, check(in, now)
}

func (h ByHand) day() (calc.Day, error) {
	d := calc.Day{Date: h.Date}
	if h.High != nil {
		d.Max = new(calc.Celsius(*h.High))
	}
	if h.Low != nil {
		d.Min = new(calc.Celsius(*h.Low))
	}
	if h.Rain != nil {
		d.Rain = new(calc.Millimetre(*h.Rain))
	}
	if h.RainHour != nil {
		switch {
		case *h.RainHour < 0 || *h.RainHour > 23:
			return d, calc.OutOfRange{What: "hour of the rain", Got: float64(*h.RainHour), Low: 0, High: 23}
		case h.Rain == nil || *h.Rain <= 0:
			return d, fmt.Errorf("the rain has an hour, but no mm: 1 is a little, 5 is a lot")
		}
		d.RainByHour = make([]calc.Millimetre, 24)
		last := min(*h.RainHour+hoursOfRain, 24)
		for hour := *h.RainHour; hour < last; hour++ {
			d.RainByHour[hour] = *d.Rain / calc.Millimetre(last-*h.RainHour)
		}
	}
	if h.Wind != "" {
		w, ok := winds[h.Wind]
		if !ok {
			return d, fmt.Errorf("there is no wind %q; there are %s", h.Wind, strings.Join(Winds(), ", "))
		}
		d.Wind, d.Gust = &w.wind, &w.gust
	}
	if h.Sky != "" {
		code, ok := skiesByHand[h.Sky]
		if !ok {
			return d, fmt.Errorf("there is no sky %q; there are %s", h.Sky, strings.Join(Skies(), ", "))
		}
		d.Code = &code
	}
	return d, nil
}
