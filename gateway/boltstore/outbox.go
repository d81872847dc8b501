package boltstore

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	bolt "go.etcd.io/bbolt"

	"cobline/dialog"
	"cobline/gateway"
)

// enqueue puts messages, named by an entry, into the outbox.
func (s *Store) enqueue(w *write, out []gateway.Outbound, key gateway.Key) error {
	for _, m := range out {
		row := waiting{
			Channel: m.Channel, Number: binary.BigEndian.Uint64(numberKey(m.To)), Urgency: m.Urgency,
			NotBefore: m.NotBefore, Message: m, ref: [refLength]byte(append(key[:], byte(m.Index))),
		}
		if err := s.putWaiting(w, row); err != nil {
			return err
		}
	}
	return nil
}

// putWaiting writes a message of the outbox and puts it in its place in the
// queue.
func (s *Store) putWaiting(w *write, row waiting) error {
	w.after = append(w.after, func() { s.queue.add(row) })
	return w.putRow(row)
}

// putRow writes a message of the outbox and leaves its place in the queue as it
// is.
func (w *write) putRow(row waiting) error {
	v, err := encoding.Marshal(row)
	if err != nil {
		return fmt.Errorf("encode waiting message: %w", err)
	}
	return w.put(bucketOut, row.ref[:], v)
}

func (s *Store) deleteWaiting(w *write, ref [refLength]byte) error {
	w.after = append(w.after, func() { s.queue.remove(ref) })
	return w.delete(bucketOut, ref[:])
}

// Lease implements gateway.Outbox. Leases are kept in memory: a process that
// ends frees them.
func (s *Store) Lease(ctx context.Context, channel string, now time.Time, hold time.Duration, max int) (leased []gateway.Outbound, err error) {
	err = s.view(ctx, func(tx *bolt.Tx) error {
		for _, ref := range s.queue.lease(channel, now, now.Add(hold), max) {
			v := tx.Bucket(bucketOut).Get(ref[:])
			if v == nil { // settled since this transaction began
				continue
			}
			row, err := decodeWaiting(ref[:], v)
			if err != nil {
				return err
			}
			m, err := row.outbound()
			if err != nil {
				return err
			}
			leased = append(leased, m)
		}
		return nil
	})
	return leased, err
}

// Waiting implements gateway.Outbox.
func (s *Store) Waiting(ctx context.Context) (map[string]int, error) {
	return s.queue.waiting(), ctx.Err()
}

// Settle implements gateway.Outbox.
func (s *Store) Settle(ctx context.Context, ref string, st gateway.Settlement) error {
	key, index, err := gateway.ParseRef(ref)
	if err != nil {
		return fmt.Errorf("settle: %w", err)
	}
	row := [refLength]byte(append(key[:], byte(index)))
	return s.do(ctx, func(w *write) error { return s.settle(w, row, st) })
}

func (s *Store) settle(w *write, ref [refLength]byte, st gateway.Settlement) error {
	v := w.get(bucketOut, ref[:])
	if v == nil {
		return gateway.ErrNotFound
	}
	row, err := decodeWaiting(ref[:], v)
	if err != nil {
		return err
	}
	switch later := st.Outcome == gateway.Later; {
	case later && st.Failed && row.State != 0, st.Outcome == gateway.Unknown && row.State != 0:
		st = row.reported(st.At)
	case later && row.Withdrawn:
		st = withdrawn(st.At)
	case later:
		known := row.Released
		row.Message.Trying, row.Released = false, false
		switch {
		case st.Failed:
			row.Retry = st.Until
			row.Message.Tries++
		case known && row.asked(exact(st.Until)):
			row.NotBefore = st.At
		default:
			row.NotBefore = st.Until
		}
		return s.putWaiting(w, row)
	}
	m, err := row.outbound()
	if err != nil {
		return err
	}
	if err := s.deleteWaiting(w, ref); err != nil {
		return err
	}
	_, err = w.append(&gateway.Entry{
		Kind: gateway.Settled, At: st.At, Person: m.Person, Channel: m.Channel,
		Ref: m.Ref, Outcome: st.Outcome, Why: st.Why,
	})
	if err != nil {
		return err
	}
	if st.Outcome != gateway.Dropped || row.State != 0 {
		w.spend(s.ledger.day(m.Channel, st.At), gateway.Spend{Segments: m.Segments, Money: m.Price})
	}
	if st.Outcome != gateway.Dropped || m.Tries > 0 || row.State != 0 {
		if err := s.noteSent(w, row, st); err != nil {
			return err
		}
	}
	if err := w.tallySettled(row, st); err != nil {
		return err
	}
	if st.Outcome == gateway.Sent {
		if err := w.greet(numberKey(m.To), row.counted(), st.At); err != nil {
			return err
		}
	}
	if st.OptedOut {
		if err := w.optOut(m.To, st.At); err != nil {
			return err
		}
	}
	if st.Lapse == 0 {
		return nil
	}
	return w.wake(gateway.Alarm{
		Number: m.To, ID: dialog.TimerID("lapsed:" + m.Ref), At: st.At,
		Errand: &gateway.Errand{Lapse: &gateway.Lapse{Ref: m.Ref, Key: m.Key, Why: st.Lapse}},
	})
}

// withdraw drops what a person who opted out no longer wants to be sent. What is
// in flight may arrive, but is not tried again.
func (s *Store) withdraw(w *write, n gateway.Number, at time.Time) error {
	idle, flying := s.queue.of(n, dialog.Reminder, dialog.Bulletin)
	for _, ref := range idle {
		if err := s.settle(w, ref, withdrawn(at)); err != nil && !errors.Is(err, gateway.ErrNotFound) {
			return err
		}
	}
	for _, ref := range flying {
		v := w.get(bucketOut, ref[:])
		if v == nil { // settled in this very batch
			continue
		}
		row, err := decodeWaiting(ref[:], v)
		if err != nil {
			return err
		}
		row.Withdrawn = true
		if err := w.putRow(row); err != nil {
			return err
		}
	}
	return nil
}

func withdrawn(at time.Time) gateway.Settlement {
	return gateway.Settlement{Outcome: gateway.Dropped, At: at, Why: gateway.WhyOptedOut}
}

// unqueue deletes every waiting message of a number.
func (s *Store) unqueue(w *write, n gateway.Number) error {
	idle, flying := s.queue.of(n)
	for _, ref := range append(idle, flying...) {
		if v := w.get(bucketOut, ref[:]); v != nil {
			row, err := decodeWaiting(ref[:], v)
			if err == nil {
				err = w.tallySettled(row, gateway.Settlement{Outcome: gateway.Dropped})
			}
			if err != nil {
				return err
			}
		}
		if err := s.deleteWaiting(w, ref); err != nil {
			return err
		}
	}
	return nil
}
