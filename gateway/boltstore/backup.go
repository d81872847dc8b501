package boltstore

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	bolt "go.etcd.io/bbolt"
)

// Backup writes a copy of the store as it is at one moment, while it is in use.
// The writer should be a local file: a slow one makes the store grow meanwhile.
func (s *Store) Backup(ctx context.Context, w io.Writer) error {
	return s.view(ctx, func(tx *bolt.Tx) error {
		_, err := tx.WriteTo(w)
		return err
	})
}

// compactBatch is how many octets one transaction of a compaction copies.
const compactBatch = 16 << 20

// Compact copies the store at from, which no process may have open, to a new
// file without the space and the traces of what was deleted.
func Compact(from, to string) (err error) {
	src, err := bolt.Open(from, 0o600, &bolt.Options{ReadOnly: true, Timeout: 2 * time.Second})
	if err != nil {
		return fmt.Errorf("open store %s: %w", from, err)
	}
	defer func() { err = errors.Join(err, src.Close()) }()
	dst, err := bolt.Open(to, 0o600, &bolt.Options{NoFreelistSync: true, FreelistType: bolt.FreelistMapType})
	if err != nil {
		return fmt.Errorf("create store %s: %w", to, err)
	}
	defer func() { err = errors.Join(err, dst.Close()) }()
	if err := bolt.Compact(dst, src, compactBatch); err != nil {
		return fmt.Errorf("compact %s: %w", from, err)
	}
	return nil
}
