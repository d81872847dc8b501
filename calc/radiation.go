package calc

import (
	"math"
	"time"
)

var (
	albedo = constant("share of sunshine that grass reflects", Share(0.23), fao56("eq. 38"))
	cloudy = constant("clearness index of a day without sunshine", Share(0.25), fao56("eq. 35"))
	sunny  = constant("clearness index of a day of full sunshine", Share(0.75), fao56("eq. 35"))

	inlandSun = constant("radiation per root of the daily temperature range, inland", PerRootCelsius(0.16), fao56("eq. 50"))
	coastSun  = constant("radiation per root of the daily temperature range, coast", PerRootCelsius(0.19), fao56("eq. 50"))

	cloudLoss = constant("radiation that a full cloud cover takes", Share(0.75), Source{
		Title: "Solar and terrestrial radiation dependent on the amount and type of cloud",
		By:    "Kasten and Czeplak", Year: 1980, Standing: Remembered,
	})
)

// solarDay is the course of the sun over one latitude on one day of the year,
// FAO-56 eq. 23 to 25; angles in radians.
type solarDay struct {
	distance     float64 // inverse relative distance from the sun
	high, wide   float64 // sin(lat) sin(decl), cos(lat) cos(decl)
	sunset       float64 // hour angle; 0 in polar night, pi in polar day
	equationHour float64 // hours by which the sun is ahead of a mean clock
}

func solarDayAt(lat Degree, yearDay int) solarDay {
	phi, year := float64(lat)*math.Pi/180, 2*math.Pi*float64(yearDay)/365
	decl := 0.409 * math.Sin(year-1.39)
	b := 2 * math.Pi * float64(yearDay-81) / 364
	return solarDay{
		distance:     1 + 0.033*math.Cos(year),
		high:         math.Sin(phi) * math.Sin(decl),
		wide:         math.Cos(phi) * math.Cos(decl),
		sunset:       math.Acos(min(max(-math.Tan(phi)*math.Tan(decl), -1), 1)),
		equationHour: 0.1645*math.Sin(2*b) - 0.1255*math.Cos(b) - 0.025*math.Sin(b),
	}
}

// between is the radiation on a level surface above the air from hour angle w1
// to w2, eq. 28, both clamped to the time the sun is up: left unclamped the
// formula gives a wrong figure for the hours of sunrise and sunset.
func (s solarDay) between(w1, w2 float64) MJPerSquareMetre {
	const solarConstant = 0.0820 // MJ/m2/min
	w1, w2 = min(max(w1, -s.sunset), s.sunset), min(max(w2, -s.sunset), s.sunset)
	sum := (w2-w1)*s.high + s.wide*(math.Sin(w2)-math.Sin(w1))
	return MJPerSquareMetre(max(0, 12*60/math.Pi*solarConstant*s.distance*sum))
}

// ExtraterrestrialRadiation is the sunshine of a day on a level surface above the
// air, FAO-56 eq. 21, for a latitude (north positive) and a day of the year 1 to
// 366.
func ExtraterrestrialRadiation(lat Degree, yearDay int) MJPerSquareMetre {
	return solarDayAt(lat, yearDay).between(-math.Pi, math.Pi)
}

// MaximumSunshine is the longest a day can shine, FAO-56 eq. 34: from one
// geometric sunrise to sunset, without refraction or the width of the sun, for a
// latitude of -90 to 90 degrees and a day of the year 1 to 366. The
// clock times of sunrise and sunset are those of SunTimes.
func MaximumSunshine(lat Degree, yearDay int) Hours {
	return Hours(24 / math.Pi * solarDayAt(lat, yearDay).sunset)
}

// solarClock is the solar time minus the clock time at a place on a day, in
// hours, eq. 31: the place lies east or west of the meridian of its clock, and
// the sun itself runs early or late.
func (p Place) solarClock(day time.Time, s solarDay) float64 {
	_, offset := day.In(p.zone()).Zone()
	return float64(p.Lon)/15 - float64(offset)/3600 + s.equationHour
}

// hourAngle is that of a solar time in hours.
func hourAngle(solar float64) float64 { return math.Pi / 12 * (solar - 12) }

// clearSky is the share of the radiation above the air that reaches the ground
// under a clear sky, eq. 37.
func clearSky(altitude Metre) Share { return Share(0.75 + 2e-5*float64(altitude)) }

// The four ways from what is known of a sky to its clearness index, the share of
// the radiation above the air that reaches the ground.

// clearnessOfSunshine takes the share n/N of the possible sunshine, eq. 35.
func clearnessOfSunshine(share Share) Share {
	return cloudy.Likely + (sunny.Likely-cloudy.Likely)*share
}

// clearnessOfCloud takes the share of the sky under cloud, Kasten and Czeplak.
func clearnessOfCloud(cover Share, altitude Metre) Share {
	return clearSky(altitude) * (1 - cloudLoss.Likely*Share(math.Pow(float64(cover), 3.4)))
}

// clearnessOfTemperature takes the daily range of the temperature, eq. 50.
func clearnessOfTemperature(max, min Celsius, p Place) Share {
	k := inlandSun.Likely
	if p.Coast {
		k = coastSun.Likely
	}
	return Share(math.Min(float64(k)*math.Sqrt(float64(max-min)), float64(clearSky(p.Altitude))))
}

// skyFactor is the net emissivity between ground and sky, eq. 39: air holding
// water vapour and clouds send heat back. clear is the radiation received over
// that of a clear sky.
func skyFactor(ea Kilopascal, clear Share) float64 {
	return (0.34 - 0.14*math.Sqrt(float64(ea))) * (1.35*float64(min(clear, 1)) - 0.35)
}

// netLongwave is the heat a grass field loses to the sky in a day, eq. 39.
func netLongwave(max, min Celsius, ea Kilopascal, clear Share) MJPerSquareMetre {
	return MJPerSquareMetre((fourthPower(max) + fourthPower(min)) / 2 * skyFactor(ea, clear))
}

// fourthPower is the black-body radiation of a day, MJ/m2.
func fourthPower(t Celsius) float64 {
	const stefanBoltzmann = 4.903e-9 // MJ/K4/m2/day
	return stefanBoltzmann * math.Pow(float64(t)+273.16, 4)
}

// netRadiation is what a grass field keeps of a day's sunshine, eq. 38 and 40.
func netRadiation(sun, longwave MJPerSquareMetre) MJPerSquareMetre {
	return sun*MJPerSquareMetre(1-albedo.Likely) - longwave
}

// combination is the FAO Penman-Monteith equation for a reference surface: eq. 6
// with (900, 0.34) for a day, eq. 53 with (37, 0.34) for an hour.
type combination struct{ numerator, denominator float64 }

var dailyReference = combination{900, 0.34}

// evaporationPerMJ is the water in mm that a megajoule on a square metre turns
// to vapour, eq. 20: the inverse of the latent heat of 2.45 MJ/kg.
const evaporationPerMJ = 0.408

// evaporation is in mm over the time of its radiation sums; deficit is the
// saturation pressure less the vapour pressure.
func (c combination) evaporation(net, soil MJPerSquareMetre, t Celsius, wind MetrePerSecond, deficit, pressure Kilopascal) Millimetre {
	slope, gamma := saturationSlope(t), psychrometricConstant(pressure)
	heat := evaporationPerMJ * slope * float64(net-soil)
	air := gamma * c.numerator / (float64(t) + 273) * float64(wind) * float64(deficit)
	return Millimetre((heat + air) / (slope + gamma*(1+c.denominator*float64(wind))))
}

// ReferenceEvaporation is the water a well watered field of short grass gives
// off in a day, FAO-56 eq. 6: the usual measure of the drying power of weather,
// and the check of this package's humidity and radiation. In mm; the heat into
// the soil over one day is nil (eq. 42).
func ReferenceEvaporation(p Place, w Weather) Millimetre {
	ea := SaturationPressure(w.Dew)
	return dailyReference.evaporation(w.netRadiation(p), 0, (w.Max+w.Min)/2, w.Wind,
		meanSaturation(w.Max, w.Min)-ea, AirPressure(p.Altitude))
}

func (w Weather) netRadiation(p Place) MJPerSquareMetre {
	sun := ExtraterrestrialRadiation(p.Lat, w.Date.YearDay()) * MJPerSquareMetre(w.Clearness)
	return netRadiation(sun, netLongwave(w.Max, w.Min, SaturationPressure(w.Dew), w.Clearness/clearSky(p.Altitude)))
}
