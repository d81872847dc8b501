package views_test

import (
	"cmp"
	"flag"
	"fmt"
	"maps"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/calc"
	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/views"
	"cobline/locales"
)

// The views must say what going through the whole journal and all people says:
// own reference computation, without an index or a sum kept.

func TestAgainstTheJournal(t *testing.T) {
	if os.Getenv("COBLINE_SCALE") == "small" {
		few(t, "rapid.checks", "12")
	}
	rapid.Check(t, func(rt *rapid.T) {
		dir, err := os.MkdirTemp(t.TempDir(), "")
		require.NoError(rt, err)
		f := openField(rt, dir)
		defer f.close()
		d := &drawer{field: f, T: rt}
		rt.Repeat(map[string]func(*rapid.T){
			"say":     d.say,
			"say on":  d.say, // most of what happens
			"weigh":   d.weigh,
			"correct": d.correct,
			"erase":   d.erase,
			"see":     d.see,
			"enrol":   d.enrol,
			"send":    d.send,
			"report":  d.report,
			"case":    d.decide,
			"answer":  d.answer,
			"office":  d.office,
			"wait": func(rt *rapid.T) {
				f.now = f.now.Add(time.Duration(rapid.SampledFrom([]int{1, 20, 300, 1440, 1500, 15000}).Draw(rt, "minutes")) * time.Minute)
			},
			"take in": func(*rapid.T) { f.catchUp() },
			"reopen": func(*rapid.T) {
				require.NoError(f, f.views.Close())
				f.open()
			},
		})
		f.catchUp()
		before := f.check(rt)
		f.rebuild()
		require.Equal(rt, before, f.check(rt), "the same views, made anew")
	})
}

// few sets a flag for one test.
func few(t *testing.T, name, value string) {
	f := flag.Lookup(name)
	before := f.Value.String()
	require.NoError(t, f.Value.Set(value))
	t.Cleanup(func() { require.NoError(t, f.Value.Set(before)) })
}

// drawer does to a store what a rapid test draws.
type drawer struct {
	*field
	*rapid.T
	sent []string // references of messages
}

func (d *drawer) who(rt *rapid.T) int { return rapid.IntRange(1, 4).Draw(rt, "person") }

var vocabulary = []string{"cobs", "drum", "drums", "drmus", "snaps", "smoke", "price", "kuni", "maize", "12", "7kg"}

func (d *drawer) heard(rt *rapid.T) dialog.Heard {
	step := rapid.SampledFrom([]string{"", "recipe.waste", "recipe.drums", "burn.at"}).Draw(rt, "step")
	return dialog.Heard{
		Lang:       rapid.SampledFrom([]locales.Lang{"en", "sw"}).Draw(rt, "language"),
		Topic:      rapid.SampledFrom([]string{"", "recipe", "burn", "price"}).Draw(rt, "topic"),
		Understood: rapid.IntRange(0, 2).Draw(rt, "understood") > 0, Step: step,
		Report: rapid.SampledFrom([]string{"", "", "lit", "covered"}).Draw(rt, "report"),
	}
}

func (d *drawer) say(rt *rapid.T) {
	text := strings.Join(rapid.SliceOfN(rapid.SampledFrom(vocabulary), 0, 5).Draw(rt, "text"), " ")
	h := d.heard(rt)
	if rapid.IntRange(0, 9).Draw(rt, "harm") == 0 {
		h.Emergency, h.Tier, h.Understood = "gas", rapid.SampledFrom([]string{"a", "b"}).Draw(rt, "tier"), true
	}
	waits := rapid.IntRange(0, 12).Draw(rt, "waits")
	replies := rapid.IntRange(0, 2).Draw(rt, "replies")
	drums := rapid.SliceOfN(rapid.SampledFrom([]string{"lit", "sealed", "opened"}), 0, 2).Draw(rt, "drums")
	place := rapid.SampledFrom([]string{"", "mlima"}).Draw(rt, "place")
	stopped := rapid.IntRange(0, 8).Draw(rt, "stopped") == 0
	c := d.turn(d.who(rt), text, h, func(c *gateway.Change) {
		s, e := &c.Conversation.State, c.Entry
		s.Drums, s.Place, s.Stopped, e.Place = nil, place, stopped, place
		for _, stage := range drums {
			s.Drums = append(s.Drums, dialog.Drum{Stage: stage, Waste: "maize-cob"})
		}
		switch waits {
		case 0:
			e.Question = "may I " + text
		case 1:
			e.CallBack = true
		case 2:
			e.Flags = []string{"not understood"}
		}
		for i := range replies {
			said := gateway.Said{Key: "test.answer", Text: fmt.Sprint("answer ", i), Urgency: dialog.Answer, Segments: i + 1, Price: gateway.MoneyOf(0.1 * float64(i+1)), Inline: i == 0 && waits > 8, Out: !(i == 0 && waits > 8)}
			if e.Replies = append(e.Replies, said); said.Out {
				c.Out = append(c.Out, gateway.Outbound{
					Index: i, Channel: "sms", To: c.Conversation.Number, Urgency: dialog.Answer, Text: said.Text, Segments: said.Segments,
					Price: said.Price, Person: c.Conversation.Person, Expires: d.now.Add(1000 * time.Hour),
				})
			}
		}
	})
	require.NotZero(rt, c.Rev)
}

// weigh finishes a batch.
func (d *drawer) weigh(rt *rapid.T) {
	b := dialog.Batch{
		At: d.now.Truncate(time.Second), Name: rapid.SampledFrom([]string{"A", "B"}).Draw(rt, "drum"), Waste: rapid.SampledFrom([]string{"maize-cob", "rice-husk"}).Draw(rt, "waste"),
		Drums: 1, FeedKg: float64(rapid.IntRange(0, 40).Draw(rt, "feed")), CharKg: float64(rapid.IntRange(1, 12).Draw(rt, "char")), Moisture: 0.12,
	}
	d.turn(d.who(rt), "weighed", dialog.Heard{Lang: "en", Topic: "burn", Understood: true, Report: "weighed"}, func(c *gateway.Change) {
		s := &c.Conversation.State
		if slices.ContainsFunc(s.Batches, func(o dialog.Batch) bool { return o.At.Equal(b.At) && o.Name == b.Name }) {
			return
		}
		s.Batches, c.Entry.Batches = append(slices.Clone(s.Batches), b), []dialog.Batch{b}
		s.Batches = s.Batches[max(0, len(s.Batches)-2):] // a state remembers few
	})
}

// correct changes the weight of the last batch.
func (d *drawer) correct(rt *rapid.T) {
	i, kg := d.who(rt), float64(rapid.IntRange(1, 12).Draw(rt, "kg"))
	if len(d.load(i).State.Batches) == 0 {
		return
	}
	d.turn(i, "no, less", understood("burn"), func(c *gateway.Change) {
		s := &c.Conversation.State
		s.Batches = slices.Clone(s.Batches)
		last := &s.Batches[len(s.Batches)-1]
		last.CharKg, last.At = kg, last.At.UTC()
		c.Entry.Batches = []dialog.Batch{*last}
	})
}

func (d *drawer) erase(rt *rapid.T) {
	i := d.who(rt)
	if rapid.IntRange(0, 2).Draw(rt, "really") > 0 || d.load(i).Rev == 0 {
		return
	}
	d.turn(i, "FORGET ME", understood(""), func(c *gateway.Change) { c.Erase = &dialog.Erase{} })
}

// see is a duty phone that has seen the emergency.
func (d *drawer) see(rt *rapid.T) {
	i := d.who(rt)
	if d.load(i).Rev == 0 {
		return
	}
	d.turn(i, "", understood(""), func(c *gateway.Change) { c.Entry.Kind = gateway.Acknowledged })
}

func (d *drawer) enrol(rt *rapid.T) {
	group := rapid.SampledFrom([]string{"", "Umoja", "50% group_a"}).Draw(rt, "group")
	d.turn(d.who(rt), "", understood("enrol"), func(c *gateway.Change) {
		c.Entry.Kind, c.Conversation.State.Profile.Group, c.Conversation.State.Profile.Consent = gateway.Enrolled, group, "paper"
	})
}

func (d *drawer) send(rt *rapid.T) {
	leased, err := d.store.Lease(d.ctx, "sms", d.now, time.Minute, 3)
	require.NoError(rt, err)
	for _, m := range leased {
		if rapid.IntRange(0, 3).Draw(rt, "reported") == 0 { // before the answer to the request
			require.NoError(rt, d.store.Report(d.ctx, gateway.Report{Channel: "sms", Ref: m.Ref, At: d.now, State: gateway.ReportAccepted}))
		}
		s := gateway.Settlement{At: d.now, Outcome: rapid.SampledFrom([]gateway.Outcome{gateway.Sent, gateway.Dropped, gateway.Unknown}).Draw(rt, "outcome")}
		if s.Outcome == gateway.Dropped {
			s.Why = gateway.WhyRefused
		}
		require.NoError(rt, d.store.Settle(d.ctx, m.Ref, s))
		d.sent = append(d.sent, m.Ref)
	}
}

func (d *drawer) report(rt *rapid.T) {
	if len(d.sent) == 0 {
		return
	}
	r := gateway.Report{
		Channel: "sms", Ref: rapid.SampledFrom(d.sent).Draw(rt, "ref"), At: d.now,
		State: rapid.SampledFrom([]gateway.Delivery{gateway.ReportSubmitted, gateway.ReportDelivered, gateway.ReportFailed}).Draw(rt, "state"),
	}
	if err := d.store.Report(d.ctx, r); err != nil {
		require.True(rt, cmp.Or(err == gateway.ErrSeen, err == gateway.ErrNotFound), err)
	}
}

// decide is an officer who sees to something.
func (d *drawer) decide(rt *rapid.T) {
	entries := d.entries()
	if len(entries) == 0 {
		return
	}
	e := rapid.SampledFrom(entries).Draw(rt, "entry")
	c, rev, err := gateway.GetCase(d.ctx, d.store, e.Key)
	require.NoError(rt, err)
	c.State, c.By, c.At = rapid.SampledFrom([]gateway.CaseState{0, gateway.CaseTaken, gateway.CaseClosed}).Draw(rt, "state"), "amina", d.now
	require.NoError(rt, d.views.PutCase(d.ctx, c, rev))
}

// answer is an officer's reply to a person, or a call.
func (d *drawer) answer(rt *rapid.T) {
	i, call := d.who(rt), rapid.Bool().Draw(rt, "call")
	var about []gateway.Key
	person := d.load(i).Person
	for _, e := range d.entries() {
		if e.Person == person && (e.Question != "" || e.CallBack) {
			about = append(about, e.Key)
		}
	}
	if len(about) == 0 || person == (gateway.PersonKey{}) {
		return
	}
	key := rapid.SampledFrom(about).Draw(rt, "about")
	d.turn(i, "from the office", understood("ask"), func(c *gateway.Change) {
		c.Entry.Kind, c.Entry.By, c.Entry.About, c.Entry.CallBack = gateway.Answered, "amina", key, call
	})
}

// office is an officer who asks the line something, on a phone of their own or
// on that of a producer.
func (d *drawer) office(rt *rapid.T) {
	h := rapid.SampledFrom([]dialog.Heard{{Lang: "en", Topic: "office"}, {Lang: "en", Step: "office.pin"}, {Lang: "en", Step: "office.pin", Tier: "a", Emergency: "gas", Understood: true}}).Draw(rt, "text")
	d.turn(rapid.IntRange(4, 5).Draw(rt, "person"), "drum "+h.Topic, h, nil)
}

// enrolled returns the people who wrote to the line, or were entered.
func (r reference) enrolled() map[gateway.PersonKey]gateway.Conversation {
	found := map[gateway.PersonKey]gateway.Conversation{}
	for key, c := range r.people {
		wrote := slices.ContainsFunc(r.entries, func(e gateway.Entry) bool {
			return e.Person == key && e.Kind == gateway.Heard && !office(e)
		})
		if wrote || c.State.Profile.Consent != "" {
			found[key] = c
		}
	}
	return found
}

func office(e gateway.Entry) bool {
	return e.Heard.Tier == "" && (e.Heard.Topic == "office" || strings.HasPrefix(e.Heard.Step, "office."))
}

func (f *field) entries() []gateway.Entry {
	all, err := f.store.After(f.ctx, gateway.Key{}, 1<<20)
	require.NoError(f, err)
	return all
}

func (f *field) people() map[gateway.PersonKey]gateway.Conversation {
	people := map[gateway.PersonKey]gateway.Conversation{}
	require.NoError(f, f.store.Each(f.ctx, gateway.Number{}, func(c gateway.Conversation) error {
		people[c.Person] = c
		return nil
	}))
	return people
}

// at is the place of an entry or a person.
func at(place string) string { return cmp.Or(place, options.Home) }

// check compares every answer with what the journal says, and returns them all.
func (f *field) check(t require.TestingT) map[string]any {
	all := map[string]any{}
	r := reference{field: f, TestingT: t, entries: f.entries(), people: f.people(), all: all}
	r.searches()
	r.conversations()
	r.unknown()
	r.matters()
	r.counts()
	r.batches()
	r.producers()
	return all
}

type reference struct {
	*field
	require.TestingT
	entries []gateway.Entry
	people  map[gateway.PersonKey]gateway.Conversation
	all     map[string]any
}

// said calls f with every text of people who are there, the newest first.
func (r reference) said(f func(e gateway.Entry)) {
	for _, e := range slices.Backward(r.entries) {
		if _, there := r.people[e.Person]; there && e.Kind == gateway.Heard && !office(e) {
			f(e)
		}
	}
}

func (r reference) searches() {
	for _, q := range []views.Query{
		{},
		{Place: "mlima"},
		{Lang: "sw", Topic: "burn"},
		{Words: "cobs"},
		{Words: "drum"},
		{Words: "DRUM smoke", Lang: "en", Place: "kisimani"},
		{Unknown: true, Words: "maize"},
		{From: start.Add(2 * time.Hour), To: start.Add(300 * time.Hour)},
		{From: start.Add(time.Minute), To: start.Add(30 * time.Hour), Words: "12"},
	} {
		var want, got []gateway.Key
		r.said(func(e gateway.Entry) {
			ok := e.Text != "" && (q.Place == "" || at(e.Place) == q.Place) && (q.Lang == "" || e.Heard.Lang == q.Lang) &&
				(q.Topic == "" || e.Heard.Topic == q.Topic) && (!q.Unknown || !e.Heard.Understood && e.Heard.Emergency == "") &&
				(q.From.IsZero() || !e.Key.Time().Before(q.From)) && (q.To.IsZero() || e.Key.Time().Before(q.To))
			for _, w := range strings.Fields(strings.ToLower(q.Words)) {
				ok = ok && slices.ContainsFunc(strings.Fields(e.Text), func(said string) bool {
					return said == w || len(w) >= 4 && strings.HasPrefix(said, w)
				})
			}
			if ok {
				want = append(want, e.Key)
			}
		})
		for page := (views.Page{Max: 3}); ; {
			hits, err := r.views.Search(r.ctx, q, page)
			require.NoError(r, err)
			for _, h := range hits.Hits {
				got = append(got, h.Key)
				require.Equal(r, r.people[h.Person].Number, h.Number)
			}
			if page.Before = hits.Next; page.Before.IsZero() {
				break
			}
		}
		require.Equal(r, want, got, "%+v", q)
		r.all[fmt.Sprintf("search %+v", q)] = got
	}
}

func (r reference) conversations() {
	fates := map[string]views.Fate{}
	for _, e := range r.entries {
		f := fates[e.Ref]
		switch e.Kind {
		case gateway.Settled:
			f.Outcome, f.Why = e.Outcome, e.Why
		case gateway.Reported:
			f.Delivery = e.Delivery
		}
		fates[e.Ref] = f
	}
	for person, c := range r.people {
		var want []views.Line
		for _, e := range slices.Backward(r.entries) {
			if e.Person != person || e.Kind == gateway.Settled || e.Kind == gateway.Reported {
				continue
			}
			l := views.Line{Entry: e, Fates: make([]views.Fate, len(e.Replies))}
			for i := range e.Replies {
				l.Fates[i] = fates[e.Key.Ref(i)]
			}
			var err error
			l.Case, _, err = gateway.GetCase(r.ctx, r.store, e.Key)
			require.NoError(r, err)
			want = append(want, l)
		}
		var got []views.Line
		for page := (views.Page{Max: 9}); ; {
			talk, err := r.views.Conversation(r.ctx, person, page)
			require.NoError(r, err)
			require.Equal(r, c.Number, talk.Number)
			got = append(got, talk.Lines...)
			if page.Before = talk.Next; page.Before.IsZero() {
				break
			}
		}
		require.Equal(r, want, got)
		r.all["talk "+c.Number.Digits()] = got
	}
	for _, e := range r.entries {
		if _, there := r.people[e.Person]; !there {
			_, err := r.views.Conversation(r.ctx, e.Person, views.Page{})
			require.ErrorIs(r, err, gateway.ErrNotFound)
		}
	}
}

func (r reference) unknown() {
	for _, lang := range []locales.Lang{"en", "sw"} {
		texts := map[string]int{}
		n := 0
		r.said(func(e gateway.Entry) {
			if e.Text != "" && e.Heard.Lang == lang && !e.Heard.Understood && e.Heard.Emergency == "" {
				texts[e.Text]++
				n++
			}
		})
		u, err := r.views.Unknown(r.ctx, lang, start, r.now, 0, 1000)
		require.NoError(r, err)
		require.Len(r, u.Groups, u.All)
		got, days := 0, 0
		for i, g := range u.Groups {
			forms := 0
			for _, f := range g.Forms {
				forms += f.Texts
			}
			require.Equal(r, g.Texts, forms)
			if i > 0 {
				require.LessOrEqual(r, g.Texts, u.Groups[i-1].Texts)
			}
			require.NotEmpty(r, g.Examples)
			for _, x := range g.Examples {
				require.Positive(r, texts[x.Text], "an example is one of the texts")
			}
			got += g.Texts
			for _, d := range g.Days {
				days += d
			}
		}
		require.Equal(r, n, got, "each text is in one group")
		if r.now.Sub(start) < 90*24*time.Hour {
			require.Equal(r, n, days, "and on one day")
		}
		r.all["unknown "+string(lang)] = u
	}
}

func (r reference) matters() {
	type waits struct {
		key  gateway.Key
		open bool
	}
	want := map[views.MatterKind][]waits{}
	alarm := map[gateway.PersonKey]time.Time{}
	answered := map[gateway.Key]bool{}
	for _, e := range r.entries {
		answered[e.About] = true
	}
	add := func(kind views.MatterKind, e gateway.Entry, open bool) {
		open = open && !answered[e.Key]
		c, _, err := gateway.GetCase(r.ctx, r.store, e.Key)
		require.NoError(r, err)
		want[kind] = append(want[kind], waits{e.Key, open && c.State.Open()})
	}
	acked := map[gateway.Key]bool{}
	open := map[gateway.PersonKey][]gateway.Key{}
	for _, e := range r.entries {
		if _, there := r.people[e.Person]; !there {
			continue
		}
		if e.Kind == gateway.Acknowledged {
			delete(alarm, e.Person)
			for _, k := range open[e.Person] {
				acked[k] = true
			}
			open[e.Person] = nil
		}
		if e.Kind == gateway.Heard && e.Heard.Tier == "a" {
			if since, ok := alarm[e.Person]; !ok || e.Key.Time().Sub(since) > 2*time.Hour {
				alarm[e.Person] = e.Key.Time()
				open[e.Person] = append(open[e.Person], e.Key)
				want[views.Emergency] = append(want[views.Emergency], waits{e.Key, true})
			}
		}
		if e.Kind == gateway.Answered {
			continue
		}
		if e.Question != "" {
			add(views.Question, e, true)
		}
		if e.CallBack {
			add(views.CallBack, e, true)
		}
		if len(e.Flags) > 0 {
			add(views.Flag, e, true)
		}
	}
	for i, w := range want[views.Emergency] {
		c, _, err := gateway.GetCase(r.ctx, r.store, w.key)
		require.NoError(r, err)
		want[views.Emergency][i].open = !acked[w.key] && !answered[w.key] && c.State.Open()
	}
	for kind := views.Question; kind <= views.Flag; kind++ {
		for _, done := range []bool{false, true} {
			var wanted, got []gateway.Key
			for _, w := range slices.Backward(want[kind]) {
				if w.open != done {
					wanted = append(wanted, w.key)
				}
			}
			for page := (views.Page{Max: 2}); ; {
				m, err := r.views.Matters(r.ctx, views.MatterQuery{Kind: kind, Done: done}, page)
				require.NoError(r, err)
				require.Equal(r, len(wanted), m.All)
				for _, x := range m.List {
					got = append(got, x.Key)
					require.Equal(r, r.people[x.Person].Number, x.Number)
				}
				if page.Before = m.Next; page.Before.IsZero() {
					break
				}
			}
			require.Equal(r, wanted, got, "kind %d, done %v", kind, done)
			slices.Reverse(wanted)
			m, err := r.views.Matters(r.ctx, views.MatterQuery{Kind: kind, Done: done, Oldest: true, Places: []string{"kisimani", "mlima"}}, views.Page{})
			require.NoError(r, err)
			got = nil
			for _, x := range m.List {
				got = append(got, x.Key)
			}
			require.Equal(r, wanted, got)
			r.all[fmt.Sprint("matters ", kind, done)] = got
			for person := range r.people {
				own, err := r.views.Matters(r.ctx, views.MatterQuery{Kind: kind, Done: done, Person: person}, views.Page{Max: 500})
				require.NoError(r, err)
				for _, x := range m.List {
					require.Equal(r, x.Person == person, slices.ContainsFunc(own.List, func(y views.Matter) bool { return x.Key == y.Key }))
				}
				require.LessOrEqual(r, own.All, len(wanted))
			}
		}
	}
}

func (r reference) counts() {
	texts := map[gateway.PersonKey][]gateway.Entry{}
	days, unknown := map[string]int{}, map[string]int{}
	for _, e := range r.entries {
		if e.Kind != gateway.Heard || office(e) {
			continue
		}
		texts[e.Person] = append(texts[e.Person], e)
		day := e.Key.Time().Format("2006-01-02")
		days[day]++
		if !e.Heard.Understood {
			unknown[day]++
		}
	}
	got, gotUnknown := map[string]int{}, map[string]int{}
	said, err := r.views.Days(r.ctx, views.Within{})
	require.NoError(r, err)
	for _, s := range said {
		got[s.Day.Format("2006-01-02")] = s.Texts
		if s.Unknown > 0 {
			gotUnknown[s.Day.Format("2006-01-02")] = s.Unknown
		}
	}
	require.Equal(r, days, got)
	require.Equal(r, unknown, gotUnknown)

	for _, w := range []views.Within{{}, {Place: "mlima"}, {Lang: "sw"}, {From: start, To: start.AddDate(0, 0, 5)}, {From: start.AddDate(0, 1, 0), Topic: "recipe"}} {
		ended := map[string]int{}
		for _, list := range texts {
			for i, e := range list {
				on := i+1 < len(list) && list[i+1].Key.Time().Sub(e.Key.Time()) <= 24*time.Hour || i+1 == len(list) && r.now.Sub(e.Key.Time()) <= 24*time.Hour
				month := e.Key.Time().Format("200601")
				if on || w.Place != "" && at(e.Place) != w.Place || w.Lang != "" && e.Heard.Lang != w.Lang ||
					!w.From.IsZero() && month < w.From.Format("200601") || !w.To.IsZero() && month > w.To.Format("200601") ||
					w.Topic != "" && !strings.HasPrefix(cmp.Or(e.Heard.Step, e.Heard.Topic+"."), w.Topic+".") {
					continue
				}
				where := e.Heard.Step
				if where == "" {
					where = e.Heard.Topic + "."
				}
				ended[where]++
			}
		}
		stops, err := r.views.Stops(r.ctx, w, r.now)
		require.NoError(r, err)
		found := map[string]int{}
		for _, s := range stops {
			found[s.Topic+"."+s.Step] = s.Ended
		}
		require.Equal(r, ended, found, "%+v", w)
		r.all[fmt.Sprintf("stops %+v", w)] = stops
	}

	about := map[string]int{}
	for _, list := range texts {
		for _, e := range list {
			if at(e.Place) == "mlima" {
				about[e.Heard.Topic]++
			}
		}
	}
	gotAbout := map[string]int{}
	topics, err := r.views.Topics(r.ctx, views.Within{Place: "mlima"})
	require.NoError(r, err)
	for _, a := range topics {
		gotAbout[a.Topic] = a.Texts
	}
	require.Equal(r, about, gotAbout)

	// The store's own ledger counts what was spent by itself.
	spent, err := r.views.Spending(r.ctx, start, r.now, false)
	require.NoError(r, err)
	total := map[string]gateway.Spend{}
	for _, s := range spent {
		require.Equal(r, r.store.Spent(s.Channel, s.From).Day, s.Spend)
		month := s.From.Format("200601")
		total[month] = total[month].Plus(s.Spend)
	}
	months, err := r.views.Spending(r.ctx, start, r.now, true)
	require.NoError(r, err)
	for _, m := range months {
		require.Equal(r, total[m.From.Format("200601")], m.Spend)
	}
	if len(months) > 0 && months[0].From.Format("200601") == r.now.Format("200601") {
		require.Equal(r, r.store.Spent("sms", r.now).Month, months[0].Spend)
	}
	r.all["spent"] = spent
}

func (r reference) batches() {
	type name struct {
		person gateway.PersonKey
		at     int64
		drum   string
	}
	type made struct {
		dialog.Batch
		place string
		days  float64
	}
	all := map[name]made{}
	recipe, last, lit, done := map[gateway.PersonKey]time.Time{}, map[gateway.PersonKey]time.Time{}, map[gateway.PersonKey]bool{}, map[gateway.PersonKey]bool{}
	const day = 24 * time.Hour
	for _, e := range r.entries {
		at, p := e.Key.Time(), e.Person
		if e.Kind == gateway.Heard && e.Heard.Topic == "recipe" {
			if recipe[p].IsZero() || done[p] || !lit[p] && at.Sub(last[p]) > day || at.Sub(recipe[p]) > 60*day {
				recipe[p], lit[p], done[p] = at, false, false
			}
			last[p] = at
		}
		if e.Kind == gateway.Heard && e.Heard.Report == "lit" && !recipe[p].IsZero() {
			lit[p] = true
		}
		if _, there := r.people[p]; !there {
			continue
		}
		for _, b := range e.Batches {
			k := name{p, b.At.Unix(), b.Name}
			m, again := all[k]
			if !again {
				m.place = cmp.Or(e.Place, options.Home)
				if since := b.At.Sub(recipe[p]); !recipe[p].IsZero() && since > 0 && since <= 60*day {
					m.days, done[p] = since.Hours()/24, true
				}
			}
			m.Batch = b
			all[k] = m
		}
	}
	for _, by := range []views.By{{}, {Waste: true}, {Place: true, Month: true}} {
		type row struct{ waste, place, month string }
		yields, days, count := map[row][]float64{}, map[row][]float64{}, map[row]int{}
		for _, m := range all {
			var k row
			if by.Waste {
				k.waste = m.Waste
			}
			if by.Place {
				k.place = m.place
			}
			if by.Month {
				k.month = m.At.Format("200601")
			}
			count[k]++
			feed, err := calc.Feed(calc.Waste(m.Waste))
			weighed := calc.WeighedBatch{Drums: 1, Feed: calc.Kg(m.FeedKg), Moisture: calc.WetBasis(m.Moisture), Char: calc.Kg(m.CharKg), Unburnt: calc.Kg(m.BrandsKg)}
			if err == nil && m.FeedKg > 0 && weighed.Believable(feed) == nil {
				yields[k] = append(yields[k], m.CharKg/(m.FeedKg*(1-m.Moisture)))
			}
			if m.days > 0 {
				days[k] = append(days[k], m.days)
			}
		}
		compare := func(spreads []views.Spread, err error, of map[row][]float64, step float64) {
			require.NoError(r, err)
			require.Len(r, spreads, len(count))
			for _, s := range spreads {
				k := row{waste: s.Waste, place: s.Place}
				if by.Month {
					k.month = s.Month.Format("200601")
				}
				require.Equal(r, count[k], s.Batches)
				values := of[k]
				slices.Sort(values)
				require.Equal(r, len(values), s.Measured)
				if len(values) > 0 {
					require.InDelta(r, values[rank(len(values), 0.1)], s.Low, step)
					require.InDelta(r, values[rank(len(values), 0.5)], s.Median, step)
					require.InDelta(r, values[rank(len(values), 0.9)], s.High, step)
				}
			}
		}
		y, err := r.views.Yields(r.ctx, views.Of{}, by)
		compare(y, err, yields, 0.005)
		d, err := r.views.Durations(r.ctx, views.Of{}, by)
		compare(d, err, days, 0.25)
		for i := range y { // sums of floats depend on their order
			y[i].FeedKg, y[i].CharKg = math.Round(y[i].FeedKg*1e6)/1e6, math.Round(y[i].CharKg*1e6)/1e6
		}
		r.all[fmt.Sprintf("yields %+v", by)] = y
	}
	var listed []views.Batch
	for before := (views.Batch{}); ; {
		page, more, err := r.views.Batches(r.ctx, views.Of{}, gateway.PersonKey{}, before, 2)
		require.NoError(r, err)
		listed = append(listed, page...)
		if !more {
			break
		}
		before = page[len(page)-1]
	}
	require.Len(r, listed, len(all))
	for i, b := range listed {
		m := all[name{b.Person, b.At.Unix(), b.Name}]
		m.At = m.At.UTC()
		require.Equal(r, m.Batch, b.Batch)
		require.Equal(r, m.place, b.Place)
		require.InDelta(r, m.days, b.Days, 1e-6)
		if i > 0 {
			require.False(r, b.At.After(listed[i-1].At))
		}
	}
	r.all["batches"] = listed
}

// rank is the place of a quantile in a sorted list: the nearest rank.
func rank(n int, share float64) int { return max(0, int(math.Ceil(share*float64(n)))-1) }

func (r reference) producers() {
	stages := map[string][]gateway.Number{}
	works := map[string]*views.Work{}
	var everybody []gateway.Conversation
	for _, c := range r.enrolled() {
		everybody = append(everybody, c)
		place := at(c.State.Place)
		if works[place] == nil {
			works[place] = &views.Work{Place: place}
		}
		w := works[place]
		w.Producers++
		if c.State.Stopped {
			w.OptedOut++
		}
		if r.now.Sub(c.State.Seen) <= 30*24*time.Hour {
			w.Wrote++
		}
		counted := map[string]bool{}
		for _, s := range c.State.Stages(r.now) {
			if counted[s] {
				continue
			}
			counted[s] = true
			stages[s] = append(stages[s], c.Number)
			*map[string]*int{"lit": &w.Lit, "sealed": &w.Sealed, "opened": &w.Opened, "drying": &w.Drying}[s]++
		}
	}
	slices.SortFunc(everybody, func(a, b gateway.Conversation) int {
		return cmp.Or(b.State.Seen.Compare(a.State.Seen), cmp.Compare(signed(b.Person), signed(a.Person)))
	})
	var want, got []gateway.Number
	for _, c := range everybody {
		want = append(want, c.Number)
	}
	for after := (gateway.PersonKey{}); ; {
		p, err := r.views.Producers(r.ctx, views.Filter{}, after, 2, r.now)
		require.NoError(r, err)
		require.Equal(r, len(everybody), p.All)
		for _, q := range p.List {
			got = append(got, q.Number)
			require.Equal(r, r.people[q.Person], q.Conversation)
			one, err := r.views.Producer(r.ctx, q.Person)
			require.NoError(r, err)
			require.Equal(r, q, one)
			n := 0
			for _, e := range r.entries {
				if e.Person == q.Person && e.Kind == gateway.Heard && !office(e) {
					n++
				}
			}
			require.Equal(r, n, q.Texts)
		}
		if after = p.Next; after == (gateway.PersonKey{}) {
			break
		}
	}
	require.Equal(r, want, got)
	stopped := true
	list := func(f views.Filter) (numbers []gateway.Number) {
		p, err := r.views.Producers(r.ctx, f, gateway.PersonKey{}, 100, r.now)
		require.NoError(r, err)
		for _, q := range p.List {
			numbers = append(numbers, q.Number)
		}
		return numbers
	}
	for name, of := range map[string]struct {
		f    views.Filter
		that func(c gateway.Conversation) bool
	}{
		"place":   {views.Filter{Place: "mlima"}, func(c gateway.Conversation) bool { return c.State.Place == "mlima" }},
		"group":   {views.Filter{Group: "Umoja"}, func(c gateway.Conversation) bool { return c.State.Profile.Group == "Umoja" }},
		"words":   {views.Filter{Words: "% group_"}, func(c gateway.Conversation) bool { return c.State.Profile.Group == "50% group_a" }},
		"lang":    {views.Filter{Lang: "sw"}, func(c gateway.Conversation) bool { return c.State.Lang == "sw" }},
		"stopped": {views.Filter{OptedOut: &stopped}, func(c gateway.Conversation) bool { return c.State.Stopped }},
		"number":  {views.Filter{Number: number(2)}, func(c gateway.Conversation) bool { return c.Number == number(2) }},
		"lit":     {views.Filter{Stage: "lit"}, func(c gateway.Conversation) bool { return slices.Contains(stages["lit"], c.Number) }},
		"drying":  {views.Filter{Stage: "drying"}, func(c gateway.Conversation) bool { return slices.Contains(stages["drying"], c.Number) }},
	} {
		var want []gateway.Number
		for _, c := range everybody {
			if of.that(c) {
				want = append(want, c.Number)
			}
		}
		require.Equal(r, want, list(of.f), name)
	}
	found, err := r.views.Works(r.ctx, r.now)
	require.NoError(r, err)
	require.Len(r, found, len(works))
	sum := views.Work{}
	for _, w := range found {
		require.Equal(r, *works[w.Place], w)
		sum.Producers += w.Producers
		sum.Lit += w.Lit
	}
	totals, err := r.views.Totals(r.ctx, r.now)
	require.NoError(r, err)
	require.Equal(r, sum.Producers, totals.Producers)
	require.Equal(r, sum.Lit, totals.Lit)
	groups, err := r.views.Groups(r.ctx)
	require.NoError(r, err)
	r.all["groups"], r.all["works"], r.all["totals"] = groups, found, roundKg(totals)
	require.NotContains(r, slices.Collect(maps.Keys(groups)), "")
}

func roundKg(t views.Totals) views.Totals {
	t.CharKg = math.Round(t.CharKg*1e6) / 1e6
	return t
}

// signed is a person key as the file orders it.
func signed(k gateway.PersonKey) (n int64) {
	for _, b := range k {
		n = n<<8 | int64(b)
	}
	return n
}
