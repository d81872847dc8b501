// Package console is what officers see of the line: pages rendered here, which
// work without scripts, on a slow link and on a small screen.
//
// A page is a row in routes, a handler and a template. The row says which role it
// is for; there is no page without one.
package console

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"runtime/debug"
	"time"

	"github.com/gofiber/fiber/v2"
	"github.com/gofiber/fiber/v2/middleware/compress"
	"github.com/gofiber/fiber/v2/middleware/csrf"
	"github.com/gofiber/fiber/v2/middleware/helmet"
	"github.com/gofiber/fiber/v2/middleware/limiter"
	recovery "github.com/gofiber/fiber/v2/middleware/recover"
	"github.com/gofiber/fiber/v2/middleware/session"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/forecast"
	"cobline/gateway/register"
	"cobline/gateway/views"
	"cobline/locales"
)

// Root is where the console stands. Templates write it out.
const Root = "/office"

// UploadLimit is how large a request to the console may be: 1,000 producers are a
// tenth of it.
const UploadLimit = 2 << 20

// The times of a session. OWASP's guide on sessions has 15 to 30 minutes idle for
// ordinary work, and 4 to 8 hours in all; an officer's day is longer.
const (
	idleTime     = 30 * time.Minute
	absoluteTime = 12 * time.Hour
)

// sessionCookie is the name of the cookie that says whose session it is.
const sessionCookie = "cobline_session"

// What one address may ask for. Officers of one place share an address.
const (
	pagesPerMinute   = 600
	signInsPerMinute = 30
)

const (
	requestTime = 8 * time.Second // for what one request asks of the store
	collectTime = 10 * time.Minute
)

// Options are what a console is made of.
type Options struct {
	Desk     gateway.Desk
	Accounts *Accounts
	Facts    func() *dialog.Facts // for places and their zones
	Service  *gateway.Service
	People   People
	Views    *views.Views
	Register *register.Importer
	Notices  *gateway.Notices
	Phones   *gateway.Office
	// Knowledge keeps what officers tell the line, Weather asks the sources of
	// forecasts, and Forms are those of files of weather, by name.
	Knowledge *gateway.Knowledge
	Weather   *forecast.Fetcher
	Forms     map[string]*forecast.Reader
	// Practice opens a phone on a line of its own, whose clock begins now.
	Practice func(ctx context.Context, kind PhoneKind, now time.Time) (Phone, error)
	Catalog  *locales.Catalog
	// Reviewers are who answers for a language, and since when.
	Reviewers map[locales.Lang]string
	Country   string        // whose numbers come without an international prefix
	AuditFor  time.Duration // for which it is kept who did what; zero: for good
	// Secure lets cookies go over TLS alone: true wherever others reach the line.
	Secure bool
	Now    func() time.Time // nil: the clock of the machine
	Log    *slog.Logger
}

// People is what the line knows of people: a gateway.Store.
type People interface {
	gateway.People
	Load(ctx context.Context, n gateway.Number) (gateway.Conversation, error)
}

// Console is the officers' pages. It is safe for concurrent use.
type Console struct {
	Options
	pages    pages
	sessions *session.Store
	storage  storage
	phones   phones
	counts   headcounts
	patience time.Duration // how long a page waits for what is being counted
}

// New returns a console. Every page is parsed here.
func New(o Options) (*Console, error) {
	if o.Now == nil {
		o.Now = time.Now
	}
	c := &Console{Options: o, storage: storage{o.Desk, o.Now}, patience: patience}
	var err error
	if c.pages, err = parsePages(); err != nil {
		return nil, err
	}
	c.sessions = session.New(session.Config{
		Expiration:        idleTime,
		Storage:           c.storage,
		KeyLookup:         "cookie:" + sessionCookie,
		KeyGenerator:      newSecret,
		CookiePath:        Root,
		CookieSecure:      o.Secure,
		CookieHTTPOnly:    true,
		CookieSameSite:    fiber.CookieSameSiteLaxMode,
		CookieSessionOnly: true,
	})
	return c, nil
}

// Run drops sessions that are over, and practice phones nobody uses, until the context ends, which is no error.
func (c *Console) Run(ctx context.Context) error {
	tick := time.NewTicker(collectTime)
	defer tick.Stop()
	for {
		if err := c.storage.collect(ctx); err != nil && ctx.Err() == nil {
			c.Log.Error("old sessions are still there", "error", err)
		}
		if err := c.phones.collect(c.Now().Add(-phoneIdle)); err != nil {
			c.Log.Error("a practice phone is still there", "error", err)
		}
		select {
		case <-ctx.Done():
			return c.phones.collect(c.Now().Add(time.Hour))
		case <-tick.C:
		}
	}
}

// policy is what a page of ours may load: what we serve, and nothing written into
// the page.
const policy = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// Mount puts the console's pages below Root.
func (c *Console) Mount(app fiber.Router) { c.mountFor(app, c.routes()...) }

func (c *Console) mountFor(app fiber.Router, routes ...route) {
	app.Get("/", func(ctx *fiber.Ctx) error { return ctx.Redirect(Root, http.StatusSeeOther) })
	office := app.Group(
		Root,
		helmet.New(helmet.Config{
			XFrameOptions:         "DENY",
			ReferrerPolicy:        "same-origin", // forms over TLS prove by it where they come from
			HSTSMaxAge:            int((180 * 24 * time.Hour).Seconds()),
			HSTSExcludeSubdomains: true,
			ContentSecurityPolicy: policy,
		}),
		compress.New(),
		c.mend,
		recovery.New(recovery.Config{EnableStackTrace: true, StackTraceHandler: c.panicked}),
	)
	office.Get("/static/:name", c.static)
	limit := limiter.Config{
		Expiration:   time.Minute,
		KeyGenerator: func(ctx *fiber.Ctx) string { return ctx.IP() },
		LimitReached: func(*fiber.Ctx) error {
			return fiber.NewError(http.StatusTooManyRequests, "too much comes from your address; wait a minute")
		},
	}
	// Each page is a session written, so what one address may ask for is bounded
	// before; and each sign-in takes memory and time.
	pages, signIns := limit, limit
	pages.Max, signIns.Max, signIns.Storage = pagesPerMinute, signInsPerMinute, c.storage
	office.Use(plain, limiter.New(pages), c.fence())
	office.Post("/sign-in", limiter.New(signIns))
	for _, r := range routes {
		office.Add(r.method, r.path, c.serve(r))
		if r.method == http.MethodGet {
			office.Add(http.MethodHead, r.path, c.serve(r))
		}
	}
	office.Use(c.serve(route{role: Viewer, handle: func(*request) error { return fiber.ErrNotFound }}))
}

// plain refuses a packed body: a small one may unpack to any size.
func plain(ctx *fiber.Ctx) error {
	if ctx.Get(fiber.HeaderContentEncoding) != "" {
		return fiber.NewError(http.StatusUnsupportedMediaType, "send the form as it is, without Content-Encoding")
	}
	return ctx.Next()
}

// Where a request has its form token, and the account it is answered to.
const (
	tokenKey  = "token"
	readerKey = "reader"
)

// fence refuses forms that no page of ours has made for this session.
func (c *Console) fence() fiber.Handler {
	return csrf.New(csrf.Config{
		Session:           c.sessions,
		Extractor:         tokenOf,
		ContextKey:        tokenKey,
		Expiration:        absoluteTime,
		KeyGenerator:      newSecret,
		CookieName:        "cobline_form",
		CookiePath:        Root,
		CookieSecure:      c.Secure,
		CookieHTTPOnly:    true,
		CookieSameSite:    fiber.CookieSameSiteLaxMode,
		CookieSessionOnly: true,
		ErrorHandler: func(ctx *fiber.Ctx, err error) error {
			c.Log.Warn("a form was refused", "path", ctx.Path(), "why", err)
			return fiber.NewError(http.StatusForbidden, "this form is out of date, or was not made by this console; go back, load the page again and send it once more. If it happens again, let your browser keep cookies of this address, and open it with https")
		},
	})
}

// mend makes a page of an error. What a reader did wrong is told in a sentence;
// what went wrong here goes to the log.
func (c *Console) mend(ctx *fiber.Ctx) error {
	err := ctx.Next()
	if err == nil {
		return nil
	}
	var told *fiber.Error
	switch {
	case errors.As(err, &told):
	case errors.Is(err, gateway.ErrNotFound):
		told = fiber.ErrNotFound
	default:
		c.Log.Error("a page failed", "path", ctx.Route().Path, "error", err)
		told = fiber.NewError(http.StatusServiceUnavailable, "something went wrong here and nothing was changed for sure; the log of the line says what. Try again in a minute")
	}
	p := trouble{Status: told.Code, Why: sentence(told.Message)}
	if told.Code == http.StatusNotFound {
		p.Why = "There is no such page, or what it showed is gone."
	}
	var page bytes.Buffer
	token, _ := ctx.Locals(tokenKey).(string)
	reader, _ := ctx.Locals(readerKey).(Account)
	if err := c.pages.execute(&page, "trouble", view{Page: p, Account: reader, Now: c.Now(), facts: c.Facts(), token: token}); err != nil {
		return err
	}
	ctx.Set(fiber.HeaderCacheControl, "no-store")
	ctx.Set(fiber.HeaderContentType, fiber.MIMETextHTMLCharsetUTF8)
	return ctx.Status(told.Code).Send(page.Bytes())
}

// trouble is the page of an error.
type trouble struct {
	Status int
	Why    string
}

func (c *Console) panicked(ctx *fiber.Ctx, e any) {
	c.Log.Error("a page panicked", "path", ctx.Route().Path, "panic", fmt.Sprint(e), "stack", string(debug.Stack()))
}
