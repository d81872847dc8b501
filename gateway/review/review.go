// Package review looks a language through, for who translates it and for who
// signs it: what is to mend in its files, what each message costs, and the
// language beside the default one.
package review

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"slices"
	"strings"

	"cobline/gateway/sms"
	"cobline/locales"
)

// Report is what a look through a language found.
type Report struct {
	Lang     locales.Lang
	Catalog  *locales.Catalog // as far as it could be read
	Faults   []locales.Fault  // to mend, in the order of the files
	Stale    []locales.ID     // made from an English text that is another now
	Unnoted  []locales.ID     // from which English they were made is not noted
	Messages int              // that could be read
	Over     int              // of these over their budget
	Lines    []Line           // the fixed safety lines
}

// Line is a fixed safety line of a language.
type Line struct {
	ID locales.ID
	locales.Signature
}

// ErrAbsent tells that a language has no file.
var ErrAbsent = errors.New("this language has no file")

// Look reads a language of a folder, and the default one it is held to.
func Look(files fs.FS, l locales.Lang) (*Report, error) {
	c, faults := locales.Inspect(files)
	r := &Report{Lang: l, Catalog: c}
	read := slices.Contains(c.Langs(), l) || slices.Contains(c.Heard(), l)
	for _, f := range faults {
		if _, rest, _ := strings.Cut(f.File, "."); rest == string(l)+".toml" || rest == string(locales.Default)+".toml" {
			r.Faults, read = append(r.Faults, f), true
		}
	}
	if !read {
		return nil, ErrAbsent
	}
	if !slices.Contains(c.Langs(), locales.Default) {
		return nil, errors.Join(joined(r.Faults)...)
	}
	r.Faults = append(r.Faults, c.Check(l)...)
	if slices.Contains(c.Langs(), l) {
		r.Stale, r.Unnoted = c.Stale(l), c.Unnoted(l)
		r.Faults = append(r.Faults, c.Plain(l)...)
		r.price()
		r.Lines = lines(c, l)
		r.signatures()
		r.untold()
	}
	slices.SortStableFunc(r.Faults, func(a, b locales.Fault) int {
		return cmp.Or(strings.Compare(a.File, b.File), a.Line-b.Line)
	})
	return r, nil
}

func joined(faults []locales.Fault) []error {
	errs := make([]error, len(faults))
	for i, f := range faults {
		errs[i] = f
	}
	return errs
}

// Cost is what a message costs to send.
type Cost struct {
	Text     string // as it leaves, in the cheapest alphabet that loses no meaning
	Segments int
	Units    int // characters of its alphabet
	Alphabet string
}

// Costs returns what each form of a message costs with its longest arguments.
func Costs(c *locales.Catalog, l locales.Lang, id locales.ID) []Cost {
	var costs []Cost
	for _, text := range c.Longest(l, id) {
		sent := sms.Plain(text, locales.Substitutions(l))
		parts := sms.Split(sent)
		costs = append(costs, Cost{sent, len(parts.Segments), parts.Units, parts.Encoding.String()})
	}
	return costs
}

// worst returns the form that costs most.
func worst(costs []Cost) Cost {
	if len(costs) == 0 {
		return Cost{}
	}
	return slices.MaxFunc(costs, func(a, b Cost) int { return cmp.Or(a.Segments-b.Segments, a.Units-b.Units) })
}

// Budget returns how many segments a message may take in a language.
func Budget(l locales.Lang, id locales.ID) int {
	if locales.Wide(l) {
		return 3 * locales.Budget(id)
	}
	return locales.Budget(id)
}

// price tells which messages cost more than they may.
func (r *Report) price() {
	for _, id := range locales.IDs() {
		costs := Costs(r.Catalog, r.Lang, id)
		if len(costs) == 0 {
			continue
		}
		r.Messages++
		dear := worst(costs)
		switch budget := Budget(r.Lang, id); {
		case dear.Segments > budget:
			r.Over++
			r.fault(id, "takes %d segments (%d characters, %s), %d are allowed: %s", dear.Segments, dear.Units, dear.Alphabet, budget, dear.Text)
		case !locales.Wide(r.Lang) && dear.Alphabet != sms.GSM7.String():
			r.fault(id, "leaves the cheap alphabet with %q: %s", beyond(dear.Text), dear.Text)
		}
	}
}

// beyond returns the characters outside the cheap alphabet.
func beyond(text string) string {
	return strings.Map(func(c rune) rune {
		if e, _ := sms.Measure(string(c)); e == sms.GSM7 {
			return -1
		}
		return c
	}, text)
}

func (r *Report) fault(id locales.ID, format string, args ...any) {
	r.Faults = append(r.Faults, r.Catalog.At(r.Lang, id, fmt.Sprintf(format, args...)))
}

// lines reads what stands beside the fixed lines of a language.
func lines(c *locales.Catalog, l locales.Lang) []Line {
	var all []Line
	for _, id := range c.Fixed() {
		if c.Has(l, id) {
			all = append(all, Line{id, c.Signature(l, id)})
		}
	}
	return all
}

// signatures tells what is missing beside the fixed lines, and which messages
// were signed and changed since.
func (r *Report) signatures() {
	for _, id := range locales.IDs() {
		if s := r.Catalog.Signature(r.Lang, id); s.Strayed {
			r.fault(id, `is another text than the one that was signed as %s: read it again, then raise the version and sign it "of %s"`, s.Version, r.Catalog.OwnPrint(r.Lang, id))
		}
	}
	for _, line := range r.Lines {
		switch {
		case line.Version == "":
			r.fault(line.ID, `is a safety line: give it a description "draft, unreviewed, v1. <what it says in English>", or "reviewed by <name>, <year-month-day>, v1 of %s. <what it says in English>"`, r.Catalog.OwnPrint(r.Lang, line.ID))
		case r.Lang != locales.Default && line.Back == "":
			r.fault(line.ID, "does not say after its version what it says in English")
		}
	}
}

// Standing is how far a language has been looked at.
type Standing struct {
	Messages, Unreviewed   int // beside the safety lines
	Lines, UnreviewedLines int // of safety
	Master                 bool
}

// StandingOf tells how far a language has been looked at.
func StandingOf(c *locales.Catalog, l locales.Lang) Standing {
	lines, others := c.Unreviewed(l)
	s := Standing{Unreviewed: len(others), UnreviewedLines: len(lines), Master: l == locales.Default}
	for _, id := range c.Fixed() {
		if c.Has(l, id) {
			s.Lines++
		}
	}
	for _, id := range locales.IDs() {
		if c.Has(l, id) {
			s.Messages++
		}
	}
	s.Messages -= s.Lines
	return s
}

// Signed tells how many safety lines of a language are signed, by version.
func Signed(c *locales.Catalog, l locales.Lang) string {
	all, waiting, versions := lines(c, l), 0, map[string]int{}
	for _, line := range all {
		if line.By == "" {
			waiting++
			versions[cmp.Or(line.Version, "no version")]++
		}
	}
	if waiting == 0 {
		return fmt.Sprintf("%d safety lines, all signed", len(all))
	}
	var parts []string
	for _, v := range slices.Sorted(maps.Keys(versions)) {
		parts = append(parts, fmt.Sprintf("%d of %s", versions[v], v))
	}
	return fmt.Sprintf("%d safety lines, %d unreviewed (%s)", len(all), waiting, strings.Join(parts, ", "))
}

// Master returns the file that notes from which English each message of a
// language was made: what it notes so far, and for the named messages, or all
// if none is named, the English as it stands.
func (r *Report) Master(ids []locales.ID) ([]byte, error) {
	now := map[locales.ID]bool{}
	for _, id := range ids {
		if !r.Catalog.Has(r.Lang, id) {
			return nil, fmt.Errorf("%q is no message of this language", id)
		}
		now[id] = true
	}
	var b strings.Builder
	b.WriteString("# The English from which each message was made, by its fingerprint. Written by\n" +
		"# `cobline check --lang " + string(r.Lang) + " --dir FOLDER --note`; the safety lines note theirs themselves.\n")
	fixed := r.Catalog.Fixed()
	for _, id := range locales.IDs() {
		if !r.Catalog.Has(r.Lang, id) || slices.Contains(fixed, id) {
			continue
		}
		master := r.Catalog.Master(r.Lang, id)
		if len(ids) == 0 || now[id] {
			master = r.Catalog.Print(id)
		}
		if master != "" {
			fmt.Fprintf(&b, "%q = %q\n", id, master)
		}
	}
	return []byte(b.String()), nil
}
