// Package boltstore keeps everything durable in one file of one process.
//
// Writes go through one goroutine, which takes all that wait into one
// transaction: many callers share one flush, and a caller alone waits for no
// timer. What decides its speed is the pages a message touches, so the ids a
// person's gateway may repeat lie inside the conversation, and what grows is
// keyed by time.
package boltstore

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	bolt "go.etcd.io/bbolt"
	bolterrors "go.etcd.io/bbolt/errors"

	"cobline/gateway"
)

// Options are how a store is opened.
type Options struct {
	// NoSync leaves flushing to the system: for tests and for trying things out,
	// never where a message counts.
	NoSync bool
	Zone   *time.Location // where the days of the spend begin; nil: UTC
}

// The buckets. Numbers are 8 octets, times 8 octets of milliseconds, both
// big-endian.
var (
	bucketMeta     = []byte("meta")     // format
	bucketConv     = []byte("conv")     // number -> record
	bucketSpill    = []byte("spill")    // number, hash of message id -> entry key: ids that no longer fit the record
	bucketGone     = []byte("gone")     // keyed hash of an erased number -> farewell
	bucketOut      = []byte("out")      // reference -> waiting message
	bucketAlarm    = []byte("alarm")    // due, number, id -> alarm
	bucketDeferred = []byte("deferred") // number, moment, id -> due, of alarms that are not due at their moment
	bucketJournal  = []byte("journal")  // entry key -> entry
	bucketDesk     = []byte("desk")     // kind, 0, id -> document
	bucketSent     = []byte("sent")     // reference -> message that was given to a gateway
	bucketParts    = []byte("parts")    // number, name of a long text, position, hash of message id -> part
	bucketEarly    = []byte("early")    // channel, 0, the gateway's id -> report of a message not yet known by it
	bucketSpend    = []byte("spend")    // channel, 0, day -> what its messages took
	bucketProvider = []byte("provider") // channel, 0, the gateway's id -> reference
	bucketTally    = []byte("tally")    // notice -> how far it came
	bucketPerson   = []byte("person")   // person key -> number
	buckets        = [][]byte{bucketMeta, bucketConv, bucketSpill, bucketGone, bucketOut, bucketAlarm, bucketDeferred, bucketJournal, bucketDesk, bucketSent, bucketSpend, bucketEarly, bucketProvider, bucketParts, bucketTally, bucketPerson}
)

// format is what a file must say to be read by this program.
const format = 1

// pageRows is how many rows one reading transaction takes: a long one would keep
// freed pages from being used again.
const pageRows = 200

// Store is a gateway.Store in one file. It is safe for concurrent use.
type Store struct {
	db      *bolt.DB
	optOuts *optOuts
	queue   *queue
	ledger  *ledger
	jobs    chan *job
	done    chan struct{} // closed when the writer has ended
	broken  atomic.Pointer[error]

	mu     sync.RWMutex // guards closed, and jobs against a send after its close
	closed bool

	last  gateway.Key          // of the newest entry; the writer's own
	early map[string]time.Time // when each report came that is held; the writer's own

	unreadable int
}

var _ gateway.Store = (*Store)(nil)

var errClosed = errors.New("the store is closed")

// Open opens the file at path, or creates it. One process at a time has it.
// Beside it lie path.optouts and path.optouts.key: a copy put in place of the
// store must find them there.
func Open(path string, o Options) (*Store, error) {
	db, err := bolt.Open(path, 0o600, &bolt.Options{
		Timeout:         2 * time.Second,
		NoSync:          o.NoSync,
		NoFreelistSync:  true,
		FreelistType:    bolt.FreelistMapType,
		InitialMmapSize: 1 << 30,
	})
	if errors.Is(err, bolterrors.ErrTimeout) {
		return nil, fmt.Errorf("open store %s: another process has it; is `cobline serve` running?", path)
	}
	if err != nil {
		return nil, fmt.Errorf("open store %s: %w", path, err)
	}
	s := &Store{db: db, queue: newQueue(), early: map[string]time.Time{}, ledger: newLedger(o.Zone), jobs: make(chan *job, maxBatch), done: make(chan struct{})}
	if s.optOuts, err = openOptOuts(path+".optouts", o.NoSync); err != nil {
		return nil, errors.Join(fmt.Errorf("open opt-outs: %w", err), db.Close())
	}
	if err := errors.Join(db.Update(s.prepare), db.View(s.recall)); err != nil {
		return nil, errors.Join(fmt.Errorf("open store %s: %w", path, err), s.optOuts.file.Close(), db.Close())
	}
	go s.write()
	if err := s.mend(); err != nil {
		return nil, errors.Join(fmt.Errorf("open store %s: %w", path, err), s.Close())
	}
	return s, nil
}

// mend drops what an open store cannot send any more: a message that was in
// flight while its person opted out, and, if an older copy was put in place of
// the store, all that waits for people who opted out since. Their conversations
// are told.
func (s *Store) mend() error {
	var flown [][refLength]byte
	var stopped []gateway.Number
	err := s.db.View(func(tx *bolt.Tx) error {
		err := tx.Bucket(bucketOut).ForEach(func(k, v []byte) error {
			if w, err := decodeWaiting(k, v); err == nil && w.Withdrawn && !w.Message.Trying {
				flown = append(flown, w.ref)
			}
			return nil
		})
		if err != nil || !s.optOuts.any() {
			return err
		}
		return tx.Bucket(bucketConv).ForEach(func(k, v []byte) error {
			if !s.optOuts.holds(k, false) {
				return nil
			}
			if c, err := decodeConversation(k, v); err == nil && !c.State.Stopped {
				stopped = append(stopped, c.Number)
			}
			return nil
		})
	})
	if err != nil || len(flown)+len(stopped) == 0 {
		return err
	}
	return s.do(context.Background(), func(w *write) error {
		at := w.last.Time()
		for _, ref := range flown {
			if err := s.settle(w, ref, withdrawn(at)); err != nil {
				return err
			}
		}
		for _, n := range stopped {
			if err := errors.Join(s.withdraw(w, n, at), w.optOut(n, at)); err != nil {
				return err
			}
		}
		return nil
	})
}

// prepare creates what a new file lacks and refuses a file of another format.
func (s *Store) prepare(tx *bolt.Tx) error {
	for _, name := range buckets {
		if _, err := tx.CreateBucketIfNotExists(name); err != nil {
			return err
		}
	}
	if err := recognise(tx); err != nil {
		return err
	}
	meta := tx.Bucket(bucketMeta)
	switch v := meta.Get([]byte("format")); {
	case v == nil:
		return meta.Put([]byte("format"), []byte{format})
	case len(v) != 1 || v[0] != format:
		return fmt.Errorf("the file has format %v, this program reads format %d", v, format)
	}
	return forget(tx)
}

// recall reads what is held in memory.
func (s *Store) recall(tx *bolt.Tx) error {
	if k, _ := tx.Bucket(bucketJournal).Cursor().Last(); k != nil {
		s.last = gateway.Key(k)
	}
	if err := errors.Join(s.ledger.recall(tx), s.recallEarly(tx), s.recallPauses(tx)); err != nil {
		return err
	}
	return tx.Bucket(bucketOut).ForEach(func(k, v []byte) error {
		if w, err := decodeWaiting(k, v); err != nil {
			s.unreadable++
		} else {
			s.queue.add(w)
		}
		return nil
	})
}

// Close ends what was begun and closes the file.
func (s *Store) Close() error {
	s.mu.Lock()
	if s.closed {
		s.mu.Unlock()
		return nil
	}
	s.closed = true
	close(s.jobs)
	s.mu.Unlock()
	<-s.done
	return errors.Join(s.db.Close(), s.optOuts.file.Close())
}

// Err returns why the store takes no more writes, or nil. After a write that
// failed the state of the file is unknown: the process should end.
func (s *Store) Err() error {
	if err := s.broken.Load(); err != nil {
		return *err
	}
	return nil
}

// Unreadable returns how many waiting messages this program could not decode
// when it opened the store: they stay as they are, and are not sent.
func (s *Store) Unreadable() int { return s.unreadable }

// view runs a reading transaction.
func (s *Store) view(ctx context.Context, f func(tx *bolt.Tx) error) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	return s.db.View(f)
}

func numberKey(n gateway.Number) []byte {
	var digits uint64
	for _, c := range n.Digits() {
		digits = digits*10 + uint64(c-'0')
	}
	return binary.BigEndian.AppendUint64(nil, digits)
}

func numberOf(key []byte) (gateway.Number, error) {
	return gateway.NumberOf(fmt.Sprint(binary.BigEndian.Uint64(key)))
}

// moment orders times before 1970 too.
func moment(ms int64) []byte { return binary.BigEndian.AppendUint64(nil, uint64(ms)^1<<63) }

func momentOf(b []byte) time.Time {
	return time.UnixMilli(int64(binary.BigEndian.Uint64(b) ^ 1<<63)).UTC()
}
