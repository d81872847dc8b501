package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"cobline/gateway/boltstore"
)

type storeCommand struct {
	Backup  backupCommand  `cmd:"" help:"Copy the store to a file, also while the line runs."`
	Restore restoreCommand `cmd:"" help:"Put a copy in the place of the store. The line must not run. It sends nothing then until you confirm."`
	Confirm confirmCommand `cmd:"" help:"Show what stands in a restored store, and with --yes let the line send again."`
	Compact compactCommand `cmd:"" help:"Give back the space, and remove the traces, of what was deleted. The line must not run. views.db beside the store is not needed: the line makes it anew."`
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
	_, err = ask(config, "backup", file)
	if errors.Is(err, errNoLine) {
		var store *boltstore.Store
		if store, err = openStore(config); err != nil {
			return err
		}
		err = errors.Join(backup(context.Background(), store, file), store.Close())
	}
	if err != nil {
		return err
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
	if err == nil {
		err = boltstore.Mark(file)
	}
	if err != nil {
		err = errors.Join(err, os.Remove(file))
	}
	return err
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
