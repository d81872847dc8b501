package dialog

import (
	"fmt"
	"time"

	"cobline/calc"
	"cobline/locales"
)

// Channel is the way a text reached the line.
type Channel uint8

// The channels; they are stored, so a value never changes its meaning.
const (
	SMS  Channel = 1
	USSD Channel = 2
)

// Event is one thing that happened to a conversation. The set is closed.
type Event interface{ isEvent() }

// Said is a text a person wrote, or a key they pressed.
type Said struct {
	Text   string
	Via    Channel
	SentAt time.Time // when the gateway says it was sent; zero if unknown
	// Begins says that a dialled session begins with it, Dropped that the session
	// before broke off a short while ago.
	Begins, Dropped bool
}

// Due is a timer of this conversation that has come due.
type Due struct{ Timer Timer }

// Told is an officer's notice that reaches this person.
type Told struct{ Notice Notice }

// Answered is an officer's reply to a question of this person.
type Answered struct{ Question, Text string }

// Called says that an officer has phoned this person, as they were promised.
type Called struct{}

// Enrolled is what an officer entered about this person.
type Enrolled struct{ Profile Profile }

// Forgotten is an administrator's word that this person asks to be forgotten.
type Forgotten struct{}

// Lapsed says that a reply was not sent: it expired or was refused.
type Lapsed struct {
	Ref string // the reference of the message that lapsed
	Key string // the key of the reply it carried
	Why Why
}

// Alerted says that an emergency reaches this person as a duty phone.
type Alerted struct{ Alert Alert }

// Acknowledged says that a duty phone has seen this person's emergency.
type Acknowledged struct{ AlertID string }

// Posted says that this number has become an officer's phone, or is one no
// longer, or that what is known of it has changed: World.Officer tells.
type Posted struct {
	Lang  locales.Lang // the officer's, if it is known
	Fresh bool         // it was none before: whoever holds it is told
}

// Found is what the world answers to an Ask, within the turn that asked.
type Found struct {
	Ask  Ask
	No   No        // why not; zero: what was asked for is so, or is done
	Rows []Waiting // AskQuestions, AskCalls: some of those that wait
	Work Work      // of the place asked for; AskDigest: of all the officer's places
	// AskCount: how many phones and segments a notice comes to, how many phones a
	// notice sent by phone may reach, and the code that confirms it.
	Persons, Segments, Most int
	Code                    string
}

// Waiting is one who waits for an officer.
type Waiting struct {
	At     time.Time
	Place  string
	Number string // the number to call, as it should be dialled
	Text   string
}

// Work is how much there is for officers to see to.
type Work struct {
	Emergencies, Questions, Calls int // that nobody has seen to
	Alight, Drying                int // people beside a hot drum, and with briquettes that dry
}

// No is why the world does not do what an officer's phone asks for.
type No uint8

// The reasons.
const (
	NoWrong  No = iota + 1 // the PIN is wrong
	NoLocked               // it is, and the phone is locked now
	NoWeak                 // the new PIN is too easy to guess
	NoMany                 // more phones than a notice sent by phone may reach
	NoLate                 // the hour of the notice is over
)

func (Said) isEvent()         {}
func (Posted) isEvent()       {}
func (Found) isEvent()        {}
func (Due) isEvent()          {}
func (Told) isEvent()         {}
func (Answered) isEvent()     {}
func (Called) isEvent()       {}
func (Enrolled) isEvent()     {}
func (Forgotten) isEvent()    {}
func (Lapsed) isEvent()       {}
func (Alerted) isEvent()      {}
func (Acknowledged) isEvent() {}

// Why is the reason a reply lapsed.
type Why uint8

// The reasons; they are stored.
const (
	Expired Why = 1
	Refused Why = 2
)

// Profile is what an officer knows of a person.
type Profile struct {
	Lang    locales.Lang `cbor:"1,keyasint,omitempty"`
	Place   string       `cbor:"2,keyasint,omitempty"`
	Group   string       `cbor:"3,keyasint,omitempty"`
	Consent string       `cbor:"4,keyasint,omitempty"` // how consent was given
}

// Alert is an emergency on its way to a duty phone.
type Alert struct {
	ID      string    `cbor:"1,keyasint"`
	Kind    string    `cbor:"2,keyasint"`
	Place   string    `cbor:"3,keyasint,omitempty"`
	At      time.Time `cbor:"4,keyasint"`
	Number  string    `cbor:"5,keyasint"` // the number to call, as it should be dialled
	Attempt int       `cbor:"6,keyasint,omitempty"`
}

// World is what an event may know of the world besides the conversation.
type World struct {
	Now     time.Time
	Facts   *Facts
	Channel Ability
	Officer *Officer // of an officer's phone; nil of any other number
}

// Officer is what is known of a number that is an officer's phone.
type Officer struct {
	Open   bool      // neither locked nor expired; if not, the line only keeps its PIN to itself
	Given  bool      // its PIN was given out, and another is to be chosen
	Places []string  // whose people the officer sees to; empty: all
	Digest bool      // the officer wants the list of the morning
	Ends   time.Time // when the phone expires unless it is renewed
}

// Ability is what the channel of an event can do.
type Ability struct {
	Sends bool   // it can start a message by itself; without it no timing, notice or call-back is offered
	Short bool   // it can hardly pay for more messages: no timing is offered before a drum is alight
	Price string // what one text costs the producer, in words, or empty
	Limit int    // septets of one screen on a USSD channel; zero on SMS
}

// Facts is an immutable snapshot of what the line knows about the world. A
// writer builds a new one and swaps it; nobody changes one.
type Facts struct {
	Version uint64
	Home    string // the place of a person who has named none
	Places  map[string]Place
	Langs   []locales.Lang // the languages switched on; empty means all that wait for no reviewer
	Taught  *Overlay       // what officers taught; nil is nothing
}

// Place is where people burn and dry.
type Place struct {
	Key, Name string
	Zone      *time.Location
	Lat, Lon  calc.Degree
	Altitude  calc.Metre
	Emergency string // the number to call for help, or empty
	Currency  string // the currency's usual sign or code
	Duty      int    // how many duty phones are told of emergencies here
	Decimals  int    // of the currency: 2 where it has cents, 0 where nobody counts them

	// The coming weather, all of it made by WithForecast when the forecast
	// arrives and never changed: reading it costs a step nothing.
	Forecast *calc.Forecast
	Outlook  []calc.OutlookDay // of the forecast, for drying and lighting
	Drying   map[calc.Piece]calc.Range[calc.Days]

	NoFire []Span // when warnings of an authority forbid lighting, with a forecast or without
}

// Span is a stretch of time.
type Span struct{ From, Until time.Time }

// WithForecast returns the place with the weather that comes, worked out once
// for all who ask. Dry is how many days it has not rained there; negative when
// nobody knows.
func (p Place) WithForecast(f *calc.Forecast, dry int) (Place, error) {
	outlook, err := calc.Outlook(f, dry)
	if err != nil {
		return p, fmt.Errorf("outlook of %s: %w", p.Key, err)
	}
	drying, err := calc.StandardDrying(f)
	if err != nil {
		return p, fmt.Errorf("drying at %s: %w", p.Key, err)
	}
	p.Forecast, p.Outlook, p.Drying = f, outlook, drying
	return p, nil
}
