package review

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"cobline/locales"
)

// recipe are the messages a recipe is made of and asked with, by their beginnings:
// one that ends with a dot stands for all that begin so.
var recipe = strings.Fields(`
	recipe. feel. flue. drum-past. prepare. drum. light. test. waste. starch. measure.
	ask.waste ask.drums ask.dryness- ask.flue ask.drum-past ask.drums-past ask.sack-size
	which.waste which.starch which.drum-past open.next-day dry.dry dry.nearly
	next.recipe change.recipe why.recipe why.waste why.drums why.dryness why.drum-past
`)

// Told lists the messages whose translations say in English what they say, in
// order: the safety lines, and all that a recipe is made of.
func Told(c *locales.Catalog) []locales.ID {
	fixed := c.Fixed()
	return slices.DeleteFunc(locales.IDs(), func(id locales.ID) bool {
		return !slices.Contains(fixed, id) && !slices.ContainsFunc(recipe, func(name string) bool {
			return name == string(id) || strings.HasSuffix(name, ".") && strings.HasPrefix(string(id), name) || strings.HasSuffix(name, "-") && strings.HasPrefix(string(id), name)
		})
	})
}

// untold tells which back-translations are missing, and which lack a slot of
// their text.
func (r *Report) untold() {
	if r.Lang == locales.Default {
		return
	}
	fixed := r.Catalog.Fixed()
	for _, id := range Told(r.Catalog) {
		if !r.Catalog.Has(r.Lang, id) {
			continue
		}
		back := r.Catalog.Signature(r.Lang, id).Back
		switch {
		case back == "" && !slices.Contains(fixed, id): // a safety line has its own fault
			r.fault(id, `is part of a recipe: give it a description "says: <what it says in English, made from this text alone>"`)
		case back != "" && !slices.Equal(slots(back), slots(source(r.Catalog, r.Lang, id)[0])):
			r.fault(id, "is said in English with the slots %q, the text has %q", slots(back), slots(source(r.Catalog, r.Lang, id)[0]))
		}
	}
}

var slot = regexp.MustCompile(`\{\{\.[A-Za-z]+\}\}`)

// slots lists the slots of a text, in order.
func slots(text string) []string {
	found := slot.FindAllString(text, -1)
	slices.Sort(found)
	return found
}

// source returns a message as the file has it, in each of its forms.
func source(c *locales.Catalog, l locales.Lang, id locales.ID) []string {
	return c.Forms(l, id, func(name string) string { return "{{." + name + "}}" })
}

// Row is one line of a table of back-translations.
type Row struct{ ID, English, Text, Back, By string }

// Rows returns the back-translations of a language, each beside its text and the
// English it was made from.
func Rows(c *locales.Catalog, l locales.Lang) []Row {
	var rows []Row
	for _, id := range Told(c) {
		if !c.Has(l, id) {
			continue
		}
		s := c.Signature(l, id)
		rows = append(rows, Row{string(id), forms(c, locales.Default, id), forms(c, l, id), s.Back, s.By})
	}
	return rows
}

func forms(c *locales.Catalog, l locales.Lang, id locales.ID) string {
	return strings.Join(source(c, l, id), " / ")
}

// Table writes rows as a table of Markdown.
func Table(rows []Row) string {
	var b strings.Builder
	b.WriteString("| message | English | text | back-translation | reviewed by |\n|---|---|---|---|---|\n")
	for _, row := range rows {
		fmt.Fprintf(&b, "| %s | %s | %s | %s | %s |\n", row.ID, row.English, row.Text, row.Back, row.By)
	}
	return b.String()
}

// Older lists the messages whose back-translation was not looked at again when
// their text changed: of an earlier table they have another text and the very same
// back-translation.
func Older(earlier string, now []Row) []string {
	then := map[string]Row{}
	for line := range strings.Lines(earlier) {
		if cells := strings.Split(strings.TrimSuffix(line, " |\n"), " | "); len(cells) == 5 {
			id := strings.TrimPrefix(cells[0], "| ")
			then[id] = Row{id, cells[1], cells[2], cells[3], cells[4]}
		}
	}
	var older []string
	for _, row := range now {
		if was, ok := then[row.ID]; ok && was.Text != row.Text && was.Back == row.Back {
			older = append(older, row.ID)
		}
	}
	return older
}
