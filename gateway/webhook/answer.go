package webhook

import (
	"slices"
	"strings"

	"cobline/gateway"
)

type answer struct {
	status  int
	ctype   string
	headers map[string]tree
	carry   gateway.Carry
	body    tree
	json    bool
}

// said is what the templates of an answer know.
type said struct {
	Text    string
	Replies []string
	More    bool
}

func (c *compiler) answer(a Answer) answer {
	sample := said{Text: "text", Replies: []string{"text"}}
	out := answer{status: a.Status, ctype: a.Type, headers: c.headers("in.answer.headers", a.Headers, sample)}
	if out.status == 0 {
		out.status = 200
	}
	if out.ctype == "" {
		out.ctype = "text/plain; charset=utf-8"
	}
	carry, known := map[string]gateway.Carry{
		"": gateway.CarryNone, "none": gateway.CarryNone, "first": gateway.CarryFirst, "all": gateway.CarryAll,
	}[a.Carry]
	out.carry = carry
	_, out.json = a.Body.(map[string]any)
	if a.Body == nil {
		a.Body = "{{.Text}}"
	}
	out.body = c.tree("in.answer.body", a.Body, sample)
	c.want(out.status/100 == 2, "in.answer.status", "must be a 2xx: the turn is stored when the answer leaves")
	c.want(known, "in.answer.carry", "must be none, first or all")
	return out
}

// Response is what a gateway is answered.
type Response struct {
	Status  int
	Headers map[string]string // the content type among them
	Body    []byte
}

// Answer renders what is to be shown at once.
func (sh *Shape) Answer(s gateway.Shown) (Response, error) {
	texts := slices.Clip(s.Texts)
	if len(s.Screen.Pages) > 0 {
		texts = append(texts, s.Screen.Text())
	}
	data := said{Text: strings.Join(texts, "\n"), Replies: append([]string{}, texts...), More: s.More}
	r := Response{Status: sh.answer.status, Headers: map[string]string{"Content-Type": sh.answer.ctype}}
	for name, t := range sh.answer.headers {
		v, err := t.text(data)
		if err != nil {
			return Response{}, err
		}
		r.Headers[name] = oneLine(v)
	}
	var err error
	if sh.answer.json {
		r.Body, err = sh.answer.body.json(data)
		return r, err
	}
	text, err := sh.answer.body.text(data)
	r.Body = []byte(text)
	return r, err
}

// oneLine keeps a value inside its header.
func oneLine(s string) string { return strings.NewReplacer("\r", " ", "\n", " ").Replace(s) }
