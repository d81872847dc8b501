package console

import (
	"context"
	"errors"
	"maps"
	"net/url"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"cobline/gateway"
)

// Whom a notice would reach is found by looking at each person, as when it is
// sent. With many people that takes longer than anybody waits for a page, so it
// goes on behind the page, which tells how far it is.

// patience is how long a page waits for what is being counted, if nobody says
// otherwise.
const patience = 100 * time.Millisecond

const (
	countFresh    = 30 * time.Second // so long a count holds for the same notice
	countKept     = 30 * time.Minute // as long as an officer may look at it
	headcountTime = 10 * time.Minute
	mostCounts    = 50
)

// headcount is a notice whose people are being counted, or were.
type headcount struct {
	by         string     // the account
	form       url.Values // with the id of the notice
	notice     gateway.Notice
	at         time.Time
	looked, of atomic.Int64
	stop       context.CancelFunc

	done    chan struct{} // closed when the two are known
	preview gateway.Preview
	err     error
}

// wait reports whether it is counted, or was soon after.
func (c *headcount) wait(q *request) bool {
	ctx, cancel := context.WithTimeout(q.ctx, q.patience)
	defer cancel()
	select {
	case <-c.done:
		return true
	case <-ctx.Done():
		return false
	}
}

// known reports whether it is counted.
func (c *headcount) known() bool {
	select {
	case <-c.done:
		return true
	default:
		return false
	}
}

// hidden are the fields of the form, for the forms of the next page.
func (c *headcount) hidden() (list []option) {
	for _, name := range slices.Sorted(maps.Keys(c.form)) {
		for _, v := range c.form[name] {
			list = append(list, option{name, v})
		}
	}
	return list
}

// headcounts are the newest counts, the oldest first. Each account has one that runs.
type headcounts struct {
	mu   sync.Mutex
	list []*headcount
}

// find returns the count of a notice of an account; nil if there is none.
func (cs *headcounts) find(by, id string) *headcount {
	cs.mu.Lock()
	defer cs.mu.Unlock()
	i := slices.IndexFunc(cs.list, func(c *headcount) bool { return c.by == by && c.form.Get("id") == id })
	if i < 0 {
		return nil
	}
	return cs.list[i]
}

// add keeps a count, in place of what the same account counted before and has not
// finished, or has of the same notice.
func (cs *headcounts) add(c *headcount) {
	cs.mu.Lock()
	defer cs.mu.Unlock()
	cs.list = slices.DeleteFunc(cs.list, func(old *headcount) bool {
		if old.known() {
			return c.at.Sub(old.at) > countKept || old.by == c.by && old.form.Get("id") == c.form.Get("id")
		}
		if old.by == c.by {
			old.stop()
		}
		return old.by == c.by
	})
	cs.list = append(cs.list, c)
	cs.list = cs.list[max(0, len(cs.list)-mostCounts):]
}

// count counts whom the notice of a form would reach, unless something in the
// form is to be mended, or the same was counted lately.
func (q *request) count(f *noticeForm, n gateway.Notice, lately time.Duration) (*headcount, error) {
	if f.Wrong() {
		return nil, nil
	}
	values := maps.Clone(q.form)
	for _, name := range []string{tokenField, "phone", "try-lang"} {
		delete(values, name)
	}
	if values.Get("id") == "" {
		values.Set("id", gateway.NewNoticeID(q.now))
	}
	c := q.counts.find(q.Account.Name, values.Get("id"))
	if c != nil && c.form.Encode() == values.Encode() && q.now.Sub(c.at) < lately && (!c.known() || c.err == nil) {
		return c, nil
	}
	c = &headcount{by: q.Account.Name, form: values, notice: n, at: q.now, done: make(chan struct{})}
	ctx, cancel := longer(q.ctx, headcountTime)
	c.stop = cancel
	q.counts.add(c)
	notices := q.Notices
	go func() {
		defer cancel()
		defer close(c.done)
		c.err = contained(func() (err error) {
			c.preview, err = notices.Count(ctx, n, c.at, func(looked, of int) {
				c.looked.Store(int64(looked))
				c.of.Store(int64(of))
			})
			return err
		})
	}()
	var unfit gateway.Unfit
	if c.wait(q) && errors.As(c.err, &unfit) { // which is found before anybody is looked at
		f.What.Fault = sentence(unfit.Error())
	}
	return c, nil
}
