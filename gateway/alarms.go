package gateway

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"
)

// deferrals are how long an alarm waits after a ring that failed; the last is
// for every further one.
var deferrals = [...]time.Duration{
	time.Minute,
	5 * time.Minute,  // 6 min after the first
	30 * time.Minute, // 36 min
	6 * time.Hour,    // 6 h 36 min
}

const (
	alarmPause = time.Second // between looks at the alarms
	alarmBatch = 512
	ringers    = 16 // rings at a time, so that the store can group their commits
)

// RunAlarms rings what comes due until the context ends, which is no error. The
// alarms of one number ring in their order. A ring that fails is deferred and
// logged, and keeps nobody else from ringing; only a store that cannot be read
// or written ends the loop.
func RunAlarms(ctx context.Context, st Alarms, s *Service) error {
	tick := time.NewTicker(alarmPause)
	defer tick.Stop()
	for {
		more, err := s.ringDue(ctx, st)
		if ctx.Err() != nil {
			return nil
		}
		if err != nil {
			return fmt.Errorf("ring alarms: %w", err)
		}
		if more {
			continue
		}
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}

// ringDue rings a batch of due alarms and reports whether more may be due.
func (s *Service) ringDue(ctx context.Context, st Alarms) (more bool, err error) {
	now := s.options.Watch.At(time.Now())
	due, err := st.DueAlarms(ctx, now, alarmBatch)
	if err != nil {
		return false, err
	}
	byNumber := map[Number][]Alarm{}
	var order []Number
	for _, a := range due {
		if byNumber[a.Number] == nil {
			order = append(order, a.Number)
		}
		byNumber[a.Number] = append(byNumber[a.Number], a)
	}
	var (
		wg     sync.WaitGroup
		mu     sync.Mutex
		places = make(chan struct{}, ringers)
	)
	for _, n := range order {
		places <- struct{}{}
		wg.Go(func() {
			defer func() { <-places }()
			for _, a := range byNumber[n] {
				if e := s.ringOrDefer(ctx, st, a, now); e != nil {
					mu.Lock()
					err = errors.Join(err, e)
					mu.Unlock()
					return
				}
			}
		})
	}
	wg.Wait()
	return len(due) == alarmBatch, err
}

func (s *Service) ringOrDefer(ctx context.Context, st Alarms, a Alarm, now time.Time) error {
	err := s.Ring(ctx, a, now)
	if err == nil || ctx.Err() != nil {
		return nil
	}
	to := now.Add(deferrals[min(a.Tries, len(deferrals)-1)])
	s.options.Log.Error("ring deferred", "number", a.Number, "alarm", a.ID, "tries", a.Tries+1, "until", to, "error", err)
	if err := st.Defer(ctx, a, to); err != nil && !errors.Is(err, ErrNotFound) {
		return err
	}
	return nil
}
