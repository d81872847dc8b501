package dialog

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"cobline/locales"
)

// Turn is everything one event leads to.
type Turn struct {
	State   State
	Replies []Reply
	Effects []Effect
	Heard   Heard
}

// Reply is one message to the person of the conversation.
type Reply struct {
	Key     string // what it is, for journals and for what follows when it lapses
	Text    string
	Choices []string // options numbered from 1, when the reply ends in a list
	More    string   // what key 8 says, when the list goes on
	Urgency Urgency
	Valid   time.Duration // how long after now it may still be sent; zero: the default of its urgency
	Keep    bool          // worth keeping: a session channel also sends it as a text message
	End     bool          // ends a session channel's session
	// Apart says that the reply goes to the phone as a message of its own, never in
	// the answer to a request, and that the journal keeps dots in its place: it
	// holds other people's words and numbers, or a code that proves whose phone it
	// is.
	Apart bool
}

// Then returns what two steps of one event come to: the second answers what the
// first asked the world for, from the state the first left. What was heard is
// the first one's, with the question that is open now.
func (t Turn) Then(next Turn) Turn {
	heard := t.Heard
	heard.Step = next.Heard.Step
	asks := func(f Effect) bool { _, ok := f.(Ask); return ok }
	effects := slices.DeleteFunc(slices.Clone(t.Effects), asks)
	return Turn{
		State: next.State, Heard: heard, Effects: append(effects, next.Effects...),
		Replies: atMost(append(slices.Clone(t.Replies), next.Replies...)),
	}
}

// atMost joins the first messages of a turn while there are too many.
func atMost(replies []Reply) []Reply {
	for len(replies) > maxReplies {
		joined := replies[0]
		joined.Text += "\n" + replies[1].Text
		replies = append([]Reply{joined}, replies[2:]...)
	}
	return replies
}

// Asks returns what a turn asks the world for.
func (t Turn) Asks() (Ask, bool) {
	for _, f := range t.Effects {
		if ask, ok := f.(Ask); ok {
			return ask, true
		}
	}
	return Ask{}, false
}

// Plain returns the reply as one text message: the text, then its options.
func (r Reply) Plain() string {
	if len(r.Choices) == 0 {
		return r.Text
	}
	var b strings.Builder
	b.WriteString(r.Text)
	for i, c := range r.Choices {
		fmt.Fprintf(&b, "\n%d %s", i+1, c)
	}
	if r.More != "" {
		b.WriteString("\n8 " + r.More)
	}
	return b.String()
}

// Urgency orders messages and decides what may delay them. It is stored.
type Urgency uint8

// The urgencies, most urgent first; zero is invalid.
const (
	Emergency Urgency = 1 // first aid, at any hour
	Answer    Urgency = 2 // what a person asked for
	Safety    Urgency = 3 // a timed caution: lapses into a safe text
	Reminder  Urgency = 4 // a timed message that may wait
	Bulletin  Urgency = 5 // an officer's notice: at most once
)

// String returns the urgency in lower case, as metrics and lists label it.
func (u Urgency) String() string {
	names := [...]string{"", "emergency", "answer", "safety", "reminder", "bulletin"}
	if int(u) >= len(names) {
		return ""
	}
	return names[u]
}

// Effect is something the world has to do besides sending replies. The set is
// closed.
type Effect interface{ isEffect() }

// Flag marks the conversation for an officer.
type Flag struct{ Why string }

// Question puts a text before the officers.
type Question struct{ Text string }

// CallBack puts the number on the officers' call-back list.
type CallBack struct{}

// TellDuty tells a duty phone of the place about an emergency. Attempt counts the
// phones tried, from 1.
type TellDuty struct {
	AlertID string
	Kind    string
	Place   string
	Attempt int
}

// Seen says that this person, as a duty phone, has seen an alert.
type Seen struct{ Alert Alert }

// Erase forgets the person of the conversation; KeepOptOut keeps a keyed hash
// of the number, so that imports and notices leave it alone.
type Erase struct{ KeepOptOut bool }

// Ask wants to know something for an officer's phone, or wants it done. The world
// answers with Found before the turn is over. It is never stored.
type Ask struct {
	What   AskID
	Via    Channel
	PIN    Secret // AskPIN, AskNewPIN
	Place  string // AskOutlook, AskCount, AskSend
	Notice Notice // AskCount, AskSend: one of ReadyNotices, and its hour
}

// AskID says what is asked.
type AskID uint8

// What an officer's phone can ask for.
const (
	AskPIN        AskID = iota + 1 // whether a PIN is right
	AskNewPIN                      // that a PIN takes the place of the old one
	AskOutlook                     // what is under way at a place
	AskQuestions                   // the newest questions
	AskCalls                       // who waits for a call
	AskCount                       // whom a notice would reach, and a code to confirm it
	AskSend                        // that a notice is sent
	AskDigest                      // what the list of the morning says
	AskMornings                    // that the list comes each morning
	AskNoMornings                  // that it comes no more
)

// Secret is a text that nothing prints.
type Secret string

// String returns dots.
func (Secret) String() string { return "..." }

// GoString returns dots.
func (Secret) GoString() string { return "..." }

// Resign says that the number is no officer's phone any more: its owner says so.
type Resign struct{}

func (Flag) isEffect()     {}
func (Ask) isEffect()      {}
func (Resign) isEffect()   {}
func (Question) isEffect() {}
func (CallBack) isEffect() {}
func (TellDuty) isEffect() {}
func (Seen) isEffect()     {}
func (Erase) isEffect()    {}

// Heard is what the line made of an event, for journals and for `cobline hear`.
type Heard struct {
	Lang       locales.Lang     `cbor:"1,keyasint,omitempty"`
	Topic      string           `cbor:"2,keyasint,omitempty"`
	Slots      map[string]Value `cbor:"3,keyasint,omitempty"`
	Emergency  string           `cbor:"4,keyasint,omitempty"`
	Tier       string           `cbor:"5,keyasint,omitempty"`
	OptOut     bool             `cbor:"6,keyasint,omitempty"`
	Understood bool             `cbor:"7,keyasint,omitempty"`
	Secret     bool             `cbor:"8,keyasint,omitempty"` // the journal stores dots instead of the text
	Unsure     []string         `cbor:"9,keyasint,omitempty"`
	Step       string           `cbor:"10,keyasint,omitempty"` // the question left open, where a conversation may stop
	Report     string           `cbor:"11,keyasint,omitempty"` // a stage report or question about a burn
}
