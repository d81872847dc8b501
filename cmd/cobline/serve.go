package main

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"net"
	"os"
	"os/signal"
	"path/filepath"
	"runtime/debug"
	"slices"
	"syscall"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"golang.org/x/sync/errgroup"

	"cobline/gateway"
	"cobline/gateway/boltstore"
	"cobline/gateway/console"
	"cobline/gateway/outbox"
	"cobline/gateway/register"
	"cobline/gateway/views"
	"cobline/gateway/web"
	"cobline/gateway/webhook"
)

type serveCommand struct {
	Config string `placeholder:"FILE" help:"The configuration (default: cobline.toml if it is there, else a line only this machine reaches)."`
	Listen string `placeholder:"ADDRESS" help:"Listen here instead of where the configuration says."`
	Demo   bool   `help:"Show the console of an invented district with three weeks behind it. Nothing is sent, and all of it is gone at the end."`
}

// storeFile is the file inside the store's directory, viewsFile what is made of
// it for the console.
const storeFile, viewsFile = "cobline.db", "views.db"

// shutdownTime is how long a request may still take when the line is stopped,
// beyond the time of its turn.
const shutdownTime = 2 * time.Second

// Run runs the line until it is told to stop.
func (s *serveCommand) Run(t *terminal) error {
	env := os.Environ()
	if s.Listen != "" {
		env = append(env, "COBLINE_LISTEN="+s.Listen)
	}
	if s.Demo {
		return serveDemo(env, t)
	}
	config, err := Load(s.Config, env)
	if err != nil {
		return advised{err, "`cobline check` tells more; `cobline init` writes a configuration to begin with."}
	}
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(400) // the heap is small and its values live for one text
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	return serve(ctx, config, slog.New(slog.NewTextHandler(t.err, &slog.HandlerOptions{Level: config.logLevel()})))
}

// serve wires the line in the order things depend on each other and takes it
// down in reverse. It is one list on purpose: the order is what matters here.
func serve(ctx context.Context, config Config, log *slog.Logger) (err error) {
	store, err := openStore(config)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	last, err := store.Last(ctx)
	if err != nil {
		return err
	}
	if n := store.Unreadable(); n > 0 {
		log.Error("waiting messages cannot be read and are not sent; they stay in the store", "messages", n)
	}

	metrics := prometheus.NewRegistry()
	metrics.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	watch := gateway.NewWatch(last.Time())
	workers := map[string]*outbox.Worker{}
	poke := func(channel string) { workers[channel].Poke() }
	line, err := newLine(ctx, config, store, watch, poke, log)
	if err != nil {
		return err
	}
	tariffs := config.tariffs()
	notices := gateway.NewNotices(store, line.service)
	metrics.MustRegister(prometheus.NewGaugeFunc(prometheus.GaugeOpts{
		Name: "cobline_notices_unreadable", Help: "Notices this program cannot read, which go no further.",
	}, func() float64 { return float64(notices.Unreadable()) }))
	var deadline time.Duration
	for i, shape := range line.shapes {
		deadline = max(deadline, shape.Deadline())
		if shape.Sends() {
			ch := config.Channel[i]
			policy := ch.Quiet.policy(line.service.Facts)
			policy.Tariff = tariffs[ch.Name]
			policy.Idempotent = ch.Idempotent
			workers[ch.Name] = outbox.New(store, ch.Name, sender(ch, shape, log), outbox.Options{
				Policy: policy, PerSecond: ch.PerSecond, Watch: watch, Log: log, Metrics: metrics, Desk: store, Notices: notices,
			})
		}
	}
	waiting, err := store.Waiting(ctx)
	if err != nil {
		return err
	}
	var lapsing []*outbox.Worker // of channels that were renamed, or lost their out
	for _, name := range slices.Sorted(maps.Keys(waiting)) {
		if workers[name] == nil {
			log.Error("messages wait on a channel that is gone or has no out; they lapse unless it comes back", "channel", name, "messages", waiting[name])
			lapsing = append(lapsing, outbox.New(store, name, nil, outbox.Options{Policy: config.Quiet.policy(line.service.Facts), Watch: watch, Log: log, Metrics: metrics, Notices: notices}))
		}
	}
	hold, err := newHold(ctx, store, metrics, log)
	if err != nil {
		return err
	}
	shown, err := views.Open(filepath.Join(config.Store.Path, viewsFile), store, views.Options{Home: config.Key, Zone: config.zone(), Log: log})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, shown.Close()) }()
	notices.Finds(shown)
	phones, err := config.phones(store, notices, shown)
	if err != nil {
		return err
	}
	weather := config.fetcher(line.knowledge, log, metrics)
	control := &controller{
		config: config, store: store, notices: notices, phones: phones, workers: workers, watch: watch, hold: hold, log: log,
		knowledge: line.knowledge, fetcher: weather,
	}
	commands, err := control.listen()
	if err != nil {
		return err
	}
	if commands != nil {
		defer commands.Close()
	}
	spending := outbox.NewSpending(store, tariffs, watch, log, metrics)
	loops, running := errgroup.WithContext(ctx)
	metrics.MustRegister(prometheus.NewGaugeFunc(prometheus.GaugeOpts{
		Name: "cobline_views_behind_seconds", Help: "How much older the newest entry the console knows is than the newest there is.",
	}, func() float64 { return shown.Progress().Behind.Seconds() }))
	lists := register.NewImporter(store, line.service, log)
	office, err := newOffice(ctx, config, store, line, console.Options{AuditFor: config.auditFor(), Views: shown, Register: lists, Notices: notices, Practice: practice(config, line), Weather: weather, Forms: config.forms(), Log: log})
	if err != nil {
		return err
	}
	app, err := web.New(web.Options{
		Channels: line.shapes,
		Receiver: line.service,
		Ready:    func() error { return errors.Join(running.Err(), store.Err()) },
		Notes:    control.notes,
		Metrics:  metrics,
		Log:      log,

		Console: office, Proxies: config.Console.Proxies, ProxyHeader: config.Console.Header,
	})
	if err != nil {
		return err
	}
	listener, err := config.listen()
	if err != nil {
		return advised{fmt.Errorf("listen: %w", err), "Is another line running? Choose another port with --listen 127.0.0.1:8081."}
	}
	log.Info("serving", "address", listener.Addr().String(), "channels", len(line.shapes), "store", config.Store.Path)

	loops.Go(func() error { return app.Listener(listener) })
	loops.Go(func() error { return watchStore(running, store) })
	loops.Go(func() error { return control.run(running, commands) })
	loops.Go(func() error { return spending.Run(running) })
	loops.Go(func() error { return weather.Run(running) })
	loops.Go(func() error { return shown.Run(running) })
	loops.Go(func() error { return gateway.RunAudit(running, store, watch, config.auditFor()) })
	if office != nil {
		loops.Go(func() error { return office.Run(running) })
	}
	sends := []func(context.Context) error{
		func(ctx context.Context) error { return gateway.RunAlarms(ctx, store, line.service) },
		func(ctx context.Context) error { return lists.Run(ctx, time.Now) },
		notices.Run,
	}
	for _, w := range append(slices.Collect(maps.Values(workers)), lapsing...) {
		sends = append(sends, w.Run)
	}
	for _, run := range sends {
		loops.Go(func() error { return hold.then(running, run) })
	}
	<-running.Done()
	log.Info("stopping")
	err = app.ShutdownWithTimeout(deadline + shutdownTime)
	if closing := listener.Close(); !errors.Is(closing, net.ErrClosed) { // it is open still if the server had not begun
		err = errors.Join(err, closing)
	}
	return errors.Join(err, loops.Wait())
}

// newOffice returns the officers' console; none if it is off. Others reach a line
// only when somebody can sign in to it.
func newOffice(ctx context.Context, config Config, store *boltstore.Store, line *line, o console.Options) (*console.Console, error) {
	if config.Console.Off {
		return nil, nil
	}
	accounts, err := console.NewAccounts(store)
	if err != nil {
		return nil, err
	}
	all, err := accounts.List(ctx)
	if err != nil {
		return nil, err
	}
	if !slices.ContainsFunc(all, func(a console.Account) bool { return !a.Disabled }) {
		if !config.loopback() {
			return nil, advised{
				fmt.Errorf("the line listens on %s, which others can reach, and nobody has an account for its console", config.Listen),
				"`cobline officer add NAME --role administrator` makes one; [console] off = true serves no pages.",
			}
		}
		o.Log.Info("nobody has an account for the console yet; make one with cobline officer add NAME --role administrator")
	}
	o.Desk, o.Accounts, o.Secure = store, accounts, config.secure()
	o.Service, o.Facts, o.Catalog, o.Reviewers, o.Country = line.service, line.service.Facts, line.catalog, config.Reviewers, config.Country
	o.People, o.Knowledge = store, line.knowledge
	return console.New(o)
}

// listen opens the address of the line, over TLS if it has a certificate.
func (c Config) listen() (net.Listener, error) {
	if c.Console.Certificate == "" {
		return net.Listen("tcp", c.Listen)
	}
	pair, err := tls.LoadX509KeyPair(c.Console.Certificate, c.Console.Key)
	if err != nil {
		return nil, fmt.Errorf("read the certificate: %w", err)
	}
	return tls.Listen("tcp", c.Listen, &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12})
}

// sender returns what sends the messages of a channel.
func sender(c ChannelConfig, shape *webhook.Shape, log *slog.Logger) outbox.Sender {
	if c.Out.Dry {
		return rehearsal{shape, log}
	}
	return shape
}

// rehearsal prepares every message and tells of it in the log in place of sending
// it.
type rehearsal struct {
	*webhook.Shape
	log *slog.Logger
}

// Submit tells of a message; of its text only whoever asked for that. A text may
// hold a number: that of who called for help.
func (r rehearsal) Submit(ctx context.Context, o gateway.Outbound) (string, error) {
	id, err := r.Shape.Submit(ctx, o)
	if err == nil {
		r.log.Info("not sent: the channel is dry", "channel", r.Name(), "to", o.To, "from", o.From, "ref", o.Ref, "segments", o.Segments)
		r.log.Debug("text of a message not sent", "ref", o.Ref, "text", gateway.Mask(o.Text))
	}
	return id, err
}

// openStore opens the store of a configuration.
func openStore(config Config) (*boltstore.Store, error) {
	if err := os.MkdirAll(config.Store.Path, 0o700); err != nil {
		return nil, fmt.Errorf("make the store's directory: %w", err)
	}
	return boltstore.Open(filepath.Join(config.Store.Path, storeFile), boltstore.Options{Zone: config.zone()})
}

// watchStore ends the line when its store can no longer be trusted: after a
// write that failed nobody knows what is on the disk.
func watchStore(ctx context.Context, store *boltstore.Store) error {
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
			if err := store.Err(); err != nil {
				return err
			}
		}
	}
}
