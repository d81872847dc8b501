package views

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"slices"
	"strings"
	"time"

	"cobline/gateway"
	"cobline/locales"
)

// Alike is a group of texts of one language that were not understood and are
// likely the same.
type Alike struct {
	Lang        locales.Lang
	Texts       int
	Forms       []Form // the most frequent first
	First, Last time.Time
	Days        []int // texts of each day, from the first asked for to the newest
	Examples    []Hit // the newest, of different people if there are such
}

// Form is one normal form of a group, and how many texts have it.
type Form struct {
	Form  string
	Texts int
}

// Unknowns is a part of the groups, the biggest first.
type Unknowns struct {
	Groups []Alike
	All    int // groups there are
}

const (
	// maxForms is how many normal forms are compared with each other: beyond the
	// most frequent ones there are only texts that came once.
	maxForms = 3000
	// examples is how many texts of a group are shown.
	examples = 3
	// maxDays is how many days a group is counted over.
	maxDays = 92
)

// Unknown returns the texts of a language that were not understood since a
// moment, those that are alike together. Skip and most choose a part of the
// groups.
func (v *Views) Unknown(ctx context.Context, lang locales.Lang, since, now time.Time, skip, most int) (u Unknowns, err error) {
	type row struct {
		Form
		first, last int64
	}
	rows := map[string]row{}
	var forms []Form
	err = v.query(ctx, func(r *sql.Rows) error {
		var f row
		if err := r.Scan(&f.Form.Form, &f.Texts, &f.first, &f.last); err != nil {
			return err
		}
		rows[f.Form.Form] = f
		forms = append(forms, f.Form)
		return nil
	}, `SELECT norm, count(*) AS n, min(at), max(at) FROM line WHERE norm IS NOT NULL AND lang = ? AND at >= ? GROUP BY norm ORDER BY n DESC, norm LIMIT ?`,
		string(lang), since.UnixMilli(), maxForms)
	if err != nil {
		return Unknowns{}, err
	}
	groups := group(forms)
	u.All = len(groups)
	groups = groups[min(skip, len(groups)):min(skip+most, len(groups))]
	if limit := now.AddDate(0, 0, -maxDays+1); since.Before(limit) {
		since = limit
	}
	known := v.acquaint()
	for _, forms := range groups {
		a := Alike{Lang: lang, Forms: forms}
		var first, last int64
		for _, f := range forms {
			r := rows[f.Form]
			a.Texts += r.Texts
			last = max(last, r.last)
			if first == 0 || r.first < first {
				first = r.first
			}
		}
		a.First, a.Last = moment(first), moment(last)
		if a.Days, err = v.perDay(ctx, lang, forms, since, now); err != nil {
			return Unknowns{}, err
		}
		if a.Examples, err = v.examples(ctx, known, lang, forms); err != nil {
			return Unknowns{}, err
		}
		u.Groups = append(u.Groups, a)
	}
	return u, nil
}

// perDay counts the texts of some forms by day.
func (v *Views) perDay(ctx context.Context, lang locales.Lang, forms []Form, since, now time.Time) ([]int, error) {
	var days []int64
	for t := v.dayTime(v.day(since)); !t.After(now); t = t.AddDate(0, 0, 1) {
		days = append(days, t.UnixMilli())
	}
	counts := make([]int, len(days))
	if len(days) == 0 {
		return counts, nil
	}
	in, args := listed(forms)
	return counts, v.query(ctx, func(row *sql.Rows) error {
		var at int64
		if err := row.Scan(&at); err != nil {
			return err
		}
		day, found := slices.BinarySearch(days, at)
		if !found {
			day--
		}
		counts[max(day, 0)]++
		return nil
	}, `SELECT at FROM line WHERE norm IS NOT NULL AND lang = ? AND norm IN `+in+` AND at >= ? AND at <= ?`,
		append(append([]any{string(lang)}, args...), days[0], now.UnixMilli())...)
}

func listed(forms []Form) (in string, args []any) {
	for _, f := range forms {
		args = append(args, f.Form)
	}
	return marks(len(forms)), args
}

// examples returns the newest texts of some forms, of different people first.
func (v *Views) examples(ctx context.Context, known acquaintance, lang locales.Lang, forms []Form) (hits []Hit, err error) {
	const look = 30
	in, args := listed(forms)
	var persons []int64
	var found []Hit
	err = v.query(ctx, func(row *sql.Rows) error {
		h := Hit{Lang: lang}
		var id, at, person int64
		if err := row.Scan(&id, &at, &person, &h.Channel, &h.Place, &h.Topic, &h.Step, &h.Text); err != nil {
			return err
		}
		h.Key, h.At = keyOf(id, at), moment(at)
		found, persons = append(found, h), append(persons, person)
		return nil
	}, `SELECT id, at, person, channel, place, topic, step, text FROM line WHERE norm IS NOT NULL AND lang = ? AND norm IN `+in+` ORDER BY at DESC, id DESC LIMIT ?`,
		append(append([]any{string(lang)}, args...), look)...)
	if err != nil {
		return nil, err
	}
	shown := map[int64]bool{}
	var again []int
	for i := range found {
		if shown[persons[i]] {
			again = append(again, i)
			continue
		}
		shown[persons[i]] = true
		again = slices.Insert(again, len(shown)-1, i) // those of other people before it
	}
	for _, i := range again {
		h := found[i]
		if h.Who, err = known.who(ctx, persons[i]); errors.Is(err, gateway.ErrNotFound) {
			continue // they were forgotten just now
		} else if err != nil {
			return nil, err
		}
		h.Snippet, _ = sought(nil).snippet(h.Text)
		if hits = append(hits, h); len(hits) == examples {
			break
		}
	}
	return hits, nil
}

// group puts forms that are alike together. Each joins the first group whose
// first form it is like, the frequent ones going before, so that the same forms
// always make the same groups.
func group(forms []Form) (groups [][]Form) {
	forms = slices.Clone(forms)
	slices.SortFunc(forms, func(a, b Form) int {
		return cmp.Or(b.Texts-a.Texts, len(a.Form)-len(b.Form), strings.Compare(a.Form, b.Form))
	})
	var leaders []shape
	var sums []int
next:
	for _, f := range forms {
		s := shapeOf(f.Form)
		for i, l := range leaders {
			if l.like(s) {
				groups[i] = append(groups[i], f)
				sums[i] += f.Texts
				continue next
			}
		}
		leaders, groups, sums = append(leaders, s), append(groups, []Form{f}), append(sums, f.Texts)
	}
	order := make([]int, len(groups))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return sums[b] - sums[a] })
	sorted := make([][]Form, len(groups))
	for i, at := range order {
		sorted[i] = groups[at]
	}
	return sorted
}

// shape is a form as it is compared.
type shape struct {
	runes []rune
	words []string // sorted
	mask  uint64   // which runes are in it: what differs in many is not alike
}

func shapeOf(form string) shape {
	s := shape{runes: []rune(form), words: strings.Fields(form)}
	slices.Sort(s.words)
	s.words = slices.Compact(s.words)
	for _, r := range s.runes {
		s.mask |= 1 << (uint32(r) % 64)
	}
	return s
}

// How much two forms may differ. Common practice, no source: one slip in a short
// text and one in six letters of a longer one; or the same words in another
// order, with one in four different; or one long word alone and among few others.
const (
	shortest      = 4
	lettersASlip  = 6
	mostSlips     = 4
	fewestWords   = 3
	sharedOfWords = 0.75
	longWord      = 5
	fewOthers     = 3
)

// like reports whether two forms are likely the same text.
func (a shape) like(b shape) bool {
	slips := slipsIn(min(len(a.runes), len(b.runes)))
	if slips > 0 && abs(len(a.runes)-len(b.runes)) <= slips && ones(a.mask&^b.mask) <= slips && ones(b.mask&^a.mask) <= slips &&
		within(a.runes, b.runes, slips) {
		return true
	}
	if len(a.words) < fewestWords || len(b.words) < fewestWords {
		return a.among(b) || b.among(a)
	}
	shared := 0
	for i, j := 0, 0; i < len(a.words) && j < len(b.words); {
		switch c := strings.Compare(a.words[i], b.words[j]); {
		case c == 0:
			shared, i, j = shared+1, i+1, j+1
		case c < 0:
			i++
		default:
			j++
		}
	}
	return float64(shared) >= sharedOfWords*float64(len(a.words)+len(b.words)-shared)
}

// among reports whether a form is one long word that stands in another beside few
// others, perhaps with a slip.
func (a shape) among(b shape) bool {
	return len(a.words) == 1 && len(a.runes) >= longWord && len(b.words) <= fewOthers+1 &&
		slices.ContainsFunc(b.words, func(w string) bool { return within(a.runes, []rune(w), 1) })
}

func slipsIn(letters int) int {
	if letters < shortest {
		return 0
	}
	return min(max(1, letters/lettersASlip), mostSlips)
}

func abs(n int) int { return max(n, -n) }

func ones(mask uint64) (n int) {
	for ; mask != 0; mask &= mask - 1 {
		n++
	}
	return n
}

// within reports whether one text becomes the other by at most so many slips: a
// letter more, less or other, or two that changed places.
func within(a, b []rune, slips int) bool {
	before, last, next := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(a); i++ {
		next[0] = i
		least := i
		for j := 1; j <= len(b); j++ {
			other := 1
			if a[i-1] == b[j-1] {
				other = 0
			}
			next[j] = min(last[j]+1, next[j-1]+1, last[j-1]+other)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				next[j] = min(next[j], before[j-2]+1)
			}
			least = min(least, next[j])
		}
		if least > slips {
			return false
		}
		before, last, next = last, next, before
	}
	return last[len(b)] <= slips
}
