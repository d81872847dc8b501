package outbox

import (
	"context"
	"errors"
	"fmt"
	"time"

	"cobline/gateway"
)

// Health is how a channel fares.
type Health struct {
	// Since and Reason are of a pause: the gateway takes nothing, and a person has
	// to see to its credit, its credentials or its address. Until then one message
	// asks every few minutes whether it does again.
	Since  time.Time `cbor:"1,keyasint,omitzero"`
	Reason string    `cbor:"2,keyasint,omitempty"`

	Resting time.Time `cbor:"-"` // nothing is sent before; zero if it may be
	Sent    time.Time `cbor:"-"` // when the gateway last took a message, since the worker began
	Failed  int       `cbor:"-"` // attempts that failed since then
}

// Paused reports whether the gateway takes nothing.
func (h Health) Paused() bool { return !h.Since.IsZero() }

// pauseKind is the kind of the desk's document of a pause; its id is the channel.
const pauseKind = "pause"

// Health returns how the channel fares.
func (w *Worker) Health() Health {
	w.mu.Lock()
	defer w.mu.Unlock()
	h := w.health
	if w.rest.After(time.Now()) {
		h.Resting = w.rest
	}
	return h
}

// Resume lets a channel that rests ask its gateway at once: a person says that
// they have seen to it. The pause is over when the gateway takes a message.
func (w *Worker) Resume() {
	w.mu.Lock()
	w.rest, w.asked = time.Time{}, time.Now()
	w.mu.Unlock()
	select {
	case w.resumed <- struct{}{}:
	default:
	}
}

// Paused returns the pause that is kept on a desk for a channel, and its
// revision there; of a channel that is not paused, nothing.
func Paused(ctx context.Context, d gateway.Desk, channel string) (h Health, rev uint64, err error) {
	if rev, err = d.Get(ctx, pauseKind, channel, &h); err != nil && !errors.Is(err, gateway.ErrNotFound) {
		return h, rev, fmt.Errorf("read the pause of channel %s: %w", channel, err)
	}
	h.Since = h.Since.Round(time.Millisecond)
	return h, rev, nil
}

// recall reads the pause that was on when the worker before ended.
func (w *Worker) recall(ctx context.Context) error {
	if w.options.Desk == nil || ctx.Err() != nil {
		return nil
	}
	h, rev, err := Paused(ctx, w.options.Desk, w.channel)
	if err != nil || !h.Paused() {
		return err
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.health, w.rev = h, rev
	w.metrics.paused.WithLabelValues(w.channel).Set(1)
	w.options.Log.Error("channel still paused: its gateway took nothing when the line last ran", "channel", w.channel, "since", h.Since, "reason", h.Reason)
	return nil
}

// note takes in how an attempt ended. The first to find that the gateway takes
// nothing raises the alert, and the first that it takes ends it.
func (w *Worker) note(err error, now time.Time) error {
	var blocked gateway.Blocked
	var refused gateway.Refused
	w.mu.Lock()
	defer w.mu.Unlock()
	paused := w.health.Paused()
	switch {
	case err == nil:
		w.health = Health{Sent: now}
	case errors.As(err, &refused): // a no to one message is no no to all
		w.health = Health{Sent: w.health.Sent}
	case !errors.As(err, &blocked):
		w.health.Failed++
	case !paused:
		w.health.Since, w.health.Reason = now, blocked.Reason
		w.health.Failed++
	}
	if w.health.Paused() == paused {
		return nil
	}
	if paused {
		w.metrics.paused.WithLabelValues(w.channel).Set(0)
		w.options.Log.Info("channel goes on: its gateway takes messages again", "channel", w.channel)
		return w.keep(nil)
	}
	w.metrics.paused.WithLabelValues(w.channel).Set(1)
	w.options.Log.Error("channel paused: its gateway takes nothing until someone sees to it", "channel", w.channel, "reason", blocked.Reason)
	return w.keep(w.health)
}

// keep writes the pause to the desk; nil ends it.
func (w *Worker) keep(v any) error {
	if w.options.Desk == nil {
		return nil
	}
	if err := w.options.Desk.Put(context.Background(), pauseKind, w.channel, v, w.rev); err != nil {
		return fmt.Errorf("keep the pause of channel %s: %w", w.channel, err)
	}
	if w.rev++; v == nil {
		w.rev = 0
	}
	return nil
}
