package console

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/gofiber/fiber/v2"

	"cobline/calc"
	"cobline/dialog"
	"cobline/gateway"
	"cobline/locales"
)

var noticesRoutes = []route{
	{get, "/notices", Viewer, (*request).notices},
	{get, "/notices/new", Officer, (*request).newNotice},
	{post, "/notices/new", Officer, (*request).changeNotice},
	{post, "/notices/measure", Officer, (*request).measureNotice},
	{post, "/notices/preview", Officer, (*request).previewNotice},
	{get, "/notices/count/:id", Officer, (*request).noticeCount},
	{post, "/notices/try", Officer, (*request).tryNotice},
	{post, "/notices/send", Officer, (*request).sendNotice},
	{get, "/notices/:id", Viewer, (*request).notice},
	{post, "/notices/:id/pause", Officer, (*request).pauseNotice},
	{post, "/notices/:id/resume", Officer, (*request).resumeNotice},
	{post, "/notices/:id/cancel", Officer, (*request).cancelNotice},
}

// standing is a notice as pages show it.
type standing struct {
	gateway.Notice
	gateway.Tally
	Head string // what it says, in short
	For  string // whom it is for
}

// Wait is how many phones it may still reach.
func (s standing) Wait() int { return s.Tally.Waiting() }

// Settled is how many phones nothing more is to be sent to.
func (s standing) Settled() int { return s.Enlisted - s.Wait() }

// Failures is how many phones a gateway refused or did not reach.
func (s standing) Failures() int { return s.Failed + s.Undelivered }

// State says how far it has come.
func (s standing) State() string {
	switch {
	case s.Progress == gateway.Running && !s.Listed:
		return "looking up whom it is for"
	case s.Progress == gateway.Running && s.Wait() == 0:
		return "done"
	case s.Progress == gateway.Running:
		return "going out"
	}
	return s.Progress.String()
}

// Moves reports whether more of it is to be expected.
func (s standing) Moves() bool {
	return s.Progress == gateway.Running && (!s.Listed || s.Wait() > 0)
}

// Open reports whether it may still be paused or cancelled.
func (s standing) Open() bool {
	return s.Progress != gateway.Cancelled && (s.Wait() > 0 || !s.Listed)
}

func (q *request) standing(s gateway.Standing) standing {
	out := standing{Notice: s.Notice, Tally: s.Tally, For: q.audience(s.Notice)}
	m := s.Notice.Message
	if out.Head = readyNames[m.Ready]; out.Head != "" {
		names := make([]string, len(s.Notice.Audience.Places))
		for i, key := range s.Notice.Audience.Places {
			names[i] = q.placeName(key)
		}
		if len(names) > 0 {
			out.Head += ", " + strings.Join(names, ", ")
		}
	} else {
		for _, l := range slices.Sorted(maps.Keys(m.Texts)) {
			out.Head = m.Texts[l]
			if l == locales.Default {
				break
			}
		}
	}
	return out
}

// readyNames are the ready texts as officers call them.
var readyNames = map[string]string{"rain": "Rain is likely", "wind": "Strong wind is likely", "cold": "A cold, damp night is likely"}

var stageNames = map[string]string{
	"lit": "a drum that is lit", "sealed": "a drum that is sealed", "opened": "a drum that is open", dialog.StageDrying: "briquettes drying",
}

var ringNames = map[dialog.Ring]string{
	dialog.RingReported: "those who reported a drum or drying",
	dialog.RingLikely:   "those who reported it, and those who probably have it",
	dialog.RingAccepted: "everyone there who accepted messages",
}

// audience says whom a notice is for.
func (q *request) audience(n gateway.Notice) string {
	a := n.Audience
	who := "everyone who accepted messages"
	if n.Message.Weather || n.Message.Ready != "" {
		who = ringNames[cmp.Or(a.Ring, dialog.RingLikely)]
	}
	parts := []string{who}
	add := func(before string, list []string, name func(string) string) {
		if len(list) > 0 {
			names := make([]string, len(list))
			for i, v := range list {
				names[i] = name(v)
			}
			parts = append(parts, before+strings.Join(names, " or "))
		}
	}
	same := func(s string) string { return s }
	add("at ", a.Places, q.placeName)
	add("of the group ", a.Groups, same)
	langs := make([]string, len(a.Langs))
	for i, l := range a.Langs {
		langs[i] = string(l)
	}
	add("who read ", langs, func(l string) string { return q.langName(locales.Lang(l)) })
	add("with ", a.Stages, func(s string) string { return stageNames[s] })
	add("of ", a.Wastes, q.wasteName)
	return strings.Join(parts, ", ")
}

func (q *request) placeName(key string) string {
	if p, ok := q.Facts().Places[key]; ok {
		return p.Name
	}
	return key
}

func (q *request) langName(l locales.Lang) string { return q.Catalog.Text(l, locales.Name, nil) }

func (q *request) wasteName(key string) string {
	return q.Catalog.Text(locales.Default, locales.ID("waste."+key), nil)
}

// zone is that of the line, in which forms give their times.
func (q *request) zone() *time.Location { return view{facts: q.Facts()}.zone("") }

// placeChoices returns the places in the order of their names.
func (q *request) placeChoices() (list []choice) {
	facts := q.Facts()
	for _, key := range slices.SortedFunc(maps.Keys(facts.Places), func(a, b string) int {
		return cmp.Or(strings.Compare(facts.Places[a].Name, facts.Places[b].Name), strings.Compare(a, b))
	}) {
		list = append(list, choice{Value: key, Label: facts.Places[key].Name})
	}
	return list
}

// langs returns the languages the line speaks here.
func (q *request) langs() []locales.Lang {
	if on := q.Facts().Langs; len(on) > 0 {
		return on
	}
	return q.Catalog.Free()
}

// noticesShown is how many notices one page lists.
const noticesShown = 30

type noticesView struct {
	Rows  []standing
	Pager Pager
}

func (q *request) notices() error {
	all, err := q.Notices.List(q.ctx)
	if err != nil {
		return err
	}
	if after := q.query.Get("after"); after != "" {
		all = slices.DeleteFunc(all, func(s gateway.Standing) bool { return s.Notice.Message.ID >= after })
	}
	var page noticesView
	for _, s := range all[:min(noticesShown, len(all))] {
		page.Rows = append(page.Rows, q.standing(s))
	}
	if len(all) > noticesShown {
		page.Pager = q.pager(page.Rows[noticesShown-1].Message.ID)
	}
	return q.render("notices", page)
}

// choice is one box to tick.
type choice struct {
	Value, Label string
	On           bool
}

// choices are boxes of one question.
type choices struct {
	Name, Label, Hint string
	List              []choice
}

func (c *choices) tick(values []string) {
	for i := range c.List {
		c.List[i].On = slices.Contains(values, c.List[i].Value)
	}
}

// noticeForm is a notice that is being written.
type noticeForm struct {
	What, When    form
	Places, Langs choices
	Stages        choices
	Wastes        choices
	Texts         form
	Who           form
}

// Wrong reports whether something is to be mended.
func (f noticeForm) Wrong() bool {
	return f.What.Wrong() || f.When.Wrong() || f.Texts.Wrong() || f.Who.Wrong()
}

// ownWords stands for no ready text in the form.
const ownWords = "own"

// dateTime is how a browser gives a time.
const dateTime = "2006-01-02T15:04"

func (q *request) noticeForm(v url.Values) noticeForm {
	zone := q.zone().String()
	ready := []option{{ownWords, "my own words"}}
	for _, name := range dialog.ReadyNotices {
		ready = append(ready, option{name, "ready text: " + strings.ToLower(readyNames[name])})
	}
	f := noticeForm{
		What: form{Fields: []field{
			{Name: "ready", Label: "Text", Kind: "select", Options: ready, Hint: "A ready text is reviewed, and there in every language. It needs the hour of the weather."},
			{Name: "hour", Label: "The rain, wind or cold begins", Kind: "datetime-local", Optional: true, Hint: "In " + zone + ". The notice names the hour, and expires then."},
		}},
		Places: choices{Name: "place", Label: "Places", Hint: "None ticked: all."},
		Langs:  choices{Name: "lang", Label: "Languages", Hint: "None ticked: all."},
		Stages: choices{Name: "stage", Label: "What they have under way", Hint: "None ticked: anything or nothing."},
		Wastes: choices{Name: "waste", Label: "What is drying", Hint: "None ticked: anything or nothing."},
		Who: form{Fields: []field{
			{Name: "group", Label: "Groups", Kind: "text", Optional: true, Hint: "Names with a comma between. Empty: all."},
			{Name: "ring", Label: "How wide a notice about the weather goes", Kind: "select", Options: []option{
				{"likely", "to " + ringNames[dialog.RingLikely]},
				{"reported", "only to " + ringNames[dialog.RingReported]},
				{"accepted", "to " + ringNames[dialog.RingAccepted]},
			}},
			{Name: "weather", Label: "My own words are about the weather: they go by the line above, and who has a drum lit or sealed also gets the rain line", Kind: "checkbox"},
		}},
		When: form{Fields: []field{
			{Name: "begin", Label: "Not before", Kind: "datetime-local", Optional: true, Hint: "Empty: now. The quiet hours of each place are kept anyway."},
			{Name: "expires", Label: "Not after", Kind: "datetime-local", Optional: true, Hint: "Empty: the hour of the weather, else a day."},
		}},
	}
	f.Places.List = q.placeChoices()
	for _, l := range q.langs() {
		f.Langs.List = append(f.Langs.List, choice{Value: string(l), Label: q.langName(l)})
		f.Texts.Fields = append(f.Texts.Fields, field{
			Name: "text-" + string(l), Label: q.langName(l), Kind: "textarea", Lang: string(l), Optional: true,
		})
	}
	for _, s := range []string{"lit", "sealed", "opened", dialog.StageDrying} {
		f.Stages.List = append(f.Stages.List, choice{Value: s, Label: stageNames[s]})
	}
	for _, w := range calc.Wastes() {
		f.Wastes.List = append(f.Wastes.List, choice{Value: string(w), Label: q.wasteName(string(w))})
	}
	f.What.fill(v)
	f.Who.fill(v)
	f.When.fill(v)
	f.Texts.fill(v)
	for _, c := range []*choices{&f.Places, &f.Langs, &f.Stages, &f.Wastes} {
		c.tick(v[c.Name])
	}
	return f
}

// read returns the notice of the form, and notes what is to be mended.
func (q *request) read(v url.Values) (noticeForm, gateway.Notice) {
	f := q.noticeForm(v)
	ready := v.Get("ready")
	if ready == ownWords {
		ready = ""
	}
	n := gateway.Notice{
		By: q.Account.Name,
		Message: dialog.Notice{
			ID: v.Get("id"), Ready: ready, Weather: v.Get("weather") != "" || ready != "", Texts: map[locales.Lang]string{},
		},
		Audience: gateway.Audience{Places: v["place"], Stages: v["stage"], Wastes: v["waste"], Ring: map[string]dialog.Ring{
			"reported": dialog.RingReported, "accepted": dialog.RingAccepted,
		}[v.Get("ring")]},
	}
	for _, l := range v["lang"] {
		n.Audience.Langs = append(n.Audience.Langs, locales.Lang(l))
	}
	for group := range strings.SplitSeq(v.Get("group"), ",") {
		if group = strings.TrimSpace(group); group != "" {
			n.Audience.Groups = append(n.Audience.Groups, group)
		}
	}
	for _, l := range q.langs() {
		if text := written(v, "text-"+string(l)); text != "" && n.Message.Ready == "" {
			n.Message.Texts[l] = text
		}
	}
	zone := q.zone()
	for name, t := range map[string]*time.Time{"hour": &n.Message.Hour, "expires": &n.Message.Expires, "begin": &n.NotBefore} {
		if v.Get(name) == "" {
			continue
		}
		at, err := time.ParseInLocation(dateTime, v.Get(name), zone)
		if err != nil {
			in := &f.When
			if name == "hour" {
				in = &f.What
			}
			in.wrong(name, "write a date and a time, such as 2026-03-02T15:00")
			continue
		}
		*t = at
	}
	return f, n
}

type noticeFormView struct {
	Form   noticeForm
	Notice *noticeLook
	Count  bool // nobody has counted whom it is for
}

// newNotice asks for a notice. Nobody is counted before the page is there.
func (q *request) newNotice() error { return q.noticePage(q.query, false) }

// changeNotice shows the form again with what it comes to so far: to go back to
// it from the preview, or without the script that tells it all the time.
func (q *request) changeNotice() error { return q.noticePage(q.form, true) }

func (q *request) noticePage(v url.Values, count bool) error {
	f, n := q.read(v)
	f.forgive()
	all, err := q.lookAtNotice(&f, n, count)
	if err != nil {
		return err
	}
	return q.render("notice-form", noticeFormView{Form: f, Notice: all, Count: !count && n.Message.Ready != ""})
}

// mendNotice shows the form with what is to be mended.
func (q *request) mendNotice(f noticeForm, n gateway.Notice) error {
	all, err := q.lookAtNotice(&f, n, false)
	if err != nil {
		return err
	}
	return q.again("notice-form", noticeFormView{Form: f, Notice: all})
}

// forgive takes the faults of a form away: nobody has sent it yet.
func (f *noticeForm) forgive() {
	for _, in := range []*form{&f.What, &f.When, &f.Texts, &f.Who} {
		for i := range in.Fields {
			in.Fields[i].Fault = ""
		}
	}
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// variant is one text of a preview.
type variant struct {
	gateway.Variant
	Name  string
	Shown shownText
}

// counted is a word and how often it counts.
type counted struct {
	What string
	N    int
}

// variants are the texts of a notice with what they come to.
func (q *request) variants(texts []gateway.Variant) (list []variant) {
	for _, v := range texts {
		shown := measure(v.Lang, v.Text)
		if v.Segments > 0 { // what comes beside a drum is a message of its own
			_, characters, _ := strings.Cut(shown.Size, ", ")
			shown.Size = plural(v.Segments, "message") + ", " + characters
		}
		list = append(list, variant{v, q.langName(v.Lang), shown})
	}
	return list
}

// currency is that in which the line pays.
func (q *request) currency() string {
	facts := q.Facts()
	return facts.Places[facts.Home].Currency
}

type previewView struct {
	Notice   standing
	At       time.Time // when it was counted
	Care     []string  // rules that the officer's own words may contradict
	Preview  gateway.Preview
	Rings    []counted
	LeftOut  []counted
	Currency string
	Texts    []variant
	Hidden   []option
	Try      form
	Tried    []string
}

// previewNotice shows whom a notice would reach and what they would read.
func (q *request) previewNotice() error {
	f, n := q.read(q.form)
	c, err := q.count(&f, n, countFresh)
	switch {
	case err != nil:
		return err
	case f.Wrong():
		return q.mendNotice(f, n)
	case !c.known():
		return q.done("/notices/count/"+c.form.Get("id"), "")
	}
	page, err := q.previewOf(c)
	if err != nil {
		return err
	}
	return q.render("notice-preview", page)
}

type noticeCountView struct {
	Looked, Of int64
	Hidden     []option
}

// noticeCount shows how far it is counted whom a notice would reach, and then the
// preview.
func (q *request) noticeCount() error {
	c := q.counts.find(q.Account.Name, q.param("id"))
	if c == nil {
		return q.done("/notices/new", "That count is gone. Write the notice again.")
	}
	if !c.wait(q) {
		return q.render("notice-count", noticeCountView{c.looked.Load(), c.of.Load(), c.hidden()})
	}
	page, err := q.previewOf(c)
	if err != nil {
		return err
	}
	return q.render("notice-preview", page)
}

// previewOf is what a notice that was counted would come to.
func (q *request) previewOf(c *headcount) (previewView, error) {
	var unfit gateway.Unfit
	switch {
	case errors.As(c.err, &unfit):
		return previewView{}, fiber.NewError(http.StatusUnprocessableEntity, unfit.Error())
	case c.err != nil:
		return previewView{}, c.err
	}
	p := c.preview
	return previewView{
		Preview: p, At: c.at, Notice: q.standing(gateway.Standing{Notice: c.notice}), Currency: q.currency(), Texts: q.variants(p.Texts),
		Try: q.tryForm(c.notice), Rings: byCount(p.Rings), LeftOut: byCount(p.LeftOut), Hidden: c.hidden(), Care: q.care(c.notice.Message.Texts),
	}, nil
}

// care lists the rules that own words of a notice may contradict.
func (q *request) care(texts map[locales.Lang]string) (list []string) {
	for _, l := range slices.Sorted(maps.Keys(texts)) {
		var o dialog.Objection
		if errors.As(q.Knowledge.CheckReply(l, texts[l]), &o) {
			for _, why := range o.Reasons {
				list = append(list, q.langName(l)+": "+why)
			}
		}
	}
	return list
}

// byCount lists what was counted, the most first.
func byCount(n map[string]int) (list []counted) {
	for what, n := range n {
		list = append(list, counted{what, n})
	}
	slices.SortFunc(list, func(a, b counted) int { return cmp.Or(b.N-a.N, strings.Compare(a.What, b.What)) })
	return list
}

func (q *request) tryForm(n gateway.Notice) form {
	lang := field{Name: "try-lang", Label: "Language", Kind: "select"}
	for _, l := range q.langs() {
		if n.Message.Ready != "" || n.Message.Texts[l] != "" {
			lang.Options = append(lang.Options, option{string(l), q.langName(l)})
		}
	}
	return form{Fields: []field{{Name: "phone", Label: "Phone", Kind: "tel", Complete: "tel", Hint: "With its country code, such as +254700000001."}, lang}}
}

// tryNotice sends a notice to one phone.
func (q *request) tryNotice() error {
	f, n := q.read(q.form)
	c, err := q.count(&f, n, countKept)
	switch {
	case err != nil:
		return err
	case f.Wrong():
		return q.mendNotice(f, n)
	case !c.known():
		return q.done("/notices/count/"+c.form.Get("id"), "Nothing was sent to that phone: whom the notice is for is being counted again. Try it after that.")
	}
	page, err := q.previewOf(c)
	if err != nil {
		return err
	}
	page.Try.fill(q.form)
	phone, err := gateway.ParseNumber(q.form.Get("phone"), q.Country)
	if err != nil {
		page.Try.wrong("phone", fmt.Sprintf("%q is no phone number; write it with its country code, such as +254700000001", q.form.Get("phone")))
	}
	if page.Try.Wrong() {
		return q.again("notice-preview", page)
	}
	if page.Tried, err = q.Notices.Test(q.ctx, n, phone, locales.Lang(q.form.Get("try-lang")), q.now); err != nil {
		q.Log.Warn("a notice was not tried", "error", err)
		page.Try.wrong("phone", "nothing was sent to it: "+cause(err))
		return q.again("notice-preview", page)
	}
	if err := q.audit("notice tried", phone.String(), ""); err != nil {
		return err
	}
	return q.render("notice-preview", page)
}

// cause returns the innermost sentence of an error.
func cause(err error) string {
	for {
		inner := errors.Unwrap(err)
		if inner == nil {
			return err.Error()
		}
		err = inner
	}
}

// sendNotice starts a notice. The same form sent twice starts it once.
func (q *request) sendNotice() error {
	f, n := q.read(q.form)
	why := n.Check(q.now)
	if why != nil {
		f.What.Fault = sentence(why.Error())
	}
	if f.Wrong() || n.Message.ID == "" {
		return q.mendNotice(f, n)
	}
	started, err := q.Notices.Start(q.ctx, n, q.now)
	var unfit gateway.Unfit
	switch {
	case errors.Is(err, gateway.ErrConflict):
		return q.done("/notices/"+n.Message.ID, "This notice is started already.")
	case errors.As(err, &unfit):
		f.What.Fault = sentence(unfit.Error())
		return q.mendNotice(f, n)
	case err != nil:
		return err
	}
	if err := q.audit("notice started", started.Message.ID, q.audience(started)); err != nil {
		return err
	}
	return q.done("/notices/"+started.Message.ID, "The notice is started.")
}

type noticeView struct {
	standing
	Texts []variant
	Hour  time.Time
}

func (q *request) notice() error {
	s, err := q.Notices.Get(q.ctx, q.param("id"))
	if err != nil {
		return err
	}
	page := noticeView{standing: q.standing(s), Hour: s.Notice.Message.Hour}
	for _, l := range slices.Sorted(maps.Keys(s.Notice.Message.Texts)) {
		text := s.Notice.Message.Texts[l]
		page.Texts = append(page.Texts, variant{gateway.Variant{Lang: l, Text: text}, q.langName(l), measure(l, text)})
	}
	return q.render("notice", page)
}

func (q *request) pauseNotice() error {
	return q.setNotice(gateway.Paused, "notice paused", "The notice is paused. What is on its way still arrives.")
}

func (q *request) resumeNotice() error {
	return q.setNotice(gateway.Running, "notice resumed", "The notice goes on.")
}

func (q *request) cancelNotice() error {
	return q.setNotice(gateway.Cancelled, "notice cancelled", "The notice is cancelled. What was sent stays sent.")
}

func (q *request) setNotice(p gateway.Progress, what, done string) error {
	id := q.param("id")
	s, err := q.Notices.Get(q.ctx, id)
	if err != nil {
		return err
	}
	if s.Notice.Progress == gateway.Cancelled {
		return q.done("/notices/"+id, "The notice was cancelled before; it stays so. Start another.")
	}
	if _, err := q.Notices.Set(q.ctx, id, p, q.now); err != nil {
		return err
	}
	if err := q.audit(what, id, ""); err != nil {
		return err
	}
	return q.done("/notices/"+id, done)
}
