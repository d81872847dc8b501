package calc

import "time"

// SunDay is the daylight of one day at one place.
type SunDay struct {
	Rise, Set  time.Time // zero when the sun does neither
	DayLength  Hours
	PolarDay   bool // the sun does not set
	PolarNight bool // the sun does not rise
}
