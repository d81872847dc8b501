package gateway

import "time"

// Quiet is the part of each day in which nobody is woken. The zero Quiet is
// none.
type Quiet struct {
	From, To Clock // From after To wraps midnight; equal is never quiet
}

// Clock is a time of day as a wall clock shows it.
type Clock struct{ Hour, Minute int }

func (c Clock) minutes() int { return c.Hour*60 + c.Minute }

// Until returns the first moment from t on that is not quiet, as the clocks show
// it in t's location: t itself if t is not quiet.
func (q Quiet) Until(t time.Time) time.Time {
	if !q.covers(t) {
		return t
	}
	day := t.Day()
	if (Clock{t.Hour(), t.Minute()}).minutes() >= q.To.minutes() {
		day++
	}
	end := time.Date(t.Year(), t.Month(), day, q.To.Hour, q.To.Minute, 0, 0, t.Location())
	// Where clocks are set, the end of the quiet hours may not exist or may come
	// twice.
	if end.Before(t) {
		end = t.Truncate(time.Minute)
	}
	for q.covers(end) {
		end = end.Add(time.Minute)
	}
	return end
}

func (q Quiet) covers(t time.Time) bool {
	from, to, now := q.From.minutes(), q.To.minutes(), Clock{t.Hour(), t.Minute()}.minutes()
	if from <= to {
		return from <= now && now < to
	}
	return now >= from || now < to
}
