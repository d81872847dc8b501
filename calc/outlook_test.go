package calc

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The plan of the rainy spell, own reference computation: in one hour before the
// first wet hour, sheeted at night.
func TestPlanOfARainySpell(t *testing.T) {
	want := []struct {
		action        Action
		until         int
		evening, gain string
	}{
		{PutOutUntil, 14, "28.0", "6.7"},
		{PutOutUntil, 14, "22.1", "5.6"},
		{PutOut, 17, "16.7", "4.9"},
		{PutOutUntil, 14, "14.1", "2.1"},
		{PutOutUntil, 14, "11.9", "1.7"},
		{PutOut, 17, "8.5", "2.3"},
		{PutOut, 17, "6.4", "0.9"},
	}
	plan := dried(t, DryInput{Forecast: scenarios(t)["rainy spell"]}).Plan
	require.Len(t, plan, len(want)+1)
	for i, w := range want {
		p := plan[i]
		require.Equal(t, w.action, p.Action, "day %d", i+1)
		require.Equal(t, w.until, p.In.Hour(), "day %d", i+1)
		require.Equal(t, w.evening, tenths(100*p.Evening), "day %d", i+1)
		require.Equal(t, w.gain, tenths(100*p.Gain), "day %d", i+1)
		require.True(t, p.CoverAtNight, "day %d", i+1)
		if w.action == PutOutUntil {
			require.Equal(t, 15, p.RainFrom.Hour())
		}
	}
	require.Equal(t, Pack, plan[7].Action)
	require.Equal(t, plan[6].Date, plan[7].Date)
}

// adviceFor is the advice of one day that is fair but for a change.
func adviceFor(t *testing.T, change func(*Day)) DayAdvice {
	t.Helper()
	d := fairDay(onDay(100, time.UTC))
	d.Dew, d.Cloud, d.Wind = new(Celsius(10)), new(Share(.2)), new(MetrePerSecond(2))
	change(&d)
	f, err := NewForecast(ForecastInput{Days: []Day{d}})
	require.NoError(t, err)
	advice, _ := f.advise(0, 8, 17)
	return advice
}

// wetHours is a day of 24 hours with an amount of rain in each of some.
func wetHours(amount Millimetre, hours ...int) []Millimetre {
	rain := make([]Millimetre, 24)
	for _, h := range hours {
		rain[h] = amount
	}
	return rain
}

// The thresholds are practice.
func TestAdviceThresholds(t *testing.T) {
	chance := func(share Share) func(*Day) { return func(d *Day) { d.RainChance = &share } }
	for _, r := range []struct {
		name     string
		change   func(*Day)
		action   Action
		until    int
		cautions Caution
		night    bool
	}{
		{"fair", func(*Day) {}, PutOut, 17, 0, false},
		{"chance 19 %", chance(.19), PutOut, 17, 0, false},
		{"chance 20 %", chance(.20), PutOut, 17, StayNear, false},
		{"chance 40 %, hour unknown", chance(.40), PutOutUntil, 12, 0, true},
		{"chance 70 %, hour unknown", chance(.70), KeepCovered, 0, Fragile, true},
		{"0.9 mm", func(d *Day) { d.Rain = new(Millimetre(.9)) }, PutOut, 17, 0, true},
		{"1 mm, hour unknown", func(d *Day) { d.Rain = new(Millimetre(1)) }, PutOutUntil, 14, 0, true},
		{"1 mm, but hardly sure", func(d *Day) { d.Rain, d.RainChance = new(Millimetre(1)), new(Share(.29)) }, PutOut, 17, StayNear, true},
		{"5 mm, hour unknown", func(d *Day) { d.Rain = new(Millimetre(5)) }, KeepCovered, 0, Fragile, true},
		{"5 mm at 15 h", func(d *Day) { d.RainByHour = wetHours(5, 15) }, PutOutUntil, 14, Fragile, true},
		{"2 mm at 12 h", func(d *Day) { d.RainByHour = wetHours(2, 12) }, PutOutUntil, 11, 0, true},
		{"2 mm at 11 h: not worth putting out", func(d *Day) { d.RainByHour = wetHours(2, 11) }, KeepCovered, 0, 0, true},
		{"rain in the night alone", func(d *Day) { d.RainByHour = wetHours(9, 2) }, PutOut, 17, 0, true},
		{"thunder", func(d *Day) { d.Code, d.RainChance = new(95), new(Share(.1)) }, KeepCovered, 0, Fragile, true},
		{"thunder at 16 h", func(d *Day) { d.Code, d.RainChance, d.RainByHour = new(96), new(Share(.1)), wetHours(.5, 16) }, PutOutUntil, 15, Fragile, true},
		{"gust 10 m/s", func(d *Day) { d.Gust = new(MetrePerSecond(10)) }, PutOut, 17, TieDown, false},
		{"gust 9.9 m/s", func(d *Day) { d.Gust = new(MetrePerSecond(9.9)) }, PutOut, 17, 0, false},
		{"dew", func(d *Day) { d.Dew = new(Celsius(13.1)) }, PutOut, 17, 0, true},
		{"no dew", func(d *Day) { d.Dew = new(Celsius(13)) }, PutOut, 17, 0, false},
		{"damp", func(d *Day) { d.Min, d.Dew = new(Celsius(25)), new(Celsius(23.1)) }, PutOut, 17, SlowDay, true},
		{"hot and dry", func(d *Day) { d.Max, d.Dew = new(Celsius(36)), new(Celsius(5)) }, PutOut, 17, ShadeFirst, false},
	} {
		got := adviceFor(t, r.change)
		require.Equal(t, r.action, got.Action, r.name)
		require.Equal(t, r.cautions, got.Cautions, r.name)
		require.Equal(t, r.night, got.CoverAtNight, r.name)
		if r.action == KeepCovered {
			require.True(t, got.In.IsZero(), r.name)
		} else {
			require.Equal(t, r.until, got.In.Hour(), r.name)
			require.Equal(t, 8, got.Out.Hour(), r.name)
		}
	}
}

func TestDampSpellTakesThreeDays(t *testing.T) {
	spell := func(days ...bool) string {
		var in ForecastInput
		for i, wet := range days {
			d := fairDay(onDay(100+i, time.UTC))
			if wet {
				d.Max, d.Min, d.Dew = new(Celsius(26)), new(Celsius(24)), new(Celsius(23.5))
			}
			in.Days = append(in.Days, d)
		}
		f, err := NewForecast(in)
		require.NoError(t, err)
		out := ""
		for i := range days {
			out += fmt.Sprint(map[bool]int{true: 1}[f.dampSpell(i)])
		}
		return out
	}
	require.Equal(t, "0000", spell(true, true, false, true))
	require.Equal(t, "01110", spell(false, true, true, true, false))
}

func TestPlanKnowsFreshPieces(t *testing.T) {
	d := fairDay(onDay(100, time.UTC))
	d.Max, d.Dew, d.RainByHour = new(Celsius(37)), new(Celsius(2)), wetHours(6, 16)
	f, err := NewForecast(ForecastInput{Place: Place{Lat: 12}, Days: []Day{d}})
	require.NoError(t, err)
	plan := dried(t, DryInput{Forecast: f, Piece: Solid(.08, .08)}).Plan
	require.Equal(t, ShadeFirst|Fragile, plan[0].Cautions)
	require.Equal(t, Fragile, plan[1].Cautions)
	require.Zero(t, plan[2].Cautions)
	require.Zero(t, dried(t, DryInput{Forecast: f, Waste: MaizeCob}).Plan[0].Cautions, "waste neither cracks nor crumbles")
}

// Asked in the evening, the plan begins tomorrow; asked at noon, it begins now.
func TestPlanBeginsNow(t *testing.T) {
	f := scenarios(t)["warm humid"]
	evening := dried(t, DryInput{Forecast: f, Now: f.clock(18)}).Plan
	require.Equal(t, f.Days[0].Date.AddDate(0, 0, 1), evening[0].Date)
	noon := dried(t, DryInput{Forecast: f, Now: f.clock(12)}).Plan
	require.Equal(t, f.Days[0].Date, noon[0].Date)
	require.Equal(t, 12, noon[0].Out.Hour())
}

func TestPlanProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f, err := NewForecast(forecastOf(t))
		require.NoError(t, err)
		out, err := DryOut(DryInput{Forecast: f, Now: f.clock(rapid.IntRange(0, 100).Draw(t, "now"))})
		require.NoError(t, err)
		require.LessOrEqual(t, len(out.Plan), planDays+1)
		for i, p := range out.Plan {
			require.NotZero(t, p.Action)
			require.Equal(t, i == len(out.Plan)-1 && p.Evening <= .08, p.Action == Pack)
			if p.Action == Pack && i > 0 {
				require.Equal(t, out.Plan[i-1].Date, p.Date, "packed when it is dry, not before")
			}
			if p.Action == PutOut || p.Action == PutOutUntil {
				require.True(t, p.Out.Before(p.In))
				require.LessOrEqual(t, p.In.Hour(), 17)
			}
			if !p.RainFrom.IsZero() && p.Action == PutOutUntil {
				require.True(t, p.In.Before(p.RainFrom), "in before it rains")
			}
		}
	})
}

// The drying power of the scenarios, own reference computation.
func TestDryingPower(t *testing.T) {
	for name, want := range map[string]float64{"dry season": .40, "hot dry": .50, "warm humid": .40, "cool cloudy": .27, "highland": .285} {
		days, err := Outlook(scenarios(t)[name], -1)
		require.NoError(t, err)
		require.InDelta(t, want, float64(days[0].Power), .0055, name)
	}
}

func TestOutlookCountsDryDays(t *testing.T) {
	var in ForecastInput
	for i := range 12 {
		d := fairDay(onDay(100+i, time.UTC))
		if i == 5 {
			d.Rain = new(Millimetre(3))
		}
		in.Days = append(in.Days, d)
	}
	f, err := NewForecast(in)
	require.NoError(t, err)
	days, err := Outlook(f, 3)
	require.NoError(t, err)
	var drought []float64
	for _, d := range days {
		drought = append(drought, float64(d.Fire.Drought))
	}
	require.InDeltaSlice(t, []float64{4.8, 5.4, 6, 6.4, 6.8, 7.2, 3, 3.6, 4.2, 4.8, 5.4, 6}, drought, 1e-9)
	unknown, err := Outlook(f, -1)
	require.NoError(t, err)
	require.Equal(t, Ratio(10), unknown[0].Fire.Drought)
}

func TestStandardDryingIsDryOut(t *testing.T) {
	f := scenarios(t)["cool cloudy"]
	days, err := StandardDrying(f)
	require.NoError(t, err)
	require.Len(t, days, len(StandardPieces()))
	for _, p := range StandardPieces() {
		require.Equal(t, dried(t, DryInput{Forecast: f, Piece: p}).Days, days[p])
	}
}

// Every value has a key of its own: officers' files and the JSON name them.
func TestKeys(t *testing.T) {
	for _, keys := range [][]fmt.Stringer{
		{InSun, UnderRoof, Covered},
		{SheetedAtNight, Roofed, LeftOut},
		{DryMember, LikelyMember, WetMember},
		{Fresh, Old, Expired},
		{PutOut, PutOutUntil, KeepCovered, Pack},
		{OrdinaryCare, ExtraCare, DoNotLightToday},
		{StayNear, SlowDay, TieDown, ShadeFirst, DampSpell, Fragile, LittleGain},
		{NoDate, ByThen, ProbablyByThen, NotByThen},
		{TimeItself, DrumsShort, PeopleShort, RackShort, SunShort, StarchShort},
		{AboutRight, CoveredTooSoon, CoveredTooLate, DampWaste, AirLeak},
		{Alone, CutFirst, Layered, Chokes},
		{Gels, Sets, Packs, Unproven},
		{SolidShape, HollowShape, HolesShape, BallShape, BrickShape},
		{LightNow, LightWithLoss, DryFirst, DoNotLight},
		{Passed, Doubtful, Failed},
		{Unsure, FitToSell, NotFit},
		{WithinLimit, NearLimit, BeyondLimit},
		{WindyFire, GustyFire, DryAir, DangerIndex, FireWarning, AfterHotDay},
		{
			DewFromHumidity, DewFromNine, DewFromMinimum, SunFromSunshine, SunFromCloud, SunFromCode, SunFromTemperature,
			WindAssumed, RainAssumed, DayBetween, DayFromClimate, TemperatureFromClimate,
		},
	} {
		seen := map[string]bool{"": true, "unknown": true}
		for _, k := range keys {
			require.False(t, seen[k.String()], "%T %s", k, k)
			seen[k.String()] = true
		}
	}
	require.Equal(t, "unknown", Bottleneck(99).String())
	require.Equal(t, "stay-near tie-down", (StayNear | TieDown).String())
}

// A night is as cold as the morning after it.
func TestColdNight(t *testing.T) {
	date := onDay(100, time.UTC)
	in := ForecastInput{}
	for i, low := range []Celsius{15, 10, 15} {
		d := fairDay(date.AddDate(0, 0, i))
		d.Min = &low
		in.Days = append(in.Days, d)
	}
	f, err := NewForecast(in)
	require.NoError(t, err)
	days, err := Outlook(f, -1)
	require.NoError(t, err)
	for i, cold := range []bool{true, false, false} {
		require.Equal(t, cold, days[i].Cautions&ColdNight != 0, i)
	}
}

// Rain of the evening brings nothing in, and is still rain.
func TestWetDays(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*Day)
		wet    bool
	}{
		"fair":               {func(d *Day) { d.Rain = new(Millimetre(0)) }, false},
		"afternoon":          {func(d *Day) { d.RainByHour = wetHours(4, 14) }, true},
		"evening":            {func(d *Day) { d.RainByHour = wetHours(4, 20) }, true},
		"a drop":             {func(d *Day) { d.RainByHour = wetHours(.5, 20) }, false},
		"before the morning": {func(d *Day) { d.RainByHour = wetHours(4, 3) }, false},
		"doubtful":           {func(d *Day) { d.RainByHour, d.RainChance = wetHours(4, 20), new(Share(.2)) }, false},
		"likely":             {func(d *Day) { d.RainChance = new(Share(.5)) }, true},
	} {
		require.Equal(t, c.wet, adviceFor(t, c.change).Wet, name)
	}
}
