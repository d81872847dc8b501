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
	"strings"
	"time"

	"github.com/gofiber/fiber/v2"
	"github.com/gofiber/fiber/v2/middleware/adaptor"
	"github.com/gofiber/fiber/v2/middleware/recover"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"cobline/gateway"
	"cobline/gateway/webhook"
)

// The limits of a request. A text message with all that gateways add to it is a
// few kilobytes; proxies add headers of their own.
const (
	bodyLimit   = 64 << 10
	headerLimit = 16 << 10
	readTimeout = 10 * time.Second
	idleTimeout = 60 * time.Second

	// deadline bounds a turn. Gateways wait 5 to 30 seconds and then repeat.
	deadline = 8 * time.Second
)

// Receiver takes a message in. It returns after the turn is durable.
type Receiver interface {
	Receive(ctx context.Context, in gateway.Inbound) (gateway.Shown, error)
}

// Options are what a server is made of.
type Options struct {
	Channels []*webhook.Shape
	Receiver Receiver
	Ready    func() error // why the line cannot work at present, or nil
	Metrics  *prometheus.Registry
	Log      *slog.Logger
}

// New returns the server. The caller gives it a listener and shuts it down.
func New(o Options) (*fiber.App, error) {
	s := &server{Options: o, metrics: newMetrics(o.Metrics)}
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
		ErrorHandler:                 s.failed,
	})
	app.Use(recover.New(recover.Config{EnableStackTrace: true, StackTraceHandler: s.panicked}))
	seen := map[string]string{}
	for _, ch := range o.Channels {
		if other, ok := seen[ch.Path()]; ok {
			return nil, fmt.Errorf("channels %s and %s have the same path %s", other, ch.Name(), ch.Path())
		}
		seen[ch.Path()] = ch.Name()
		app.Post(ch.Path(), s.inbound(ch))
	}
	app.Get("/healthz", func(c *fiber.Ctx) error { return c.SendString("ok\n") })
	app.Get("/readyz", s.ready)
	app.Get("/metrics", adaptor.HTTPHandler(promhttp.HandlerFor(o.Metrics, promhttp.HandlerOpts{})))
	return app, nil
}

type server struct {
	Options
	metrics metrics
}

// inbound answers a channel's gateway. It acknowledges what is durable, and
// nothing else.
func (s *server) inbound(ch *webhook.Shape) fiber.Handler {
	return func(c *fiber.Ctx) error {
		start := time.Now()
		err := s.receive(c, ch, start)
		s.metrics.observe(ch.Name(), outcome(err), time.Since(start))
		return err
	}
}

func (s *server) receive(c *fiber.Ctx, ch *webhook.Shape, now time.Time) error {
	if c.Get(fiber.HeaderContentEncoding) != "" {
		return fiber.NewError(http.StatusUnsupportedMediaType, "send the body as it is, without Content-Encoding")
	}
	req, err := copyRequest(c, now)
	if err != nil {
		return fiber.NewError(http.StatusBadRequest, err.Error())
	}
	if err := ch.Check(req); err != nil {
		return fiber.NewError(http.StatusUnauthorized, err.Error())
	}
	in, err := ch.Read(req)
	if err != nil {
		return fiber.NewError(http.StatusBadRequest, err.Error())
	}
	ctx, cancel := context.WithTimeout(context.Background(), deadline)
	defer cancel()
	shown, err := s.Receiver.Receive(ctx, in)
	if err != nil {
		return fmt.Errorf("receive on %s: %w", ch.Name(), err)
	}
	res, err := ch.Answer(shown)
	if err != nil {
		return fmt.Errorf("answer on %s: %w", ch.Name(), err)
	}
	for name, v := range res.Headers {
		c.Set(name, v)
	}
	return c.Status(res.Status).Send(res.Body)
}

func (s *server) ready(c *fiber.Ctx) error {
	if err := s.Ready(); err != nil {
		return fmt.Errorf("readiness: %w", err)
	}
	return c.SendString("ok\n")
}

// failed turns an error into an answer. What a caller did wrong is told in a
// sentence; what went wrong here goes to the log, and the caller hears that it
// should repeat.
func (s *server) failed(c *fiber.Ctx, err error) error {
	var told *fiber.Error
	if !errors.As(err, &told) {
		s.Log.Error("request failed", "path", c.Path(), "error", err)
		c.Set(fiber.HeaderRetryAfter, "5")
		told = fiber.NewError(http.StatusServiceUnavailable, "this was not kept for sure; send it again later")
	}
	sentence := told.Message
	switch told.Code {
	case http.StatusRequestEntityTooLarge:
		drain(c.Context().Conn())
		sentence = fmt.Sprintf("the body is larger than %d KiB", bodyLimit>>10)
	case http.StatusRequestHeaderFieldsTooLarge:
		drain(c.Context().Conn())
		sentence = fmt.Sprintf("the headers are larger than %d KiB", headerLimit>>10)
	case http.StatusNotFound:
		sentence = "there is no channel at this address"
	}
	c.Set(fiber.HeaderContentType, fiber.MIMETextPlainCharsetUTF8)
	return c.Status(told.Code).SendString(strings.ToUpper(sentence[:1]) + sentence[1:] + ".\n")
}

// drain reads what a client is still sending, within bounds. Closing a
// connection on unread octets resets it, and the client may never see why.
func drain(conn net.Conn) {
	buf := make([]byte, 16<<10)
	for n := 0; n < 16*bodyLimit; {
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
	s.Log.Error("request panicked", "path", c.Path(), "panic", e, "stack", string(debug.Stack()))
}
