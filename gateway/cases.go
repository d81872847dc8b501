package gateway

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"
)

// CaseKind is the kind of cases among the Desk's documents.
const CaseKind = "case"

// CaseState is how far officers came with something a person waits for. It is
// stored.
type CaseState uint8

// The states of a case. Zero is a case no officer has touched.
const (
	CaseTaken        CaseState = 1 // somebody sees to it
	CaseAnswered     CaseState = 2 // a reply was sent
	CaseCalled       CaseState = 3 // the person was called
	CaseAcknowledged CaseState = 4 // somebody has seen the emergency
	CaseClosed       CaseState = 5 // there is nothing to be done
)

// String returns the state in lower case.
func (s CaseState) String() string {
	if s == 0 {
		return "open"
	}
	return name(s, "taken", "answered", "called", "acknowledged", "closed")
}

// Open reports whether somebody still has to see to it.
func (s CaseState) Open() bool { return s <= CaseTaken }

// Case is what officers did about a question, a call-back or an emergency: the
// journal entry in which it came. Integer keys are never reused.
type Case struct {
	Entry Key       `cbor:"-"`
	State CaseState `cbor:"1,keyasint"`
	By    string    `cbor:"2,keyasint,omitempty"`
	At    time.Time `cbor:"3,keyasint"`
	Note  string    `cbor:"4,keyasint,omitempty"`
}

// GetCase returns the case of an entry and its revision; of an entry no officer
// has touched, an open case and revision zero.
func GetCase(ctx context.Context, desk Desk, entry Key) (c Case, rev uint64, err error) {
	rev, err = desk.Get(ctx, CaseKind, entry.String(), &c)
	if err != nil && !errors.Is(err, ErrNotFound) {
		return c, 0, fmt.Errorf("read case %v: %w", entry, err)
	}
	return c.exact(entry), rev, nil
}

// PutCase writes a case over revision rev. The error is ErrConflict if another
// officer was quicker.
func PutCase(ctx context.Context, desk Desk, c Case, rev uint64) error {
	c.At, c.Note = c.At.UTC().Truncate(time.Second), strings.TrimSpace(c.Note)
	if err := desk.Put(ctx, CaseKind, c.Entry.String(), c, rev); err != nil {
		return fmt.Errorf("write case %v: %w", c.Entry, err)
	}
	return nil
}

// exact undoes what storing does to the time, and names the entry.
func (c Case) exact(entry Key) Case {
	c.Entry = entry
	if !c.At.IsZero() {
		c.At = c.At.Round(time.Second).UTC()
	}
	return c
}

// EachCase calls f with every case, in the order of their entries, until f
// returns an error.
func EachCase(ctx context.Context, desk Desk, f func(c Case, rev uint64) error) error {
	const page = 500
	for after := ""; ; {
		n := 0
		err := desk.List(ctx, CaseKind, after, page, func(id string, rev uint64, decode func(into any) error) error {
			after, n = id, n+1
			entry, err := ParseKey(id)
			if err != nil {
				return fmt.Errorf("case %q: %w", id, err)
			}
			var c Case
			if err := decode(&c); err != nil {
				return fmt.Errorf("decode case %q: %w", id, err)
			}
			return f(c.exact(entry), rev)
		})
		if err != nil || n < page {
			return err
		}
	}
}
