// Package outbox sends what waits: it decides when a message may go, asks the
// gateway, and settles what became of it. The decisions are pure; the Worker
// does what they say.
package outbox

import (
	"errors"
	"time"

	"cobline/dialog"
	"cobline/gateway"
)

// Policy decides about one message at a time.
type Policy struct {
	Quiet gateway.Quiet
	// Zone returns where a person's clock stands: that of their place, else of
	// the channel. Nil is UTC.
	Zone func(place string) *time.Location
	// Idempotent says that the gateway knows a reference again, so that a bulletin
	// of unknown fate may be sent again.
	Idempotent bool
	Tariff     gateway.Tariff
	// Gone says that the channel is not there any more, or cannot send: what waits
	// lapses with its validity, unless the channel comes back.
	Gone bool
}

// The reasons in settlements, for journals and metrics: a small closed set.
const (
	whySent     = "sent"
	whyExpired  = gateway.WhyExpired
	whyQuiet    = "quiet hours"
	whyRefused  = gateway.WhyRefused
	whyUnsure   = "unsure"
	whyFailed   = "failed"
	whyThrottle = "throttled"
	whyBlocked  = "blocked"
	whyOptedOut = gateway.WhyOptedOut
	whyCap      = gateway.WhyCap
	whyGone     = "no channel"
)

// schedule is how long a message waits after each attempt that failed; the last
// is for every further one.
var schedule = [...]time.Duration{
	2 * time.Second,
	10 * time.Second, // 12 s after the first
	30 * time.Second, // 42 s
	2 * time.Minute,  // 2 min 42 s
	5 * time.Minute,  // 7 min 42 s
	15 * time.Minute, // 22 min 42 s
}

// sendAgain is how long a message waits whose fate is not known: long enough
// that a slow gateway is done with the first attempt.
const sendAgain = 30 * time.Second

// goneAgain is how long a message of a channel that is gone is left alone: no
// longer than an operator who mends the channel's name wants it to wait.
const goneAgain = 5 * time.Minute

// Throttled is an error of a sender that also says how long the channel should
// rest.
type Throttled interface {
	error
	RetryAfter() time.Duration
}

// restOf is how long a gateway rests that asks for time. One that asks for hours
// is asked before: first aid waits with everything else, and would expire.
func restOf(t Throttled) time.Duration {
	return min(max(t.RetryAfter(), schedule[0]), schedule[len(schedule)-1])
}

// Before decides about a message that was leased, of a channel that has spent so
// much: send it now, or settle it as said. A reminder or bulletin waits for the
// end of the quiet hours, and what a cap keeps back for the morning after it
// begins anew. First aid and what looks after a fire wait for neither. A bulletin
// that the line was sending when it ended may have been sent, and is not sent
// again.
func (p Policy) Before(m gateway.Outbound, now time.Time, spent gateway.Spent) (gateway.Settlement, bool) {
	if m.Trying && !p.Idempotent {
		return gateway.Settlement{Outcome: gateway.Unknown, At: now, Why: gateway.WhyCrash}, false
	}
	if !now.Before(m.Expires) {
		return expired(m, now, whyExpired), false
	}
	switch {
	case p.Gone:
		return gateway.Settlement{Outcome: gateway.Later, At: now, Why: whyGone, Until: earlier(now.Add(goneAgain), m.Expires)}, false
	case m.Vital():
		return gateway.Settlement{}, true
	}
	until, why, late := p.Tariff.Afford(spent, now), whyCap, whyCap
	paid := !until.After(now)
	if paid {
		why, late = whyQuiet, whyExpired
	}
	if !paid || m.Urgency != dialog.Answer {
		until = p.Quiet.Until(until.In(p.zone(m.Place)))
	}
	switch {
	case !until.After(now):
		return gateway.Settlement{}, true
	case !until.Before(m.Expires):
		return expired(m, now, late), false
	}
	return gateway.Settlement{Outcome: gateway.Later, At: now, Why: why, Until: until}, false
}

func earlier(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

func cost(m gateway.Outbound) gateway.Spend {
	return gateway.Spend{Segments: m.Segments, Money: m.Price}
}

func (p Policy) zone(place string) *time.Location {
	if p.Zone == nil {
		return time.UTC
	}
	return p.Zone(place)
}

// After decides what becomes of a message whose sending ended with err. Spread
// between 0 and 1 keeps messages that failed together from coming back
// together. A bulletin of unknown fate is not sent again; everything else is,
// with the same reference.
func (p Policy) After(m gateway.Outbound, err error, now time.Time, spread float64) gateway.Settlement {
	var refused gateway.Refused
	var throttled Throttled
	var blocked gateway.Blocked
	switch {
	case err == nil:
		return gateway.Settlement{Outcome: gateway.Sent, At: now, Why: whySent}
	case errors.As(err, &refused):
		s := gateway.Settlement{Outcome: gateway.Dropped, At: now, Why: whyRefused}
		if s.OptedOut = refused.OptedOut; s.OptedOut {
			s.Why = whyOptedOut
		} else if m.Urgency == dialog.Safety {
			s.Lapse = dialog.Refused
		}
		return s
	case errors.Is(err, gateway.ErrUnsure) && m.Urgency == dialog.Bulletin && !p.Idempotent:
		return gateway.Settlement{Outcome: gateway.Unknown, At: now, Why: whyUnsure}
	case errors.Is(err, gateway.ErrUnsure):
		return later(m, now, sendAgain, whyUnsure)
	case errors.As(err, &blocked):
		return later(m, now, schedule[0], whyBlocked) // what waits is the channel
	case errors.As(err, &throttled):
		return later(m, now, restOf(throttled), whyThrottle)
	}
	wait := schedule[min(m.Tries, len(schedule)-1)]
	return later(m, now, wait+time.Duration(spread*float64(wait)/2), whyFailed)
}

// later puts a message off after an attempt that failed, unless it expires
// before.
func later(m gateway.Outbound, now time.Time, wait time.Duration, why string) gateway.Settlement {
	until := now.Add(wait)
	if !until.Before(m.Expires) {
		return expired(m, now, whyExpired)
	}
	return gateway.Settlement{Outcome: gateway.Later, At: now, Why: why, Until: until, Failed: true}
}

// expired drops a message that cannot leave while it is worth sending, and says
// what kept it. In the place of a caution the conversation says the
// safe thing.
func expired(m gateway.Outbound, now time.Time, why string) gateway.Settlement {
	s := gateway.Settlement{Outcome: gateway.Dropped, At: now, Why: why}
	if m.Urgency == dialog.Safety && m.Notice == "" {
		s.Lapse = dialog.Expired
	}
	return s
}
