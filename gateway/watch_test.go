package gateway_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/gateway"
)

func TestWatch(t *testing.T) {
	const year = 365 * 24 * time.Hour
	for _, tt := range []struct {
		name  string
		walls []time.Duration // what the clock shows, from start
		want  []time.Duration
	}{
		{"a clock that goes", []time.Duration{0, time.Second, time.Hour}, []time.Duration{0, time.Second, time.Hour}},
		{"set back a little", []time.Duration{time.Hour, time.Hour - time.Minute}, []time.Duration{time.Hour, time.Hour - time.Minute}},
		{
			"set back far, then going on",
			[]time.Duration{5 * time.Hour, 0, time.Minute, 2 * time.Hour},
			[]time.Duration{5 * time.Hour, 5*time.Hour - 2*time.Minute, 5*time.Hour - time.Minute, 7*time.Hour - 2*time.Minute},
		},
		{
			"far forward and back: hours stay hours",
			[]time.Duration{0, year, time.Minute, time.Minute + 2*time.Hour},
			[]time.Duration{0, year, year - 2*time.Minute, year - 2*time.Minute + 2*time.Hour},
		},
		{
			"set right again",
			[]time.Duration{5 * time.Hour, 0, 5*time.Hour + time.Minute},
			[]time.Duration{5 * time.Hour, 5*time.Hour - 2*time.Minute, 5*time.Hour + time.Minute},
		},
		{
			"back twice",
			[]time.Duration{5 * time.Hour, 2 * time.Hour, 0},
			[]time.Duration{5 * time.Hour, 5*time.Hour - 2*time.Minute, 5*time.Hour - 2*time.Minute},
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			w := gateway.NewWatch(time.Time{})
			for i, wall := range tt.walls {
				require.Equal(t, tt.want[i], w.At(start.Add(wall)).Sub(start), "reading %d", i)
			}
		})
	}
}

func TestWatchFollowsTheLastCommit(t *testing.T) {
	w := gateway.NewWatch(start)
	clock := time.Date(1970, 1, 1, 0, 0, 0, 0, time.UTC) // a machine without a battery
	require.Equal(t, start.Add(-2*time.Minute), w.At(clock))
	require.Equal(t, start.Add(-time.Minute), w.At(clock.Add(time.Minute)))
	require.Equal(t, start.Add(-2*time.Minute).Sub(clock), w.Ahead())
	require.Equal(t, start.Add(time.Hour), w.At(start.Add(time.Hour)))
	require.Zero(t, w.Ahead())
}

func TestWatchProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := gateway.NewWatch(start)
		wall, told := start, start
		for range 20 {
			step := time.Duration(rapid.Int64Range(-1e9, 1e9).Draw(t, "step")) * time.Millisecond
			wall = wall.Add(step)
			now := w.At(wall)
			require.False(t, now.Before(told.Add(-2*time.Minute)))
			require.False(t, now.Before(wall))
			if now.After(told) {
				told = now
			}
		}
	})
}
