package webhook

import (
	"fmt"
	"mime"
	"net/http"
	"net/url"
	"regexp"
	"strings"

	"github.com/tidwall/gjson"
)

// locator says where in a request a value stands. It is one or more places,
// the first that holds a value counts:
//
//	form:from              a field of a form
//	json:a.b[0].c          an element of a JSON body
//	query:k                a parameter of the address
//	header:X-Id            a header
//	json:from | form:from  either
type locator []place

type place struct {
	text string // as it was written
	find func(*request) (string, bool, error)
}

func (l locator) String() string {
	texts := make([]string, len(l))
	for i, p := range l {
		texts[i] = p.text
	}
	return strings.Join(texts, " | ")
}

// find returns the value, or false if no place holds one.
func (l locator) find(r *request) (string, bool, error) {
	for _, p := range l {
		if v, ok, err := p.find(r); ok || err != nil {
			return v, ok, err
		}
	}
	return "", false, nil
}

// parseLocator compiles a locator. The empty text is a locator without places.
func parseLocator(s string) (locator, error) {
	var l locator
	if strings.TrimSpace(s) == "" {
		return nil, nil
	}
	for text := range strings.SplitSeq(s, "|") {
		text = strings.TrimSpace(text)
		p := place{text: text}
		source, name, ok := strings.Cut(text, ":")
		if !ok || name == "" {
			return nil, fmt.Errorf("%q is not a place in a request; write form:NAME, json:PATH, query:NAME or header:NAME", text)
		}
		switch source {
		case "form":
			p.find = func(r *request) (string, bool, error) { return r.formField(name) }
		case "query":
			p.find = func(r *request) (string, bool, error) { return first(r.Query, name) }
		case "header":
			key := http.CanonicalHeaderKey(name)
			p.find = func(r *request) (string, bool, error) { return first(r.Header, key) }
		case "json":
			path, err := jsonPath(name)
			if err != nil {
				return nil, err
			}
			p.find = func(r *request) (string, bool, error) { return r.jsonElement(path, text) }
		default:
			return nil, fmt.Errorf("%q names no part of a request; write form:, json:, query: or header: before the name", source+":")
		}
		l = append(l, p)
	}
	return l, nil
}

func first[M ~map[string][]string](m M, key string) (string, bool, error) {
	if vs := m[key]; len(vs) > 0 {
		return vs[0], true, nil
	}
	return "", false, nil
}

var jsonStep = regexp.MustCompile(`^\.?([^.\[\]]+)|^\[([0-9]{1,4})\]`)

// jsonPath turns a.b[0].c into the path language of gjson, where it means the
// same and nothing else: no wildcard, query or modifier.
func jsonPath(s string) (string, error) {
	var steps []string
	for rest := s; rest != ""; {
		m := jsonStep.FindStringSubmatch(rest)
		if m == nil || (steps == nil && strings.HasPrefix(rest, ".")) {
			return "", fmt.Errorf("json:%s is not a path; write names with dots and places in a list in brackets, as in json:a.b[0].c", s)
		}
		steps = append(steps, gjson.Escape(m[1])+m[2])
		rest = rest[len(m[0]):]
	}
	return strings.Join(steps, "."), nil
}

// request is a Request whose body is parsed when a locator first needs it.
type request struct {
	Request
	form     url.Values
	formErr  error
	jsonSeen bool
	jsonErr  error
}

func (r *request) mediaType() string {
	t, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err != nil {
		return ""
	}
	return t
}

func (r *request) formField(name string) (string, bool, error) {
	if r.mediaType() != "application/x-www-form-urlencoded" {
		return "", false, nil
	}
	if r.form == nil && r.formErr == nil {
		if r.form, r.formErr = url.ParseQuery(string(r.Body)); r.formErr != nil {
			r.formErr = FieldError{Field: "body", Locator: "form", Why: "is not a well-formed form"}
		}
	}
	if r.formErr != nil {
		return "", false, r.formErr
	}
	return first(r.form, name)
}

func (r *request) jsonElement(path, text string) (string, bool, error) {
	if t := r.mediaType(); t != "application/json" && !strings.HasSuffix(t, "+json") {
		return "", false, nil
	}
	if !r.jsonSeen {
		r.jsonSeen = true
		if !gjson.ValidBytes(r.Body) {
			r.jsonErr = FieldError{Field: "body", Locator: "json", Why: "is not well-formed JSON"}
		}
	}
	if r.jsonErr != nil {
		return "", false, r.jsonErr
	}
	switch v := gjson.GetBytes(r.Body, path); v.Type {
	case gjson.Null:
		return "", false, nil
	case gjson.JSON:
		return "", false, FieldError{Field: "value", Locator: text, Why: "is a list or an object where one value is wanted"}
	default:
		return v.String(), true, nil
	}
}
