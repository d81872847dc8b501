// Package locales speaks and understands: the messages of every language, the
// words people write in it, and the folding that makes two spellings of one
// word equal.
//
// Each language is at most three files. active.<lang>.toml holds the messages a
// person is sent; words.<lang>.toml holds the words a person may write, and the
// rules of wording; master.<lang>.toml notes from which English each message was
// made. A language with words alone is understood but not spoken.
//
// Everything that can be wrong with a catalogue is found by Load: after it, no
// method returns an error.
package locales

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"sync/atomic"

	"github.com/nicksnyder/go-i18n/v2/i18n"
	"github.com/nicksnyder/go-i18n/v2/i18n/template"
)

// Lang is the tag of a language as its files are named: en, sw, hi-Latn.
type Lang string

// Default is spoken where a language is not known.
const Default Lang = "en"

// ID names a message: topic.name.
type ID string

// Args fills the slots of a message. A value is a string or an int; a decimal
// is formatted with Number first, because its mark depends on the language.
type Args map[string]any

// Lexicon holds the spellings of each concept, as written in the words file.
type Lexicon map[string][]string

// Catalog is every language, read and checked. It is safe for concurrent use.
type Catalog struct {
	spoken map[Lang]*voice
	langs  []Lang
	words  map[Lang]Lexicon
	heard  []Lang
	rules  map[Lang]Rules
	lines  map[string]map[string]int // of each key in each file
	misses struct{ languages, ids, args atomic.Uint64 }
}

// voice is one spoken language.
type voice struct {
	name      string
	localizer *i18n.Localizer
	texts     map[ID]text
}

// text is one message, split at its slots.
type text struct {
	other  slotted
	forms  map[string]slotted // source of a plural form to its slots; nil if the message has one form
	counts []string           // the source for each of the counts from 0, which are most of those asked for
	parts  [2]bool            // whether a number between 0 and 1, or 1 and 2, has the form of 1
	print  string             // of this text
	own    string             // of all forms of this text
	master string             // print of the English text it was made from, if noted
	remark string             // what stands beside it: who looked at it, and what it says in English
}

// Langs lists the languages that can be spoken, the default first and the
// others in order.
func (c *Catalog) Langs() []Lang { return slices.Clone(c.langs) }

// Heard lists every language with a word list, spoken or not, in order.
func (c *Catalog) Heard() []Lang { return slices.Clone(c.heard) }

// Name returns a language's own name for itself.
func (c *Catalog) Name(l Lang) string { return c.voice(l).name }

// Has reports whether a language is spoken and has this message.
func (c *Catalog) Has(l Lang, id ID) bool {
	v, ok := c.spoken[l]
	if !ok {
		return false
	}
	_, ok = v.texts[id]
	return ok
}

// Text returns a message with its slots filled. It cannot fail: an unknown
// language is answered in the default one, an unknown message with an apology
// and an absent argument with a question mark. Each such case is counted.
func (c *Catalog) Text(l Lang, id ID, a Args) string {
	return c.fill(c.text(c.voice(l), id).other, a, 0)
}

// Count returns a message in the plural form that n takes in the language, the
// slot Count filled with n. A message without plural forms has one for all.
func (c *Catalog) Count(l Lang, id ID, n int, a Args) string {
	v := c.voice(l)
	t := c.text(v, id)
	if t.forms == nil {
		return c.fill(t.other, a, n)
	}
	if n >= 0 && n < len(t.counts) {
		return c.fill(t.forms[t.counts[n]], a, n)
	}
	source, err := v.source(id, n)
	if err != nil {
		c.misses.ids.Add(1)
		return c.fill(t.other, a, n)
	}
	return c.fill(t.forms[source], a, n)
}

// One returns a message that counts in the form it takes for 1, with a number as
// it is to be written, if the language uses that form for a number that is not
// whole.
func (c *Catalog) One(l Lang, id ID, v float64, number string) (string, bool) {
	t := c.text(c.voice(l), id)
	if v < 0 || int(v) >= len(t.parts) || !t.parts[int(v)] {
		return "", false
	}
	return c.fill(t.forms[t.counts[1]], Args{countSlot: number}, 1), true
}

// source returns the form of a message that the rule of the language chooses for
// n, as it stands in the file: unparsed, it tells one form from another.
func (v *voice) source(id ID, n any) (string, error) {
	return v.localizer.Localize(&i18n.LocalizeConfig{MessageID: string(id), PluralCount: n, TemplateParser: template.IdentityParser{}})
}

// Words returns the word list of a language, empty if there is none. The
// caller must not change it.
func (c *Catalog) Words(l Lang) Lexicon { return c.words[l] }

// Stale lists the messages of a language whose noted master is no longer the
// text of the default language, in order: the translation must be looked at
// again, then its hash set to the Print of the new master.
func (c *Catalog) Stale(l Lang) []ID {
	var stale []ID
	for _, id := range IDs() {
		if noted := c.voice(l).texts[id].master; noted != "" && noted != c.Print(id) {
			stale = append(stale, id)
		}
	}
	return stale
}

// Unnoted lists the messages of a language that do not say from which English
// they were made, in the order of the list.
func (c *Catalog) Unnoted(l Lang) []ID {
	if l == Default {
		return nil
	}
	var unnoted []ID
	for _, id := range IDs() {
		if t, ok := c.voice(l).texts[id]; ok && t.master == "" {
			unnoted = append(unnoted, id)
		}
	}
	return unnoted
}

// Master returns the fingerprint of the English from which a message of a
// language was made, "" if it is not noted.
func (c *Catalog) Master(l Lang, id ID) string { return c.voice(l).texts[id].master }

// Remark returns what the file says beside a message: for a fixed line who
// looked at it, its version and what it says in English.
func (c *Catalog) Remark(l Lang, id ID) string { return c.voice(l).texts[id].remark }

// Fixed lists the safety lines that nobody rewords, in order: those that carry
// a remark in the default language.
func (c *Catalog) Fixed() []ID {
	var fixed []ID
	for _, id := range IDs() {
		if c.Remark(Default, id) != "" {
			fixed = append(fixed, id)
		}
	}
	return fixed
}

// Print returns the fingerprint of a message in the default language, which a
// translation notes as its hash.
func (c *Catalog) Print(id ID) string { return c.spoken[Default].texts[id].print }

// Misses counts what Text and Count had to make up for.
type Misses struct{ Languages, IDs, Args uint64 }

// Misses returns the counts since Load. All are zero in a correct program.
func (c *Catalog) Misses() Misses {
	return Misses{Languages: c.misses.languages.Load(), IDs: c.misses.ids.Load(), Args: c.misses.args.Load()}
}

func (c *Catalog) voice(l Lang) *voice {
	if v, ok := c.spoken[l]; ok {
		return v
	}
	c.misses.languages.Add(1)
	return c.spoken[Default]
}

func (c *Catalog) text(v *voice, id ID) text {
	if t, ok := v.texts[id]; ok {
		return t
	}
	c.misses.ids.Add(1)
	return v.texts[Sorry]
}

// slotted is a message cut at its slots: between each two literals stands one
// slot, so there is always one literal more.
type slotted struct{ literals, slots []string }

// countSlot is the slot that Count fills by itself.
const countSlot = "Count"

func (c *Catalog) fill(s slotted, a Args, n int) string {
	if len(s.slots) == 0 {
		return s.literals[0]
	}
	var stack [320]byte // two messages of 160 characters without another allocation
	out := append(stack[:0], s.literals[0]...)
	for i, slot := range s.slots {
		switch v := a[slot].(type) {
		case string:
			out = append(out, v...)
		case int:
			out = strconv.AppendInt(out, int64(v), 10)
		case nil:
			if slot == countSlot {
				out = strconv.AppendInt(out, int64(n), 10)
				break
			}
			c.misses.args.Add(1)
			out = append(out, '?')
		default:
			out = fmt.Append(out, v)
		}
		out = append(out, s.literals[i+1]...)
	}
	return string(out)
}

// Longest returns a message with its longest arguments, in each of its forms.
func (c *Catalog) Longest(l Lang, id ID) []string {
	return c.Forms(l, id, func(slot string) string {
		switch v, ok := message(id).Sample[slot]; {
		case ok:
			return fmt.Sprint(v)
		case slot == countSlot:
			return "0"
		}
		return "?"
	})
}

// Forms returns a message in each of its forms, the one for most counts first,
// with what slot says in each slot. A message that is missing has none.
func (c *Catalog) Forms(l Lang, id ID, slot func(name string) string) []string {
	t, ok := c.voice(l).texts[id]
	if !ok {
		return nil
	}
	forms := []slotted{t.other}
	for _, source := range slices.Sorted(maps.Keys(t.forms)) {
		if form := t.forms[source]; !slices.Equal(form.literals, t.other.literals) {
			forms = append(forms, form)
		}
	}
	all := make([]string, len(forms))
	for i, form := range forms {
		all[i] = form.literals[0]
		for j, name := range form.slots {
			all[i] += slot(name) + form.literals[j+1]
		}
	}
	return all
}

// IDs lists every message there is, in the order of its list.
func IDs() []ID {
	ids := make([]ID, len(messages))
	for i, m := range messages {
		ids[i] = m.ID
	}
	return ids
}

// Sample returns the arguments that make a message longest, nil if it has none
// or does not exist.
func Sample(id ID) Args { return maps.Clone(message(id).Sample) }

// Budget returns how many segments of the GSM 7-bit alphabet a message may take
// with its longest arguments, 0 if it does not exist.
func Budget(id ID) int { return message(id).Budget }

func message(id ID) Message {
	if i := slices.IndexFunc(messages, func(m Message) bool { return m.ID == id }); i >= 0 {
		return messages[i]
	}
	return Message{}
}
