package webhook

import (
	"cmp"
	"maps"
	"strings"
	"time"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/sms"
)

// occasion is what an answer is for.
type occasion uint8

const (
	reply occasion = iota
	empty
	end
	repeat
	rejected
	occasions
)

// answer is a compiled Reply.
type answer struct {
	status  int
	ctype   string
	kind    string // what the body is: text, json, xml or form
	headers map[string]tree
	body    tree
}

// said is what the templates of an answer know.
type said struct {
	Text                            string
	Replies                         []string
	More                            bool
	Encoding, TextHex, Why          string
	Number, Sender, To, ID, Session string
}

func newSaid(text string, replies []string, more bool, in gateway.Inbound) said {
	return said{
		Text: text, Replies: replies, More: more, Encoding: encodingOf(text), TextHex: hexUTF16(text),
		Number: in.From.Digits(), Sender: in.Sender, To: in.To, ID: in.Provider, Session: in.Session,
	}
}

func encodingOf(text string) string {
	e, _ := sms.Measure(text)
	return strings.ToLower(e.String())
}

func (c *compiler) answers(a Answer) (gateway.Carry, [occasions]*answer) {
	carry, known := map[string]gateway.Carry{
		"": gateway.CarryNone, "none": gateway.CarryNone, "first": gateway.CarryFirst, "all": gateway.CarryAll,
	}[a.Carry]
	c.want(known, "in.answer.carry", "must be none, first or all")
	base := Reply{Status: a.Status, Type: a.Type, Headers: a.Headers, Body: a.Body}
	if base.Body == nil {
		base.Body = "{{.Text}}"
	}
	var out [occasions]*answer
	for i, form := range []struct {
		key  string
		form *Reply
	}{
		reply: {"", &Reply{}}, empty: {".empty", a.Empty}, end: {".end", a.End}, repeat: {".repeat", a.Repeat}, rejected: {".rejected", a.Rejected},
	} {
		key, o := "in.answer"+form.key, occasion(i)
		switch {
		case form.form != nil:
			out[o] = c.reply(key, *form.form, base)
			c.want(o == rejected || out[o].status/100 == 2, key+".status", "must be a 2xx: the turn is stored when the answer leaves")
		case o != rejected:
			out[o] = out[reply]
		}
	}
	return carry, out
}

// reply compiles a form of an answer over another, which has what it leaves out.
func (c *compiler) reply(key string, r, over Reply) *answer {
	if r.Body == nil {
		r.Body = over.Body
	}
	_, table := r.Body.(map[string]any)
	usual := "text/plain; charset=utf-8"
	if table {
		usual = "application/json"
	}
	a := &answer{status: cmp.Or(r.Status, over.Status, 200), ctype: cmp.Or(r.Type, over.Type, usual)}
	a.kind = kindOf(a.ctype)
	if table && a.kind != "form" {
		a.kind = "json"
	}
	headers := maps.Clone(over.Headers)
	if headers == nil {
		headers = map[string]string{}
	}
	maps.Copy(headers, r.Headers)
	// With replies and without: a template must do with both.
	samples := []any{newSaid("text", []string{"text"}, true, gateway.Inbound{}), said{}}
	a.headers = c.headers(key+".headers", headers, samples...)
	a.body = c.body(key+".body", r.Body, a.kind, samples...)
	return a
}

// kindOf returns what a body of a content type is.
func kindOf(contentType string) string {
	for _, k := range []struct{ mark, kind string }{
		{"json", "json"}, {"xml", "xml"}, {"html", "xml"}, {"x-www-form-urlencoded", "form"},
	} {
		if strings.Contains(contentType, k.mark) {
			return k.kind
		}
	}
	return "text"
}

// Response is what a gateway is answered.
type Response struct {
	Status  int
	Headers map[string]string // the content type among them
	Body    []byte
}

func (a *answer) render(data said) (Response, error) {
	r := Response{Status: a.status, Headers: map[string]string{"Content-Type": a.ctype}}
	for name, t := range a.headers {
		v, err := t.text(data)
		if err != nil {
			return Response{}, err
		}
		if v != "" {
			r.Headers[name] = oneLine(v)
		}
	}
	body, err := a.body.body(data, a.kind)
	r.Body = encode(string(body), a.ctype)
	return r, err
}

// Answer renders what is to be shown at once.
func (sh *Shape) Answer(s gateway.Shown) (Response, error) {
	return sh.Respond(gateway.Inbound{}, s, false)
}

// Respond renders what is to be shown at once in answer to a message; again says
// that the message was answered before. A request that brought no message gets
// the zero Shown.
func (sh *Shape) Respond(in gateway.Inbound, s gateway.Shown, again bool) (Response, error) {
	replies := append([]string{}, s.Texts...)
	if len(s.Screen.Pages) > 0 {
		replies = append(replies, s.Screen.Text())
	}
	form := reply
	switch {
	case again && sh.spec.In.Answer.Repeat != nil: // else what it was, also an end
		form = repeat
	case len(replies) == 0:
		form = empty
	case sh.via == dialog.USSD && !s.More:
		form = end
	}
	return sh.answers[form].render(newSaid(strings.Join(replies, "\n"), replies, s.More, in))
}

// Reject renders the answer to a request that cannot be read, or reports false
// if the specification leaves that to the server.
func (sh *Shape) Reject(why error) (r Response, ok bool, err error) {
	a := sh.answers[rejected]
	if a == nil {
		return Response{}, false, nil
	}
	r, err = a.render(said{Why: why.Error(), Replies: []string{}})
	return r, true, err
}

// Deadline returns how long a turn may take before the gateway must have an
// answer of some kind.
func (sh *Shape) Deadline() time.Duration {
	usual := smsDeadline
	if sh.via == dialog.USSD {
		usual = ussdDeadline
	}
	return cmp.Or(sh.spec.In.Answer.Within, usual)
}

// Gateways of texts wait 5 to 30 seconds and then bring the message again; a
// network shows an error of its own when a session waits longer than about 5.
const (
	smsDeadline  = 8 * time.Second
	ussdDeadline = 4 * time.Second
)

// TooLate renders the answer that ends a session in good order although its turn
// is not done, or reports false if the specification has no text for it.
func (sh *Shape) TooLate(in gateway.Inbound) (r Response, ok bool, err error) {
	text := sh.spec.In.Answer.Late
	if text == "" {
		return Response{}, false, nil
	}
	r, err = sh.answers[end].render(newSaid(text, []string{text}, false, in))
	return r, true, err
}

// oneLine keeps a value inside its header.
func oneLine(s string) string { return strings.NewReplacer("\r", " ", "\n", " ").Replace(s) }
