package gateway

import (
	"cmp"
	"context"
	"fmt"
	"slices"
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

// CountAround goes through all people once and counts what is around in each
// place; home is the place of those who named none. It takes the longer the more
// people there are: keep what it returns for a while.
func CountAround(ctx context.Context, people People, home string, now time.Time) (map[string]Around, error) {
	all := map[string]*Around{}
	everybody := Notice{Message: dialog.Notice{Weather: true}, Audience: Audience{Ring: dialog.RingAccepted}}
	err := people.Each(ctx, Number{}, func(c Conversation) error {
		s := c.State
		place := cmp.Or(s.Place, home)
		a := all[place]
		if a == nil {
			a = &Around{Rings: map[dialog.Ring]int{}}
			all[place] = a
		}
		if !s.Stopped {
			a.People++
		}
		a.count(s, now)
		if everybody.leaves(c, home, now) == "" {
			a.Rings[s.Ring(now)]++
		}
		return ctx.Err()
	})
	if err != nil {
		return nil, fmt.Errorf("count what is under way: %w", err)
	}
	out := map[string]Around{}
	for place, a := range all {
		out[place] = *a
	}
	return out, nil
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
