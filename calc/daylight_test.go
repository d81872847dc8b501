package calc_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/calc"
)

// hour is a zone of whole hours east of Greenwich.
func hour(east int) *time.Location { return time.FixedZone("", east*3600) }

// Sunrise and sunset of the Almanac for Computers (1990) algorithm, an
// independent method published at edwilliams.org, within two minutes.
func TestSunTimesAgainstTheAlmanac(t *testing.T) {
	for _, v := range []struct {
		lat, lon  calc.Degree
		zone, day int
		rise, set string
	}{
		{0, 0, 0, 80, "06:04:06", "18:10:36"},
		{-1.2864, 36.8172, 3, 80, "06:36:48", "18:43:18"},
		{-1.2864, 36.8172, 3, 172, "06:32:54", "18:35:48"},
		{13.5, 2.1, 1, 15, "07:18:36", "18:43:36"},
		{-15.8, 35, 2, 355, "05:05:48", "18:10:06"},
		{-20, 0, 0, 246, "06:07:06", "17:52:00"},
		{50.8, 4.35, 2, 187, "05:36:54", "21:57:18"},
	} {
		day := time.Date(2026, 1, v.day, 12, 0, 0, 0, hour(v.zone))
		sun, err := calc.SunTimes(v.lat, v.lon, day)
		require.NoError(t, err)
		at := func(clock string) time.Time {
			parsed, err := time.ParseInLocation("2006-01-02 15:04:05", day.Format("2006-01-02 ")+clock, day.Location())
			require.NoError(t, err)
			return parsed
		}
		require.WithinDuration(t, at(v.rise), sun.Rise, 2*time.Minute, "rise at %v %v", v.lat, v.lon)
		require.WithinDuration(t, at(v.set), sun.Set, 2*time.Minute, "set at %v %v", v.lat, v.lon)
	}
}

func TestSunTimesBeyondThePolarCircles(t *testing.T) {
	june := time.Date(2026, 6, 21, 12, 0, 0, 0, time.UTC)
	north, err := calc.SunTimes(78, 15, june)
	require.NoError(t, err)
	require.True(t, north.PolarDay)
	require.Equal(t, calc.Hours(24), north.DayLength)
	south, err := calc.SunTimes(-78, 15, june)
	require.NoError(t, err)
	require.True(t, south.PolarNight)
	require.True(t, south.Rise.IsZero())

	_, err = calc.NotBefore(june, 12, -78, 15)
	require.ErrorAs(t, err, new(calc.OutOfRange))
	_, err = calc.LatestLighting(78, 15, june, calc.Clock(false))
	require.ErrorAs(t, err, new(calc.OutOfRange))
}

// C1, C4: the wait ends by day, or it ends after the next morning's first hour.
func TestC4NotBefore(t *testing.T) {
	zone := hour(3)
	day := func(d, h, m int) time.Time { return time.Date(2026, 3, d, h, m, 0, 0, zone) }
	for name, v := range map[string]struct {
		sealed time.Time
		wait   calc.Hours
		want   time.Time
	}{
		"in the afternoon, a day":            {day(2, 15, 0), 24, day(3, 15, 0)},
		"in the morning, a night":            {day(2, 9, 0), 12, day(3, 7, 41)},
		"over in the small hours":            {day(2, 14, 0), 12, day(3, 7, 41)},
		"over within the hour before sunset": {day(2, 18, 0), 24, day(4, 7, 41)},
		"over just after sunrise":            {day(2, 7, 0), 24, day(3, 7, 41)},
	} {
		got, err := calc.NotBefore(v.sealed, v.wait, -1.2864, 36.8172)
		require.NoError(t, err)
		require.WithinDuration(t, v.want, got, 2*time.Minute, name)
	}
}

func TestC4NothingInTheDark(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lat := calc.Degree(rapid.Float64Range(-45, 45).Draw(t, "latitude"))
		zone := rapid.IntRange(-11, 12).Draw(t, "zone")
		lon := calc.Degree(15*zone) + calc.Degree(rapid.Float64Range(-15, 15).Draw(t, "longitude within the zone"))
		lon = max(-180, min(180, lon))
		sealed := time.Date(2026, 1, 1, 0, rapid.IntRange(0, 525_000).Draw(t, "minute"), 0, 0, hour(zone))
		wait := calc.Hours(rapid.SampledFrom([]int{12, 24, 36}).Draw(t, "wait"))
		open, err := calc.NotBefore(sealed, wait, lat, lon)
		require.NoError(t, err)
		require.False(t, open.Before(sealed.Add(wait.Duration())), "never before the wait is over")
		require.Less(t, open.Sub(sealed), wait.Duration()+24*time.Hour)
		sun, err := calc.SunTimes(lat, lon, open)
		require.NoError(t, err)
		require.False(t, open.Before(sun.Rise.Add(time.Hour)))
		require.True(t, open.Before(sun.Set.Add(-time.Hour)))
	})
}

// C4: covered, at the latest of nine burns in ten, an hour before sunset.
func TestC4LatestLighting(t *testing.T) {
	day := time.Date(2026, 3, 2, 9, 0, 0, 0, hour(3))
	sun, err := calc.SunTimes(-1.2864, 36.8172, day)
	require.NoError(t, err)
	for _, slow := range []bool{false, true} {
		clock := calc.Clock(slow)
		got, err := calc.LatestLighting(-1.2864, 36.8172, day, clock)
		require.NoError(t, err)
		require.Equal(t, sun.Set.Add(-time.Hour), got.Add(clock.Cover.High.Duration()))
	}
}

func ExampleSunTimes() {
	day := time.Date(2026, 3, 21, 12, 0, 0, 0, time.FixedZone("", 3*3600))
	sun, err := calc.SunTimes(-1.2864, 36.8172, day)
	fmt.Println(sun.Rise.Format("15:04"), sun.Set.Format("15:04"), err)
	// Output: 06:37 18:43 <nil>
}

// A drum of cobs sealed at nine is opened the next morning, not in the evening.
func ExampleNotBefore() {
	sealed := time.Date(2026, 3, 21, 9, 0, 0, 0, time.FixedZone("", 3*3600))
	open, err := calc.NotBefore(sealed, 12, -1.2864, 36.8172)
	fmt.Println(open.Format("Mon 15:04"), err)
	// Output: Sun 07:36 <nil>
}

func ExampleLatestLighting() {
	day := time.Date(2026, 3, 21, 9, 0, 0, 0, time.FixedZone("", 3*3600))
	latest, err := calc.LatestLighting(-1.2864, 36.8172, day, calc.Clock(false))
	fmt.Println(latest.Format("15:04"), err)
	// Output: 16:48 <nil>
}
