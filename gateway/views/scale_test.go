package views_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/views"
	"cobline/locales"
)

// district is an invented programme that fills a store through the doors every
// turn goes through.
type district struct {
	*field
	*rand.Rand
	producers, entries int
	words              map[locales.Lang][]string
	puzzles            []string
	turns, unknown     int
	more               int // turns whose messages still wait
	batches, questions int
}

// scale returns how many producers and journal entries to make.
func scale() (producers, entries int) {
	switch os.Getenv("COBLINE_SCALE") {
	case "long":
		return 100_000, 5_000_000
	case "small":
		return 60, 1_500
	}
	return 200, 10_000
}

var scaleTopics = []string{"recipe", "burn", "binder", "pressing", "drying", "plan", "price", "fix", "batches", "ask"}

func newDistrict(t *testing.T, producers, entries int) *district {
	d := &district{field: newField(t), Rand: rand.New(rand.NewPCG(1, 2)), producers: producers, entries: entries, words: map[locales.Lang][]string{}}
	for _, l := range []locales.Lang{"en", "sw", "fr", "pt", "hi"} {
		letters := []rune("abcdefghijklmnoprstuvwy")
		if l == "hi" {
			letters = []rune("कखगघचजटडतदनपबमयरलवसह")
		}
		for range 4000 {
			var b strings.Builder
			for range 3 + d.IntN(7) {
				b.WriteRune(letters[d.IntN(len(letters))])
			}
			d.words[l] = append(d.words[l], b.String())
		}
	}
	for range 400 {
		d.puzzles = append(d.puzzles, d.sentence("en", 2+d.IntN(6)))
	}
	return d
}

// sentence draws words, the first of the list far more often than the last.
func (d *district) sentence(l locales.Lang, n int) string {
	words := make([]string, n)
	for i := range words {
		x := d.Float64()
		words[i] = d.words[l][int(x*x*x*float64(len(d.words[l])))]
	}
	return strings.Join(words, " ")
}

// slip changes a letter now and then.
func (d *district) slip(text string) string {
	if d.IntN(3) == 0 && len(text) > 4 {
		i := 1 + d.IntN(len(text)-2)
		return text[:i] + string(rune('a'+d.IntN(26))) + text[i+1:]
	}
	return text
}

// fill writes the journal: each text is answered by one message, which goes out
// and, half of the time, is reported.
func (d *district) fill() {
	turns := d.entries * 2 / 5               // with half of their answers reported, two and a half entries each
	together := max(1, min(2000, turns/100)) // a report is taken for 14 days
	pause := 300 * 24 * time.Hour / time.Duration(turns)
	read := gateway.Key{}
	for done := 0; done < turns; {
		var changes []gateway.Change
		writes := map[int]bool{}
		for len(changes) < min(together, turns-done, d.producers) {
			if i := d.IntN(d.producers); !writes[i] {
				writes[i] = true
				d.now = d.now.Add(pause)
				changes = append(changes, d.draw(i))
			}
		}
		done += len(changes)
		parallel(d.field, changes, func(c gateway.Change) error { return d.store.Commit(d.ctx, c) })
		entries, err := d.store.After(d.ctx, read, 4*together)
		require.NoError(d, err)
		var written []gateway.Entry
		for _, e := range entries {
			read = e.Key
			if e.Kind == gateway.Heard {
				written = append(written, e)
			}
		}
		parallel(d.field, written, func(e gateway.Entry) error {
			ref := e.Key.Ref(0)
			if err := d.store.Settle(d.ctx, ref, gateway.Settlement{Outcome: gateway.Sent, At: e.At}); err != nil {
				return err
			}
			if e.Key[len(e.Key)-1]%2 == 0 {
				return nil
			}
			return d.store.Report(d.ctx, gateway.Report{Channel: "sms", Ref: ref, State: gateway.ReportDelivered, At: e.At})
		})
	}
	d.turns = turns
}

// parallel does something with each of a list, many at once: the store groups
// what comes together.
func parallel[T any](f *field, list []T, do func(T) error) {
	const writers = 256
	var group sync.WaitGroup
	errs := make([]error, writers)
	for w := range writers {
		group.Go(func() {
			for i := w; i < len(list) && errs[w] == nil; i += writers {
				errs[w] = do(list[i])
			}
		})
	}
	group.Wait()
	for _, err := range errs {
		require.NoError(f, err)
	}
}

// commits keeps turns one after the other, at most 2000, and returns how long
// each took, in order.
func (d *district) commits(done func() bool) (took []time.Duration) {
	for len(took) < 2000 && (done == nil || len(took) < 100 || !done()) {
		d.now = d.now.Add(time.Second)
		c := d.draw(d.IntN(d.producers))
		began := time.Now()
		require.NoError(d, d.store.Commit(d.ctx, c))
		took = append(took, time.Since(began))
		d.more++
	}
	slices.Sort(took)
	return took
}

// draw makes the next turn of a producer.
func (d *district) draw(i int) gateway.Change {
	c := d.load(i)
	s := &c.State
	if c.Rev == 0 {
		c.Person = gateway.PersonKey{byte(d.Uint32()), byte(d.Uint32()), byte(d.Uint32()), byte(i >> 24), byte(i >> 16), byte(i >> 8), byte(i), 1}
		s.Lang = []locales.Lang{"en", "sw", "sw", "sw", "fr", "pt", "hi"}[d.IntN(7)]
		s.Place = fmt.Sprint("place-", d.IntN(40))
		if d.IntN(3) == 0 {
			s.Profile.Group = fmt.Sprint("group ", d.IntN(500))
		}
	}
	s.Stopped = d.IntN(60) == 0
	s.Seen, c.Channel = d.now.Truncate(time.Second), "sms"
	h := dialog.Heard{Lang: s.Lang, Topic: scaleTopics[d.IntN(len(scaleTopics))], Understood: true}
	if d.IntN(2) == 0 {
		h.Step = h.Topic + "." + []string{"waste", "drums", "dryness", "starch"}[d.IntN(4)]
	}
	text := d.sentence(s.Lang, 2+d.IntN(7))
	e := &gateway.Entry{Kind: gateway.Heard, At: d.now, Person: c.Person, Channel: "sms", Place: s.Place, Text: text, Heard: &h}
	switch n := d.IntN(1000); {
	case n < 60:
		h.Understood, e.Text = false, d.slip(d.puzzles[d.IntN(len(d.puzzles))])
		d.unknown++
	case n < 70:
		e.Question = text
		d.questions++
	case n < 75:
		e.CallBack = true
	case n < 76:
		h.Tier, h.Emergency = "a", "burn"
	case n < 130:
		h.Report = "lit"
		s.Drums = []dialog.Drum{{Name: "A", Stage: "lit", Waste: "maize-cob", LitAt: s.Seen}}
	case n < 180:
		for j := range s.Drums {
			s.Drums[j].Stage = "sealed"
		}
	case n < 240:
		s.Drums = nil
		b := dialog.Batch{
			At: d.now.Truncate(time.Second), Name: "A", Drums: 1, Waste: []string{"maize-cob", "rice-husk", "coconut-shell", "bagasse"}[d.IntN(4)],
			FeedKg: 20 + 20*d.Float64(), Moisture: 0.1, CharKg: 4 + 4*d.Float64(), Minutes: 150,
		}
		s.Batches, e.Batches = append(s.Batches, b), []dialog.Batch{b}
		s.Batches = s.Batches[max(0, len(s.Batches)-12):]
		h.Topic, h.Report = "burn", "weighed"
		d.batches++
	}
	said := gateway.Said{Key: "recipe.load", Text: strings.Repeat("1 drum: 9 tins of cobs. ", 5), Urgency: dialog.Answer, Segments: 1, Price: 300, Out: true}
	e.Replies = []gateway.Said{said}
	return gateway.Change{
		Conversation: c, Entry: e, Source: gateway.Source{Inbound: gateway.NewMessageID("sms", c.Number.Digits(), e.At.Format(time.RFC3339Nano))},
		Out: []gateway.Outbound{{Channel: "sms", To: c.Number, Urgency: dialog.Answer, Text: said.Text, Segments: 1, Price: 300, Person: c.Person, Expires: d.now.Add(time.Hour)}},
	}
}

// What the console asks is answered right when there is much, and how fast is
// told: times are no test, since machines differ.
func TestScale(t *testing.T) {
	producers, entries := scale()
	d := newDistrict(t, producers, entries)
	began := time.Now()
	d.fill()
	t.Logf("%d producers wrote %d texts in %v", producers, d.turns, time.Since(began).Round(time.Millisecond))
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

	ctx, now := context.Background(), d.now
	must := func(err error) { require.NoError(t, err) }
	must(d.views.CatchUp(ctx)) // with what was written while somebody looked whether they were whole
	said, err := d.views.Days(ctx, views.Within{})
	must(err)
	texts, unknown := 0, 0
	for _, s := range said {
		texts, unknown = texts+s.Texts, unknown+s.Unknown
	}
	require.Equal(t, d.turns+d.more, texts)
	require.Equal(t, d.unknown, unknown)
	y, err := d.views.Yields(ctx, views.Of{}, views.By{})
	must(err)
	require.Equal(t, d.batches, y[0].Batches)
	q, err := d.views.Matters(ctx, views.MatterQuery{Kind: views.Question}, views.Page{})
	must(err)
	require.Equal(t, d.questions, q.All)
	spent, err := d.views.Spending(ctx, start, now, true)
	must(err)
	segments := 0
	for _, s := range spent {
		segments += s.Segments
	}
	require.Equal(t, d.turns, segments)

	place := func() string { return fmt.Sprint("place-", d.IntN(40)) }
	word := func(l locales.Lang, from, to int) string { return d.words[l][from+d.IntN(to-from)] }
	any := func() gateway.PersonKey {
		for {
			if c := d.load(d.IntN(producers)); c.Rev > 0 {
				return c.Person
			}
		}
	}
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
		{"conversation", func() error { _, err := d.views.Conversation(ctx, any(), views.Page{}); return err }},
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
		{"one producer", func() error { _, err := d.views.Producer(ctx, any()); return err }},
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
