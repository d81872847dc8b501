package outbox

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"sync"
	"time"

	"cobline/gateway"
	"github.com/prometheus/client_golang/prometheus"
)

// Sender hands one message to a gateway. It returns nil if the gateway took it,
// gateway.Refused if it never will, gateway.ErrUnsure if it may have,
// gateway.Blocked if it takes nothing, an error that is Throttled if the channel
// should rest, and any other error if the message should be tried again.
type Sender interface {
	Send(ctx context.Context, m gateway.Outbound) error
}

// submitter is a Sender that also tells the gateway's own id of the message.
type submitter interface {
	Submit(ctx context.Context, m gateway.Outbound) (id string, err error)
}

// Teller makes a message of a notice ready, before it is sent: gateway.Notices.
type Teller interface {
	// Tell returns true if the message is to be sent now and is marked so; else how
	// it is to be settled, not at all if that has no outcome.
	Tell(ctx context.Context, m gateway.Outbound, now time.Time) (gateway.Outbound, gateway.Settlement, bool, error)
}

// Options are a worker's settings.
type Options struct {
	Policy    Policy
	Notices   Teller                // nil: there are none
	PerSecond float64               // segments a second the gateway may be given; zero: 5
	Watch     *gateway.Watch        // the time of the line; nil: the machine's clock
	Log       *slog.Logger          // nil: discarded
	Metrics   prometheus.Registerer // may be nil
	Desk      gateway.Desk          // where a pause outlives a restart; nil: nowhere
}

// Worker sends the waiting messages of one channel.
type Worker struct {
	store   gateway.Outbox
	channel string
	sender  Sender
	options Options
	metrics *metrics
	poked   chan struct{}
	resumed chan struct{}

	mu     sync.Mutex
	rest   time.Time // the channel is not used before
	asked  time.Time // when it was last resumed: an attempt begun before says nothing of it
	health Health
	flying gateway.Spend // what is under way and not yet spent

	next time.Time // when the rate allows the next segment; Run's own
	rev  uint64    // of the pause on the desk
}

const (
	defaultRate = 5
	hold        = time.Minute      // of a lease
	sendLimit   = 30 * time.Second // for one request; well inside the hold
	lookPause   = time.Second      // between looks when nothing waits
	atOnce      = 16               // requests under way
	leaseSpan   = 15 * time.Second // a lease takes no more than can be sent in this time
)

// New returns a worker for a channel of the store. Without a sender it lets lapse
// what waits there.
func New(st gateway.Outbox, channel string, s Sender, o Options) *Worker {
	if o.PerSecond <= 0 {
		o.PerSecond = defaultRate
	}
	if o.Watch == nil {
		o.Watch = gateway.NewWatch(time.Time{})
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	o.Policy.Gone = o.Policy.Gone || s == nil
	waits(o.Metrics, st, channel)
	return &Worker{
		store: st, channel: channel, sender: s, options: o,
		metrics: newMetrics(o.Metrics),
		poked:   make(chan struct{}, 1),
		resumed: make(chan struct{}, 1),
	}
}

// Poke makes the worker look at once: something was put into its outbox.
func (w *Worker) Poke() {
	select {
	case w.poked <- struct{}{}:
	default:
	}
}

// Run sends until the context ends, which is no error. Requests under way are
// waited for. Only a store that cannot be read or written ends it otherwise.
func (w *Worker) Run(ctx context.Context) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	var under sync.WaitGroup
	defer under.Wait()
	if err := w.recall(ctx); err != nil {
		return err
	}
	places := make(chan struct{}, atOnce)
	tick := time.NewTicker(lookPause)
	defer tick.Stop()
	for {
		if !w.rested(ctx, time.Time{}) {
			return ended(ctx)
		}
		until := time.Now().Add(hold - sendLimit)
		leased, err := w.store.Lease(ctx, w.channel, w.now(), hold, w.batch())
		if err != nil && ctx.Err() == nil {
			return fmt.Errorf("lease messages of %s: %w", w.channel, err)
		}
		for _, m := range leased {
			places <- struct{}{}
			ready, err := w.ready(ctx, m, until, &under)
			if err != nil {
				return err
			}
			if !ready {
				<-places
				continue
			}
			under.Go(func() {
				defer func() { <-places }()
				if err := w.send(ctx, m); err != nil {
					cancel(err)
				}
			})
			if w.Health().Paused() { // one message asks for all
				under.Wait()
			}
		}
		if ctx.Err() != nil {
			return ended(ctx)
		}
		if len(leased) > 0 {
			continue
		}
		select {
		case <-ctx.Done():
		case <-w.poked:
		case <-tick.C:
		}
	}
}

// ended returns why a worker's context ended: that it was told to is no error.
func ended(ctx context.Context) error {
	if err := context.Cause(ctx); !errors.Is(err, context.Canceled) && !errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	return nil
}

// now is the time of the line.
func (w *Worker) now() time.Time { return w.options.Watch.At(time.Now()) }

// batch is how many messages are leased at a time: no more than can be sent
// while the lease holds.
func (w *Worker) batch() int {
	if w.Health().Paused() {
		return 1
	}
	return min(atOnce, max(1, int(w.options.PerSecond*leaseSpan.Seconds()/2)))
}

// ready waits until a message may go: the channel has rested and the rate allows
// its segments. What may not be sent at all is settled, before it costs a place
// in the rate and again after the wait. What cannot be sent while its lease
// holds is left to the next lease.
func (w *Worker) ready(ctx context.Context, m gateway.Outbound, until time.Time, under *sync.WaitGroup) (bool, error) {
	if s, send := w.before(m, under); !send {
		return false, w.settle(m, s)
	}
	if !w.rested(ctx, until) || !w.paced(ctx, until) {
		return false, nil
	}
	s, send := w.before(m, under)
	if !send {
		return false, w.settle(m, s)
	}
	w.mu.Lock()
	w.flying = w.flying.Plus(cost(m))
	w.mu.Unlock()
	w.next = w.next.Add(time.Duration(float64(max(1, m.Segments)) / w.options.PerSecond * float64(time.Second)))
	return true, nil
}

// overslept is how far the rate makes up for waits that took too long.
const overslept = 50 * time.Millisecond

// paced waits until the segments of the messages before have had their time. It
// returns false when the context ended, or if the wait goes beyond a time.
func (w *Worker) paced(ctx context.Context, until time.Time) bool {
	if floor := time.Now().Add(-overslept); w.next.Before(floor) {
		w.next = floor
	}
	if w.next.After(until) {
		return false
	}
	select {
	case <-ctx.Done():
		return false
	case <-time.After(time.Until(w.next)):
		return true
	}
}

// before asks the policy, and counts what is under way as spent. What a cap then
// keeps back it asks about again when all that is under way is settled.
func (w *Worker) before(m gateway.Outbound, under *sync.WaitGroup) (gateway.Settlement, bool) {
	now := w.now()
	w.mu.Lock()
	flying := w.flying
	w.mu.Unlock()
	s, send := w.options.Policy.Before(m, now, w.store.Spent(w.channel, now).Plus(flying))
	if s.Why == whyCap && flying != (gateway.Spend{}) {
		under.Wait()
		s, send = w.options.Policy.Before(m, now, w.store.Spent(w.channel, now))
	}
	return s, send
}

// rested waits until the channel has rested. It returns false when the context
// ended, or if the rest goes beyond a time that is not zero.
func (w *Worker) rested(ctx context.Context, until time.Time) bool {
	for {
		w.mu.Lock()
		rest := time.Until(w.rest)
		w.mu.Unlock()
		switch {
		case rest <= 0:
			return ctx.Err() == nil
		case !until.IsZero() && time.Now().Add(rest).After(until):
			return false
		}
		select {
		case <-ctx.Done():
			return false
		case <-w.resumed:
		case <-time.After(rest):
		}
	}
}

// send sends one message and settles it. A request that was written is waited
// for even if the worker is to end.
func (w *Worker) send(ctx context.Context, m gateway.Outbound) error {
	defer func(s gateway.Spend) {
		w.mu.Lock()
		w.flying = w.flying.Minus(s)
		w.mu.Unlock()
	}(cost(m))
	request, cancel := context.WithTimeout(context.WithoutCancel(ctx), sendLimit)
	defer cancel()
	if m.Notice != "" {
		told, s, send, err := w.options.Notices.Tell(request, m, w.now())
		switch {
		case err != nil:
			return w.untold(m, err)
		case !send && s.Outcome == 0:
			return nil
		case !send:
			return w.settle(m, s)
		}
		m = told
	}
	began := time.Now()
	id, err := w.submit(request, m)
	w.metrics.seconds.WithLabelValues(w.channel).Observe(time.Since(began).Seconds())
	now := w.now()
	var throttled Throttled
	if errors.As(err, &throttled) {
		w.mu.Lock()
		if began.After(w.asked) {
			w.rest = time.Now().Add(restOf(throttled))
		}
		w.mu.Unlock()
	}
	noted := w.note(err, now)
	s := w.options.Policy.After(m, err, now, rand.Float64())
	s.Provider = id
	if err != nil {
		w.options.Log.Warn("message not sent", "channel", w.channel, "to", m.To, "ref", m.Ref, "outcome", s.Outcome.String(), "why", s.Why, "tries", m.Tries+1, "error", err)
	}
	return errors.Join(w.settle(m, s), noted)
}

// untold puts off a notice that could not be told, so that one person's
// conversation keeps nobody else from being sent to.
func (w *Worker) untold(m gateway.Outbound, err error) error {
	w.options.Log.Error("notice not told", "channel", w.channel, "to", m.To, "notice", m.Notice, "error", err)
	return w.settle(m, later(m, w.now(), schedule[len(schedule)-1], whyFailed))
}

// submit gives a message to the gateway, whose clock is the machine's and not
// the line's: it is told for how long to try.
func (w *Worker) submit(ctx context.Context, m gateway.Outbound) (id string, err error) {
	m.Expires = m.Expires.Add(-w.options.Watch.Ahead())
	if s, ok := w.sender.(submitter); ok {
		return s.Submit(ctx, m)
	}
	return "", w.sender.Send(ctx, m)
}

// settle writes what became of a message. One that was withdrawn meanwhile is
// gone, and nothing is left to do.
func (w *Worker) settle(m gateway.Outbound, s gateway.Settlement) error {
	w.metrics.count(m, s)
	err := w.store.Settle(context.Background(), m.Ref, s)
	if err != nil && !errors.Is(err, gateway.ErrNotFound) {
		return fmt.Errorf("settle message %s: %w", m.Ref, err)
	}
	return nil
}
