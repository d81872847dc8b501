package forecast

import (
	"cmp"
	"slices"
	"time"

	"cobline/calc"
	"cobline/dialog"
	"cobline/gateway"
	"cobline/locales"
)

// Outlook is what an officer wants to know of a place: the weather that comes,
// what it is good for, and who has things drying there.
type Outlook struct {
	Place     dialog.Place
	Freshness calc.Freshness // zero: there is no forecast
	Issued    time.Time
	Source    string // of the forecast
	By        string // who typed or uploaded it
	Days      []Day  // from today on; none of a forecast that is expired
	Warnings  []Warning
	Around    gateway.Around
}

// Day is one coming day.
type Day struct {
	calc.OutlookDay
	Warnings []Warning // that hold on it
}

// Windy reports whether wind or gusts forbid lighting, or move sheets and racks.
func (d Day) Windy() bool {
	return d.Cautions&calc.TieDown != 0 || d.Fire.Level == calc.DoNotLightToday && d.Fire.Reasons&(calc.WindyFire|calc.GustyFire) != 0
}

// Warning is a part of an authority's warning that holds at a place.
type Warning struct {
	gateway.AlertInfo
	Ref         gateway.AlertRef
	From, Until time.Time
}

// warningsAhead is how far ahead a warning is shown that has not begun.
const warningsAhead = 7 * 24 * time.Hour

// Outlooks returns the outlook of every place, in the order of their names. The
// facts hold the weather, forecasts and alerts where it is from; around is what
// Notices.Around has counted, lang the language in which warnings come first.
func Outlooks(facts *dialog.Facts, forecasts []gateway.Forecast, alerts []gateway.Alert, around map[string]gateway.Around, lang locales.Lang, now time.Time) []Outlook {
	inForce := gateway.InForce(alerts, now)
	out := make([]Outlook, 0, len(facts.Places))
	for key, p := range facts.Places {
		o := Outlook{Place: p, Around: around[key]}
		o.warn(inForce, lang, now)
		if i := slices.IndexFunc(forecasts, func(f gateway.Forecast) bool { return f.Place == key }); i >= 0 && p.Forecast != nil {
			o.Source, o.By = forecasts[i].Source, forecasts[i].By
		}
		if p.Forecast != nil {
			o.Freshness, o.Issued = p.Forecast.Freshness(now), p.Forecast.Issued
		}
		if o.Freshness == calc.Fresh || o.Freshness == calc.Old {
			o.days(now)
		}
		out = append(out, o)
	}
	slices.SortFunc(out, func(a, b Outlook) int {
		return cmp.Or(cmp.Compare(a.Place.Name, b.Place.Name), cmp.Compare(a.Place.Key, b.Place.Key))
	})
	return out
}

// warn puts in the warnings that hold at the place, those that begin first first.
func (o *Outlook) warn(alerts []gateway.Alert, lang locales.Lang, now time.Time) {
	at := gateway.Point{Lat: o.Place.Lat, Lon: o.Place.Lon}
	for _, a := range alerts {
		for _, i := range a.Here(at, now, now.Add(warningsAhead), lang) {
			o.Warnings = append(o.Warnings, Warning{AlertInfo: i, Ref: a.Ref, From: a.From(i), Until: a.Until(i)})
		}
	}
	slices.SortStableFunc(o.Warnings, func(a, b Warning) int { return a.From.Compare(b.From) })
}

func (o *Outlook) days(now time.Time) {
	for _, d := range o.Place.Outlook {
		end := d.Date.AddDate(0, 0, 1)
		if !end.After(now) {
			continue
		}
		day := Day{OutlookDay: d}
		for _, w := range o.Warnings {
			if w.From.Before(end) && w.Until.After(d.Date) {
				day.Warnings = append(day.Warnings, w)
			}
		}
		o.Days = append(o.Days, day)
	}
}
