package console

import (
	"context"
	"encoding/base64"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gofiber/fiber/v2"

	"cobline/calc"
	"cobline/gateway"
	"cobline/gateway/register"
	"cobline/gateway/views"
)

var batchesRoutes = []route{
	{get, "/batches", Viewer, (*request).batches},
	{post, "/batches/export", Officer, (*request).exportBatches},
}

// batchesShown is how many batches one page lists.
const batchesShown = 30

// fewBatches is below how many measured batches a spread says little: of nine,
// one in ten is none. Common practice.
const fewBatches = 10

// yieldRow is the yield of some batches: kilograms of charcoal from 100 kg of dry
// waste.
type yieldRow struct {
	Name              string
	Batches, Measured int
	FeedKg, CharKg    string
	Low, Median, High string
	Few               bool

	low, median, high float64
}

type batchesView struct {
	Form   form
	Yields []yieldRow
	Chart  bars
	By     string // what the rows are
	All    int    // batches
	CharKg string
	Rows   []batchRow
	Pager  Pager
	Behind string
	Asked  bool
	Filter []pair
}

// The ways to put yields in rows.
var yieldsBy = []option{
	{"waste", "waste"},
	{"place", "place"},
	{"month", "month"},
	{"waste-place", "waste and place"},
	{"waste-month", "waste and month"},
}

// monthLayout is how a browser writes a month.
const monthLayout = "2006-01"

// measured reads which batches are asked for.
func (q *request) measured(v url.Values) (of views.Of, page form, asked bool) {
	wastes := []option{{"", "all"}}
	for _, w := range calc.Wastes() {
		wastes = append(wastes, option{string(w), q.wasteName(string(w))})
	}
	slices.SortFunc(wastes[1:], func(a, b option) int { return strings.Compare(a.Label, b.Label) })
	by := v.Get("by")
	if by == "" {
		by = yieldsBy[0].Value
	}
	page = form{Fields: []field{
		{Name: "waste", Label: "Waste", Kind: "select", Filter: true, Options: wastes},
		{Name: "place", Label: "Place", Kind: "select", Filter: true, Options: append([]option{{"", "all"}}, q.placeOptions()...)},
		{Name: "from", Label: "From month", Kind: "month", Filter: true, Hint: "Such as 2026-03."},
		{Name: "to", Label: "To month", Kind: "month", Filter: true, Hint: "Such as 2026-03."},
		{Name: "by", Label: "In rows by", Kind: "select", Options: yieldsBy},
	}}
	answers := url.Values{"waste": v["waste"], "place": v["place"], "from": v["from"], "to": v["to"], "by": {by}}
	page.fill(answers)
	of = views.Of{Waste: v.Get("waste"), Place: v.Get("place")}
	for name, into := range map[string]*time.Time{"from": &of.From, "to": &of.To} {
		s := v.Get(name)
		if s == "" {
			continue
		}
		t, err := time.ParseInLocation(monthLayout, s, q.zone())
		if err != nil {
			page.wrong(name, "this is not a month; write it as 2026-03")
		}
		*into = t
	}
	if !of.From.IsZero() && !of.To.IsZero() && of.To.Before(of.From) {
		page.wrong("to", "this is before the first month")
	}
	return of, page, v.Get("waste")+v.Get("place")+v.Get("from")+v.Get("to") != ""
}

func (q *request) batches() error {
	of, search, asked := q.measured(q.query)
	page := batchesView{Form: search, Asked: asked, Behind: q.behind()}
	if search.Wrong() {
		return q.again("batches", page)
	}
	by := search.Fields[4].Value
	for _, o := range yieldsBy {
		if o.Value == by {
			page.By = o.Label
		}
	}
	parts := strings.Split(by, "-")
	spreads, err := q.Views.Yields(q.ctx, of, views.By{
		Waste: slices.Contains(parts, "waste"), Place: slices.Contains(parts, "place"), Month: slices.Contains(parts, "month"),
	})
	if err != nil {
		return err
	}
	char := 0.0
	for _, s := range spreads {
		page.All += s.Batches
		char += s.CharKg
		page.Yields = append(page.Yields, q.yieldRow(s, parts))
	}
	page.CharKg = kilograms(char)
	page.Chart = drawYields(page.By, page.Yields)
	before, err := batchOf(q.query.Get("after"))
	if err != nil {
		return err
	}
	list, more, err := q.Views.Batches(q.ctx, of, gateway.PersonKey{}, before, batchesShown)
	if err != nil {
		return err
	}
	for _, b := range list {
		page.Rows = append(page.Rows, q.batchRow(b))
	}
	next := ""
	if more && len(list) > 0 {
		next = batchID(list[len(list)-1])
	}
	for _, f := range search.Fields {
		if f.Value != "" {
			page.Filter = append(page.Filter, pair{f.Name, f.Value})
		}
	}
	page.Pager = q.pager(next)
	return q.render("batches", page)
}

// yieldRow names the row of a spread by what its batches have in common.
func (q *request) yieldRow(s views.Spread, by []string) yieldRow {
	var names []string
	for _, part := range by {
		switch part {
		case "waste":
			names = append(names, q.waste(s.Waste))
		case "place":
			names = append(names, q.placeName(s.Place))
		case "month":
			names = append(names, s.Month.In(q.zone()).Format("January 2006"))
		}
	}
	r := yieldRow{
		Name: strings.Join(names, ", "), Batches: s.Batches, Measured: s.Measured, FeedKg: kilograms(s.FeedKg), CharKg: kilograms(s.CharKg),
		Few: s.Measured < fewBatches, low: 100 * s.Low, median: 100 * s.Median, high: 100 * s.High,
	}
	if s.Measured > 0 {
		r.Low, r.Median, r.High = halves(r.low), halves(r.median), halves(r.high)
	}
	return r
}

// halves writes kilograms to the half: nobody weighs finer.
func halves(v float64) string { return strconv.FormatFloat(math.Round(2*v)/2, 'f', -1, 64) }

// drawYields draws the yields, a bar from low to high in each row. What was not
// weighed has none.
func drawYields(by string, all []yieldRow) bars {
	var rows []bar
	for _, r := range all {
		if r.Measured > 0 {
			rows = append(rows, bar{Name: fmt.Sprintf("%s (%d)", r.Name, r.Measured), Pale: r.Few, low: r.low, middle: r.median, high: r.high})
		}
	}
	return drawBars("yields", "Kilograms of charcoal from 100 kg of dry waste, by "+by+"; the table below has the same figures", rows)
}

func (q *request) batchRow(b views.Batch) batchRow {
	r := batchRow{
		ID: idOf(b.Person), Number: b.Number.String(), Place: q.placeName(b.Place), Waste: q.waste(b.Waste), Name: b.Name,
		Day: b.At.In(view{facts: q.Facts()}.zone(b.Place)).Format(dateLayout), Drums: b.Drums, FeedKg: kilograms(b.FeedKg), CharKg: kilograms(b.CharKg), BrandsKg: kilograms(b.BrandsKg),
	}
	if b.Yield > 0 {
		r.Yield = halves(100*b.Yield) + " kg"
	}
	return r
}

// batchID writes into an address which batch a page of a list ended with.
func batchID(b views.Batch) string {
	return fmt.Sprintf("%d.%s.%s", b.At.UnixMilli(), idOf(b.Person), base64.RawURLEncoding.EncodeToString([]byte(b.Name)))
}

func batchOf(id string) (b views.Batch, err error) {
	if id == "" {
		return b, nil
	}
	gone := fiber.NewError(http.StatusBadRequest, "this page of the list does not exist; begin at the first one")
	parts := strings.Split(id, ".")
	if len(parts) != 3 {
		return b, gone
	}
	ms, err := strconv.ParseInt(parts[0], 10, 64)
	if err != nil {
		return b, gone
	}
	if b.Person, err = personOf(parts[1]); err != nil {
		return b, gone
	}
	name, err := base64.RawURLEncoding.DecodeString(parts[2])
	if err != nil {
		return b, gone
	}
	b.At, b.Name = time.UnixMilli(ms).UTC(), string(name)
	return b, nil
}

// exportBatches answers with the batches of a search as a sheet, the newest first,
// numbers masked.
func (q *request) exportBatches() error {
	of, search, asked := q.measured(q.form)
	if search.Wrong() {
		return fiber.NewError(http.StatusBadRequest, "the list cannot be made: go back and choose again")
	}
	made, err := q.Views.Yields(q.ctx, of, views.By{})
	if err != nil {
		return err
	}
	count, what := 0, "all"
	for _, m := range made {
		count += m.Batches
	}
	if asked {
		what = "some"
	}
	if err := q.audit("batches exported", fmt.Sprintf("%d batches", count), what); err != nil {
		return err
	}
	columns := []string{
		"at", "phone", "place", "name", "waste", "drums", "loaded kg", "charcoal kg", "half burnt kg",
		"minutes to cover", "moisture percent", "ash", "charcoal kg of 100 kg dry waste", "days from recipe",
	}
	return q.export("batches", columns, func(ctx context.Context, row func(...string) error) error {
		for before, more := (views.Batch{}), true; more; {
			var list []views.Batch
			var err error
			if list, more, err = q.Views.Batches(ctx, of, gateway.PersonKey{}, before, 500); err != nil {
				return err
			}
			for _, b := range list {
				drums := ""
				if b.Drums > 0 {
					drums = strconv.Itoa(b.Drums)
				}
				if err := row(b.At.In(q.zone()).Format("2006-01-02 15:04"), mask(b.Number), q.placeName(b.Place), b.Name, b.Waste, drums,
					register.Number(b.FeedKg), register.Number(b.CharKg), register.Number(b.BrandsKg), register.Number(b.Minutes),
					register.Number(100*b.Moisture), b.Ash, register.Number(100*b.Yield), register.Number(b.Days)); err != nil {
					return err
				}
				before = b
			}
			more = more && len(list) > 0
		}
		return nil
	})
}
