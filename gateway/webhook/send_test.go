package webhook

import (
	"bufio"
	"context"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/gateway"
)

// sending compiles a channel with an out.
func sending(t *testing.T, o Out) *Shape {
	sh, err := Compile(Spec{Name: "a", In: In{Path: "/in/a", From: "form:from", Text: "form:text"}, Out: &o})
	require.NoError(t, err)
	return sh
}

func outbound(t *testing.T, text string) gateway.Outbound {
	to, err := gateway.NumberOf("254700000001")
	require.NoError(t, err)
	return gateway.Outbound{To: to, Text: text, Ref: "r", Expires: time.Now().Add(time.Hour)}
}

// A gateway that takes a message and hangs up before it answers may have sent
// it. Asking again is not for the transport to decide: net/http would repeat a
// GET on a connection that was used before.
func TestAMessageIsWrittenOnce(t *testing.T) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer listener.Close()
	var requests atomic.Int32
	go func() {
		for {
			conn, err := listener.Accept()
			if err != nil {
				return
			}
			in := bufio.NewReader(conn)
			for first := true; ; first = false {
				r, err := http.ReadRequest(in)
				if err != nil {
					break
				}
				if _, err := io.Copy(io.Discard, r.Body); err != nil {
					break
				}
				requests.Add(1)
				if !first {
					break
				}
				if _, err := io.WriteString(conn, "HTTP/1.1 200 OK\r\nContent-Length: 0\r\n\r\n"); err != nil {
					break
				}
			}
			conn.Close()
		}
	}()
	address := "http://" + listener.Addr().String()
	for name, o := range map[string]Out{
		"GET":  {Method: http.MethodGet, URL: address + "/?t={{.Text}}"},
		"POST": {URL: address, Body: map[string]any{"t": "{{.Text}}"}},
	} {
		t.Run(name, func(t *testing.T) {
			requests.Store(0)
			sh := sending(t, o)
			require.NoError(t, sh.Send(t.Context(), outbound(t, "one")))
			require.ErrorIs(t, sh.Send(t.Context(), outbound(t, "two")), gateway.ErrUnsure)
			require.EqualValues(t, 2, requests.Load())
		})
	}
}

// What never reached the gateway is asked again; what reached it and was not
// answered in time is not known.
func TestWhatTheLineDoesNotKnow(t *testing.T) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	closed := "http://" + listener.Addr().String()
	require.NoError(t, listener.Close())
	body := map[string]any{"t": "{{.Text}}"}

	err = sending(t, Out{URL: closed, Body: body}).Send(t.Context(), outbound(t, "hi"))
	require.ErrorContains(t, err, "reach the gateway")
	require.NotErrorIs(t, err, gateway.ErrUnsure)
	require.NotErrorAs(t, err, new(gateway.Refused))
	require.NotContains(t, err.Error(), "254700000001")

	silent := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		_, err := io.Copy(io.Discard, r.Body)
		require.NoError(t, err)
		<-r.Context().Done()
	}))
	defer silent.Close()
	err = sending(t, Out{URL: silent.URL, Body: body, Within: 50 * time.Millisecond}).Send(t.Context(), outbound(t, "hi"))
	require.ErrorIs(t, err, gateway.ErrUnsure)
	require.ErrorIs(t, err, context.DeadlineExceeded)

	short := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Length", "100")
		_, err := io.WriteString(w, `{"status":`)
		require.NoError(t, err)
	}))
	defer short.Close()
	rules := []Rule{{At: "json:status", Is: "ok", Means: "taken"}, {Status: []string{"2xx"}, Means: "refused"}}
	require.ErrorIs(t, sending(t, Out{URL: short.URL, Body: body, Rules: rules}).Send(t.Context(), outbound(t, "hi")), gateway.ErrUnsure)
	require.NoError(t, sending(t, Out{URL: short.URL, Body: body}).Send(t.Context(), outbound(t, "hi")), "the status said all")
}

func TestAChannelThatCannotSend(t *testing.T) {
	sh, err := Compile(Spec{Name: "a", In: In{Path: "/in/a", From: "form:f", Text: "form:t", Answer: Answer{Carry: "all"}}})
	require.NoError(t, err)
	require.ErrorAs(t, sh.Send(t.Context(), outbound(t, "hi")), new(gateway.Refused))
	_, err = sh.Preview(outbound(t, "hi"))
	require.Error(t, err)
}

// A command that is missing is no fault of the message; one that does not end is
// ended, and may have done its work.
func TestCommands(t *testing.T) {
	program := filepath.Join(t.TempDir(), "inject")
	write := func(script string) {
		require.NoError(t, os.WriteFile(program, []byte("#!/bin/sh\n"+script+"\n"), 0o700))
	}
	send := func(o Out) (string, error) {
		o.Command = []string{program, "--", "{{.Text}}"}
		return sending(t, o).Submit(t.Context(), outbound(t, "a\x00 b"))
	}
	_, err := send(Out{})
	require.ErrorAs(t, err, new(gateway.Blocked))

	t.Setenv("SMS_KEY", "s3cret")
	write(`printf '%s|%s|%s' "$2" "$SMS_KEY" "$LC_ALL"`)
	id, err := send(Out{ID: "body"})
	require.NoError(t, err)
	require.Equal(t, "a b||C.UTF-8", id)

	write("exit 3")
	_, err = send(Out{})
	require.EqualError(t, err, "the gateway put it off: status 3")
	_, err = send(Out{Retry: []string{"75"}})
	require.ErrorAs(t, err, new(gateway.Refused))

	write("exec sleep 60")
	_, err = send(Out{Within: 50 * time.Millisecond})
	require.ErrorIs(t, err, gateway.ErrUnsure)

	write("head -c 1000000 /dev/zero")
	_, err = send(Out{})
	require.NoError(t, err)
	_, err = send(Out{Rules: []Rule{{At: "body", Is: "ok", Means: "taken"}}})
	require.ErrorIs(t, err, gateway.ErrUnsure, "what is looked for may stand in what was not kept")
}

func TestRetryAfter(t *testing.T) {
	now := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	for text, want := range map[string]time.Duration{
		"": 0, "0": 0, "-5": 0, "soon": 0, "90": 90 * time.Second, "99999999": 24 * time.Hour, "99999999999999999999": 0,
		"Mon, 02 Mar 2026 09:01:00 GMT": time.Minute, "Mon, 02 Mar 2026 08:00:00 GMT": 0, "Tue, 02 Mar 2027 09:00:00 GMT": 24 * time.Hour,
	} {
		require.Equal(t, want, retryAfter(http.Header{"Retry-After": {text}}, now), text)
	}
}
