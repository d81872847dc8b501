package webhook

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"cobline/gateway"
)

// Throttled says that the gateway wants fewer messages: the channel should rest.
// The message is not to blame.
type Throttled struct {
	Reason string
	After  time.Duration // as long as the gateway said; zero if it did not
}

// Error returns the gateway's reason.
func (t Throttled) Error() string { return "the gateway wants fewer messages: " + t.Reason }

// RetryAfter returns how long the channel should rest at least.
func (t Throttled) RetryAfter() time.Duration { return t.After }

// judge decides what an answer of the gateway means.
type judge struct {
	rules      []rule
	ok, retry  []string
	block      []string
	id, reason locator
}

type rule struct {
	statuses []string
	fits     condition // nil: the status is enough
	means    string
}

// verdicts are what a rule may mean.
var verdicts = []string{"taken", "later", "throttled", "refused", optedOut, "blocked", "unsure"}

// blocking are the statuses that say something about the channel and nothing
// about the message: RFC 9110 sections 15.4, 15.5.2 to 15.5.4.
var blocking = []string{"3xx", "401", "402", "403"}

func (c *compiler) judge(o Out) judge {
	j := judge{
		block: blocking,
		id:    c.locator("out.id", o.ID), reason: c.locator("out.reason", o.Reason),
	}
	if len(o.Command) > 0 {
		// A program that fails has taken nothing, and may not tomorrow either.
		j.ok, j.retry, j.block = c.statuses("out.ok", o.OK, []string{"0"}), c.statuses("out.retry", o.Retry, []string{"any"}), nil
	} else {
		j.ok, j.retry = c.statuses("out.ok", o.OK, []string{"2xx"}), c.statuses("out.retry", o.Retry, []string{"408", "425", "429", "5xx"})
	}
	for i, r := range o.Rules {
		key := fmt.Sprintf("out.rules[%d]", i)
		one := rule{statuses: c.statuses(key+".status", r.Status, nil), means: r.Means}
		if r.At != "" || r.Is != "" {
			one.fits = c.when(key, &When{At: r.At, Is: r.Is})
		}
		c.want(r.At != "" || len(r.Status) > 0, key, "fits everything: give it a status, or at and is")
		c.want(slices.Contains(verdicts, r.Means), key+".means", "must be one of "+strings.Join(verdicts, ", "))
		j.rules = append(j.rules, one)
	}
	return j
}

// result is what came of an attempt: an answer over HTTP, or a program that
// ended.
type result struct {
	status int
	header http.Header
	body   []byte
	cut    bool // there was more of the body
	sent   sent
}

// of returns the gateway's id of a message that was taken, or the error that
// says what became of it.
func (j judge) of(res result) (id string, err error) {
	r := newRequest(Request{Header: res.header, Body: res.body}, "", "")
	r.lax = true
	switch j.verdict(res, r) {
	case "taken":
		v, _, err := j.id.find(r)
		if err != nil {
			return "", nil // taken without an id is taken
		}
		return v.text(), nil
	case "later":
		return "", fmt.Errorf("the gateway put it off: %s", j.why(res, r))
	case "throttled":
		return "", Throttled{Reason: j.why(res, r), After: retryAfter(res.header, time.Now())}
	case "blocked":
		return "", gateway.Blocked{Reason: j.why(res, r)}
	case optedOut:
		return "", gateway.Refused{Reason: j.why(res, r), OptedOut: true}
	case "unsure":
		return "", fmt.Errorf("%w: %s", gateway.ErrUnsure, j.why(res, r))
	default:
		return "", gateway.Refused{Reason: j.why(res, r)}
	}
}

func (j judge) verdict(res result, r *request) string {
	for _, rule := range j.rules {
		if rule.statuses != nil && !matches(rule.statuses, res.status) {
			continue
		}
		if rule.fits != nil && res.cut {
			return "unsure" // what it waits for may stand in what is missing
		}
		if rule.fits == nil || rule.fits(r) {
			return rule.means
		}
	}
	switch {
	case matches(j.ok, res.status):
		return "taken"
	case res.status == http.StatusTooManyRequests,
		matches(j.retry, res.status) && res.header.Get("Retry-After") != "":
		return "throttled"
	case matches(j.retry, res.status):
		return "later"
	case matches(j.block, res.status):
		return "blocked"
	}
	return "refused"
}

// reasonLength is as much of a gateway's reason as is kept.
const reasonLength = 200

func (j judge) why(res result, r *request) string {
	text := clean(string(res.body))
	if v, ok, err := j.reason.find(r); ok && err == nil {
		text = v.text()
	}
	text = res.sent.mask(text)
	if runes := []rune(text); len(runes) > reasonLength {
		text = string(runes[:reasonLength]) + "…"
	}
	return strings.TrimSpace(fmt.Sprintf("status %d %s", res.status, strings.TrimSpace(text)))
}

// retryAfter reads how long to wait, in seconds or as a date: RFC 9110 section
// 10.2.3.
func retryAfter(h http.Header, now time.Time) time.Duration {
	text := h.Get("Retry-After")
	if n, err := strconv.Atoi(text); err == nil && n > 0 {
		return time.Duration(min(n, 24*60*60)) * time.Second
	}
	if at, err := http.ParseTime(text); err == nil && at.After(now) {
		return min(at.Sub(now), 24*time.Hour)
	}
	return 0
}
