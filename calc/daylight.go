package calc

import (
	"math"
	"time"
)

// SunDay is the daylight of one day at one place.
type SunDay struct {
	Rise, Set  time.Time // zero when the sun does neither
	DayLength  Hours
	PolarDay   bool // the sun does not set
	PolarNight bool // the sun does not rise
}

// nightMargin is kept between what is announced and the dark.
const nightMargin = time.Hour

// SunTimes returns sunrise and sunset on the calendar day of day, in day's
// zone, for a latitude of -90 to 90 degrees (north positive) and a longitude of
// -180 to 180 degrees (east positive), by the low-accuracy equations of the
// NOAA Global Monitoring Laboratory: the upper limb at a flat horizon with mean
// refraction (zenith 90.833 degrees).
func SunTimes(lat, lon Degree, day time.Time) (SunDay, error) {
	if err := within("latitude", lat, -90, 90); err != nil {
		return SunDay{}, err
	}
	if err := within("longitude", lon, -180, 180); err != nil {
		return SunDay{}, err
	}
	const horizon = 90.833 * math.Pi / 180
	equation, declination := solar(day.YearDay())
	latitude := float64(lat) * math.Pi / 180
	cosine := math.Cos(horizon)/(math.Cos(latitude)*math.Cos(declination)) - math.Tan(latitude)*math.Tan(declination)
	switch {
	case cosine > 1:
		return SunDay{PolarNight: true}, nil
	case cosine < -1:
		return SunDay{PolarDay: true, DayLength: 24}, nil
	}
	half := 4 * math.Acos(cosine) * 180 / math.Pi
	noon := 720 - 4*float64(lon) - equation
	midnight := time.Date(day.Year(), day.Month(), day.Day(), 0, 0, 0, 0, time.UTC)
	clock := func(minutes float64) time.Time {
		return midnight.Add(Minutes(minutes).Duration()).Round(time.Second).In(day.Location())
	}
	return SunDay{Rise: clock(noon - half), Set: clock(noon + half), DayLength: Hours(2 * half / 60)}, nil
}

// solar returns the equation of time in minutes and the declination of the sun
// in radians at noon of a day of the year.
func solar(yearDay int) (equation, declination float64) {
	y := 2 * math.Pi / 365 * float64(yearDay-1)
	equation = 229.18 * (.000075 + .001868*math.Cos(y) - .032077*math.Sin(y) - .014615*math.Cos(2*y) - .040849*math.Sin(2*y))
	declination = .006918 - .399912*math.Cos(y) + .070257*math.Sin(y) - .006758*math.Cos(2*y) +
		.000907*math.Sin(2*y) - .002697*math.Cos(3*y) + .00148*math.Sin(3*y)
	return equation, declination
}

// NotBefore returns the first moment at which a drum may be announced for
// opening: the wait after sealing is over, and it is neither dark nor within an
// hour of the dark. A wait that ends between one hour before sunset and one
// hour after sunrise moves to one hour after the next sunrise.
func NotBefore(sealed time.Time, wait Hours, lat, lon Degree) (time.Time, error) {
	if err := within("hours of waiting", wait, 0, 240); err != nil {
		return time.Time{}, err
	}
	over := sealed.Add(wait.Duration())
	for day := 0; day < 2; day++ {
		sun, err := SunTimes(lat, lon, over.AddDate(0, 0, day))
		if err != nil {
			return time.Time{}, err
		}
		if sun.PolarDay {
			return over, nil
		}
		if sun.PolarNight {
			break
		}
		morning := sun.Rise.Add(nightMargin)
		if over.Before(morning) {
			return morning, nil
		}
		if over.Before(sun.Set.Add(-nightMargin)) {
			return over, nil
		}
	}
	return time.Time{}, OutOfRange{What: "latitude with daylight on the day of opening", Got: float64(lat), Low: -66, High: 66}
}

// LatestLighting returns the last moment of a day at which a drum may be lit so
// that it is still covered, after the upper decile of its clock, one hour
// before sunset.
func LatestLighting(lat, lon Degree, day time.Time, clock BurnClock) (time.Time, error) {
	sun, err := SunTimes(lat, lon, day)
	if err != nil {
		return time.Time{}, err
	}
	if sun.PolarDay || sun.PolarNight {
		return time.Time{}, OutOfRange{What: "latitude with a sunset on the day of lighting", Got: float64(lat), Low: -66, High: 66}
	}
	return sun.Set.Add(-nightMargin - clock.Cover.High.Duration()), nil
}
