package webhook

import (
	"encoding/json"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
)

// posted is a request with a body of a type.
func posted(contentType, body string) Request {
	return Request{Method: http.MethodPost, Header: http.Header{"Content-Type": {contentType}}, Body: []byte(body)}
}

const formType = "application/x-www-form-urlencoded"

func TestLocate(t *testing.T) {
	const multipartType = "multipart/form-data; boundary=x"
	field := func(name, v string) string {
		return "--x\r\nContent-Disposition: form-data; name=\"" + name + "\"\r\n\r\n" + v + "\r\n"
	}
	jsonBody := func(body string) Request { return posted("application/json; charset=utf-8", body) }
	formBody := func(body string) Request { return posted(formType, body) }
	xmlBody := func(body string) Request { return posted("text/xml", body) }
	query := func(v string) Request { return Request{Query: url.Values{"k": {v}}} }
	for name, c := range map[string]struct {
		locator string
		request Request
		want    string
		found   bool
		err     string
	}{
		"a form field":                     {"form:from", formBody("from=%2B254&text=a+b"), "+254", true, ""},
		"a form field twice":               {"form:k", formBody("k=1&k=2"), "1", true, ""},
		"an absent form field":             {"form:id", formBody("from=1"), "", false, ""},
		"an empty form field":              {"form:id", formBody("id="), "", true, ""},
		"a form of another type":           {"form:from", jsonBody(`{"from":"1"}`), "", false, ""},
		"a broken form":                    {"form:from", formBody("from=%zz"), "", false, "the body (form) is not a well-formed form"},
		"a multipart form":                 {"form:b", posted(multipartType, field("b", "1")+"--x--\r\n"), "1", true, ""},
		"a broken multipart form":          {"form:b", posted(multipartType, "--x\r\nContent"), "", false, "is not a well-formed multipart form"},
		"a multipart form of many parts":   {"form:b", posted(multipartType, strings.Repeat(field("a", ""), maxItems+1)+"--x--\r\n"), "", false, "is not a well-formed multipart form"},
		"a parameter":                      {"query:k", query("v"), "v", true, ""},
		"a form field is no parameter":     {"query:k", formBody("k=v"), "", false, ""},
		"a header in any case":             {"header:x-id", Request{Header: http.Header{"X-Id": {"7"}}}, "7", true, ""},
		"a part of the path":               {"path:key", Request{Path: "/in/a/s3cret"}, "s3cret", true, ""},
		"a path that is shorter":           {"path:key", Request{Path: "/in/a"}, "", false, ""},
		"another part of the path":         {"path:other", Request{Path: "/in/a/s3cret"}, "", false, ""},
		"the body":                         {"body", posted("text/plain", "a b\n"), "a b\n", true, ""},
		"a request without a body":         {"body", Request{Method: http.MethodGet}, "", false, ""},
		"a text of the specification":      {"form:to | =32100", formBody("a=1"), "32100", true, ""},
		"an element":                       {"json:text", jsonBody(`{"text":"a\n\u00e9"}`), "a\né", true, ""},
		"an element deep inside":           {"json:a.b[1].c", jsonBody(`{"a":{"b":[{},{"c":"x"}]}}`), "x", true, ""},
		"an element of a list":             {"json:[1]", jsonBody(`["a","b"]`), "b", true, ""},
		"a pointer":                        {"json:/a.b/1/c~1d", jsonBody(`{"a.b":[{},{"c/d":"x"}]}`), "x", true, ""},
		"a large number keeps digits":      {"json:from", jsonBody(`{"from":254700000000000001}`), "254700000000000001", true, ""},
		"a number with an exponent":        {"json:from", jsonBody(`{"from":2.54700000001E11}`), "254700000001", true, ""},
		"a truth value":                    {"json:a", jsonBody(`{"a":true}`), "true", true, ""},
		"null is absent":                   {"json:a", jsonBody(`{"a":null}`), "", false, ""},
		"a name like a wildcard":           {"json:a*", jsonBody(`{"ab":"no","a*":"yes"}`), "yes", true, ""},
		"a name like a modifier":           {"json:@this", jsonBody(`{"@this":"yes"}`), "yes", true, ""},
		"a name like a count":              {"json:a.#", jsonBody(`{"a":[1,2]}`), "", false, ""},
		"a list is no value":               {"json:a", jsonBody(`{"a":[1]}`), "", false, "is a list or an object"},
		"broken JSON":                      {"json:a", jsonBody(`{"a":`), "", false, "the body (json) is not well-formed JSON"},
		"JSON with a byte order mark":      {"json:a", jsonBody("\ufeff{\"a\":1}"), "1", true, ""},
		"JSON with a line break in a text": {"json:a", jsonBody("{\"a\":\"1\n2\"}"), "1 2", true, ""},
		"JSON in another charset":          {"json:a", posted("application/json; charset=iso-8859-1", "{\"a\":\"caf\xe9\"}"), "café", true, ""},
		"a pair of surrogates":             {"json:a", jsonBody(`{"a":"\ud83d\ude00 \\ud83d"}`), `😀 \ud83d`, true, ""},
		"half a pair":                      {"json:a", jsonBody(`{"a":"\ud83d!"}`), "\ufffd!", true, ""},
		"an XML element":                   {"xml:/a/b", xmlBody("<a><b>x &amp; y</b></a>"), "x & y", true, ""},
		"an XML attribute":                 {"xml://b/@c", xmlBody(`<a><b c="1"/></a>`), "1", true, ""},
		"an XML element that is chosen":    {"xml:/a/p[@n='to']", xmlBody(`<a><p n="from">1</p><p n="to">2</p></a>`), "2", true, ""},
		"an XML element by its place":      {"xml:/a/p[2]", xmlBody(`<a><p>1</p><p>2</p></a>`), "2", true, ""},
		"a name with a prefix":             {"xml:/s:a/b", xmlBody(`<s:a xmlns:s="urn:s"><b>1</b></s:a>`), "1", true, ""},
		"a name with any prefix":           {"xml:/*[local-name()='a']/b", xmlBody(`<s:a xmlns:s="urn:s"><b>1</b></s:a>`), "1", true, ""},
		"an absent XML element":            {"xml:/a/c", xmlBody("<a/>"), "", false, ""},
		"broken XML":                       {"xml:/a", xmlBody("<a>"), "", false, "the body (xml) is not well-formed XML"},
		"XML that says its charset":        {"xml:/a", xmlBody("<?xml version='1.0' encoding='ISO-8859-1'?><a>caf\xe9</a>"), "café", true, ""},
		"XML that is wrong about it":       {"xml:/a", xmlBody("<?xml version='1.0' encoding='UTF-8'?><a>caf\xe9</a>"), "café", true, ""},
		"XML with what no XML may hold":    {"xml:/a", xmlBody("<a>b&#0;c&#x1F;d\x00e</a>"), "bcde", true, ""},
		"XML with an entity of its own":    {"xml:/a", xmlBody(`<!DOCTYPE a [<!ENTITY e SYSTEM "file:///etc/passwd">]><a>&e;</a>`), "", false, "is not well-formed XML"},
		"the first of two":                 {"json:a | form:a", jsonBody(`{"a":"1"}`), "1", true, ""},
		"the second of two":                {"json:a|form:a", formBody("a=2"), "2", true, ""},
		"the first that fits":              {"query:k > /^id=(.*)/ | query:k > /^no=(.*)/", query("no=7"), "7", true, ""},
		"trimmed":                          {"query:k > trim", query(" a "), "a", true, ""},
		"in small letters":                 {"query:k > lower", query("DeLivrd"), "delivrd", true, ""},
		"hexadecimal":                      {"query:k > hex", query("00 68 69"), "hi", true, ""},
		"no hexadecimal":                   {"query:k > hex", query("0x68"), "", false, "(query:k > hex) is not hexadecimal"},
		"base64":                           {"query:k > base64", query("aMOpPz4="), "hé?>", true, ""},
		"base64 for addresses":             {"query:k > base64", query("aMOpPz4"), "hé?>", true, ""},
		"no base64":                        {"query:k > base64", query("?"), "", false, "is not base64"},
		"percent-encoded":                  {"query:k > percent", query("1%2B1+%C3%A9"), "1+1+é", true, ""},
		"encoded as in a query":            {"query:k > query", query("1%2B1+%C3%A9"), "1+1 é", true, ""},
		"a pattern with bars":              {"query:k > /stat:(DELIVRD|EXPIRED)/", query("id:1 stat:EXPIRED err:0"), "EXPIRED", true, ""},
		"a pattern without a group":        {"query:k > /[0-9]+/", query("id 77."), "77", true, ""},
		"a number in hexadecimal":          {"query:k > hex-number", query("00ff"), "255", true, ""},
		"a number with zeros":              {"query:k > number", query("000255"), "255", true, ""},
		"steps in turn":                    {"query:k > percent > hex > utf-16be", query("%32%30AC"), "€", true, ""},
		"an octet string of GSM codes":     {"query:k > hex > gsm", query("05681b65"), "éh€", true, ""},
		"a charset of the Web":             {"query:k > base64 > koi8-r", query("0NLJ18XU"), "привет", true, ""},
	} {
		t.Run(name, func(t *testing.T) {
			l, err := parseLocator(c.locator, "")
			require.NoError(t, err)
			got, found, err := l.find(newRequest(c.request, "/in/a/:key", ""))
			if c.err != "" {
				require.ErrorContains(t, err, c.err)
				require.ErrorAs(t, err, new(FieldError))
				return
			}
			require.NoError(t, err)
			require.Equal(t, c.found, found)
			require.Equal(t, c.want, got.text())
		})
	}
}

func TestLocatorErrors(t *testing.T) {
	for _, s := range []string{
		"from", "form:", ":x", "body:x", "json:.a", "json:a..b", "json:a[", "json:a[x]", "json:a]", "json:a|", "json:a[99999]", "json:/a//b",
		"xml:///", "xml:a[", "xml:a//b//c", "xml:count(a)", "xml:a[b=1]", "item:a", "|", "form:a > rot13", "form:a > /(/", "form:a > utf-99", "form:a | | form:b",
	} {
		_, err := parseLocator(s, "")
		require.Error(t, err, s)
	}
}

// Bodies as large as the server lets in, made to be slow to read: a search that
// looked at everything again for every element would not come back.
func TestHostileBodies(t *testing.T) {
	const size = 64 << 10
	nest := func(open, inside, shut string) string {
		n := size / (len(open) + len(shut))
		return strings.Repeat(open, n) + inside + strings.Repeat(shut, n)
	}
	for name, c := range map[string]struct{ contentType, body, locator, want string }{
		"nested lists":      {"application/json", nest("[", "", "]"), "json:[0].a", ""},
		"nested objects":    {"application/json", nest(`{"a":`, `"x"`, "}"), "json:a.a.b", ""},
		"nested elements":   {"text/xml", nest("<a>", "<b>x</b>", "</a>"), "xml://b", "x"},
		"elements in a row": {"text/xml", "<a>" + nest("<b/>", "<c>x</c>", "<b/>") + "</a>", "xml:/a/c", "x"},
		"chosen elements":   {"text/xml", nest("<a>", "<b/>", "</a>"), "xml://a[@c='1'][9]/b", ""},
		"escapes":           {"application/json", `{"a":"` + nest(`\\`, "", `\ud83d\ude00`) + `"}`, "json:b | =x", "x"},
		"halves":            {"application/json", `{"a":"` + nest("\xed\xa0\x80", "", "\xed\xb0\x80") + `"}`, "json:a > /(x?)$/", ""},
		"fields":            {formType, nest("aaaaaaaaa&", "b=x", "&ccccccccc"), "form:b", "x"},
	} {
		t.Run(name, func(t *testing.T) {
			l, err := parseLocator(c.locator, "")
			require.NoError(t, err)
			v, _, err := l.find(newRequest(posted(c.contentType, c.body), "", ""))
			require.NoError(t, err)
			require.Equal(t, c.want, v.text())
		})
	}
}

// FuzzLocate holds the JSON paths against a walk through what encoding/json
// reads from the same body.
func FuzzLocate(f *testing.F) {
	f.Add("json:a.b[1].c", `{"a":{"b":[{},{"c":"x"}]}}`)
	f.Add("json:[0]", `["é"]`)
	f.Add("json:a*|json:@x", `{"@x":1e3}`)
	f.Add("form:a > trim > /a|b/ | =x", `a=%41&b`)
	f.Add("xml://a[@b='1']/text()", `<a b="1">x</a>`)
	f.Add("item:a", "")
	f.Fuzz(func(t *testing.T, text, body string) {
		l, err := parseLocator(text, "json")
		if err != nil {
			require.Nil(t, l)
			return
		}
		again, err := parseLocator(l.String(), "json")
		require.NoError(t, err)
		require.Equal(t, l.String(), again.String())

		for _, contentType := range []string{"application/json", formType, "text/xml", "multipart/form-data; boundary=x", ""} {
			got, found, err := l.find(newRequest(posted(contentType, body), "", ""))
			require.True(t, utf8.ValidString(got.text()))
			name, isPath := strings.CutPrefix(l.String(), "json:")
			if err != nil || contentType != "application/json" || !isPath || len(l) != 1 || l[0].steps != nil {
				continue
			}
			if want, ok := walk(body, name); ok {
				require.True(t, found)
				require.Equal(t, clean(want), got.text())
			}
		}
	})
}

// walk follows a path through a document. It reports false if the path is no
// simple one, or if the document has what the two readers may see differently: a
// name twice or text that is no UTF-8.
func walk(body, path string) (string, bool) {
	d := json.NewDecoder(strings.NewReader(body))
	d.UseNumber()
	var v any
	if d.Decode(&v) != nil || strings.ToValidUTF8(body, "") != body || strings.ContainsAny(body, `\`) || strings.HasPrefix(path, "/") {
		return "", false
	}
	for path != "" {
		m := jsonStep.FindStringSubmatch(path)
		if m == nil {
			return "", false
		}
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
