package boltstore

import (
	"context"
	"fmt"

	bolt "go.etcd.io/bbolt"

	"cobline/gateway"
)

// append writes an entry behind the newest one.
func (w *write) append(e *gateway.Entry) (gateway.Key, error) {
	v, err := encoding.Marshal(e)
	if err != nil {
		return gateway.Key{}, fmt.Errorf("encode entry: %w", err)
	}
	k := w.last.Next(e.At)
	w.last = k
	return k, w.put(bucketJournal, k[:], v)
}

// After implements gateway.Log.
func (s *Store) After(ctx context.Context, k gateway.Key, max int) (entries []gateway.Entry, err error) {
	for len(entries) < max && err == nil {
		page := min(max-len(entries), pageRows)
		n := len(entries)
		err = s.view(ctx, func(tx *bolt.Tx) error {
			c := tx.Bucket(bucketJournal).Cursor()
			key, v := c.Seek(k[:])
			if key != nil && gateway.Key(key) == k {
				key, v = c.Next()
			}
			for ; key != nil && len(entries) < n+page; key, v = c.Next() {
				e, err := decodeEntry(key, v)
				if err != nil {
					return err
				}
				entries = append(entries, e)
				k = e.Key
			}
			return nil
		})
		if len(entries) < n+page {
			break
		}
	}
	return entries, err
}

// Last implements gateway.Log.
func (s *Store) Last(ctx context.Context) (k gateway.Key, err error) {
	err = s.view(ctx, func(tx *bolt.Tx) error {
		if newest, _ := tx.Bucket(bucketJournal).Cursor().Last(); newest != nil {
			k = gateway.Key(newest)
		}
		return nil
	})
	return k, err
}
