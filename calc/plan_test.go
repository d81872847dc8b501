package calc

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var nairobi = time.FixedZone("EAT", 3*60*60)

// cobPlan is a yard of two drums near the equator on a Monday morning.
func cobPlan(want Kg) PlanInput {
	return PlanInput{
		Burn: RecipeInput{Waste: MaizeCob}, Want: want, Start: time.Date(2026, 3, 2, 8, 0, 0, 0, nairobi),
		Drums: 2, Lat: -1.3, Lon: 36.8, Drying: Range[Days]{3, 4, 6},
	}
}

func plan(t require.TestingT, in PlanInput) PlanResult {
	r, err := Plan(in)
	require.NoError(t, err)
	return r
}

// Own reference computation: one burn of cobs, by hand. Lit at 8:30 once the
// drum is loaded, covered at 9:00, the wait of 12 hours ends at night, so it is
// opened an hour after sunrise on Tuesday; crushed and pressed on Wednesday;
// four fit days later, on Sunday evening, it is dry.
func TestPlanOneBurnByHand(t *testing.T) {
	got := plan(t, cobPlan(5))
	require.Len(t, got.Burnt, 1)
	burn := got.Burnt[0]
	at := func(day, hour, minute int) time.Time { return time.Date(2026, 3, day, hour, minute, 0, 0, nairobi) }
	require.Equal(t, at(2, 8, 30), burn.Lit)
	require.Equal(t, at(2, 9, 0), burn.Covered)
	require.Equal(t, at(3, 7, 41), burn.Opened)
	require.Equal(t, at(4, 7, 41), burn.Aired)
	require.Equal(t, []PlannedLot{{Pressed: at(4, 0, 0), Dry: at(8, 0, 0), Pieces: got.Strokes, Kg: 5}}, got.Lots)
	require.Equal(t, at(8, 0, 0), got.Ready.Likely)
	require.Equal(t, NoDate, got.Promise)

	// 5 kg of briquettes at 8 % moisture are 4.6 kg of solids, of which 8 % were
	// lost on the way: 5.0 kg, with 8 % of starch on 4.63 kg of char.
	require.InDelta(t, 4.63, float64(got.Char), 0.005)
	require.InDelta(t, 4.63*0.08/0.75, float64(got.Starch), 0.005)
}

// A root brings fibre beside its starch: what a burn makes in a plan is what it
// makes in a recipe.
func TestPlanMakesWhatTheRecipeMakes(t *testing.T) {
	for _, s := range Starches() {
		in := cobPlan(5)
		in.Burn.Starch = s
		recipe, err := Recipe(in.Burn)
		require.NoError(t, err)
		got := plan(t, in)
		require.Equal(t, recipe.Infeasible, got.Infeasible, s)
		if recipe.Infeasible == nil {
			require.InEpsilon(t, float64(recipe.Briquettes.Likely)/float64(recipe.Char.Likely), float64(got.Strokes)/float64(got.Char), .03, s)
		}
	}
}

// Little char can add two days and slow drying two: together the square root of
// eight, which is three whole days.
func TestPlanAddsUpWhatCanGoWrong(t *testing.T) {
	got := plan(t, cobPlan(40))
	likely, careful := cobPlan(40), cobPlan(40)
	likely.Drying = Exactly(likely.Drying.Likely)
	careful.Drying = Exactly(careful.Drying.High)
	late := func(in PlanInput, end func(DateRange) time.Time) int {
		return daysFrom(got.Ready.Likely, end(plan(t, in).Ready))
	}
	require.Equal(t, 2, late(likely, func(r DateRange) time.Time { return r.High }), "by char alone")
	require.Equal(t, 2, late(careful, func(r DateRange) time.Time { return r.Likely }), "by drying alone")
	require.Equal(t, 3, daysFrom(got.Ready.Likely, got.Ready.High))
	require.Equal(t, -1, daysFrom(got.Ready.Likely, got.Ready.Low))
}

func TestPlanWithoutAPlaceTakesTheMiddleOfTheZone(t *testing.T) {
	in := cobPlan(5)
	in.Lat, in.Lon = 0, 0
	in.Start = time.Date(2026, 3, 20, 3, 0, 0, 0, nairobi)
	lit := plan(t, in).Burnt[0].Lit
	require.WithinDuration(t, time.Date(2026, 3, 20, 6, 35, 0, 0, nairobi), lit, 5*time.Minute, "half an hour after a sunrise at six")
}

func TestPlanPromises(t *testing.T) {
	on := func(day int) PlanInput {
		in := cobPlan(40)
		in.By = time.Date(2026, 3, day, 18, 0, 0, 0, nairobi)
		return in
	}
	free := plan(t, cobPlan(40))
	likely, latest := free.Ready.Likely.Day(), free.Ready.High.Day()
	for name, c := range map[string]struct {
		day  int
		want Promise
	}{
		"a week late":         {latest + 7, ByThen},
		"on the latest day":   {latest, ByThen},
		"a day before that":   {latest - 1, ProbablyByThen},
		"on the likely day":   {likely, ProbablyByThen},
		"the day before that": {likely - 1, NotByThen},
		"today":               {2, NotByThen},
	} {
		t.Run(name, func(t *testing.T) {
			got := plan(t, on(c.day))
			require.Equal(t, c.want.String(), got.Promise.String())
			require.Equal(t, free.Ready, got.Ready, "the earliest day is said whatever the date")
			if c.want == NotByThen {
				require.Less(t, got.ByThen, Kg(40))
			} else {
				require.InDelta(t, 40, float64(got.ByThen), 1e-6)
			}
		})
	}
}

func TestPlanNamesTheBottleneck(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*PlanInput)
		want   Bottleneck
	}{
		"one drum for much":             {func(in *PlanInput) { in.Want, in.Drums, in.People = 60, 1, 6 }, DrumsShort},
		"one person, ten drums":         {func(in *PlanInput) { in.Want, in.Drums, in.People = 150, 10, 1 }, PeopleShort},
		"a square metre of rack":        {func(in *PlanInput) { in.Rack = 1 }, RackShort},
		"rain for ten days":             {func(in *PlanInput) { in.Want, in.Ahead = 5, make([]DayAhead, 10) }, SunShort},
		"a kilogram of flour":           {func(in *PlanInput) { in.Starch = 1 }, StarchShort},
		"a few pieces, char at hand":    {func(in *PlanInput) { in.Want, in.StockChar, in.Drying = 5, 10, Exactly[Days](3) }, TimeItself},
		"one burn and surely four days": {func(in *PlanInput) { in.Want, in.Drying = 5, Exactly[Days](4) }, TimeItself},
	} {
		t.Run(name, func(t *testing.T) {
			in := cobPlan(40)
			c.change(&in)
			got := plan(t, in)
			require.Equal(t, c.want.String(), got.Bottleneck.String(), "gain %v", got.Gain)
			switch c.want {
			case TimeItself, StarchShort:
				require.Zero(t, got.Gain)
			default:
				require.Positive(t, got.Gain)
			}
		})
	}
}

func TestPlanWithTooLittleStarch(t *testing.T) {
	in := cobPlan(40)
	in.Starch, in.By = 1, time.Date(2026, 4, 2, 0, 0, 0, 0, nairobi)
	got := plan(t, in)
	require.Equal(t, NotByThen, got.Promise)
	require.True(t, got.Ready.Likely.IsZero(), "no day is early enough")
	require.Greater(t, got.Starch, in.Starch, "what is needed is still said")
	require.InDelta(t, float64(got.Starch/in.Starch), float64(in.Want/got.ByThen), 1e-6)
}

func TestPlanSaysWhatADateNeeds(t *testing.T) {
	in := cobPlan(200)
	in.Drums, in.People = 1, 1
	in.By = time.Date(2026, 3, 18, 0, 0, 0, 0, nairobi)
	got := plan(t, in)
	require.Equal(t, NotByThen, got.Promise)
	require.Greater(t, got.NeedDrums, in.Drums)
	require.Greater(t, got.NeedPeople, in.People)
	require.True(t, got.CallHelp)

	in.Drums, in.People = got.NeedDrums, got.NeedPeople
	enough := plan(t, in)
	require.NotEqual(t, NotByThen, enough.Promise)
	in.Drums--
	require.Equal(t, NotByThen, plan(t, in).Promise, "one drum fewer is too few")

	in.By = time.Date(2026, 3, 5, 0, 0, 0, 0, nairobi)
	require.Zero(t, plan(t, in).NeedDrums, "no number of drums dries char in a day")
}

// C5: the plan counts one full day outside before char is stored or crushed.
func TestPlanC5CharLiesOutsideForADay(t *testing.T) {
	got := plan(t, cobPlan(40))
	for _, l := range got.Lots {
		aired := 0
		for _, b := range got.Burnt {
			if !b.Aired.After(l.Pressed.Add(13 * time.Hour)) {
				aired++
				require.GreaterOrEqual(t, b.Aired.Sub(b.Opened), 24*time.Hour)
			}
		}
		require.Positive(t, aired, "something pressed before any char was aired")
	}
}

// C4: nothing in the dark.
func TestPlanC4NothingInTheDark(t *testing.T) {
	in := cobPlan(5)
	in.Start = time.Date(2026, 3, 2, 17, 0, 0, 0, nairobi)
	require.Equal(t, 3, plan(t, in).Burnt[0].Lit.Day(), "too late to light today")
}

// What a plan takes for the sun is that of SunTimes, wherever a plan may be made.
func TestPlanSunIsThatOfSunTimes(t *testing.T) {
	for _, lat := range []Degree{-60, -45, -20, 0, 20, 45, 60} {
		w := &works{midnight: time.Date(2026, 1, 1, 0, 0, 0, 0, nairobi), lat: lat, lon: 37}
		for d := range 40 * 365 {
			is, near := w.sunOn(d), w.sunBetween(d)
			require.InDelta(t, is.rise, near.rise, sunNear)
			require.InDelta(t, is.set, near.set, sunNear)
			rise, set := w.daylight(d)
			require.Equal(t, clockMinute(math.Ceil(is.rise)), rise)
			require.Equal(t, clockMinute(math.Ceil(is.set)), set)
		}
	}
}

// Even where the midsummer day is long enough for a wait and a second burn.
func TestPlanOneBurnADayPerDrum(t *testing.T) {
	in := cobPlan(20)
	in.Drums, in.Lat, in.Lon = 1, 59, 45
	in.Start = time.Date(2026, 6, 21, 0, 0, 0, 0, nairobi)
	for _, d := range plan(t, in).Days {
		require.LessOrEqual(t, d.Lit, 1)
	}
}

// C7: wet waste gets no lighting time.
func TestPlanC7WetWasteIsNotLit(t *testing.T) {
	for _, feel := range []Feel{Wet, TooWet, Sappy} {
		in := cobPlan(5)
		in.Burn.Moisture = feel.Moisture()
		_, err := Plan(in)
		require.ErrorAs(t, err, &OutOfRange{})
	}
}

func TestPlanRefuses(t *testing.T) {
	for name, change := range map[string]func(*PlanInput){
		"nothing wanted":       func(in *PlanInput) { in.Want = 0 },
		"300 drums":            func(in *PlanInput) { in.Drums = 300 },
		"a date gone by":       func(in *PlanInput) { in.By = in.Start.AddDate(0, 0, -1) },
		"no such latitude":     func(in *PlanInput) { in.Lat = 71 },
		"a rack of a hand":     func(in *PlanInput) { in.Rack = 0.1 },
		"drying in no order":   func(in *PlanInput) { in.Drying = Range[Days]{5, 4, 6} },
		"more than a season's": func(in *PlanInput) { in.Want, in.Drums, in.People = 5000, 1, 1 },
		"plastic":              func(in *PlanInput) { in.Burn.Waste = "plastic" },
	} {
		t.Run(name, func(t *testing.T) {
			in := cobPlan(40)
			change(&in)
			_, err := Plan(in)
			require.Error(t, err)
		})
	}
}

// anyPlan draws a yard, its weather and a wish.
func anyPlan(t *rapid.T) PlanInput {
	in := PlanInput{
		Burn:   RecipeInput{Waste: rapid.SampledFrom(Wastes()).Draw(t, "waste"), Slow: rapid.Bool().Draw(t, "slow")},
		Drums:  Count(rapid.IntRange(1, 5).Draw(t, "drums")),
		People: Count(rapid.IntRange(1, 6).Draw(t, "people")),
		Lat:    Degree(rapid.Float64Range(-60, 60).Draw(t, "lat")),
		Lon:    Degree(rapid.Float64Range(30, 60).Draw(t, "lon")),
		Rack:   SquareMetre(rapid.SampledFrom([]float64{0, 2, 6}).Draw(t, "rack")),
	}
	most := 80.0
	if in.Drums == 1 {
		most = 40 // one drum of husk does not make 80 kg in a season
	}
	in.Want = Kg(rapid.Float64Range(1, most).Draw(t, "want"))
	in.Start = time.Date(2026, time.Month(rapid.IntRange(1, 12).Draw(t, "month")), 2, rapid.IntRange(0, 23).Draw(t, "hour"), rapid.IntRange(0, 59).Draw(t, "minute"), 0, 0, nairobi)
	dry := Days(rapid.Float64Range(1, 6).Draw(t, "dry"))
	in.Drying = Range[Days]{dry * 0.8, dry, dry * 1.5}
	for range rapid.IntRange(0, 10).Draw(t, "days ahead") {
		in.Ahead = append(in.Ahead, DayAhead{Light: rapid.Bool().Draw(t, "light"), Dry: rapid.Bool().Draw(t, "fit")})
	}
	return in
}

func TestPlanKeepsItsRules(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := anyPlan(t)
		got := plan(t, in)
		require.Equal(t, got, plan(t, in), "the same question has the same answer")
		recipe, err := Recipe(in.Burn)
		require.NoError(t, err)
		day := func(at time.Time) *PlanDay { return &got.Days[daysFrom(in.Start, at)] }

		last := map[int]PlannedBurn{}
		var before PlannedBurn
		lit := map[int]int{}
		for _, b := range got.Burnt {
			sun, err := SunTimes(in.Lat, in.Lon, b.Lit)
			require.NoError(t, err)
			latest, err := LatestLighting(in.Lat, in.Lon, b.Lit, recipe.Clock)
			require.NoError(t, err)
			require.False(t, b.Lit.Before(sun.Rise) || b.Lit.Before(in.Start), "lit in the dark, or before now")
			require.False(t, b.Lit.After(latest), "covered in the dark")
			require.True(t, day(b.Lit).Ahead.Light, "lit on a day that is not fit")

			opens, err := NotBefore(b.Covered, recipe.Wait, in.Lat, in.Lon)
			require.NoError(t, err)
			require.False(t, b.Opened.Before(opens), "opened before the wait is over, or in the dark")
			require.Less(t, b.Opened.Sub(opens), time.Minute)
			require.Equal(t, 24*time.Hour, b.Aired.Sub(b.Opened))

			if was, ok := last[b.Drum]; ok {
				require.False(t, b.Lit.Before(was.Opened.Add(reloadTime.Likely.Duration())), "lit before it is empty")
				require.NotEqual(t, was.Lit.YearDay(), b.Lit.YearDay(), "two burns on one day")
			}
			if !before.Lit.IsZero() && before.Lit.YearDay() == b.Lit.YearDay() {
				require.GreaterOrEqual(t, b.Lit.Sub(before.Lit), time.Hour, "two drums within the hour")
			}
			last[b.Drum], before = b, b
			lit[daysFrom(in.Start, b.Lit)]++
		}

		var pressed, dried, char Kg
		var pieces Count
		capacity := in.Rack * SquareMetre(rackLoad.Likely)
		for d, line := range got.Days {
			require.Equal(t, lit[d], line.Lit)
			for _, b := range got.Burnt {
				if daysFrom(in.Start, b.Aired) == d {
					char += b.Char
				}
			}
			pressed, dried, pieces = pressed+line.Pressed, dried+line.Dried, pieces+line.Pieces
			require.LessOrEqual(t, float64(pressed), float64(char)*1.1, "pressed before it was aired")
			require.LessOrEqual(t, dried, pressed+1e-6)
			require.LessOrEqual(t, float64(line.Work), float64(in.People)*6+1e-6)
			if in.Rack > 0 {
				require.LessOrEqual(t, float64(line.Rack), float64(capacity)+1e-6)
			}
		}
		require.InDelta(t, float64(in.Want), float64(pressed), 1e-4)
		require.InDelta(t, float64(in.Want), float64(dried), 1e-4)
		require.GreaterOrEqual(t, pieces, got.Strokes)

		for _, l := range got.Lots {
			fit := 0
			for d := daysFrom(in.Start, l.Pressed) + 1; d <= daysFrom(in.Start, l.Dry); d++ {
				if got.Days[d].Ahead.Dry {
					fit++
				}
			}
			require.Equal(t, wholeDays(in.Drying.Likely), fit, "days on the rack that are fit to dry")
		}
		require.False(t, got.Ready.Likely.Before(got.Ready.Low) || got.Ready.High.Before(got.Ready.Likely))
		require.True(t, got.Burns.Ordered() && got.Waste.Ordered() && got.RackArea.Ordered() && got.Work.Ordered())
		require.Len(t, got.Burnt, int(got.Burns.Likely))
	})
}

// More of anything does not make the likely day later, but for the anomalies of
// any list schedule (Graham 1969, SIAM J. Appl. Math. 17:416; from memory): a day
// where hands are short, one filling of the rack where that is full.
func TestPlanMoreIsNotSlower(t *testing.T) {
	for name, more := range map[string]func(*PlanInput){
		"drums":   func(in *PlanInput) { in.Drums++ },
		"people":  func(in *PlanInput) { in.People++ },
		"rack":    func(in *PlanInput) { in.Rack *= 2 },
		"weather": func(in *PlanInput) { in.Ahead = nil },
		"char":    func(in *PlanInput) { in.StockChar = 5 },
		"less":    func(in *PlanInput) { in.Want *= 0.8 },
	} {
		t.Run(name, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				in := anyPlan(t)
				was := plan(t, in).Ready.Likely
				anomaly := 1
				if in.Rack > 0 {
					anomaly += wholeDays(in.Drying.Likely)
				}
				more(&in)
				require.LessOrEqual(t, daysFrom(was, plan(t, in).Ready.Likely), anomaly)
			})
		})
	}
}

// Own reference computation: the spread of the ready day against plans with
// drawn char and drawn drying.
func TestPlanReadyAgainstDraws(t *testing.T) {
	in := cobPlan(40)
	recipe, err := Recipe(in.Burn)
	require.NoError(t, err)
	got := plan(t, in)
	drying, char := sidesOf(in.Drying), sidesOf(recipe.Char)
	inside := 0
	for _, z := range plane {
		drawn := in
		drawn.Drying = Exactly(Days(drying.at(z[0])))
		// Char moves with the yield alone here: its whole spread is put on it.
		drawn.Burn.Yield = Exactly(recipe.Yield.Likely * Share(char.at(z[1])/char.likely) / recipe.YieldKept.Likely)
		ready := plan(t, drawn).Ready.Likely
		if daysFrom(got.Ready.Low, ready) >= 0 && daysFrom(got.Ready.High, ready) <= 0 {
			inside++
		}
	}
	share := float64(inside) / draws
	require.InDelta(t, 0.87, share, 0.08, "whole days: at least four in five")
}

func BenchmarkPlan(b *testing.B) {
	in := cobPlan(40)
	in.By = time.Date(2026, 3, 14, 0, 0, 0, 0, nairobi)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Plan(in); err != nil {
			b.Fatal(err)
		}
	}
}
