package gateway

import (
	"crypto/rand"
	"encoding/hex"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"cobline/dialog"
	"cobline/gateway/sms"
	"cobline/gateway/ussd"
	"cobline/locales"
)

// answer says what of a turn the answer to the request can hold.
type answer struct {
	session bool // a screen with options instead of texts
	replies int
}

// none is the answer to an event that no request brought.
var none = answer{}

func (ch Channel) answer(via dialog.Channel) answer {
	a := answer{session: via == dialog.USSD}
	switch {
	case a.session || ch.Carry == CarryAll || !ch.Ability.Sends:
		a.replies = math.MaxInt
	case ch.Carry == CarryFirst:
		a.replies = 1
	}
	return a
}

// heard returns the journal line of a message.
func heard(in Inbound) *Entry {
	return &Entry{
		Kind: Heard, At: in.At, SentAt: plausible(in.SentAt, in.At), Channel: in.Channel,
		Message: in.ID, Provider: in.Provider, Network: in.Network, Text: in.Text,
	}
}

// said returns the event of a message.
func said(in Inbound) dialog.Said {
	return dialog.Said{Text: in.Text, Via: in.Via, SentAt: plausible(in.SentAt, in.At)}
}

// change turns a decided turn into what is to be committed. c is the
// conversation before the turn, e the line of its event.
func (s *Service) change(c Conversation, t dialog.Turn, e *Entry, a answer) Change {
	c = c.keyed()
	change := Change{Conversation: c, Entry: e, Withdraw: t.State.Stopped && !c.State.Stopped}
	change.Conversation.State = t.State
	change.Set, change.Clear = timers(c, t.State)
	e.Person, e.Place, e.Heard, e.Facts = c.Person, t.State.Place, &t.Heard, s.facts.Load().Version
	if t.Heard.Secret {
		e.Text = "..."
	}
	for _, b := range t.State.Batches {
		if !slices.Contains(c.State.Batches, b) {
			e.Batches = append(e.Batches, b)
		}
	}
	for _, effect := range t.Effects {
		s.effect(&change, effect)
	}
	channel := s.writes(c.Channel)
	alone := -1
	if a.session && channel != "" {
		alone = slices.IndexFunc(t.Replies, firstAid)
	}
	// What the answer to the request would hold waits with the rest while there
	// is nothing to pay for it, if it can.
	held := !a.session && channel == e.Channel && s.funds(channel, e.At) == FundsHeld
	for i, r := range t.Replies {
		m := Outbound{Index: i, Channel: channel, To: c.Number, Urgency: r.Urgency, NotBefore: e.At, Key: r.Key, Burn: ofBurn(r, c.State, t.State)}
		said := Said{Key: r.Key, Urgency: r.Urgency, End: r.End}
		said.Inline = i < a.replies && !r.Apart && (alone < 0 || i == alone) && (!held || m.Vital())
		said.Out = channel != "" && (!said.Inline || a.session && (r.Keep || firstAid(r)))
		subs := locales.Substitutions(t.Heard.Lang)
		text := sms.Plain(r.Plain(), subs)
		if said.Out || !a.session {
			said.Segments = len(sms.Split(text).Segments)
		}
		if said.Out {
			said.Price = s.options.Channels[channel].Tariff.Price(c.Number, said.Segments)
			m.From, m.Text, m.Segments, m.Price = s.options.Channels[channel].From, text, said.Segments, said.Price
			m.Place, m.Person, m.Expires = t.State.Place, c.Person, e.At.Add(s.valid(r))
			change.Out = append(change.Out, m)
		} else {
			said.Price = s.options.Channels[e.Channel].Tariff.Price(c.Number, said.Segments)
		}
		if said.Text = text; a.session {
			said.Text, said.More = sms.Plain(r.Text, subs), sms.Plain(r.More, subs)
			for _, choice := range r.Choices {
				said.Choices = append(said.Choices, sms.Plain(choice, subs))
			}
		}
		if r.Apart {
			said.Text, said.Choices = "...", nil
		}
		e.Replies = append(e.Replies, said)
	}
	return change
}

// keyed returns the conversation with the key by which the journal knows the
// person: without one its entries would be nobody's, and outlive an erasure.
func (c Conversation) keyed() Conversation {
	if c.Person == (PersonKey{}) {
		rand.Read(c.Person[:])
	}
	return c
}

// firstAid reports whether a reply is first aid. It has the screen of a session
// to itself, so that it is read whole without a key, and also goes out as a text,
// as does the rest of its turn.
func firstAid(r dialog.Reply) bool { return r.Urgency == dialog.Emergency && len(r.Choices) == 0 }

// ofBurn reports whether a reply to a person who burns looks after the burn. An
// answer does, also one that ends it; a reminder only while the drum is hot, for
// nobody is woken to be told that all is over.
func ofBurn(r dialog.Reply, before, after dialog.State) bool {
	switch r.Urgency {
	case dialog.Answer, dialog.Safety:
		return before.Burning() || after.Burning()
	case dialog.Reminder:
		return after.Burning() && (strings.HasPrefix(r.Key, "burn.") || strings.HasPrefix(r.Key, "caution."))
	}
	return false
}

// How long messages may be sent when their reply does not say: a caution is
// worthless after two hours, a reminder or notice by the next day. Common
// practice.
const (
	validSafety   = 2 * time.Hour
	validReminder = 12 * time.Hour
)

func (s *Service) valid(r dialog.Reply) time.Duration {
	switch {
	case r.Valid > 0:
		return r.Valid
	case r.Urgency == dialog.Safety:
		return validSafety
	case r.Urgency == dialog.Reminder || r.Urgency == dialog.Bulletin:
		return validReminder
	}
	return s.options.GiveUp
}

// timers returns the alarms a turn sets and clears: what the conversation wants
// now and did not before, and the reverse.
func timers(c Conversation, after dialog.State) (set, clear []Alarm) {
	return missing(c.Number, after.Timers, c.State.Timers), missing(c.Number, c.State.Timers, after.Timers)
}

// missing returns the alarms of the timers in list that are not in other.
func missing(n Number, list, other []dialog.Timer) (alarms []Alarm) {
	for _, t := range list {
		a := Alarm{Number: n, ID: t.ID, At: t.At}
		if !slices.ContainsFunc(other, a.rings) {
			alarms = append(alarms, a)
		}
	}
	return alarms
}

// effect adds to a change what a turn asks of the world.
func (s *Service) effect(c *Change, effect dialog.Effect) {
	e, number := c.Entry, c.Conversation.Number
	switch ef := effect.(type) {
	case dialog.Flag:
		e.Flags = append(e.Flags, ef.Why)
	case dialog.Question:
		e.Question = ef.Text
	case dialog.CallBack:
		e.CallBack = true
	case dialog.Erase:
		c.Erase = &ef
	case dialog.TellDuty:
		phones := s.options.Duty(ef.Place)
		if len(phones) == 0 {
			e.Flags = append(e.Flags, "no duty phone")
			return
		}
		since := e.At
		if own := c.Conversation.State.Alert; own != nil && own.ID == ef.AlertID {
			since = own.At
		}
		// The dialogue's id is unique to its person; a duty phone hears of many.
		id := hex.EncodeToString(c.Conversation.Person[:]) + ":" + ef.AlertID
		c.Set = append(c.Set, Alarm{
			Number: phones[max(ef.Attempt-1, 0)%len(phones)],
			ID:     dialog.TimerID(fmt.Sprintf("alert:%s:%d", id, ef.Attempt)), At: e.At,
			Errand: &Errand{Alert: &dialog.Alert{
				ID: id, Kind: ef.Kind, Place: ef.Place, At: since,
				Number: "+" + number.Digits(), Attempt: ef.Attempt,
			}},
		})
	case dialog.Seen:
		person, err := NumberOf(strings.TrimPrefix(ef.Alert.Number, "+"))
		_, id, ok := strings.Cut(ef.Alert.ID, ":")
		if err != nil || !ok {
			e.Flags = append(e.Flags, "alert of nobody")
			return
		}
		c.Set = append(c.Set, Alarm{
			Number: person, ID: dialog.TimerID("seen:" + ef.Alert.ID), At: e.At,
			Errand: &Errand{Seen: id},
		})
	}
}

// show returns what the answer to the request shows of an entry's replies.
func show(e Entry, in Inbound, ch Channel) Shown {
	var shown Shown
	var choices []string
	keys := ch.keys(e.Heard.Lang)
	for _, r := range e.Replies {
		if r.Inline {
			shown.Texts = append(shown.Texts, r.Text)
			shown.End = r.End
			choices, keys.Next = r.Choices, ussd.Key{}
			if r.More != "" {
				keys.Next = ussd.Key{Press: "8", Label: r.More}
			}
		}
	}
	if in.Via != dialog.USSD {
		return shown
	}
	text := strings.Join(shown.Texts, "\n")
	shown.Texts = nil
	shown.Screen = ussd.Pages(text, choices, keys, ch.Ability.Limit, units)
	return shown.turned(shown.Screen)
}

// turned returns what is shown with another page of its screen.
func (s Shown) turned(screen ussd.Screen) Shown {
	s.Screen = screen
	s.More = !s.End || screen.At < len(screen.Pages)-1
	return s
}

// keys returns the page keys in a language.
func (ch Channel) keys(l locales.Lang) ussd.Keys {
	if ch.Keys == nil {
		return ussd.Keys{Back: ussd.Key{Press: "7", Label: "Back"}, More: ussd.Key{Press: "8", Label: "More"}}
	}
	return ch.Keys(l)
}

// units counts a screen in septets. A screen in UCS-2 holds 80 characters where
// one in the 7-bit alphabet holds 182: 3GPP TS 23.038 section 5, a screen of 160
// octets.
func units(page string) int {
	encoding, n := sms.Measure(page)
	if encoding == sms.UCS2 {
		return (n*182 + 79) / 80
	}
	return n
}
