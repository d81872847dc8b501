package gateway

import (
	"math"
	"slices"
	"strings"
	"time"

	"cobline/calc"
	"cobline/dialog"
	"cobline/locales"
)

// AlertKind is the kind of official warnings among the Desk's documents.
const AlertKind = "weather-alert"

// Alert is a warning of an authority, as the Common Alerting Protocol 1.2 of
// OASIS words it. Officers read it; the line does not rewrite it. Integer keys
// are never reused.
type Alert struct {
	Ref        AlertRef    `cbor:"1,keyasint"`
	Type       string      `cbor:"2,keyasint"`           // Alert, Update or Cancel
	References []AlertRef  `cbor:"3,keyasint,omitempty"` // what an update or a cancellation takes the place of
	Infos      []AlertInfo `cbor:"4,keyasint,omitempty"`
	Source     string      `cbor:"5,keyasint,omitempty"` // of the configuration, or who gave it
	Taken      time.Time   `cbor:"6,keyasint,omitzero"`  // when it was read
}

// AlertRef identifies a warning: who sent it, under what name, when.
type AlertRef struct {
	Sender string    `cbor:"1,keyasint"`
	ID     string    `cbor:"2,keyasint"`
	Sent   time.Time `cbor:"3,keyasint"`
}

// AlertInfo is a warning in one language, or for one part of its area. The words
// of the standard stand in it unchanged.
type AlertInfo struct {
	Lang        string      `cbor:"1,keyasint,omitempty"` // RFC 3066; en-US if the sender gives none
	Categories  []string    `cbor:"2,keyasint,omitempty"` // Met, Fire, Safety and so on
	Event       string      `cbor:"3,keyasint"`
	Responses   []string    `cbor:"4,keyasint,omitempty"` // Shelter, Avoid, AllClear and so on
	Urgency     string      `cbor:"5,keyasint,omitempty"` // Immediate, Expected, Future, Past or Unknown
	Severity    string      `cbor:"6,keyasint,omitempty"` // Extreme, Severe, Moderate, Minor or Unknown
	Certainty   string      `cbor:"7,keyasint,omitempty"` // Observed, Likely, Possible, Unlikely or Unknown
	Onset       time.Time   `cbor:"8,keyasint,omitzero"`  // when what is warned of is expected to begin
	Expires     time.Time   `cbor:"9,keyasint,omitzero"`
	Headline    string      `cbor:"10,keyasint,omitempty"`
	Description string      `cbor:"11,keyasint,omitempty"`
	Instruction string      `cbor:"12,keyasint,omitempty"`
	Areas       []AlertArea `cbor:"13,keyasint,omitempty"`
}

// AlertArea is where a warning holds.
type AlertArea struct {
	Name     string        `cbor:"1,keyasint,omitempty"`
	Polygons [][]Point     `cbor:"2,keyasint,omitempty"` // each closed: its last point is its first
	Circles  []AlertCircle `cbor:"3,keyasint,omitempty"`
}

// Point is a place on the map, north and east positive.
type Point struct {
	Lat calc.Degree `cbor:"1,keyasint"`
	Lon calc.Degree `cbor:"2,keyasint"`
}

// AlertCircle is a circle on the map.
type AlertCircle struct {
	Centre Point   `cbor:"1,keyasint"`
	Radius float64 `cbor:"2,keyasint"` // kilometres
}

// alertLife is how long a warning that names no end is taken to last. Common
// practice.
const alertLife = 24 * time.Hour

// ID is the name of a warning among the Desk's documents: one for each that was
// sent, in the order of sending.
func (a Alert) ID() string {
	return a.Ref.Sent.UTC().Format("20060102T150405Z") + " " + a.Ref.Sender + " " + a.Ref.ID
}

// From returns when what is warned of begins.
func (a Alert) From(i AlertInfo) time.Time {
	if i.Onset.IsZero() {
		return a.Ref.Sent
	}
	return i.Onset
}

// Until returns when a part of a warning ends.
func (a Alert) Until(i AlertInfo) time.Time {
	if i.Expires.IsZero() {
		return later(a.Ref.Sent, a.From(i)).Add(alertLife)
	}
	return i.Expires
}

// Ended reports whether all of a warning is over.
func (a Alert) Ended(now time.Time) bool {
	return !slices.ContainsFunc(a.Infos, func(i AlertInfo) bool { return a.Until(i).After(now) })
}

// Covers reports whether an area holds a point. An area that is only named is
// taken to hold it: whoever chose the source must judge.
func (a AlertArea) Covers(p Point) bool {
	if len(a.Polygons) == 0 && len(a.Circles) == 0 {
		return true
	}
	return slices.ContainsFunc(a.Polygons, p.inside) ||
		slices.ContainsFunc(a.Circles, func(c AlertCircle) bool { return p.kilometres(c.Centre) <= c.Radius })
}

// Covers reports whether a part of a warning holds at a point. One without any
// area does.
func (i AlertInfo) Covers(p Point) bool {
	return len(i.Areas) == 0 || slices.ContainsFunc(i.Areas, func(a AlertArea) bool { return a.Covers(p) })
}

// inside counts how often a line to the east crosses the polygon, which may lie
// across the date line.
func (p Point) inside(polygon []Point) bool {
	in := false
	for k := 1; k < len(polygon); k++ {
		p, a, b := p.near(polygon[0]), polygon[k-1].near(polygon[0]), polygon[k].near(polygon[0])
		if (a.Lat > p.Lat) != (b.Lat > p.Lat) && p.Lon < a.Lon+(p.Lat-a.Lat)/(b.Lat-a.Lat)*(b.Lon-a.Lon) {
			in = !in
		}
	}
	return in
}

// near writes the longitude as the one within half a turn of another point.
func (p Point) near(q Point) Point {
	p.Lon -= 360 * calc.Degree(math.Round(float64(p.Lon-q.Lon)/360))
	return p
}

// kilometres is the way to another point along a great circle.
func (p Point) kilometres(q Point) float64 {
	const radius, radian = 6371, math.Pi / 180
	half := func(a, b calc.Degree) float64 { return math.Pow(math.Sin(float64(b-a)*radian/2), 2) }
	h := half(p.Lat, q.Lat) + math.Cos(float64(p.Lat)*radian)*math.Cos(float64(q.Lat)*radian)*half(p.Lon, q.Lon)
	return 2 * radius * math.Asin(min(1, math.Sqrt(h)))
}

// Here returns the parts of a warning that hold at a point between two times,
// those in the language first. A part for an all-clear is none.
func (a Alert) Here(p Point, from, until time.Time, lang locales.Lang) []AlertInfo {
	var here []AlertInfo
	for _, i := range a.Infos {
		if a.From(i).Before(until) && a.Until(i).After(from) && i.Covers(p) && !i.AllClear() {
			here = append(here, i)
		}
	}
	slices.SortStableFunc(here, func(x, y AlertInfo) int { return y.speaks(lang) - x.speaks(lang) })
	return here
}

func (i AlertInfo) speaks(lang locales.Lang) int {
	primary, _, _ := strings.Cut(strings.ToLower(i.Lang), "-")
	if primary == string(lang) {
		return 1
	}
	return 0
}

// AllClear reports whether a part of a warning says that the danger is over.
func (i AlertInfo) AllClear() bool { return slices.Contains(i.Responses, "AllClear") }

// ForbidsFire reports whether no drum should be lit while a part of a warning
// holds: it is about fire, or about severe weather. It is our judgement, on the
// careful side.
func (i AlertInfo) ForbidsFire() bool {
	severe := i.Severity == "Extreme" || i.Severity == "Severe"
	return slices.Contains(i.Categories, "Fire") || severe && slices.Contains(i.Categories, "Met")
}

// InForce leaves out of a list the warnings that are over, that were cancelled,
// and those that an update has taken the place of.
func InForce(alerts []Alert, now time.Time) []Alert {
	return slices.DeleteFunc(standing(alerts), func(a Alert) bool { return a.Ended(now) })
}

// standing leaves out the warnings that were cancelled or updated.
func standing(alerts []Alert) []Alert {
	var gone []AlertRef
	for _, a := range alerts {
		if a.Type != "Alert" {
			gone = append(gone, a.References...)
		}
	}
	var out []Alert
	for _, a := range alerts {
		if a.Type != "Cancel" && !slices.ContainsFunc(gone, a.Ref.same) {
			out = append(out, a)
		}
	}
	return out
}

// forbidFires puts on a place when warnings forbid lighting there, and turns the
// days of its outlook on which they do into days without.
func forbidFires(p *dialog.Place, alerts []Alert) {
	for _, a := range alerts {
		for _, i := range a.Infos {
			if i.ForbidsFire() && !i.AllClear() && i.Covers(Point{p.Lat, p.Lon}) {
				p.NoFire = append(p.NoFire, dialog.Span{From: a.From(i), Until: a.Until(i)})
			}
		}
	}
	for i := range p.Outlook {
		d := &p.Outlook[i]
		for _, s := range p.NoFire {
			if !s.From.Before(d.Date.AddDate(0, 0, 1)) || !s.Until.After(d.Date) {
				continue
			}
			if d.Fire.Level != calc.DoNotLightToday {
				d.Fire.Level, d.Fire.Reasons = calc.DoNotLightToday, 0
			}
			d.Fire.Reasons |= calc.FireWarning
		}
	}
}

func (r AlertRef) same(other AlertRef) bool {
	return r.Sender == other.Sender && r.ID == other.ID && r.Sent.Round(time.Second).Equal(other.Sent.Round(time.Second))
}
