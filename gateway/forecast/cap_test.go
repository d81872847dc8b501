package forecast

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/calc"
	"cobline/dialog"
	"cobline/gateway"
)

// The form of CAP 1.2, appendix A.2 (a thunderstorm in one language; here two)
// and its polygon, from memory. Whether a point lies inside is an own reference
// computation.
func TestStormWarning(t *testing.T) {
	alerts, links, err := ReadAlerts(sample(t, "storm.xml"))
	require.NoError(t, err)
	require.Empty(t, links)
	require.Len(t, alerts, 1)
	a := alerts[0]
	sent := time.Date(2031, 6, 17, 21, 57, 0, 0, time.UTC)
	require.Equal(t, gateway.AlertRef{Sender: "weather@met.example", ID: "STORM-1055887203", Sent: sent}, a.Ref)
	require.Equal(t, "Alert", a.Type)
	require.Len(t, a.Infos, 2)
	i := a.Infos[0]
	require.Equal(t, "en-US", i.Lang, "the standard's default")
	require.Equal(t, []string{"Met"}, i.Categories)
	require.Equal(t, "SEVERE THUNDERSTORM", i.Event)
	require.Equal(t, []string{"Shelter"}, i.Responses)
	require.Equal(t, time.Date(2031, 6, 17, 23, 0, 0, 0, time.UTC), i.Expires)
	require.Equal(t, "es-US", a.Infos[1].Lang)
	require.Len(t, i.Areas[0].Polygons[0], 5)

	ridge, town := gateway.Point{Lat: 38.48, Lon: -119.95}, gateway.Point{Lat: 37.8, Lon: -120.5}
	require.Len(t, a.Here(ridge, sent, sent.Add(time.Hour), "en"), 2)
	require.Empty(t, a.Here(town, sent, sent.Add(time.Hour), "en"))
	require.Empty(t, gateway.InForce(alerts, i.Expires))
}

// The form of appendix A.3, an update on an earthquake, and its circle.
func TestUpdateOnAnEarthquake(t *testing.T) {
	alerts, _, err := ReadAlerts(sample(t, "update.xml"))
	require.NoError(t, err)
	require.Len(t, alerts, 1)
	a := alerts[0]
	require.Equal(t, "Update", a.Type)
	require.Equal(t, []gateway.AlertRef{{Sender: "quakes@survey.example", ID: "QUAKE-13970876.1", Sent: time.Date(2031, 6, 12, 3, 30, 0, 0, time.UTC)}}, a.References)
	require.Equal(t, []gateway.AlertCircle{{Centre: gateway.Point{Lat: 32.9525, Lon: -115.5527}}}, a.Infos[0].Areas[0].Circles)
	require.False(t, a.Infos[0].ForbidsFire())

	first := gateway.Alert{Type: "Alert", Ref: a.References[0], Infos: []gateway.AlertInfo{{Event: "Earthquake"}}}
	require.Equal(t, alerts, gateway.InForce([]gateway.Alert{first, a}, a.Ref.Sent))
}

const warning = `<alert xmlns="urn:oasis:names:tc:emergency:cap:1.2"><identifier>W1</identifier><sender>met@met.example</sender>
<sent>2031-06-03T08:00:00+03:00</sent><status>Actual</status><msgType>Alert</msgType><scope>Public</scope>
<info><category>Fire</category><event>Grass fires</event><urgency>Expected</urgency><severity>Moderate</severity><certainty>Likely</certainty>
<effective>2031-06-03T09:00:00+03:00</effective><expires>2031-06-03T20:00:00+03:00</expires>
<area><areaDesc>Lakeside</areaDesc><circle>-0.40,34.90 15</circle></area></info></alert>`

func TestWhatWarnsNobody(t *testing.T) {
	for change, left := range map[string]int{
		"":                              1,
		">Actual<|>Test<":               0,
		">Actual<|>Exercise<":           0,
		">Actual<|>Draft<":              0,
		">Actual<|>System<":             0,
		">Public<|>Restricted<":         0,
		">Alert<|>Ack<":                 0,
		"<scope>Public</scope>|":        1,
		"T20:00:00+03:00|T17:00:00Z":    1,
		"cap:1.2|cap:1.1":               1,
		` xmlns="|xmlns:unused="`:       1,
		"urn:oasis:names:tc|urn:others": 0,
	} {
		from, to, _ := strings.Cut(change, "|")
		alerts, _, err := ReadAlerts([]byte(strings.ReplaceAll(strings.ReplaceAll(warning, from, to), "alertxmlns:unused", "alert xmlns:unused")))
		if change == "urn:oasis:names:tc|urn:others" {
			require.ErrorContains(t, err, "it holds no CAP warning")
			continue
		}
		require.NoError(t, err, change)
		require.Len(t, alerts, left, change)
	}
}

func TestSpoiltWarnings(t *testing.T) {
	for change, want := range map[string]string{
		">W1<|>W 1<":           `warning "W 1": identifier must be one word, without commas`,
		">met@met.example<|><": `warning "W1": sender must be one word, without commas`,
		"T08:00:00+03:00|":     `warning "W1": sent is "2031-06-03"; it must be a time such as 2031-06-03T14:00:00+03:00`,
		">Actual<|>actual<":    `warning "W1": status is "actual"; it must be one of Actual, Exercise, System, Test, Draft`,
		">Alert<|>Warning<":    `warning "W1": msgType is "Warning"; it must be one of Alert, Update, Cancel, Ack, Error`,
		">Alert<|>Cancel<":     `warning "W1": references are missing: an update or a cancellation names what it is of`,
		"<scope>|<references>a,b</references><scope>":                    `warning "W1": references: "a,b" is not sender,identifier,sent`,
		"<event>Grass fires</event>|":                                    `warning "W1": info 1: event is missing`,
		"-03T20:00|-03T07:00":                                            `warning "W1": info 1: it expires before it begins`,
		"-0.40,34.90 15|-0.40 34.90 15":                                  `warning "W1": info 1: area 1: circle: "-0.40 34.90 15" is not a point and a radius in kilometres`,
		"34.90 15|334.90 15":                                             `warning "W1": info 1: area 1: circle: longitude is 334.9; it must lie between -180 and 180`,
		"34.90 15|34.90 far":                                             `warning "W1": info 1: area 1: circle: radius "far" is no number`,
		"circle>-0.40,34.90 15</circle|polygon>0,0 1,1 0,0</polygon":     `warning "W1": info 1: area 1: polygon: it has 3 points; at least 4 are wanted, the last one the first again`,
		"circle>-0.40,34.90 15</circle|polygon>0,0 1,1 0,1 1,0</polygon": `warning "W1": info 1: area 1: polygon: it is not closed: its last point is not its first`,
		"</alert>|": "it is not XML: XML syntax error on line 5: unexpected EOF",
	} {
		from, to, _ := strings.Cut(change, "|")
		spoilt := strings.Replace(warning, from, to, 1)
		alerts, _, err := ReadAlerts([]byte(spoilt))
		require.EqualError(t, err, want, change)
		require.Empty(t, alerts)
		if to != "" { // one bad message does not take a good one along
			alerts, _, err = ReadAlerts([]byte("<feed>" + spoilt + warning + "</feed>"))
			require.EqualError(t, err, want)
			require.Len(t, alerts, 1)
		}
	}
	for _, body := range []string{"", "hello", "<html></html>"} {
		_, _, err := ReadAlerts([]byte(body))
		require.Error(t, err, body)
	}
	_, _, err := ReadAlerts([]byte("<feed>" + strings.Repeat(warning, maxAlerts+1) + "</feed>"))
	require.EqualError(t, err, "it has more than 200 warnings")
}

// Feeds of warnings, in the forms of Atom (RFC 4287) and of RSS 2.0.
func TestFeeds(t *testing.T) {
	alerts, links, err := ReadAlerts([]byte(`<feed xmlns="http://www.w3.org/2005/Atom"><link href="https://met.example/feed" rel="self"/>
<entry><link href="https://met.example/1.xml" type="application/cap+xml"/><link href="https://met.example/1.html" type="text/html"/></entry>
<entry><link href="https://met.example/2.xml"/><link rel="enclosure" href="https://met.example/2.mp3"/></entry>
<entry><content type="text/xml">` + warning + `</content></entry></feed>`))
	require.NoError(t, err)
	require.Equal(t, []string{"https://met.example/1.xml", "https://met.example/2.xml"}, links)
	require.Len(t, alerts, 1)

	_, links, err = ReadAlerts([]byte(`<rss version="2.0"><channel><link>https://met.example/</link><item><link> /3.xml </link></item></channel></rss>`))
	require.NoError(t, err)
	require.Equal(t, []string{"/3.xml"}, links)

	alerts, links, err = ReadAlerts([]byte(`<feed xmlns="http://www.w3.org/2005/Atom"></feed>`))
	require.NoError(t, err, "no warning is good news")
	require.Empty(t, alerts)
	require.Empty(t, links)
}

// Whatever a feed holds, what is read of it is whole, or a sentence says why not.
func FuzzAlerts(f *testing.F) {
	f.Add(sample(f, "storm.xml"))
	f.Add(sample(f, "update.xml"))
	f.Add([]byte("<feed>" + warning + "<entry><link href='x'/></entry></feed>"))
	f.Fuzz(func(t *testing.T, octets []byte) {
		alerts, links, err := ReadAlerts(octets)
		if err != nil {
			require.NotEmpty(t, err.Error())
		}
		require.LessOrEqual(t, len(alerts)+len(links), 2*maxAlerts)
		for _, a := range alerts {
			require.NotEmpty(t, a.Ref.Sender)
			require.NotEmpty(t, a.Ref.ID)
			require.False(t, a.Ref.Sent.IsZero())
			for _, i := range a.Infos {
				i.Covers(gateway.Point{})
				require.NotEmpty(t, i.Event)
			}
			gateway.InForce(alerts, a.Ref.Sent)
		}
	})
}

func TestTypedByHand(t *testing.T) {
	now := time.Date(2031, 6, 3, 6, 0, 0, 0, blantyre)
	days := []ByHand{
		{Date: now, Low: new(14.), High: new(27.), Sky: "clear", Wind: "light"},
		{Date: now.AddDate(0, 0, 1), Low: new(15.), High: new(24.), Rain: new(6.), RainHour: new(14), Sky: "showers", Wind: "strong"},
		{Date: now.AddDate(0, 0, 2), Low: new(15.), High: new(25.), Rain: new(0.)},
	}
	in, err := Typed(days, hilltop, now)
	require.NoError(t, err)
	f, err := calc.NewForecast(in)
	require.NoError(t, err)
	outlook, err := calc.Outlook(f, -1)
	require.NoError(t, err)
	require.Equal(t, calc.PutOut, outlook[0].Action)
	require.Equal(t, "14:00", outlook[1].RainFrom.Format("15:04"))
	require.Equal(t, calc.Millimetre(6), f.Days[1].Rain)
	require.NotZero(t, outlook[1].Cautions&calc.TieDown, "a strong wind moves sheets")
	require.Equal(t, calc.DoNotLightToday, outlook[1].Fire.Level)

	for want, day := range map[string]ByHand{
		`day 1: there is no wind "wild"; there are calm, light, fresh, strong`:                                  {Low: new(1.), High: new(2.), Wind: "wild"},
		`day 1: there is no sky "blue"; there are clear, some-cloud, overcast, drizzle, rain, showers, thunder`: {Low: new(1.), High: new(2.), Sky: "blue"},
		"day 1: hour of the rain is 24; it must lie between 0 and 23":                                           {Low: new(1.), High: new(2.), Rain: new(1.), RainHour: new(24)},
		"day 1: the rain has an hour, but no mm: 1 is a little, 5 is a lot":                                     {Low: new(1.), High: new(2.), RainHour: new(14)},
		"minimum temperature on 2031-06-03 is 30; it must lie between -10 and 20":                               {Low: new(30.), High: new(20.)},
		"maximum or minimum temperature on 2031-06-03 is missing; it must lie between -10 and 55":               {Low: new(14.)},
	} {
		day.Date = now
		_, err := Typed([]ByHand{day}, hilltop, now)
		require.EqualError(t, err, want)
	}
	_, err = Typed(nil, dialog.Place{}, now)
	require.Error(t, err)
}
