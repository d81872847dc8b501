package gateway

import (
	"fmt"
	"strings"
	"time"

	"cobline/dialog"
)

// Kind says what an entry records. It is stored.
type Kind uint8

// The kinds of entry.
const (
	Heard        Kind = 1 // a person wrote
	Rang         Kind = 2 // a timer came due
	Alerted      Kind = 3 // an emergency reached a duty phone
	Acknowledged Kind = 4 // a duty phone has seen an emergency
	Lapsed       Kind = 5 // a message was not sent, and what was said instead
	Settled      Kind = 6 // what became of a message: Ref, Outcome, Why
	Foreign      Kind = 7 // a sender that is no number; never answered
	Reported     Kind = 8 // how far a message got: Ref, Delivery, Why
	OptedOut     Kind = 9 // a gateway takes no more for this number

	Enlisted Kind = 20 // references to a notice were written: Notice
	Noticed  Kind = 21 // a notice reached a conversation: Notice, Ref
	Missed   Kind = 22 // a timer was dropped after a restore
	Enrolled Kind = 23 // an officer entered the person
	Answered Kind = 24 // an officer replied, or phoned: By, About

	Posted    Kind = 25 // the number became an officer's phone, or is one no longer: By
	Forgotten Kind = 26 // an administrator erased the person, as they asked
)

// String returns the kind in lower case, as lists of the journal show it.
func (k Kind) String() string {
	if k >= Enlisted && k <= Forgotten {
		return name(k-Enlisted+1, "enlisted", "noticed", "missed", "enrolled", "answered", "posted", "forgotten")
	}
	return name(k, "heard", "rang", "alerted", "acknowledged", "lapsed", "settled", "foreign", "reported", "opted out")
}

// Entry is one line of the journal. It names a person by PersonKey and never
// holds a number. Integer keys are never reused.
type Entry struct {
	Key      Key           `cbor:"-"` // given by Commit
	Kind     Kind          `cbor:"1,keyasint"`
	At       time.Time     `cbor:"2,keyasint"`
	Person   PersonKey     `cbor:"3,keyasint,omitzero"`
	Previous Key           `cbor:"4,keyasint,omitzero"` // the person's entry before; given by Commit
	Channel  string        `cbor:"5,keyasint,omitempty"`
	Message  MessageID     `cbor:"6,keyasint,omitzero"`
	Provider string        `cbor:"7,keyasint,omitempty"` // the provider's own id
	Sender   string        `cbor:"8,keyasint,omitempty"` // only of a Foreign entry
	SentAt   time.Time     `cbor:"9,keyasint,omitzero"`
	Text     string        `cbor:"10,keyasint,omitempty"` // dots if it held a secret
	Timer    dialog.Timer  `cbor:"11,keyasint,omitzero"`
	Replies  []Said        `cbor:"12,keyasint,omitempty"`
	Heard    *dialog.Heard `cbor:"13,keyasint,omitempty"`
	Place    string        `cbor:"14,keyasint,omitempty"`
	Facts    uint64        `cbor:"15,keyasint,omitempty"` // the version of the facts the turn knew
	Flags    []string      `cbor:"16,keyasint,omitempty"` // why an officer should look
	Question string        `cbor:"17,keyasint,omitempty"` // put before the officers
	CallBack bool          `cbor:"18,keyasint,omitempty"`
	Ref      string        `cbor:"19,keyasint,omitempty"`
	Outcome  Outcome       `cbor:"20,keyasint,omitempty"`
	Why      string        `cbor:"21,keyasint,omitempty"`
	Erased   bool          `cbor:"22,keyasint,omitempty"` // its texts were blanked
	Delivery Delivery      `cbor:"23,keyasint,omitempty"`
	Network  string        `cbor:"24,keyasint,omitempty"` // over which a message came
	Notice   string        `cbor:"30,keyasint,omitempty"`
	By       string        `cbor:"31,keyasint,omitempty"` // the officer who did it
	About    Key           `cbor:"32,keyasint,omitzero"`  // the entry of the question, call-back or emergency it settles

	// Batches are those the turn added to the person's record, or corrected there.
	Batches []dialog.Batch `cbor:"37,keyasint,omitempty"`
}

// Said is one reply as the journal keeps it.
type Said struct {
	Key      string         `cbor:"1,keyasint,omitempty"`
	Text     string         `cbor:"2,keyasint,omitempty"`
	Choices  []string       `cbor:"3,keyasint,omitempty"`
	Urgency  dialog.Urgency `cbor:"4,keyasint"`
	Segments int            `cbor:"5,keyasint,omitempty"`
	Inline   bool           `cbor:"6,keyasint,omitempty"`  // shown in the answer to the request
	Out      bool           `cbor:"7,keyasint,omitempty"`  // put in the outbox
	End      bool           `cbor:"8,keyasint,omitempty"`  // ended a dialled session
	More     string         `cbor:"11,keyasint,omitempty"` // what key 8 says below choices that go on
	Price    Money          `cbor:"9,keyasint,omitempty"`  // of all segments
}

// Spend returns what the answer to the request itself took: an answer in a
// gateway's response costs as much as any other text.
func (e Entry) Spend() (s Spend) {
	for _, r := range e.Replies {
		if r.Inline && !r.Out {
			s = s.Plus(Spend{r.Segments, r.Price})
		}
	}
	return s
}

// Blank removes what a person or the line said, and keeps what can be counted.
func (e *Entry) Blank() {
	e.Text, e.Question, e.Batches, e.Erased = "", "", nil, true
	for i := range e.Replies {
		e.Replies[i].Text, e.Replies[i].Choices, e.Replies[i].More = "", nil, ""
	}
	if e.Heard != nil {
		e.Heard.Slots = nil
	}
}

// hide masks a number in the replies: a duty phone is told it, the journal is
// not.
func (e *Entry) hide(number string) {
	n, err := NumberOf(strings.TrimPrefix(number, "+"))
	if err != nil {
		return // no number is nothing to hide
	}
	for i := range e.Replies {
		e.Replies[i].Text = strings.ReplaceAll(e.Replies[i].Text, number, n.String())
	}
}

// name returns the name of a stored value, counted from 1. A newer program may
// have written one this program has no name for.
func name[T ~uint8](v T, names ...string) string {
	if v == 0 || int(v) > len(names) {
		return fmt.Sprintf("unnamed %d", v)
	}
	return names[v-1]
}
