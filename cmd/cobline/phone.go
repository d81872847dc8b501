package main

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"time"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/boltstore"
	"cobline/gateway/outbox"
	"cobline/gateway/webhook"
)

// phone is a phone and the line it writes to.
type phone interface {
	// enter takes a line a person typed and returns what the phone then shows.
	enter(ctx context.Context, text string) ([]message, error)
	// now returns the time the phone shows.
	now() time.Time
	close() error
}

// localPhone writes to a line inside this process. Its clock is its own: it
// goes on with the machine's, and jumps when told.
type localPhone struct {
	number  gateway.Number
	channel string
	line    *line
	store   *boltstore.Store
	remove  string // the directory to remove at the end
	started time.Time
	start   time.Time // what the clock shows at started
	session string
	policy  outbox.Policy
	wake    time.Time // when a message that waits for the end of the night may be sent
}

// The channels of a phone in the terminal. Messages that nobody asked for come
// by text, also to a person in a session.
const (
	channelSMS  = "sms"
	channelUSSD = "ussd"
)

func newLocalPhone(c Config, dir string, number gateway.Number, channel string, start time.Time) (*localPhone, error) {
	p := &localPhone{number: number, channel: channel, started: time.Now(), start: start}
	if dir == "" {
		var err error
		if dir, err = os.MkdirTemp("", "cobline-try-"); err != nil {
			return nil, fmt.Errorf("make a directory for the store: %w", err)
		}
		p.remove = dir
	} else if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, err
	}
	c.Channel = []ChannelConfig{phoneChannel(channelSMS), phoneChannel(channelUSSD)}
	var err error
	if p.store, err = boltstore.Open(filepath.Join(dir, storeFile), boltstore.Options{NoSync: p.remove != ""}); err != nil {
		return nil, err
	}
	if p.line, err = newLine(context.Background(), c, p.store, nil, nil, slog.New(slog.DiscardHandler)); err != nil {
		return nil, errors.Join(err, p.close())
	}
	p.policy = c.Quiet.policy(p.line.service.Facts)
	return p, nil
}

// phoneChannel is a channel without a gateway: what is said at once is shown,
// and what is said later is taken from the outbox by the phone itself.
func phoneChannel(name string) ChannelConfig {
	ch := plainChannel()
	ch.Name, ch.Kind, ch.RetryWindow = name, name, new(time.Duration)
	if name == channelUSSD {
		ch.Limit = new(160)
		return ch
	}
	ch.Out = &webhook.Out{URL: "http://127.0.0.1/", Body: map[string]any{"text": "{{.Text}}"}}
	return ch
}

func (p *localPhone) close() error {
	err := p.store.Close()
	if p.remove != "" {
		err = errors.Join(err, os.RemoveAll(p.remove))
	}
	return err
}

func (p *localPhone) now() time.Time {
	return p.start.Add(time.Since(p.started)).Truncate(time.Millisecond)
}

// set moves the clock.
func (p *localPhone) set(t time.Time) { p.start, p.started = t, time.Now() }

func (p *localPhone) enter(ctx context.Context, text string) ([]message, error) {
	if order, ok := strings.CutPrefix(text, "@"); ok {
		to, err := p.target(strings.TrimSpace(order))
		if err != nil {
			return nil, err
		}
		return p.travel(ctx, to)
	}
	came, err := p.travel(ctx, p.now())
	if err != nil {
		return came, err
	}
	said, err := p.say(ctx, text)
	return append(came, said...), err
}

var days = regexp.MustCompile(`^([0-9]+)d`)

// target reads where the clock is to go: +20m, +1d2h or 2026-03-02 09:00.
func (p *localPhone) target(order string) (time.Time, error) {
	now := p.now()
	to, err := time.ParseInLocation(minuteLayout, order, now.Location())
	if span, ok := strings.CutPrefix(order, "+"); ok {
		whole := 0
		if m := days.FindStringSubmatch(span); m != nil {
			whole, _ = strconv.Atoi(m[1]) // digits
			span = span[len(m[0]):]
		}
		d := time.Duration(0)
		if err = nil; span != "" {
			d, err = time.ParseDuration(span)
		}
		to = now.AddDate(0, 0, whole).Add(d)
	}
	if err != nil {
		return to, advised{fmt.Errorf("%q is not a time to go to", order), "Write @ +20m, @ +1d2h or @ 2026-03-02 09:00."}
	}
	if to.Before(now) {
		return to, advised{fmt.Errorf("%s is past: it is %s", order, now.Format(minuteLayout)), "The clock only goes forward."}
	}
	return to, nil
}

// say brings a text to the line and returns its answer.
func (p *localPhone) say(ctx context.Context, text string) ([]message, error) {
	now := p.now()
	in := gateway.Inbound{
		Channel: p.channel, Sender: "+" + p.number.Digits(), From: p.number, Via: dialog.SMS,
		Text: text, At: now, // without a sent time: two honest answers in one second are two
		ID: gateway.NewMessageID(p.channel, p.number.Digits(), rand.Text()),
	}
	if p.channel == channelUSSD {
		if p.session == "" {
			p.session = rand.Text()
		}
		in.Via, in.Session = dialog.USSD, p.session
	}
	shown, err := p.line.service.Receive(ctx, in)
	if err != nil {
		return nil, err
	}
	var out []message
	for _, text := range shown.Texts {
		out = append(out, message{text: text})
	}
	if p.channel == channelUSSD {
		out = append(out, message{text: shown.Screen.Text()})
		if !shown.More {
			p.session = ""
		}
	}
	copies, err := p.collect(ctx, now, false)
	return append(out, copies...), err
}

// travel moves the clock to a time and returns what came due on the way, as
// the loops of a running line would have sent it.
func (p *localPhone) travel(ctx context.Context, to time.Time) ([]message, error) {
	var out []message
	for {
		due, err := p.store.DueAlarms(ctx, to, 1)
		if err != nil {
			return out, err
		}
		at, ring := to, len(due) > 0
		if ring {
			at = due[0].Due
		}
		if p.wake.Before(at) && !p.wake.IsZero() {
			at, ring, p.wake = p.wake, false, time.Time{}
		}
		if at.After(p.now()) {
			p.set(at.In(to.Location()))
		}
		if ring {
			if err := p.line.service.Ring(ctx, due[0], at); err != nil {
				return out, err
			}
		}
		came, err := p.collect(ctx, p.now(), true)
		out = append(out, came...)
		if err != nil || !ring && at.Equal(to) {
			return out, err
		}
	}
}

// collect takes what may be sent to this phone now out of the outbox.
func (p *localPhone) collect(ctx context.Context, now time.Time, timed bool) ([]message, error) {
	var out []message
	for {
		leased, err := p.store.Lease(ctx, channelSMS, now, time.Minute, 1)
		if err != nil || len(leased) == 0 {
			return out, err
		}
		o := leased[0]
		s, send := p.policy.Before(o, now, p.store.Spent(channelSMS, now))
		if send {
			s = p.policy.After(o, nil, now, 0)
			if o.To == p.number {
				out = append(out, message{text: o.Text, timed: timed})
			}
		}
		if s.Outcome == gateway.Later && (p.wake.IsZero() || s.Until.Before(p.wake)) {
			p.wake = s.Until
		}
		if err := p.store.Settle(ctx, o.Ref, s); err != nil {
			return out, err
		}
	}
}

// remotePhone writes to the plain channel of a running line.
type remotePhone struct {
	url, number string
	client      http.Client
}

func newRemotePhone(url, number string) *remotePhone {
	return &remotePhone{url: url, number: number, client: http.Client{Timeout: 15 * time.Second}}
}

func (p *remotePhone) now() time.Time { return time.Now() }

func (p *remotePhone) close() error { return nil }

func (p *remotePhone) enter(ctx context.Context, text string) ([]message, error) {
	if strings.HasPrefix(text, "@") {
		return nil, advised{errors.New("the clock of a running line cannot be moved"), "Leave out --url to try with a line of your own."}
	}
	body, err := json.Marshal(map[string]string{
		"id": rand.Text(), "from": p.number, "text": text, "at": time.Now().Format(time.RFC3339),
	})
	if err != nil {
		return nil, err
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, p.url, bytes.NewReader(body))
	if err != nil {
		return nil, advised{err, "Write the address of a plain channel, such as http://127.0.0.1:8080/in/plain."}
	}
	req.Header.Set("Content-Type", "application/json")
	res, err := p.client.Do(req)
	if err != nil {
		return nil, advised{err, "Is `cobline serve` running there?"}
	}
	defer res.Body.Close()
	answer, err := io.ReadAll(res.Body)
	if err != nil {
		return nil, err
	}
	if res.StatusCode != http.StatusOK {
		return nil, fmt.Errorf("the line answered %s: %s", res.Status, bytes.TrimSpace(answer))
	}
	var shown struct{ Replies []string }
	if err := json.Unmarshal(answer, &shown); err != nil {
		return nil, advised{errors.New("the answer is not that of a plain channel"), "Write to a channel that answers {\"replies\":[...]}."}
	}
	out := make([]message, len(shown.Replies))
	for i, r := range shown.Replies {
		out[i] = message{text: r}
	}
	return out, nil
}
