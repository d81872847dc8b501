package views

import (
	"context"
	"database/sql"
	"errors"
	"strings"
	"time"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/locales"
)

// Page is a part of a list, newest first.
type Page struct {
	Before gateway.Key // what follows this key in the list; zero: the newest
	Max    int         // default 50
}

func (p Page) max() int {
	if p.Max <= 0 {
		return 50
	}
	return min(p.Max, 500)
}

// before returns the id up to which a page goes.
func (p Page) before() int64 {
	if p.Before.IsZero() {
		return 1<<63 - 1
	}
	return lineID(p.Before)
}

// Query is what to search for. What is left out restricts nothing.
type Query struct {
	Place    string
	Lang     locales.Lang
	Topic    string
	Stage    string    // of what its writer has under way now: lit, sealed, opened, drying
	From, To time.Time // To is not included
	Words    string    // all of them, in any order; a longer one also finds words it begins
	Unknown  bool      // only texts that were not understood
}

// Who is a person as lists name them. The number prints masked; its Digits are
// the real one, and whoever shows them records it.
type Who struct {
	Person gateway.PersonKey
	Number gateway.Number
}

// Hit is a text a person wrote.
type Hit struct {
	Who
	Key        gateway.Key
	At         time.Time
	Channel    string
	Place      string
	Lang       locales.Lang
	Topic      string // that it was understood to be about
	Step       string // the question that was open after it
	Understood bool
	Emergency  string // the kind, if the journal has that it spoke of one
	Tier       string // how sure that is: a or b
	Text       string
	Snippet    string   // the part of Text around the first word that was sought
	Marks      [][2]int // from where to where in Snippet the words stand that were sought
}

// Hits is a page of texts.
type Hits struct {
	Hits []Hit
	Next gateway.Key // the Before of the next page; zero if there is none
}

// Search returns the texts that people wrote and that fit a query, newest first.
func (v *Views) Search(ctx context.Context, q Query, page Page) (hits Hits, err error) {
	words := seek(q.Words)
	if len(words) == 0 && strings.TrimSpace(q.Words) != "" {
		return Hits{}, nil // signs alone are in no text
	}
	where, args, err := v.where(ctx, q)
	if err != nil {
		return Hits{}, err
	}
	from := `line l`
	if len(words) > 0 {
		from = `words w CROSS JOIN line l ON l.id = w.rowid`
		where = append(where, `w.words MATCH ?`, `w.rowid < ?`)
		args = append(args, words.match(), page.before())
	} else {
		where = append(where, `l.id < ?`)
		args = append(args, page.before())
	}
	order := `l.id`
	if len(words) > 0 {
		order = `w.rowid`
	}
	query := `SELECT l.id, l.at, l.person, l.channel, l.place, l.lang, l.topic, l.step, l.understood, l.text FROM ` + from +
		` WHERE ` + strings.Join(where, ` AND `) + ` ORDER BY ` + order + ` DESC LIMIT ?`
	args = append(args, page.max()+1)
	var found []Hit
	var persons []int64
	err = v.query(ctx, func(row *sql.Rows) error {
		var h Hit
		var id, at, person int64
		if err := row.Scan(&id, &at, &person, &h.Channel, &h.Place, &h.Lang, &h.Topic, &h.Step, &h.Understood, &h.Text); err != nil {
			return err
		}
		h.Key, h.At = keyOf(id, at), moment(at)
		found, persons = append(found, h), append(persons, person)
		return nil
	}, query, args...)
	if err != nil {
		return Hits{}, err
	}
	if len(found) > page.max() {
		found = found[:page.max()]
		hits.Next = found[len(found)-1].Key
	}
	known := v.acquaint()
	for i, h := range found {
		if h.Who, err = known.who(ctx, persons[i]); errors.Is(err, gateway.ErrNotFound) {
			continue // they were forgotten just now
		} else if err != nil {
			return Hits{}, err
		}
		e, err := v.entry(ctx, h.Key)
		if err != nil && !errors.Is(err, gateway.ErrNotFound) {
			return Hits{}, err
		}
		if e.Heard != nil {
			h.Emergency, h.Tier = e.Heard.Emergency, e.Heard.Tier
		}
		h.Snippet, h.Marks = words.snippet(h.Text)
		hits.Hits = append(hits.Hits, h)
	}
	return hits, nil
}

// where returns the conditions of a query.
func (v *Views) where(ctx context.Context, q Query) (where []string, args []any, err error) {
	where = []string{`l.kind = 1`, `l.text <> ''`}
	if q.Unknown {
		where = append(where, `l.norm IS NOT NULL`)
	}
	for column, value := range map[string]string{"place": q.Place, "lang": string(q.Lang), "topic": q.Topic} {
		if value != "" {
			where = append(where, `l.`+column+` = ?`)
			args = append(args, value)
		}
	}
	if q.Stage != "" {
		stage, more := stageOf(`l.person`, q.Stage, time.Now())
		where, args = append(where, stage), append(args, more...)
	}
	for t, sign := range map[*time.Time]string{&q.From: `>=`, &q.To: `<`} {
		if t.IsZero() {
			continue
		}
		id, err := v.firstAt(ctx, *t)
		if err != nil {
			return nil, nil, err
		}
		where, args = append(where, `l.id `+sign+` ?`), append(args, id)
	}
	return where, args, nil
}

// stageOf returns the condition that a person has something of a stage under
// way.
func stageOf(person, stage string, now time.Time) (string, []any) {
	if stage == dialog.StageDrying {
		return person + ` IN (SELECT person FROM batch WHERE at >= ?)`, []any{now.Add(-dialog.DryingTime).UnixMilli()}
	}
	return person + ` IN (SELECT person FROM drum WHERE stage = ?)`, []any{stage}
}

// firstAt returns the id of the first entry at or after a moment: ids and times
// grow together, so it is found by halving.
func (v *Views) firstAt(ctx context.Context, t time.Time) (int64, error) {
	var low, high int64 // the first is not below low, and not above high
	err := v.query(ctx, func(row *sql.Rows) error { return row.Scan(&high) }, `SELECT coalesce(max(id), 0) + 1 FROM line`)
	for err == nil && low < high {
		middle := low + (high-low)/2
		id, at := high, int64(0)
		err = v.query(ctx, func(row *sql.Rows) error { return row.Scan(&id, &at) }, `SELECT id, at FROM line WHERE id >= ? AND id < ? ORDER BY id LIMIT 1`, middle, high)
		if id < high && at < t.UnixMilli() {
			low = id + 1
		} else {
			high = middle
		}
	}
	return low, err
}

// acquaintance looks people up in the store, each once.
type acquaintance struct {
	v     *Views
	known map[int64]gateway.Conversation
}

func (v *Views) acquaint() acquaintance {
	return acquaintance{v, map[int64]gateway.Conversation{}}
}

// conversation returns what the store has of a person; gateway.ErrNotFound if
// they were forgotten.
func (a acquaintance) conversation(ctx context.Context, id int64) (gateway.Conversation, error) {
	if c, ok := a.known[id]; ok {
		return c, nil
	}
	c, err := a.v.source.Person(ctx, personKey(id))
	if err == nil {
		a.known[id] = c
	}
	return c, err
}

func (a acquaintance) who(ctx context.Context, id int64) (Who, error) {
	c, err := a.conversation(ctx, id)
	return Who{personKey(id), c.Number}, err
}
