package gateway

import (
	"bytes"
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"cobline/dialog"
)

// partsWait is how long the missing parts of a long text are waited for. Parts
// come within seconds of each other, one that a network could not deliver at
// once within a few minutes, and somebody waits for the answer; common practice.
const partsWait = 2 * time.Minute

// tierLife is the tier of a cry for help that overrides everything.
const tierLife = "a"

// valid reports whether the numbers of a part can be: one that cannot is a text
// of its own (3GPP TS 23.040, 9.2.3.24.1).
func (p Part) valid() bool {
	return p.Total > 1 && p.Total <= maxParts && p.Seq >= 1 && p.Seq <= p.Total
}

const maxParts = 255 // as one octet counts them

// PartsName names the long text a part belongs to. References are small and come
// again, so everything that tells texts apart is in the name.
func (in Inbound) PartsName() string {
	p := in.Part
	id := NewMessageID(in.Channel, in.Sender, in.To, fmt.Sprint(p.Ref), fmt.Sprint(p.Width), fmt.Sprint(p.Total))
	return hex.EncodeToString(id[:8])
}

// partsAlarm is the alarm at which a long text is no longer waited for, if what
// came first came at a time.
func (in Inbound) partsAlarm(since time.Time) Alarm {
	return Alarm{
		Number: in.From, ID: dialog.TimerID("parts:" + in.PartsName()), At: since.Add(partsWait),
		Errand: &Errand{Parts: in.PartsName()},
	}
}

// says is the id of a part by what it says.
func (in Inbound) says() MessageID {
	return NewMessageID(in.Channel, in.From.Digits(), "part", in.PartsName(), fmt.Sprint(in.Part.Seq), string(in.Part.Octets))
}

// identified returns a part with the id by which it is held. The same soon after
// its text was answered is a repeat, under whatever id; without one, the same on
// another day is another text, although references come again.
func (s *Service) identified(ctx context.Context, in Inbound) (Inbound, error) {
	e, err := s.turns.Recall(ctx, in.From, in.says())
	anonymous := in.ID == MessageID{}
	switch {
	case err == nil && in.At.Sub(e.At) <= partsWait:
		in.ID = in.says()
	case err == nil && anonymous:
		in.ID = NewMessageID(in.Channel, in.From.Digits(), "part", in.PartsName(), string(in.Part.Octets), in.At.UTC().Format(time.RFC3339Nano))
	case errors.Is(err, ErrNotFound) && anonymous:
		in.ID = in.says()
	case !errors.Is(err, ErrNotFound):
		return in, err
	}
	return in, nil
}

// hold keeps a part of a long text. When no more is missing it returns the text
// and what it is made of, and also when what came is a cry for help, which waits
// for nothing. Otherwise the parts are nil.
func (s *Service) hold(ctx context.Context, c Conversation, in Inbound) (Inbound, *pieces, error) {
	all, err := s.turns.Hold(ctx, in, in.partsAlarm(in.At))
	if err != nil {
		return in, nil, err
	}
	p := sortPieces(all, func(a, b Inbound) bool { return a.At.After(b.At) })
	text := s.join(p.text)
	text.ID, text.At = in.ID, in.At
	if len(p.text) == in.Part.Total {
		return text, &p, nil
	}
	t, err := s.step(c, in.Channel, in.At, said(text))
	if err != nil || t.Heard.Tier != tierLife {
		return in, nil, nil // what a fault of the dialogue makes of half a text is told by the whole
	}
	return text, &p, nil
}

// alone returns a part as a text of its own.
func (s *Service) alone(in Inbound) Inbound {
	text := s.join([]Inbound{in})
	text.ID = in.ID
	return text
}

// pieces is what is held of a long text, sorted.
type pieces struct {
	text []Inbound   // one for each place, in order
	ids  []MessageID // of these, of those that say the same, and of what they say
	left []Inbound   // of another text under the same reference, oldest first
}

// sortPieces picks the better part where several claim a place. A reference may
// come again while a text that used it is still in pieces.
func sortPieces(all []Inbound, better func(a, b Inbound) bool) (p pieces) {
	for _, in := range all { // ordered by place
		switch n := len(p.text) - 1; {
		case n < 0 || p.text[n].Part.Seq != in.Part.Seq:
			p.text = append(p.text, in)
		case better(in, p.text[n]):
			p.text[n] = in
		}
	}
	for _, in := range all {
		i := slices.IndexFunc(p.text, func(t Inbound) bool { return t.Part.Seq == in.Part.Seq })
		if bytes.Equal(in.Part.Octets, p.text[i].Part.Octets) {
			p.ids = append(p.ids, in.ID)
			if says := in.says(); says != in.ID && !slices.Contains(p.ids, says) {
				p.ids = append(p.ids, says)
			}
		} else {
			p.left = append(p.left, in)
		}
	}
	slices.SortStableFunc(p.left, func(a, b Inbound) int { return a.At.Compare(b.At) })
	return p
}

// since returns when the first part of the text came.
func (p *pieces) since() time.Time {
	return slices.MinFunc(p.text, func(a, b Inbound) int { return a.At.Compare(b.At) }).At
}

// settle adds to the change that answers a long text what becomes of its parts.
func (p *pieces) settle(c *Change, arrived time.Time) {
	c.Source.Parts = p.ids
	if len(p.left) == 0 {
		c.Clear = append(c.Clear, p.text[0].partsAlarm(p.since()))
	} else {
		c.Set = append(c.Set, p.left[0].partsAlarm(arrived))
	}
	if len(p.text) < p.text[0].Part.Total {
		c.Entry.Flags = append(c.Entry.Flags, "parts missing")
	}
}

// join returns the message that parts make, as much of it as came. It was sent
// when the first of them was.
func (s *Service) join(parts []Inbound) Inbound {
	in := parts[0]
	list := make([]Part, len(parts))
	for i, p := range parts {
		list[i] = *p.Part
		if !p.SentAt.IsZero() && (in.SentAt.IsZero() || p.SentAt.Before(in.SentAt)) {
			in.SentAt = p.SentAt
		}
	}
	in.Text, in.Part = s.options.Join(list), nil
	return in.clean()
}

// octets joins parts that are UTF-8.
func octets(parts []Part) string {
	var b strings.Builder
	for _, p := range parts {
		b.Write(p.Octets)
	}
	return b.String()
}

// ringParts answers what came of a long text that nobody waits for any longer. A
// part that comes later is held anew.
func (s *Service) ringParts(ctx context.Context, c Conversation, a Alarm, now time.Time) error {
	all, err := s.turns.Held(ctx, a.Number, a.Errand.Parts)
	if err != nil {
		return err
	}
	if len(all) == 0 {
		return s.commit(ctx, Change{Conversation: c, Source: Source{Alarm: &a}})
	}
	p := sortPieces(all, func(a, b Inbound) bool { return a.At.Before(b.At) })
	if later := p.text[0].partsAlarm(p.since()); later.At.After(now) { // another text has come since
		return s.commit(ctx, Change{Conversation: c, Source: Source{Alarm: &a}, Set: []Alarm{later}})
	}
	in := s.join(p.text)
	in.At = now
	var change Change
	switch t, documents, err := s.decide(ctx, c, in.Channel, now, said(in)); {
	case err == nil:
		change, _ = s.heed(c, t, in, none, false)
		change.Documents = documents
	case a.Tries < len(deferrals)-1:
		return err
	default: // nothing will answer it: what was said is kept in the journal, for a person to see
		s.options.Log.Error("a long text is not answered", "number", a.Number, "tries", a.Tries, "error", err)
		e := heard(in)
		e.Flags = []string{"not answered"}
		change = s.change(c, dialog.Turn{State: c.State}, e, none)
	}
	change.Source.Alarm = &a
	p.settle(&change, now)
	return s.commit(ctx, change)
}
