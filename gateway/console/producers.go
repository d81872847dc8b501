package console

import (
	"bytes"
	"cmp"
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gofiber/fiber/v2"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/register"
	"cobline/gateway/views"
	"cobline/locales"
)

var producersRoutes = []route{
	{get, "/producers", Viewer, (*request).producers},
	{post, "/producers/find", Officer, (*request).findProducer},
	{post, "/producers/export", Officer, (*request).exportProducers},
	{get, "/producers/new", Officer, (*request).newProducer},
	{post, "/producers/new", Officer, (*request).enrolProducer},
	{get, "/producers/groups", Viewer, (*request).groups},
	{post, "/producers/groups", Officer, (*request).renameGroup},
	{get, "/producers/lists", Officer, (*request).lists},
	{post, "/producers/lists", Officer, (*request).checkList},
	{get, "/producers/lists/template.csv", Officer, (*request).listTemplate},
	{get, "/producers/lists/:id", Officer, (*request).list},
	{get, "/producers/lists/:id/faults.csv", Officer, (*request).listFaults},
	{post, "/producers/lists/:id/start", Officer, (*request).startList},
	{post, "/producers/lists/:id/end", Officer, (*request).endList},
	{get, "/producers/:id", Viewer, (*request).producer},
	{post, "/producers/:id", Officer, (*request).changeProducer},
	{post, "/producers/:id/number", Officer, (*request).showNumber},
	{post, "/producers/:id/forget", Administrator, (*request).forgetProducer},
}

// person returns the key of the person in the path.
func (q *request) person() (gateway.PersonKey, error) { return personOf(q.param("id")) }

// personOf reads what idOf has written.
func personOf(id string) (k gateway.PersonKey, err error) {
	b, err := hex.DecodeString(id)
	if err != nil || len(b) != len(k) {
		return k, gateway.ErrNotFound
	}
	return gateway.PersonKey(b), nil
}

// idOf writes the key of a person into an address.
func idOf(k gateway.PersonKey) string { return hex.EncodeToString(k[:]) }

// behind tells that the views do not know everything yet; empty if they do.
func (q *request) behind() string { return behind(q.Views.Progress()) }

func behind(p views.Progress) string {
	switch {
	case p.Whole() || p.Entries == 0 || p.Behind < time.Minute && p.Entries-p.Taken < 1000:
		return ""
	case p.Taken >= p.Entries:
		return fmt.Sprintf("This page is being made anew: %d people are still to be looked up.", p.Pending)
	}
	return fmt.Sprintf("This page is being made anew and does not know everything yet: %d %% is done.", 100*p.Taken/p.Entries)
}

// The words of the stages of what a producer has under way.
var stages = []option{
	{"lit", "drum alight"},
	{"sealed", "drum sealed"},
	{"opened", "drum opened"},
	{dialog.StageDrying, "briquettes drying"},
}

func stageName(key string) string {
	for _, s := range stages {
		if s.Value == key {
			return s.Label
		}
	}
	return key
}

// dateLayout is how lists write a day.
const dateLayout = "2 Jan 2006"

// producersShown is how many people one page lists.
const producersShown = 25

// producerRow is a person as the list shows them.
type producerRow struct {
	ID, Number, Place, Group, Lang, Standing string
	Stages                                   []string
	Batches                                  int
	Last                                     string // the day of their last text
}

type producersView struct {
	Form   form
	Find   form // by a whole number, which must not stand in an address
	Rows   []producerRow
	All    int
	Pager  Pager
	Behind string
	Asked  bool   // for some people only
	Filter []pair // what was asked for, for the form that exports
}

// pair is a hidden value of a form.
type pair struct{ Name, Value string }

// wishes says how a person wants to be written to.
func wishes(c gateway.Conversation) string {
	switch s := c.State; {
	case s.Stopped:
		return "opted out"
	case s.Declines():
		return "wants no notices"
	case s.Seen.IsZero() && !c.Greeted:
		return "first message on its way"
	case s.Accepts():
		return "takes notices"
	}
	return "not asked about notices"
}

func (q *request) producerRow(p views.Producer) producerRow {
	r := producerRow{
		ID: idOf(p.Person), Number: p.Conversation.Number.String(), Group: p.State.Profile.Group,
		Place: q.placeName(cmp.Or(p.State.Place, q.Facts().Home)), Standing: wishes(p.Conversation), Batches: p.Batches, Last: "never",
	}
	if !p.State.Seen.IsZero() {
		r.Last = p.State.Seen.In(view{facts: q.Facts()}.zone(p.State.Place)).Format(dateLayout)
	}
	if p.State.Lang != "" {
		r.Lang = q.langName(p.State.Lang)
	}
	seen := map[string]bool{}
	for _, s := range p.State.Stages(q.now) {
		if !seen[s] {
			seen[s] = true
			r.Stages = append(r.Stages, stageName(s))
		}
	}
	return r
}

// filter reads whom a search is for. The form tells what was asked, and what is
// wrong with it.
func (q *request) filter(v url.Values) (f views.Filter, page form, asked bool, err error) {
	groups, err := q.Views.Groups(q.ctx)
	if err != nil {
		return f, page, false, err
	}
	every := option{"", "all"}
	group := []option{every}
	for _, name := range sortedKeys(groups) {
		group = append(group, option{name, name})
	}
	page = form{Fields: []field{
		{Name: "words", Label: "Words", Kind: "search", Filter: true, Hint: "Of the group or place."},
		{Name: "place", Label: "Place", Kind: "select", Filter: true, Options: append([]option{every}, q.placeOptions()...)},
		{Name: "group", Label: "Group", Kind: "select", Filter: true, Options: group},
		{Name: "language", Label: "Language", Kind: "select", Filter: true, Options: append([]option{every}, q.langOptions()...)},
		{Name: "stage", Label: "Under way", Kind: "select", Filter: true, Options: append([]option{{"", "anything or nothing"}}, stages...)},
		{Name: "out", Label: "Opted out", Kind: "select", Filter: true, Options: []option{{"", "yes or no"}, {"yes", "yes"}, {"no", "no"}}},
	}}
	page.fill(v)
	for _, p := range page.Fields {
		asked = asked || p.Value != ""
	}
	f = views.Filter{
		Place: v.Get("place"), Group: v.Get("group"), Lang: locales.Lang(v.Get("language")), Stage: v.Get("stage"), Words: strings.TrimSpace(v.Get("words")),
	}
	if out := v.Get("out"); out != "" {
		f.OptedOut = new(out == "yes")
	}
	return f, page, asked, nil
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b string) int {
		return cmp.Or(strings.Compare(strings.ToLower(a), strings.ToLower(b)), strings.Compare(a, b))
	})
	return keys
}

func (q *request) placeOptions() (options []option) {
	for key := range q.Facts().Places {
		options = append(options, option{key, q.placeName(key)})
	}
	slices.SortFunc(options, func(a, b option) int {
		return cmp.Or(strings.Compare(a.Label, b.Label), strings.Compare(a.Value, b.Value))
	})
	return options
}

func (q *request) langOptions() (options []option) {
	for _, l := range q.langs() {
		options = append(options, option{string(l), q.langName(l)})
	}
	return options
}

func (q *request) producers() error {
	f, search, asked, err := q.filter(q.query)
	if err != nil {
		return err
	}
	page := producersView{Form: search, Find: findForm(), Asked: asked, Behind: q.behind()}
	if search.Wrong() {
		return q.again("producers", page)
	}
	var after gateway.PersonKey
	if s := q.query.Get("after"); s != "" {
		if after, err = personOf(s); err != nil {
			return fiber.NewError(http.StatusBadRequest, "this page of the list does not exist; begin at the first one")
		}
	}
	found, err := q.Views.Producers(q.ctx, f, after, producersShown, q.now)
	if err != nil {
		return err
	}
	for _, p := range found.List {
		page.Rows = append(page.Rows, q.producerRow(p))
	}
	page.All = found.All
	for _, p := range search.Fields {
		if p.Value != "" {
			page.Filter = append(page.Filter, pair{p.Name, p.Value})
		}
	}
	next := ""
	if found.Next != (gateway.PersonKey{}) {
		next = idOf(found.Next)
	}
	page.Pager = q.pager(next)
	return q.render("producers", page)
}

func findForm() form {
	return form{Fields: []field{{Name: "phone", Label: "Phone number", Kind: "tel", Complete: "off"}}}
}

// findProducer goes to the page of a number.
func (q *request) findProducer() error {
	page := producersView{Find: findForm()}
	page.Find.fill(q.form)
	n, err := gateway.ParseNumber(q.form.Get("phone"), q.Country)
	if err != nil {
		page.Find.wrong("phone", "this is not a phone number")
		return q.again("producers-find", page)
	}
	c, err := q.People.Load(q.ctx, n)
	if err != nil {
		return err
	}
	if c.Person == (gateway.PersonKey{}) {
		page.Find.wrong("phone", "the line knows nobody with this number")
		return q.again("producers-find", page)
	}
	return q.done("/producers/"+idOf(c.Person), "")
}

// longTime is how long it may take to look up a list.
const longTime = time.Minute

// exportProducers answers with the people of a search as a sheet. Whole numbers
// are for administrators. The first columns are those of a list, so that it can
// be entered again.
func (q *request) exportProducers() error {
	f, search, asked, err := q.filter(q.form)
	if err != nil {
		return err
	}
	if search.Wrong() {
		return fiber.NewError(http.StatusBadRequest, "the list cannot be made: go back and choose again")
	}
	numbers := q.form.Get("numbers") != ""
	if numbers && q.Account.Role < Administrator {
		return fiber.NewError(http.StatusForbidden, "whole numbers in a list are for administrators")
	}
	found, err := q.Views.Producers(q.ctx, f, gateway.PersonKey{}, 1, q.now)
	if err != nil {
		return err
	}
	what := "all"
	if asked {
		what = "some"
	}
	if err := q.audit("producers exported", fmt.Sprintf("%d people", found.All), what+map[bool]string{true: ", with whole numbers", false: ", numbers masked"}[numbers]); err != nil {
		return err
	}
	columns := append(slices.Clone(register.Columns), "opted out", "last text", "batches", "charcoal kg")
	return q.export("producers", columns, func(ctx context.Context, row func(...string) error) error {
		return q.Views.EachProducer(ctx, f, q.now, func(p views.Producer) error {
			number, last := mask(p.Conversation.Number), ""
			if numbers {
				number = "+" + p.Conversation.Number.Digits()
			}
			if !p.State.Seen.IsZero() {
				last = p.State.Seen.In(q.zone()).Format(dayLayout)
			}
			s := p.State
			return row(number, q.placeName(s.Place), s.Profile.Group, string(s.Lang), s.Profile.Consent,
				map[bool]string{true: "yes", false: "no"}[s.Stopped], last, strconv.Itoa(p.Batches), register.Number(p.CharKg))
		})
	})
}

// mask writes a masked number for a sheet: a plus at the beginning would make it a
// formula.
func mask(n gateway.Number) string { return strings.TrimPrefix(n.String(), "+") }

// producerForm asks for what an officer may enter of a person.
func (q *request) producerForm(p dialog.Profile, place string, lang locales.Lang) form {
	none := []option{{"", "not known"}}
	return form{Fields: []field{
		{Name: "place", Label: "Place", Kind: "select", Optional: true, Options: append(slices.Clone(none), q.placeOptions()...), Value: place},
		{Name: "group", Label: "Group", Kind: "text", Optional: true, Value: p.Group, Hint: "As the group calls itself. On the phone of a group, STOP and FORGET ME are for all of it."},
		{Name: "language", Label: "Language", Kind: "select", Optional: true, Options: append(slices.Clone(none), q.langOptions()...), Value: string(lang)},
		{Name: "consent", Label: "How they agreed to be written to", Kind: "text", Optional: true, Value: p.Consent, Hint: "For example: paper, meeting, by phone. Without it they get no notices."},
	}}
}

// profile reads the answers of a producerForm.
func (q *request) profile(f *form) dialog.Profile {
	f.fill(q.form)
	p := dialog.Profile{
		Place: q.form.Get("place"), Lang: locales.Lang(q.form.Get("language")),
		Group: strings.Join(strings.Fields(q.form.Get("group")), " "), Consent: strings.Join(strings.Fields(q.form.Get("consent")), " "),
	}
	if n := len([]rune(p.Group)); n > register.MaxGroup {
		f.wrong("group", fmt.Sprintf("it has %d letters; %d is the most", n, register.MaxGroup))
	}
	if n := len([]rune(p.Consent)); n > register.MaxConsent {
		f.wrong("consent", fmt.Sprintf("it has %d letters; %d is the most", n, register.MaxConsent))
	}
	return p
}

type newProducerView struct{ Form form }

func (q *request) enrolForm() form {
	f := q.producerForm(dialog.Profile{}, "", "")
	f.Fields = append([]field{{Name: "phone", Label: "Phone number", Kind: "tel", Complete: "off", Hint: "With its country code, such as +254700000001, or as it is dialled here."}}, f.Fields...)
	for i := range f.Fields {
		if f.Fields[i].Name == "consent" {
			f.Fields[i].Optional, f.Fields[i].Hint = false, "For example: paper, meeting, by phone. Nobody is entered who has not agreed."
		}
	}
	return f
}

func (q *request) newProducer() error {
	return q.render("producer-new", newProducerView{q.enrolForm()})
}

// enrolProducer enters one person, who is then told who writes and why.
func (q *request) enrolProducer() error {
	f := q.enrolForm()
	p := q.profile(&f)
	n, err := gateway.ParseNumber(q.form.Get("phone"), q.Country)
	if err != nil {
		f.wrong("phone", "this is not a phone number")
	}
	if f.Wrong() {
		return q.again("producer-new", newProducerView{f})
	}
	c, err := q.People.Load(q.ctx, n)
	if err != nil {
		return err
	}
	switch {
	case c.State.Stopped:
		f.wrong("phone", "this number has opted out; only its owner can change that, by the text START")
	case c.Rev > 0:
		f.wrong("phone", "the line knows this number already; search for it under Producers to change what is known")
	}
	if f.Wrong() {
		return q.again("producer-new", newProducerView{f})
	}
	told, err := q.Service.Enrol(q.ctx, n, p, q.Account.Name, q.now)
	if err != nil {
		return err
	}
	if c, err = q.People.Load(q.ctx, n); err != nil {
		return err
	}
	if err := q.audit("producer entered", n.String(), p.Place); err != nil {
		return err
	}
	flash := "Entered. The first message, which says who writes and why, is on its way."
	if told == gateway.Unreached {
		flash = "Entered. No channel can write to them: the line says who it is when they write."
	}
	return q.done("/producers/"+idOf(c.Person), flash)
}

// drumRow is a drum under way.
type drumRow struct {
	Name, Waste, Stage string
	Since, NotBefore   time.Time
}

// batchRow is a batch as lists show it.
type batchRow struct {
	ID, Number, Place, Waste, Name, Day string // Number is masked
	Drums                               int
	FeedKg, CharKg, BrandsKg, Yield     string
}

type producerView struct {
	producerRow
	PlaceKey string
	Whole    string // the number, if it was asked for
	Stopped  bool
	Declines bool
	First    time.Time
	Wrote    time.Time // last
	Texts    int
	CharKg   string
	Consent  string
	Drums    []drumRow
	Batches  []batchRow
	More     bool // batches than are shown
	Form     form
	Burning  bool
}

// recordShown is how many batches the page of a person shows.
const recordShown = 12

func (q *request) producerPage(k gateway.PersonKey) (page producerView, p views.Producer, err error) {
	if p, err = q.Views.Producer(q.ctx, k); err != nil {
		return page, p, err
	}
	s := p.State
	page = producerView{
		producerRow: q.producerRow(p), PlaceKey: s.Place, Stopped: s.Stopped, Declines: s.Declines(), Burning: s.Burning(),
		First: p.First, Wrote: s.Seen, Texts: p.Texts, CharKg: kilograms(p.CharKg), Consent: s.Profile.Consent, Form: q.producerForm(s.Profile, s.Place, s.Lang),
	}
	for _, d := range s.Drums {
		since := d.LitAt
		for _, t := range []time.Time{d.SealedAt, d.OpenedAt} {
			if !t.IsZero() {
				since = t
			}
		}
		page.Drums = append(page.Drums, drumRow{d.Name, q.waste(d.Waste), stageName(d.Stage), since, d.NotBefore})
	}
	batches, more, err := q.Views.Batches(q.ctx, views.Of{}, k, views.Batch{}, recordShown)
	for _, b := range batches {
		page.Batches = append(page.Batches, q.batchRow(b))
	}
	page.More = more
	return page, p, err
}

// waste names a waste, also one that nobody named.
func (q *request) waste(key string) string {
	if key == "" {
		return "not known"
	}
	return q.wasteName(key)
}

// kilograms writes a weight, a small one to the half, or nothing for one that is
// not known.
func kilograms(kg float64) string {
	if kg <= 0 {
		return ""
	}
	unit := 1.0
	if kg < 20 {
		unit = 0.5
	}
	return strconv.FormatFloat(unit*math.Round(kg/unit), 'f', -1, 64) + " kg"
}

func (q *request) producer() error {
	k, err := q.person()
	if err != nil {
		return err
	}
	page, _, err := q.producerPage(k)
	if err != nil {
		return err
	}
	return q.render("producer", page)
}

// showNumber shows a whole number, and records who looked.
func (q *request) showNumber() error {
	k, err := q.person()
	if err != nil {
		return err
	}
	page, p, err := q.producerPage(k)
	if err != nil {
		return err
	}
	if err := q.audit("number shown", page.Number, "producer"); err != nil {
		return err
	}
	page.Whole = "+" + p.Conversation.Number.Digits()
	return q.render("producer", page)
}

// changeProducer replaces what officers know of a person.
func (q *request) changeProducer() error {
	k, err := q.person()
	if err != nil {
		return err
	}
	page, was, err := q.producerPage(k)
	if err != nil {
		return err
	}
	p := q.profile(&page.Form)
	switch {
	case page.Stopped:
		page.Form.wrong("", "this number has opted out; only its owner can change that, by the text START")
	case page.Declines: // their own word stands
		p.Consent = was.State.Profile.Consent
	}
	if page.Form.Wrong() {
		return q.again("producer", page)
	}
	if _, err := q.Service.Enrol(q.ctx, was.Conversation.Number, p, q.Account.Name, q.now); err != nil {
		return err
	}
	if err := q.audit("producer changed", page.Number, p.Place); err != nil {
		return err
	}
	return q.done("/producers/"+idOf(k), "Saved.")
}

// forgetProducer erases a person who asked for it.
func (q *request) forgetProducer() error {
	k, err := q.person()
	if err != nil {
		return err
	}
	page, p, err := q.producerPage(k)
	if err != nil {
		return err
	}
	if q.form.Get("sure") == "" {
		page.Form.wrong("", "say first that they asked for it")
		return q.again("producer", page)
	}
	if err := q.Service.Forget(q.ctx, p.Conversation.Number, q.now); err != nil {
		return err
	}
	if err := q.audit("producer forgotten", page.Number, "on request"); err != nil {
		return err
	}
	return q.done("/producers", "Forgotten: the number, the record and the texts are erased.")
}

type groupRow struct {
	Name   string
	People int
	Link   string
}

type groupsView struct {
	Rows   []groupRow
	Form   form
	Behind string
}

func (q *request) groupsPage() (page groupsView, err error) {
	groups, err := q.Views.Groups(q.ctx)
	if err != nil {
		return page, err
	}
	page.Behind = q.behind()
	var options []option
	for _, name := range sortedKeys(groups) {
		page.Rows = append(page.Rows, groupRow{name, groups[name], Root + "/producers?" + url.Values{"group": {name}}.Encode()})
		options = append(options, option{name, name})
	}
	page.Form = form{Fields: []field{
		{Name: "group", Label: "Group", Kind: "select", Options: options},
		{Name: "name", Label: "New name", Kind: "text", Hint: "If another group has this name, the two become one."},
	}}
	return page, nil
}

func (q *request) groups() error {
	page, err := q.groupsPage()
	if err != nil {
		return err
	}
	return q.render("groups", page)
}

// renameGroup gives all people of a group another one. It goes as a list goes: in
// the background.
func (q *request) renameGroup() error {
	page, err := q.groupsPage()
	if err != nil {
		return err
	}
	page.Form.fill(q.form)
	from, to := q.form.Get("group"), strings.Join(strings.Fields(q.form.Get("name")), " ")
	switch n := len([]rune(to)); {
	case n > register.MaxGroup:
		page.Form.wrong("name", fmt.Sprintf("it has %d letters; %d is the most", n, register.MaxGroup))
	case from == to:
		page.Form.wrong("name", "the group has this name")
	}
	if page.Form.Wrong() {
		return q.again("groups", page)
	}
	ctx, cancel := longer(q.ctx, longTime)
	defer cancel()
	var list register.List
	err = q.Views.EachProducer(ctx, views.Filter{Group: from}, q.now, func(p views.Producer) error {
		list.Rows = append(list.Rows, register.Row{
			Line: len(list.Rows) + 1, Digits: p.Conversation.Number.Digits(), Profile: dialog.Profile{Group: to, Consent: p.State.Profile.Consent},
		})
		return nil
	})
	if err != nil {
		return err
	}
	i, err := q.Register.Add(ctx, list, q.Account.Name, fmt.Sprintf("group %s becomes %s", from, to), q.now)
	if err != nil {
		return err
	}
	if _, err := q.Register.Start(ctx, i.ID, true); err != nil {
		return err
	}
	if err := q.audit("group renamed", from, to); err != nil {
		return err
	}
	return q.done("/producers/lists/"+i.ID, "The group is being renamed.")
}

// faultsShown is how many bad rows the page of a list shows; the file has all.
const faultsShown = 100

// listWords are what the cells of a list may say here.
func (q *request) listWords() register.Words {
	w := register.Words{Country: q.Country, Places: q.Facts().Places, Langs: map[locales.Lang]string{}, Called: q.Catalog.Called}
	for _, l := range q.langs() {
		w.Langs[l] = q.langName(l)
	}
	return w
}

func (q *request) listTemplate() error {
	return q.download("producers.csv", sheetKind, q.listWords().Template())
}

type listsView struct {
	Rows    []register.Import
	Form    form
	Columns []columnHelp
}

type columnHelp struct{ Name, Says string }

func (q *request) listsPage() (page listsView, err error) {
	page.Rows, err = q.Register.List(q.ctx)
	page.Rows = page.Rows[:min(len(page.Rows), producersShown)]
	page.Form = form{Fields: []field{{Name: "file", Label: "The list", Kind: "file", Hint: "CSV in UTF-8, its cells apart by commas or semicolons, at most 2 MB and 20,000 rows."}}}
	join := func(options []option) string {
		var names []string
		for _, o := range options {
			names = append(names, o.Label)
		}
		return strings.Join(names, ", ")
	}
	page.Columns = []columnHelp{
		{register.ColumnPhone, "The number, with its country code or as it is dialled here."},
		{register.ColumnPlace, "One of: " + join(q.placeOptions()) + ". May be empty."},
		{register.ColumnGroup, fmt.Sprintf("The name of the group, at most %d letters. May be empty.", register.MaxGroup)},
		{register.ColumnLanguage, "One of: " + join(q.langOptions()) + ". May be empty."},
		{register.ColumnConsent, "How the person agreed to be written to: paper, meeting, by phone. Nobody is entered without it."},
	}
	return page, err
}

func (q *request) lists() error {
	page, err := q.listsPage()
	if err != nil {
		return err
	}
	return q.render("lists", page)
}

// checkList reads a list and reports on every row. Nothing is entered.
func (q *request) checkList() error {
	page, err := q.listsPage()
	if err != nil {
		return err
	}
	data, file, err := q.upload("file")
	if err != nil {
		return err
	}
	if data == nil {
		page.Form.wrong("file", "choose a file first")
		return q.again("lists", page)
	}
	list, err := register.Read(data, q.listWords())
	var why register.Unreadable
	if errors.As(err, &why) {
		page.Form.wrong("file", string(why))
		return q.again("lists", page)
	}
	if err != nil {
		return err
	}
	ctx, cancel := longer(q.ctx, longTime)
	defer cancel()
	i, err := q.Register.Add(ctx, list, q.Account.Name, fileName(file), q.now)
	if err != nil {
		return err
	}
	if err := q.audit("list checked", i.ID, fmt.Sprintf("%d rows good, %d bad", i.Rows, i.Faulty)); err != nil {
		return err
	}
	return q.done("/producers/lists/"+i.ID, "")
}

// fileName returns the name of a file as it may be shown: what browsers send can
// be anything.
func fileName(s string) string {
	s = s[strings.LastIndexAny(s, `/\`)+1:]
	s = gateway.Mask(strings.ToValidUTF8(strings.Join(strings.Fields(s), " "), ""))
	if r := []rune(s); len(r) > 60 {
		s = string(r[:60])
	}
	return s
}

type listView struct {
	register.Import
	Faults  []register.Fault
	Shown   []register.Fault // of them
	Form    form
	New     int
	Percent int
	Hidden  int // faults that the page does not show

	Currency string
}

func (q *request) listPage() (page listView, err error) {
	page.Import, err = q.Register.Get(q.ctx, q.param("id"))
	if err != nil {
		return page, err
	}
	if page.Faults, err = q.Register.Faults(q.ctx, page.ID); err != nil {
		return page, err
	}
	page.Shown = page.Faults[:min(len(page.Faults), faultsShown)]
	page.Hidden = page.Faulty - len(page.Shown)
	page.New = page.Rows - page.Known
	page.Currency = q.Facts().Places[q.Facts().Home].Currency
	if page.Rows > 0 {
		page.Percent = 100 * page.Next / page.Rows
	}
	page.Form = form{Fields: []field{{
		Name: "renew", Label: "Also change place, group and language of those known already", Kind: "checkbox",
		Hint: "What is empty in the list stays as it is, and so does how they agreed.",
	}}}
	return page, nil
}

func (q *request) list() error {
	page, err := q.listPage()
	if err != nil {
		return err
	}
	return q.render("list", page)
}

// listFaults answers with the bad rows as a sheet, to mend the list by.
func (q *request) listFaults() error {
	page, err := q.listPage()
	if err != nil {
		return err
	}
	var out bytes.Buffer
	s, err := register.NewSheet(&out, "line", "column", "what to mend")
	if err != nil {
		return err
	}
	for _, f := range append(page.Faults, page.Failed...) {
		if err := s.Row(strconv.Itoa(f.Line), f.Column, f.Why); err != nil {
			return err
		}
	}
	if err := s.End(); err != nil {
		return err
	}
	return q.download("bad-rows-"+page.ID+".csv", sheetKind, out.Bytes())
}

func (q *request) startList() error {
	i, err := q.Register.Start(q.ctx, q.param("id"), q.form.Get("renew") != "")
	if errors.Is(err, register.ErrStage) {
		return q.done("/producers/lists/"+q.param("id"), "Somebody was quicker: this list was started or ended before.")
	}
	if err != nil {
		return err
	}
	if err := q.audit("list entered", i.ID, fmt.Sprintf("%d rows", i.Rows)); err != nil {
		return err
	}
	return q.done("/producers/lists/"+i.ID, "The list is being entered.")
}

func (q *request) endList() error {
	i, err := q.Register.End(q.ctx, q.param("id"), q.now)
	if errors.Is(err, register.ErrStage) {
		return q.done("/producers/lists/"+q.param("id"), "It had ended before.")
	}
	if err != nil {
		return err
	}
	if err := q.audit("list ended", i.ID, fmt.Sprintf("at row %d of %d", i.Next, i.Rows)); err != nil {
		return err
	}
	return q.done("/producers/lists/"+i.ID, "The list goes no further.")
}
