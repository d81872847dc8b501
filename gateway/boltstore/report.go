package boltstore

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/fxamacker/cbor/v2"

	"cobline/dialog"
	"cobline/gateway"
)

// sent is a message that was given to a gateway, as long as a report about it
// may come.
type sent struct {
	Number   uint64            `cbor:"1,keyasint"`
	Person   gateway.PersonKey `cbor:"2,keyasint"`
	Channel  string            `cbor:"3,keyasint"`
	State    gateway.Delivery  `cbor:"4,keyasint,omitempty"`
	Provider string            `cbor:"5,keyasint,omitempty"`
	OptedOut bool              `cbor:"6,keyasint,omitempty"`
	Notice   string            `cbor:"20,keyasint,omitempty"` // whose tally a report counts in
	Unknown  bool              `cbor:"21,keyasint,omitempty"` // the gateway never said that it took it
}

// reportable is how long a report is waited for. Networks try for a few days at
// most; common practice.
const reportable = 14 * 24 * time.Hour

func providerKey(channel, id string) []byte { return []byte(channel + "\x00" + id) }

// noteSent keeps what a later report needs. Of a person who is forgotten nothing
// is kept.
func (s *Store) noteSent(w *write, row waiting, st gateway.Settlement) error {
	if w.get(bucketConv, binary.BigEndian.AppendUint64(nil, row.Number)) == nil {
		return nil
	}
	m := sent{
		Number: row.Number, Person: row.Message.Person, Channel: row.Channel, State: row.State, OptedOut: row.OptedOut,
		Provider: st.Provider, Notice: row.counted(), Unknown: st.Outcome == gateway.Unknown,
	}
	if st.Provider != "" {
		if err := w.put(bucketProvider, providerKey(m.Channel, st.Provider), row.ref[:]); err != nil {
			return err
		}
	}
	return errors.Join(w.putSent(row.ref[:], m), s.takeEarly(w, row.ref, m.Channel, st.Provider, st.At), w.forgetSent())
}

func (w *write) putSent(ref []byte, m sent) error {
	v, err := encoding.Marshal(m)
	if err != nil {
		return fmt.Errorf("encode sent message: %w", err)
	}
	return w.put(bucketSent, ref, v)
}

func (w *write) getSent(ref []byte) (m sent, err error) {
	v := w.get(bucketSent, ref)
	if v == nil {
		return m, gateway.ErrNotFound
	}
	if err := cbor.Unmarshal(v, &m); err != nil {
		return m, fmt.Errorf("decode sent message: %w", err)
	}
	return m, nil
}

func (w *write) deleteSent(ref []byte) error {
	m, err := w.getSent(ref)
	if errors.Is(err, gateway.ErrNotFound) {
		return nil
	}
	if err == nil && m.Provider != "" {
		err = w.delete(bucketProvider, providerKey(m.Channel, m.Provider))
	}
	return errors.Join(err, w.delete(bucketSent, ref))
}

// forgetSent deletes the oldest rows that are too old to be reported on: more
// than come in, so that the bucket does not grow.
func (w *write) forgetSent() error {
	for range 2 {
		ref, _ := w.tx.Bucket(bucketSent).Cursor().First()
		if ref == nil || w.last.Time().Sub(gateway.Key(ref[:refLength-1]).Time()) <= reportable {
			return nil
		}
		if err := w.deleteSent(append([]byte(nil), ref...)); err != nil {
			return err
		}
	}
	return nil
}

// Report implements gateway.Turns.
func (s *Store) Report(ctx context.Context, r gateway.Report) error {
	key, index, err := gateway.ParseRef(r.Ref)
	ref := append(key[:], byte(index))
	if r.Ref != "" && err != nil {
		return gateway.ErrNotFound // the reference of somebody else's message
	}
	held := false
	err = s.do(ctx, func(w *write) error {
		if held = false; r.Ref == "" {
			if ref = append([]byte(nil), w.get(bucketProvider, providerKey(r.Channel, r.Provider))...); len(ref) != refLength {
				held = true
				return s.holdEarly(w, r)
			}
		}
		return s.report(w, [refLength]byte(ref), r)
	})
	if err == nil && held {
		return gateway.ErrNotFound
	}
	return err
}

func (s *Store) report(w *write, ref [refLength]byte, r gateway.Report) error {
	if v := w.get(bucketOut, ref[:]); v != nil {
		row, err := decodeWaiting(ref[:], v)
		if err != nil {
			return err
		}
		return s.reportWaiting(w, row, r)
	}
	m, err := w.getSent(ref[:])
	before := m.State
	switch {
	case err != nil:
		return err
	case !news(r, &m.State, &m.OptedOut):
		return gateway.ErrSeen
	}
	if m.State != before {
		err = w.tallyReported(m)
		m.Unknown = m.Unknown && m.State != gateway.ReportDelivered
	}
	return errors.Join(err, w.putSent(ref[:], m), w.journalReport(ref, m, r))
}

// news takes a report up in what is known of a message, and reports whether it
// says more: a person may also opt out after a message has arrived.
func news(r gateway.Report, state *gateway.Delivery, optedOut *bool) bool {
	advances, leaves := r.State.Advances(*state), r.OptedOut && !*optedOut
	if advances {
		*state = r.State
	}
	*optedOut = *optedOut || leaves
	return advances || leaves
}

// reportWaiting notes a report that came before the answer to the request that
// sent the message, or after the request was broken off. In the first case the
// message stays leased, so its place in the queue is not touched.
func (s *Store) reportWaiting(w *write, row waiting, r gateway.Report) error {
	if !news(r, &row.State, &row.OptedOut) {
		return gateway.ErrSeen
	}
	if err := w.putRow(row); err != nil {
		return err
	}
	m := sent{Number: row.Number, Person: row.Message.Person, Channel: row.Channel}
	if err := w.journalReport(row.ref, m, r); err != nil || row.Message.Tries == 0 {
		return err
	}
	return s.settle(w, row.ref, row.reported(r.At))
}

// reported is what becomes of a message the gateway has told about: it is not
// sent again.
func (row waiting) reported(at time.Time) gateway.Settlement {
	s := gateway.Settlement{Outcome: gateway.Sent, At: at, Why: "reported"}
	switch row.State {
	case gateway.ReportFailed, gateway.ReportExpired, gateway.ReportRejected:
		if s.Outcome = gateway.Dropped; row.Urgency == dialog.Safety {
			s.Lapse = dialog.Refused
		}
	case gateway.ReportUnknown:
		s.Outcome = gateway.Unknown
	}
	return s
}

func (w *write) journalReport(ref [refLength]byte, m sent, r gateway.Report) error {
	number, err := numberOf(binary.BigEndian.AppendUint64(nil, m.Number))
	if err != nil {
		return err
	}
	_, err = w.append(&gateway.Entry{
		Kind: gateway.Reported, At: r.At, Person: m.Person, Channel: m.Channel,
		Ref: gateway.Key(ref[:refLength-1]).Ref(int(ref[refLength-1])), Delivery: r.State,
		Why: strings.ReplaceAll(r.Reason, number.Digits(), number.String()),
	})
	if err != nil || !r.OptedOut {
		return err
	}
	return w.optOut(number, r.At)
}

// optOut wakes a conversation with the gateway's word that it takes no more.
func (w *write) optOut(n gateway.Number, at time.Time) error {
	return w.wake(gateway.Alarm{Number: n, ID: "opted-out", At: at, Errand: &gateway.Errand{OptOut: true}})
}

// wake sets an alarm.
func (w *write) wake(a gateway.Alarm) error {
	v, err := encoding.Marshal(a)
	if err != nil {
		return fmt.Errorf("encode alarm: %w", err)
	}
	return w.putAlarm(a, v)
}
