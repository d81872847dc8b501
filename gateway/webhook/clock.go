package webhook

import (
	"time"

	"cobline/gateway"
)

// clock reads the times of a gateway.
type clock struct{ gateway.Times }

// maxSkew is how far a time may be from that of arrival. Gateways that lost
// their clock or mistake their zone are further off, and a clock that stands
// still would make repeats of all texts that are equal.
const maxSkew = 24 * time.Hour

func (c *compiler) clock(layout, zone string) clock {
	z := time.UTC
	if zone != "" {
		named, err := time.LoadLocation(zone)
		c.want(err == nil, "in.zone", "must be a time zone such as Africa/Nairobi")
		if err == nil {
			z = named
		}
	}
	times, err := gateway.NewTimes(layout, z, time.Minute)
	if err != nil {
		c.want(false, "in.layout", err.Error())
	}
	return clock{times}
}

// read returns a time, or false if s is none.
func (c clock) read(s string) (time.Time, bool) {
	t, ok := c.Read(s)
	if !ok {
		return time.Time{}, false
	}
	return t.UTC(), true
}
