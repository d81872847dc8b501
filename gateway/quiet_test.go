package gateway_test

import (
	"testing"
	"time"
	_ "time/tzdata"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/gateway"
)

func clock(h, m int) gateway.Clock { return gateway.Clock{Hour: h, Minute: m} }

func TestQuietUntil(t *testing.T) {
	night := gateway.Quiet{From: clock(20, 30), To: clock(6, 0)}
	noon := gateway.Quiet{From: clock(12, 0), To: clock(14, 0)}
	early := gateway.Quiet{From: clock(22, 0), To: clock(2, 30)}
	late := gateway.Quiet{From: clock(22, 0), To: clock(1, 30)}
	for _, tt := range []struct {
		name      string
		quiet     gateway.Quiet
		zone      string
		at, until string
	}{
		{"day", night, "Africa/Nairobi", "2026-03-02 12:00:00", "2026-03-02 12:00:00"},
		{"last minute", night, "Africa/Nairobi", "2026-03-02 20:29:59", "2026-03-02 20:29:59"},
		{"first moment", night, "Africa/Nairobi", "2026-03-02 20:30:00", "2026-03-03 06:00:00"},
		{"midnight", night, "Africa/Nairobi", "2026-03-02 00:00:00", "2026-03-02 06:00:00"},
		{"last moment", night, "Africa/Nairobi", "2026-03-02 05:59:59", "2026-03-02 06:00:00"},
		{"over", night, "Africa/Nairobi", "2026-03-02 06:00:00", "2026-03-02 06:00:00"},
		{"end of the year", night, "Asia/Kolkata", "2026-12-31 23:00:00", "2027-01-01 06:00:00"},
		{"within a day", noon, "Africa/Nairobi", "2026-03-02 13:59:00", "2026-03-02 14:00:00"},
		{"within a day, after", noon, "Africa/Nairobi", "2026-03-02 14:00:00", "2026-03-02 14:00:00"},
		{"none", gateway.Quiet{}, "Africa/Nairobi", "2026-03-02 00:00:00", "2026-03-02 00:00:00"},
		// Clocks go forward from 02:00 to 03:00 on 2026-03-29 in Paris: 02:30 does not exist.
		{"end that does not exist", early, "Europe/Paris", "2026-03-29 01:00:00", "2026-03-29 03:30:00"},
		{"short night", night, "Europe/Paris", "2026-03-28 23:00:00", "2026-03-29 06:00:00"},
		// Clocks go back from 03:00 to 02:00 on 2026-10-25 in Paris.
		{"long night", night, "Europe/Paris", "2026-10-24 23:00:00", "2026-10-25 06:00:00"},
		// Clocks go back from 02:00 to 01:00 on 2026-11-01 in New York: 01:30 comes twice.
		{"end that comes twice", late, "America/New_York", "2026-11-01 00:30:00", "2026-11-01 01:30:00"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			zone, err := time.LoadLocation(tt.zone)
			require.NoError(t, err)
			at, err := time.ParseInLocation(time.DateTime, tt.at, zone)
			require.NoError(t, err)
			require.Equal(t, tt.until, tt.quiet.Until(at).Format(time.DateTime))
		})
	}
}

// On 2026-11-01 New York shows 01:10 at 05:10 and again at 06:10 UTC.
func TestQuietInTheHourThatComesTwice(t *testing.T) {
	zone, err := time.LoadLocation("America/New_York")
	require.NoError(t, err)
	q := gateway.Quiet{From: clock(22, 0), To: clock(1, 30)}
	for _, hour := range []int{5, 6} {
		at := time.Date(2026, 11, 1, hour, 10, 0, 0, time.UTC).In(zone)
		require.Equal(t, "01:10", at.Format("15:04"))
		until := q.Until(at)
		require.False(t, until.Before(at))
		require.Equal(t, "01:30", until.Format("15:04"))
		require.LessOrEqual(t, until.Sub(at), 80*time.Minute)
	}
}

func TestQuietProperties(t *testing.T) {
	zones := make([]*time.Location, 0, 5)
	for _, name := range []string{"Africa/Nairobi", "Europe/Paris", "America/New_York", "Australia/Lord_Howe", "Africa/Casablanca"} {
		zone, err := time.LoadLocation(name)
		require.NoError(t, err)
		zones = append(zones, zone)
	}
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string) gateway.Clock {
			return clock(rapid.IntRange(0, 23).Draw(t, name+" hour"), rapid.IntRange(0, 59).Draw(t, name+" minute"))
		}
		q := gateway.Quiet{From: draw("from"), To: draw("to")}
		at := start.Add(time.Duration(rapid.IntRange(0, 366*24*60*60).Draw(t, "second")) * time.Second).In(rapid.SampledFrom(zones).Draw(t, "zone"))
		until := q.Until(at)
		require.False(t, until.Before(at))
		require.Less(t, until.Sub(at), 26*time.Hour)
		require.Equal(t, until, q.Until(until), "what it returns is not quiet")
		require.Equal(t, at.Location(), until.Location())
	})
}
