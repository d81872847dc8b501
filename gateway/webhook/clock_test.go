package webhook

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestClock(t *testing.T) {
	nine := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	for name, c := range map[string]struct {
		layout, zone, text string
		want               time.Time
	}{
		"RFC 3339":                       {"", "", "2026-03-02T12:00:00+03:00", nine},
		"RFC 3339 with a fraction":       {"", "", "2026-03-02T09:00:00.25Z", nine.Add(250 * time.Millisecond)},
		"an offset without a colon":      {"", "", "2026-03-02T12:00:00+0300", nine},
		"RFC 3339 without a zone":        {"", "Africa/Nairobi", "2026-03-02T12:00:00", nine},
		"seconds":                        {"", "Africa/Nairobi", "1772442000", nine},
		"seconds with a fraction":        {"", "", "1772442000.123", nine},
		"milliseconds":                   {"", "", "1772442000000", nine},
		"blanks around":                  {"", "", " 1772442000\n", nine},
		"seconds after 2036":             {"", "", "2208988800", time.Date(2040, 1, 1, 0, 0, 0, 0, time.UTC)},
		"a date and a time":              {"", "", "2026-03-02 09:00:00", nine},
		"a date and a time of a zone":    {"", "Africa/Nairobi", "2026-03-02 12:00:00", nine},
		"fourteen digits":                {"", "", "20260302090000", nine},
		"an e-mail's date":               {"", "", "Mon, 02 Mar 2026 09:00:00 GMT", nine},
		"a layout":                       {"DD.MM.YY hh:mm:ss", "", "02.03.26 09:00:00", nine},
		"a layout of ten digits":         {"YYMMDDhhmm", "Africa/Nairobi", "2603021200", nine},
		"a layout with a zone":           {"YYYY-MM-DD hh:mmZ", "", "2026-03-02 04:00-05:00", nine},
		"a layout with a zone of UTC":    {"YYYY-MM-DD hh:mmZ", "Africa/Nairobi", "2026-03-02 09:00Z", nine},
		"summer":                         {"", "Europe/Paris", "2026-07-01 11:00:00", time.Date(2026, 7, 1, 9, 0, 0, 0, time.UTC)},
		"winter":                         {"", "Europe/Paris", "2026-03-02 10:00:00", nine},
		"Unix time if there is a layout": {"YYMMDDhhmm", "", "1772442000000", time.Time{}},
		"a date":                         {"", "Africa/Nairobi", "2026-03-02", nine.Add(-12 * time.Hour)},
		"words":                          {"", "", "yesterday", time.Time{}},
		"before 1970":                    {"", "", "-5", time.Time{}},
		"beyond all years":               {"", "", "99999999999999999", time.Time{}},
		"a version":                      {"", "", "1.2.3", time.Time{}},
		"nothing":                        {"", "", "", time.Time{}},
	} {
		t.Run(name, func(t *testing.T) {
			var compiler compiler
			k := compiler.clock(c.layout, c.zone)
			require.Empty(t, compiler.errs)
			got, ok := k.read(c.text)
			require.Equal(t, !c.want.IsZero(), ok)
			require.Equal(t, c.want, got)
		})
	}
}

func TestClockErrors(t *testing.T) {
	for _, layout := range []string{"hh:mm", "YYYY-MM-DD", "YYYYMMDD hh", "now"} {
		var c compiler
		c.clock(layout, "")
		require.Len(t, c.errs, 1, layout)
	}
}
