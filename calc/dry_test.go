package calc

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// scenarios are the forecasts of scenarios.csv, each at the longitude where the
// sun's noon is that of the clock, under the sun of its first day.
func scenarios(t *testing.T) map[string]*Forecast {
	t.Helper()
	inputs := make(map[string]*ForecastInput)
	for _, r := range readTable(t, "scenarios.csv") {
		name, yearDay := r.text("scenario"), int(r.number("day_of_year"))
		in, ok := inputs[name]
		if !ok {
			lat := Degree(r.number("latitude"))
			in = &ForecastInput{Place: Place{
				Lat: lat, Lon: Degree(-15 * solarDayAt(lat, yearDay).equationHour), Altitude: Metre(r.number("altitude_m")),
			}}
			inputs[name] = in
		}
		rain := make([]Millimetre, 24)
		for h := 15; h < 18; h++ {
			rain[h] = Millimetre(r.number("rain_mm") / 3)
		}
		longest := MaximumSunshine(in.Place.Lat, yearDay+len(in.Days))
		in.Days = append(in.Days, Day{
			Date: onDay(yearDay+len(in.Days), time.UTC),
			Max:  new(Celsius(r.number("max_c"))), Min: new(Celsius(r.number("min_c"))), Dew: new(Celsius(r.number("dew_c"))),
			Wind: new(MetrePerSecond(r.number("wind"))), WindHeight: 2,
			Sunshine: new(longest * Hours(r.number("sunshine"))), RainByHour: rain,
		})
	}
	forecasts := make(map[string]*Forecast)
	for name, in := range inputs {
		f, err := NewForecast(*in)
		require.NoError(t, err)
		for i := range f.Days {
			f.Days[i].sun, f.Days[i].clock = f.Days[0].sun, f.Days[0].clock
		}
		forecasts[name] = f
	}
	return forecasts
}

func dried(t *testing.T, in DryInput) DryResult {
	t.Helper()
	out, err := DryOut(in)
	require.NoError(t, err)
	return out
}

// tenths prints days or per cents as the tables do.
func tenths[T ~float64](values ...T) string {
	out := ""
	for i, v := range values {
		if i > 0 {
			out += " "
		}
		out += fmt.Sprintf("%.1f", float64(v))
	}
	return out
}

func percents(values []WetBasis) string {
	out := make([]float64, len(values))
	for i, v := range values {
		out[i] = 100 * float64(v)
	}
	return tenths(out...)
}

// The eight steps, own reference computation by an independent program with a
// bisection.
func TestDryingSteps(t *testing.T) {
	b := pieceBody(Piece{}, 650)
	require.InDelta(t, 1.18791e-4, float64(Piece{}.Volume()), 5e-10)
	require.InDelta(t, .0772145, b.mass, 5e-8)
	require.InDelta(t, .0133910, b.exposed/.8, 5e-8)
	for celsius, perHour := range map[float64]float64{25: .033915, 30: .04253, 40: .06542, 45: .08033} {
		require.InDelta(t, perHour, b.rate*arrhenius(celsius)*3600, 6e-6)
	}
	for _, r := range readTable(t, "drying-steps.csv") {
		h := Hour{
			Air: Celsius(r.number("air_c")), Vapour: Kilopascal(r.number("ea_kpa")), Sun: WattPerSquareMetre(r.number("sun_w")),
			Wind: MetrePerSecond(r.number("wind")), Rain: Millimetre(r.number("rain_mm")), Clear: Share(r.number("clear")),
		}
		gamma := psychrometricConstant(AirPressure(Metre(r.number("altitude_m"))))
		moisture, surface := b.step(r.number("moisture"), &h, Shelter(r.number("shelter")), gamma, 3600)
		require.InDelta(t, r.number("moisture_after"), moisture, 5.1e-7)
		require.InDelta(t, r.number("surface_c"), surface, 5.1e-5)
	}
}

// The scenarios, own reference computation: calibrated so that a dry season
// takes three to four days of sun, which is practice.
func TestDryingScenarios(t *testing.T) {
	for name, want := range map[string]struct{ days, lowHigh, ten, leftOut, evenings, mixes string }{
		"dry season":  {"3.6", "3.0 4.0", "3.0", "2.3", "20.5 14.2 9.5 7.9", "3.1 3.9"},
		"hot dry":     {"2.4", "2.0 2.8", "2.0", "1.8", "17.9 10.0 7.8", "2.0 2.8"},
		"warm humid":  {"4.8", "3.9 6.1", "3.9", "3.4", "22.6 16.6 12.4 9.4 7.9", "4.4 5.2"},
		"cool cloudy": {"7.0", "5.6 9.4", "5.8", "4.9", "25.2 19.7 16.2 13.4 11.1 9.3 8.0", "6.7 7.7"},
		"highland":    {"5.4", "4.7 6.7", "4.6", "4.0", "23.4 18.0 14.2 11.0 8.5 7.9", "5.0 5.9"},
		"rainy spell": {"6.0", "4.4 7.0", "5.3", "7.9", "26.7 20.6 15.7 12.9 10.7 8.0", "5.8 6.4"},
	} {
		f := scenarios(t)[name]
		got := dried(t, DryInput{Forecast: f})
		require.Equal(t, want.days, tenths(got.Days.Likely), name)
		require.Equal(t, want.lowHigh, tenths(got.Days.Low, got.Days.High), name)
		require.Equal(t, want.evenings, percents(got.Members[LikelyMember].Evenings), name)
		require.Equal(t, want.ten, tenths(dried(t, DryInput{Forecast: f, Target: .10}).Days.Likely), name)
		require.Equal(t, want.leftOut, tenths(dried(t, DryInput{Forecast: f, Tending: LeftOut}).Days.Likely), name)
		drier, wetter := dried(t, DryInput{Forecast: f, Moisture: Exactly[WetBasis](.30)}), dried(t, DryInput{Forecast: f, Moisture: Exactly[WetBasis](.40)})
		require.Equal(t, want.mixes, tenths(drier.Days.Likely, wetter.Days.Likely), name)
	}
}

// Sizes and crop wastes in the scenarios, own reference computation.
func TestDryingSizesAndWastes(t *testing.T) {
	forecasts := scenarios(t)
	likely := func(in DryInput, names ...string) string {
		var days []Days
		for _, name := range names {
			in.Forecast = forecasts[name]
			days = append(days, dried(t, in).Days.Likely)
		}
		return tenths(days...)
	}
	for size, want := range map[[2]Metre]string{
		{.04, .04}: "2.0 3.0 4.3", {.05, .05}: "3.0 4.3 6.3", {.055, .05}: "3.6 4.8 7.0", {.06, .06}: "4.2 5.9 8.8", {.08, .08}: "7.0 9.8 14.7",
	} {
		require.Equal(t, want, likely(DryInput{Piece: Solid(size[0], size[1])}, "dry season", "warm humid", "cool cloudy"))
	}
	all := []string{"dry season", "hot dry", "warm humid", "cool cloudy", "highland", "rainy spell"}
	for _, r := range []struct {
		waste  Waste
		split  bool
		target WetBasis
		want   string
	}{
		{MaizeCob, false, .15, "3.7 2.2 6.3 8.6 6.0 6.7"},
		{MaizeHusk, false, .15, "0.3 0.0 0.9 1.0 0.9 1.0"},
		{MaizeStalk, false, .15, "6.0 4.1 10.0 13.8 10.6 9.4"},
		{MaizeStalk, true, .15, "2.0 1.6 3.6 4.8 3.7 4.6"},
		{GroundnutShell, false, .12, "0.6 0.1 1.6 1.7 1.0 2.7"},
		{CoconutShell, false, .12, "3.2 2.0 6.4 9.0 5.7 6.7"},
	} {
		require.Equal(t, r.want, likely(DryInput{Waste: r.waste, Split: r.split, Target: r.target}, all...), r.waste)
	}
	for what, r := range map[string]struct {
		in   DryInput
		want string
	}{
		"under an airy roof":   {DryInput{Tending: Roofed}, "3.0 5.0 4.8"},
		"out from 10 to 16":    {DryInput{From: 10, Until: 16}, "4.2 6.2 6.7"},
		"out from 7 to 18":     {DryInput{From: 7, Until: 18}, "3.1 4.4 5.0"},
		"to 7 %":               {DryInput{Target: .07}, "4.0 5.6 6.0"},
		"to 10 %":              {DryInput{Target: .10}, "3.0 3.9 4.6"},
		"lighter":              {DryInput{Density: 550}, "3.3 4.7 5.0"},
		"heavier":              {DryInput{Density: 900}, "4.0 5.2 5.9"},
		"diffusivity less 30%": {DryInput{Pace: .7}, "4.7 6.3 7.0"},
		"diffusivity more 30%": {DryInput{Pace: 1.3}, "3.0 4.0 4.4"},
		"50 mm wide":           {DryInput{Piece: Solid(.050, .050)}, "3.0 4.3 4.9"},
		"60 mm wide":           {DryInput{Piece: Solid(.060, .050)}, "4.0 5.2 6.0"},
		"40 mm high":           {DryInput{Piece: Solid(.055, .040)}, "3.0 4.0 4.7"},
		"60 mm high":           {DryInput{Piece: Solid(.055, .060)}, "4.0 5.3 6.0"},
	} {
		require.Equal(t, r.want, likely(r.in, "dry season", "warm humid", "highland"), what)
	}
}

// Turned heaps: practice says twice as long at 10 cm and four times at 30.
func TestHeapsDrySlower(t *testing.T) {
	for depth, want := range map[Metre]float64{0: 1, .03: 1, .10: 2, .20: 3, .30: 4} {
		require.InDelta(t, want, slowing(depth), 1e-9)
	}
}

// Left out in 40 mm of rain, own reference computation.
func TestDryingLeftOutInRain(t *testing.T) {
	got := dried(t, DryInput{Forecast: scenarios(t)["rainy spell"], Tending: LeftOut})
	require.Equal(t, "33.6 32.6 18.8 30.0 34.9 17.6 10.5 7.9", percents(got.Members[LikelyMember].Evenings))
}

// An airy roof in nearly saturated air never brings char below 8 %: what it
// tends to is more than that. Own reference computation.
func TestDryingStallsInDampAir(t *testing.T) {
	f := scenarios(t)["saturated air"]
	got := dried(t, DryInput{Forecast: f, Tending: Roofed})
	member := got.Members[LikelyMember]
	require.False(t, member.Reached)
	require.True(t, got.Beyond)
	require.Equal(t, Days(40), got.Days.Likely)
	require.Equal(t, "8.4", percents(member.Evenings[len(member.Evenings)-1:]))
	require.Equal(t, "7.6", tenths(dried(t, DryInput{Forecast: f}).Days.Likely), "in the sun it dries")
}

// Whatever the weather, air in which char holds more than the target never
// dries it, and air in which it holds less does.
func TestDampAirDecidesUnderARoof(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := forecastOf(t)
		in.Days = in.Days[:1]
		f, err := NewForecast(in)
		require.NoError(t, err)
		r, _, err := DryInput{Forecast: f, Tending: Roofed}.rack(new([]*Sourced))
		require.NoError(t, err)
		least, most := math.Inf(1), 0.0
		hours := f.Hours(LikelyMember, 0)
		for clock := range hours {
			e := r.exchange(r.target, &hours[clock], UnderRoof, r.gamma)
			held := e.at(e.surface()).equilibrium
			least, most = min(least, held), max(most, held)
		}
		reached := r.run(LikelyMember, .54).Reached
		require.False(t, reached && least >= r.target, "dried below what the driest hour leaves in it")
		require.False(t, !reached && most < .8*r.target, "wet although the dampest hour would dry it")
	})
}

// finiteVolume dries the cylinder of equal root with an implicit radial
// diffusion of n shells, the surface at its equilibrium or at the flux that the
// air can carry: a second opinion on the lumped law, own reference computation.
func finiteVolume(f *Forecast, target float64) Days {
	const n, parts = 12, 4
	b := pieceBody(Piece{}, 650)
	root, _ := Piece{}.diffusion()
	radius := math.Sqrt(cylinderRoot / root)
	dx := radius / n
	gamma := psychrometricConstant(AirPressure(f.Place.Altitude))
	r := rack{body: b, from: 8, until: 17}
	var x, volume [n]float64
	total := 0.0
	for i := range x {
		x[i] = .35 / .65
		volume[i] = math.Pi * dx * dx * float64(2*i+1)
		total += volume[i]
	}
	mean := func() (sum float64) {
		for i := range x {
			sum += x[i] * volume[i] / total
		}
		return sum
	}
	for day := range 40 {
		hours := f.Hours(LikelyMember, day)
		for clock := range hours {
			h := &hours[clock]
			shelter := r.shelter(clock, h.Rain)
			e := b.exchange(mean(), h, shelter, gamma)
			surface := e.surface()
			d := e.at(surface)
			cap := max(0, d.surface) * b.exposed / b.mass * total
			diffusivity := float64(dryingDiffusivity.Likely) * arrhenius(surface)
			helped := func(x float64) float64 { return diffusivity * (1 + b.help*max(0, min(1, (x-.25)/.20))) }
			for range parts {
				const dt = 3600. / parts
				var lower, diagonal, upper, right [n]float64
				outer := 2 * math.Pi * radius * helped(x[n-1]) / (dx / 2)
				for i := range x {
					diagonal[i], right[i] = volume[i]/dt, volume[i]/dt*x[i]
					if i > 0 {
						g := 2 * math.Pi * float64(i) * helped((x[i]+x[i-1])/2)
						lower[i], diagonal[i] = -g, diagonal[i]+g
					}
					if i < n-1 {
						g := 2 * math.Pi * float64(i+1) * helped((x[i]+x[i+1])/2)
						upper[i], diagonal[i] = -g, diagonal[i]+g
					}
				}
				if outer*(x[n-1]-d.equilibrium) > cap {
					right[n-1] -= cap
				} else {
					diagonal[n-1] += outer
					right[n-1] += outer * d.equilibrium
				}
				for i := 1; i < n; i++ {
					w := lower[i] / diagonal[i-1]
					diagonal[i] -= w * upper[i-1]
					right[i] -= w * right[i-1]
				}
				x[n-1] = right[n-1] / diagonal[n-1]
				for i := n - 2; i >= 0; i-- {
					x[i] = (right[i] - upper[i]*x[i+1]) / diagonal[i]
				}
			}
			if mean() <= target {
				return r.elapsed(24*day + clock + 1)
			}
		}
	}
	return longestDrying
}

func TestDryingAgainstDiffusion(t *testing.T) {
	for name, want := range map[string]string{
		"dry season": "3.2", "hot dry": "2.3", "warm humid": "4.4", "cool cloudy": "6.4", "highland": "4.9", "rainy spell": "5.3",
	} {
		f := scenarios(t)[name]
		second := finiteVolume(f, .08/.92)
		require.Equal(t, want, tenths(second), name)
		require.InDelta(t, float64(second), float64(dried(t, DryInput{Forecast: f}).Days.Likely), .8, name)
	}
}

// crankCylinder is the mean moisture left in a finite cylinder, both ends open
// (Crank, The Mathematics of Diffusion), by its whole series.
func crankCylinder(d, radius, height, seconds float64) float64 {
	var round, flat float64
	for _, root := range []float64{2.404825557695773, 5.520078110286311, 8.653727912911013, 11.79153443901428, 14.93091770848779} {
		round += 4 / (root * root) * math.Exp(-root*root*d*seconds/(radius*radius))
	}
	for m := 0.0; m < 40; m++ {
		odd := (2*m + 1) * math.Pi
		flat += 8 / (odd * odd) * math.Exp(-odd*odd*d*seconds/(height*height))
	}
	return round * flat
}

// Crank's series: the roots are zeros of the Bessel function, the values own
// reference computation, and the hours of a piece follow its first term once
// little is left.
func TestCrankCylinder(t *testing.T) {
	for _, root := range []float64{2.404825557695773, 5.520078110286311, 8.653727912911013, 11.79153443901428, 14.93091770848779} {
		require.InDelta(t, 0, math.J0(root), 1e-14)
	}
	const radius, height = .0275, .05
	for _, r := range []struct{ d, hours, left float64 }{
		{6.2e-10, 12, .4692}, {6.2e-10, 24, .3178}, {6.2e-10, 72, .0871}, {1e-9, 24, .2097}, {1e-9, 48, .0757},
	} {
		require.InDelta(t, r.left, crankCylinder(r.d, radius, height, r.hours*3600), 5.1e-5)
	}
	for _, left := range []float64{.2, .1, .05} {
		from := DryBasis(.5)
		hours, err := DryingHours(Piece{}, from.Wet(), (.05 + DryBasis(left)*(from-.05)).Wet(), .05, 1e-9)
		require.NoError(t, err)
		require.InEpsilon(t, left, crankCylinder(1e-9, radius, height, float64(hours)*3600), .03)
	}
}

// bisected is the surface temperature by fifty halvings.
func bisected(e *exchange) float64 {
	lo, hi := e.air-40, e.air+50
	for range 50 {
		if t := (lo + hi) / 2; e.balance(t) > 0 {
			lo = t
		} else {
			hi = t
		}
	}
	return (lo + hi) / 2
}

func anyHour(t *rapid.T) Hour {
	air := Celsius(rapid.Float64Range(-5, 50).Draw(t, "air"))
	sun := rapid.Float64Range(0, 1).Draw(t, "sun")
	return Hour{
		Air: air, Vapour: SaturationPressure(air) * Kilopascal(rapid.Float64Range(.05, 1).Draw(t, "humidity")),
		Sun: WattPerSquareMetre(1100 * sun * sun), Wind: MetrePerSecond(rapid.Float64Range(0, 12).Draw(t, "wind")),
		Rain:  Millimetre(max(0, rapid.Float64Range(-20, 20).Draw(t, "rain"))),
		Clear: Share(rapid.Float64Range(.2, 1.1).Draw(t, "clear")),
	}
}

func anyBody(t *rapid.T) body {
	if waste := rapid.SampledFrom(append(Wastes(), "")).Draw(t, "waste"); waste != "" {
		f, err := feedOf(waste)
		require.NoError(t, err)
		b, _ := wasteBody(f, rapid.Bool().Draw(t, "split"))
		return b
	}
	return pieceBody(rapid.SampledFrom(StandardPieces()).Draw(t, "piece"), 650)
}

func TestSurfaceAgainstBisection(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b, h := anyBody(t), anyHour(t)
		x := rapid.Float64Range(.01, .7).Draw(t, "moisture")
		e := b.exchange(x, &h, Shelter(rapid.IntRange(1, 3).Draw(t, "shelter")), .0665)
		surface := e.surface()
		require.InDelta(t, 0, e.balance(surface), balanced)
		require.InDelta(t, bisected(&e), surface, 1e-7)
	})
}

func TestStepProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b, h := anyBody(t), anyHour(t)
		x := rapid.Float64Range(.01, b.most).Draw(t, "moisture")
		shelter := Shelter(rapid.IntRange(1, 3).Draw(t, "shelter"))
		seconds := rapid.Float64Range(60, 86400).Draw(t, "seconds")
		next, _ := b.step(x, &h, shelter, .0665, seconds)
		require.Positive(t, next)
		require.LessOrEqual(t, next, b.most)
		soggy, _ := b.step(b.most+.5, &h, shelter, .0665, seconds)
		require.LessOrEqual(t, soggy, b.most+.5, "rain never adds to what is wetter than rain can make it")

		rain := h
		rain.Rain = 20
		same, _ := b.step(x, &rain, Covered, .0665, seconds)
		dry, _ := b.step(x, &h, Covered, .0665, seconds)
		require.Equal(t, dry, same, "rain does not reach what is covered")
		wet, _ := b.step(x, &rain, InSun, .0665, seconds)
		require.GreaterOrEqual(t, wet, min(x, b.most), "rain never dries")

		e := b.exchange(x, &h, Covered, .0665)
		if dry > x {
			require.Less(t, x, e.at(e.surface()).equilibrium, "a sheet lets water in only below equilibrium")
		}
	})
}

// forecastOf is a fortnight of one random kind of weather.
func forecastOf(t *rapid.T) ForecastInput {
	in := ForecastInput{Place: Place{
		Lat: Degree(rapid.Float64Range(-30, 30).Draw(t, "lat")), Altitude: Metre(rapid.Float64Range(0, 2500).Draw(t, "altitude")),
	}}
	yearDay := rapid.IntRange(1, 365).Draw(t, "day")
	for i := range rapid.IntRange(1, 10).Draw(t, "days") {
		low := rapid.Float64Range(5, 26).Draw(t, "min")
		high := low + rapid.Float64Range(1, 16).Draw(t, "range")
		in.Days = append(in.Days, Day{
			Date: onDay(yearDay+i, time.UTC), Max: new(Celsius(high)), Min: new(Celsius(low)),
			Dew:        new(Celsius(low - rapid.Float64Range(0, 15).Draw(t, "dew"))),
			Wind:       new(MetrePerSecond(rapid.Float64Range(0, 6).Draw(t, "wind"))),
			Cloud:      new(Share(rapid.Float64Range(0, 1).Draw(t, "cloud"))),
			Rain:       new(Millimetre(max(0, rapid.Float64Range(-20, 20).Draw(t, "rain")))),
			RainChance: new(Share(rapid.Float64Range(0, 1).Draw(t, "chance"))),
		})
	}
	return in
}

func TestDryingOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := forecastOf(t)
		f, err := NewForecast(in)
		require.NoError(t, err)
		days := func(in DryInput) Days {
			if in.Forecast == nil {
				in.Forecast = f
			}
			out, err := DryOut(in)
			require.NoError(t, err)
			require.True(t, out.Days.Ordered())
			return out.Days.Likely
		}
		plain := days(DryInput{})
		require.LessOrEqual(t, days(DryInput{Piece: Solid(.045, .045)}), plain, "thinner is never slower")
		require.LessOrEqual(t, days(DryInput{Piece: Hollow(.055, .015, .05)}), plain, "a hole never slows")
		require.GreaterOrEqual(t, days(DryInput{Target: .07}), plain, "drier takes longer")
		require.GreaterOrEqual(t, days(DryInput{Moisture: Exactly[WetBasis](.4)}), plain, "wetter takes longer")
		require.LessOrEqual(t, days(DryInput{Pace: 1.4}), plain, "a faster rack is never slower")
		require.GreaterOrEqual(t, days(DryInput{Waste: MaizeCob, Layer: .2}), days(DryInput{Waste: MaizeCob}), "a heap is never faster")
		require.GreaterOrEqual(t, days(DryInput{Rained: 5}), plain, "rain on the rack never helps")

		damper := in
		damper.Days = append([]Day(nil), in.Days...)
		for i := range damper.Days {
			damper.Days[i].Dew = new(*in.Days[i].Dew + 2)
		}
		if g, err := NewForecast(damper); err == nil {
			require.GreaterOrEqual(t, days(DryInput{Forecast: g}), plain, "damper air is never faster")
		}
	})
}

// A batch looked at again half-way must come out where it was headed.
func TestDryingFromNow(t *testing.T) {
	f := scenarios(t)["warm humid"]
	whole := dried(t, DryInput{Forecast: f})
	morning := f.clock(48)
	later := dried(t, DryInput{Forecast: f, Now: morning})
	for m := range later.Members {
		require.Equal(t, whole.Members[m].Ready, later.Members[m].Ready)
		require.InDelta(t, float64(whole.Members[m].Days)-2, float64(later.Members[m].Days), 1e-9)
		require.Equal(t, whole.Members[m].Evenings[1], later.Members[m].Moisture)
	}
	for i, p := range later.Plan {
		require.Equal(t, whole.Plan[i+2].DayAdvice, p.DayAdvice)
		require.InDelta(t, float64(whole.Plan[i+2].Evening), float64(p.Evening), 1e-12)
	}

	again := dried(t, DryInput{Forecast: f, Start: morning, Moisture: Exactly(later.Members[LikelyMember].Moisture)})
	require.InDelta(t, float64(later.Days.Likely), float64(again.Days.Likely), 1e-9)

	past := dried(t, DryInput{Forecast: f, Now: f.clock(24 * 8)})
	require.Zero(t, past.Days.Likely)
	require.Equal(t, Pack, past.Plan[0].Action)
}

// The curve passes through the evenings.
func TestDryingCurve(t *testing.T) {
	in := DryInput{Forecast: scenarios(t)["rainy spell"]}
	curves, err := DryingCurve(in)
	require.NoError(t, err)
	for m, member := range dried(t, in).Members {
		for day, evening := range member.Evenings {
			require.Equal(t, evening, curves[m][min(24*day+23, len(curves[m])-1)])
		}
	}
}

// Put out before the forecast begins, the days before it are like its first.
func TestDryingBeforeTheForecast(t *testing.T) {
	f := scenarios(t)["dry season"]
	early := dried(t, DryInput{Forecast: f, Start: f.clock(-48), Now: f.clock(0)})
	require.InDelta(t, 1.6, float64(early.Days.Likely), .05)
	require.Len(t, early.Members[LikelyMember].Evenings, 4)
}

func TestDryingRefusesNonsense(t *testing.T) {
	f := scenarios(t)["dry season"]
	for what, in := range map[string]DryInput{
		"no forecast":    {},
		"wet as water":   {Forecast: f, Moisture: Exactly[WetBasis](.9)},
		"crossed range":  {Forecast: f, Moisture: Range[WetBasis]{.4, .35, .3}},
		"target":         {Forecast: f, Target: .6},
		"stone":          {Forecast: f, Density: 2700},
		"pace":           {Forecast: f, Pace: 9},
		"deep heap":      {Forecast: f, Waste: MaizeCob, Layer: .5},
		"backward hours": {Forecast: f, From: 17, Until: 8},
		"long ago":       {Forecast: f, Start: f.clock(-24 * 60)},
		"giant":          {Forecast: f, Piece: Solid(1, 1)},
	} {
		_, err := DryOut(in)
		var refused OutOfRange
		require.ErrorAs(t, err, &refused, what)
	}
	_, err := DryOut(DryInput{Forecast: f, Waste: "moon-dust"})
	require.ErrorAs(t, err, new(Unknown))
}

func TestDryingWidensWithTheMoisture(t *testing.T) {
	f := scenarios(t)["warm humid"]
	sure := dried(t, DryInput{Forecast: f}).Days
	unsure := dried(t, DryInput{Forecast: f, Moisture: Range[WetBasis]{.30, .35, .40}}).Days
	require.Equal(t, sure.Likely, unsure.Likely)
	require.Less(t, unsure.Low, sure.Low)
	require.Greater(t, unsure.High, sure.High)
	dry := dried(t, DryInput{Forecast: f, Moisture: Range[WetBasis]{.05, .10, .15}}).Days
	require.Zero(t, dry.Low)
	require.True(t, dry.Ordered())
}

// C4: a rack is neither put out nor brought in by night, wherever the clock
// stands.
func TestNobodyIsSentOutInTheDark(t *testing.T) {
	for _, r := range []struct {
		name        string
		lat, lon    Degree
		zone        int
		month       time.Month
		from, until int
	}{
		{"clock of the sun", 0, 0, 0, time.March, 8, 17},
		{"far east of its meridian, midwinter", -8, -35, -3, time.June, 8, 16},
		{"far west of its meridian, midwinter", 40, 76, 8, time.December, 11, 17},
	} {
		zone := time.FixedZone("", r.zone*3600)
		day := time.Date(2031, r.month, 21, 0, 0, 0, 0, zone)
		f, err := NewForecast(ForecastInput{Place: Place{Lat: r.lat, Lon: r.lon, Zone: zone}, Days: []Day{fairDay(day)}})
		require.NoError(t, err)
		from, until := f.openHours(time.Time{})
		require.Equal(t, []int{r.from, r.until}, []int{from, until}, r.name)
		for _, p := range dried(t, DryInput{Forecast: f}).Plan {
			if p.Action != PutOut && p.Action != PutOutUntil {
				continue
			}
			sun, err := SunTimes(r.lat, r.lon, p.Date.Add(12*time.Hour))
			require.NoError(t, err)
			require.True(t, sun.Rise.Before(p.Out) && p.In.Before(sun.Set), r.name)
		}
	}
}

func TestWholeDays(t *testing.T) {
	from, to := DryResult{Days: Range[Days]{3, 3.6, 4.01}}.WholeDays()
	require.Equal(t, []int{3, 5}, []int{from, to})
}

func tenDays(tb testing.TB) *Forecast {
	in := ForecastInput{Place: Place{Lat: 15, Altitude: 600}}
	for i := range 10 {
		in.Days = append(in.Days, Day{Date: onDay(200+i, time.UTC), Max: new(Celsius(22)), Min: new(Celsius(15)), Dew: new(Celsius(14)), Cloud: new(Share(.9))})
	}
	f, err := NewForecast(in)
	require.NoError(tb, err)
	return f
}

// Ten days of hours in three members, without and with the plan of each day.
func BenchmarkDrying(b *testing.B) {
	f := tenDays(b)
	r, moisture, err := DryInput{Forecast: f, Piece: Solid(.08, .08)}.rack(new([]*Sourced))
	require.NoError(b, err)
	b.Run("simulation", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			for m := range Member(members) {
				x := float64(moisture.Likely.Dry())
				for day := range f.Days {
					hours := f.Hours(m, day)
					for clock := range hours {
						x, _ = r.step(x, &hours[clock], r.shelter(clock, 0), r.gamma, 3600)
					}
				}
			}
		}
	})
	b.Run("answer", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			_, err := DryOut(DryInput{Forecast: f, Piece: Solid(.06, .06)})
			require.NoError(b, err)
		}
	})
	b.Run("standard pieces", func(b *testing.B) {
		for b.Loop() {
			_, err := StandardDrying(f)
			require.NoError(b, err)
		}
	})
}
