package views_test

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/boltstore"
	"cobline/gateway/views"
	"cobline/locales"
)

// traces returns which of some texts stand anywhere in the views' files.
func (f *field) traces(words ...string) (found []string) {
	files, err := filepath.Glob(f.path() + "*")
	require.NoError(f, err)
	for _, file := range files {
		b, err := os.ReadFile(file)
		require.NoError(f, err)
		for _, w := range words {
			if bytes.Contains(b, []byte(w)) {
				found = append(found, filepath.Base(file)+": "+w)
			}
		}
	}
	return found
}

// Whoever is forgotten is in no answer at once, and in no octet of the file as
// soon as the projector has come to it, also while others read.
func TestForgotten(t *testing.T) {
	f := newField(t)
	words := []string{"qwyzzlefern", "xanthobramble", "vutrelplonk", "yorbinquash"}
	for i := range 1500 { // so that the index has parts to merge, and the file free pages
		f.now = f.now.Add(time.Minute)
		f.turn(2+i%50, fmt.Sprintf("w%dx drum %d", rand.N(4000), i), understood("recipe"), nil)
		if i%250 == 0 {
			w := words[(i/250)%len(words)]
			h := understood("recipe")
			h.Understood = i%500 != 0
			if i == 500 {
				h.Tier, h.Emergency = "a", "gas"
			}
			f.turn(1, w+" "+strings.Repeat(w+" cobs ", 40), h, func(c *gateway.Change) {
				c.Conversation.State.Profile.Group = "zibbernaut group"
				c.Entry.Question, c.Entry.CallBack = "ask "+w, true
				b := dialog.Batch{At: f.now, Name: "plimsoleth", Waste: "maize-cob", FeedKg: 30, CharKg: 7}
				c.Conversation.State.Batches, c.Entry.Batches = []dialog.Batch{b}, []dialog.Batch{b}
			})
			f.catchUp()
		}
	}
	f.catchUp()
	secrets := append(words, "zibbernaut", "plimsoleth")
	require.NotEmpty(t, f.traces(secrets...), "the test finds what is there")
	require.Empty(t, f.traces(number(1).Digits(), "9990000000", number(1).National()), "a number is never there")
	person := f.load(1).Person
	reads, err := f.views.Search(f.ctx, views.Query{Words: words[0]}, views.Page{})
	require.NoError(t, err)
	require.Len(t, reads.Hits, 2)

	f.now = f.now.Add(time.Minute)
	f.turn(1, "yorbinquash", understood(""), func(c *gateway.Change) { c.Erase = &dialog.Erase{} })
	require.Empty(t, f.search(views.Query{Words: words[0]}), "before the projector knows")
	_, err = f.views.Conversation(f.ctx, person, views.Page{})
	require.ErrorIs(t, err, gateway.ErrNotFound)
	m, err := f.views.Matters(f.ctx, views.MatterQuery{Kind: views.Question}, views.Page{})
	require.NoError(t, err)
	require.Empty(t, m.List)
	require.Zero(t, m.All)

	f.catchUp()
	require.Empty(t, f.traces(secrets...))
	require.Empty(t, f.search(views.Query{Words: "cobs"}))
	y, err := f.views.Yields(f.ctx, views.Of{}, views.By{})
	require.NoError(t, err)
	require.Empty(t, y)
	f.rebuild()
	require.Empty(t, f.traces(secrets...))
	require.NoError(t, f.store.Err())
}

// A journal that ends in the middle of a batch of the projector, a projector
// that ended between two, a file that was deleted: the views are the same.
func TestResumed(t *testing.T) {
	f := newField(t)
	for i := range 5000 { // more than the projector takes at once
		f.now = f.now.Add(time.Minute)
		f.turn(i%40, fmt.Sprintf("drum %d of %d", i%7, i), dialog.Heard{Lang: "en", Topic: "recipe", Step: "recipe.waste", Understood: i%9 > 0}, nil)
	}
	ctx, cancel := context.WithCancel(f.ctx)
	go func() {
		for f.views.Progress().Taken == 0 {
			time.Sleep(time.Millisecond)
		}
		cancel()
	}()
	require.NoError(t, f.views.Run(ctx))
	p := f.views.Progress()
	require.Positive(t, p.Taken)
	require.False(t, p.Whole(), "it was ended on the way")
	require.NoError(t, f.views.Close())
	f.open()
	require.Equal(t, p.Taken, f.views.Progress().Taken, "it goes on where it was")
	f.catchUp()
	before := f.sums()
	f.rebuild()
	require.Equal(t, before, f.sums())
}

// A process that is killed while it takes in the journal leaves views that go on
// as if nothing had been.
func TestKilled(t *testing.T) {
	const child = "COBLINE_TEST_VIEWS"
	if dir := os.Getenv(child); dir != "" { // the process that is killed
		views.SetBatch(50)
		f := openField(t, dir)
		go func() {
			for {
				fmt.Println("taken", f.views.Progress().Taken)
			}
		}()
		require.NoError(t, f.views.CatchUp(f.ctx))
		select {}
	}
	f := newField(t)
	for i := range 3000 {
		f.now = f.now.Add(time.Minute)
		f.turn(i%40, fmt.Sprintf("drum %d of %d", i%7, i), dialog.Heard{Lang: "en", Topic: "recipe", Step: "recipe.waste", Understood: i%9 > 0}, nil)
	}
	f.catchUp()
	whole := f.sums()
	f.close()
	require.NoError(t, os.Remove(f.path()))
	for _, at := range []uint64{50, 700, 1500, 2600} {
		c := exec.Command(os.Args[0], "-test.run=^TestKilled$")
		c.Env = append(os.Environ(), child+"="+f.dir)
		out, err := c.StdoutPipe()
		require.NoError(t, err)
		require.NoError(t, c.Start())
		var taken uint64
		for lines := bufio.NewScanner(out); taken < at && lines.Scan(); {
			_, _ = fmt.Sscanf(lines.Text(), "taken %d", &taken)
		}
		require.GreaterOrEqual(t, taken, at, "it ended by itself")
		require.NoError(t, c.Process.Kill())
		require.Error(t, c.Wait())
	}
	var err error
	f.store, err = boltstore.Open(filepath.Join(f.dir, "cobline.db"), boltstore.Options{NoSync: true})
	require.NoError(t, err)
	f.open()
	require.GreaterOrEqual(t, f.views.Progress().Taken, uint64(2600))
	f.catchUp()
	require.Equal(t, whole, f.sums())
}

// sums returns some answers that rest on the whole journal.
func (f *field) sums() (all []any) {
	add := func(answer any, err error) {
		require.NoError(f, err)
		all = append(all, answer)
	}
	add(f.views.Days(f.ctx, views.Within{}))
	add(f.views.Stops(f.ctx, views.Within{}, f.now))
	add(f.views.Topics(f.ctx, views.Within{}))
	add(f.views.Unknown(f.ctx, "en", start, f.now, 0, 50))
	add(f.views.Search(f.ctx, views.Query{Words: "drum"}, views.Page{Max: 500}))
	add(f.views.Producers(f.ctx, views.Filter{}, gateway.PersonKey{}, 100, f.now))
	add(f.views.Totals(f.ctx, f.now))
	return all
}

// What is no good is thrown away and made anew.
func TestMadeAnew(t *testing.T) {
	f := newField(t)
	f.turn(1, "cobs", understood("recipe"), nil)
	f.catchUp()
	page := func(file string) {
		b, err := os.ReadFile(file)
		require.NoError(t, err)
		for i := 100; i < len(b); i++ {
			b[i] = 0xee
		}
		require.NoError(t, os.WriteFile(file, b, 0o600))
	}
	for name, spoil := range map[string]func(){
		"no database": func() {
			require.NoError(t, os.WriteFile(f.path(), []byte("not a database at all, but long enough to be read as one"), 0o600))
		},
		"empty":           func() { require.NoError(t, os.WriteFile(f.path(), nil, 0o600)) },
		"damaged":         func() { page(f.path()) },
		"cut":             func() { require.NoError(t, os.Truncate(f.path(), 5000)) },
		"gone":            func() { require.NoError(t, os.Remove(f.path())) },
		"of another zone": func() { options.Zone = time.FixedZone("", 3*60*60) },
	} {
		require.NoError(t, f.views.Close())
		spoil()
		f.open()
		require.NoError(t, run(f), name)
		require.Equal(t, []string{"cobs"}, f.search(views.Query{Words: "cobs"}), name)
	}
	options.Zone = nil
	info, err := os.Stat(f.path())
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm())
}

// A line that starts for the first time has nothing to be warned of.
func TestNewFile(t *testing.T) {
	var log bytes.Buffer
	store, err := boltstore.Open(filepath.Join(t.TempDir(), "cobline.db"), boltstore.Options{NoSync: true})
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "views.db")
	o := views.Options{Log: slog.New(slog.NewTextHandler(&log, nil))}
	for range 2 {
		v, err := views.Open(path, store, o)
		require.NoError(t, err)
		require.NoError(t, v.CatchUp(context.Background()))
		require.NoError(t, v.Close())
		require.Empty(t, log.String())
	}
	o.Home = "mlima"
	v, err := views.Open(path, store, o)
	require.NoError(t, err)
	require.NoError(t, v.Close())
	require.Contains(t, log.String(), `level=WARN msg="views are made anew"`)
	require.Contains(t, log.String(), "it is of another version")
	require.NoError(t, store.Close())
}

// run lets the projector run until it knows all.
func run(f *field) error {
	ctx, cancel := context.WithTimeout(f.ctx, time.Minute)
	defer cancel()
	ended := make(chan error, 1)
	go func() { ended <- f.views.Run(ctx) }()
	for !f.views.Progress().Whole() || f.views.Progress().Taken == 0 {
		select {
		case err := <-ended:
			return fmt.Errorf("ended: %w", err)
		case <-time.After(time.Millisecond):
		}
	}
	cancel()
	return <-ended
}

// An older copy of the store was put in place: the views know entries it has
// not, and others have their places.
func TestRestored(t *testing.T) {
	f := newField(t)
	f.turn(1, "cobs", understood("recipe"), nil)
	var copied bytes.Buffer
	require.NoError(t, f.store.Backup(f.ctx, &copied))
	f.now = f.now.Add(time.Minute)
	f.turn(1, "husks", understood("recipe"), nil)
	f.catchUp()
	require.NoError(t, f.views.Close())
	require.NoError(t, f.store.Close())
	require.NoError(t, os.WriteFile(filepath.Join(f.dir, "cobline.db"), copied.Bytes(), 0o600))
	var err error
	f.store, err = boltstore.Open(filepath.Join(f.dir, "cobline.db"), boltstore.Options{NoSync: true})
	require.NoError(t, err)
	f.now = f.now.Add(time.Minute)
	f.turn(1, "shells", understood("recipe"), nil)
	f.open()
	f.catchUp()
	require.Equal(t, []string{"shells", "cobs"}, f.search(views.Query{}))
}

// People write, are forgotten and looked at while the projector runs.
func TestTogether(t *testing.T) {
	f := newField(t)
	ctx, cancel := context.WithCancel(f.ctx)
	var writing, reading sync.WaitGroup
	running := make(chan error, 1)
	go func() { running <- f.views.Run(ctx) }()
	for range 3 {
		reading.Go(func() {
			for ctx.Err() == nil {
				hits, err := f.views.Search(f.ctx, views.Query{Words: "drum"}, views.Page{})
				for _, h := range hits.Hits {
					if _, gone := f.views.Conversation(f.ctx, h.Person, views.Page{Max: 5}); !errors.Is(gone, gateway.ErrNotFound) {
						err = errors.Join(err, gone)
					}
				}
				_, listing := f.views.Producers(f.ctx, views.Filter{}, gateway.PersonKey{}, 5, start)
				_, summing := f.views.Totals(f.ctx, start)
				if err := errors.Join(err, listing, summing); err != nil {
					t.Error(err)
					return
				}
			}
		})
	}
	writing.Go(func() {
		for i := range 600 {
			f.now = f.now.Add(time.Minute)
			f.turn(i%20, fmt.Sprint("drum ", i), understood("recipe"), func(c *gateway.Change) {
				if i%50 == 49 {
					c.Erase = &dialog.Erase{}
				}
			})
		}
	})
	writing.Wait()
	for !f.views.Progress().Whole() {
		time.Sleep(time.Millisecond)
	}
	cancel()
	reading.Wait()
	require.NoError(t, <-running)
	f.catchUp()
	f.check(t)
}

// The file is damaged while it is used: the projector makes it anew.
func TestDamagedMeanwhile(t *testing.T) {
	f := newField(t)
	for i := range 2000 {
		f.now = f.now.Add(time.Minute)
		f.turn(i%20, fmt.Sprint("drum ", i), understood("recipe"), nil)
	}
	f.catchUp()
	require.NoError(t, f.views.Close())
	b, err := os.ReadFile(f.path())
	require.NoError(t, err)
	for i := len(b) / 4; i < len(b); i++ { // what opening does not read
		b[i] = 0xee
	}
	require.NoError(t, os.WriteFile(f.path(), b, 0o600))
	f.open()
	_, err = f.views.Search(f.ctx, views.Query{Words: "drum"}, views.Page{})
	require.Error(t, err)
	f.turn(1, "one more", understood("recipe"), nil)
	require.NoError(t, run(f))
	for f.views.Progress().Taken < 2001 {
		require.NoError(t, run(f))
	}
	require.Equal(t, []string{"one more"}, f.search(views.Query{Words: "more"}))
	require.Len(t, f.search(views.Query{Words: "drum"}), 50)
}

// From the recipe to the batch, through questions asked on the way.
func TestDurations(t *testing.T) {
	f := newField(t)
	days := func(d float64) { f.now = f.now.Add(time.Duration(d * 24 * float64(time.Hour))) }
	say := func(topic, report string) {
		h := understood(topic)
		h.Report = report
		f.turn(1, topic+" "+report, h, nil)
	}
	weighed := func(name string) {
		b := dialog.Batch{At: f.now.Truncate(time.Second), Name: name, Waste: "maize-cob", FeedKg: 30, CharKg: 7}
		f.turn(1, "weighed", understood("burn"), func(c *gateway.Change) {
			c.Conversation.State.Batches = append(c.Conversation.State.Batches, b)
			c.Entry.Batches = []dialog.Batch{b}
		})
	}
	say("recipe", "") // only to see what it says
	days(10)
	say("recipe", "") // this is the one
	days(0.5)
	say("recipe", "") // an answer to its question
	days(0.5)
	say("burn", "lit")
	days(1.2)
	say("recipe", "") // asked again while the drum is hot
	days(0.8)
	weighed("A") // 3 days
	days(1)
	weighed("B") // 4 days: the second drum of the same recipe
	days(1)
	say("recipe", "")
	days(2)
	weighed("A") // 2 days
	days(100)
	weighed("A") // nobody knows
	f.catchUp()
	d, err := f.views.Durations(f.ctx, views.Of{Waste: "maize-cob"}, views.By{})
	require.NoError(t, err)
	require.Equal(t, 4, d[0].Batches)
	require.Equal(t, 3, d[0].Measured)
	require.InDelta(t, 3, d[0].Median, 0.25)
	batches, _, err := f.views.Batches(f.ctx, views.Of{}, f.load(1).Person, views.Batch{}, 0)
	require.NoError(t, err)
	var got []float64
	for _, b := range batches {
		got = append(got, b.Days)
	}
	require.InDeltaSlice(t, []float64{0, 2, 4, 3}, got, 0.01)
}

// Spellings of one text are one group; what means something else is another.
func TestAlike(t *testing.T) {
	f := newField(t)
	say := func(i int, text string) {
		f.now = f.now.Add(time.Hour)
		f.turn(i, text, dialog.Heard{Lang: "en", Topic: "recipe", Step: "recipe.drums"}, nil)
	}
	for i, text := range []string{
		"how much starch for 10 kg", "How much starch for 25 kg?", "how much strach for 7 kg", "for 3 kg how much starch", "how much starch",
		"banana leaves", "bananna leaves", "banana leafs", "?", "?", "ash", "wet", "nubbins", "nubbins plenty", "have nubins",
	} {
		say(i%4+1, text)
	}
	f.turn(1, "how much starch for 10 kg", dialog.Heard{Lang: "sw"}, nil)
	f.catchUp()
	u, err := f.views.Unknown(f.ctx, "en", start, f.now, 0, 10)
	require.NoError(t, err)
	var got [][]views.Form
	for _, g := range u.Groups {
		got = append(got, g.Forms)
	}
	require.Equal(t, [][]views.Form{
		{{Form: "how much starch for # kg", Texts: 2}, {Form: "for # kg how much starch", Texts: 1}, {Form: "how much strach for # kg", Texts: 1}},
		{{Form: "banana leaves", Texts: 2}, {Form: "banana leafs", Texts: 1}},
		{{Form: "nubins", Texts: 1}, {Form: "have nubins", Texts: 1}, {Form: "nubins plenty", Texts: 1}},
		{{Form: "?", Texts: 2}},
		{{Form: "ash", Texts: 1}},
		{{Form: "wet", Texts: 1}},
		{{Form: "how much starch", Texts: 1}},
	}, got)
	require.Equal(t, []int{4}, u.Groups[0].Days)
	require.Len(t, u.Groups[0].Examples, 3)
	require.Equal(t, "recipe.drums", u.Groups[0].Examples[0].Step, "what was asked")
	part, err := f.views.Unknown(f.ctx, "en", start, f.now, 1, 2)
	require.NoError(t, err)
	require.Equal(t, u.Groups[1:3], part.Groups)
	require.Equal(t, 7, part.All)
}

// A notice is sent by the name of its reference, and its fate is found there.
func TestNoticeFate(t *testing.T) {
	f := newField(t)
	c := f.turn(1, "cobs", understood("recipe"), nil)
	notice := gateway.Notice{Message: dialog.Notice{ID: "n1", Texts: map[locales.Lang]string{"en": "rain"}, Expires: start.Add(time.Hour)}, At: start, Progress: gateway.Running}
	require.NoError(t, f.store.Enlist(f.ctx, notice, 0, []gateway.Outbound{{
		Channel: "sms", To: c.Number, Urgency: dialog.Bulletin, Person: c.Person, Segments: 1, Price: 300, Expires: start.Add(time.Hour), Notice: "n1",
	}}, start))
	leased, err := f.store.Lease(f.ctx, "sms", start, time.Minute, 1)
	require.NoError(t, err)
	m := leased[0]
	m.Text = "rain"
	f.turn(1, "", understood(""), func(ch *gateway.Change) {
		ch.Source = gateway.Source{Bulletin: &m}
		e := ch.Entry
		e.Kind, e.Notice, e.Ref = gateway.Noticed, "n1", m.Ref
		e.Replies = []gateway.Said{{Key: dialog.NoticeKey, Text: "rain", Urgency: dialog.Bulletin, Segments: 1, Price: 300, Out: true}}
	})
	require.NoError(t, f.store.Settle(f.ctx, m.Ref, gateway.Settlement{Outcome: gateway.Sent, At: start}))
	require.NoError(t, f.store.Report(f.ctx, gateway.Report{Channel: "sms", Ref: m.Ref, State: gateway.ReportDelivered, At: start}))
	f.catchUp()
	talk, err := f.views.Conversation(f.ctx, c.Person, views.Page{})
	require.NoError(t, err)
	require.Equal(t, []views.Fate{{Outcome: gateway.Sent, Delivery: gateway.ReportDelivered}}, talk.Lines[0].Fates)
	spent, err := f.views.Spending(f.ctx, start, start, false)
	require.NoError(t, err)
	require.Equal(t, f.store.Spent("sms", start).Day, spent[0].Spend)
}

// Who is at a place is known exactly when the views are whole, and with some more
// people when they are behind: nobody who moved there lately is missed.
func TestAt(t *testing.T) {
	f := newField(t)
	moves := func(i int, place string) gateway.PersonKey {
		f.now = f.now.Add(time.Second)
		return f.turn(i, "hi", understood("lobby"), func(c *gateway.Change) { c.Conversation.State.Place, c.Entry.Place = place, place }).Person
	}
	at := func(places ...string) []gateway.PersonKey {
		keys, known, err := f.views.At(f.ctx, places)
		require.NoError(t, err)
		require.True(t, known)
		return keys
	}
	var people []gateway.PersonKey
	for i := range 30 {
		people = append(people, moves(i, []string{"", "hill", "lake"}[i%3]))
	}
	require.ElementsMatch(t, people, at("hill"), "nothing is projected yet: it may be anybody")
	f.catchUp()
	third := func(from int) (keys []gateway.PersonKey) {
		for i := from; i < len(people); i += 3 {
			keys = append(keys, people[i])
		}
		return keys
	}
	require.ElementsMatch(t, third(0), at(options.Home), "who named none is at home")
	require.ElementsMatch(t, third(1), at("HILL"))
	require.ElementsMatch(t, append(third(1), third(2)...), at("hill", "lake"))
	require.Empty(t, at("nowhere"))

	moves(0, "hill")
	moves(1, "lake")
	stranger := moves(99, "hill")
	require.ElementsMatch(t, append(third(1), people[0], stranger), at("hill"), "who left may be named still")
	f.catchUp()
	require.ElementsMatch(t, append(third(1)[1:], people[0], stranger), at("hill"))
	f.turn(0, "forget", understood(""), func(c *gateway.Change) { c.Erase = &dialog.Erase{} })
	f.catchUp()
	require.ElementsMatch(t, append(third(1)[1:], stranger), at("hill"))

	for range 4000 {
		moves(5, "lake")
	}
	_, known, err := f.views.At(f.ctx, []string{"hill"})
	require.NoError(t, err)
	require.False(t, known, "too far behind to know")
	require.NoError(t, f.views.Close())
	_, _, err = f.views.At(f.ctx, []string{"hill"})
	require.Error(t, err)
	f.open()
}
