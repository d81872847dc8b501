package console

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/calc"
	"cobline/gateway"
	"cobline/gateway/forecast"
)

// stationTable is the form of a table of stations.
func stationTable(t testing.TB) *forecast.Reader {
	r, err := forecast.Compile(forecast.Mapping{Format: "csv", Separator: ";", Place: "station", Fields: map[string]string{"max": "tmax", "min": "tmin", "rain": "rain_mm"}})
	require.NoError(t, err)
	return r
}

// weather puts a week on a place: rain tomorrow from 14:00, and wind the day
// after.
func (o *office) weather(place string) {
	o.t.Helper()
	p := o.Facts().Places[place]
	now := o.clock()
	in := calc.ForecastInput{Place: forecast.Site(p), Issued: now.Add(-time.Hour)}
	for i := range 7 {
		d := calc.Day{
			Date: now.In(p.Zone).AddDate(0, 0, i), Max: new(calc.Celsius(27)), Min: new(calc.Celsius(15)), HumidityMean: new(calc.Share(.6)),
			Sunshine: new(calc.Hours(8)), Wind: new(calc.MetrePerSecond(2)), Rain: new(calc.Millimetre(0)),
		}
		switch i {
		case 1:
			d.RainByHour = make([]calc.Millimetre, 24)
			d.RainByHour[14] = 6
		case 2:
			d.Gust = new(calc.MetrePerSecond(14))
		}
		in.Days = append(in.Days, d)
	}
	require.NoError(o.t, o.Knowledge.SetForecast(context.Background(), gateway.Forecast{Place: place, Source: "met-points", Taken: now, Dry: 2, Input: in}))
}

// fire is an invented warning of grass fires around a place.
func (o *office) fire(place string) string {
	p, now := o.Facts().Places[place], o.clock()
	return fmt.Sprintf(`<alert xmlns="urn:oasis:names:tc:emergency:cap:1.2"><identifier>F1</identifier><sender>fires@met.example</sender><sent>%s</sent>
<status>Actual</status><msgType>Alert</msgType><scope>Public</scope><info><category>Fire</category><event>Grass fires</event><severity>Severe</severity>
<expires>%s</expires><headline>Keep fires out &lt;b&gt;</headline><area><areaDesc>x</areaDesc><circle>%g,%g 20</circle></area></info></alert>`,
		now.Format(time.RFC3339), now.Add(60*time.Hour).Format(time.RFC3339), float64(p.Lat), float64(p.Lon))
}

func (o *office) fillWeather() {
	o.weather("lakeside")
	alerts, _, err := forecast.ReadAlerts([]byte(o.fire("lakeside")))
	require.NoError(o.t, err)
	_, err = forecast.TakeAlerts(context.Background(), o.Knowledge, alerts, "warnings", o.clock())
	require.NoError(o.t, err)
}

// Without weather the page says what people are told, and what to do.
func TestOutlookOfNothing(t *testing.T) {
	o := newConsole(t)
	p := o.as(Officer).get("/office/outlook")
	require.Contains(t, p.text(), "Home There is no forecast. People are told so, and to look at the sky.")
	require.Contains(t, p.text(), "No source is configured.")
	require.Contains(t, p.text(), "Nobody has told of anything that burns or dries here.")
	require.Zero(t, p.Find("svg").Length())
	require.Zero(t, p.Find("#reminders").Length())
}

// TestC24TheReminderIsOnePressAway: the outlook shows the rain and whom it
// concerns; the drafted reminder leads to the form, filled in, and to the phones
// of those who have something there.
func TestC24TheReminderIsOnePressAway(t *testing.T) {
	o := newConsole(t)
	for i, texts := range [][]string{{"hi", "cobs 2 drums snaps", "1", "LIT"}, {"hi", "cobs 2 drums snaps"}, {"hi"}} {
		for _, text := range texts {
			o.says(person(t, i+1), text)
		}
	}
	o.weather("home")
	o.wait(5 * time.Hour)
	c := o.as(Officer)
	p := c.get("/office/outlook")
	require.Contains(t, p.text(), "Forecast of Mon 2 Mar 08:30 EAT, from met-points.")
	require.Contains(t, p.text(), "out, in by 13:00")
	require.Contains(t, p.text(), "6.0 mm from 14:00")
	require.Contains(t, p.text(), "gusts: tie sheets, weigh racks down")
	require.Contains(t, p.text(), "Under way here, in persons: 1 with a drum alight.")
	require.Equal(t, 1, p.Find("svg[role=img] title").Length())
	require.Equal(t, "Rain is likely: Home", p.Find("#reminders + ul h3").Text())
	require.Contains(t, p.text(), "Tue 3 Mar 14:00 EAT")
	require.Contains(t, p.text(), "2 phones: 1 reported a drum or drying, 1 probably have it. Everyone who accepted messages: 2.")
	link, ok := p.Find("a.button").Attr("href")
	require.True(t, ok)

	form := c.get(link)
	preview := c.submit(form, "/office/notices/preview", nil)
	require.Contains(t, preview.text(), "Phones2 (1 likely, 1 reported)")
	require.Contains(t, preview.text(), "Rain is likely: Home, ")
	sent := c.submit(preview, "/office/notices/send", nil)
	require.Equal(t, http.StatusOK, sent.status)
	p = c.get("/office/outlook")
	require.Contains(t, p.text(), "A notice about it was started.")
	require.Zero(t, p.Find("a.button").Length())
	require.Zero(t, o.as(Viewer).get("/office/outlook").Find("a.button, form[action='/office/outlook/fetch']").Length(), "a viewer only reads")

	o.wait(26 * time.Hour)
	p = o.as(Officer).get("/office/outlook") // a session does not last so long
	require.Contains(t, p.text(), "No new forecast since Mon 2 Mar 08:30 EAT. This one is old")
	require.Zero(t, p.Find("#reminders").Length(), "an old forecast calls for nothing")
	o.wait(24 * time.Hour)
	p = o.as(Officer).get("/office/outlook")
	require.Contains(t, p.text(), "No forecast since Mon 2 Mar 08:30 EAT. People are told so")
	require.Zero(t, p.Find("svg").Length())
}

func TestOutlookOfOnePlace(t *testing.T) {
	o := newConsole(t)
	o.fillWeather()
	c := o.as(Viewer)
	p := c.get("/office/outlook/at/lakeside")
	require.Equal(t, "Outlook of Lakeside", p.Find("h1").Text())
	require.Equal(t, 7, p.Find("tbody tr").Length())
	require.Contains(t, p.text(), "light no drum: a warning")
	require.Contains(t, p.text(), "Keep fires out <b> (Severe), ")
	require.Contains(t, p.text(), "fires@met.example")
	require.Zero(t, p.Find("main b").Length(), "the words of others are words")
	require.Equal(t, http.StatusNotFound, c.get("/office/outlook/at/nowhere").status)
	require.Equal(t, http.StatusForbidden, c.get("/office/outlook/at/lakeside/weather").status)
	require.Equal(t, http.StatusForbidden, o.as(Officer).get("/office/outlook/place").status)
}

func TestWeatherTypedByHand(t *testing.T) {
	o := newConsole(t)
	c := o.as(Officer)
	form := c.get("/office/outlook/at/home/weather")
	const action = "/office/outlook/at/home/typed"
	for want, fill := range map[string]url.Values{
		"Nothing was typed: give at least the lowest":          {},
		"Write a number, such as 27.":                          {"low-0": {"warm"}, "high-0": {"27"}},
		"Minimum temperature on 2026-03-02 is 30; it must lie": {"low-0": {"30"}, "high-0": {"20"}},
		"Maximum or minimum temperature on 2026-03-03 is mis":  {"low-0": {"15"}, "high-0": {"27"}, "low-1": {"15"}},
		"Day 1: the rain has an hour, but no mm":               {"low-0": {"15"}, "high-0": {"27"}, "hour-0": {"14"}},
		"Choose one of the list.":                              {"low-0": {"15"}, "high-0": {"27"}, "wind-0": {"wild"}},
	} {
		p := c.submit(form, action, fill)
		require.Equal(t, http.StatusUnprocessableEntity, p.status)
		require.Contains(t, p.text(), want)
		require.Empty(t, o.Knowledge.Forecasts())
	}
	p := c.submit(form, action, url.Values{
		"low-0": {"15"}, "high-0": {"27,5"}, "wind-0": {"light"}, "sky-0": {"clear"},
		"low-1": {"15"}, "high-1": {"24"}, "rain-1": {"6"}, "hour-1": {"14"}, "sky-1": {"showers"},
	})
	require.Equal(t, "/office/outlook/at/home", p.path)
	require.Contains(t, p.text(), "The weather was taken.")
	require.Contains(t, p.text(), "typed by officer.")
	require.Contains(t, p.text(), "6.0 mm from 14:00")
	require.Equal(t, "weather typed", o.trail()[0].What)
	o.says(person(t, 1), "hi")
	o.says(person(t, 1), "weather")
	texts := ""
	for _, m := range o.outbox() {
		texts += m.Text + "\n"
	}
	require.Contains(t, texts, "Tuesday rain from 14:00", "the next who asks is told")
}

func TestWeatherAndWarningsFromFiles(t *testing.T) {
	o := newConsole(t)
	c := o.as(Officer)
	form := c.get("/office/outlook/at/home/weather")
	const action = "/office/outlook/at/home/file"
	p := c.upload(form, action, nil, "file", "days.csv", []byte("max,min\n28,hot\n"))
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	require.Contains(t, p.text(), `Home: line 2: min is "hot", which is no number.`)
	p = c.submit(form, action, nil)
	require.Contains(t, p.text(), "Choose a file.")
	p = c.upload(form, action, nil, "file", "days.csv", []byte("max,min,rain\n28,15,0\n26,15,9\n"))
	require.Contains(t, p.text(), "from days.csv, brought by officer.")
	p = c.upload(form, action, url.Values{"as": {"met-table"}}, "file", "table.csv", []byte("station;tmax;tmin\nhome;25,5;15\nelsewhere;99;1\n"))
	require.Contains(t, p.text(), "from table.csv, brought by officer.")
	require.Equal(t, "weather file taken", o.trail()[0].What)

	form = c.get("/office/outlook/warning")
	p = c.upload(form, "/office/outlook/warning", nil, "file", "x.xml", []byte("<html></html>"))
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	require.Contains(t, p.text(), "It holds no CAP warning and is no feed of such.")
	p = c.upload(form, "/office/outlook/warning", nil, "file", "fire.xml", []byte(o.fire("home")))
	require.Contains(t, p.text(), "Taken: 1 warning that the line did not know, about its places.")
	require.Contains(t, p.text(), "light no drum: a warning")
	p = c.upload(form, "/office/outlook/warning", nil, "file", "fire.xml", []byte(o.fire("home")))
	require.Contains(t, p.text(), "Taken: 0 warnings")
}

func TestPlacesAreEntered(t *testing.T) {
	o := newConsole(t)
	c := o.as(Administrator)
	form := c.get("/office/outlook/place")
	fill := url.Values{"key": {"valley"}, "name": {"Valley"}, "lat": {"-1,5"}, "lon": {"36.9"}, "altitude": {"1500"}, "duty": {"0712 000 099"}}
	for want, change := range map[string]url.Values{
		"There is a place of this short name already.":                 {"key": {"lakeside"}},
		`The key "My Valley" must be small letters`:                    {"key": {"My Valley"}},
		"Latitude: Write a number.":                                    {"lat": {"north"}},
		"The latitude must lie between -66 and 66 degrees.":            {"lat": {"80"}},
		`"Mars" is not a time zone; write one such as Africa/Nairobi.`: {"zone": {"Mars"}},
		`"call me" is not a phone number.`:                             {"duty": {"call me"}},
		"Name: This is missing.":                                       {"name": {""}},
	} {
		v := url.Values{}
		for name, values := range fill {
			v[name] = values
		}
		for name, values := range change {
			v[name] = values
		}
		p := c.submit(form, "/office/outlook/place", v)
		require.Equal(t, http.StatusUnprocessableEntity, p.status, want)
		require.Contains(t, p.text(), want)
	}
	p := c.submit(form, "/office/outlook/place", fill)
	require.Equal(t, "/office/outlook/at/valley", p.path)
	require.Contains(t, p.text(), "The place is kept.")
	require.Equal(t, "254712000099", o.Knowledge.Duty("valley")[0].Digits())
	require.Equal(t, calc.Degree(-1.5), o.Facts().Places["valley"].Lat)

	form = c.get("/office/outlook/at/home/place")
	p = c.submit(form, "/office/outlook/at/home/place", url.Values{"name": {"Old Town"}})
	require.Equal(t, "Outlook of Old Town", p.Find("h1").Text())
	require.Equal(t, calc.Metre(1700), o.Facts().Places["home"].Altitude, "what was not touched stays")
	require.Equal(t, "place changed", o.trail()[0].What)

	p = c.submit(c.get("/office/outlook/at/home/place"), "/office/outlook/at/home/drop", nil)
	require.Equal(t, "Outlook of Home", p.Find("h1").Text(), "as it is configured")
	require.Zero(t, c.get("/office/outlook/at/home/place").Find("form[action$='/drop']").Length(), "nothing is left to drop")
	p = c.submit(c.get("/office/outlook/at/valley/place"), "/office/outlook/at/valley/drop", nil)
	require.Contains(t, p.text(), "The place is gone.")
	require.NotContains(t, o.Facts().Places, "valley")
	require.Equal(t, "place dropped", o.trail()[0].What)
	v := c.get("/office/outlook/place").values(t, "/office/outlook/place")
	require.Equal(t, http.StatusConflict, c.post("/office/outlook/at/lakeside/drop", v).status, "what is configured stays")
	require.Equal(t, http.StatusNotFound, c.post("/office/outlook/at/valley/drop", v).status)
}

// What came by mistake is taken away: a forecast by an officer, a warning of an
// authority by an administrator alone.
func TestWeatherIsTakenAway(t *testing.T) {
	o := newConsole(t)
	o.weather("home")
	c := o.as(Officer)
	const action = "/office/outlook/at/home/no-forecast"
	require.Zero(t, c.get("/office/outlook/at/lakeside/weather").Find("form[action$='/no-forecast']").Length(), "there is none")
	p := c.submit(c.get("/office/outlook/at/home/weather"), action, nil)
	require.Contains(t, p.text(), "There is no forecast. People are told so, and to look at the sky.")
	require.Empty(t, o.Knowledge.Forecasts())
	require.Nil(t, o.Facts().Places["home"].Forecast)
	require.Equal(t, "forecast dropped", o.trail()[0].What)

	c.upload(c.get("/office/outlook/warning"), "/office/outlook/warning", nil, "file", "fire.xml", []byte(o.fire("home")))
	require.Len(t, o.Knowledge.Alerts(), 1)
	at := "/office/outlook/at/home"
	require.Zero(t, c.get(at).Find("form[action='/office/outlook/warning/drop']").Length())
	admin := o.as(Administrator)
	p = admin.submit(admin.get(at), "/office/outlook/warning/drop", nil)
	require.Contains(t, p.text(), "The warning is gone.")
	require.Empty(t, o.Knowledge.Alerts())
	require.Equal(t, "warning dropped", o.trail()[0].What)
}

// What is under way is counted once in a while. A page does not wait for it: it
// shows the count before, and says so, or that there is none yet.
func TestCensus(t *testing.T) {
	o := newConsole(t)
	store := &halting{o.store, make(chan struct{}), make(chan error, 10)}
	o.Notices, o.patience = gateway.NewNotices(store, o.Service), patience
	o.weather("home")
	c := o.as(Viewer)
	p := c.get("/office/outlook")
	require.Contains(t, p.text(), "is being counted. This page shows it in a moment.")
	require.Contains(t, p.text(), "Whom it concerns is being counted.")
	require.NotContains(t, p.text(), "Nobody has told of anything")
	require.Contains(t, p.Find("head noscript").Text(), `http-equiv="refresh"`)
	require.Equal(t, 1, p.Find("#counting[data-leads][data-refresh]").Length())
	close(store.goes)
	require.Eventually(t, func() bool {
		return strings.Contains(c.get("/office/outlook").text(), "Persons as counted Mon 2 Mar 09:30 EAT.")
	}, 10*time.Second, 5*time.Millisecond)
	o.patience = time.Minute
	for _, text := range []string{"hi", "cobs 2 drums snaps", "1", "LIT"} {
		o.says(person(t, 1), text)
	}
	p = c.get("/office/outlook")
	require.NotContains(t, p.text(), "with a drum alight", "the count of a moment ago")
	require.Zero(t, p.Find("head noscript").Length())
	o.wait(2 * time.Minute)
	require.Contains(t, c.get("/office/outlook").text(), "1 with a drum alight")
	store.goes, o.patience = make(chan struct{}), patience
	o.wait(2 * time.Minute)
	require.Contains(t, c.get("/office/outlook").text(), "Persons as counted Mon 2 Mar 09:32 EAT.", "a new one is not there yet")
	close(store.goes)
}
