package boltstore

import (
	"bytes"
	"context"
	"fmt"

	"github.com/fxamacker/cbor/v2"
	bolt "go.etcd.io/bbolt"

	"cobline/gateway"
)

// document is one of the officers' documents as the bucket holds it.
type document struct {
	Rev  uint64          `cbor:"1,keyasint"`
	Body cbor.RawMessage `cbor:"2,keyasint"`
}

func decodeDocument(v []byte) (d document, err error) {
	if err := cbor.Unmarshal(v, &d); err != nil {
		return d, fmt.Errorf("decode document: %w", err)
	}
	return d, nil
}

func deskKey(kind, id string) []byte { return []byte(kind + "\x00" + id) }

// Get implements gateway.Desk.
func (s *Store) Get(ctx context.Context, kind, id string, into any) (rev uint64, err error) {
	err = s.view(ctx, func(tx *bolt.Tx) error {
		v := tx.Bucket(bucketDesk).Get(deskKey(kind, id))
		if v == nil {
			return gateway.ErrNotFound
		}
		d, err := decodeDocument(v)
		if err != nil {
			return err
		}
		rev = d.Rev
		return cbor.Unmarshal(d.Body, into)
	})
	return rev, err
}

// Put implements gateway.Desk.
func (s *Store) Put(ctx context.Context, kind, id string, v any, rev uint64) error {
	row, err := newDocument(v, rev)
	if err != nil {
		return err
	}
	return s.do(ctx, func(w *write) error { return w.putDocument(deskKey(kind, id), row, rev) })
}

// newDocument returns the row of a document that follows revision rev; of nil,
// none.
func newDocument(v any, rev uint64) (row []byte, err error) {
	if v == nil {
		return nil, nil
	}
	d := document{Rev: rev + 1}
	if d.Body, err = encoding.Marshal(v); err == nil {
		row, err = encoding.Marshal(d)
	}
	if err != nil {
		return nil, fmt.Errorf("encode document: %w", err)
	}
	return row, nil
}

// putDocument writes the row of a document over revision rev; no row deletes it.
func (w *write) putDocument(key, row []byte, rev uint64) error {
	stored, err := w.revision(key)
	switch {
	case err != nil:
		return err
	case stored != rev:
		return gateway.ErrConflict
	case row == nil:
		return w.delete(bucketDesk, key)
	}
	return w.put(bucketDesk, key, row)
}

// revision returns the stored revision of a document, zero if there is none.
func (w *write) revision(key []byte) (uint64, error) {
	v := w.get(bucketDesk, key)
	if v == nil {
		return 0, nil
	}
	d, err := decodeDocument(v)
	return d.Rev, err
}

// List implements gateway.Desk.
func (s *Store) List(ctx context.Context, kind, after string, max int, f func(id string, rev uint64, decode func(into any) error) error) error {
	type found struct {
		id string
		document
		err error
	}
	var list []found
	prefix := deskKey(kind, "")
	err := s.view(ctx, func(tx *bolt.Tx) error {
		c := tx.Bucket(bucketDesk).Cursor()
		for k, v := c.Seek(deskKey(kind, after)); len(list) < max; k, v = c.Next() {
			if k == nil || !bytes.HasPrefix(k, prefix) {
				return nil
			}
			id := string(k[len(prefix):])
			if id == after {
				continue
			}
			d, err := decodeDocument(v)
			list = append(list, found{id, d, err})
		}
		return nil
	})
	if err != nil {
		return err
	}
	for _, d := range list {
		if err := f(d.id, d.Rev, func(into any) error {
			if d.err != nil {
				return d.err
			}
			return cbor.Unmarshal(d.Body, into)
		}); err != nil {
			return err
		}
	}
	return nil
}
