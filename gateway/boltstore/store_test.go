package boltstore

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	bolt "go.etcd.io/bbolt"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/storetest"
)

func open(t require.TestingT, dir string) gateway.Store {
	s, err := Open(filepath.Join(dir, "store"), Options{NoSync: true})
	require.NoError(t, err)
	return s
}

func TestContract(t *testing.T) { storetest.Run(t, open) }

func fresh(t *testing.T) *Store {
	s := open(t, t.TempDir()).(*Store)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	return s
}

func number(t testing.TB, digits string) gateway.Number {
	n, err := gateway.NumberOf(digits)
	require.NoError(t, err)
	return n
}

func change(n gateway.Number) gateway.Change {
	return gateway.Change{
		Conversation: gateway.Conversation{Number: n, Channel: "sms", Person: gateway.PersonKey{1}},
		Entry:        &gateway.Entry{Kind: gateway.Heard, At: time.Now()},
	}
}

func TestOneProcess(t *testing.T) {
	s := fresh(t)
	_, err := Open(s.db.Path(), Options{})
	require.ErrorContains(t, err, "is `cobline serve` running?")
}

func TestOtherFormat(t *testing.T) {
	s := fresh(t)
	path := s.db.Path()
	require.NoError(t, s.do(context.Background(), func(w *write) error {
		return w.put(bucketMeta, []byte("format"), []byte{format + 1})
	}))
	require.NoError(t, s.Close())
	_, err := Open(path, Options{})
	require.ErrorContains(t, err, "format")
}

func TestPanicKeepsToItsCaller(t *testing.T) {
	s := fresh(t)
	ctx := context.Background()
	held, release := make(chan struct{}), make(chan struct{})
	go s.do(ctx, func(*write) error { close(held); <-release; return nil })
	<-held // so that the others share a batch
	errs := make(chan error, 2)
	for _, key := range []string{"kept", "kept too"} {
		go func() { errs <- s.do(ctx, func(w *write) error { return w.put(bucketMeta, []byte(key), []byte{1}) }) }()
	}
	bad := make(chan error, 1)
	go func() {
		bad <- s.do(ctx, func(w *write) error {
			_ = w.put(bucketMeta, []byte("half"), []byte{1})
			panic("a fault in a change")
		})
	}()
	for len(s.jobs) < 3 {
		time.Sleep(time.Millisecond)
	}
	close(release)
	require.ErrorContains(t, <-bad, "a fault in a change")
	require.NoError(t, <-errs)
	require.NoError(t, <-errs)
	require.NoError(t, s.Err())
	require.NoError(t, s.do(ctx, func(w *write) error {
		require.NotNil(t, w.get(bucketMeta, []byte("kept")))
		require.NotNil(t, w.get(bucketMeta, []byte("kept too")))
		require.Nil(t, w.get(bucketMeta, []byte("half")))
		return nil
	}))
}

// A report that is held in a transaction that fails is held by nothing.
func TestEarlyReportOfAFailedWrite(t *testing.T) {
	s, ctx := fresh(t), context.Background()
	at := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	early := func(id string, at time.Time) gateway.Report {
		return gateway.Report{Channel: "sms", Provider: id, State: gateway.ReportDelivered, At: at}
	}
	rows := func() (n int) {
		require.NoError(t, s.db.View(func(tx *bolt.Tx) error {
			n = tx.Bucket(bucketEarly).Stats().KeyN
			return nil
		}))
		return n
	}
	require.ErrorIs(t, s.Report(ctx, early("old", at)), gateway.ErrNotFound)
	fault := errors.New("fault")
	err := s.do(ctx, func(w *write) error {
		return errors.Join(s.holdEarly(w, early("lost", at.Add(time.Hour))), fault)
	})
	require.ErrorIs(t, err, fault)
	require.Equal(t, 1, rows())
	require.ErrorIs(t, s.Report(ctx, early("new", at.Add(time.Hour))), gateway.ErrNotFound)
	require.Equal(t, 1, rows(), "the old one is over")
	require.Len(t, s.early, 1)
}

func TestFailedWriteIsFinal(t *testing.T) {
	s := fresh(t)
	ctx := context.Background()
	s.db.MaxSize = 1 // the file may not grow: a full disk
	c := change(number(t, "999000000001"))
	c.Entry.Text = string(make([]byte, 1<<20))
	require.ErrorContains(t, s.Commit(ctx, c), "takes no more writes")
	require.Error(t, s.Err())
	s.db.MaxSize = 0
	require.ErrorIs(t, s.Commit(ctx, change(number(t, "999000000002"))), s.Err())
	_, err := s.Load(ctx, number(t, "999000000001"))
	require.NoError(t, err, "what is there can still be read")
}

// A row of a newer program is an error for its own person and stays as it is.
func TestUndecodableConversation(t *testing.T) {
	s := fresh(t)
	ctx := context.Background()
	n, other := number(t, "999000000001"), number(t, "999000000002")
	newer := append([]byte{99}, dialog.State{}.Encode()...)
	r, err := encoding.Marshal(record{Rev: 3, State: newer})
	require.NoError(t, err)
	require.NoError(t, s.do(ctx, func(w *write) error { return w.put(bucketConv, numberKey(n), r) }))
	require.NoError(t, s.Commit(ctx, change(other)))
	_, err = s.Load(ctx, n)
	require.ErrorContains(t, err, "version 99")
	require.NotContains(t, err.Error(), n.Digits())
	require.ErrorIs(t, s.Commit(ctx, change(n)), gateway.ErrConflict)
	var met []gateway.Number
	err = s.Each(ctx, gateway.Number{}, func(c gateway.Conversation) error {
		met = append(met, c.Number)
		return nil
	})
	require.ErrorContains(t, err, "version 99")
	require.Equal(t, []gateway.Number{other}, met)
	require.NoError(t, s.do(ctx, func(w *write) error {
		require.Equal(t, r, w.get(bucketConv, numberKey(n)))
		return nil
	}))
}

// An alarm nobody can read fails and is deferred like any other, untouched.
func TestUndecodableAlarm(t *testing.T) {
	s := fresh(t)
	ctx := context.Background()
	now := time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)
	a := gateway.Alarm{Number: number(t, "999000000001"), ID: "x", At: now}
	require.NoError(t, s.do(ctx, func(w *write) error { return w.put(bucketAlarm, filed(a, moment(a.Moment())), []byte("?")) }))
	due, err := s.DueAlarms(ctx, now, 10)
	require.NoError(t, err)
	require.Len(t, due, 1)
	c := change(a.Number)
	c.Source.Alarm = &due[0]
	require.ErrorContains(t, s.Commit(ctx, c), "decode alarm")
	require.NoError(t, s.Defer(ctx, due[0], now.Add(time.Minute)))
	due, err = s.DueAlarms(ctx, now, 10)
	require.NoError(t, err)
	require.Empty(t, due)
	due, err = s.DueAlarms(ctx, now.Add(time.Minute), 10)
	require.NoError(t, err)
	require.Len(t, due, 1)
}

// A waiting message of a newer program keeps nobody else's from being sent.
func TestUndecodableMessage(t *testing.T) {
	s := fresh(t)
	ctx := context.Background()
	c := change(number(t, "999000000001"))
	c.Out = []gateway.Outbound{{Channel: "sms", To: c.Conversation.Number, Text: "hello", Urgency: dialog.Answer}}
	require.NoError(t, s.Commit(ctx, c))
	row := make([]byte, refLength)
	require.NoError(t, s.do(ctx, func(w *write) error { return w.put(bucketOut, row, []byte("?")) }))
	path := s.db.Path()
	require.NoError(t, s.Close())
	again, err := Open(path, Options{NoSync: true})
	require.NoError(t, err)
	defer again.Close()
	require.Equal(t, 1, again.Unreadable())
	out, err := again.Lease(ctx, "sms", time.Now(), time.Minute, 10)
	require.NoError(t, err)
	require.Len(t, out, 1)
	require.NoError(t, again.do(ctx, func(w *write) error {
		require.Equal(t, []byte("?"), w.get(bucketOut, row))
		return nil
	}))
}

func TestFarewellEnds(t *testing.T) {
	s := fresh(t)
	ctx := context.Background()
	opted := map[string]bool{"999000000001": false, "999000000002": true}
	for digits, keep := range opted {
		c := change(number(t, digits))
		c.Erase = &dialog.Erase{KeepOptOut: keep}
		require.NoError(t, s.Commit(ctx, c))
	}
	path := s.db.Path()
	for _, later := range []struct {
		after time.Duration
		rows  int
	}{{0, 2}, {remember + time.Hour, 0}} {
		c := change(gateway.Number{})
		c.Entry.At = time.Now().Add(later.after)
		require.NoError(t, s.Commit(ctx, c))
		require.NoError(t, s.Close())
		var err error
		s, err = Open(path, Options{NoSync: true})
		require.NoError(t, err)
		require.NoError(t, s.view(ctx, func(tx *bolt.Tx) error {
			require.Len(t, keys(tx, bucketGone, nil), later.rows)
			return nil
		}))
	}
	for digits, stopped := range opted {
		got, err := s.Load(ctx, number(t, digits))
		require.NoError(t, err)
		require.Equal(t, stopped, got.State.Stopped)
	}
	require.NoError(t, s.Close())
}

func TestBackupAndCompact(t *testing.T) {
	s := fresh(t)
	ctx := context.Background()
	var numbers []gateway.Number
	for i := range 300 {
		n := number(t, fmt.Sprintf("999%09d", i))
		c := change(n)
		c.Entry.Text = strings.Repeat("a secret place ", 50)
		c.Out = []gateway.Outbound{{Channel: "sms", To: n, Text: "hello", Urgency: dialog.Answer}}
		require.NoError(t, s.Commit(ctx, c))
		numbers = append(numbers, n)
	}
	dir := t.TempDir()
	copied, compacted := filepath.Join(dir, "copy"), filepath.Join(dir, "compacted")
	f, err := os.Create(copied)
	require.NoError(t, err)
	require.NoError(t, s.Backup(ctx, f))
	require.NoError(t, f.Close())
	for _, n := range numbers {
		c := change(n)
		c.Conversation.Rev = 1
		c.Entry.Text = ""
		c.Erase = &dialog.Erase{}
		require.NoError(t, s.Commit(ctx, c))
	}
	path := s.db.Path()
	require.NoError(t, s.Close())
	require.NoError(t, Compact(path, compacted))
	bytes, err := os.ReadFile(compacted)
	require.NoError(t, err)
	require.NotContains(t, string(bytes), "a secret place", "what was erased leaves the file")
	for _, n := range numbers {
		require.NotContains(t, string(bytes), string(numberKey(n)))
	}

	restored, err := Open(copied, Options{NoSync: true})
	require.NoError(t, err)
	defer restored.Close()
	c, err := restored.Load(ctx, numbers[7])
	require.NoError(t, err)
	require.Equal(t, uint64(1), c.Rev)
	out, err := restored.Lease(ctx, "sms", time.Now().Add(time.Hour), time.Minute, 1000)
	require.NoError(t, err)
	require.Len(t, out, len(numbers))
}

// A file of a program that kept no person keys gets them when it is opened.
func TestPersonsOfOlderFile(t *testing.T) {
	s := fresh(t)
	path := s.db.Path()
	n := number(t, "999000000001")
	require.NoError(t, s.Commit(context.Background(), change(n)))
	require.NoError(t, s.Close())
	db, err := bolt.Open(path, 0o600, nil)
	require.NoError(t, err)
	require.NoError(t, db.Update(func(tx *bolt.Tx) error { return tx.DeleteBucket(bucketPerson) }))
	require.NoError(t, db.Close())
	again, err := Open(path, Options{NoSync: true})
	require.NoError(t, err)
	c, err := again.Person(context.Background(), gateway.PersonKey{1})
	require.NoError(t, err)
	require.Equal(t, n, c.Number)
	require.NoError(t, again.Close())
}
