package gateway

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"cobline/dialog"
)

// RestoreStore is what confirming a restored store needs of it.
type RestoreStore interface {
	NoticeStore
	Alarms
	Outbox
	Outgoing(ctx context.Context) ([]Outbound, error)
}

// Restored is what stands in a store that was put back, and what becomes of it
// when sending is confirmed.
type Restored struct {
	Since time.Time `json:"since"` // when the copy took the place of the store
	// Stale are what should have rung before: timed messages, emergencies on their
	// way and messages to be said instead of others. Nobody knows what of it was
	// said. They are dropped.
	Stale []Stale `json:"stale"`
	// Waiting counts what waits to be sent by its urgency. It is sent, unless its
	// time is over; what was sent before has the same reference.
	Waiting map[string]int `json:"waiting"`
	// Bulletins are messages of notices that may have been sent: they are counted
	// unknown. Notices are those that go no further.
	Bulletins int      `json:"bulletins"`
	Notices   []string `json:"notices"`
}

// Stale is an alarm that is dropped.
type Stale struct {
	Number string    `json:"number"` // masked
	At     time.Time `json:"at"`
	What   string    `json:"what"`
	alarm  Alarm
}

// maxStale bounds how many alarms are looked at.
const maxStale = 1 << 20

// AfterRestore tells what stands in a store that was put back at a time.
func (n *Notices) AfterRestore(ctx context.Context, st RestoreStore, since time.Time) (r Restored, err error) {
	r = Restored{Since: since, Stale: []Stale{}, Waiting: map[string]int{}, Notices: []string{}}
	due, err := st.DueAlarms(ctx, since, maxStale)
	if err != nil {
		return r, err
	}
	for _, a := range due {
		if what := a.stale(); what != "" {
			r.Stale = append(r.Stale, Stale{Number: a.Number.String(), At: a.At, What: what, alarm: a})
		}
	}
	out, err := st.Outgoing(ctx)
	if err != nil {
		return r, err
	}
	for _, m := range out {
		if m.Notice == "" {
			r.Waiting[m.Urgency.String()]++
		} else {
			r.Bulletins++
		}
	}
	err = n.each(ctx, func(notice Notice, _ uint64) error {
		goesOn := notice.Progress != Cancelled && (!notice.Listed || since.Before(notice.Message.Expires))
		if goesOn && notice.At.Before(since) {
			r.Notices = append(r.Notices, notice.Message.ID)
		}
		return nil
	})
	return r, err
}

// stale names what an alarm would have said; empty if it says nothing or keeps
// somebody's word.
func (a Alarm) stale() string {
	switch e := a.Errand; {
	case e == nil:
		return "timer " + string(a.ID)
	case e.Alert != nil:
		return "emergency " + e.Alert.Kind
	case e.Lapse != nil:
		return "instead of " + e.Lapse.Key
	}
	return ""
}

// Confirm drops what is stale in a store that was put back, and says of every
// notice on its way that it is not known whom it reached.
func (n *Notices) Confirm(ctx context.Context, st RestoreStore, r Restored, now time.Time) error {
	now = n.service.options.Watch.At(now)
	for _, s := range r.Stale {
		// What this program cannot read rings in vain and is put off, as ever.
		if err := n.service.miss(ctx, s.alarm, now); err != nil && !errors.Is(err, ErrSeen) {
			n.service.options.Log.Error("alarm not dropped", "number", s.alarm.Number, "alarm", s.alarm.ID, "error", err)
		}
	}
	out, err := st.Outgoing(ctx)
	if err != nil {
		return err
	}
	for _, m := range out {
		if m.Notice == "" {
			continue
		}
		err := st.Settle(ctx, m.Ref, Settlement{Outcome: Unknown, At: now, Why: "restored"})
		if err != nil && !errors.Is(err, ErrNotFound) {
			return fmt.Errorf("settle message %s: %w", m.Ref, err)
		}
	}
	for _, id := range r.Notices {
		if _, err := n.Set(ctx, id, Cancelled, now); err != nil {
			return err
		}
	}
	return nil
}

// miss drops an alarm without ringing it. The journal says so.
func (s *Service) miss(ctx context.Context, a Alarm, now time.Time) error {
	defer s.lock(a.Number)()
	return retry(func() error {
		c, err := s.turns.Load(ctx, a.Number)
		if err != nil {
			return err
		}
		c = c.keyed()
		e := &Entry{Kind: Missed, At: now, Person: c.Person, Channel: c.Channel, Timer: dialog.Timer{ID: a.ID, At: a.At}}
		if i := slices.IndexFunc(c.State.Timers, a.rings); i >= 0 {
			e.Timer = c.State.Timers[i]
		}
		c.State.Timers = slices.DeleteFunc(slices.Clone(c.State.Timers), a.rings)
		return s.commit(ctx, Change{Conversation: c, Source: Source{Alarm: &a}, Entry: e})
	})
}
