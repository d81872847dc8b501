package boltstore

import (
	"bytes"
	"cmp"
	"container/heap"
	"encoding/binary"
	"slices"
	"sync"
	"time"

	"cobline/dialog"
	"cobline/gateway"
)

// queue is the order of the outbox, in memory: what is due to whom, who has
// something in flight, and who comes next on each channel.
type queue struct {
	mu       sync.Mutex
	lines    map[place]*line
	rows     map[[refLength]byte]*line
	channels map[string]*lanes
	paused   map[string]bool // notices
}

// place is where one person stands on one channel.
type place struct {
	channel string
	number  uint64
}

// line is what waits for one person on one channel, in the order it was
// written. It stands in one lane at a time.
type line struct {
	place
	rows []*row

	in      *lane
	at      int // its position there
	next    *row
	urgency dialog.Urgency // of the most urgent of what is due
	wake    time.Time      // when it may be its turn, if not now
}

// row is a waiting message without its text.
type row struct {
	ref              [refLength]byte
	urgency          dialog.Urgency
	notBefore, retry time.Time
	leased           time.Time // until when it is in flight
	notice           string
	ahead            bool // of other bulletins
}

// lanes hold the lines of a channel: those with something to send now, the most
// urgent first, and the others by when they wake.
type lanes struct{ ready, waiting lane }

func newQueue() *queue {
	return &queue{lines: map[place]*line{}, rows: map[[refLength]byte]*line{}, channels: map[string]*lanes{}, paused: map[string]bool{}}
}

// add puts a message in its place, or replaces it there; it is no longer in
// flight.
func (q *queue) add(w waiting) {
	q.mu.Lock()
	defer q.mu.Unlock()
	p := place{w.Channel, w.Number}
	l := q.lines[p]
	if l == nil {
		l = &line{place: p}
		q.lines[p] = l
	}
	r := &row{
		ref: w.ref, urgency: w.Urgency, notBefore: w.NotBefore, retry: w.Retry,
		notice: w.Message.Notice, ahead: w.Message.Ahead,
	}
	i, found := l.find(w.ref)
	if found {
		l.rows[i] = r
	} else {
		l.rows = slices.Insert(l.rows, i, r)
	}
	q.rows[w.ref] = l
	q.wait(l, time.Time{})
}

func (q *queue) remove(ref [refLength]byte) {
	q.mu.Lock()
	defer q.mu.Unlock()
	l := q.rows[ref]
	if l == nil {
		return
	}
	delete(q.rows, ref)
	i, _ := l.find(ref)
	l.rows = slices.Delete(l.rows, i, i+1)
	if len(l.rows) == 0 {
		l.leave()
		delete(q.lines, l.place)
		return
	}
	q.wait(l, time.Time{})
}

// waiting returns how many messages each channel holds.
func (q *queue) waiting() map[string]int {
	q.mu.Lock()
	defer q.mu.Unlock()
	n := map[string]int{}
	for p, l := range q.lines {
		n[p.channel] += len(l.rows)
	}
	return n
}

// of returns what waits for a number, and what is in flight, of some urgencies
// or of all.
func (q *queue) of(n gateway.Number, urgencies ...dialog.Urgency) (idle, flying [][refLength]byte) {
	q.mu.Lock()
	defer q.mu.Unlock()
	number := binary.BigEndian.Uint64(numberKey(n))
	for channel := range q.channels {
		l := q.lines[place{channel, number}]
		if l == nil {
			continue
		}
		for _, r := range l.rows {
			switch {
			case len(urgencies) > 0 && !slices.Contains(urgencies, r.urgency):
			case r.leased.IsZero():
				idle = append(idle, r.ref)
			default:
				flying = append(flying, r.ref)
			}
		}
	}
	return idle, flying
}

// lease chooses at most max messages of a channel and holds each until a time.
func (q *queue) lease(channel string, now, until time.Time, max int) (refs [][refLength]byte) {
	q.mu.Lock()
	defer q.mu.Unlock()
	ch := q.channels[channel]
	if ch == nil {
		return nil
	}
	for len(ch.waiting.lines) > 0 && !ch.waiting.lines[0].wake.After(now) {
		q.settle(ch.waiting.lines[0], now)
	}
	for len(ch.ready.lines) > 0 && len(refs) < max {
		l := ch.ready.lines[0]
		if q.settle(l, now); l.next == nil { // the time ran back since
			continue
		}
		l.next.leased = until
		refs = append(refs, l.next.ref)
		q.settle(l, now)
	}
	return refs
}

// pause keeps the references to a notice from being leased, or lets them.
func (q *queue) pause(notice string, paused bool) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.paused[notice] == paused {
		return
	}
	if q.paused[notice] = paused; paused {
		return
	}
	delete(q.paused, notice)
	for _, l := range q.lines {
		if slices.ContainsFunc(l.rows, func(r *row) bool { return r.notice == notice }) {
			q.wait(l, time.Time{})
		}
	}
}

// settle finds out what a line has to send now and puts it in its lane.
func (q *queue) settle(l *line, now time.Time) {
	l.look(now, q.paused)
	if l.next == nil {
		q.wait(l, l.wake)
		return
	}
	l.enter(&q.channels[l.channel].ready)
}

// wait lets a line be looked at again at a time.
func (q *queue) wait(l *line, wake time.Time) {
	ch := q.channels[l.channel]
	if ch == nil {
		ch = &lanes{ready: lane{before: byUrgency}, waiting: lane{before: byWake}}
		q.channels[l.channel] = ch
	}
	l.wake = wake
	l.enter(&ch.waiting)
}

// look finds what the line has to send now: an emergency, whatever else is under
// way; else, if nothing is in flight, the first message that is due, unless it
// waits to be tried again; a bulletin only if nothing else is due. If there is
// nothing, wake says when to look again.
func (l *line) look(now time.Time, paused map[string]bool) {
	l.next, l.urgency, l.wake = nil, 0, time.Time{}
	var first *row
	busy, burning := false, false
	for _, r := range l.rows {
		switch {
		case r.leased.After(now):
			busy = true
			burning = burning || r.urgency == dialog.Emergency
			l.wakeAt(r.leased)
		case r.notBefore.After(now):
			l.wakeAt(r.notBefore)
		case paused[r.notice]:
			l.wakeAt(now.Add(time.Hour)) // the end of the pause wakes it, too
		default:
			if first == nil || r.rank() < first.rank() {
				first = r
			}
			l.urgency = min(cmp.Or(l.urgency, r.urgency), r.urgency)
		}
	}
	var held []byte // the turn of an emergency that waits to be tried again: what it said after that waits behind it
	for _, r := range l.rows {
		due := r.urgency == dialog.Emergency && !r.leased.After(now) && !r.notBefore.After(now)
		switch turn := r.ref[:refLength-1]; {
		case due && bytes.Equal(turn, held):
		case due && r.retry.After(now):
			held = turn
			l.wakeAt(r.retry)
		case due && !burning:
			l.next, l.urgency = r, dialog.Emergency
			return
		}
	}
	switch {
	case first == nil || busy:
	case first.retry.After(now):
		l.wakeAt(first.retry)
	default:
		l.next = first
	}
}

// rank orders what a person is due: what is no bulletin, as it was written, then
// bulletins.
func (r *row) rank() int {
	switch {
	case r.urgency != dialog.Bulletin:
		return 0
	case r.ahead:
		return 1
	}
	return 2
}

func (l *line) wakeAt(t time.Time) {
	if l.wake.IsZero() || t.Before(l.wake) {
		l.wake = t
	}
}

func (l *line) find(ref [refLength]byte) (int, bool) {
	return slices.BinarySearchFunc(l.rows, ref, func(r *row, ref [refLength]byte) int {
		return slices.Compare(r.ref[:], ref[:])
	})
}

func (l *line) enter(to *lane) {
	if l.in == to {
		heap.Fix(to, l.at)
		return
	}
	l.leave()
	l.in = to
	heap.Push(to, l)
}

func (l *line) leave() {
	if l.in != nil {
		heap.Remove(l.in, l.at)
		l.in = nil
	}
}

// lane is a heap of lines.
type lane struct {
	lines  []*line
	before func(a, b *line) bool
}

func byWake(a, b *line) bool { return a.wake.Before(b.wake) }

func byUrgency(a, b *line) bool {
	if a.urgency == b.urgency && a.next.ahead != b.next.ahead {
		return a.next.ahead
	}
	return cmp.Or(cmp.Compare(a.urgency, b.urgency), slices.Compare(a.next.ref[:], b.next.ref[:])) < 0
}

func (h *lane) Len() int           { return len(h.lines) }
func (h *lane) Less(i, j int) bool { return h.before(h.lines[i], h.lines[j]) }

func (h *lane) Swap(i, j int) {
	h.lines[i], h.lines[j] = h.lines[j], h.lines[i]
	h.lines[i].at, h.lines[j].at = i, j
}

func (h *lane) Push(x any) {
	l := x.(*line)
	l.at = len(h.lines)
	h.lines = append(h.lines, l)
}

func (h *lane) Pop() any {
	l := h.lines[len(h.lines)-1]
	h.lines = h.lines[:len(h.lines)-1]
	return l
}
