package gateway

import (
	"context"
	"errors"
	"io"
	"time"

	"cobline/dialog"
)

// The errors a caller of a store branches on.
var (
	// ErrConflict says that the revision given is not the stored one.
	ErrConflict = errors.New("changed since it was read")
	// ErrSeen says that the source of a change is already answered.
	ErrSeen = errors.New("already answered")
	// ErrFull says that no more parts of long texts are held for a number.
	ErrFull = errors.New("too many parts are held already")
	// ErrNotFound says that what was asked for is not there.
	ErrNotFound = errors.New("not found")
)

// Conversation is what the line keeps about one number.
type Conversation struct {
	Number  Number
	Channel string    // of the person's last text; replies go there
	Person  PersonKey // drawn by the Service when it first answers
	State   dialog.State
	Shown   Shown    // what a dialled session shows now
	Session Session  // that session
	Recents []Recent // texts of the last minute, oldest first
	Traffic Traffic
	Rev     uint64 // counts the commits; zero is a number never met
	// Notices are the notices that reached this number, as long as they might
	// come again.
	Notices []Reached
	// Greeted says that a gateway once took a message to this number. The store
	// keeps it.
	Greeted bool
}

// Reached is a notice that reached a number; it does so once.
type Reached struct {
	Notice string    `cbor:"1,keyasint"`
	Until  time.Time `cbor:"2,keyasint"` // remembered until then
	// At is when a gateway took it, which the store notes. What the person texts soon
	// after counts as a reply to it, once.
	At      time.Time `cbor:"3,keyasint,omitzero"`
	Replied bool      `cbor:"4,keyasint,omitempty"`
}

// Source is what a change answers: a message, an alarm, or a reference to a
// notice; of a long text also its parts. A source is answered once: the store
// remembers an inbound message for at least 72 hours, the others by their rows.
type Source struct {
	Inbound MessageID
	Parts   []MessageID // are remembered in place of Inbound, and held no more
	Alarm   *Alarm
	// Bulletin is what a reference, leased and named by Ref, has become. It is
	// written in the place of the reference. One that is Trying stays in flight.
	Bulletin *Outbound
}

// Change is everything one turn changes.
type Change struct {
	Conversation Conversation
	Source       Source
	Out          []Outbound // only with an Entry, which names them
	Set, Clear   []Alarm    // also of other numbers: the durable way from one conversation to another
	Entry        *Entry     // nil if the turn says nothing to the journal
	// Withdraw drops the person's waiting reminders and bulletins: they opted out.
	Withdraw bool
	// Replied is the notice that this text answers, counted in its tally.
	Replied string
	// Release lets the person's references that wait go out: they are known again.
	Release bool
	// Documents are written to the Desk in the same step, of a change with a number.
	// If one of them is stored under another revision the whole is ErrConflict.
	Documents []Document
	// Erase forgets the person in the same step: state, alarms, waiting messages,
	// and the texts of all their entries but this one. Out is still sent.
	Erase *dialog.Erase
}

// Document is one of the Desk's documents as a change writes it, over revision
// Rev, as Desk.Put does; a nil Value deletes it.
type Document struct {
	Kind, ID string
	Value    any
	Rev      uint64
}

// Alarm is a moment at which a conversation wants to be woken. Number, ID and At
// identify it: a ring deletes exactly that alarm.
type Alarm struct {
	Number Number         `cbor:"-"`
	ID     dialog.TimerID `cbor:"-"`
	At     time.Time      `cbor:"1,keyasint"`
	Due    time.Time      `cbor:"-"` // At, or later if deferred; set by the store
	Tries  int            `cbor:"2,keyasint,omitempty"`
	Errand *Errand        `cbor:"3,keyasint,omitempty"` // nil: a timer of the conversation
}

// Moment returns At in milliseconds since 1970: what tells alarms apart, since
// a time does not come back from a store to the nanosecond.
func (a Alarm) Moment() int64 { return a.At.Round(time.Millisecond).UnixMilli() }

// Errand is what an alarm brings to a conversation from elsewhere. Exactly one
// field is set.
type Errand struct {
	Alert *dialog.Alert `cbor:"1,keyasint,omitempty"` // an emergency reaches a duty phone
	Seen  string        `cbor:"2,keyasint,omitempty"` // a duty phone has seen the alert of this id
	Lapse *Lapse        `cbor:"3,keyasint,omitempty"` // a message was not sent
	// OptOut says that the person told the gateway, or the gateway told us, that
	// no more is to be sent.
	OptOut bool   `cbor:"4,keyasint,omitempty"`
	Parts  string `cbor:"5,keyasint,omitempty"` // a long text of this name is not waited for any longer
}

// Lapse is a message that was not sent and what it carried.
type Lapse struct {
	Ref string     `cbor:"1,keyasint"`
	Key string     `cbor:"2,keyasint,omitempty"`
	Why dialog.Why `cbor:"3,keyasint"`
}

// Turns keeps conversations, and what became of what was said in them.
type Turns interface {
	Ledger
	Parts
	// Load returns a conversation; of a number never met, a zero one with the
	// number. One the program cannot decode is an error.
	Load(ctx context.Context, n Number) (Conversation, error)
	// Commit makes a change durable, whole or not at all. The error is ErrSeen if
	// the source is already answered, else ErrConflict if Conversation.Rev is not
	// the stored revision. Cancelling after the call began does not undo it.
	// A change without a number writes its Entry alone.
	Commit(ctx context.Context, c Change) error
	// Recall returns the entry that answered an inbound message of n, or
	// ErrNotFound: never answered, forgotten, or answered without an entry.
	Recall(ctx context.Context, n Number, id MessageID) (Entry, error)
	// Report journals how far a message got that was given to a gateway or still
	// waits. Of an opt-out it wakes the conversation in the same step. A waiting
	// message that the gateway already has is settled and not sent again. The error
	// is ErrSeen if the report is no news, ErrNotFound if no such message is known:
	// never written, forgotten, or settled more than 14 days ago. One that names
	// the gateway's id alone is held for ten minutes, in case it came before the
	// answer that told the id.
	Report(ctx context.Context, r Report) error
}

// How many parts are held. Common practice: a text of more than ten parts is
// rare, and a reference comes again only after 255 others.
const (
	MaxRivals = 16
	MaxHeld   = 512
)

// Parts keeps the parts of long texts until the whole is answered.
type Parts interface {
	// Hold makes a part of a long text durable and returns all that is held of the
	// text, ordered by Seq. The first one sets the alarm. The error is ErrSeen if
	// the part is already answered, ErrFull if MaxRivals parts beyond those of one
	// text, or MaxHeld of one number, are held: nothing is held then.
	Hold(ctx context.Context, in Inbound, overdue Alarm) ([]Inbound, error)
	// Held returns what is held of the text that PartsName names, ordered by Seq.
	Held(ctx context.Context, n Number, name string) ([]Inbound, error)
}

// Alarms keeps what is to be rung.
type Alarms interface {
	// DueAlarms returns at most max alarms due at now, earliest first.
	DueAlarms(ctx context.Context, now time.Time, max int) ([]Alarm, error)
	// Defer moves a due alarm to a later time and counts the try. The alarm stays
	// the same alarm. The error is ErrNotFound if it is gone.
	Defer(ctx context.Context, a Alarm, to time.Time) error
}

// Outbox keeps what is to be sent.
type Outbox interface {
	Ledger
	// Lease returns at most max messages of a channel that may be sent at now,
	// the most urgent first, and holds them for a while: at most one per person,
	// who has nothing else in flight there. What a person is due goes out in the
	// order it was written, with the urgency of the most urgent of it; only
	// Emergency overtakes, and everything overtakes a Bulletin. A message whose hold
	// ran out may be leased again.
	Lease(ctx context.Context, channel string, now time.Time, hold time.Duration, max int) ([]Outbound, error)
	// Waiting returns how many messages wait on each channel.
	Waiting(ctx context.Context) (map[string]int, error)
	// Settle ends a lease. A message that was sent, or may have been, is spent in
	// the same step. The error is ErrNotFound if the message is gone.
	Settle(ctx context.Context, ref string, s Settlement) error
	// Try marks a leased message as one that may have been sent, before it is: if
	// the process ends, it is leased again with the mark. The error is ErrNotFound
	// if the message is gone. Settling it as Later takes the mark away.
	Try(ctx context.Context, ref string) error
}

// MaxEnlisted is how many references one step writes.
const MaxEnlisted = 500

// Bulletins keeps what notices are still to reach, and what became of each.
type Bulletins interface {
	// Enlist writes a notice to the Desk over revision rev, as Put does, and
	// references to it, at most MaxEnlisted, in the same step. They are leased like
	// messages, except while the notice is paused. The error is ErrConflict if the
	// stored revision is another.
	Enlist(ctx context.Context, n Notice, rev uint64, to []Outbound, at time.Time) error
	// Tally returns how far a notice came; zero of one that has no references.
	Tally(ctx context.Context, notice string) (Tally, error)
}

// Tally counts the phones of a notice by what became of it. Those that are in no
// count but Enlisted are still waiting.
type Tally struct {
	Enlisted int `cbor:"1,keyasint,omitempty" json:"enlisted"`
	Reached  int `cbor:"2,keyasint,omitempty" json:"reached"`   // a gateway took it
	Failed   int `cbor:"3,keyasint,omitempty" json:"failed"`    // a gateway refused it
	Expired  int `cbor:"4,keyasint,omitempty" json:"expired"`   // its time was over
	Unknown  int `cbor:"5,keyasint,omitempty" json:"unknown"`   // it may have been sent, and is not sent again
	OptedOut int `cbor:"6,keyasint,omitempty" json:"opted_out"` // since they were enlisted
	Left     int `cbor:"7,keyasint,omitempty" json:"left_out"`  // cancelled, or no longer whom it is for
	// Of those reached, what gateways reported afterwards.
	Delivered   int `cbor:"8,keyasint,omitempty" json:"delivered"`
	Undelivered int `cbor:"9,keyasint,omitempty" json:"undelivered"`
	// Replied is how many texted something within a day of being told.
	Replied int `cbor:"10,keyasint,omitempty" json:"replied"`
}

// Waiting returns how many phones the notice may still reach.
func (t Tally) Waiting() int {
	return t.Enlisted - t.Reached - t.Failed - t.Expired - t.Unknown - t.OptedOut - t.Left
}

// Outcome is how an attempt to send ended. It is stored.
type Outcome uint8

// The outcomes.
const (
	Sent    Outcome = 1 // the gateway has it
	Later   Outcome = 2 // it waits
	Dropped Outcome = 3 // it will not be sent
	Unknown Outcome = 4 // it may have been sent, and will not be again
)

// String returns the outcome in lower case, as metrics and logs label it.
func (o Outcome) String() string {
	return name(o, "sent", "later", "dropped", "unknown")
}

// Reasons of settlements that stores and notices tell apart.
const (
	WhyExpired  = "expired"
	WhyCap      = "cap" // there was no money for it in time
	WhyRefused  = "refused"
	WhyOptedOut = "opted out"
	WhyCrash    = "crash" // the line ended while it was sent
)

// Settlement says what became of a leased message.
type Settlement struct {
	Outcome Outcome
	At      time.Time
	Why     string    // a word of a small closed set, for the journal and metrics
	Until   time.Time // Later: when it may be sent
	// Failed says that sending was tried and failed: the try counts, and all that
	// waits for this person stays behind the message.
	Failed bool
	// Lapse, if set, wakes the conversation with a Lapse in the same step.
	Lapse dialog.Why
	// OptedOut wakes the conversation with the gateway's word that this number
	// takes no more.
	OptedOut bool
	Provider string // the gateway's own id of the message, by which it may report
}

// Log is the journal.
type Log interface {
	// After returns at most max entries that follow k, in order.
	After(ctx context.Context, k Key, max int) ([]Entry, error)
	// Last returns the key of the newest entry, zero if there is none.
	Last(ctx context.Context) (Key, error)
}

// People lists conversations.
type People interface {
	// Each calls f with every conversation after a number, in number order, until
	// f returns an error. It holds no transaction while f runs. Those that cannot
	// be decoded are left out, and the error at the end says so.
	Each(ctx context.Context, after Number, f func(Conversation) error) error
	// Person returns the conversation of the person that entries name by a key, or
	// ErrNotFound: nobody has it, or they were forgotten.
	Person(ctx context.Context, key PersonKey) (Conversation, error)
}

// Desk keeps the officers' documents: few, revisioned, and no business of turns.
type Desk interface {
	// Get fills into with a document and returns its revision, or ErrNotFound.
	Get(ctx context.Context, kind, id string, into any) (rev uint64, err error)
	// Put writes a document over revision rev, zero to create it; nil deletes it.
	// The error is ErrConflict if the stored revision is another.
	Put(ctx context.Context, kind, id string, v any, rev uint64) error
	// List calls f with at most max documents of a kind whose id follows after, in
	// id order. It holds no transaction while f runs. Of a document that cannot be
	// read, decode returns why.
	List(ctx context.Context, kind, after string, max int, f func(id string, rev uint64, decode func(into any) error) error) error
}

// Store is everything durable.
type Store interface {
	Turns
	Alarms
	Outbox
	Bulletins
	Log
	People
	Desk
	io.Closer
}
