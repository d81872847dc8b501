package console

import (
	"cmp"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gofiber/fiber/v2"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/views"
	"cobline/locales"
)

var questionsRoutes = []route{
	{get, "/questions", Viewer, (*request).questions},
	{post, "/questions/acknowledge", Officer, (*request).acknowledge},
	{post, "/questions/called", Officer, (*request).called},
	{post, "/questions/close", Officer, (*request).closeMatter},
	{get, "/questions/teach", Officer, (*request).teach},
	{post, "/questions/teach", Officer, (*request).saveTaught},
	{post, "/questions/untaught", Officer, (*request).untaught},
	{get, "/questions/answer", Officer, (*request).writeAnswer},
	{post, "/questions/answer", Officer, (*request).saveAnswer},
	{post, "/questions/measure", Officer, (*request).measureAnswer},
	{post, "/questions/unanswer", Officer, (*request).dropAnswer},
	{get, "/questions/taught", Viewer, (*request).taught},
	{post, "/questions/approve", Administrator, (*request).approve},
	{post, "/questions/decline", Administrator, (*request).decline},
}

// matter is something that waits for an officer, as the page shows it.
type matter struct {
	views.Matter
	ID    string // of the person
	Where string
	Read  string // the language
	Waits string
	Kind  string
	Talk  string
}

func (m matter) Entry() string { return m.Key.String() }

// alike is a group of texts that were not understood.
type alike struct {
	views.Alike
	Word  string   // the shortest of Heads
	Heads []string // as people write it
	Peak  int
	Hits  []hit
}

// column is the texts of a day, in a picture that is ten high.
type column struct {
	X         int
	Y, Height float64
}

// Spark is a column for each day that has texts; the busiest reaches the top.
func (a alike) Spark() (bars []column) {
	for x, n := range a.Days {
		if h := 10 * float64(n) / float64(a.Peak); n > 0 {
			bars = append(bars, column{x, 10 - h, h})
		}
	}
	return bars
}

type questionsView struct {
	Emergencies, Calls, Asked, Flagged []matter
	AllCalls, AllAsked, AllFlagged     int
	Unknown                            []alike
	AllUnknown                         int
	Find                               form
	Lang                               locales.Lang
	More                               string // the next part of what was not understood
	Proposals                          int
	Behind                             string
}

// The parts of the page. Emergencies are shown all.
const (
	mattersShown = 20
	unknownShown = 15
	unknownDays  = 30
)

func (q *request) matters(kind views.MatterKind, most int) (list []matter, all int, err error) {
	found, err := q.Views.Matters(q.ctx, views.MatterQuery{Kind: kind, Oldest: kind != views.Emergency}, views.Page{Max: most})
	if err != nil {
		return nil, 0, err
	}
	for _, m := range found.List {
		out := matter{Matter: m, ID: idOf(m.Person), Where: q.placeName(cmp.Or(m.Place, q.Facts().Home)), Waits: span(q.now.Sub(m.At)), Talk: talkAt(m.Person, m.Key)}
		if m.Lang != "" {
			out.Read = q.langName(m.Lang)
		}
		if out.Kind = m.Why; kind == views.Emergency {
			out.Kind = q.said("kind."+m.Why, m.Why)
		}
		list = append(list, out)
	}
	return list, found.All, nil
}

// span says how long something waits.
func span(d time.Duration) string {
	switch {
	case d < time.Hour:
		return plural(int(d.Minutes()), "minute")
	case d < 48*time.Hour:
		return plural(int(d.Hours()), "hour")
	}
	return plural(int(d.Hours()/24), "day")
}

func (q *request) questions() error {
	page := questionsView{Behind: q.behind()}
	var err error
	if page.Emergencies, _, err = q.matters(views.Emergency, 100); err != nil {
		return err
	}
	for _, part := range []struct {
		kind views.MatterKind
		list *[]matter
		all  *int
	}{{views.CallBack, &page.Calls, &page.AllCalls}, {views.Question, &page.Asked, &page.AllAsked}, {views.Flag, &page.Flagged, &page.AllFlagged}} {
		if *part.list, *part.all, err = q.matters(part.kind, mattersShown); err != nil {
			return err
		}
	}
	proposals, err := q.Knowledge.Proposals(q.ctx)
	if err != nil {
		return err
	}
	page.Proposals = len(proposals)
	if err := q.unknown(&page); err != nil {
		return err
	}
	return q.render("questions", page)
}

// unknown adds the texts of a language that were not understood.
func (q *request) unknown(page *questionsView) error {
	page.Find = form{Fields: []field{
		{Name: "language", Label: "Language", Kind: "select", Filter: true, Options: q.langOptions()},
		{Name: "days", Label: "Of the last", Kind: "select", Filter: true, Options: []option{{"7", "7 days"}, {"30", "30 days"}, {"90", "90 days"}}},
	}}
	page.Find.Fields[0].Value, page.Find.Fields[1].Value = q.query.Get("language"), cmp.Or(q.query.Get("days"), strconv.Itoa(unknownDays))
	days, err := strconv.Atoi(page.Find.Fields[1].Value)
	if err != nil || days < 1 || days > 92 {
		days = unknownDays
	}
	skip, err := strconv.Atoi(cmp.Or(q.query.Get("skip"), "0"))
	if err != nil || skip < 0 {
		return fiber.NewError(http.StatusBadRequest, "this page of the list does not exist; begin at the first one")
	}
	langs := q.langs()
	page.Lang = langs[0]
	if l := locales.Lang(q.query.Get("language")); slices.Contains(langs, l) {
		page.Lang = l
	}
	page.Find.Fields[0].Value = string(page.Lang)
	found, err := q.Views.Unknown(q.ctx, page.Lang, q.now.AddDate(0, 0, -days), q.now, skip, unknownShown)
	if err != nil {
		return err
	}
	page.AllUnknown = found.All
	for _, g := range found.Groups {
		a := alike{Alike: g, Peak: slices.Max(append([]int{0}, g.Days...))}
		for _, h := range g.Examples {
			a.Hits = append(a.Hits, q.hit(h))
			if text := strings.ToLower(strings.Join(strings.Fields(h.Text), " ")); !slices.Contains(a.Heads, text) {
				a.Heads = append(a.Heads, text)
			}
		}
		if len(a.Heads) == 0 { // those who wrote it are forgotten
			a.Heads = []string{g.Forms[0].Form}
		}
		a.Word = slices.MinFunc(a.Heads, func(a, b string) int { return len(a) - len(b) })
		page.Unknown = append(page.Unknown, a)
	}
	if next := skip + unknownShown; next < found.All {
		page.More = fmt.Sprintf("%s/questions?language=%s&days=%d&skip=%d#unknown", Root, page.Lang, days, next)
	}
	return nil
}

// about reads which matter a form is about, and whose it is.
func (q *request) about() (entry gateway.Key, c gateway.Conversation, err error) {
	if entry, err = gateway.ParseKey(q.form.Get("entry")); err != nil {
		return entry, c, gateway.ErrNotFound
	}
	person, err := personOf(q.form.Get("person"))
	if err != nil {
		return entry, c, err
	}
	c, err = q.People.Person(q.ctx, person)
	return entry, c, err
}

// settle notes what an officer did about a matter.
func (q *request) settle(entry gateway.Key, state gateway.CaseState, note string) error {
	_, rev, err := gateway.GetCase(q.ctx, q.Desk, entry)
	if err != nil {
		return err
	}
	err = q.Views.PutCase(q.ctx, gateway.Case{Entry: entry, State: state, By: q.Account.Name, At: q.now, Note: strings.TrimSpace(note)}, rev)
	if errors.Is(err, gateway.ErrConflict) {
		return fiber.NewError(http.StatusConflict, "another officer was quicker; look at the page again")
	}
	return err
}

// acknowledge notes that an officer sees to an emergency. No further duty phone is
// told of it.
func (q *request) acknowledge() error {
	entry, c, err := q.about()
	if err != nil {
		return err
	}
	err = q.Service.Acknowledge(q.ctx, c.Number, entry, q.Account.Name, q.now)
	if err != nil && !errors.Is(err, gateway.ErrNotFound) { // a duty phone may have been quicker
		return err
	}
	if err := errors.Join(q.settle(entry, gateway.CaseAcknowledged, ""), q.audit("emergency acknowledged", c.Number.String(), "")); err != nil {
		return err
	}
	return q.done("/questions", "Acknowledged: it is yours now. Phone the person; the line told them that it cannot send help.")
}

// called notes that a person was phoned, or could not be.
func (q *request) called() error {
	entry, c, err := q.about()
	if err != nil {
		return err
	}
	note := strings.TrimSpace(q.form.Get("note"))
	if q.form.Get("do") == "missed" {
		if err := q.settle(entry, gateway.CaseTaken, "not reached. "+note); err != nil {
			return err
		}
		return q.done("/questions", "Noted: not reached. They stay on the list.")
	}
	if err := q.Service.Called(q.ctx, c.Number, entry, q.Account.Name, q.now); err != nil {
		return err
	}
	if err := errors.Join(q.settle(entry, gateway.CaseCalled, note), q.audit("call-back made", c.Number.String(), "")); err != nil {
		return err
	}
	return q.done("/questions", "Noted: phoned.")
}

// closeMatter ends a matter about which nothing is to be done any more.
func (q *request) closeMatter() error {
	entry, c, err := q.about()
	if err != nil {
		return err
	}
	if err := errors.Join(q.settle(entry, gateway.CaseClosed, q.form.Get("note")), q.audit("matter closed", c.Number.String(), "")); err != nil {
		return err
	}
	return q.done("/questions", "Closed.")
}

// reread is a text that would be understood otherwise.
type reread struct {
	Text          string
	Before, After []point
}

type teachView struct {
	Form    form
	Shown   bool // what it changes is shown
	Changes []reread
	Tested  int
	Refused []string // why it may not be taught
	Second  bool     // unless an administrator looks at it too
}

func (q *request) teachForm() form {
	meaning := field{Name: "meaning", Label: "It means", Kind: "select", Options: []option{{"", "choose"}}}
	for _, m := range q.Knowledge.Meanings() {
		label := m.Group + ": " + m.Name
		if m.Second {
			label += " (an administrator looks too)"
		}
		meaning.Options = append(meaning.Options, option{m.Concept, label})
	}
	return form{Fields: []field{
		{Name: "word", Label: "Word or spelling", Kind: "text", Complete: "off", Hint: "As people write it; up to seven words."},
		{Name: "language", Label: "Language", Kind: "select", Options: q.langOptions()},
		meaning,
		{Name: "place", Label: "Where", Kind: "select", Optional: true, Options: append([]option{{"", "everywhere"}}, q.placeOptions()...)},
	}}
}

func (q *request) teach() error {
	page := teachView{Form: q.teachForm()}
	for i, f := range page.Form.Fields {
		page.Form.Fields[i].Value = q.query.Get(f.Name)
	}
	return q.render("teach", page)
}

// saveTaught shows what a word would change and, on a second press, teaches it.
func (q *request) saveTaught() error {
	page := teachView{Form: q.teachForm()}
	page.Form.fill(q.form)
	t := gateway.Taught{
		Lang: locales.Lang(q.form.Get("language")), Place: q.form.Get("place"), Word: strings.TrimSpace(q.form.Get("word")),
		Concept: q.form.Get("meaning"), By: q.Account.Name, At: q.now,
	}
	if page.Form.Wrong() {
		return q.again("teach", page)
	}
	err := q.Knowledge.CheckTaught(t)
	if !q.objects(err, &page.Refused, &page.Second) && err != nil {
		return err
	}
	var texts int
	if page.Changes, texts, err = q.changes(t); err != nil {
		return err
	}
	page.Shown, page.Tested = true, texts
	refused := len(page.Refused) > 0
	switch do := q.form.Get("do"); {
	case do == "propose" && page.Second:
		if err := q.Knowledge.Propose(q.ctx, gateway.Proposal{Taught: &t, Why: page.Refused, By: q.Account.Name, At: q.now}); err != nil {
			return err
		}
		if err := q.audit("word proposed", t.Word, string(t.Lang)+": "+t.Concept); err != nil {
			return err
		}
		return q.done("/questions/taught", "Proposed. The line uses it when an administrator has looked at it.")
	case do != "teach" && !refused:
		return q.render("teach", page)
	case refused:
		return q.again("teach", page)
	}
	if _, err := q.Knowledge.Teach(q.ctx, t); err != nil {
		return err
	}
	if err := q.audit("word taught", t.Word, string(t.Lang)+": "+t.Concept); err != nil {
		return err
	}
	return q.done("/questions/taught", fmt.Sprintf("Taught. The line understands %q from the next message on.", t.Word))
}

// objects takes an error as reasons why something may not be taught, if it is
// that.
func (q *request) objects(err error, reasons *[]string, second *bool) bool {
	var o dialog.Objection
	switch {
	case errors.As(err, &o):
		*reasons, *second = o.Reasons, o.Second
	case errors.Is(err, gateway.ErrNoPlace):
		*reasons = []string{"The line does not know that place any more."}
	default:
		return false
	}
	return true
}

// changesTested is how many texts a lesson is tried on: those that hold its first
// word, and the newest that were not understood.
const changesTested = 300

// changes returns how texts of the last weeks would be understood otherwise.
func (q *request) changes(t gateway.Taught) (list []reread, tested int, err error) {
	seen := map[string]bool{}
	var texts []string
	for _, query := range []views.Query{
		{Lang: t.Lang, Place: t.Place, Words: t.Word},
		{Lang: t.Lang, Place: t.Place, Unknown: true},
	} {
		found, err := q.Views.Search(q.ctx, query, views.Page{Max: changesTested / 2})
		if err != nil {
			return nil, 0, err
		}
		for _, h := range found.Hits {
			if !seen[h.Text] {
				seen[h.Text] = true
				texts = append(texts, h.Text)
			}
		}
	}
	for _, c := range q.Knowledge.Changes(texts, t) {
		list = append(list, reread{c.Text, q.understood(c.Before), q.understood(c.After)})
	}
	return list, len(texts), nil
}

func (q *request) untaught() error {
	id := q.form.Get("id")
	i := slices.IndexFunc(q.Knowledge.Taught(), func(t gateway.Taught) bool { return t.ID == id })
	if i < 0 {
		return gateway.ErrNotFound
	}
	t := q.Knowledge.Taught()[i]
	if err := q.Knowledge.Untaught(q.ctx, id); err != nil {
		return err
	}
	if err := q.audit("word untaught", t.Word, string(t.Lang)+": "+t.Concept); err != nil {
		return err
	}
	return q.done("/questions/taught", fmt.Sprintf("Undone. The line no longer understands %q by it.", t.Word))
}

type answerView struct {
	Form    form
	ID      string
	Refused []string
	Second  bool
}

func (q *request) answerForm() form {
	stage := field{Name: "stage", Label: "It belongs to", Kind: "select", Optional: true, Hint: "The line adds the caution of that step by itself.", Options: []option{{"", "no step of the work"}}}
	for _, s := range dialog.Stages() {
		stage.Options = append(stage.Options, option{s, q.said("stage."+s, s)})
	}
	return form{Fields: []field{
		{Name: "language", Label: "Language", Kind: "select", Options: q.langOptions()},
		{Name: "questions", Label: "What people ask", Kind: "textarea", Hint: "One wording on each line, as people write it."},
		{Name: "text", Label: "The answer", Kind: "textarea", Hint: "Short, and one thing. What speaks of opening, hours, water, lighting, drums or illness is left to the line."},
		stage,
		{Name: "place", Label: "Where", Kind: "select", Optional: true, Options: append([]option{{"", "everywhere"}}, q.placeOptions()...)},
	}}
}

// lookAtAnswer sets what stands beside an answer: it, and the caution that the
// line adds.
func (q *request) lookAtAnswer(f *form, v url.Values) *look {
	i := slices.IndexFunc(f.Fields, func(f field) bool { return f.Name == "text" })
	in := &f.Fields[i]
	if in.Lang = string(locales.Default); slices.Contains(q.langs(), locales.Lang(v.Get("language"))) {
		in.Lang = v.Get("language")
	}
	texts := []string{written(v, "text"), ""}
	if stage := v.Get("stage"); texts[0] != "" && slices.Contains(dialog.Stages(), stage) {
		texts[1] = q.Catalog.Text(locales.Lang(in.Lang), locales.ID("caution."+stage), nil)
	}
	in.Look = q.lookAt(*in, gateway.Conversation{}, texts...)
	return in.Look
}

// measureAnswer tells what an answer comes to on a phone while somebody writes it.
func (q *request) measureAnswer() error {
	f := q.answerForm()
	return q.sendLooks(looks{Fields: []*look{q.lookAtAnswer(&f, q.form)}})
}

func (q *request) writeAnswer() error {
	page := answerView{Form: q.answerForm(), ID: q.query.Get("id")}
	values := url.Values{"language": q.query["language"], "questions": {strings.Join(q.query["question"], "\n")}}
	if page.ID != "" {
		i := slices.IndexFunc(q.Knowledge.Answers(), func(a gateway.Answer) bool { return a.ID == page.ID })
		if i < 0 {
			return gateway.ErrNotFound
		}
		a := q.Knowledge.Answers()[i]
		values = url.Values{"language": {string(a.Lang)}, "questions": {strings.Join(a.Questions, "\n")}, "text": {a.Text}, "stage": {a.Stage}, "place": {a.Place}}
	}
	for i, f := range page.Form.Fields {
		page.Form.Fields[i].Value = values.Get(f.Name)
	}
	q.lookAtAnswer(&page.Form, values)
	return q.render("answer", page)
}

func (q *request) saveAnswer() error {
	page := answerView{Form: q.answerForm(), ID: q.form.Get("id")}
	page.Form.fill(q.form)
	q.lookAtAnswer(&page.Form, q.form)
	a := gateway.Answer{
		ID: page.ID, Lang: locales.Lang(q.form.Get("language")), Place: q.form.Get("place"), Text: written(q.form, "text"),
		Stage: q.form.Get("stage"), By: q.Account.Name, At: q.now,
	}
	for line := range strings.Lines(q.form.Get("questions")) {
		if line = strings.TrimSpace(line); line != "" {
			a.Questions = append(a.Questions, line)
		}
	}
	if page.Form.Wrong() {
		return q.again("answer", page)
	}
	if q.form.Get("do") == "look" {
		return q.render("answer", page)
	}
	_, err := q.Knowledge.SetAnswer(q.ctx, a)
	if q.objects(err, &page.Refused, &page.Second) {
		if q.form.Get("do") != "propose" || !page.Second {
			return q.again("answer", page)
		}
		if err := q.Knowledge.Propose(q.ctx, gateway.Proposal{Answer: &a, Why: page.Refused, By: q.Account.Name, At: q.now}); err != nil {
			return err
		}
		if err := q.audit("answer proposed", a.Questions[0], string(a.Lang)); err != nil {
			return err
		}
		return q.done("/questions/taught", "Proposed. The line uses it when an administrator has looked at it.")
	}
	if err != nil {
		return err
	}
	if err := q.audit("answer written", a.Questions[0], string(a.Lang)); err != nil {
		return err
	}
	return q.done("/questions/taught", "Written. The line answers with it from the next message on.")
}

func (q *request) dropAnswer() error {
	id := q.form.Get("id")
	i := slices.IndexFunc(q.Knowledge.Answers(), func(a gateway.Answer) bool { return a.ID == id })
	if i < 0 {
		return gateway.ErrNotFound
	}
	a := q.Knowledge.Answers()[i]
	if err := q.Knowledge.DropAnswer(q.ctx, id); err != nil {
		return err
	}
	if err := q.audit("answer dropped", a.Questions[0], string(a.Lang)); err != nil {
		return err
	}
	return q.done("/questions/taught", "The answer is taken away.")
}

// lesson is a taught word with the names of things.
type lesson struct {
	gateway.Taught
	Read, Means, Where string
}

// known is an answer with the names of things.
type known struct {
	gateway.Answer
	Read, Step, Where string
}

// proposed is what waits for an administrator's look.
type proposed struct {
	gateway.Proposal
	Word *lesson
	Text *known
	May  bool // this reader may say yes
}

type taughtView struct {
	Words     []lesson
	Answers   []known
	Proposals []proposed
	Fault     string
}

func (q *request) lesson(t gateway.Taught) lesson {
	l := lesson{Taught: t, Read: q.langName(t.Lang), Means: t.Concept, Where: "everywhere"}
	if t.Place != "" {
		l.Where = q.placeName(t.Place)
	}
	for _, m := range q.Knowledge.Meanings() {
		if m.Concept == t.Concept {
			l.Means = m.Group + ": " + m.Name
		}
	}
	return l
}

func (q *request) known(a gateway.Answer) known {
	w := known{Answer: a, Read: q.langName(a.Lang), Where: "everywhere"}
	if a.Place != "" {
		w.Where = q.placeName(a.Place)
	}
	if a.Stage != "" {
		w.Step = q.said("stage."+a.Stage, a.Stage)
	}
	return w
}

func (q *request) taughtPage() (page taughtView, err error) {
	for _, t := range q.Knowledge.Taught() {
		page.Words = append(page.Words, q.lesson(t))
	}
	for _, a := range q.Knowledge.Answers() {
		page.Answers = append(page.Answers, q.known(a))
	}
	proposals, err := q.Knowledge.Proposals(q.ctx)
	if err != nil {
		return page, err
	}
	for _, p := range proposals {
		out := proposed{Proposal: p, May: q.Account.Role >= Administrator && p.By != q.Account.Name}
		if p.Taught != nil {
			out.Word = new(q.lesson(*p.Taught))
		}
		if p.Answer != nil {
			out.Text = new(q.known(*p.Answer))
		}
		page.Proposals = append(page.Proposals, out)
	}
	slices.SortFunc(page.Words, func(a, b lesson) int {
		return cmp.Or(strings.Compare(string(a.Lang), string(b.Lang)), strings.Compare(a.Word, b.Word))
	})
	return page, nil
}

func (q *request) taught() error {
	page, err := q.taughtPage()
	if err != nil {
		return err
	}
	return q.render("taught", page)
}

// approve is an administrator's second look.
func (q *request) approve() error {
	p, err := q.Knowledge.Approve(q.ctx, q.form.Get("id"), q.Account.Name)
	var reasons []string
	var second bool
	switch {
	case errors.Is(err, gateway.ErrNotFound):
		return err
	case q.objects(err, &reasons, &second), p.By == q.Account.Name && err != nil:
		page, again := q.taughtPage()
		if again != nil {
			return again
		}
		page.Fault = cmp.Or(strings.Join(reasons, " "), sentence(cause(err)))
		return q.again("taught", page)
	case err != nil:
		return err
	}
	if err := q.audit("proposal approved", p.ID, "of "+p.By); err != nil {
		return err
	}
	return q.done("/questions/taught", "Approved. The line uses it from the next message on.")
}

func (q *request) decline() error {
	p, err := q.Knowledge.Decline(q.ctx, q.form.Get("id"))
	if err != nil {
		return err
	}
	if err := q.audit("proposal declined", p.ID, "of "+p.By); err != nil {
		return err
	}
	return q.done("/questions/taught", "Declined.")
}
