package boltstore

import (
	"errors"
	"fmt"
	"time"

	"github.com/fxamacker/cbor/v2"
	bolt "go.etcd.io/bbolt"

	"cobline/gateway"
)

// early is a report that names a message by the gateway's id alone and came
// before the line learned that id. The gateway's words are not kept: they may
// hold a number, and nobody can tell yet whose.
type early struct {
	At       time.Time        `cbor:"1,keyasint"`
	State    gateway.Delivery `cbor:"2,keyasint,omitempty"`
	OptedOut bool             `cbor:"3,keyasint,omitempty"`
}

const (
	// earlyFor is how long an early report is held. A request is answered within
	// half a minute, so most that nobody asks for by then are of somebody else.
	earlyFor = 10 * time.Minute
	maxEarly = 1000
)

// recallEarly reads which reports are held.
func (s *Store) recallEarly(tx *bolt.Tx) error {
	clear(s.early)
	return tx.Bucket(bucketEarly).ForEach(func(k, v []byte) error {
		e, err := decodeEarly(v)
		s.early[string(k)] = e.At
		return err
	})
}

func decodeEarly(v []byte) (e early, err error) {
	if err := cbor.Unmarshal(v, &e); err != nil {
		return e, fmt.Errorf("decode early report: %w", err)
	}
	e.At = exact(e.At)
	return e, nil
}

// holdEarly keeps a report until its message is settled, if there is room.
func (s *Store) holdEarly(w *write, r gateway.Report) error {
	for k, at := range s.early {
		if r.At.Sub(at) > earlyFor {
			delete(s.early, k)
			if err := w.delete(bucketEarly, []byte(k)); err != nil {
				return err
			}
		}
	}
	var e early
	key := providerKey(r.Channel, r.Provider)
	if v := w.get(bucketEarly, key); v != nil {
		var err error
		if e, err = decodeEarly(v); err != nil {
			return err
		}
	} else if len(s.early) >= maxEarly {
		return nil
	}
	if !news(r, &e.State, &e.OptedOut) {
		return nil
	}
	e.At = r.At
	v, err := encoding.Marshal(e)
	if err != nil {
		return fmt.Errorf("encode early report: %w", err)
	}
	s.early[string(key)] = e.At
	return w.put(bucketEarly, key, v)
}

// takeEarly notes what was reported of a message before the line learned the
// gateway's id of it.
func (s *Store) takeEarly(w *write, ref [refLength]byte, channel, provider string, at time.Time) error {
	key := providerKey(channel, provider)
	v := w.get(bucketEarly, key)
	if provider == "" || v == nil {
		return nil
	}
	e, err := decodeEarly(v)
	if err != nil {
		return err
	}
	delete(s.early, string(key))
	if err := w.delete(bucketEarly, key); err != nil || at.Sub(e.At) > earlyFor {
		return err
	}
	err = s.report(w, ref, gateway.Report{Channel: channel, Provider: provider, State: e.State, OptedOut: e.OptedOut, At: e.At})
	if errors.Is(err, gateway.ErrSeen) {
		return nil
	}
	return err
}
