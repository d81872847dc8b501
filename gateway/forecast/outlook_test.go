package forecast

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/calc"
	"cobline/dialog"
	"cobline/gateway"
)

// midnight is that of an invented Tuesday at Hilltop.
var midnight = time.Date(2031, 6, 3, 0, 0, 0, 0, blantyre)

// with returns a place with a week of fair weather that was issued at four, but
// for what change makes of its days.
func with(t require.TestingT, p dialog.Place, change func(day int, d *calc.Day)) dialog.Place {
	in := calc.ForecastInput{Place: Site(p), Issued: midnight.Add(4 * time.Hour)}
	for i := range 7 {
		d := calc.Day{
			Date: midnight.AddDate(0, 0, i), Max: new(calc.Celsius(27)), Min: new(calc.Celsius(15)), HumidityMean: new(calc.Share(.6)),
			Sunshine: new(calc.Hours(8)), Wind: new(calc.MetrePerSecond(2)), Rain: new(calc.Millimetre(0)),
		}
		change(i, &d)
		in.Days = append(in.Days, d)
	}
	f, err := calc.NewForecast(in)
	require.NoError(t, err)
	p, err = p.WithForecast(f, 2)
	require.NoError(t, err)
	return p
}

func factsOf(places ...dialog.Place) *dialog.Facts {
	f := &dialog.Facts{Home: places[0].Key, Places: map[string]dialog.Place{}}
	for _, p := range places {
		f.Places[p.Key] = p
	}
	return f
}

// rainAt makes it rain on a day at some clock hours.
func rainAt(day int, mm calc.Millimetre, hours ...int) func(int, *calc.Day) {
	return func(i int, d *calc.Day) {
		if i == day {
			d.RainByHour = make([]calc.Millimetre, 24)
			for _, h := range hours {
				d.RainByHour[h] = mm
			}
		}
	}
}

func TestOutlooks(t *testing.T) {
	hill := with(t, hilltop, rainAt(1, 3, 14, 15))
	facts := factsOf(hill, lakeside)
	forecasts := []gateway.Forecast{{Place: "hilltop", Source: "met", By: "asha"}}
	storm := gateway.Alert{Type: "Alert", Ref: gateway.AlertRef{Sender: "met@met.example", ID: "1", Sent: midnight}, Infos: []gateway.AlertInfo{{
		Lang: "en", Categories: []string{"Met"}, Event: "Thunderstorm", Severity: "Severe",
		Onset: midnight.Add(36 * time.Hour), Expires: midnight.Add(44 * time.Hour),
		Areas: []gateway.AlertArea{{Circles: []gateway.AlertCircle{{Centre: gateway.Point{Lat: -15.8, Lon: 35}, Radius: 30}}}},
	}}}
	around := map[string]gateway.Around{"hilltop": {People: 7, Briquettes: 2, Rings: map[dialog.Ring]int{dialog.RingReported: 2, dialog.RingAccepted: 4}}}
	now := midnight.Add(8 * time.Hour)
	all := Outlooks(facts, forecasts, []gateway.Alert{storm}, around, "en", now)
	require.Len(t, all, 2)
	o, none := all[0], all[1]
	require.Equal(t, "hilltop", o.Place.Key)
	require.Equal(t, calc.Fresh, o.Freshness)
	require.Equal(t, []any{"met", "asha", 7}, []any{o.Source, o.By, o.Around.People})
	require.Len(t, o.Days, 7)
	require.Len(t, o.Warnings, 1)
	require.Empty(t, o.Days[0].Warnings)
	require.Len(t, o.Days[1].Warnings, 1)
	require.Empty(t, o.Days[2].Warnings)
	require.True(t, o.Days[1].Wet)
	require.Greater(t, o.Days[0].Power, o.Days[1].Power)
	require.Equal(t, "Lakeside", none.Place.Name)
	require.Zero(t, none.Freshness)
	require.Empty(t, none.Days)
	require.Empty(t, none.Warnings, "the storm is elsewhere")

	// Time passes and nothing new comes.
	late := func(after time.Duration) Outlook {
		return Outlooks(facts, forecasts, nil, nil, "en", midnight.Add(4*time.Hour+after))[0]
	}
	require.Equal(t, calc.Old, late(30*time.Hour).Freshness)
	require.Len(t, late(30*time.Hour).Days, 6, "yesterday is past")
	require.Equal(t, calc.Expired, late(50*time.Hour).Freshness)
	require.Empty(t, late(50*time.Hour).Days)
}

// TestC24DraftedReminder: rain that comes within 36 hours is a draft that names
// its hour, expires then, and goes to the first two rings.
func TestC24DraftedReminder(t *testing.T) {
	around := map[string]gateway.Around{"hilltop": {Rings: map[dialog.Ring]int{dialog.RingReported: 3, dialog.RingLikely: 5, dialog.RingAccepted: 9}}}
	drafts := func(change func(int, *calc.Day), now time.Time, sent ...gateway.Notice) []Draft {
		return Drafts(Outlooks(factsOf(with(t, hilltop, change)), nil, nil, around, "en", now), sent, now)
	}
	at := func(day, hour int) time.Time { return midnight.AddDate(0, 0, day).Add(time.Duration(hour) * time.Hour) }
	rain := rainAt(1, 3, 14, 15)
	got := drafts(rain, at(0, 17))
	require.Len(t, got, 1)
	n := got[0].Notice
	require.Equal(t, "rain", n.Message.Ready)
	require.True(t, n.Message.Weather)
	require.True(t, n.Message.Hour.Equal(at(1, 14)) && n.Message.Expires.Equal(at(1, 14)), "its hour, and no longer")
	require.Equal(t, []string{"hilltop"}, n.Audience.Places)
	require.Equal(t, dialog.RingLikely, n.Audience.Ring)
	require.Equal(t, 8, got[0].Around.Reach(n.Audience.Ring))
	require.Equal(t, 17, got[0].Around.Reach(dialog.RingAccepted))
	require.True(t, got[0].HourKnown)
	require.Empty(t, got[0].Started)

	require.Empty(t, drafts(rainAt(2, 3, 19), at(0, 6)), "too far ahead")
	require.Len(t, drafts(rainAt(1, 3, 18), at(0, 6)), 1)
	require.Empty(t, drafts(rain, at(1, 14)), "too late")
	require.Empty(t, drafts(rainAt(1, 3, 14), at(1, 5)), "the forecast is a day old")
	require.Len(t, drafts(rainAt(1, 3, 20), at(0, 17)), 1, "the evening's rain too")

	// Without an hour it is the one at which the rack comes in.
	got = drafts(func(i int, d *calc.Day) { d.Rain = new(calc.Millimetre([]float64{0, 2, 0, 0, 0, 0, 0}[i])) }, at(0, 17))
	require.Len(t, got, 1)
	require.False(t, got[0].HourKnown)
	require.True(t, got[0].Day.In.Equal(got[0].Notice.Message.Hour))
	got = drafts(func(i int, d *calc.Day) { d.Rain = new(calc.Millimetre([]float64{0, 20, 0, 0, 0, 0, 0}[i])) }, at(0, 17))
	require.True(t, at(1, 9).Equal(got[0].Notice.Message.Hour), "rain all day")

	gusty := func(i int, d *calc.Day) {
		if i == 0 {
			d.Gust = new(calc.MetrePerSecond(14))
		}
	}
	got = drafts(gusty, at(0, 5))
	require.Len(t, got, 1)
	require.Equal(t, "wind", got[0].Notice.Message.Ready)
	require.True(t, at(0, 9).Equal(got[0].Notice.Message.Hour))
	got = drafts(gusty, at(0, 11).Add(20*time.Minute))
	require.True(t, at(0, 13).Equal(got[0].Notice.Message.Hour), "it blows already: as soon as it is of use")
	require.Empty(t, drafts(gusty, at(0, 17)))

	got = drafts(func(i int, d *calc.Day) { d.Min = new(calc.Celsius(8)) }, at(0, 8))
	require.Equal(t, "cold", got[0].Notice.Message.Ready)
	require.True(t, at(0, 18).Equal(got[0].Notice.Message.Hour))
	got = drafts(func(i int, d *calc.Day) { d.Min = new(calc.Celsius(8)) }, at(0, 19))
	require.True(t, at(1, 18).Equal(got[0].Notice.Message.Hour), "the next night")

	// What was started about the same rain is said.
	sent := gateway.Notice{Message: n.Message, Audience: n.Audience}
	sent.Message.ID, sent.Message.Hour = "n-1", at(1, 16)
	require.Equal(t, "n-1", drafts(rain, at(0, 17), sent)[0].Started)
	for _, change := range []func(*gateway.Notice){
		func(n *gateway.Notice) { n.Progress = gateway.Cancelled },
		func(n *gateway.Notice) { n.Message.Ready = "wind" },
		func(n *gateway.Notice) { n.Message.Hour = at(0, 14) },
		func(n *gateway.Notice) { n.Audience.Places = []string{"lakeside"} },
	} {
		other := sent
		change(&other)
		require.Empty(t, drafts(rain, at(0, 17), other)[0].Started)
	}
	sent.Audience.Places = nil
	require.Equal(t, "n-1", drafts(rain, at(0, 17), sent)[0].Started, "one for every place")
}

// Whatever comes, a draft names an hour that is ahead, within 36 hours, at which
// it expires, and is for one place.
func TestDraftsAreSendable(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := with(t, hilltop, func(i int, d *calc.Day) {
			d.Min = new(calc.Celsius(rapid.Float64Range(0, 20).Draw(t, "min")))
			d.Gust = new(calc.MetrePerSecond(rapid.Float64Range(0, 20).Draw(t, "gust")))
			d.Rain = new(calc.Millimetre(rapid.Float64Range(0, 20).Draw(t, "rain")))
			if rapid.Bool().Draw(t, "hours are known") {
				d.RainByHour = make([]calc.Millimetre, 24)
				d.RainByHour[rapid.IntRange(0, 23).Draw(t, "hour")] = *d.Rain
			}
		})
		now := midnight.Add(time.Duration(rapid.Int64Range(0, int64(30*time.Hour)).Draw(t, "now")))
		outlooks := Outlooks(factsOf(p), nil, nil, nil, "en", now)
		kinds := map[string]int{}
		for _, d := range Drafts(outlooks, nil, now) {
			m := d.Notice.Message
			kinds[m.Ready]++
			require.Contains(t, dialog.ReadyNotices, m.Ready)
			require.True(t, m.Hour.After(now) && !m.Hour.After(now.Add(draftsAhead)), m.Hour)
			require.Equal(t, m.Hour, m.Expires)
			require.Equal(t, 1, kinds[m.Ready], "one of each")
		}
	})
}
