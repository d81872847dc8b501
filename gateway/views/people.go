package views

import (
	"context"
	"database/sql"
	"errors"
	"maps"
	"slices"
	"strings"
	"time"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/locales"
)

// Filter is which producers to list. What is left out restricts nothing.
type Filter struct {
	Place, Group string
	Lang         locales.Lang
	Stage        string         // of what they have under way: lit, sealed, opened, drying
	OptedOut     *bool          // whether they opted out
	Words        string         // in the name of their group or place
	Number       gateway.Number // exactly this one
}

// Producer is one who uses the line, or was entered by an officer.
type Producer struct {
	gateway.Conversation           // as the store has it
	At                   string    // the place they work at
	First, Last          time.Time // their first and last text; zero if they never wrote
	Texts                int
	Batches              int // finished
	CharKg               float64
}

// Producers is a page of people.
type Producers struct {
	List []Producer
	All  int               // how many there are in all
	Next gateway.PersonKey // the after of the next page; zero if there is none
}

// Producers lists people, those who wrote last first. After is the Next of the
// page before.
func (v *Views) Producers(ctx context.Context, f Filter, after gateway.PersonKey, max int, now time.Time) (p Producers, err error) {
	condition, args, err := v.whom(ctx, f, now)
	if err != nil {
		return p, err
	}
	if err := v.query(ctx, func(row *sql.Rows) error { return row.Scan(&p.All) }, `SELECT count(*) FROM person WHERE `+condition, args...); err != nil {
		return p, err
	}
	if after != (gateway.PersonKey{}) {
		var seen int64
		if err := v.query(ctx, func(row *sql.Rows) error { return row.Scan(&seen) }, `SELECT seen FROM person WHERE key = ?`, personID(after)); err != nil {
			return p, err
		}
		condition += ` AND (seen, key) < (?, ?)`
		args = append(args, seen, personID(after))
	}
	max = Page{Max: max}.max()
	var ids []int64
	var found []Producer
	err = v.query(ctx, func(row *sql.Rows) error {
		var id, first, last int64
		var q Producer
		err := row.Scan(&id, &q.At, &first, &last, &q.Texts)
		q.First, q.Last = moment(first), moment(last)
		ids, found = append(ids, id), append(found, q)
		return err
	}, `SELECT key, place, first, last, texts FROM person WHERE `+condition+byLast+` LIMIT ?`, append(args, max+1)...)
	if err != nil {
		return p, err
	}
	if len(found) > max {
		found = found[:max]
		p.Next = personKey(ids[max-1])
	}
	for i, q := range found {
		if err := v.fill(ctx, ids[i], &q); errors.Is(err, gateway.ErrNotFound) {
			p.All--
			continue // they were forgotten just now
		} else if err != nil {
			return p, err
		}
		p.List = append(p.List, q)
	}
	return p, nil
}

const byLast = ` ORDER BY seen DESC, key DESC`

// EachProducer calls do with everybody whom a filter lists now, those who wrote
// last first.
func (v *Views) EachProducer(ctx context.Context, f Filter, now time.Time, do func(Producer) error) error {
	condition, args, err := v.whom(ctx, f, now)
	if err != nil {
		return err
	}
	var keys []gateway.PersonKey
	err = v.query(ctx, func(row *sql.Rows) error {
		var id int64
		err := row.Scan(&id)
		keys = append(keys, personKey(id))
		return err
	}, `SELECT key FROM person WHERE `+condition+byLast, args...)
	for _, k := range keys {
		if err != nil {
			break
		}
		var p Producer
		if p, err = v.Producer(ctx, k); err == nil {
			err = do(p)
		} else if errors.Is(err, gateway.ErrNotFound) { // they were forgotten just now
			err = nil
		}
	}
	return err
}

// whom returns the condition of a filter.
func (v *Views) whom(ctx context.Context, f Filter, now time.Time) (condition string, args []any, err error) {
	where := []string{`shown = 1`}
	add := func(condition string, arg ...any) { where, args = append(where, condition), append(args, arg...) }
	if !f.Number.IsZero() {
		c, err := v.source.Load(ctx, f.Number)
		if err != nil {
			return "", nil, err
		}
		if c.Rev == 0 {
			return `0`, nil, nil
		}
		add(`key = ?`, personID(c.Person))
	}
	if f.Place != "" {
		add(`place = ?`, f.Place)
	}
	if f.Group != "" {
		add(`grp = ?`, f.Group)
	}
	if f.Lang != "" {
		add(`lang = ?`, string(f.Lang))
	}
	if f.Stage != "" {
		stage, more := stageOf(`key`, f.Stage, now)
		add(stage, more...)
	}
	if f.OptedOut != nil {
		add(`stopped = ?`, *f.OptedOut)
	}
	for _, w := range strings.Fields(f.Words) {
		like := `%` + strings.NewReplacer(`\`, `\\`, `%`, `\%`, `_`, `\_`).Replace(w) + `%`
		add(`(grp LIKE ? ESCAPE '\' OR place LIKE ? ESCAPE '\')`, like, like)
	}
	return strings.Join(where, ` AND `), args, nil
}

// tail is how many entries At reads to know who may have moved lately.
const tail = 4000

// At implements gateway.Finder. Whoever moved since the file was written is named
// by an entry that it has not taken in yet, and is in the answer.
func (v *Views) At(ctx context.Context, places []string) ([]gateway.PersonKey, bool, error) {
	var saved []byte
	if err := v.query(ctx, func(row *sql.Rows) error { return row.Scan(&saved) }, `SELECT key FROM meta`); err != nil || saved == nil {
		return nil, false, err
	}
	args := make([]any, len(places))
	for i, p := range places {
		args[i] = strings.ToLower(p)
	}
	found := map[gateway.PersonKey]bool{}
	err := v.query(ctx, func(row *sql.Rows) error {
		var id int64
		err := row.Scan(&id)
		found[personKey(id)] = true
		return err
	}, `SELECT key FROM person WHERE shown = 1 AND place IN (?`+strings.Repeat(`, ?`, len(places)-1)+`) UNION SELECT key FROM person WHERE dirty = 1`, args...)
	if err != nil {
		return nil, false, err
	}
	entries, err := v.source.After(ctx, gateway.Key(saved), tail)
	if err != nil || len(entries) == tail {
		return nil, false, err
	}
	for _, e := range entries {
		if e.Person != (gateway.PersonKey{}) {
			found[e.Person] = true
		}
	}
	return slices.Collect(maps.Keys(found)), true, nil
}

// fill adds what the store has of a producer, and what they made.
func (v *Views) fill(ctx context.Context, id int64, p *Producer) (err error) {
	if p.Conversation, err = v.source.Person(ctx, personKey(id)); err != nil {
		return err
	}
	return v.query(ctx, func(row *sql.Rows) error { return row.Scan(&p.Batches, &p.CharKg) },
		`SELECT count(*), coalesce(sum(char), 0) FROM batch WHERE person = ?`, id)
}

// Producer returns one person. The error is gateway.ErrNotFound if nobody has
// this key, or they were forgotten.
func (v *Views) Producer(ctx context.Context, person gateway.PersonKey) (p Producer, err error) {
	id := personID(person)
	if err := v.fill(ctx, id, &p); err != nil {
		return Producer{}, err
	}
	return p, v.query(ctx, func(row *sql.Rows) error {
		var first, last int64
		err := row.Scan(&p.At, &first, &last, &p.Texts)
		p.First, p.Last = moment(first), moment(last)
		return err
	}, `SELECT place, first, last, texts FROM person WHERE key = ?`, id)
}

// Groups returns the names of groups, each with how many people are in it.
func (v *Views) Groups(ctx context.Context) (groups map[string]int, err error) {
	groups = map[string]int{}
	return groups, v.query(ctx, func(row *sql.Rows) error {
		var name string
		var n int
		err := row.Scan(&name, &n)
		groups[name] = n
		return err
	}, `SELECT grp, count(*) FROM person WHERE shown = 1 AND grp <> '' GROUP BY grp`)
}

// Batch is a finished batch and whose it is.
type Batch struct {
	Who
	dialog.Batch
	Place string  // where its maker worked
	Days  float64 // from the recipe; zero where nobody knows
	Yield float64 // part of the dry waste that became charcoal; zero where nobody knows
}

// Batches lists batches, the newest first. Before is the last one of the page
// before, zero for the first page; person, if not zero, is whose to list.
func (v *Views) Batches(ctx context.Context, of Of, person gateway.PersonKey, before Batch, max int) (batches []Batch, more bool, err error) {
	where, args := []string{`1`}, []any{}
	add := func(condition string, arg ...any) { where, args = append(where, condition), append(args, arg...) }
	if person != (gateway.PersonKey{}) {
		add(`person = ?`, personID(person))
	}
	if of.Waste != "" {
		add(`waste = ?`, of.Waste)
	}
	if of.Place != "" {
		add(`place = ?`, of.Place)
	}
	if !of.From.IsZero() {
		add(`month >= ?`, v.day(of.From)/100)
	}
	if !of.To.IsZero() {
		add(`month <= ?`, v.day(of.To)/100)
	}
	if !before.At.IsZero() {
		add(`(at, person, name) < (?, ?, ?)`, before.At.UnixMilli(), personID(before.Person), before.Name)
	}
	max = Page{Max: max}.max()
	var ids []int64
	var found []Batch
	err = v.query(ctx, func(row *sql.Rows) error {
		var id, at int64
		var b Batch
		var days sql.NullFloat64
		if err := row.Scan(&id, &at, &b.Name, &b.Waste, &b.Place, &b.Drums, &b.FeedKg, &b.CharKg, &b.BrandsKg, &b.Minutes, &b.Moisture, &b.Ash, &days); err != nil {
			return err
		}
		b.At, b.Days = moment(at), days.Float64
		b.Yield, _ = yield(b.Batch)
		ids, found = append(ids, id), append(found, b)
		return nil
	}, `SELECT person, at, name, waste, place, drums, feed, char, brands, minutes, moisture, ash, days FROM batch WHERE `+strings.Join(where, ` AND `)+` ORDER BY at DESC, person DESC, name DESC LIMIT ?`,
		append(args, max+1)...)
	if err != nil {
		return nil, false, err
	}
	if more = len(found) > max; more {
		found = found[:max]
	}
	known := v.acquaint()
	for i, b := range found {
		if b.Who, err = known.who(ctx, ids[i]); errors.Is(err, gateway.ErrNotFound) {
			continue
		} else if err != nil {
			return nil, false, err
		}
		batches = append(batches, b)
	}
	return batches, more, nil
}
