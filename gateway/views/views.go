// Package views keeps what the console asks for and the store does not answer:
// where words were written, what was not understood, how long batches take, who
// waits for an officer.
//
// One projector reads the journal behind the key it saved and writes to a file
// of its own, in which nothing is that the store has not: it may be deleted at
// any time and is made anew. The file holds no number. It names a person as the
// journal does, and every answer looks the person up in the store, so that
// whoever was forgotten is gone from the next answer on; what the file still
// holds of them the projector deletes when it comes to the entry, bytes and all.
// What the line said is not kept here but read from the journal.
package views

import (
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"cobline/gateway"
)

// Source is what the views are made from.
type Source interface {
	gateway.Log
	gateway.People
	gateway.Desk
	Load(ctx context.Context, n gateway.Number) (gateway.Conversation, error)
}

// Options are the fixed settings of views. A file made with other ones is made
// anew.
type Options struct {
	Home string         // the place of people who named none
	Zone *time.Location // where days begin; nil: UTC
	Log  *slog.Logger   // default: slog.Default
}

// Views answers the console's questions. It is safe for concurrent use.
type Views struct {
	source  Source
	options Options
	path    string

	mu            sync.RWMutex // guards the two against being opened anew
	writer, reads *sql.DB
	broken        atomic.Bool // a query found the file damaged

	taken   atomic.Uint64 // entries projected
	entries atomic.Uint64 // entries there are
	behind  atomic.Int64  // how much older the last entry projected is than the newest, in nanoseconds
	reached atomic.Int64  // when the last entry projected was written, in milliseconds
	pending atomic.Int64  // persons to be looked up
	primed  atomic.Bool   // the four are known
	traces  atomic.Bool   // the log beside the file may hold what was deleted

	cases chan gateway.Key // entries whose case may stand otherwise than the file says
}

// Open opens the file at path or makes it. A file that is damaged, of another
// program, or ahead of the journal is thrown away; Run makes it anew.
func Open(path string, source Source, o Options) (*Views, error) {
	if o.Zone == nil {
		o.Zone = time.UTC
	}
	if o.Log == nil {
		o.Log = slog.Default()
	}
	v := &Views{source: source, options: o, path: path, cases: make(chan gateway.Key, maxCases)}
	v.traces.Store(true)
	why, err := v.open()
	if err != nil || why == "" {
		return v, err
	}
	return v, v.begin(why)
}

// Close closes the file. Run must have ended.
func (v *Views) Close() error {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.close()
}

func (v *Views) close() error {
	var err error
	for _, db := range []*sql.DB{v.reads, v.writer} {
		if db != nil {
			err = errors.Join(err, db.Close())
		}
	}
	v.reads, v.writer = nil, nil
	return err
}

// schemaVersion says what the file holds and how it was reckoned. Any change of
// either makes a new one.
const schemaVersion = 6

// version is what a file must say to be used.
func (v *Views) version() string {
	return fmt.Sprintf("%d %s %s", schemaVersion, v.options.Zone, v.options.Home)
}

// Deleted words must not stay in the file's free space, hence secure_delete.
const (
	readers    = 4
	writerMode = "_pragma=journal_mode(WAL)&_pragma=synchronous(NORMAL)&_pragma=secure_delete(ON)&_pragma=cache_size(-131072)&_pragma=busy_timeout(5000)&_txlock=immediate"
	readerMode = "_pragma=query_only(ON)&_pragma=cache_size(-32768)&_pragma=busy_timeout(5000)&_pragma=mmap_size(1073741824)"
)

// open opens the file and returns why it is of no use; empty if it is.
func (v *Views) open() (why string, err error) {
	if v.writer, err = sql.Open("sqlite", "file:"+v.path+"?"+writerMode); err != nil {
		return "", fmt.Errorf("open views %s: %w", v.path, err)
	}
	v.writer.SetMaxOpenConns(1)
	if v.reads, err = sql.Open("sqlite", "file:"+v.path+"?"+readerMode); err != nil {
		return "", errors.Join(fmt.Errorf("open views %s: %w", v.path, err), v.close())
	}
	v.reads.SetMaxOpenConns(readers)
	v.reads.SetMaxIdleConns(readers)
	ctx := context.Background()
	saved, err := v.saved(ctx, v.writer)
	switch {
	case err == nil:
		return v.strays(ctx, saved)
	case damaged(err):
		return "it is damaged", nil
	case errors.Is(err, errVersion), errors.Is(err, errNew):
		return err.Error(), nil
	}
	return "", errors.Join(fmt.Errorf("open views %s: %w", v.path, err), v.close())
}

var (
	errNew     = errors.New("it is new")
	errVersion = errors.New("it is of another version")
)

// saved returns the key up to which the file is made.
func (v *Views) saved(ctx context.Context, db *sql.DB) (k gateway.Key, err error) {
	var tables int
	if err := db.QueryRowContext(ctx, `SELECT count(*) FROM sqlite_schema WHERE name = 'meta'`).Scan(&tables); err != nil {
		return k, err
	}
	if tables == 0 {
		return k, errNew
	}
	var version string
	var key []byte
	err = db.QueryRowContext(ctx, `SELECT version, key FROM meta`).Scan(&version, &key)
	if errors.Is(err, sql.ErrNoRows) || err == nil && (version != v.version() || len(key) != len(k)) {
		return k, errVersion
	}
	if err != nil {
		return k, err
	}
	return gateway.Key(key), nil
}

// strays returns why a file does not belong to the journal: an older copy of the
// store was put in place, and the file tells of entries that are not there.
func (v *Views) strays(ctx context.Context, saved gateway.Key) (why string, err error) {
	last, err := v.source.Last(ctx)
	if err != nil {
		return "", err
	}
	v.entries.Store(counter(last))
	v.taken.Store(counter(saved))
	v.reached.Store(saved.Time().UnixMilli())
	if saved.IsZero() {
		return "", nil
	}
	if _, err := v.entry(ctx, saved); errors.Is(err, gateway.ErrNotFound) {
		return "the journal is not the one it was made from", nil
	} else if err != nil {
		return "", err
	}
	return "", nil
}

// begin throws the file away and makes an empty one.
func (v *Views) begin(why string) error {
	v.mu.Lock()
	defer v.mu.Unlock()
	if why != errNew.Error() {
		v.options.Log.Warn("views are made anew", "file", v.path, "why", why)
	}
	err := v.close()
	if err != nil { // a damaged file may not close well, and goes
		v.options.Log.Warn("the old views did not close", "error", err)
	}
	for _, end := range []string{"", "-wal", "-shm", "-journal"} {
		if err := os.RemoveAll(v.path + end); err != nil {
			return fmt.Errorf("remove old views: %w", err)
		}
	}
	f, err := os.OpenFile(v.path, os.O_CREATE|os.O_WRONLY, 0o600) // the library would make it readable for others
	if err != nil {
		return fmt.Errorf("make views: %w", err)
	}
	if err := f.Close(); err != nil {
		return fmt.Errorf("make views: %w", err)
	}
	if _, err := v.open(); err != nil {
		return err
	}
	if _, err := v.writer.Exec(schema); err != nil {
		return fmt.Errorf("make views: %w", err)
	}
	if _, err := v.writer.Exec(`INSERT INTO meta (version, key) VALUES (?, ?)`, v.version(), make([]byte, len(gateway.Key{}))); err != nil {
		return fmt.Errorf("make views: %w", err)
	}
	v.taken.Store(0)
	v.reached.Store(0)
	v.primed.Store(false)
	v.broken.Store(false)
	return nil
}

// schema is the tables. An id is the number of a journal entry in the upper bits
// and, for a message, its place in the turn in the lower ones: ids order as keys
// do. Times are milliseconds since 1970, days and months are numbers such as
// 20260302 and 202603. A person is the octets of their key.
const schema = `
CREATE TABLE meta (version TEXT NOT NULL, key BLOB NOT NULL);

-- What is in a person's conversation. Text and norm are what they wrote. What officers write to the office is not of kind 1.
CREATE TABLE line (
	id INTEGER PRIMARY KEY, at INTEGER NOT NULL, person INTEGER NOT NULL, kind INTEGER NOT NULL,
	channel TEXT NOT NULL, place TEXT NOT NULL, lang TEXT NOT NULL, topic TEXT NOT NULL, step TEXT NOT NULL,
	understood INTEGER NOT NULL, text TEXT NOT NULL, norm TEXT
);
CREATE INDEX line_person ON line (person, id);
CREATE INDEX line_place ON line (place, id) WHERE kind = 1;
CREATE INDEX line_lang ON line (lang, id) WHERE kind = 1;
CREATE INDEX line_topic ON line (topic, id) WHERE kind = 1;
CREATE INDEX line_norm ON line (lang, norm, at) WHERE norm IS NOT NULL;
CREATE VIRTUAL TABLE words USING fts5 (text, content = '', detail = none, tokenize = "unicode61 remove_diacritics 0 categories 'L* N* Co M*'");
INSERT INTO words (words, rank) VALUES ('secure-delete', 1);

-- What was given to gateways, and what became of it.
CREATE TABLE sent (
	id INTEGER PRIMARY KEY, segments INTEGER NOT NULL, money INTEGER NOT NULL,
	outcome INTEGER NOT NULL DEFAULT 0, delivery INTEGER NOT NULL DEFAULT 0, why TEXT NOT NULL DEFAULT ''
);

-- Persons: where the projector stands with each, and, from the store, who they are. Shown are producers: not whoever only has an officer's or a duty phone.
CREATE TABLE person (
	key INTEGER PRIMARY KEY, gone INTEGER NOT NULL DEFAULT 0, shown INTEGER NOT NULL DEFAULT 0, dirty INTEGER NOT NULL DEFAULT 0,
	first INTEGER NOT NULL DEFAULT 0, last INTEGER NOT NULL DEFAULT 0, texts INTEGER NOT NULL DEFAULT 0,
	stop_month INTEGER NOT NULL DEFAULT 0, stop_place TEXT NOT NULL DEFAULT '', stop_lang TEXT NOT NULL DEFAULT '', stop_topic TEXT NOT NULL DEFAULT '', stop_step TEXT NOT NULL DEFAULT '',
	recipe INTEGER NOT NULL DEFAULT 0, recipe_last INTEGER NOT NULL DEFAULT 0, lit INTEGER NOT NULL DEFAULT 0, done INTEGER NOT NULL DEFAULT 0, alarm INTEGER NOT NULL DEFAULT 0,
	place TEXT NOT NULL DEFAULT '', grp TEXT NOT NULL DEFAULT '', lang TEXT NOT NULL DEFAULT '', stopped INTEGER NOT NULL DEFAULT 0, accepts INTEGER NOT NULL DEFAULT 0, seen INTEGER NOT NULL DEFAULT 0
);
CREATE INDEX person_dirty ON person (key) WHERE dirty = 1;
CREATE INDEX person_last ON person (last) WHERE last > 0;
-- These two hold all that lists of people ask for, so that counting reads nothing else.
CREATE INDEX person_seen ON person (seen, key, place, grp, lang, stopped) WHERE shown = 1;
CREATE INDEX person_place ON person (place, seen, key, grp, lang, stopped) WHERE shown = 1;
CREATE TABLE drum (person INTEGER NOT NULL, n INTEGER NOT NULL, stage TEXT NOT NULL, place TEXT NOT NULL, PRIMARY KEY (person, n)) WITHOUT ROWID;
CREATE INDEX drum_stage ON drum (stage, place, person);

-- Finished batches. Days is from the recipe, empty where nobody knows.
CREATE TABLE batch (
	person INTEGER NOT NULL, at INTEGER NOT NULL, name TEXT NOT NULL, month INTEGER NOT NULL, waste TEXT NOT NULL, place TEXT NOT NULL,
	drums INTEGER NOT NULL, feed REAL NOT NULL, char REAL NOT NULL, brands REAL NOT NULL, minutes REAL NOT NULL, moisture REAL NOT NULL, ash TEXT NOT NULL, days REAL,
	PRIMARY KEY (person, at, name)
) WITHOUT ROWID;
CREATE INDEX batch_at ON batch (at, person, waste);

-- Sums. A bin of spread is a step of what is measured, so that medians come from counts.
CREATE TABLE made (month INTEGER NOT NULL, waste TEXT NOT NULL, place TEXT NOT NULL, n INTEGER NOT NULL, feed REAL NOT NULL, char REAL NOT NULL, PRIMARY KEY (month, waste, place)) WITHOUT ROWID;
CREATE TABLE spread (what INTEGER NOT NULL, month INTEGER NOT NULL, waste TEXT NOT NULL, place TEXT NOT NULL, bin INTEGER NOT NULL, n INTEGER NOT NULL, PRIMARY KEY (what, month, waste, place, bin)) WITHOUT ROWID;
CREATE TABLE said (day INTEGER NOT NULL, place TEXT NOT NULL, lang TEXT NOT NULL, n INTEGER NOT NULL, puzzled INTEGER NOT NULL, PRIMARY KEY (day, place, lang)) WITHOUT ROWID;
CREATE TABLE about (month INTEGER NOT NULL, place TEXT NOT NULL, lang TEXT NOT NULL, topic TEXT NOT NULL, n INTEGER NOT NULL, puzzled INTEGER NOT NULL, PRIMARY KEY (month, place, lang, topic)) WITHOUT ROWID;
-- Stops are asked by topic and step: in that order nothing is sorted.
CREATE TABLE stop (month INTEGER NOT NULL, place TEXT NOT NULL, lang TEXT NOT NULL, topic TEXT NOT NULL, step TEXT NOT NULL, n INTEGER NOT NULL, PRIMARY KEY (topic, step, month, place, lang)) WITHOUT ROWID;
CREATE TABLE spend (day INTEGER NOT NULL, channel TEXT NOT NULL, segments INTEGER NOT NULL, money INTEGER NOT NULL, PRIMARY KEY (day, channel)) WITHOUT ROWID;

-- What waits for an officer. Seen is when a duty phone, or the line itself, saw to it; state is that of the case on the desk.
CREATE TABLE matter (
	what INTEGER NOT NULL, id INTEGER NOT NULL, at INTEGER NOT NULL, person INTEGER NOT NULL, place TEXT NOT NULL, lang TEXT NOT NULL,
	kind TEXT NOT NULL, text TEXT NOT NULL, seen INTEGER NOT NULL DEFAULT 0, state INTEGER NOT NULL DEFAULT 0, open INTEGER NOT NULL DEFAULT 1,
	PRIMARY KEY (what, id)
) WITHOUT ROWID;
CREATE INDEX matter_open ON matter (what, open, id);
CREATE INDEX matter_person ON matter (person, what);
CREATE INDEX matter_id ON matter (id);
`

// damaged reports whether an error says that the file is no good any more.
func damaged(err error) bool {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return false
	}
	switch e.Code() & 0xff {
	case sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_FORMAT:
		return true
	case sqlite3.SQLITE_ERROR:
		return strings.Contains(e.Error(), "no such table") || strings.Contains(e.Error(), "malformed")
	}
	return false
}

// counter returns the number of an entry, which its key ends with.
func counter(k gateway.Key) uint64 {
	var b [8]byte
	copy(b[3:], k[6:])
	return binary.BigEndian.Uint64(b[:])
}

// The lower bits of an id: zero for the entry, one more than its place for a
// message.
const messageBits = 9

func lineID(k gateway.Key) int64 { return int64(counter(k)) << messageBits }

func sentID(k gateway.Key, index int) int64 { return lineID(k) + int64(index) + 1 }

func keyOf(id, at int64) gateway.Key {
	return gateway.NewKey(time.UnixMilli(at), uint64(id)>>messageBits)
}

func personID(k gateway.PersonKey) int64 { return int64(binary.BigEndian.Uint64(k[:])) }

func personKey(id int64) (k gateway.PersonKey) {
	binary.BigEndian.PutUint64(k[:], uint64(id))
	return k
}

func moment(ms int64) time.Time {
	if ms == 0 {
		return time.Time{}
	}
	return time.UnixMilli(ms).UTC()
}

func (v *Views) day(t time.Time) int64 {
	y, m, d := t.In(v.options.Zone).Date()
	return int64(y*10000 + int(m)*100 + d)
}

func (v *Views) dayTime(day int64) time.Time {
	return time.Date(int(day/10000), time.Month(day/100%100), int(day%100), 0, 0, 0, 0, v.options.Zone)
}

func (v *Views) monthTime(month int64) time.Time { return v.dayTime(month*100 + 1) }

// entry reads one entry of the journal. The error is gateway.ErrNotFound if it
// is not there.
func (v *Views) entry(ctx context.Context, k gateway.Key) (gateway.Entry, error) {
	before := k
	for i := len(before) - 1; i >= 0; i-- {
		before[i]--
		if before[i] != 0xff {
			break
		}
	}
	found, err := v.source.After(ctx, before, 1)
	if err != nil {
		return gateway.Entry{}, err
	}
	if len(found) == 0 || found[0].Key != k {
		return gateway.Entry{}, gateway.ErrNotFound
	}
	return found[0], nil
}

// Progress is how far the views have come.
type Progress struct {
	Taken, Entries uint64        // entries projected, and there are
	Behind         time.Duration // how much older the last one projected is than the newest
	Pending        int           // persons still to be looked up
}

// Whole reports whether the views know all the journal does.
func (p Progress) Whole() bool { return p.Taken >= p.Entries && p.Pending == 0 }

// Progress returns how far the views have come.
func (v *Views) Progress() Progress {
	return Progress{v.taken.Load(), v.entries.Load(), time.Duration(v.behind.Load()), int(v.pending.Load())}
}

// query runs a query and calls f with each row.
func (v *Views) query(ctx context.Context, f func(row *sql.Rows) error, query string, args ...any) error {
	v.mu.RLock()
	defer v.mu.RUnlock()
	if v.reads == nil {
		return errClosed
	}
	rows, err := v.reads.QueryContext(ctx, query, args...)
	if err != nil {
		return v.failed(err)
	}
	defer rows.Close()
	for rows.Next() {
		if err := f(rows); err != nil {
			return v.failed(err)
		}
	}
	return v.failed(rows.Err())
}

var errClosed = errors.New("the views are closed")

// failed notes that the file is damaged; the projector makes it anew.
func (v *Views) failed(err error) error {
	if err == nil {
		return nil
	}
	if damaged(err) {
		v.broken.Store(true)
	}
	return fmt.Errorf("ask views: %w", err)
}
