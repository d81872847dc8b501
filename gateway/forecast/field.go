package forecast

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"cobline/calc"
)

// field is one thing that a forecast tells.
type field struct {
	units   string // how to write them
	convert func(v float64, unit string) (float64, error)
	enter   func(d *calc.Day, v float64) // of days alone
}

// measured is a field with a unit; without one it is in that of package calc.
func measured[T ~float64](units, usual string, convert func(float64, string) (T, error), enter func(d *calc.Day, v *T)) field {
	return field{
		units: "write it as one of " + units,
		convert: func(v float64, unit string) (float64, error) {
			if unit == "" {
				unit = usual
			}
			x, err := convert(v, unit)
			return float64(x), err
		},
		enter: func(d *calc.Day, v float64) { enter(d, new(T(v))) },
	}
}

func temperature(enter func(d *calc.Day, v *calc.Celsius)) field {
	return measured("C, F, K", "C", calc.ToCelsius, enter)
}

func wind(enter func(d *calc.Day, v *calc.MetrePerSecond)) field {
	return measured("m/s, km/h, kn, mph", "m/s", calc.ToMetrePerSecond, enter)
}

func share(enter func(d *calc.Day, v *calc.Share)) field {
	return measured("%, oktas, 1", "1", calc.ToShare, enter)
}

var (
	rain     = measured("mm, kg/m2, cm, m, in", "mm", calc.ToMillimetre, func(d *calc.Day, v *calc.Millimetre) { d.Rain = v })
	solar    = measured("MJ/m2, kJ/m2, J/m2, kWh/m2, Wh/m2, W/m2", "MJ/m2", calc.ToMJPerSquareMetre, func(d *calc.Day, v *calc.MJPerSquareMetre) { d.Solar = v })
	sunshine = measured("h, min, s", "h", calc.ToHours, func(d *calc.Day, v *calc.Hours) { d.Sunshine = v })
	code     = field{
		units: "it has none",
		convert: func(v float64, unit string) (float64, error) {
			if unit != "" {
				return 0, calc.Unknown{What: "unit of a weather code", Key: unit}
			}
			if v != math.Trunc(v) || v < 0 || v > 99 {
				return 0, fmt.Errorf("%g is no weather code; they are 0 to 99 (WMO 4677)", v)
			}
			return v, nil
		},
		enter: func(d *calc.Day, v float64) { d.Code = new(int(v)) },
	}
)

// dailyFields are what a row of a day may tell.
var dailyFields = map[string]field{
	"max":           temperature(func(d *calc.Day, v *calc.Celsius) { d.Max = v }),
	"min":           temperature(func(d *calc.Day, v *calc.Celsius) { d.Min = v }),
	"dew":           temperature(func(d *calc.Day, v *calc.Celsius) { d.Dew = v }),
	"humidity_max":  share(func(d *calc.Day, v *calc.Share) { d.HumidityMax = v }),
	"humidity_min":  share(func(d *calc.Day, v *calc.Share) { d.HumidityMin = v }),
	"humidity":      share(func(d *calc.Day, v *calc.Share) { d.HumidityMean = v }),
	"humidity_nine": share(func(d *calc.Day, v *calc.Share) { d.HumidityNine = v }),
	"wind":          wind(func(d *calc.Day, v *calc.MetrePerSecond) { d.Wind = v }),
	"gust":          wind(func(d *calc.Day, v *calc.MetrePerSecond) { d.Gust = v }),
	"solar":         solar,
	"sunshine":      sunshine,
	"cloud":         share(func(d *calc.Day, v *calc.Share) { d.Cloud = v }),
	"code":          code,
	"rain":          rain,
	"rain_chance":   share(func(d *calc.Day, v *calc.Share) { d.RainChance = v }),
}

// hourlyFields are what a row of an hour may tell. Days are made of them by
// Reader.hours.
var hourlyFields = map[string]field{
	"temperature": temperature(nil),
	"dew":         temperature(nil),
	"humidity":    share(nil),
	"wind":        wind(nil),
	"gust":        wind(nil),
	"solar":       solar,
	"sunshine":    sunshine,
	"cloud":       share(nil),
	"code":        code,
	"rain":        rain,
	"rain_chance": share(nil),
}

// read returns the number of a cell in the unit of package calc. Where cells are
// not parted by commas, a comma may be the decimal sign.
func (c column) read(s, separator string) (float64, error) {
	plain, percent := strings.CutSuffix(strings.TrimSpace(s), "%")
	unit := c.unit
	if percent && unit == "" {
		unit = "%"
	}
	if separator != "" && separator != "," && !strings.Contains(plain, ".") {
		plain = strings.Replace(plain, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(strings.TrimSpace(plain), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("is %q, which is no number", clip(s))
	}
	return c.convert(v, unit)
}
