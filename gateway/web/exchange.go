package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"runtime/debug"
	"strings"

	"cobline/gateway"
	"cobline/gateway/webhook"
)

// Receiver takes in what gateways bring. Its methods return after what they
// changed is durable.
type Receiver interface {
	Receive(ctx context.Context, in gateway.Inbound) (gateway.Shown, error)
	// Report returns gateway.ErrNotFound for a message that nobody knows.
	Report(ctx context.Context, r gateway.Report) error
}

// Outcome is how a request ended.
type Outcome string

// The outcomes, a small closed set.
const (
	Answered  Outcome = "answered"
	Denied    Outcome = "denied"
	Malformed Outcome = "malformed"
	Late      Outcome = "late"   // the session was ended before its turn was done
	Failed    Outcome = "failed" // the gateway is to bring it again
)

// Exchange is what came of a request.
type Exchange struct {
	Outcome  Outcome
	Why      error // of a request that is denied or malformed
	Taken    webhook.Taken
	Response webhook.Response
}

// Handle lets everything that a request brings be answered. After an error the
// gateway is to bring it again.
func Handle(ctx context.Context, ch *webhook.Shape, r Receiver, req webhook.Request) (Exchange, error) {
	x := Exchange{Outcome: Answered}
	if x.Why = ch.Check(req); x.Why != nil {
		x.Outcome, x.Response = Denied, refusal(http.StatusUnauthorized, x.Why)
		if challenge := ch.Challenge(req); challenge != "" {
			x.Response.Headers["WWW-Authenticate"] = challenge
		}
		return x, nil
	}
	var err error
	if x.Taken, x.Why = ch.Take(req); x.Why != nil {
		x.Outcome = Malformed
		own := false
		if x.Response, own, err = ch.Reject(x.Why); !own {
			x.Response = refusal(http.StatusBadRequest, x.Why)
		}
		return x, rendered(ch, err)
	}
	ctx, cancel := context.WithTimeout(ctx, ch.Deadline())
	defer cancel()
	shown, err := turns(ctx, r, x.Taken)
	switch messages := x.Taken.Messages; {
	case errors.Is(err, context.DeadlineExceeded) && len(messages) == 1:
		late := false
		if x.Response, late, err = ch.TooLate(messages[0]); late {
			x.Outcome = Late
			return x, rendered(ch, err)
		}
		return x, fmt.Errorf("receive on %s: %w", ch.Name(), context.DeadlineExceeded)
	case err != nil:
		return x, fmt.Errorf("receive on %s: %w", ch.Name(), err)
	case len(messages) == 0 && len(x.Taken.Reports) > 0:
		x.Response, err = ch.Acknowledge()
	case len(messages) == 1:
		x.Response, err = ch.Respond(messages[0], shown, shown.Again)
	default:
		x.Response, err = ch.Respond(gateway.Inbound{}, gateway.Shown{}, false)
	}
	return x, rendered(ch, err)
}

func rendered(ch *webhook.Shape, err error) error {
	if err != nil {
		return fmt.Errorf("answer on %s: %w", ch.Name(), err)
	}
	return nil
}

// refusal is the answer to a request that the gateway has to mend.
func refusal(status int, why error) webhook.Response {
	return webhook.Response{
		Status:  status,
		Headers: map[string]string{"Content-Type": "text/plain; charset=utf-8"},
		Body:    []byte(spoken(why.Error())),
	}
}

// spoken makes a line of a reason.
func spoken(why string) string { return strings.ToUpper(why[:1]) + why[1:] + ".\n" }

// turns lets what a request brought be answered, and waits no longer than the
// gateway does: what goes on after that is found by the same message again. It
// returns what is shown to the last message. One that fails keeps no other from
// being answered.
func turns(ctx context.Context, to Receiver, taken webhook.Taken) (gateway.Shown, error) {
	type result struct {
		shown gateway.Shown
		err   error
	}
	done := make(chan result, 1)
	go func() {
		var r result
		defer func() {
			if p := recover(); p != nil {
				r.err = errors.Join(r.err, fmt.Errorf("panic: %v\n%s", p, debug.Stack()))
			}
			done <- r
		}()
		for _, in := range taken.Messages {
			var err error
			r.shown, err = to.Receive(ctx, in)
			r.err = errors.Join(r.err, err)
		}
		for _, report := range taken.Reports {
			// Told that nobody knows its message, a gateway would bring a report
			// again for days.
			if err := to.Report(ctx, report); !errors.Is(err, gateway.ErrNotFound) {
				r.err = errors.Join(r.err, err)
			}
		}
	}()
	select {
	case r := <-done:
		return r.shown, r.err
	case <-ctx.Done():
		return gateway.Shown{}, ctx.Err()
	}
}
