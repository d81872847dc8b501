package console

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"log/slog"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/PuerkitoBio/goquery"
	"github.com/alexedwards/argon2id"
	"github.com/gofiber/fiber/v2"
	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/boltstore"
	"cobline/gateway/forecast"
	"cobline/gateway/register"
	"cobline/gateway/views"
	"cobline/locales"
)

// office is a console on a store of its own, and what tests need of it.
type office struct {
	*Console
	t     *testing.T
	app   *fiber.App
	store *boltstore.Store
	log   bytes.Buffer
	texts int // that people wrote

	mu   sync.Mutex
	time time.Time
}

// morning is when a test begins: a Monday, 9:30 in Nairobi.
var morning = time.Date(2026, time.March, 2, 6, 30, 0, 0, time.UTC)

// password is that of every account of a test.
const password = "four words that differ"

// cheap lets a test hash in no time.
var cheap = &argon2id.Params{Memory: 64, Iterations: 1, Parallelism: 1, SaltLength: 16, KeyLength: 32}

// newConsole returns a console with an account of each role, named after it, and
// nothing else.
func newConsole(t *testing.T) *office {
	t.Helper()
	store, err := boltstore.Open(filepath.Join(t.TempDir(), "store"), boltstore.Options{NoSync: true})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, store.Close()) })
	accounts, err := newAccounts(store, cheap)
	require.NoError(t, err)
	o := &office{t: t, store: store, time: morning}
	nairobi, err := time.LoadLocation("Africa/Nairobi")
	require.NoError(t, err)
	facts := &dialog.Facts{Home: "home", Places: map[string]dialog.Place{
		"home":     {Key: "home", Name: "Home", Zone: nairobi, Lat: -1.29, Lon: 36.82, Altitude: 1700, Currency: "KES"},
		"lakeside": {Key: "lakeside", Name: "Lakeside", Zone: nairobi, Lat: -0.40, Lon: 34.90, Altitude: 1150, Currency: "KES"},
	}}
	log := slog.New(slog.NewTextHandler(&o.log, nil))
	catalog, err := locales.Load()
	require.NoError(t, err)
	engine, err := dialog.New(catalog, dialog.Options{})
	require.NoError(t, err)
	service := gateway.NewService(engine, store, gateway.Options{
		Main: "sms", Channels: map[string]gateway.Channel{"sms": {
			Ability: dialog.Ability{Sends: true}, Tariff: gateway.Tariff{PerSegment: gateway.MoneyOf(0.8), Zone: nairobi},
		}}, Log: log,
	})
	knowledge := gateway.NewKnowledge(store, engine, facts, func(string) []gateway.Number { return nil }, service.SetFacts, log)
	require.NoError(t, knowledge.Load(context.Background()))
	shown, err := views.Open(filepath.Join(t.TempDir(), "views"), store, views.Options{Home: "home", Zone: nairobi, Log: log})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, shown.Close()) })
	notices := gateway.NewNotices(store, service)
	notices.Finds(shown)
	o.Console, err = New(Options{
		Desk: store, Accounts: accounts, Facts: service.Facts, Now: o.clock, Log: log, Catalog: catalog, Country: "KE",
		Service: service, People: store, Views: shown, Register: register.NewImporter(store, service, log), Notices: notices,
		Knowledge: knowledge, Weather: forecast.NewFetcher(knowledge, nil, log, nil),
		Forms:  map[string]*forecast.Reader{"met-table": stationTable(t)},
		Phones: gateway.NewOffice(notices, gateway.OfficeOptions{Rounds: 100}),
	})
	require.NoError(t, err)
	o.patience = time.Minute // on a busy machine too
	for _, r := range Roles {
		require.NoError(t, accounts.Add(context.Background(), r.String(), r, password, false, morning))
	}
	o.app = newApp()
	o.Mount(o.app)
	return o
}

// newApp returns a server that treats requests as that of gateway/web does.
func newApp() *fiber.App {
	return fiber.New(fiber.Config{
		Immutable: true, StrictRouting: true, CaseSensitive: true, DisableStartupMessage: true, DisablePreParseMultipartForm: true,
		BodyLimit: UploadLimit, EnableTrustedProxyCheck: true, TrustedProxies: []string{"0.0.0.0", "127.0.0.1"}, ProxyHeader: "X-Real-Ip",
	})
}

// fixtures are what a console may know: every page is executed with each.
var fixtures = map[string]func(*office){
	"empty": func(*office) {},
	"full":  (*office).fill,
}

// fill lets the console know something of everything. What a page shows is added
// by the fill of its own test file.
func (o *office) fill() {
	o.fillAudit()
	o.fillProducers()
	o.fillNotices()
	o.fillQuestions()
	o.fillWeather()
	o.weather("home")
	o.fillTalk()
	o.practises()
	o.fillPhones()
}

// person returns one of the numbers that tests know.
func person(t testing.TB, last int) gateway.Number {
	n, err := gateway.NumberOf(fmt.Sprintf("2547120000%02d", last))
	require.NoError(t, err)
	return n
}

// says lets somebody write to the line, now.
func (o *office) says(n gateway.Number, text string) {
	o.t.Helper()
	o.texts++
	_, err := o.Service.Receive(context.Background(), gateway.Inbound{
		ID: gateway.NewMessageID("sms", n.Digits(), fmt.Sprint(o.texts)), Channel: "sms", Sender: n.Digits(), From: n,
		Via: dialog.SMS, Text: text, At: o.clock(),
	})
	require.NoError(o.t, err)
}

// catchUp lets the views know all that happened.
func (o *office) catchUp() {
	o.t.Helper()
	require.NoError(o.t, o.Views.CatchUp(context.Background()))
}

// each runs f on a console of each fixture.
func each(t *testing.T, f func(t *testing.T, o *office)) {
	for name, fill := range fixtures {
		t.Run(name, func(t *testing.T) {
			o := newConsole(t)
			fill(o)
			f(t, o)
		})
	}
}

func (o *office) clock() time.Time {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.time
}

// wait moves the clock.
func (o *office) wait(d time.Duration) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.time = o.time.Add(d)
}

// outbox sends what waits, and returns it: texts, and references to notices, which
// still wait.
func (o *office) outbox() (out []gateway.Outbound) {
	o.t.Helper()
	for more := true; more; {
		leased, err := o.store.Lease(context.Background(), "sms", o.clock(), time.Second, 1000)
		require.NoError(o.t, err)
		more = false
		for _, m := range leased {
			if m.Text != "" {
				require.NoError(o.t, o.store.Settle(context.Background(), m.Ref, gateway.Settlement{Outcome: gateway.Sent, At: o.clock()}))
				more = true
			}
		}
		out = append(out, leased...)
		o.wait(2 * time.Second)
	}
	return out
}

// trail returns the audit trail, the newest first.
func (o *office) trail() []gateway.Record {
	trail, _, err := gateway.AuditTrail(context.Background(), o.store, "", 1000)
	require.NoError(o.t, err)
	return trail
}

// client is a browser without scripts.
type client struct {
	o       *office
	cookies map[string]*http.Cookie
	address string
	send    func(*http.Request) (*http.Response, error)
}

// stranger returns a browser that is not signed in.
func (o *office) stranger() *client {
	send := func(r *http.Request) (*http.Response, error) { return o.app.Test(r, -1) }
	return &client{o: o, cookies: map[string]*http.Cookie{}, address: "192.0.2.1", send: send}
}

// as returns a browser signed in to the account of a role.
func (o *office) as(r Role) *client {
	o.t.Helper()
	c := o.stranger()
	p := c.signIn(r.String(), password)
	require.Equal(o.t, http.StatusOK, p.status, p.body)
	require.Equal(o.t, Root+"/outlook", p.path)
	return c
}

func (c *client) signIn(name, password string) page {
	c.o.t.Helper()
	return c.submit(c.get("/office/sign-in"), "/office/sign-in", url.Values{"name": {name}, "password": {password}})
}

// page is what a browser got.
type page struct {
	path   string
	took   time.Duration // to answer, with what it led to
	status int
	header http.Header
	body   string
	*goquery.Document
}

// text returns what is to be read of the page.
func (p page) text() string { return strings.Join(strings.Fields(p.Find("main").Text()), " ") }

// do sends a request as it is, and follows nothing.
func (c *client) do(r *http.Request) page {
	c.o.t.Helper()
	r.Header.Set("X-Real-Ip", c.address)
	for _, cookie := range c.cookies {
		r.AddCookie(cookie)
	}
	began := time.Now()
	res, err := c.send(r)
	require.NoError(c.o.t, err)
	defer res.Body.Close()
	for _, cookie := range res.Cookies() {
		if c.cookies[cookie.Name] = cookie; cookie.MaxAge < 0 {
			delete(c.cookies, cookie.Name)
		}
	}
	body, err := io.ReadAll(res.Body)
	require.NoError(c.o.t, err)
	p := page{path: r.URL.Path, took: time.Since(began), status: res.StatusCode, header: res.Header, body: string(body)}
	p.Document, err = goquery.NewDocumentFromReader(bytes.NewReader(body))
	require.NoError(c.o.t, err)
	return p
}

// follow goes where an answer leads.
func (c *client) follow(p page) page {
	c.o.t.Helper()
	for range 5 {
		if p.status != http.StatusSeeOther {
			return p
		}
		before := p.took
		p = c.do(httptest.NewRequest("GET", p.header.Get("Location"), nil))
		p.took += before
	}
	c.o.t.Fatalf("%s leads in a circle", p.path)
	return p
}

// get opens a page.
func (c *client) get(path string) page {
	c.o.t.Helper()
	return c.follow(c.do(httptest.NewRequest("GET", path, nil)))
}

// post sends values without a form of ours around them.
func (c *client) post(path string, v url.Values) page {
	c.o.t.Helper()
	r := httptest.NewRequest("POST", path, strings.NewReader(v.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	return c.do(r)
}

// values returns what the form of a page with an action would send as it is.
func (p page) values(t *testing.T, action string) url.Values {
	t.Helper()
	form := p.Find("form").FilterFunction(func(_ int, s *goquery.Selection) bool { return s.AttrOr("action", "") == action }).First()
	require.Equal(t, 1, form.Length(), "%s has no form for %s:\n%s", p.path, action, p.body)
	v := url.Values{}
	form.Find("input, select, textarea").Each(func(_ int, s *goquery.Selection) {
		name, value := s.AttrOr("name", ""), s.AttrOr("value", "")
		_, checked := s.Attr("checked")
		switch kind := s.AttrOr("type", ""); {
		case name == "" || kind == "file":
		case (kind == "checkbox" || kind == "radio") && !checked:
		case goquery.NodeName(s) == "select":
			if chosen := s.Find("option[selected]"); chosen.Length() > 0 {
				v.Set(name, chosen.AttrOr("value", ""))
			} else {
				v.Set(name, s.Find("option").First().AttrOr("value", ""))
			}
		case goquery.NodeName(s) == "textarea":
			v.Set(name, s.Text())
		default:
			v.Add(name, value)
		}
	})
	return v
}

// submit fills in the form of a page with an action and sends it, as a browser
// does, and goes where that leads.
func (c *client) submit(p page, action string, fill url.Values) page {
	c.o.t.Helper()
	v := p.values(c.o.t, action)
	for name, values := range fill {
		v[name] = values
	}
	return c.follow(c.post(action, v))
}

// upload sends a form of a page with a file.
func (c *client) upload(p page, action string, fill url.Values, name, file string, data []byte) page {
	c.o.t.Helper()
	v := p.values(c.o.t, action)
	for name, values := range fill {
		v[name] = values
	}
	var body bytes.Buffer
	w := multipart.NewWriter(&body)
	for name, values := range v {
		for _, value := range values {
			require.NoError(c.o.t, w.WriteField(name, value))
		}
	}
	part, err := w.CreateFormFile(name, file)
	require.NoError(c.o.t, err)
	_, err = part.Write(data)
	require.NoError(c.o.t, err)
	require.NoError(c.o.t, w.Close())
	r := httptest.NewRequest("POST", action, &body)
	r.Header.Set("Content-Type", w.FormDataContentType())
	return c.follow(c.do(r))
}
