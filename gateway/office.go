package gateway

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"cobline/dialog"
	"cobline/locales"
)

// OfficerPhoneKind is the kind of officers' phones among the Desk's documents.
// The id of one is its number.
const OfficerPhoneKind = "officer-phone"

// OfficerPhone is a phone from which an officer reads what is most urgent and
// sends the ready notices. Integer keys are never reused.
type OfficerPhone struct {
	Number  Number    `cbor:"-"`
	Account string    `cbor:"1,keyasint"` // whose it is
	Hash    string    `cbor:"2,keyasint"` // of the PIN
	Given   bool      `cbor:"3,keyasint,omitempty"`
	Wrong   int       `cbor:"4,keyasint,omitempty"` // PINs in a row
	Locked  time.Time `cbor:"5,keyasint,omitzero"`  // since when; zero: it is not
	Added   time.Time `cbor:"6,keyasint"`
	Expires time.Time `cbor:"7,keyasint"` // unless it is renewed
	Places  []string  `cbor:"8,keyasint,omitempty"`
	// Mornings says that the officer gets the list of the morning.
	Mornings bool `cbor:"9,keyasint,omitempty"`
}

// Open reports whether the phone is neither locked nor expired.
func (p OfficerPhone) Open(now time.Time) bool { return p.Locked.IsZero() && now.Before(p.Expires) }

// maxWrongPINs is how many wrong PINs in a row lock a phone.
const maxWrongPINs = 5

// Waiting is one who waits for an officer.
type Waiting struct {
	At     time.Time
	Number Number
	Place  string
	Text   string
}

// Waitings tells who waits for officers, in some places, or in all if none is
// named: at most max of them, and how many there are.
type Waitings interface {
	Questions(ctx context.Context, places []string, max int) ([]Waiting, int, error) // the newest first
	CallBacks(ctx context.Context, places []string, max int) ([]Waiting, int, error) // who waits longest first
	Emergencies(ctx context.Context, places []string) (int, error)                   // that nobody has seen
}

// OfficeOptions are an office's fixed settings.
type OfficeOptions struct {
	Waiting Waitings
	// May reports whether an account may still send notices; default: any may.
	May func(ctx context.Context, account string) (bool, error)
	// Most is how many phones a notice sent by phone may reach; default 500.
	Most int
	// Lasts is after how long a phone expires unless it is renewed; default 180
	// days. Common practice.
	Lasts  time.Duration
	Rounds int // of hashing a PIN; default 600,000
}

// Office serves officers' own phones: it knows them, and answers what the
// dialogue asks for them.
type Office struct {
	store   NoticeStore
	notices *Notices
	service *Service
	options OfficeOptions
}

// NewOffice returns the office of some notices, and lets their service serve
// officers' phones from now on.
func NewOffice(n *Notices, o OfficeOptions) *Office {
	if o.May == nil {
		o.May = func(context.Context, string) (bool, error) { return true, nil }
	}
	if o.Most == 0 {
		o.Most = 500
	}
	if o.Lasts == 0 {
		o.Lasts = 180 * 24 * time.Hour
	}
	if o.Rounds == 0 {
		o.Rounds = pinRounds
	}
	office := &Office{store: n.store, notices: n, service: n.service, options: o}
	n.service.office.Store(office)
	return office
}

// visit is an officer's phone during one turn, and what the turn writes to the
// Desk.
type visit struct {
	office  *Office
	phone   OfficerPhone
	rev     uint64 // zero: the number is no officer's phone
	may     bool
	changed bool
	writes  []Document
	now     time.Time
}

// visit returns what is known of a number. Without an office no number is an
// officer's phone.
func (o *Office) visit(ctx context.Context, n Number, now time.Time) (*visit, error) {
	v := &visit{office: o, now: now}
	if o == nil {
		return v, nil
	}
	var err error
	v.phone, v.rev, err = o.phone(ctx, n)
	if errors.Is(err, ErrNotFound) {
		return v, nil
	}
	if err == nil {
		v.may, err = o.options.May(ctx, v.phone.Account)
	}
	if err != nil {
		return nil, fmt.Errorf("look up an officer's phone: %w", err)
	}
	return v, nil
}

func (o *Office) phone(ctx context.Context, n Number) (p OfficerPhone, rev uint64, err error) {
	rev, err = o.store.Get(ctx, OfficerPhoneKind, n.Digits(), &p)
	return p.exact(n), rev, err
}

// exact undoes what storing does to the times.
func (p OfficerPhone) exact(n Number) OfficerPhone {
	for _, t := range []*time.Time{&p.Locked, &p.Added, &p.Expires} {
		if !t.IsZero() {
			*t = t.Round(time.Second).UTC()
		}
	}
	p.Number = n
	return p
}

// known is what the dialogue knows of the phone; nil of any other number.
func (v *visit) known() *dialog.Officer {
	if v.rev == 0 && !v.changed {
		return nil
	}
	p := v.phone
	return &dialog.Officer{Open: v.may && p.Open(v.now), Given: p.Given, Places: p.Places, Digest: p.Mornings, Ends: p.Expires}
}

// record adds a line to the audit trail that is written with the turn.
func (v *visit) record(by, what, on, detail string) {
	v.writes = append(v.writes, Record{At: v.now, By: by, What: what, On: on, Detail: detail}.document())
}

// byPhone names who does something by phone.
func (v *visit) byPhone() string { return v.phone.Account + ", by phone" }

// documents returns what the turn writes to the Desk.
func (v *visit) documents() []Document {
	if v.changed {
		return append(v.writes, Document{Kind: OfficerPhoneKind, ID: v.phone.Number.Digits(), Value: v.phone, Rev: v.rev})
	}
	return v.writes
}

// resign makes the number no officer's phone.
func (v *visit) resign() {
	v.changed = false
	v.writes = append(v.writes, Document{Kind: OfficerPhoneKind, ID: v.phone.Number.Digits(), Rev: v.rev})
	v.record(v.byPhone(), "phone given up", v.phone.Number.String(), "")
}

// rowsSaid is how many of those who wait one message names.
const (
	questionsSaid = 3
	callsSaid     = 5
)

// answer answers what the dialogue asks for the phone.
func (v *visit) answer(ctx context.Context, ask dialog.Ask) (f dialog.Found, err error) {
	f = dialog.Found{Ask: ask}
	f.Ask.PIN = ""
	switch ask.What {
	case dialog.AskPIN:
		f.No, err = v.checkPIN(string(ask.PIN))
	case dialog.AskNewPIN:
		f.No, err = v.choosePIN(string(ask.PIN))
	case dialog.AskOutlook:
		f.Work, err = v.work(ctx, []string{ask.Place})
	case dialog.AskQuestions:
		f.Rows, f.Work.Questions, err = v.rows(v.office.options.Waiting.Questions(ctx, v.phone.Places, questionsSaid))
	case dialog.AskCalls:
		f.Rows, f.Work.Calls, err = v.rows(v.office.options.Waiting.CallBacks(ctx, v.phone.Places, callsSaid))
		for _, w := range f.Rows {
			n, broken := NumberOf(w.Number[1:])
			err = errors.Join(err, broken)
			v.record(v.byPhone(), "number shown", n.String(), "who waits for a call")
		}
	case dialog.AskCount, dialog.AskSend:
		err = v.notice(ctx, &f)
	case dialog.AskDigest:
		if f.Work, err = v.work(ctx, v.phone.Places); err == nil {
			err = v.waiting(ctx, &f.Work)
		}
	case dialog.AskMornings, dialog.AskNoMornings:
		v.phone.Mornings, v.changed = ask.What == dialog.AskMornings, true
	}
	if err != nil {
		return f, fmt.Errorf("answer an officer's phone: %w", err)
	}
	return f, nil
}

// checkPIN counts a wrong PIN; the fifth in a row locks the phone.
func (v *visit) checkPIN(pin string) (dialog.No, error) {
	p := &v.phone
	right, err := isPIN(p.Hash, pin)
	switch {
	case err != nil:
		return 0, err
	case right:
		v.changed = v.changed || p.Wrong > 0
		p.Wrong = 0
		v.record(v.byPhone(), "sign-in", p.Number.String(), "")
		return 0, nil
	}
	p.Wrong++
	v.changed = true
	what, no := "sign-in failed", dialog.NoWrong
	if p.Wrong >= maxWrongPINs {
		what, no = "phone locked", dialog.NoLocked
		p.Locked = v.now.UTC().Truncate(time.Second)
	}
	v.record(v.byPhone(), what, p.Number.String(), fmt.Sprintf("wrong PIN, %d in a row", p.Wrong))
	return no, nil
}

// choosePIN puts a PIN in the place of the one that was given out.
func (v *visit) choosePIN(pin string) (dialog.No, error) {
	same, err := isPIN(v.phone.Hash, pin)
	switch {
	case err != nil:
		return 0, err
	case same || weakPIN(pin):
		return dialog.NoWeak, nil
	}
	if v.phone.Hash, err = hashPIN(pin, v.office.options.Rounds); err != nil {
		return 0, err
	}
	v.phone.Given, v.changed = false, true
	v.record(v.byPhone(), "PIN changed", v.phone.Number.String(), "")
	return 0, nil
}

// rows are those who wait as the dialogue reads them out.
func (v *visit) rows(list []Waiting, all int, err error) (rows []dialog.Waiting, count int, _ error) {
	for _, w := range list {
		rows = append(rows, dialog.Waiting{At: w.At, Place: v.office.place(w.Place), Number: "+" + w.Number.Digits(), Text: w.Text})
	}
	return rows, all, err
}

// place is the home place of who has named none.
func (o *Office) place(key string) string {
	if key == "" {
		return o.service.Facts().Home
	}
	return key
}

// work counts what people have under way in some places, or in all.
func (v *visit) work(ctx context.Context, places []string) (w dialog.Work, err error) {
	var around map[string]Around
	if len(places) > 0 {
		around, err = v.office.notices.around(ctx, places, v.now)
	} else { // all officers ask at the same hour of the morning
		around, _, err = v.office.notices.Around(ctx, v.now)
	}
	if err != nil {
		return w, err
	}
	for _, a := range around {
		w.Alight += a.Alight + a.Sealed
		w.Drying += a.Briquettes
	}
	return w, nil
}

// waiting counts who waits for officers.
func (v *visit) waiting(ctx context.Context, w *dialog.Work) (err error) {
	o := v.office.options.Waiting
	var errs [3]error
	_, w.Questions, errs[0] = o.Questions(ctx, v.phone.Places, 1)
	_, w.Calls, errs[1] = o.CallBacks(ctx, v.phone.Places, 1)
	w.Emergencies, errs[2] = o.Emergencies(ctx, v.phone.Places)
	return errors.Join(errs[:]...)
}

// notice counts whom a ready notice reaches. With a code it only says so; when
// the code has come back it is put on the Desk, in the same step as the turn: a
// notice sent by phone is started once, or the turn has not been.
func (v *visit) notice(ctx context.Context, f *dialog.Found) error {
	o := v.office
	f.Most = o.options.Most
	if !f.Ask.Notice.Hour.After(v.now) {
		f.No = dialog.NoLate
		return nil
	}
	notice, err := Notice{
		Message:  f.Ask.Notice,
		Audience: Audience{Places: []string{o.place(f.Ask.Place)}},
		By:       v.phone.Account,
	}.ready(v.now)
	if err != nil {
		return err
	}
	p, err := o.notices.Preview(ctx, notice, v.now)
	if err != nil {
		return err
	}
	f.Persons, f.Segments = p.Persons, p.Segments
	switch {
	case p.Persons > o.options.Most:
		f.No = dialog.NoMany
	case f.Ask.What == dialog.AskCount:
		f.Code = digits(PINDigits)
	default:
		notice.Message.ID = NewNoticeID(v.now)
		v.writes = append(v.writes, Document{Kind: NoticeKind, ID: notice.Message.ID, Value: notice})
		v.record(v.byPhone(), "notice sent", "notice "+notice.Message.ID, fmt.Sprintf("%s at %s, %d phones", f.Ask.Notice.Ready, o.place(f.Ask.Place), p.Persons))
	}
	return nil
}

// maxAsks bounds how often one turn asks the world.
const maxAsks = 3

// decide decides on an event as step does, and answers what the dialogue asks
// for an officer's phone. It returns what is to be written to the Desk with the
// turn.
func (s *Service) decide(ctx context.Context, c Conversation, channel string, now time.Time, ev dialog.Event) (dialog.Turn, []Document, error) {
	v, err := s.office.Load().visit(ctx, c.Number, now)
	if err != nil {
		return dialog.Turn{}, nil, err
	}
	return s.converse(ctx, v, c, channel, now, ev)
}

func (s *Service) converse(ctx context.Context, v *visit, c Conversation, channel string, now time.Time, ev dialog.Event) (dialog.Turn, []Document, error) {
	t, err := s.stepAs(c, channel, now, ev, v.known())
	for range maxAsks {
		ask, asks := t.Asks()
		if err != nil || !asks {
			break
		}
		var found dialog.Found
		if found, err = v.answer(ctx, ask); err != nil {
			break
		}
		c.State = t.State
		var next dialog.Turn
		if next, err = s.stepAs(c, channel, now, found, v.known()); err == nil {
			t = t.Then(next)
		}
	}
	if err != nil {
		return dialog.Turn{}, nil, err
	}
	if v.rev != 0 && slices.Contains(t.Effects, dialog.Effect(dialog.Resign{})) {
		v.resign()
	}
	return t, v.documents(), nil
}

// alter changes what is known of a number as an officer's phone, and lets its
// conversation know, in one step.
func (o *Office) alter(ctx context.Context, n Number, now time.Time, by, what string, lang locales.Lang, f func(p *OfficerPhone, rev uint64) error) error {
	s := o.service
	now = s.options.Watch.At(now)
	defer s.lock(n)()
	err := retry(func() error {
		c, err := s.turns.Load(ctx, n)
		if err != nil {
			return err
		}
		v := &visit{office: o, may: true, now: now}
		if v.phone, v.rev, err = o.phone(ctx, n); err != nil && !errors.Is(err, ErrNotFound) {
			return err
		}
		fresh := v.rev == 0
		if err := f(&v.phone, v.rev); err != nil {
			return err
		}
		v.changed = true
		channel := s.writes(c.Channel)
		if v.phone.Account == "" { // it is dropped
			v.writes = append(v.writes, Document{Kind: OfficerPhoneKind, ID: n.Digits(), Rev: v.rev})
			v.changed, v.rev = false, 0
		}
		v.record(by, what, n.String(), v.phone.Account)
		t, documents, err := s.converse(ctx, v, c, channel, now, dialog.Posted{Lang: lang, Fresh: fresh})
		if err != nil {
			return err
		}
		change := s.change(c, t, &Entry{Kind: Posted, At: now, Channel: channel, By: by}, none)
		change.Documents = documents
		return s.commit(ctx, change)
	})
	if err != nil {
		return fmt.Errorf("%s of %v: %w", what, n, err)
	}
	return nil
}

// there refuses what can only be done to a phone that is one.
func there(f func(p *OfficerPhone) error) func(*OfficerPhone, uint64) error {
	return func(p *OfficerPhone, rev uint64) error {
		if rev == 0 {
			return ErrNotFound
		}
		return f(p)
	}
}

// AddPhone makes a number the phone of an account's officer, who sees to some
// places, or to all if none is named, and returns the PIN to hand over. The
// officer chooses another at the first sign-in. The phone is told.
func (o *Office) AddPhone(ctx context.Context, n Number, account string, places []string, lang locales.Lang, by string, now time.Time) (pin string, err error) {
	pin = newPIN()
	hash, err := hashPIN(pin, o.options.Rounds)
	if err != nil {
		return "", err
	}
	err = o.alter(ctx, n, now, by, "phone added", lang, func(p *OfficerPhone, rev uint64) error {
		switch {
		case account == "":
			return errors.New("whose phone is it? Name the account")
		case rev != 0:
			return fmt.Errorf("it is the phone of %s already: renew it, or drop it first", p.Account)
		}
		at := o.service.options.Watch.At(now).UTC().Truncate(time.Second)
		*p = OfficerPhone{Number: n, Account: account, Hash: hash, Given: true, Added: at, Expires: at.Add(o.options.Lasts), Places: places, Mornings: true}
		return nil
	})
	if err != nil {
		return "", err
	}
	return pin, nil
}

// RenewPhone lets a phone last from now on as long as a new one.
func (o *Office) RenewPhone(ctx context.Context, n Number, by string, now time.Time) error {
	return o.alter(ctx, n, now, by, "phone renewed", "", there(func(p *OfficerPhone) error {
		p.Expires = o.service.options.Watch.At(now).UTC().Truncate(time.Second).Add(o.options.Lasts)
		return nil
	}))
}

// UnlockPhone opens a phone that wrong PINs have locked.
func (o *Office) UnlockPhone(ctx context.Context, n Number, by string, now time.Time) error {
	return o.alter(ctx, n, now, by, "phone unlocked", "", there(func(p *OfficerPhone) error {
		p.Wrong, p.Locked = 0, time.Time{}
		return nil
	}))
}

// SetPIN gives a phone the PIN its officer has chosen. The error is ErrWeakPIN if
// it is too easy to guess.
func (o *Office) SetPIN(ctx context.Context, n Number, pin, by string, now time.Time) error {
	if weakPIN(pin) {
		return ErrWeakPIN
	}
	return o.givePIN(ctx, n, pin, false, by, now)
}

// NewPIN gives a phone another PIN to hand over, in place of one that was
// forgotten, and opens it.
func (o *Office) NewPIN(ctx context.Context, n Number, by string, now time.Time) (pin string, err error) {
	pin = newPIN()
	return pin, o.givePIN(ctx, n, pin, true, by, now)
}

func (o *Office) givePIN(ctx context.Context, n Number, pin string, given bool, by string, now time.Time) error {
	hash, err := hashPIN(pin, o.options.Rounds)
	if err != nil {
		return err
	}
	return o.alter(ctx, n, now, by, "PIN changed", "", there(func(p *OfficerPhone) error {
		p.Hash, p.Given = hash, given
		if given {
			p.Wrong, p.Locked = 0, time.Time{}
		}
		return nil
	}))
}

// SetPhone says whose people the officer of a phone sees to, and whether the list
// of the morning comes.
func (o *Office) SetPhone(ctx context.Context, n Number, places []string, mornings bool, by string, now time.Time) error {
	return o.alter(ctx, n, now, by, "phone changed", "", there(func(p *OfficerPhone) error {
		p.Places, p.Mornings = places, mornings
		return nil
	}))
}

// DropPhone makes a number no officer's phone.
func (o *Office) DropPhone(ctx context.Context, n Number, by string, now time.Time) error {
	return o.alter(ctx, n, now, by, "phone dropped", "", there(func(p *OfficerPhone) error {
		*p = OfficerPhone{Number: n}
		return nil
	}))
}

// Phones returns the officers' phones in the order of their numbers.
func (o *Office) Phones(ctx context.Context) (all []OfficerPhone, err error) {
	for after, last := "", "-"; last != ""; after = last {
		last = ""
		count := 0
		err := o.store.List(ctx, OfficerPhoneKind, after, deskPage, func(id string, _ uint64, decode func(any) error) error {
			var p OfficerPhone
			n, err := NumberOf(id)
			if err := errors.Join(err, decode(&p)); err != nil {
				return err
			}
			if count++; count == deskPage {
				last = id
			}
			all = append(all, p.exact(n))
			return nil
		})
		if err != nil {
			return nil, fmt.Errorf("list officers' phones: %w", err)
		}
	}
	return all, nil
}
