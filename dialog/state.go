package dialog

import (
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/fxamacker/cbor/v2"

	"cobline/locales"
)

// stateVersion is the version Encode writes. DecodeState refuses newer ones and
// upgrades older ones step by step.
const stateVersion = 1

// State is all a conversation remembers. It is a value: Step never changes the
// one it was given. Integer keys are never reused.
type State struct {
	Lang     locales.Lang `cbor:"1,keyasint,omitempty"`
	Chosen   bool         `cbor:"2,keyasint,omitempty"` // the language was chosen, not guessed
	Met      bool         `cbor:"3,keyasint,omitempty"` // the first turn is over
	Place    string       `cbor:"4,keyasint,omitempty"`
	Stopped  bool         `cbor:"5,keyasint,omitempty"`
	DrumPast string       `cbor:"6,keyasint,omitempty"`
	Frames   []Frame      `cbor:"7,keyasint,omitempty"` // the last one is open
	Drums    []Drum       `cbor:"8,keyasint,omitempty"` // drums alight, sealed or just opened
	Timers   []Timer      `cbor:"9,keyasint,omitempty"` // the alarm index mirrors these
	Alerts   []Alert      `cbor:"10,keyasint,omitempty"`
	Alert    *OwnAlert    `cbor:"11,keyasint,omitempty"`
	Seen     time.Time    `cbor:"12,keyasint,omitzero"`  // the person's last text
	Paused   time.Time    `cbor:"13,keyasint,omitzero"`  // ordinary reminders wait until then
	More     []ReplyRef   `cbor:"14,keyasint,omitempty"` // what MORE would say
	Fails    int          `cbor:"15,keyasint,omitempty"` // texts in a row that were not understood
	Batches  []Batch      `cbor:"16,keyasint,omitempty"` // finished, newest last
	Given    []string     `cbor:"17,keyasint,omitempty"` // cautions already given in this batch
	Serial   int          `cbor:"18,keyasint,omitempty"` // counts drums and alerts, for names and ids
	Profile  Profile      `cbor:"19,keyasint,omitzero"`
	PasteKg  float64      `cbor:"20,keyasint,omitempty"` // charcoal of the last paste
	Puzzled  string       `cbor:"21,keyasint,omitempty"` // the last text that was not understood
	Last     string       `cbor:"22,keyasint,omitempty"` // what the last answer was about
	Sales    []Sale       `cbor:"24,keyasint,omitempty"` // newest last

	Waste string `cbor:"25,keyasint,omitempty"` // of the last recipe

	// Fills is the maize in kilograms that fills this person's containers.
	Fills     map[string]float64 `cbor:"23,keyasint,omitempty"`
	Asked     time.Time          `cbor:"30,keyasint,omitzero"`  // since then the question after a long absence stands, and notices wait
	Digits    int                `cbor:"31,keyasint,omitempty"` // single digits in a row that led from list to list
	Stranger  Stranger           `cbor:"32,keyasint,omitempty"` // whether it is known who writes since a long absence
	PastDrums int                `cbor:"33,keyasint,omitempty"` // how many drums DrumPast is about; zero: all of them
	Wet       bool               `cbor:"34,keyasint,omitempty"` // the waste of the last recipe was too wet to light
	Owed      bool               `cbor:"45,keyasint,omitempty"` // they wrote since they left: one reply of an officer may come
	Held      []string           `cbor:"46,keyasint,omitempty"` // replies of officers that wait until it is known who has the number
}

// Stranger says how far it is known, after a long absence, that the person is
// the same. It is stored.
type Stranger uint8

// The stages of it. Zero is a person who is known.
const (
	Unasked Stranger = 1 // the record stays shut, and notices wait for an answer
	Writes  Stranger = 2 // they wrote after they were asked: notices come, the record stays shut
)

// Frame is an open topic: what was filled, and what is being asked.
type Frame struct {
	Topic   string   `cbor:"1,keyasint"`
	Slots   Slots    `cbor:"2,keyasint,omitempty"`
	Open    Slot     `cbor:"3,keyasint,omitempty"` // the question being asked
	Options []string `cbor:"4,keyasint,omitempty"` // the keys behind the digits shown, in order
	Page    int      `cbor:"5,keyasint,omitempty"` // of a long option list
	Fails   int      `cbor:"6,keyasint,omitempty"` // answers to Open that were not understood
	Past    []Slot   `cbor:"7,keyasint,omitempty"` // questions answered before, for BACK
	Done    bool     `cbor:"8,keyasint,omitempty"` // answered; kept so that a correction finds it
	Tie     bool     `cbor:"9,keyasint,omitempty"` // Options are what one word may mean
}

// Slot names one thing a topic wants to know. Slot names are stable.
type Slot string

// Value is what a slot holds: a key of a closed list, or a number.
type Value struct {
	Key    string  `cbor:"1,keyasint,omitempty" json:"key,omitempty"`
	Number float64 `cbor:"2,keyasint,omitempty" json:"number,omitempty"`
	Unsure bool    `cbor:"3,keyasint,omitempty" json:"unsure,omitempty"` // echo it before building on it
	Other  float64 `cbor:"4,keyasint,omitempty" json:"other,omitempty"`  // what else the number may be: ask
}

// Slots holds the values filled so far.
type Slots map[Slot]Value

// TimerID names a timer within its conversation; setting one again replaces it.
type TimerID string

// Timer is a moment the conversation wants to be woken at.
type Timer struct {
	ID   TimerID   `cbor:"1,keyasint"`
	At   time.Time `cbor:"2,keyasint"`
	Kind string    `cbor:"3,keyasint"`
	Drum string    `cbor:"4,keyasint,omitempty"` // the drum it is about
}

// Drum is one drum from lighting to weighing.
type Drum struct {
	Name      string    `cbor:"1,keyasint"`
	Waste     string    `cbor:"2,keyasint,omitempty"`
	Stage     string    `cbor:"3,keyasint"` // lit, sealed, opened
	LitAt     time.Time `cbor:"4,keyasint,omitzero"`
	SealedAt  time.Time `cbor:"5,keyasint,omitzero"`
	NotBefore time.Time `cbor:"6,keyasint,omitzero"`
	OpenedAt  time.Time `cbor:"7,keyasint,omitzero"`
	Resealed  int       `cbor:"8,keyasint,omitempty"`
	FeedKg    float64   `cbor:"9,keyasint,omitempty"`
	Moisture  float64   `cbor:"10,keyasint,omitempty"` // wet basis
	Starch    string    `cbor:"11,keyasint,omitempty"`
	Consent   bool      `cbor:"12,keyasint,omitempty"` // lit after a STOP: this burn's messages may come
}

// Batch is one finished batch, as the record keeps it.
type Batch struct {
	At       time.Time `cbor:"1,keyasint"`
	Name     string    `cbor:"2,keyasint,omitempty"`
	Waste    string    `cbor:"3,keyasint,omitempty"`
	Drums    int       `cbor:"4,keyasint,omitempty"`
	FeedKg   float64   `cbor:"5,keyasint,omitempty"`
	CharKg   float64   `cbor:"6,keyasint,omitempty"`
	BrandsKg float64   `cbor:"7,keyasint,omitempty"`
	Minutes  float64   `cbor:"8,keyasint,omitempty"`  // lighting to covering
	Moisture float64   `cbor:"9,keyasint,omitempty"`  // wet basis
	Ash      string    `cbor:"10,keyasint,omitempty"` // what lay on the charcoal: black, grey, white or unknown
}

// Sale is one sale of briquettes.
type Sale struct {
	At     time.Time `cbor:"1,keyasint"`
	Kg     float64   `cbor:"2,keyasint,omitempty"`
	Pieces float64   `cbor:"3,keyasint,omitempty"`
	Money  float64   `cbor:"4,keyasint,omitempty"` // in the currency of the place
}

// OwnAlert is this person's emergency on its way to the duty phones.
type OwnAlert struct {
	ID      string    `cbor:"1,keyasint"`
	Kind    string    `cbor:"2,keyasint"`
	At      time.Time `cbor:"3,keyasint"`
	Attempt int       `cbor:"4,keyasint"`
	Seen    bool      `cbor:"5,keyasint,omitempty"`
}

// ReplyRef is a message that can be said again without computing it anew.
type ReplyRef struct {
	ID   locales.ID `cbor:"1,keyasint"`
	Text string     `cbor:"2,keyasint,omitempty"`
}

var encoding = func() cbor.EncMode {
	m, err := cbor.EncOptions{Sort: cbor.SortCanonical, Time: cbor.TimeUnix, TimeTag: cbor.EncTagNone}.EncMode()
	if err != nil {
		panic(err)
	}
	return m
}()

// Encode returns the stored form: one version octet, then CBOR. Equal states
// encode to equal octets.
func (s State) Encode() []byte {
	b, err := encoding.Marshal(s)
	if err != nil {
		panic(fmt.Sprintf("dialog: encode state: %v", err)) // every field is a plain value
	}
	return append([]byte{stateVersion}, b...)
}

// DecodeState reads what Encode wrote. No octets are the zero state: a person
// never met before.
func DecodeState(b []byte) (State, error) {
	if len(b) == 0 {
		return State{}, nil
	}
	if b[0] == 0 || b[0] > stateVersion {
		return State{}, fmt.Errorf("dialog: state version %d is not known to this program (it knows up to %d)", b[0], stateVersion)
	}
	var s State
	if err := cbor.Unmarshal(b[1:], &s); err != nil {
		return State{}, fmt.Errorf("dialog: decode state: %w", err)
	}
	return s, nil
}

// clone returns a copy that shares nothing that Step may change.
func (s State) clone() State {
	s.Frames = slices.Clone(s.Frames)
	for i, f := range s.Frames {
		s.Frames[i].Slots = Slots{}
		maps.Copy(s.Frames[i].Slots, f.Slots)
		s.Frames[i].Options = slices.Clone(f.Options)
		s.Frames[i].Past = slices.Clone(f.Past)
	}
	s.Drums = slices.Clone(s.Drums)
	s.Timers = slices.Clone(s.Timers)
	s.Alerts = slices.Clone(s.Alerts)
	s.More = slices.Clone(s.More)
	s.Batches = slices.Clone(s.Batches)
	s.Given = slices.Clone(s.Given)
	s.Held = slices.Clone(s.Held)
	s.Sales = slices.Clone(s.Sales)
	s.Fills = maps.Clone(s.Fills)
	if s.Alert != nil {
		a := *s.Alert
		s.Alert = &a
	}
	return s
}
