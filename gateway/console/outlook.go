package console

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"html/template"
	"maps"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gofiber/fiber/v2"

	"cobline/calc"
	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/chart"
	"cobline/gateway/forecast"
	"cobline/locales"
)

var outlookRoutes = []route{
	{get, "/outlook", Viewer, (*request).outlook},
	{post, "/outlook/fetch", Officer, (*request).fetchWeather},
	{get, "/outlook/warning", Officer, (*request).warningPage},
	{post, "/outlook/warning", Officer, (*request).takeWarning},
	{get, "/outlook/place", Administrator, (*request).newPlace},
	{post, "/outlook/place", Administrator, (*request).addPlace},
	{get, "/outlook/at/:place", Viewer, (*request).outlookAt},
	{get, "/outlook/at/:place/weather", Officer, (*request).weatherPage},
	{post, "/outlook/at/:place/typed", Officer, (*request).typeWeather},
	{post, "/outlook/at/:place/file", Officer, (*request).takeWeather},
	{get, "/outlook/at/:place/place", Administrator, (*request).placePage},
	{post, "/outlook/at/:place/place", Administrator, (*request).changePlace},
	{post, "/outlook/at/:place/drop", Administrator, (*request).dropPlace},
	{post, "/outlook/at/:place/no-forecast", Officer, (*request).dropForecast},
	{post, "/outlook/warning/drop", Administrator, (*request).dropWarning},
}

// outlookView is the weather of the places, or of one of them.
type outlookView struct {
	One     string    // the key of the only place; empty: all of them
	Counted time.Time // when what is under way was
	Title   string
	Drafts  []draftView
	Places  []placeView
	Sources []sourceView
}

// draftView is a reminder that the weather calls for.
type draftView struct {
	Head, When, Who, Doubt string
	Link                   string // to the form, filled in
	Started                string // the id of the notice about the same
}

// placeView is the outlook of a place.
type placeView struct {
	Key, Name string
	Age       string // of its forecast
	Old       bool
	Wanted    bool // a new forecast is
	Days      []dayView
	Warnings  []warningView
	Around    []string // who has what under way there
	Picture   template.HTML
}

// dayView is one day in the words of the trade.
type dayView struct {
	Day, Drying, Warmth, Rain, Wind, Rack, Lighting string
	Forbidden                                       bool // to light a drum
	Care                                            []string
}

// warningView is a warning in the words of the authority.
type warningView struct {
	ID, Lang, Head, Severity, From, Until, Text, Advice, Sender string
}

// sourceView is how a source of weather fares.
type sourceView struct{ Name, State string }

// The words of an officer for what package calc finds.
var (
	drynessOfDay = []struct {
		from float64 // hundredths of the drying power
		word string
	}{{38, "good"}, {30, "fair"}, {0, "slow"}}
	fireWords = map[calc.FireLevel]string{
		calc.OrdinaryCare: "with ordinary care", calc.ExtraCare: "with extra care", calc.DoNotLightToday: "light no drum",
	}
	fireReasons = map[calc.FireReason]string{
		calc.WindyFire: "wind", calc.GustyFire: "gusts", calc.DryAir: "dry air", calc.DangerIndex: "dry land", calc.FireWarning: "a warning", calc.AfterHotDay: "after a hot, dry day",
	}
	dayCautions = []struct {
		caution calc.Caution
		words   string
	}{
		{calc.StayNear, "rain is possible: stay near"},
		{calc.SlowDay, "damp air: spread thin and turn"},
		{calc.TieDown, "gusts: tie sheets, weigh racks down"},
		{calc.ShadeFirst, "hot and dry: fresh pieces into shade for half a day"},
		{calc.DampSpell, "too damp to dry outdoors: finish over waste heat"},
		{calc.Fragile, "heavy rain crumbles fresh pieces"},
		{calc.ColdNight, "a cold night: no drum or charcoal in a house"},
	}
)

// picturesShown is how many places have their picture on the page of all: more
// would make it heavy.
const picturesShown = 6

func (q *request) outlook() error {
	outlooks, counted, err := q.outlooks()
	if err != nil {
		return err
	}
	page := outlookView{Title: "Outlook", Counted: counted}
	for _, o := range outlooks {
		page.Places = append(page.Places, q.placeView(o, len(outlooks) <= picturesShown, daysOfAll))
	}
	if page.Drafts, err = q.drafts(outlooks, counted); err != nil {
		return err
	}
	for _, s := range q.Weather.Standings() {
		page.Sources = append(page.Sources, q.sourceView(s))
	}
	return q.render("outlook", page)
}

// How many days of a place are told: on the page of all, and on its own.
const (
	daysOfAll = 3
	daysOfOne = 7
)

func (q *request) outlookAt() error {
	outlooks, counted, err := q.outlooks()
	if err != nil {
		return err
	}
	i := slices.IndexFunc(outlooks, func(o forecast.Outlook) bool { return o.Place.Key == q.param("place") })
	if i < 0 {
		return gateway.ErrNotFound
	}
	o := outlooks[i : i+1]
	page := outlookView{One: o[0].Place.Key, Counted: counted, Title: "Outlook of " + o[0].Place.Name, Places: []placeView{q.placeView(o[0], true, daysOfOne)}}
	if page.Drafts, err = q.drafts(o, counted); err != nil {
		return err
	}
	return q.render("outlook", page)
}

// outlooks are those of all places, and when what is under way in them was
// counted; zero if it is being counted for the first time.
func (q *request) outlooks() ([]forecast.Outlook, time.Time, error) {
	ctx, cancel := context.WithTimeout(q.ctx, q.patience)
	defer cancel()
	around, at, err := q.Notices.Around(ctx, q.now)
	if err != nil && !errors.Is(err, gateway.ErrCounting) {
		return nil, at, err
	}
	return forecast.Outlooks(q.Facts(), q.Knowledge.Forecasts(), q.Knowledge.Alerts(), around, locales.Default, q.now), at, nil
}

func (q *request) placeView(o forecast.Outlook, picture bool, days int) placeView {
	v := placeView{Key: o.Place.Key, Name: o.Place.Name, Around: aroundWords(o.Around)}
	at := func(t time.Time) string { return view{facts: q.Facts(), Now: q.now}.AtIn(o.Place.Key, t) }
	switch o.Freshness {
	case calc.Fresh:
		v.Age = fmt.Sprintf("Forecast of %s, %s.", at(o.Issued), fromWhom(o))
	case calc.Old:
		v.Age, v.Old = fmt.Sprintf("No new forecast since %s. This one is old: people are told that there is none, and to look at the sky.", at(o.Issued)), true
	case calc.Expired:
		v.Age, v.Old = fmt.Sprintf("No forecast since %s. People are told so, and to look at the sky.", at(o.Issued)), true
	default:
		v.Age = "There is no forecast. People are told so, and to look at the sky."
	}
	for _, w := range o.Warnings {
		head := cmp.Or(w.Headline, w.Event)
		v.Warnings = append(v.Warnings, warningView{
			ID: gateway.Alert{Ref: w.Ref}.ID(), Lang: w.Lang, Head: head, Severity: w.Severity, From: at(w.From), Until: at(w.Until), Text: w.Description, Advice: w.Instruction, Sender: w.Ref.Sender,
		})
	}
	v.Wanted = o.Freshness != calc.Fresh
	var drawn []calc.OutlookDay
	for i, d := range o.Days {
		if i < days {
			v.Days = append(v.Days, dayWords(d))
		}
		drawn = append(drawn, d.OutlookDay)
	}
	if picture && len(drawn) > 0 {
		v.Picture = template.HTML(chart.Outlook(drawn).Page("o-"+o.Place.Key, "The coming days in "+o.Place.Name, chart.OutlookText(drawn))) //nolint:gosec // escaped there
	}
	return v
}

func fromWhom(o forecast.Outlook) string {
	switch {
	case o.By == "":
		return "from " + o.Source
	case o.Source == typed:
		return "typed by " + o.By
	}
	return fmt.Sprintf("from %s, brought by %s", o.Source, o.By)
}

func dayWords(d forecast.Day) dayView {
	v := dayView{
		Day:      d.Date.Format("Mon 2 Jan"),
		Warmth:   fmt.Sprintf("%.0f to %.0f °C", float64(d.Weather.Min), float64(d.Weather.Max)),
		Rain:     "none",
		Wind:     fmt.Sprintf("%.0f km/h", float64(d.Weather.Wind.PerHour())),
		Lighting: fireWords[d.Fire.Level], Forbidden: d.Fire.Level == calc.DoNotLightToday,
	}
	power := math.Round(100 * float64(d.Power))
	for _, row := range drynessOfDay {
		if power >= row.from {
			v.Drying = fmt.Sprintf("%s (%.0f)", row.word, power)
			break
		}
	}
	if d.Weather.Gust > 0 {
		v.Wind += fmt.Sprintf(", gusts %.0f", float64(d.Weather.Gust.PerHour()))
	}
	switch {
	case d.Rain > 0:
		v.Rain = fmt.Sprintf("%.1f mm", float64(d.Rain))
	case d.Wet:
		v.Rain = "likely"
	}
	if !d.RainFrom.IsZero() {
		v.Rain += " from " + d.RainFrom.Format("15:04")
	}
	if d.RainChance != nil && *d.RainChance > 0 {
		v.Rain += fmt.Sprintf(" (%.0f %%)", 100*float64(*d.RainChance))
	}
	switch d.Action {
	case calc.PutOut:
		v.Rack = fmt.Sprintf("out %s to %s", d.Out.Format("15:04"), d.In.Format("15:04"))
	case calc.PutOutUntil:
		v.Rack = "out, in by " + d.In.Format("15:04")
	default:
		v.Rack = "keep covered"
	}
	if d.CoverAtNight && d.Action != calc.KeepCovered {
		v.Rack += ", cover at night"
	}
	var why []string
	for _, r := range slices.Sorted(maps.Keys(fireReasons)) {
		if d.Fire.Reasons&r != 0 {
			why = append(why, fireReasons[r])
		}
	}
	if len(why) > 0 {
		v.Lighting += ": " + strings.Join(why, ", ")
	}
	for _, c := range dayCautions {
		if d.Cautions&c.caution != 0 {
			v.Care = append(v.Care, c.words)
		}
	}
	return v
}

// aroundWords says who has what under way.
func aroundWords(a gateway.Around) (out []string) {
	for _, c := range []struct {
		n    int
		what string
	}{
		{a.Alight, "with a drum alight"},
		{a.Sealed, "with a drum sealed"},
		{a.Opened, "with a drum open and not weighed"},
		{a.Briquettes, "with briquettes drying"},
		{a.Waste, "with waste drying"},
	} {
		if c.n > 0 {
			out = append(out, fmt.Sprintf("%d %s", c.n, c.what))
		}
	}
	return out
}

func (q *request) sourceView(s forecast.Standing) sourceView {
	at := view{facts: q.Facts(), Now: q.now}.At
	switch {
	case s.Problem != "":
		return sourceView{s.Name, fmt.Sprintf("fails: %s. It is asked again at %s.", strings.TrimSuffix(s.Problem, "."), at(s.Next))}
	case s.Done.IsZero():
		return sourceView{s.Name, "was not asked since the line began."}
	}
	return sourceView{s.Name, fmt.Sprintf("answered at %s.", at(s.Done))}
}

// drafts are the reminders that the weather calls for, each a link to its form.
// Whom one is for is told as it was when that was counted.
func (q *request) drafts(outlooks []forecast.Outlook, counted time.Time) ([]draftView, error) {
	all, err := q.Notices.List(q.ctx)
	if err != nil {
		return nil, err
	}
	sent := make([]gateway.Notice, 0, len(all))
	for _, s := range slices.Backward(all) {
		sent = append(sent, s.Notice)
	}
	var out []draftView
	for _, d := range forecast.Drafts(outlooks, sent, q.now) {
		m, a := d.Notice.Message, d.Notice.Audience
		v := draftView{
			Head:    fmt.Sprintf("%s: %s", readyNames[m.Ready], d.Place.Name),
			When:    view{facts: q.Facts(), Now: q.now}.AtIn(d.Place.Key, m.Hour),
			Who:     "Whom it concerns is being counted.",
			Started: d.Started,
			Link: Root + "/notices/new?" + url.Values{
				"ready": {m.Ready}, "place": {d.Place.Key}, "hour": {m.Hour.In(q.zone()).Format(dateTime)}, "ring": {"likely"},
			}.Encode(),
		}
		if !counted.IsZero() {
			v.Who = fmt.Sprintf("%s: %d reported a drum or drying", plural(d.Around.Reach(a.Ring), "phone"), d.Around.Rings[dialog.RingReported])
			if likely := d.Around.Rings[dialog.RingLikely]; likely > 0 {
				v.Who += fmt.Sprintf(", %d probably have it", likely)
			}
			v.Who += fmt.Sprintf(". Everyone who accepted messages: %d.", d.Around.Reach(dialog.RingAccepted))
		}
		if !d.HourKnown {
			v.Doubt = "The forecast does not tell the hour; put in a better one if you know it."
		}
		out = append(out, v)
	}
	return out, nil
}

// typed is the source of weather that an officer typed.
const typed = "typed"

// place returns the place of the path.
func (q *request) place() (dialog.Place, error) {
	p, ok := q.Facts().Places[q.param("place")]
	if !ok {
		return p, gateway.ErrNotFound
	}
	return p, nil
}

func (q *request) fetchWeather() error {
	ctx, cancel := longer(q.ctx, time.Minute)
	defer cancel()
	told := "The sources were asked."
	if err := q.Weather.Fetch(ctx, ""); err != nil {
		told = sentence(strings.ReplaceAll(err.Error(), "\n", "; "))
	}
	if err := q.audit("weather fetched", "", ""); err != nil {
		return err
	}
	return q.done("/outlook", told)
}

// weatherView is how an officer brings the weather of a place.
type weatherView struct {
	Key, Name string
	Days      []typedDay
	Fault     string
	File      form
	Held      string // the forecast the place has, if any
}

// typedDay is one day of the form.
type typedDay struct {
	Name string
	form
}

// All is the form of all days.
func (w weatherView) All() form {
	all := form{Fault: w.Fault}
	for _, d := range w.Days {
		all.Fields = append(all.Fields, d.Fields...)
	}
	return all
}

// daysTyped is how many days the form has: what a radio tells.
const daysTyped = 3

// The words of the form for what forecast knows by hand.
var (
	windWords = map[string]string{"calm": "calm: smoke goes straight up", "light": "light: leaves move", "fresh": "fresh: small branches move", "strong": "strong: whole trees move"}
	skyWords  = map[string]string{"clear": "clear", "some-cloud": "some cloud", "overcast": "overcast", "drizzle": "drizzle", "rain": "rain", "showers": "showers", "thunder": "thunder"}
)

func (q *request) weatherView(p dialog.Place) weatherView {
	w := weatherView{Key: p.Key, Name: p.Name, File: form{Fields: []field{
		{Name: "as", Label: "Form of the file", Kind: "select", Filter: true, Options: q.fileForms()},
		{Name: "file", Label: "File", Kind: "file", Hint: "A table of days as CSV, or what the configuration names. The first line names the columns."},
	}}}
	if held := q.Knowledge.Forecasts(); slices.ContainsFunc(held, func(f gateway.Forecast) bool { return f.Place == p.Key }) {
		for _, o := range forecast.Outlooks(q.Facts(), held, nil, nil, locales.Default, q.now) {
			if o.Place.Key == p.Key {
				w.Held = q.placeView(o, false, 0).Age
			}
		}
	}
	choose := func(words map[string]string, keys []string) []option {
		list := []option{{"", "not known"}}
		for _, k := range keys {
			list = append(list, option{k, words[k]})
		}
		return list
	}
	hours := []option{{"", "not known"}}
	for h := range 24 {
		hours = append(hours, option{strconv.Itoa(h), fmt.Sprintf("%02d:00", h)})
	}
	today := q.now.In(forecast.Site(p).Zone)
	for i := range daysTyped {
		n := strconv.Itoa(i)
		w.Days = append(w.Days, typedDay{today.AddDate(0, 0, i).Format("Monday 2 January"), form{Fields: []field{
			{Name: "low-" + n, Label: "Lowest, °C", Kind: "text", Keys: "decimal", Filter: true},
			{Name: "high-" + n, Label: "Highest, °C", Kind: "text", Keys: "decimal", Filter: true},
			{Name: "rain-" + n, Label: "Rain, mm", Kind: "text", Keys: "decimal", Filter: true},
			{Name: "hour-" + n, Label: "Rain begins", Kind: "select", Filter: true, Options: hours},
			{Name: "sky-" + n, Label: "Sky", Kind: "select", Filter: true, Options: choose(skyWords, forecast.Skies())},
			{Name: "wind-" + n, Label: "Wind", Kind: "select", Filter: true, Options: choose(windWords, forecast.Winds())},
		}}})
	}
	return w
}

// fileForms are the forms of files that the line can read.
func (q *request) fileForms() []option {
	list := []option{{"", "columns called max, min, humidity, sunshine, wind, rain"}}
	for _, name := range slices.Sorted(maps.Keys(q.Forms)) {
		list = append(list, option{name, name})
	}
	return list
}

func (q *request) weatherPage() error {
	p, err := q.place()
	if err != nil {
		return err
	}
	return q.render("weather", q.weatherView(p))
}

// typeWeather takes what somebody heard on the radio. A day of which nothing was
// typed is left out.
func (q *request) typeWeather() error {
	p, err := q.place()
	if err != nil {
		return err
	}
	page := q.weatherView(p)
	var days []forecast.ByHand
	for i := range page.Days {
		d := &page.Days[i].form
		d.fill(q.form)
		n := strconv.Itoa(i)
		text := func(name string) string { return strings.TrimSpace(q.form.Get(name + "-" + n)) }
		number := func(name string) *float64 {
			s := strings.Replace(text(name), ",", ".", 1)
			if s == "" {
				return nil
			}
			v, err := strconv.ParseFloat(s, 64)
			if err != nil {
				d.wrong(name+"-"+n, "write a number, such as 27")
				return nil
			}
			return &v
		}
		day := forecast.ByHand{
			Date: q.now.In(forecast.Site(p).Zone).AddDate(0, 0, i), Low: number("low"), High: number("high"), Rain: number("rain"), Wind: text("wind"), Sky: text("sky"),
		}
		if hour, err := strconv.Atoi(text("hour")); err == nil {
			day.RainHour = &hour
		}
		empty := forecast.ByHand{Date: day.Date}
		if day != empty || d.Wrong() {
			days = append(days, day)
		}
	}
	if page.All().Wrong() {
		return q.again("weather", page)
	}
	if len(days) == 0 {
		page.Fault = "Nothing was typed: give at least the lowest and the highest of one day."
		return q.again("weather", page)
	}
	in, err := forecast.Typed(days, p, q.now)
	if err == nil {
		err = forecast.Take(q.ctx, q.Knowledge, p.Key, typed, q.Account.Name, in, q.now)
	}
	if why := mendable(err); why != "" {
		page.Fault = why
		return q.again("weather", page)
	}
	return q.took(err, "weather typed", p)
}

// mendable returns what somebody can mend of weather that was refused: what was
// wrong with it, and not with the line.
func mendable(err error) string {
	if err == nil || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) || errors.Is(err, gateway.ErrConflict) {
		return ""
	}
	return sentence(strings.ReplaceAll(err.Error(), "\n", "; "))
}

// took tells that weather was taken.
func (q *request) took(err error, what string, p dialog.Place) error {
	if err != nil {
		return err
	}
	if err := q.audit(what, p.Name, ""); err != nil {
		return err
	}
	return q.done("/outlook/at/"+p.Key, "The weather was taken. People who ask are told it from now on.")
}

func (q *request) takeWeather() error {
	p, err := q.place()
	if err != nil {
		return err
	}
	page := q.weatherView(p)
	page.File.fill(q.form)
	octets, name, err := q.upload("file")
	if err != nil {
		return err
	}
	if name == "" {
		page.File.wrong("file", "choose a file")
	}
	if page.File.Wrong() {
		return q.again("weather", page)
	}
	reader := forecast.Plain()
	if as := q.form.Get("as"); as != "" {
		reader = q.Forms[as]
	}
	_, err = forecast.Upload(q.ctx, q.Knowledge, reader, octets, []string{p.Key}, name, q.Account.Name, q.now)
	if why := mendable(err); why != "" {
		page.File.wrong("file", why)
		return q.again("weather", page)
	}
	return q.took(err, "weather file taken", p)
}

// warningForm asks for a file of warnings.
func warningForm() form {
	return form{Fields: []field{{Name: "file", Label: "File", Kind: "file", Hint: "One warning, or a feed of them, in the form of the Common Alerting Protocol (CAP 1.2)."}}}
}

func (q *request) warningPage() error { return q.render("warning", warningForm()) }

func (q *request) takeWarning() error {
	page := warningForm()
	octets, name, err := q.upload("file")
	if err != nil {
		return err
	}
	if name == "" {
		page.wrong("file", "choose a file")
		return q.again("warning", page)
	}
	alerts, _, err := forecast.ReadAlerts(octets)
	if err != nil {
		page.wrong("file", mendable(err))
		return q.again("warning", page)
	}
	fresh, err := forecast.TakeAlerts(q.ctx, q.Knowledge, alerts, q.Account.Name, q.now)
	if err != nil {
		return err
	}
	if err := q.audit("warning taken", name, plural(fresh, "warning")); err != nil {
		return err
	}
	return q.done("/outlook", fmt.Sprintf("Taken: %s that the line did not know, about its places.", plural(fresh, "warning")))
}

// placeForm asks for a place.
func (q *request) placeForm(p dialog.Place, isNew bool) form {
	number := func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
	f := form{Fields: []field{
		{Name: "name", Label: "Name", Kind: "text", Value: p.Name, Hint: "As people there call it. Messages name it."},
		{Name: "lat", Label: "Latitude", Kind: "text", Value: number(float64(p.Lat)), Hint: "Degrees; south of the equator with a minus, such as -1.29."},
		{Name: "lon", Label: "Longitude", Kind: "text", Value: number(float64(p.Lon)), Hint: "Degrees; west of Greenwich with a minus, such as 36.82."},
		{Name: "altitude", Label: "Altitude, metres", Kind: "text", Keys: "decimal", Value: number(float64(p.Altitude)), Hint: "Air is thinner and cooler higher up: it changes how things dry."},
		{Name: "zone", Label: "Time zone", Kind: "text", Hint: "Such as Africa/Nairobi."},
		{Name: "emergency", Label: "Number to call for help", Kind: "tel", Value: p.Emergency, Optional: true, Hint: "Empty: people are sent to the clinic and to their neighbours."},
		{Name: "currency", Label: "Currency", Kind: "text", Value: p.Currency, Optional: true},
		{Name: "duty", Label: "Duty phones", Kind: "text", Optional: true, Hint: "Told of emergencies, the first one first; with a comma between. Empty: those of the line."},
	}}
	if p.Zone != nil {
		f.Fields[4].Value = p.Zone.String()
	}
	if isNew {
		f.Fields[1].Value, f.Fields[2].Value, f.Fields[3].Value = "", "", ""
		f.Fields = slices.Insert(f.Fields, 0, field{Name: "key", Label: "Short name", Kind: "text", Hint: "Small letters, digits and hyphens, such as lakeside. It cannot be changed later."})
		return f
	}
	var duty []string
	for _, n := range q.Knowledge.Duty(p.Key) {
		duty = append(duty, "+"+n.Digits())
	}
	f.Fields[7].Value = strings.Join(duty, ", ")
	return f
}

type placeFormView struct {
	Key, Name  string // empty: a new one
	Form       form
	Entered    bool // officers entered it, or changed what the configuration says
	Configured bool
	Home       string // where people count whose place is gone
}

func (q *request) placeFormView(p dialog.Place, isNew bool) placeFormView {
	return placeFormView{
		Key: p.Key, Name: p.Name, Form: q.placeForm(p, isNew), Configured: q.Knowledge.Configured(p.Key), Home: q.placeName(q.Facts().Home),
		Entered: slices.ContainsFunc(q.Knowledge.Places(), func(e gateway.Place) bool { return e.Key == p.Key }),
	}
}

// dropPlace takes away what officers entered of a place.
func (q *request) dropPlace() error {
	p, err := q.place()
	if err != nil {
		return err
	}
	if !q.placeFormView(p, false).Entered {
		return fiber.NewError(http.StatusConflict, "this place stands in the configuration of the line; whoever runs the line takes it away there")
	}
	if err := q.Knowledge.DropPlace(q.ctx, p.Key); err != nil {
		return err
	}
	if err := q.audit("place dropped", p.Key, p.Name); err != nil {
		return err
	}
	if q.Knowledge.Configured(p.Key) {
		return q.done("/outlook/at/"+p.Key, "What the configuration says of the place holds again.")
	}
	return q.done("/outlook", "The place is gone.")
}

// dropForecast takes the forecast of a place away.
func (q *request) dropForecast() error {
	p, err := q.place()
	if err != nil {
		return err
	}
	if err := q.Knowledge.DropForecast(q.ctx, p.Key); err != nil {
		return err
	}
	if err := q.audit("forecast dropped", p.Key, ""); err != nil {
		return err
	}
	return q.done("/outlook/at/"+p.Key, "The forecast is gone. Until there is another, people are told that there is none, and to look at the sky.")
}

// dropWarning takes a warning away that came by mistake.
func (q *request) dropWarning() error {
	id := q.form.Get("id")
	i := slices.IndexFunc(q.Knowledge.Alerts(), func(a gateway.Alert) bool { return a.ID() == id })
	if i < 0 {
		return gateway.ErrNotFound
	}
	a := q.Knowledge.Alerts()[i]
	if err := q.Knowledge.DropAlert(q.ctx, id); err != nil {
		return err
	}
	if err := q.audit("warning dropped", a.Ref.ID, a.Ref.Sender); err != nil {
		return err
	}
	return q.done("/outlook", "The warning is gone.")
}

func (q *request) newPlace() error {
	home := q.Facts().Places[q.Facts().Home]
	return q.render("place", placeFormView{Form: q.placeForm(dialog.Place{Zone: home.Zone, Currency: home.Currency}, true)})
}

func (q *request) placePage() error {
	p, err := q.place()
	if err != nil {
		return err
	}
	return q.render("place", q.placeFormView(p, false))
}

func (q *request) addPlace() error { return q.setPlace(dialog.Place{}, true) }

func (q *request) changePlace() error {
	p, err := q.place()
	if err != nil {
		return err
	}
	return q.setPlace(p, false)
}

func (q *request) setPlace(p dialog.Place, isNew bool) error {
	page := q.placeFormView(p, isNew)
	f := &page.Form
	f.fill(q.form)
	number := func(name string) float64 {
		v, err := strconv.ParseFloat(strings.Replace(strings.TrimSpace(q.form.Get(name)), ",", ".", 1), 64)
		if err != nil {
			f.wrong(name, "write a number")
		}
		return v
	}
	doc := gateway.Place{
		Key: p.Key, Name: strings.TrimSpace(q.form.Get("name")), Zone: strings.TrimSpace(q.form.Get("zone")),
		Lat: calc.Degree(number("lat")), Lon: calc.Degree(number("lon")), Altitude: calc.Metre(number("altitude")),
		Emergency: strings.TrimSpace(q.form.Get("emergency")), Currency: strings.TrimSpace(q.form.Get("currency")), By: q.Account.Name, At: q.now,
	}
	if isNew {
		doc.Key = strings.TrimSpace(q.form.Get("key"))
		if _, there := q.Facts().Places[doc.Key]; there {
			f.wrong("key", "there is a place of this short name already")
		}
	}
	for s := range strings.SplitSeq(q.form.Get("duty"), ",") {
		if s = strings.TrimSpace(s); s == "" {
			continue
		}
		n, err := gateway.ParseNumber(s, q.Country)
		if err != nil {
			f.wrong("duty", fmt.Sprintf("%q is not a phone number", s))
			continue
		}
		doc.Duty = append(doc.Duty, n.Digits())
	}
	if f.Wrong() {
		return q.again("place", page)
	}
	if err := q.Knowledge.SetPlace(q.ctx, doc); err != nil {
		if why := mendable(err); why != "" {
			f.wrong("", why)
			return q.again("place", page)
		}
		return err
	}
	if err := q.audit("place changed", doc.Key, doc.Name); err != nil {
		return err
	}
	return q.done("/outlook/at/"+doc.Key, "The place is kept.")
}
