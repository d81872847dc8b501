package webhook_test

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/outbox"
	"cobline/gateway/webhook"
)

// The tests of this file are named after troubles that people had with real
// gateways, numbered as the list in gateway/trouble_test.go; each names a thread
// that tells of it.

// jsonChannel reads {id, from, to, text, at, ...} and does what spec adds.
func jsonChannel(t require.TestingT, spec func(*webhook.Spec)) *webhook.Shape {
	s := webhook.Spec{Name: "a", Country: "KE", In: webhook.In{
		Path: "/in/a", ID: "json:id", From: "json:from", To: "json:to", Text: "json:text", At: "json:at",
		Answer: webhook.Answer{Carry: "all"},
	}}
	if spec != nil {
		spec(&s)
	}
	sh, err := webhook.Compile(s)
	require.NoError(t, err)
	return sh
}

// take lets a shape read a JSON object.
func take(t require.TestingT, sh *webhook.Shape, object map[string]any) webhook.Taken {
	body, err := json.Marshal(object)
	require.NoError(t, err)
	taken, err := sh.Take(webhook.Request{
		Method: http.MethodPost, Path: "/in/a", Header: http.Header{"Content-Type": {"application/json"}}, Body: body, At: arrived,
	})
	require.NoError(t, err)
	return taken
}

func read(t require.TestingT, sh *webhook.Shape, object map[string]any) gateway.Inbound {
	taken := take(t, sh, object)
	require.Len(t, taken.Messages, 1)
	return taken.Messages[0]
}

// https://github.com/capcom6/android-sms-gateway/issues/291: one text, two
// webhooks with an id each, and the same id inside.
// https://github.com/textbee/textbee/issues/159: other ids altogether.
func TestTrouble01OneTextTwoWebhooks(t *testing.T) {
	event := func(id string) map[string]any {
		return map[string]any{
			"event": id, "from": "+254700000001", "text": "1", "at": "2026-03-02T09:00:00Z",
			"payload": map[string]any{"id": "m-1"},
		}
	}
	inner := jsonChannel(t, func(s *webhook.Spec) { s.In.ID = "json:payload.id" })
	require.Equal(t, read(t, inner, event("e-1")).ID, read(t, inner, event("e-2")).ID)

	// Where no id can be trusted, none is named, and the time stands for it.
	none := jsonChannel(t, func(s *webhook.Spec) { s.In.ID = "" })
	require.Equal(t, read(t, none, event("e-1")).ID, read(t, none, event("e-2")).ID)
	later := event("e-3")
	later["at"] = "2026-03-02T09:00:03Z"
	require.NotEqual(t, read(t, none, event("e-1")).ID, read(t, none, later).ID, "two honest answers")
}

// A gateway repeats a call that takes too long; it has the same id each time and
// must be told in time.
func TestTrouble02RetryOfASlowCall(t *testing.T) {
	sh := jsonChannel(t, nil)
	first := read(t, sh, map[string]any{"id": "m-1", "from": "254700000001", "text": "cobs"})
	for range 3 {
		require.Equal(t, first, read(t, sh, map[string]any{"id": "m-1", "from": "254700000001", "text": "cobs"}))
	}
	require.LessOrEqual(t, sh.Deadline(), 10*time.Second)
}

// https://github.com/RestComm/smscgateway/issues/195 and
// https://github.com/jookies/jasmin/issues/357: the plus sign of a number is
// lost, and that of a text must stay.
func TestTrouble03PlusLost(t *testing.T) {
	sh := jsonChannel(t, func(s *webhook.Spec) {
		s.In.Method, s.In.From, s.In.Text, s.In.ID, s.In.At = "GET", "query:from", "query:text", "query:id", ""
	})
	var first gateway.Inbound
	for i, from := range []string{"+254700000001", "%2B254700000001", "%20254700000001", "254700000001", "0700000001", "00254700000001", "000254700000001", "%2B254+700+000-001"} {
		query := "id=1&text=1%2B1&from=" + from
		values, err := url.ParseQuery(query)
		require.NoError(t, err)
		m, err := sh.Read(webhook.Request{Method: http.MethodGet, RawQuery: query, Query: values, At: arrived})
		require.NoError(t, err)
		require.Equal(t, "254700000001", m.From.Digits(), from)
		require.Equal(t, "1+1", m.Text)
		if i == 0 {
			first = m
		}
		require.Equal(t, first.ID, m.ID, from)
	}
}

// https://github.com/gammu/gammu/issues/95, https://github.com/rilmodem/ofono/pull/77:
// a character of two code units is cut between two parts.
func TestTrouble04PairSplit(t *testing.T) {
	sh := jsonChannel(t, func(s *webhook.Spec) {
		s.In.Text, s.In.Header = "json:hex > hex > utf-16be | json:text", "json:udh > hex"
	})
	part := func(field, text, udh string) gateway.Part {
		m := read(t, sh, map[string]any{"id": udh, "from": "254700000001", field: text, "udh": udh})
		require.NotNil(t, m.Part)
		require.NotContains(t, m.Text, "😀")
		return *m.Part
	}
	hexParts := []gateway.Part{part("hex", "0061D83D", "0500032A0201"), part("hex", "DE000062", "0500032A0202")}
	require.Equal(t, "a😀b", webhook.Join(hexParts))
	require.Equal(t, "a�…", webhook.Join(hexParts[:1]))

	lone := jsonChannel(t, nil)
	require.Equal(t, "a�", read(t, lone, map[string]any{"id": "1", "from": "254700000001", "text": json.RawMessage(`"a\ud83d"`)}).Text)
}

// https://github.com/jookies/jasmin/issues/513, https://github.com/eeeeeta/matrix-appservice-sms/issues/16
// and https://github.com/onomondo/onomondo-uicc/pull/174: parts come in any order
// and twice, with reference zero, or say what cannot be.
func TestTrouble05PartsOutOfOrder(t *testing.T) {
	sh := jsonChannel(t, func(s *webhook.Spec) { s.In.Ref, s.In.Total, s.In.Seq = "json:ref", "json:total", "json:seq" })
	message := func(ref, total, seq int, text string) gateway.Inbound {
		return read(t, sh, map[string]any{"id": "same for all", "from": "254700000001", "text": text, "ref": ref, "total": total, "seq": seq})
	}
	var parts []gateway.Part
	ids := map[gateway.MessageID]bool{}
	for _, seq := range []int{3, 1, 5, 4, 2, 3} {
		m := message(0, 5, seq, fmt.Sprint(seq))
		parts = append(parts, *m.Part)
		ids[m.ID] = true
	}
	require.Equal(t, "12345", webhook.Join(parts))
	require.Len(t, ids, 5, "a part is a message of its own, even if the gateway gives all parts one id")
	for _, wrong := range [][3]int{{7, 2, 3}, {7, 0, 1}, {7, 2, 0}, {-1, 2, 1}, {7, 1, 1}, {70000, 2, 1}} {
		require.Nil(t, message(wrong[0], wrong[1], wrong[2], "hi").Part, "%v", wrong)
	}
}

// https://github.com/farhadi/node-smpp/issues/26, /105 and /181,
// https://github.com/jookies/jasmin/issues/800 and
// https://github.com/telenordigital/sms-smpp/pull/139: letters come in other
// alphabets than declared or than anybody thought of.
func TestTrouble06Mojibake(t *testing.T) {
	for name, c := range map[string]struct{ octets, charset, want string }{
		"UTF-8":          {"%C3%A7a %E2%82%AC", "UTF-8", "ça €"},
		"Latin-1":        {"%E7a", "ISO-8859-1", "ça"},
		"not declared":   {"%E7a %80", "", "ça €"},
		"wrongly so":     {"%E7a", "UTF-8", "ça"},
		"GSM codes":      {"caf%05%1B%65", "gsm", "café€"},
		"in hexadecimal": {"00E70061", "hex-ucs-2", "ça"},
		"with controls":  {"a%00b%01%1Bc", "8-BIT", "abc"},
	} {
		t.Run(name, func(t *testing.T) {
			sh := jsonChannel(t, func(s *webhook.Spec) { s.In.Text, s.In.Charset = "json:text > percent", "json:charset" })
			m := read(t, sh, map[string]any{"id": "1", "from": "254700000001", "text": c.octets, "charset": c.charset})
			require.Equal(t, c.want, m.Text)
		})
	}
}

// https://github.com/jookies/jasmin/issues/210, https://github.com/elibom/mokai/issues/8,
// https://github.com/opentelecoms-org/jsmpp/issues/56: a gateway writes the id of
// a message in hexadecimal in its answer and in decimal in its reports.
func TestTrouble08IDInTwoForms(t *testing.T) {
	for name, c := range map[string]struct{ answer, report, id, provider string }{
		"as it is":    {"json:id", "json:id", "a-1", "a-1"},
		"hexadecimal": {"json:id > hex-number", "json:id > number", "0000BEEF", "48879"},
		"zeros":       {"json:id > number", "json:id > number", "000123", "123"},
	} {
		t.Run(name, func(t *testing.T) {
			server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
				require.NoError(t, json.NewEncoder(w).Encode(map[string]string{"id": c.id}))
			}))
			defer server.Close()
			sh := jsonChannel(t, func(s *webhook.Spec) {
				s.Out = &webhook.Out{URL: server.URL, Body: map[string]any{"text": "{{.Text}}"}, ID: c.answer}
				s.Reports = &webhook.Reports{When: &webhook.When{At: "json:state", Is: ".+"}, ID: c.report, Ref: "json:ref", State: "json:state"}
			})
			to, err := gateway.NumberOf("254700000001")
			require.NoError(t, err)
			id, err := sh.Submit(t.Context(), gateway.Outbound{To: to, Text: "hi"})
			require.NoError(t, err)
			require.Equal(t, c.provider, id)
			taken := take(t, sh, map[string]any{"state": "DELIVRD", "id": c.provider, "ref": "0123456789ABCDEFGHIJ"})
			require.Empty(t, taken.Messages)
			require.Equal(t, []gateway.Report{{
				Channel: "a", Ref: "0123456789ABCDEFGHIJ", Provider: c.provider, State: gateway.ReportDelivered, At: arrived,
			}}, taken.Reports, "our own reference is there, too, and decides")
		})
	}
}

// Seen with an SMS gateway daemon: "delivered" comes on another connection and
// before "accepted by the network", and for a message nobody knows. All are
// taken; that a state only rises is up to who keeps it.
func TestTrouble09ReportBeforeTheAnswer(t *testing.T) {
	sh := jsonChannel(t, func(s *webhook.Spec) {
		s.Reports = &webhook.Reports{
			Path: "/in/a/report", Method: "GET", Ref: "query:ref", State: "query:st",
			States: map[string]string{"1": "delivered", "8": "accepted"},
		}
	})
	var states []gateway.Delivery
	for _, st := range []string{"1", "8", "1"} {
		query := url.Values{"ref": {"0123456789ABCDEFGHIJ"}, "st": {st}}
		taken, err := sh.Take(webhook.Request{Method: http.MethodGet, Path: "/in/a/report", RawQuery: query.Encode(), Query: query, At: arrived})
		require.NoError(t, err)
		states = append(states, taken.Reports[0].State)
		r, err := sh.Acknowledge()
		require.NoError(t, err)
		require.Equal(t, webhook.Response{Status: 200, Headers: map[string]string{"Content-Type": "text/plain; charset=utf-8"}, Body: []byte{}}, r)
	}
	require.True(t, states[0].Advances(0))
	require.False(t, states[1].Advances(states[0]))
	require.False(t, states[2].Advances(states[0]))
}

// https://github.com/jookies/jasmin/issues/796: what was put off twice keeps its
// reference, so that the report finds it.
func TestTrouble10ReportAfterThrottle(t *testing.T) {
	var refs []string
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		refs = append(refs, r.URL.Query().Get("ref"))
		if len(refs) < 3 {
			w.WriteHeader(http.StatusTooManyRequests)
		}
	}))
	defer server.Close()
	sh := jsonChannel(t, func(s *webhook.Spec) {
		s.Out = &webhook.Out{Method: "GET", URL: server.URL + "/?ref={{.Ref}}&dlr={{.DLRURL}}"}
		s.Reports = &webhook.Reports{Path: "/in/a/report", Ref: "query:ref", State: "query:st", URL: "https://line.invalid/in/a/report?ref={{.Ref}}&st=%d"}
	})
	to, err := gateway.NumberOf("254700000001")
	require.NoError(t, err)
	o := gateway.Outbound{To: to, Text: "hi", Ref: "0123456789ABCDEFGHIJ"}
	require.ErrorAs(t, sh.Send(t.Context(), o), new(webhook.Throttled))
	require.ErrorAs(t, sh.Send(t.Context(), o), new(webhook.Throttled))
	require.NoError(t, sh.Send(t.Context(), o))
	require.Equal(t, []string{o.Ref, o.Ref, o.Ref}, refs)
}

// https://github.com/gammu/gammu/issues/132, /124 and /363,
// https://github.com/jookies/jasmin/issues/872 and
// https://github.com/RestComm/smscgateway/issues/115: clocks and zones of gateways
// are wrong by hours or for ever.
func TestTrouble11ClockAndZone(t *testing.T) {
	sh := jsonChannel(t, func(s *webhook.Spec) { s.In.ID = "" })
	for at, want := range map[string]time.Time{
		"2026-03-02T09:00:30Z":      arrived,
		"2026-03-02T23:00:30Z":      arrived.Add(14 * time.Hour), // the service takes it for the time of arrival
		"2026-03-01T19:00:30Z":      arrived.Add(-14 * time.Hour),
		"2026-03-02T12:00:30+03:00": arrived,
		"1772442030":                arrived,
		"1772442030000":             arrived,
		"2036-02-07T06:28:16Z":      {},
		"1970-01-01T00:00:00Z":      {},
		"2026-03-01T09:00:00Z":      {},
		"yesterday":                 {},
	} {
		m := read(t, sh, map[string]any{"from": "254700000001", "text": "1", "at": at})
		require.Equal(t, want, m.SentAt, at)
		require.Equal(t, arrived, m.At)
		require.Equal(t, want.IsZero(), m.ID == gateway.MessageID{}, "a clock that cannot be believed makes no repeats: %s", at)
	}
}

// https://github.com/jookies/jasmin/issues/425 and
// https://github.com/kneodev/ksmppd/issues/126: a throttle is the channel's, in
// whichever way the gateway says it.
func TestTrouble14Throttle(t *testing.T) {
	for name, answer := range map[string]http.HandlerFunc{
		"by status":  func(w http.ResponseWriter, _ *http.Request) { w.Header().Set("Retry-After", "9"); w.WriteHeader(429) },
		"by absence": func(w http.ResponseWriter, _ *http.Request) { w.Header().Set("Retry-After", "9"); w.WriteHeader(503) },
		"by body": func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Retry-After", "9")
			fmt.Fprint(w, `{"error":"0x00000058"}`)
		},
	} {
		t.Run(name, func(t *testing.T) {
			server := httptest.NewServer(answer)
			defer server.Close()
			sh := jsonChannel(t, func(s *webhook.Spec) {
				s.Out = &webhook.Out{
					URL: server.URL, Body: map[string]any{"text": "{{.Text}}"},
					Rules: []webhook.Rule{{At: "json:error", Is: "0x0+(58|14)", Means: "throttled"}},
				}
			})
			to, err := gateway.NumberOf("254700000001")
			require.NoError(t, err)
			o := gateway.Outbound{To: to, Text: "hi", Expires: arrived.Add(time.Hour)}
			err = sh.Send(t.Context(), o)
			s := outbox.Policy{}.After(o, err, arrived, 0)
			require.Equal(t, gateway.Later, s.Outcome)
			require.Equal(t, arrived.Add(9*time.Second), s.Until)
			var throttled outbox.Throttled
			require.ErrorAs(t, err, &throttled)
		})
	}
}

// https://github.com/RestComm/ussdgateway/issues/69: a network does not show an
// answer that comes late, so the session ends in time and in good order. The
// same step has the same id, so that it can be given the same screen.
func TestTrouble15LateSession(t *testing.T) {
	sh := jsonChannel(t, func(s *webhook.Spec) {
		s.Kind, s.In.ID, s.In.At, s.In.Session, s.In.Step = "ussd", "", "", "json:session", "json:step"
		s.In.Answer.Body, s.In.Answer.Late = "{{if .More}}A{{else}}B{{end}} {{.Text}}", "Dial again."
	})
	require.Equal(t, dialog.USSD, sh.Via())
	require.Less(t, sh.Deadline(), 5*time.Second)
	step := map[string]any{"from": "254700000001", "text": "1", "session": "s", "step": 2}
	m := read(t, sh, step)
	require.NotZero(t, m.ID)
	require.Equal(t, m.ID, read(t, sh, step).ID)
	step["step"] = 3
	require.NotEqual(t, m.ID, read(t, sh, step).ID, "the same key at the next step")
	r, ok, err := sh.TooLate(m)
	require.NoError(t, err)
	require.True(t, ok)
	require.Equal(t, "B Dial again.", string(r.Body))
}

// Seen with an SMS gateway daemon: 204 is a failure to it, JSON cannot be shown,
// and without a content type a text is sent as data.
func TestTrouble16AnswersAGatewayCannotRead(t *testing.T) {
	sh := jsonChannel(t, nil)
	for _, shown := range []gateway.Shown{{}, {Texts: []string{""}}, {Texts: []string{"hi"}}} {
		r, err := sh.Answer(shown)
		require.NoError(t, err)
		require.Equal(t, http.StatusOK, r.Status)
		require.Equal(t, "text/plain; charset=utf-8", r.Headers["Content-Type"])
		require.Equal(t, strings.Join(shown.Texts, ""), string(r.Body))
	}
}

// https://github.com/pwm-project/pwm/issues/391: texts arrive with plus signs for
// blanks because they were encoded for another place.
func TestTrouble17EncodedForAnotherPlace(t *testing.T) {
	const text = "1+1 & \"2\" \n 😀 %41 \\ <b>"
	for name, out := range map[string]webhook.Out{
		"json":  {Body: map[string]any{"text": "{{.Text}}"}},
		"form":  {Encode: "form", Body: map[string]any{"text": "{{.Text}}"}},
		"text":  {Encode: "text", Body: "{{.Text}}"},
		"query": {Method: "GET"},
	} {
		t.Run(name, func(t *testing.T) {
			var got string
			server := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
				switch name {
				case "json":
					var v struct{ Text string }
					require.NoError(t, json.NewDecoder(r.Body).Decode(&v))
					got = v.Text
				case "form":
					require.NoError(t, r.ParseForm())
					got = r.PostForm.Get("text")
				case "text":
					var b strings.Builder
					require.NoError(t, r.Write(&b))
					_, got, _ = strings.Cut(b.String(), "\r\n\r\n")
				case "query":
					got = r.URL.Query().Get("text")
				}
			}))
			defer server.Close()
			out.URL = server.URL + "/?text={{.Text}}"
			sh := jsonChannel(t, func(s *webhook.Spec) { s.Out = &out })
			to, err := gateway.NumberOf("254700000001")
			require.NoError(t, err)
			require.NoError(t, sh.Send(t.Context(), gateway.Outbound{To: to, Text: text}))
			require.Equal(t, text, got)
		})
	}
}
