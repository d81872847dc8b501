package views

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"time"

	"cobline/calc"
	"cobline/dialog"
	"cobline/gateway"
)

// batchEntries bounds what one transaction takes in.
var batchEntries = 4000

const (
	// batchPersons bounds how many people one transaction looks up.
	batchPersons = 500
	// idle is how long the projector waits when there is nothing new.
	idle = 500 * time.Millisecond
	// rest is the part of its time the projector leaves to others while it has a
	// long way to go: people who write come first.
	rest = 4
	// mend is how long it waits after an error.
	mend = 5 * time.Second
)

// Run keeps the views up to date until the context ends, which is no error. It
// goes on where a run before it ended. What fails is logged and tried again: the
// line works without views.
func (v *Views) Run(ctx context.Context) error {
	if err := v.sweepCases(ctx); err != nil && ctx.Err() == nil {
		v.options.Log.Error("views do not know all cases", "error", err)
	}
	told := time.Time{}
	for {
		began := time.Now()
		more, err := v.step(ctx)
		pause := idle
		switch {
		case ctx.Err() != nil:
			return nil
		case damaged(err) || v.broken.Load():
			if err := v.begin("it is damaged"); err != nil {
				v.options.Log.Error("views cannot be made", "error", err)
				pause = mend
			}
		case err != nil:
			v.options.Log.Error("views do not go on", "error", err)
			pause = mend
		case more:
			pause = time.Since(began) / rest
			if p := v.Progress(); time.Since(told) > 10*time.Second && p.Entries-p.Taken > uint64(batchEntries) {
				told = time.Now()
				v.options.Log.Info("views are being made", "entries", p.Taken, "of", p.Entries)
			}
		}
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(pause):
		}
	}
}

// CatchUp takes in all the journal holds now.
func (v *Views) CatchUp(ctx context.Context) error {
	if err := v.sweepCases(ctx); err != nil {
		return err
	}
	for {
		more, err := v.step(ctx)
		if err != nil || !more {
			return err
		}
	}
}

// step takes in some entries, or looks up some people, and reports whether there
// is more to do. What it does is whole or not at all.
func (v *Views) step(ctx context.Context) (more bool, err error) {
	v.mu.RLock()
	defer v.mu.RUnlock()
	if v.writer == nil {
		return false, errClosed
	}
	last, err := v.source.Last(ctx)
	if err != nil {
		return false, fmt.Errorf("read the journal: %w", err)
	}
	v.entries.Store(counter(last))
	v.behind.Store(max(0, int64(last.Time().Sub(time.UnixMilli(v.reached.Load())))))
	if err := v.noteCases(ctx); err != nil {
		return false, err
	}
	if err := v.clear(ctx); err != nil {
		return false, err
	}
	if v.primed.Load() && v.taken.Load() == counter(last) && v.pending.Load() == 0 {
		return false, nil
	}
	tx, err := v.writer.BeginTx(ctx, nil)
	if err != nil {
		return false, fmt.Errorf("begin views: %w", err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, tx.Rollback())
		}
	}()
	var key []byte
	if err := tx.QueryRowContext(ctx, `SELECT key FROM meta`).Scan(&key); err != nil {
		return false, fmt.Errorf("read how far views are: %w", err)
	}
	saved := gateway.Key(key)
	entries, err := v.source.After(ctx, saved, batchEntries)
	if err != nil {
		return false, fmt.Errorf("read the journal: %w", err)
	}
	r := &round{v: v, ctx: ctx, tx: tx, statements: map[string]*sql.Stmt{}, persons: map[int64]*person{}, sums: map[sum]amounts{}}
	for _, e := range entries {
		if err := r.take(e); err != nil {
			return false, fmt.Errorf("take entry %v into views: %w", e.Key, err)
		}
		saved = e.Key
	}
	gone := false
	if len(entries) < batchEntries { // whom the journal names is looked up when all of it is known
		if gone, err = r.lookUp(); err != nil {
			return false, err
		}
	}
	if err := r.write(saved); err != nil {
		return false, err
	}
	var pending int
	if err := tx.QueryRowContext(ctx, `SELECT count(*) FROM person WHERE dirty = 1`).Scan(&pending); err != nil {
		return false, fmt.Errorf("count whom to look up: %w", err)
	}
	if err := tx.Commit(); err != nil {
		return false, fmt.Errorf("commit views: %w", err)
	}
	if gone {
		v.traces.Store(true)
	}
	v.taken.Store(counter(saved))
	v.reached.Store(saved.Time().UnixMilli())
	v.behind.Store(max(0, int64(last.Time().Sub(saved.Time()))))
	v.pending.Store(int64(pending))
	v.primed.Store(true)
	if err := v.clear(ctx); err != nil {
		return false, err
	}
	return len(entries) == batchEntries || pending > 0, nil
}

// clear empties the log beside the file, which may hold what was deleted. While
// somebody reads it cannot be emptied, and is tried again.
func (v *Views) clear(ctx context.Context) error {
	if !v.traces.Load() {
		return nil
	}
	var busy, pages, moved int
	if err := v.writer.QueryRowContext(ctx, `PRAGMA wal_checkpoint(TRUNCATE)`).Scan(&busy, &pages, &moved); err != nil {
		return fmt.Errorf("clear the log of views: %w", err)
	}
	v.traces.Store(busy != 0)
	return nil
}

// round is one transaction of the projector. Sums are kept until its end, since
// many entries change the same ones.
type round struct {
	v          *Views
	ctx        context.Context
	tx         *sql.Tx
	statements map[string]*sql.Stmt
	persons    map[int64]*person
	sums       map[sum]amounts
}

// person is where the projector stands with one.
type person struct {
	gone              bool
	first, last       int64 // when their first and last text came
	texts             int64
	stop              stop // where they would have stopped if the last text was the last
	recipe, recipeEnd int64
	lit, done         int64
	alarm             int64 // when their emergency came that nobody has seen
	dirty             bool
}

// stop is where a conversation ends.
type stop struct {
	month                    int64
	place, lang, topic, step string
}

// sum names a row of one of the tables of sums; amounts are what it grows by.
type sum struct {
	table              string
	when, bin          int64
	place, lang, topic string
	step               string
}

type amounts [3]float64

func (r *round) add(s sum, a ...float64) {
	all := r.sums[s]
	for i := range a {
		all[i] += a[i]
	}
	r.sums[s] = all
}

func (r *round) exec(query string, args ...any) error {
	s, err := r.prepare(query)
	if err != nil {
		return err
	}
	_, err = s.ExecContext(r.ctx, args...)
	return err
}

func (r *round) row(query string, args ...any) *sql.Row {
	s, err := r.prepare(query)
	if err != nil {
		return r.tx.QueryRowContext(r.ctx, query, args...) // which fails likewise
	}
	return s.QueryRowContext(r.ctx, args...)
}

func (r *round) prepare(query string) (s *sql.Stmt, err error) {
	if s = r.statements[query]; s == nil {
		if s, err = r.tx.PrepareContext(r.ctx, query); err == nil {
			r.statements[query] = s
		}
	}
	return s, err
}

// person returns where the projector stands with somebody.
func (r *round) person(id int64) (*person, error) {
	if p := r.persons[id]; p != nil {
		return p, nil
	}
	p := &person{}
	err := r.row(`SELECT gone, first, last, texts, stop_month, stop_place, stop_lang, stop_topic, stop_step, recipe, recipe_last, lit, done, alarm, dirty FROM person WHERE key = ?`, id).
		Scan(&p.gone, &p.first, &p.last, &p.texts, &p.stop.month, &p.stop.place, &p.stop.lang, &p.stop.topic, &p.stop.step, &p.recipe, &p.recipeEnd, &p.lit, &p.done, &p.alarm, &p.dirty)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return nil, err
	}
	r.persons[id] = p
	return p, nil
}

// take takes in one entry.
func (r *round) take(e gateway.Entry) error {
	switch {
	case e.Kind == gateway.Settled:
		return r.settled(e)
	case e.Kind == gateway.Reported:
		return r.reported(e)
	case e.Person == (gateway.PersonKey{}):
		return nil // a list of a notice, or a sender that is no number
	}
	p, err := r.person(personID(e.Person))
	if err != nil {
		return err
	}
	p.dirty = true
	var h dialog.Heard
	if e.Heard != nil {
		h = *e.Heard
	}
	place := cmp.Or(e.Place, r.v.options.Home)
	if e.Kind == gateway.Heard && office(h) {
		e.Kind = gateway.Posted // it is no producer's text
	}
	if e.Kind == gateway.Heard {
		r.heard(p, e, h, place)
	}
	if s := e.Spend(); s != (gateway.Spend{}) {
		r.spend(e.Channel, e.At, s)
	}
	if err := r.replies(e); err != nil {
		return err
	}
	for _, b := range e.Batches {
		if err := r.batch(p, personID(e.Person), b, place); err != nil {
			return err
		}
	}
	if e.Erased || p.gone {
		return nil
	}
	if err := r.line(e, h, place); err != nil {
		return err
	}
	return r.matters(p, e, h, place)
}

// office reports whether a text was an officer's to the office.
// Who is hurt is nobody's officer.
func office(h dialog.Heard) bool {
	return h.Tier == "" && (h.Topic == "office" || strings.HasPrefix(h.Step, "office."))
}

// silence is how long nobody writes until a conversation has ended.
const silence = 24 * time.Hour

// heard counts a text and follows where its person stands.
func (r *round) heard(p *person, e gateway.Entry, h dialog.Heard, place string) {
	at := e.Key.Time()
	ms, day := at.UnixMilli(), r.v.day(at)
	lang := string(h.Lang)
	topic, step := h.Topic, ""
	if h.Step != "" {
		topic, step, _ = strings.Cut(h.Step, ".")
	}
	puzzled := 0.0
	if !h.Understood {
		puzzled = 1
	}
	r.add(sum{table: "said", when: day, place: place, lang: lang}, 1, puzzled)
	r.add(sum{table: "about", when: day / 100, place: place, lang: lang, topic: h.Topic}, 1, puzzled)
	if p.texts > 0 && ms-p.last <= silence.Milliseconds() {
		r.stop(p.stop, -1)
	}
	p.stop = stop{day / 100, place, lang, topic, step}
	r.stop(p.stop, 1)
	if p.texts == 0 {
		p.first = ms
	}
	p.last = ms
	p.texts++
	r.episode(p, h, ms)
}

func (r *round) stop(s stop, n float64) {
	r.add(sum{table: "stop", when: s.month, place: s.place, lang: s.lang, topic: s.topic, step: s.step}, n)
}

// How a recipe belongs to a batch. Common practice, no source.
const (
	newRecipe    = 24 * time.Hour      // a recipe asked again later, before lighting, is another
	longestBatch = 60 * 24 * time.Hour // what ends later began with something else
)

// episode follows a person from the recipe to the batch. A recipe asked while a
// drum is alight changes nothing; after a batch the next one begins anew.
func (r *round) episode(p *person, h dialog.Heard, ms int64) {
	if h.Topic == "recipe" {
		again := ms-p.recipeEnd > newRecipe.Milliseconds() && p.lit == 0 || p.done > 0 || ms-p.recipe > longestBatch.Milliseconds()
		if p.recipe == 0 || again {
			p.recipe, p.lit, p.done = ms, 0, 0
		}
		p.recipeEnd = ms
	}
	if h.Report == "lit" && p.recipe > 0 && p.lit == 0 {
		p.lit = ms
	}
}

// replies notes what was given to the outbox.
func (r *round) replies(e gateway.Entry) error {
	for i, said := range e.Replies {
		if !said.Out {
			continue
		}
		err := r.exec(`INSERT OR REPLACE INTO sent (id, segments, money) VALUES (?, ?, ?)`, nameOf(e, i, said), said.Segments, int64(said.Price))
		if err != nil {
			return err
		}
	}
	return nil
}

// settled notes what became of a message. It was paid for if it went out, or a
// gateway has told of it.
func (r *round) settled(e gateway.Entry) error {
	key, index, err := gateway.ParseRef(e.Ref)
	if err != nil {
		return nil // an entry of nobody's message
	}
	var spent gateway.Spend
	var delivery int64
	err = r.row(`UPDATE sent SET outcome = ?, why = ? WHERE id = ? RETURNING segments, money, delivery`, int64(e.Outcome), e.Why, sentID(key, index)).
		Scan(&spent.Segments, &spent.Money, &delivery)
	if errors.Is(err, sql.ErrNoRows) {
		return nil
	}
	if err == nil && (e.Outcome != gateway.Dropped || delivery != 0) {
		r.spend(e.Channel, e.At, spent)
	}
	return err
}

func (r *round) spend(channel string, at time.Time, s gateway.Spend) {
	r.add(sum{table: "spend", when: r.v.day(at), topic: channel}, float64(s.Segments), float64(s.Money))
}

func (r *round) reported(e gateway.Entry) error {
	key, index, err := gateway.ParseRef(e.Ref)
	if err != nil || e.Delivery == 0 {
		return nil
	}
	return r.exec(`UPDATE sent SET delivery = ? WHERE id = ?`, int64(e.Delivery), sentID(key, index))
}

// line puts an entry into its conversation, and its words into the index.
func (r *round) line(e gateway.Entry, h dialog.Heard, place string) error {
	var norm any
	id := lineID(e.Key)
	if e.Kind == gateway.Heard && e.Text != "" {
		if !h.Understood && !h.Secret && h.Emergency == "" {
			norm = normal(string(h.Lang), e.Text)
		}
		if err := r.exec(`INSERT INTO words (rowid, text) VALUES (?, ?)`, id, indexed(e.Text)); err != nil {
			return err
		}
	}
	return r.exec(`INSERT INTO line (id, at, person, kind, channel, place, lang, topic, step, understood, text, norm) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		id, e.Key.Time().UnixMilli(), personID(e.Person), int64(e.Kind), e.Channel, place, string(h.Lang), h.Topic, h.Step, h.Understood, e.Text, norm)
}

// sameEmergency is how long more texts belong to an emergency that is open.
const sameEmergency = 2 * time.Hour

// matters notes what waits for an officer.
func (r *round) matters(p *person, e gateway.Entry, h dialog.Heard, place string) error {
	ms := e.Key.Time().UnixMilli()
	note := func(what MatterKind, kind, text string) error {
		c, _, err := gateway.GetCase(r.ctx, r.v.source, e.Key)
		if err != nil {
			return err
		}
		return r.exec(`INSERT INTO matter (what, id, at, person, place, lang, kind, text, state, open) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
			int64(what), lineID(e.Key), ms, personID(e.Person), place, string(h.Lang), kind, text, int64(c.State), c.State.Open())
	}
	var errs []error
	if !e.About.IsZero() { // an officer saw to it
		errs = append(errs, r.exec(`UPDATE matter SET seen = ?, open = 0 WHERE id = ? AND person = ?`, ms, lineID(e.About), personID(e.Person)))
	}
	if e.Kind == gateway.Answered { // its text and its call are the officer's
		return errors.Join(errs...)
	}
	if e.Question != "" {
		errs = append(errs, note(Question, "", e.Question))
	}
	if e.CallBack {
		errs = append(errs, note(CallBack, "", e.Text))
	}
	if e.Kind == gateway.Heard && h.Tier == "a" && (p.alarm == 0 || ms-p.alarm > sameEmergency.Milliseconds()) {
		p.alarm = ms
		errs = append(errs, note(Emergency, h.Emergency, e.Text))
	}
	if len(e.Flags) > 0 {
		errs = append(errs, note(Flag, strings.Join(e.Flags, ", "), e.Text))
	}
	if e.Kind == gateway.Acknowledged {
		p.alarm = 0
		errs = append(errs, r.exec(`UPDATE matter SET seen = ?, open = 0 WHERE person = ? AND what = ? AND seen = 0`, ms, personID(e.Person), int64(Emergency)))
	}
	return errors.Join(errs...)
}

// What spread measures, and the step of its bins.
const (
	spreadYield = 1 // of dry waste, in half percents
	spreadDays  = 2 // from the recipe to the batch, in quarter days

	yieldStep = 0.005
	daysStep  = 0.25
)

// batch counts a finished batch, in the place of the same one before a
// correction.
func (r *round) batch(p *person, id int64, b dialog.Batch, place string) error {
	at := b.At.UnixMilli()
	old, days, found, err := r.known(id, at, b.Name)
	if err != nil {
		return err
	}
	if found { // corrected: only what was weighed changes
		r.count(old, days, -1)
		place = old.place
	} else if p.recipe > 0 && at > p.recipe && at-p.recipe <= longestBatch.Milliseconds() {
		days = sql.NullFloat64{Float64: float64(at-p.recipe) / float64((24 * time.Hour).Milliseconds()), Valid: true}
		p.done = at
	}
	row := batchRow{b, r.v.day(b.At) / 100, place}
	r.count(row, days, 1)
	return r.exec(`INSERT OR REPLACE INTO batch (person, at, name, month, waste, place, drums, feed, char, brands, minutes, moisture, ash, days) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		id, at, b.Name, row.month, b.Waste, place, b.Drums, b.FeedKg, b.CharKg, b.BrandsKg, b.Minutes, b.Moisture, b.Ash, days)
}

type batchRow struct {
	dialog.Batch
	month int64
	place string
}

func (r *round) known(id, at int64, name string) (b batchRow, days sql.NullFloat64, found bool, err error) {
	err = r.row(`SELECT month, waste, place, feed, char, moisture, days FROM batch WHERE person = ? AND at = ? AND name = ?`, id, at, name).
		Scan(&b.month, &b.Waste, &b.place, &b.FeedKg, &b.CharKg, &b.Moisture, &days)
	if errors.Is(err, sql.ErrNoRows) {
		return b, days, false, nil
	}
	return b, days, err == nil, err
}

// yield returns what part of the dry waste became charcoal, unless the weights
// cannot be those of one load: the charcoal of two drums in one batch would look
// like a yield that no drum has. Waste of which nothing was said counts as dry, as
// it does in the person's own record.
func yield(b dialog.Batch) (float64, bool) {
	moisture := b.Moisture
	if moisture <= 0 {
		moisture = float64(calc.Dry.Moisture().Likely)
	}
	feed, err := calc.Feed(calc.Waste(b.Waste))
	if err != nil || b.FeedKg <= 0 || b.CharKg <= 0 {
		return 0, false
	}
	weighed := calc.WeighedBatch{
		Drums: calc.Count(max(1, b.Drums)), Feed: calc.Kg(b.FeedKg), Moisture: calc.WetBasis(moisture), Char: calc.Kg(b.CharKg), Unburnt: calc.Kg(b.BrandsKg),
	}
	if weighed.Believable(feed) != nil {
		return 0, false
	}
	return b.CharKg / (b.FeedKg * (1 - moisture)), true
}

// count adds a batch to the sums n times, or takes it away.
func (r *round) count(b batchRow, days sql.NullFloat64, n float64) {
	r.add(sum{table: "made", when: b.month, topic: b.Waste, place: b.place}, n, n*b.FeedKg, n*b.CharKg)
	if y, ok := yield(b.Batch); ok {
		r.add(sum{table: "spread", step: "yield", when: b.month, topic: b.Waste, place: b.place, bin: int64(y / yieldStep)}, n)
	}
	if days.Valid {
		r.add(sum{table: "spread", step: "days", when: b.month, topic: b.Waste, place: b.place, bin: int64(days.Float64 / daysStep)}, n)
	}
}

// lookUp asks the store about people the journal named, and reports whether one
// of them was forgotten.
func (r *round) lookUp() (gone bool, err error) {
	ids := map[int64]bool{}
	for id, p := range r.persons {
		if p.dirty {
			ids[id] = true
		}
	}
	rows, err := r.tx.QueryContext(r.ctx, `SELECT key FROM person WHERE dirty = 1 LIMIT ?`, batchPersons)
	if err != nil {
		return false, fmt.Errorf("list whom to look up: %w", err)
	}
	for rows.Next() {
		var id int64
		if err := rows.Scan(&id); err != nil {
			return false, errors.Join(err, rows.Close())
		}
		ids[id] = true
	}
	if err := errors.Join(rows.Err(), rows.Close()); err != nil {
		return false, fmt.Errorf("list whom to look up: %w", err)
	}
	looked := 0
	for id := range ids {
		if looked++; looked > batchPersons {
			break
		}
		p, err := r.person(id)
		if err != nil {
			return false, err
		}
		c, err := r.v.source.Person(r.ctx, personKey(id))
		switch {
		case errors.Is(err, gateway.ErrNotFound):
			if err := r.forget(id); err != nil {
				return false, fmt.Errorf("forget a person: %w", err)
			}
			p.gone, gone = true, true
		case err != nil:
			return false, fmt.Errorf("look up a person: %w", err)
		default:
			if err := r.profile(id, p, c); err != nil {
				return false, fmt.Errorf("note a person: %w", err)
			}
		}
		p.dirty = false
	}
	return gone, nil
}

// profile notes who a person is and what they have under way.
func (r *round) profile(id int64, p *person, c gateway.Conversation) error {
	s := c.State
	place := cmp.Or(s.Place, r.v.options.Home)
	seen := int64(0)
	if !s.Seen.IsZero() {
		seen = s.Seen.UnixMilli()
	}
	errs := []error{
		r.exec(`INSERT INTO person (key, shown, place, grp, lang, stopped, accepts, seen) VALUES (?, ?, ?, ?, ?, ?, ?, ?)
			ON CONFLICT (key) DO UPDATE SET shown = excluded.shown, place = excluded.place, grp = excluded.grp, lang = excluded.lang, stopped = excluded.stopped, accepts = excluded.accepts, seen = excluded.seen`,
			id, p.texts > 0 || s.Profile.Consent != "", place, s.Profile.Group, string(s.Lang), s.Stopped, s.Accepts(), seen),
		r.exec(`DELETE FROM drum WHERE person = ?`, id),
	}
	for i, d := range s.Drums {
		errs = append(errs, r.exec(`INSERT INTO drum (person, n, stage, place) VALUES (?, ?, ?, ?)`, id, i, d.Stage, place))
	}
	// Batches that an older program did not journal.
	for _, b := range s.Batches {
		_, _, found, err := r.known(id, b.At.UnixMilli(), b.Name)
		if err == nil && !found {
			err = r.batch(&person{}, id, b, place)
		}
		errs = append(errs, err)
	}
	return errors.Join(errs...)
}

// forget deletes what the file holds of a person. Sums stay, since they name
// nobody; a batch, which is the person's own, leaves them.
func (r *round) forget(id int64) error {
	rows, err := r.tx.QueryContext(r.ctx, `SELECT id, text FROM line WHERE person = ? AND kind = ? AND text <> ''`, id, int64(gateway.Heard))
	if err != nil {
		return err
	}
	texts := map[int64]string{}
	for rows.Next() {
		var line int64
		var text string
		if err := rows.Scan(&line, &text); err != nil {
			return errors.Join(err, rows.Close())
		}
		texts[line] = text
	}
	if err := errors.Join(rows.Err(), rows.Close()); err != nil {
		return err
	}
	for line, text := range texts {
		if err := r.exec(`INSERT INTO words (words, rowid, text) VALUES ('delete', ?, ?)`, line, indexed(text)); err != nil {
			return err
		}
	}
	if rows, err = r.tx.QueryContext(r.ctx, `SELECT month, waste, place, feed, char, moisture, days FROM batch WHERE person = ?`, id); err != nil {
		return err
	}
	for rows.Next() {
		var b batchRow
		var days sql.NullFloat64
		if err := rows.Scan(&b.month, &b.Waste, &b.place, &b.FeedKg, &b.CharKg, &b.Moisture, &days); err != nil {
			return errors.Join(err, rows.Close())
		}
		r.count(b, days, -1)
	}
	if err := errors.Join(rows.Err(), rows.Close()); err != nil {
		return err
	}
	for _, table := range []string{"line", "matter", "drum", "batch"} {
		if err := r.exec(`DELETE FROM `+table+` WHERE person = ?`, id); err != nil {
			return err
		}
	}
	return r.exec(`UPDATE person SET shown = 0, place = '', grp = '', lang = '', stopped = 0, accepts = 0, seen = 0 WHERE key = ?`, id)
}

// write ends the round: what is known of people, the sums, and how far it came.
func (r *round) write(saved gateway.Key) error {
	for id, p := range r.persons {
		err := r.exec(`INSERT INTO person (key, gone, first, last, texts, stop_month, stop_place, stop_lang, stop_topic, stop_step, recipe, recipe_last, lit, done, alarm, dirty)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
			ON CONFLICT (key) DO UPDATE SET gone = excluded.gone, first = excluded.first, last = excluded.last, texts = excluded.texts,
			stop_month = excluded.stop_month, stop_place = excluded.stop_place, stop_lang = excluded.stop_lang, stop_topic = excluded.stop_topic, stop_step = excluded.stop_step,
			recipe = excluded.recipe, recipe_last = excluded.recipe_last, lit = excluded.lit, done = excluded.done, alarm = excluded.alarm, dirty = excluded.dirty`,
			id, p.gone, p.first, p.last, p.texts, p.stop.month, p.stop.place, p.stop.lang, p.stop.topic, p.stop.step, p.recipe, p.recipeEnd, p.lit, p.done, p.alarm, p.dirty)
		if err != nil {
			return fmt.Errorf("write where persons are: %w", err)
		}
	}
	for s, a := range r.sums {
		if a == (amounts{}) {
			continue
		}
		if err := r.writeSum(s, a); err != nil {
			return fmt.Errorf("write the sums %q: %w", s.table, err)
		}
	}
	if err := r.exec(`UPDATE meta SET key = ?`, saved[:]); err != nil {
		return fmt.Errorf("write how far views are: %w", err)
	}
	return nil
}

func (r *round) writeSum(s sum, a amounts) error {
	switch s.table {
	case "said":
		return r.exec(`INSERT INTO said (day, place, lang, n, puzzled) VALUES (?, ?, ?, ?, ?)
			ON CONFLICT DO UPDATE SET n = n + excluded.n, puzzled = puzzled + excluded.puzzled`, s.when, s.place, s.lang, int64(a[0]), int64(a[1]))
	case "about":
		return r.exec(`INSERT INTO about (month, place, lang, topic, n, puzzled) VALUES (?, ?, ?, ?, ?, ?)
			ON CONFLICT DO UPDATE SET n = n + excluded.n, puzzled = puzzled + excluded.puzzled`, s.when, s.place, s.lang, s.topic, int64(a[0]), int64(a[1]))
	case "stop":
		return r.exec(`INSERT INTO stop (month, place, lang, topic, step, n) VALUES (?, ?, ?, ?, ?, ?)
			ON CONFLICT DO UPDATE SET n = n + excluded.n`, s.when, s.place, s.lang, s.topic, s.step, int64(a[0]))
	case "spend":
		return r.exec(`INSERT INTO spend (day, channel, segments, money) VALUES (?, ?, ?, ?)
			ON CONFLICT DO UPDATE SET segments = segments + excluded.segments, money = money + excluded.money`, s.when, s.topic, int64(a[0]), int64(a[1]))
	case "made":
		return r.exec(`INSERT INTO made (month, waste, place, n, feed, char) VALUES (?, ?, ?, ?, ?, ?)
			ON CONFLICT DO UPDATE SET n = n + excluded.n, feed = feed + excluded.feed, char = char + excluded.char`, s.when, s.topic, s.place, int64(a[0]), a[1], a[2])
	}
	what := spreadYield
	if s.step == "days" {
		what = spreadDays
	}
	return r.exec(`INSERT INTO spread (what, month, waste, place, bin, n) VALUES (?, ?, ?, ?, ?, ?)
		ON CONFLICT DO UPDATE SET n = n + excluded.n`, what, s.when, s.topic, s.place, s.bin, int64(a[0]))
}
