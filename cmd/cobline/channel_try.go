package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"net/netip"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/boltstore"
	"cobline/gateway/sms"
	"cobline/gateway/web"
	"cobline/gateway/webhook"
)

type channelTryCommand struct {
	Name   string     `arg:"" help:"The channel's name."`
	Sample string     `placeholder:"FILE" help:"A request as it came over the line: request line, headers, an empty line, body. \"-\" is the standard input."`
	Remote netip.Addr `placeholder:"ADDRESS" default:"127.0.0.1" help:"Where the request came from, for a channel with an allow-list (default: 127.0.0.1)."`
	At     time.Time  `placeholder:"TIME" help:"When it came, such as 2026-03-02T09:00:00Z, for a signature with a time (default: now)."`
	Reply  string     `placeholder:"TEXT" default:"Load 3 sacks, \"dry\" & 50% full." help:"What the sample message of a channel that sends says."`
	Config string     `placeholder:"FILE" help:"The configuration (default: cobline.toml if it is there)."`
}

// Help returns what stands below the flags.
func (*channelTryCommand) Help() string {
	return `The request is answered by a line of its own that forgets it at the end.

A request can be captured where the gateway is told to call, for example with
  nc -l 9999 > sample.http

Examples:
  cobline channel try sms-a --sample sample.http
  cobline channel try sms-a --reply "It's 5 o'clock: LIT?"`
}

// Run shows what would happen.
func (c *channelTryCommand) Run(t *terminal) (err error) {
	config, err := Load(c.Config, os.Environ())
	if err != nil {
		return advised{err, "`cobline check` tells more."}
	}
	config.starOut() // what it would send is shown, and nothing is sent
	dir, err := os.MkdirTemp("", "cobline-channel-")
	if err != nil {
		return fmt.Errorf("make a directory for the store: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	store, err := boltstore.Open(filepath.Join(dir, storeFile), boltstore.Options{NoSync: true})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	line, err := newLine(context.Background(), config, store, nil, nil, slog.New(slog.DiscardHandler))
	if err != nil {
		return err
	}
	i := slices.IndexFunc(line.shapes, func(s *webhook.Shape) bool { return s.Name() == c.Name })
	if i < 0 {
		var names []string
		for _, s := range line.shapes {
			names = append(names, s.Name())
		}
		return advised{fmt.Errorf("there is no channel %q", c.Name), "There are: " + strings.Join(names, ", ") + "."}
	}
	trial := trial{report: report{t.out, config.hide()}, config: config.Channel[i], shape: line.shapes[i], line: line, store: store}
	if c.Sample == "" && !trial.shape.Sends() {
		return advised{fmt.Errorf("channel %s only answers: there is nothing to show without a request", c.Name), "Give a captured one with --sample FILE."}
	}
	if c.Sample != "" {
		request, err := c.request(t.in)
		if err != nil {
			return err
		}
		if err := trial.receive(context.Background(), request); err != nil {
			return err
		}
	}
	return trial.send(context.Background(), c.Reply)
}

// request reads the sample.
func (c *channelTryCommand) request(in io.Reader) (webhook.Request, error) {
	if c.Sample != "-" {
		f, err := os.Open(c.Sample)
		if err != nil {
			return webhook.Request{}, err
		}
		defer f.Close()
		in = f
	}
	raw, err := io.ReadAll(in)
	if err != nil {
		return webhook.Request{}, err
	}
	r, err := readSample(raw)
	if err != nil {
		return webhook.Request{}, advised{fmt.Errorf("%s is no HTTP request: %w", c.Sample, err), "It begins with a line such as POST /in/sms-a HTTP/1.1, then a header a line, an empty line, and the body."}
	}
	r.Remote, r.At = c.Remote, c.At
	if r.At.IsZero() {
		r.At = time.Now()
	}
	return r, nil
}

// trial is a channel being tried.
type trial struct {
	report
	config ChannelConfig
	shape  *webhook.Shape
	line   *line
	store  *boltstore.Store
}

// receive shows what a request becomes. The error says that it would be refused.
func (t trial) receive(ctx context.Context, r webhook.Request) error {
	name := t.shape.Name()
	if !slices.ContainsFunc(t.shape.Endpoints(), webhook.Endpoint{Method: r.Method, Path: r.Path}.Overlaps) {
		var known []string
		for _, e := range t.shape.Endpoints() {
			known = append(known, e.Method+" "+e.Path)
		}
		t.head("%s %s is no request of channel %s, which is called by %s; it is read as if it were", r.Method, r.Path, name, strings.Join(known, ", "))
		r.Path = ""
	}
	x, err := web.Handle(ctx, t.shape, t.line.service, r)
	if err != nil {
		return err
	}
	taken := x.Taken
	if x.Outcome == web.Denied {
		t.head("denied: %v; had it passed", x.Why)
		if taken, err = t.shape.Take(r); err != nil {
			t.detail("malformed: %v", err)
		}
	}
	for _, m := range taken.Messages {
		t.message(m)
	}
	for _, d := range taken.Reports {
		t.delivery(d)
	}
	for _, doubt := range taken.Doubts {
		t.head("passed over: %v", doubt)
	}
	if len(taken.Messages)+len(taken.Reports) == 0 && x.Why == nil {
		t.head("nothing: no message and no report")
	}
	t.head("answer")
	t.response(x.Response)
	if x.Why != nil {
		return fmt.Errorf("the request would be refused: %w", x.Why)
	}
	return nil
}

func (t trial) message(m gateway.Inbound) {
	t.head("message")
	if m.From.IsZero() {
		t.detail("from %q, which is no phone number: it is journalled and never answered", m.Sender)
	} else {
		t.detail("from +%s, written %q", m.From.Digits(), m.Sender)
	}
	if m.To != "" {
		t.detail("to %q", m.To)
	}
	t.detail("text %q", m.Text)
	if m.Dialled != "" {
		t.detail("keyed since the session began %q", m.Dialled)
	}
	if m.Session != "" {
		t.detail("session %q", m.Session)
	}
	if p := m.Part; p != nil {
		t.detail("part %d of %d of the long text %d, in %q", p.Seq, p.Total, p.Ref, p.Charset)
	}
	if !m.SentAt.IsZero() {
		t.detail("sent at %s", m.SentAt.UTC().Format(time.RFC3339))
	}
	switch {
	case m.Provider != "":
		t.detail("known again by the gateway's id %q", m.Provider)
	case m.ID != gateway.MessageID{}:
		t.detail("known again by its time, or its place in its session")
	default:
		t.detail("no id and no time: the same text again within %v is taken for a repeat", *t.config.RetryWindow)
	}
}

func (t trial) delivery(d gateway.Report) {
	t.head("delivery report")
	if d.Ref != "" {
		t.detail("of our reference %q", d.Ref)
	}
	if d.Provider != "" {
		t.detail("of the gateway's id %q", d.Provider)
	}
	switch {
	case d.OptedOut:
		t.detail("opted out: nothing more is sent to this number unasked")
	case d.State != 0:
		t.detail("state %v", d.State)
	}
	if d.Reason != "" {
		t.detail("reason %q", d.Reason)
	}
}

// send shows what leaves by the outbox: what the line said to the request, or
// else a sample.
func (t trial) send(ctx context.Context, sample string) error {
	now, said := time.Now(), false
	for _, shape := range t.line.shapes {
		for { // of each person, one message is leased at a time
			leased, err := t.store.Lease(ctx, shape.Name(), now, time.Minute, 1)
			if err != nil {
				return err
			}
			if len(leased) == 0 {
				break
			}
			said = true
			if err := t.preview(shape, leased[0]); err != nil {
				return err
			}
			if err := t.store.Settle(ctx, leased[0].Ref, gateway.Settlement{Outcome: gateway.Sent, At: now}); err != nil {
				return err
			}
		}
	}
	if said || !t.shape.Sends() {
		return nil
	}
	to, err := gateway.ParseNumber("+254700000001", "")
	if err != nil {
		return err
	}
	return t.preview(t.shape, gateway.Outbound{
		Ref: gateway.NewKey(now, 1).Ref(0), To: to, From: t.config.Sender,
		Urgency: dialog.Answer, Text: sample, Segments: len(sms.Split(sample).Segments), Expires: now.Add(24 * time.Hour),
	})
}

func (t trial) preview(shape *webhook.Shape, o gateway.Outbound) error {
	text, err := shape.Preview(o)
	if err != nil {
		return fmt.Errorf("channel %s: %w", shape.Name(), err)
	}
	t.head("channel %s would send", shape.Name())
	t.block(text)
	return nil
}

// report writes what is found without the secrets of a configuration, what
// belongs together indented below its head.
type report struct {
	to   io.Writer
	hide *strings.Replacer
}

func (r report) head(format string, args ...any) {
	fmt.Fprintln(r.to, r.hide.Replace(fmt.Sprintf(format, args...)))
}

func (r report) detail(format string, args ...any) { r.head("  "+format, args...) }

func (r report) block(text string) {
	for line := range strings.SplitSeq(strings.TrimRight(text, "\n"), "\n") {
		r.head("%s", strings.TrimRight("  "+line, " \r"))
	}
}

func (r report) response(res webhook.Response) {
	r.detail("%d", res.Status)
	for _, name := range slices.Sorted(maps.Keys(res.Headers)) {
		r.detail("%s: %s", name, res.Headers[name])
	}
	if len(res.Body) > 0 {
		r.block("\n" + string(res.Body))
	}
}
