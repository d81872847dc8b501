package gateway

import (
	"slices"
	"time"

	"cobline/dialog"
)

// Recent is a text answered a moment ago: what is needed to tell that it comes
// again under another id, or without one.
type Recent struct {
	ID   MessageID `cbor:"1,keyasint"`
	At   time.Time `cbor:"2,keyasint"`           // when it arrived
	Text MessageID `cbor:"3,keyasint"`           // of the channel, recipient and text: a digest
	Open string    `cbor:"4,keyasint,omitempty"` // the question that was open before it was answered
	Sent time.Time `cbor:"5,keyasint,omitzero"`  // by the gateway's clock
}

const (
	// inFlight is how long a gateway may have to wait for an answer before it
	// gives up and brings the message again.
	inFlight = 30 * time.Second
	// sameStamp is how long a text with the same time of the gateway is the same:
	// some phones and gateways report one text twice, with an id each.
	sameStamp = time.Minute
	// maxRecent bounds what every commit of a conversation rewrites.
	maxRecent = 8
)

// content is what two deliveries of one message have in common where the
// gateway gives nothing else.
func content(in Inbound) MessageID {
	return NewMessageID(in.Channel, in.From.Digits(), in.To, in.Session, in.Text)
}

// veiled is the same of a text that holds a secret: from its digest nobody can
// find it by trying, and it is known until the line ends.
func veiled(in Inbound, veil string) MessageID {
	says := content(in)
	return NewMessageID("veiled", veil, string(says[:]))
}

// repeated returns the recent text that a message brings again. Without an id it
// is one with the same words that was still being answered, or was answered
// within the window and no new question has been asked since: a person who is
// asked something new may honestly answer 1 twice. With an id it is one that
// was also sent at the same second.
func (c Conversation) repeated(in Inbound, veil string, window time.Duration, answering bool) (MessageID, bool) {
	for _, r := range slices.Backward(c.Recents) {
		if r.Text != content(in) && r.Text != veiled(in, veil) {
			continue
		}
		since, asked := in.At.Sub(r.At), r.Open != open(c.State)
		var same bool
		switch {
		case in.ID == MessageID{}:
			same = window > 0 && (answering && since < inFlight || !asked && since < window)
		case !in.SentAt.IsZero() && in.SentAt.Equal(r.Sent):
			// A clock that shows minutes tells nothing of two answers within one.
			same = since < sameStamp && (!asked || !onTheMinute(r.Sent))
		}
		if same {
			return r.ID, true
		}
	}
	return MessageID{}, false
}

func onTheMinute(t time.Time) bool { return t.Equal(t.Truncate(time.Minute)) }

// recall adds a text to the recent ones, if it may come again under no id or
// another. Only the text of a turned page has its question asked at once.
func (c *Conversation) recall(in Inbound, says MessageID, anonymous bool, question string, window time.Duration) {
	c.Recents = slices.DeleteFunc(slices.Clone(c.Recents), func(r Recent) bool {
		return in.At.Sub(r.At) > max(inFlight, sameStamp, window)
	})
	if !anonymous && in.SentAt.IsZero() {
		return
	}
	c.Recents = append(c.Recents, Recent{ID: in.ID, At: in.At, Text: says, Open: question, Sent: in.SentAt})
	c.Recents = c.Recents[max(0, len(c.Recents)-maxRecent):]
}

// open names the question a conversation has put last.
func open(s dialog.State) string {
	if len(s.Frames) == 0 {
		return ""
	}
	f := s.Frames[len(s.Frames)-1]
	return f.Topic + "." + string(f.Open)
}

// paged stands for a question in place of the one that was open before a page was
// turned: what a key showed is new, so the same key is another.
const paged = "page"
