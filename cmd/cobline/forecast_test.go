package main

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/calc"
)

// metService is an invented service of weather: hours in JSON, fair or wet, and
// its warnings.
type metService struct {
	*httptest.Server
	wet, down atomic.Bool
	issued    atomic.Int64 // Unix time
}

func newMetService(t *testing.T) *metService {
	m := &metService{}
	m.issued.Store(time.Now().Add(-time.Hour).Unix())
	m.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch {
		case m.down.Load():
			w.WriteHeader(http.StatusServiceUnavailable)
		case r.Header.Get("X-Key") != "service-key-of-the-test":
			w.WriteHeader(http.StatusForbidden)
		case r.URL.Path == "/point":
			fmt.Fprint(w, m.hours(r.FormValue("lat")))
		default:
			fmt.Fprint(w, m.warning())
		}
	}))
	t.Cleanup(m.Close)
	return m
}

// hours are four days from the last midnight of Nairobi on.
func (m *metService) hours(lat string) string {
	type row map[string]any
	nairobi := time.FixedZone("EAT", 3*3600)
	y, mo, d := time.Now().In(nairobi).Date()
	var rows []row
	for h := range 96 {
		at := time.Date(y, mo, d, h, 0, 0, 0, nairobi)
		air, rain, humidity, cloud := 14.0, 0.0, 75.0, 10.0
		if h%24 >= 9 && h%24 < 18 {
			air, humidity = 27, 45
		}
		if m.wet.Load() {
			humidity, cloud = 95, 100
			air -= 4
			if h%24 >= 8 && h%24 < 20 {
				rain = 1.5
			}
		}
		rows = append(rows, row{"at": at.UTC().Format(time.RFC3339), "air": air, "rh": humidity, "wind_kmh": 7.2, "rain": rain, "cloud": cloud, "lat": lat})
	}
	body, err := json.Marshal(map[string]any{"made": m.issued.Load(), "hours": rows})
	if err != nil {
		panic(err) // numbers and texts
	}
	return string(body)
}

func (m *metService) warning() string {
	now := time.Now().UTC()
	return fmt.Sprintf(`<feed xmlns="http://www.w3.org/2005/Atom"><entry><content><alert xmlns="urn:oasis:names:tc:emergency:cap:1.2">
<identifier>STORM-1</identifier><sender>storms@met.example</sender><sent>%s</sent><status>Actual</status><msgType>Alert</msgType><scope>Public</scope>
<info><category>Met</category><event>Storm</event><urgency>Expected</urgency><severity>Severe</severity><certainty>Likely</certainty>
<expires>%s</expires><headline>A storm is coming</headline><area><areaDesc>The highlands</areaDesc><circle>-1.29,36.82 50</circle></area></info>
</alert></content></entry></feed>`, now.Truncate(24*time.Hour).Format(time.RFC3339), now.Add(96*time.Hour).Format(time.RFC3339))
}

const forecastConfig = `
[[forecast]]
name = "met"
url = "%[1]s/point?lat={{.Lat}}&lon={{.Lon}}"
headers = { X-Key = "$MET_KEY_OF_TEST" }
format = "json"
step = "hour"
rows = "hours"
time = "at"
issued = "made"
[forecast.fields]
temperature = "air"
humidity = "rh > %%"
wind = "wind_kmh > km/h"
rain = "rain"
cloud = "cloud > %%"
%[2]s` + plainConfig

const warningsConfig = `
[[forecast]]
name = "storms"
url = "%s/warnings"
headers = { X-Key = "$MET_KEY_OF_TEST" }
format = "cap"
`

// The weather of a service reaches the person who asks, without a word from
// anybody: days, how long briquettes dry, and that no drum is lit in a storm. The
// next forecast changes the answers; a service that fails changes nothing.
func TestForecastReachesThePhone(t *testing.T) {
	t.Setenv("MET_KEY_OF_TEST", "service-key-of-the-test")
	met := newMetService(t)
	p := newProcess(t, fmt.Sprintf(forecastConfig, met.URL, ""))
	config, err := Load(p.config, []string{"COBLINE_STORE_PATH=" + p.dir, "MET_KEY_OF_TEST=service-key-of-the-test"})
	require.NoError(t, err)
	id := 0
	says := func(words string) string {
		id++
		answer, err := p.post(http.DefaultClient, "plain", text{ID: fmt.Sprint(id), From: phoneNumber(1), Text: words})
		require.NoError(t, err)
		return answer
	}
	state := func() (s weatherState) {
		live, err := order(config, "forecast-list", "", &s)
		require.NoError(t, err)
		require.True(t, live)
		return s
	}
	require.Eventually(t, func() bool { return state().Places[0].Age == "fresh" }, 20*time.Second, 20*time.Millisecond)
	says("hi")
	fair := says("weather")
	require.Contains(t, fair, "Home: ")
	require.Contains(t, fair, " dry")
	require.NotContains(t, fair, "no forecast")
	require.NotContains(t, fair, "rain from")
	fairDays := says("drying")
	require.Contains(t, fairDays, "out all day")

	met.wet.Store(true)
	met.issued.Store(time.Now().Unix())
	var fetched string
	_, err = order(config, "forecast-fetch", "met", &fetched)
	require.NoError(t, err)
	wet := says("weather")
	require.Contains(t, wet, "rain all day")
	wetDays := says("drying")
	require.NotEqual(t, fairDays, wetDays)
	require.Contains(t, wetDays, "keep covered")
	require.Contains(t, state().Places[0].Days[1].Plan, calc.KeepCovered.String())

	// The service fails, and the line is started again: what is known stays.
	met.down.Store(true)
	_, err = order(config, "forecast-fetch", "met", &fetched)
	require.ErrorContains(t, err, "met: it answers 503")
	p.kill()
	p.start()
	require.Equal(t, wet, says("weather"))

	// A warning of a storm.
	met.down.Store(false)
	met.wet.Store(false)
	met.issued.Store(time.Now().Unix())
	p.stop()
	p.rewrite(fmt.Sprintf(forecastConfig, met.URL, fmt.Sprintf(warningsConfig, met.URL)))
	p.start()
	require.Eventually(t, func() bool { return len(state().Places[0].Warnings) == 1 }, 20*time.Second, 20*time.Millisecond)
	require.Equal(t, "A storm is coming", state().Places[0].Warnings[0].Headline)
	require.Contains(t, state().Places[0].Days[0].Reasons, "fire-warning")
	require.Contains(t, says("weather"), "Do not light a drum on ")
	p.stop()
	require.NotContains(t, p.log.String(), "service-key-of-the-test")
	require.False(t, strings.Contains(p.log.String(), "level=ERROR"), p.log.String())
}
