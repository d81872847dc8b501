package webhook

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"cobline/gateway"
)

// optedOut is what a specification calls the word of a gateway that the person
// wants no messages.
const optedOut = "opted-out"

// states are the names of the states in a specification, and in the receipts of
// SMPP 3.4, section 5.2.28 and appendix B.
var states = map[string]gateway.Delivery{
	"queued": gateway.ReportQueued, "submitted": gateway.ReportSubmitted, "accepted": gateway.ReportAccepted,
	"delivered": gateway.ReportDelivered, "failed": gateway.ReportFailed, "expired": gateway.ReportExpired,
	"rejected": gateway.ReportRejected, "unknown": gateway.ReportUnknown, optedOut: gateway.ReportRejected,

	"enroute": gateway.ReportSubmitted, "acceptd": gateway.ReportAccepted, "delivrd": gateway.ReportDelivered,
	"deleted": gateway.ReportFailed, "undeliv": gateway.ReportFailed, "rejectd": gateway.ReportRejected,
	"sent": gateway.ReportSubmitted, "undelivered": gateway.ReportFailed,
}

// reports is a compiled Reports.
type reports struct {
	endpoint
	ref, id, state, reason locator
	states                 map[string]string // the gateway's words to ours
	answer                 *answer
}

func (c *compiler) reports(given *Reports, in reader) *reports {
	if given == nil {
		return nil
	}
	s := *given
	r := &reports{states: map[string]string{}}
	if s.Path == "" || s.Path == in.path {
		c.want(s.When != nil, "reports.when", "is missing: reports come to the path of messages, so say what tells them apart; or give reports a path")
		c.want(s.Check.Open(), "reports.check", "cannot be: reports come to the path of messages, whose check they pass")
		c.want(s.Method == "", "reports.method", "cannot be: reports come to the path of messages, so in.method names their method too")
		s.Path = in.path
	}
	here, there := endpoint{path: in.path}, endpoint{path: s.Path}
	c.want(s.Path == in.path || !here.leads(s.Path) && !there.leads(in.path), "reports.path", "cannot be told from in.path")
	r.endpoint = c.endpoint("reports", s.Path, s.Method, s.As, s.Each, s.Check, s.When)
	r.ref, r.id = c.locator("reports.ref", s.Ref), c.locator("reports.id", s.ID)
	r.state, r.reason = c.locator("reports.state", s.State), c.locator("reports.reason", s.Reason)
	c.items = ""
	c.want(s.Ref != "" || s.ID != "", "reports.ref", "is missing: say where our reference stands, such as query:ref, or else the gateway's id")
	c.want(s.State != "", "reports.state", "is missing: say where stands what became of the message, such as form:status")
	for _, word := range slices.Sorted(maps.Keys(s.States)) {
		name := s.States[word]
		c.want(states[name] != 0, "reports.states."+word, "must be queued, submitted, accepted, delivered, failed, expired, rejected, opted-out or unknown")
		r.states[strings.ToLower(word)] = name
	}
	r.answer = c.reply("reports.answer", s.Answer, Reply{Body: ""})
	return r
}

// report reads a delivery report.
func (t *taker) report(sh *Shape, req *request) error {
	in, f := sh.reports, fieldReader{request: req}
	r := gateway.Report{
		Channel:  sh.spec.Name,
		Ref:      f.may("reference", in.ref),
		Provider: f.may("id", in.id),
		Reason:   f.may("reason", in.reason),
		At:       req.At,
	}
	word := strings.ToLower(strings.TrimSpace(f.must("state", in.state)))
	if f.err == nil && r.Ref == "" && r.Provider == "" {
		f.must("reference", in.ref)
	}
	if f.err != nil {
		return f.err
	}
	if ours, ok := in.states[word]; ok {
		word = ours
	}
	r.State, r.OptedOut = states[word], word == optedOut
	if r.State == 0 {
		f.doubt("state", in.state, fmt.Sprintf("is %.20q, which states does not explain", word))
	}
	t.Reports = append(t.Reports, r)
	t.Doubts = append(t.Doubts, f.doubts...)
	return nil
}

// Acknowledge returns the answer to a request that brought delivery reports
// alone, also to one about a message nobody knows: told so, a gateway would bring
// it again for days.
func (sh *Shape) Acknowledge() (Response, error) {
	if sh.reports == nil {
		return sh.answers[empty].render(said{})
	}
	return sh.reports.answer.render(said{})
}
