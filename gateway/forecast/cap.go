package forecast

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"cobline/calc"
	"cobline/gateway"
)

// capAlert is a message of the Common Alerting Protocol 1.2 (OASIS, 2010), as
// its section 3.2 names the elements.
type capAlert struct {
	Identifier string    `xml:"identifier"`
	Sender     string    `xml:"sender"`
	Sent       string    `xml:"sent"`
	Status     string    `xml:"status"`
	MsgType    string    `xml:"msgType"`
	Scope      string    `xml:"scope"`
	References string    `xml:"references"`
	Info       []capInfo `xml:"info"`
}

type capInfo struct {
	Language     string    `xml:"language"`
	Category     []string  `xml:"category"`
	Event        string    `xml:"event"`
	ResponseType []string  `xml:"responseType"`
	Urgency      string    `xml:"urgency"`
	Severity     string    `xml:"severity"`
	Certainty    string    `xml:"certainty"`
	Effective    string    `xml:"effective"`
	Onset        string    `xml:"onset"`
	Expires      string    `xml:"expires"`
	Headline     string    `xml:"headline"`
	Description  string    `xml:"description"`
	Instruction  string    `xml:"instruction"`
	Area         []capArea `xml:"area"`
}

type capArea struct {
	AreaDesc string   `xml:"areaDesc"`
	Polygon  []string `xml:"polygon"`
	Circle   []string `xml:"circle"`
}

const (
	capNamespace = "urn:oasis:names:tc:emergency:cap:"
	// capLanguage is that of a message that names none (CAP 1.2, 3.2.2).
	capLanguage = "en-US"
)

// maxAlerts is how many warnings, and links to such, are read of one body.
const maxAlerts = 200

// ReadAlerts reads the warnings of a body: a CAP message, several in an Atom or
// RSS feed, or a feed of links to such messages, which are returned as they
// stand there. What is a test, an exercise or a draft, or is not for the public,
// is left out. The error says which element of which message is wrong; the good
// ones are returned all the same.
func ReadAlerts(octets []byte) (alerts []gateway.Alert, links []string, err error) {
	d := xml.NewDecoder(bytes.NewReader(octets))
	var errs []error
	seen, within := 0, ""
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, nil, fmt.Errorf("it is not XML: %w", err)
		}
		start, ok := token.(xml.StartElement)
		if !ok {
			continue
		}
		switch name := start.Name.Local; {
		case name == "alert" && (strings.HasPrefix(start.Name.Space, capNamespace) || start.Name.Space == ""):
			var c capAlert
			if err := d.DecodeElement(&c, &start); err != nil {
				return nil, nil, fmt.Errorf("it is not XML: %w", err)
			}
			if seen++; seen > maxAlerts {
				return nil, nil, fmt.Errorf("it has more than %d warnings", maxAlerts)
			}
			a, actual, err := c.read()
			if err != nil {
				errs = append(errs, fmt.Errorf("warning %q: %w", clip(c.Identifier), err))
			} else if actual {
				alerts = append(alerts, a)
			}
		case name == "entry" || name == "item":
			within = name
		case name == "link" && within != "" && len(links) < maxAlerts:
			link, err := linkOf(d, start, within)
			if err != nil {
				return nil, nil, fmt.Errorf("it is not XML: %w", err)
			}
			if link != "" && !slices.Contains(links, link) {
				links = append(links, link)
			}
		default:
			if name == "feed" || name == "rss" || name == "RDF" {
				seen++ // a feed without warnings is good news
			}
		}
	}
	if seen == 0 {
		errs = append(errs, errors.New("it holds no CAP warning and is no feed of such"))
	}
	return alerts, links, errors.Join(errs...)
}

// linkOf returns where an entry of a feed leads: an attribute in Atom, a text in
// RSS.
func linkOf(d *xml.Decoder, start xml.StartElement, within string) (string, error) {
	var link struct {
		Rel  string `xml:"rel,attr"`
		Type string `xml:"type,attr"`
		Href string `xml:"href,attr"`
		Text string `xml:",chardata"`
	}
	if err := d.DecodeElement(&link, &start); err != nil {
		return "", err
	}
	if within == "item" {
		return strings.TrimSpace(link.Text), nil
	}
	if link.Rel != "" && link.Rel != "alternate" || strings.HasPrefix(link.Type, "text/html") {
		return "", nil
	}
	return strings.TrimSpace(link.Href), nil
}

// The words of the standard that are read.
var (
	capStatuses = []string{"Actual", "Exercise", "System", "Test", "Draft"}
	capTypes    = []string{"Alert", "Update", "Cancel", "Ack", "Error"}
)

// read checks a message. actual is false for one that warns nobody.
func (c capAlert) read() (a gateway.Alert, actual bool, err error) {
	var errs []error
	want := func(ok bool, why string, args ...any) {
		if !ok {
			errs = append(errs, fmt.Errorf(why, args...))
		}
	}
	a.Ref = gateway.AlertRef{Sender: strings.TrimSpace(c.Sender), ID: strings.TrimSpace(c.Identifier)}
	name := func(s string) bool { return s != "" && !strings.ContainsAny(s, " ,<&") }
	want(name(a.Ref.ID), "identifier must be one word, without commas")
	want(name(a.Ref.Sender), "sender must be one word, without commas")
	a.Ref.Sent = capTime("sent", c.Sent, want)
	want(c.Sent != "", "sent is missing")
	a.Type = strings.TrimSpace(c.MsgType)
	want(slices.Contains(capTypes, a.Type), "msgType is %q; it must be one of %s", clip(a.Type), strings.Join(capTypes, ", "))
	status := strings.TrimSpace(c.Status)
	want(slices.Contains(capStatuses, status), "status is %q; it must be one of %s", clip(status), strings.Join(capStatuses, ", "))
	if a.References, err = references(c.References); err != nil {
		want(false, "references: %w", err)
	}
	want(a.Type != "Update" && a.Type != "Cancel" || len(a.References) > 0, "references are missing: an update or a cancellation names what it is of")
	want(a.Type != "Alert" && a.Type != "Update" || len(c.Info) > 0, "info is missing")
	for n, i := range c.Info {
		info, err := i.read()
		if err != nil {
			want(false, "info %d: %w", n+1, err)
		}
		a.Infos = append(a.Infos, info)
	}
	scope := strings.TrimSpace(c.Scope)
	public := scope == "" || scope == "Public"
	return a, status == "Actual" && public && a.Type != "Ack" && a.Type != "Error", errors.Join(errs...)
}

// references reads "sender,identifier,sent" with white space between (3.2.1).
func references(s string) ([]gateway.AlertRef, error) {
	var out []gateway.AlertRef
	for part := range strings.FieldsSeq(s) {
		words := strings.Split(part, ",")
		if len(words) != 3 {
			return nil, fmt.Errorf("%q is not sender,identifier,sent", clip(part))
		}
		sent, err := time.Parse(time.RFC3339, words[2])
		if err != nil {
			return nil, fmt.Errorf("%q is no time such as 2031-06-03T14:00:00+03:00", clip(words[2]))
		}
		out = append(out, gateway.AlertRef{Sender: words[0], ID: words[1], Sent: sent.UTC()})
	}
	return out, nil
}

// capTime reads a time of the standard: ISO 8601 with a numeric offset. A Z,
// which it does not allow and some senders write, is taken for +00:00.
func capTime(element, s string, want func(bool, string, ...any)) time.Time {
	if s = strings.TrimSpace(s); s == "" {
		return time.Time{}
	}
	t, err := time.Parse(time.RFC3339, s)
	want(err == nil, "%s is %q; it must be a time such as 2031-06-03T14:00:00+03:00", element, clip(s))
	return t.UTC()
}

func (c capInfo) read() (i gateway.AlertInfo, err error) {
	var errs []error
	want := func(ok bool, why string, args ...any) {
		if !ok {
			errs = append(errs, fmt.Errorf(why, args...))
		}
	}
	text := func(s string) string { return strings.TrimSpace(s) }
	i = gateway.AlertInfo{
		Lang: text(c.Language), Event: text(c.Event), Urgency: text(c.Urgency), Severity: text(c.Severity), Certainty: text(c.Certainty),
		Onset: capTime("onset", c.Onset, want), Expires: capTime("expires", c.Expires, want),
		Headline: text(c.Headline), Description: text(c.Description), Instruction: text(c.Instruction),
		Categories: trimmed(c.Category), Responses: trimmed(c.ResponseType),
	}
	if i.Lang == "" {
		i.Lang = capLanguage
	}
	if effective := capTime("effective", c.Effective, want); i.Onset.IsZero() {
		i.Onset = effective
	}
	want(i.Event != "", "event is missing")
	want(i.Expires.IsZero() || i.Onset.IsZero() || i.Expires.After(i.Onset), "it expires before it begins")
	for n, area := range c.Area {
		a := gateway.AlertArea{Name: text(area.AreaDesc)}
		for _, p := range area.Polygon {
			polygon, err := polygonOf(p)
			if err != nil {
				want(false, "area %d: polygon: %w", n+1, err)
			}
			a.Polygons = append(a.Polygons, polygon)
		}
		for _, p := range area.Circle {
			circle, err := circleOf(p)
			if err != nil {
				want(false, "area %d: circle: %w", n+1, err)
			}
			a.Circles = append(a.Circles, circle)
		}
		i.Areas = append(i.Areas, a)
	}
	return i, errors.Join(errs...)
}

func trimmed(list []string) []string {
	var out []string
	for _, s := range list {
		out = append(out, strings.TrimSpace(s))
	}
	return out
}

// maxCorners is how many points a polygon may have.
const maxCorners = 10_000

// polygonOf reads "lat,lon lat,lon ...", whose last point is its first (3.2.4).
func polygonOf(s string) ([]gateway.Point, error) {
	var out []gateway.Point
	for pair := range strings.FieldsSeq(s) {
		p, err := pointOf(pair)
		if err != nil {
			return nil, err
		}
		if out = append(out, p); len(out) > maxCorners {
			return nil, fmt.Errorf("it has more than %d points", maxCorners)
		}
	}
	switch {
	case len(out) < 4:
		return nil, fmt.Errorf("it has %d points; at least 4 are wanted, the last one the first again", len(out))
	case out[0] != out[len(out)-1]:
		return nil, errors.New("it is not closed: its last point is not its first")
	}
	return out, nil
}

// circleOf reads "lat,lon radius", the radius in kilometres (3.2.4).
func circleOf(s string) (gateway.AlertCircle, error) {
	words := strings.Fields(s)
	if len(words) != 2 {
		return gateway.AlertCircle{}, fmt.Errorf("%q is not a point and a radius in kilometres", clip(s))
	}
	p, err := pointOf(words[0])
	if err != nil {
		return gateway.AlertCircle{}, err
	}
	radius, err := number("radius", words[1], 0, 20_040)
	return gateway.AlertCircle{Centre: p, Radius: radius}, err
}

func pointOf(s string) (gateway.Point, error) {
	lat, lon, ok := strings.Cut(s, ",")
	if !ok {
		return gateway.Point{}, fmt.Errorf("%q is not latitude,longitude", clip(s))
	}
	y, errLat := number("latitude", lat, -90, 90)
	x, errLon := number("longitude", lon, -180, 180)
	return gateway.Point{Lat: calc.Degree(y), Lon: calc.Degree(x)}, errors.Join(errLat, errLon)
}

func number(what, s string, low, high float64) (float64, error) {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return 0, fmt.Errorf("%s %q is no number", what, clip(s))
	}
	if !(v >= low && v <= high) {
		return 0, calc.OutOfRange{What: what, Got: v, Low: low, High: high}
	}
	return v, nil
}
