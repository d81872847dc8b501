package main

import (
	"context"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"
	"time"

	"cobline/gateway"
	"cobline/gateway/register"
)

type logCommand struct {
	Config  string    `placeholder:"FILE" help:"The configuration (default: cobline.toml if it is there)."`
	Format  string    `enum:"csv,json" default:"csv" help:"csv, or json for an object a line."`
	Since   time.Time `format:"2006-01-02" placeholder:"2026-03-02" help:"Leave out what is older."`
	Numbers bool      `help:"Print whole phone numbers. They are personal data."`
}

// logged is a line of the journal as scripts read it; its names are stable.
type logged struct {
	At       time.Time `json:"at"`
	Kind     string    `json:"kind"`
	Person   string    `json:"person"`
	Number   string    `json:"number"`
	Channel  string    `json:"channel"`
	Lang     string    `json:"lang"`
	Topic    string    `json:"topic"`
	Text     string    `json:"text"`
	Replies  []string  `json:"replies"`
	Segments int       `json:"segments"`
	Outcome  string    `json:"outcome"`
	Flags    []string  `json:"flags"`
	Lost     bool      `json:"lost"` // a text that was not understood
	Step     string    `json:"step"` // the question that stayed open
	Question string    `json:"question"`
	Network  string    `json:"network"`
}

var logColumns = []string{"at", "kind", "person", "number", "channel", "lang", "topic", "text", "replies", "segments", "outcome", "flags", "lost", "step", "question", "network"}

func (l logged) row() []string {
	return []string{
		l.At.Format(time.RFC3339), l.Kind, l.Person, l.Number, l.Channel, l.Lang, l.Topic, register.Harmless(l.Text),
		register.Harmless(strings.Join(l.Replies, "\n")), strconv.Itoa(l.Segments), l.Outcome, strings.Join(l.Flags, " "),
		strconv.FormatBool(l.Lost), l.Step, register.Harmless(l.Question), register.Harmless(l.Network),
	}
}

// Run prints the journal.
func (l *logCommand) Run(t *terminal) (err error) {
	config, err := Load(l.Config, os.Environ())
	if err != nil {
		return err
	}
	store, err := openStore(config)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	ctx := context.Background()
	numbers := map[gateway.PersonKey]gateway.Number{}
	broken := store.Each(ctx, gateway.Number{}, func(c gateway.Conversation) error { // told after the journal
		numbers[c.Person] = c.Number
		return nil
	})
	write, flush := l.writer(t)
	for after := firstKey(l.Since); ; {
		entries, err := store.After(ctx, after, 1000)
		if err != nil {
			return err
		}
		for _, e := range entries {
			if err := write(l.line(e, numbers[e.Person])); err != nil {
				return err
			}
			after = e.Key
		}
		if len(entries) == 0 {
			return errors.Join(flush(), broken)
		}
	}
}

// writer returns what prints a line, and what ends the print.
func (l *logCommand) writer(t *terminal) (write func(logged) error, flush func() error) {
	if l.Format == "json" {
		e := json.NewEncoder(t.out)
		return func(l logged) error { return e.Encode(l) }, func() error { return nil }
	}
	w := csv.NewWriter(t.out)
	headed := false
	return func(l logged) error {
			if !headed {
				headed = true
				if err := w.Write(logColumns); err != nil {
					return err
				}
			}
			return w.Write(l.row())
		}, func() error {
			w.Flush()
			return w.Error()
		}
}

func (l *logCommand) line(e gateway.Entry, n gateway.Number) logged {
	out := logged{
		At: e.At, Kind: fmt.Sprint(e.Kind), Channel: e.Channel, Text: e.Text, Outcome: e.Outcome.String(), Flags: e.Flags, Question: e.Question, Network: e.Network,
		Person: hex.EncodeToString(e.Person[:]), Number: n.String(),
	}
	if l.Numbers {
		out.Number = "+" + n.Digits()
	}
	if n.IsZero() {
		out.Number = e.Sender
	}
	if e.Heard != nil {
		out.Lang, out.Topic, out.Step = string(e.Heard.Lang), e.Heard.Topic, e.Heard.Step
		out.Lost = e.Kind == gateway.Heard && !e.Heard.Understood
	}
	for _, r := range e.Replies {
		out.Replies = append(out.Replies, r.Text)
		out.Segments += r.Segments
	}
	return out
}

// firstKey returns the key before the entries since a time.
func firstKey(since time.Time) gateway.Key {
	if since.IsZero() {
		return gateway.Key{}
	}
	return gateway.NewKey(since, 0)
}
