package main

import (
	"bytes"
	"embed"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"

	"cobline/calc"
	"cobline/gateway"
	"cobline/gateway/webhook"
	"cobline/locales"
)

type checkCommand struct {
	Config string `placeholder:"FILE" help:"The configuration (default: cobline.toml if it is there)."`
}

// Run prints what the line would run with and everything there is to mend.
func (c *checkCommand) Run(t *terminal) error {
	config, err := Load(c.Config, os.Environ())
	if err != nil {
		return advised{err, "Mend these lines and check again. `cobline init FILE` writes a complete example." + config.example(err)}
	}
	catalog, _, err := newEngine(config.DefaultLang)
	if err != nil {
		return err
	}
	if err := checkFigures(); err != nil {
		return err
	}
	fmt.Fprint(t.out, config)
	for _, l := range catalog.Langs() {
		fmt.Fprintf(t.out, "# language %s: %d messages, %d of them draft, unreviewed\n", l, len(locales.IDs()), len(catalog.Drafts(l)))
	}
	for _, note := range config.notes() {
		fmt.Fprintf(t.out, "# note: %s\n", note)
	}
	fmt.Fprintln(t.out, "# ready")
	return nil
}

//go:embed examples/*.toml
var examples embed.FS

// example returns a channel that works, like the first that does not.
func (c Config) example(err error) string {
	var wrong problems
	errors.As(err, &wrong)
	for i, ch := range c.Channel {
		if !slices.ContainsFunc(wrong, func(p problem) bool { return strings.HasPrefix(p.Key, fmt.Sprintf("channel[%d].", i)) }) {
			continue
		}
		name := "answer"
		switch {
		case ch.Kind == "ussd":
			name = "session"
		case ch.Out != nil && len(ch.Out.Command) > 0:
			name = "modem"
		case ch.Out != nil:
			name = "send"
		}
		text, err := examples.ReadFile("examples/" + name + ".toml")
		if err != nil {
			panic(err) // it is built in
		}
		return fmt.Sprintf("\nA channel of the kind of channel[%d] that works, with its secrets in the environment:\n\n%s", i, bytes.TrimSpace(text))
	}
	return ""
}

// checkFigures refuses a figure that nobody vouches for.
func checkFigures() error {
	for f := range calc.Figures() {
		if f.Source.Standing == calc.Unsourced || f.Low > f.Likely || f.Likely > f.High {
			return fmt.Errorf("figure %q: a source and an ordered range are wanted", f.Name)
		}
	}
	return nil
}

// notes tells what works, but not as an operator might think.
func (c Config) notes() []string {
	var out []string
	note := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	sends := false
	for _, ch := range c.Channel {
		shape, err := webhook.Compile(ch.Spec)
		if err != nil {
			panic(err) // the configuration was checked
		}
		sends = sends || shape.Sends()
		if !shape.Sends() {
			note("channel %s has no out: it offers no timed messages, notices or call-backs", ch.Name)
		}
		if shape.Carry() != gateway.CarryNone {
			note("channel %s answers in its response: a reply is lost if the gateway drops the response and does not repeat", ch.Name)
		}
		if ch.Out != nil && ch.Out.Dry {
			note("channel %s is dry: what it would send goes to the log, and nobody gets it", ch.Name)
		}
		if ch.Kind == "ussd" && ch.In.Answer.Late == "" {
			note("channel %s has no answer.late: a session whose turn takes longer than %v ends with an error of the network", ch.Name, shape.Deadline())
		}
		inSession := ch.In.Session != "" && (ch.In.Joined != "" || ch.In.Step != "")
		if ch.In.ID == "" && ch.In.At == "" && !inSession {
			note("channel %s has no id and no time: the same text again within %v is taken for a repeat", ch.Name, *ch.RetryWindow)
		}
	}
	for _, p := range c.places() {
		if p.Emergency == "" {
			note("place %s has no emergency number: people are sent to a clinic and to their neighbours", p.Key)
		}
		switch {
		case len(p.Duty) == 0:
			note("place %s has no duty phone: nobody is told of an emergency", p.Key)
		case !sends:
			note("place %s has duty phones, but no channel has an out: they cannot be told of an emergency", p.Key)
		}
	}
	return out
}
