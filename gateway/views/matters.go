package views

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"time"

	"cobline/gateway"
	"cobline/locales"
)

// MatterKind is why something waits for an officer. It is stored.
type MatterKind uint8

// The kinds of matter.
const (
	Question  MatterKind = 1 // put before the officers
	CallBack  MatterKind = 2 // the person wants to be called
	Emergency MatterKind = 3 // first aid of tier A was given
	Flag      MatterKind = 4 // the line says that an officer should look
)

// Matter is something that waits for an officer, or did.
type Matter struct {
	Who
	Kind  MatterKind
	Key   gateway.Key // of the entry in which it came; its case has this name
	At    time.Time   // since when it waits
	Place string
	Lang  locales.Lang
	Why   string // the kind of emergency, or of what a flag tells
	Text  string // the question, or what the person wrote
	// Seen is when a duty phone saw the emergency, or the question was answered;
	// zero if nobody did yet.
	Seen time.Time
	Case gateway.Case
	Rev  uint64 // of the case
}

// Open reports whether it still waits.
func (m Matter) Open() bool { return m.Seen.IsZero() && m.Case.State.Open() }

// MatterQuery is which matters to list.
type MatterQuery struct {
	Kind   MatterKind
	Places []string          // empty: all
	Lang   locales.Lang      // empty: all
	Person gateway.PersonKey // zero: everybody
	Done   bool              // those that wait no longer, instead of those that do
	Oldest bool              // the one that waits longest first, instead of the newest
}

// Matters is a page of matters.
type Matters struct {
	List []Matter
	All  int         // how many there are in all
	Next gateway.Key // the Before of the next page; zero if there is none
}

// Matters lists what waits for an officer, or did. What officers did about each
// is read from the desk, so a case closed a moment ago is gone from the list.
func (v *Views) Matters(ctx context.Context, q MatterQuery, page Page) (m Matters, err error) {
	where, args := []string{`what = ?`, `open = ?`}, []any{int64(q.Kind), !q.Done}
	if len(q.Places) > 0 {
		where = append(where, `place IN `+marks(len(q.Places)))
		for _, p := range q.Places {
			args = append(args, p)
		}
	}
	if q.Lang != "" {
		where, args = append(where, `lang = ?`), append(args, string(q.Lang))
	}
	if q.Person != (gateway.PersonKey{}) {
		where, args = append(where, `person = ?`), append(args, personID(q.Person))
	}
	condition := strings.Join(where, ` AND `)
	if err := v.query(ctx, func(row *sql.Rows) error { return row.Scan(&m.All) }, `SELECT count(*) FROM matter WHERE `+condition, args...); err != nil {
		return Matters{}, err
	}
	sign, order := `<`, `DESC`
	if q.Oldest {
		sign, order = `>`, `ASC`
	}
	from := page.before()
	if page.Before.IsZero() && q.Oldest {
		from = 0
	}
	var ids, persons []int64
	var found []Matter
	err = v.query(ctx, func(row *sql.Rows) error {
		f := Matter{Kind: q.Kind}
		var id, at, person, seen int64
		var state gateway.CaseState
		if err := row.Scan(&id, &at, &person, &f.Place, &f.Lang, &f.Why, &f.Text, &seen, &state); err != nil {
			return err
		}
		f.Key, f.At, f.Seen, f.Case.State = keyOf(id, at), moment(at), moment(seen), state
		ids, persons, found = append(ids, id), append(persons, person), append(found, f)
		return nil
	}, `SELECT id, at, person, place, lang, kind, text, seen, state FROM matter WHERE `+condition+` AND id `+sign+` ? ORDER BY id `+order+` LIMIT ?`,
		append(args, from, page.max()+1)...)
	if err != nil {
		return Matters{}, err
	}
	if len(found) > page.max() {
		found = found[:page.max()]
		m.Next = found[len(found)-1].Key
	}
	known := v.acquaint()
	for i, f := range found {
		said := f.Case.State
		if f.Case, f.Rev, err = gateway.GetCase(ctx, v.source, f.Key); err != nil {
			return Matters{}, err
		}
		if f.Case.State != said {
			v.look(f.Key)
		}
		if f.Who, err = known.who(ctx, persons[i]); err != nil && !errors.Is(err, gateway.ErrNotFound) {
			return Matters{}, err
		}
		if err != nil || f.Open() == q.Done { // forgotten, or seen to, just now
			m.All--
			continue
		}
		m.List = append(m.List, f)
	}
	return m, nil
}

// PutCase writes what an officer did about a matter, over revision rev. The
// error is gateway.ErrConflict if another officer was quicker.
func (v *Views) PutCase(ctx context.Context, c gateway.Case, rev uint64) error {
	err := gateway.PutCase(ctx, v.source, c, rev)
	if err == nil {
		v.look(c.Entry)
	}
	return err
}

// maxCases is how many cases wait to be looked at.
const maxCases = 1024

// look lets the projector read a case. If too many wait, the next to list it
// will ask again.
func (v *Views) look(k gateway.Key) {
	select {
	case v.cases <- k:
	default:
	}
}

// noteCases notes how the cases stand that somebody came across.
func (v *Views) noteCases(ctx context.Context) error {
	for range len(v.cases) {
		c, _, err := gateway.GetCase(ctx, v.source, <-v.cases)
		if err != nil {
			return err
		}
		if err := v.noteCase(ctx, c); err != nil {
			return err
		}
	}
	return nil
}

func (v *Views) noteCase(ctx context.Context, c gateway.Case) error {
	_, err := v.writer.ExecContext(ctx, `UPDATE matter SET state = ?1, open = ?2 AND seen = 0 WHERE id = ?3 AND state <> ?1`, int64(c.State), c.State.Open(), lineID(c.Entry))
	if err != nil {
		return fmt.Errorf("note a case: %w", err)
	}
	return nil
}

// sweepCases notes how all cases stand: one may have been written while nobody
// told the projector.
func (v *Views) sweepCases(ctx context.Context) error {
	v.mu.RLock()
	defer v.mu.RUnlock()
	if v.writer == nil {
		return errClosed
	}
	return gateway.EachCase(ctx, v.source, func(c gateway.Case, _ uint64) error { return v.noteCase(ctx, c) })
}
