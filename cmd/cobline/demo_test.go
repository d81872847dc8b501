package main

import (
	"log/slog"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/boltstore"
	"cobline/gateway/forecast"
)

// playDemo returns the store of a demonstration that was played.
func playDemo(t *testing.T, now time.Time) *boltstore.Store {
	d, err := readDistrict()
	require.NoError(t, err)
	c, err := demoConfig(t.TempDir(), nil)
	require.NoError(t, err)
	store, err := boltstore.Open(filepath.Join(t.TempDir(), storeFile), boltstore.Options{NoSync: true})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, store.Close()) })
	require.NoError(t, fillDemo(t.Context(), c, d, store, now))
	return store
}

// TestDemo: the district has something of everything that an officer sees to.
func TestDemo(t *testing.T) {
	now := time.Date(2026, 11, 29, 10, 40, 0, 0, time.UTC)
	store := playDemo(t, now)
	ctx := t.Context()
	places, langs, groups, stages := map[string]int{}, map[string]int{}, map[string]int{}, map[string]int{}
	people, batches, sales := 0, 0, 0
	require.NoError(t, store.Each(ctx, gateway.Number{}, func(c gateway.Conversation) error {
		if len(c.State.Profile.Group) > 0 {
			people++
		}
		places[c.State.Place]++
		langs[string(c.State.Lang)]++
		groups[c.State.Profile.Group]++
		for _, s := range c.State.Stages(now) {
			stages[s]++
		}
		batches += len(c.State.Batches)
		sales += len(c.State.Sales)
		return nil
	}))
	require.GreaterOrEqual(t, people, demoPeople-5)
	for _, place := range []string{"kisima", "daraja", "mto", "kilima", "minazi"} {
		require.Greater(t, places[place], 5, place)
	}
	d, err := readDistrict()
	require.NoError(t, err)
	c, err := demoConfig(t.TempDir(), nil)
	require.NoError(t, err)
	require.ElementsMatch(t, slices.Collect(maps.Keys(d.Words)), c.Langs, "what is switched on is what they speak")
	for l := range d.Words {
		require.Greater(t, langs[string(l)], 10, l)
	}
	for _, stage := range []string{"lit", "sealed", "opened", dialog.StageDrying} {
		require.Positive(t, stages[stage], stage)
	}
	require.Greater(t, batches, 60)
	require.Greater(t, sales, 15)

	unknown, matters, answered, topics := 0, 0, 0, map[string]bool{}
	entries, err := store.After(ctx, gateway.Key{}, 1_000_000)
	require.NoError(t, err)
	for _, e := range entries {
		switch {
		case e.Kind == gateway.Answered:
			answered++
		case e.Kind != gateway.Heard || e.Heard == nil:
			continue
		case !e.Heard.Understood:
			unknown++
		default:
			topics[e.Heard.Topic] = true
		}
		require.False(t, e.At.After(now), e.Text)
		if e.Question != "" || e.CallBack {
			matters++
		}
	}
	require.Greater(t, unknown, 10)
	require.Greater(t, matters, answered, "some of them are open")
	require.Positive(t, answered)
	for _, topic := range []string{"recipe", "burn", "binder", "pressing", "drying", "plan", "price", "fix", "check", "batches", "weather", "ask", "enrol"} {
		require.True(t, topics[topic], topic)
	}

	var notice gateway.Notice
	require.NoError(t, store.List(ctx, gateway.NoticeKind, "", 10, func(_ string, _ uint64, decode func(any) error) error { return decode(&notice) }))
	require.Equal(t, gateway.Paused, notice.Progress)
	tally, err := store.Tally(ctx, notice.Message.ID)
	require.NoError(t, err)
	require.Positive(t, tally.Reached, tally)
	require.Positive(t, tally.Waiting(), tally)
}

// TestDemoAtEveryHour: at whatever hour somebody looks, there are batches in every
// stage, rain comes for which a reminder waits to be sent, and a notice is half
// sent.
func TestDemoAtEveryHour(t *testing.T) {
	c, err := demoConfig(t.TempDir(), nil)
	require.NoError(t, err)
	step := map[string]int{"small": 12, "": 4, "long": 1}[os.Getenv("COBLINE_SCALE")]
	for hour := 0; hour < 24; hour += step {
		now := time.Date(2027, 2, 17, hour, 7, 0, 0, c.zone())
		t.Run(now.Format("15:04"), func(t *testing.T) {
			t.Parallel()
			store := playDemo(t, now)
			stages := map[string]int{}
			require.NoError(t, store.Each(t.Context(), gateway.Number{}, func(c gateway.Conversation) error {
				for _, s := range c.State.Stages(now) {
					stages[s]++
				}
				return nil
			}))
			for _, stage := range []string{"lit", "sealed", "opened", dialog.StageDrying} {
				require.Positive(t, stages[stage], "nobody has %s: %v", stage, stages)
			}

			l, err := newLine(t.Context(), c, store, gateway.NewWatch(time.Time{}), nil, slog.New(slog.DiscardHandler))
			require.NoError(t, err)
			var notices []gateway.Notice
			require.NoError(t, store.List(t.Context(), gateway.NoticeKind, "", 10, func(_ string, _ uint64, decode func(any) error) error {
				notices = append(notices, gateway.Notice{})
				return decode(&notices[len(notices)-1])
			}))
			require.Len(t, notices, 1)
			tally, err := store.Tally(t.Context(), notices[0].Message.ID)
			require.NoError(t, err)
			require.Positive(t, tally.Reached, tally)
			require.Positive(t, tally.Waiting(), tally)
			for _, later := range []time.Duration{0, 2 * time.Hour} { // somebody looks around for a while
				outlooks := forecast.Outlooks(l.knowledge.Facts(), l.knowledge.Forecasts(), nil, nil, "en", now.Add(later))
				waits, started := 0, 0
				for _, d := range forecast.Drafts(outlooks, notices, now.Add(later)) {
					require.Equal(t, "rain", d.Notice.Message.Ready)
					require.True(t, d.HourKnown)
					if d.Started == "" {
						waits++
					} else {
						started++
					}
				}
				require.Positive(t, waits, "no reminder is to be sent")
				require.Equal(t, 2, started)
			}
		})
	}
}

// TestDemoIsTheSame: two demonstrations of one moment are told in the same words
// at the same times.
func TestDemoIsTheSame(t *testing.T) {
	now := time.Date(2026, 3, 4, 4, 20, 0, 0, time.UTC)
	told := func() (lines []string) {
		entries, err := playDemo(t, now).After(t.Context(), gateway.Key{}, 1_000_000)
		require.NoError(t, err)
		for _, e := range entries {
			lines = append(lines, e.At.String()+" "+e.Kind.String()+" "+e.Text)
			for _, r := range e.Replies {
				lines = append(lines, r.Text)
			}
		}
		return lines
	}
	require.Equal(t, told(), told())
}

func TestDemoStaysOnThisMachine(t *testing.T) {
	_, err := demoConfig(t.TempDir(), []string{"COBLINE_LISTEN=:8080"})
	require.ErrorContains(t, err, "secret")
}
