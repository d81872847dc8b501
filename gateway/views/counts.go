package views

import (
	"cmp"
	"context"
	"database/sql"
	"slices"
	"strings"
	"time"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/locales"
)

// Within restricts a count. What is left out restricts nothing.
type Within struct {
	Place    string
	Lang     locales.Lang
	Topic    string
	From, To time.Time // both are included; Days counts by day, all else by month
}

// where returns the conditions on a table of sums, of which the given column is
// a part of a day.
func (w Within) where(v *Views, column string, part int64) (string, []any) {
	where, args := []string{`1`}, []any{}
	add := func(condition string, arg any) { where, args = append(where, condition), append(args, arg) }
	if w.Place != "" {
		add(`place = ?`, w.Place)
	}
	if w.Lang != "" {
		add(`lang = ?`, string(w.Lang))
	}
	if w.Topic != "" {
		add(`topic = ?`, w.Topic)
	}
	if !w.From.IsZero() {
		add(column+` >= ?`, v.day(w.From)/part)
	}
	if !w.To.IsZero() {
		add(column+` <= ?`, v.day(w.To)/part)
	}
	return strings.Join(where, ` AND `), args
}

// Stop is a question at which conversations ended: a day passed without another
// text.
type Stop struct {
	Topic string
	Step  string // the slot that was asked for; empty where nothing was asked
	Ended int    // conversations
}

// Stops returns where conversations ended, the most frequent first.
func (v *Views) Stops(ctx context.Context, w Within, now time.Time) (stops []Stop, err error) {
	type place struct{ topic, step string }
	ended := map[place]int{}
	sum := func(sign int) func(row *sql.Rows) error {
		return func(row *sql.Rows) error {
			var p place
			var n int
			err := row.Scan(&p.topic, &p.step, &n)
			ended[p] += sign * n
			return err
		}
	}
	where, args := w.where(v, `month`, 100)
	if err := v.query(ctx, sum(1), `SELECT topic, step, sum(n) FROM stop WHERE `+where+` GROUP BY topic, step`, args...); err != nil {
		return nil, err
	}
	// Whoever wrote within the last day may still go on.
	recent := strings.NewReplacer(`place`, `stop_place`, `lang`, `stop_lang`, `topic`, `stop_topic`, `month`, `stop_month`).Replace(where)
	err = v.query(ctx, sum(-1), `SELECT stop_topic, stop_step, count(*) FROM person WHERE last >= ? AND last > 0 AND `+recent+` GROUP BY stop_topic, stop_step`,
		append([]any{now.Add(-silence).UnixMilli()}, args...)...)
	if err != nil {
		return nil, err
	}
	for p, n := range ended {
		if n > 0 {
			stops = append(stops, Stop{p.topic, p.step, n})
		}
	}
	slices.SortFunc(stops, func(a, b Stop) int {
		return cmp.Or(b.Ended-a.Ended, strings.Compare(a.Topic, b.Topic), strings.Compare(a.Step, b.Step))
	})
	return stops, nil
}

// Said is how many texts came on a day.
type Said struct {
	Day     time.Time
	Texts   int
	Unknown int // of them, not understood
}

// Days counts texts of all topics by day, the oldest first. A day without any is
// left out.
func (v *Views) Days(ctx context.Context, w Within) (days []Said, err error) {
	w.Topic = ""
	where, args := w.where(v, `day`, 1)
	err = v.query(ctx, func(row *sql.Rows) error {
		var day int64
		var s Said
		err := row.Scan(&day, &s.Texts, &s.Unknown)
		s.Day = v.dayTime(day)
		days = append(days, s)
		return err
	}, `SELECT day, sum(n), sum(puzzled) FROM said WHERE `+where+` GROUP BY day ORDER BY day`, args...)
	return days, err
}

// About is how many texts were about a topic, and how many of them were not
// understood.
type About struct {
	Topic          string
	Texts, Unknown int
}

// Topics counts texts by what they were about, the most frequent first.
func (v *Views) Topics(ctx context.Context, w Within) (topics []About, err error) {
	where, args := w.where(v, `month`, 100)
	err = v.query(ctx, func(row *sql.Rows) error {
		var a About
		err := row.Scan(&a.Topic, &a.Texts, &a.Unknown)
		topics = append(topics, a)
		return err
	}, `SELECT topic, sum(n) AS texts, sum(puzzled) FROM about WHERE `+where+` GROUP BY topic ORDER BY texts DESC, topic`, args...)
	return topics, err
}

// Spent is what the messages of a channel took on a day or in a month.
type Spent struct {
	From    time.Time
	Channel string
	gateway.Spend
}

// Spending returns what messages took from a day to another, both included, by
// day or by month, the newest first.
func (v *Views) Spending(ctx context.Context, from, to time.Time, byMonth bool) (spent []Spent, err error) {
	when := `day`
	if byMonth {
		when = `day / 100 * 100 + 1`
	}
	err = v.query(ctx, func(row *sql.Rows) error {
		var day int64
		var s Spent
		err := row.Scan(&day, &s.Channel, &s.Segments, &s.Money)
		s.From = v.dayTime(day)
		spent = append(spent, s)
		return err
	}, `SELECT `+when+` AS day1, channel, sum(segments), sum(money) FROM spend WHERE day BETWEEN ? AND ? GROUP BY day1, channel ORDER BY day1 DESC, channel`, v.day(from), v.day(to))
	return spent, err
}

// Of says which batches are measured. What is left out restricts nothing.
type Of struct {
	Waste, Place string
	From, To     time.Time // months; both are included
}

// By says what the batches of one row have in common.
type By struct{ Waste, Place, Month bool }

// Spread is how a measure of some batches is spread. Low and High are what one
// in ten is below and above.
type Spread struct {
	Waste, Place      string    // empty if the row has all
	Month             time.Time // zero if the row has all
	Batches           int       // finished
	FeedKg, CharKg    float64   // of all of them
	Measured          int       // batches of which the measure is known
	Low, Median, High float64
}

// Yields returns what part of the dry waste became charcoal.
func (v *Views) Yields(ctx context.Context, of Of, by By) ([]Spread, error) {
	return v.spreads(ctx, of, by, spreadYield, yieldStep)
}

// Durations returns the days from a recipe to its finished batch.
func (v *Views) Durations(ctx context.Context, of Of, by By) ([]Spread, error) {
	return v.spreads(ctx, of, by, spreadDays, daysStep)
}

// spreads returns the rows in the order of month, the newest first, place and
// waste.
func (v *Views) spreads(ctx context.Context, of Of, by By, what int, step float64) (spreads []Spread, err error) {
	where, args := []string{`1`}, []any{}
	add := func(condition string, arg any) { where, args = append(where, condition), append(args, arg) }
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
	condition := strings.Join(where, ` AND `)
	column := func(name, none string, wanted bool) string {
		if wanted {
			return name
		}
		return none
	}
	columns := column(`month`, `0`, by.Month) + ` AS m, ` + column(`place`, `''`, by.Place) + ` AS p, ` + column(`waste`, `''`, by.Waste) + ` AS w`
	type row struct {
		month        int64
		place, waste string
	}
	at := map[row]int{}
	err = v.query(ctx, func(r *sql.Rows) error {
		var k row
		var s Spread
		if err := r.Scan(&k.month, &k.place, &k.waste, &s.Batches, &s.FeedKg, &s.CharKg); err != nil {
			return err
		}
		s.Place, s.Waste = k.place, k.waste
		if k.month > 0 {
			s.Month = v.monthTime(k.month)
		}
		at[k] = len(spreads)
		spreads = append(spreads, s)
		return nil
	}, `SELECT `+columns+`, sum(n), sum(feed), sum(char) FROM made WHERE `+condition+` GROUP BY m, p, w HAVING sum(n) > 0 ORDER BY m DESC, p, w`, args...)
	if err != nil {
		return nil, err
	}
	bins := make([][]bin, len(spreads))
	err = v.query(ctx, func(r *sql.Rows) error {
		var k row
		var b bin
		if err := r.Scan(&k.month, &k.place, &k.waste, &b.at, &b.n); err != nil {
			return err
		}
		if i, ok := at[k]; ok && b.n > 0 {
			bins[i] = append(bins[i], b)
		}
		return nil
	}, `SELECT `+columns+`, bin, sum(n) FROM spread WHERE what = ? AND `+condition+` GROUP BY m, p, w, bin ORDER BY m DESC, p, w, bin`, append([]any{what}, args...)...)
	for i, bins := range bins {
		s := &spreads[i]
		for _, b := range bins {
			s.Measured += b.n
		}
		s.Low, s.Median, s.High = quantile(bins, s.Measured, 0.1)*step, quantile(bins, s.Measured, 0.5)*step, quantile(bins, s.Measured, 0.9)*step
	}
	return spreads, err
}

// bin is how many batches measure from one step to the next.
type bin struct{ at, n int }

// quantile returns where a share of n batches is reached, in steps. Those of one
// bin count as spread evenly over it.
func quantile(bins []bin, n int, share float64) float64 {
	want := share * float64(n)
	for _, b := range bins {
		if want <= float64(b.n) {
			return float64(b.at) + want/float64(b.n)
		}
		want -= float64(b.n)
	}
	return 0
}

// Work is how many people of a place have something under way.
type Work struct {
	Place                      string
	Lit, Sealed, Opened        int // people with a drum in this stage
	Drying                     int // people whose briquettes dry
	Producers, OptedOut, Wrote int // people of the place, who opted out, who wrote in the last 30 days
}

// month is how long ago somebody wrote who is counted as using the line.
const month = 30 * 24 * time.Hour

// Works returns what is under way in each place, in the order of their keys.
func (v *Views) Works(ctx context.Context, now time.Time) (works []Work, err error) {
	at := map[string]int{}
	of := func(place string) *Work {
		i, ok := at[place]
		if !ok {
			i = len(works)
			at[place] = i
			works = append(works, Work{Place: place})
		}
		return &works[i]
	}
	err = v.query(ctx, func(row *sql.Rows) error {
		var place string
		var producers, out, wrote int
		err := row.Scan(&place, &producers, &out, &wrote)
		w := of(place)
		w.Producers, w.OptedOut, w.Wrote = producers, out, wrote
		return err
	}, `SELECT place, count(*), sum(stopped), sum(seen >= ?) FROM person WHERE shown = 1 GROUP BY place`, now.Add(-month).UnixMilli())
	if err != nil {
		return nil, err
	}
	err = v.query(ctx, func(row *sql.Rows) error {
		var place, stage string
		var n int
		if err := row.Scan(&place, &stage, &n); err != nil {
			return err
		}
		switch w := of(place); stage {
		case "lit":
			w.Lit = n
		case "sealed":
			w.Sealed = n
		case "opened":
			w.Opened = n
		}
		return nil
	}, `SELECT place, stage, count(DISTINCT person) FROM drum GROUP BY stage, place`)
	if err != nil {
		return nil, err
	}
	err = v.query(ctx, func(row *sql.Rows) error {
		var place string
		var n int
		err := row.Scan(&place, &n)
		of(place).Drying = n
		return err
	}, `SELECT p.place, count(DISTINCT b.person) FROM batch b CROSS JOIN person p ON p.key = b.person WHERE b.at >= ? AND p.shown = 1 GROUP BY p.place`, now.Add(-dialog.DryingTime).UnixMilli())
	slices.SortFunc(works, func(a, b Work) int { return strings.Compare(a.Place, b.Place) })
	return works, err
}

// Totals are the figures of a front page.
type Totals struct {
	Work               // of all places together
	Today, Week Said   // texts
	Open        [5]int // matters by their kind
	Batches     int    // finished this month
	CharKg      float64
}

// Totals returns the figures of a front page.
func (v *Views) Totals(ctx context.Context, now time.Time) (t Totals, err error) {
	works, err := v.Works(ctx, now)
	if err != nil {
		return t, err
	}
	for _, w := range works {
		t.Lit, t.Sealed, t.Opened, t.Drying = t.Lit+w.Lit, t.Sealed+w.Sealed, t.Opened+w.Opened, t.Drying+w.Drying
		t.Producers, t.OptedOut, t.Wrote = t.Producers+w.Producers, t.OptedOut+w.OptedOut, t.Wrote+w.Wrote
	}
	week := now.In(v.options.Zone).AddDate(0, 0, -6)
	days, err := v.Days(ctx, Within{From: week, To: now})
	if err != nil {
		return t, err
	}
	t.Today.Day, t.Week.Day = v.dayTime(v.day(now)), v.dayTime(v.day(week))
	for _, d := range days {
		t.Week.Texts, t.Week.Unknown = t.Week.Texts+d.Texts, t.Week.Unknown+d.Unknown
		if d.Day.Equal(t.Today.Day) {
			t.Today = d
		}
	}
	err = v.query(ctx, func(row *sql.Rows) error {
		var what, n int
		err := row.Scan(&what, &n)
		if what > 0 && what < len(t.Open) {
			t.Open[what] = n
		}
		return err
	}, `SELECT what, count(*) FROM matter WHERE open = 1 GROUP BY what`)
	if err != nil {
		return t, err
	}
	err = v.query(ctx, func(row *sql.Rows) error { return row.Scan(&t.Batches, &t.CharKg) },
		`SELECT coalesce(sum(n), 0), coalesce(sum(char), 0) FROM made WHERE month = ?`, v.day(now)/100)
	return t, err
}
