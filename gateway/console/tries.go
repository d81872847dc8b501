package console

import (
	"context"
	"errors"
	"fmt"
	"time"

	"cobline/gateway"
)

// How many sign-ins may fail before one has to wait, with one name and from one
// address. Several officers may share an address.
const (
	triesByName    = 5
	triesByAddress = 20
)

// forgiven is how long a failed sign-in counts.
const forgiven = 24 * time.Hour

// backOff is how long to wait after each failure too many.
var backOff = []time.Duration{
	30 * time.Second,
	time.Minute,
	2 * time.Minute,
	5 * time.Minute,
	15 * time.Minute, // and no longer: nobody keeps an officer out for a day
}

// tries are the sign-ins that failed with one name, or from one address. They lie
// among the sessions, and are over like those.
type tries struct {
	Until  time.Time `cbor:"2,keyasint"`
	Failed int       `cbor:"4,keyasint"`
	Last   time.Time `cbor:"5,keyasint"`
}

// closed returns until when no sign-in is tried; zero if one may be.
func (t tries) closed(allowed int) time.Time {
	n := t.Failed - allowed
	if n < 0 {
		return time.Time{}
	}
	return t.Last.Add(backOff[min(n, len(backOff)-1)])
}

func triesID(of, what string) string { return "tries-" + of + "-" + storageID(what) }

// count notes that a sign-in is tried, before it is known how it ends: many at
// once are counted each. If it has to wait, it returns until when, and counts
// nothing.
func count(ctx context.Context, d gateway.Desk, id string, allowed int, now time.Time) (until time.Time, err error) {
	err = again(func() error {
		var t tries
		rev, err := d.Get(ctx, sessionKind, id, &t)
		if err != nil && !errors.Is(err, gateway.ErrNotFound) {
			return err
		}
		if !now.Before(t.Until) {
			t = tries{}
		}
		if until = t.closed(allowed); now.Before(until) {
			return nil
		}
		until = time.Time{}
		return d.Put(ctx, sessionKind, id, tries{Failed: t.Failed + 1, Last: now, Until: now.Add(forgiven)}, rev)
	})
	if err != nil {
		return until, fmt.Errorf("count a sign-in: %w", err)
	}
	return until, nil
}

// forgive takes back failed sign-ins under an id: the last one, or all.
func forgive(ctx context.Context, d gateway.Desk, id string, all bool) error {
	err := again(func() error {
		var t tries
		rev, err := d.Get(ctx, sessionKind, id, &t)
		switch {
		case errors.Is(err, gateway.ErrNotFound):
			return nil
		case err != nil:
			return err
		}
		if t.Failed--; all || t.Failed <= 0 {
			return d.Put(ctx, sessionKind, id, nil, rev)
		}
		return d.Put(ctx, sessionKind, id, t, rev)
	})
	if err != nil {
		return fmt.Errorf("forgive failed sign-ins: %w", err)
	}
	return nil
}

// Unlock lets an account try to sign in again at once.
func (a *Accounts) Unlock(ctx context.Context, name string) error {
	if _, err := a.Get(ctx, name); err != nil {
		return err
	}
	return forgive(ctx, a.desk, triesID("name", fold(name)), true)
}

// Locked returns until when an account cannot sign in for its failed tries; zero
// if it can.
func (a *Accounts) Locked(ctx context.Context, name string, now time.Time) (time.Time, error) {
	var t tries
	_, err := a.desk.Get(ctx, sessionKind, triesID("name", fold(name)), &t)
	switch until := t.closed(triesByName); {
	case errors.Is(err, gateway.ErrNotFound):
		return time.Time{}, nil
	case err != nil:
		return time.Time{}, fmt.Errorf("read failed sign-ins: %w", err)
	case now.Before(until):
		return until, nil
	}
	return time.Time{}, nil
}
