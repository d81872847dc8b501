package webhook

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"mime"
	"mime/multipart"
	"net/http"
	"net/netip"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"time"
	"unicode"

	"github.com/antchfx/xmlquery"
	"github.com/tidwall/gjson"
)

// Request is an HTTP request copied out of the server's buffers.
type Request struct {
	Method   string
	Path     string // of the address; empty for that of Spec.In.Path
	RawQuery string // the query as it came, which a signature may cover
	Query    url.Values
	Header   http.Header // canonical names
	Body     []byte
	Remote   netip.Addr // who connected: a proxy or the gateway itself
	At       time.Time  // when it arrived
}

// maxItems bounds the messages of one request and the fields of a multipart
// form. A gateway gives up on a request that takes as long as so many turns.
const maxItems = 100

// request is a Request whose body is parsed when a locator first needs it.
type request struct {
	Request
	pattern string // the configured path, with its :names
	as      string // what the body is, json, form or xml; empty: what its content type says
	lax     bool   // of an answer: a body is whatever it can be read as
	item    any    // of the list being read: a gjson.Result or an *xmlquery.Node

	form func() (map[string][]value, error)
	json func() (gjson.Result, error)
	xml  func() (*xmlquery.Node, error)
}

func newRequest(r Request, pattern, as string) *request {
	req := &request{Request: r, pattern: pattern, as: as}
	req.form = sync.OnceValues(req.parseForm)
	req.json = sync.OnceValues(req.parseJSON)
	req.xml = sync.OnceValues(req.parseXML)
	return req
}

// mediaType returns the type of the body in small letters.
func (r *request) mediaType() string {
	t, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err != nil {
		return ""
	}
	return t
}

func (r *request) charset() string { return charsetOf(r.Header.Get("Content-Type")) }

// charsetOf returns the charset a content type declares.
func charsetOf(contentType string) string {
	_, params, err := mime.ParseMediaType(contentType)
	if err != nil {
		return ""
	}
	return params["charset"]
}

// holds reports whether the body is of a kind: form, json or xml.
func (r *request) holds(kind string) bool {
	if r.as != "" || r.lax {
		return r.as == kind || r.lax
	}
	t := r.mediaType()
	switch kind {
	case "form":
		return t == "application/x-www-form-urlencoded" || t == "multipart/form-data"
	default:
		return t == "application/"+kind || t == "text/"+kind || strings.HasSuffix(t, "+"+kind)
	}
}

// segment returns what stands in the address where the path has a :name.
func (r *request) segment(name string) (value, bool, error) {
	parts := strings.Split(r.Path, "/")
	for i, p := range strings.Split(r.pattern, "/") {
		if p == name && i < len(parts) {
			return value{octets: parts[i]}, true, nil
		}
	}
	return value{}, false, nil
}

func (r *request) formField(name string) (value, bool, error) {
	if !r.holds("form") {
		return value{}, false, nil
	}
	fields, err := r.form()
	if err != nil || len(fields[name]) == 0 {
		return value{}, false, err
	}
	return fields[name][0], true, nil
}

func (r *request) parseForm() (map[string][]value, error) {
	fields := map[string][]value{}
	if r.mediaType() == "multipart/form-data" {
		if err := r.parseMultipart(fields); err != nil {
			return nil, FieldError{Field: "body", Locator: "form", Why: "is not a well-formed multipart form"}
		}
		return fields, nil
	}
	form, err := url.ParseQuery(string(r.Body))
	if err != nil {
		return nil, FieldError{Field: "body", Locator: "form", Why: "is not a well-formed form"}
	}
	for name, vs := range form {
		for _, v := range vs {
			fields[name] = append(fields[name], value{octets: v, charset: r.charset()})
		}
	}
	return fields, nil
}

func (r *request) parseMultipart(fields map[string][]value) error {
	_, params, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err != nil {
		return err
	}
	parts := multipart.NewReader(bytes.NewReader(r.Body), params["boundary"])
	for range maxItems {
		p, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		octets, err := io.ReadAll(p)
		if err != nil {
			return err
		}
		v := value{octets: string(octets), charset: charsetOf(p.Header.Get("Content-Type"))}
		fields[p.FormName()] = append(fields[p.FormName()], v)
	}
	return errors.New("too many parts")
}

// jsonBody returns the document, or false if the body is none.
func (r *request) jsonBody() (gjson.Result, bool, error) {
	if !r.holds("json") {
		return gjson.Result{}, false, nil
	}
	doc, err := r.json()
	return doc, err == nil, r.lenient(err)
}

// lenient passes over a body that cannot be read where it may be anything.
func (r *request) lenient(err error) error {
	if r.lax {
		return nil
	}
	return err
}

func (r *request) parseJSON() (gjson.Result, error) {
	body := string(r.Body)
	if label := r.charset(); label != "" && !isUTF8(label) {
		body = decode(body, label)
	}
	body = strings.TrimPrefix(body, "\ufeff")
	if !gjson.Valid(body) {
		// A gateway that pastes texts into JSON leaves their line breaks in.
		body = strings.Map(func(r rune) rune {
			if unicode.IsControl(r) {
				return ' '
			}
			return r
		}, body)
	}
	if !gjson.Valid(body) {
		return gjson.Result{}, FieldError{Field: "body", Locator: "json", Why: "is not well-formed JSON"}
	}
	return gjson.Parse(body), nil
}

func jsonValue(v gjson.Result) (value, bool, error) {
	switch v.Type {
	case gjson.Null:
		return value{}, false, nil
	case gjson.JSON:
		return value{}, false, errors.New("is a list or an object where one value is wanted")
	case gjson.String:
		return value{octets: unescapeHalves(v)}, true, nil
	default:
		return value{octets: v.String()}, true, nil
	}
}

// escapes matches what a backslash begins in JSON, whole pairs of surrogates
// first.
var escapes = regexp.MustCompile(`\\u[dD][89abAB][0-9a-fA-F]{2}\\u[dD][c-fC-F][0-9a-fA-F]{2}|\\u[dD][89a-fA-F][0-9a-fA-F]{2}|\\.`)

// unescapeHalves returns a text in which half of a surrogate pair, as a part of
// a long text may end with, stands as three octets instead of being lost.
func unescapeHalves(v gjson.Result) string {
	if !strings.Contains(v.Raw, `\u`) {
		return v.Str
	}
	raw := escapes.ReplaceAllStringFunc(v.Raw, func(s string) string {
		if len(s) != len(`\ud83d`) {
			return s
		}
		half, err := strconv.ParseUint(s[2:], 16, 16)
		if err != nil {
			return s
		}
		return string([]byte{0xe0 | byte(half>>12), 0x80 | byte(half>>6)&0x3f, 0x80 | byte(half)&0x3f})
	})
	return gjson.Parse(raw).Str
}

// xmlBody returns the document, or false if the body is none.
func (r *request) xmlBody() (*xmlquery.Node, bool, error) {
	if !r.holds("xml") {
		return nil, false, nil
	}
	doc, err := r.xml()
	return doc, err == nil, r.lenient(err)
}

var (
	xmlEncoding = regexp.MustCompile(`^\s*<\?xml[^>]*\sencoding=["']([A-Za-z0-9._-]+)["']`)
	// xmlControl matches references to characters that no XML document may hold.
	xmlControl = regexp.MustCompile(`&#(?:0*(?:[0-8]|1[124-9]|2[0-9]|3[01])|[xX]0*(?:[0-8bcefBCEF]|1[0-9a-fA-F]));`)
)

func (r *request) parseXML() (*xmlquery.Node, error) {
	label := r.charset()
	if m := xmlEncoding.FindSubmatch(r.Body); m != nil {
		label = string(m[1])
	}
	text := xmlControl.ReplaceAllLiteralString(clean(decode(string(r.Body), label)), "")
	decoded := func(_ string, in io.Reader) (io.Reader, error) { return in, nil }
	doc, err := xmlquery.ParseWithOptions(strings.NewReader(text), xmlquery.ParserOptions{
		Decoder: &xmlquery.DecoderOptions{Strict: true, CharsetReader: decoded},
	})
	if err != nil {
		return nil, FieldError{Field: "body", Locator: "xml", Why: "is not well-formed XML"}
	}
	return doc, nil
}

func xmlValue(top *xmlquery.Node, path string) (value, bool, error) {
	n, err := xmlquery.Query(top, path)
	if n == nil || err != nil {
		return value{}, false, err
	}
	return value{octets: n.InnerText()}, true, nil
}

// escapeXML returns a text as it stands in an element or an attribute.
func escapeXML(s string) string {
	var b strings.Builder
	if err := xml.EscapeText(&b, []byte(s)); err != nil {
		panic(err) // a strings.Builder takes everything
	}
	return b.String()
}
