package gateway

import (
	"errors"
	"strconv"
	"strings"
	"time"
)

// Times reads the times that other programs write.
type Times struct {
	layout string         // in the form of package time; empty for the usual ones
	zone   *time.Location // of times that name none
}

// timeLetters turn YYYY-MM-DD hh:mm:ss and the like into a layout of package
// time.
var timeLetters = strings.NewReplacer(
	"YYYY", "2006", "YY", "06", "MM", "01", "DD", "02", "HH", "15", "hh", "15", "mm", "04", "ss", "05", "Z", "Z07:00",
)

// NewTimes returns what reads times of a layout such as YYYY-MM-DD hh:mm:ss, with
// Z where a zone follows; without a layout Unix time, RFC 3339 and the like. The
// error says that the layout leaves out what a time must tell: its minute, or
// its day if that is enough.
func NewTimes(layout string, zone *time.Location, enough time.Duration) (Times, error) {
	t := Times{layout: timeLetters.Replace(layout), zone: zone}
	if layout == "" {
		return t, nil
	}
	sample := time.Date(2029, 11, 23, 17, 48, 0, 0, time.UTC)
	read, err := time.Parse(t.layout, sample.Format(t.layout))
	if err != nil || !read.Truncate(enough).Equal(sample.Truncate(enough)) {
		return t, errors.New("must say year, month, day, hour and minute, such as YYYY-MM-DD hh:mm:ss or YYMMDDhhmm, with Z where a zone follows")
	}
	return t, nil
}

// usualTimes are the forms that need no layout, beside Unix time.
var usualTimes = []string{
	time.RFC3339, "2006-01-02T15:04:05Z0700", "2006-01-02T15:04Z07:00", "2006-01-02 15:04:05Z07:00", "2006-01-02 15:04:05 -0700",
	"2006-01-02T15:04:05", "2006-01-02T15:04", time.DateTime, "2006-01-02 15:04", "2006/01/02 15:04:05", "20060102150405",
	time.RFC1123Z, time.RFC1123, time.DateOnly,
}

// Read returns a time in the zone it was written in, or false if s is none.
func (c Times) Read(s string) (time.Time, bool) {
	s = strings.TrimSpace(s)
	layouts := usualTimes
	if c.layout != "" {
		layouts = []string{c.layout}
	}
	for _, l := range layouts {
		if t, err := time.ParseInLocation(l, s, c.zone); err == nil {
			return t, true
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
