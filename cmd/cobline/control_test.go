package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
)

// switchboard is a listener in memory. A nil connection is one that could not be
// taken.
type switchboard struct {
	calls  chan net.Conn
	closed chan struct{}
}

func (s switchboard) Accept() (net.Conn, error) {
	select {
	case <-s.closed:
		return nil, net.ErrClosed
	case conn := <-s.calls:
		if conn == nil {
			return nil, errors.New("too many open files")
		}
		return conn, nil
	}
}

func (s switchboard) Close() error   { close(s.closed); return nil }
func (s switchboard) Addr() net.Addr { return nil }

func (s switchboard) dial() net.Conn {
	here, there := net.Pipe()
	s.calls <- there
	return here
}

// TestCommandsGoOn: a connection that cannot be taken, as when there are too many
// open files, ends nothing; clients that send nothing, and those that do not read
// their answer, keep no other waiting, and are let go.
func TestCommandsGoOn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := switchboard{make(chan net.Conn), make(chan struct{})}
		c := &controller{log: slog.New(slog.DiscardHandler)}
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan error, 1)
		go func() { ended <- c.run(ctx, s) }()
		s.calls <- nil
		s.calls <- nil
		silent, deaf := s.dial(), s.dial()
		_, err := fmt.Fprintln(deaf, "whatever")
		require.NoError(t, err)

		began := time.Now()
		conn := s.dial()
		_, err = fmt.Fprintln(conn, "sing a song")
		require.NoError(t, err)
		answer, err := io.ReadAll(conn)
		require.NoError(t, err)
		require.Equal(t, "unknown command \"sing\"\n", string(answer))
		require.Equal(t, began, time.Now(), "it waited for somebody else")

		time.Sleep(time.Minute)
		for _, gone := range []net.Conn{silent, deaf} {
			_, err := gone.Write([]byte("x"))
			require.ErrorIs(t, err, io.ErrClosedPipe)
		}
		endless := s.dial() // a command without an end is not kept in memory
		go fmt.Fprint(endless, strings.Repeat("x", 2*maxCommand))
		answer, err = io.ReadAll(endless)
		require.NoError(t, err)
		require.Equal(t, "EOF\n", string(answer))
		cancel()
		require.NoError(t, <-ended)
	})
}
