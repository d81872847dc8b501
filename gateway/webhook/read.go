package webhook

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"cobline/gateway"
)

// Taken is what a request brought.
type Taken struct {
	Messages []gateway.Inbound
	Reports  []gateway.Report
	// Doubts are what could not be used and was passed over: a time nobody can
	// read, an item of a list without a sender. Each is a FieldError.
	Doubts []error
}

// reader is a compiled In.
type reader struct {
	endpoint
	from, to, text, charset, id, at locator
	network                         locator
	header, ref, total, seq         locator
	session, step                   locator
	charsets                        map[string]string
	clock                           clock
}

func (c *compiler) reader(s Spec) reader {
	in := s.In
	var r reader
	r.endpoint = c.endpoint("in", in.Path, in.Method, in.As, in.Each, in.Check, in.When)
	r.from, r.to, r.text = c.locator("in.from", in.From), c.locator("in.to", in.To), c.locator("in.text", in.Text)
	r.network = c.locator("in.network", in.Network)
	c.want(!strings.ContainsFunc(in.Keyword, unicode.IsSpace), "in.keyword", "must be one word, the one that people write first")
	r.charset, r.charsets = c.locator("in.charset", in.Charset), in.Charsets
	for _, word := range slices.Sorted(maps.Keys(in.Charsets)) {
		name := in.Charsets[word]
		c.want(knownCharset(name), "in.charsets."+word, fmt.Sprintf("%q is no charset; write one such as utf-8, windows-1252, ucs-2 or gsm-7, with hex- before it if it comes in hexadecimal", name))
	}
	r.id, r.at, r.clock = c.locator("in.id", in.ID), c.locator("in.at", in.At), c.clock(in.Layout, in.Zone)
	r.header = c.locator("in.header", in.Header)
	r.ref, r.total, r.seq = c.locator("in.ref", in.Ref), c.locator("in.total", in.Total), c.locator("in.seq", in.Seq)
	c.want((in.Ref == "") == (in.Total == "") && (in.Total == "") == (in.Seq == ""), "in.ref", "needs all three: ref, total and seq")
	r.session, r.step = c.locator("in.session", in.Session), c.locator("in.step", in.Step)
	c.want(in.From != "", "in.from", "is missing: say where the sender's number stands, such as form:from")
	c.want(in.Text != "", "in.text", "is missing: say where the text stands, such as form:text")
	c.want(in.Joined == "" || in.Session != "", "in.joined", "needs a session: say where its id stands, such as form:session")
	c.items = ""
	return r
}

// Check reports ErrDenied unless the request proves where it comes from.
func (sh *Shape) Check(r Request) error {
	at := sh.door(r)
	req := at.open(r)
	for _, p := range at.proofs {
		if err := p(req); err != nil {
			return err
		}
	}
	return nil
}

// Take reads the messages and delivery reports of a request. A request may bring
// neither: it is then about something else. The error is a FieldError, or several
// joined, if the request should have brought something and nothing of it can be
// used.
func (sh *Shape) Take(r Request) (Taken, error) {
	var t taker
	at := sh.door(r)
	req := at.open(r)
	reported := sh.reports != nil && sh.reports.path == at.path
	if reported {
		t.each(req, sh.reports.endpoint, func() error { return t.report(sh, req) })
	}
	if sh.in.path == at.path {
		t.each(req, sh.in.endpoint, func() error {
			if reported && sh.reports.when(req) {
				return nil
			}
			return t.message(sh, req)
		})
	}
	if len(t.Messages)+len(t.Reports) == 0 && len(t.errs) > 0 {
		return Taken{}, errors.Join(t.errs...)
	}
	t.Doubts = append(t.Doubts, t.errs...)
	return t.Taken, nil
}

// Read turns a request into the first message it carries. Its error is a
// FieldError. A shape whose requests bring several, or reports, needs Take.
func (sh *Shape) Read(r Request) (gateway.Inbound, error) {
	t, err := sh.Take(r)
	if err != nil {
		return gateway.Inbound{}, err
	}
	if len(t.Messages) == 0 {
		return gateway.Inbound{}, FieldError{"text", sh.in.text.String(), "is not in this request"}
	}
	return t.Messages[0], nil
}

// taker gathers what a request brings.
type taker struct {
	Taken
	errs []error
}

// each calls f with the request set to each item of its list that is wanted.
func (t *taker) each(req *request, e endpoint, f func() error) {
	items, err := e.each(req)
	if err == nil && len(items) > maxItems {
		err = FieldError{"list", e.path, fmt.Sprintf("holds more than %d messages", maxItems)}
	}
	if err != nil {
		t.errs = append(t.errs, err)
		return
	}
	for _, item := range items {
		req.item = item
		if !e.when(req) {
			continue
		}
		if err := f(); err != nil {
			t.errs = append(t.errs, err)
		}
	}
}

func (t *taker) message(sh *Shape, req *request) error {
	in, f := sh.in, fieldReader{request: req}
	m := gateway.Inbound{
		Channel: sh.spec.Name,
		Sender:  f.must("sender", in.from),
		To:      f.may("recipient", in.to),
		Session: f.may("session", in.session),
		Network: f.may("network", in.network),
		Via:     sh.via,
		At:      req.At,
	}
	text := f.value("text", in.text, f.may("charset", in.charset), in.charsets)
	keyword := sh.spec.In.Keyword
	if m.Part = f.part(in, text); m.Part == nil {
		m.Text = withoutKeyword(text.text(), keyword)
	} else if m.Part.Seq == 1 {
		*m.Part = pieceWithoutKeyword(*m.Part, keyword)
	}
	id, at, step := f.may("id", in.id), f.may("time", in.at), f.may("step", in.step)
	if f.err != nil {
		return f.err
	}
	m.Text = undial(m.Text, sh.spec.In.Code)
	if separator := sh.spec.In.Joined; separator != "" {
		m.Dialled, m.Separator = m.Text, separator
		m.Text = gateway.Latest(0, m.Dialled, separator)
	}
	m.SentAt = f.time(in.clock, in.at, at)
	// A sender that is no number is no error: a short code or a name is
	// journalled and never answered.
	if number, err := gateway.ParseNumber(m.Sender, sh.spec.Country); err == nil {
		m.From = number
	}
	m.Provider = id
	m.ID = identity(m, at, step, sh.spec.In.Joined != "")
	t.Messages = append(t.Messages, m)
	t.Doubts = append(t.Doubts, f.doubts...)
	return nil
}

// identity returns what makes the message the same when it is brought again, or
// zero if nothing does.
func identity(m gateway.Inbound, at, step string, cumulative bool) gateway.MessageID {
	sender := m.Sender
	if !m.From.IsZero() {
		sender = m.From.Digits()
	}
	var cause []string
	switch {
	case m.Provider != "":
		cause = []string{"id", m.Provider}
	case cumulative && m.Session != "":
		cause = []string{"dialled", m.Session, m.Dialled}
	case m.Session != "" && step != "":
		cause = []string{"step", m.Session, step}
	case !m.SentAt.IsZero():
		cause = []string{"sent", m.To, m.Text, at}
	default:
		return gateway.MessageID{}
	}
	if p := m.Part; p != nil {
		cause = append(cause, "part", strconv.Itoa(p.Ref), strconv.Itoa(p.Total), strconv.Itoa(p.Seq), string(p.Octets))
	}
	return gateway.NewMessageID(m.Channel, sender, cause...)
}

// withoutKeyword removes the word that a shared short code wants before a text.
func withoutKeyword(text, keyword string) string {
	rest, n := strings.TrimLeftFunc(text, unicode.IsSpace), len(keyword)
	if n == 0 || len(rest) < n || !strings.EqualFold(rest[:n], keyword) || len(rest) > n && !unicode.IsSpace(rune(rest[n])) {
		return text
	}
	return strings.TrimLeftFunc(rest[n:], unicode.IsSpace)
}

// pieceWithoutKeyword removes it from the first piece of a text: as many octets
// at its front as leave the piece to read as it does without the word.
func pieceWithoutKeyword(p gateway.Part, keyword string) gateway.Part {
	whole := decode(string(p.Octets), p.Charset)
	rest := withoutKeyword(whole, keyword)
	if rest == whole {
		return p
	}
	for n := range p.Octets {
		if decode(string(p.Octets[n:]), p.Charset) == rest {
			p.Octets = p.Octets[n:]
			break
		}
	}
	return p
}

// undial removes what was dialled to begin a session: it is no input. Inputs
// dialled along with the code, as in *123*1*2#, stay.
func undial(text, code string) string {
	if code == "" || !strings.HasPrefix(text, "*") || !strings.HasSuffix(text, "#") {
		return text
	}
	rest, ok := strings.CutPrefix(strings.TrimSuffix(text, "#"), strings.TrimSuffix(code, "#"))
	if !ok || rest != "" && rest[0] != '*' {
		return text
	}
	return strings.TrimPrefix(rest, "*")
}

// fieldReader reads the fields of one message and remembers the first error.
type fieldReader struct {
	*request
	err    error
	doubts []error
}

func (f *fieldReader) may(field string, l locator) string {
	v, _ := f.get(field, l)
	return v.text()
}

func (f *fieldReader) must(field string, l locator) string {
	v, ok := f.get(field, l)
	if !ok && f.err == nil {
		f.err = FieldError{field, l.String(), fmt.Sprintf("is missing; the body came as %q", f.mediaType())}
	}
	return v.text()
}

func (f *fieldReader) get(field string, l locator) (value, bool) {
	if f.err != nil {
		return value{}, false
	}
	v, ok, err := l.find(f.request)
	if e := (FieldError{}); errors.As(err, &e) {
		if e.Field == "" {
			e.Field = field
		}
		f.err = e
	}
	return v, ok
}

// value returns a field with the charset that the request declares for it.
func (f *fieldReader) value(field string, l locator, charset string, charsets map[string]string) value {
	v, ok := f.get(field, l)
	if !ok && f.err == nil {
		f.must(field, l)
	}
	if name, ok := charsets[charset]; ok {
		charset = name
	}
	if charset != "" && !v.certain {
		v.charset = charset
	}
	return v
}

// time returns the time a message was sent, zero if the gateway tells none that
// can be believed.
func (f *fieldReader) time(k clock, l locator, at string) time.Time {
	if at == "" {
		return time.Time{}
	}
	sent, ok := k.read(at)
	switch {
	case !ok:
		f.doubt("time", l, "is no time; it may be Unix time, RFC 3339, or have a layout of its own")
	case f.At.Sub(sent).Abs() > maxSkew:
		f.doubt("time", l, "is more than a day off")
		return time.Time{}
	}
	return sent
}

// doubt notes what is passed over.
func (f *fieldReader) doubt(field string, l locator, why string) {
	f.doubts = append(f.doubts, FieldError{field, l.String(), why})
}

// part returns which piece of a longer text the message is, or nil.
func (f *fieldReader) part(in reader, text value) *gateway.Part {
	header, _ := f.get("user data header", in.header)
	p, ok := parseHeader(header.octets)
	if !ok && in.ref != nil {
		p, ok = newPart(f.int("reference", in.ref), f.int("total", in.total), f.int("sequence", in.seq), 8)
	}
	if !ok {
		return nil
	}
	p.Octets, p.Charset = []byte(text.octets), text.charset
	return &p
}

// int returns a number, or -1.
func (f *fieldReader) int(field string, l locator) int {
	n, err := strconv.Atoi(strings.TrimSpace(f.may(field, l)))
	if err != nil {
		return -1
	}
	return n
}
