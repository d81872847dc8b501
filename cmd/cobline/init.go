package main

import (
	"bytes"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"os"
)

type initCommand struct {
	File string `arg:"" optional:"" default:"cobline.toml" help:"Where to write it (default: cobline.toml)."`
}

// placeholderSecret stands in the example for a secret of its own.
var placeholderSecret = []byte("replace-me")

// Run writes the example with fresh secrets, readable by its owner alone.
func (c *initCommand) Run(t *terminal) error {
	f, err := os.OpenFile(c.File, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return advised{fmt.Errorf("%s is there already", c.File), "Name another file, or move that one away: its secrets are in use."}
	}
	if err != nil {
		return err
	}
	text := exampleConfig
	for bytes.Contains(text, placeholderSecret) {
		text = bytes.Replace(text, placeholderSecret, []byte(rand.Text()), 1)
	}
	if _, err := f.Write(text); err != nil {
		return errors.Join(err, f.Close())
	}
	if err := f.Close(); err != nil {
		return err
	}
	fmt.Fprintf(t.out, "Wrote %s. Its secrets are fresh: give them to your gateway, and to nobody else.\nNext: cobline check, then cobline serve.\n", c.File)
	return nil
}
