package webhook

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptrace"
	"net/url"
	"regexp"
	"strings"
	"sync/atomic"
	"time"

	"cobline/dialog"
	"cobline/gateway"
)

// sender is a compiled Out.
type sender struct {
	method      string
	base, query tree // of the address: before and after the question mark
	ctype, kind string
	headers     map[string]tree
	body        tree
	command     []tree
	report      tree // the address of delivery reports
	judge       judge
	within      time.Duration
	dry         bool
	client      *http.Client
}

// sent is what the templates of an outbound message know.
type sent struct {
	To, National, From, Text, TextHex, Encoding, Ref, DLRURL string
	Parts                                                    int
	Expires                                                  time.Time
	Valid, ValidMinutes                                      int // for which the message is still worth delivering
	Priority                                                 int // 3 for emergencies, 2 for answers and cautions, 1 for reminders, 0 for bulletins
}

// refer is what the address of delivery reports knows.
type refer struct{ Ref string }

// priorities are those of SMPP 3.4 section 5.2.14.
var priorities = map[dialog.Urgency]int{dialog.Emergency: 3, dialog.Answer: 2, dialog.Safety: 2, dialog.Reminder: 1}

// sendTimeout bounds one attempt, connecting and answer included.
const sendTimeout = 20 * time.Second

func (c *compiler) sender(o Out, r *Reports) *sender {
	sample := sent{To: "254700000001", National: "0700000001", Text: "text", Ref: "ref", Expires: time.Unix(0, 0)}
	s := &sender{
		method:  cmp.Or(o.Method, http.MethodPost),
		kind:    cmp.Or(o.Encode, "json"),
		headers: c.headers("out.headers", o.Headers, sample),
		judge:   c.judge(o),
		within:  cmp.Or(o.Within, sendTimeout),
		dry:     o.Dry,
		client: &http.Client{
			Transport: transport(),
			// A gateway that moved is a gateway to configure anew, not a place
			// to send people's texts to.
			CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		},
	}
	_, known := escapers[s.kind]
	c.want(known, "out.encode", "must be json, form, xml or text")
	s.ctype = cmp.Or(o.Type, contentTypes[s.kind])
	if _, table := o.Body.(map[string]any); table {
		c.want(s.kind == "json" || s.kind == "form", "out.encode", "must be json or form: body is a table")
	}
	if o.Body != nil {
		s.body = c.body("out.body", o.Body, s.kind, sample)
	}
	if r != nil && r.URL != "" {
		s.report = c.tree("reports.url", r.URL, url.QueryEscape, refer{"ref"})
	}
	if len(o.Command) > 0 {
		c.want(o.URL == "", "out.command", "cannot be beside a url")
		for i, arg := range o.Command {
			s.command = append(s.command, c.tree(fmt.Sprintf("out.command[%d]", i), arg, asItIs, sample))
		}
		return s
	}
	address, query, _ := strings.Cut(o.URL, "?")
	s.base = c.tree("out.url", address, url.PathEscape, sample)
	s.query = c.tree("out.url", query, url.QueryEscape, sample)
	u, err := url.Parse(o.URL)
	c.want(err == nil && u.Host != "" && (u.Scheme == "http" || u.Scheme == "https"), "out.url", "must be an http or https address")
	c.want(!strings.Contains(query, "+{{"), "out.url", "has a plus sign before a value: in an address that is a blank; write %2B")
	c.want(o.Body != nil || s.method == http.MethodGet, "out.body", `is missing: say what the gateway is sent, such as { to = "+{{.To}}", message = "{{.Text}}" }, or set method = "GET"`)
	return s
}

var contentTypes = map[string]string{
	"json": "application/json", "form": "application/x-www-form-urlencoded", "xml": "text/xml; charset=utf-8", "text": "text/plain; charset=utf-8",
}

func transport() *http.Transport {
	t := http.DefaultTransport.(*http.Transport).Clone()
	t.MaxIdleConnsPerHost = 16
	// Less than servers wait, so that a connection is seldom closed at the moment
	// a message is written to it and leaves its fate unknown.
	t.IdleConnTimeout = 4 * time.Second
	return t
}

// Send hands one message to the gateway. It returns nil if the gateway took it,
// gateway.Refused if it never will, Throttled or gateway.Blocked if the channel
// should rest, gateway.ErrUnsure if it may have, and any other error if it did not
// and should be asked again.
func (sh *Shape) Send(ctx context.Context, o gateway.Outbound) error {
	_, err := sh.Submit(ctx, o)
	return err
}

// Submit is Send, and returns the gateway's own id of the message if the
// specification says where it stands.
func (sh *Shape) Submit(ctx context.Context, o gateway.Outbound) (id string, err error) {
	if sh.out == nil {
		return "", gateway.Refused{Reason: "the channel cannot send"}
	}
	data, err := sh.out.data(o)
	if err != nil {
		return "", errUnfit
	}
	ctx, cancel := context.WithTimeout(ctx, sh.out.within)
	defer cancel()
	attempt := sh.out.post
	if sh.out.command != nil {
		attempt = sh.out.run
	}
	return attempt(ctx, data)
}

// Preview returns what would be sent: a request as it goes over the line, or a
// command with an argument a line.
func (sh *Shape) Preview(o gateway.Outbound) (string, error) {
	if sh.out == nil {
		return "", errors.New("the channel cannot send")
	}
	data, err := sh.out.data(o)
	if err != nil {
		return "", err
	}
	if sh.out.command != nil {
		args, input, err := sh.out.arguments(data)
		return strings.Join(args, "\n") + "\n\n" + string(input), err
	}
	req, err := sh.out.request(context.Background(), data)
	if err != nil {
		return "", err
	}
	var b strings.Builder
	err = req.Write(&b)
	return strings.ReplaceAll(b.String(), "\r\n", "\n"), err
}

func (s *sender) data(o gateway.Outbound) (sent, error) {
	left := time.Until(o.Expires)
	d := sent{
		To: o.To.Digits(), National: o.To.National(), From: o.From, Text: o.Text, TextHex: hexUTF16(o.Text), Encoding: encodingOf(o.Text),
		Ref: o.Ref, Parts: o.Segments, Expires: o.Expires,
		Valid: int(left.Seconds()), ValidMinutes: int(left.Minutes()), Priority: priorities[o.Urgency],
	}
	var err error
	d.DLRURL, err = s.report.text(refer{o.Ref})
	return d, err
}

func (s *sender) request(ctx context.Context, data sent) (*http.Request, error) {
	address, err := s.base.text(data)
	if err != nil {
		return nil, err
	}
	query, err := s.query.text(data)
	if err != nil {
		return nil, err
	}
	if query != "" {
		address += "?" + query
	}
	body, err := s.body.body(data, s.kind)
	if err != nil {
		return nil, err
	}
	body = encode(string(body), s.ctype)
	req, err := http.NewRequestWithContext(ctx, s.method, address, bytes.NewReader(body))
	if err != nil {
		return nil, errors.New("the address cannot be used")
	}
	if len(body) > 0 {
		req.Header.Set("Content-Type", s.ctype)
	}
	if s.method == http.MethodGet {
		// net/http repeats a GET whose connection broke, and the message would go
		// out twice; it does not if there is a body it cannot rewind.
		req.Body, req.GetBody = io.NopCloser(bytes.NewReader(body)), nil
	}
	for name, t := range s.headers {
		v, err := t.text(data)
		if err != nil {
			return nil, err
		}
		if v != "" {
			req.Header.Set(name, oneLine(v))
		}
	}
	return req, nil
}

// post sends a request.
func (s *sender) post(ctx context.Context, data sent) (string, error) {
	var written atomic.Bool
	ctx = httptrace.WithClientTrace(ctx, &httptrace.ClientTrace{WroteHeaders: func() { written.Store(true) }})
	req, err := s.request(ctx, data)
	if err != nil {
		return "", errUnfit
	}
	if s.dry {
		return "", nil
	}
	res, err := s.client.Do(req)
	if err != nil {
		// The address may hold a number and a secret: only the cause is told.
		if u := new(url.Error); errors.As(err, &u) {
			err = u.Err
		}
		if written.Load() {
			return "", fmt.Errorf("%w: %w", gateway.ErrUnsure, err)
		}
		return "", fmt.Errorf("reach the gateway: %w", err)
	}
	defer res.Body.Close()
	body, err := io.ReadAll(io.LimitReader(res.Body, maxAnswer))
	return s.judge.of(result{
		status: res.StatusCode, header: res.Header, body: body, cut: err != nil, sent: data,
	})
}

// errUnfit does not say why: a template may hold a secret, and what fills it a
// number.
var errUnfit = gateway.Refused{Reason: "the message does not fit the templates of the channel"}

// mask hides a person's number and text in what a gateway says about them.
func (d sent) mask(reason string) string {
	if n := len(d.To); n > 7 {
		reason = regexp.MustCompile(`\+?[0-9]*`+d.To[n-7:]).ReplaceAllLiteralString(reason, "…")
	}
	if len(d.Text) > 7 {
		reason = strings.ReplaceAll(reason, d.Text, "…")
	}
	return reason
}

// maxAnswer is as much of an answer as is read.
const maxAnswer = 64 << 10
