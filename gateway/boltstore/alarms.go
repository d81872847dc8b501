package boltstore

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/fxamacker/cbor/v2"
	bolt "go.etcd.io/bbolt"

	"cobline/dialog"
	"cobline/gateway"
)

const timeLength, numberLength = 8, 8

// identity is the key of an alarm in the bucket of deferred ones.
func identity(a gateway.Alarm) []byte {
	return join(numberKey(a.Number), moment(a.Moment()), []byte(a.ID))
}

// filed is the key of an alarm that is due at a time.
func filed(a gateway.Alarm, due []byte) []byte {
	return join(due, numberKey(a.Number), []byte(a.ID))
}

// findAlarm returns the key under which exactly this alarm is filed. The error is
// gateway.ErrNotFound if it is gone; another one comes with the key, of a row
// that cannot be decoded.
func findAlarm(tx *bolt.Tx, a gateway.Alarm) (key []byte, err error) {
	due := moment(a.Moment())
	if later := tx.Bucket(bucketDeferred).Get(identity(a)); later != nil {
		due = later
	}
	key = filed(a, due)
	v := tx.Bucket(bucketAlarm).Get(key)
	if v == nil {
		return nil, gateway.ErrNotFound
	}
	stored, err := decodeAlarm(key, v)
	if err == nil && stored.Moment() != a.Moment() { // another one, deferred to here
		return nil, gateway.ErrNotFound
	}
	return key, err
}

// decodeAlarm returns as much of an alarm as its row tells, also beside an
// error.
func decodeAlarm(k, v []byte) (a gateway.Alarm, err error) {
	err = cbor.Unmarshal(v, &a)
	a.Due = momentOf(k)
	a.ID = dialog.TimerID(k[timeLength+numberLength:])
	if a.At = exact(a.At); err != nil {
		a.At, err = a.Due, fmt.Errorf("decode alarm: %w", err)
	}
	if a.Errand != nil && a.Errand.Alert != nil {
		a.Errand.Alert.At = exact(a.Errand.Alert.At)
	}
	var bad error
	a.Number, bad = numberOf(k[timeLength : timeLength+numberLength])
	return a, errors.Join(err, bad)
}

// setAlarms takes away what a change answers and clears, and sets what it sets.
func (p prepared) setAlarms(w *write) error {
	gone := p.Clear
	if p.Source.Alarm != nil {
		gone = append(gone[:len(gone):len(gone)], *p.Source.Alarm)
	}
	for _, a := range gone {
		if err := w.deleteAlarm(a); err != nil {
			return err
		}
	}
	for i, a := range p.Set {
		if err := w.putAlarm(a, p.alarms[i]); err != nil {
			return err
		}
	}
	return nil
}

func (w *write) putAlarm(a gateway.Alarm, value []byte) error {
	if err := w.deleteAlarm(a); err != nil { // a deferred one of the same identity
		return err
	}
	return w.put(bucketAlarm, filed(a, moment(a.Moment())), value)
}

func (w *write) deleteAlarm(a gateway.Alarm) error {
	key, err := findAlarm(w.tx, a)
	if errors.Is(err, gateway.ErrNotFound) {
		return nil
	}
	if err := w.delete(bucketAlarm, key); err != nil {
		return err
	}
	if id := identity(a); w.get(bucketDeferred, id) != nil {
		return w.delete(bucketDeferred, id)
	}
	return nil
}

// clearAlarms deletes every alarm of a number. Their keys begin with their time,
// so all are looked at; erasing is rare.
func (w *write) clearAlarms(number []byte) error {
	for _, k := range keys(w.tx, bucketAlarm, nil) {
		if string(k[timeLength:timeLength+numberLength]) == string(number) {
			if err := w.delete(bucketAlarm, k); err != nil {
				return err
			}
		}
	}
	return w.clear(bucketDeferred, number)
}

// DueAlarms implements gateway.Alarms. What cannot be decoded is returned as far
// as its key tells, so that the ring fails and defers it.
func (s *Store) DueAlarms(ctx context.Context, now time.Time, max int) (due []gateway.Alarm, err error) {
	err = s.view(ctx, func(tx *bolt.Tx) error {
		c := tx.Bucket(bucketAlarm).Cursor()
		for k, v := c.First(); k != nil && len(due) < max && !momentOf(k).After(now); k, v = c.Next() {
			a, _ := decodeAlarm(k, v)
			due = append(due, a)
		}
		return nil
	})
	return due, err
}

// Defer implements gateway.Alarms.
func (s *Store) Defer(ctx context.Context, a gateway.Alarm, to time.Time) error {
	due := moment(to.UnixMilli())
	return s.do(ctx, func(w *write) error {
		key, err := findAlarm(w.tx, a)
		if errors.Is(err, gateway.ErrNotFound) {
			return err
		}
		v := append([]byte(nil), w.get(bucketAlarm, key)...)
		if stored, err := decodeAlarm(key, v); err == nil {
			stored.Tries++
			if v, err = encoding.Marshal(stored); err != nil {
				return fmt.Errorf("encode alarm: %w", err)
			}
		}
		return errors.Join(
			w.delete(bucketAlarm, key),
			w.put(bucketAlarm, filed(a, due), v),
			w.put(bucketDeferred, identity(a), due),
		)
	})
}
