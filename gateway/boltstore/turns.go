package boltstore

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/fxamacker/cbor/v2"
	bolt "go.etcd.io/bbolt"

	"cobline/gateway"
)

// Load implements gateway.Turns.
func (s *Store) Load(ctx context.Context, n gateway.Number) (c gateway.Conversation, err error) {
	err = s.view(ctx, func(tx *bolt.Tx) error {
		r, err := s.record(tx, numberKey(n))
		if err != nil {
			return err
		}
		if c, err = r.conversation(n); err == nil {
			c.State.Stopped = s.optOuts.holds(numberKey(n), c.State.Stopped)
		}
		return err
	})
	return c, err
}

// record returns what is stored of a number. Of one never met it is the zero
// record; of an erased one it holds what the farewell kept.
func (s *Store) record(tx *bolt.Tx, number []byte) (r record, err error) {
	if v := tx.Bucket(bucketConv).Get(number); v != nil {
		if err := cbor.Unmarshal(v, &r); err != nil {
			return r, fmt.Errorf("decode conversation: %w", err)
		}
		return r, nil
	}
	gone := s.optOuts.hide(number)
	v := tx.Bucket(bucketGone).Get(gone[:])
	if v == nil {
		return r, nil
	}
	var f farewell
	if err := cbor.Unmarshal(v, &f); err != nil {
		return r, fmt.Errorf("decode farewell: %w", err)
	}
	r.Consumed = f.Consumed
	return r, nil
}

// Recall implements gateway.Turns.
func (s *Store) Recall(ctx context.Context, n gateway.Number, id gateway.MessageID) (e gateway.Entry, err error) {
	err = s.view(ctx, func(tx *bolt.Tx) error {
		number := numberKey(n)
		r, err := s.record(tx, number)
		if err != nil {
			return err
		}
		k, ok := seen(tx, number, r, id[:idLength])
		v := tx.Bucket(bucketJournal).Get(k[:])
		if !ok || v == nil {
			return gateway.ErrNotFound
		}
		e, err = decodeEntry(k[:], v)
		return err
	})
	return e, err
}

// seen returns the entry that answered a message.
func seen(tx *bolt.Tx, number []byte, r record, id []byte) (gateway.Key, bool) {
	if k, ok := r.Consumed.find(id); ok || r.Spilled.IsZero() {
		return k, ok
	}
	if v := tx.Bucket(bucketSpill).Get(join(number, id)); v != nil {
		return gateway.Key(v), true
	}
	return gateway.Key{}, false
}

func join(parts ...[]byte) (out []byte) {
	for _, p := range parts {
		out = append(out, p...)
	}
	return out
}

// Commit implements gateway.Turns.
func (s *Store) Commit(ctx context.Context, c gateway.Change) error {
	p, err := prepare(c)
	if err != nil {
		return fmt.Errorf("commit: %w", err)
	}
	return s.do(ctx, func(w *write) error { return s.commit(w, p) })
}

// prepared is a change with everything encoded that needs no transaction, so
// that the writer has little to do.
type prepared struct {
	gateway.Change
	number []byte
	state  []byte
	alarms [][]byte // of Set
	desk   [][]byte // of Documents
}

func prepare(c gateway.Change) (p prepared, err error) {
	p = prepared{Change: c, number: numberKey(c.Conversation.Number), state: c.Conversation.State.Encode()}
	if c.Entry != nil {
		entry := *c.Entry
		p.Entry = &entry
	}
	for _, m := range c.Out {
		if c.Entry == nil || m.Index < 0 || m.Index > gateway.MaxIndex {
			return p, fmt.Errorf("message %d of the turn cannot be named", m.Index)
		}
	}
	for _, a := range c.Set {
		v, err := encoding.Marshal(a)
		if err != nil {
			return p, fmt.Errorf("encode alarm: %w", err)
		}
		p.alarms = append(p.alarms, v)
	}
	for _, d := range c.Documents {
		row, err := newDocument(d.Value, d.Rev)
		if err != nil {
			return p, err
		}
		p.desk = append(p.desk, row)
	}
	return p, nil
}

func (s *Store) commit(w *write, p prepared) error {
	if p.Conversation.Number.IsZero() {
		_, err := w.append(p.Entry)
		return err
	}
	r, err := s.record(w.tx, p.number)
	if err != nil {
		return err
	}
	if err := p.check(w, r); err != nil {
		return err
	}
	var key gateway.Key
	if p.Entry != nil {
		p.Entry.Previous = r.Last
		if key, err = w.append(p.Entry); err != nil {
			return err
		}
		r.Last = key
		w.spend(s.ledger.day(p.Entry.Channel, p.Entry.At), p.Entry.Spend())
	}
	if err := errors.Join(s.remember(w, p, &r, key), p.setAlarms(w), w.release(p.number, p.Source.Parts)); err != nil {
		return err
	}
	if p.Withdraw {
		if err := s.withdraw(w, p.Conversation.Number, p.Entry.At); err != nil {
			return err
		}
	}
	if p.Release {
		if err := s.release(w, p.Conversation.Number, p.Entry.At); err != nil {
			return err
		}
	}
	if p.Replied != "" {
		if err := w.tally(p.Replied, func(t *gateway.Tally) { t.Replied++ }); err != nil {
			return err
		}
	}
	if p.Source.Bulletin != nil {
		if err := s.become(w, *p.Source.Bulletin); err != nil {
			return err
		}
	}
	for i, d := range p.Documents {
		if err := w.putDocument(deskKey(d.Kind, d.ID), p.desk[i], d.Rev); err != nil {
			return err
		}
	}
	if p.Erase != nil {
		err = s.erase(w, p, r, key)
	} else {
		err = s.keep(w, p, r)
	}
	return errors.Join(err, s.enqueue(w, p.Out, key))
}

// check returns ErrSeen if the source of a change was answered before, else
// ErrConflict if the conversation is not the one the change was made from.
func (p prepared) check(w *write, r record) error {
	if p.Source.Alarm != nil {
		if _, err := findAlarm(w.tx, *p.Source.Alarm); errors.Is(err, gateway.ErrNotFound) {
			return gateway.ErrSeen
		} else if err != nil {
			return err
		}
	}
	if p.Source.Inbound != (gateway.MessageID{}) {
		if _, ok := seen(w.tx, p.number, r, p.Source.Inbound[:idLength]); ok {
			return gateway.ErrSeen
		}
	}
	if b := p.Source.Bulletin; b != nil {
		row, err := w.reference(b.Ref)
		if err != nil {
			return err
		}
		if row.Message.Text != "" || r.has(row.Message.Notice) {
			return gateway.ErrSeen
		}
	}
	if r.Rev != p.Conversation.Rev {
		return gateway.ErrConflict
	}
	for _, d := range p.Documents {
		rev, err := w.revision(deskKey(d.Kind, d.ID))
		if err != nil {
			return err
		}
		if rev != d.Rev {
			return gateway.ErrConflict
		}
	}
	return nil
}

// keep writes the conversation after the turn.
func (s *Store) keep(w *write, p prepared, r record) error {
	c := p.Conversation
	s.optOuts.note(w, p.number, c.State.Stopped)
	if r.Rev++; r.Person != c.Person {
		if err := errors.Join(w.forgetPerson(r.Person, p.number), w.put(bucketPerson, c.Person[:], p.number)); err != nil {
			return err
		}
	}
	r.Channel, r.Person, r.State, r.Notices = c.Channel, c.Person, p.state, c.Notices
	r.Shown, r.Session, r.Recents, r.Traffic = c.Shown, c.Session, c.Recents, c.Traffic
	v, err := encoding.Marshal(r)
	if err != nil {
		return fmt.Errorf("encode conversation: %w", err)
	}
	if r.Rev == 1 { // a person who comes back after being forgotten
		if gone := s.optOuts.hide(p.number); w.get(bucketGone, gone[:]) != nil {
			if err := w.delete(bucketGone, gone[:]); err != nil {
				return err
			}
		}
	}
	return w.put(bucketConv, p.number, v)
}

// remember notes the messages a change answers. What no longer fits the record
// but may still be repeated spills into a bucket of its own, which ordinary
// people never touch.
func (s *Store) remember(w *write, p prepared, r *record, key gateway.Key) error {
	answered := p.Source.Parts
	if answered == nil && p.Source.Inbound != (gateway.MessageID{}) {
		answered = []gateway.MessageID{p.Source.Inbound}
	}
	if answered == nil {
		return nil
	}
	var out consumed
	for _, id := range answered {
		var over consumed
		r.Consumed, over = r.Consumed.add(id[:idLength], key)
		out = append(out, over...)
	}
	now := w.last.Time()
	if !r.Spilled.IsZero() && !now.Before(r.Spilled) {
		r.Spilled = time.Time{}
		if err := w.clear(bucketSpill, p.number); err != nil {
			return err
		}
	}
	for ; len(out) > 0; out = out[consumedLength:] {
		until := gateway.Key(out[idLength:consumedLength]).Time().Add(remember)
		if until.After(now) {
			r.Spilled = until
			if err := w.put(bucketSpill, join(p.number, out[:idLength]), out[idLength:consumedLength]); err != nil {
				return err
			}
		}
	}
	return nil
}

// clear deletes every row whose key begins with prefix.
func (w *write) clear(bucket, prefix []byte) error {
	for _, k := range keys(w.tx, bucket, prefix) {
		if err := w.delete(bucket, k); err != nil {
			return err
		}
	}
	return nil
}

// keys returns copies of the keys that begin with prefix: deleting under a
// cursor makes it skip.
func keys(tx *bolt.Tx, bucket, prefix []byte) (found [][]byte) {
	c := tx.Bucket(bucket).Cursor()
	for k, _ := c.Seek(prefix); k != nil && bytes.HasPrefix(k, prefix); k, _ = c.Next() {
		found = append(found, append([]byte(nil), k...))
	}
	return found
}

// erase forgets a person but for this change's entry and what a farewell keeps.
func (s *Store) erase(w *write, p prepared, r record, key gateway.Key) error {
	s.optOuts.note(w, p.number, p.Erase.KeepOptOut)
	f := farewell{Consumed: r.Consumed, Until: w.last.Time().Add(remember)}
	gone := s.optOuts.hide(p.number)
	v, err := encoding.Marshal(f)
	if err != nil {
		return fmt.Errorf("encode farewell: %w", err)
	}
	return errors.Join(
		w.blank(r.Last, key),
		w.clear(bucketSpill, p.number),
		w.clear(bucketParts, p.number),
		w.clearAlarms(p.number),
		s.unqueue(w, p.Conversation.Number),
		w.delete(bucketConv, p.number),
		w.forgetPerson(r.Person, p.number),
		w.put(bucketGone, gone[:], v),
	)
}

// forget deletes the farewells that are over: of a number that did not opt out
// nothing is left.
func forget(tx *bolt.Tx) error {
	newest, _ := tx.Bucket(bucketJournal).Cursor().Last()
	if newest == nil {
		return nil
	}
	now := gateway.Key(newest).Time()
	gone := tx.Bucket(bucketGone)
	for _, k := range keys(tx, bucketGone, nil) {
		var f farewell
		if err := cbor.Unmarshal(gone.Get(k), &f); err != nil {
			return fmt.Errorf("decode farewell: %w", err)
		}
		if now.After(f.Until) {
			if err := gone.Delete(k); err != nil {
				return err
			}
		}
	}
	return nil
}

// blank removes the texts of a person's entries, back from the newest, all but
// one.
func (w *write) blank(newest, but gateway.Key) error {
	for k := newest; !k.IsZero(); {
		v := w.get(bucketJournal, k[:])
		if v == nil { // retention has taken the rest
			return nil
		}
		e, err := decodeEntry(k[:], v)
		if err != nil {
			return err
		}
		for i := range e.Replies {
			if err := w.deleteSent(append(k[:], byte(i))); err != nil {
				return err
			}
		}
		if told, i, err := gateway.ParseRef(e.Ref); err == nil && e.Kind == gateway.Noticed { // sent by the reference's name
			if err := w.deleteSent(append(told[:], byte(i))); err != nil {
				return err
			}
		}
		if k != but {
			e.Blank()
			if v, err = encoding.Marshal(e); err != nil {
				return fmt.Errorf("encode entry: %w", err)
			}
			if err := w.put(bucketJournal, k[:], v); err != nil {
				return err
			}
		}
		k = e.Previous
	}
	return nil
}

// Each implements gateway.People.
func (s *Store) Each(ctx context.Context, after gateway.Number, f func(gateway.Conversation) error) error {
	next := numberKey(after)
	var bad int
	var first error
	for next != nil {
		var page []gateway.Conversation
		err := s.view(ctx, func(tx *bolt.Tx) error {
			c := tx.Bucket(bucketConv).Cursor()
			k, v := c.Seek(next)
			if bytes.Equal(k, numberKey(after)) {
				k, v = c.Next()
			}
			for ; k != nil && len(page) < pageRows; k, v = c.Next() {
				conversation, err := decodeConversation(k, v)
				if err != nil {
					bad, first = bad+1, cmp.Or(first, err)
					continue
				}
				page = append(page, conversation)
			}
			next = bytes.Clone(k)
			return nil
		})
		if err != nil {
			return err
		}
		for _, c := range page {
			c.State.Stopped = s.optOuts.holds(numberKey(c.Number), c.State.Stopped)
			if err := f(c); err != nil {
				return err
			}
		}
	}
	if bad > 0 {
		return fmt.Errorf("%d conversations left out, the first because: %w", bad, first)
	}
	return nil
}

// Person implements gateway.People.
func (s *Store) Person(ctx context.Context, key gateway.PersonKey) (c gateway.Conversation, err error) {
	err = s.view(ctx, func(tx *bolt.Tx) error {
		number := tx.Bucket(bucketPerson).Get(key[:])
		if number == nil {
			return gateway.ErrNotFound
		}
		v := tx.Bucket(bucketConv).Get(number)
		if v == nil {
			return gateway.ErrNotFound
		}
		if c, err = decodeConversation(number, v); err == nil {
			c.State.Stopped = s.optOuts.holds(number, c.State.Stopped)
		}
		return err
	})
	return c, err
}

// forgetPerson deletes the row that leads from a person key to a number.
func (w *write) forgetPerson(key gateway.PersonKey, number []byte) error {
	if !bytes.Equal(w.get(bucketPerson, key[:]), number) {
		return nil
	}
	return w.delete(bucketPerson, key[:])
}

// recognise fills the bucket of person keys in a file of a program that had
// none.
func recognise(tx *bolt.Tx) error {
	persons, conversations := tx.Bucket(bucketPerson), tx.Bucket(bucketConv)
	if k, _ := persons.Cursor().First(); k != nil {
		return nil
	}
	return conversations.ForEach(func(number, v []byte) error {
		var r record
		if err := cbor.Unmarshal(v, &r); err != nil || r.Person == (gateway.PersonKey{}) {
			return nil // it stays as it is, and is found by its number
		}
		return persons.Put(r.Person[:], number)
	})
}

func decodeConversation(k, v []byte) (gateway.Conversation, error) {
	n, err := numberOf(k)
	if err != nil {
		return gateway.Conversation{}, fmt.Errorf("key %x of a conversation: %w", k, err)
	}
	var r record
	if err := cbor.Unmarshal(v, &r); err != nil {
		return gateway.Conversation{}, fmt.Errorf("decode conversation of %v: %w", n, err)
	}
	return r.conversation(n)
}
