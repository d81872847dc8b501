// Package webhook speaks with any HTTP gateway by configuration: a Spec says
// where a request holds its values, how its sender proves itself, what the
// answer looks like and what a request of our own looks like. Nothing in it
// knows a gateway by name.
package webhook

import (
	"cmp"
	"errors"
	"fmt"
	"net/http"
	"regexp"
	"slices"
	"strings"

	"cobline/dialog"
	"cobline/gateway"
)

// Spec is the configuration of one channel. The texts in From, To, Text, ID, At,
// Session and Check.Token are locators: form:NAME, json:PATH, query:NAME or
// header:NAME, several joined with "|". Headers and bodies are templates.
type Spec struct {
	Name    string
	Kind    string // sms (if empty) or ussd
	Country string // whose numbers come without an international prefix
	In      In
	Out     *Out // nil: the channel only answers
}

// In says how a message arrives and how it is answered.
type In struct {
	Path    string // of the address the gateway calls
	From    string
	To      string
	Text    string
	ID      string // the gateway's own id of the message, the same when it repeats
	At      string // when the message was sent: RFC 3339 or Unix time in s or ms
	Session string // of a dialled session
	Check   Check
	Answer  Answer
}

// Check is what a request has to prove. An empty Token asks for nothing.
type Check struct {
	Token string // where the secret stands
	Value string // what it is
}

// Answer is the form of the HTTP response. A body is a text, or a table whose
// leaves are texts and which is sent as JSON. The templates know Text (all
// replies in one), Replies and More; a leaf that is {{.Replies}} or {{.More}}
// alone becomes a list or a truth value.
type Answer struct {
	Status  int
	Type    string
	Headers map[string]string
	Carry   string // none, first or all: how many of the replies it carries
	Body    any
}

// Out says how a message of our own is sent. URL, headers and body are
// templates; they know To (digits), From, Text, Ref, Expires and Valid (seconds).
type Out struct {
	Method  string // POST if empty
	URL     string
	Encode  string // json
	Headers map[string]string
	Body    map[string]any
	OK      []string // statuses that mean taken, such as 200 or 2xx (the default)
	Retry   []string // statuses that mean later; the default is 408, 425, 429 and 5xx
}

// SpecError says which key of a specification is wrong and what would be right.
type SpecError struct{ Key, Why string }

func (e SpecError) Error() string { return e.Key + ": " + e.Why }

// FieldError says which value of a request cannot be used, and where it was
// looked for.
type FieldError struct{ Field, Locator, Why string }

func (e FieldError) Error() string {
	return fmt.Sprintf("the %s (%s) %s", e.Field, e.Locator, e.Why)
}

// ErrDenied says that a request does not prove where it comes from.
var ErrDenied = errors.New("the secret is missing or wrong")

// Shape is a compiled Spec. It is immutable and safe for concurrent use.
type Shape struct {
	spec                            Spec
	via                             dialog.Channel
	from, to, text, id, at, session locator
	token                           locator
	answer                          answer
	out                             *sender
}

// Compile checks a specification and makes it ready for use. Its error holds a
// SpecError for everything that is wrong.
func Compile(s Spec) (*Shape, error) {
	var c compiler
	sh := &Shape{spec: s}
	switch s.Kind {
	case "", "sms":
		sh.via = dialog.SMS
	case "ussd":
		sh.via = dialog.USSD
	default:
		c.want(false, "kind", "must be sms or ussd")
	}
	sh.from = c.locator("in.from", s.In.From)
	sh.to = c.locator("in.to", s.In.To)
	sh.text = c.locator("in.text", s.In.Text)
	sh.id = c.locator("in.id", s.In.ID)
	sh.at = c.locator("in.at", s.In.At)
	sh.session = c.locator("in.session", s.In.Session)
	sh.token = c.locator("in.check.token", s.In.Check.Token)
	c.want(s.In.From != "", "in.from", "is missing: say where the sender's number stands, such as form:from")
	c.want(s.In.Text != "", "in.text", "is missing: say where the text stands, such as form:text")
	c.want((s.In.Check.Token == "") == (s.In.Check.Value == ""), "in.check", "needs both: token says where the secret stands, value what it is")
	c.want(strings.HasPrefix(s.In.Path, "/in/"), "in.path", "must begin with /in/, such as /in/"+cmp.Or(s.Name, "sms-a"))
	sh.answer = c.answer(s.In.Answer)
	if s.Out != nil {
		sh.out = c.sender(*s.Out)
	} else {
		c.want(sh.answer.carry != gateway.CarryNone, "in.answer.carry", "is none and there is no out: nothing could ever be said; carry all, or add an out")
	}
	if err := errors.Join(c.errs...); err != nil {
		return nil, err
	}
	return sh, nil
}

// Carry returns how many of the replies the answer carries.
func (sh *Shape) Carry() gateway.Carry { return sh.answer.carry }

// Sends reports whether the channel can start a message.
func (sh *Shape) Sends() bool { return sh.out != nil }

// Path returns the address the gateway calls.
func (sh *Shape) Path() string { return sh.spec.In.Path }

// Via returns what kind of channel it is.
func (sh *Shape) Via() dialog.Channel { return sh.via }

// Name returns the channel's name.
func (sh *Shape) Name() string { return sh.spec.Name }

// compiler gathers what is wrong with a specification.
type compiler struct{ errs []error }

func (c *compiler) want(ok bool, key, why string) {
	if !ok {
		c.errs = append(c.errs, SpecError{key, why})
	}
}

func (c *compiler) locator(key, s string) locator {
	l, err := parseLocator(s)
	if err != nil {
		c.errs = append(c.errs, SpecError{key, err.Error()})
	}
	return l
}

// tree compiles a configured value and tries it on a sample, so that a field
// nobody knows is found at start.
func (c *compiler) tree(key string, v, sample any) tree {
	t, err := parseTree(v)
	if err == nil {
		_, err = t.fill(sample)
	}
	if err != nil {
		c.errs = append(c.errs, SpecError{key, err.Error()})
	}
	return t
}

func (c *compiler) headers(key string, from map[string]string, sample any) map[string]tree {
	out := make(map[string]tree, len(from))
	for name, v := range from {
		out[http.CanonicalHeaderKey(name)] = c.tree(key+"."+name, v, sample)
	}
	return out
}

func (c *compiler) statuses(key string, patterns, defaults []string) []string {
	if len(patterns) == 0 {
		return defaults
	}
	for _, p := range patterns {
		c.want(statusPattern.MatchString(p), key, fmt.Sprintf("%q is not a status; write a number such as 202, or a class such as 2xx", p))
	}
	return patterns
}

var statusPattern = regexp.MustCompile(`^[1-5]([0-9][0-9]|xx)$`)

// matches reports whether a status is one of the patterns.
func matches(patterns []string, status int) bool {
	return slices.Contains(patterns, fmt.Sprintf("%03d", status)) || slices.Contains(patterns, fmt.Sprintf("%dxx", status/100))
}
