package webhook

import (
	"encoding/json"
	"encoding/xml"
	"io"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/gateway"
)

// Whatever a person or the line writes stays in its place.
func TestTextsStayInTheirLeaves(t *testing.T) {
	const place = "https://a.invalid/p/{{.Text}}/q?t={{.Text}}&last=1"
	outs := map[string]Out{
		"json":      {Body: map[string]any{"text": "{{.Text}}"}},
		"json text": {Body: `{"text":"{{.Text}}"}`},
		"form":      {Encode: "form", Body: map[string]any{"text": "{{.Text}}", "last": 1}},
		"form text": {Encode: "form", Body: "text={{.Text}}&last=1"},
		"xml":       {Encode: "xml", Body: `<a><text b="{{.Text}}">{{with .Text}}{{printf "%s" .}}{{end}}</text></a>`},
	}
	shapes := map[string]*Shape{}
	for kind, out := range outs {
		out.URL, out.Headers = place, map[string]string{"X-Text": "{{.Text}}"}
		sh, err := Compile(Spec{
			Name: "a", Out: &out,
			In: In{Path: "/in/a", From: "form:f", Text: "form:t", Answer: Answer{
				Carry: "all", Headers: map[string]string{"X-Text": "{{.Text}}"},
				Body: map[string]any{"all": "{{.Replies}}", "one": []any{map[string]any{"text": "say: {{.Text}}"}}, "more": "{{.More}}", "n": 1},
			}},
		})
		require.NoError(t, err)
		shapes[kind] = sh
	}
	read := map[string]func(t require.TestingT, body []byte) string{
		"json": func(t require.TestingT, body []byte) string {
			var v struct{ Text string }
			require.NoError(t, json.Unmarshal(body, &v))
			return v.Text
		},
		"form": func(t require.TestingT, body []byte) string {
			v, err := url.ParseQuery(string(body))
			require.NoError(t, err)
			require.Len(t, v, 2)
			return v.Get("text")
		},
		"xml": func(t require.TestingT, body []byte) string {
			var v struct {
				Text struct {
					B    string `xml:"b,attr"`
					Text string `xml:",chardata"`
				} `xml:"text"`
			}
			require.NoError(t, xml.Unmarshal(body, &v))
			require.Equal(t, v.Text.B, v.Text.Text)
			return v.Text.Text
		},
	}
	rapid.Check(t, func(t *rapid.T) {
		text := strings.Map(func(r rune) rune { // what no XML document may hold
			if r < ' ' && r != '\n' || r >= 0xfffe && r <= 0xffff {
				return -1
			}
			return r
		}, rapid.String().Draw(t, "text"))
		more := rapid.Bool().Draw(t, "more")
		kind := rapid.SampledFrom([]string{"json", "json text", "form", "form text", "xml"}).Draw(t, "kind")
		sh := shapes[kind]
		r, err := sh.Answer(gateway.Shown{Texts: []string{text}, More: more})
		require.NoError(t, err)
		require.NotContains(t, r.Headers["X-Text"], "\n")
		var got struct {
			All  []string
			One  []struct{ Text string }
			More bool
			N    int
		}
		require.NoError(t, json.Unmarshal(r.Body, &got))
		require.Equal(t, []string{text}, got.All)
		require.Equal(t, "say: "+text, got.One[0].Text)
		require.Equal(t, more, got.More)
		require.Equal(t, 1, got.N)

		req, err := sh.out.request(t.Context(), sent{Text: text})
		require.NoError(t, err)
		require.Equal(t, url.Values{"t": {text}, "last": {"1"}}, req.URL.Query())
		require.Equal(t, "/p/"+text+"/q", req.URL.Path)
		require.NotContains(t, req.Header.Get("X-Text"), "\n")
		body, err := io.ReadAll(req.Body)
		require.NoError(t, err)
		kind, _, _ = strings.Cut(kind, " ")
		require.Equal(t, text, read[kind](t, body))
	})
}

// A template cannot go around the escaping of its place.
func TestEveryActionIsEscaped(t *testing.T) {
	data := struct {
		Text string
		List []string
	}{"<&>", []string{"<"}}
	for source, want := range map[string]string{
		`{{.Text}}`: "&lt;&amp;&gt;",
		`{{if .Text}}{{.Text}}{{else}}{{.List}}{{end}}`:     "&lt;&amp;&gt;",
		`{{range .List}}{{.}}{{else}}none{{end}}`:           "&lt;",
		`{{with $x := .Text}}{{$x}}{{end}}`:                 "&lt;&amp;&gt;",
		`{{$x := .Text}}{{$x | printf "%s!"}}`:              "&lt;&amp;&gt;!",
		`{{if eq .Text "<&>"}}<b/>{{end}}`:                  "<b/>",
		`{{range $i, $v := .List}}{{$i}}{{$v}}{{end}}`:      "0&lt;",
		`{{/* nothing */}}{{printf "%s" .Text | len}}`:      "3",
		`{{range .List}}{{if .}}{{.}}{{end}}{{end}}{{"<"}}`: "&lt;&lt;",
	} {
		tree, err := parseTree(source, escapeXML)
		require.NoError(t, err)
		got, err := tree.text(data)
		require.NoError(t, err)
		require.Equal(t, want, got, source)
	}
	for _, source := range []string{`{{define "a"}}{{.Text}}{{end}}{{template "a" .}}`, `{{block "a" .}}{{.Text}}{{end}}`, `{{.Text`} {
		_, err := parseTree(source, escapeXML)
		require.Error(t, err, source)
	}
}

// A message is put into the address as it stands in the specification.
func TestAddressWithoutAQuery(t *testing.T) {
	sh, err := Compile(Spec{Name: "a", In: In{Path: "/in/a", From: "form:f", Text: "form:t"}, Out: &Out{Method: http.MethodGet, URL: "https://a.invalid"}})
	require.NoError(t, err)
	req, err := sh.out.request(t.Context(), sent{})
	require.NoError(t, err)
	require.Equal(t, "https://a.invalid", req.URL.String())
}
