package dialog

import (
	"time"

	"cobline/calc"
)

// A place without coordinates gets a day short enough for anywhere people grow
// maize: nothing is opened before half past seven or after five, and nothing is
// lit after three.
const (
	anywhereOpens  = 7*time.Hour + 30*time.Minute
	anywhereCloses = 17 * time.Hour
)

// notBefore returns when a drum sealed at a time may be announced for opening:
// the wait is over and it is daylight.
func (p Place) notBefore(sealed time.Time, wait calc.Hours) time.Time {
	sealed = sealed.In(p.Zone)
	if p.sun() {
		if at, err := calc.NotBefore(sealed, wait, p.Lat, p.Lon); err == nil {
			return roundUp(at.In(p.Zone))
		}
	}
	over := sealed.Add(wait.Duration())
	day := midnight(over)
	switch {
	case over.Before(day.Add(anywhereOpens)):
		over = day.Add(anywhereOpens)
	case over.After(day.Add(anywhereCloses)):
		over = midnight(day.Add(30 * time.Hour)).Add(anywhereOpens)
	}
	return roundUp(over)
}

// roundUp rounds up to the next five minutes: a time that is said is never
// earlier than the one reckoned.
func roundUp(at time.Time) time.Time {
	const step = 5 * time.Minute
	if r := at.Truncate(step); !r.Equal(at) {
		return r.Add(step)
	}
	return at
}

// openingMorning returns the first moment of the next morning at which a drum
// may be opened.
func (p Place) openingMorning(now time.Time) time.Time {
	return p.notBefore(midnight(now.In(p.Zone)).Add(17*time.Hour), 12)
}

// latestLighting returns the last moment of the day at which a drum may be lit
// so that covering is done before dark.
func (p Place) latestLighting(now time.Time, c calc.BurnClock) time.Time {
	if p.sun() {
		if at, err := calc.LatestLighting(p.Lat, p.Lon, now, c); err == nil {
			return at.In(p.Zone)
		}
	}
	return midnight(now).Add(anywhereCloses - c.Cover.High.Duration() - time.Hour)
}

// firstLight returns when lighting may begin: not in the dark.
func (p Place) firstLight(now time.Time) time.Time {
	if p.sun() {
		if sun, err := calc.SunTimes(p.Lat, p.Lon, now); err == nil && !sun.PolarNight && !sun.PolarDay {
			return sun.Rise.In(p.Zone)
		}
	}
	return midnight(now).Add(6*time.Hour + 30*time.Minute)
}

// midnight returns the start of the day, in its own zone.
func midnight(at time.Time) time.Time {
	y, m, d := at.Date()
	return time.Date(y, m, d, 0, 0, 0, 0, at.Location())
}
