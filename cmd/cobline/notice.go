package main

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"os"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/sms"
	"cobline/locales"
)

type noticeCommand struct {
	Preview noticePreviewCommand `cmd:"" help:"Show whom a notice would reach, what it would cost, and each text as phones show it. Nothing is sent."`
	Send    noticeSendCommand    `cmd:"" help:"Send a notice: through the line if it runs, else as soon as it does. A number gets it once at most."`
	List    noticeListCommand    `cmd:"" help:"Show the notices and how far each has come."`
	Pause   noticePauseCommand   `cmd:"" help:"Send nothing more of a notice until it is resumed."`
	Resume  noticeResumeCommand  `cmd:"" help:"Let a paused notice go on."`
	Cancel  noticeCancelCommand  `cmd:"" help:"Send nothing more of a notice for good."`
}

// noticeFlags are a notice on the command line.
type noticeFlags struct {
	Config  string            `placeholder:"FILE" help:"The configuration (default: cobline.toml if it is there)."`
	Text    map[string]string `placeholder:"LANG=TEXT" mapsep:"none" help:"The text in a language, such as en='Training on Friday. Coming? Text ASK.' One flag for each language; others get the line's own. It asks for a word in reply, never for a digit."`
	Ready   string            `placeholder:"NAME" help:"A ready text in each person's language: rain, wind or cold. Needs --hour."`
	Hour    string            `placeholder:"TIME" help:"When the rain, wind or cold begins: 2026-03-02 15:00, in the zone of the line. The notice names it, and expires then."`
	Weather bool              `help:"A text of your own about the weather: for those it concerns, and with the rain line for those beside a drum."`
	Expires string            `placeholder:"TIME" help:"After which it is not sent (default: the hour of the weather, else a day)."`
	Begin   string            `placeholder:"TIME" help:"Before which it is not sent (default: now). The quiet hours are kept anyway."`

	Place []string `placeholder:"KEY" help:"Only people of these places."`
	Group []string `help:"Only people of these groups."`
	Lang  []string `help:"Only people of these languages."`
	Stage []string `enum:"lit,sealed,opened,drying" help:"Only people who have this under way: lit, sealed, opened, drying."`
	Waste []string `placeholder:"KEY" help:"Only people whose briquettes of this waste dry."`
	Ring  string   `enum:"reported,likely,accepted" default:"likely" help:"How wide a weather notice goes: to those who reported a drum or drying; also to those who probably have; or to all who accepted messages. Any other notice goes to those who accepted."`

	By   string `help:"Who sends it, for the record."`
	JSON bool   `help:"Print JSON."`
}

var rings = map[string]dialog.Ring{
	"reported": dialog.RingReported, "likely": dialog.RingLikely, "accepted": dialog.RingAccepted,
}

// notice returns the notice of the flags.
func (f noticeFlags) notice(c Config) (gateway.Notice, error) {
	n := gateway.Notice{
		By: f.By,
		Audience: gateway.Audience{
			Places: f.Place, Groups: f.Group, Stages: f.Stage, Wastes: f.Waste, Ring: rings[f.Ring],
		},
		Message: dialog.Notice{Ready: f.Ready, Weather: f.Weather},
	}
	for _, l := range f.Lang {
		n.Audience.Langs = append(n.Audience.Langs, locales.Lang(l))
	}
	if len(f.Text) > 0 {
		n.Message.Texts = map[locales.Lang]string{}
	}
	for l, text := range f.Text {
		n.Message.Texts[locales.Lang(l)] = text
	}
	for _, t := range []struct {
		flag, text string
		into       *time.Time
	}{{"hour", f.Hour, &n.Message.Hour}, {"expires", f.Expires, &n.Message.Expires}, {"begin", f.Begin, &n.NotBefore}} {
		if t.text == "" {
			continue
		}
		at, err := time.ParseInLocation(minuteLayout, t.text, c.zone())
		if err != nil {
			return n, fmt.Errorf("--%s: %q is not a time; write it as 2026-03-02 15:00", t.flag, t.text)
		}
		*t.into = at
	}
	places := map[string]bool{}
	for _, p := range c.places() {
		places[p.Key] = true
	}
	for _, p := range f.Place {
		if !places[p] {
			return n, fmt.Errorf("--place: there is no place %q; there are %s", p, strings.Join(slices.Sorted(maps.Keys(places)), ", "))
		}
	}
	return n, nil
}

// zone is the zone of the line.
func (c Config) zone() *time.Location {
	zone, err := time.LoadLocation(c.Zone)
	if err != nil {
		panic(err) // the configuration was checked
	}
	return zone
}

type noticePreviewCommand struct{ noticeFlags }

// Run shows what a notice would come to.
func (p *noticePreviewCommand) Run(t *terminal) error {
	var preview gateway.Preview
	if _, err := p.order("notice-preview", &preview); err != nil {
		return err
	}
	if p.JSON {
		return printJSON(t.out, preview)
	}
	printPreview(t.out, preview)
	return nil
}

func printPreview(w io.Writer, p gateway.Preview) {
	fmt.Fprintf(w, "Persons: %d (%s). Segments: %d", p.Persons, counts(p.Rings), p.Segments)
	if p.Price > 0 {
		fmt.Fprintf(w, ". Price: %.2f", p.Price)
	}
	fmt.Fprintln(w, ".")
	if p.Asked > 0 {
		fmt.Fprintf(w, "Asked first whether the number is still theirs: %d.\n", p.Asked)
	}
	if len(p.LeftOut) > 0 {
		fmt.Fprintf(w, "Left out: %s.\n", counts(p.LeftOut))
	}
	for _, v := range p.Texts {
		encoding, units := sms.Measure(v.Text)
		fmt.Fprintf(w, "\n%s: persons %d, segments %d, %v, units %d\n  %s\n", v.Lang, v.Persons, v.Segments, encoding, units, strings.ReplaceAll(v.Text, "\n", "\n  "))
	}
}

// counts lists what was counted, the most first.
func counts(n map[string]int) string {
	if len(n) == 0 {
		return "none"
	}
	keys := slices.SortedFunc(maps.Keys(n), func(a, b string) int {
		return cmp.Or(n[b]-n[a], strings.Compare(a, b))
	})
	for i, k := range keys {
		keys[i] = fmt.Sprintf("%d %s", n[k], k)
	}
	return strings.Join(keys, ", ")
}

type noticeSendCommand struct{ noticeFlags }

// Run starts a notice.
func (s *noticeSendCommand) Run(t *terminal) error {
	var started noticeState
	live, err := s.order("notice-send", &started)
	if err != nil {
		return err
	}
	if s.JSON {
		return printJSON(t.out, started)
	}
	fmt.Fprintf(t.out, "Notice %s is started. `cobline notice list` shows how far it has come.\n", started.ID)
	if !live {
		fmt.Fprintln(t.out, "No line is running: it goes out when one does.")
	}
	return nil
}

// order gives the notice of the flags with a command to the line.
func (f noticeFlags) order(command string, into any) (live bool, err error) {
	config, err := Load(f.Config, os.Environ())
	if err != nil {
		return false, err
	}
	n, err := f.notice(config)
	if err != nil {
		return false, err
	}
	argument, err := json.Marshal(n)
	if err != nil {
		return false, err
	}
	return order(config, command, string(argument), into)
}

// order gives a command to the running line or, if there is none, to its store,
// and reads the answer.
func order(config Config, command, argument string, into any) (live bool, err error) {
	answer, err := ask(config, command, argument)
	if live = !errors.Is(err, errNoLine); !live {
		answer, err = orderStore(config, command, argument)
	}
	if err != nil {
		return live, err
	}
	if err := json.Unmarshal(answer, into); err != nil {
		return live, fmt.Errorf("read the line's answer: %w", err)
	}
	return live, nil
}

// orderStore does what a command asks for while no line runs.
func orderStore(config Config, command, argument string) (answer []byte, err error) {
	store, err := openStore(config)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	ctx := context.Background()
	last, err := store.Last(ctx)
	if err != nil {
		return nil, err
	}
	watch := gateway.NewWatch(last.Time())
	line, err := newLine(ctx, config, store, watch, nil, slog.New(slog.DiscardHandler))
	if err != nil {
		return nil, err
	}
	log := slog.New(slog.DiscardHandler)
	notices := gateway.NewNotices(store, line.service)
	phones, err := config.phones(store, notices, nil)
	if err != nil {
		return nil, err
	}
	c := &controller{
		config: config, store: store, notices: notices, phones: phones, watch: watch, hold: &hold{}, log: log,
		knowledge: line.knowledge, fetcher: config.fetcher(line.knowledge, log, nil),
	}
	return c.do(ctx, command, argument)
}

type noticeListCommand struct {
	Config string `placeholder:"FILE" help:"The configuration (default: cobline.toml if it is there)."`
	JSON   bool   `help:"Print a JSON array."`
}

// noticeState is a notice as scripts read it; its names are stable.
type noticeState struct {
	ID       string                  `json:"id"`
	Progress string                  `json:"progress"`
	By       string                  `json:"by,omitempty"`
	Started  time.Time               `json:"started"`
	Expires  time.Time               `json:"expires"`
	Ready    string                  `json:"ready,omitempty"`
	Texts    map[locales.Lang]string `json:"texts,omitempty"`
	Listed   bool                    `json:"listed"` // whom it is for is known in full
	gateway.Tally
	Waiting int `json:"waiting"`
}

func stateOf(s gateway.Standing) noticeState {
	m := s.Notice.Message
	return noticeState{
		ID: m.ID, Progress: s.Notice.Progress.String(), By: s.Notice.By, Started: s.Notice.At, Expires: m.Expires,
		Ready: m.Ready, Texts: m.Texts, Listed: s.Notice.Listed, Tally: s.Tally, Waiting: s.Tally.Waiting(),
	}
}

// Run lists the notices.
func (l *noticeListCommand) Run(t *terminal) error {
	config, err := Load(l.Config, os.Environ())
	if err != nil {
		return err
	}
	var states []noticeState
	if _, err := order(config, "notice-list", "", &states); err != nil {
		return err
	}
	if l.JSON {
		return printJSON(t.out, states)
	}
	w := tabwriter.NewWriter(t.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "notice\tstate\texpires\tfor\treached\tdelivered\tfailed\texpired\tunknown\topted out\tleft out\twaiting\treplied")
	for _, s := range states {
		state := s.Progress
		if s.Listed && s.Waiting == 0 {
			state = "done"
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%d\t%d\t%d\t%d\t%d\t%d\t%d\t%d\t%d\t%d\n", s.ID, state, s.Expires.In(config.zone()).Format(minuteLayout),
			s.Enlisted, s.Reached, s.Delivered, s.Failed+s.Undelivered, s.Expired, s.Unknown, s.OptedOut, s.Left, s.Waiting, s.Replied)
	}
	return w.Flush()
}

// noticeID is a notice on the command line.
type noticeID struct {
	ID     string `arg:"" help:"The notice, as the list names it."`
	Config string `placeholder:"FILE" help:"The configuration (default: cobline.toml if it is there)."`
}

func (n noticeID) set(t *terminal, command string) error {
	config, err := Load(n.Config, os.Environ())
	if err != nil {
		return err
	}
	var state noticeState
	if _, err := order(config, "notice-"+command, n.ID, &state); err != nil {
		return err
	}
	fmt.Fprintf(t.out, "Notice %s is %s: %d of %d reached, %d waiting.\n", state.ID, state.Progress, state.Reached, state.Enlisted, state.Waiting)
	return nil
}

type (
	noticePauseCommand  struct{ noticeID }
	noticeResumeCommand struct{ noticeID }
	noticeCancelCommand struct{ noticeID }
)

// Run pauses a notice.
func (n *noticePauseCommand) Run(t *terminal) error { return n.set(t, "pause") }

// Run lets a notice go on.
func (n *noticeResumeCommand) Run(t *terminal) error { return n.set(t, "resume") }

// Run cancels a notice.
func (n *noticeCancelCommand) Run(t *terminal) error { return n.set(t, "cancel") }

func printJSON(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	return e.Encode(v)
}

var progresses = map[string]gateway.Progress{
	"pause": gateway.Paused, "resume": gateway.Running, "cancel": gateway.Cancelled,
}

// notice does what commands about notices ask for.
func (c *controller) notice(ctx context.Context, what, argument string) (any, error) {
	now := time.Now()
	var n gateway.Notice
	if what == "preview" || what == "send" {
		if err := json.Unmarshal([]byte(argument), &n); err != nil {
			return nil, fmt.Errorf("read the notice: %w", err)
		}
	}
	switch what {
	case "preview":
		return c.notices.Preview(ctx, n, now)
	case "send":
		started, err := c.notices.Start(ctx, n, now)
		return stateOf(gateway.Standing{Notice: started}), err
	case "list":
		all, err := c.notices.List(ctx)
		states := []noticeState{}
		for _, s := range all {
			states = append(states, stateOf(s))
		}
		return states, err
	}
	p, ok := progresses[what]
	if !ok {
		return nil, fmt.Errorf("unknown command about notices %q", what)
	}
	standing, err := c.notices.Set(ctx, argument, p, now)
	return stateOf(standing), err
}
