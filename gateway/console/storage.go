package console

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"time"

	"cobline/gateway"
)

// sessionKind is the kind of the Desk's documents that last for a while.
const sessionKind = "session"

// storageTime is how long one access to the Desk may take.
const storageTime = 5 * time.Second

// kept is a value that lasts for a while.
type kept struct {
	Value []byte    `cbor:"1,keyasint,omitempty"`
	Until time.Time `cbor:"2,keyasint,omitzero"` // zero: for good
	Gone  bool      `cbor:"3,keyasint,omitempty"`
}

// storage is the fiber.Storage of sessions and limits. A key is stored as its
// hash: a copy of the store gives nobody a session.
type storage struct {
	desk gateway.Desk
	now  func() time.Time
}

func storageID(key string) string {
	sum := sha256.Sum256([]byte(key))
	return hex.EncodeToString(sum[:])
}

// Get returns a value, or nil if there is none.
func (s storage) Get(key string) ([]byte, error) {
	ctx, cancel := context.WithTimeout(context.Background(), storageTime)
	defer cancel()
	k, _, err := s.get(ctx, storageID(key))
	return k.Value, err
}

// get returns what is kept under an id. What is over is as good as not there, but
// has its revision.
func (s storage) get(ctx context.Context, id string) (k kept, rev uint64, err error) {
	rev, err = s.desk.Get(ctx, sessionKind, id, &k)
	switch {
	case errors.Is(err, gateway.ErrNotFound):
		return kept{}, 0, nil
	case err != nil:
		return kept{}, 0, fmt.Errorf("read a session: %w", err)
	case !k.Until.IsZero() && !s.now().Before(k.Until):
		return kept{}, rev, nil
	}
	return k, rev, nil
}

// Set keeps a value for a while, or for good. What was deleted stays so: a page
// still being made as its reader signs out must not bring the session back.
func (s storage) Set(key string, value []byte, d time.Duration) error {
	k := kept{Value: value}
	if d > 0 {
		k.Until = s.now().Add(d)
	}
	return s.change(key, func(old kept) (kept, bool) { return k, !old.Gone })
}

// Delete lets a value be gone.
func (s storage) Delete(key string) error {
	return s.change(key, func(old kept) (kept, bool) {
		return kept{Until: old.Until, Gone: true}, old.Value != nil
	})
}

// change writes what becomes of a key, if anything does.
func (s storage) change(key string, f func(old kept) (kept, bool)) error {
	ctx, cancel := context.WithTimeout(context.Background(), storageTime)
	defer cancel()
	id := storageID(key)
	err := again(func() error {
		old, rev, err := s.get(ctx, id)
		if err != nil {
			return err
		}
		k, ok := f(old)
		if !ok {
			return nil
		}
		return s.desk.Put(ctx, sessionKind, id, k, rev)
	})
	if err != nil {
		return fmt.Errorf("keep a session: %w", err)
	}
	return nil
}

// Reset ends all sessions and limits.
func (s storage) Reset() error {
	return s.drop(context.Background(), func(kept) bool { return true })
}

// Close closes nothing: the Desk is its owner's.
func (storage) Close() error { return nil }

// collect drops what is over.
func (s storage) collect(ctx context.Context) error {
	now := s.now()
	return s.drop(ctx, func(k kept) bool { return !k.Until.IsZero() && !now.Before(k.Until) })
}

// dropPage is how many documents are read at a time.
const dropPage = 200

func (s storage) drop(ctx context.Context, over func(kept) bool) error {
	for after, more := "", true; more; {
		more = false
		count := 0
		err := s.desk.List(ctx, sessionKind, after, dropPage, func(id string, rev uint64, decode func(any) error) error {
			var k kept
			if err := decode(&k); err != nil {
				return fmt.Errorf("session %s: %w", id, err)
			}
			count++
			after, more = id, count == dropPage
			if !over(k) {
				return nil
			}
			err := s.desk.Put(ctx, sessionKind, id, nil, rev)
			if errors.Is(err, gateway.ErrConflict) { // somebody goes on with it
				return nil
			}
			return err
		})
		if err != nil {
			return fmt.Errorf("drop sessions: %w", err)
		}
	}
	return nil
}

// attempts is how often a document is written that others change too.
const attempts = 8

// again repeats what reads a document and writes it while others do the same.
func again(f func() error) (err error) {
	for range attempts {
		if err = f(); !errors.Is(err, gateway.ErrConflict) {
			break
		}
	}
	return err
}
