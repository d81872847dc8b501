package calc

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestCylinderRootsMatchIncroperaTable(t *testing.T) {
	// Incropera and DeWitt, Fundamentals of Heat and Mass Transfer, table 5.1, from memory.
	for _, row := range []struct{ biot, root, weight float64 }{
		{1, 1.2558, 1.2071}, {10, 2.1795, 1.5677}, {100, 2.3809, 1.6015},
	} {
		p := newProductSolution(1, 1, row.biot, 1)
		require.InDelta(t, row.root, p.radial[0].root, 5e-5, "biot %g", row.biot)
		require.InDelta(t, row.weight, p.radial[0].weight, 1.5e-4, "biot %g", row.biot)
	}
}

func TestSlabRootMatchesIncroperaTable(t *testing.T) {
	// The same table, from memory.
	p := newProductSolution(1, 1, 1, 1)
	require.InDelta(t, .8603, p.axial[0].root, 5e-5)
	require.InDelta(t, 1.1191, p.axial[0].weight, 5e-5)
}

// Every root is the float nearest a change of sign, and the limits of a bare
// surface (zeros of J0, from Abramowitz and Stegun table 9.5, from memory) hold.
func TestSeriesRootsAreExactToTheLastBit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		biot := math.Exp(rapid.Float64Range(-3, 7).Draw(t, "ln biot"))
		n := rapid.IntRange(0, seriesTerms-1).Draw(t, "n")
		changesSign := func(f func(float64) float64, z float64) bool {
			return (f(z*(1-4e-16)) > 0) != (f(z*(1+4e-16)) > 0)
		}
		require.True(t, changesSign(func(z float64) float64 { return z*math.J1(z) - biot*math.J0(z) }, radialRoot(biot, n)))
		require.True(t, changesSign(func(x float64) float64 { return x*math.Sin(x) - biot*math.Cos(x) }, axialRoot(biot, n)))
	})
	for n, zero := range []float64{2.404825557695773, 5.520078110286311, 8.653727912911013, 11.791534439014281} {
		require.InEpsilon(t, zero, radialRoot(1e15, n), 1e-13)
	}
}

func TestSeriesStartsAtOne(t *testing.T) {
	p := newProductSolution(.286, .30, 20, 10)
	s := p.at(.005)
	require.InDelta(t, 1, s.axis, 1e-3)
	require.Less(t, s.mean, s.axis)
}

// A bed of constant conductivity: own reference computation, agreed by an
// independent two-dimensional finite-difference run.
func TestProductSolutionOfAConstantBed(t *testing.T) {
	const k, store, film, radius, depth = .2, 100 * 1100, 15.0, .286, .30
	p := newProductSolution(radius, depth, film*radius/k, film/2*depth/k)
	for _, row := range []struct{ hours, celsius float64 }{{4.5, 100}, {5.9, 60}} {
		theta := p.at(k / store * row.hours * secondsPerHour / (radius * radius)).axis
		require.InDelta(t, row.celsius, 27+theta*(500-27), 2.5, "after %g h", row.hours)
	}
}

func TestFilmOfAHotWall(t *testing.T) {
	// Turbulent free convection and radiation of a drum wall in 27 C air: own reference computation.
	b := bedHeat{air: 27}
	for _, row := range []struct{ wall, convection, radiation, flux float64 }{
		{60, 4.2, 6.1, 340},
		{100, 5.5, 7.4, 940},
		{200, 7.3, 11.7, 3300},
		{300, 8.5, 17.6, 7100},
		{400, 9.4, 25.5, 13000},
		{500, 10.2, 35.6, 21700},
	} {
		h := b.film(row.wall)
		require.InDelta(t, row.convection+row.radiation, h, .15, "%g C", row.wall)
		require.InEpsilon(t, row.flux, h*(row.wall-b.air), .015, "%g C", row.wall)
	}
}

// classRuns are the hours of the core and the core at wall temperatures from a
// two-dimensional run of a separate program: own reference computation.
var classRuns = []struct {
	waste Waste
	hours map[float64]float64    // core temperature: hours
	walls map[float64][2]float64 // wall temperature: hours, core
}{
	{
		RiceHusk,
		map[float64]float64{200: 9.0, 150: 11.4, 100: 15.0, 60: 20.4, 50: 22.9},
		map[float64][2]float64{60: {1.8, 475}, 50: {3.4, 402}, 45: {4.7, 342}, 40: {6.7, 267}},
	},
	{
		CoconutShell,
		map[float64]float64{200: 5.2, 150: 6.9, 100: 9.6, 60: 13.8, 50: 15.7},
		map[float64][2]float64{60: {2.8, 311}, 50: {4.1, 243}, 45: {5.1, 203}, 40: {6.5, 160}},
	},
	{MaizeStalk, map[float64]float64{200: 2.5, 150: 3.4, 100: 4.9, 60: 7.2, 50: 8.3}, nil},
	{
		MaizeCob,
		map[float64]float64{200: 1.4, 150: 2.0, 100: 3.0, 60: 4.6, 50: 5.3},
		map[float64][2]float64{60: {1.2, 228}, 50: {1.6, 181}, 45: {1.9, 154}, 40: {2.4, 124}},
	},
	{Prunings, map[float64]float64{200: 1.7, 150: 2.5, 100: 3.8, 60: 6.0, 50: 7.0}, nil},
}

func defaultRun(w Waste) CoolInput {
	in := CoolInput{Waste: w}
	_, err := newCooling(&in, new([]*Sourced))
	if err != nil {
		panic(err)
	}
	return in
}

func TestFiniteVolumesReproduceTheClassRuns(t *testing.T) {
	for _, run := range classRuns {
		v := runVolumes(defaultRun(run.waste), 16)
		for celsius, hours := range run.hours {
			require.InDelta(t, hours, v.coreReaches(celsius), .02*hours+.05, "%v core %g C", run.waste, celsius)
		}
		for celsius, want := range run.walls {
			hours, core := v.wallReaches(celsius)
			require.InDelta(t, want[0], hours, .02*want[0]+.05, "%v wall %g C", run.waste, celsius)
			require.InDelta(t, want[1], core, 3, "%v core at wall %g C", run.waste, celsius)
		}
	}
}

func TestSeriesReproducesTheClassRuns(t *testing.T) {
	for _, run := range classRuns {
		for celsius, hours := range run.hours {
			got, err := Cool(CoolInput{Waste: run.waste, Safe: Celsius(celsius)})
			require.NoError(t, err)
			require.InEpsilon(t, hours, float64(got.CoreSafe.Likely), .08, "%v core %g C", run.waste, celsius)
		}
		for celsius, want := range run.walls {
			got, err := Cool(CoolInput{Waste: run.waste, Touch: Celsius(celsius)})
			require.NoError(t, err)
			require.InDelta(t, want[0], float64(got.WallCool.Likely), .3, "%v wall %g C", run.waste, celsius)
			require.InEpsilon(t, want[1], float64(got.CoreWhenWallCool), .14, "%v core at wall %g C", run.waste, celsius)
			require.GreaterOrEqual(t, float64(got.CoreWhenWallCool), want[1], "the series errs to the hot side: %v", run.waste)
		}
	}
}

func TestSeriesAgreesWithFiniteVolumes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := CoolInput{
			Waste: rapid.SampledFrom([]Waste{RiceHusk, CoconutShell, MaizeStalk, MaizeCob, Prunings}).Draw(t, "waste"),
			Air:   Celsius(rapid.Float64Range(5, 40).Draw(t, "air")),
			Start: Celsius(rapid.Float64Range(400, 600).Draw(t, "start")),
			Depth: Metre(rapid.Float64Range(.2, .8).Draw(t, "depth")),
		}
		c, err := newCooling(&in, new([]*Sourced))
		require.NoError(t, err)
		v := runVolumes(in, 8)
		for _, celsius := range []float64{200, 100, 60} {
			h := c.until(func(s coolState) Celsius { return s.core }, Celsius(celsius))
			require.InEpsilon(t, v.coreReaches(celsius), float64(h), .15, "core %g C", celsius)
		}
	})
}

// volumes is the second opinion on the series: a two-dimensional finite-volume
// solution, explicit in time, with conductivity and film at the local temperature.
type volumes struct{ hours, core, wall []float64 }

func runVolumes(in CoolInput, n int) volumes {
	b := in.heat()
	dr, dz := float64(in.Radius)/float64(n), float64(in.Depth)/float64(n)
	cells, next := make([]float64, n*n), make([]float64, n*n) // row z, column r
	for i := range cells {
		cells[i] = float64(in.Start)
	}
	between := func(a, c, d float64) float64 { return b.conductivity((a+c)/2) * (c - a) / d }
	outside := func(cell, half, pass float64) (surface, flux float64) {
		surface = bisect(func(s float64) float64 {
			return pass*b.film(s)*(s-b.air) - b.conductivity((cell+s)/2)*(cell-s)/half
		}, b.air, cell)
		return surface, pass * b.film(surface) * (surface - b.air)
	}
	var v volumes
	for seconds := 0.0; cells[0] > b.air+4; {
		step := .2 * min(dr*dr, dz*dz) * b.store / b.conductivity(cells[0])
		var hottest float64
		for z := range n {
			for r := range n {
				i, inner, outer := z*n+r, float64(r)*dr, float64(r+1)*dr
				here, lidArea := cells[z*n+r], outer*outer-inner*inner
				var heat float64
				if r > 0 {
					heat += between(here, cells[i-1], dr) * 2 * inner * dz
				}
				if r < n-1 {
					heat += between(here, cells[i+1], dr) * 2 * outer * dz
				} else {
					surface, flux := outside(here, dr/2, 1)
					heat -= flux * 2 * outer * dz
					hottest = max(hottest, surface)
				}
				if z > 0 {
					heat += between(here, cells[i-n], dz) * lidArea
				}
				if z < n-1 {
					heat += between(here, cells[i+n], dz) * lidArea
				} else {
					_, flux := outside(here, dz/2, float64(coolLid.Likely))
					heat -= flux * lidArea
				}
				next[i] = here + step*heat/(b.store*lidArea*dz)
			}
		}
		cells, next = next, cells
		seconds += step
		v.hours = append(v.hours, seconds/secondsPerHour)
		v.core = append(v.core, cells[0])
		v.wall = append(v.wall, hottest)
	}
	return v
}

func (v volumes) coreReaches(celsius float64) float64 {
	for i, c := range v.core {
		if c <= celsius {
			return v.hours[i]
		}
	}
	return math.Inf(1)
}

func (v volumes) wallReaches(celsius float64) (hours, core float64) {
	for i, w := range v.wall {
		if w <= celsius {
			return v.hours[i], v.core[i]
		}
	}
	return math.Inf(1), math.NaN()
}

func TestADrumCoolsFromTheWallInwards(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := CoolInput{
			Waste: rapid.SampledFrom([]Waste{RiceHusk, CoconutShell, MaizeStalk, MaizeCob, Prunings}).Draw(t, "waste"),
			Air:   Celsius(rapid.Float64Range(-5, 40).Draw(t, "air")),
			Depth: Metre(rapid.Float64Range(.15, .85).Draw(t, "depth")),
			Start: Celsius(rapid.Float64Range(300, 700).Draw(t, "start")),
		}
		curve, err := CoolingCurve(in, 48, 200)
		require.NoError(t, err)
		for i, p := range curve {
			require.LessOrEqual(t, p.Wall, p.Core)
			require.GreaterOrEqual(t, p.Wall, in.Air)
			if i > 0 {
				require.LessOrEqual(t, p.Core, curve[i-1].Core)
				require.LessOrEqual(t, p.Wall, curve[i-1].Wall)
			}
		}
	})
}

func TestMoreHeatToLoseNeverCoolsFaster(t *testing.T) {
	hours := func(in CoolInput) Hours {
		r, err := Cool(in)
		require.NoError(t, err)
		require.True(t, r.CoreSafe.Ordered())
		require.True(t, r.Core.Ordered())
		require.True(t, r.Wall.Ordered())
		return r.CoreSafe.Likely
	}
	base := hours(CoolInput{Waste: MaizeCob})
	require.Greater(t, hours(CoolInput{Waste: MaizeCob, Air: 35}), base)
	require.Greater(t, hours(CoolInput{Waste: MaizeCob, Depth: .5}), base)
	require.Greater(t, hours(CoolInput{Waste: MaizeCob, Radius: .35}), base)
	require.Greater(t, hours(CoolInput{Waste: MaizeCob, Fine: true}), base)
	require.Less(t, hours(CoolInput{Waste: MaizeCob, Safe: 100}), base)
	require.Equal(t, hours(CoolInput{}), hours(CoolInput{Waste: RiceHusk}), "an unknown char counts as fines")
	// The start of the bed moves the hours by at most 7 %: own reference computation.
	for _, start := range []Celsius{400, 600} {
		require.InEpsilon(t, float64(base), float64(hours(CoolInput{Waste: MaizeCob, Start: start})), .07)
	}
}

// C1: a wall that is cold to the hand says nothing about the core.
func TestHandCoolWallHidesAHotCore(t *testing.T) {
	for _, w := range append(Wastes(), "") {
		r, err := Cool(CoolInput{Waste: w})
		require.NoError(t, err)
		require.Greater(t, r.CoreWhenWallCool, Celsius(120), "%q", w)
		require.Less(t, r.WallCool.High, r.BindingWait, "%q: the wall is cool before the wait is over", w)
		require.Less(t, r.CoreSafe.Likely, r.BindingWait, "%q: the wait covers the likely core", w)
	}
}

// Guides that open cobs after two hours (Practical Action, Fuel from the Fields,
// p. 7) also sprinkle water: the core is still near 150 C.
func TestCobsAtTheTwoHoursOfPublishedGuides(t *testing.T) {
	r, err := Cool(CoolInput{Waste: MaizeCob, After: 2})
	require.NoError(t, err)
	require.InDelta(t, 150, float64(r.Core.Likely), 15)
	require.Equal(t, Hours(10), r.WaitLeft)
}

func TestCoolRefusesWhatItCannotAnswer(t *testing.T) {
	for _, in := range []CoolInput{
		{After: -1}, {After: 500}, {Air: 80}, {Start: 900}, {Depth: 2}, {Radius: 1}, {Safe: 20}, {Touch: 27}, {After: Hours(math.NaN())},
	} {
		_, err := Cool(in)
		require.ErrorAs(t, err, new(OutOfRange), "%+v", in)
	}
	_, err := Cool(CoolInput{Waste: "gravel"})
	require.ErrorAs(t, err, new(Unknown))
	_, err = CoolingCurve(CoolInput{}, 24, 1)
	require.ErrorAs(t, err, new(OutOfRange))
	_, err = CoolingCurve(CoolInput{}, -1, 10)
	require.ErrorAs(t, err, new(OutOfRange))
}

func BenchmarkCool(b *testing.B) {
	for b.Loop() {
		if _, err := Cool(CoolInput{Waste: MaizeCob, After: 3}); err != nil {
			b.Fatal(err)
		}
	}
}
