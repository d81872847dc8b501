package outbox_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
)

// owe puts messages into the outbox, all of one turn, without asking the
// dialogue.
func (w *world) owe(n gateway.Number, texts ...string) {
	c, err := w.store.Load(w.ctx, n)
	require.NoError(w, err)
	change := gateway.Change{Conversation: c, Entry: &gateway.Entry{Kind: gateway.Heard, At: time.Now(), Channel: "sms"}}
	for i, text := range texts {
		change.Out = append(change.Out, gateway.Outbound{
			Index: i, Channel: "sms", To: n, Urgency: dialog.Answer, Key: "test", Text: text,
			Segments: (len(text) + 152) / 153, NotBefore: time.Now(), Expires: time.Now().Add(24 * time.Hour),
		})
	}
	require.NoError(w, w.store.Commit(w.ctx, change))
	w.poke()
}

// bucket is a gateway's limit: so many segments at once, and as many a second.
type bucket struct {
	limit, level float64
	last         time.Time
	full         int // how often it was
}

func (b *bucket) take(m gateway.Outbound) error {
	now := time.Now()
	b.level = max(0, b.level-b.limit*now.Sub(b.last).Seconds())
	b.last = now
	if b.level+float64(m.Segments) > b.limit {
		b.full++
		return tooMany{errors.New("429")}
	}
	b.level += float64(m.Segments)
	return nil
}

// tooMany is a 429 that does not say for how long.
type tooMany struct{ error }

func (tooMany) RetryAfter() time.Duration { return 0 }

// https://github.com/jookies/jasmin/issues/425 and
// https://github.com/kneodev/ksmppd/issues/126: a throttle that makes only its
// message wait breaks the order, and a limit counts segments. A line that is set
// as its gateway is never throttled; one that is set too fast loses nothing.
func TestTrouble14ThrottleCountsSegments(t *testing.T) {
	const limit, people, each = 5, 25, 4
	for name, perSecond := range map[string]float64{"set as the gateway is": limit, "set too fast": 3 * limit} {
		t.Run(name, func(t *testing.T) {
			play(t, perSecond, func(w *world) {
				b := &bucket{limit: limit}
				w.gateway.failing(b.take)
				for i := range people {
					var texts []string
					for j := range each {
						texts = append(texts, fmt.Sprintf("%03d-%d", i, j)+strings.Repeat(".", 200))
					}
					w.owe(person(t, i), texts...)
				}
				began := time.Now()
				for len(w.gateway.all()) < people*each && time.Since(began) < 6*time.Hour {
					time.Sleep(time.Second)
				}
				all := w.gateway.all()
				require.Len(t, all, people*each, "nothing is lost")
				for i := range people {
					var texts []string
					for _, m := range w.gateway.by(person(t, i)) {
						require.Equal(t, 2, m.Segments)
						texts = append(texts, m.Text)
					}
					require.True(t, slices.IsSorted(texts), "%v", texts)
					require.Len(t, texts, each)
				}
				took := time.Since(began)
				require.GreaterOrEqual(t, took, time.Duration(2*people*each-limit)*time.Second/limit, "the gateway's rate")
				if perSecond > limit {
					require.Positive(t, b.full)
					return
				}
				require.Zero(t, b.full)
				require.Less(t, took, 2*people*each*time.Second/limit+5*time.Second, "and no less")
				for i, first := range all {
					inSecond := 0
					for _, m := range all[i:] {
						if m.at.Sub(first.at) < time.Second {
							inSecond += m.Segments
						}
					}
					require.LessOrEqual(t, inSecond, limit+1, "two segments leave together")
				}
			})
		})
	}
}

// https://github.com/jookies/jasmin/issues/796: a report that comes after the
// message was put off twice still finds it.
func TestTrouble10ReportAfterThrottle(t *testing.T) {
	play(t, 100, func(w *world) {
		n, tries := person(t, 1), 0
		w.gateway.failing(func(gateway.Outbound) error {
			if tries++; tries <= 2 {
				return throttle{errors.New("429")}
			}
			return nil
		})
		w.owe(n, "a")
		time.Sleep(10 * time.Minute)
		require.Equal(t, 3, tries)
		took := w.gateway.by(n)
		require.Len(t, took, 1)
		require.NoError(t, w.service.Report(w.ctx, gateway.Report{Ref: took[0].Ref, State: gateway.ReportDelivered, At: time.Now()}))
		all, err := w.store.After(w.ctx, gateway.Key{}, 10)
		require.NoError(t, err)
		last := all[len(all)-1]
		require.Equal(t, gateway.Reported, last.Kind)
		require.Equal(t, took[0].Ref, last.Ref)
		require.Equal(t, gateway.ReportDelivered, last.Delivery)
	})
}

// naming is a gateway that reports by ids of its own, and before it tells them.
type naming struct {
	*fakeGateway
	report func(id string)
}

func (g naming) Submit(ctx context.Context, m gateway.Outbound) (string, error) {
	id := "id of " + m.Ref
	g.report(id)
	return id, g.Send(ctx, m)
}

// Seen with an SMS gateway daemon: the report comes before the answer that tells
// the id it names.
func TestTrouble09ReportBeforeItsID(t *testing.T) {
	play(t, 100, func(w *world) {
		w.stop()
		w.startWith(naming{w.gateway, func(id string) {
			require.ErrorIs(t, w.service.Report(w.ctx, gateway.Report{Channel: "sms", Provider: id, State: gateway.ReportDelivered, At: time.Now()}), gateway.ErrNotFound)
		}})
		w.says(person(t, 1), "HELP")
		time.Sleep(time.Minute)
		require.NotEmpty(t, w.gateway.by(person(t, 1)))
		require.Equal(t, len(w.gateway.by(person(t, 1))), w.count(gateway.Reported))
	})
}
