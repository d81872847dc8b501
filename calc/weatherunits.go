package calc

import "strings"

// scale turns a number in some unit into the unit of this package.
type scale struct{ times, plus float64 }

var (
	temperatureUnits = map[string]scale{
		"c": {1, 0}, "degc": {1, 0}, "celsius": {1, 0}, "f": {5. / 9, -160. / 9}, "degf": {5. / 9, -160. / 9},
		"fahrenheit": {5. / 9, -160. / 9}, "k": {1, -273.15}, "kelvin": {1, -273.15},
	}
	windUnits = map[string]scale{
		"m/s": {1, 0}, "ms-1": {1, 0}, "km/h": {1 / 3.6, 0}, "kmh": {1 / 3.6, 0}, "kn": {1852. / 3600, 0},
		"kt": {1852. / 3600, 0}, "knots": {1852. / 3600, 0}, "mph": {0.44704, 0},
	}
	rainUnits  = map[string]scale{"mm": {1, 0}, "kg/m2": {1, 0}, "cm": {10, 0}, "m": {1000, 0}, "in": {25.4, 0}, "inch": {25.4, 0}}
	shareUnits = map[string]scale{"%": {0.01, 0}, "percent": {0.01, 0}, "1": {1, 0}, "0-1": {1, 0}, "okta": {1. / 8, 0}, "oktas": {1. / 8, 0}}
	solarUnits = map[string]scale{
		"mj/m2": {1, 0}, "j/m2": {1e-6, 0}, "kj/m2": {1e-3, 0}, "kwh/m2": {3.6, 0}, "wh/m2": {0.0036, 0}, "w/m2": {0.0864, 0},
	}
	sunshineUnits = map[string]scale{"h": {1, 0}, "hours": {1, 0}, "min": {1. / 60, 0}, "minutes": {1. / 60, 0}, "s": {1. / 3600, 0}, "seconds": {1. / 3600, 0}}
)

var plainUnit = strings.NewReplacer("°", "", " ", "", "^", "", "²", "2", "_", "")

// convert reads a number in a unit as weather services spell it: letter case,
// degree signs, blanks and raised figures do not matter.
func convert[T ~float64](what string, units map[string]scale, v float64, unit string) (T, error) {
	s, ok := units[plainUnit.Replace(strings.ToLower(unit))]
	if !ok {
		return 0, Unknown{"unit of " + what, unit}
	}
	return T(v*s.times + s.plus), nil
}

// ToCelsius reads a temperature in C, F or K; another unit is Unknown.
func ToCelsius(v float64, unit string) (Celsius, error) {
	return convert[Celsius]("temperature", temperatureUnits, v, unit)
}

// ToMetrePerSecond reads a wind in m/s, km/h, kn or mph; another unit is Unknown.
func ToMetrePerSecond(v float64, unit string) (MetrePerSecond, error) {
	return convert[MetrePerSecond]("wind", windUnits, v, unit)
}

// ToMillimetre reads rain in mm, kg/m2, cm, m or in; another unit is Unknown.
func ToMillimetre(v float64, unit string) (Millimetre, error) {
	return convert[Millimetre]("rain", rainUnits, v, unit)
}

// ToShare reads humidity, cloud or chance in %, oktas or as 0 to 1; another unit
// is Unknown.
func ToShare(v float64, unit string) (Share, error) {
	return convert[Share]("a share", shareUnits, v, unit)
}

// ToMJPerSquareMetre reads a day's radiation in MJ/m2, kJ/m2, J/m2, kWh/m2, Wh/m2
// or, as the mean of the day, W/m2; another unit is Unknown.
func ToMJPerSquareMetre(v float64, unit string) (MJPerSquareMetre, error) {
	return convert[MJPerSquareMetre]("radiation", solarUnits, v, unit)
}

// ToHours reads sunshine in h, min or s; another unit is Unknown.
func ToHours(v float64, unit string) (Hours, error) {
	return convert[Hours]("sunshine", sunshineUnits, v, unit)
}
