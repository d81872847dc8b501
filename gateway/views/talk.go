package views

import (
	"context"
	"database/sql"
	"errors"
	"slices"
	"strings"

	"cobline/dialog"
	"cobline/gateway"
)

// Line is one entry of a person's conversation, as the journal has it, with what
// became of its messages and what officers did about it.
type Line struct {
	gateway.Entry
	Fates []Fate // of Replies, in their order
	Case  gateway.Case
}

// Fate is what became of a message. All is zero while it waits, and of one that
// the answer to a request carried.
type Fate struct {
	Outcome  gateway.Outcome
	Why      string
	Delivery gateway.Delivery
}

// Talk is a part of a person's conversation, newest first.
type Talk struct {
	Who
	Lines []Line
	Next  gateway.Key // the Before of the part before it; zero if there is none
}

// Conversation returns what a person and the line said to each other. The error
// is gateway.ErrNotFound if nobody has this key, or they were forgotten.
func (v *Views) Conversation(ctx context.Context, person gateway.PersonKey, page Page) (t Talk, err error) {
	if t.Who, err = v.acquaint().who(ctx, personID(person)); err != nil {
		return Talk{}, err
	}
	var keys []gateway.Key
	err = v.query(ctx, func(row *sql.Rows) error {
		var id, at int64
		err := row.Scan(&id, &at)
		keys = append(keys, keyOf(id, at))
		return err
	}, `SELECT id, at FROM line WHERE person = ? AND id < ? ORDER BY id DESC LIMIT ?`, personID(person), page.before(), page.max()+1)
	if err != nil {
		return Talk{}, err
	}
	if len(keys) > page.max() {
		keys = keys[:page.max()]
		t.Next = keys[len(keys)-1]
	}
	for _, k := range keys {
		e, err := v.entry(ctx, k)
		if errors.Is(err, gateway.ErrNotFound) {
			continue // retention has taken it
		}
		if err != nil {
			return Talk{}, err
		}
		l := Line{Entry: e}
		if l.Fates, err = v.fates(ctx, e); err != nil {
			return Talk{}, err
		}
		if l.Case, _, err = gateway.GetCase(ctx, v.source, k); err != nil {
			return Talk{}, err
		}
		t.Lines = append(t.Lines, l)
	}
	return t, nil
}

// fates returns what became of the messages of an entry. A notice is sent by the
// name of its reference, everything else by that of the entry.
func (v *Views) fates(ctx context.Context, e gateway.Entry) ([]Fate, error) {
	fates := make([]Fate, len(e.Replies))
	if !slices.ContainsFunc(e.Replies, func(r gateway.Said) bool { return r.Out }) {
		return fates, nil
	}
	at := map[int64]int{}
	for i, r := range e.Replies {
		at[nameOf(e, i, r)] = i
	}
	args := []any{}
	for id := range at {
		args = append(args, id)
	}
	return fates, v.query(ctx, func(row *sql.Rows) error {
		var id int64
		var f Fate
		err := row.Scan(&id, &f.Outcome, &f.Why, &f.Delivery)
		fates[at[id]] = f
		return err
	}, `SELECT id, outcome, why, delivery FROM sent WHERE id IN `+marks(len(args)), args...)
}

// nameOf returns the id by which a reply of an entry is sent.
func nameOf(e gateway.Entry, i int, r gateway.Said) int64 {
	key, index, err := gateway.ParseRef(e.Ref)
	if err == nil && e.Kind == gateway.Noticed && r.Key == dialog.NoticeKey {
		return sentID(key, index)
	}
	return sentID(e.Key, i)
}

// marks returns a list of so many question marks in brackets.
func marks(n int) string {
	return `(` + strings.TrimSuffix(strings.Repeat(`?, `, n), `, `) + `)`
}
