package outbox_test

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/boltstore"
	"cobline/gateway/outbox"
	"cobline/locales"
)

// fakeGateway takes messages while it is up and notes when.
type fakeGateway struct {
	mu    sync.Mutex
	fails func(m gateway.Outbound) error
	took  []taken
}

type taken struct {
	gateway.Outbound
	at time.Time
}

func (g *fakeGateway) Send(ctx context.Context, m gateway.Outbound) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.fails != nil {
		if err := g.fails(m); err != nil {
			return err
		}
	}
	g.took = append(g.took, taken{m, time.Now()})
	return nil
}

// failing changes how sending fails from here on; nil mends it.
func (g *fakeGateway) failing(f func(gateway.Outbound) error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.fails = f
}

// all returns what was sent, in order.
func (g *fakeGateway) all() []taken {
	g.mu.Lock()
	defer g.mu.Unlock()
	return slices.Clone(g.took)
}

// by returns what a number was sent, in order.
func (g *fakeGateway) by(n gateway.Number) []taken {
	g.mu.Lock()
	defer g.mu.Unlock()
	var out []taken
	for _, m := range g.took {
		if m.To == n {
			out = append(out, m)
		}
	}
	return out
}

func (g *fakeGateway) keysOf(n gateway.Number) []string {
	var out []string
	for _, m := range g.by(n) {
		out = append(out, m.Key)
	}
	return out
}

// world is a whole line on a fake clock: dialogue, store, alarms, outbox and a
// gateway.
type world struct {
	*testing.T
	ctx     context.Context
	service *gateway.Service
	store   *boltstore.Store
	gateway *fakeGateway
	mu      sync.Mutex
	worker  *outbox.Worker
	options outbox.Options
	stop    func() // ends the worker
	notices *gateway.Notices
	tell    func(m gateway.Outbound) error // a fault in telling a notice
	idle    func(time.Duration)            // lets time pass in which nothing comes due
	serial  int
}

// start begins a worker, as after a restart.
func (w *world) start() { w.startWith(w.gateway) }

// poke tells the worker there is now that something waits.
func (w *world) poke() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.worker.Poke()
}

// startWith begins a worker that sends by another way.
func (w *world) startWith(s outbox.Sender) {
	w.mu.Lock()
	w.worker = outbox.New(w.store, "sms", s, w.options)
	w.mu.Unlock()
	ctx, cancel := context.WithCancel(w.ctx)
	var loop sync.WaitGroup
	loop.Go(func() { require.NoError(w, w.worker.Run(ctx)) })
	w.stop = func() {
		cancel()
		loop.Wait()
	}
}

// zone is where the fake clock, which begins at midnight UTC, shows nine.
var zone = time.FixedZone("local", 9*60*60)

// play runs a line on a fake clock that begins at nine in the morning, local
// time, and stops it at the end.
func play(t *testing.T, perSecond float64, f func(w *world)) {
	playAt(t, gateway.Tariff{}, perSecond, f)
}

// playAt is play on a channel that costs.
func playAt(t *testing.T, tariff gateway.Tariff, perSecond float64, f func(w *world)) {
	synctest.Test(t, func(t *testing.T) {
		catalog, err := locales.Load()
		require.NoError(t, err)
		engine, err := dialog.New(catalog, dialog.Options{})
		require.NoError(t, err)
		st, err := boltstore.Open(filepath.Join(t.TempDir(), "store"), boltstore.Options{NoSync: true, Zone: zone})
		require.NoError(t, err)
		tariff.Zone = zone
		w := &world{T: t, ctx: t.Context(), store: st, gateway: &fakeGateway{}}
		w.service = gateway.NewService(engine, st, gateway.Options{
			Main: "sms", Channels: map[string]gateway.Channel{"sms": {Ability: dialog.Ability{Sends: true}, Tariff: tariff}},
			GiveUp: 48 * time.Hour, Poke: func(string) { w.poke() },
		})
		w.service.SetFacts(&dialog.Facts{Home: "home", Places: map[string]dialog.Place{"home": {Key: "home", Zone: zone}}})
		w.notices = gateway.NewNotices(st, w.service)
		w.options = outbox.Options{
			Policy: outbox.Policy{
				Quiet:  gateway.Quiet{From: gateway.Clock{Hour: 20, Minute: 30}, To: gateway.Clock{Hour: 6}},
				Zone:   func(string) *time.Location { return zone },
				Tariff: tariff,
			},
			PerSecond: perSecond, Desk: st, Metrics: prometheus.NewRegistry(), Notices: w,
		}
		loops := w.run()
		w.start()
		w.idle = func(d time.Duration) {
			w.stop()
			loops()
			time.Sleep(d)
			loops = w.run()
			w.start()
		}
		f(w)
		w.stop()
		loops()
		require.NoError(t, st.Close())
	})
}

// run starts the loops of a line but its worker, and returns what stops them.
func (w *world) run() (stop func()) {
	ctx, cancel := context.WithCancel(w.ctx)
	var loops sync.WaitGroup
	loops.Go(func() { require.NoError(w, gateway.RunAlarms(ctx, w.store, w.service)) })
	loops.Go(func() { require.NoError(w, w.notices.Run(ctx)) })
	return func() {
		cancel()
		loops.Wait()
	}
}

func person(t testing.TB, last int) gateway.Number {
	n, err := gateway.NumberOf(fmt.Sprintf("999%09d", last))
	require.NoError(t, err)
	return n
}

// says is a text from a phone.
func (w *world) says(n gateway.Number, text string) { w.saysAt(time.Now(), n, text) }

func (w *world) saysAt(at time.Time, n gateway.Number, text string) {
	w.serial++
	_, err := w.service.Receive(w.ctx, gateway.Inbound{
		ID: gateway.NewMessageID("sms", n.Digits(), "id", fmt.Sprint(w.serial)), Channel: "sms", Sender: n.Digits(), From: n,
		Via: dialog.SMS, Text: text, At: at,
	})
	require.NoError(w, err)
}

// unsettled is a store whose settlements fail.
type unsettled struct{ gateway.Outbox }

func (unsettled) Settle(context.Context, string, gateway.Settlement) error {
	return errors.New("the disk is gone")
}

// TestAFailedStoreEndsTheWorker: what cannot be settled is told and not passed
// over, however long the request took.
func TestAFailedStoreEndsTheWorker(t *testing.T) {
	for _, took := range []time.Duration{0, 50 * time.Millisecond, 2 * time.Second} {
		play(t, 100, func(w *world) {
			slow := &fakeGateway{fails: func(gateway.Outbound) error { time.Sleep(took); return nil }}
			worker := outbox.New(unsettled{w.store}, "sms", slow, outbox.Options{
				Policy: outbox.Policy{Zone: func(string) *time.Location { return time.UTC }}, PerSecond: 100,
			})
			w.stop() // or it would take the message itself
			w.says(person(t, 1), "HELP")
			ended := make(chan error, 1)
			go func() { ended <- worker.Run(w.ctx) }()
			require.ErrorContains(t, <-ended, "the disk is gone", took)
		})
	}
}

// forADay is the no of a gateway that wants nothing until tomorrow.
type forADay struct{ error }

func (forADay) RetryAfter() time.Duration { return 24 * time.Hour }

// TestRestOfAChannel: a gateway that asks for a day is asked again after a quarter
// of an hour, and not before; first aid written meanwhile goes out with the rest.
func TestRestOfAChannel(t *testing.T) {
	play(t, 100, func(w *world) {
		var asked []time.Time
		w.gateway.failing(func(gateway.Outbound) error {
			asked = append(asked, time.Now())
			return forADay{errors.New("tomorrow")}
		})
		began := time.Now()
		w.says(person(t, 1), "HELP")
		time.Sleep(time.Minute)
		w.says(person(t, 2), "my child fainted")
		time.Sleep(14*time.Minute - 2*time.Second)
		require.Len(t, asked, 1, "the whole channel rests")
		w.gateway.failing(nil)
		time.Sleep(5 * time.Second)
		for i := range 2 {
			sent := w.gateway.by(person(t, i+1))
			require.NotEmpty(t, sent)
			require.WithinRange(t, sent[0].at, began.Add(15*time.Minute), began.Add(15*time.Minute+3*time.Second)) // on the fake clock
		}
	})
}

// TestGatewayAwayFor26Hours: what is stale is not sent, its safe replacement
// is, and the rest goes in each person's order at the rate.
func TestGatewayAwayFor26Hours(t *testing.T) {
	const rate = 5
	play(t, rate, func(w *world) {
		away := errors.New("connection refused")
		w.gateway.failing(func(gateway.Outbound) error { return away })
		began := time.Now()

		burner, reader := person(t, 1), person(t, 2)
		w.says(reader, "cobs 2 drums dry") // recipes may wait for two days
		w.says(reader, "1")
		time.Sleep(3 * time.Hour)
		w.says(burner, "LIT") // its smoke question is stale after twenty minutes
		for i := range 40 {
			w.says(person(t, 100+i), "cobs 1 drum dry")
		}
		time.Sleep(time.Until(began.Add(26 * time.Hour)))
		require.Empty(t, w.gateway.all())

		up := time.Now()
		w.gateway.failing(nil)
		time.Sleep(time.Hour)

		for _, m := range w.gateway.all() {
			require.True(t, m.at.Before(m.Expires), "%s was sent %s after it was stale", m.Key, m.at.Sub(m.Expires))
		}
		keys := w.gateway.keysOf(burner)
		require.NotContains(t, keys, "burn.smoke")
		require.NotContains(t, keys, "burn.cover")
		require.Contains(t, keys, "burn.lapsed-lit", "the safe text came in place of what was stale")
		require.Equal(t, []string{"recipe.load", "recipe.expect", "recipe.light"}, w.gateway.keysOf(reader)[:3])
		for i := range 40 {
			require.Equal(t, []string{"recipe.load", "recipe.expect", "recipe.light"}, w.gateway.keysOf(person(t, 100+i))[:3])
		}
		segments := 0
		for _, m := range w.gateway.all() {
			segments += m.Segments
			require.LessOrEqual(t, float64(segments), rate*m.at.Sub(up).Seconds()+4, "faster than the rate and one message")
		}
		require.Greater(t, segments, 120)
		for i := range 140 {
			var refs []string
			for _, m := range w.gateway.by(person(t, i)) {
				refs = append(refs, m.Ref)
			}
			require.True(t, slices.IsSorted(refs), "in each person's order")
		}
		dropped := 0
		all, err := w.store.After(w.ctx, gateway.Key{}, 1<<20)
		require.NoError(t, err)
		for _, e := range all {
			if e.Outcome == gateway.Dropped {
				require.Equal(t, "expired", e.Why)
				dropped++
			}
		}
		require.GreaterOrEqual(t, dropped, 3, "the questions about the smoke, and the safe text of the first night")
		require.EqualValues(t, dropped, w.metric("cobline_outbox_settled_total", "dropped", "expired"))
	})
}

// TestOneAtATimeAndInOrder: a person's messages go one after the other in the
// order they were written, although the gateway fails now and then; first aid
// overtakes.
func TestOneAtATimeAndInOrder(t *testing.T) {
	play(t, 100, func(w *world) {
		n, calls := person(t, 1), 0
		w.gateway.failing(func(m gateway.Outbound) error {
			if calls++; calls%3 == 0 {
				return errors.New("try again")
			}
			return nil
		})
		for range 5 {
			w.says(n, "cobs 2 drums dry")
		}
		time.Sleep(10 * time.Minute)
		var refs []string
		for _, m := range w.gateway.by(n) {
			refs = append(refs, m.Ref)
		}
		require.True(t, slices.IsSorted(refs), refs)
		require.Len(t, refs, 15)

		w.gateway.failing(func(m gateway.Outbound) error {
			if m.Urgency != dialog.Emergency {
				return errors.New("down")
			}
			return nil
		})
		w.gateway.mu.Lock()
		w.gateway.took = nil
		w.gateway.mu.Unlock()
		w.says(n, "cobs 2 drums dry")
		time.Sleep(time.Minute)
		w.says(n, "my child fainted")
		time.Sleep(time.Second)
		require.NotEmpty(t, w.gateway.by(n))
		for _, m := range w.gateway.by(n) {
			require.True(t, strings.HasPrefix(m.Key, "aid."), m.Key)
		}
	})
}

// TestQuietHours: a reminder waits for the morning in the person's zone.
func TestQuietHours(t *testing.T) {
	play(t, 100, func(w *world) {
		n := person(t, 1)
		w.says(n, "CALL") // three days later the line asks whether somebody called
		time.Sleep(12 * time.Hour)
		w.says(n, "CALL") // at nine in the evening
		time.Sleep(85 * time.Hour)
		took := w.gateway.by(n)
		last := took[len(took)-1]
		require.Equal(t, "ask.call-over", last.Key)
		local := last.at.In(zone)
		require.Equal(t, 6, local.Hour(), local)
	})
}

// TestThrottleRestsTheChannel: after "slow down" nothing is sent until the
// gateway's time is over, and nothing is lost.
func TestThrottleRestsTheChannel(t *testing.T) {
	play(t, 100, func(w *world) {
		began, first := time.Now(), true
		w.gateway.failing(func(gateway.Outbound) error {
			if first {
				first = false
				return throttle{errors.New("429")}
			}
			return nil
		})
		for i := range 10 {
			w.says(person(t, i), "cobs 1 drum dry")
		}
		time.Sleep(10 * time.Minute)
		require.Len(t, w.gateway.all(), 30)
		late := 0
		for _, m := range w.gateway.all() {
			if m.at.Sub(began) >= 2*time.Minute {
				late++
			}
		}
		require.GreaterOrEqual(t, late, 15, "most waited until the channel had rested")
	})
}

type throttle struct{ error }

func (throttle) RetryAfter() time.Duration { return 2 * time.Minute }

// Seen with an SMS gateway daemon: the report is there before the gateway's
// answer, or instead of it. The message is sent once.
func TestTrouble09ReportBeforeAnswer(t *testing.T) {
	for name, answer := range map[string]error{"answered": nil, "broken off": gateway.ErrUnsure} {
		t.Run(name, func(t *testing.T) {
			play(t, 100, func(w *world) {
				n, attempts := person(t, 1), map[string]int{}
				w.gateway.failing(func(m gateway.Outbound) error {
					attempts[m.Ref]++
					require.NoError(t, w.service.Report(w.ctx, gateway.Report{Ref: m.Ref, State: gateway.ReportDelivered, At: time.Now()}))
					return answer
				})
				w.says(n, "HELP")
				time.Sleep(10 * time.Minute)
				require.NotEmpty(t, attempts)
				for ref, n := range attempts {
					require.Equal(t, 1, n, ref)
				}
				require.Equal(t, len(attempts), w.count(gateway.Reported))
				require.Equal(t, len(attempts), w.count(gateway.Settled))
			})
		})
	}
}

// TestOptOutCode: a gateway that takes no more for a number ends what was to
// come to it (C19).
func TestOptOutCode(t *testing.T) {
	play(t, 100, func(w *world) {
		n := person(t, 1)
		w.says(n, "CALL")
		time.Sleep(time.Minute)
		w.gateway.failing(func(gateway.Outbound) error { return gateway.Refused{Reason: "opted out", OptedOut: true} })
		w.says(n, "HELP")
		time.Sleep(time.Minute)
		w.gateway.failing(nil)
		before := len(w.gateway.by(n))
		time.Sleep(5 * 24 * time.Hour) // two days after the line would have asked whether somebody called
		require.Len(t, w.gateway.by(n), before)
		w.says(n, "START")
		time.Sleep(time.Minute)
		require.Greater(t, len(w.gateway.by(n)), before, "the person's own word returns")
	})
}

// metric returns the sum of a metric over all whose labels have these values.
func (w *world) metric(name string, values ...string) (sum float64) {
	families, err := w.options.Metrics.(*prometheus.Registry).Gather()
	require.NoError(w, err)
	for _, f := range families {
		if f.GetName() != name {
			continue
		}
		for _, m := range f.Metric {
			var has []string
			for _, l := range m.Label {
				has = append(has, l.GetValue())
			}
			if !slices.ContainsFunc(values, func(v string) bool { return !slices.Contains(has, v) }) {
				sum += m.GetGauge().GetValue() + m.GetCounter().GetValue()
			}
		}
	}
	return sum
}

// count returns how many entries of a kind the journal holds.
func (w *world) count(k gateway.Kind) (n int) {
	all, err := w.store.After(w.ctx, gateway.Key{}, 1<<20)
	require.NoError(w, err)
	for _, e := range all {
		if e.Kind == k {
			n++
		}
	}
	return n
}

// TestBlockedPausesTheChannel: no credit is no message's fault. One message
// asks every few minutes, also after a restart, until someone has paid; then
// everything goes, in each person's order.
func TestBlockedPausesTheChannel(t *testing.T) {
	play(t, 100, func(w *world) {
		var attempts atomic.Int64
		w.gateway.failing(func(gateway.Outbound) error {
			attempts.Add(1)
			return fmt.Errorf("send: %w", gateway.Blocked{Reason: "no credit"})
		})
		paused := func() float64 { return w.metric("cobline_channel_paused") }
		for i := range 40 {
			w.says(person(t, i), "cobs 1 drum dry")
		}
		time.Sleep(time.Second)
		began := w.worker.Health()
		require.Equal(t, "no credit", began.Reason)
		require.True(t, began.Resting.After(time.Now()))
		require.EqualValues(t, 1, paused())
		first := attempts.Load()
		require.LessOrEqual(t, first, int64(16), "what was under way when the first no came")
		time.Sleep(time.Hour)
		require.InDelta(t, first+12, attempts.Load(), 1, "one asks for all")

		w.stop()
		w.start()
		before := attempts.Load()
		time.Sleep(time.Minute)
		require.Equal(t, before+1, attempts.Load(), "the pause outlives a restart")
		require.True(t, began.Since.Equal(w.worker.Health().Since))

		w.gateway.failing(nil)
		require.Empty(t, w.gateway.all())
		w.worker.Resume()
		time.Sleep(time.Minute)
		require.Len(t, w.gateway.all(), 120)
		for i := range 40 {
			require.Equal(t, []string{"recipe.load", "recipe.expect", "recipe.light"}, w.gateway.keysOf(person(t, i)))
		}
		health := w.worker.Health()
		require.False(t, health.Paused())
		require.Zero(t, health.Failed)
		require.EqualValues(t, 0, paused())
		_, err := w.store.Get(w.ctx, "pause", "sms", &outbox.Health{})
		require.ErrorIs(t, err, gateway.ErrNotFound)
	})
}

// TestC28ACapThatEnds: near the cap no timing is offered before lighting; at
// it ordinary messages wait for the morning after, while a burn that has begun
// goes on and first aid is sent. What was spent is what the gateway took.
func TestC28ACapThatEnds(t *testing.T) {
	const cent = gateway.Money(100)
	tariff := gateway.Tariff{PerSegment: 2 * cent, Day: gateway.Spend{Segments: 100}, Warn: 0.5, Reserve: 0.3}
	playAt(t, tariff, 100, func(w *world) {
		took := func() (s gateway.Spend) {
			for _, m := range w.gateway.all() {
				s = s.Plus(gateway.Spend{Segments: m.Segments, Money: m.Price})
			}
			return s
		}
		funds := func() gateway.Funds { return tariff.Funds(w.store.Spent("sms", time.Now())) }
		recipe := func(n gateway.Number) string {
			w.says(n, "cobs 1 drum dry, new drum")
			time.Sleep(time.Minute)
			var text strings.Builder
			for _, m := range w.gateway.by(n) {
				text.WriteString(m.Text)
			}
			return text.String()
		}
		burner, hurt := person(t, 1), person(t, 2)
		require.Contains(t, recipe(burner), "Text LIT")
		w.says(burner, "LIT")
		time.Sleep(time.Minute)
		i := 10
		for ; funds() == gateway.FundsAmple; i++ {
			recipe(person(t, i))
		}
		text := recipe(person(t, i))
		require.Contains(t, text, "inside stays hot", "the recipe is whole")
		require.NotContains(t, text, "Text LIT", "timing is not offered")
		for ; funds() != gateway.FundsHeld; i++ {
			recipe(person(t, i))
		}
		require.Less(t, took().Segments, 70+2, "no ordinary message begins what is held")
		require.Empty(t, recipe(person(t, i)), "it waits")

		before := len(w.gateway.by(burner))
		time.Sleep(time.Hour)
		w.says(burner, "COVERED")
		w.says(hurt, "my child fainted")
		time.Sleep(time.Minute)
		keys := w.gateway.keysOf(burner)[before:]
		require.Contains(t, keys, "burn.smoke")
		require.Contains(t, keys, "burn.wait", keys)
		require.NotEmpty(t, w.gateway.by(hurt))
		require.Equal(t, took(), w.store.Spent("sms", time.Now()).Day)

		w.stop()
		w.start()
		time.Sleep(time.Until(time.Date(2000, 1, 2, 0, 0, 0, 0, zone).Add(-time.Second)))
		today := took()
		time.Sleep(6 * time.Hour)
		require.Empty(t, w.gateway.by(person(t, i)), "nobody is woken at midnight")
		time.Sleep(2 * time.Minute)
		require.Len(t, w.gateway.by(person(t, i)), 3)
		require.Equal(t, took(), w.store.Spent("sms", time.Now()).Month)
		require.Equal(t, took().Segments-today.Segments, w.store.Spent("sms", time.Now()).Day.Segments)
	})
}

// TestAChannelThatIsGone: what waits on a channel that was renamed is not sent,
// and lapses with its validity: the safe text goes out by the channel there is.
// A channel that comes back before sends what is still worth it.
func TestAChannelThatIsGone(t *testing.T) {
	for name, back := range map[string]bool{"for good": false, "for an hour": true} {
		t.Run(name, func(t *testing.T) {
			play(t, 100, func(w *world) {
				n := person(t, 1)
				w.gateway.failing(func(gateway.Outbound) error { return errors.New("down") })
				w.says(n, "LIT")
				time.Sleep(25 * time.Minute) // its smoke question waits
				w.stop()
				waiting, err := w.store.Waiting(w.ctx)
				require.NoError(t, err)
				require.Greater(t, waiting["sms"], 1)
				gone := outbox.New(w.store, "sms", nil, w.options)
				ctx, cancel := context.WithCancel(w.ctx)
				var loop sync.WaitGroup
				loop.Go(func() { require.NoError(t, gone.Run(ctx)) })
				time.Sleep(time.Hour)
				if !back {
					time.Sleep(50 * time.Hour)
					waiting, err = w.store.Waiting(w.ctx)
					require.NoError(t, err)
					require.Empty(t, waiting)
				}
				require.Positive(t, w.count(gateway.Lapsed))
				require.Positive(t, w.metric("cobline_outbox_settled_total", "dropped", "expired"))
				require.Empty(t, w.gateway.all())
				cancel()
				loop.Wait()
				w.gateway.failing(nil)
				w.start()
				time.Sleep(10 * time.Minute)
				keys := w.gateway.keysOf(n)
				if !back {
					require.Empty(t, keys)
					return
				}
				require.Contains(t, keys, "burn.lit", "an answer is worth sending for longer")
				require.Contains(t, keys, "burn.lapsed-lit")
				require.NotContains(t, keys, "burn.smoke")
			})
		})
	}
}

// TestBlockedEndsByItself: nobody has to resume a channel that was paid for.
func TestBlockedEndsByItself(t *testing.T) {
	play(t, 100, func(w *world) {
		paid := time.Now().Add(time.Hour)
		w.gateway.failing(func(gateway.Outbound) error {
			if time.Now().Before(paid) {
				return gateway.Blocked{Reason: "no credit"}
			}
			return nil
		})
		w.says(person(t, 1), "cobs 1 drum dry")
		time.Sleep(66 * time.Minute)
		require.Len(t, w.gateway.all(), 3)
		require.False(t, w.worker.Health().Paused())
	})
}

// A line whose store is ahead of the machine goes on from there; the gateway is
// still told for how long a message is worth trying.
func TestValidityByTheMachinesClock(t *testing.T) {
	play(t, 100, func(w *world) {
		w.stop()
		ahead := time.Now().Add(30 * time.Hour)
		w.options.Watch = gateway.NewWatch(ahead)
		w.start()
		w.saysAt(ahead, person(t, 1), "HELP")
		time.Sleep(time.Hour)
		took := w.gateway.all()
		require.Len(t, took, 1)
		require.WithinDuration(t, took[0].at.Add(48*time.Hour), took[0].Expires, 5*time.Minute)
	})
}
