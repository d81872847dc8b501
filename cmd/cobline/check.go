package main

import (
	"bytes"
	"embed"
	"errors"
	"fmt"
	"os"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"cobline/calc"
	"cobline/gateway"
	"cobline/gateway/webhook"
	"cobline/locales"
)

type checkCommand struct {
	Config  string       `placeholder:"FILE" help:"The configuration (default: cobline.toml if it is there)."`
	Lang    locales.Lang `placeholder:"TAG" help:"Check this language instead: its messages, words, prices and safety lines."`
	Dir     string       `placeholder:"FOLDER" help:"Take the files of languages in this folder in place of those built in."`
	Preview string       `placeholder:"FILE" help:"Write the language beside English as a page to read and sign; - prints it."`
	Note    bool         `help:"Note in the folder that the messages follow the English as it stands."`
	Only    []string     `placeholder:"MESSAGE" help:"Note it for these messages alone."`
}

// Run prints what the line would run with and everything there is to mend.
func (c *checkCommand) Run(t *terminal) error {
	if c.Lang != "" {
		return c.language(t)
	}
	if c.Dir != "" || c.Preview != "" || c.Note || len(c.Only) > 0 {
		return advised{errors.New("no language is named"), "Say which: --lang sw."}
	}
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
	if err := config.standing(t.out, catalog); err != nil {
		return err
	}
	for _, note := range config.notes() {
		fmt.Fprintf(t.out, "# note: %s\n", note)
	}
	fmt.Fprintln(t.out, "# ready")
	return nil
}

//go:embed examples/*.toml
var examples embed.FS

// channelKey matches a key of a channel.
var channelKey = regexp.MustCompile(`^channel\[([0-9]+)\]`)

// example returns a channel that works, like the first that does not.
func (c Config) example(err error) string {
	var wrong problems
	errors.As(err, &wrong)
	i := slices.IndexFunc(wrong, func(p problem) bool { return channelKey.MatchString(p.Key) })
	if i < 0 {
		return ""
	}
	m := channelKey.FindStringSubmatch(wrong[i].Key)
	var ch ChannelConfig // unless the file could not be read as a whole
	if n, err := strconv.Atoi(m[1]); err == nil && n < len(c.Channel) {
		ch = c.Channel[n]
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
	return fmt.Sprintf("\nA channel like %s that works, with its secrets in the environment:\n\n%s", m[0], bytes.TrimSpace(text))
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
		out = append(out, ch.notes()...)
		sends = sends || ch.Out != nil
	}
	if !c.Console.Off && !c.loopback() && c.Console.Certificate == "" && len(c.Console.Proxies) == 0 {
		note("nobody can sign in to the console over http from elsewhere: give the line a certificate and key, or name your proxy in console.proxies")
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

// answerable matches a sender whom a person can write back to.
var answerable = regexp.MustCompile(`^\+?[0-9]*$`)

func (c ChannelConfig) notes() []string {
	shape, err := webhook.Compile(c.Spec)
	if err != nil {
		panic(err) // the configuration was checked
	}
	var out []string
	note := func(note string, args ...any) {
		out = append(out, fmt.Sprintf("channel "+c.Name+" "+note, args...))
	}
	if c.Out == nil {
		note("has no out: it offers no timed messages, notices or call-backs")
		if c.Cost.Day != (CapConfig{}) || c.Cost.Month != (CapConfig{}) {
			note("has a cap and no out: someone is warned, but what it answers is not kept back")
		}
	} else {
		given := "" // what the gateway is given of a message
		walk("", reflect.ValueOf(c.Out).Elem(), func(_ string, v reflect.Value) { given += fmt.Sprintln(v) })
		gives := func(name string) bool { return strings.Contains(given, "."+name) }
		if c.Out.Dry {
			note("is dry: what it would send goes to the log and counts against its caps, and nobody gets it")
		}
		if !answerable.MatchString(c.Sender) {
			note("sends as %s, which nobody can write back to", c.Sender)
		}
		switch {
		case c.Reports == nil:
			note("has no reports: nobody learns whether a message arrives")
		case c.Reports.URL != "" && !gives("DLRURL"):
			note("does not tell its gateway where to report: out holds no {{.DLRURL}}")
		case c.Reports.Ref != "" && !gives("Ref") && !gives("DLRURL"):
			note("finds reports by our reference, but out holds neither {{.Ref}} nor {{.DLRURL}}")
		case c.Reports.Ref == "" && c.Out.ID == "":
			note("finds reports by the gateway's id, but out.id does not say where its answer holds it")
		}
	}
	if shape.Carry() != gateway.CarryNone {
		note("answers in its response: a reply is lost if the gateway drops the response and does not repeat")
	}
	if c.Kind == "ussd" && c.In.Answer.Late == "" {
		note("has no answer.late: a session whose turn takes longer than %v ends with an error of the network", shape.Deadline())
	}
	inSession := c.In.Session != "" && (c.In.Joined != "" || c.In.Step != "")
	if c.In.ID == "" && c.In.At == "" && !inSession {
		note("has no id and no time: the same text again within %v is taken for a repeat", *c.RetryWindow)
	}
	return out
}
