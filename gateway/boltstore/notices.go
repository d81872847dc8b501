package boltstore

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/fxamacker/cbor/v2"
	bolt "go.etcd.io/bbolt"

	"cobline/dialog"
	"cobline/gateway"
)

// Enlist implements gateway.Bulletins. A reference is named by an entry of the
// journal and its place below it, as a reply is.
func (s *Store) Enlist(ctx context.Context, n gateway.Notice, rev uint64, to []gateway.Outbound, at time.Time) error {
	if len(to) > gateway.MaxEnlisted {
		return fmt.Errorf("enlist %d at once: %d is the most", len(to), gateway.MaxEnlisted)
	}
	row, err := newDocument(n, rev)
	if err != nil {
		return err
	}
	return s.do(ctx, func(w *write) error {
		if err := w.putDocument(deskKey(gateway.NoticeKind, n.Message.ID), row, rev); err != nil {
			return err
		}
		for part := range slices.Chunk(to, gateway.MaxIndex+1) {
			key, err := w.append(&gateway.Entry{Kind: gateway.Enlisted, At: at, Notice: n.Message.ID})
			if err != nil {
				return err
			}
			for i := range part {
				part[i].Index = i
			}
			if err := s.enqueue(w, part, key); err != nil {
				return err
			}
		}
		w.after = append(w.after, func() { s.queue.pause(n.Message.ID, n.Progress == gateway.Paused) })
		return w.tally(n.Message.ID, func(t *gateway.Tally) { t.Enlisted += len(to) })
	})
}

// recallPauses reads which notices are paused. One that this program cannot read
// is passed over: its references are not sent either, and gateway.Notices says so.
func (s *Store) recallPauses(tx *bolt.Tx) error {
	prefix := deskKey(gateway.NoticeKind, "")
	for _, k := range keys(tx, bucketDesk, prefix) {
		var n gateway.Notice
		d, err := decodeDocument(tx.Bucket(bucketDesk).Get(k))
		if err == nil {
			err = cbor.Unmarshal(d.Body, &n)
		}
		if err == nil {
			s.queue.pause(n.Message.ID, n.Progress == gateway.Paused)
		}
	}
	return nil
}

// reference returns the waiting message of a reference, which is gone if
// somebody settled it.
func (w *write) reference(ref string) (row waiting, err error) {
	key, index, err := gateway.ParseRef(ref)
	if err != nil {
		return row, fmt.Errorf("reference %q: %w", ref, err)
	}
	at := append(key[:], byte(index))
	v := w.get(bucketOut, at)
	if v == nil {
		return row, gateway.ErrSeen
	}
	return decodeWaiting(at, v)
}

// has reports whether a notice reached the number of a record.
func (r record) has(notice string) bool {
	return slices.ContainsFunc(r.Notices, func(n gateway.Reached) bool { return n.Notice == notice })
}

// become puts the message that a reference has become in its place. On the same
// channel it stays in flight.
func (s *Store) become(w *write, m gateway.Outbound) error {
	row, err := w.reference(m.Ref)
	if err != nil {
		return err
	}
	stays := row.Channel == m.Channel
	row.Channel, row.Urgency, row.Message = m.Channel, m.Urgency, m
	if stays {
		return w.putRow(row)
	}
	if err := s.deleteWaiting(w, row.ref); err != nil {
		return err
	}
	return s.putWaiting(w, row)
}

// release lets the references go out that waited until a person was known again.
// One in flight, which may just have been told to wait, is marked: settling it
// heeds the mark.
func (s *Store) release(w *write, n gateway.Number, at time.Time) error {
	idle, flying := s.queue.of(n)
	for i, ref := range append(idle, flying...) {
		v := w.get(bucketOut, ref[:])
		if v == nil { // settled in this very batch
			continue
		}
		row, err := decodeWaiting(ref[:], v)
		if err != nil {
			return err
		}
		switch {
		case row.Message.Notice == "":
		case i >= len(idle):
			row.Released = true
			err = w.putRow(row)
		case row.NotBefore.After(at) && row.asked(row.NotBefore):
			row.NotBefore = at
			err = s.putWaiting(w, row)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// asked reports whether a message that waits until a time waits for an answer of
// its person: that is to the end of its own time. Anything else waits for
// something else: its own beginning, the morning, or a cap.
func (row waiting) asked(until time.Time) bool { return !until.Before(exact(row.Message.Expires)) }

// Try implements gateway.Outbox.
func (s *Store) Try(ctx context.Context, ref string) error {
	return s.do(ctx, func(w *write) error {
		row, err := w.reference(ref)
		if errors.Is(err, gateway.ErrSeen) {
			return gateway.ErrNotFound
		}
		if err != nil {
			return err
		}
		row.Message.Trying = true
		return w.putRow(row)
	})
}

// Tally implements gateway.Bulletins.
func (s *Store) Tally(ctx context.Context, notice string) (t gateway.Tally, err error) {
	err = s.view(ctx, func(tx *bolt.Tx) error {
		t, err = decodeTally(tx.Bucket(bucketTally).Get([]byte(notice)))
		return err
	})
	return t, err
}

func decodeTally(v []byte) (t gateway.Tally, err error) {
	if v == nil {
		return t, nil
	}
	if err := cbor.Unmarshal(v, &t); err != nil {
		return t, fmt.Errorf("decode tally: %w", err)
	}
	return t, nil
}

// tally changes the counts of a notice.
func (w *write) tally(notice string, f func(*gateway.Tally)) error {
	t, err := decodeTally(w.get(bucketTally, []byte(notice)))
	if err != nil {
		return err
	}
	f(&t)
	v, err := encoding.Marshal(t)
	if err != nil {
		return fmt.Errorf("encode tally: %w", err)
	}
	return w.put(bucketTally, []byte(notice), v)
}

// counted returns the notice whose tally a message counts in; empty if in none.
func (row waiting) counted() string {
	if row.Message.Key != dialog.NoticeKey {
		return ""
	}
	return row.Message.Notice
}

// tallySettled counts a message of a notice that is settled for good.
func (w *write) tallySettled(row waiting, st gateway.Settlement) error {
	if row.counted() == "" {
		return nil
	}
	return w.tally(row.counted(), func(t *gateway.Tally) {
		switch {
		case st.Outcome == gateway.Sent:
			t.Reached++
		case st.Outcome == gateway.Unknown:
			t.Unknown++
		case st.Why == gateway.WhyExpired || st.Why == gateway.WhyCap:
			t.Expired++
		case st.Why == gateway.WhyOptedOut:
			t.OptedOut++
		case st.Why == gateway.WhyRefused || row.State != 0:
			t.Failed++
		default:
			t.Left++
		}
		if st.Outcome != gateway.Dropped {
			countReport(t, row.State)
		}
	})
}

// tallyReported counts what a gateway reports of a message of a notice.
func (w *write) tallyReported(m sent) error {
	if m.Notice == "" {
		return nil
	}
	return w.tally(m.Notice, func(t *gateway.Tally) {
		if m.Unknown && m.State == gateway.ReportDelivered {
			t.Unknown--
			t.Reached++
		}
		countReport(t, m.State)
	})
}

func countReport(t *gateway.Tally, d gateway.Delivery) {
	switch d {
	case gateway.ReportDelivered:
		t.Delivered++
	case gateway.ReportFailed, gateway.ReportExpired, gateway.ReportRejected:
		t.Undelivered++
	}
}

// greet notes that a gateway took a message to a number, and a notice, if it was
// one.
func (w *write) greet(number []byte, notice string, at time.Time) error {
	v := w.get(bucketConv, number)
	if v == nil { // forgotten meanwhile
		return nil
	}
	var r record
	if err := cbor.Unmarshal(v, &r); err != nil {
		return nil // what a newer program wrote stays as it is
	}
	i := slices.IndexFunc(r.Notices, func(n gateway.Reached) bool { return n.Notice == notice && notice != "" })
	if r.Greeted && i < 0 {
		return nil
	}
	if r.Greeted = true; i >= 0 {
		r.Notices[i].At = at
	}
	v, err := encoding.Marshal(r)
	if err != nil {
		return fmt.Errorf("encode conversation: %w", err)
	}
	return w.put(bucketConv, number, v)
}
