package register

import (
	"cmp"
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"time"

	"cobline/dialog"
	"cobline/gateway"
)

// The kinds of the Desk's documents: how far a list has come, which of its rows
// are bad, and the good ones, which are kept no longer than they are needed.
const (
	ImportKind = "import"
	faultsKind = "import-faults"
	rowsKind   = "import-rows"
)

// Stage is how far a list has come. It is stored.
type Stage uint8

// The stages of a list.
const (
	Checked Stage = 1 // it waits for somebody's yes
	Running Stage = 2
	Done    Stage = 3
	Ended   Stage = 4 // before its end, or without a beginning
)

// Import is a list on its way into the register. Integer keys are never reused.
type Import struct {
	ID      string    `cbor:"-"`
	By      string    `cbor:"1,keyasint"`
	At      time.Time `cbor:"2,keyasint"`
	File    string    `cbor:"3,keyasint,omitempty"`
	Stage   Stage     `cbor:"4,keyasint"`
	Rows    int       `cbor:"5,keyasint"`           // that can be entered
	Known   int       `cbor:"6,keyasint,omitempty"` // of them, known to the line before
	Faulty  int       `cbor:"8,keyasint,omitempty"` // bad rows
	Ignored []string  `cbor:"9,keyasint,omitempty"`
	// Renew also changes place, group and language of those who were known.
	Renew   bool      `cbor:"10,keyasint,omitempty"`
	Next    int       `cbor:"11,keyasint,omitempty"` // rows that are behind
	Entered int       `cbor:"12,keyasint,omitempty"`
	Renewed int       `cbor:"13,keyasint,omitempty"`
	Left    int       `cbor:"14,keyasint,omitempty"` // as they were
	Failed  []Fault   `cbor:"15,keyasint,omitempty"` // the first of the rows that could not be entered after all
	Missed  int       `cbor:"16,keyasint,omitempty"` // all of them
	Until   time.Time `cbor:"17,keyasint,omitzero"`  // when it ended
	// Segments and Price are what the first messages to the new ones take.
	Segments int           `cbor:"18,keyasint,omitempty"`
	Price    gateway.Money `cbor:"19,keyasint,omitempty"`
}

// maxFailed bounds what is kept of the rows that could not be entered after all.
const maxFailed = 500

// Service enters a person: a gateway.Service.
type Service interface {
	Greeting(c gateway.Conversation, p dialog.Profile, now time.Time) (gateway.Spend, error)
	Enrol(ctx context.Context, n gateway.Number, p dialog.Profile, by string, now time.Time) (gateway.Enrolment, error)
}

// Store is what an Importer needs of a store.
type Store interface {
	gateway.Desk
	Reader
}

// Importer enters lists in the background. What it did is kept every few rows, so
// that it goes on where it was after a restart; a row entered twice is entered
// once.
type Importer struct {
	store   Store
	service Service
	log     *slog.Logger
	started chan struct{}
}

// NewImporter returns the importer of a line.
func NewImporter(st Store, s Service, log *slog.Logger) *Importer {
	return &Importer{store: st, service: s, log: log, started: make(chan struct{}, 1)}
}

// keptFor is how long a list waits for a yes.
const keptFor = 24 * time.Hour

// Add keeps a list that was read, checked, until somebody says yes or a day is
// over.
func (im *Importer) Add(ctx context.Context, list List, by, file string, now time.Time) (Import, error) {
	if err := Check(ctx, im.store, &list); err != nil {
		return Import{}, err
	}
	var random [4]byte
	rand.Read(random[:])
	i := Import{
		ID: now.UTC().Format("20060102-150405") + "-" + hex.EncodeToString(random[:]),
		By: by, At: now.UTC(), File: file, Stage: Checked, Rows: len(list.Rows),
		Faulty: len(list.Faults), Ignored: list.Ignored,
	}
	for _, r := range list.Rows {
		if r.Known {
			i.Known++
			continue
		}
		n, err := r.Number()
		if err != nil {
			return i, fmt.Errorf("line %d: %w", r.Line, err)
		}
		spend, err := im.service.Greeting(gateway.Conversation{Number: n}, r.Profile, now)
		if err != nil {
			return i, err
		}
		i.Segments += spend.Segments
		i.Price += spend.Money
	}
	// The rows come last: whatever happens between, none are kept that nothing ends.
	err := im.store.Put(ctx, ImportKind, i.ID, i, 0)
	if err == nil {
		err = im.store.Put(ctx, faultsKind, i.ID, list.Faults, 0)
	}
	if err == nil {
		err = im.store.Put(ctx, rowsKind, i.ID, list.Rows, 0)
	}
	if err != nil {
		return i, fmt.Errorf("keep list %s: %w", i.ID, err)
	}
	return i, nil
}

// Get returns a list and how far it has come. The error is gateway.ErrNotFound if
// there is none.
func (im *Importer) Get(ctx context.Context, id string) (Import, error) {
	i, _, err := im.get(ctx, id)
	return i, err
}

// Faults returns every bad row of a list, in the order of the lines.
func (im *Importer) Faults(ctx context.Context, id string) (faults []Fault, err error) {
	if _, err = im.store.Get(ctx, faultsKind, id, &faults); errors.Is(err, gateway.ErrNotFound) {
		return nil, nil
	}
	return faults, err
}

func (im *Importer) get(ctx context.Context, id string) (i Import, rev uint64, err error) {
	rev, err = im.store.Get(ctx, ImportKind, id, &i)
	return i.exact(id), rev, err
}

// exact gives a stored list its id, and undoes what storing does to the times.
func (i Import) exact(id string) Import {
	i.ID = id
	for _, t := range []*time.Time{&i.At, &i.Until} {
		if !t.IsZero() {
			*t = t.Round(time.Millisecond).UTC()
		}
	}
	return i
}

// ErrStage says that a list is not at the stage for what is wanted of it.
var ErrStage = errors.New("the list has gone on since")

// Start begins to enter a checked list. Renew also changes those known before.
func (im *Importer) Start(ctx context.Context, id string, renew bool) (Import, error) {
	return im.change(ctx, id, func(i *Import) error {
		if i.Stage != Checked {
			return ErrStage
		}
		i.Stage, i.Renew = Running, renew
		return nil
	})
}

// End ends a list before its time. Who was entered stays so.
func (im *Importer) End(ctx context.Context, id string, now time.Time) (Import, error) {
	i, err := im.change(ctx, id, func(i *Import) error {
		if i.Stage != Checked && i.Stage != Running {
			return ErrStage
		}
		i.Stage, i.Until = Ended, now.UTC()
		return nil
	})
	if err != nil {
		return i, err
	}
	return i, im.drop(ctx, id)
}

// change changes a list on the Desk, again if another did at the same time.
func (im *Importer) change(ctx context.Context, id string, f func(*Import) error) (i Import, err error) {
	for range 5 {
		var rev uint64
		if i, rev, err = im.get(ctx, id); err != nil {
			break
		}
		if err = f(&i); err != nil {
			return i, err
		}
		if err = im.store.Put(ctx, ImportKind, id, i, rev); !errors.Is(err, gateway.ErrConflict) {
			break
		}
	}
	if err != nil {
		return i, fmt.Errorf("change list %s: %w", id, err)
	}
	select {
	case im.started <- struct{}{}:
	default:
	}
	return i, nil
}

// drop forgets the rows of a list.
func (im *Importer) drop(ctx context.Context, id string) error {
	var rows []Row
	rev, err := im.store.Get(ctx, rowsKind, id, &rows)
	if err == nil {
		err = im.store.Put(ctx, rowsKind, id, nil, rev)
	}
	if err != nil && !errors.Is(err, gateway.ErrNotFound) {
		return fmt.Errorf("drop the rows of list %s: %w", id, err)
	}
	return nil
}

// deskPage is how many documents are read at a time.
const deskPage = 100

// List returns all lists, the newest first: their ids begin with the time. One
// that cannot be read is left out, and logged.
func (im *Importer) List(ctx context.Context) (all []Import, err error) {
	for after, last := "", "-"; last != ""; after = last {
		last = ""
		count := 0
		err := im.store.List(ctx, ImportKind, after, deskPage, func(id string, _ uint64, decode func(any) error) error {
			if count++; count == deskPage {
				last = id
			}
			var i Import
			if err := decode(&i); err != nil {
				im.log.Error("a list cannot be read", "list", id, "error", err)
				return nil
			}
			all = append(all, i.exact(id))
			return nil
		})
		if err != nil {
			return nil, fmt.Errorf("list imports: %w", err)
		}
	}
	slices.Reverse(all)
	return all, nil
}

const lookPause = time.Minute // between looks at the Desk

// Run enters the lists that were started until the context ends, which is no
// error. now is the time of the line.
func (im *Importer) Run(ctx context.Context, now func() time.Time) error {
	tick := time.NewTicker(lookPause)
	defer tick.Stop()
	for {
		if err := im.look(ctx, now); err != nil && ctx.Err() == nil {
			im.log.Error("a list of producers waits", "error", err) // it is tried again at the next look
		}
		select {
		case <-ctx.Done():
			return nil
		case <-im.started:
		case <-tick.C:
		}
	}
}

// look enters what was started, the oldest first, and ends what nobody wanted.
func (im *Importer) look(ctx context.Context, now func() time.Time) error {
	all, err := im.List(ctx)
	if err != nil {
		return err
	}
	var failed error
	for _, i := range slices.Backward(all) {
		switch {
		case i.Stage == Running:
			err = im.enter(ctx, i, now)
		case i.Stage == Checked && now().Sub(i.At) > keptFor:
			_, err = im.End(ctx, i.ID, now())
		}
		if ctx.Err() != nil {
			return nil
		}
		failed = errors.Join(failed, err)
	}
	return failed
}

// step is how many rows are entered between two marks of how far the list is.
const step = 25

// enter enters the rest of a list.
func (im *Importer) enter(ctx context.Context, i Import, now func() time.Time) error {
	var rows []Row
	_, err := im.store.Get(ctx, rowsKind, i.ID, &rows)
	if errors.Is(err, gateway.ErrNotFound) { // they were never kept, or it ended just now
		if _, err = im.End(ctx, i.ID, now()); errors.Is(err, ErrStage) {
			err = nil
		}
		return err
	}
	if err != nil {
		return fmt.Errorf("read the rows of list %s: %w", i.ID, err)
	}
	for i.Stage == Running {
		to := min(i.Next+step, len(rows))
		done := Import{}
		for _, r := range rows[min(i.Next, to):to] {
			if err := im.row(ctx, r, i, &done, now()); err != nil {
				return err
			}
		}
		var err error
		i, err = im.change(ctx, i.ID, func(i *Import) error {
			i.Entered += done.Entered
			i.Renewed += done.Renewed
			i.Left += done.Left
			i.Missed += done.Missed
			i.Failed = append(i.Failed, done.Failed[:min(len(done.Failed), maxFailed-len(i.Failed))]...)
			if i.Next = to; to == len(rows) && i.Stage == Running {
				i.Stage, i.Until = Done, now().UTC()
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	return im.drop(ctx, i.ID)
}

// row enters one row. Only an error of the store or the end of the line stops a
// list; what is wrong with the row alone is noted.
func (im *Importer) row(ctx context.Context, r Row, list Import, done *Import, now time.Time) error {
	miss := func(why string) {
		done.Missed++
		done.Failed = append(done.Failed, Fault{r.Line, ColumnPhone, why})
	}
	n, err := r.Number()
	if err != nil {
		return fmt.Errorf("line %d: %w", r.Line, err)
	}
	c, err := im.store.Load(ctx, n)
	if err != nil {
		im.log.Error("a row of a list was passed over", "number", n, "error", err)
		miss("what the line knows of this number cannot be read; the log says why")
		return ctx.Err()
	}
	was, will := c.State.Profile, Renewed(c, r.Profile)
	switch why := refuses(c); {
	case why != "": // since the list was checked
		miss(why)
		return nil
	case c.Rev == 0 && r.Known:
		miss("this person asked to be forgotten since the list was checked")
		return nil
	case c.Rev > 0 && !r.Known && was == will: // entered just before the line stopped
		done.Entered++
		return nil
	case c.Rev > 0 && (!list.Renew || was == will):
		done.Left++
		return nil
	}
	if _, err := im.service.Enrol(ctx, n, will, list.By, now); err != nil {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		im.log.Error("a row of a list was passed over", "number", n, "error", err)
		miss("the line could not enter this number; the log says why")
		return nil
	}
	if c.Rev > 0 {
		done.Renewed++
	} else {
		done.Entered++
	}
	return nil
}

// Renewed returns the profile of a person after an officer changed it. What the
// officer left empty stays, and so does how the person themselves agreed.
func Renewed(c gateway.Conversation, p dialog.Profile) dialog.Profile {
	was := c.State.Profile
	return dialog.Profile{
		Lang:    cmp.Or(p.Lang, was.Lang),
		Place:   cmp.Or(p.Place, was.Place),
		Group:   cmp.Or(p.Group, was.Group),
		Consent: cmp.Or(was.Consent, p.Consent),
	}
}

func sortFaults(f []Fault) {
	slices.SortStableFunc(f, func(a, b Fault) int {
		return cmp.Or(a.Line-b.Line, strings.Compare(a.Column, b.Column))
	})
}
