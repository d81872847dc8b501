package console

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/gofiber/fiber/v2"

	"cobline/gateway"
	"cobline/gateway/sms"
	"cobline/locales"
)

// What is written to phones stands beside its field as they will show it. The
// page renders that by itself, and while somebody writes the script asks for the
// same again: it sends the whole form, so that no text stands in an address.

// shownText is a message as phones show it.
type shownText struct {
	Text    string
	Size    string // in segments and units of its alphabet
	Changed bool   // letters were put in place of others, to keep it cheap
	Dear    string // the letters that lie outside the cheap alphabet, if they are few
}

func measure(l locales.Lang, text string) shownText {
	plain := sms.Plain(text, locales.Substitutions(l))
	p := sms.Split(plain)
	return shownText{plain, fmt.Sprintf("%s, %d characters of %v", plural(len(p.Segments), "message"), p.Units, p.Encoding), plain != text, dear(plain)}
}

// fewDear is how many letters are named that make a text dear: of a script of its
// own all letters do.
const fewDear = 3

// dear names the letters for which a text cannot go in the cheap alphabet.
func dear(text string) string {
	var letters []string
	for _, r := range text {
		if e, _ := sms.Measure(string(r)); e == sms.GSM7 || slices.Contains(letters, string(r)) {
			continue
		}
		if letters = append(letters, string(r)); len(letters) > fewDear {
			return ""
		}
	}
	return strings.Join(letters, " ")
}

// look is what stands beside a field in which a text to phones is written.
type look struct {
	Name  string
	Lang  string
	Texts []shownText
	Price string // of all of them to one phone
}

// lookAt returns the messages that a field comes to, as the line would send them
// to the person of a conversation; a zero one is anybody.
func (q *request) lookAt(f field, c gateway.Conversation, texts ...string) *look {
	l := &look{Name: f.Name, Lang: f.Lang}
	segments := 0
	for _, text := range texts {
		if text == "" {
			continue
		}
		shown := measure(locales.Lang(f.Lang), text)
		segments += len(sms.Split(shown.Text).Segments)
		l.Texts = append(l.Texts, shown)
	}
	if p := q.Service.Price(c, segments); p > 0 {
		l.Price = q.price(c.State.Place, p)
	}
	return l
}

// written reads the text of a form as it will be sent.
func written(v url.Values, name string) string {
	return strings.TrimSpace(strings.ReplaceAll(v.Get(name), "\r\n", "\n"))
}

// looks are what of a form is rendered again while somebody writes.
type looks struct {
	Fields []*look
	Notice *noticeLook
}

// sendLooks answers with what stands beside the fields of a form now.
func (q *request) sendLooks(l looks) error {
	var b bytes.Buffer
	if err := q.pages["notice-form"].ExecuteTemplate(&b, "looks", l); err != nil {
		return err
	}
	q.fiber.Set(fiber.HeaderContentType, fiber.MIMETextHTMLCharsetUTF8)
	return q.fiber.Send(b.Bytes())
}

// noticeLook is what a notice that is being written comes to in all.
type noticeLook struct {
	Ready []variant // as people will read a ready text
	Told  string
	Fault string
}

// countTime is how long the people of a notice are counted while it is written.
// The preview takes its time.
const countTime = 200 * time.Millisecond

// lookAtNotice sets what stands beside the fields of a notice, and returns what
// it comes to in all.
func (q *request) lookAtNotice(f *noticeForm, n gateway.Notice, count bool) (*noticeLook, error) {
	for i := range f.Texts.Fields {
		in := &f.Texts.Fields[i]
		in.Look = q.lookAt(*in, gateway.Conversation{}, n.Message.Texts[locales.Lang(in.Lang)])
	}
	l := &noticeLook{}
	if !count || n.Message.Ready == "" && len(n.Message.Texts) == 0 {
		return l, nil
	}
	ctx, cancel := context.WithTimeout(q.ctx, countTime)
	defer cancel()
	p, err := q.Notices.Preview(ctx, n, q.now)
	var unfit gateway.Unfit
	switch {
	case errors.Is(err, context.DeadlineExceeded):
		l.Told = "How many phones it goes to, and what it costs in all, is counted in the preview."
	case errors.As(err, &unfit):
		l.Fault = sentence(unfit.Error())
	case err != nil:
		return nil, err
	case p.Persons == 0:
		l.Told = "It goes to nobody so far."
	default:
		l.Told = fmt.Sprintf("It goes to %s and takes %s", plural(p.Persons, "phone"), plural(p.Segments, "message"))
		if p.Price > 0 {
			l.Told += fmt.Sprintf(", %.2f %s in all", p.Price, q.currency())
		}
		l.Told += "."
	}
	if n.Message.Ready != "" {
		l.Ready = q.variants(p.Texts)
	}
	return l, nil
}

// measureNotice tells what a notice comes to while it is written.
func (q *request) measureNotice() error {
	f, n := q.read(q.form)
	all, err := q.lookAtNotice(&f, n, true)
	if err != nil {
		return err
	}
	l := looks{Notice: all}
	for _, in := range f.Texts.Fields {
		l.Fields = append(l.Fields, in.Look)
	}
	return q.sendLooks(l)
}
