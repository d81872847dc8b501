package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"cobline/dialog"
	"cobline/locales"
)

type hearCommand struct {
	Text []string     `arg:"" optional:"" help:"The text. Without one, each line of the standard input is a text."`
	Lang locales.Lang `placeholder:"LANG" help:"The language of the conversation (default: decided from the text)."`
	JSON bool         `help:"Print one JSON object a line."`
	List bool         `help:"List the keys that a text can be understood as, and leave."`
}

// Help returns what stands below the flags.
func (*hearCommand) Help() string {
	return `Examples:
  cobline hear "cobs 2 drums snaps"
  cobline hear --lang sw --json "mahindi magunzi pipa 2 kavu"
  cobline hear --json <texts.txt`
}

// heard is what scripts read; its names are stable.
type heard struct {
	Lang       locales.Lang   `json:"lang"`
	Topic      string         `json:"topic"`
	Slots      map[string]any `json:"slots"`
	Emergency  string         `json:"emergency"`
	Tier       string         `json:"tier"`
	OptOut     bool           `json:"opt_out"`
	Understood bool           `json:"understood"`
	Report     string         `json:"report,omitempty"`
	Unsure     []string       `json:"unsure,omitempty"`
}

// Run prints what the line understands.
func (h *hearCommand) Run(t *terminal) error {
	if h.List {
		return listKeys(t.out)
	}
	catalog, engine, err := newEngine(locales.Default)
	if err != nil {
		return err
	}
	if h.Lang != "" && !slices.Contains(catalog.Langs(), h.Lang) {
		return advised{
			fmt.Errorf("the line does not speak %q", h.Lang),
			fmt.Sprintf("It speaks %s.", strings.Join(spellings(catalog.Langs()), ", ")),
		}
	}
	facts := Default().facts(catalog)
	if h.Lang != "" && !slices.Contains(facts.Langs, h.Lang) {
		facts.Langs = append(facts.Langs, h.Lang) // it is understood before it may be sent
	}
	hear := func(text string) error {
		return h.print(t, engine, facts, text)
	}
	if len(h.Text) > 0 {
		return hear(strings.Join(h.Text, " "))
	}
	lines := bufio.NewScanner(t.in)
	for lines.Scan() {
		if err := hear(lines.Text()); err != nil {
			return err
		}
	}
	return lines.Err()
}

func (h *hearCommand) print(t *terminal, e *dialog.Engine, facts *dialog.Facts, text string) error {
	state := dialog.State{Lang: h.Lang, Chosen: h.Lang != "", Met: true}
	turn := e.Step(state, dialog.Said{Text: text, Via: dialog.SMS}, dialog.World{Now: time.Now(), Facts: facts})
	got := heard{
		Lang: turn.Heard.Lang, Topic: turn.Heard.Topic, Slots: map[string]any{},
		Emergency: turn.Heard.Emergency, Tier: turn.Heard.Tier, OptOut: turn.Heard.OptOut,
		Understood: turn.Heard.Understood, Report: turn.Heard.Report, Unsure: turn.Heard.Unsure,
	}
	for slot, v := range turn.Heard.Slots {
		if got.Slots[slot] = v.Number; v.Key != "" {
			got.Slots[slot] = v.Key
		}
	}
	if h.JSON {
		return json.NewEncoder(t.out).Encode(got)
	}
	return got.table(t)
}

func (h heard) table(t *terminal) error {
	w := tabwriter.NewWriter(t.out, 0, 0, 2, ' ', 0)
	row := func(name string, v any) {
		if s := fmt.Sprint(v); s != "" && s != "[]" {
			fmt.Fprintf(w, "%s\t%s\n", name, s)
		}
	}
	row("language", h.Lang)
	row("topic", h.Topic)
	for _, slot := range slices.Sorted(maps.Keys(h.Slots)) {
		row("  "+slot, h.Slots[slot])
	}
	row("emergency", strings.TrimSpace(h.Emergency+" "+h.Tier))
	row("report", h.Report)
	row("unsure of", h.Unsure)
	row("opt out", h.OptOut)
	row("understood", h.Understood)
	fmt.Fprintln(w)
	return w.Flush()
}

// listKeys prints the keys that JSON, CSV and commands use, a family a line.
func listKeys(w io.Writer) error {
	keys := dialog.Keys()
	for _, family := range slices.Sorted(maps.Keys(keys)) {
		if _, err := fmt.Fprintf(w, "%s: %s\n", family, strings.Join(keys[family], " ")); err != nil {
			return err
		}
	}
	return nil
}

// spellings returns keys of one kind as texts.
func spellings[K ~string](keys []K) []string {
	out := make([]string, len(keys))
	for i, k := range keys {
		out[i] = string(k)
	}
	return out
}
