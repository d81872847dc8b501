package web_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/BurntSushi/toml"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/boltstore"
	"cobline/gateway/console"
	"cobline/gateway/web"
	"cobline/gateway/webhook"
)

// desk keeps what it receives and answers as it is told.
type desk struct {
	mu      sync.Mutex
	kept    []gateway.Inbound
	reports []gateway.Report
	fail    error
	busy    chan struct{} // if set, a turn lasts until it is closed
}

func (d *desk) Receive(_ context.Context, in gateway.Inbound) (gateway.Shown, error) {
	if d.busy != nil {
		<-d.busy
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	again := slices.ContainsFunc(d.kept, func(before gateway.Inbound) bool { return before.ID == in.ID })
	d.kept = append(d.kept, in)
	switch in.Text {
	case "panic":
		panic("a text nobody thought of")
	case "poison":
		return gateway.Shown{}, errors.New("a text that cannot be kept")
	}
	return gateway.Shown{Texts: []string{"heard " + in.Text}, Again: again}, d.fail
}

func (d *desk) Report(_ context.Context, r gateway.Report) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.reports = append(d.reports, r)
	if r.Ref == "nobody's" {
		return fmt.Errorf("note a report: %w", gateway.ErrNotFound)
	}
	return d.fail
}

// texts returns the texts that came, in their order.
func (d *desk) texts() []string {
	d.mu.Lock()
	defer d.mu.Unlock()
	var out []string
	for _, in := range d.kept {
		out = append(out, in.Text)
	}
	return out
}

// line is a server on loopback and the receiver behind it.
type line struct {
	desk
	t     *testing.T
	url   string
	ready error
	notes []string
	log   bytes.Buffer
}

// plain is a channel with a secret in the query, which answers at once.
const plain = `
name = "plain"
country = "KE"
[in]
path = "/in/plain"
id = "json:id"
from = "json:from"
text = "json:text"
to = "header:X-To"
session = "query:s"
check = { token = "query:k", value = "s3cret n3w-one" }
answer = { carry = "all", body = "{{.Text}}" }
`

func serve(t *testing.T, specs ...string) *line {
	var shapes []*webhook.Shape
	for _, s := range specs {
		shapes = append(shapes, compile(t, s))
	}
	l := &line{t: t}
	store, err := boltstore.Open(filepath.Join(t.TempDir(), "store"), boltstore.Options{NoSync: true})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, store.Close()) })
	accounts, err := console.NewAccounts(store)
	require.NoError(t, err)
	office, err := console.New(console.Options{
		Desk: store, Accounts: accounts, Facts: func() *dialog.Facts { return &dialog.Facts{} }, Log: slog.New(slog.DiscardHandler),
	})
	require.NoError(t, err)
	app, err := web.New(web.Options{
		Console: office, Proxies: []string{"127.0.0.1"}, ProxyHeader: "X-Real-IP",
		Channels: shapes,
		Receiver: &l.desk,
		Ready:    func() error { return l.ready },
		Notes:    func() []string { return l.notes },
		Metrics:  prometheus.NewRegistry(),
		Log:      slog.New(slog.NewTextHandler(&l.log, &slog.HandlerOptions{Level: slog.LevelDebug})),
	})
	require.NoError(t, err)
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	l.url = "http://" + ln.Addr().String()
	served := make(chan error, 1)
	go func() { served <- app.Listener(ln) }()
	t.Cleanup(func() {
		require.NoError(t, app.ShutdownWithTimeout(5*time.Second))
		require.NoError(t, <-served)
	})
	return l
}

func compile(t *testing.T, s string) *webhook.Shape {
	var spec webhook.Spec
	_, err := toml.Decode(s, &spec)
	require.NoError(t, err)
	shape, err := webhook.Compile(spec)
	require.NoError(t, err)
	return shape
}

// request sends a request whose answer's body is not of interest.
func (l *line) request(method, path, body string, headers ...string) *http.Response {
	r, err := http.NewRequest(method, l.url+path, strings.NewReader(body))
	require.NoError(l.t, err)
	r.Header.Set("Content-Type", "application/json")
	for i := 0; i < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	res, err := http.DefaultClient.Do(r)
	require.NoError(l.t, err)
	l.t.Cleanup(func() { res.Body.Close() })
	return res
}

func (l *line) do(method, path, body string, headers ...string) (int, string) {
	res := l.request(method, path, body, headers...)
	answer, err := io.ReadAll(res.Body)
	require.NoError(l.t, err)
	return res.StatusCode, string(answer)
}

func text(id int, text string) string {
	return fmt.Sprintf(`{"id":"%d","from":"+2547000%05d","text":%q}`, id, id, text)
}

func TestAnswers(t *testing.T) {
	big := text(1, strings.Repeat("a", 70<<10))
	for name, c := range map[string]struct {
		method, path, body string
		headers            []string
		status             int
		answer             string
		reaches            bool
	}{
		"a text":               {"POST", "/in/plain?k=s3cret", text(1, "hi"), nil, 200, "heard hi", true},
		"while it is changed":  {"POST", "/in/plain?k=n3w-one", text(1, "hi"), nil, 200, "heard hi", true},
		"both secrets":         {"POST", "/in/plain?k=s3cret+n3w-one", text(1, "hi"), nil, 401, "The secret is missing or wrong.\n", false},
		"no secret":            {"POST", "/in/plain", text(1, "hi"), nil, 401, "The secret is missing or wrong.\n", false},
		"a wrong secret":       {"POST", "/in/plain?k=S3cret", text(1, "hi"), nil, 401, "The secret is missing or wrong.\n", false},
		"too large":            {"POST", "/in/plain?k=s3cret", big, nil, 413, "The body is larger than 64 KiB.\n", false},
		"compressed":           {"POST", "/in/plain?k=s3cret", "\x1f\x8b", []string{"Content-Encoding", "gzip"}, 415, "Send the body as it is, without Content-Encoding.\n", false},
		"malformed":            {"POST", "/in/plain?k=s3cret", `{"id":`, nil, 400, "The body (json) is not well-formed JSON.\n", false},
		"without a text":       {"POST", "/in/plain?k=s3cret", `{"from":"+254700000001"}`, nil, 400, "The text (json:text) is missing; the body came as \"application/json\".\n", false},
		"a malformed query":    {"POST", "/in/plain?k=%zz", text(1, "hi"), nil, 400, "The query of the address is not well-formed.\n", false},
		"too many headers":     {"POST", "/in/plain?k=s3cret", text(1, "hi"), []string{"X-Pad", strings.Repeat("a", 20<<10)}, 431, "The headers are larger than 16 KiB.\n", false},
		"headers of a proxy":   {"POST", "/in/plain?k=s3cret", text(1, "hi"), []string{"Cookie", strings.Repeat("a", 12<<10)}, 200, "heard hi", true},
		"another channel":      {"POST", "/in/other", text(1, "hi"), nil, 404, "There is no channel at this address.\n", false},
		"another method":       {"PUT", "/in/plain?k=s3cret", text(1, "hi"), nil, 405, "Method Not Allowed.\n", false},
		"a panic":              {"POST", "/in/plain?k=s3cret", text(1, "panic"), nil, 503, "This was not kept for sure; send it again later.\n", true},
		"is the process there": {"GET", "/healthz", "", nil, 200, "ok\n", false},
		"is it ready":          {"GET", "/readyz", "", nil, 200, "ok\n", false},
	} {
		t.Run(name, func(t *testing.T) {
			l := serve(t, plain)
			status, answer := l.do(c.method, c.path, c.body, c.headers...)
			require.Equal(t, c.status, status)
			require.Equal(t, c.answer, answer)
			require.Equal(t, c.reaches, len(l.kept) == 1)
			require.NotContains(t, l.log.String(), "s3cret")
		})
	}
}

// A refusal is told while the client still writes, whatever its size.
func TestOversizeIsToldOnSlowLinks(t *testing.T) {
	l := serve(t, plain)
	for path, want := range map[string]string{
		"/in/plain":                 "The body is larger than 64 KiB.",
		"/office/sign-in":           "The body is larger than 2048 KiB.",
		"/office/../in/plain":       "The body is larger than 2048 KiB.", // is no channel's address
		"/%6fffice/../in/plain":     "The body is larger than 64 KiB.",
		"http://a/office/../office": "The body is larger than 64 KiB.",
	} {
		t.Run(path, func(t *testing.T) {
			conn, err := net.Dial("tcp", strings.TrimPrefix(l.url, "http://"))
			require.NoError(t, err)
			defer conn.Close()
			_, err = fmt.Fprintf(conn, "POST %s HTTP/1.1\r\nHost: a\r\nContent-Length: 3000000\r\n\r\n", path)
			require.NoError(t, err)
			for range 3000 {
				if _, err = conn.Write(make([]byte, 1000)); err != nil {
					break
				}
			}
			answer, err := io.ReadAll(conn)
			require.NoError(t, err)
			require.Contains(t, string(answer), "413")
			require.Contains(t, string(answer), want)
		})
	}
}

func TestNothingIsAcknowledgedThatFailed(t *testing.T) {
	l := serve(t, plain)
	l.fail = errors.New("disk of +254700000001 is full")
	status, answer := l.do("POST", "/in/plain?k=s3cret", text(1, "hi"))
	require.Equal(t, 503, status)
	require.Equal(t, "This was not kept for sure; send it again later.\n", answer)
	require.Contains(t, l.log.String(), "disk of")

	l.notes = []string{"channel sms-a is paused"}
	status, answer = l.do("GET", "/readyz", "")
	require.Equal(t, 200, status, "texts are taken in all the same")
	require.Equal(t, "ok\nchannel sms-a is paused\n", answer)
	l.ready = errors.New("the store is away")
	status, answer = l.do("GET", "/readyz", "")
	require.Equal(t, 503, status)
	require.NotContains(t, answer, "store")
}

// fasthttp reuses the buffers of a connection for its next request.
func TestInboundOutlivesItsRequest(t *testing.T) {
	l := serve(t, plain)
	send := func(i int) {
		path := fmt.Sprintf("/in/plain?k=s3cret&s=session-%d", i)
		status, _ := l.do("POST", path, text(i, fmt.Sprintf("text %d", i)), "X-To", fmt.Sprintf("to-%d", i))
		require.Equal(t, 200, status)
	}
	send(0)
	before := fmt.Sprintf("%#v", l.kept[0])
	require.Contains(t, before, "session-0")
	for i := 1; i <= 100; i++ {
		send(i)
	}
	require.Equal(t, before, fmt.Sprintf("%#v", l.kept[0]))
}

func TestMetrics(t *testing.T) {
	l := serve(t, plain)
	l.do("POST", "/in/plain?k=s3cret", text(1, "hi"))
	l.do("POST", "/in/plain", text(2, "hi"))
	status, page := l.do("GET", "/metrics", "")
	require.Equal(t, 200, status)
	require.Contains(t, page, `cobline_inbound_requests_total{channel="plain",outcome="answered"} 1`)
	require.Contains(t, page, `cobline_inbound_requests_total{channel="plain",outcome="denied"} 1`)
	require.NotContains(t, page, "254700")
}

func TestTwoChannelsOnOnePath(t *testing.T) {
	channel := func(name, path, more string) *webhook.Shape {
		return compile(t, fmt.Sprintf("name = %q\n[in]\npath = %q\nfrom = \"form:f\"\ntext = \"form:t\"\nanswer = { carry = \"all\" }\n%s", name, path, more))
	}
	reports := `[reports]
path = "/in/b"
ref = "query:ref"
state = "query:state"
`
	for name, c := range map[string]struct {
		other *webhook.Shape
		err   string
	}{
		"alike":        {channel("b", "/in/a", ""), "channels a and b have the same path /in/a"},
		"a secret":     {channel("b", "/in/:key", ""), "channels a and b have the same path /in/:key"},
		"reports":      {channel("c", "/in/c", strings.Replace(reports, "/in/b", "/in/a", 1)), "channels a and c have the same path /in/a"},
		"longer":       {channel("b", "/in/a/:key", ""), ""},
		"with reports": {channel("c", "/in/c", reports), ""},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := web.New(web.Options{Channels: []*webhook.Shape{channel("a", "/in/a", ""), c.other}, Metrics: prometheus.NewRegistry()})
			if c.err == "" {
				require.NoError(t, err)
				return
			}
			require.EqualError(t, err, c.err)
		})
	}
}
