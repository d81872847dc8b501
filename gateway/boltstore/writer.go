package boltstore

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"

	bolt "go.etcd.io/bbolt"

	"cobline/gateway"
)

// maxBatch is how many writes share a transaction. More would make the first of
// them wait longer than the flush they share.
const maxBatch = 1024

// job is one write and the caller who waits for it.
type job struct {
	run  func(*write) error // all checks first, then all puts; may run twice
	err  error
	done chan struct{}
}

// write is the transaction jobs run in.
type write struct {
	tx    *bolt.Tx
	last  gateway.Key // of the newest entry
	puts  int
	after []func() // what changes in memory once the transaction is durable
	// optOuts are the lines the transaction adds to the list of opt-outs.
	optOuts map[disguise]bool
	spent   map[spendDay]gateway.Spend
}

func (w *write) put(bucket, key, value []byte) error {
	w.puts++
	return w.open(bucket).Put(key, value)
}

func (w *write) delete(bucket, key []byte) error {
	w.puts++
	return w.open(bucket).Delete(key)
}

func (w *write) get(bucket, key []byte) []byte { return w.tx.Bucket(bucket).Get(key) }

func (w *write) open(name []byte) *bolt.Bucket {
	b := w.tx.Bucket(name)
	if string(name) == string(bucketJournal) || string(name) == string(bucketOut) {
		b.FillPercent = 0.95 // keys come in order: nothing will be put between them
	}
	return b
}

// do hands a write over and waits until it is durable. A context that ends first
// leaves the write to its fate.
func (s *Store) do(ctx context.Context, run func(*write) error) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	j := &job{run: run, done: make(chan struct{})}
	if err := s.hand(ctx, j); err != nil {
		return err
	}
	select {
	case <-j.done:
		return j.err
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (s *Store) hand(ctx context.Context, j *job) error {
	s.mu.RLock()
	defer s.mu.RUnlock()
	if s.closed {
		return errClosed
	}
	select {
	case s.jobs <- j:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// write runs the jobs until the store is closed.
func (s *Store) write() {
	defer close(s.done)
	var batch []*job
	for first := range s.jobs {
		batch = append(batch[:0], first)
		for len(batch) < maxBatch && len(s.jobs) > 0 {
			batch = append(batch, <-s.jobs)
		}
		if !s.together(batch) {
			for i := range batch {
				s.together(batch[i : i+1])
			}
		}
		for i, j := range batch {
			close(j.done)
			batch[i] = nil
		}
	}
}

// together runs jobs in one transaction. A job that is rejected costs the others
// nothing, since it has put nothing. Any other failure undoes them all, and
// together reports false if they should be run one by one.
func (s *Store) together(jobs []*job) bool {
	if err := s.Err(); err != nil {
		return fail(jobs, err)
	}
	tx, err := s.db.Begin(true)
	if err != nil {
		return fail(jobs, err)
	}
	w := &write{tx: tx, last: s.last}
	for _, j := range jobs {
		if j.err = attempt(j.run, w); j.err != nil && !rejected(j.err) {
			return fail(jobs, errors.Join(j.err, s.undo(tx))) && len(jobs) == 1
		}
	}
	if err := s.settleSpend(w); err != nil {
		return fail(jobs, errors.Join(err, s.undo(tx))) && len(jobs) == 1
	}
	if w.puts == 0 {
		if err := tx.Rollback(); err != nil {
			return fail(jobs, err)
		}
		return true
	}
	if err := s.optOuts.append(w.optOuts); err != nil {
		err = fmt.Errorf("the store failed and takes no more writes: %w", errors.Join(err, tx.Rollback()))
		s.broken.Store(&err)
		return fail(jobs, err)
	}
	if err := tx.Commit(); err != nil {
		err = fmt.Errorf("the store failed and takes no more writes: %w", err)
		s.broken.Store(&err)
		return fail(jobs, err)
	}
	s.last = w.last
	for _, f := range w.after {
		f()
	}
	return true
}

// undo takes a transaction back, with what it changed in memory.
func (s *Store) undo(tx *bolt.Tx) error {
	return errors.Join(tx.Rollback(), s.db.View(s.recallEarly))
}

func fail(jobs []*job, err error) bool {
	for _, j := range jobs {
		j.err = err
	}
	return true
}

func rejected(err error) bool {
	return errors.Is(err, gateway.ErrConflict) || errors.Is(err, gateway.ErrSeen) || errors.Is(err, gateway.ErrNotFound) || errors.Is(err, gateway.ErrFull)
}

// attempt runs a job and turns its panic into its error.
func attempt(run func(*write) error, w *write) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("panic in a write: %v\n%s", p, debug.Stack())
		}
	}()
	return run(w)
}
