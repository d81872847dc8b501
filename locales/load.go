package locales

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"regexp"
	"slices"
	"strings"
	"text/template/parse"

	"github.com/BurntSushi/toml"
	"github.com/nicksnyder/go-i18n/v2/i18n"
	"github.com/nicksnyder/go-i18n/v2/i18n/template"
	"golang.org/x/text/language"
)

//go:embed *.toml
var embedded embed.FS

// Load reads the languages built into the program.
func Load() (*Catalog, error) { return LoadFS(embedded) }

// LoadFS reads the languages of a folder. It parses every message and executes
// it with the sample of its list; it reports everything that is wrong at once,
// each with its file and message.
func LoadFS(files fs.FS) (*Catalog, error) { return load(files, messages) }

func load(files fs.FS, list []Message) (*Catalog, error) {
	c, faults := read(files, list)
	if len(faults) == 0 {
		return c, nil
	}
	errs := make([]error, len(faults))
	for i, f := range faults {
		errs[i] = f
	}
	return nil, errors.Join(errs...)
}

// read takes what can be read and tells what is wrong with the rest.
func read(files fs.FS, list []Message) (*Catalog, []Fault) {
	c := &Catalog{spoken: map[Lang]*voice{}, words: map[Lang]Lexicon{}, rules: map[Lang]Rules{}, lines: map[string]map[string]int{}}
	kept := func(file string, data []byte) map[string]int {
		c.lines[file] = keyLines(data)
		return c.lines[file]
	}
	faults := slices.Concat(
		each(files, "active", func(l Lang, file string, data []byte) []Fault {
			v, faults := speak(l, file, data, kept(file, data), list)
			if v != nil {
				c.spoken[l] = v
			}
			return faults
		}),
		each(files, "master", func(l Lang, file string, data []byte) []Fault {
			return c.note(l, file, data, kept(file, data))
		}),
		each(files, "words", func(l Lang, file string, data []byte) (faults []Fault) {
			c.words[l], c.rules[l], faults = hear(file, data, kept(file, data))
			return faults
		}),
	)
	if c.spoken[Default] == nil {
		return c, append(faults, Fault{File: file("active", Default), Why: "the default language is missing, or cannot be read"})
	}
	c.langs = slices.SortedFunc(maps.Keys(c.spoken), func(a, b Lang) int {
		switch {
		case a == b:
			return 0
		case a == Default:
			return -1
		case b == Default:
			return 1
		}
		return strings.Compare(string(a), string(b))
	})
	c.heard = slices.Sorted(maps.Keys(c.words))
	return c, append(faults, c.compare()...)
}

// file returns the name of a file of a language.
func file(kind string, l Lang) string { return kind + "." + string(l) + ".toml" }

// each calls read with every file of a kind and the language of its name.
func each(files fs.FS, kind string, read func(Lang, string, []byte) []Fault) []Fault {
	names, err := fs.Glob(files, kind+".*.toml")
	if err != nil {
		return []Fault{{File: kind + ".*.toml", Why: err.Error()}}
	}
	var faults []Fault
	for _, name := range names {
		l := strings.TrimSuffix(strings.TrimPrefix(name, kind+"."), ".toml")
		if tag, err := language.Parse(l); err != nil || tag.String() != l {
			faults = append(faults, Fault{File: name, Why: fmt.Sprintf("%q is not the tag of a language", l)})
			continue
		}
		data, err := fs.ReadFile(files, name)
		if err != nil {
			faults = append(faults, Fault{File: name, Why: err.Error()})
			continue
		}
		faults = append(faults, read(Lang(l), name, data)...)
	}
	return faults
}

// strict refuses a slot without an argument. It must be the first parser a
// message meets, because go-i18n keeps what that one parsed.
var strict = &template.TextParser{Option: "missingkey=error"}

// smallCounts is the first count whose plural form is looked up when it is asked.
const smallCounts = 102

// probes hold an integer of each plural form of every rule of CLDR.
var probes = func() []int {
	counts := []int{1_000_000}
	for n := range smallCounts {
		counts = append(counts, n)
	}
	return counts
}()

// speak reads the messages of one language into a bundle of its own: in a
// shared bundle go-i18n answers for a related language without saying so.
func speak(l Lang, file string, data []byte, lines map[string]int, list []Message) (*voice, []Fault) {
	if faults := checkKeys(file, data, lines); len(faults) > 0 {
		return nil, faults
	}
	tag := language.Make(string(l))
	bundle := i18n.NewBundle(tag)
	if bundle.AddMessages(tag) != nil { // CLDR has no plural rule for it: take the one of English under a private tag
		tag = language.Make("art-x-" + string(l))
		bundle = i18n.NewBundle(tag)
	}
	parsed, err := bundle.ParseMessageBytes(tag, data, toml.Unmarshal)
	if err != nil {
		return nil, []Fault{unread(file, err)}
	}
	sources := map[ID]*i18n.Message{}
	for _, m := range parsed {
		sources[ID(m.ID)] = m
	}
	v := &voice{localizer: i18n.NewLocalizer(bundle, tag.String()), texts: map[ID]text{}}
	var faults []Fault
	after := 0 // the line of the message before
	for _, m := range list {
		source, ok := sources[m.ID]
		if !ok {
			faults = append(faults, Fault{file, after, string(m.ID), "is missing: put it after this line"})
			continue
		}
		delete(sources, m.ID)
		after = lines[string(m.ID)]
		t, err := v.compile(source, m.Sample)
		if err != nil {
			faults = append(faults, Fault{file, after, string(m.ID), err.Error()})
			continue
		}
		v.texts[m.ID] = t
		if m.ID == Name {
			v.name = source.Other
		}
	}
	for _, id := range slices.Sorted(maps.Keys(sources)) {
		faults = append(faults, Fault{file, lines[string(id)], string(id), "is not in the list of messages: take it out"})
	}
	return v, faults
}

var messageID = regexp.MustCompile(`^[a-z0-9-]+(\.[a-z0-9-]+)+$`)

// checkKeys refuses what go-i18n would read as something else: a nested table,
// or a key that is one of its own words.
func checkKeys(file string, data []byte, lines map[string]int) []Fault {
	var keys map[string]any
	if err := toml.Unmarshal(data, &keys); err != nil {
		return []Fault{unread(file, err)}
	}
	var faults []Fault
	for _, id := range slices.Sorted(maps.Keys(keys)) {
		if !messageID.MatchString(id) {
			faults = append(faults, Fault{file, lines[id], id, "is no key of a message: want a quoted \"topic.name\""})
		}
	}
	return faults
}

// compile executes each form of a message as go-i18n would, then keeps it cut
// at its slots.
func (v *voice) compile(m *i18n.Message, sample Args) (t text, err error) {
	config := i18n.LocalizeConfig{MessageID: m.ID, TemplateData: map[string]any(sample), TemplateParser: strict}
	if _, err := v.localizer.Localize(&config); err != nil {
		return t, err
	}
	if t.other, err = cut(m.Other); err != nil {
		return t, err
	}
	t.print, t.master, t.remark = fingerprint(m.Other), m.Hash, m.Description
	t.own = fingerprint(strings.Join([]string{m.Zero, m.One, m.Two, m.Few, m.Many, m.Other}, "\n"))
	if m.Zero+m.One+m.Two+m.Few+m.Many == "" {
		return t, nil
	}
	t.forms = map[string]slotted{}
	for _, n := range probes {
		config.PluralCount = n
		if _, err := v.localizer.Localize(&config); err != nil {
			return t, fmt.Errorf("counting %d: %w", n, err)
		}
	}
	for _, source := range []string{m.Zero, m.One, m.Two, m.Few, m.Many, m.Other} {
		if source == "" {
			continue
		}
		if t.forms[source], err = cut(source); err != nil {
			return t, err
		}
	}
	t.counts = make([]string, smallCounts)
	for n := range t.counts {
		if t.counts[n], err = v.source(ID(m.ID), n); err != nil {
			return t, err
		}
	}
	for i := range t.parts {
		source, err := v.source(ID(m.ID), fmt.Sprintf("%d.5", i))
		if err != nil {
			return t, err
		}
		t.parts[i] = source == t.counts[1]
	}
	return t, nil
}

func fingerprint(s string) string {
	sum := sha256.Sum256([]byte(s))
	return hex.EncodeToString(sum[:4])
}

// cut splits a message at its slots. Logic between braces is refused: it would
// be a program that a translator has to keep right.
func cut(source string) (s slotted, err error) {
	trees, err := parse.Parse("message", source, "{{", "}}")
	if err != nil {
		return s, err
	}
	s.literals = []string{""}
	if trees["message"] == nil { // an empty text
		return s, nil
	}
	for _, node := range trees["message"].Root.Nodes {
		switch n := node.(type) {
		case *parse.TextNode:
			s.literals[len(s.literals)-1] += string(n.Text)
		case *parse.ActionNode:
			if len(n.Pipe.Decl) > 0 || len(n.Pipe.Cmds) != 1 || len(n.Pipe.Cmds[0].Args) != 1 {
				return s, fmt.Errorf("%s is not a slot", n)
			}
			field, ok := n.Pipe.Cmds[0].Args[0].(*parse.FieldNode)
			if !ok || len(field.Ident) != 1 {
				return s, fmt.Errorf("%s is not a slot", n)
			}
			s.slots = append(s.slots, field.Ident[0])
			s.literals = append(s.literals, "")
		default:
			return s, fmt.Errorf("%s is not a slot", n)
		}
	}
	return s, nil
}

// compare holds the other languages to the default one: a message uses the same
// arguments and either counts in all of them or in none.
func (c *Catalog) compare() []Fault {
	var faults []Fault
	for _, l := range c.langs[1:] {
		for _, id := range slices.Sorted(maps.Keys(c.spoken[l].texts)) {
			want, ok := c.spoken[Default].texts[id]
			got := c.spoken[l].texts[id]
			if !ok {
				continue // the fault is the master's
			}
			if !slices.Equal(want.args(), got.args()) {
				faults = append(faults, c.fault("active", l, string(id), "arguments %q, in %s %q", got.args(), Default, want.args()))
			}
			if (want.forms == nil) != (got.forms == nil) {
				faults = append(faults, c.fault("active", l, string(id), "counts in one of %s and %s only", l, Default))
			}
		}
	}
	return faults
}

// args lists the slots of all forms of a message, each once, in order.
func (t text) args() []string {
	slots := slices.Clone(t.other.slots)
	for _, form := range t.forms {
		slots = append(slots, form.slots...)
	}
	slices.Sort(slots)
	return slices.Compact(slots)
}

// hear reads the words of one language, and the rules among them.
func hear(file string, data []byte, lines map[string]int) (Lexicon, Rules, []Fault) {
	var words Lexicon
	if err := toml.Unmarshal(data, &words); err != nil {
		return Lexicon{}, Rules{}, []Fault{unread(file, err)}
	}
	rules := Rules{Asked: map[string][]string{}, Except: map[ID]string{}}
	var faults []Fault
	for _, concept := range slices.Sorted(maps.Keys(words)) {
		if rule, ok := strings.CutPrefix(concept, "rule."); ok {
			if !rules.take(rule, words[concept]) {
				faults = append(faults, Fault{file, lines[concept], concept, "is no rule: there are rule.asked.<families>, rule.harmless, rule.avoid with \"word: say this\", rule.except with \"message: reason\", rule.reviewer with the reason why it waits for one and rule.reads with tags of languages"})
			}
			delete(words, concept)
			continue
		}
		if !Known(concept) {
			faults = append(faults, Fault{file, lines[concept], concept, "is not a concept"})
		}
		for _, spelling := range words[concept] {
			if Fold(Default, spelling) == "" {
				faults = append(faults, Fault{file, lines[concept], concept, fmt.Sprintf("the spelling %q has no letter", spelling)})
			}
		}
	}
	return words, rules, faults
}

// note reads from which English each message was made.
func (c *Catalog) note(l Lang, file string, data []byte, lines map[string]int) []Fault {
	var notes map[string]string
	if err := toml.Unmarshal(data, &notes); err != nil {
		return []Fault{unread(file, err)}
	}
	v := c.spoken[l]
	if _, there := c.lines["active."+string(l)+".toml"]; v == nil && there {
		return nil // the fault is that file's
	}
	if v == nil {
		return []Fault{{File: file, Why: "notes the English of a language without messages"}}
	}
	var faults []Fault
	for _, id := range slices.Sorted(maps.Keys(notes)) {
		t, ok := v.texts[ID(id)]
		switch {
		case !ok && message(ID(id)).ID == "":
			faults = append(faults, Fault{file, lines[id], id, "is not in the list of messages: take it out"})
		case ok && t.master == "":
			t.master = notes[id]
			v.texts[ID(id)] = t
		}
	}
	return faults
}
