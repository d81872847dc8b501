package webhook

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptrace"
	"net/url"
	"strings"
	"sync/atomic"
	"time"

	"cobline/gateway"
)

// sender is a compiled Out.
type sender struct {
	method    string
	url, body tree
	headers   map[string]tree
	ok, retry []string
	client    *http.Client
}

// sent is what the templates of an outbound request know.
type sent struct {
	To, From, Text, Ref string
	Expires             time.Time
	Valid               int // seconds for which the message is still worth delivering
}

// escaped returns the values as they stand inside an address.
func (d sent) escaped() sent {
	d.From, d.Text, d.Ref = url.QueryEscape(d.From), url.QueryEscape(d.Text), url.QueryEscape(d.Ref)
	return d
}

// sendTimeout bounds one attempt, connecting and answer included.
const sendTimeout = 20 * time.Second

func (c *compiler) sender(o Out) *sender {
	sample := sent{To: "254700000001", Text: "text", Ref: "ref"}
	s := &sender{
		method:  o.Method,
		url:     c.tree("out.url", o.URL, sample),
		body:    c.tree("out.body", o.Body, sample),
		headers: c.headers("out.headers", o.Headers, sample),
		ok:      c.statuses("out.ok", o.OK, []string{"2xx"}),
		retry:   c.statuses("out.retry", o.Retry, []string{"408", "425", "429", "5xx"}),
		client: &http.Client{
			Timeout: sendTimeout,
			// A gateway that moved is a gateway to configure anew, not a place
			// to send people's texts to.
			CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		},
	}
	if s.method == "" {
		s.method = http.MethodPost
	}
	u, err := url.Parse(o.URL)
	c.want(err == nil && u.Host != "" && (u.Scheme == "http" || u.Scheme == "https"), "out.url", "must be an http or https address")
	c.want(o.Encode == "" || o.Encode == "json", "out.encode", "must be json")
	c.want(len(o.Body) > 0, "out.body", "is missing: say what the gateway is sent, such as { to = \"+{{.To}}\", message = \"{{.Text}}\" }")
	return s
}

// Send hands one message to the gateway. It returns nil if the gateway took it,
// gateway.Refused if it never will, gateway.ErrUnsure if it may have, and any
// other error if it did not and should be asked again.
func (sh *Shape) Send(ctx context.Context, o gateway.Outbound) error {
	if sh.out == nil {
		return gateway.Refused{Reason: "the channel cannot send"}
	}
	req, err := sh.out.request(ctx, sent{
		To: o.To.Digits(), From: o.From, Text: o.Text, Ref: o.Ref,
		Expires: o.Expires, Valid: int(time.Until(o.Expires).Seconds()),
	})
	if err != nil {
		return gateway.Refused{Reason: err.Error()}
	}
	return sh.out.do(req)
}

func (s *sender) request(ctx context.Context, data sent) (*http.Request, error) {
	address, err := s.url.text(data.escaped())
	if err != nil {
		return nil, err
	}
	body, err := s.body.json(data)
	if err != nil {
		return nil, err
	}
	req, err := http.NewRequestWithContext(ctx, s.method, address, bytes.NewReader(body))
	if err != nil {
		return nil, errors.New("the address cannot be used")
	}
	req.Header.Set("Content-Type", "application/json")
	for name, t := range s.headers {
		v, err := t.text(data)
		if err != nil {
			return nil, err
		}
		req.Header.Set(name, oneLine(v))
	}
	return req, nil
}

func (s *sender) do(req *http.Request) error {
	var written atomic.Bool
	trace := &httptrace.ClientTrace{WroteHeaders: func() { written.Store(true) }}
	res, err := s.client.Do(req.WithContext(httptrace.WithClientTrace(req.Context(), trace)))
	if err != nil {
		// The address may hold a number and a secret: only the cause is told.
		if u := new(url.Error); errors.As(err, &u) {
			err = u.Err
		}
		if written.Load() {
			return fmt.Errorf("%w: %w", gateway.ErrUnsure, err)
		}
		return fmt.Errorf("reach the gateway: %w", err)
	}
	defer res.Body.Close()
	body, _ := io.ReadAll(io.LimitReader(res.Body, 256)) // a reason that cannot be read is no reason
	reason := strings.TrimSpace(fmt.Sprintf("status %d %s", res.StatusCode, clean(string(body))))
	switch {
	case matches(s.ok, res.StatusCode):
		return nil
	case matches(s.retry, res.StatusCode):
		return fmt.Errorf("the gateway put it off: %s", reason)
	default:
		return gateway.Refused{Reason: reason}
	}
}
