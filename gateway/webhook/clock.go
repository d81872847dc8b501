package webhook

import (
	"strconv"
	"strings"
	"time"
)

// clock reads the times of a gateway.
type clock struct {
	layout string         // in the form of package time; empty for the usual ones
	zone   *time.Location // of times that name none
}

// maxSkew is how far a time may be from that of arrival. Gateways that lost
// their clock or mistake their zone are further off, and a clock that stands
// still would make repeats of all texts that are equal.
const maxSkew = 24 * time.Hour

// letters turn YYYY-MM-DD hh:mm:ss and the like into a layout of package time.
var letters = strings.NewReplacer(
	"YYYY", "2006", "YY", "06", "MM", "01", "DD", "02", "HH", "15", "hh", "15", "mm", "04", "ss", "05", "Z", "Z07:00",
)

func (c *compiler) clock(layout, zone string) clock {
	k := clock{layout: letters.Replace(layout), zone: time.UTC}
	if zone != "" {
		z, err := time.LoadLocation(zone)
		c.want(err == nil, "in.zone", "must be a time zone such as Africa/Nairobi")
		if err == nil {
			k.zone = z
		}
	}
	if layout != "" {
		sample := time.Date(2029, 11, 23, 17, 48, 0, 0, time.UTC)
		t, err := time.Parse(k.layout, sample.Format(k.layout))
		c.want(err == nil && t.Equal(sample), "in.layout", "must say year, month, day, hour and minute, such as YYYY-MM-DD hh:mm:ss or YYMMDDhhmm, with Z where a zone follows")
	}
	return k
}

// usual are the forms that need no layout, beside Unix time.
var usual = []string{
	time.RFC3339, "2006-01-02T15:04:05Z0700", "2006-01-02 15:04:05Z07:00", "2006-01-02 15:04:05 -0700",
	"2006-01-02T15:04:05", time.DateTime, "2006-01-02 15:04", "2006/01/02 15:04:05", "20060102150405", time.RFC1123Z, time.RFC1123,
}

// read returns a time, or false if s is none.
func (c clock) read(s string) (time.Time, bool) {
	s = strings.TrimSpace(s)
	layouts := usual
	if c.layout != "" {
		layouts = []string{c.layout}
	}
	for _, l := range layouts {
		if t, err := time.ParseInLocation(l, s, c.zone); err == nil {
			return t.UTC(), true
		}
	}
	if c.layout != "" {
		return time.Time{}, false
	}
	return unixTime(s)
}

// unixTime reads seconds or milliseconds since 1970. Eleven digits of seconds
// are far off and ten of milliseconds long past, so the length tells them apart.
func unixTime(s string) (time.Time, bool) {
	whole, fraction, _ := strings.Cut(s, ".")
	n, err := strconv.ParseInt(whole, 10, 64)
	switch {
	case err != nil || n < 0 || n > 1e14 || strings.Trim(fraction, "0123456789") != "":
		return time.Time{}, false
	case n < 1e11:
		return time.Unix(n, 0).UTC(), true
	default:
		return time.UnixMilli(n).UTC(), true
	}
}
