package webhook_test

import (
	"bufio"
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"maps"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/BurntSushi/toml"
	"github.com/rogpeppe/go-internal/txtar"
	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/webhook"
)

var update = flag.Bool("update", false, "rewrite the wanted parts of the archives")

// arrived is when the requests of the archives arrive.
var arrived = time.Date(2026, 3, 2, 9, 0, 30, 0, time.UTC)

// archive is what a file of testdata/webhook gives. Each holds a spec.toml and
// one of
//
//   - wrong: what is wrong with it
//   - request, and perhaps remote, the address it comes from: wanted is the error,
//     or else inbound.json, report.json and doubts, as far as there are any; with
//     shown.json also the answer, with again that to a repeat, with late that of a
//     turn which takes too long
//   - outbound.json, and response, with response-headers, or exit and output of a
//     command: wanted are the request, the arguments or the preview, and the result
type archive map[string]string

// TestShapes runs the archives of testdata/webhook.
func TestShapes(t *testing.T) {
	files, err := filepath.Glob("../../testdata/webhook/*.txtar")
	require.NoError(t, err)
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txtar"), func(t *testing.T) {
			a, err := txtar.ParseFile(file)
			require.NoError(t, err)
			given := archive{}
			for _, f := range a.Files {
				given[f.Name] = string(f.Data)
			}
			got := given.play(t)
			if *update {
				for i, f := range a.Files {
					if v, ok := got[f.Name]; ok {
						a.Files[i].Data = []byte(v)
					}
				}
				require.NoError(t, os.WriteFile(file, txtar.Format(a), 0o644))
			}
			for name, v := range got {
				if _, ok := given[name]; !ok || !*update {
					require.Equal(t, given[name], v, name)
				}
			}
		})
	}
}

func (a archive) has(name string) bool { _, ok := a[name]; return ok }

// play returns what a specification makes of what the archive gives.
func (a archive) play(t *testing.T) archive {
	var spec webhook.Spec
	meta, err := toml.Decode(a["spec.toml"], &spec)
	require.NoError(t, err)
	for _, key := range meta.Undecoded() {
		require.Contains(t, key.String(), "body") // the gateway's own words
	}
	shape, err := webhook.Compile(spec)
	if a.has("wrong") {
		require.Error(t, err)
		return archive{"wrong": err.Error() + "\n"}
	}
	require.NoError(t, err)
	if a.has("outbound.json") {
		return a.send(t, spec)
	}
	return a.receive(t, shape)
}

func (a archive) receive(t *testing.T, shape *webhook.Shape) archive {
	got := archive{}
	request := parseRequest(t, a["request"], a["remote"])
	require.True(t, slices.ContainsFunc(shape.Endpoints(), func(e webhook.Endpoint) bool { return e.Method == request.Method }))
	err := shape.Check(request)
	var taken webhook.Taken
	if err == nil {
		taken, err = shape.Take(request)
	}
	if err != nil {
		require.True(t, errors.As(err, new(webhook.FieldError)) || errors.Is(err, webhook.ErrDenied))
		got["error"] = err.Error() + "\n"
		r, ok, err := shape.Reject(err)
		require.NoError(t, err)
		if ok {
			got["answer"] = response(r)
		}
		return got
	}
	var in gateway.Inbound
	for i, m := range taken.Messages {
		got["inbound.json"] += describe(t, m)
		if i == 0 {
			in = m
		}
	}
	for _, r := range taken.Reports {
		state := ""
		if r.State != 0 {
			state = r.State.String()
		}
		got["report.json"] += indent(t, struct {
			Ref, Provider, State, Reason string `json:",omitempty"`
			OptedOut                     bool   `json:",omitempty"`
		}{r.Ref, r.Provider, state, r.Reason, r.OptedOut})
		require.Equal(t, shape.Name(), r.Channel)
		require.Equal(t, arrived, r.At)
	}
	for _, d := range taken.Doubts {
		require.ErrorAs(t, d, new(webhook.FieldError))
		got["doubts"] += d.Error() + "\n"
	}
	answer := func(r webhook.Response, err error) string {
		require.NoError(t, err)
		return response(r)
	}
	switch {
	case a.has("shown.json"):
		var shown gateway.Shown
		require.NoError(t, json.Unmarshal([]byte(a["shown.json"]), &shown))
		got["answer"] = answer(shape.Respond(in, shown, false))
		if a.has("again") {
			got["again"] = answer(shape.Respond(in, shown, true))
		}
	case len(taken.Messages) == 0:
		got["answer"] = answer(shape.Acknowledge())
	}
	if a.has("late") {
		r, ok, err := shape.TooLate(in)
		require.True(t, ok)
		got["late"] = answer(r, err)
	}
	return got
}

// parseRequest reads a raw request whose body is all that follows the headers,
// without the newline that ends its file.
func parseRequest(t *testing.T, raw, remote string) webhook.Request {
	head, body, _ := strings.Cut(raw, "\n\n")
	r, err := http.ReadRequest(bufio.NewReader(strings.NewReader(head + "\n\n")))
	require.NoError(t, err)
	from := netip.MustParseAddr("192.0.2.1")
	if remote != "" {
		from = netip.MustParseAddr(strings.TrimSpace(remote))
	}
	return webhook.Request{
		Method: r.Method, Path: r.URL.Path, RawQuery: r.URL.RawQuery, Query: r.URL.Query(), Header: r.Header,
		Body: []byte(strings.TrimSuffix(body, "\n")), Remote: from, At: arrived,
	}
}

func describe(t *testing.T, m gateway.Inbound) string {
	id := "from its content, if it comes again soon"
	if m.ID != (gateway.MessageID{}) {
		id = fmt.Sprintf("%x", m.ID)
	}
	require.Equal(t, arrived, m.At)
	part := ""
	if p := m.Part; p != nil {
		part = fmt.Sprintf("%d of %d of the text %d, a reference of %d bits, in %s: %s", p.Seq, p.Total, p.Ref, p.Width, cmp.Or(p.Charset, "nothing said"), p.Octets)
	}
	return indent(t, struct {
		ID                                                                  string
		Provider, Sender, Number, To, Text, Session, Network, Dialled, Part string    `json:",omitempty"`
		SentAt                                                              time.Time `json:",omitzero"`
	}{id, m.Provider, m.Sender, m.From.Digits(), m.To, m.Text, m.Session, m.Network, m.Dialled, part, m.SentAt})
}

func indent(t *testing.T, v any) string {
	var b strings.Builder
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	require.NoError(t, e.Encode(v))
	return b.String()
}

func response(r webhook.Response) string {
	return fmt.Sprintf("%d\n%s\n%s\n", r.Status, headerLines(r.Headers), printable(r.Body))
}

// printable quotes what would make an archive a binary file.
func printable(b []byte) string {
	if !utf8.Valid(b) {
		return strconv.Quote(string(b))
	}
	return string(b)
}

func headerLines(h map[string]string) string {
	var b bytes.Buffer
	for _, name := range slices.Sorted(maps.Keys(h)) {
		fmt.Fprintf(&b, "%s: %s\n", name, h[name])
	}
	return b.String()
}

// send lets a shape send the message of the archive.
func (a archive) send(t *testing.T, spec webhook.Spec) archive {
	got := archive{}
	var message struct {
		To, From, Text, Ref string
		Segments            int
		Urgency             dialog.Urgency
	}
	require.NoError(t, json.Unmarshal([]byte(a["outbound.json"]), &message))
	to, err := gateway.NumberOf(message.To)
	require.NoError(t, err)
	o := gateway.Outbound{
		To: to, From: message.From, Text: message.Text, Ref: message.Ref, Segments: message.Segments, Urgency: message.Urgency,
		Expires: time.Now().Add(125*time.Minute + 30*time.Second),
	}
	submit := func() {
		shape, err := webhook.Compile(spec)
		require.NoError(t, err)
		id, err := shape.Submit(t.Context(), o)
		got["result"] = outcome(id, err)
		require.NotContains(t, got["result"], message.To)
	}
	switch {
	case a.has("preview"):
		shape, err := webhook.Compile(spec)
		require.NoError(t, err)
		preview, err := shape.Preview(o)
		require.NoError(t, err)
		got["preview"] = preview + "\n"
		submit()
	case spec.Out.Command != nil:
		ran := filepath.Join(t.TempDir(), "ran")
		spec.Out.Command[0] = a.injector(t, ran)
		submit()
		b, err := os.ReadFile(ran)
		require.NoError(t, err)
		got["arguments"] = string(b) + "\n"
	default:
		heard := make(chan string, 1)
		server := a.gateway(t, heard)
		spec.Out.URL = strings.Replace(spec.Out.URL, "http://gateway.invalid", server.URL, 1)
		submit()
		got["request"] = <-heard
	}
	return got
}

func outcome(id string, err error) string {
	throttled, blocked, refused := webhook.Throttled{}, gateway.Blocked{}, gateway.Refused{}
	switch {
	case err == nil && id != "":
		return "taken as " + id + "\n"
	case err == nil:
		return "taken\n"
	case errors.As(err, &refused) && refused.OptedOut:
		return "opted out: " + refused.Reason + "\n"
	case errors.As(err, &refused):
		return "refused: " + refused.Reason + "\n"
	case errors.Is(err, gateway.ErrUnsure):
		return "unsure: " + err.Error() + "\n"
	case errors.As(err, &throttled):
		return fmt.Sprintf("throttled for %s: %v\n", throttled.RetryAfter(), err)
	case errors.As(err, &blocked):
		return fmt.Sprintf("blocked for %s: %v\n", blocked.RetryAfter(), err)
	default:
		return "later: " + err.Error() + "\n"
	}
}

// gateway is a server that tells the request it hears and gives the response of
// the archive: a status and a body, or nothing if it hangs up.
func (a archive) gateway(t *testing.T, heard chan<- string) *httptest.Server {
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(r.Body)
		require.NoError(t, err)
		headers := map[string]string{}
		for name, v := range r.Header {
			if !slices.Contains([]string{"Accept-Encoding", "User-Agent", "Content-Length"}, name) {
				headers[name] = strings.Join(v, ", ")
			}
		}
		heard <- fmt.Sprintf("%s %s\n%s\n%s\n", r.Method, r.URL, headerLines(headers), printable(body))
		status, text, _ := strings.Cut(a["response"], "\n")
		if status == "" {
			panic(http.ErrAbortHandler)
		}
		for line := range strings.Lines(a["response-headers"]) {
			name, v, _ := strings.Cut(strings.TrimSpace(line), ": ")
			w.Header().Set(name, v)
		}
		code, err := strconv.Atoi(status)
		require.NoError(t, err)
		w.WriteHeader(code)
		_, err = w.Write([]byte(strings.TrimSuffix(text, "\n")))
		require.NoError(t, err)
	}))
	t.Cleanup(server.Close)
	return server
}

// injector is a program that stands for that of a modem daemon: it writes its
// arguments and its input to a file, prints and exits as the archive says.
func (a archive) injector(t *testing.T, ran string) string {
	program := filepath.Join(t.TempDir(), "inject")
	script := fmt.Sprintf("#!/bin/sh\n{ printf '%%s\\n' \"$@\"; echo; cat; } > '%s'\nprintf '%%s' '%s'\nexit %s\n",
		ran, a["output"], cmp.Or(strings.TrimSpace(a["exit"]), "0"))
	require.NoError(t, os.WriteFile(program, []byte(script), 0o700))
	return program
}
