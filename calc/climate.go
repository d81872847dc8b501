package calc

import (
	"math"
	"time"
)

// Month is the climate of one month at a place.
type Month struct {
	Typical Day        // a typical day; its date and rain do not count
	Rain    Millimetre // of the whole month
	WetDays Count      // days with rain; zero: none
}

// Climate is a place's January to December.
type Climate [12]Month

// on is the climate as a day of forecast. The wet days of a month are spread
// evenly over it, each with its share of the rain, so that the dry days between
// them are not lost in a mean; which days those are is schematic.
func (c *Climate) on(date time.Time) Day {
	m := c[date.Month()-1]
	d := m.Typical
	d.Date, d.Rain, d.RainByHour = date, new(Millimetre(0)), nil
	length := float64(date.AddDate(0, 1, -date.Day()).Day())
	wet := min(float64(m.WetDays), length)
	until := func(day int) float64 { return math.Floor(float64(day) * wet / length) }
	if until(date.Day()) > until(date.Day()-1) {
		d.Rain = new(m.Rain / Millimetre(wet))
	}
	return d
}

// extend appends days of the climate up to the horizon.
func (f *Forecast) extend(in ForecastInput) error {
	next := in.Place.midnight(in.From)
	if in.From.IsZero() {
		next = in.Place.midnight(in.Issued)
	}
	if n := len(f.Days); n > 0 {
		next = f.Days[n-1].Date.AddDate(0, 0, 1)
	}
	for len(f.Days) < longestDrying {
		w, err := in.Climate.on(next).fill(in.Place, nil)
		if err != nil {
			return err
		}
		w.Filled |= DayFromClimate
		f.Days = append(f.Days, w)
		next = next.AddDate(0, 0, 1)
	}
	return nil
}

// horizon counts the days that come from the forecast itself.
func (f *Forecast) horizon() int {
	for i := range f.Days {
		if f.Days[i].Filled&DayFromClimate != 0 {
			return i
		}
	}
	return len(f.Days)
}
