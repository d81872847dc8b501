package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strings"
	"time"

	"cobline/gateway/boltstore"
)

type storeCommand struct {
	Backup  backupCommand  `cmd:"" help:"Copy the store to a file, also while the line runs."`
	Compact compactCommand `cmd:"" help:"Give back the space, and remove the traces, of what was deleted. The line must not run."`
}

type backupCommand struct {
	File   string `arg:"" help:"The file to write. It must not exist."`
	Config string `placeholder:"FILE" help:"The configuration (default: cobline.toml if it is there)."`
}

// Run copies the store, or asks the running line to.
func (b *backupCommand) Run(t *terminal) error {
	config, err := Load(b.Config, os.Environ())
	if err != nil {
		return err
	}
	file, err := filepath.Abs(b.File)
	if err != nil {
		return err
	}
	conn, err := net.Dial("unix", controlSocket(config))
	if err != nil { // no line is running
		store, err := openStore(config)
		if err != nil {
			return err
		}
		if err := errors.Join(backup(context.Background(), store, file), store.Close()); err != nil {
			return err
		}
	} else {
		defer conn.Close()
		fmt.Fprintln(conn, file)
		if answer, err := bufio.NewReader(conn).ReadString('\n'); err != nil || answer != "ok\n" {
			return fmt.Errorf("the line answered %q", strings.TrimSpace(answer))
		}
	}
	fmt.Fprintf(t.out, "The store is copied to %s.\n", b.File)
	return nil
}

// backup writes a copy that is whole or not there.
func backup(ctx context.Context, store *boltstore.Store, file string) (err error) {
	f, err := os.OpenFile(file, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	err = errors.Join(store.Backup(ctx, f), f.Sync(), f.Close())
	if err != nil {
		err = errors.Join(err, os.Remove(file))
	}
	return err
}

// controlSocket is where a running line can be asked for a copy of its store.
// Whoever may enter the store's directory may ask.
func controlSocket(c Config) string { return filepath.Join(c.Store.Path, "control.sock") }

// control answers the control socket until the context ends: a line is the name
// of a file to copy the store to.
func control(ctx context.Context, socket string, store *boltstore.Store, log *slog.Logger) error {
	// What a crash has left is removed; the store's lock keeps other lines away.
	if err := os.Remove(socket); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("remove an old socket: %w", err)
	}
	l, err := net.Listen("unix", socket)
	if err != nil { // such as a path that is too long: no reason not to serve
		log.Warn("no copies of the store while the line runs", "error", err)
		return nil
	}
	stop := context.AfterFunc(ctx, func() { l.Close() })
	defer stop()
	for {
		conn, err := l.Accept()
		if ctx.Err() != nil {
			return nil
		}
		if err != nil {
			return fmt.Errorf("listen for commands: %w", err)
		}
		answer := "ok"
		if err := command(ctx, conn, store); err != nil {
			answer = err.Error()
		}
		fmt.Fprintln(conn, answer)
		conn.Close()
	}
}

// command does what one line of a connection says.
func command(ctx context.Context, conn net.Conn, store *boltstore.Store) error {
	if err := conn.SetReadDeadline(time.Now().Add(5 * time.Second)); err != nil {
		return err
	}
	file, err := bufio.NewReader(conn).ReadString('\n')
	if err != nil {
		return err
	}
	return backup(ctx, store, strings.TrimSuffix(file, "\n"))
}

type compactCommand struct {
	Config string `placeholder:"FILE" help:"The configuration (default: cobline.toml if it is there)."`
}

// Run replaces the store by a copy without what was deleted.
func (c *compactCommand) Run(t *terminal) error {
	config, err := Load(c.Config, os.Environ())
	if err != nil {
		return err
	}
	file := filepath.Join(config.Store.Path, storeFile)
	before, err := os.Stat(file)
	if err != nil {
		return err
	}
	store, err := openStore(config) // says so if a line has it
	if err != nil {
		return err
	}
	if err := store.Close(); err != nil {
		return err
	}
	compacted := file + ".compact"
	if err := boltstore.Compact(file, compacted); err != nil {
		return errors.Join(err, os.RemoveAll(compacted)) // which may not be there yet
	}
	if err := os.Rename(compacted, file); err != nil {
		return err
	}
	after, err := os.Stat(file)
	if err != nil {
		return err
	}
	fmt.Fprintf(t.out, "%s: %d KiB, before %d KiB.\n", file, after.Size()>>10, before.Size()>>10)
	return nil
}
