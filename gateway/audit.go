package gateway

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"math"
	"sync/atomic"
	"time"
)

// AuditKind is the kind of the Desk's documents that make up the audit trail.
const AuditKind = "audit"

// Record is one thing that somebody did and answers for. It is never changed.
// It holds no number and no text of a message: numbers come masked.
type Record struct {
	At     time.Time `cbor:"1,keyasint"`
	By     string    `cbor:"2,keyasint"`           // an account, a masked number, or "command line"
	What   string    `cbor:"3,keyasint"`           // a word or two of a small set: "sign-in", "notice sent"
	On     string    `cbor:"4,keyasint,omitempty"` // what it was done to
	Detail string    `cbor:"5,keyasint,omitempty"`
}

// Audit adds a record to the trail.
func Audit(ctx context.Context, d Desk, r Record) error {
	doc := r.document()
	if err := d.Put(ctx, doc.Kind, doc.ID, doc.Value, doc.Rev); err != nil {
		return fmt.Errorf("record %q in the audit trail: %w", r.What, err)
	}
	return nil
}

// document is the record as it is written.
func (r Record) document() Document {
	return Document{Kind: AuditKind, ID: auditID(r.At), Value: r}
}

const (
	auditPause = time.Hour // between two looks for old records
	auditPage  = 500       // records read at a time
)

// RunAudit drops the records of the trail that are older than keep, until the
// context ends, which is no error: they name people and addresses, and nobody
// asks who did what so long ago.
func RunAudit(ctx context.Context, d Desk, w *Watch, keep time.Duration) error {
	return every(ctx, auditPause, nil, func() error {
		return PruneAudit(ctx, d, w.At(time.Now()).Add(-keep))
	})
}

// PruneAudit drops the records of the trail from before a time.
func PruneAudit(ctx context.Context, d Desk, before time.Time) error {
	after := fmt.Sprintf("%016x~", math.MaxInt64-before.UnixMilli()) // behind all of that millisecond
	for more := true; more; {
		count := 0
		err := d.List(ctx, AuditKind, after, auditPage, func(id string, rev uint64, _ func(any) error) error {
			after, count = id, count+1
			err := d.Put(ctx, AuditKind, id, nil, rev)
			if errors.Is(err, ErrConflict) { // another process was quicker
				return nil
			}
			return err
		})
		if err != nil {
			return fmt.Errorf("drop old audit records: %w", err)
		}
		more = count == auditPage
	}
	return nil
}

// audited counts the records of this process: it orders those of one millisecond.
var audited atomic.Uint32

// auditID puts the newest first: a Desk lists in the order of ids. The end keeps
// apart what two processes write.
func auditID(t time.Time) string {
	return fmt.Sprintf("%016x-%08x-%.6s", math.MaxInt64-t.UnixMilli(), math.MaxUint32-audited.Add(1), rand.Text())
}

// AuditTrail returns at most max records, the newest first, and the id to go on
// after; the empty one if there are no more.
func AuditTrail(ctx context.Context, d Desk, after string, max int) (trail []Record, next string, err error) {
	last := ""
	err = d.List(ctx, AuditKind, after, max+1, func(id string, _ uint64, decode func(any) error) error {
		if len(trail) == max {
			next = last
			return nil
		}
		var r Record
		if err := decode(&r); err != nil {
			return fmt.Errorf("audit record %s: %w", id, err)
		}
		trail, last = append(trail, r), id
		return nil
	})
	return trail, next, err
}
