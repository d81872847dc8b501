package webhook

import (
	"errors"
	"fmt"
	"maps"
	"net/http"
	"reflect"
	"regexp"
	"slices"
	"time"

	"cobline/dialog"
	"cobline/gateway"
)

// Spec is the configuration of one channel. What says where a value stands is a
// locator: form:NAME, query:NAME, header:NAME, path:NAME, json:PATH, xml:PATH,
// item:PATH, body or =TEXT, several joined with "|", each perhaps followed by
// steps such as "> hex > utf-16be". Addresses, headers and bodies are templates.
type Spec struct {
	Name    string
	Kind    string // sms (if empty) or ussd
	Country string // whose numbers come without an international prefix
	In      In
	Reports *Reports // nil: the gateway reports no deliveries
	Out     *Out     // nil: the channel only answers
}

// In says how a message arrives and how it is answered.
type In struct {
	Path     string // of the address the gateway calls; a part of it may be a :name
	Method   string // POST if empty; several with blanks between
	As       string // json, form or xml: what the body is, whatever its content type says
	Each     string // json:PATH or xml:PATH of a list: each item is a message, its values at item:PATH
	When     *When  // what makes a request, or an item, a message; all are if nil
	From     string
	To       string
	Text     string
	Keyword  string            // the word itself by which a shared short code tells its lines apart: a text that begins with it loses it
	Network  string            // where stands whose network the message came over
	Charset  string            // where stands what the text is written in
	Charsets map[string]string // what the gateway's words for charsets mean
	ID       string            // the gateway's own id of the message, the same when it repeats
	At       string            // when the message was sent
	Layout   string            // of At, such as YYYY-MM-DD hh:mm:ss; Unix time, RFC 3339 and the like need none
	Zone     string            // of times that name none; UTC if empty
	Header   string            // of a long text the gateway leaves in pieces: where the user data header stands
	Ref      string            // or where the piece's reference stands,
	Total    string            // how many there are
	Seq      string            // and which it is
	Session  string            // of a dialled session
	Step     string            // the number of the step in its session
	Joined   string            // what stands between the inputs, if each request brings all since the session began
	Code     string            // what was dialled, such as *123#: no input of a person
	Check    Check
	Answer   Answer
}

// When is a condition: the value at a place is wholly matched by a regular
// expression.
type When struct{ At, Is string }

// Answer is the form of the HTTP response.
type Answer struct {
	Carry string // none, first or all: how many of the replies it carries

	// To a message that has replies to carry. The templates know Text (all replies
	// in one), Replies, More, Encoding (gsm-7 or ucs-2), TextHex (UTF-16BE), Why,
	// and of the message Number, Sender, To, ID and Session.
	Status  int
	Type    string
	Headers map[string]string // one that comes out empty is left out
	Body    any               // a text, or a table whose leaves are texts and which is sent as JSON or a form

	// Where the answer differs; what is left out is as above.
	Empty    *Reply // nothing is to be said
	End      *Reply // the session ends
	Repeat   *Reply // the message was answered before
	Rejected *Reply // the request cannot be read; Why says why
	Late     string // the text that ends a session whose turn takes longer than Within
	Within   time.Duration
}

// Reply is one form of an answer.
type Reply struct {
	Status  int
	Type    string
	Headers map[string]string
	Body    any
}

// Out says how a message of our own is sent: by a request, or by running a
// command. The templates know To (international digits), National, From, Text, TextHex (UTF-16BE),
// Encoding (gsm-7 or ucs-2), Parts, Ref, Expires, Valid (seconds), ValidMinutes,
// Priority (0 to 3) and DLRURL. In a table a leaf that is one of them alone keeps
// its type.
type Out struct {
	Method  string // POST if empty, GET without a body
	URL     string
	Encode  string // json (if empty), form, xml or text
	Type    string // the content type, if not that of Encode
	Headers map[string]string
	Body    any      // a table, sent as JSON or a form, or a text
	Command []string // in place of a URL: a program and its arguments, each a template; Body is its input
	Within  time.Duration

	Rules  []Rule   // what the answers mean; the first that fits counts
	OK     []string // statuses that mean taken, such as 200 or 2xx (the default)
	Retry  []string // statuses that mean later; the default is 408, 425, 429 and 5xx
	ID     string   // where in the answer the gateway's own id stands
	Reason string   // where it says why not
	Dry    bool     // prepare everything and send nothing
}

// Rule says what an answer of the gateway means. All that is given must fit.
type Rule struct {
	Status []string // or exit codes of a command
	At, Is string   // a place in the answer, and a regular expression its value wholly matches
	Means  string   // taken, later, throttled, refused, opted-out, blocked or unsure
}

// Reports says how the gateway tells what became of a message.
type Reports struct {
	Path   string // empty: the same as that of messages, and When tells them apart
	Method string // POST if empty
	As     string
	Each   string
	When   *When
	Ref    string            // where our own reference stands
	ID     string            // or the gateway's id
	State  string            // what became of it
	States map[string]string // what the gateway's words mean: queued, submitted, accepted, delivered, failed, expired, rejected, opted-out, unknown
	Reason string            // where it says why
	URL    string            // what the gateway is told to call, as {{.DLRURL}} of Out; knows Ref
	Check  Check             // unless Path is empty
	Answer Reply
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

// Shape is a compiled Spec. It is immutable and safe for concurrent use.
type Shape struct {
	spec    Spec
	via     dialog.Channel
	in      reader
	reports *reports
	carry   gateway.Carry
	answers [occasions]*answer
	out     *sender
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
	sh.in = c.reader(s)
	sh.reports = c.reports(s.Reports, sh.in)
	sh.carry, sh.answers = c.answers(s.In.Answer)
	if s.Out != nil {
		sh.out = c.sender(*s.Out, s.Reports)
	} else {
		c.want(sh.carry != gateway.CarryNone, "in.answer.carry", "is none and there is no out: nothing could ever be said; carry all, or add an out")
	}
	c.want(s.In.Each == "" || sh.carry == gateway.CarryNone, "in.answer.carry", "must be none: one answer cannot reply to the several messages of a list")
	if err := errors.Join(c.errs...); err != nil {
		return nil, err
	}
	return sh, nil
}

// Carry returns how many of the replies the answer carries.
func (sh *Shape) Carry() gateway.Carry { return sh.carry }

// Sends reports whether the channel can start a message.
func (sh *Shape) Sends() bool { return sh.out != nil }

// Path returns the address the gateway calls with messages.
func (sh *Shape) Path() string { return sh.spec.In.Path }

// Via returns what kind of channel it is.
func (sh *Shape) Via() dialog.Channel { return sh.via }

// Name returns the channel's name.
func (sh *Shape) Name() string { return sh.spec.Name }

// compiler gathers what is wrong with a specification.
type compiler struct {
	errs  []error
	items string // what the items of the list being compiled are: json or xml
}

func (c *compiler) want(ok bool, key, why string) {
	if !ok {
		c.errs = append(c.errs, SpecError{key, why})
	}
}

func (c *compiler) locator(key, s string) locator {
	l, err := parseLocator(s, c.items)
	if err != nil {
		c.want(false, key, err.Error())
	}
	return l
}

// condition reports whether a request is what it asks for.
type condition func(*request) bool

func (c *compiler) when(key string, w *When) condition {
	if w == nil {
		return func(*request) bool { return true }
	}
	c.want(w.At != "" && w.Is != "", key, "needs both: at says where a value stands, is what it must be")
	at, is := c.locator(key+".at", w.At), c.pattern(key+".is", w.Is)
	return func(r *request) bool {
		v, ok, err := at.find(r)
		return ok && err == nil && is.MatchString(v.text())
	}
}

// pattern compiles an expression that must match the whole of a value.
func (c *compiler) pattern(key, s string) *regexp.Regexp {
	p, err := regexp.Compile(`(?s)^(?:` + s + `)$`)
	if err != nil {
		c.want(false, key, fmt.Sprintf("%q is not a regular expression", s))
		return regexp.MustCompile("")
	}
	return p
}

// tree compiles a configured value and tries it on samples, so that a field
// nobody knows is found at start.
func (c *compiler) tree(key string, v any, escape escaper, samples ...any) tree {
	t, err := parseTree(v, escape)
	for _, sample := range samples {
		if err == nil {
			_, err = t.fill(sample)
		}
	}
	if err != nil {
		c.want(false, key, err.Error())
	}
	return t
}

// body compiles a value that is sent as a body of a kind.
func (c *compiler) body(key string, v any, kind string, samples ...any) tree {
	if table, ok := v.(map[string]any); ok && kind == "form" {
		for name, field := range table {
			k := reflect.ValueOf(field).Kind()
			c.want(k != reflect.Map && k != reflect.Slice, key+"."+name, "must be one value: a form has no tables or lists")
		}
	}
	return c.tree(key, v, escapers[kind], samples...)
}

func (c *compiler) headers(key string, from map[string]string, samples ...any) map[string]tree {
	out := make(map[string]tree, len(from))
	for _, name := range slices.Sorted(maps.Keys(from)) {
		out[http.CanonicalHeaderKey(name)] = c.tree(key+"."+name, from[name], asItIs, samples...)
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

var statusPattern = regexp.MustCompile(`^(any|[1-5]xx|[0-9]{1,3})$`)

// matches reports whether a status is one of the patterns.
func matches(patterns []string, status int) bool {
	return slices.ContainsFunc(patterns, func(p string) bool {
		return p == "any" || p == fmt.Sprint(status) || p == fmt.Sprintf("%dxx", status/100)
	})
}
