package storetest

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"strings"
	"sync"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/locales"
)

// District is an invented programme that fills a store through the doors every
// turn goes through. Its people work at 40 places, in five languages; of each
// kind of matter it counts what it made.
type District struct {
	require.TestingT
	*rand.Rand
	Producers, Entries                 int
	Turns, Unknown, Batches, Questions int
	Now                                time.Time

	ctx     context.Context
	store   gateway.Store
	words   map[locales.Lang][]string
	puzzles []string
}

// Places is at how many places the people of a district work.
const Places = 40

// Scale returns how many producers and journal entries a test is to make: many
// with COBLINE_SCALE=long, else few.
func Scale() (producers, entries int) {
	switch os.Getenv("COBLINE_SCALE") {
	case "long":
		return 100_000, 5_000_000
	case "middle": // a tenth of it, to find what is slow
		return 10_000, 500_000
	case "small":
		return 60, 1_500
	}
	return 200, 10_000
}

var districtTopics = []string{"recipe", "burn", "binder", "pressing", "drying", "plan", "price", "fix", "batches", "ask"}

// NewDistrict returns a district whose first text is to come at a time.
func NewDistrict(t require.TestingT, store gateway.Store, from time.Time, producers, entries int) *District {
	d := &District{
		TestingT: t, Rand: rand.New(rand.NewPCG(1, 2)), Producers: producers, Entries: entries, Now: from,
		ctx: context.Background(), store: store, words: map[locales.Lang][]string{},
	}
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

// Place draws the key of a place.
func (d *District) Place() string { return PlaceKey(d.IntN(Places)) }

// PlaceKey is the key of a place of a district.
func PlaceKey(i int) string { return fmt.Sprint("place-", i) }

// Word draws a word of a language, of those that rank between two by how often
// they are written: 0 is the most frequent of 4000.
func (d *District) Word(l locales.Lang, from, to int) string { return d.words[l][from+d.IntN(to-from)] }

// Somebody draws one who wrote.
func (d *District) Somebody() gateway.Conversation {
	for {
		if c := d.Load(d.IntN(d.Producers)); c.Rev > 0 {
			return c
		}
	}
}

// Load returns the conversation of a producer.
func (d *District) Load(i int) gateway.Conversation {
	c, err := d.store.Load(d.ctx, number(i))
	require.NoError(d, err)
	return c
}

// sentence draws words, the first of the list far more often than the last.
func (d *District) sentence(l locales.Lang, n int) string {
	words := make([]string, n)
	for i := range words {
		x := d.Float64()
		words[i] = d.words[l][int(x*x*x*float64(len(d.words[l])))]
	}
	return strings.Join(words, " ")
}

// slip changes a letter now and then.
func (d *District) slip(text string) string {
	if d.IntN(3) == 0 && len(text) > 4 {
		i := 1 + d.IntN(len(text)-2)
		return text[:i] + string(rune('a'+d.IntN(26))) + text[i+1:]
	}
	return text
}

// Fill writes the journal: each text is answered by one message, which goes out
// and, half of the time, is reported.
func (d *District) Fill() {
	turns := d.Entries * 2 / 5               // with half of their answers reported, two and a half entries each
	together := max(1, min(2000, turns/100)) // a report is taken for 14 days
	pause := 300 * 24 * time.Hour / time.Duration(turns)
	read, err := d.store.Last(d.ctx)
	require.NoError(d, err)
	for done := 0; done < turns; {
		var changes []gateway.Change
		writes := map[int]bool{}
		for len(changes) < min(together, turns-done, d.Producers) {
			if i := d.IntN(d.Producers); !writes[i] {
				writes[i] = true
				d.Now = d.Now.Add(pause)
				changes = append(changes, d.draw(i))
			}
		}
		done += len(changes)
		parallel(d, changes, func(c gateway.Change) error { return d.store.Commit(d.ctx, c) })
		entries, err := d.store.After(d.ctx, read, 4*together)
		require.NoError(d, err)
		var written []gateway.Entry
		for _, e := range entries {
			read = e.Key
			if e.Kind == gateway.Heard {
				written = append(written, e)
			}
		}
		parallel(d, written, func(e gateway.Entry) error {
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
	d.Turns = turns
}

// parallel does something with each of a list, many at once: a store groups what
// comes together.
func parallel[T any](t require.TestingT, list []T, do func(T) error) {
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
		require.NoError(t, err)
	}
}

// Next makes the next turn of somebody, a second after the last. It is not kept
// yet.
func (d *District) Next() gateway.Change {
	d.Now = d.Now.Add(time.Second)
	return d.draw(d.IntN(d.Producers))
}

// draw makes the next turn of a producer.
func (d *District) draw(i int) gateway.Change {
	c := d.Load(i)
	s := &c.State
	if c.Rev == 0 {
		c.Person = gateway.PersonKey{byte(d.Uint32()), byte(d.Uint32()), byte(d.Uint32()), byte(i >> 24), byte(i >> 16), byte(i >> 8), byte(i), 1}
		s.Lang, s.Chosen, s.Met = []locales.Lang{"en", "sw", "sw", "sw", "fr", "pt", "hi"}[d.IntN(7)], true, true
		s.Place = d.Place()
		if d.IntN(3) == 0 {
			s.Profile.Group = fmt.Sprint("group ", d.IntN(500))
		}
		s.Profile.Consent = []string{"", "paper", "text-yes", "text-yes", "text-no"}[d.IntN(5)]
	}
	s.Stopped = d.IntN(60) == 0
	s.Seen, c.Channel = d.Now.Truncate(time.Second), "sms"
	h := dialog.Heard{Lang: s.Lang, Topic: districtTopics[d.IntN(len(districtTopics))], Understood: true}
	if d.IntN(2) == 0 {
		h.Step = h.Topic + "." + []string{"waste", "drums", "dryness", "starch"}[d.IntN(4)]
	}
	s.Frames, s.Wet = []dialog.Frame{{Topic: h.Topic, Done: true, Slots: dialog.Slots{"waste": {Key: "maize-cob"}, "drums": {Number: 1}}}}, d.IntN(9) == 0
	text := d.sentence(s.Lang, 2+d.IntN(7))
	e := &gateway.Entry{Kind: gateway.Heard, At: d.Now, Person: c.Person, Channel: "sms", Place: s.Place, Text: text, Heard: &h}
	switch n := d.IntN(1000); {
	case n < 60:
		h.Understood, e.Text = false, d.slip(d.puzzles[d.IntN(len(d.puzzles))])
		d.Unknown++
	case n < 70:
		e.Question = text
		d.Questions++
	case n < 75:
		e.CallBack = true
	case n < 76:
		h.Tier, h.Emergency = "a", "burn"
	case n < 130:
		h.Report = "lit"
		s.Drums = []dialog.Drum{{Name: "A", Stage: "lit", Waste: "maize-cob", LitAt: s.Seen}}
	case n < 180:
		for j := range s.Drums {
			s.Drums[j].Stage, s.Drums[j].SealedAt, s.Drums[j].NotBefore = "sealed", s.Seen, s.Seen.Add(12*time.Hour)
		}
	case n < 240:
		s.Drums = nil
		b := dialog.Batch{
			At: d.Now.Truncate(time.Second), Name: "A", Drums: 1, Waste: []string{"maize-cob", "rice-husk", "coconut-shell", "bagasse"}[d.IntN(4)],
			FeedKg: 20 + 20*d.Float64(), Moisture: 0.1, CharKg: 4 + 4*d.Float64(), Minutes: 150,
		}
		s.Batches, e.Batches = append(s.Batches, b), []dialog.Batch{b}
		s.Batches = s.Batches[max(0, len(s.Batches)-12):]
		h.Topic, h.Report = "burn", "weighed"
		d.Batches++
	}
	said := gateway.Said{Key: "recipe.load", Text: strings.Repeat("1 drum: 9 tins of cobs. ", 5), Urgency: dialog.Answer, Segments: 1, Price: 300, Out: true}
	e.Replies = []gateway.Said{said}
	return gateway.Change{
		Conversation: c, Entry: e, Source: gateway.Source{Inbound: gateway.NewMessageID("sms", c.Number.Digits(), e.At.Format(time.RFC3339Nano))},
		Out: []gateway.Outbound{{Channel: "sms", To: c.Number, Urgency: dialog.Answer, Text: said.Text, Segments: 1, Price: 300, Person: c.Person, Expires: d.Now.Add(time.Hour)}},
	}
}
