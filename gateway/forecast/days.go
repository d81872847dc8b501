package forecast

import (
	"fmt"
	"math"
	"time"

	"cobline/calc"
)

// days makes a day of each row.
func (r *Reader) days(rows []row, zone *time.Location) []calc.Day {
	out := make([]calc.Day, len(rows))
	for i, x := range rows {
		d := &out[i]
		d.Date, d.WindHeight = dateOf(x.at, zone), r.mapping.WindHeight
		for _, c := range r.fields {
			if v, ok := x.values[c.name]; ok {
				c.enter(d, v)
			}
		}
	}
	return out
}

// dateOf is the day of a row. One that is of midnight names its date as it is
// written, whatever its zone: services write dates so.
func dateOf(at time.Time, zone *time.Location) time.Time {
	if h, m, s := at.Clock(); h+m+s != 0 {
		at = at.In(zone)
	}
	year, month, day := at.Date()
	return time.Date(year, month, day, 0, 0, 0, 0, zone)
}

// longestStep is the longest time between two rows of hours, after which nobody
// knows what was between. Practice of weather services.
const longestStep = 6 * time.Hour

// hours makes days of rows of hours. What a row says of a moment holds until the
// next row; what it adds up is spread evenly over the time that it is of.
func (r *Reader) hours(rows []row, zone *time.Location) ([]calc.Day, error) {
	var days []*hoursOfDay
	for i, x := range rows {
		span := time.Hour
		switch {
		case i+1 < len(rows):
			span = rows[i+1].at.Sub(x.at)
		case i > 0:
			span = x.at.Sub(rows[i-1].at)
		}
		if span < time.Hour || span > longestStep || span%time.Hour != 0 {
			return nil, fmt.Errorf("rows %d and %d are %v apart; hours follow each other by 1 to 6 whole hours", x.n+1, x.n+2, span)
		}
		sums := x
		if r.before {
			if i+1 == len(rows) {
				break // nobody knows of the time after it
			}
			sums = rows[i+1]
		}
		for at := x.at; at.Before(x.at.Add(span)); at = at.Add(time.Hour) {
			local := at.In(zone)
			if n := len(days); n == 0 || days[n-1].date.Day() != local.Day() {
				y, m, d := local.Date()
				days = append(days, newHoursOfDay(time.Date(y, m, d, 0, 0, 0, 0, zone), local.Hour()))
			}
			days[len(days)-1].add(local.Hour(), x.values, r.perHour(sums.values, span))
		}
	}
	return r.finish(days), nil
}

// perHour is what a row adds up, for one of its hours.
func (r *Reader) perHour(values map[string]float64, span time.Duration) map[string]float64 {
	out := map[string]float64{}
	for _, c := range r.fields {
		v, ok := values[c.name]
		switch {
		case !ok:
		case c.name == "solar" && c.isMean():
			out[c.name] = v / 24 // package calc takes a mean for that of a whole day
		case c.name == "solar", c.name == "sunshine", c.name == "rain":
			out[c.name] = v / span.Hours()
		}
	}
	return out
}

// isMean reports whether radiation is given as a power.
func (c column) isMean() bool {
	day, err := c.convert(1, c.unit)
	watt, _ := calc.ToMJPerSquareMetre(1, "W/m2")
	return err == nil && day == float64(watt)
}

// mean is a mean in the making.
type mean struct{ sum, n float64 }

func (m *mean) add(v float64) { m.sum, m.n = m.sum+v, m.n+1 }

// hoursOfDay is a day in the making.
type hoursOfDay struct {
	date                    time.Time
	from, until             int // the clock hours of which something is known
	max, min                float64
	vapour, humidity, dew   mean
	wind, cloud             mean
	gust, code, chance      float64 // the most; negative: not known
	solar, sunshine         float64
	sunHours, sunshineHours int
	rain                    []calc.Millimetre
	rainKnown               bool
}

func newHoursOfDay(date time.Time, from int) *hoursOfDay {
	return &hoursOfDay{
		date: date, from: from, max: math.Inf(-1), min: math.Inf(1), gust: -1, code: -1, chance: -1,
		rain: make([]calc.Millimetre, 24),
	}
}

// daylight are the clock hours whose cloud takes sun away.
const dawn, dusk = 6, 18

// add puts in an hour: what holds in it, and what it adds up.
func (d *hoursOfDay) add(clock int, values, sums map[string]float64) {
	d.until = clock + 1
	air := values["temperature"]
	d.max, d.min = max(d.max, air), min(d.min, air)
	for name, v := range values {
		switch name {
		case "dew":
			d.dew.add(v)
		case "humidity":
			d.humidity.add(v)
			d.vapour.add(v * float64(calc.SaturationPressure(calc.Celsius(air))))
		case "wind":
			d.wind.add(v)
		case "gust":
			d.gust = max(d.gust, v)
		case "code":
			d.code = max(d.code, v)
		case "rain_chance":
			d.chance = max(d.chance, v)
		case "cloud":
			if clock >= dawn && clock < dusk {
				d.cloud.add(v)
			}
		}
	}
	for name, v := range sums {
		switch name {
		case "rain":
			d.rainKnown = true
			d.rain[clock] += calc.Millimetre(v)
		case "solar":
			d.solar += v
			d.sunHours += inDaylight(clock)
		case "sunshine":
			d.sunshine += v
			d.sunshineHours += inDaylight(clock)
		}
	}
}

func inDaylight(clock int) int {
	if clock >= dawn && clock < dusk {
		return 1
	}
	return 0
}

// Clock hours by which a day must have begun or ended to be told in full. The
// coldest hour is about six, the warmest about fifteen; a rack stands out until
// seventeen.
const (
	coldestPast = 7
	warmestPast = 15
	rackIsIn    = 17
)

// finish makes the days. What the first no longer tells, because it has begun,
// it has from the day after; one that is nearly over, and a last one that ends
// before the afternoon, are left out.
func (r *Reader) finish(days []*hoursOfDay) []calc.Day {
	if n := len(days); n > 1 && days[n-1].until <= warmestPast {
		days = days[:n-1]
	}
	if len(days) > 1 && days[0].from >= rackIsIn {
		days = days[1:]
	}
	if len(days) > 1 {
		first, second := days[0], days[1]
		if first.from >= coldestPast {
			first.min = min(first.min, second.min)
		}
		if first.from >= warmestPast {
			first.max = max(first.max, second.max)
		}
	}
	out := make([]calc.Day, len(days))
	for i, d := range days {
		out[i] = d.day()
		out[i].WindHeight = r.mapping.WindHeight
	}
	return out
}

func (d *hoursOfDay) day() calc.Day {
	out := calc.Day{Date: d.date, Max: new(calc.Celsius(d.max)), Min: new(calc.Celsius(d.min))}
	switch {
	case d.dew.n > 0:
		out.Dew = new(calc.Celsius(d.dew.sum / d.dew.n))
	case d.vapour.sum > 0:
		out.Dew = new(calc.DewPoint(calc.Kilopascal(d.vapour.sum / d.vapour.n)))
	case d.humidity.n > 0:
		out.HumidityMean = new(calc.Share(d.humidity.sum / d.humidity.n))
	}
	if d.wind.n > 0 {
		out.Wind = new(calc.MetrePerSecond(d.wind.sum / d.wind.n))
	}
	if d.gust >= 0 {
		out.Gust = new(calc.MetrePerSecond(d.gust))
	}
	if d.sunHours == dusk-dawn {
		out.Solar = new(calc.MJPerSquareMetre(d.solar))
	}
	if d.sunshineHours == dusk-dawn {
		out.Sunshine = new(calc.Hours(d.sunshine))
	}
	if d.cloud.n > 0 {
		out.Cloud = new(calc.Share(d.cloud.sum / d.cloud.n))
	}
	if d.code >= 0 {
		out.Code = new(int(d.code))
	}
	if d.rainKnown {
		out.RainByHour = d.rain
	}
	if d.chance >= 0 {
		out.RainChance = new(calc.Share(d.chance))
	}
	return out
}
