package views_test

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/gateway"
	"cobline/gateway/storetest"
	"cobline/gateway/views"
)

// district fills the store of a field.
type district struct {
	*field
	*storetest.District
	more int // turns whose messages still wait
}

// commits keeps turns one after the other, at most 2000, and returns how long
// each took, in order.
func (d *district) commits(done func() bool) (took []time.Duration) {
	for len(took) < 2000 && (done == nil || len(took) < 100 || !done()) {
		c := d.Next()
		began := time.Now()
		require.NoError(d.District, d.store.Commit(d.ctx, c))
		took = append(took, time.Since(began))
		d.more++
	}
	slices.Sort(took)
	return took
}

// What the console asks is answered right when there is much, and how fast is
// told: times are no test, since machines differ.
func TestScale(t *testing.T) {
	producers, entries := storetest.Scale()
	f := newField(t)
	d := &district{field: f, District: storetest.NewDistrict(t, f.store, start, producers, entries)}
	began := time.Now()
	d.Fill()
	t.Logf("%d producers wrote %d texts in %v", producers, d.Turns, time.Since(began).Round(time.Millisecond))
	alone := d.commits(nil)
	running, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	began = time.Now()
	go func() { ended <- d.views.Run(running) }()
	whole := func() bool { p := d.views.Progress(); return p.Taken > 0 && p.Whole() }
	beside := d.commits(whole)
	for !whole() {
		time.Sleep(10 * time.Millisecond)
	}
	made := time.Since(began)
	cancel()
	require.NoError(t, <-ended)
	p := d.views.Progress()
	size := func(name string) int64 {
		info, err := os.Stat(filepath.Join(d.dir, name))
		require.NoError(t, err)
		return info.Size() >> 20
	}
	require.NoError(t, d.views.Close())
	d.open()
	t.Logf("views of %d entries made in %v, %.0f a second; %d MiB beside a store of %d MiB", p.Entries, made.Round(time.Millisecond), float64(p.Entries)/made.Seconds(), size("views.db"), size("cobline.db"))
	t.Logf("a text is kept in %.2f ms at the median, one in a hundred takes longer than %.2f; while views are made, %.2f and %.2f",
		ms(alone[len(alone)/2]), ms(alone[len(alone)*99/100]), ms(beside[len(beside)/2]), ms(beside[len(beside)*99/100]))

	ctx, now := context.Background(), d.Now
	must := func(err error) { require.NoError(t, err) }
	must(d.views.CatchUp(ctx)) // with what was written while somebody looked whether they were whole
	said, err := d.views.Days(ctx, views.Within{})
	must(err)
	texts, unknown := 0, 0
	for _, s := range said {
		texts, unknown = texts+s.Texts, unknown+s.Unknown
	}
	require.Equal(t, d.Turns+d.more, texts)
	require.Equal(t, d.Unknown, unknown)
	y, err := d.views.Yields(ctx, views.Of{}, views.By{})
	must(err)
	require.Equal(t, d.Batches, y[0].Batches)
	q, err := d.views.Matters(ctx, views.MatterQuery{Kind: views.Question}, views.Page{})
	must(err)
	require.Equal(t, d.Questions, q.All)
	spent, err := d.views.Spending(ctx, start, now, true)
	must(err)
	segments := 0
	for _, s := range spent {
		segments += s.Segments
	}
	require.Equal(t, d.Turns, segments)

	place, word := d.Place, d.Word
	anybody := func() gateway.PersonKey { return d.Somebody().Person }
	search := func(q func() views.Query) func() error {
		return func() error { _, err := d.views.Search(ctx, q(), views.Page{}); return err }
	}
	stopped := true
	for _, ask := range []struct {
		name string
		do   func() error
	}{
		{"front page", func() error { _, err := d.views.Totals(ctx, now); return err }},
		{"works by place", func() error { _, err := d.views.Works(ctx, now); return err }},
		{"search: newest", search(func() views.Query { return views.Query{} })},
		{"search: place", search(func() views.Query { return views.Query{Place: place()} })},
		{"search: place, topic, language", search(func() views.Query { return views.Query{Place: place(), Topic: "price", Lang: "hi"} })},
		{"search: a month", search(func() views.Query {
			return views.Query{From: start.AddDate(0, 3, 0), To: start.AddDate(0, 4, 0), Lang: "fr"}
		})},
		{"search: frequent word", search(func() views.Query { return views.Query{Words: word("sw", 0, 5)} })},
		{"search: usual word", search(func() views.Query { return views.Query{Words: word("sw", 500, 2000)} })},
		{"search: rare word", search(func() views.Query { return views.Query{Words: word("en", 3900, 4000)} })},
		{"search: absent word", search(func() views.Query { return views.Query{Words: "zzzzzz"} })},
		{"search: frequent word, place, topic", search(func() views.Query { return views.Query{Words: word("sw", 0, 5), Place: place(), Topic: "fix"} })},
		{"search: frequent words, a place that is not", search(func() views.Query {
			return views.Query{Words: word("sw", 0, 5) + " " + word("sw", 0, 5), Place: "nowhere"}
		})},
		{"search: frequent word, no such place", search(func() views.Query { return views.Query{Words: word("sw", 0, 5), Place: "nowhere"} })},
		{"search: frequent word, in a drum's stage", search(func() views.Query { return views.Query{Words: word("sw", 0, 5), Stage: "sealed"} })},
		{"search: old month, frequent word", search(func() views.Query {
			return views.Query{Words: word("sw", 0, 5), From: start, To: start.AddDate(0, 1, 0)}
		})},
		{"conversation", func() error { _, err := d.views.Conversation(ctx, anybody(), views.Page{}); return err }},
		{"not understood, 30 days", func() error { _, err := d.views.Unknown(ctx, "sw", now.AddDate(0, 0, -30), now, 0, 20); return err }},
		{"not understood, all", func() error { _, err := d.views.Unknown(ctx, "sw", start, now, 0, 20); return err }},
		{"questions", func() error {
			_, err := d.views.Matters(ctx, views.MatterQuery{Kind: views.Question}, views.Page{})
			return err
		}},
		{"questions of a place", func() error {
			_, err := d.views.Matters(ctx, views.MatterQuery{Kind: views.Question, Places: []string{place()}}, views.Page{})
			return err
		}},
		{"call-backs, oldest first", func() error {
			_, err := d.views.Matters(ctx, views.MatterQuery{Kind: views.CallBack, Oldest: true}, views.Page{})
			return err
		}},
		{"emergencies", func() error {
			_, err := d.views.Matters(ctx, views.MatterQuery{Kind: views.Emergency}, views.Page{})
			return err
		}},
		{"stops", func() error { _, err := d.views.Stops(ctx, views.Within{}, now); return err }},
		{"stops of a topic", func() error {
			_, err := d.views.Stops(ctx, views.Within{Topic: "recipe", Place: place(), From: now.AddDate(0, -1, 0), To: now}, now)
			return err
		}},
		{"durations by waste and month", func() error {
			_, err := d.views.Durations(ctx, views.Of{}, views.By{Waste: true, Month: true})
			return err
		}},
		{"yields by waste, place, month", func() error {
			_, err := d.views.Yields(ctx, views.Of{}, views.By{Waste: true, Place: true, Month: true})
			return err
		}},
		{"topics", func() error { _, err := d.views.Topics(ctx, views.Within{}); return err }},
		{"days", func() error { _, err := d.views.Days(ctx, views.Within{}); return err }},
		{"spending by month", func() error { _, err := d.views.Spending(ctx, start, now, true); return err }},
		{"producers", func() error {
			_, err := d.views.Producers(ctx, views.Filter{}, gateway.PersonKey{}, 50, now)
			return err
		}},
		{"producers of a place, drying", func() error {
			_, err := d.views.Producers(ctx, views.Filter{Place: place(), Stage: "drying"}, gateway.PersonKey{}, 50, now)
			return err
		}},
		{"producers drying", func() error {
			_, err := d.views.Producers(ctx, views.Filter{Stage: "drying"}, gateway.PersonKey{}, 50, now)
			return err
		}},
		{"producers, opted out, by words", func() error {
			_, err := d.views.Producers(ctx, views.Filter{OptedOut: &stopped, Words: "group 7"}, gateway.PersonKey{}, 50, now)
			return err
		}},
		{"producers by language", func() error {
			_, err := d.views.Producers(ctx, views.Filter{Lang: "pt"}, gateway.PersonKey{}, 50, now)
			return err
		}},
		{"groups", func() error { _, err := d.views.Groups(ctx); return err }},
		{"one producer", func() error { _, err := d.views.Producer(ctx, anybody()); return err }},
		{"batches", func() error {
			_, _, err := d.views.Batches(ctx, views.Of{}, gateway.PersonKey{}, views.Batch{}, 50)
			return err
		}},
		{"batches of a place", func() error {
			_, _, err := d.views.Batches(ctx, views.Of{Place: place(), Waste: "bagasse"}, gateway.PersonKey{}, views.Batch{}, 50)
			return err
		}},
	} {
		const times = 15
		var took []time.Duration
		for range times {
			began := time.Now()
			must(ask.do())
			took = append(took, time.Since(began))
		}
		first := took[0]
		slices.Sort(took)
		t.Logf("%-45s median %8.2f ms, first %8.2f, slowest %8.2f", ask.name, ms(took[times/2]), ms(first), ms(took[times-1]))
	}
}

func ms(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }
