package webhook_test

import (
	"fmt"
	"net/http"
	"strings"
	"sync"
	"testing"
	"unicode"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/gateway"
	"cobline/gateway/webhook"
)

// FuzzSender: a sender is a person's number, however it is written, or it is
// kept as it came.
func FuzzSender(f *testing.F) {
	for _, from := range []string{"+254700000001", " 254700000001", "000254700000001", "0700 000-001", "32100", "CHARCOAL", "+", "", "٠٧٠٠٠٠٠٠٠١", "(0)700000001", "+254٧00000001"} {
		f.Add(from)
	}
	sh := jsonChannel(f, nil)
	f.Fuzz(func(t *testing.T, from string) {
		m := read(t, sh, map[string]any{"id": "1", "from": from, "text": "hi"})
		require.NotZero(t, m.ID)
		if !m.From.IsZero() {
			_, err := gateway.NumberOf(m.From.Digits())
			require.NoError(t, err)
			return
		}
		// Blanks that are no part of a number stay, too.
		if !strings.ContainsFunc(from, unicode.IsControl) && utf8.ValidString(from) && !strings.Contains(from, "\ufeff") {
			require.Equal(t, from, m.Sender)
		}
	})
}

// A mobile number is one person in all the forms gateways write it in.
func TestNumberForms(t *testing.T) {
	sh := jsonChannel(t, nil)
	rapid.Check(t, func(t *rapid.T) {
		national := rapid.StringMatching(`7[0-2][0-9]{7}`).Draw(t, "national")
		for _, form := range []string{"+254%s", " 254%s", "254%s", "00254%s", "000254%s", "0%s", "+254 %s", "+254-%s"} {
			m := read(t, sh, map[string]any{"id": "1", "from": fmt.Sprintf(form, national), "text": "hi"})
			require.Equal(t, "254"+national, m.From.Digits(), form)
		}
	})
}

// What was dialled is no input, but what was dialled along with it is.
func TestDialledCode(t *testing.T) {
	for text, want := range map[string]string{
		"*123#": "", "*123*1*2#": "1*2", "*1234#": "*1234#", "*12#": "*12#", "1": "1", "": "", "*123": "*123", "*123#1": "*123#1",
	} {
		sh := jsonChannel(t, func(s *webhook.Spec) { s.Kind, s.In.Code = "ussd", "*123#" })
		require.Equal(t, want, read(t, sh, map[string]any{"id": "1", "from": "254700000001", "text": text}).Text, text)
	}
}

func BenchmarkTake(b *testing.B) {
	form := jsonChannel(b, func(s *webhook.Spec) {
		s.In.ID, s.In.From, s.In.To, s.In.Text, s.In.At = "form:id", "form:from", "form:to", "form:text", "form:at"
	})
	xml := jsonChannel(b, func(s *webhook.Spec) {
		s.In.ID, s.In.From, s.In.To, s.In.Text, s.In.At = "xml:/m/id", "xml:/m/from", "xml:/m/to", "xml:/m/text", "xml:/m/at"
	})
	for name, c := range map[string]struct {
		sh                *webhook.Shape
		contentType, body string
	}{
		"json": {jsonChannel(b, nil), "application/json", `{"id":"m-1","from":"+254700000001","to":"32100","text":"cobs 2 drums snaps","at":"2026-03-02T09:00:00Z"}`},
		"form": {form, "application/x-www-form-urlencoded", "id=m-1&from=%2B254700000001&to=32100&text=cobs+2+drums+snaps&at=1772442000"},
		"xml":  {xml, "text/xml", "<m><id>m-1</id><from>+254700000001</from><to>32100</to><text>cobs 2 drums snaps</text><at>1772442000</at></m>"},
	} {
		b.Run(name, func(b *testing.B) {
			r := webhook.Request{Method: http.MethodPost, Header: http.Header{"Content-Type": {c.contentType}}, Body: []byte(c.body), At: arrived}
			for b.Loop() {
				if taken, err := c.sh.Take(r); err != nil || len(taken.Messages) != 1 {
					b.Fatal(taken, err)
				}
			}
		})
	}
}

// Whatever comes as a message is read or refused, and what is read is fit to be
// stored.
func FuzzTake(f *testing.F) {
	f.Add("application/json", `{"messages":[{"from":"+254700000001","text":"hi","at":"1772442000"}]}`)
	f.Add("text/xml", `<a><message from="1">x</message></a>`)
	f.Add("application/x-www-form-urlencoded", "from=1&text=%00%FF&udh=%05%00%03%00%02%01")
	var shapes []*webhook.Shape
	for _, each := range []string{"", "json:messages", "xml://message"} {
		place := map[string]string{"": "form:%s | json:%[1]s", "json:messages": "item:%s", "xml://message": "item:%s"}[each]
		at := func(name string) string { return fmt.Sprintf(place, name) }
		shapes = append(shapes, jsonChannel(f, func(s *webhook.Spec) {
			s.In.Each, s.In.From, s.In.To, s.In.Text, s.In.ID, s.In.At, s.In.Header = each, at("from"), at("to"), at("text"), at("id"), at("at"), at("udh")
			s.In.Answer.Carry, s.Out = "none", &webhook.Out{Method: "GET", URL: "https://a.invalid"}
		}))
	}
	f.Fuzz(func(t *testing.T, contentType, body string) {
		r := webhook.Request{Method: http.MethodPost, Header: http.Header{"Content-Type": {contentType}}, Body: []byte(body), At: arrived}
		for _, sh := range shapes {
			taken, err := sh.Take(r)
			if err != nil {
				require.ErrorAs(t, err, new(webhook.FieldError))
				require.Empty(t, taken.Messages)
			}
			again, _ := sh.Take(r)
			require.Equal(t, taken, again)
		}
	})
}

// A shape is read by many requests at once.
func TestShapesAreShared(t *testing.T) {
	sh := jsonChannel(t, func(s *webhook.Spec) {
		s.In.As, s.In.Each, s.In.From, s.In.Text, s.In.ID, s.In.At = "xml", "xml://m", "item:@from", "item:t[@k='b']", "item:@id", ""
		s.In.Answer.Carry, s.Out = "none", &webhook.Out{URL: "https://a.invalid", Body: map[string]any{"t": "{{.Text}}"}}
	})
	var all sync.WaitGroup
	for i := range 8 {
		all.Go(func() {
			for j := range 50 {
				text := fmt.Sprint(i, j)
				taken, err := sh.Take(webhook.Request{At: arrived, Body: []byte(`<a><m id="1" from="254700000001"><t k="a"/><t k="b">` + text + `</t></m></a>`)})
				if err != nil || taken.Messages[0].Text != text {
					t.Errorf("%v %v", taken, err)
				}
				if p, err := sh.Preview(gateway.Outbound{Text: text}); err != nil || p == "" {
					t.Error(p, err)
				}
			}
		})
	}
	all.Wait()
}
