package gateway

import (
	"context"
	"errors"
	"fmt"
	"time"
)

// Delivery is how far a message got after it was given to a gateway, as the
// gateway's reports tell it. It is stored.
type Delivery uint8

// The states of delivery. From ReportDelivered on they are final.
const (
	ReportQueued    Delivery = 1 // the gateway will see to it
	ReportSubmitted Delivery = 2 // handed to the network
	ReportAccepted  Delivery = 3 // the network took it; sometimes the last that is ever heard
	ReportDelivered Delivery = 4 // it is on the phone
	ReportFailed    Delivery = 5
	ReportExpired   Delivery = 6 // the phone was not reached in time
	ReportRejected  Delivery = 7
	ReportUnknown   Delivery = 8 // the network does not know, and may yet
)

// String returns the state in lower case, as metrics and the journal show it.
func (d Delivery) String() string {
	return name(d, "queued", "submitted", "accepted", "delivered", "failed", "expired", "rejected", "unknown")
}

// Final reports whether nothing more is to be heard of the message.
func (d Delivery) Final() bool { return d >= ReportDelivered }

// Advances reports whether d is news where from is known; zero is nothing known.
// Reports come late, twice and in any order: the first final one stands, except
// that a message whose fate was unknown may still prove delivered.
func (d Delivery) Advances(from Delivery) bool {
	if from.Final() {
		return from == ReportUnknown && d == ReportDelivered
	}
	return d > from
}

// Report is what a gateway says became of a message.
type Report struct {
	Channel  string
	Ref      string // our own reference; it decides if it is there
	Provider string // the gateway's id of the message, for gateways that do not return ours
	State    Delivery
	Reason   string // in the gateway's words, for the journal
	// OptedOut says that the person told the gateway to send no more, or that the
	// gateway takes nothing for this number.
	OptedOut bool
	At       time.Time // when it arrived here
}

// maxReason bounds what the journal keeps of a gateway's words.
const maxReason = 80

// Report notes how far a message got. A report that is no news changes nothing.
// The error is ErrNotFound if no message is known by its reference or id: such a
// report is to be counted and acknowledged, or it comes for ever.
func (s *Service) Report(ctx context.Context, r Report) error {
	r.At = s.options.Watch.At(r.At)
	r.Reason = cleanText(r.Reason)
	if reason := []rune(r.Reason); len(reason) > maxReason {
		r.Reason = string(reason[:maxReason])
	}
	err := s.turns.Report(ctx, r)
	if errors.Is(err, ErrSeen) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("note a report on channel %q: %w", r.Channel, err)
	}
	return nil
}
