package boltstore

import (
	"fmt"
	"strings"
	"sync"
	"time"

	"github.com/fxamacker/cbor/v2"
	bolt "go.etcd.io/bbolt"

	"cobline/gateway"
)

// ledger is what was spent, by channel and day. A day is a few octets, so all
// of them are held in memory.
type ledger struct {
	zone   *time.Location // where days begin
	mu     sync.RWMutex
	days   map[spendDay]gateway.Spend
	months map[spendDay]gateway.Spend // of the days, by the month's first letters
}

func newLedger(zone *time.Location) *ledger {
	if zone == nil {
		zone = time.UTC
	}
	return &ledger{zone: zone, days: map[spendDay]gateway.Spend{}, months: map[spendDay]gateway.Spend{}}
}

// set enters what a day came to.
func (l *ledger) set(d spendDay, s gateway.Spend) {
	had, month := l.days[d], d.month()
	l.days[d] = s
	l.months[month] = l.months[month].Plus(s).Minus(had)
}

// spendDay is a channel's day, such as 2026-03-02.
type spendDay struct{ channel, day string }

// month is such as 2026-03.
func (d spendDay) month() spendDay { return spendDay{d.channel, d.day[:len("2006-01")]} }

func (d spendDay) key() []byte { return []byte(d.channel + "\x00" + d.day) }

func (l *ledger) day(channel string, at time.Time) spendDay {
	return spendDay{channel, at.In(l.zone).Format(time.DateOnly)}
}

// recall reads what was spent before.
func (l *ledger) recall(tx *bolt.Tx) error {
	return tx.Bucket(bucketSpend).ForEach(func(k, v []byte) error {
		var s gateway.Spend
		if err := cbor.Unmarshal(v, &s); err != nil {
			return fmt.Errorf("decode spend of %q: %w", k, err)
		}
		channel, day, _ := strings.Cut(string(k), "\x00")
		l.set(spendDay{channel, day}, s)
		return nil
	})
}

// Spent implements gateway.Ledger.
func (s *Store) Spent(channel string, at time.Time) gateway.Spent {
	today := s.ledger.day(channel, at)
	s.ledger.mu.RLock()
	defer s.ledger.mu.RUnlock()
	return gateway.Spent{Day: s.ledger.days[today], Month: s.ledger.months[today.month()]}
}

// spend adds to what the transaction has spent.
func (w *write) spend(d spendDay, s gateway.Spend) {
	if s == (gateway.Spend{}) {
		return
	}
	if w.spent == nil {
		w.spent = map[spendDay]gateway.Spend{}
	}
	w.spent[d] = w.spent[d].Plus(s)
}

// settleSpend writes what a transaction has spent: one row for each channel,
// however many messages share the transaction.
func (s *Store) settleSpend(w *write) error {
	if len(w.spent) == 0 {
		return nil
	}
	s.ledger.mu.RLock()
	for d, more := range w.spent {
		w.spent[d] = s.ledger.days[d].Plus(more)
	}
	s.ledger.mu.RUnlock()
	for d, total := range w.spent {
		v, err := encoding.Marshal(total)
		if err != nil {
			return fmt.Errorf("encode spend: %w", err)
		}
		if err := w.put(bucketSpend, d.key(), v); err != nil {
			return err
		}
	}
	w.after = append(w.after, func() {
		s.ledger.mu.Lock()
		defer s.ledger.mu.Unlock()
		for d, total := range w.spent {
			s.ledger.set(d, total)
		}
	})
	return nil
}
