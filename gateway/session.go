package gateway

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// Session is a dialled session as it is known between its requests.
type Session struct {
	Channel string    `cbor:"1,keyasint"`
	ID      string    `cbor:"2,keyasint,omitempty"`
	Began   time.Time `cbor:"3,keyasint"`
	At      time.Time `cbor:"4,keyasint"` // of its last request
	// Entered is how long everything entered so far is, where the gateway brings
	// that. It is not kept itself: a PIN may be among it.
	Entered int       `cbor:"10,keyasint,omitempty"`
	Answer  MessageID `cbor:"6,keyasint"`           // what its screen answers
	Turned  []Turned  `cbor:"7,keyasint,omitempty"` // its last page keys
	Blank   bool      `cbor:"8,keyasint,omitempty"` // its last request brought nothing
	Over    bool      `cbor:"9,keyasint,omitempty"` // its screen was the last one
}

// Turned is a key that turned a page.
type Turned struct {
	ID     MessageID `cbor:"1,keyasint"`
	Answer MessageID `cbor:"2,keyasint"` // whose pages
	At     int       `cbor:"3,keyasint"` // the page it led to
}

const (
	// sessionLife is how long a session may rest. Networks end one within a few
	// minutes, and give its id to another after hours. For as long after one broke
	// off the next asks whether to go on; common practice.
	sessionLife = 10 * time.Minute
	maxTurned   = 4
)

// enter returns the session a request belongs to, the request as it is in that
// session, and whether the session begins with it.
func (c Conversation) enter(in Inbound) (Session, Inbound, bool) {
	s := c.Session
	begins := s.Channel != in.Channel || s.ID != in.Session || in.At.Sub(s.At) > sessionLife
	if !begins && s.Over && !s.answered(s.scope(in)) {
		begins = true // a gateway whose ids are not unique
	}
	if begins {
		s = Session{Channel: in.Channel, ID: in.Session, Began: in.At}
	}
	in.ID, s.At = s.scope(in), in.At
	if in.Separator != "" {
		in.Text = Latest(s.Entered, in.Dialled, in.Separator)
		s.Entered = len(in.Dialled)
	}
	return s, in, begins
}

// scope returns the id of a request. One that was made from the session's id
// holds for this session alone, since another will have that id.
func (s Session) scope(in Inbound) MessageID {
	if in.ID == (MessageID{}) || in.Provider != "" {
		return in.ID
	}
	return NewMessageID(in.Channel, in.From.Digits(), "session", fmt.Sprint(s.Began.UnixMilli()), string(in.ID[:]))
}

// answered reports whether a message led to the session's screen.
func (s Session) answered(id MessageID) bool {
	return id == s.Answer || s.turned(id) >= 0
}

func (s Session) turned(id MessageID) int {
	return slices.IndexFunc(s.Turned, func(t Turned) bool { return t.ID == id })
}

// broke reports whether a session ended before its last screen, not long ago.
func (s Session) broke(now time.Time) bool {
	return s.Answer != (MessageID{}) && !s.Over && now.Sub(s.At) <= sessionLife
}

// Latest returns what was entered last: what follows the request before, of a
// known length, in a request that repeats all inputs since the session began. An
// input may hold the separator itself, so only the request before tells for
// certain; without it the last separator is taken to begin the input.
func Latest(before int, dialled, separator string) string {
	if before > 0 && before < len(dialled) {
		if rest, ok := strings.CutPrefix(dialled[before:], separator); ok {
			return rest
		}
	}
	if at := strings.LastIndex(dialled, separator); at >= 0 {
		return dialled[at+len(separator):]
	}
	return dialled
}

// session returns the change of a request that no step of the dialogue answers:
// a key that turned a page, or nothing at all, which is what some gateways bring
// when a session has ended. Nothing twice is a person's.
func (c Conversation) session(s Session, in Inbound, ch Channel) (Change, bool) {
	if in.Text == "" && in.Dialled == "" && !s.Blank {
		s.Blank = true
		c.Session = s
		return Change{Conversation: c}, true
	}
	screen, ok := c.Shown.Screen.Press(in.Text, ch.keys(c.State.Lang))
	if !ok {
		return Change{}, false
	}
	c.Shown = c.Shown.turned(screen)
	s.Turned = append(slices.Clone(s.Turned), Turned{ID: in.ID, Answer: s.Answer, At: screen.At})
	s.Turned = s.Turned[max(0, len(s.Turned)-maxTurned):]
	s.Blank, s.Over = false, !c.Shown.More
	c.Session = s
	return Change{Conversation: c}, true
}
