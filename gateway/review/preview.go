package review

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"slices"
	"strings"

	"cobline/locales"
)

// entry is a message as a reviewer reads it.
type entry struct {
	ID      locales.ID
	Line    int // of the file
	English []string
	Own     []Cost
	Budget  int
	Fixed   *Line // what stands beside a safety line
	Back    string
	Print   string // of the text, for a signature
	Stale   bool
	Faults  []string
}

// part is the safety lines, or the messages of one topic.
type part struct {
	Key, Name string
	Entries   []entry
}

// parts puts the safety lines first, because each of them is to be signed, then
// the other messages by the beginning of their names, in the order of the list.
func (r *Report) parts() []part {
	faults := map[string][]string{}
	for _, f := range r.Faults {
		if strings.HasPrefix(f.File, "active."+string(r.Lang)+".") {
			faults[f.Key] = append(faults[f.Key], f.Why)
		}
	}
	fixed := map[locales.ID]*Line{}
	for i, line := range r.Lines {
		fixed[line.ID] = &r.Lines[i]
	}
	parts := []part{{Key: "safety-lines", Name: "Safety lines"}}
	at := map[string]int{}
	for _, id := range locales.IDs() {
		e := entry{
			ID: id, Line: r.Catalog.At(r.Lang, id, "").Line, English: r.Catalog.Longest(locales.Default, id),
			Budget: Budget(r.Lang, id), Fixed: fixed[id], Stale: slices.Contains(r.Stale, id), Faults: faults[string(id)],
		}
		if r.Catalog.Has(r.Lang, id) {
			e.Own = Costs(r.Catalog, r.Lang, id)
		}
		e.Back, e.Print = r.Catalog.Signature(r.Lang, id).Back, r.Catalog.OwnPrint(r.Lang, id)
		if e.Fixed != nil {
			parts[0].Entries = append(parts[0].Entries, e)
			continue
		}
		name, _, _ := strings.Cut(string(id), ".")
		i, ok := at[name]
		if !ok {
			i = len(parts)
			at[name] = i
			parts = append(parts, part{Key: name, Name: name})
		}
		parts[i].Entries = append(parts[i].Entries, e)
	}
	return parts
}

//go:embed preview.html
var previewHTML string

var preview = template.Must(template.New("preview").Parse(previewHTML))

// Page writes the language beside the default one as one page without anything
// from outside, to read on a screen or print, and to sign.
func (r *Report) Page(w io.Writer) error {
	return preview.Execute(w, map[string]any{
		"Lang": r.Lang, "Name": r.Catalog.Name(r.Lang), "Report": r, "Parts": r.parts(),
		"Signed": Signed(r.Catalog, r.Lang), "Messages": len(locales.IDs()), "Default": locales.Default,
	})
}

// Print writes the same for a terminal.
func (r *Report) Print(w io.Writer) error {
	var b strings.Builder
	label := func(label, text string) { fmt.Fprintf(&b, "  %-*s  %s\n", len(locales.Default)+6, label, text) }
	for _, p := range r.parts() {
		fmt.Fprintf(&b, "\n# %s\n", p.Name)
		for _, e := range p.Entries {
			fmt.Fprintf(&b, "\n%s", e.ID)
			if e.Line > 0 {
				fmt.Fprintf(&b, ", line %d", e.Line)
			}
			if e.Stale {
				b.WriteString(", made from another English")
			}
			b.WriteString("\n")
			for _, text := range e.English {
				label(string(locales.Default), text)
			}
			for _, cost := range e.Own {
				label(string(r.Lang), fmt.Sprintf("%s [%d of %d, %d %s]", cost.Text, cost.Segments, e.Budget, cost.Units, cost.Alphabet))
			}
			if len(e.Own) == 0 {
				label(string(r.Lang), "missing")
			}
			if e.Back != "" {
				label("says", e.Back)
			}
			if e.Fixed != nil {
				label("signed", e.Fixed.Standing())
			}
			if e.Print != "" {
				label("print", e.Print)
			}
			for _, why := range e.Faults {
				label("mend", why)
			}
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// Standing says who signed a safety line, and which version.
func (l Line) Standing() string {
	switch {
	case l.Version == "":
		return "by nobody, without a version"
	case l.Strayed:
		return "by somebody, " + l.Version + ", as another text"
	case l.By == "":
		return "by nobody, " + l.Version
	}
	return "by " + l.By + ", " + l.Version
}
