package webhook_test

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"maps"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/BurntSushi/toml"
	"github.com/rogpeppe/go-internal/txtar"
	"github.com/stretchr/testify/require"

	"cobline/gateway"
	"cobline/gateway/webhook"
)

var update = flag.Bool("update", false, "rewrite the wanted parts of the archives")

// arrived is when the requests of the archives arrive.
var arrived = time.Date(2026, 3, 2, 9, 0, 30, 0, time.UTC)

// TestShapes runs the archives of testdata/webhook. Each holds a spec.toml and
// either what comes in: a raw request, the inbound message or error wanted from
// it, and perhaps what is shown with the answer wanted for it; or what goes
// out: an outbound message, the raw request wanted from it, the response it
// gets and the result wanted.
func TestShapes(t *testing.T) {
	files, err := filepath.Glob("../../testdata/webhook/*.txtar")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txtar"), func(t *testing.T) {
			a, err := txtar.ParseFile(file)
			require.NoError(t, err)
			given := map[string]string{}
			for _, f := range a.Files {
				given[f.Name] = string(f.Data)
			}
			got := play(t, given)
			if *update {
				for i, f := range a.Files {
					if v, ok := got[f.Name]; ok {
						a.Files[i].Data = []byte(v)
					}
				}
				require.NoError(t, os.WriteFile(file, txtar.Format(a), 0o644))
				return
			}
			for name, v := range got {
				require.Equal(t, given[name], v, name)
			}
		})
	}
}

// play returns what a specification makes of what an archive gives.
func play(t *testing.T, given map[string]string) map[string]string {
	got := map[string]string{}
	var spec webhook.Spec
	_, err := toml.Decode(given["spec.toml"], &spec)
	require.NoError(t, err)
	shape, err := webhook.Compile(spec)
	if _, wrong := given["wrong"]; wrong {
		require.Error(t, err)
		got["wrong"] = err.Error() + "\n"
		return got
	}
	require.NoError(t, err)

	if out, ok := given["outbound.json"]; ok {
		got["request"], got["result"] = send(t, spec, out, given["response"])
		return got
	}
	request := parseRequest(t, given["request"])
	err = shape.Check(request)
	var in gateway.Inbound
	if err == nil {
		in, err = shape.Read(request)
	}
	if err != nil {
		require.True(t, errors.As(err, new(webhook.FieldError)) || errors.Is(err, webhook.ErrDenied))
		got["error"] = err.Error() + "\n"
		return got
	}
	got["inbound.json"] = describe(t, in)
	if raw, ok := given["shown.json"]; ok {
		var shown gateway.Shown
		require.NoError(t, json.Unmarshal([]byte(raw), &shown))
		response, err := shape.Answer(shown)
		require.NoError(t, err)
		got["answer"] = fmt.Sprintf("%d\n%s\n%s\n", response.Status, headerLines(response.Headers), response.Body)
	}
	return got
}

// parseRequest reads a raw request whose body is all that follows the headers,
// without the newline that ends its file.
func parseRequest(t *testing.T, raw string) webhook.Request {
	head, body, _ := strings.Cut(raw, "\n\n")
	r, err := http.ReadRequest(bufio.NewReader(strings.NewReader(head + "\n\n")))
	require.NoError(t, err)
	return webhook.Request{
		Method: r.Method, Query: r.URL.Query(), Header: r.Header,
		Body: []byte(strings.TrimSuffix(body, "\n")), At: arrived,
	}
}

func describe(t *testing.T, in gateway.Inbound) string {
	id := "from its content, if it comes again soon"
	if in.ID != (gateway.MessageID{}) {
		id = fmt.Sprintf("%x", in.ID)
	}
	v := struct {
		ID                                          string
		Provider, Sender, Number, To, Text, Session string    `json:",omitempty"`
		SentAt                                      time.Time `json:",omitzero"`
	}{id, in.Provider, in.Sender, in.From.Digits(), in.To, in.Text, in.Session, in.SentAt}
	b, err := json.MarshalIndent(v, "", "  ")
	require.NoError(t, err)
	require.Equal(t, arrived, in.At)
	return string(b) + "\n"
}

// send lets a shape send a message to a gateway that gives the response: a
// status and a body, or nothing if it hangs up.
func send(t *testing.T, spec webhook.Spec, outbound, response string) (request, result string) {
	gatewayServer := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(r.Body)
		require.NoError(t, err)
		headers := map[string]string{}
		for name, v := range r.Header {
			if !slices.Contains([]string{"Accept-Encoding", "User-Agent", "Content-Length"}, name) {
				headers[name] = strings.Join(v, ", ")
			}
		}
		request = fmt.Sprintf("%s %s\n%s\n%s\n", r.Method, r.URL, headerLines(headers), body)
		if response == "" {
			panic(http.ErrAbortHandler)
		}
		var status int
		_, err = fmt.Sscan(response, &status)
		require.NoError(t, err)
		_, text, _ := strings.Cut(response, "\n")
		w.WriteHeader(status)
		_, err = w.Write([]byte(strings.TrimSuffix(text, "\n")))
		require.NoError(t, err)
	}))
	gatewayServer.Config.ErrorLog = nil
	defer gatewayServer.Close()

	spec.Out.URL = strings.Replace(spec.Out.URL, "http://gateway.invalid", gatewayServer.URL, 1)
	shape, err := webhook.Compile(spec)
	require.NoError(t, err)
	var message struct{ To, From, Text, Ref string }
	require.NoError(t, json.Unmarshal([]byte(outbound), &message))
	to, err := gateway.NumberOf(message.To)
	require.NoError(t, err)
	err = shape.Send(t.Context(), gateway.Outbound{
		To: to, From: message.From, Text: message.Text, Ref: message.Ref, Expires: arrived,
	})
	switch {
	case err == nil:
		result = "sent\n"
	case errors.As(err, new(gateway.Refused)):
		result = "refused: " + err.Error() + "\n"
	case errors.Is(err, gateway.ErrUnsure):
		result = "unsure: " + err.Error() + "\n"
	default:
		result = "later: " + err.Error() + "\n"
	}
	require.NotContains(t, fmt.Sprint(err), message.To)
	return request, result
}

func headerLines(h map[string]string) string {
	var b bytes.Buffer
	for _, name := range slices.Sorted(maps.Keys(h)) {
		fmt.Fprintf(&b, "%s: %s\n", name, h[name])
	}
	return b.String()
}
