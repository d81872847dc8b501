package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"cobline/gateway"
	"cobline/gateway/boltstore"
	"cobline/gateway/forecast"
	"cobline/gateway/outbox"
)

// controlSocket is where a running line takes commands. Whoever may enter the
// store's directory may give them.
func controlSocket(c Config) string { return filepath.Join(c.Store.Path, "control.sock") }

// errNoLine says that no line is running.
var errNoLine = errors.New("no line is running")

// ask gives a command to the running line and returns what it answers. The error
// is errNoLine if there is none.
func ask(c Config, command, argument string) ([]byte, error) {
	conn, err := net.Dial("unix", controlSocket(c))
	if err != nil {
		return nil, errNoLine
	}
	defer conn.Close()
	if _, err := fmt.Fprintf(conn, "%s %s\n", command, argument); err != nil {
		return nil, fmt.Errorf("ask the line: %w", err)
	}
	answer, err := io.ReadAll(conn)
	if err != nil {
		return nil, fmt.Errorf("ask the line: %w", err)
	}
	status, rest, _ := bytes.Cut(answer, []byte("\n"))
	if string(status) != "ok" {
		return nil, fmt.Errorf("the line answered: %s", status)
	}
	return rest, nil
}

// controller does what commands ask of a running line.
type controller struct {
	config    Config
	store     *boltstore.Store
	notices   *gateway.Notices
	phones    *gateway.Office
	knowledge *gateway.Knowledge
	fetcher   *forecast.Fetcher
	workers   map[string]*outbox.Worker
	watch     *gateway.Watch
	hold      *hold
	log       *slog.Logger
}

// listen opens the control socket, before the line says that it is ready. There
// may be none.
func (c *controller) listen() (net.Listener, error) {
	socket := controlSocket(c.config)
	// What a crash has left is removed; the store's lock keeps other lines away.
	if err := os.Remove(socket); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("remove an old socket: %w", err)
	}
	l, err := net.Listen("unix", socket)
	if err != nil { // such as a path that is too long: no reason not to serve
		c.log.Warn("no commands while the line runs, such as copies of the store", "error", err)
		return nil, nil
	}
	return l, nil
}

// The bounds of a command. Whoever asks sends one line at once and reads the
// answer; one that does neither must not keep the others waiting.
const (
	commandTime  = 5 * time.Second  // to send it
	answerTime   = 10 * time.Second // to read the answer
	maxCommand   = 1 << 20          // octets
	commandsOnce = 16               // at a time
	acceptPause  = 100 * time.Millisecond
)

// run answers the control socket until the context ends. A command is a line: a
// word, a blank and its argument. The answer is a line, "ok" or what went wrong,
// and what was asked for. A connection that cannot be taken, for want of files
// perhaps, is no reason to end the line.
func (c *controller) run(ctx context.Context, l net.Listener) error {
	if l == nil {
		return nil
	}
	stop := context.AfterFunc(ctx, func() { l.Close() })
	defer stop()
	var under sync.WaitGroup
	defer under.Wait()
	places := make(chan struct{}, commandsOnce)
	for {
		conn, err := l.Accept()
		if ctx.Err() != nil {
			if err == nil {
				conn.Close()
			}
			return nil
		}
		if err != nil {
			c.log.Error("a command was not taken", "error", err)
			select {
			case <-ctx.Done():
			case <-time.After(acceptPause):
			}
			continue
		}
		places <- struct{}{}
		under.Go(func() {
			defer func() { <-places }()
			defer conn.Close()
			stop := context.AfterFunc(ctx, func() { conn.SetReadDeadline(time.Now()) }) // nobody else is asked for a command now
			defer stop()
			c.answer(ctx, conn)
		})
	}
}

func (c *controller) answer(ctx context.Context, conn net.Conn) {
	out, err := c.obey(ctx, conn)
	answer := append([]byte("ok\n"), out...)
	if err != nil {
		answer = []byte(strings.ReplaceAll(err.Error(), "\n", "; ") + "\n")
	}
	err = conn.SetWriteDeadline(time.Now().Add(answerTime))
	if err == nil {
		_, err = conn.Write(answer)
	}
	if err != nil { // whoever asked has gone, or does not read
		c.log.Warn("the answer to a command was not read", "error", err)
	}
}

// obey does what one line of a connection says.
func (c *controller) obey(ctx context.Context, conn net.Conn) ([]byte, error) {
	if err := conn.SetReadDeadline(time.Now().Add(commandTime)); err != nil {
		return nil, err
	}
	line, err := bufio.NewReader(io.LimitReader(conn, maxCommand)).ReadString('\n')
	if err != nil {
		return nil, err
	}
	command, argument, _ := strings.Cut(strings.TrimSuffix(line, "\n"), " ")
	return c.do(ctx, command, argument)
}

// do does what a command asks for.
func (c *controller) do(ctx context.Context, command, argument string) ([]byte, error) {
	if what, ok := strings.CutPrefix(command, "notice-"); ok {
		return inJSON(c.notice(ctx, what, argument))
	}
	if what, ok := strings.CutPrefix(command, "officer-"); ok {
		return inJSON(c.officer(ctx, what, argument))
	}
	if what, ok := strings.CutPrefix(command, "phone-"); ok {
		return inJSON(c.phone(ctx, what, argument))
	}
	if what, ok := strings.CutPrefix(command, "forecast-"); ok {
		return inJSON(c.forecast(ctx, what, argument))
	}
	switch command {
	case "restored":
		return c.restored(ctx, argument == "yes")
	case "backup":
		return nil, backup(ctx, c.store, argument)
	case "channels":
		return c.channels(ctx)
	case "resume":
		return nil, c.resume(argument)
	}
	return nil, fmt.Errorf("unknown command %q", command)
}

// inJSON returns an answer as JSON.
func inJSON[T any](answer T, err error) ([]byte, error) {
	if err != nil {
		return nil, err
	}
	return json.Marshal(answer)
}
