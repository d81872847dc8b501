package webhook

import (
	"encoding/json"
	"net/url"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/gateway"
)

// Whatever a person or the line writes stays in its place.
func TestTextsStayInTheirLeaves(t *testing.T) {
	sh, err := Compile(Spec{
		Name: "a",
		In: In{Path: "/in/a", From: "form:f", Text: "form:t", Answer: Answer{
			Carry: "all", Headers: map[string]string{"X-Text": "{{.Text}}"},
			Body: map[string]any{"all": "{{.Replies}}", "one": []any{map[string]any{"text": "say: {{.Text}}"}}, "more": "{{.More}}", "n": 1},
		}},
		Out: &Out{URL: "https://a.invalid/?t={{.Text}}&last=1", Body: map[string]any{"text": "{{.Text}}"}},
	})
	require.NoError(t, err)
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.String().Draw(t, "text")
		more := rapid.Bool().Draw(t, "more")
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
	})
}
