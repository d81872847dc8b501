package forecast

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/stretchr/testify/require"

	"cobline/calc"
	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/boltstore"
	"cobline/locales"
)

// know returns what a line with two invented places knows, on a store of its own.
func know(t *testing.T) *gateway.Knowledge {
	st, err := boltstore.Open(filepath.Join(t.TempDir(), "store"), boltstore.Options{NoSync: true})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, st.Close()) })
	catalog, err := locales.Load()
	require.NoError(t, err)
	engine, err := dialog.New(catalog, dialog.Options{})
	require.NoError(t, err)
	duty := func(string) []gateway.Number { return nil }
	k := gateway.NewKnowledge(st, engine, factsOf(hilltop, lakeside), duty, func(*dialog.Facts) {}, slog.New(slog.DiscardHandler))
	require.NoError(t, k.Load(t.Context()))
	return k
}

// server is a service of weather as a round trip: what it answers, and what it
// was asked.
type server struct {
	mu     sync.Mutex
	asked  []*http.Request
	answer func(r *http.Request) (status int, header http.Header, body string)
}

func (s *server) RoundTrip(r *http.Request) (*http.Response, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.asked = append(s.asked, r)
	status, header, body := s.answer(r)
	if status == 0 {
		return nil, errors.New("connection refused")
	}
	if header == nil {
		header = http.Header{}
	}
	return &http.Response{
		StatusCode: status, Status: fmt.Sprintf("%d %s", status, http.StatusText(status)), Header: header, Request: r,
		Body: io.NopCloser(strings.NewReader(body)),
	}, nil
}

func (s *server) take() []*http.Request {
	s.mu.Lock()
	defer s.mu.Unlock()
	out := s.asked
	s.asked = nil
	return out
}

// daysCSV is a forecast of a week from today on.
func daysCSV(now time.Time) string {
	var b strings.Builder
	b.WriteString("day,max,min\n")
	for i := range 7 {
		fmt.Fprintf(&b, "%s,%d,15\n", now.AddDate(0, 0, i).Format(time.DateOnly), 25+i)
	}
	return b.String()
}

func csvSource(t testing.TB, name, address string) Source {
	return Source{
		Name: name, URL: address, Every: 3 * time.Hour, Within: 20 * time.Second, Limit: 1 << 20, Headers: map[string]string{"X-Key": "secret-key"},
		Reader: compiled(t, Mapping{Format: "csv", Time: "day", Fields: map[string]string{"max": "max", "min": "min"}}),
	}
}

// run runs a fetcher on the clock of a test, and ends it with the test.
func run(t *testing.T, k Knowledge, s *server, sources ...Source) (*Fetcher, *prometheus.Registry) {
	registry := prometheus.NewRegistry()
	f := NewFetcher(k, sources, slog.New(slog.DiscardHandler), registry)
	f.client.Transport = s
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error)
	go func() { ended <- f.Run(ctx) }()
	t.Cleanup(func() {
		stop()
		require.NoError(t, <-ended)
	})
	synctest.Wait()
	return f, registry
}

// sleep lets time pass and what is due happen.
func sleep(d time.Duration) {
	time.Sleep(d)
	synctest.Wait()
}

// counted returns what the registry counted of a source by outcome.
func counted(t *testing.T, r *prometheus.Registry) map[string]float64 {
	families, err := r.Gather()
	require.NoError(t, err)
	out := map[string]float64{}
	for _, f := range families {
		for _, m := range f.GetMetric() {
			for _, l := range m.GetLabel() {
				if l.GetName() == "outcome" {
					out[l.GetValue()] += m.GetCounter().GetValue()
				}
			}
		}
	}
	return out
}

func TestFetchesAtItsPace(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		k := know(t)
		s := &server{answer: func(r *http.Request) (int, http.Header, string) {
			require.Equal(t, "secret-key", r.Header.Get("X-Key"))
			return 200, nil, daysCSV(time.Now())
		}}
		f, registry := run(t, k, s, csvSource(t, "met", "https://met.example/point?lat={{.Lat}}&lon={{.Lon}}&alt={{.Altitude}}"))
		asked := s.take()
		require.Len(t, asked, 2, "each place by itself")
		require.Equal(t, "https://met.example/point?lat=-15.8&lon=35&alt=640", asked[0].URL.String())
		require.Len(t, k.Forecasts(), 2)
		require.Equal(t, calc.Celsius(25), *k.Forecasts()[0].Input.Days[0].Max)
		require.Equal(t, -1, k.Forecasts()[0].Dry)
		require.NotNil(t, k.Facts().Places["hilltop"].Forecast)
		sleep(3*time.Hour - time.Second)
		require.Empty(t, s.take())
		sleep(time.Second)
		require.Len(t, s.take(), 2)
		require.Equal(t, time.Now(), f.Standings()[0].Done)
		require.Equal(t, time.Now().Add(3*time.Hour), f.Standings()[0].Next)
		require.Equal(t, map[string]float64{"taken": 4}, counted(t, registry))

		// Somebody who cannot wait.
		require.NoError(t, f.Fetch(t.Context(), "met"))
		require.Len(t, s.take(), 2)
		require.EqualError(t, f.Fetch(t.Context(), "sat"), `there is no source "sat"; there are met`)
	})
}

// A line that is started again does not ask for what it has.
func TestARestartAsksForNothingNew(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		k := know(t)
		s := &server{answer: func(*http.Request) (int, http.Header, string) { return 200, nil, daysCSV(time.Now()) }}
		source := csvSource(t, "met", "https://met.example/all")
		first := NewFetcher(k, []Source{source}, slog.New(slog.DiscardHandler), nil)
		first.client.Transport = s
		require.NoError(t, first.Fetch(t.Context(), ""))
		require.Len(t, s.take(), 1, "one address is asked once for all places")
		require.Len(t, k.Forecasts(), 2)
		sleep(time.Hour)
		run(t, k, s, source)
		require.Empty(t, s.take())
		sleep(2 * time.Hour)
		require.Len(t, s.take(), 1)
	})
}

// C26 A source that fails is asked again soon, then more seldom; what is known
// stays and grows old.
func TestC26AFailingSource(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		k := know(t)
		status, rest := 200, ""
		s := &server{}
		s.answer = func(*http.Request) (int, http.Header, string) {
			return status, http.Header{"Retry-After": {rest}}, daysCSV(time.Now())
		}
		f, registry := run(t, k, s, csvSource(t, "met", "https://met.example/all"))
		issued := k.Forecasts()[0].Input.Issued
		s.take()
		set := func(code int, after string) {
			s.mu.Lock()
			status, rest = code, after
			s.mu.Unlock()
		}
		set(500, "")
		sleep(3 * time.Hour)
		require.Len(t, s.take(), 1)
		require.Equal(t, []string{"forecast source met fails: it answers 500 Internal Server Error"}, f.Notes())
		for _, wait := range []time.Duration{time.Minute, 5 * time.Minute, 15 * time.Minute, time.Hour, time.Hour} {
			sleep(wait - time.Second)
			require.Empty(t, s.take(), wait)
			sleep(time.Second)
			require.Len(t, s.take(), 1, wait)
		}
		set(0, "")
		sleep(time.Hour)
		require.Equal(t, []string{"forecast source met fails: connection refused"}, f.Notes())
		sleep(20 * time.Hour)
		require.Equal(t, issued, k.Forecasts()[0].Input.Issued, "the old one stays, as old as it is")
		require.Equal(t, calc.Old, k.Facts().Places["hilltop"].Forecast.Freshness(time.Now()))

		// A server that is busy says for how long.
		set(429, "7200")
		s.take()
		sleep(time.Hour)
		require.NotEmpty(t, s.take())
		sleep(2*time.Hour - time.Second)
		require.Empty(t, s.take())
		set(200, "")
		sleep(time.Second)
		require.Len(t, s.take(), 1)
		require.Empty(t, f.Notes())
		require.True(t, k.Forecasts()[0].Input.Issued.After(issued))
		require.NotZero(t, counted(t, registry)["failed"])
	})
}

// What cannot be read is told with its line, and the forecast before stays.
func TestRefusedAnswersChangeNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		k := know(t)
		body := ""
		s := &server{answer: func(*http.Request) (int, http.Header, string) { return 200, http.Header{"Etag": {`"1"`}}, body }}
		source := csvSource(t, "met", "https://met.example/all")
		source.Places = []string{"hilltop"}
		f := NewFetcher(k, []Source{source}, slog.New(slog.DiscardHandler), nil)
		f.client.Transport = s
		body = daysCSV(time.Now())
		require.NoError(t, f.Fetch(t.Context(), ""))
		held := k.Forecasts()
		require.Len(t, held, 1, "a source of one place")
		for spoilt, want := range map[string]string{
			strings.Replace(body, "25,15", "hot,15", 1): `met: hilltop: line 2: max is "hot", which is no number`,
			strings.Replace(body, "25,15", "75,15", 1):  "met: hilltop: maximum temperature on " + time.Now().Format(time.DateOnly) + " is 75; it must lie between -10 and 55",
			"<html>":                        "met: hilltop: line 1: no row follows; the first line names the columns, each further line is a row",
			"day,max,min\n1999-12-31,25,15": "met: hilltop: its last day, 1999-12-31, is over",
			strings.Repeat("x", 1+(1<<20)):  "met: its answer is longer than 1048576 octets; the limit of the source may be raised",
			"day,max\n" + time.Now().Format(time.DateOnly) + ",25": "met: hilltop: maximum or minimum temperature on " + time.Now().Format(time.DateOnly) + " is missing; it must lie between -10 and 55",
		} {
			body = spoilt
			require.EqualError(t, f.Fetch(t.Context(), ""), want)
			require.Equal(t, held, k.Forecasts())
		}
		// It is not taken for read the next time.
		s.take()
		body = daysCSV(time.Now())
		require.NoError(t, f.Fetch(t.Context(), ""))
		require.Empty(t, s.take()[0].Header.Get("If-None-Match"))
	})
}

func TestUnchangedIsNotSentAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		k := know(t)
		changed := time.Now().Add(-2 * time.Hour).UTC()
		s := &server{answer: func(r *http.Request) (int, http.Header, string) {
			if r.Header.Get("If-None-Match") == `"v1"` && r.Header.Get("If-Modified-Since") == changed.Format(http.TimeFormat) {
				return 304, nil, ""
			}
			return 200, http.Header{"Etag": {`"v1"`}, "Last-Modified": {changed.Format(http.TimeFormat)}}, daysCSV(time.Now())
		}}
		f, registry := run(t, k, s, csvSource(t, "met", "https://met.example/all"))
		require.Equal(t, changed.Truncate(time.Second), k.Forecasts()[0].Input.Issued.UTC(), "issued when it was last changed")
		sleep(3 * time.Hour)
		require.Equal(t, map[string]float64{"taken": 2, "unchanged": 1}, counted(t, registry))
		require.Empty(t, f.Notes())

		// A place that an officer has entered since is told.
		require.NoError(t, k.SetPlace(t.Context(), gateway.Place{Key: "valley", Name: "Valley", Zone: "Africa/Nairobi", Lat: -1, Lon: 36}))
		sleep(3 * time.Hour)
		require.Len(t, k.Forecasts(), 3)
	})
}

// A redirect to another host would carry the key away.
func TestNoRedirectElsewhere(t *testing.T) {
	k := know(t)
	s := &server{answer: func(r *http.Request) (int, http.Header, string) {
		return 302, http.Header{"Location": {"https://else.example/"}}, ""
	}}
	f := NewFetcher(k, []Source{csvSource(t, "met", "https://met.example/all?key=hidden")}, slog.New(slog.DiscardHandler), nil)
	f.client.Transport = s
	err := f.Fetch(t.Context(), "met")
	require.EqualError(t, err, "met: it leads to else.example: write that address into the configuration if it is right")
	require.Len(t, s.take(), 1)
}

// Warnings of a feed, and of what it links to at its own host, each once.
func TestFetchesWarnings(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		k := know(t)
		now := time.Now()
		message := func(id, kind, refs string, lat float64) string {
			return fmt.Sprintf(`<alert xmlns="urn:oasis:names:tc:emergency:cap:1.2"><identifier>%s</identifier><sender>met@met.example</sender><sent>%s</sent>
<status>Actual</status><msgType>%s</msgType><scope>Public</scope><references>%s</references><info><category>Fire</category><event>Grass fires</event>
<expires>%s</expires><area><areaDesc>x</areaDesc><circle>%g,34.9 30</circle></area></info></alert>`,
				id, now.Format(time.RFC3339), kind, refs, now.Add(60*time.Hour).Format(time.RFC3339), lat)
		}
		feed := `<rss><channel><item><link>https://met.example/1</link></item><item><link>/2</link></item><item><link>https://else.example/3</link></item></channel></rss>`
		s := &server{answer: func(r *http.Request) (int, http.Header, string) {
			switch r.URL.Path {
			case "/feed":
				return 200, nil, feed
			case "/1":
				return 200, nil, message("1", "Alert", "", -.4)
			case "/2":
				return 200, nil, message("2", "Alert", "", 40)
			case "/4":
				return 200, nil, message("4", "Cancel", "met@met.example,1,"+now.Format(time.RFC3339), 40)
			}
			return 404, nil, ""
		}}
		source := Source{Name: "warnings", URL: "https://met.example/feed", Every: 10 * time.Minute, Within: time.Second, Limit: 1 << 20, Reader: compiled(t, Mapping{Format: "cap"})}
		f, registry := run(t, k, s, source)
		require.Len(t, s.take(), 3)
		require.Len(t, k.Alerts(), 1, "the other concerns no place of the line")
		require.Equal(t, "warnings", k.Alerts()[0].Source)
		sleep(10 * time.Minute)
		require.Len(t, s.take(), 1, "what was read is not read again")
		require.Equal(t, map[string]float64{"taken": 1, "known": 1}, counted(t, registry))
		require.Len(t, gateway.InForce(k.Alerts(), time.Now()), 1)

		s.mu.Lock()
		feed = strings.Replace(feed, "/2", "/4", 1)
		s.mu.Unlock()
		sleep(10 * time.Minute)
		require.Empty(t, gateway.InForce(k.Alerts(), time.Now()), "cancelled")
		require.Empty(t, f.Notes())

		s.mu.Lock()
		feed = "<rss></rss>"
		s.mu.Unlock()
		sleep(31 * 24 * time.Hour)
		require.Empty(t, k.Alerts(), "long over")
	})
}

func TestUpload(t *testing.T) {
	k := know(t)
	ctx := t.Context()
	now := time.Date(2031, 6, 3, 6, 0, 0, 0, time.UTC)
	r := compiled(t, stations)
	taken, err := Upload(ctx, k, r, sample(t, "stations.csv"), nil, "table", "asha", now)
	require.NoError(t, err)
	require.Equal(t, []string{"hilltop", "lakeside"}, taken)
	require.Equal(t, "asha", k.Forecasts()[0].By)

	plain := []byte("max,min,rain\n28,15,0\n28,15,4\n")
	_, err = Upload(ctx, k, Plain(), plain, nil, "file", "asha", now)
	require.EqualError(t, err, "say which place it is for: one of hilltop, lakeside")
	taken, err = Upload(ctx, k, Plain(), plain, []string{"hilltop"}, "file", "asha", now.Add(time.Hour))
	require.NoError(t, err)
	require.Equal(t, []string{"hilltop"}, taken)
	_, err = Upload(ctx, k, Plain(), plain, []string{"hilltop"}, "file", "asha", now)
	require.ErrorIs(t, err, ErrOlder)
	_, err = Upload(ctx, k, Plain(), plain, []string{"moon"}, "file", "asha", now)
	require.ErrorIs(t, err, gateway.ErrNoPlace)
	_, err = Upload(ctx, k, r, bytes.ReplaceAll(bytes.ReplaceAll(sample(t, "stations.csv"), []byte("lakeside"), []byte("x")), []byte("hilltop"), []byte("y")), nil, "table", "asha", now)
	require.EqualError(t, err, "no row is of a place of the line: hilltop, lakeside")
	held := k.Forecasts()
	_, err = Upload(ctx, k, r, bytes.Replace(sample(t, "stations.csv"), []byte("27,5"), []byte("97,5"), 1), nil, "table", "asha", now.Add(2*time.Hour))
	require.ErrorContains(t, err, "lakeside: maximum temperature on 2031-06-03 is 97.5")
	require.Equal(t, held, k.Forecasts(), "all of it or none")
}

// How long it has not rained goes on from one forecast to the next.
func TestDryDaysAreCounted(t *testing.T) {
	days := func(first int, rain ...calc.Millimetre) []calc.Day {
		var out []calc.Day
		for i, mm := range rain {
			out = append(out, calc.Day{Date: midnight.AddDate(0, 0, first+i), Rain: &mm})
		}
		return out
	}
	for name, c := range map[string]struct {
		old  gateway.Forecast
		want int
	}{
		"nobody knows":     {gateway.Forecast{Dry: -1, Input: calc.ForecastInput{Days: days(-2, 0, 0, 0)}}, -1},
		"dry since then":   {gateway.Forecast{Dry: 3, Input: calc.ForecastInput{Days: days(-2, 0, 0, 9)}}, 5},
		"rain in between":  {gateway.Forecast{Dry: 3, Input: calc.ForecastInput{Days: days(-3, 0, 4, 0)}}, 1},
		"it has just come": {gateway.Forecast{Dry: -1, Input: calc.ForecastInput{Days: days(-1, 4)}}, 0},
		"the same morning": {gateway.Forecast{Dry: 3, Input: calc.ForecastInput{Days: days(0, 4, 4)}}, 3},
		"rain by the hour": {gateway.Forecast{Dry: 3, Input: calc.ForecastInput{Days: []calc.Day{{Date: midnight.AddDate(0, 0, -1), RainByHour: []calc.Millimetre{.5, .6}}}}}, 0},
	} {
		require.Equal(t, c.want, dryBefore(c.old, midnight), name)
	}
}

func TestCheckURL(t *testing.T) {
	require.NoError(t, CheckURL("https://met.example/{{.Place}}?lat={{.Lat}}&lon={{.Lon}}&alt={{.Altitude}}"))
	for address, want := range map[string]string{
		"met.example/x":              "must begin with https:// or http://",
		"ftp://met.example/x":        "must begin with https:// or http://",
		"https://met.example/{{.X}}": "knows {{.Lat}}, {{.Lon}}, {{.Altitude}} and {{.Place}}",
		"https://met.example/{{":     "must be an address with {{.Lat}}, {{.Lon}}, {{.Altitude}} or {{.Place}} in it",
	} {
		require.EqualError(t, CheckURL(address), want, address)
	}
	require.Equal(t, 90*time.Second, restOf("90", midnight))
	require.Equal(t, time.Minute, restOf(midnight.Add(time.Minute).UTC().Format(http.TimeFormat), midnight))
	require.Zero(t, restOf("soon", midnight))
	require.Zero(t, restOf("-5", midnight))
}
