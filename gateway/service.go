package gateway

import (
	"context"
	crand "crypto/rand"
	"errors"
	"fmt"
	"hash/maphash"
	"log/slog"
	"runtime/debug"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"cobline/dialog"
	"cobline/gateway/ussd"
	"cobline/locales"
)

// Stepper decides what an event leads to. dialog.Engine is the one.
type Stepper interface {
	Step(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn
}

// Carry says how many replies of a turn the answer to the request carries.
type Carry uint8

// The ways to carry. What is not carried goes to the outbox.
const (
	CarryNone Carry = iota
	CarryFirst
	CarryAll
)

// Channel is what the Service knows of one way in and out.
type Channel struct {
	Ability dialog.Ability
	Carry   Carry                          // of a text; a session's screen carries everything, and so does a channel that cannot send
	From    string                         // the sender its messages go out with
	Keys    func(l locales.Lang) ussd.Keys // the page keys of a session channel
	// RetryWindow is how long the same text again is a repeat, on a channel whose
	// gateway gives neither ids nor times; zero is never.
	RetryWindow time.Duration
	// PerHour is how many texts of one number are answered in an hour; zero is no
	// limit. The screens of a session have none.
	PerHour int
	Tariff  Tariff // what its messages cost
}

// Options are a service's fixed settings.
type Options struct {
	Channels map[string]Channel
	// Main is the channel of messages to people who never wrote, and to those
	// whose own channel cannot send.
	Main string
	// Duty returns the duty phones of a place, the first to be told first.
	Duty func(place string) []Number
	// GiveUp is how long an answer may still be sent; default 24 hours.
	GiveUp time.Duration
	// Poke, if set, is called after a commit has put messages in a channel's
	// outbox.
	Poke func(channel string)
	// Join returns the text of the parts of a long text, in order; some may be
	// missing. Default: their octets, as UTF-8.
	Join  func([]Part) string
	Watch *Watch       // default: one that follows no earlier commit
	Log   *slog.Logger // default: slog.Default
}

// Service turns events into committed turns. It is safe for concurrent use; the
// events of one number follow each other.
type Service struct {
	engine  Stepper
	turns   Turns
	options Options
	facts   atomic.Pointer[dialog.Facts]
	seed    maphash.Seed
	stripes [256]sync.Mutex
	office  atomic.Pointer[Office] // nil: no number is an officer's phone
	veil    string                 // drawn at random, so that no digest of a secret can be tried

	mu      sync.Mutex
	arrived map[Number]int // texts that are being answered or wait for it
}

// NewService returns a service that decides with e and keeps with st.
func NewService(e Stepper, st Turns, o Options) *Service {
	if o.GiveUp == 0 {
		o.GiveUp = 24 * time.Hour
	}
	if o.Duty == nil {
		o.Duty = func(string) []Number { return nil }
	}
	if o.Poke == nil {
		o.Poke = func(string) {}
	}
	if o.Join == nil {
		o.Join = octets
	}
	if o.Watch == nil {
		o.Watch = NewWatch(time.Time{})
	}
	if o.Log == nil {
		o.Log = slog.Default()
	}
	s := &Service{engine: e, turns: st, options: o, seed: maphash.MakeSeed(), veil: crand.Text(), arrived: map[Number]int{}}
	s.facts.Store(&dialog.Facts{})
	return s
}

// SetFacts replaces what the next turns know about the world.
func (s *Service) SetFacts(f *dialog.Facts) { s.facts.Store(f) }

// Facts returns what turns know about the world now.
func (s *Service) Facts() *dialog.Facts { return s.facts.Load() }

// Receive answers a text or a key press. The answer is durable when Receive
// returns: what it returns is to be shown at once, the rest is on its way. The
// same message again returns the same replies and changes nothing. After an
// error nothing was answered, and the message may be brought again.
func (s *Service) Receive(ctx context.Context, in Inbound) (Shown, error) {
	ch, ok := s.options.Channels[in.Channel]
	if !ok {
		return Shown{}, fmt.Errorf("receive on channel %q: no such channel", in.Channel)
	}
	in = in.clean()
	in.At = s.options.Watch.At(in.At)
	in.SentAt = in.SentAt.Truncate(time.Millisecond) // as it comes back from a store
	switch p := in.Part; {
	case p != nil && !p.valid():
		in.Part = &Part{Total: 1, Seq: 1, Octets: p.Octets, Charset: p.Charset}
		fallthrough
	case p != nil && in.From.IsZero():
		in = s.join([]Inbound{in}) // there is nothing to join it with
	}
	if in.From.IsZero() {
		e := heard(in)
		e.Kind, e.Sender = Foreign, in.Sender
		return Shown{}, s.turns.Commit(ctx, Change{Entry: e})
	}
	answering, leave := s.arrive(in.From)
	defer leave()
	defer s.lock(in.From)()
	var shown Shown
	err := retry(func() (err error) {
		shown, err = s.receive(ctx, in, ch, answering)
		return err
	})
	if err != nil {
		return Shown{}, fmt.Errorf("answer %v on channel %q: %w", in.From, in.Channel, err)
	}
	return shown, nil
}

func (s *Service) receive(ctx context.Context, in Inbound, ch Channel, answering bool) (Shown, error) {
	c, err := s.turns.Load(ctx, in.From)
	if err != nil {
		return Shown{}, err
	}
	var parts *pieces
	crowded := false
	if in.Part != nil && c.State.AsksSecret() {
		in = s.alone(in) // a PIN is not held for what may follow
	}
	if in.Part != nil {
		if in, err = s.identified(ctx, in); err != nil {
			return Shown{}, err
		}
		in, parts, err = s.hold(ctx, c, in)
		switch {
		case errors.Is(err, ErrSeen):
			return s.again(ctx, c, in, ch)
		case errors.Is(err, ErrFull): // it is a text of its own, which answers nothing but a cry
			in, crowded = s.alone(in), true
		case err != nil || parts == nil:
			return Shown{}, err
		}
	}
	var session Session
	begins := false
	if in.Via == dialog.USSD {
		session, in, begins = c.enter(in)
	}
	if id, ok := c.repeated(in, s.veil, ch.RetryWindow, answering); ok {
		in.ID = id
		return s.again(ctx, c, in, ch)
	}
	anonymous := in.ID == MessageID{}
	if anonymous {
		says := veiled(in, s.veil)
		in.ID = NewMessageID(in.Channel, in.From.Digits(), string(says[:]), in.At.UTC().Format(time.RFC3339Nano))
	}
	change, question, stepless := Change{}, paged, false
	if in.Via == dialog.USSD && !begins {
		change, stepless = c.session(session, in, ch)
	}
	shown := change.Conversation.Shown
	if !stepless {
		change, shown, err = s.answer(ctx, c, session, in, ch, begins, crowded)
		if err != nil {
			return Shown{}, err
		}
	}
	if !stepless || in.Text == "" {
		question = open(c.State)
	}
	change.Source.Inbound = in.ID
	if parts != nil {
		parts.settle(&change, in.At)
	}
	says := content(in)
	if change.Entry != nil && change.Entry.Heard.Secret {
		says = veiled(in, s.veil)
	}
	change.Conversation.recall(in, says, anonymous, question, ch.RetryWindow)
	switch err := s.commit(ctx, change); {
	case errors.Is(err, ErrSeen):
		return s.again(ctx, c, in, ch)
	case err != nil:
		return Shown{}, err
	}
	return shown, nil
}

// answer lets the dialogue answer a message.
func (s *Service) answer(ctx context.Context, c Conversation, session Session, in Inbound, ch Channel, begins, crowded bool) (Change, Shown, error) {
	ev := said(in)
	ev.Begins, ev.Dropped = begins, begins && c.Session.broke(in.At)
	t, documents, err := s.decide(ctx, c, in.Channel, in.At, ev)
	if err != nil {
		return Change{}, Shown{}, err
	}
	change, silenced := s.heed(c, t, in, ch.answer(in.Via), crowded)
	if silenced == "" {
		change.Documents = documents
	}
	shown := show(*change.Entry, in, ch)
	shown.Silenced = silenced
	if in.Via == dialog.USSD {
		session.Answer, session.Blank, session.Over = in.ID, false, !shown.More
		change.Conversation.Shown, change.Conversation.Session = shown, session
	}
	return change, shown, nil
}

// heed turns what was decided on a message into a change, unless the number gets
// no more answers for now, or sends more parts than can be held: then the message
// is journalled and changes nothing.
func (s *Service) heed(c Conversation, t dialog.Turn, in Inbound, a answer, crowded bool) (change Change, silenced string) {
	c.Channel = in.Channel
	e := heard(in)
	switch {
	case crowded && !urgent(t.Heard):
		silenced = Crowded
	case in.Via == dialog.SMS:
		c.Traffic, silenced = c.Traffic.judge(in.Text, t.Heard, s.options.Channels[in.Channel].PerHour, in.At)
	}
	if silenced != "" {
		t = dialog.Turn{State: c.State, Heard: t.Heard}
		e.Flags = []string{silenced}
	}
	change = s.change(c, t, e, a)
	change.Release = known(c, t)
	if silenced == "" && !t.Heard.OptOut {
		change.Conversation.Notices, change.Replied = replies(c.Notices, in.At)
	}
	return change, silenced
}

// replyTime is how long after a notice a text is taken as a reply to it. Common
// practice.
const replyTime = 24 * time.Hour

// replies returns the notices of a person who texts, and the one that this
// answers: the last they were told, if it was lately and they have not yet.
func replies(notices []Reached, at time.Time) ([]Reached, string) {
	i := len(notices) - 1
	if i < 0 || notices[i].Replied || notices[i].At.IsZero() || at.Sub(notices[i].At) > replyTime {
		return notices, ""
	}
	notices = slices.Clone(notices)
	notices[i].Replied = true
	return notices, notices[i].Notice
}

// known reports whether a turn settled whose number it is.
func known(c Conversation, t dialog.Turn) bool {
	return !c.State.Asked.IsZero() && t.State.Asked.IsZero()
}

// again returns what was shown when the message was first answered.
func (s *Service) again(ctx context.Context, c Conversation, in Inbound, ch Channel) (Shown, error) {
	i := c.Session.turned(in.ID)
	answer := in.ID
	if i >= 0 {
		answer = c.Session.Turned[i].Answer
	}
	e, err := s.turns.Recall(ctx, in.From, answer)
	shown := c.Shown // if it brought nothing, or turned its page long ago
	switch {
	case err == nil:
		shown = show(e, in, ch)
	case !errors.Is(err, ErrNotFound):
		return Shown{}, err
	}
	if i >= 0 && err == nil {
		screen := shown.Screen
		screen.At = min(c.Session.Turned[i].At, len(screen.Pages)-1)
		shown = shown.turned(screen)
	}
	shown.Again = true
	return shown, nil
}

// Ring tells a conversation that an alarm has come due. An alarm that is gone is
// no error: another ring has answered it.
func (s *Service) Ring(ctx context.Context, a Alarm, now time.Time) error {
	now = s.options.Watch.At(now)
	defer s.lock(a.Number)()
	err := retry(func() error { return s.ring(ctx, a, now) })
	if err != nil && !errors.Is(err, ErrSeen) {
		return fmt.Errorf("ring %q of %v: %w", a.ID, a.Number, err)
	}
	return nil
}

func (s *Service) ring(ctx context.Context, a Alarm, now time.Time) error {
	c, err := s.turns.Load(ctx, a.Number)
	if err != nil {
		return err
	}
	if a.Errand != nil && a.Errand.Parts != "" {
		return s.ringParts(ctx, c, a, now)
	}
	channel := s.writes(c.Channel)
	e := &Entry{At: now, Channel: channel, Timer: dialog.Timer{ID: a.ID, At: a.At}}
	var ev dialog.Event
	switch {
	case a.Errand == nil:
		i := slices.IndexFunc(c.State.Timers, a.rings)
		if i < 0 { // the conversation no longer wants it
			return s.commit(ctx, Change{Conversation: c, Source: Source{Alarm: &a}})
		}
		e.Kind, e.Timer = Rang, c.State.Timers[i]
		ev = dialog.Due{Timer: e.Timer}
	case a.Errand.Alert != nil:
		e.Kind, ev = Alerted, dialog.Alerted{Alert: *a.Errand.Alert}
	case a.Errand.Lapse != nil:
		l := a.Errand.Lapse
		e.Kind, e.Ref, ev = Lapsed, l.Ref, dialog.Lapsed{Ref: l.Ref, Key: l.Key, Why: l.Why}
	case a.Errand.OptOut:
		if c.State.Stopped && len(c.State.Timers) == 0 {
			return s.commit(ctx, Change{Conversation: c, Source: Source{Alarm: &a}})
		}
		// As if the person had told the line, which STOP does in every language.
		e.Kind, ev = OptedOut, dialog.Said{Text: "STOP", Via: dialog.SMS}
	default:
		e.Kind, ev = Acknowledged, dialog.Acknowledged{AlertID: a.Errand.Seen}
	}
	t, documents, err := s.decide(ctx, c, channel, now, ev)
	if err != nil {
		return err
	}
	// The alarm is over: a timer left in the state would wait for it in vain.
	t.State.Timers = slices.DeleteFunc(t.State.Timers, a.rings)
	if e.Kind == OptedOut {
		t.Replies = nil // the gateway confirmed it, or takes nothing
	}
	change := s.change(c, t, e, none)
	change.Source.Alarm, change.Documents = &a, documents
	change.Withdraw = change.Withdraw || e.Kind == OptedOut
	if e.Kind == Alerted {
		e.hide(a.Errand.Alert.Number)
	}
	return s.commit(ctx, change)
}

// rings reports whether the alarm is the row of a timer.
func (a Alarm) rings(t dialog.Timer) bool {
	return a.Errand == nil && a.ID == t.ID && a.Moment() == Alarm{At: t.At}.Moment()
}

// lock takes the number's lock.
func (s *Service) lock(n Number) (unlock func()) {
	mu := &s.stripes[maphash.String(s.seed, n.digits)%uint64(len(s.stripes))]
	mu.Lock()
	return mu.Unlock
}

// arrive notes that a text of a number wants to be answered, and reports whether
// another one is being answered: numbers share locks, so waiting for a lock tells
// nothing.
func (s *Service) arrive(n Number) (answering bool, leave func()) {
	s.mu.Lock()
	defer s.mu.Unlock()
	answering = s.arrived[n] > 0
	s.arrived[n]++
	return answering, func() {
		s.mu.Lock()
		defer s.mu.Unlock()
		if s.arrived[n]--; s.arrived[n] == 0 {
			delete(s.arrived, n)
		}
	}
}

// maxTurns is how often a turn is decided if the conversation changes under it.
// The lock of the number leaves that to other processes.
const maxTurns = 4

func retry(decide func() error) (err error) {
	for range maxTurns {
		if err = decide(); !errors.Is(err, ErrConflict) {
			break
		}
	}
	return err
}

// step decides. A panic is kept to the event that caused it: one text must not
// take the line from everybody, at every start anew.
func (s *Service) step(c Conversation, channel string, now time.Time, ev dialog.Event) (dialog.Turn, error) {
	return s.stepAs(c, channel, now, ev, nil)
}

// stepAs decides on an event of an officer's phone.
func (s *Service) stepAs(c Conversation, channel string, now time.Time, ev dialog.Event, o *dialog.Officer) (t dialog.Turn, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("decide on %T: panic: %v\n%s", ev, p, debug.Stack())
		}
	}()
	ability := s.options.Channels[channel].Ability
	ability.Short = s.funds(s.writes(channel), now) > FundsAmple
	if ability.Limit > 0 { // whoever dials is written to on the main channel
		ability.Sends = s.writes(channel) != ""
	}
	t = s.engine.Step(c.State, ev, dialog.World{Now: now, Facts: s.facts.Load(), Channel: ability, Officer: o})
	// A state comes back with whole seconds, and an alarm must still be its timer.
	t.State.Timers = slices.Clone(t.State.Timers)
	for i := range t.State.Timers {
		t.State.Timers[i].At = t.State.Timers[i].At.Truncate(time.Second)
	}
	return t, nil
}

func (s *Service) commit(ctx context.Context, c Change) error {
	if err := s.turns.Commit(ctx, c); err != nil {
		return err
	}
	if len(c.Out) > 0 {
		s.options.Poke(c.Out[0].Channel)
	}
	if slices.ContainsFunc(c.Documents, func(d Document) bool { return d.Kind == NoticeKind }) {
		s.office.Load().notices.look()
	}
	return nil
}

// funds returns how the caps of a channel stand.
func (s *Service) funds(channel string, now time.Time) Funds {
	tariff := s.options.Channels[channel].Tariff
	if tariff.Day == (Spend{}) && tariff.Month == (Spend{}) {
		return FundsAmple
	}
	return tariff.Funds(s.turns.Spent(channel, now))
}

// writes returns the channel on which a person of a channel can be written to:
// that one, else the main one; empty if neither can send.
func (s *Service) writes(channel string) string {
	for _, name := range []string{channel, s.options.Main} {
		if s.options.Channels[name].Ability.Sends {
			return name
		}
	}
	return ""
}

// plausible returns the sent time of a message if it can be believed: gateways
// that lost their clock or zone are off by hours.
func plausible(sent, received time.Time) time.Time {
	switch d := received.Sub(sent); {
	case sent.IsZero() || d > 24*time.Hour || d < -24*time.Hour:
		return time.Time{}
	case d < 0:
		return received
	}
	return sent
}
