package dialog_test

import (
	"cmp"
	"fmt"
	"maps"
	"os"
	"runtime"
	"runtime/debug"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway/sms"
	"cobline/gateway/ussd"
	"cobline/locales"
)

// spot is one state of a search, and how it was reached.
type spot struct {
	state dialog.State
	now   time.Time
	name  string // of the event that led here
	from  *spot
}

// path is how a spot was reached, the first event first.
func (s *spot) path() string {
	var names []string
	for ; s != nil && s.name != ""; s = s.from {
		names = append(names, fmt.Sprintf("%q", s.name))
	}
	slices.Reverse(names)
	return strings.Join(names, " > ")
}

// question names what is open: a topic and what it asks.
func (s *spot) question() string {
	if n := len(s.state.Frames); n > 0 {
		return s.state.Frames[n-1].Topic + "." + string(s.state.Frames[n-1].Open)
	}
	return "nothing"
}

// key tells the states of the search apart; of the states that share one, the
// first to be reached stands for all. Left out are amounts, names, words filled
// in, exact times, what lies below the open question, what MORE would say,
// the record, and whether somebody was hurt. The small search also leaves out all
// drums but the one that matters most, and whether the person stopped.
func (s *spot) key(whole bool) string {
	b := make([]byte, 0, 100)
	flags := func(all ...bool) {
		for _, on := range all {
			b = append(b, "-+"[map[bool]int{true: 1}[on]])
		}
	}
	b = append(b, s.state.Lang...)
	flags(s.state.Met)
	if n := len(s.state.Frames); n > 0 {
		f := s.state.Frames[n-1]
		b = fmt.Appendf(b, "%s.%s.%d.%d", f.Topic, f.Open, len(f.Options), f.Page)
		flags(f.Done, f.Tie, n > 1)
	}
	stages := make([]bool, 4) // alight, hot, sealed and cold, opened
	for _, d := range s.state.Drums {
		switch hot := s.now.Before(d.NotBefore); {
		case d.Stage == "lit":
			stages[0] = true
		case d.Stage == "sealed" && hot:
			stages[1] = true
		case d.Stage == "sealed":
			stages[2] = true
		default:
			stages[3] = true
		}
	}
	if whole {
		flags(stages...)
		flags(len(s.state.Drums) > 1, s.state.Stopped)
		return string(b)
	}
	return fmt.Sprint(string(b), slices.Index(stages, true))
}

// closure is a search over all states a conversation can be in.
type closure struct {
	engine  *dialog.Engine
	catalog *locales.Catalog
	phone   *phone
	whole   bool
	fits    sync.Map // replies and screens that are within their budget

	mu        sync.Mutex
	questions map[string]*spot  // by topic and slot, the first to ask it
	faults    map[string]string // by rule and place, the shortest way there
}

// found is what one spot leads to.
type found struct {
	spots []*spot
	keys  []string // of the spots
	steps int
}

// unlike leaves only spots that are like none seen, and like no other of them.
func (f found) unlike(seen map[string]bool, whole bool) found {
	out := found{steps: f.steps}
	for _, s := range f.spots {
		if k := s.key(whole); !seen[k] && !slices.Contains(out.keys, k) {
			out.spots, out.keys = append(out.spots, s), append(out.keys, k)
		}
	}
	return out
}

// fault keeps the first way to break a rule at a question.
func (c *closure) fault(at *spot, event, rule, detail string) {
	where := at.question()
	c.mu.Lock()
	defer c.mu.Unlock()
	if _, known := c.faults[rule+" at "+where]; !known {
		c.faults[rule+" at "+where] = at.path() + " > " + event + "\n" + detail
	}
}

// step gives an event to a spot and holds what comes of it against the budgets.
func (c *closure) step(at *spot, name string, now time.Time, ev dialog.Event) (dialog.Turn, *spot) {
	w := c.phone.world()
	w.Now = now.In(c.phone.place.Zone)
	turn := c.engine.Step(at.state, ev, w)
	to := &spot{turn.State, w.Now, name, at}
	texts := make([]string, 0, len(turn.Replies))
	for i, r := range turn.Replies {
		texts = append(texts, r.Text)
		c.segments(to, r, turn.Heard.Lang, !at.state.Met)
		if len(r.Choices) > 0 && i < len(turn.Replies)-1 {
			c.fault(at, name, "a list is not the last message", all(turn))
		}
	}
	if len(turn.Replies) > 0 {
		c.screens(to, strings.Join(texts, "\n"), turn.Replies[len(turn.Replies)-1].Choices, turn.Heard.Lang)
	}
	confirmed := at.state.Stopped && turn.Heard.OptOut // a second STOP is not confirmed again
	if _, ok := ev.(dialog.Said); ok && len(turn.Replies) == 0 && !confirmed || len(turn.Replies) > 3 {
		c.fault(at, name, "one to three messages", all(turn))
	}
	for _, r := range turn.Replies {
		if fixed := c.fixed(r.Key, turn.Heard.Lang); !strings.Contains(r.Text, fixed) && !strings.Contains(r.Text, c.fixed(r.Key, "en")) {
			c.fault(at, name, "C17: nobody shortens "+r.Key, r.Text)
		}
	}
	if key, caution := lacking(turn); key != "" {
		c.fault(at, name, key+" without "+caution, all(turn))
	}
	if n := len(turn.Replies); n > 0 {
		shown := len(turn.Replies[n-1].Choices)
		open := 0
		if f := len(turn.State.Frames); f > 0 {
			open = len(turn.State.Frames[f-1].Options)
		}
		if shown > 0 && shown != open {
			c.fault(at, name, "the digits shown are those that count", all(turn))
		}
	}
	return turn, to
}

// fixed returns the line of first aid or caution of a key, word by word.
func (c *closure) fixed(key string, l locales.Lang) string {
	if !strings.HasPrefix(key, "aid.") && !strings.HasPrefix(key, "caution.") || locales.Sample(locales.ID(key)) != nil {
		return ""
	}
	return c.catalog.Text(l, locales.ID(key), nil)
}

// together are the replies that say two messages in one: when a drum was
// covered, a remedy that is the likeliest of several, the cautions before gathering, and what is said of a drum
// alight where a turn would need a fourth message.
var together = []string{"burn.wait", "burn.lit", "burn.lit-wet", "burn.lit-long", "burn.lit-late", "burn.lit-dark", "remedy.", "caution.drum"}

// wideness is how many segments, or screens, a language takes for one: more in a
// script outside the cheap alphabet (locales.Wide).
func wideness(l locales.Lang, n int) int {
	if locales.Wide(l) {
		return n
	}
	return 1
}

// segments holds a reply against its budget: that of its message, and one more
// segment for a list of choices, for the greeting of the first turn, or for two
// messages in one. Three are the most.
func (c *closure) segments(at *spot, r dialog.Reply, l locales.Lang, first bool) {
	text := sms.Plain(r.Plain(), locales.Substitutions(l))
	if _, ok := c.fits.LoadOrStore(text, true); ok {
		return
	}
	budget := 1
	if slices.Contains(locales.IDs(), locales.ID(r.Key)) {
		budget = locales.Budget(locales.ID(r.Key))
	}
	if len(r.Choices) > 0 {
		budget++
	}
	if first || slices.ContainsFunc(together, func(k string) bool { return r.Key == k || strings.HasSuffix(k, ".") && strings.HasPrefix(r.Key, k) }) {
		budget++
	}
	if n := len(sms.Split(text).Segments); n > min(budget, 3)*wideness(l, 3) {
		c.fault(at, "", fmt.Sprintf("%s in %d segments", r.Key, budget), fmt.Sprintf("%d segments: %s", n, text))
	}
}

// screenKeys are the page keys of a session, as the line serves them.
var screenKeys = ussd.Keys{Back: ussd.Key{Press: "7", Label: "Back"}, More: ussd.Key{Press: "8", Label: "More"}}

// A screen holds 160 septets, or 80 letters of the wide alphabet; a turn may
// take this many of them.
const (
	screenUnits = 160
	mostScreens = 5
)

func onScreen(page string) int {
	encoding, n := sms.Measure(page)
	if encoding == sms.UCS2 {
		return screenUnits / 80 * n
	}
	return n
}

// screens lays a turn out on the screens of a session, and holds them against
// their budget.
func (c *closure) screens(at *spot, text string, choices []string, l locales.Lang) {
	if _, ok := c.fits.LoadOrStore(text+"\x00"+strings.Join(choices, "\n"), true); ok {
		return
	}
	plain := make([]string, len(choices))
	for i, choice := range choices {
		plain[i] = sms.Plain(choice, locales.Substitutions(l))
	}
	screen := ussd.Pages(sms.Plain(text, locales.Substitutions(l)), plain, screenKeys, screenUnits, onScreen)
	for _, page := range screen.Pages {
		if onScreen(page) > screenUnits || page == "" {
			c.fault(at, "", "a screen", page)
		}
	}
	if len(screen.Pages) > mostScreens*wideness(l, 2) {
		c.fault(at, "", fmt.Sprintf("%d screens", len(screen.Pages)), strings.Join(screen.Pages, "\n---\n"))
	}
	// Of a wide script a screen holds too few letters for a list.
	if last := screen.Pages[len(screen.Pages)-1]; len(choices) > 0 && !locales.Wide(l) && !strings.Contains(last, "\n1 ") && !strings.HasPrefix(last, "1 ") {
		c.fault(at, "", "choices stay together", strings.Join(screen.Pages, "\n---\n"))
	}
}

// visit gives a spot every event and holds each turn against what must work
// everywhere.
func (c *closure) visit(at *spot) (out found) {
	lang := cmp.Or(at.state.Lang, "en")
	keep := func(turn dialog.Turn, to *spot) dialog.Turn {
		out.steps++
		out.spots = append(out.spots, to)
		return turn
	}
	say := func(text string) dialog.Turn {
		return keep(c.step(at, text, at.now, dialog.Said{Text: text, Via: dialog.SMS}))
	}
	var top dialog.Frame
	if n := len(at.state.Frames); n > 0 {
		top = at.state.Frames[n-1]
	}
	list := len(top.Options)
	for digit := range 10 {
		key := fmt.Sprint(digit)
		turn := say(key)
		switch {
		case digit > 0 && digit <= list && !turn.Heard.Understood:
			c.fault(at, key, "a digit that was shown is understood", all(turn))
		case list > 0 && digit == 0 && !slices.Contains(keys(turn), "line.menu"):
			c.fault(at, key, "0 is the menu on a list", all(turn))
		case list > 0 && digit == 9 && !slices.Contains(keys(turn), "hurt.which"):
			c.fault(at, key, "9 is hurt on a list", all(turn))
		case list == 0 && (slices.Contains(keys(turn), "hurt.which") || digit == 0 && at.state.Met && top.Open != "" && slices.Contains(keys(turn), "line.menu")):
			c.fault(at, key, "a digit is a number where no list is open", all(turn))
		}
	}
	for _, text := range languages(c.phone.t)[lang].Search.Texts {
		say(text)
	}
	lost := at
	for fails := range 3 { // the third time a person is offered
		turn, to := c.step(lost, "qwerty", at.now, dialog.Said{Text: "qwerty", Via: dialog.SMS})
		keep(turn, to)
		if fails == 0 && !turn.Heard.Understood && turn.State.Fails < 3 && top.Open != "" && top.Topic != "lobby" && !top.Done && !openStays(at.state, turn.State) {
			c.fault(at, "qwerty", "a question outlives what is not understood", all(turn))
		}
		lost = to
	}
	c.wayOut(at, lang, say)
	for _, timer := range at.state.Timers {
		late := timer.At.Add(5 * time.Hour)
		for _, ring := range []struct {
			name string
			at   time.Time
		}{{"early ", at.now}, {"due ", timer.At}, {"late ", late}} {
			if !ring.at.Before(at.now) {
				keep(c.step(at, ring.name+string(timer.ID), ring.at, dialog.Due{Timer: timer}))
			}
		}
	}
	keep(c.step(at, "another one's emergency", at.now, dialog.Alerted{Alert: dialog.Alert{ID: "e9", Kind: "burn", Place: "home", At: at.now, Number: "+254700000009"}}))
	return out
}

// wayOut tries the words that must work in every state.
func (c *closure) wayOut(at *spot, lang locales.Lang, say func(string) dialog.Turn) {
	words := languages(c.phone.t)[lang].Say
	if turn := say(words.Menu); !slices.Contains(keys(turn), "line.menu") {
		c.fault(at, words.Menu, "MENU shows the menu", all(turn))
	}
	stop := say("STOP")
	if !stop.State.Stopped || slices.ContainsFunc(stop.State.Timers, func(o dialog.Timer) bool { return o.ID != "duty" }) {
		c.fault(at, "STOP", "STOP stops", all(stop))
	}
	cry := say(words.Cry)
	if cry.Heard.Tier != "a" || cry.Replies[0].Key != "aid.not-waking" || cry.Replies[0].Urgency != dialog.Emergency || !sameQuestion(at.state, cry.State) {
		c.fault(at, words.Cry, "an emergency is answered and the question stays", all(cry))
	}
	say(words.Back)
	from := at
	for range 12 {
		turn, to := c.step(from, words.Back, from.now, dialog.Said{Text: words.Back, Via: dialog.SMS})
		if slices.Contains(keys(turn), "line.menu") {
			return
		}
		from = to
	}
	c.fault(at, words.Back, "BACK leads to the menu", from.path())
}

// sameQuestion reports whether two states have the same question open.
func sameQuestion(a, b dialog.State) bool {
	if len(a.Frames) == 0 || len(b.Frames) == 0 {
		return len(a.Frames) == len(b.Frames)
	}
	x, y := a.Frames[len(a.Frames)-1], b.Frames[len(b.Frames)-1]
	return x.Topic == y.Topic && x.Open == y.Open && slices.Equal(x.Options, y.Options)
}

// openStays reports whether the same question is open, however it is put.
func openStays(a, b dialog.State) bool {
	if len(b.Frames) == 0 {
		return false
	}
	x, y := a.Frames[len(a.Frames)-1], b.Frames[len(b.Frames)-1]
	return x.Topic == y.Topic && x.Open == y.Open
}

// run visits states, all that are equally far at a time, until none is new or
// they are too far.
func (c *closure) run(level []*spot, farthest int) (states, steps int) {
	seen := map[string]bool{}
	for range farthest {
		results := make([]found, len(level))
		var workers sync.WaitGroup
		for first := range runtime.NumCPU() {
			workers.Go(func() {
				for i := first; i < len(level); i += runtime.NumCPU() {
					results[i] = c.visit(level[i]).unlike(seen, c.whole)
				}
			})
		}
		workers.Wait()
		level = nil
		for _, r := range results {
			steps += r.steps
			for i, s := range r.spots {
				if k := r.keys[i]; !seen[k] {
					seen[k] = true
					if n := len(s.state.Frames); n > 0 && s.state.Frames[n-1].Open != "" && c.questions[s.question()] == nil {
						c.questions[s.question()] = s
					}
					level = append(level, s)
				}
			}
		}
	}
	return len(seen), steps
}

// TestNoStateWithoutAWayOut searches breadth first over what a person can write
// and what the clock can ring, from a stranger and from people of each language,
// until no state is new. In every state MENU, BACK, STOP and a cry for help work,
// every digit that was shown is understood, and no answer is over its budget of
// segments and of screens. At its long size the states are told apart by more.
func TestNoStateWithoutAWayOut(t *testing.T) {
	defer debug.SetGCPercent(debug.SetGCPercent(200)) // most of what is made is garbage at once
	p := newPhone(t)
	p.place.Duty = 1
	catalog, err := theCatalog()
	require.NoError(t, err)
	c := &closure{engine: p.e, catalog: catalog, phone: p, whole: os.Getenv("COBLINE_SCALE") == "long", questions: map[string]*spot{}, faults: map[string]string{}}
	begin := time.Now()
	level := []*spot{{now: p.now}}
	small := os.Getenv("COBLINE_SCALE") == "small"
	for l := range languages(t) {
		if small && !slices.Contains([]locales.Lang{"en", "sw", "hi"}, l) {
			continue // one that pays by 160 letters and one by 70
		}
		p.switchOn(l)
		level = append(level, &spot{now: p.now, state: dialog.State{Lang: l, Chosen: true, Met: true}})
	}
	farthest := 1000
	if small {
		farthest = 3
	}
	states, steps := c.run(level, farthest)
	t.Logf("%d states, %d steps, %s", states, steps, time.Since(begin).Round(time.Second))
	require.Less(t, states, 300_000)
	for q, at := range c.questions {
		if _, known := questions[q]; !known {
			t.Errorf("TestC18EveryQuestion does not know the question %s: %s", q, at.path())
		}
	}
	for _, rule := range slices.Sorted(maps.Keys(c.faults)) {
		t.Errorf("%s:\n%s", rule, c.faults[rule])
	}
}
