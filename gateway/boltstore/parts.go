package boltstore

import (
	"bytes"
	"context"
	"encoding/hex"
	"fmt"
	"slices"
	"time"

	"github.com/fxamacker/cbor/v2"
	bolt "go.etcd.io/bbolt"

	"cobline/dialog"
	"cobline/gateway"
)

// held is a part of a long text as the bucket holds it: all that its text needs
// to be answered.
type held struct {
	ID       gateway.MessageID `cbor:"1,keyasint"`
	Provider string            `cbor:"2,keyasint,omitempty"`
	Channel  string            `cbor:"3,keyasint"`
	Sender   string            `cbor:"4,keyasint"`
	To       string            `cbor:"5,keyasint,omitempty"`
	Via      dialog.Channel    `cbor:"6,keyasint"`
	SentAt   time.Time         `cbor:"7,keyasint,omitzero"`
	At       time.Time         `cbor:"8,keyasint"`
	Ref      int               `cbor:"9,keyasint"`
	Width    int               `cbor:"10,keyasint"`
	Total    int               `cbor:"11,keyasint"`
	Seq      int               `cbor:"12,keyasint"`
	Octets   []byte            `cbor:"13,keyasint"`
	Charset  string            `cbor:"14,keyasint,omitempty"`
	Network  string            `cbor:"15,keyasint,omitempty"`
}

func (h held) inbound(n gateway.Number) gateway.Inbound {
	return gateway.Inbound{
		ID: h.ID, Provider: h.Provider, Channel: h.Channel, Sender: h.Sender, To: h.To, From: n, Via: h.Via, Network: h.Network,
		SentAt: exact(h.SentAt), At: exact(h.At),
		Part: &gateway.Part{Ref: h.Ref, Width: h.Width, Total: h.Total, Seq: h.Seq, Octets: h.Octets, Charset: h.Charset},
	}
}

// partKey puts the parts of a text in order, and lets two parts of one place lie
// side by side: a reference that came again too soon must not lose anything.
func partKey(number, name []byte, seq int, id gateway.MessageID) []byte {
	return join(number, name, []byte{byte(seq)}, id[:idLength])
}

// Hold implements gateway.Parts.
func (s *Store) Hold(ctx context.Context, in gateway.Inbound, overdue gateway.Alarm) (all []gateway.Inbound, err error) {
	number, p := numberKey(in.From), in.Part
	name, err := hex.DecodeString(in.PartsName())
	if err != nil {
		return nil, fmt.Errorf("hold a part: %w", err)
	}
	v, err := encoding.Marshal(held{
		ID: in.ID, Provider: in.Provider, Channel: in.Channel, Sender: in.Sender, To: in.To, Via: in.Via, Network: in.Network, SentAt: in.SentAt, At: in.At,
		Ref: p.Ref, Width: p.Width, Total: p.Total, Seq: p.Seq, Octets: p.Octets, Charset: p.Charset,
	})
	if err != nil {
		return nil, fmt.Errorf("encode part: %w", err)
	}
	err = s.do(ctx, func(w *write) error {
		all = nil
		r, err := s.record(w.tx, number)
		if err != nil {
			return err
		}
		if _, ok := seen(w.tx, number, r, in.ID[:idLength]); ok {
			return gateway.ErrSeen
		}
		if all, err = heldOf(w.tx, in.From, name); err != nil {
			return err
		}
		key := partKey(number, name, p.Seq, in.ID)
		if w.get(bucketParts, key) != nil { // brought again while the others are missing
			return nil
		}
		if len(all) >= p.Total+gateway.MaxRivals || len(keys(w.tx, bucketParts, number)) >= gateway.MaxHeld {
			return gateway.ErrFull
		}
		if len(all) == 0 {
			if err := w.wake(overdue); err != nil {
				return err
			}
		}
		if err := w.put(bucketParts, key, v); err != nil {
			return err
		}
		all, err = heldOf(w.tx, in.From, name)
		return err
	})
	if err != nil {
		return nil, err
	}
	return all, nil
}

// Held implements gateway.Parts.
func (s *Store) Held(ctx context.Context, n gateway.Number, name string) (all []gateway.Inbound, err error) {
	b, err := hex.DecodeString(name)
	if err != nil {
		return nil, fmt.Errorf("name of a long text: %w", err)
	}
	err = s.view(ctx, func(tx *bolt.Tx) error {
		all, err = heldOf(tx, n, b)
		return err
	})
	return all, err
}

func heldOf(tx *bolt.Tx, n gateway.Number, name []byte) (all []gateway.Inbound, err error) {
	prefix := join(numberKey(n), name)
	c := tx.Bucket(bucketParts).Cursor()
	for k, v := c.Seek(prefix); bytes.HasPrefix(k, prefix); k, v = c.Next() {
		var h held
		if err := cbor.Unmarshal(v, &h); err != nil {
			return nil, fmt.Errorf("decode part: %w", err)
		}
		all = append(all, h.inbound(n))
	}
	return all, nil
}

// release deletes the parts a change answers.
func (w *write) release(number []byte, parts []gateway.MessageID) error {
	if len(parts) == 0 {
		return nil
	}
	for _, k := range keys(w.tx, bucketParts, number) {
		of := func(id gateway.MessageID) bool { return bytes.HasSuffix(k, id[:idLength]) }
		if slices.ContainsFunc(parts, of) {
			if err := w.delete(bucketParts, k); err != nil {
				return err
			}
		}
	}
	return nil
}
