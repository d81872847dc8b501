package console

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"cobline/gateway"
)

// Every form is refused that no page of this session has made.
func TestForgedForms(t *testing.T) {
	o := newConsole(t)
	c, other := o.as(Administrator), o.as(Administrator)
	before, after := len(o.trail()), 0
	own := c.get("/office/account/password").values(t, "/office/account/password").Get(tokenField)
	theirs := other.get("/office/account/password").values(t, "/office/account/password").Get(tokenField)
	for _, r := range o.routes() {
		if r.method != post {
			continue
		}
		for name, token := range map[string]string{"none": "", "another session's": theirs, "cut": own[:10], "plain": c.cookies["cobline_form"].Value, "nonsense": "!", "long": strings.Repeat("A", 9000)} {
			p := c.post(concrete(r.path), url.Values{tokenField: {token}, "role": {"viewer"}, "password": {"a password to begin"}})
			require.Equal(t, http.StatusForbidden, p.status, "%s: %s", r.path, name)
			require.Contains(t, p.text(), "This form is out of date")
		}
	}
	after = len(o.trail())
	require.Equal(t, before, after, "nothing was done")
	account, err := o.Accounts.Get(context.Background(), "viewer")
	require.NoError(t, err)
	require.False(t, account.Disabled)
	require.Equal(t, Viewer, account.Role)

	// Another officer's page does not make a form of ours, nor do our cookies theirs.
	c.cookies["cobline_form"] = other.cookies["cobline_form"]
	require.Equal(t, http.StatusForbidden, c.post("/office/accounts/viewer/disable", url.Values{tokenField: {theirs}}).status)
}

// A form's token looks different on each page: a compressed page does not give it
// away.
func TestTokensAreMasked(t *testing.T) {
	o := newConsole(t)
	c := o.as(Officer)
	seen := map[string]bool{}
	for range 5 {
		p := c.get("/office/account")
		token := p.values(t, "/office/sign-out").Get(tokenField)
		require.False(t, seen[token])
		seen[token] = true
		require.NotContains(t, p.body, c.cookies["cobline_form"].Value)
	}
}

func TestHeaders(t *testing.T) {
	o := newConsole(t)
	c := o.as(Officer)
	for _, path := range []string{"/office/outlook", "/office/nothing", "/office/audit", "/office/sign-in", "/office/static/office.css"} {
		h := c.do(httptest.NewRequest("GET", path, nil)).header
		require.Equal(t, policy, h.Get("Content-Security-Policy"), path)
		require.Equal(t, "DENY", h.Get("X-Frame-Options"), path)
		require.Equal(t, "nosniff", h.Get("X-Content-Type-Options"), path)
		require.Equal(t, "same-origin", h.Get("Referrer-Policy"), path)
		require.Empty(t, h.Get("Server"), path)
	}
}

func TestStaticFiles(t *testing.T) {
	o := newConsole(t)
	c := o.stranger()
	for name, kind := range map[string]string{"office.css": "text/css; charset=utf-8", "office.js": "text/javascript; charset=utf-8", "mark.svg": "image/svg+xml"} {
		p := c.get(staticPath(name))
		require.Equal(t, http.StatusOK, p.status)
		require.Equal(t, kind, p.header.Get("Content-Type"))
		require.Contains(t, p.header.Get("Cache-Control"), "immutable")
		r := httptest.NewRequest("GET", staticPath(name), nil)
		r.Header.Set("If-None-Match", p.header.Get("ETag"))
		require.Equal(t, http.StatusNotModified, c.do(r).status)
	}
	for _, path := range []string{"..", "../console.go", "..%2fconsole.go", "%2e%2e/static.go", "templates/layout.html", "office.css/", "office.css%00", "OFFICE.CSS", ""} {
		p := c.get("/office/static/" + path)
		require.True(t, p.status == http.StatusNotFound || p.path == Root+"/sign-in", "%s: %d", path, p.status)
		require.NotContains(t, p.body, "package console")
	}
	r := httptest.NewRequest("GET", "/office/static/office.css", nil)
	r.Header.Set("Accept-Encoding", "gzip")
	require.Equal(t, "gzip", c.do(r).header.Get("Content-Encoding"))
}

// Tricks with the path reach no page that is for others.
func TestPathTricks(t *testing.T) {
	o := newConsole(t)
	for _, path := range []string{
		"/office/audit/", "/office//audit", "/office/./audit", "/office/static/../audit", "/office/static/..%2faudit", "/office/sign-in/../audit",
		"/OFFICE/audit", "/office/Audit", "/office/%61udit", "/office/audit%00", "/office/audit;a=b", "/office/audit%2f", "/office\\audit",
	} {
		for _, c := range []*client{o.stranger(), o.as(Viewer)} {
			p := c.get(path)
			require.NotContains(t, p.body, "Nobody can change a line", path)
			require.NotEqual(t, "Audit trail", p.Find("h1").Text(), path)
		}
	}
}

// A proxy's word about the address counts from our proxy alone; see gateway/web
// for requests from elsewhere.
func TestWhoAsksIsRecorded(t *testing.T) {
	o := newConsole(t)
	c := o.stranger()
	c.address = "198.51.100.77"
	c.signIn("officer", password)
	require.Equal(t, "from 198.51.100.77", o.trail()[0].Detail)
}

func TestPackedAndBrokenForms(t *testing.T) {
	o := newConsole(t)
	c := o.as(Officer)
	token := c.get("/office/account").values(t, "/office/sign-out").Get(tokenField)
	request := func(kind, body string, headers ...string) page {
		r := httptest.NewRequest("POST", "/office/account/password", strings.NewReader(body))
		r.Header.Set("Content-Type", kind)
		for i := 0; i < len(headers); i += 2 {
			r.Header.Set(headers[i], headers[i+1])
		}
		return c.do(r)
	}
	require.Equal(t, http.StatusUnsupportedMediaType, request("application/x-www-form-urlencoded", "x", "Content-Encoding", "gzip").status)
	require.Equal(t, http.StatusForbidden, request("multipart/form-data; boundary=x", "--x\r\nnonsense").status)
	require.Equal(t, http.StatusForbidden, request("application/json", `{"form":"`+token+`"}`).status)
	require.Equal(t, http.StatusBadRequest, request("application/x-www-form-urlencoded", tokenField+"="+token+"&old=%zz").status)
	r := httptest.NewRequest("GET", "/office/outlook?a=%zz", nil)
	require.Equal(t, http.StatusBadRequest, c.do(r).status)
}

// What people write is shown as they wrote it, and runs nowhere.
func TestScriptIsShownAsText(t *testing.T) {
	const script = `<script>alert(1)</script>"><img src=x onerror=alert(2)>' onmouseover='alert(3)`
	o := newConsole(t)
	require.NoError(t, gateway.Audit(context.Background(), o.store, gateway.Record{At: morning, By: script, What: script, On: script, Detail: script}))
	c := o.as(Administrator)
	p := c.get("/office/audit")
	require.Contains(t, p.text(), script)
	checkPage(t, p)
	require.Zero(t, p.Find("main script, main img").Length())
	p = c.submit(c.get("/office/accounts"), "/office/accounts", url.Values{"name": {script}, "role": {"officer"}, "password": {"a password to begin"}})
	require.Equal(t, script, p.Find("#f-name").AttrOr("value", ""))
	checkPage(t, p)
	p = o.stranger().get("/office/sign-in?to=" + url.QueryEscape(script))
	require.Equal(t, script, p.Find("input[name=to]").AttrOr("value", ""))
	checkPage(t, p)
}

// What stands beside a text while it is written is text too, however long, and a
// place may be called anything.
func TestHostileTextsBesideTheirFields(t *testing.T) {
	const script = `</p><script>alert(1)</script>"><img src=x onerror=alert(2)>`
	o := newConsole(t)
	o.fillTalk()
	c := o.as(Administrator)
	p := c.submit(c.get("/office/outlook/place"), "/office/outlook/place", url.Values{"key": {"evil"}, "name": {script}, "lat": {"-1.5"}, "lon": {"36.9"}, "altitude": {"1500"}})
	require.Contains(t, p.text(), script)
	checkPage(t, p)
	p = c.get("/office/outlook/at/evil/place")
	require.Equal(t, "Take "+script+" away?", p.Find("form[action$='/drop']").AttrOr("data-confirm", ""))
	checkPage(t, p)
	at := o.talkOf(20)
	token := c.get(at).values(t, at+"/reply").Get(tokenField)
	for _, path := range []string{"/office/notices/measure", "/office/questions/measure", at + "/measure"} {
		for _, text := range []string{script, strings.Repeat(script, 200_000/len(script))} {
			v := url.Values{tokenField: {token}, "text": {text}, "text-en": {text}, "lang": {script}, "language": {script}, "stage": {script}, "hour": {script}, "place": {script}, "ring": {script}}
			p := c.post(path, v)
			require.Equal(t, http.StatusOK, p.status, path)
			require.Zero(t, p.Find("script, img, form").Length(), path)
			require.Less(t, len(p.body), 5_000_000, path)
		}
	}
	require.Equal(t, http.StatusNotFound, c.post("/office/talk/..%2f..%2faudit/measure", url.Values{tokenField: {token}, "text": {"x"}}).status)
	require.Equal(t, http.StatusNotFound, c.post("/office/talk/0000000000000000/measure", url.Values{tokenField: {token}, "text": {"x"}}).status)
}

// A name of a download cannot end the header it stands in.
func TestDownloadNames(t *testing.T) {
	o := newConsole(t)
	app := newApp()
	o.Console.mountFor(app, route{get, "/download", nobody, func(q *request) error {
		return q.download("a\r\nSet-Cookie: x=y\".csv", "text/csv; charset=utf-8", []byte("a,b\n"))
	}})
	o.app = app
	p := o.stranger().get("/office/download")
	require.Equal(t, http.StatusOK, p.status)
	require.NotContains(t, fmt.Sprint(p.header), "x=y;")
	require.NotContains(t, p.header.Values("Set-Cookie"), "x=y\".csv")
	require.True(t, strings.HasPrefix(p.header.Get("Content-Disposition"), "attachment; filename="), p.header)
}

// A page that fails, or panics, tells its reader nothing of why, and the log all.
func TestAPageThatFails(t *testing.T) {
	o := newConsole(t)
	o.app = newApp()
	o.Console.mountFor(
		o.app,
		route{get, "/fails", nobody, func(*request) error { return fmt.Errorf("the disk of +254700000001 is full") }},
		route{get, "/panics", nobody, func(*request) error { panic("nobody thought of this") }},
		route{get, "/half", nobody, func(q *request) error { return q.render("officer", nil) }},
		route{get, "/gone", nobody, func(*request) error { return fmt.Errorf("case 7: %w", gateway.ErrNotFound) }},
	)
	c := o.stranger()
	for _, path := range []string{"/office/fails", "/office/panics", "/office/half"} {
		p := c.get(path)
		require.Equal(t, http.StatusServiceUnavailable, p.status, path)
		require.Contains(t, p.text(), "Something went wrong")
		for _, secret := range []string{"disk", "nobody thought", "template", "goroutine"} {
			require.NotContains(t, p.body, secret)
		}
		require.Equal(t, 1, bytes.Count([]byte(p.body), []byte("<h1>")), "no half page")
	}
	require.Contains(t, o.log.String(), "disk")
	require.Contains(t, o.log.String(), "nobody thought of this")
	require.Equal(t, http.StatusNotFound, c.get("/office/gone").status)
}
