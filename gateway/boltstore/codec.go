package boltstore

import (
	"encoding/binary"
	"fmt"
	"time"

	"github.com/fxamacker/cbor/v2"

	"cobline/dialog"
	"cobline/gateway"
)

var encoding = func() cbor.EncMode {
	m, err := cbor.EncOptions{Time: cbor.TimeUnixMicro, TimeTag: cbor.EncTagNone}.EncMode()
	if err != nil {
		panic(err)
	}
	return m
}()

// record is a conversation as the bucket holds it. Integer keys are never
// reused.
type record struct {
	Rev      uint64            `cbor:"1,keyasint"`
	Channel  string            `cbor:"2,keyasint,omitempty"`
	Person   gateway.PersonKey `cbor:"3,keyasint"`
	State    []byte            `cbor:"4,keyasint,omitempty"`
	Shown    gateway.Shown     `cbor:"5,keyasint,omitzero"`
	Consumed consumed          `cbor:"7,keyasint,omitempty"`
	Last     gateway.Key       `cbor:"8,keyasint,omitzero"` // the person's newest entry
	Spilled  time.Time         `cbor:"9,keyasint,omitzero"` // until then ids may lie in the spill
	Session  gateway.Session   `cbor:"10,keyasint,omitzero"`
	Recents  []gateway.Recent  `cbor:"11,keyasint,omitempty"`
	Traffic  gateway.Traffic   `cbor:"12,keyasint,omitzero"`
	Notices  []gateway.Reached `cbor:"20,keyasint,omitempty"`
	Greeted  bool              `cbor:"21,keyasint,omitempty"`
}

func (r record) conversation(n gateway.Number) (c gateway.Conversation, err error) {
	c = gateway.Conversation{
		Number: n, Channel: r.Channel, Person: r.Person, Shown: r.Shown, Session: r.Session, Recents: r.Recents, Rev: r.Rev,
		Traffic: r.Traffic, Notices: r.Notices, Greeted: r.Greeted,
	}
	c.Session.Began, c.Session.At = exact(c.Session.Began), exact(c.Session.At)
	for i, recent := range c.Recents {
		c.Recents[i].At, c.Recents[i].Sent = exact(recent.At), exact(recent.Sent)
	}
	c.Traffic.Full = exact(c.Traffic.Full)
	for i := range c.Traffic.Same {
		c.Traffic.Same[i].Since = exact(c.Traffic.Same[i].Since)
	}
	for i := range c.Notices {
		c.Notices[i].Until, c.Notices[i].At = exact(c.Notices[i].Until), exact(c.Notices[i].At)
	}
	if c.State, err = dialog.DecodeState(r.State); err != nil {
		return c, fmt.Errorf("conversation of %v: %w", n, err)
	}
	return c, nil
}

// farewell is what is kept of an erased number: enough to answer a repeat of the
// last messages.
type farewell struct {
	Consumed consumed  `cbor:"1,keyasint,omitempty"`
	Until    time.Time `cbor:"2,keyasint"`
}

// waiting is a message of the outbox as the bucket holds it. NotBefore keeps
// this message alone waiting; Retry, after an attempt that failed, keeps the
// person's others waiting behind it.
type waiting struct {
	Channel   string           `cbor:"1,keyasint"`
	Number    uint64           `cbor:"2,keyasint"`
	Urgency   dialog.Urgency   `cbor:"3,keyasint"`
	NotBefore time.Time        `cbor:"4,keyasint"`
	Retry     time.Time        `cbor:"5,keyasint,omitzero"`
	Message   gateway.Outbound `cbor:"6,keyasint"`
	State     gateway.Delivery `cbor:"7,keyasint,omitempty"`  // reported before it was settled
	Withdrawn bool             `cbor:"8,keyasint,omitempty"`  // in flight while the person opted out
	OptedOut  bool             `cbor:"9,keyasint,omitempty"`  // as State
	Released  bool             `cbor:"10,keyasint,omitempty"` // in flight while the person became known again
	ref       [refLength]byte
}

const refLength = len(gateway.Key{}) + 1

func (w waiting) key() gateway.Key { return gateway.Key(w.ref[:refLength-1]) }
func (w waiting) index() int       { return int(w.ref[refLength-1]) }

func decodeWaiting(k, v []byte) (w waiting, err error) {
	if err := cbor.Unmarshal(v, &w); err != nil {
		return w, fmt.Errorf("decode waiting message: %w", err)
	}
	w.ref = [refLength]byte(k)
	w.NotBefore, w.Retry = exact(w.NotBefore), exact(w.Retry)
	return w, nil
}

// outbound returns the message with what its row's key and head say of it.
func (w waiting) outbound() (gateway.Outbound, error) {
	m := w.Message
	m.Ref, m.Index = w.key().Ref(w.index()), w.index()
	m.Channel, m.Urgency, m.NotBefore, m.Expires = w.Channel, w.Urgency, w.NotBefore, exact(m.Expires)
	var err error
	m.To, err = numberOf(binary.BigEndian.AppendUint64(nil, w.Number))
	return m, err
}

func decodeEntry(k, v []byte) (e gateway.Entry, err error) {
	if err := cbor.Unmarshal(v, &e); err != nil {
		return e, fmt.Errorf("decode entry: %w", err)
	}
	e.Key = gateway.Key(k)
	e.At, e.SentAt, e.Timer.At = exact(e.At), exact(e.SentAt), exact(e.Timer.At)
	for i := range e.Batches {
		e.Batches[i].At = exact(e.Batches[i].At)
	}
	return e, nil
}

// exact undoes what the encoding, seconds in floating point, does to a time.
func exact(t time.Time) time.Time {
	if t.IsZero() {
		return time.Time{}
	}
	return t.Round(time.Millisecond).UTC()
}

// consumed lists messages a person's gateway may bring again, oldest first: the
// first 8 octets of the id, then the key of the entry that answered it, zero if
// none did.
type consumed []byte

const (
	idLength       = 8
	consumedLength = idLength + len(gateway.Key{})
	// maxConsumed bounds what every commit of a conversation rewrites.
	maxConsumed = 16
	// remember is how long a message is known again: the schedules by which
	// gateways repeat a delivery last up to about three days (Standard Webhooks
	// 1.0.0, "Retry schedule").
	remember = 72 * time.Hour
)

// find returns the entry that answered a message last.
func (c consumed) find(id []byte) (k gateway.Key, ok bool) {
	for ; len(c) > 0; c = c[:len(c)-consumedLength] {
		last := c[len(c)-consumedLength:]
		if string(last[:idLength]) == string(id) {
			return gateway.Key(last[idLength:]), true
		}
	}
	return k, false
}

// add appends an id and returns what no longer fits.
func (c consumed) add(id []byte, k gateway.Key) (kept, out consumed) {
	kept = append(append(append(kept, c...), id...), k[:]...)
	if n := len(kept) - maxConsumed*consumedLength; n > 0 {
		return kept[n:], kept[:n]
	}
	return kept, nil
}
