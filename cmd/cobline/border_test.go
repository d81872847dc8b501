package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/stretchr/testify/require"

	"cobline/gateway"
	"cobline/gateway/boltstore"
	"cobline/gateway/web"
)

// borderConfig is a line with a channel of each kind, whose messages leave by a
// gateway at an address.
func borderConfig(gateway string) string {
	return fmt.Sprintf(`
[outbox]
per_second = 200
[[channel]]
name = "listed"
[channel.in]
each = "json:messages"
id = "item:id"
from = "item:from"
text = "item:text"
answer = { carry = "none", body = "ok" }
[channel.out]
url = "%s"
body = { ref = "{{.Ref}}", to = "+{{.To}}", text = "{{.Text}}" }
[channel.reports]
path = "/in/listed/reports/:key"
method = "GET"
ref = "query:ref"
state = "query:state"
check = { token = "path:key", value = "0123456789abcdefgh" }
answer = { status = 202, body = "noted" }

[[channel]]
name = "called"
[channel.in]
path = "/in/called/:key"
method = "GET"
id = "query:id"
from = "query:from"
text = "query:text"
check = { token = "path:key", value = "0123456789abcdefgh" }
answer = { carry = "all" }

[[channel]]
name = "fenced"
[channel.in]
id = "json:id"
from = "json:from"
text = "json:text"
check = { allow = ["192.0.2.0/24"], proxies = ["127.0.0.1"] }
answer = { carry = "all" }

[[channel]]
name = "dialled"
kind = "ussd"
limit = 100
[channel.in]
from = "form:phone"
text = "form:input"
session = "form:session"
step = "form:step"
answer = { carry = "all", body = "{{if .More}}more{{else}}end{{end}} {{.Text}}" }
`, gateway)
}

// send sends a request and returns what the line answers.
func (p *process) send(method, path, body string, headers ...string) (int, string) {
	req, err := http.NewRequest(method, "http://"+p.addr+path, strings.NewReader(body))
	require.NoError(p.t, err)
	req.Header.Set("Content-Type", "application/json")
	for i := 0; i < len(headers); i += 2 {
		req.Header.Set(headers[i], headers[i+1])
	}
	res, err := http.DefaultClient.Do(req)
	require.NoError(p.t, err)
	defer res.Body.Close()
	answer, err := io.ReadAll(res.Body)
	require.NoError(p.t, err)
	return res.StatusCode, string(answer)
}

// collector is a gateway that keeps what it is given.
func collector(t *testing.T) (url string, got <-chan delivery) {
	kept := make(chan delivery, 100)
	server := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		var d delivery
		if err := json.NewDecoder(r.Body).Decode(&d); err != nil {
			t.Errorf("the line sent something else: %v", err)
		}
		kept <- d
	}))
	t.Cleanup(server.Close)
	return server.URL, kept
}

// receive waits for a message at a gateway.
func receive(t *testing.T, got <-chan delivery) delivery {
	select {
	case d := <-got:
		return d
	case <-time.After(20 * time.Second):
		require.Fail(t, "nothing came")
		return delivery{}
	}
}

func TestListsAndReports(t *testing.T) {
	at, got := collector(t)
	p := newProcess(t, borderConfig(at))
	status, answer := p.send("POST", "/in/listed", `{"messages":[
		{"id":"1","from":"+254700000001","text":"help"}, {"id":"2"}, {"id":"3","from":"+254700000002","text":"help"}]}`)
	require.Equal(t, 200, status)
	require.Equal(t, "ok", answer)
	first, second := receive(t, got), receive(t, got)
	require.ElementsMatch(t, []string{"+254700000001", "+254700000002"}, []string{first.To, second.To})

	report := func(key, ref, state string) int {
		status, _ := p.send("GET", "/in/listed/reports/"+key+"?ref="+url.QueryEscape(ref)+"&state="+state, "")
		return status
	}
	require.Equal(t, 202, report("0123456789abcdefgh", first.Ref, "ACCEPTD"))
	require.Equal(t, 202, report("0123456789abcdefgh", first.Ref, "DELIVRD"))
	require.Equal(t, 202, report("0123456789abcdefgh", first.Ref, "ENROUTE"), "one that comes late is no news")
	require.Equal(t, 202, report("0123456789abcdefgh", "nobody's", "DELIVRD"))
	require.Equal(t, 401, report("guessed", second.Ref, "DELIVRD"))
	status, page := p.send("GET", "/metrics", "")
	require.Equal(t, 200, status)
	require.Contains(t, page, `cobline_delivery_reports_total{channel="listed",state="stray"} 1`)
	p.stop()
	require.NotContains(t, p.log.String(), "0123456789abcdefgh")
	var told []gateway.Delivery
	for _, e := range p.journal() {
		if e.Kind == gateway.Reported {
			require.Equal(t, first.Ref, e.Ref)
			told = append(told, e.Delivery)
		}
	}
	require.Equal(t, []gateway.Delivery{gateway.ReportAccepted, gateway.ReportDelivered}, told)
}

// A request that is refused leaves nothing behind, and one that is not comes
// through each of the ways in.
func TestNothingIsWrittenOfARefusedRequest(t *testing.T) {
	at, _ := collector(t)
	p := newProcess(t, borderConfig(at))
	const message = `{"id":"1","from":"+254700000001","text":"hi"}`
	const asked = "?id=1&from=%2B254700000001&text=hi"
	for name, c := range map[string]struct {
		method, path, body string
		headers            []string
		status             int
	}{
		"no secret in the path":     {"GET", "/in/called/" + asked, "", nil, 404},
		"a wrong one":               {"GET", "/in/called/guessed" + asked, "", nil, 401},
		"a method it has not":       {"POST", "/in/called/0123456789abcdefgh" + asked, "", nil, 405},
		"HEAD":                      {"HEAD", "/in/called/0123456789abcdefgh" + asked, "", nil, 405},
		"an address":                {"POST", "/in/fenced", message, nil, 401},
		"an address beyond a proxy": {"POST", "/in/fenced", message, []string{"X-Forwarded-For", "192.0.2.1, 198.51.100.1"}, 401},
		"no text":                   {"GET", "/in/called/0123456789abcdefgh?id=1&from=%2B254700000001", "", nil, 400},
		"a broken body":             {"POST", "/in/listed", `{"messages":`, nil, 400},
		"no list":                   {"POST", "/in/listed", message, nil, 400},
		"a broken address":          {"GET", "/in/called/0123456789abcdefgh?id=%zz", "", nil, 400},
		"too large":                 {"POST", "/in/listed", `{"messages":[` + strings.Repeat(message+",", 2000) + message + `]}`, nil, 413},
		"too many":                  {"POST", "/in/listed", `{"messages":[` + strings.Repeat(message+",", 100) + message + `]}`, nil, 400},
		"compressed":                {"POST", "/in/fenced", "\x1f\x8b", []string{"Content-Encoding", "gzip", "X-Forwarded-For", "192.0.2.1"}, 415},
		"nobody's channel":          {"POST", "/in/other", message, nil, 404},
	} {
		status, answer := p.send(c.method, c.path, c.body, c.headers...)
		require.Equal(t, c.status, status, "%s: %s", name, answer)
	}
	p.stop()
	require.Empty(t, p.journal())
	p.start()
	for _, c := range []struct {
		method, path, body string
		headers            []string
	}{
		{"GET", "/in/called/0123456789abcdefgh" + asked, "", nil},
		{"POST", "/in/fenced", message, []string{"X-Forwarded-For", "198.51.100.1, 192.0.2.1"}},
		{"POST", "/in/listed", `{"messages":[` + message + `]}`, nil},
	} {
		status, answer := p.send(c.method, c.path, c.body, c.headers...)
		require.Equal(t, 200, status, answer)
	}
	p.stop()
	heard := 0
	for _, e := range p.journal() {
		if e.Kind == gateway.Heard {
			heard++
		}
	}
	require.Equal(t, 3, heard)
	require.NotContains(t, p.log.String(), "0123456789abcdefgh")
}

// A gateway that repeats a step gets the same screen, also of a page that was
// turned and after a crash.
func TestTheSameStepHasTheSameScreen(t *testing.T) {
	p := newProcess(t, borderConfig("http://127.0.0.1:1"))
	press := func(step int, keys string) string {
		form := url.Values{"phone": {"254700000001"}, "session": {"s-1"}, "step": {fmt.Sprint(step)}, "input": {keys}}
		status, answer := p.send("POST", "/in/dialled", form.Encode(), "Content-Type", "application/x-www-form-urlencoded")
		require.Equal(t, 200, status)
		return answer
	}
	for step, keys := range []string{"", "cobs 2 drums snaps", "8", "8", "7"} {
		screen := press(step, keys)
		require.True(t, strings.HasPrefix(screen, "more "), screen)
		require.LessOrEqual(t, len(screen), len("more ")+100)
		require.Equal(t, screen, press(step, keys))
		p.kill()
		p.start()
		require.Equal(t, screen, press(step, keys), "after a crash")
	}
	require.NotEqual(t, press(3, "8"), press(4, "7"))
}

// slowLine is a line inside this process whose turns wait until they are let go.
type slowLine struct {
	*gateway.Service
	free chan struct{}
}

func (s slowLine) Receive(ctx context.Context, in gateway.Inbound) (gateway.Shown, error) {
	<-s.free
	return s.Service.Receive(ctx, in)
}

// serveSlowly returns a function that presses keys in a session, what lets turns
// go, and the line's store.
func serveSlowly(t *testing.T) (press func(keys string) (int, string), free chan struct{}, store *boltstore.Store) {
	file := filepath.Join(t.TempDir(), "cobline.toml")
	require.NoError(t, os.WriteFile(file, []byte(strings.Replace(borderConfig("http://127.0.0.1:1"),
		`carry = "all", body = "{{if`, `carry = "all", within = "500ms", late = "Dial again.", body = "{{if`, 1)), 0o600))
	config, err := Load(file, nil)
	require.NoError(t, err)
	store, err = boltstore.Open(filepath.Join(t.TempDir(), storeFile), boltstore.Options{})
	require.NoError(t, err)
	line, err := newLine(t.Context(), config, store, nil, nil, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	free = make(chan struct{})
	app, err := web.New(web.Options{
		Channels: line.shapes, Receiver: slowLine{line.service, free},
		Metrics: prometheus.NewRegistry(), Log: slog.New(slog.DiscardHandler),
	})
	require.NoError(t, err)
	return func(keys string) (int, string) {
		form := url.Values{"phone": {"254700000001"}, "session": {"s-1"}, "step": {"1"}, "input": {keys}}
		req := httptest.NewRequest(http.MethodPost, "/in/dialled", strings.NewReader(form.Encode()))
		req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		res, err := app.Test(req, -1)
		require.NoError(t, err)
		answer, err := io.ReadAll(res.Body)
		require.NoError(t, err)
		return res.StatusCode, string(answer)
	}, free, store
}

// A turn that takes longer than the network waits ends its session with the text
// for that. The step that is brought again has its screen.
func TestALateTurnEndsItsSession(t *testing.T) {
	press, free, store := serveSlowly(t)
	status, answer := press("cobs 2 drums snaps")
	require.Equal(t, 200, status)
	require.Equal(t, "end Dial again.", answer)
	close(free)
	status, answer = press("cobs 2 drums snaps")
	require.Equal(t, 200, status)
	require.True(t, strings.HasPrefix(answer, "more "), answer)
	entries, err := store.After(t.Context(), gateway.Key{}, 10)
	require.NoError(t, err)
	require.Len(t, entries, 1)
	require.NoError(t, store.Close())
}

// What the store cannot keep is not acknowledged.
func TestWhatIsNotKeptIsNotAcknowledged(t *testing.T) {
	press, free, store := serveSlowly(t)
	close(free)
	require.NoError(t, store.Close())
	status, answer := press("cobs 2 drums snaps")
	require.Equal(t, 503, status)
	require.Equal(t, "This was not kept for sure; send it again later.\n", answer)
}

// Each channel writes from its own sender to its own gateway, at its own rate and
// outside its own quiet hours; replies go where the person wrote last.
func TestChannelsKeepTheirOwn(t *testing.T) {
	first, got := collector(t)
	second, gotSecond := collector(t)
	var channels strings.Builder
	for i, at := range []string{first, second} {
		fmt.Fprintf(&channels, `
[[channel]]
name = "sms-%d"
sender = "3210%d"
per_second = %d
quiet = { from = "2%d:00", to = "05:00" }
[channel.in]
id = "json:id"
from = "json:from"
text = "json:text"
[channel.out]
url = "%s"
body = { ref = "{{.From}}", to = "+{{.To}}", text = "{{.Text}}" }
`, i, i, 20+i, i, at)
	}
	p := newProcess(t, channels.String())
	config, err := Load(p.config, nil)
	require.NoError(t, err)
	for i, ch := range config.Channel {
		require.InDelta(t, 20+i, ch.PerSecond, 0)
		require.Equal(t, gateway.Quiet{From: gateway.Clock{Hour: 20 + i}, To: gateway.Clock{Hour: 5}}, ch.Quiet.policy(nil).Quiet)
	}
	for i, c := range []struct {
		channel, sender string
		to              <-chan delivery
	}{{"sms-0", "32100", got}, {"sms-1", "32101", gotSecond}, {"sms-0", "32100", got}} {
		_, err := p.post(http.DefaultClient, c.channel, text{ID: fmt.Sprint(i), From: "+254700000001", Text: "help"})
		require.NoError(t, err)
		d := receive(t, c.to)
		require.Equal(t, delivery{Ref: c.sender, To: "+254700000001", Text: d.Text}, d)
	}
}
