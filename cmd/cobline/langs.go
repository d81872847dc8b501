package main

import (
	"fmt"
	"io"
	"maps"
	"regexp"
	"slices"
	"strings"
	"sync"
	"text/tabwriter"

	"cobline/gateway/review"
	"cobline/locales"
)

// builtIn returns the languages built in. They are read once.
var builtIn = sync.OnceValues(locales.Load)

// reviewerName is somebody and a day.
var reviewerName = regexp.MustCompile(`^[^,]+, [0-9]{4}-[0-9]{2}-[0-9]{2}$`)

// sent returns the languages that may be sent: those switched on, or else all
// that wait for no reviewer or have one.
func (c Config) sent(catalog *locales.Catalog) []locales.Lang {
	if len(c.Langs) > 0 {
		return c.Langs
	}
	return slices.DeleteFunc(catalog.Langs(), func(l locales.Lang) bool { return c.waits(catalog, l) })
}

// waits reports whether a language is not to be sent before somebody answers for
// it.
func (c Config) waits(catalog *locales.Catalog, l locales.Lang) bool {
	return catalog.NeedsReviewer(l) && c.Reviewers[l] == ""
}

// validateLangs wants languages that the line speaks, and a reviewer of each that
// waits for one.
func (l *loader) validateLangs(catalog *locales.Catalog) {
	known := strings.Join(spellings(catalog.Langs()), ", ")
	for _, lang := range slices.Sorted(maps.Keys(l.Reviewers)) {
		key := "reviewers." + strings.ToLower(string(lang))
		l.want(slices.Contains(catalog.Langs(), lang), key, "is no language that the line speaks; it speaks %s", known)
		l.want(reviewerName.MatchString(l.Reviewers[lang]), key, "must be a name and the day of the review, such as \"A. Reader, 2026-11-29\"")
	}
	for _, lang := range l.Langs {
		switch {
		case !slices.Contains(catalog.Langs(), lang):
			l.wrong("langs", "%q is no language that the line speaks; it speaks %s", lang, known)
		case l.waits(catalog, lang):
			l.wrong("langs", "%s (%s) waits for a reviewer: %s Let somebody who grew up with it read and sign the page that `cobline check --lang %s --preview %s.html` writes, then name them under [reviewers]: %s = \"NAME, YEAR-MONTH-DAY\"",
				lang, catalog.Name(lang), catalog.Rules(lang).Reviewer, lang, lang, lang)
		}
	}
	l.want(slices.Contains(l.sent(catalog), l.DefaultLang), "default_lang", "%q is not among the languages that are sent: %s", l.DefaultLang, strings.Join(spellings(l.sent(catalog)), ", "))
}

// standing prints how far each language has been looked at, and whether it is
// sent.
func (c Config) standing(out io.Writer, catalog *locales.Catalog) error {
	var table strings.Builder
	w := tabwriter.NewWriter(&table, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "language\tname\tsent\tsafety lines\tunreviewed\tother messages\tunreviewed\treviewer")
	for _, l := range catalog.Langs() {
		s := review.StandingOf(catalog, l)
		sent, by, others := "no", c.Reviewers[l], fmt.Sprint(s.Unreviewed)
		switch {
		case slices.Contains(c.sent(catalog), l):
			sent = "yes"
		case c.waits(catalog, l):
			by = "waits for one"
		}
		if s.Master {
			others = "master"
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%d\t%d\t%d\t%s\t%s\n", l, catalog.Name(l), sent, s.Lines, s.UnreviewedLines, s.Messages, others, by)
	}
	if err := w.Flush(); err != nil {
		return err
	}
	for line := range strings.Lines(table.String()) {
		fmt.Fprintf(out, "# %s\n", strings.TrimRight(line, " \n"))
	}
	heard := slices.DeleteFunc(catalog.Heard(), func(l locales.Lang) bool { return slices.Contains(catalog.Langs(), l) })
	if len(heard) > 0 {
		fmt.Fprintf(out, "# cries for help are also understood in %s\n", strings.Join(spellings(heard), ", "))
	}
	return nil
}
