package gateway

import (
	"crypto/sha256"
	"encoding/base32"
	"encoding/binary"
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode"

	"cobline/dialog"
	"cobline/gateway/ussd"
)

// MessageID names an inbound message: the same message has the same id however
// often a gateway delivers it.
type MessageID [16]byte

// NewMessageID returns the id of a message from what caused it: the channel, the
// sender, and either the provider's own id or what stands in for it. The parts
// are told apart, so moving a character from one to the next changes the id.
func NewMessageID(channel, sender string, cause ...string) MessageID {
	h := sha256.New()
	for _, part := range append([]string{channel, sender}, cause...) {
		h.Write(binary.AppendUvarint(nil, uint64(len(part))))
		h.Write([]byte(part))
	}
	return MessageID(h.Sum(nil)[:16])
}

// Inbound is a text or a key press as it arrived.
type Inbound struct {
	// ID is zero if the gateway gives neither an id nor a time of its own. The
	// Service then judges repeats by content, within the channel's RetryWindow.
	ID       MessageID
	Provider string // the provider's own id, for the journal
	Channel  string
	Sender   string // verbatim; only a Number has a conversation
	To       string
	From     Number // zero if the sender is not a number: journalled, never answered
	Via      dialog.Channel
	Session  string // of a dialled session; empty on SMS
	Network  string // over which it came, in the gateway's words; empty if unknown
	Text     string
	// Dialled is everything entered since the session began, of a gateway that
	// brings that, with Separator between the inputs; Text is then what follows the
	// last one, until the Service knows better.
	Dialled, Separator string
	Part               *Part     // set if this is one of the parts of a long text; Text is then empty
	SentAt             time.Time // when the gateway says it was sent; zero if unknown
	At                 time.Time // when it arrived here
}

// Part is one of the parts of a long text that the gateway does not join: octets
// in a charset, because a letter may be cut in two.
type Part struct {
	Ref, Width int // the reference of the text and its bits: 8 or 16
	Total, Seq int // how many parts, and which of them, from 1
	Octets     []byte
	Charset    string
}

// clean returns the message without what is no text: octets that are not UTF-8
// and control characters, which some gateways pass on from binary messages.
func (in Inbound) clean() Inbound {
	for _, s := range []*string{&in.Provider, &in.Sender, &in.To, &in.Session, &in.Network, &in.Text, &in.Dialled} {
		*s = cleanText(*s)
	}
	return in
}

func cleanText(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) && r != '\n' && r != '\t' {
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "\ufffd"))
}

// Outbound is one message on its way out. Integer keys are never reused; what
// has none is the store's to keep as it likes.
type Outbound struct {
	Ref       string         `cbor:"-"` // given by Commit from the entry and Index
	Index     int            `cbor:"-"` // the position of the reply in its turn
	Channel   string         `cbor:"-"`
	To        Number         `cbor:"-"`
	Urgency   dialog.Urgency `cbor:"-"`
	NotBefore time.Time      `cbor:"-"`
	Key       string         `cbor:"1,keyasint,omitempty"` // the reply's key, so that a lapse can be told
	From      string         `cbor:"2,keyasint,omitempty"`
	Text      string         `cbor:"3,keyasint"`
	Segments  int            `cbor:"4,keyasint"`
	Place     string         `cbor:"5,keyasint,omitempty"` // whose zone the quiet hours follow
	Person    PersonKey      `cbor:"6,keyasint"`
	Expires   time.Time      `cbor:"7,keyasint"`
	Tries     int            `cbor:"8,keyasint,omitempty"`
	Price     Money          `cbor:"9,keyasint,omitempty"`  // of all segments
	Burn      bool           `cbor:"10,keyasint,omitempty"` // belongs to a burn that has begun: no cap and no quiet hours keep it
	// Notice is the id of the notice this belongs to. Until Text is there it is a
	// reference: Notices.Tell makes it a message when it is to be sent.
	Notice string `cbor:"16,keyasint,omitempty"`
	// Trying says that a message that goes out at most once may have been sent.
	Trying bool `cbor:"17,keyasint,omitempty"`
	Ahead  bool `cbor:"18,keyasint,omitempty"` // of other bulletins: weather with an hour
}

// Vital reports whether a message is first aid or looks after a fire: neither
// caps nor quiet hours keep it.
func (o Outbound) Vital() bool {
	return o.Urgency == dialog.Emergency || o.Urgency == dialog.Safety || o.Burn
}

// Refused is a gateway's permanent no to a message. A sender returns nil if the
// gateway took the message, Refused if it never will, ErrUnsure if it may have,
// and any other error if it did not and should be asked again.
type Refused struct {
	Reason string
	// OptedOut says that the person told the gateway to send no more, or that the
	// gateway takes nothing for this number.
	OptedOut bool
}

// Error returns the gateway's reason.
func (r Refused) Error() string { return "the gateway refused the message: " + r.Reason }

// Blocked is a gateway's no to the whole channel: no credit, wrong credentials,
// a wrong address. No message is to blame, and someone has to see to it.
type Blocked struct{ Reason string }

// Error returns the gateway's reason.
func (b Blocked) Error() string { return "the gateway takes nothing: " + b.Reason }

// RetryAfter returns how long to wait before the gateway is asked again.
func (Blocked) RetryAfter() time.Duration { return 5 * time.Minute }

// ErrUnsure says that a message may or may not have been taken: the connection
// broke after the request was written.
var ErrUnsure = errors.New("not known whether the gateway took the message")

// Shown is what a turn shows at once, in the answer to the request that brought
// the text.
type Shown struct {
	Texts []string `cbor:"1,keyasint,omitempty"` // of a text channel
	// Of a session channel: the screen, whether the session goes on, and whether it
	// does so only for pages still to be read.
	Screen ussd.Screen `cbor:"2,keyasint,omitzero"`
	More   bool        `cbor:"4,keyasint,omitempty"`
	End    bool        `cbor:"5,keyasint,omitempty"`
	// Silenced says why nothing was answered: Flooded or Looped.
	Silenced string `cbor:"-"`
	// Again says that the message was answered before.
	Again bool `cbor:"-"`
}

// Key is the position of an entry in the journal: milliseconds since 1970, then
// a counter. Keys order as the entries were written.
type Key [11]byte

// NewKey returns the key of the entry with this number, written at t.
func NewKey(t time.Time, number uint64) Key {
	var k Key
	var b [8]byte
	binary.BigEndian.PutUint64(b[:], uint64(t.UnixMilli()))
	copy(k[:6], b[2:])
	binary.BigEndian.PutUint64(b[:], number)
	copy(k[6:], b[3:])
	return k
}

// Next returns the key of an entry written at t that follows the entry of k. The
// time in a key never runs back, so that keys order as the entries do.
func (k Key) Next(t time.Time) Key {
	if k.Time().After(t) {
		t = k.Time()
	}
	var b [8]byte
	copy(b[3:], k[6:])
	return NewKey(t, binary.BigEndian.Uint64(b[:])+1)
}

// Time returns when the entry was written, to the millisecond.
func (k Key) Time() time.Time {
	var b [8]byte
	copy(b[2:], k[:6])
	return time.UnixMilli(int64(binary.BigEndian.Uint64(b[:]))).UTC()
}

// String returns the key as 18 letters and digits, which order as keys do.
func (k Key) String() string { return refEncoding.EncodeToString(k[:]) }

// ParseKey returns the key that String wrote. The error is ErrNotRef.
func ParseKey(s string) (Key, error) {
	b, err := refEncoding.DecodeString(s)
	if err != nil || len(b) != len(Key{}) {
		return Key{}, ErrNotRef
	}
	return Key(b), nil
}

// IsZero reports whether k is the zero Key, which no entry has.
func (k Key) IsZero() bool { return k == Key{} }

// base32 in the hexadecimal order sorts as the octets do.
var refEncoding = base32.HexEncoding.WithPadding(base32.NoPadding)

// ErrNotRef says that a text is not a reference of this line.
var ErrNotRef = errors.New("not a message reference")

// MaxIndex is the highest position of a reply in its turn; a reference keeps it
// in one octet.
const MaxIndex = 255

// Ref returns the reference of the reply at index of the turn behind an entry:
// 20 letters and digits, the same on every attempt to send it.
func (k Key) Ref(index int) string {
	if index < 0 || index > MaxIndex {
		panic(fmt.Sprintf("gateway: reply %d of one turn", index))
	}
	return refEncoding.EncodeToString(append(k[:], byte(index)))
}

// ParseRef returns the journal entry and the position a reference stands for, so
// that a delivery report finds its message. The error is ErrNotRef.
func ParseRef(ref string) (Key, int, error) {
	b, err := refEncoding.DecodeString(ref)
	if err != nil || len(b) != len(Key{})+1 {
		return Key{}, 0, ErrNotRef
	}
	return Key(b[:len(Key{})]), int(b[len(Key{})]), nil
}

// PersonKey stands for a person in the journal instead of the number. It is
// drawn at random, so that erasing the conversation leaves entries that name
// nobody.
type PersonKey [8]byte
