package console

import (
	"cmp"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/gofiber/fiber/v2"

	"cobline/gateway"
	"cobline/gateway/views"
	"cobline/locales"
)

var talkRoutes = []route{
	{get, "/talk", Viewer, (*request).talk},
	{get, "/talk/figures", Viewer, (*request).talkFigures},
	{get, "/talk/:id", Viewer, (*request).conversation},
	{post, "/talk/:id/number", Officer, (*request).showTalkNumber},
	{post, "/talk/:id/reply", Officer, (*request).reply},
	{post, "/talk/:id/measure", Officer, (*request).measureReply},
}

// hitsShown is how many texts one page lists.
const hitsShown = 30

// piece is a part of a text, perhaps one of the words that were sought.
type piece struct {
	Text   string
	Sought bool
}

// hit is a text that a search has found.
type hit struct {
	views.Hit
	Link  string // where in the conversation it stands
	Where string
	Read  string // the language it was read in
	About string
	Grave bool // to be seen first
	Parts []piece
}

type talkView struct {
	Words  form
	More   form // to search by
	Hits   []hit
	Pager  Pager
	Behind string
	Asked  bool
}

// dayLayout is how a browser writes a day.
const dayLayout = "2006-01-02"

// talkQuery reads what is searched for.
func (q *request) talkQuery() (query views.Query, page talkView) {
	every := option{"", "all"}
	page.Words = form{Fields: []field{{Name: "words", Label: "Words", Kind: "search", Filter: true, Hint: "All of them are in the text; three letters find a word that begins so."}}}
	page.More = form{Fields: []field{
		{Name: "place", Label: "Place", Kind: "select", Filter: true, Options: append([]option{every}, q.placeOptions()...)},
		{Name: "language", Label: "Language", Kind: "select", Filter: true, Options: append([]option{every}, q.langOptions()...)},
		{Name: "topic", Label: "Subject", Kind: "select", Filter: true, Options: append([]option{every}, q.subjects()...)},
		{Name: "from", Label: "From day", Kind: "date", Filter: true},
		{Name: "to", Label: "To day", Kind: "date", Filter: true},
		{Name: "unknown", Label: "Only what was not understood", Kind: "checkbox", Filter: true},
	}}
	page.Words.fill(q.query)
	page.More.fill(q.query)
	for _, f := range page.More.Fields {
		page.Asked = page.Asked || f.Value != ""
	}
	page.Asked = page.Asked || page.Words.Fields[0].Value != ""
	query = views.Query{
		Place: q.query.Get("place"), Lang: locales.Lang(q.query.Get("language")), Topic: q.query.Get("topic"),
		Words: q.query.Get("words"), Unknown: q.query.Get("unknown") != "",
	}
	for name, into := range map[string]*time.Time{"from": &query.From, "to": &query.To} {
		s := q.query.Get(name)
		if s == "" {
			continue
		}
		t, err := time.ParseInLocation(dayLayout, s, q.zone())
		if err != nil {
			page.More.wrong(name, "this is not a day; write it as 2026-03-02")
			continue
		}
		if name == "to" {
			t = t.AddDate(0, 0, 1)
		}
		*into = t
	}
	if !query.From.IsZero() && !query.To.IsZero() && !query.From.Before(query.To) {
		page.More.wrong("to", "this is before the first day")
	}
	return query, page
}

// before reads after which entry a page of a list begins.
func before(s string) (k gateway.Key, err error) {
	if s == "" {
		return k, nil
	}
	if k, err = gateway.ParseKey(s); err != nil {
		return k, fiber.NewError(http.StatusBadRequest, "this page of the list does not exist; begin at the first one")
	}
	return k, nil
}

func (q *request) talk() error {
	query, page := q.talkQuery()
	page.Behind = q.behind()
	if page.More.Wrong() {
		return q.again("talk", page)
	}
	from, err := before(q.query.Get("after"))
	if err != nil {
		return err
	}
	found, err := q.Views.Search(q.ctx, query, views.Page{Before: from, Max: hitsShown})
	if err != nil {
		return err
	}
	for _, h := range found.Hits {
		page.Hits = append(page.Hits, q.hit(h))
	}
	next := ""
	if !found.Next.IsZero() {
		next = found.Next.String()
	}
	page.Pager = q.pager(next)
	return q.render("talk", page)
}

func (q *request) hit(h views.Hit) hit {
	out := hit{Hit: h, Link: talkAt(h.Person, h.Key), Where: q.placeName(h.Place)}
	switch {
	case h.Tier != "":
		out.About, out.Grave = q.emergency(h.Tier, h.Emergency), true
	case !h.Understood:
		out.About, out.Grave = "Not understood", true
	case h.Topic != "":
		out.About = q.topicName(h.Topic)
	}
	if h.Lang != "" {
		out.Read = q.langName(h.Lang)
	}
	add := func(text string, sought bool) {
		if text != "" {
			out.Parts = append(out.Parts, piece{text, sought})
		}
	}
	at := 0
	for _, m := range h.Marks {
		add(h.Snippet[at:m[0]], false)
		add(h.Snippet[m[0]:m[1]], true)
		at = m[1]
	}
	add(h.Snippet[at:], false)
	if !strings.HasSuffix(h.Text, h.Snippet) {
		add(" ...", false)
	}
	if !strings.HasPrefix(h.Text, h.Snippet) {
		out.Parts = append([]piece{{"... ", false}}, out.Parts...)
	}
	return out
}

// talkAt is the address of an entry in its conversation.
func talkAt(person gateway.PersonKey, entry gateway.Key) string {
	return Root + "/talk/" + idOf(person) + "?after=" + entry.Next(entry.Time()).String() + "#t-" + entry.String()
}

// saying is one text of a conversation, or something that happened in it.
type saying struct {
	ID     string // of the first of an entry
	Who    string
	At     time.Time
	Own    bool // the person wrote it
	Event  bool // nothing was said
	Again  bool // it follows from the same one, at the same time
	Text   string
	Lang   locales.Lang
	Choice []string
	Beside []point
}

type conversationView struct {
	ID, Number string
	Whole      string // the number, if it was asked for
	PlaceKey   string
	Place      string
	Lang       string
	Code       locales.Lang // of the language they are written to in
	Standing   string
	Sayings    []saying // the oldest first
	Pager      Pager
	After      string // the page of the conversation that is shown
	Behind     string

	Refused string // why nobody may write to them, as a sentence
	Asks    bool   // they are asked first whether it is still them
	Reply   form
	Stopped []string // why the reply did not go as it is
	Second  bool     // it goes after a second look
}

// sayingsShown is how many entries of a conversation one page shows: two or three
// texts each.
const sayingsShown = 12

// conversationPage returns a page of the conversation in the path.
func (q *request) conversationPage(after string) (page conversationView, c gateway.Conversation, err error) {
	k, err := q.person()
	if err != nil {
		return page, c, err
	}
	from, err := before(after)
	if err != nil {
		return page, c, err
	}
	talk, err := q.Views.Conversation(q.ctx, k, views.Page{Before: from, Max: sayingsShown})
	if err != nil {
		return page, c, err
	}
	if c, err = q.People.Person(q.ctx, k); err != nil {
		return page, c, err
	}
	s := c.State
	page = conversationView{
		ID: idOf(k), Number: c.Number.String(), PlaceKey: s.Place, Place: q.placeName(cmp.Or(s.Place, q.Facts().Home)),
		Standing: wishes(c), After: after, Behind: q.behind(), Asks: s.Absent(q.now),
		Code: cmp.Or(s.Lang, locales.Default),
	}
	if s.Lang != "" {
		page.Lang = q.langName(s.Lang)
	}
	if !s.Answerable() {
		page.Refused = "They have opted out and have not written since, so nobody may write to them. If they text again, one reply may go to them."
	}
	for _, l := range slices.Backward(talk.Lines) {
		page.Sayings = append(page.Sayings, q.sayings(l)...)
	}
	at := Root + "/talk/" + page.ID
	if after != "" {
		page.Pager.First = at
	}
	if !talk.Next.IsZero() {
		page.Pager.Next = at + "?" + url.Values{"after": {talk.Next.String()}}.Encode()
	}
	page.Reply, err = q.replyForm(k, c)
	return page, c, err
}

// sayings are what an entry shows: what was written to the line, and what it said.
func (q *request) sayings(l views.Line) (out []saying) {
	first := saying{ID: "t-" + l.Key.String(), At: l.At, Event: true}
	note := func(format string, a ...any) {
		first.Beside = append(first.Beside, point{Text: fmt.Sprintf(format, a...)})
	}
	lang := locales.Default
	if l.Heard != nil && l.Heard.Lang != "" {
		lang = l.Heard.Lang
	}
	who := "The line"
	switch l.Kind {
	case gateway.Heard:
		first.Who, first.Own, first.Event, first.Text, first.Lang = "They", true, false, l.Text, lang
		if l.Text == "" {
			first.Text = "(nothing, or erased)"
		}
		if l.Heard != nil {
			first.Beside = append([]point{{Text: "Read as " + q.langName(lang)}}, q.understood(*l.Heard)...)
		}
		if !l.SentAt.IsZero() && l.At.Sub(l.SentAt) > 2*time.Minute {
			note("Sent at %s", view{facts: q.Facts(), Now: q.now}.AtIn(l.Place, l.SentAt))
		}
	case gateway.Rang:
		first.Who = "The clock"
		note("It was time: %s", timerName(l.Timer))
		who = "The line, by itself"
	case gateway.Noticed:
		first.Who = "A notice"
		first.Beside = []point{{Text: "Reached their turn", Link: Root + "/notices/" + l.Notice}}
		who = "Officers, to many"
	case gateway.Answered:
		first.Who = "Officer " + l.By
		switch {
		case l.CallBack:
			note("Phoned them")
		case slices.ContainsFunc(l.Replies, func(r gateway.Said) bool { return r.Key == "ask.answered" }):
			note("Replied")
		default:
			note("Replied; it waits until they say that it is still them: %s", l.Text)
		}
		who = "The line, for an officer"
	case gateway.Enrolled:
		first.Who = "Officer " + l.By
		note("Entered what officers know of them")
	case gateway.Alerted:
		first.Who = "The line"
		note("Told this phone, as a duty phone, of an emergency")
	case gateway.Acknowledged:
		first.Who = cmp.Or(map[bool]string{true: "Officer " + l.By}[l.By != ""], "A duty phone")
		note("Has seen the emergency")
	case gateway.Lapsed:
		first.Who = "The line"
		note("A message was not sent; what stands below was said instead, if anything")
	case gateway.OptedOut:
		first.Who = "The gateway"
		note("Takes no more messages for this number")
	case gateway.Missed:
		first.Who = "The line"
		note("Did not write after it was restored from a backup: %s", timerName(l.Timer))
	case gateway.Posted:
		first.Who = "Officer " + l.By
		note("Made this number an officer's phone, or no longer one")
	default:
		first.Who = l.Kind.String()
	}
	if l.Question != "" && l.Kind == gateway.Heard {
		note("Put before the officers")
	}
	if l.CallBack && l.Kind == gateway.Heard {
		note("Asked to be phoned")
	}
	if slices.Contains(l.Flags, "emergency not acknowledged") {
		first.Beside = append(first.Beside, point{Text: "No duty phone has seen the emergency", Grave: true})
	}
	if l.Case.State != 0 {
		text := "An officer, " + l.Case.By + ": " + l.Case.State.String()
		if l.Case.Note != "" {
			text += ". " + l.Case.Note
		}
		first.Beside = append(first.Beside, point{Text: text})
	}
	out = append(out, first)
	for i, r := range l.Replies {
		said := saying{Who: who, At: l.At, Text: r.Text, Lang: lang, Choice: slices.Clone(r.Choices), Again: i > 0}
		if r.More != "" {
			said.Choice = append(said.Choice, "8 "+r.More)
		}
		for n := range r.Choices {
			said.Choice[n] = fmt.Sprintf("%d %s", n+1, r.Choices[n])
		}
		if r.Text == "" {
			said.Text = "(erased)"
		}
		f := l.Fates[i]
		text, lost := fate(r, f.Outcome, f.Why, f.Delivery)
		said.Beside = []point{{Text: strings.ToUpper(text[:1]) + text[1:], Grave: lost}}
		if r.Segments > 0 {
			cost := plural(r.Segments, "message")
			if r.Price > 0 {
				cost += ", " + q.price(l.Place, r.Price)
			}
			said.Beside = append(said.Beside, point{Text: cost})
		}
		out = append(out, said)
	}
	return out
}

// price writes an amount in the money of a place.
func (q *request) price(place string, m gateway.Money) string {
	facts := q.Facts()
	p, ok := facts.Places[place]
	if !ok {
		p = facts.Places[facts.Home]
	}
	return strings.TrimSpace(m.String() + " " + p.Currency)
}

func (q *request) conversation() error {
	page, _, err := q.conversationPage(q.query.Get("after"))
	if err != nil {
		return err
	}
	return q.render("talk-one", page)
}

// showTalkNumber shows the whole number beside a conversation, and records who
// looked.
func (q *request) showTalkNumber() error {
	page, c, err := q.conversationPage(q.form.Get("after"))
	if err != nil {
		return err
	}
	if err := q.audit("number shown", page.Number, "talk"); err != nil {
		return err
	}
	page.Whole = "+" + c.Number.Digits()
	return q.render("talk-one", page)
}

// replyForm asks for a reply, and for what it answers of the questions that wait
// for an officer.
func (q *request) replyForm(person gateway.PersonKey, c gateway.Conversation) (form, error) {
	waiting, err := q.Views.Matters(q.ctx, views.MatterQuery{Kind: views.Question, Person: person}, views.Page{})
	if err != nil {
		return form{}, err
	}
	var about []option
	for _, m := range waiting.List {
		about = append(about, option{m.Key.String(), short(m.Text)})
	}
	text, err := q.replyField(c)
	if err != nil {
		return form{}, err
	}
	f := form{Fields: []field{text}}
	if len(about) > 0 {
		f.Fields = append([]field{{Name: "about", Label: "It answers", Kind: "select", Options: append(about, option{"", "none of their questions"}), Value: about[0].Value}}, f.Fields...)
	}
	return f, nil
}

// replyField asks for the text. Beside it stands all that the line would send.
func (q *request) replyField(c gateway.Conversation) (field, error) {
	lang := cmp.Or(c.State.Lang, locales.Default)
	f := field{
		Name: "text", Label: "Your reply", Kind: "textarea", Lang: string(lang),
		Hint: "In " + q.langName(lang) + ". The line puts before it that it comes from their officer. Ask for a word in reply, never for a digit.",
	}
	text := written(q.form, f.Name)
	if text == "" {
		f.Look = q.lookAt(f, c)
		return f, nil
	}
	texts, err := q.Service.ShowAnswer(c, text, q.now)
	if err != nil {
		return f, err
	}
	f.Look = q.lookAt(f, c, texts...)
	if len(f.Look.Texts) > 0 { // the line has put them in place already
		f.Look.Texts[0].Changed = measure(lang, text).Changed
	}
	return f, nil
}

// short cuts a text for a list.
func short(s string) string {
	const most = 60
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "..."
	}
	return s
}

// measureReply tells what a reply comes to on a phone while somebody writes it.
func (q *request) measureReply() error {
	k, err := q.person()
	if err != nil {
		return err
	}
	c, err := q.People.Person(q.ctx, k)
	if err != nil {
		return err
	}
	f, err := q.replyField(c)
	if err != nil {
		return err
	}
	return q.sendLooks(looks{Fields: []*look{f.Look}})
}

// reply shows an officer's reply as the phone will, or sends it.
func (q *request) reply() error {
	page, c, err := q.conversationPage(q.form.Get("after"))
	if err != nil {
		return err
	}
	if page.Refused != "" {
		return fiber.NewError(http.StatusConflict, page.Refused)
	}
	page.Reply.fill(q.form)
	about, err := before(q.form.Get("about"))
	if err != nil {
		return err
	}
	text := written(q.form, "text")
	if page.Reply.Wrong() {
		return q.again("talk-one", page)
	}
	if q.form.Get("do") == "look" {
		return q.render("talk-one", page)
	}
	err = q.Knowledge.CheckReply(cmp.Or(c.State.Lang, locales.Default), text)
	switch stopped := q.objects(err, &page.Stopped, &page.Second); {
	case err != nil && !stopped:
		return err
	case stopped && (!page.Second || q.form.Get("do") != "sure"):
		return q.again("talk-one", page)
	}
	waits, err := q.Service.Answer(q.ctx, c.Number, about, text, q.Account.Name, q.now)
	switch {
	case errors.Is(err, gateway.ErrNotFound):
		return err
	case errors.Is(err, gateway.ErrOptedOut):
		return fiber.NewError(http.StatusConflict, "they opted out just now, so nothing was sent")
	case err != nil:
		q.Log.Warn("a reply was not sent", "error", err)
		page.Reply.wrong("text", cause(err))
		return q.again("talk-one", page)
	}
	if err := q.audit("reply sent", page.Number, "talk"); err != nil {
		return err
	}
	flash := "The reply is on its way. It stands below in a moment."
	if waits {
		flash = "They are asked first whether it is still them. The reply goes to them when they say so, and to nobody else."
	}
	return q.done("/talk/"+page.ID, flash)
}
