package dialog

import (
	"fmt"
	"slices"
	"time"

	"cobline/calc"
	"cobline/locales"
)

// Options are an engine's fixed settings.
type Options struct {
	Default locales.Lang // the language of a person whose words do not tell; zero: English
}

// Engine answers events. It is immutable and safe for concurrent use.
type Engine struct {
	catalog  *locales.Catalog
	lexicons lexicons
	office   map[string]bool // what an officer texts to be asked for the PIN, folded
	fallback locales.Lang
	free     []locales.Lang // what may be sent where the world does not say
}

// New returns an engine that speaks and hears with the catalogue. It fails if a
// topic's message or word is missing from it.
func New(c *locales.Catalog, o Options) (*Engine, error) {
	if o.Default == "" {
		o.Default = "en"
	}
	if !slices.Contains(c.Langs(), o.Default) {
		return nil, fmt.Errorf("dialog: the default language %q is not in the catalogue", o.Default)
	}
	e := &Engine{catalog: c, lexicons: compile(c), office: officeWords(c), fallback: o.Default, free: c.Free()}
	for _, id := range spoken() {
		if !c.Has(o.Default, id) {
			return nil, fmt.Errorf("dialog: message %q is not in the catalogue", id)
		}
	}
	return e, nil
}

// Step answers one event. It reads no clock, disk, network or global: the same
// arguments give the same turn, and the state given is left unchanged.
func (e *Engine) Step(s State, ev Event, w World) Turn {
	t := e.begin(s, w)
	switch ev := ev.(type) {
	case Said:
		t.said(ev)
		t.recognise()
		if t.taughtHeard {
			return e.unlessHidden(t.end(), s, ev, w)
		}
	case Due:
		t.due(ev.Timer)
	case Told:
		t.told(ev.Notice)
	case Answered:
		t.replied(ev)
	case Called:
		t.clear(timerCall)
		t.s.Owed, t.heard.Understood = false, true
	case Enrolled:
		t.enrolled(ev.Profile)
	case Forgotten:
		t.forgotten()
	case Lapsed:
		t.lapsed(ev)
	case Alerted:
		t.alerted(ev.Alert)
	case Acknowledged:
		t.acknowledged(ev.AlertID)
	case Posted:
		t.posted(ev)
	case Found:
		t.found(ev)
	}
	return t.end()
}

// turn is a turn in the making.
type turn struct {
	e     *Engine
	w     World
	s     State
	place Place
	now   time.Time // in the place's zone
	lang  locales.Lang
	out   Turn
	heard *Heard
	via   Channel
	who   string // the name a text on the phone of a group began with
	fresh bool   // the person was never met before

	abroad bool // it was a cry in a language that the line does not speak

	taughtHeard bool // the text holds something that officers taught

	erased bool // nothing of the person is kept

	looked look // the text that was looked at last
}

// begin copies the state and finds the place.
func (e *Engine) begin(s State, w World) *turn {
	t := &turn{e: e, w: w, s: s.clone(), fresh: !s.Met}
	t.heard = &t.out.Heard
	t.lang = s.Lang
	if _, known := e.lexicons.words[t.lang]; !known || !t.speaks(t.lang) {
		t.lang = e.fallback // nothing was said yet, or the language is no longer sent
	}
	t.place = placeOf(w.Facts, s.Place)
	t.now = w.Now.In(t.place.Zone)
	return t
}

// end closes the turn.
func (t *turn) end() Turn {
	t.out.Replies = atMost(t.out.Replies)
	if !t.erased {
		t.s.Last = t.last()
	}
	if t.via == USSD {
		// The first screen of a session holds the caution.
		slices.SortStableFunc(t.out.Replies, func(a, b Reply) int { return cautionFirst(a) - cautionFirst(b) })
		if f, n := t.top(), len(t.out.Replies); n > 0 && (f == nil || f.Open == "") {
			t.out.Replies[n-1].End = true // nothing is asked: the session is over
		}
	}
	t.endResume()
	t.out.State = t.s
	t.heard.Lang = t.lang
	for _, f := range slices.Backward(t.s.Frames) {
		if f.Topic != topicStuck { // the question that a person was stuck at
			if f.Open != "" {
				t.heard.Step = f.Topic + "." + string(f.Open)
			}
			break
		}
	}
	return t.out
}

// cautionFirst orders replies: cautions, what else a person is told, a question.
// The load of a recipe and what is said of a burn hold theirs themselves.
func cautionFirst(r Reply) int {
	switch {
	case len(r.Choices) > 0:
		return 2
	case family(r.Key) == "caution", family(r.Key) == topicBurn, r.Key == "recipe.load":
		return 0
	}
	return 1
}

// placeOf returns a place of the facts, the home place, or a place without
// coordinates.
func placeOf(f *Facts, key string) Place {
	if f != nil {
		if p, ok := f.Places[key]; ok && key != "" {
			return p.ready()
		}
		if p, ok := f.Places[f.Home]; ok {
			return p.ready()
		}
	}
	return Place{}.ready()
}

// ready fills in the zone.
func (p Place) ready() Place {
	if p.Zone == nil {
		p.Zone = time.UTC
	}
	return p
}

// text returns one message in the person's language.
func (t *turn) text(id locales.ID, a locales.Args) string { return t.e.catalog.Text(t.lang, id, a) }

// count returns one counted message in the person's language.
func (t *turn) count(id locales.ID, n int, a locales.Args) string {
	return t.e.catalog.Count(t.lang, id, n, a)
}

// say adds one message.
func (t *turn) say(id locales.ID, u Urgency, a locales.Args) {
	t.add(Reply{Key: string(id), Text: t.text(id, a), Urgency: u})
}

// add adds a reply, unless it would say the same twice in one turn.
func (t *turn) add(r Reply) {
	for _, o := range t.out.Replies {
		if o.Text == r.Text && r.Text != "" {
			return
		}
	}
	t.out.Replies = append(t.out.Replies, r)
}

// do adds an effect.
func (t *turn) do(f Effect) { t.out.Effects = append(t.out.Effects, f) }

// top returns the open frame, or nil.
func (t *turn) top() *Frame {
	if n := len(t.s.Frames); n > 0 {
		return &t.s.Frames[n-1]
	}
	return nil
}

// maxFrames bounds how deep a person can change the subject.
const maxFrames = 4

// open puts a new frame on the stack, in place of an answered one.
func (t *turn) open(topic string) *Frame {
	if f := t.top(); f != nil && (f.Done || f.Topic == topic || f.Topic == lobby) {
		t.s.Frames = t.s.Frames[:len(t.s.Frames)-1]
	}
	t.s.Frames = slices.DeleteFunc(t.s.Frames, func(f Frame) bool { return f.Topic == topic || f.Done })
	if len(t.s.Frames) >= maxFrames {
		t.s.Frames = t.s.Frames[1:]
	}
	t.s.Frames = append(t.s.Frames, Frame{Topic: topic, Slots: Slots{}})
	return t.top()
}

// close takes the open frame off the stack.
func (t *turn) close() {
	if n := len(t.s.Frames); n > 0 {
		t.s.Frames = t.s.Frames[:n-1]
	}
}

// set sets a timer, in place of one with the same id.
func (t *turn) set(timer Timer) {
	t.clear(timer.ID)
	timer.At = timer.At.UTC().Truncate(time.Second)
	t.s.Timers = append(t.s.Timers, timer)
	slices.SortStableFunc(t.s.Timers, func(a, b Timer) int { return a.At.Compare(b.At) })
}

// clear takes a timer away.
func (t *turn) clear(id TimerID) {
	t.s.Timers = slices.DeleteFunc(t.s.Timers, func(o Timer) bool { return o.ID == id })
}

// clock writes a time of day of the place, such as 7:30.
func (t *turn) clock(at time.Time) string { return at.In(t.place.Zone).Format("15:04") }

// sun returns whether the place has coordinates to reckon daylight with.
func (p Place) sun() bool { return p.Lat != 0 || p.Lon != 0 }

// notBefore returns when a drum sealed at a time may be opened.
func (t *turn) notBefore(sealed time.Time, wait calc.Hours) time.Time {
	return t.place.notBefore(sealed, wait)
}
