package console

import (
	"context"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// echo is a phone on a line that says everything back, and writes on its own
// after an hour.
type echo struct {
	now, due time.Time
	closed   *int
}

func (e *echo) Say(_ context.Context, text string) ([]PhoneText, error) {
	e.due = e.now.Add(time.Hour)
	return []PhoneText{{Text: "You wrote: " + text}}, nil
}

func (e *echo) Move(_ context.Context, to time.Time) (texts []PhoneText, err error) {
	if e.now = to; !e.due.IsZero() && !to.Before(e.due) {
		texts, e.due = []PhoneText{{Text: "An hour is over.", Timed: true}}, time.Time{}
	}
	return texts, nil
}

func (e *echo) Next(context.Context) (time.Time, error) { return e.due, nil }
func (e *echo) Now() time.Time                          { return e.now }
func (e *echo) Close() error                            { *e.closed++; return nil }

// practises lets a console open such phones, and returns how many were closed.
func (o *office) practises() *int {
	closed := new(int)
	o.Practice = func(_ context.Context, _ PhoneKind, now time.Time) (Phone, error) {
		return &echo{now: now, closed: closed}, nil
	}
	return closed
}

func TestPractice(t *testing.T) {
	o := newConsole(t)
	closed := o.practises()
	c := o.as(Officer)
	p := c.get("/office/practice")
	require.Zero(t, p.Find("form[action='/office/practice/say']").Length())
	p = c.submit(p, "/office/practice/begin", url.Values{"lang": {"sw"}, "place": {"lakeside"}})
	require.Equal(t, http.StatusOK, p.status)
	require.Contains(t, p.text(), "Mon 2 Mar 09:30 EAT")
	require.Equal(t, "sw", p.Find("#f-text").AttrOr("lang", ""))
	p = c.submit(p, "/office/practice/say", url.Values{"text": {"<script>habari</script>"}})
	require.Equal(t, "<script>habari</script>", p.Find(".talk .own .sms").Text(), "as it was written, and harmless")
	require.Contains(t, p.text(), "You wrote: <script>habari</script>")
	require.Contains(t, p.text(), "To the next message of the line, Mon 2 Mar 10:30 EAT")
	p = c.submit(p, "/office/practice/move", url.Values{"by": {"next"}})
	require.Contains(t, p.Find(".talk .timed").Text(), "An hour is over.")
	require.Contains(t, p.text(), "It is Mon 2 Mar 10:30 EAT")
	p = c.submit(p, "/office/practice/move", url.Values{"by": {"morning"}})
	require.Contains(t, p.text(), "It is Tue 3 Mar 07:00 EAT")
	p = c.submit(p, "/office/practice/move", url.Values{"to": {"2026-03-03T09:15"}})
	require.Contains(t, p.text(), "It is Tue 3 Mar 09:15 EAT")
	for _, wrong := range []url.Values{
		{"by": {"-1h"}}, {"by": {"soon"}}, {"by": {"10000h"}}, {"to": {""}}, {"to": {"2026-03-03T09:00"}}, {"to": {"2027-03-03T09:00"}},
	} {
		bad := c.submit(p, "/office/practice/move", wrong)
		require.Equal(t, http.StatusUnprocessableEntity, bad.status, wrong)
		require.Contains(t, bad.text(), "It is Tue 3 Mar 09:15 EAT")
	}
	require.Equal(t, http.StatusUnprocessableEntity, c.submit(p, "/office/practice/say", url.Values{"text": {strings.Repeat("a", longestText+1)}}).status)

	require.Zero(t, o.as(Administrator).get("/office/practice").Find(".talk").Length(), "each has a phone of their own")
	c.submit(p, "/office/practice/begin", nil)
	require.Equal(t, 1, *closed, "the old one is put away")
	o.wait(20 * time.Minute)
	require.NoError(t, o.phones.collect(o.clock().Add(-phoneIdle)))
	require.Equal(t, 1, *closed, "it is in use")
	require.NoError(t, o.phones.collect(o.clock()))
	require.Equal(t, 2, *closed)
	p = c.submit(p, "/office/practice/say", url.Values{"text": {"hello"}})
	require.Contains(t, p.text(), "Begin first")
}

func TestPracticeIsBounded(t *testing.T) {
	o := newConsole(t)
	closed := o.practises()
	for i := range phonesKept {
		phone, err := o.Practice(t.Context(), PhoneKind{}, o.clock())
		require.NoError(t, err)
		require.NoError(t, o.phones.begin(strings.Repeat("a", i+1), &handset{phone: phone, used: o.clock()}))
	}
	c := o.as(Officer)
	p := c.submit(c.get("/office/practice"), "/office/practice/begin", nil)
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	require.Contains(t, p.text(), "Too many practise")
	require.Equal(t, 1, *closed)
}
