package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"os"
	"slices"
	"text/tabwriter"
	"time"

	"cobline/gateway"
	"cobline/gateway/outbox"
)

type channelCommand struct {
	Try    channelTryCommand    `cmd:"" help:"Show what a captured request becomes, and what would be answered and sent. Nothing is sent."`
	List   channelListCommand   `cmd:"" help:"Show how each channel fares: whether it sends, what waits, and what it has cost."`
	Resume channelResumeCommand `cmd:"" help:"Let a paused channel of the running line ask its gateway at once."`
}

type channelListCommand struct {
	Config string `placeholder:"FILE" help:"The configuration (default: cobline.toml if it is there)."`
	JSON   bool   `help:"Print a JSON array."`
}

// channelState is how a channel fares, as scripts read it; its names are stable.
type channelState struct {
	Name    string     `json:"name"`
	State   string     `json:"state"` // sends, resting, failing: the last attempts did, paused, held after a restore, answers: it has no out, or gone: it is not in the configuration
	Since   *time.Time `json:"since,omitempty"`
	Reason  string     `json:"reason,omitempty"`
	Waiting int        `json:"waiting"`
	Funds   string     `json:"funds"` // ample, low, or held for burns already begun
	Today   spendState `json:"today"`
	Month   spendState `json:"month"`
}

// spendState is what a channel's messages took.
type spendState struct {
	Segments int     `json:"segments"`
	Money    float64 `json:"money"`
}

// Run shows the channels of the running line, or else of the store.
func (l *channelListCommand) Run(t *terminal) error {
	config, err := Load(l.Config, os.Environ())
	if err != nil {
		return err
	}
	var states []channelState
	if _, err := order(config, "channels", "", &states); err != nil {
		return err
	}
	if l.JSON {
		return printJSON(t.out, states)
	}
	w := tabwriter.NewWriter(t.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "channel\tstate\twaiting\tfunds\ttoday\tthis month\t")
	for _, s := range states {
		state := s.State
		if s.Since != nil {
			state += " since " + s.Since.Format("2006-01-02 15:04")
		}
		fmt.Fprintf(w, "%s\t%s\t%d\t%s\t%s\t%s\t%s\n", s.Name, state, s.Waiting, s.Funds, s.Today.in(config.Currency), s.Month.in(config.Currency), s.Reason)
	}
	return w.Flush()
}

// in writes a spend with its currency.
func (s spendState) in(currency string) string {
	return fmt.Sprintf("%d segments, %v %s", s.Segments, gateway.MoneyOf(s.Money), currency)
}

type channelResumeCommand struct {
	Name   string `arg:"" help:"The channel, as the configuration names it."`
	Config string `placeholder:"FILE" help:"The configuration (default: cobline.toml if it is there)."`
}

// Run asks the running line.
func (r *channelResumeCommand) Run(t *terminal) error {
	config, err := Load(r.Config, os.Environ())
	if err != nil {
		return err
	}
	switch _, err := ask(config, "resume", r.Name); {
	case errors.Is(err, errNoLine):
		return advised{err, "There is nothing to do: a line that starts asks the gateways of paused channels at once."}
	case err != nil:
		return err
	}
	fmt.Fprintf(t.out, "Channel %s asks its gateway now; `cobline channel list` shows what came of it.\n", r.Name)
	return nil
}

// channels returns how the channels fare, as JSON.
func (c *controller) channels(ctx context.Context) ([]byte, error) {
	waiting, err := c.store.Waiting(ctx)
	if err != nil {
		return nil, err
	}
	states, now := []channelState{}, c.watch.At(time.Now())
	for _, ch := range c.config.Channel {
		spent := c.store.Spent(ch.Name, now)
		s := channelState{
			Name: ch.Name, State: "sends", Waiting: waiting[ch.Name],
			Funds: c.config.tariff(ch).Funds(spent).String(),
			Today: spendState{spent.Day.Segments, spent.Day.Money.Units()},
			Month: spendState{spent.Month.Segments, spent.Month.Money.Units()},
		}
		health, err := c.health(ctx, ch.Name)
		if err != nil {
			return nil, err
		}
		switch {
		case ch.Out == nil:
			s.State = "answers"
		case health.Paused():
			s.State, s.Since, s.Reason = "paused", &health.Since, health.Reason
		case c.hold.on():
			s.State = "held"
		case !health.Resting.IsZero():
			s.State = "resting"
		case health.Failed > 0:
			s.State = "failing"
		}
		states = append(states, s)
	}
	for _, name := range slices.Sorted(maps.Keys(waiting)) {
		if !slices.ContainsFunc(c.config.Channel, func(ch ChannelConfig) bool { return ch.Name == name }) {
			states = append(states, channelState{Name: name, State: "gone", Waiting: waiting[name]})
		}
	}
	return json.Marshal(states)
}

// health is of the worker, or of the last one if no line runs.
func (c *controller) health(ctx context.Context, channel string) (outbox.Health, error) {
	if w, ok := c.workers[channel]; ok {
		return w.Health(), nil
	}
	h, _, err := outbox.Paused(ctx, c.store, channel)
	return h, err
}

func (c *controller) resume(channel string) error {
	w, ok := c.workers[channel]
	if !ok {
		return fmt.Errorf("no channel %q that sends", channel)
	}
	w.Resume()
	return nil
}

// notes tells an operator's monitor whether sending is held, and which channels
// are paused. The gateway's words stay out of it: anybody who reaches the line
// can read them.
func (c *controller) notes() (notes []string) {
	if c.hold.on() {
		notes = append(notes, "sending is held after a restore: see `cobline store confirm`")
	}
	for _, ch := range c.config.Channel {
		if w := c.workers[ch.Name]; w != nil && w.Health().Paused() {
			notes = append(notes, fmt.Sprintf("channel %s is paused since %s: its gateway takes nothing", ch.Name, w.Health().Since.UTC().Format(time.RFC3339)))
		}
	}
	if c.fetcher != nil {
		notes = append(notes, c.fetcher.Notes()...)
	}
	return notes
}
