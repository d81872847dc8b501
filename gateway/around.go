package gateway

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"cobline/dialog"
)

// Around is what the people of a place have under way, in persons, and how many
// of them a notice about the weather there would be for.
type Around struct {
	People     int // who did not say STOP
	Alight     int // with a drum alight
	Sealed     int // with a sealed one
	Opened     int // with one that was opened and not yet weighed
	Briquettes int // whose briquettes dry
	Waste      int // whose waste dries
	Rings      map[dialog.Ring]int
}

// Reach returns how many persons are in the rings up to one.
func (a Around) Reach(widest dialog.Ring) int {
	n := 0
	for ring, persons := range a.Rings {
		if ring <= widest {
			n += persons
		}
	}
	return n
}

// around counts what is around at some places, or at all if none is named.
func (n *Notices) around(ctx context.Context, places []string, now time.Time) (map[string]Around, error) {
	home := n.service.Facts().Home
	everybody := Notice{Message: dialog.Notice{Weather: true}, Audience: Audience{Ring: dialog.RingAccepted}}
	all := map[string]Around{}
	err := n.people(ctx, places, func(int, int) {}, func(c Conversation) error {
		s := c.State
		place := cmp.Or(s.Place, home)
		a, known := all[place]
		if !known {
			a.Rings = map[dialog.Ring]int{}
		}
		if !s.Stopped {
			a.People++
		}
		a.count(s, now)
		if everybody.leaves(c, home, now) == "" {
			a.Rings[s.Ring(now)]++
		}
		all[place] = a
		return ctx.Err()
	})
	if err != nil {
		return nil, fmt.Errorf("count what is under way: %w", err)
	}
	return all, nil
}

// count adds what a person has under way, once in each kind.
func (a *Around) count(s dialog.State, now time.Time) {
	stages := s.Stages(now)
	for _, k := range []struct {
		stage string
		n     *int
	}{{"lit", &a.Alight}, {"sealed", &a.Sealed}, {"opened", &a.Opened}, {dialog.StageDrying, &a.Briquettes}} {
		if slices.Contains(stages, k.stage) {
			*k.n++
		}
	}
	if s.DriesWaste(now) {
		a.Waste++
	}
}

// ErrCounting says that what is under way is still being counted.
var ErrCounting = errors.New("what is under way is being counted; ask again in a moment")

// census is what is around in each place, for all who ask: to count it takes the
// longer the more people there are.
type census struct {
	mu         sync.Mutex
	last, runs *counted
}

// counted is one count, of everybody. What it came to is known when it is done.
type counted struct {
	at     time.Time
	around map[string]Around
	err    error
	done   chan struct{}
}

const (
	censusFresh = time.Minute
	censusOld   = 10 * time.Minute // older than this it tells nothing
	censusTime  = 5 * time.Minute
)

// Around returns what is around in each place, and when that was counted: at most
// a minute ago or, if the context ends before it is counted again, ten. The error
// is ErrCounting if there is no such count yet.
func (n *Notices) Around(ctx context.Context, now time.Time) (map[string]Around, time.Time, error) {
	c := &n.census
	c.mu.Lock()
	last := c.last
	if last != nil && now.Sub(last.at).Abs() <= censusFresh {
		c.mu.Unlock()
		return last.around, last.at, nil
	}
	if c.runs == nil {
		c.runs = &counted{at: now, done: make(chan struct{})}
		go n.count(c.runs)
	}
	runs := c.runs
	c.mu.Unlock()
	select {
	case <-runs.done:
		return runs.around, runs.at, runs.err
	case <-ctx.Done():
	}
	if last == nil || now.Sub(last.at) > censusOld {
		return nil, time.Time{}, ErrCounting
	}
	return last.around, last.at, nil
}

// count makes a count, also if nobody waits for it any more.
func (n *Notices) count(c *counted) {
	ctx, cancel := context.WithTimeout(context.Background(), censusTime)
	defer cancel()
	c.around, c.err = n.around(ctx, nil, c.at)
	n.census.mu.Lock()
	defer n.census.mu.Unlock()
	if n.census.runs = nil; c.err == nil {
		n.census.last = c
	} else {
		n.service.options.Log.Warn("what is under way was not counted", "error", c.err)
	}
	close(c.done)
}
