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
)

// Receiver takes in what gateways bring. Its methods return after what they
// changed is durable.
type Receiver interface {
	Receive(ctx context.Context, in gateway.Inbound) (gateway.Shown, error)
	// Report returns gateway.ErrNotFound for a message that nobody knows.
	Report(ctx context.Context, r gateway.Report) error
}

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
	return func(c *fiber.Ctx) error {
		start := time.Now()
		outcome, err := s.take(c, ch, start)
		if err != nil {
			outcome = outcomeOf(err)
		}
		s.metrics.observe(ch.Name(), outcome, time.Since(start))
		return err
	}
}

// take lets everything a request brings be answered, and answers the request.
func (s *server) take(c *fiber.Ctx, ch *webhook.Shape, now time.Time) (outcome string, err error) {
	if c.Get(fiber.HeaderContentEncoding) != "" {
		return "", fiber.NewError(http.StatusUnsupportedMediaType, "send the body as it is, without Content-Encoding")
	}
	req, err := copyRequest(c, now)
	if err != nil {
		return "", fiber.NewError(http.StatusBadRequest, err.Error())
	}
	if err := ch.Check(req); err != nil {
		if challenge := ch.Challenge(req); challenge != "" {
			c.Set(fiber.HeaderWWWAuthenticate, challenge)
		}
		return "", fiber.NewError(http.StatusUnauthorized, err.Error())
	}
	taken, err := ch.Take(req)
	if err != nil {
		res, ok, failure := ch.Reject(err)
		if !ok && failure == nil {
			return "", fiber.NewError(http.StatusBadRequest, err.Error())
		}
		return malformed, s.send(c, ch, res, failure)
	}
	for _, doubt := range taken.Doubts {
		s.metrics.doubts.WithLabelValues(ch.Name()).Inc()
		s.Log.Debug("passed over", "channel", ch.Name(), "doubt", doubt)
	}
	ctx, cancel := context.WithTimeout(context.Background(), ch.Deadline())
	defer cancel()
	shown, err := s.turns(ctx, ch, taken)
	if errors.Is(err, context.DeadlineExceeded) && len(taken.Messages) == 1 {
		if res, ok, failure := ch.TooLate(taken.Messages[0]); ok || failure != nil {
			s.Log.Warn("a turn took too long; its session was ended", "channel", ch.Name())
			return late, s.send(c, ch, res, failure)
		}
	}
	if err != nil {
		return "", fmt.Errorf("receive on %s: %w", ch.Name(), err)
	}
	var res webhook.Response
	switch n := len(taken.Messages); {
	case n == 0 && len(taken.Reports) > 0:
		res, err = ch.Acknowledge()
	case n == 1:
		res, err = ch.Respond(taken.Messages[0], shown, shown.Again)
	default:
		res, err = ch.Respond(gateway.Inbound{}, gateway.Shown{}, false)
	}
	return answered, s.send(c, ch, res, err)
}

// turns lets what a request brought be answered, and waits no longer than the
// gateway does: what goes on after that is found by the same message again. It
// returns what is shown to the last message. One that fails keeps no other from
// being answered.
func (s *server) turns(ctx context.Context, ch *webhook.Shape, taken webhook.Taken) (gateway.Shown, error) {
	type result struct {
		shown gateway.Shown
		err   error
	}
	done := make(chan result, 1)
	go func() {
		var r result
		defer func() {
			if p := recover(); p != nil {
				r.err = errors.Join(r.err, fmt.Errorf("panic: %v\n%s", p, debug.Stack()))
			}
			done <- r
		}()
		for _, in := range taken.Messages {
			var err error
			r.shown, err = s.Receiver.Receive(ctx, in)
			r.err = errors.Join(r.err, err)
		}
		for _, report := range taken.Reports {
			r.err = errors.Join(r.err, s.report(ctx, ch, report))
		}
	}()
	select {
	case r := <-done:
		return r.shown, r.err
	case <-ctx.Done():
		return gateway.Shown{}, ctx.Err()
	}
}

// report notes a delivery report. One about a message that nobody knows is
// counted alone: told of it, a gateway would bring it again for days.
func (s *server) report(ctx context.Context, ch *webhook.Shape, r gateway.Report) error {
	state := "unexplained"
	if r.State != 0 {
		state = r.State.String()
	}
	err := s.Receiver.Report(ctx, r)
	if errors.Is(err, gateway.ErrNotFound) {
		state, err = "stray", nil
	}
	if err == nil {
		s.metrics.reports.WithLabelValues(ch.Name(), state).Inc()
	}
	return err
}

// send answers a request.
func (s *server) send(c *fiber.Ctx, ch *webhook.Shape, res webhook.Response, err error) error {
	if err != nil {
		return fmt.Errorf("answer on %s: %w", ch.Name(), err)
	}
	for name, v := range res.Headers {
		c.Set(name, v)
	}
	return c.Status(res.Status).Send(res.Body)
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
	s.Log.Error("request panicked", "path", c.Route().Path, "panic", e, "stack", string(debug.Stack()))
}
