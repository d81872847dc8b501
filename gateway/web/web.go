// Package web is the line's HTTP server: one route for each channel, and what
// an operator's monitor asks for.
package web

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"github.com/gofiber/fiber/v2"
	"github.com/gofiber/fiber/v2/middleware/adaptor"
	recovery "github.com/gofiber/fiber/v2/middleware/recover"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	"github.com/valyala/fasthttp"
	"golang.org/x/time/rate"

	"cobline/gateway"
	"cobline/gateway/console"
	"cobline/gateway/webhook"
)

// The limits of a request. A text message with all that gateways add to it is a
// few kilobytes; proxies add headers of their own. The console takes files too,
// from people on slow links: 2 MiB in five minutes are 7 KB a second.
const (
	bodyLimit   = 64 << 10
	headerLimit = 16 << 10
	readTimeout = 10 * time.Second
	idleTimeout = 60 * time.Second
	slowLink    = 5 * time.Minute // to take in, or give out, what the console does

	// refusalPause is how often the log tells of each channel that a request was
	// refused: who connects a gateway wants to know why, and anybody may send any
	// number.
	refusalPause = 10 * time.Second
)

// Options are what a server is made of.
type Options struct {
	Channels []*webhook.Shape
	Receiver Receiver
	Ready    func() error // why the line cannot work at present, or nil
	// Notes tells what someone should see to although the line takes texts in;
	// may be nil.
	Notes   func() []string
	Metrics *prometheus.Registry
	Log     *slog.Logger

	Console *console.Console // the officers' pages; may be nil
	// Proxies are those of our own that requests to the console come through, and
	// ProxyHeader the header in which they put the address of who asks, over
	// whatever was there.
	Proxies     []string
	ProxyHeader string
}

// New returns the server. The caller gives it a listener and shuts it down.
func New(o Options) (*fiber.App, error) {
	s := &server{Options: o, metrics: newMetrics(o.Metrics)}
	var deadline time.Duration
	for _, ch := range o.Channels {
		deadline = max(deadline, ch.Deadline())
	}
	app := fiber.New(fiber.Config{
		Immutable:                    true,
		StrictRouting:                true,
		CaseSensitive:                true,
		BodyLimit:                    bodyLimit,
		ReadBufferSize:               headerLimit,
		ReadTimeout:                  readTimeout,
		WriteTimeout:                 deadline + readTimeout,
		IdleTimeout:                  idleTimeout,
		DisableStartupMessage:        true,
		DisablePreParseMultipartForm: true,
		EnableTrustedProxyCheck:      true,
		TrustedProxies:               o.Proxies,
		ProxyHeader:                  o.ProxyHeader,
		ErrorHandler:                 s.failed,
	})
	app.Use(recovery.New(recovery.Config{EnableStackTrace: true, StackTraceHandler: s.panicked}))
	var taken []route
	for _, ch := range o.Channels {
		for _, e := range ch.Endpoints() {
			if i := slices.IndexFunc(taken, func(r route) bool { return r.Overlaps(e) }); i >= 0 {
				return nil, fmt.Errorf("channels %s and %s have the same path %s", taken[i].channel, ch.Name(), e.Path)
			}
			taken = append(taken, route{e, ch.Name()})
			app.Add(e.Method, e.Path, s.inbound(ch)) // Get would add HEAD, and a turn with it
		}
	}
	app.Get("/healthz", func(c *fiber.Ctx) error { return c.SendString("ok\n") })
	app.Get("/readyz", s.ready)
	app.Get("/metrics", adaptor.HTTPHandler(promhttp.HandlerFor(o.Metrics, promhttp.HandlerOpts{})))
	if o.Console != nil {
		o.Console.Mount(app)
		app.Server().HeaderReceived = func(h *fasthttp.RequestHeader) fasthttp.RequestConfig {
			if !atConsole(string(h.RequestURI())) {
				return fasthttp.RequestConfig{}
			}
			give := slowLink
			if strings.HasSuffix(string(h.RequestURI()), "/export") {
				give = console.ExportTime
			}
			return fasthttp.RequestConfig{ReadTimeout: slowLink, WriteTimeout: give, MaxRequestBodySize: console.UploadLimit}
		}
	}
	return app, nil
}

type server struct {
	Options
	metrics metrics
}

// route is an endpoint and whose it is.
type route struct {
	webhook.Endpoint
	channel string
}

// inbound answers a channel's gateway. It acknowledges what is durable, and
// nothing else.
func (s *server) inbound(ch *webhook.Shape) fiber.Handler {
	name, counted := ch.Name(), counter{s.Receiver, s.metrics, ch.Name()}
	told := rate.Sometimes{Interval: refusalPause}
	return func(c *fiber.Ctx) error {
		start := time.Now()
		x, err := s.exchange(c, ch, counted, start)
		s.metrics.observe(name, outcomeOf(x, err), time.Since(start))
		s.metrics.doubts.WithLabelValues(name).Add(float64(len(x.Taken.Doubts)))
		for _, doubt := range x.Taken.Doubts {
			s.Log.Debug("passed over", "channel", name, "doubt", doubt)
		}
		if err != nil {
			return err
		}
		if x.Why != nil {
			told.Do(func() {
				s.Log.Warn("a request was refused", "channel", name, "status", x.Response.Status, "why", fmt.Sprintf("%.300s", x.Why))
			})
		}
		if x.Outcome == Late {
			s.Log.Warn("a turn took too long; its session was ended", "channel", name)
		}
		for header, v := range x.Response.Headers {
			c.Set(header, v)
		}
		return c.Status(x.Response.Status).Send(x.Response.Body)
	}
}

func (s *server) exchange(c *fiber.Ctx, ch *webhook.Shape, r Receiver, now time.Time) (Exchange, error) {
	if c.Get(fiber.HeaderContentEncoding) != "" {
		return Exchange{}, fiber.NewError(http.StatusUnsupportedMediaType, "send the body as it is, without Content-Encoding")
	}
	req, err := copyRequest(c, now)
	if err != nil {
		return Exchange{}, fiber.NewError(http.StatusBadRequest, err.Error())
	}
	return Handle(context.Background(), ch, r, req)
}

// counter counts on the way what is not answered, and delivery reports.
type counter struct {
	Receiver
	metrics metrics
	channel string
}

func (c counter) Receive(ctx context.Context, in gateway.Inbound) (gateway.Shown, error) {
	shown, err := c.Receiver.Receive(ctx, in)
	if shown.Silenced != "" {
		c.metrics.silenced.WithLabelValues(c.channel, shown.Silenced).Inc()
	}
	return shown, err
}

func (c counter) Report(ctx context.Context, r gateway.Report) error {
	state := "unexplained"
	if r.State != 0 {
		state = r.State.String()
	}
	err := c.Receiver.Report(ctx, r)
	switch {
	case errors.Is(err, gateway.ErrNotFound):
		state = "stray"
	case err != nil:
		return err
	}
	c.metrics.reports.WithLabelValues(c.channel, state).Inc()
	return err
}

// ready says whether texts can be taken in. A channel that cannot send is told
// in the body and is no reason to send gateways away: what people write would
// be lost, and what is due to them waits.
func (s *server) ready(c *fiber.Ctx) error {
	if err := s.Ready(); err != nil {
		return fmt.Errorf("readiness: %w", err)
	}
	body := "ok\n"
	if s.Notes != nil {
		for _, note := range s.Notes() {
			body += note + "\n"
		}
	}
	return c.SendString(body)
}

// failed turns an error into an answer. What a caller did wrong is told in a
// sentence; what went wrong here goes to the log, and the caller hears that it
// should repeat.
func (s *server) failed(c *fiber.Ctx, err error) error {
	var told *fiber.Error
	if !errors.As(err, &told) {
		s.Log.Error("request failed", "path", c.Route().Path, "error", err) // a secret may stand in c.Path
		c.Set(fiber.HeaderRetryAfter, "5")
		told = fiber.NewError(http.StatusServiceUnavailable, "this was not kept for sure; send it again later")
	}
	sentence := told.Message
	switch told.Code {
	case http.StatusRequestEntityTooLarge:
		drain(c.Context().Conn())
		limit := bodyLimit
		if s.Console != nil && atConsole(string(c.Request().Header.RequestURI())) {
			limit = console.UploadLimit
		}
		sentence = fmt.Sprintf("the body is larger than %d KiB", limit>>10)
	case http.StatusRequestHeaderFieldsTooLarge:
		drain(c.Context().Conn())
		sentence = fmt.Sprintf("the headers are larger than %d KiB", headerLimit>>10)
	case http.StatusNotFound:
		sentence = "there is no channel at this address"
	}
	c.Set(fiber.HeaderContentType, fiber.MIMETextPlainCharsetUTF8)
	return c.Status(told.Code).SendString(spoken(sentence))
}

// atConsole reports whether an address is one of the console's.
func atConsole(uri string) bool { return strings.HasPrefix(uri, console.Root+"/") }

// drain reads what a client is still sending, within bounds. Closing a
// connection on unread octets resets it, and the client may never see why.
func drain(conn net.Conn) {
	buf := make([]byte, 16<<10)
	for n := 0; n < 4*console.UploadLimit; {
		if conn.SetReadDeadline(time.Now().Add(100*time.Millisecond)) != nil {
			return
		}
		m, err := conn.Read(buf)
		if n += m; err != nil {
			return
		}
	}
}

func (s *server) panicked(c *fiber.Ctx, e any) {
	s.Log.Error("request panicked", "path", c.Route().Path, "panic", e, "stack", string(debug.Stack()))
}
