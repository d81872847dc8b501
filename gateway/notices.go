package gateway

import (
	"cmp"
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"cobline/dialog"
	"cobline/locales"
)

// NoticeStore is what notices need of a store.
type NoticeStore interface {
	Turns
	People
	Desk
	Bulletins
	Try(ctx context.Context, ref string) error
}

// Notices sends officers' notices: Start puts one on the Desk, Run writes
// references to it for everybody it is for, and Tell makes a reference the
// message it comes to for one person, when it is to be sent. A notice reaches a
// number once.
type Notices struct {
	store   NoticeStore
	service *Service
	started chan struct{}
	census  census
	seen    atomic.Int64 // how many people there were when all were looked at last

	mu     sync.Mutex
	spoilt map[string]bool // notices that cannot be read
	finder Finder          // may be nil
}

// Finder knows who is where, so that not everybody has to be looked at.
type Finder interface {
	// At returns everybody who is at one of some places and may be sent a notice,
	// perhaps with others; false if it does not know them all at present.
	At(ctx context.Context, places []string) ([]PersonKey, bool, error)
}

// Finds lets what is counted at a place be found from now on without looking at
// everybody. Whom a notice goes to is decided by looking at everybody all the
// same.
func (n *Notices) Finds(f Finder) {
	n.mu.Lock()
	defer n.mu.Unlock()
	n.finder = f
}

// people calls f with everybody at some places, or with everybody if none is
// named, and tells how many it has looked at, of how many; of zero if that is not
// known.
func (n *Notices) people(ctx context.Context, places []string, told func(looked, of int), f func(Conversation) error) error {
	home, looked, of := n.service.Facts().Home, 0, int(n.seen.Load())
	look := func(c Conversation) error {
		if looked++; looked%100 == 0 {
			told(looked, of)
		}
		if !among(places, cmp.Or(c.State.Place, home)) {
			return ctx.Err()
		}
		return f(c)
	}
	n.mu.Lock()
	finder := n.finder
	n.mu.Unlock()
	if finder != nil && len(places) > 0 {
		keys, known, err := finder.At(ctx, places)
		if err == nil && known {
			of = len(keys)
			return n.lookAt(ctx, keys, look)
		}
		if err != nil && ctx.Err() == nil {
			n.service.options.Log.Warn("everybody is looked at, since who is where is not known", "error", err)
		}
	}
	err := n.store.Each(ctx, Number{}, look)
	if err == nil {
		n.seen.Store(int64(looked))
	}
	return err
}

// lookAt calls f with some people, but not with those who were forgotten meanwhile.
func (n *Notices) lookAt(ctx context.Context, keys []PersonKey, f func(Conversation) error) error {
	for _, k := range keys {
		c, err := n.store.Person(ctx, k)
		if errors.Is(err, ErrNotFound) {
			continue
		}
		if err == nil {
			err = f(c)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// NewNotices returns the notices of a store and its service.
func NewNotices(st NoticeStore, s *Service) *Notices {
	return &Notices{store: st, service: s, started: make(chan struct{}, 1), spoilt: map[string]bool{}}
}

// Preview tells what a notice would come to, and changes nothing.
func (n *Notices) Preview(ctx context.Context, notice Notice, now time.Time) (Preview, error) {
	return n.Count(ctx, notice, now, func(int, int) {})
}

// Count is Preview, and tells meanwhile how many people it has looked at, of how
// many; of zero if that is not known.
func (n *Notices) Count(ctx context.Context, notice Notice, now time.Time, told func(looked, of int)) (Preview, error) {
	p := Preview{Rings: map[string]int{}, LeftOut: map[string]int{}}
	now = n.service.options.Watch.At(now)
	notice, err := notice.ready(now)
	if err != nil {
		return p, err
	}
	err = n.people(ctx, notice.Audience.Places, told, func(c Conversation) error {
		one, err := n.copyFor(c, notice, now)
		switch {
		case err != nil:
			return err
		case one.left != "":
			p.LeftOut[one.left]++
		default:
			p.add(one)
		}
		return ctx.Err()
	})
	if err != nil {
		return p, fmt.Errorf("preview a notice: %w", err)
	}
	slices.SortStableFunc(p.Texts, func(a, b Variant) int { return b.Persons - a.Persons })
	return p, nil
}

// NewNoticeID returns an id for a notice: ids are in the order of their times.
func NewNoticeID(now time.Time) string {
	var random [2]byte
	rand.Read(random[:])
	return strings.Replace(now.UTC().Format("20060102-150405.000"), ".", "-", 1) + "-" + hex.EncodeToString(random[:])
}

var noticeID = regexp.MustCompile(`^[0-9]{8}-[0-9]{6}-[0-9]{3}-[0-9a-f]{4}$`)

// Start puts a notice on the Desk, from where Run takes it, and returns it with
// its id. One that has an id already is started once: the error is ErrConflict if
// it was before. What can be wrong with a notice is told in a sentence.
func (n *Notices) Start(ctx context.Context, notice Notice, now time.Time) (Notice, error) {
	now = n.service.options.Watch.At(now)
	notice, err := notice.ready(now)
	if err != nil {
		return notice, err
	}
	switch {
	case notice.Message.ID == "":
		notice.Message.ID = NewNoticeID(now)
	case !noticeID.MatchString(notice.Message.ID):
		return notice, fmt.Errorf("%q is no id of a notice", notice.Message.ID)
	}
	if err := n.store.Enlist(ctx, notice, 0, nil, now); err != nil {
		return notice, fmt.Errorf("start notice %s: %w", notice.Message.ID, err)
	}
	n.look()
	return notice, nil
}

// Test sends a notice to one phone as a person of a language and of the first
// place of its audience would get it, and returns the texts. It counts for
// nothing, and is sent at any hour: somebody looks at the phone.
func (n *Notices) Test(ctx context.Context, notice Notice, to Number, lang locales.Lang, now time.Time) (texts []string, err error) {
	s := n.service
	now = s.options.Watch.At(now)
	if notice, err = notice.ready(now); err != nil {
		return nil, err
	}
	defer s.lock(to)()
	err = retry(func() error {
		c, err := n.store.Load(ctx, to)
		channel := s.writes(c.Channel)
		switch {
		case err != nil:
			return err
		case channel == "":
			return errors.New("no channel can write to a phone")
		case c.State.Stopped:
			return fmt.Errorf("%v wants no messages", to)
		}
		somebody := dialog.State{Met: true, Lang: lang, Chosen: true, Seen: now, Profile: dialog.Profile{Consent: "test"}}
		if len(notice.Audience.Places) > 0 {
			somebody.Place = notice.Audience.Places[0]
		}
		t, err := s.step(Conversation{Number: to, State: somebody}, channel, now, dialog.Told{Notice: notice.Message})
		if err != nil {
			return err
		}
		for i := range t.Replies {
			t.Replies[i].Key, t.Replies[i].Urgency, t.Replies[i].Valid = testKey, dialog.Answer, testLife
		}
		t.State, t.Effects = c.State, nil
		change := s.change(c, t, &Entry{Kind: Noticed, At: now, Channel: channel}, none)
		texts = texts[:0]
		for _, m := range change.Out {
			texts = append(texts, m.Text)
		}
		if len(texts) == 0 {
			return errors.New("the notice has no text in that language")
		}
		return s.commit(ctx, change)
	})
	return texts, err
}

// The reply that is a notice on trial, and how long it may still be sent.
const (
	testKey  = "notice.test"
	testLife = time.Hour
)

// Standing is a notice and how far it has come.
type Standing struct {
	Notice Notice
	Tally  Tally
}

// Set pauses a notice, lets it go on, or cancels it. What was sent stays sent.
func (n *Notices) Set(ctx context.Context, id string, p Progress, now time.Time) (s Standing, err error) {
	err = retry(func() error {
		notice, rev, err := n.load(ctx, id)
		switch {
		case err != nil:
			return err
		case notice.Progress == Cancelled && p != Cancelled:
			return errors.New("it is cancelled; start another")
		}
		if notice.Progress = p; p == Cancelled {
			notice.After = ""
		}
		s.Notice = notice
		return n.store.Enlist(ctx, notice, rev, nil, n.service.options.Watch.At(now))
	})
	if err == nil {
		s.Tally, err = n.store.Tally(ctx, id)
	}
	if err != nil {
		return s, fmt.Errorf("set notice %q to %v: %w", id, p, err)
	}
	n.look()
	return s, nil
}

// Get returns a notice and how far it has come.
func (n *Notices) Get(ctx context.Context, id string) (s Standing, err error) {
	if s.Notice, _, err = n.load(ctx, id); err != nil {
		return s, fmt.Errorf("notice %q: %w", id, err)
	}
	s.Tally, err = n.store.Tally(ctx, id)
	return s, err
}

// List returns all notices, the newest first: their ids begin with the time.
func (n *Notices) List(ctx context.Context) (all []Standing, err error) {
	err = n.each(ctx, func(notice Notice, _ uint64) error {
		t, err := n.store.Tally(ctx, notice.Message.ID)
		all = append(all, Standing{notice, t})
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("list notices: %w", err)
	}
	slices.Reverse(all)
	return all, nil
}

func (n *Notices) load(ctx context.Context, id string) (notice Notice, rev uint64, err error) {
	rev, err = n.store.Get(ctx, NoticeKind, id, &notice)
	return notice.exact(), rev, err
}

// deskPage is how many documents are read at a time.
const deskPage = 100

// each calls f with every notice. One that cannot be read, which a newer program
// may have written, is left out and told of: it must not keep the others.
func (n *Notices) each(ctx context.Context, f func(Notice, uint64) error) error {
	for after, last := "", "-"; last != ""; after = last {
		last = ""
		count := 0
		err := n.store.List(ctx, NoticeKind, after, deskPage, func(id string, rev uint64, decode func(any) error) error {
			if count++; count == deskPage {
				last = id
			}
			var notice Notice
			if err := decode(&notice); err != nil {
				n.spoils(id, err)
				return nil
			}
			return f(notice.exact(), rev)
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// spoils notes that a notice cannot be read, and logs it once.
func (n *Notices) spoils(id string, err error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	if !n.spoilt[id] {
		n.spoilt[id] = true
		n.service.options.Log.Error("a notice cannot be read and goes no further; it stays in the store", "notice", id, "error", err)
	}
}

// Unreadable returns how many notices were found that this program cannot read.
func (n *Notices) Unreadable() int {
	n.mu.Lock()
	defer n.mu.Unlock()
	return len(n.spoilt)
}

// look makes Run look at once.
func (n *Notices) look() {
	select {
	case n.started <- struct{}{}:
	default:
	}
}

const noticePause = 30 * time.Second // between looks at the Desk

// Run writes the references of started notices until the context ends, which is
// no error. It goes on where a run before it ended.
func (n *Notices) Run(ctx context.Context) error {
	return every(ctx, noticePause, n.started, func() error { return n.Enlist(ctx, time.Now) })
}

// every does something at once, and again after each pause or when it is woken,
// until the context ends, which is no error.
func every(ctx context.Context, pause time.Duration, woken <-chan struct{}, do func() error) error {
	tick := time.NewTicker(pause)
	defer tick.Stop()
	for {
		err := do()
		if ctx.Err() != nil {
			return nil
		}
		if err != nil {
			return err
		}
		select {
		case <-ctx.Done():
			return nil
		case <-woken:
		case <-tick.C:
		}
	}
}

// Enlist writes the references of the notices that are started now. It goes by a
// clock of its caller, for it may take long.
func (n *Notices) Enlist(ctx context.Context, clock func() time.Time) error {
	err := n.each(ctx, func(notice Notice, rev uint64) error {
		if notice.Listed || notice.Progress != Running {
			return nil
		}
		err := n.enlist(ctx, notice, rev, clock)
		if errors.Is(err, ErrConflict) { // somebody paused or cancelled it
			n.look()
			return nil
		}
		return err
	})
	if err != nil {
		return fmt.Errorf("list whom notices are for: %w", err)
	}
	return nil
}

// enlist writes references in the order of the numbers. The number it has come
// to is written with them, so that whoever goes on leaves nobody out and writes
// nobody twice.
func (n *Notices) enlist(ctx context.Context, notice Notice, rev uint64, clock func() time.Time) error {
	now := func() time.Time { return n.service.options.Watch.At(clock()) }
	var after Number
	var err error
	if notice.After != "" {
		if after, err = NumberOf(notice.After); err != nil {
			n.spoils(notice.Message.ID, err)
			return nil
		}
	}
	var to []Outbound
	var failed error
	write := func() error {
		failed = n.store.Enlist(ctx, notice, rev, to, now())
		rev++
		for _, ref := range to {
			n.service.options.Poke(ref.Channel)
		}
		to = to[:0]
		return failed
	}
	seen := 0
	broken := n.store.Each(ctx, after, func(c Conversation) error {
		one, err := n.copyFor(c, notice, now())
		if err != nil {
			n.service.options.Log.Error("left out of a notice", "notice", notice.Message.ID, "number", c.Number, "error", err)
		} else if one.left == "" {
			to = append(to, one.ref)
		}
		notice.After = c.Number.Digits()
		if seen++; len(to) == MaxEnlisted || seen%(20*MaxEnlisted) == 0 {
			return write()
		}
		return ctx.Err()
	})
	if failed != nil || ctx.Err() != nil {
		return failed
	}
	if broken != nil {
		n.service.options.Log.Error("left out of a notice", "notice", notice.Message.ID, "error", broken)
	}
	notice.Listed, notice.After = true, "" // a number is not kept longer than it is needed
	return write()
}

// copyFor returns what a notice would be to the person of a conversation.
func (n *Notices) copyFor(c Conversation, notice Notice, now time.Time) (one copyFor, err error) {
	s := n.service
	one.left = notice.leaves(c, s.Facts().Home, now)
	channel := s.writes(c.Channel)
	if one.left == "" && channel == "" {
		one.left = leftNoChannel
	}
	if one.left != "" {
		return one, nil
	}
	// Of a notice for later the state is only a guess, which Tell makes good.
	t, err := s.step(c, channel, later(now, notice.NotBefore), dialog.Told{Notice: notice.Message})
	if err != nil {
		return one, err
	}
	change := s.change(c, t, &Entry{At: now}, none)
	if !among(langNames(notice.Audience), string(t.Heard.Lang)) {
		one.left = leftOthers
		return one, nil
	}
	if len(change.Out) == 0 && t.State.Asked.IsZero() {
		one.left = leftNoText
		return one, nil
	}
	urgency := dialog.Bulletin
	one.beside = notice.Message.Weather && c.State.Burning()
	if one.beside {
		urgency = dialog.Safety // it may not wait for the end of the quiet hours
	}
	one.lang, one.ring, one.asks = t.Heard.Lang, c.State.Ring(now), !t.State.Asked.IsZero()
	one.ref = Outbound{
		Channel: channel, To: c.Number, Urgency: urgency, NotBefore: later(now, notice.NotBefore), Key: dialog.NoticeKey,
		From: s.options.Channels[channel].From, Place: c.State.Place, Person: c.Person, Expires: notice.Message.Expires,
		Notice: notice.Message.ID, Ahead: notice.Message.Weather && !notice.Message.Hour.IsZero(),
	}
	var texts []string
	for _, m := range change.Out {
		one.ref.Segments += m.Segments
		one.ref.Price += m.Price
		texts = append(texts, m.Text)
	}
	one.text = strings.Join(texts, "\n")
	return one, nil
}

func langNames(a Audience) (names []string) {
	for _, l := range a.Langs {
		names = append(names, string(l))
	}
	return names
}

// remembered is how long after a notice expires a number is known to have had
// it.
const remembered = 7 * 24 * time.Hour

// Tell makes a leased reference the message it comes to, and marks it as being
// sent; a message that was told before, it marks only. It returns true if the
// message is now to be sent, else how it is to be settled: not at all if that
// has no outcome.
func (n *Notices) Tell(ctx context.Context, m Outbound, now time.Time) (Outbound, Settlement, bool, error) {
	now = n.service.options.Watch.At(now)
	notice, _, err := n.load(ctx, m.Notice)
	if err != nil && !errors.Is(err, ErrNotFound) {
		return m, Settlement{}, false, fmt.Errorf("tell %v: %w", m.To, err)
	}
	if err != nil || notice.Progress == Cancelled {
		return m, dropped(leftCancelled, now), false, nil
	}
	defer n.service.lock(m.To)()
	if m.Text != "" {
		return n.again(ctx, m, notice, now)
	}
	var told Outbound
	var s Settlement
	err = retry(func() (err error) {
		told, s, err = n.tell(ctx, m, notice, now)
		return err
	})
	if errors.Is(err, ErrSeen) {
		return m, Settlement{}, false, nil
	}
	if err != nil {
		return m, Settlement{}, false, fmt.Errorf("tell %v: %w", m.To, err)
	}
	return told, s, s == Settlement{} && told.Trying, nil
}

// again marks a message that was told before, and put off. Whom it was for may
// have opted out since, or have given the number away.
func (n *Notices) again(ctx context.Context, m Outbound, notice Notice, now time.Time) (Outbound, Settlement, bool, error) {
	c, err := n.store.Load(ctx, m.To)
	if err != nil {
		return m, Settlement{}, false, fmt.Errorf("tell %v: %w", m.To, err)
	}
	if why := notice.leaves(c, n.service.Facts().Home, now); why != "" {
		return m, dropped(why, now), false, nil
	}
	err = n.store.Try(ctx, m.Ref)
	if errors.Is(err, ErrNotFound) { // withdrawn or erased meanwhile
		return m, Settlement{}, false, nil
	}
	m.Trying = true
	return m, Settlement{}, err == nil, err
}

func (n *Notices) tell(ctx context.Context, m Outbound, notice Notice, now time.Time) (Outbound, Settlement, error) {
	s := n.service
	c, err := n.store.Load(ctx, m.To)
	if err != nil {
		return m, Settlement{}, err
	}
	reached := func(r Reached) bool { return r.Notice == m.Notice }
	if why := notice.leaves(c, s.Facts().Home, now); why != "" {
		return m, dropped(why, now), nil
	}
	if slices.ContainsFunc(c.Notices, reached) {
		return m, dropped(leftTold, now), nil
	}
	t, err := s.step(c, m.Channel, now, dialog.Told{Notice: notice.Message})
	if err != nil {
		return m, Settlement{}, err
	}
	e := &Entry{Kind: Noticed, At: now, Channel: m.Channel, Notice: m.Notice}
	change := s.change(c, t, e, none)
	at := slices.IndexFunc(change.Out, func(o Outbound) bool { return o.Key == dialog.NoticeKey })
	switch {
	case at < 0 && t.State.Asked.IsZero():
		return m, dropped(leftNoText, now), nil
	case at < 0:
		// Until the person is known again it waits; at the end of its time it expires.
		wait := Settlement{Outcome: Later, At: now, Why: "asked first", Until: m.Expires}
		return m, wait, n.ask(ctx, change, m.Notice, c)
	}
	bulletin := change.Out[at]
	change.Out = slices.Delete(change.Out, at, at+1)
	e.Replies[bulletin.Index].Out, e.Ref = false, m.Ref // it keeps the reference's own name
	bulletin.Ref, bulletin.Notice, bulletin.Ahead = m.Ref, m.Notice, m.Ahead
	// Else it goes out by the channel they now use; or, of a burn that ended since
	// the list, when the quiet hours and the caps let it.
	bulletin.Trying = bulletin.Channel == m.Channel && (m.Urgency != dialog.Safety || c.State.Burning())
	change.Source.Bulletin = &bulletin
	change.Conversation.Notices = append(
		slices.DeleteFunc(slices.Clone(c.Notices), func(r Reached) bool { return now.After(r.Until) }),
		Reached{Notice: m.Notice, Until: notice.Message.Expires.Add(remembered)},
	)
	return bulletin, Settlement{}, s.commit(ctx, change)
}

// ask commits the question that comes before a notice, if it is not asked yet.
func (n *Notices) ask(ctx context.Context, change Change, notice string, before Conversation) error {
	if change.Conversation.State.Asked.Equal(before.State.Asked) {
		return nil
	}
	for i := range change.Out {
		change.Out[i].Notice = notice // so that it goes out once, as the notice does
	}
	return n.service.commit(ctx, change)
}

func dropped(why string, now time.Time) Settlement {
	return Settlement{Outcome: Dropped, At: now, Why: why}
}
