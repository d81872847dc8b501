package console

import (
	"cmp"
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"time"

	"cobline/gateway/views"
)

// stopRow is a question at which conversations ended.
type stopRow struct {
	Subject, Question string
	Ended             int
	Of                int // conversations of its subject that ended
}

// Share is how many of a hundred conversations of its subject ended there.
func (r stopRow) Share() string { return strconv.Itoa((100*r.Ended+r.Of/2)/r.Of) + " %" }

// daysRow is how long some batches took.
type daysRow struct {
	Name              string
	Batches, Measured int
	Low, Median, High string
	Few               bool
}

type figuresView struct {
	Form      form
	Behind    string
	Ended     int // conversations
	Answered  int // of them, where nothing was asked any more
	Stops     []stopRow
	StopChart bars
	Days      []daysRow
	DayChart  bars
}

// spanShown is how many months the page shows unless others are chosen.
const spanShown = 3

// talkFigures shows at which questions people stop, and how long batches take.
func (q *request) talkFigures() error {
	every := option{"", "all"}
	page := figuresView{Behind: q.behind(), Form: form{Fields: []field{
		{Name: "place", Label: "Place", Kind: "select", Filter: true, Options: append([]option{every}, q.placeOptions()...)},
		{Name: "topic", Label: "Subject", Kind: "select", Filter: true, Options: append([]option{every}, q.subjects()...)},
		{Name: "from", Label: "From month", Kind: "month", Filter: true},
		{Name: "to", Label: "To month", Kind: "month", Filter: true},
	}}}
	now := q.now.In(q.zone())
	this := time.Date(now.Year(), now.Month(), 1, 0, 0, 0, 0, now.Location())
	answers := url.Values{
		"place": q.query["place"], "topic": q.query["topic"],
		"from": {cmp.Or(q.query.Get("from"), this.AddDate(0, 1-spanShown, 0).Format(monthLayout))},
		"to":   {cmp.Or(q.query.Get("to"), this.Format(monthLayout))},
	}
	page.Form.fill(answers)
	var span [2]time.Time
	for i, name := range []string{"from", "to"} {
		var err error
		if span[i], err = time.ParseInLocation(monthLayout, answers.Get(name), q.zone()); err != nil {
			page.Form.wrong(name, "this is not a month; write it as 2026-03")
		}
	}
	if span[1].Before(span[0]) {
		page.Form.wrong("to", "this is before the first month")
	}
	if page.Form.Wrong() {
		return q.again("talk-figures", page)
	}
	place, topic := answers.Get("place"), answers.Get("topic")
	stops, err := q.Views.Stops(q.ctx, views.Within{Place: place, Topic: topic, From: span[0], To: span[1]}, q.now)
	if err != nil {
		return err
	}
	q.stops(&page, stops, topic == "")
	of := views.Of{Place: place, From: span[0], To: span[1]}
	for _, by := range []views.By{{}, {Waste: true}} {
		spreads, err := q.Views.Durations(q.ctx, of, by)
		if err != nil {
			return err
		}
		q.durations(&page, spreads, by)
	}
	return q.render("talk-figures", page)
}

// stops puts questions in rows, those that lose most people first.
func (q *request) stops(page *figuresView, stops []views.Stop, subjects bool) {
	stops = slices.DeleteFunc(stops, func(s views.Stop) bool { return s.Topic == "office" }) // an officer's phone is no producer's
	of := map[string]int{}
	for i, s := range stops {
		if s.Topic == "lobby" && s.Step == "language" { // below a first answer, for whoever wants another
			stops[i].Step, s.Step = "", ""
		}
		of[q.topicName(s.Topic)] += s.Ended
		page.Ended += s.Ended
		if s.Step == "" {
			page.Answered += s.Ended
		}
	}
	at := map[[2]string]int{}
	for _, s := range stops {
		if s.Step == "" {
			continue
		}
		row := [2]string{q.topicName(s.Topic), slotName(s.Step)}
		i, ok := at[row]
		if !ok {
			i = len(page.Stops)
			at[row] = i
			page.Stops = append(page.Stops, stopRow{Subject: row[0], Question: row[1], Of: of[row[0]]})
		}
		page.Stops[i].Ended += s.Ended
	}
	slices.SortStableFunc(page.Stops, func(a, b stopRow) int { return b.Ended - a.Ended })
	var rows []bar
	for _, r := range page.Stops {
		name := r.Question
		if subjects {
			name = r.Subject + ": " + name
		}
		rows = append(rows, bar{Name: fmt.Sprintf("%s (%d)", name, r.Ended), high: float64(r.Ended)})
	}
	page.StopChart = drawBars("stops", "At which question conversations stopped, and how many; the table below has the same figures", rows)
}

// durations puts how long batches took in rows.
func (q *request) durations(page *figuresView, spreads []views.Spread, by views.By) {
	var rows []bar
	for _, s := range spreads {
		r := daysRow{Name: "all wastes", Batches: s.Batches, Measured: s.Measured, Few: s.Measured < fewBatches}
		switch {
		case by.Waste && s.Waste == "":
			r.Name = "waste not known"
		case by.Waste:
			r.Name = q.wasteName(s.Waste)
		}
		if s.Measured > 0 {
			r.Low, r.Median, r.High = tenths(s.Low), tenths(s.Median), tenths(s.High)
			rows = append(rows, bar{Name: fmt.Sprintf("%s (%d)", r.Name, r.Measured), Pale: r.Few, low: s.Low, middle: s.Median, high: s.High})
		}
		page.Days = append(page.Days, r)
	}
	page.DayChart = drawBars("days", "Days from the recipe to the finished batch; the table below has the same figures", append(page.DayChart.Rows, rows...))
}

// tenths writes days to the tenth.
func tenths(v float64) string { return strconv.FormatFloat(v, 'f', 1, 64) }
