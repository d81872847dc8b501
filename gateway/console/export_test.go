package console

import (
	"context"
	"errors"
	"io"
	"net"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A sheet is on its way while it is made. One that breaks off says so, and who
// reads no further ends it.
func TestSheetsAreGivenOutWhileTheyAreMade(t *testing.T) {
	o := newConsole(t)
	read, ended := make(chan struct{}), make(chan error, 1)
	app := newApp()
	o.mountFor(app,
		route{get, "/slow", nobody, func(q *request) error {
			return q.export("slow", []string{"row"}, func(_ context.Context, row func(...string) error) error {
				for i := range 20_000 {
					if i == 10_000 {
						<-read
					}
					if err := row("one of many rows"); err != nil {
						return err
					}
				}
				return nil
			})
		}},
		route{get, "/broken", nobody, func(q *request) error {
			return q.export("broken", []string{"row"}, func(_ context.Context, row func(...string) error) error {
				return errors.Join(row("1"), errors.New("the disk is gone"))
			})
		}},
		route{get, "/panic", nobody, func(q *request) error {
			return q.export("panic", []string{"row"}, func(context.Context, func(...string) error) error { panic("a fault") })
		}},
		route{get, "/endless", nobody, func(q *request) error {
			return q.export("endless", []string{"row"}, func(_ context.Context, row func(...string) error) error {
				for {
					if err := row("one of many rows"); err != nil {
						ended <- err
						return err
					}
				}
			})
		}},
	)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	served := make(chan error, 1)
	go func() { served <- app.Listener(listener) }()
	get := func(path string) io.ReadCloser {
		res, err := http.Get("http://" + listener.Addr().String() + Root + path)
		require.NoError(t, err)
		require.Equal(t, http.StatusOK, res.StatusCode)
		require.Equal(t, sheetKind, res.Header.Get("Content-Type"))
		return res.Body
	}
	slow := get("/slow")
	begin := make([]byte, 100)
	_, err = io.ReadFull(slow, begin)
	require.NoError(t, err)
	require.Contains(t, string(begin), "row\r\none of many rows\r\n", "before the rest is made")
	close(read)
	rest, err := io.ReadAll(slow)
	require.NoError(t, err)
	require.Equal(t, 20_001, strings.Count(string(begin)+string(rest), "\r\n"))
	require.NoError(t, slow.Close())
	for _, path := range []string{"/broken", "/panic"} {
		broken := get(path)
		all, err := io.ReadAll(broken)
		require.NoError(t, err)
		require.True(t, strings.HasSuffix(string(all), "This list is not whole: it broke off here. Ask for it again.\r\n"), path)
		require.NoError(t, broken.Close())
	}
	endless := get("/endless")
	_, err = io.ReadFull(endless, begin)
	require.NoError(t, err)
	require.NoError(t, endless.Close())
	require.Error(t, <-ended)
	require.NoError(t, app.Shutdown())
	require.NoError(t, <-served)
}
