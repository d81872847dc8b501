package gateway

import (
	"sync"
	"time"
)

// slack is how far the time of the line may run back: clocks are set, by a few
// seconds on most machines.
const slack = 2 * time.Minute

// Watch tells the time of the line from the machine's clock. It never runs back
// by more than two minutes behind what it told before. If the clock falls
// further behind, because it was once set wrong or lost its battery, the watch
// goes on from there at the clock's pace, so that hours stay hours and no timer
// stands still, until the clock has caught up. It is safe for concurrent use.
type Watch struct {
	mu    sync.Mutex
	told  time.Time     // the latest time told
	ahead time.Duration // of the clock
}

// NewWatch returns a watch that follows the time of the last commit, which is
// zero for a new store.
func NewWatch(last time.Time) *Watch { return &Watch{told: last} }

// At returns the time of the line, to the millisecond, when the clock shows wall.
func (w *Watch) At(wall time.Time) time.Time {
	w.mu.Lock()
	defer w.mu.Unlock()
	wall = wall.Truncate(time.Millisecond)
	floor := w.told.Add(-slack)
	switch {
	case !wall.Before(floor):
		w.ahead = 0
	case wall.Add(w.ahead).Before(floor):
		w.ahead = floor.Sub(wall)
	}
	now := wall.Add(w.ahead)
	if now.After(w.told) {
		w.told = now
	}
	return now
}

// Ahead returns how far the watch is ahead of the clock: zero on a machine that
// is set right.
func (w *Watch) Ahead() time.Duration {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.ahead
}
