package gateway_test

import (
	"context"
	"encoding/binary"
	"fmt"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	bolt "go.etcd.io/bbolt"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/boltstore"
	"cobline/locales"
)

const benchPeople = 20_000

// BenchmarkReceive measures a text from its arrival to its durable answer, with
// the real dialogue, beside the least a durable answer can cost: the same rows
// written by a bare group commit.
func BenchmarkReceive(b *testing.B) {
	for _, senders := range []int{1, 64} {
		b.Run(fmt.Sprintf("service/senders=%d", senders), func(b *testing.B) {
			dir := b.TempDir()
			st, err := boltstore.Open(filepath.Join(dir, "store"), boltstore.Options{})
			require.NoError(b, err)
			defer st.Close()
			receive(b, realService(b, st), senders)
		})
		b.Run(fmt.Sprintf("bare/senders=%d", senders), func(b *testing.B) { bare(b, rowSizes(b), senders) })
	}
}

func realService(b *testing.B, st gateway.Turns) *gateway.Service {
	catalog, err := locales.Load()
	require.NoError(b, err)
	engine, err := dialog.New(catalog, dialog.Options{})
	require.NoError(b, err)
	return gateway.NewService(engine, st, gateway.Options{Main: "sms", Channels: map[string]gateway.Channel{
		"sms": {Ability: dialog.Ability{Sends: true}},
	}})
}

// receive lets senders text at the same time, each person in turn.
func receive(b *testing.B, s *gateway.Service, senders int) {
	texts := []string{"cobs 2 drums snaps", "1", "no, 3 drums", "help", "mahindi magunzi pipa 2 kavu"}
	people := make([]gateway.Number, benchPeople)
	for i := range people {
		people[i] = number(b, i)
	}
	var serial atomic.Int64
	drive(b, senders, func() { text(b, s, people, texts, int(serial.Add(1))) })
}

// drive lets senders do one thing at the same time, again and again.
func drive(b *testing.B, senders int, do func()) {
	var left atomic.Int64
	left.Store(int64(b.N))
	var wg sync.WaitGroup
	b.ResetTimer()
	for range senders {
		wg.Go(func() {
			for left.Add(-1) >= 0 {
				do()
			}
		})
	}
	wg.Wait()
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "texts/s")
}

func text(b *testing.B, s *gateway.Service, people []gateway.Number, texts []string, i int) {
	n := people[i*7919%len(people)]
	_, err := s.Receive(context.Background(), gateway.Inbound{
		ID: gateway.NewMessageID("sms", n.Digits(), fmt.Sprint(i)), Channel: "sms", Sender: n.Digits(), From: n,
		Via: dialog.SMS, Text: texts[i%len(texts)], At: time.Now(),
	})
	if err != nil {
		b.Error(err)
	}
}

// rowSizes returns the mean key and value octets of the rows a text leaves in
// each bucket, and how many rows.
func rowSizes(b *testing.B) (rows []benchRow) {
	const sample = 2000
	path := filepath.Join(b.TempDir(), "store")
	st, err := boltstore.Open(path, boltstore.Options{NoSync: true})
	require.NoError(b, err)
	s := realService(b, st)
	people := make([]gateway.Number, sample)
	for i := range people {
		people[i] = number(b, i)
	}
	for i := range sample {
		text(b, s, people, []string{"cobs 2 drums snaps"}, i)
	}
	require.NoError(b, st.Close())
	db, err := bolt.Open(path, 0o600, nil)
	require.NoError(b, err)
	defer db.Close()
	require.NoError(b, db.View(func(tx *bolt.Tx) error {
		return tx.ForEach(func(name []byte, bucket *bolt.Bucket) error {
			var r benchRow
			n := 0
			err := bucket.ForEach(func(k, v []byte) error {
				r.key, r.value, n = len(k), r.value+len(v), n+1
				return nil
			})
			if n >= sample/2 {
				r.value, r.rows, r.byPerson = r.value/n, max(1, n/sample), string(name) == "conv"
				rows = append(rows, r)
			}
			return err
		})
	}))
	return rows
}

type benchRow struct {
	key, value, rows int
	byPerson         bool // else by time
}

// bare writes the rows of texts with one writer that takes all that wait into
// one transaction, and does nothing else.
func bare(b *testing.B, rows []benchRow, senders int) {
	db, err := bolt.Open(filepath.Join(b.TempDir(), "bare"), 0o600, &bolt.Options{FreelistType: bolt.FreelistMapType, NoFreelistSync: true, InitialMmapSize: 1 << 30})
	require.NoError(b, err)
	defer db.Close()
	jobs := make(chan chan error, 1024)
	defer close(jobs)
	go func() {
		var serial uint64
		for first := range jobs {
			batch := []chan error{first}
			for len(jobs) > 0 {
				batch = append(batch, <-jobs)
			}
			err := db.Update(func(tx *bolt.Tx) error {
				for range batch {
					serial++
					if err := putRows(tx, rows, serial); err != nil {
						return err
					}
				}
				return nil
			})
			for _, done := range batch {
				done <- err
			}
		}
	}()
	drive(b, senders, func() {
		done := make(chan error, 1)
		jobs <- done
		if err := <-done; err != nil {
			b.Error(err)
		}
	})
}

func putRows(tx *bolt.Tx, rows []benchRow, serial uint64) error {
	for i, r := range rows {
		bucket, err := tx.CreateBucketIfNotExists([]byte{byte(i)})
		if err != nil {
			return err
		}
		for j := range r.rows {
			at := serial*8 + uint64(j)
			if r.byPerson {
				at = serial * 7919 % benchPeople
			} else {
				bucket.FillPercent = 0.95
			}
			key := binary.BigEndian.AppendUint64(make([]byte, 0, r.key), at)[:min(8, r.key)]
			if err := bucket.Put(append(key, make([]byte, r.key-len(key))...), make([]byte, r.value)); err != nil {
				return err
			}
		}
	}
	return nil
}
