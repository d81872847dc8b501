package calc

import "math"

// fao56 cites FAO Irrigation and Drainage Paper 56. The paper itself was not at
// hand; its worked examples were found in public test suites.
func fao56(at string) Source {
	return Source{
		Title: "Crop evapotranspiration (Irrigation and Drainage Paper 56)",
		By:    "Allen, Pereira, Raes and Smith, FAO", Year: 1998, At: at, Standing: Remembered,
	}
}

var psychrometric = constant("psychrometric constant per air pressure", PerCelsius(0.000665), fao56("eq. 8"))

// SaturationPressure is the pressure of water vapour over a flat water surface
// at t, FAO-56 eq. 11 (Tetens). Within 0.12 % of Hyland and Wexler over 5 to
// 60 C; meant for -10 to 70 C.
func SaturationPressure(t Celsius) Kilopascal { return Kilopascal(saturation(float64(t))) }

func saturation(t float64) float64 { return 0.6108 * math.Exp(17.27*t/(t+237.3)) }

// saturationSlope is the slope of SaturationPressure in kPa per degree, eq. 13.
func saturationSlope(t Celsius) float64 {
	return 4098 * saturation(float64(t)) / ((float64(t) + 237.3) * (float64(t) + 237.3))
}

// AirPressure is the mean air pressure at an altitude, FAO-56 eq. 7; meant for
// -500 to 5,000 m.
func AirPressure(altitude Metre) Kilopascal {
	return Kilopascal(101.3 * math.Pow((293-0.0065*float64(altitude))/293, 5.26))
}

// psychrometricConstant is in kPa per degree, eq. 8.
func psychrometricConstant(p Kilopascal) float64 { return float64(psychrometric.Likely) * float64(p) }

// RelativeHumidity is the vapour pressure ea as a share of saturation at t, by
// SaturationPressure and in its range; above 1 the air is over-saturated.
func RelativeHumidity(t Celsius, ea Kilopascal) Share { return Share(ea / SaturationPressure(t)) }

// DewPoint is the temperature at which air of vapour pressure ea, 0.001 to 30 kPa,
// is saturated: the inverse of SaturationPressure.
func DewPoint(ea Kilopascal) Celsius {
	l := math.Log(float64(ea) / 0.6108)
	return Celsius(237.3 * l / (17.27 - l))
}

// WetBulb is the temperature of a ventilated wet thermometer in air of
// temperature t, vapour pressure ea and pressure p: the root of FAO-56 eq. 15
// with the psychrometric constant of eq. 8, found to 1e-9 kPa. Meant for
// -10 to 60 C.
func WetBulb(t Celsius, ea, p Kilopascal) Celsius {
	gamma := psychrometricConstant(p)
	excess := func(tw float64) float64 { return float64(ea) - saturation(tw) + gamma*(float64(t)-tw) }
	low, high := float64(t)-60, float64(t)
	return Celsius(fallingRoot(excess, low, excess(low), high, excess(high), 1e-9))
}

// VapourFromWetBulb is the vapour pressure that a dry and a wet thermometer of a
// ventilated psychrometer show, FAO-56 eq. 15 and 16, at air pressure p. Meant for
// 0 to 60 C and a wet thermometer no warmer than the dry one.
func VapourFromWetBulb(dry, wet Celsius, p Kilopascal) Kilopascal {
	const ventilated = 0.000662
	return SaturationPressure(wet) - Kilopascal(ventilated*float64(p)*float64(dry-wet))
}

// meanSaturation is the saturation pressure of a day, eq. 12: never that of the
// mean temperature, which is lower.
func meanSaturation(max, min Celsius) Kilopascal {
	return (SaturationPressure(max) + SaturationPressure(min)) / 2
}

// windAt2m brings a wind measured at a height over 0.1 m down or up to 2 m over
// short grass, eq. 47.
func windAt2m(u MetrePerSecond, height Metre) MetrePerSecond {
	return u * MetrePerSecond(4.87/math.Log(67.8*float64(height)-5.42))
}

// fallingRoot finds where a falling continuous function crosses zero between lo,
// where it is flo, and hi, where it is fhi, to |f| <= tolerance, by the Illinois
// form of false position. Where it does not cross, the nearer end is returned.
func fallingRoot(f func(float64) float64, lo, flo, hi, fhi, tolerance float64) float64 {
	if flo <= 0 {
		return lo
	}
	if fhi >= 0 {
		return hi
	}
	x, side := lo, 0
	for range 200 {
		x = (lo*fhi - hi*flo) / (fhi - flo)
		fx := f(x)
		switch {
		case math.Abs(fx) <= tolerance:
			return x
		case fx > 0:
			if lo, flo = x, fx; side > 0 {
				fhi /= 2
			}
			side = 1
		default:
			if hi, fhi = x, fx; side < 0 {
				flo /= 2
			}
			side = -1
		}
	}
	return x
}
