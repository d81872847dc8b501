package console

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"cobline/locales"
)

// The practice phone: a line of its own, on which nothing is real and the clock
// can be moved.
var practiceRoutes = []route{
	{get, "/practice", Officer, (*request).practice},
	{post, "/practice/begin", Officer, (*request).beginPractice},
	{post, "/practice/say", Officer, (*request).sayPractice},
	{post, "/practice/move", Officer, (*request).movePractice},
}

// A Phone writes to a line of its own.
type Phone interface {
	// Say brings a text to the line, and Move moves its clock forward. Both return
	// what the phone then shows.
	Say(ctx context.Context, text string) ([]PhoneText, error)
	Move(ctx context.Context, to time.Time) ([]PhoneText, error)
	// Next returns when the line writes next on its own; zero if it does not.
	Next(ctx context.Context) (time.Time, error)
	Now() time.Time
	Close() error
}

// PhoneText is one text or screen a phone shows.
type PhoneText struct {
	Text  string
	Timed bool // nobody asked for it just now
}

// PhoneKind says which phone is wanted.
type PhoneKind struct {
	Lang    locales.Lang
	Place   string
	Dialled bool // in a session of screens
}

// The bounds of practice: each phone is a store of its own.
const (
	phonesKept  = 20
	phoneIdle   = time.Hour
	linesKept   = 200
	longestText = 1000
)

// phones are the practice phones in use, by account.
type phones struct {
	mu   sync.Mutex
	open map[string]*handset
}

// handset is a practice phone and what was said on it.
type handset struct {
	mu    sync.Mutex
	phone Phone
	kind  PhoneKind
	lines []practiceLine
	used  time.Time
}

// practiceLine is one text of the practice.
type practiceLine struct {
	At    time.Time
	Own   bool // the officer wrote it
	Timed bool
	Text  string
	Size  string
}

// of returns the phone of an account, if it has one.
func (p *phones) of(name string, now time.Time) *handset {
	p.mu.Lock()
	defer p.mu.Unlock()
	h := p.open[name]
	if h != nil {
		h.used = now
	}
	return h
}

// begin gives an account a new phone.
func (p *phones) begin(name string, h *handset) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	old := p.open[name]
	if old == nil && len(p.open) >= phonesKept {
		return errors.Join(fault("too many practise at this moment; try again in a while"), h.phone.Close())
	}
	if p.open == nil {
		p.open = map[string]*handset{}
	}
	p.open[name] = h
	return old.close()
}

// collect closes the phones that nobody has used since a time.
func (p *phones) collect(since time.Time) (err error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for name, h := range p.open {
		if h.used.Before(since) {
			delete(p.open, name)
			err = errors.Join(err, h.close())
		}
	}
	return err
}

func (h *handset) close() error {
	if h == nil {
		return nil
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.phone.Close()
}

// add keeps what the phone shows.
func (h *handset) add(texts []PhoneText) {
	for _, t := range texts {
		size := ""
		if !h.kind.Dialled {
			size = measure(h.kind.Lang, t.Text).Size
		}
		h.lines = append(h.lines, practiceLine{At: h.phone.Now(), Timed: t.Timed, Text: t.Text, Size: size})
	}
	h.lines = h.lines[max(0, len(h.lines)-linesKept):]
}

type practiceView struct {
	Begin   form
	Lines   []practiceLine
	Now     time.Time
	Next    time.Time
	Open    bool
	Dialled bool
	Asked   int // the line that the officer wrote last
	Place   string
	Say     form
	Move    form
}

// practicePage returns the page with the phone of this account. Its lock is held
// until done is called.
func (q *request) practicePage() (page practiceView, h *handset, done func(), err error) {
	langs, places := field{Name: "lang", Label: "Language", Kind: "select"}, field{Name: "place", Label: "Place", Kind: "select", Value: q.Facts().Home}
	for _, l := range q.langs() {
		langs.Options = append(langs.Options, option{string(l), q.langName(l)})
	}
	for _, p := range q.placeChoices() {
		places.Options = append(places.Options, option{p.Value, p.Label})
	}
	page.Begin = form{Fields: []field{langs, places, {Name: "way", Label: "Way", Kind: "select", Options: []option{{"sms", "text messages"}, {"ussd", "a dialled session"}}}}}
	page.Say = form{Fields: []field{{Name: "text", Label: "Your text", Kind: "text", Complete: "off"}}}
	page.Move = form{Fields: []field{{Name: "to", Label: "Or to", Kind: "datetime-local", Filter: true}}}
	h = q.phones.of(q.Account.Name, q.now)
	if h == nil {
		return page, nil, func() {}, nil
	}
	h.mu.Lock()
	page.Open, page.Dialled, page.Place = true, h.kind.Dialled, h.kind.Place
	page.Now = h.phone.Now()
	if page.Next, err = h.phone.Next(q.ctx); err != nil {
		h.mu.Unlock()
		return page, nil, nil, err
	}
	page.Begin.Fields[0].Value, page.Begin.Fields[1].Value = string(h.kind.Lang), h.kind.Place
	page.Begin.Fields[2].Value = map[bool]string{true: "ussd", false: "sms"}[h.kind.Dialled]
	page.Say.Fields[0].Lang = string(h.kind.Lang)
	if h.kind.Dialled {
		page.Say.Fields[0].Label, page.Say.Fields[0].Optional = "Your key or answer", true
	}
	page.Lines = h.lines
	for i, l := range h.lines {
		if l.Own {
			page.Asked = i
		}
	}
	return page, h, h.mu.Unlock, nil
}

func (q *request) practice() error {
	page, _, done, err := q.practicePage()
	if err != nil {
		return err
	}
	defer done()
	return q.render("practice", page)
}

func (q *request) beginPractice() error {
	page, _, done, err := q.practicePage()
	if err != nil {
		return err
	}
	done()
	page.Begin.fill(q.form)
	if page.Begin.Wrong() {
		return q.again("practice", page)
	}
	kind := PhoneKind{Lang: locales.Lang(q.form.Get("lang")), Place: q.form.Get("place"), Dialled: q.form.Get("way") == "ussd"}
	phone, err := q.Practice(q.ctx, kind, q.now.In(view{facts: q.Facts()}.zone(kind.Place)))
	if err != nil {
		return fmt.Errorf("open a practice phone: %w", err)
	}
	err = q.phones.begin(q.Account.Name, &handset{phone: phone, kind: kind, used: q.now})
	if page.Begin.mends(err, "") {
		return q.again("practice", page)
	}
	if err != nil {
		return err
	}
	return q.done("/practice#now", "")
}

// noPhone leads to the form that begins: the phone was put away, or never there.
func (q *request) noPhone() error {
	return q.done("/practice", "Begin first: there is no practice phone of yours, or it was put away after an hour.")
}

func (q *request) sayPractice() error {
	page, h, done, err := q.practicePage()
	if err != nil {
		return err
	}
	defer done()
	if h == nil {
		return q.noPhone()
	}
	text := q.form.Get("text")
	if len(text) > longestText {
		page.Say.wrong("text", fmt.Sprintf("a text has %d characters at most here", longestText))
		return q.again("practice", page)
	}
	h.lines = append(h.lines, practiceLine{At: h.phone.Now(), Own: true, Text: text})
	texts, err := h.phone.Say(q.ctx, text)
	if err != nil {
		return fmt.Errorf("practise: %w", err)
	}
	h.add(texts)
	return q.done("/practice#now", "")
}

// movePractice moves the clock: by a span, to the next message, or to a time.
func (q *request) movePractice() error {
	page, h, done, err := q.practicePage()
	if err != nil {
		return err
	}
	defer done()
	if h == nil {
		return q.noPhone()
	}
	to := page.Now
	switch by := q.form.Get("by"); {
	case by == "next" && !page.Next.IsZero():
		to = page.Next
	case by == "next":
	case by == "morning":
		y, m, d := to.Date()
		to = time.Date(y, m, d+1, 7, 0, 0, 0, to.Location())
	case by != "":
		span, err := time.ParseDuration(by)
		if err != nil || span < 0 || span > 31*24*time.Hour {
			page.Move.wrong("to", "that is no span to move the clock by")
			return q.again("practice", page)
		}
		to = to.Add(span)
	default:
		at, err := time.ParseInLocation(dateTime, strings.TrimSpace(q.form.Get("to")), to.Location())
		if err != nil || at.Before(to) || at.After(to.AddDate(0, 0, 31)) {
			page.Move.wrong("to", "write a date and a time from now on, within a month; the clock only goes forward")
			return q.again("practice", page)
		}
		to = at
	}
	texts, err := h.phone.Move(q.ctx, to)
	if err != nil {
		return fmt.Errorf("move the clock of practice: %w", err)
	}
	h.add(texts)
	return q.done("/practice#now", "")
}
