package dialog_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
)

// TestC26AnOldForecastIsNotFairWeather: time passes and nothing new comes. Until
// a day old the forecast is told; from then on every answer that would lean on it
// says since when there is none, how to reckon by the sun, and to look at the sky.
func TestC26AnOldForecastIsNotFairWeather(t *testing.T) {
	for _, c := range []struct {
		age  time.Duration // of a forecast issued on Monday at six
		used bool
	}{{23 * time.Hour, true}, {25 * time.Hour, false}, {47 * time.Hour, false}, {49 * time.Hour, false}, {6 * 24 * time.Hour, false}} {
		for _, text := range []string{"weather", "drying", "drying balls", "how to dry wet cobs"} {
			p := known(t)
			p.forecast("fair")
			issued := p.place.Forecast.Issued
			require.Equal(t, time.Monday, issued.Weekday())
			p.now = issued.Add(c.age)
			said := all(p.says(text))
			require.Equal(t, !c.used, strings.Contains(said, "no forecast since Monday"), "%s after %v: %s", text, c.age, said)
			require.Equal(t, !c.used, strings.Contains(said, "Look at the sky"), text)
			require.Equal(t, !c.used, strings.Contains(said, "A day of full sun dries as much as 2 days of cloud"), "the hours rule")
			if !c.used {
				for _, fair := range []string{" dry,", "out all day"} {
					require.NotContains(t, said, fair, "%s after %v", text, c.age)
				}
			}
		}
	}
}

// A plan counts no fair day of an old forecast either: it is the plan of a line
// without one.
func TestC26PlansLeaveAnOldForecastOut(t *testing.T) {
	asked := func(sky string, age time.Duration) string {
		p := known(t)
		p.forecast("fair")
		issued := p.place.Forecast.Issued
		switch sky {
		case "":
			p.place.Forecast, p.place.Outlook, p.place.Drying = nil, nil, nil
		default:
			p.forecast(sky)
		}
		p.now = issued.Add(age)
		return all(p.says("plan 200 kg cobs 2 drums 3 people"))
	}
	require.NotEqual(t, asked("", 3*time.Hour), asked("storm", 3*time.Hour), "a fresh one counts")
	require.Equal(t, asked("", 30*time.Hour), asked("storm", 30*time.Hour))
	require.Equal(t, asked("", 80*time.Hour), asked("fair", 80*time.Hour))
}

// A warning of an authority holds without a forecast, and beside an old one.
func TestWarningsHoldWithoutAForecast(t *testing.T) {
	p := known(t)
	require.NotContains(t, all(p.says("weather")), "Do not light")
	p.place.NoFire = []dialog.Span{{From: p.now.Add(20 * time.Hour), Until: p.now.Add(40 * time.Hour)}}
	require.Contains(t, all(p.says("weather")), "Do not light a drum on Tuesday, Wednesday:")
	p.now = p.now.Add(40 * time.Hour)
	require.NotContains(t, all(p.says("weather")), "Do not light", "it is over")
	p.forecast("fair")
	p.place.NoFire = []dialog.Span{{From: p.now, Until: p.now.Add(10 * 24 * time.Hour)}}
	p.now = p.place.Forecast.Issued.Add(50 * time.Hour)
	require.Contains(t, all(p.says("weather")), "Do not light a drum on Friday to Monday:")
}

// What an old forecast warned of is kept: lighting is not made light of.
func TestC26WarningsOfAnOldForecastStand(t *testing.T) {
	for age, warned := range map[time.Duration]bool{2 * time.Hour: true, 30 * time.Hour: true, 49 * time.Hour: false} {
		p := known(t)
		p.forecast("wind")
		p.now = p.place.Forecast.Issued.Add(age)
		require.Equal(t, warned, strings.Contains(all(p.says("weather")), "Do not light a drum on"), age)
	}
}
