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

var nightMargin = constant[Minutes]("time kept between what is announced and the dark", 60, practice)

// SunTimes returns sunrise and sunset on the calendar day of day, in day's
// zone, for a latitude of -90 to 90 degrees (north positive) and a longitude of
// -180 to 180 degrees (east positive), by the equations of the NOAA solar
// calculator, which are those of Meeus, Astronomical Algorithms, chapters 25 and
// 28 (from memory): the upper limb at a flat horizon with mean refraction
// (zenith 90.833 degrees), good to a minute up to 50 degrees of latitude.
func SunTimes(lat, lon Degree, day time.Time) (SunDay, error) {
	if err := within("latitude", lat, -90, 90); err != nil {
		return SunDay{}, err
	}
	if err := within("longitude", lon, -180, 180); err != nil {
		return SunDay{}, err
	}
	midnight := time.Date(day.Year(), day.Month(), day.Day(), 0, 0, 0, 0, time.UTC)
	sinceNoonOf2000 := float64(midnight.Unix()-946728000) / 60 // minutes
	sinLatitude, cosLatitude := math.Sincos(float64(lat) * math.Pi / 180)
	// solarNoon and how long before and after it the sun is at the horizon, for
	// the sun of a minute of the day. Of the angle by which the earth turns
	// between noon and sunset the cosine: beyond 1 the sun does not rise, beyond
	// -1 it does not set.
	at := func(minute float64) (solarNoon, half, cosine float64) {
		equation, sinDeclination := solar((sinceNoonOf2000 + minute) / (36525 * 24 * 60))
		cosDeclination := math.Sqrt(1 - sinDeclination*sinDeclination)
		cosine = (cosHorizon - sinLatitude*sinDeclination) / (cosLatitude * cosDeclination)
		return 720 - 4*float64(lon) - equation, 4 * math.Acos(max(-1, min(1, cosine))) * 180 / math.Pi, cosine
	}
	noon, _, cosine := at(720 - 4*float64(lon))
	switch {
	case cosine > 1:
		return SunDay{PolarNight: true}, nil
	case cosine < -1:
		return SunDay{PolarDay: true, DayLength: 24}, nil
	}
	// The sun moves on between sunrise and sunset, so each is found again for
	// the sun of its own hour.
	noon, half, _ := at(noon)
	rise, set := noon-half, noon+half
	noon, half, _ = at(rise)
	rise = noon - half
	noon, half, _ = at(set)
	set = noon + half
	clock := func(minutes float64) time.Time {
		return midnight.Add(Minutes(minutes).Duration()).Round(time.Second).In(day.Location())
	}
	return SunDay{Rise: clock(rise), Set: clock(set), DayLength: Hours((set - rise) / 60)}, nil
}

// cosHorizon is the cosine of the zenith distance of a rising sun.
var cosHorizon = math.Cos(90.833 * math.Pi / 180)

// solar returns the equation of time in minutes and the sine of the declination
// of the sun, at a time in centuries since noon of 1 January 2000. Sines of
// multiple angles are made of the single ones: a plan asks for many days.
func solar(centuries float64) (equation, sinDeclination float64) {
	const degree = math.Pi / 180
	longitude := 280.46646 + 36000.76983*centuries
	sinAnomaly, cosAnomaly := math.Sincos((357.52911 + 35999.05029*centuries) * degree)
	sin2Anomaly := 2 * sinAnomaly * cosAnomaly
	sin3Anomaly := sinAnomaly * (3 - 4*sinAnomaly*sinAnomaly)
	sinNode, cosNode := math.Sincos((125.04 - 1934.136*centuries) * degree)
	sin2Longitude, cos2Longitude := math.Sincos(2 * longitude * degree)
	eccentricity := .016708634 - .000042037*centuries
	center := (1.914602-.004817*centuries)*sinAnomaly + .019993*sin2Anomaly + .000289*sin3Anomaly
	apparent := longitude + center - .00569 - .00478*sinNode
	obliquity := 23.439291 - .013004*centuries + .00256*cosNode
	half := math.Tan(obliquity * degree / 2)
	y := half * half
	sinDeclination = 2 * half / (1 + y) * math.Sin(apparent*degree)
	equation = 4 / degree * (y*sin2Longitude - 2*eccentricity*sinAnomaly +
		4*eccentricity*y*sinAnomaly*cos2Longitude -
		y*y*sin2Longitude*cos2Longitude - 1.25*eccentricity*eccentricity*sin2Anomaly)
	return equation, sinDeclination
}

// NotBefore returns the first moment at which a drum may be announced for
// opening: the wait after sealing, 0 to 240 hours, is over, and it is neither dark nor within an
// hour of the dark. A wait that ends between one hour before sunset and one
// hour after sunrise moves to one hour after the next sunrise.
func NotBefore(sealed time.Time, wait Hours, lat, lon Degree) (time.Time, error) {
	if err := within("hours of waiting", wait, 0, 240); err != nil {
		return time.Time{}, err
	}
	over := sealed.Add(wait.Duration())
	margin := nightMargin.Likely.Duration()
	for day := range 2 {
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
		morning := sun.Rise.Add(margin)
		if over.Before(morning) {
			return morning, nil
		}
		if over.Before(sun.Set.Add(-margin)) {
			return over, nil
		}
	}
	return time.Time{}, OutOfRange{What: "latitude with daylight on the day of opening", Got: float64(lat), Low: -66, High: 66}
}

// LatestLighting returns the last moment of a day at which a drum may be lit so
// that it is still covered, after the upper decile of its clock, one hour
// before sunset. It returns OutOfRange where the sun does not set or does not rise;
// the sun is that of SunTimes.
func LatestLighting(lat, lon Degree, day time.Time, clock BurnClock) (time.Time, error) {
	sun, err := SunTimes(lat, lon, day)
	if err != nil {
		return time.Time{}, err
	}
	if sun.PolarDay || sun.PolarNight {
		return time.Time{}, OutOfRange{What: "latitude with a sunset on the day of lighting", Got: float64(lat), Low: -66, High: 66}
	}
	return sun.Set.Add(-nightMargin.Likely.Duration() - clock.Cover.High.Duration()), nil
}
