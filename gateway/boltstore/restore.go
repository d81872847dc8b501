package boltstore

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"runtime/debug"
	"time"

	bolt "go.etcd.io/bbolt"
	bolterrors "go.etcd.io/bbolt/errors"

	"cobline/gateway"
)

// metaCopy marks a file as a copy of a store. A copy that takes the place of the
// store is behind what was sent since: whoever serves it must not send before a
// person has confirmed it. Its value is empty until the copy is first served,
// then when that was.
var metaCopy = []byte("copy")

// Mark marks a file as a copy of a store.
func Mark(file string) error {
	db, err := openFile(file, false)
	if err != nil {
		return err
	}
	err = db.Update(func(tx *bolt.Tx) error { return tx.Bucket(bucketMeta).Put(metaCopy, []byte{}) })
	if err := errors.Join(err, db.Close()); err != nil {
		return fmt.Errorf("mark copy %s: %w", file, err)
	}
	return nil
}

// openFile opens a file that must be a store of this program.
func openFile(file string, readOnly bool) (*bolt.DB, error) {
	if _, err := os.Stat(file); err != nil {
		return nil, err
	}
	db, err := bolt.Open(file, 0o600, &bolt.Options{
		ReadOnly: readOnly, Timeout: 2 * time.Second, NoFreelistSync: true, FreelistType: bolt.FreelistMapType,
	})
	if errors.Is(err, bolterrors.ErrTimeout) {
		return nil, fmt.Errorf("open store %s: another process has it; is `cobline serve` running?", file)
	}
	if err != nil {
		return nil, fmt.Errorf("open store %s: %w", file, err)
	}
	err = db.View(func(tx *bolt.Tx) error { return unharmed(func() error { return begins(tx, file) }) })
	if err != nil {
		return nil, errors.Join(fmt.Errorf("%s is no store of this program: %w", file, err), db.Close())
	}
	return db, nil
}

// begins returns why a file is no store, by its first pages.
func begins(tx *bolt.Tx, file string) error {
	if info, err := os.Stat(file); err != nil || info.Size() < tx.Size() {
		return errors.Join(err, errors.New("its end is missing"))
	}
	for _, name := range [][]byte{bucketMeta, bucketConv, bucketOut, bucketAlarm, bucketJournal} {
		if tx.Bucket(name) == nil {
			return fmt.Errorf("it has no %s", name)
		}
	}
	if v := tx.Bucket(bucketMeta).Get([]byte("format")); len(v) != 1 || v[0] != format {
		return fmt.Errorf("it has format %v, this program reads format %d", v, format)
	}
	return nil
}

// unharmed reads what may be spoilt. Pages that are make the library panic, and
// those that are missing are a fault of the memory they would be mapped to.
func unharmed(read func() error) (err error) {
	defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("it cannot be read: %v", p)
		}
	}()
	return read()
}

// ErrStoreExists says that a store would be overwritten.
var ErrStoreExists = errors.New("there is a store already")

// Replaced is what follows the name of a store that a copy took the place of.
const Replaced = ".replaced"

// Restore puts a copy of a store in the place of the store at path, which no
// process may have open; the opt-outs beside it stay as they are. The copy is
// read in full first. A store that is there is moved aside if replace says so,
// else the error is ErrStoreExists.
func Restore(file, path string, replace bool) (err error) {
	if err := verify(file); err != nil {
		return err
	}
	_, missing := os.Stat(path)
	if missing == nil {
		if !replace {
			return fmt.Errorf("restore %s: %w", path, ErrStoreExists)
		}
		// To be written it would be looked through, which a spoilt one does not survive.
		old, err := bolt.Open(path, 0o600, &bolt.Options{ReadOnly: true, Timeout: 2 * time.Second})
		if errors.Is(err, bolterrors.ErrTimeout) {
			return fmt.Errorf("restore %s: another process has it; is `cobline serve` running?", path)
		}
		if err == nil { // held until the copy has its place; one that is spoilt cannot be in use
			defer old.Close()
		}
	}
	whole := path + ".restored"
	if err := copyFile(file, whole); err != nil {
		return fmt.Errorf("restore %s: %w", path, err)
	}
	if err := Mark(whole); err != nil {
		return errors.Join(err, os.Remove(whole))
	}
	if missing == nil {
		if err := keepAside(path); err != nil {
			return fmt.Errorf("keep the store that is replaced: %w", err)
		}
	}
	return os.Rename(whole, path)
}

// keepAside gives the store a second name, in place of one kept before. It has
// its own until the copy takes that: at no moment is there no store, which a line
// would begin anew.
func keepAside(path string) error {
	if err := os.Remove(path + Replaced); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if os.Link(path, path+Replaced) == nil {
		return nil
	}
	return os.Rename(path, path+Replaced) // some file systems know no second names
}

// verify reads a file in full and returns what is wrong with it as a store.
func verify(file string) error {
	db, err := openFile(file, true)
	if err != nil {
		return err
	}
	if err = db.View(func(tx *bolt.Tx) error { return unharmed(func() error { return readAll(tx) }) }); err != nil {
		err = fmt.Errorf("%s is not whole: %w", file, err)
	}
	return errors.Join(err, db.Close())
}

// readAll reads every row.
func readAll(tx *bolt.Tx) error {
	var sum byte
	return tx.ForEach(func(name []byte, b *bolt.Bucket) error {
		var last []byte
		err := b.ForEach(func(k, v []byte) error {
			for _, octet := range v {
				sum ^= octet
			}
			if last != nil && bytes.Compare(last, k) >= 0 {
				return errors.New("its keys are not in order")
			}
			last = k
			return readable(name, k, v)
		})
		if err != nil {
			return fmt.Errorf("in %s: %w", name, err)
		}
		return nil
	})
}

// readable returns why a row cannot be read.
func readable(bucket, k, v []byte) (err error) {
	switch string(bucket) {
	case string(bucketConv):
		_, err = decodeConversation(k, v)
	case string(bucketJournal):
		_, err = decodeEntry(k, v)
	case string(bucketOut):
		_, err = decodeWaiting(k, v)
	case string(bucketAlarm):
		_, err = decodeAlarm(k, v)
	case string(bucketDesk):
		_, err = decodeDocument(v)
	}
	return err
}

func copyFile(from, to string) (err error) {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Sync(), out.Close())
}

// Unconfirmed reports whether the store is a copy that nobody has confirmed yet,
// and since when it is served: from now if it was not before.
func (s *Store) Unconfirmed(ctx context.Context, now time.Time) (since time.Time, yes bool, err error) {
	err = s.view(ctx, func(tx *bolt.Tx) error {
		v := tx.Bucket(bucketMeta).Get(metaCopy)
		if yes = v != nil; len(v) == timeLength {
			since = momentOf(v)
		}
		return nil
	})
	if err != nil || !yes || !since.IsZero() {
		return since, yes, err
	}
	since = now.Truncate(time.Millisecond).UTC()
	return since, yes, s.do(ctx, func(w *write) error { return w.put(bucketMeta, metaCopy, moment(since.UnixMilli())) })
}

// Confirm says that the store may be sent from, although it is a copy.
func (s *Store) Confirm(ctx context.Context) error {
	return s.do(ctx, func(w *write) error { return w.delete(bucketMeta, metaCopy) })
}

// Outgoing returns every message that waits to be sent, in the order they were
// written.
func (s *Store) Outgoing(ctx context.Context) (all []gateway.Outbound, err error) {
	err = s.view(ctx, func(tx *bolt.Tx) error {
		return tx.Bucket(bucketOut).ForEach(func(k, v []byte) error {
			row, err := decodeWaiting(k, v)
			if err != nil {
				return nil // it cannot be sent; see Unreadable
			}
			m, err := row.outbound()
			all = append(all, m)
			return err
		})
	})
	return all, err
}
