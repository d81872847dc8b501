package webhook

import (
	"encoding/json"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestLocate(t *testing.T) {
	jsonBody := func(body string) Request {
		return Request{Header: http.Header{"Content-Type": {"application/json; charset=utf-8"}}, Body: []byte(body)}
	}
	formBody := func(body string) Request {
		return Request{Header: http.Header{"Content-Type": {"application/x-www-form-urlencoded"}}, Body: []byte(body)}
	}
	for name, c := range map[string]struct {
		locator string
		request Request
		want    string
		found   bool
		err     string
	}{
		"a form field":                 {"form:from", formBody("from=%2B254&text=a+b"), "+254", true, ""},
		"a form field twice":           {"form:k", formBody("k=1&k=2"), "1", true, ""},
		"an absent form field":         {"form:id", formBody("from=1"), "", false, ""},
		"an empty form field":          {"form:id", formBody("id="), "", true, ""},
		"a form of another type":       {"form:from", jsonBody(`{"from":"1"}`), "", false, ""},
		"a broken form":                {"form:from", formBody("from=%zz"), "", false, "the body (form) is not a well-formed form"},
		"a parameter":                  {"query:k", Request{Query: url.Values{"k": {"v"}}}, "v", true, ""},
		"a form field is no parameter": {"query:k", formBody("k=v"), "", false, ""},
		"a header in any case":         {"header:x-id", Request{Header: http.Header{"X-Id": {"7"}}}, "7", true, ""},
		"an element":                   {"json:text", jsonBody(`{"text":"a\n\u00e9"}`), "a\né", true, ""},
		"an element deep inside":       {"json:a.b[1].c", jsonBody(`{"a":{"b":[{},{"c":"x"}]}}`), "x", true, ""},
		"an element of a list":         {"json:[1]", jsonBody(`["a","b"]`), "b", true, ""},
		"a large number keeps digits":  {"json:from", jsonBody(`{"from":254700000000000001}`), "254700000000000001", true, ""},
		"a truth value":                {"json:a", jsonBody(`{"a":true}`), "true", true, ""},
		"null is absent":               {"json:a", jsonBody(`{"a":null}`), "", false, ""},
		"a name like a wildcard":       {"json:a*", jsonBody(`{"ab":"no","a*":"yes"}`), "yes", true, ""},
		"a name like a modifier":       {"json:@this", jsonBody(`{"@this":"yes"}`), "yes", true, ""},
		"a name like a count":          {"json:a.#", jsonBody(`{"a":[1,2]}`), "", false, ""},
		"a list is no value":           {"json:a", jsonBody(`{"a":[1]}`), "", false, "is a list or an object"},
		"broken JSON":                  {"json:a", jsonBody(`{"a":`), "", false, "the body (json) is not well-formed JSON"},
		"the first of two":             {"json:a | form:a", jsonBody(`{"a":"1"}`), "1", true, ""},
		"the second of two":            {"json:a|form:a", formBody("a=2"), "2", true, ""},
	} {
		t.Run(name, func(t *testing.T) {
			l, err := parseLocator(c.locator)
			require.NoError(t, err)
			got, found, err := l.find(&request{Request: c.request})
			if c.err != "" {
				require.ErrorContains(t, err, c.err)
				require.ErrorAs(t, err, new(FieldError))
				return
			}
			require.NoError(t, err)
			require.Equal(t, c.found, found)
			require.Equal(t, c.want, got)
		})
	}
}

func TestLocatorErrors(t *testing.T) {
	for _, s := range []string{"from", "form:", ":x", "body:x", "json:.a", "json:a..b", "json:a[", "json:a[x]", "json:a]", "json:a|", "json:a[99999]"} {
		_, err := parseLocator(s)
		require.Error(t, err, s)
	}
}

// FuzzLocate holds the JSON paths against a walk through what encoding/json
// reads from the same body.
func FuzzLocate(f *testing.F) {
	f.Add("json:a.b[1].c", `{"a":{"b":[{},{"c":"x"}]}}`)
	f.Add("json:[0]", `["é"]`)
	f.Add("json:a*|json:@x", `{"@x":1e3}`)
	f.Add("form:a", `a=%41&b`)
	f.Fuzz(func(t *testing.T, text, body string) {
		l, err := parseLocator(text)
		if err != nil {
			require.Nil(t, l)
			return
		}
		again, err := parseLocator(l.String())
		require.NoError(t, err)
		require.Equal(t, l.String(), again.String())

		for _, ctype := range []string{"application/json", "application/x-www-form-urlencoded"} {
			r := Request{Header: http.Header{"Content-Type": {ctype}}, Body: []byte(body)}
			got, found, err := l.find(&request{Request: r})
			name, isPath := strings.CutPrefix(l.String(), "json:")
			if err != nil || ctype != "application/json" || !isPath || len(l) != 1 {
				continue
			}
			if want, ok := walk(body, name); ok {
				require.True(t, found)
				require.Equal(t, want, got)
			}
		}
	})
}

// walk follows a path through a document. It reports false if the document has
// what the two readers may see differently: a name twice or text that is no
// UTF-8.
func walk(body, path string) (string, bool) {
	d := json.NewDecoder(strings.NewReader(body))
	d.UseNumber()
	var v any
	if d.Decode(&v) != nil || strings.ToValidUTF8(body, "") != body || strings.ContainsAny(body, `\`) {
		return "", false
	}
	for path != "" {
		m := jsonStep.FindStringSubmatch(path)
		path = path[len(m[0]):]
		switch at := v.(type) {
		case map[string]any:
			if strings.Count(body, `"`+m[1]+`"`) != 1 {
				return "", false
			}
			v = at[m[1]+m[2]]
		case []any:
			i, err := strconv.Atoi(m[1] + m[2])
			if err != nil || i < 0 || i >= len(at) {
				return "", false
			}
			v = at[i]
		default:
			return "", false
		}
	}
	s, ok := v.(string)
	return s, ok
}
