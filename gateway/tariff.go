package gateway

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// Money is an amount in ten-thousandths of a currency's unit: a segment often
// costs less than the smallest coin.
type Money int64

const moneyUnit = 10_000

// MoneyOf returns an amount of units of the currency.
func MoneyOf(units float64) Money { return Money(math.Round(units * moneyUnit)) }

// Units returns the amount in units of the currency.
func (m Money) Units() float64 { return float64(m) / moneyUnit }

// String writes the amount in units, with at least two digits behind the point.
func (m Money) String() string {
	s := fmt.Sprintf("%.4f", m.Units())
	return strings.TrimSuffix(strings.TrimSuffix(s, "0"), "0")
}

// Spend is what messages took.
type Spend struct {
	Segments int   `cbor:"1,keyasint,omitempty"`
	Money    Money `cbor:"2,keyasint,omitempty"`
}

// Plus returns both together.
func (s Spend) Plus(o Spend) Spend { return Spend{s.Segments + o.Segments, s.Money + o.Money} }

// Minus takes one off the other.
func (s Spend) Minus(o Spend) Spend { return Spend{s.Segments - o.Segments, s.Money - o.Money} }

// share returns how much of a cap is used, zero if it caps nothing.
func (s Spend) share(limit Spend) float64 {
	var used float64
	if limit.Segments > 0 {
		used = float64(s.Segments) / float64(limit.Segments)
	}
	if limit.Money > 0 {
		used = max(used, float64(s.Money)/float64(limit.Money))
	}
	return used
}

// Spent is what a channel's messages took on a day and in its month.
type Spent struct{ Day, Month Spend }

// Plus returns what is spent after one more message.
func (s Spent) Plus(o Spend) Spent { return Spent{s.Day.Plus(o), s.Month.Plus(o)} }

// Tariff is what the messages of a channel cost and how much they may. The zero
// Tariff is free and capped by nothing.
type Tariff struct {
	PerSegment Money            // to a number that no prefix fits
	Prefixes   map[string]Money // of a segment, by the first digits of the number: the longest that fits counts
	// Caps; a zero in one caps nothing.
	Day, Month Spend
	Warn       float64 // the share of a cap at which someone is warned, and no timing is offered before lighting
	Reserve    float64 // the share of a cap that is held for burns already begun
	Zone       *time.Location
}

// Price returns what a message costs.
func (t Tariff) Price(to Number, segments int) Money {
	price, longest := t.PerSegment, 0
	for prefix, p := range t.Prefixes {
		if len(prefix) > longest && strings.HasPrefix(to.digits, prefix) {
			price, longest = p, len(prefix)
		}
	}
	return price * Money(segments)
}

// Funds is how a channel's caps stand.
type Funds uint8

// The funds, best first.
const (
	FundsAmple Funds = iota
	FundsLow         // someone is warned, and no burn is invited that would need messages
	FundsHeld        // what is left is for burns already begun, and first aid
)

// String names the funds as lists and metrics show them.
func (f Funds) String() string { return [...]string{"ample", "low", "held"}[f] }

// Funds returns how the caps stand when so much is spent.
func (t Tariff) Funds(s Spent) Funds {
	switch used := max(t.Used(s)); {
	case used >= 1-t.Reserve && used > 0:
		return FundsHeld
	case used >= t.Warn && used > 0:
		return FundsLow
	}
	return FundsAmple
}

// Used returns how much of the caps of the day and the month is used: one is
// all of it, zero also if there is no cap.
func (t Tariff) Used(s Spent) (day, month float64) {
	return s.Day.share(t.Day), s.Month.share(t.Month)
}

// Afford returns when an ordinary message may be paid for if so much is spent:
// now, or when the cap that is used up begins anew. How long the message is does
// not matter, or a short one would overtake a long one of the same person.
func (t Tariff) Afford(s Spent, now time.Time) time.Time {
	zone := t.Zone
	if zone == nil {
		zone = time.UTC
	}
	year, month, date := now.In(zone).Date()
	switch usedDay, usedMonth := t.Used(s); {
	case usedMonth > 0 && usedMonth >= 1-t.Reserve:
		return time.Date(year, month+1, 1, 0, 0, 0, 0, zone)
	case usedDay > 0 && usedDay >= 1-t.Reserve:
		return time.Date(year, month, date+1, 0, 0, 0, 0, zone)
	}
	return now
}

// Ledger knows what was spent.
type Ledger interface {
	// Spent returns what the messages of a channel took on the day and in the
	// month of a moment.
	Spent(channel string, at time.Time) Spent
}
