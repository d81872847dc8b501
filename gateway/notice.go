package gateway

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"cobline/dialog"
	"cobline/gateway/sms"
	"cobline/locales"
)

// NoticeKind is the kind of notices among the Desk's documents.
const NoticeKind = "notice"

// Progress is whether a notice goes on. It is stored.
type Progress uint8

// The ways a notice can stand.
const (
	Running   Progress = 1
	Paused    Progress = 2
	Cancelled Progress = 3
)

// String returns the progress in lower case.
func (p Progress) String() string { return name(p, "running", "paused", "cancelled") }

// Notice is an officer's notice with whom it is for and how far its list has
// come. Integer keys are never reused.
type Notice struct {
	Message   dialog.Notice `cbor:"1,keyasint"`
	Audience  Audience      `cbor:"2,keyasint"`
	By        string        `cbor:"3,keyasint,omitempty"` // who sends it
	At        time.Time     `cbor:"4,keyasint"`           // when it was started
	NotBefore time.Time     `cbor:"5,keyasint,omitzero"`
	Progress  Progress      `cbor:"6,keyasint"`
	After     string        `cbor:"7,keyasint,omitempty"` // the digits up to which references are written
	Listed    bool          `cbor:"8,keyasint,omitempty"` // references are written for everybody
}

// Audience is whom a notice is for. An empty list leaves nobody out.
type Audience struct {
	Places []string       `cbor:"1,keyasint,omitempty"`
	Groups []string       `cbor:"2,keyasint,omitempty"`
	Langs  []locales.Lang `cbor:"3,keyasint,omitempty"`
	Stages []string       `cbor:"4,keyasint,omitempty"` // of what they have under way: lit, sealed, opened, drying
	Wastes []string       `cbor:"5,keyasint,omitempty"` // of what dries
	// Ring is the widest ring of a notice about the weather; zero is
	// dialog.RingLikely. Any other notice is for those who accepted messages.
	Ring dialog.Ring `cbor:"6,keyasint,omitempty"`
}

// Why somebody is left out of a notice.
const (
	leftOptedOut   = WhyOptedOut
	leftDeclined   = "declined"
	leftNotGreeted = "not greeted"
	leftOthers     = "not whom it is for"
	leftNoText     = "no text in their language"
	leftNoChannel  = "no channel to write on"
	leftTold       = "told before"
	leftCancelled  = "cancelled"
)

// leaves returns why a notice is not for the person of a conversation; empty if
// it is.
func (n Notice) leaves(c Conversation, home string, now time.Time) string {
	s, a := c.State, n.Audience
	ring := s.Ring(now)
	switch {
	case s.Stopped:
		return leftOptedOut
	case s.Declines():
		return leftDeclined
	case s.Seen.IsZero() && !c.Greeted: // imported, and the first message says who writes and why
		return leftNotGreeted
	case n.Message.Weather && (ring == 0 || ring > cmp.Or(a.Ring, dialog.RingLikely)),
		!n.Message.Weather && !s.Accepts(),
		!among(a.Places, cmp.Or(s.Place, home)),
		!among(a.Groups, s.Profile.Group),
		!among(a.Stages, s.Stages(now)...),
		!among(a.Wastes, s.Drying(now)...):
		return leftOthers
	}
	return ""
}

// among reports whether a list is empty or holds one of the values.
func among(list []string, values ...string) bool {
	return len(list) == 0 || slices.ContainsFunc(values, func(v string) bool {
		return slices.ContainsFunc(list, func(l string) bool { return v != "" && strings.EqualFold(l, v) })
	})
}

// The bounds of a notice. Common practice.
const (
	maxNoticeSegments = 3
	maxNoticeLife     = 14 * 24 * time.Hour
	noticeLife        = 24 * time.Hour // if nobody says
)

// Unfit says what is wrong with a notice, in a sentence to whoever wrote it.
type Unfit struct{ why string }

func (u Unfit) Error() string { return u.why }

func unfit(format string, a ...any) error { return Unfit{fmt.Sprintf(format, a...)} }

// Check returns what is wrong with a notice: an Unfit.
func (n Notice) Check(now time.Time) error {
	_, err := n.ready(now)
	return err
}

// ready returns the notice with its defaults, or an Unfit.
func (n Notice) ready(now time.Time) (Notice, error) {
	m := &n.Message
	m.Weather = m.Weather || m.Ready != ""
	if m.Expires.IsZero() {
		m.Expires = m.Hour
	}
	if m.Expires.IsZero() {
		m.Expires = later(now, n.NotBefore).Add(noticeLife)
	}
	for _, t := range []*time.Time{&m.Hour, &m.Expires, &n.NotBefore} {
		*t = t.UTC().Truncate(time.Second)
	}
	n.At, n.Progress, n.After, n.Listed = now.UTC().Truncate(time.Second), Running, "", false
	switch {
	case m.Ready == "" && len(m.Texts) == 0:
		return n, unfit("the notice has no text")
	case m.Ready != "" && !slices.Contains(dialog.ReadyNotices, m.Ready):
		return n, unfit("there is no ready text %q; there are %s", m.Ready, strings.Join(dialog.ReadyNotices, ", "))
	case m.Ready != "" && m.Hour.IsZero():
		return n, unfit("a ready text names the hour of the weather: say which")
	case !m.Expires.After(later(now, n.NotBefore)):
		return n, unfit("the notice would expire before it can be sent")
	case m.Expires.Sub(now) > maxNoticeLife:
		return n, unfit("a notice lasts 14 days at most")
	}
	for lang, text := range m.Texts {
		switch parts := sms.Split(sms.Plain(text, locales.Substitutions(lang))); {
		case strings.TrimSpace(text) == "":
			return n, unfit("the text in %s is empty", lang)
		case len(parts.Segments) > maxNoticeSegments:
			return n, unfit("the text in %s takes %d segments; %d is the most", lang, len(parts.Segments), maxNoticeSegments)
		case dialog.AsksForDigit(text):
			return n, unfit("the text in %s asks for a digit, which may answer another question; ask for a word", lang)
		}
	}
	return n, nil
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// exact undoes what storing does to the times.
func (n Notice) exact() Notice {
	for _, t := range []*time.Time{&n.Message.Hour, &n.Message.Expires, &n.At, &n.NotBefore} {
		if !t.IsZero() {
			*t = t.Round(time.Second).UTC()
		}
	}
	return n
}

// Preview is what a notice would come to if it were sent now.
type Preview struct {
	Persons  int            `json:"persons"`
	Segments int            `json:"segments"`
	Price    float64        `json:"price"` // in units of the currency
	Rings    map[string]int `json:"rings"`
	// Asked is how many of them are asked first whether the number is still theirs,
	// because nothing was heard of it for long.
	Asked   int            `json:"asked_first"`
	LeftOut map[string]int `json:"left_out"` // why, and how many of those at its places
	Texts   []Variant      `json:"texts"`
}

// Variant is one text of a notice as phones show it.
type Variant struct {
	Lang     locales.Lang `json:"lang"`
	Text     string       `json:"text"`
	Persons  int          `json:"persons"`
	Segments int          `json:"segments"` // of one
	Beside   bool         `json:"beside"`   // a drum that is lit or sealed: the rain line comes with it
}

// maxVariants is how many different texts a preview shows; a ready text differs
// by place.
const maxVariants = 20

func (p *Preview) add(c copyFor) {
	p.Persons++
	p.Segments += c.ref.Segments
	p.Price = (MoneyOf(p.Price) + c.ref.Price).Units()
	p.Rings[ringNames[c.ring]]++
	if c.asks {
		p.Asked++
	}
	i := slices.IndexFunc(p.Texts, func(v Variant) bool { return v.Lang == c.lang && v.Text == c.text })
	switch {
	case i >= 0:
		p.Texts[i].Persons++
	case len(p.Texts) < maxVariants:
		p.Texts = append(p.Texts, Variant{Lang: c.lang, Text: c.text, Persons: 1, Segments: c.ref.Segments, Beside: c.beside})
	}
}

var ringNames = map[dialog.Ring]string{
	dialog.RingReported: "reported", dialog.RingLikely: "likely", dialog.RingAccepted: "accepted",
}

// copyFor is what a notice is to one person.
type copyFor struct {
	ref    Outbound
	text   string
	lang   locales.Lang
	ring   dialog.Ring
	asks   bool
	beside bool   // a drum that is lit or sealed
	left   string // why they are left out
}
