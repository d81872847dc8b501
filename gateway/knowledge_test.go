package gateway_test

import (
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/calc"
	"cobline/dialog"
	"cobline/gateway"
	"cobline/locales"
)

// officers is a line with what officers tell it, over the real dialogue.
type officers struct {
	*line
	engine    *dialog.Engine
	knowledge *gateway.Knowledge
}

func newOfficers(t *testing.T) *officers {
	catalog, err := locales.Load()
	require.NoError(t, err)
	engine, err := dialog.New(catalog, dialog.Options{})
	require.NoError(t, err)
	o := &officers{engine: engine}
	o.line = newLine(t, func(options *gateway.Options) {
		options.Duty = func(place string) []gateway.Number { return o.knowledge.Duty(place) }
	})
	o.step = engine.Step
	o.knowledge = o.know()
	require.NoError(t, o.knowledge.Load(t.Context()))
	return o
}

// know returns the knowledge as a line that starts makes it.
func (o *officers) know() *gateway.Knowledge {
	zone, err := time.LoadLocation("Africa/Nairobi")
	require.NoError(o, err)
	base := &dialog.Facts{Home: "home", Places: map[string]dialog.Place{
		"home": {Key: "home", Name: "Kisimani", Zone: zone, Lat: -1.29, Lon: 36.82, Altitude: 1700, Duty: 1},
	}}
	duty := func(string) []gateway.Number { return []gateway.Number{number(o.line, 900)} }
	return gateway.NewKnowledge(o.store, o.engine, base, duty, o.service.SetFacts, slog.New(slog.DiscardHandler))
}

// says brings a text and returns what was understood.
func (o *officers) says(text string) dialog.Heard {
	o.receive(o.inbound("none", text))
	entries := o.entries()
	return *entries[len(entries)-1].Heard
}

// fair is a week of weather at the place, invented.
func fair(from time.Time) calc.ForecastInput {
	in := calc.ForecastInput{Issued: from}
	for i := range 7 {
		in.Days = append(in.Days, calc.Day{
			Date: from.AddDate(0, 0, i), Max: new(calc.Celsius(27)), Min: new(calc.Celsius(14)), HumidityMean: new(calc.Share(0.6)),
			Wind: new(calc.MetrePerSecond(2)), Sunshine: new(calc.Hours(8)), Rain: new(calc.Millimetre(0)),
		})
	}
	return in
}

// TestTaughtWordIsUnderstoodFromTheNextMessageOn, and again after a restart, and
// no longer once it is undone.
func TestTaughtWordIsUnderstoodFromTheNextMessageOn(t *testing.T) {
	o := newOfficers(t)
	o.says("hello")
	require.False(t, o.says("gunzira 2 drums snaps").Understood && o.says("gunzira").Understood)
	version := o.service.Facts().Version
	lesson := gateway.Taught{Lang: "en", Word: " Gunzira ", Concept: "waste.maize-cob", By: "asha", At: o.now}
	changes := o.knowledge.Changes([]string{"gunzira 2 drums snaps", "rice husk 2 drums"}, lesson)
	require.Len(t, changes, 1)
	require.Equal(t, "maize-cob", changes[0].After.Slots["waste"].Key)
	kept, err := o.knowledge.Teach(t.Context(), lesson)
	require.NoError(t, err)
	require.Greater(t, o.service.Facts().Version, version)
	require.Equal(t, "maize-cob", o.says("gunzira 2 drums snaps").Slots["waste"].Key)

	again := o.know()
	require.NoError(t, again.Load(t.Context()))
	require.Equal(t, []gateway.Taught{kept}, again.Taught())
	require.Greater(t, again.Facts().Version, version+1)
	require.Equal(t, "maize-cob", o.says("gunzira 3 drums snaps").Slots["waste"].Key)

	require.NoError(t, again.Untaught(t.Context(), kept.ID))
	require.Empty(t, o.says("gunzira 2 drums snaps").Slots["waste"].Key)
	require.ErrorIs(t, again.Untaught(t.Context(), kept.ID), gateway.ErrNotFound)
}

// TestPlacesOfTheConsoleLieOverTheConfiguration.
func TestPlacesOfTheConsoleLieOverTheConfiguration(t *testing.T) {
	o := newOfficers(t)
	p := gateway.Place{Key: "mlimani", Name: "Mlimani", Zone: "Africa/Kigali", Lat: -1.9, Lon: 30.1, Altitude: 1500, Emergency: "112", Currency: "RWF", Duty: []string{"250788000001"}, By: "asha", At: o.now}
	require.NoError(t, o.knowledge.SetPlace(t.Context(), p))
	home := p
	home.Key, home.Name, home.Duty = "home", "Kisimani Mpya", nil
	require.NoError(t, o.knowledge.SetPlace(t.Context(), home))
	require.Equal(t, "Mlimani", o.service.Facts().Places["mlimani"].Name)
	require.Equal(t, 1, o.service.Facts().Places["mlimani"].Duty)
	require.Equal(t, "250788000001", o.knowledge.Duty("mlimani")[0].Digits())
	require.Equal(t, "Kisimani Mpya", o.service.Facts().Places["home"].Name)
	require.Equal(t, []gateway.Number{number(o.line, 900)}, o.knowledge.Duty("home"))

	again := o.know()
	require.NoError(t, again.Load(t.Context()))
	require.Equal(t, o.knowledge.Places(), again.Places())
	require.NoError(t, again.DropPlace(t.Context(), "home"))
	require.Equal(t, "Kisimani", o.service.Facts().Places["home"].Name)
	require.NoError(t, again.DropPlace(t.Context(), "mlimani"))
	require.NotContains(t, o.service.Facts().Places, "mlimani")
	for name, spoil := range map[string]func(*gateway.Place){
		"key": func(p *gateway.Place) { p.Key = "Kisimani Mpya" }, "name": func(p *gateway.Place) { p.Name = " " },
		"time zone": func(p *gateway.Place) { p.Zone = "Nairobi" }, "latitude": func(p *gateway.Place) { p.Lat = 91 },
		"missing": func(p *gateway.Place) { p.Lat, p.Lon = 0, 0 }, "duty phone": func(p *gateway.Place) { p.Duty = []string{"call me"} },
	} {
		q := p
		spoil(&q)
		require.ErrorContains(t, o.knowledge.SetPlace(t.Context(), q), name)
	}
}

// TestForecastIsCheckedKeptAndUsed: nonsense is refused, and the weather before it
// stays.
func TestForecastIsCheckedKeptAndUsed(t *testing.T) {
	o := newOfficers(t)
	f := gateway.Forecast{Place: "home", Source: "typed", By: "asha", Taken: o.now, Dry: 2, Input: fair(o.now)}
	require.NoError(t, o.knowledge.SetForecast(t.Context(), f))
	outlook := o.service.Facts().Places["home"].Outlook
	require.Len(t, outlook, 7)
	require.Equal(t, "weather", o.says("weather").Topic)

	bad := f
	bad.Input = fair(o.now)
	bad.Input.Days[3].Max = new(calc.Celsius(99))
	var nonsense calc.OutOfRange
	require.True(t, errors.As(o.knowledge.SetForecast(t.Context(), bad), &nonsense))
	bad.Place = "nowhere"
	require.ErrorIs(t, o.knowledge.SetForecast(t.Context(), bad), gateway.ErrNoPlace)
	require.Equal(t, outlook, o.service.Facts().Places["home"].Outlook)

	again := o.know()
	require.NoError(t, again.Load(t.Context()))
	require.Equal(t, o.knowledge.Forecasts(), again.Forecasts())
	require.Equal(t, outlook, again.Facts().Places["home"].Outlook)
}

// TestDocumentThatCannotBeReadIsLeftOut, counted, and stops nothing.
func TestDocumentThatCannotBeReadIsLeftOut(t *testing.T) {
	o := newOfficers(t)
	_, err := o.knowledge.Teach(t.Context(), gateway.Taught{Lang: "en", Word: "gunzira", Concept: "waste.maize-cob", By: "asha", At: o.now})
	require.NoError(t, err)
	require.NoError(t, o.store.Put(t.Context(), gateway.TaughtKind, "spoilt", []string{"no lesson"}, 0))
	require.NoError(t, o.store.Put(t.Context(), gateway.PlaceKind, "spoilt", gateway.Place{Key: "spoilt", Name: "X", Zone: "No/Where"}, 0))
	again := o.know()
	require.NoError(t, again.Load(t.Context()))
	require.Equal(t, 2, again.Unreadable())
	require.Len(t, again.Taught(), 1)
	require.NotContains(t, again.Facts().Places, "spoilt")
}

// TestWarningsForbidFires on the days and at the places they are for, until they
// are cancelled.
func TestWarningsForbidFires(t *testing.T) {
	o := newOfficers(t)
	ctx := t.Context()
	midnight := time.Date(o.now.Year(), o.now.Month(), o.now.Day(), 0, 0, 0, 0, o.knowledge.Facts().Places["home"].Zone)
	require.NoError(t, o.knowledge.SetForecast(ctx, gateway.Forecast{Place: "home", Input: fair(midnight), Dry: 1}))
	forbidden := func() []int {
		var days []int
		for i, d := range o.service.Facts().Places["home"].Outlook {
			if d.Fire.Reasons&calc.FireWarning != 0 {
				require.Equal(t, calc.DoNotLightToday, d.Fire.Level)
				days = append(days, i)
			}
		}
		return days
	}
	require.Empty(t, forbidden())
	require.NoError(t, o.knowledge.SetPlace(ctx, gateway.Place{Key: "ridge", Name: "Ridge", Zone: "Africa/Nairobi", Lat: -1.31, Lon: 36.81}))
	area := []gateway.AlertArea{{Circles: []gateway.AlertCircle{{Centre: gateway.Point{Lat: -1.3, Lon: 36.8}, Radius: 20}}}}
	fire := gateway.Alert{Type: "Alert", Ref: gateway.AlertRef{Sender: "met@met.example", ID: "1", Sent: midnight}, Infos: []gateway.AlertInfo{{
		Categories: []string{"Fire"}, Event: "Grass fires", Onset: midnight.Add(30 * time.Hour), Expires: midnight.Add(60 * time.Hour), Areas: area,
	}}}
	require.NoError(t, o.knowledge.AddAlert(ctx, fire))
	require.Equal(t, []int{1, 2}, forbidden())
	spans := []dialog.Span{{From: fire.Infos[0].Onset.UTC(), Until: fire.Infos[0].Expires.UTC()}}
	require.Equal(t, spans, o.service.Facts().Places["ridge"].NoFire, "also where there is no forecast")

	away := fire
	away.Ref.ID, away.Infos = "2", []gateway.AlertInfo{{Categories: []string{"Fire"}, Event: "Grass fires", Expires: midnight.Add(200 * time.Hour), Areas: []gateway.AlertArea{{
		Circles: []gateway.AlertCircle{{Centre: gateway.Point{Lat: 5, Lon: 36.8}, Radius: 20}},
	}}}}
	require.NoError(t, o.knowledge.AddAlert(ctx, away))
	require.Equal(t, []int{1, 2}, forbidden(), "elsewhere")

	again := o.know()
	require.NoError(t, again.Load(ctx))
	require.Equal(t, []int{1, 2}, forbidden(), "after a restart")
	require.Len(t, gateway.InForce(again.Alerts(), midnight), 2)

	cancel := gateway.Alert{Type: "Cancel", Ref: gateway.AlertRef{Sender: "met@met.example", ID: "3", Sent: midnight.Add(time.Hour)}, References: []gateway.AlertRef{fire.Ref}}
	require.NoError(t, again.AddAlert(ctx, cancel))
	require.Empty(t, forbidden())
	require.Empty(t, o.service.Facts().Places["ridge"].NoFire)
	require.NoError(t, again.DropAlert(ctx, cancel.ID()))
	require.NoError(t, again.DropAlert(ctx, fire.ID()))
	require.Empty(t, forbidden())
}

// TestC25SecondLookIsSomebodyElses: what needs an administrator is kept only with
// the name of one who is not the officer, and what is refused never is.
func TestC25SecondLookIsSomebodyElses(t *testing.T) {
	o := newOfficers(t)
	guarded := gateway.Taught{Lang: "en", Word: "kapweteka", Concept: "dryness.dry", By: "asha", At: o.now}
	_, err := o.knowledge.Teach(t.Context(), guarded)
	var objection dialog.Objection
	require.ErrorAs(t, err, &objection)
	require.True(t, objection.Second)
	guarded.Second = "asha"
	_, err = o.knowledge.Teach(t.Context(), guarded)
	require.ErrorAs(t, err, &objection)
	guarded.Second = "juma"
	kept, err := o.knowledge.Teach(t.Context(), guarded)
	require.NoError(t, err)
	require.Equal(t, "juma", kept.Second)
	require.Equal(t, "dry", o.says("cobs 2 drums kapweteka").Slots["dryness"].Key)

	never := gateway.Taught{Lang: "en", Word: "fainted", Concept: "topic.price", By: "asha", Second: "juma", At: o.now}
	_, err = o.knowledge.Teach(t.Context(), never)
	require.ErrorAs(t, err, &objection)
	require.False(t, objection.Second)
	nowhere := gateway.Taught{Lang: "en", Place: "nowhere", Word: "gunzira", Concept: "waste.bamboo", By: "asha", At: o.now}
	_, err = o.knowledge.Teach(t.Context(), nowhere)
	require.ErrorIs(t, err, gateway.ErrNoPlace)
	require.Len(t, o.knowledge.Taught(), 1)
}

// TestC25WrittenAnswerIsKeptAndGiven, changed, and taken away.
func TestC25WrittenAnswerIsKeptAndGiven(t *testing.T) {
	o := newOfficers(t)
	o.says("hello")
	a := gateway.Answer{Lang: "en", Questions: []string{"where do i buy a press"}, Text: "At Asha's stall.", Stage: "pressing", By: "asha", At: o.now}
	kept, err := o.knowledge.SetAnswer(t.Context(), a)
	require.NoError(t, err)
	require.Equal(t, kept.ID, o.says("where do i buy a press?").Slots["written"].Key)
	require.Equal(t, []string{"ask.written", "caution.pressing"}, o.replies())

	kept.Text = "Pour water on it."
	var objection dialog.Objection
	_, err = o.knowledge.SetAnswer(t.Context(), kept)
	require.ErrorAs(t, err, &objection)
	require.True(t, objection.Second)
	kept.Text = strings.Repeat("At the stall of Asha. ", 20)
	_, err = o.knowledge.SetAnswer(t.Context(), kept)
	require.ErrorContains(t, err, "are the most")
	kept.Text = "At the stall by the bus stop."
	_, err = o.knowledge.SetAnswer(t.Context(), kept)
	require.NoError(t, err)

	again := o.know()
	require.NoError(t, again.Load(t.Context()))
	require.Equal(t, []gateway.Answer{kept}, again.Answers())
	o.says("where do i buy a press")
	entries := o.entries()
	require.Equal(t, kept.Text, entries[len(entries)-1].Replies[0].Text)
	require.NoError(t, again.DropAnswer(t.Context(), kept.ID))
	require.Empty(t, o.says("where do i buy a press").Slots["written"].Key)
	_, err = again.SetAnswer(t.Context(), kept)
	require.ErrorIs(t, err, gateway.ErrNotFound)
}

// TestKnowledgeIsSafeForMany: officers write while texts are answered; the
// versions grow, and nothing that was kept is lost.
func TestKnowledgeIsSafeForMany(t *testing.T) {
	const officers, words = 6, 8
	o := newOfficers(t)
	var wg sync.WaitGroup
	for i := range officers {
		wg.Go(func() {
			version := uint64(0)
			for j := range words {
				word := fmt.Sprintf("ngo%sri%s", strings.Repeat("a", 1+i%2)+string(rune('b'+i)), string(rune('b'+j))+"u")
				_, err := o.knowledge.Teach(t.Context(), gateway.Taught{Lang: "en", Word: word, Concept: "waste.bamboo", By: "asha", At: o.now})
				require.NoError(t, err)
				require.NoError(t, o.knowledge.SetForecast(t.Context(), gateway.Forecast{Place: "home", Taken: o.now, Input: fair(o.now)}))
				f := o.service.Facts()
				require.Greater(t, f.Version, version)
				version = f.Version
				h := o.engine.Step(dialog.State{Met: true, Lang: "en", Chosen: true}, dialog.Said{Text: word, Via: dialog.SMS}, dialog.World{Now: o.now, Facts: f})
				require.Equal(t, "bamboo", h.Heard.Slots["waste"].Key, word)
				o.knowledge.Changes([]string{word}, gateway.Taught{Lang: "en", Word: "gunzira", Concept: "waste.bamboo"})
			}
		})
	}
	wg.Wait()
	require.Len(t, o.knowledge.Taught(), officers*words)
	again := o.know()
	require.NoError(t, again.Load(t.Context()))
	require.Equal(t, o.knowledge.Taught(), again.Taught())
}
