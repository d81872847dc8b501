package webhook

import (
	"cmp"
	"net/http"
	"regexp"
	"slices"
	"strings"

	"github.com/antchfx/xmlquery"
)

// Endpoint is a request the gateway may make. A part of the path may be a :name.
type Endpoint struct{ Method, Path string }

// Overlaps reports whether a request may be of both endpoints.
func (e Endpoint) Overlaps(o Endpoint) bool {
	return e.Method == o.Method && slices.EqualFunc(strings.Split(e.Path, "/"), strings.Split(o.Path, "/"), func(a, b string) bool {
		return a == b || strings.HasPrefix(a, ":") || strings.HasPrefix(b, ":")
	})
}

// pathPattern is what the path of an endpoint looks like: a server reads other
// marks in ways of its own.
var pathPattern = regexp.MustCompile(`^/in(/([A-Za-z0-9._~-]+|:[A-Za-z0-9]+))+$`)

// Endpoints returns the requests the gateway may make.
func (sh *Shape) Endpoints() []Endpoint {
	list := sh.in.endpoints()
	if sh.reports != nil && sh.reports.path != sh.in.path {
		list = append(list, sh.reports.endpoints()...)
	}
	return list
}

// door returns the endpoint a request came to.
func (sh *Shape) door(r Request) endpoint {
	if sh.reports != nil && sh.reports.path != sh.in.path && sh.reports.leads(r.Path) {
		return sh.reports.endpoint
	}
	return sh.in.endpoint
}

// bodyKinds are what a body may be said to be.
var bodyKinds = []string{"", "json", "form", "xml"}

// endpoint is a door: who may come in, and how a request is opened.
type endpoint struct {
	path, as string
	methods  []string
	proofs   []proof
	each     func(*request) ([]any, error)
	when     condition
}

// endpoint compiles a door. Locators that follow may be within its list, until
// items is emptied.
func (c *compiler) endpoint(key, path, method, as, each string, k Check, w *When) endpoint {
	e := endpoint{path: path, as: as, methods: strings.Fields(cmp.Or(method, http.MethodPost))}
	e.proofs = c.check(key+".check", k)
	e.each, c.items = c.each(key+".each", each)
	c.want(pathPattern.MatchString(path), key+".path", "must begin with /in/ and hold letters, digits, hyphens and perhaps parts such as :key, as in /in/sms-a or /in/sms-a/:key")
	for _, m := range e.methods {
		c.want(slices.Contains([]string{http.MethodGet, http.MethodPost, http.MethodPut}, m), key+".method", "must be GET, POST or PUT, or several with blanks between")
	}
	c.want(slices.Contains(bodyKinds, as), key+".as", "must be json, form or xml")
	e.when = c.when(key+".when", w)
	return e
}

func (e endpoint) endpoints() []Endpoint {
	list := make([]Endpoint, len(e.methods))
	for i, m := range e.methods {
		list[i] = Endpoint{m, e.path}
	}
	return list
}

// Challenge returns what a client that shows its password only when asked wants
// to see in WWW-Authenticate, or nothing if the request's check has no password.
func (sh *Shape) Challenge(r Request) string {
	check := sh.spec.In.Check
	if sh.door(r).path != sh.in.path {
		check = sh.spec.Reports.Check
	}
	if check.Basic == nil {
		return ""
	}
	return `Basic realm="cobline", charset="UTF-8"`
}

// leads reports whether an address is this endpoint's.
func (e endpoint) leads(path string) bool {
	want, got := strings.Split(e.path, "/"), strings.Split(path, "/")
	return slices.EqualFunc(want, got, func(w, g string) bool { return w == g || strings.HasPrefix(w, ":") && g != "" })
}

func (e endpoint) open(r Request) *request { return newRequest(r, e.path, e.as) }

// each compiles the place of a list. It returns what its items are, too.
func (c *compiler) each(key, s string) (func(*request) ([]any, error), string) {
	whole := func(*request) ([]any, error) { return []any{nil}, nil }
	if s == "" {
		return whole, ""
	}
	absent := FieldError{"list", s, "is missing"}
	kind, path, _ := strings.Cut(s, ":")
	switch kind {
	case "json":
		path, err := jsonPath(path)
		if err != nil {
			c.want(false, key, err.Error())
		}
		return func(r *request) ([]any, error) {
			doc, _, err := r.jsonBody()
			list := doc.Get(path)
			if err == nil && !list.Exists() {
				err = absent
			}
			var items []any
			for _, v := range list.Array() {
				items = append(items, v)
			}
			return items, err
		}, kind
	case "xml":
		if err := checkXPath(path); err != nil {
			c.want(false, key, err.Error())
		}
		return func(r *request) ([]any, error) {
			doc, ok, err := r.xmlBody()
			if !ok || err != nil {
				return nil, cmp.Or(err, error(absent))
			}
			var items []any
			for _, n := range xmlquery.Find(doc, path) {
				items = append(items, n)
			}
			if items == nil {
				return nil, absent
			}
			return items, nil
		}, kind
	default:
		c.want(false, key, "must be the place of a list, such as json:messages or xml:/batch/message; a JSON document that is a list itself is json:.")
		return whole, ""
	}
}
