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
	c := &Catalog{spoken: map[Lang]*voice{}, words: map[Lang]Lexicon{}}
	err := errors.Join(
		each(files, "active", func(l Lang, file string, data []byte) error {
			v, err := speak(l, file, data, list)
			c.spoken[l] = v
			return err
		}),
		each(files, "words", func(l Lang, file string, data []byte) error {
			words, err := hear(file, data)
			c.words[l] = words
			return err
		}),
	)
	if err != nil {
		return nil, err
	}
	if c.spoken[Default] == nil {
		return nil, fmt.Errorf("active.%s.toml: the default language is missing", Default)
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
	return c, c.compare()
}

// each calls read with every file of a kind and the language of its name.
func each(files fs.FS, kind string, read func(Lang, string, []byte) error) error {
	names, err := fs.Glob(files, kind+".*.toml")
	if err != nil {
		return err
	}
	var errs []error
	for _, name := range names {
		l := strings.TrimSuffix(strings.TrimPrefix(name, kind+"."), ".toml")
		if tag, err := language.Parse(l); err != nil || tag.String() != l {
			errs = append(errs, fmt.Errorf("%s: %q is not the tag of a language", name, l))
			continue
		}
		data, err := fs.ReadFile(files, name)
		if err == nil {
			err = read(Lang(l), name, data)
		}
		errs = append(errs, err)
	}
	return errors.Join(errs...)
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
func speak(l Lang, file string, data []byte, list []Message) (*voice, error) {
	if err := checkKeys(file, data); err != nil {
		return nil, err
	}
	tag := language.Make(string(l))
	bundle := i18n.NewBundle(tag)
	if bundle.AddMessages(tag) != nil { // CLDR has no plural rule for it: take the one of English under a private tag
		tag = language.Make("art-x-" + string(l))
		bundle = i18n.NewBundle(tag)
	}
	parsed, err := bundle.ParseMessageBytes(tag, data, toml.Unmarshal)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	sources := map[ID]*i18n.Message{}
	for _, m := range parsed {
		sources[ID(m.ID)] = m
	}
	v := &voice{localizer: i18n.NewLocalizer(bundle, tag.String()), texts: map[ID]text{}}
	var errs []error
	for _, m := range list {
		source, ok := sources[m.ID]
		if !ok {
			errs = append(errs, fmt.Errorf("%s: %q is missing", file, m.ID))
			continue
		}
		delete(sources, m.ID)
		if v.texts[m.ID], err = v.compile(source, m.Sample); err != nil {
			errs = append(errs, fmt.Errorf("%s: %q: %w", file, m.ID, err))
		}
		if m.ID == Name {
			v.name = source.Other
		}
		if strings.HasPrefix(source.Description, "draft") {
			v.drafts = append(v.drafts, m.ID)
		}
	}
	for _, id := range slices.Sorted(maps.Keys(sources)) {
		errs = append(errs, fmt.Errorf("%s: %q is not in the list of messages", file, id))
	}
	slices.Sort(v.drafts)
	return v, errors.Join(errs...)
}

var messageID = regexp.MustCompile(`^[a-z0-9-]+(\.[a-z0-9-]+)+$`)

// checkKeys refuses what go-i18n would read as something else: a nested table,
// or a key that is one of its own words.
func checkKeys(file string, data []byte) error {
	var keys map[string]any
	if err := toml.Unmarshal(data, &keys); err != nil {
		return fmt.Errorf("%s: %w", file, err)
	}
	var errs []error
	for _, id := range slices.Sorted(maps.Keys(keys)) {
		if !messageID.MatchString(id) {
			errs = append(errs, fmt.Errorf("%s: key %q: want a quoted \"topic.name\"", file, id))
		}
	}
	return errors.Join(errs...)
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
	t.print, t.master = fingerprint(m.Other), m.Hash
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
func (c *Catalog) compare() error {
	var errs []error
	for _, l := range c.langs[1:] {
		for _, id := range slices.Sorted(maps.Keys(c.spoken[Default].texts)) {
			want, got := c.spoken[Default].texts[id], c.spoken[l].texts[id]
			if !slices.Equal(want.args(), got.args()) {
				errs = append(errs, fmt.Errorf("active.%s.toml: %q: arguments %q, in %s %q", l, id, got.args(), Default, want.args()))
			}
			if (want.forms == nil) != (got.forms == nil) {
				errs = append(errs, fmt.Errorf("active.%s.toml: %q: counts in one of %s and %s only", l, id, l, Default))
			}
		}
	}
	return errors.Join(errs...)
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

// hear reads the words of one language.
func hear(file string, data []byte) (Lexicon, error) {
	var words Lexicon
	if err := toml.Unmarshal(data, &words); err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	var errs []error
	for _, concept := range slices.Sorted(maps.Keys(words)) {
		if !Known(concept) {
			errs = append(errs, fmt.Errorf("%s: %q is not a concept", file, concept))
		}
		for _, spelling := range words[concept] {
			if Fold(Default, spelling) == "" {
				errs = append(errs, fmt.Errorf("%s: %q: the spelling %q has no letter", file, concept, spelling))
			}
		}
	}
	return words, errors.Join(errs...)
}
