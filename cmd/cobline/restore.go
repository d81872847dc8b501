package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"cobline/gateway"
	"cobline/gateway/boltstore"
)

type restoreCommand struct {
	File   string `arg:"" help:"The copy, as \"cobline store backup\" wrote it."`
	Force  bool   `help:"Also if there is a store. It is moved aside, not deleted."`
	Config string `placeholder:"FILE" help:"The configuration (default: cobline.toml if it is there)."`
}

// Run puts a copy in the place of the store.
func (r *restoreCommand) Run(t *terminal) error {
	config, err := Load(r.Config, os.Environ())
	if err != nil {
		return err
	}
	if err := os.MkdirAll(config.Store.Path, 0o700); err != nil {
		return fmt.Errorf("make the store's directory: %w", err)
	}
	path := filepath.Join(config.Store.Path, storeFile)
	_, missing := os.Stat(path)
	switch err := boltstore.Restore(r.File, path, r.Force); {
	case errors.Is(err, boltstore.ErrStoreExists):
		return advised{err, "With --force it is moved aside to " + path + boltstore.Replaced + "."}
	case err != nil:
		return err
	}
	fmt.Fprintf(t.out, "%s is restored to %s.\n", r.File, path)
	if missing == nil {
		fmt.Fprintf(t.out, "What was there is kept as %s%s; delete it when you need it no more.\n", path, boltstore.Replaced)
	}
	if _, err := os.Stat(path + ".optouts"); errors.Is(err, fs.ErrNotExist) {
		fmt.Fprintf(t.out, "There is no %s.optouts: who has said STOP since the copy was made is not known. If you have it and its key, put both there before the line runs.\n", path)
	}
	fmt.Fprintln(t.out, "The line sends nothing until you have seen `cobline store confirm`.")
	return nil
}

type confirmCommand struct {
	Yes    bool   `help:"Drop what is stale and let the line send."`
	JSON   bool   `help:"Print JSON."`
	Config string `placeholder:"FILE" help:"The configuration (default: cobline.toml if it is there)."`
}

// restoredState is what stands in a restored store, as scripts read it.
type restoredState struct {
	Held bool `json:"held"`
	gateway.Restored
}

// Run shows what stands in a restored store, or lets the line send.
func (c *confirmCommand) Run(t *terminal) error {
	config, err := Load(c.Config, os.Environ())
	if err != nil {
		return err
	}
	argument := "show"
	if c.Yes {
		argument = "yes"
	}
	var s restoredState
	if _, err := order(config, "restored", argument, &s); err != nil {
		return err
	}
	switch {
	case c.JSON:
		return printJSON(t.out, s)
	case s.Since.IsZero():
		fmt.Fprintln(t.out, "Nothing is held: the store is no copy, or was confirmed.")
		return nil
	}
	fmt.Fprintf(t.out, "A copy took the place of the store on %s. What was sent after it was made is not known.\n", s.Since.In(config.zone()).Format(minuteLayout))
	fmt.Fprintf(t.out, "Came due before, and is dropped: %d.\n", len(s.Stale))
	for _, a := range s.Stale {
		fmt.Fprintf(t.out, "  %s  %s  %s\n", a.At.In(config.zone()).Format(minuteLayout), a.Number, a.What)
	}
	fmt.Fprintf(t.out, "Waits and is sent, unless its time is over: %s.\n", counts(s.Waiting))
	fmt.Fprintf(t.out, "Of notices, not sent and counted unknown: %d.\n", s.Bulletins)
	for _, id := range s.Notices {
		fmt.Fprintf(t.out, "  notice %s goes no further\n", id)
	}
	if s.Held {
		fmt.Fprintln(t.out, "Nothing is sent yet. Run `cobline store confirm --yes`.")
	} else {
		fmt.Fprintln(t.out, "Confirmed: the line sends.")
	}
	return nil
}

// restored tells what stands in a restored store. With yes it is cleared, and
// sending goes on.
func (c *controller) restored(ctx context.Context, yes bool) ([]byte, error) {
	since, held, err := c.store.Unconfirmed(ctx, time.Now())
	if err != nil || !held {
		return []byte("{}"), err
	}
	s := restoredState{Held: !yes}
	if s.Restored, err = c.notices.AfterRestore(ctx, c.store, since); err != nil {
		return nil, err
	}
	if yes {
		if err := c.notices.Confirm(ctx, c.store, s.Restored, time.Now()); err != nil {
			return nil, err
		}
		if err := c.store.Confirm(ctx); err != nil {
			return nil, err
		}
		c.hold.end()
	}
	return json.Marshal(s)
}

// hold keeps everything that sends from running until somebody has confirmed a
// restored store. The zero hold keeps nothing.
type hold struct {
	once  sync.Once
	ended chan struct{} // closed when it is over; nil if there was none
	gauge prometheus.Gauge
	log   *slog.Logger
}

// newHold returns the hold of a store: of one that is no copy, none.
func newHold(ctx context.Context, store *boltstore.Store, metrics prometheus.Registerer, log *slog.Logger) (*hold, error) {
	h := &hold{log: log, gauge: prometheus.NewGauge(prometheus.GaugeOpts{
		Name: "cobline_sending_held", Help: "1 while nothing is sent because a restored store is not confirmed.",
	})}
	metrics.MustRegister(h.gauge)
	since, held, err := store.Unconfirmed(ctx, time.Now())
	if err != nil || !held {
		return h, err
	}
	h.ended = make(chan struct{})
	h.gauge.Set(1)
	log.Error("sending is held: the store is a copy that nobody has confirmed; see `cobline store confirm`", "since", since)
	return h, nil
}

// on reports whether nothing may be sent.
func (h *hold) on() bool {
	if h.ended == nil {
		return false
	}
	select {
	case <-h.ended:
		return false
	default:
		return true
	}
}

// end ends the hold.
func (h *hold) end() {
	if h.ended == nil {
		return
	}
	h.once.Do(func() {
		close(h.ended)
		h.gauge.Set(0)
		h.log.Info("sending goes on: the restored store is confirmed")
	})
}

// then runs what sends when the hold is over, until the context ends.
func (h *hold) then(ctx context.Context, run func(context.Context) error) error {
	if h.ended != nil {
		select {
		case <-ctx.Done():
			return nil
		case <-h.ended:
		}
	}
	return run(ctx)
}
