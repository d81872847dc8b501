package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/mattn/go-isatty"
	"github.com/peterh/liner"

	"cobline/gateway"
	"cobline/gateway/sms"
	"cobline/locales"
)

type tryCommand struct {
	Lang     locales.Lang `placeholder:"LANG" default:"en" help:"The language a new person is answered in (default: en)."`
	Channel  string       `enum:"sms,ussd" default:"sms" help:"Write by text message (sms) or press keys in a dialled session (ussd)."`
	Phone    string       `placeholder:"NUMBER" default:"+254700000001" help:"The number that writes (default: +254700000001)."`
	Place    string       `placeholder:"KEY" help:"The place of the configuration the phone is at."`
	At       string       `placeholder:"'2026-03-02 09:00'" help:"When the conversation begins, in the place's time (default: now)."`
	Segments bool         `help:"Show after each message how many segments it takes, in which alphabet, and its units."`
	Weather  string       `placeholder:"FILE" help:"The coming days as CSV: a line of names such as max,min,humidity,sunshine,wind,rain (degrees, a share, hours, m/s, mm), then a line a day."`
	Data     string       `placeholder:"DIR" help:"Keep the store in this directory, to go on later."`
	Config   string       `placeholder:"FILE" help:"Take places and settings from a configuration."`
	URL      string       `name:"url" placeholder:"URL" help:"Write to a running line's plain channel instead, such as http://127.0.0.1:8080/in/plain."`
}

// Help returns what stands below the flags.
func (*tryCommand) Help() string {
	return `Write as a producer would. A line "@ +20m" or "@ 2026-03-02 09:00" moves the clock and shows what came due.

Examples:
  cobline try
  cobline try --channel ussd --lang sw
  printf 'cobs 2 drums snaps\n' | cobline try --segments`
}

// Run holds a conversation: with a person if there is a terminal, else with the
// lines of the standard input.
func (t *tryCommand) Run(term *terminal) (err error) {
	ctx := context.Background()
	p, err := t.phone()
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, p.close()) }()
	if f, ok := term.in.(*os.File); ok && isatty.IsTerminal(f.Fd()) {
		return t.converse(ctx, p, term)
	}
	lines := bufio.NewScanner(term.in)
	for lines.Scan() {
		messages, err := p.enter(ctx, lines.Text())
		for _, m := range messages {
			fmt.Fprintln(term.out, m.lines(t.Segments))
		}
		if err != nil {
			return err
		}
	}
	return lines.Err()
}

// message is one text as the phone shows it.
type message struct {
	text  string
	timed bool // nobody asked for it just now
}

// lines returns the message as scripts read it.
func (m message) lines(segments bool) string {
	mark := "< "
	if m.timed {
		mark = "! "
	}
	text := mark + strings.ReplaceAll(m.text, "\n", "\n  ")
	if segments {
		text += " " + m.size()
	}
	return text + "\n"
}

// size tells what the message costs to send.
func (m message) size() string {
	p := sms.Split(m.text)
	word := "segments"
	if len(p.Segments) == 1 {
		word = "segment"
	}
	return fmt.Sprintf("[%d %s, %s, %d]", len(p.Segments), word, p.Encoding, p.Units)
}

// phone opens the phone that the flags describe.
func (t *tryCommand) phone() (phone, error) {
	if t.URL != "" {
		return newRemotePhone(t.URL, t.Phone), nil
	}
	c := Default()
	if t.Config != "" {
		var err error
		if c, err = Load(t.Config, os.Environ()); err != nil {
			return nil, err
		}
	}
	if t.Place != "" {
		i := slices.IndexFunc(c.places(), func(p PlaceConfig) bool { return p.Key == t.Place })
		if i < 0 {
			return nil, advised{fmt.Errorf("no place has the key %q", t.Place), "Name one of the configuration's [[place]] tables, with --config FILE."}
		}
		c.PlaceConfig = c.places()[i]
	}
	catalog, err := builtIn()
	if err != nil {
		return nil, err
	}
	if sent := c.sent(catalog); !slices.Contains(sent, t.Lang) {
		why := fmt.Sprintf("It sends %s.", strings.Join(spellings(sent), ", "))
		if c.waits(catalog, t.Lang) {
			why += fmt.Sprintf(" %s waits for a reviewer: name one under [reviewers] of a configuration, and the configuration with --config FILE.", catalog.Name(t.Lang))
		}
		return nil, advised{fmt.Errorf("the line does not send %q", t.Lang), why}
	}
	c.DefaultLang = t.Lang
	number, err := gateway.ParseNumber(t.Phone, c.Country)
	if err != nil {
		return nil, advised{fmt.Errorf("%q is %w", t.Phone, err), "Write it with its country code, such as +254700000001."}
	}
	zone, err := time.LoadLocation(c.Zone)
	if err != nil {
		return nil, err
	}
	start := time.Now().In(zone)
	if t.At != "" {
		if start, err = time.ParseInLocation(minuteLayout, t.At, zone); err != nil {
			return nil, advised{fmt.Errorf("--at %q is not a time", t.At), "Write it as 2026-03-02 09:00."}
		}
	}
	p, err := newLocalPhone(c, t.Data, number, t.Channel, start)
	if err != nil || t.Weather == "" {
		return p, err
	}
	facts, err := under(p.line.service.Facts(), t.Weather, start)
	if err == nil {
		p.line.service.SetFacts(facts)
		return p, nil
	}
	return nil, errors.Join(err, p.close())
}

const minuteLayout = "2006-01-02 15:04"

// converse talks with a person at a terminal.
func (t *tryCommand) converse(ctx context.Context, p phone, term *terminal) error {
	input := liner.NewLiner()
	defer input.Close() //nolint:errcheck // it gives the terminal back; there is nothing more to do
	input.SetCtrlCAborts(true)
	fmt.Fprintf(term.out, "You are %s. Write to the line as a producer would; begin with \"hi\".\n%s\n\n", t.Phone, keysHelp)
	for {
		text, err := input.Prompt("you  " + p.now().Format("Mon 15:04") + " > ")
		if errors.Is(err, io.EOF) || errors.Is(err, liner.ErrPromptAborted) {
			fmt.Fprintln(term.out)
			return nil
		}
		if err != nil {
			return err
		}
		input.AppendHistory(text)
		if strings.TrimSpace(text) == "@" {
			fmt.Fprintln(term.out, keysHelp)
			continue
		}
		messages, err := p.enter(ctx, text)
		for _, m := range messages {
			fmt.Fprintln(term.out, m.spoken(p.now()))
		}
		if a := (advised{}); errors.As(err, &a) {
			fmt.Fprintf(term.out, "%v\n%s\n", err, a.advice)
		} else if err != nil {
			return err
		}
	}
}

const keysHelp = `@ +20m or @ 2026-03-02 09:00 moves the clock; @ alone shows this; the arrow keys bring back what you wrote; Ctrl-D leaves.`

// spoken returns the message as a person at a terminal reads it.
func (m message) spoken(now time.Time) string {
	mark := " < "
	if m.timed {
		mark = " ! "
	}
	head := "line " + now.Format("Mon 15:04") + mark
	return head + strings.ReplaceAll(m.text, "\n", "\n"+strings.Repeat(" ", len(head))) + "  " + m.size() + "\n"
}
