package main

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"cobline/gateway/review"
	"cobline/locales"
)

// language prints what is to mend in a language, and what waits for a reviewer.
func (c *checkCommand) language(t *terminal) error {
	folder := fs.FS(os.DirFS(c.Dir))
	if c.Dir == "" {
		folder = none{}
	} else if _, err := os.ReadDir(c.Dir); err != nil {
		return err
	}
	report, err := review.Look(locales.Over(folder), c.Lang)
	switch {
	case errors.Is(err, review.ErrAbsent):
		return advised{fmt.Errorf("active.%s.toml is not there", c.Lang), "Copy locales/active.en.toml to a folder under that name, put its texts in the language, and name the folder: --dir FOLDER."}
	case err != nil:
		return err
	}
	for _, f := range report.Faults {
		f.File = c.place(f.File)
		fmt.Fprintln(t.out, f)
	}
	file := c.place(fmt.Sprintf("active.%s.toml", c.Lang))
	for _, id := range report.Stale {
		then := "--note --only " + string(id)
		if report.Catalog.Remark(c.Lang, id) != "" {
			then = fmt.Sprintf("write hash = %q beside it", report.Catalog.Print(id))
		}
		f := report.Catalog.At(c.Lang, id, "was made from another English text: look at it again, then "+then)
		f.File = file
		fmt.Fprintln(t.out, f)
	}
	if n := len(report.Unnoted); n > 0 {
		fmt.Fprintf(t.out, "%s: %d messages do not say from which English they were made: --note does, once they are right\n", file, n)
	}
	if !slices.Contains(report.Catalog.Langs(), c.Lang) {
		if c.Preview != "" || c.Note || len(c.Only) > 0 {
			return advised{fmt.Errorf("active.%s.toml is not there", c.Lang), "The language is understood and not spoken: there are no messages to show or to note."}
		}
		fmt.Fprintf(t.out, "# language %s is understood and not spoken: words for %d meanings\n", c.Lang, len(report.Catalog.Words(c.Lang)))
		return toMend(report)
	}
	fmt.Fprintf(t.out, "# language %s: %d of %d messages, %d over budget, %d changed in English since, a sentence has %.1f words\n",
		c.Lang, report.Messages, len(locales.IDs()), report.Over, len(report.Stale), report.Catalog.MeanWords(c.Lang))
	fmt.Fprintf(t.out, "# %s\n", review.Signed(report.Catalog, c.Lang))
	if s := review.StandingOf(report.Catalog, c.Lang); !s.Master {
		fmt.Fprintf(t.out, "# %d other messages, %d unreviewed\n", s.Messages, s.Unreviewed)
	}
	if why := report.Catalog.Rules(c.Lang).Reviewer; why != "" {
		fmt.Fprintf(t.out, "# sent only when the configuration names a reviewer: %s\n", why)
	}
	if err := c.write(t, report); err != nil {
		return err
	}
	return toMend(report)
}

// toMend is the error of a language that is not as it should be.
func toMend(report *review.Report) error {
	if n := len(report.Faults) + len(report.Stale); n > 0 {
		return fmt.Errorf("%d things to mend in language %s", n, report.Lang)
	}
	return nil
}

// none is a folder without a file.
type none struct{}

func (none) Open(name string) (fs.File, error) {
	return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrNotExist}
}

func (none) ReadDir(string) ([]fs.DirEntry, error) { return nil, nil }

// place names a file as the translator does, if it is one of the folder.
func (c *checkCommand) place(file string) string {
	if own := filepath.Join(c.Dir, file); c.Dir != "" {
		if _, err := os.Stat(own); err == nil {
			return own
		}
	}
	return file
}

// write writes what was asked for besides the report.
func (c *checkCommand) write(t *terminal, report *review.Report) error {
	if c.Note || len(c.Only) > 0 {
		if c.Dir == "" {
			return advised{errors.New("there is no folder to note it in"), "Name the one that holds the language: --dir locales."}
		}
		var ids []locales.ID
		for _, id := range c.Only {
			ids = append(ids, locales.ID(id))
		}
		notes, err := report.Master(ids)
		if err != nil {
			return err
		}
		file := filepath.Join(c.Dir, fmt.Sprintf("master.%s.toml", c.Lang))
		if err := os.WriteFile(file, notes, 0o644); err != nil {
			return err
		}
		fmt.Fprintf(t.out, "# noted in %s\n", file)
	}
	switch c.Preview {
	case "":
		return nil
	case "-":
		return report.Print(t.out)
	}
	var page bytes.Buffer
	if err := report.Page(&page); err != nil {
		return err
	}
	if err := os.WriteFile(c.Preview, page.Bytes(), 0o644); err != nil {
		return err
	}
	fmt.Fprintf(t.out, "# the language beside English is in %s\n", c.Preview)
	return nil
}
