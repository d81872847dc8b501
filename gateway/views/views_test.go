package views_test

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/boltstore"
	"cobline/gateway/views"
	"cobline/locales"
)

// start is the time of every test, a Monday morning in Nairobi.
var start = time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)

// field is a store that is filled by hand, and views of it.
type field struct {
	require.TestingT
	ctx   context.Context
	dir   string
	store *boltstore.Store
	views *views.Views
	now   time.Time
	texts int
}

var options = views.Options{Home: "kisimani", Log: slog.New(slog.DiscardHandler)}

func newField(t *testing.T) *field {
	f := openField(t, t.TempDir())
	t.Cleanup(f.close)
	return f
}

func openField(t require.TestingT, dir string) *field {
	f := &field{TestingT: t, ctx: context.Background(), dir: dir, now: start}
	var err error
	f.store, err = boltstore.Open(filepath.Join(dir, "cobline.db"), boltstore.Options{NoSync: true})
	require.NoError(t, err)
	f.open()
	return f
}

func (f *field) path() string { return filepath.Join(f.dir, "views.db") }

func (f *field) open() {
	var err error
	f.views, err = views.Open(f.path(), f.store, options)
	require.NoError(f, err)
}

func (f *field) close() {
	require.NoError(f, f.views.Close())
	require.NoError(f, f.store.Close())
}

func (f *field) catchUp() {
	require.NoError(f, f.views.CatchUp(f.ctx))
	require.True(f, f.views.Progress().Whole())
}

// rebuild deletes the views and makes them anew.
func (f *field) rebuild() {
	require.NoError(f, f.views.Close())
	for _, end := range []string{"", "-wal", "-shm"} {
		require.NoError(f, os.RemoveAll(f.path()+end))
	}
	f.open()
	f.catchUp()
}

func number(i int) gateway.Number {
	n, err := gateway.NumberOf(fmt.Sprintf("999%09d", i))
	if err != nil {
		panic(err)
	}
	return n
}

func (f *field) load(i int) gateway.Conversation {
	c, err := f.store.Load(f.ctx, number(i))
	require.NoError(f, err)
	return c
}

// turn commits a turn of a person; change may alter what it is.
func (f *field) turn(i int, text string, h dialog.Heard, change func(c *gateway.Change)) gateway.Conversation {
	c := f.load(i)
	if c.Person == (gateway.PersonKey{}) {
		f.texts++
		c.Person = gateway.PersonKey{byte(f.texts >> 8), byte(f.texts), 0xaa}
	}
	c.Channel, c.State.Lang, c.State.Seen, c.State.Met = "sms", h.Lang, f.now.Truncate(time.Second), true
	ch := gateway.Change{Conversation: c, Entry: &gateway.Entry{
		Kind: gateway.Heard, At: f.now, Person: c.Person, Channel: "sms", Text: text, Place: c.State.Place, Heard: &h,
	}}
	f.texts++
	ch.Source.Inbound = gateway.NewMessageID("sms", number(i).Digits(), fmt.Sprint(f.texts))
	if change != nil {
		change(&ch)
	}
	require.NoError(f, f.store.Commit(f.ctx, ch))
	return f.load(i)
}

func understood(topic string) dialog.Heard {
	return dialog.Heard{Lang: "en", Topic: topic, Understood: true}
}

func texts(h views.Hits) (all []string) {
	for _, hit := range h.Hits {
		all = append(all, hit.Text)
	}
	return all
}

func (f *field) search(q views.Query) []string {
	h, err := f.views.Search(f.ctx, q, views.Page{})
	require.NoError(f, err)
	return texts(h)
}

func TestSearch(t *testing.T) {
	f := newField(t)
	say := func(i int, lang, text string) {
		f.now = f.now.Add(time.Minute)
		f.turn(i, text, dialog.Heard{Lang: locales.Lang(lang), Topic: "recipe", Understood: true}, nil)
	}
	say(1, "en", "cobs 2 drums snaps")
	say(2, "sw", "Nataka Kujua Mahindi ng'ombe")
	say(3, "fr", "où est l'eau? Séchées, déjà")
	say(4, "pt", "carvão de coração às três ½")
	say(5, "es", "¿Cuántos años? mañana señor")
	say(6, "hi", "कोयला कितना चाहिए पाँच ज़मीन")
	f.catchUp()
	for words, want := range map[string][]string{
		"COBS":                   {"cobs 2 drums snaps"},
		"drums cobs":             {"cobs 2 drums snaps"},
		"drum":                   {"cobs 2 drums snaps"}, // a longer word is found by its beginning
		"cob":                    nil,                    // a short one is not
		"kujua ngombe":           nil,
		"ng'ombe":                {"Nataka Kujua Mahindi ng'ombe"},
		"ou eau":                 {"où est l'eau? Séchées, déjà"},
		"l’eau SECHEES":          {"où est l'eau? Séchées, déjà"},
		"carvao coracao":         {"carvão de coração às três ½"},
		"manana anos":            {"¿Cuántos años? mañana señor"},
		"कोयला":                  {"कोयला कितना चाहिए पाँच ज़मीन"},
		"पांच जमीन":              {"कोयला कितना चाहिए पाँच ज़मीन"},
		"absent":                 nil,
		"cobs absent":            nil,
		`"`:                      nil,
		`cobs"`:                  {"cobs 2 drums snaps"},
		`cobs OR absent`:         nil,
		`cobs NOT drums`:         nil,
		`NEAR(cobs drums)`:       nil,
		`text:cobs`:              nil,
		`cobs*) OR (1`:           nil,
		`cobs AND`:               nil,
		`'; DROP TABLE line; --`: nil,
		"cobs\x00drums":          {"cobs 2 drums snaps"},
		"^cobs":                  {"cobs 2 drums snaps"},
		"-cobs":                  {"cobs 2 drums snaps"},
		"   ":                    {"कोयला कितना चाहिए पाँच ज़मीन", "¿Cuántos años? mañana señor", "carvão de coração às três ½", "où est l'eau? Séchées, déjà", "Nataka Kujua Mahindi ng'ombe", "cobs 2 drums snaps"},
	} {
		require.Equal(t, want, f.search(views.Query{Words: words}), "%q", words)
	}
	require.Equal(t, []string{"cobs 2 drums snaps"}, f.search(views.Query{Lang: "en", Place: "kisimani", Topic: "recipe"}), "who named no place is at home")
	require.Empty(t, f.search(views.Query{Lang: "en", Place: "elsewhere"}))
	require.Equal(t, []string{"où est l'eau? Séchées, déjà", "Nataka Kujua Mahindi ng'ombe"}, f.search(views.Query{From: start.Add(2 * time.Minute), To: start.Add(4 * time.Minute)}))
	h, err := f.views.Search(f.ctx, views.Query{Words: "eau"}, views.Page{})
	require.NoError(t, err)
	mark := h.Hits[0].Marks[0]
	require.Equal(t, "eau", h.Hits[0].Snippet[mark[0]:mark[1]])
	require.Equal(t, "+999…03", h.Hits[0].Number.String())
}

// TestYieldsThatCannotBe: weights that no load gives, such as the charcoal of two
// drums beside the waste of one, are batches and no yields.
func TestYieldsThatCannotBe(t *testing.T) {
	f := newField(t)
	for i, char := range []float64{6, 7, 8, 16, 40, 0.5} { // of 33 kg of dry cobs
		b := dialog.Batch{At: f.now.Add(time.Duration(i) * time.Minute), Name: "A", Waste: "maize-cob", Drums: 1, FeedKg: 33, CharKg: char, Moisture: 0.12}
		f.turn(i, "weighed", understood("burn"), func(c *gateway.Change) {
			c.Conversation.State.Batches = []dialog.Batch{b}
			c.Entry.Batches = []dialog.Batch{b}
		})
	}
	f.catchUp()
	y, err := f.views.Yields(f.ctx, views.Of{}, views.By{})
	require.NoError(t, err)
	require.Len(t, y, 1)
	require.Equal(t, []int{6, 3}, []int{y[0].Batches, y[0].Measured})
	require.InDelta(t, 7/(33*0.88), y[0].Median, 0.005)
}
