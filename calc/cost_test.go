package calc

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func price(t require.TestingT, in PriceInput) PriceResult {
	r, err := Price(in)
	require.NoError(t, err)
	return r
}

// Break-even examples of two textbooks on managerial accounting, read in public
// excerpts: University of Virginia Darden School, Company A (fixed 1,000,000,
// price 1,000, variable 600: 2,500 units), and Horngren's Do-All Software
// (fixed 2,000, price 200, variable 120: 25 units).
func TestBreakEvenOfTextbooks(t *testing.T) {
	for name, c := range map[string]struct {
		fixed, price, variable Money
		units                  Kg
	}{
		"Darden, Company A":         {1_000_000, 1000, 600, 2500},
		"Horngren, Do-All Software": {2000, 200, 120, 25},
	} {
		t.Run(name, func(t *testing.T) {
			got := price(t, PriceInput{Sold: Exactly[Kg](10), Pack: c.variable, Price: c.price, Fixed: c.fixed})
			require.Equal(t, c.variable, got.PerKg.Likely)
			require.Equal(t, c.units, *got.BreakEven.Likely)
		})
	}
}

// Energy parity with lump charcoal: 21/28 = 0.75 at equal stove efficiency.
func TestEnergyParity(t *testing.T) {
	got := price(t, PriceInput{Sold: Exactly[Kg](10), Charcoal: 4000})
	require.InDelta(t, 0.75, float64(got.Parity.Likely), 1e-12)
	require.Equal(t, Money(3000), got.Ceiling.Likely)
	require.Less(t, got.Parity.Low, Ratio(0.75))
	require.Greater(t, got.Parity.High, Ratio(0.75))

	better := price(t, PriceInput{Sold: Exactly[Kg](10), Charcoal: 4000, Heating: Range[MJPerKg]{24, 25, 26}})
	require.Greater(t, better.Ceiling.Likely, got.Ceiling.Likely)
}

// Own reference computation by hand: 10 kg sold; 0.6 h at 100; 1 kg of starch
// at 50 and 5 l of water at 2 for the batch; packing 3 a kg; waste 40,
// transport 20, other 10 for the batch.
func TestCostSheetByHand(t *testing.T) {
	in := PriceInput{
		Sold: Exactly[Kg](10), Work: Exactly[Hours](0.6), Wage: 100, Starch: Exactly[Kg](1), PerStarch: 50,
		Water: Exactly[Litre](5), PerLitre: 2, Pack: 3, Waste: 40, Transport: 20, Other: 10, Price: 100,
	}
	got := price(t, in)
	require.Equal(t, MoneyRange{76, 76, 76}, got.PerKg) // 60 + 5 + 1 + 3 + 7
	require.Equal(t, MoneyRange{760, 760, 760}, got.Batch)
	require.Equal(t, MoneyRange{16, 16, 16}, got.Cash)
	require.Equal(t, MoneyRange{24, 24, 24}, got.Margin)
	require.Equal(t, MoneyRange{140, 140, 140}, got.HourEarns)
	require.Equal(t, Sensitivity{"wage", 64, 88}, got.Matters[0])

	in.Wage = 0
	unpaid := price(t, in)
	require.Equal(t, unpaid.Cash, unpaid.PerKg, "no wage: labour is not counted")
	require.Equal(t, got.HourEarns, unpaid.HourEarns, "what an hour earns does not depend on the wage")
}

func TestPriceThatNeverPays(t *testing.T) {
	got := price(t, PriceInput{Sold: Range[Kg]{5, 7, 9}, Wage: 100, Price: 65, Fixed: 1000, Tool: 500, PerDay: 5})
	require.Positive(t, got.Margin.Likely)
	require.Negative(t, got.Margin.Low)
	require.NotNil(t, got.BreakEven.Likely)
	require.Nil(t, got.BreakEven.High, "at the dear end it never pays")
	require.Less(t, *got.BreakEven.Low, *got.BreakEven.Likely)

	unsold := price(t, PriceInput{Sold: Range[Kg]{5, 7, 9}, Price: 65, Tool: 500})
	require.Nil(t, unsold.ToolDays.Likely, "nothing sold on a day pays no tool")

	dear := price(t, PriceInput{Sold: Range[Kg]{5, 7, 9}, Wage: 100, Price: 20, Fixed: 1000, Tool: 500, PerDay: 5})
	require.Nil(t, dear.ToolDays.Likely)
	require.Negative(t, dear.Margin.Likely)
}

func TestPriceRefuses(t *testing.T) {
	for name, in := range map[string]PriceInput{
		"nothing sold":   {},
		"a disordered":   {Sold: Range[Kg]{9, 7, 5}},
		"a negative one": {Sold: Exactly[Kg](5), Wage: -1},
		"lent starch":    {Sold: Exactly[Kg](5), Starch: Exactly[Kg](-5), PerStarch: 10},
		"no work":        {Sold: Exactly[Kg](5), Work: Range[Hours]{High: 1}, Price: 10},
		"cold fuel":      {Sold: Exactly[Kg](5), Heating: Range[MJPerKg]{-1, 15, 20}, Charcoal: 10},
		"a bad day":      {Sold: Exactly[Kg](5), PerDay: -1},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := Price(in)
			require.ErrorAs(t, err, &OutOfRange{})
		})
	}
}

// Own reference computation: the ranges of the sheet against 200,000 draws of
// its uncertain inputs.
func TestPriceAgainstDraws(t *testing.T) {
	in := PriceInput{Sold: Range[Kg]{5, 7, 9.5}, Wage: 5000, PerStarch: 9000, PerLitre: 50, Waste: 8000, Transport: 6000, Price: 9000}
	got := price(t, in)
	random := rand.New(rand.NewPCG(3, 5))
	sold, work, starch, water := sidesOf(in.Sold), sidesOf(workPerKg.Range), sidesOf(starchPerKg.Range), sidesOf(waterPerKg.Range)
	const n = 200_000
	cost, batch, hour := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range n {
		c := costs{
			sold: sold.at(random.NormFloat64()), work: work.at(random.NormFloat64()),
			starch: starch.at(random.NormFloat64()), water: water.at(random.NormFloat64()),
			wage: 5000, perStarch: 9000, perLitre: 50, waste: 8000, transport: 6000,
		}
		cost[i], batch[i], hour[i] = c.perKg(), c.batch(), (9000-c.cash())/c.work
	}
	for name, c := range map[string]struct {
		drawn []float64
		got   MoneyRange
		off   float64
	}{
		"kg":    {cost, got.PerKg, 0.06},
		"batch": {batch, got.Batch, 0.06},
		"hour":  {hour, got.HourEarns, 0.09}, // a quotient, which bends most
	} {
		slices.Sort(c.drawn)
		require.InEpsilon(t, c.drawn[n/10], float64(c.got.Low), c.off, name)
		require.InEpsilon(t, c.drawn[n/2], float64(c.got.Likely), c.off, name)
		require.InEpsilon(t, c.drawn[9*n/10], float64(c.got.High), c.off, name)
	}
}

func TestPriceProperties(t *testing.T) {
	money := func(t *rapid.T, name string) Money { return Money(rapid.IntRange(0, 100_000).Draw(t, name)) }
	rapid.Check(t, func(t *rapid.T) {
		likely := Kg(rapid.Float64Range(1, 200).Draw(t, "sold"))
		in := PriceInput{
			Sold: Range[Kg]{likely * 0.7, likely, likely * 1.4}, Wage: money(t, "wage"), PerStarch: money(t, "starch"), PerLitre: money(t, "litre"),
			Pack: money(t, "pack"), Waste: money(t, "waste"), Transport: money(t, "transport"), Other: money(t, "other"),
			Price: money(t, "price"), Charcoal: money(t, "charcoal"), Fixed: money(t, "fixed"), Tool: money(t, "tool"), PerDay: 5,
		}
		got := price(t, in)
		for _, r := range []MoneyRange{got.Batch, got.PerKg, got.Cash, got.Margin, got.HourEarns, got.Ceiling} {
			require.True(t, r.Low <= r.Likely && r.Likely <= r.High, "%+v", r)
		}
		require.GreaterOrEqual(t, got.PerKg.Likely, got.Cash.Likely)
		require.GreaterOrEqual(t, swing(got.Matters[0])+1, swing(got.Matters[1]), "to the rounding")

		dearer := in
		dearer.Wage += 1000
		dearer.PerStarch += 1000
		more := price(t, dearer)
		require.Greater(t, more.PerKg.Likely, got.PerKg.Likely)
		require.Equal(t, got.Ceiling, more.Ceiling, "what a cook can pay does not depend on cost")
		if more.BreakEven.Likely != nil {
			require.Greater(t, *more.BreakEven.Likely, *got.BreakEven.Likely)
		}
	})
}

func swing(s Sensitivity) Money { return max(s.High-s.Low, s.Low-s.High) }

func TestMoneyText(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := Money(rapid.Int64Range(-1e15, 1e15).Draw(t, "money"))
		digits := rapid.IntRange(0, 4).Draw(t, "digits")
		var back float64
		_, err := fmt.Sscan(m.Text(digits), &back)
		require.NoError(t, err)
		require.InDelta(t, float64(m)/math.Pow10(digits), back, .4/math.Pow10(digits)+math.Abs(back)*1e-15)
		require.Regexp(t, `^-?[0-9]+(\.[0-9]+)?$`, m.Text(digits))
	})
}

// Wood spared by a kg: the extremes of all factors together give 0.85 and 7.4
// kg, the likely ones 3.0; P10 and P90 lie inside. Own reference computation.
func TestSpared(t *testing.T) {
	got, err := Spared(SparedInput{Briquettes: Exactly[Kg](1), ReplacesCharcoal: true})
	require.NoError(t, err)
	require.InDelta(t, 21.0/28*0.8*5, float64(got.Wood.Likely), 1e-9)
	require.Greater(t, got.Wood.Low, Kg(16/29.5*0.9*0.5*3.5))
	require.Less(t, got.Wood.High, Kg(25.0/27*8))

	none, err := Spared(SparedInput{Briquettes: Exactly[Kg](1)})
	require.NoError(t, err)
	require.Zero(t, none.Wood, "in place of gathered twigs: nothing is said")
	_, err = Spared(SparedInput{Briquettes: Exactly[Kg](-1)})
	require.Error(t, err)
}
