package webhook

import (
	"fmt"
	"net/http"
	"regexp"
	"strings"

	"github.com/antchfx/xmlquery"
	"github.com/tidwall/gjson"
)

// locator says where in a request a value stands. It is one or more places with
// "|" between, the first that is there counts:
//
//	form:from                 a field of a form, also of a multipart one
//	query:k                   a parameter of the address
//	header:X-Id               a header
//	path:key                  the part of the address that the path calls :key
//	json:a.b[0].c  json:/a/b  an element of a JSON body, by its path or JSON pointer
//	xml:/a/b/@c               an element or attribute of an XML body, by a simple XPath
//	item:from                 the same within one item of the list that "each" names
//	body                      the whole body
//	=32100                    this text
//	json:from | form:from     either
//	form:ud > hex > utf-16be  a value and the steps that make text of it
type locator []place

type place struct {
	text  string // as it was written
	find  finder
	steps []step
}

type finder func(*request) (value, bool, error)

// value is what stands at a place.
type value struct {
	octets  string
	charset string // what they are said to be written in; empty if nothing says
	certain bool   // the specification says so, not the request
}

func (v value) text() string { return decode(v.octets, v.charset) }

func (l locator) String() string {
	texts := make([]string, len(l))
	for i, p := range l {
		texts[i] = p.text
	}
	return strings.Join(texts, " | ")
}

// find returns the value, or false if it stands at none of the places.
func (l locator) find(r *request) (value, bool, error) {
	for _, p := range l {
		v, ok, err := p.find(r)
		for _, s := range p.steps {
			if !ok || err != nil {
				break
			}
			v, ok, err = s(v)
		}
		if err != nil {
			return value{}, false, located(err, p.text)
		}
		if ok {
			return v, true, nil
		}
	}
	return value{}, false, nil
}

// located adds to what is wrong with a value where it stands.
func located(err error, place string) error {
	if e, ok := err.(FieldError); ok {
		return e // of a body as a whole
	}
	return FieldError{Locator: place, Why: err.Error()}
}

var (
	onePlace = regexp.MustCompile(`^\s*([^|]+?)((?:\s+>\s+(?:/(?:[^/\\]|\\.)+/|[A-Za-z0-9_.:-]+))*)\s*(?:(\|)|$)`)
	oneStep  = regexp.MustCompile(`>\s+(/(?:[^/\\]|\\.)+/|[A-Za-z0-9_.:-]+)`)
)

// parseLocator compiles a locator. The empty text is a locator without places.
// items names what the items of a list are, json or xml; empty if there is none.
func parseLocator(s, items string) (locator, error) {
	var l locator
	if strings.TrimSpace(s) == "" {
		return nil, nil
	}
	for more := true; more; {
		m := onePlace.FindStringSubmatch(s)
		if m == nil {
			return nil, fmt.Errorf("%q is not a place in a request; write form:NAME, json:PATH, xml:PATH, query:NAME, header:NAME, path:NAME or body", s)
		}
		find, err := parsePlace(m[1], items)
		if err != nil {
			return nil, err
		}
		p := place{text: m[1], find: find}
		for _, step := range oneStep.FindAllStringSubmatch(m[2], -1) {
			if err := p.add(step[1]); err != nil {
				return nil, err
			}
		}
		l = append(l, p)
		s, more = s[len(m[0]):], m[3] != ""
	}
	return l, nil
}

func parsePlace(text, items string) (finder, error) {
	if literal, ok := strings.CutPrefix(text, "="); ok {
		return func(*request) (value, bool, error) { return value{octets: literal}, true, nil }, nil
	}
	if text == "body" {
		return func(r *request) (value, bool, error) {
			return value{octets: string(r.Body), charset: r.charset()}, r.Method != http.MethodGet, nil
		}, nil
	}
	source, name, ok := strings.Cut(text, ":")
	if !ok || name == "" {
		return nil, fmt.Errorf("%q is not a place in a request; write form:NAME, json:PATH, xml:PATH, query:NAME, header:NAME, path:NAME or body", text)
	}
	switch source {
	case "form":
		return func(r *request) (value, bool, error) { return r.formField(name) }, nil
	case "query":
		return func(r *request) (value, bool, error) { return first(r.Query, name) }, nil
	case "header":
		key := http.CanonicalHeaderKey(name)
		return func(r *request) (value, bool, error) { return first(r.Header, key) }, nil
	case "path":
		return func(r *request) (value, bool, error) { return r.segment(":" + name) }, nil
	case "json":
		path, err := jsonPath(name)
		return func(r *request) (value, bool, error) {
			doc, ok, err := r.jsonBody()
			if !ok || err != nil {
				return value{}, false, err
			}
			return jsonValue(doc.Get(path))
		}, err
	case "xml":
		return func(r *request) (value, bool, error) {
			doc, ok, err := r.xmlBody()
			if !ok || err != nil {
				return value{}, false, err
			}
			return xmlValue(doc, name)
		}, checkXPath(name)
	case "item":
		return parseItem(name, items)
	default:
		return nil, fmt.Errorf("%q names no part of a request; write form:, json:, xml:, query:, header: or path: before the name", source+":")
	}
}

// parseItem compiles a place within an item of a list.
func parseItem(name, items string) (finder, error) {
	switch items {
	case "json":
		path, err := jsonPath(name)
		return func(r *request) (value, bool, error) {
			item, ok := r.item.(gjson.Result)
			if !ok {
				return value{}, false, nil
			}
			return jsonValue(item.Get(path))
		}, err
	case "xml":
		return func(r *request) (value, bool, error) {
			item, ok := r.item.(*xmlquery.Node)
			if !ok {
				return value{}, false, nil
			}
			return xmlValue(item, name)
		}, checkXPath(name)
	default:
		return nil, fmt.Errorf("item:%s is within an item of a list, but each names none; write each = \"json:PATH\" or \"xml:PATH\"", name)
	}
}

func first[M ~map[string][]string](m M, key string) (value, bool, error) {
	if vs := m[key]; len(vs) > 0 {
		return value{octets: vs[0]}, true, nil
	}
	return value{}, false, nil
}

var jsonStep = regexp.MustCompile(`^\.?([^.\[\]]+)|^\[([0-9]{1,4})\]`)

// jsonPath turns a.b[0].c, or the JSON pointer /a/b/0/c of RFC 6901, into the
// path language of gjson, where it means the same and nothing else: no wildcard,
// query or modifier. A dot alone is the whole document.
func jsonPath(s string) (string, error) {
	if s == "." {
		return "@this", nil
	}
	var steps []string
	if pointer, ok := strings.CutPrefix(s, "/"); ok {
		for name := range strings.SplitSeq(pointer, "/") {
			if name == "" {
				return "", fmt.Errorf("json:%s is not a pointer; write names with slashes between, as in json:/a/b/0", s)
			}
			steps = append(steps, gjson.Escape(strings.NewReplacer("~1", "/", "~0", "~").Replace(name)))
		}
		return strings.Join(steps, "."), nil
	}
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

// xpath is as much of XPath 1.0 as a path needs: elements by name, place or what
// an attribute of theirs says. More may panic on what a body holds, or take hours
// over one that is deeply nested.
var xpath = func() *regexp.Regexp {
	const (
		name = `(?:[\pL_][\pL\pN_.-]*:)?[\pL_][\pL\pN_.-]*`
		step = `(?:@?` + name + `|\*|\.|text\(\))(?:\[(?:[0-9]{1,4}|(?:@` + name + `|local-name\(\))='[^']*')\])*`
	)
	return regexp.MustCompile(`^/{0,2}` + step + `(?:/` + step + `)*$`)
}()

func checkXPath(s string) error {
	if !xpath.MatchString(s) {
		return fmt.Errorf("xml:%s is not a path; write elements with slashes between, [2] or [@name='to'] to choose one, and @ before an attribute, as in xml:/message/from/@number", s)
	}
	_, err := xmlquery.Query(&xmlquery.Node{Type: xmlquery.DocumentNode}, s)
	return err
}
