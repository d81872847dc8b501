package calc

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"
)

// The figures of the cost sheet.
var (
	kilnTrade = Source{Title: "Practice of small briquette makers: hours by step", At: "collect and char .10 to .25, crush .05 to .2, " +
		"paste and mix .05, press .1 to .3, dry and turn .05 to .1, pack .03 hours per kg sold", Standing: Practice}
	energyBasis = Source{Title: "Cooks buy heat: price per MJ that reaches the pot", Standing: Derived}
	spareBasis  = Source{Title: "Judgement between published mounds and improved kilns", At: "3.5 kg of air-dry wood per kg (measured 23.6 to 34 % " +
		"in improved mounds, Tazebew et al. 2024) to 8 (traditional, energypedia)", Standing: Derived}

	workPerKg     = newFigure[Hours]("work per kg sold", 0.35, 0.6, 1.0, kilnTrade)
	starchPerKg   = newFigure[Kg]("starch per kg sold", 0.04, 0.075, 0.13, Source{Title: "4 to 15 % of dry starch on dry char, less losses", Standing: Derived})
	waterPerKg    = newFigure[Litre]("water per kg sold", 0.4, 0.6, 1.0, Source{Title: "Water of the mix and for washing", Standing: Practice})
	priceSwing    = constant[Share]("change of a known price by which its weight is judged", 0.20, judged.at("how prices move within a season"))
	briquetteSold = newFigure[MJPerKg]("net heating value of a crop-char briquette as sold", 15, 21, 26, Source{Title: "Published briquettes of cob, shell and husk char, 15.9 to 26.8 MJ/kg", At: "judged among Lubwama and Yiga 2017, 2018; Njenga 2013; JENRR 95076", Standing: Derived})
	charcoalSold  = newFigure[MJPerKg]("net heating value of lump charcoal as sold", 27, 28, 29.5, Source{Title: "IPCC default 29.5; in the field 27 to 30", Year: 2006, Standing: Remembered})
	stoveShare    = newFigure[Ratio]("heat to the pot from briquettes, times that from charcoal", 0.9, 1, 1, energyBasis)
	replacedShare = newFigure[Share]("part of the briquettes that takes the place of bought charcoal", 0.5, 0.8, 1, spareBasis)
	woodPerKgLump = newFigure[Ratio]("air-dry wood per kg of lump charcoal", 3.5, 5, 8, spareBasis)
	leastSold     = constant[Kg]("least briquettes of one sheet or plan", 0.5, judged.at("a few pieces"))
	mostSold      = constant[Kg]("most briquettes of one sheet or plan", 5000, judged.at("the stock of a group"))
)

// Text writes an amount without grouping separators. Digits is the number of
// decimals of the currency (0 to 4); a whole amount is written without any.
func (m Money) Text(digits int) string {
	if digits <= 0 {
		return strconv.FormatInt(int64(m), 10)
	}
	sign, s := "", strconv.FormatInt(int64(m), 10)
	if m < 0 {
		sign, s = "-", s[1:]
	}
	if pad := digits + 1 - len(s); pad > 0 {
		s = strings.Repeat("0", pad) + s
	}
	whole, rest := s[:len(s)-digits], s[len(s)-digits:]
	if strings.Trim(rest, "0") == "" {
		return sign + whole
	}
	return sign + whole + "." + rest
}

// MoneyRange is an uncertain amount: P10, P50 and P90.
type MoneyRange struct{ Low, Likely, High Money }

// Until is how much it takes until a cost has come back. An end is nil where it
// never does.
type Until[T ~float64] struct{ Low, Likely, High *T }

// PriceInput is a producer's trade in one batch. All money is in the smallest
// unit of the currency; a zero price or cost is left out of the sheet.
type PriceInput struct {
	Sold   Range[Kg]    // briquettes of one batch that are sold; required
	Work   Range[Hours] // per kg sold; zero: 0.35 to 1
	Wage   Money        // for an hour of work; zero: labour is not counted
	Starch Range[Kg]    // as bought, for the batch; zero: 0.04 to 0.13 kg per kg sold
	Water  Range[Litre] // for the batch; zero: 0.4 to 1 litre per kg sold

	PerStarch, PerLitre, Pack Money // for a kg of starch, a litre of water, packing a kg
	Waste, Transport, Other   Money // for the batch

	Price    Money          // for a kg of briquettes
	Charcoal Money          // for a kg of lump charcoal nearby
	Heating  Range[MJPerKg] // net, of the briquettes as sold; zero: 15 to 26

	Fixed  Money // rent and the like, for a month
	Tool   Money // a tool to be paid
	PerDay Kg    // sold on a working day, for the tool
}

// Sensitivity is what one input does to the cost of a kg.
type Sensitivity struct {
	Input     string // stable key
	Low, High Money  // cost of a kg with the input low and high
}

// PriceResult is a cost sheet. Ranges hold the uncertain inputs only: known
// prices move nothing but Matters.
type PriceResult struct {
	Batch, PerKg MoneyRange     // labour counted if there is a wage
	Cash         MoneyRange     // per kg, without labour
	Margin       MoneyRange     // of a kg: price less cost; zero without a price
	HourEarns    MoneyRange     // price less cash, for an hour of work; zero without a price
	BreakEven    Until[Kg]      // a month, to cover Fixed
	ToolDays     Until[Days]    // working days until Tool is paid
	Parity       Range[Ratio]   // value of a kg against a kg of charcoal, by heat to the pot
	Ceiling      MoneyRange     // highest price of a kg at which the cook pays no more for heat
	Matters      [2]Sensitivity // the two inputs that move the cost of a kg most
	Assumed      []*Sourced
}

// Price works out what briquettes cost and what they can fetch. Cost of a kg is
// work times wage, starch, water and packing of that kg, and the costs of the
// batch over the kg sold. The break-even quantity of a month is the fixed cost
// over the margin of a kg; days to pay a tool are its cost over the margin of a
// day; both are textbook cost-volume-profit arithmetic. The ceiling is the price
// at which heat to the pot costs the same as from charcoal: price of charcoal
// times the ratio of net heating values and of stove efficiencies. A range adds
// up what each uncertain input does alone (JCGM 100:2008, 5.1.3). Sold is 0.5 to
// 5000 kg, work 0.01 to 100 hours for a kg, a heating value 1 to 40 MJ/kg;
// amounts of money lie between nought and 1e12.
func Price(in PriceInput) (PriceResult, error) {
	if err := cmp.Or(
		ranged("briquettes sold, kg", in.Sold, leastSold.Likely, mostSold.Likely),
		rangedOrZero("hours of work for a kg", in.Work, .01, 100),
		rangedOrZero("starch of a batch, kg", in.Starch, 0, mostSold.Likely),
		rangedOrZero("water of a batch, litres", in.Water, 0, 10*Litre(mostSold.Likely)),
		rangedOrZero("heating value, MJ/kg", in.Heating, 1, 40),
		within("briquettes sold on a day, kg", in.PerDay, 0, mostSold.Likely),
	); err != nil {
		return PriceResult{}, err
	}
	for _, m := range []Money{in.Wage, in.PerStarch, in.PerLitre, in.Pack, in.Waste, in.Transport, in.Other, in.Price, in.Charcoal, in.Fixed, in.Tool} {
		if err := within("amount of money", float64(m), 0, 1e12); err != nil {
			return PriceResult{}, err
		}
	}
	var out PriceResult
	sheet := sheetOf(in, &out.Assumed)
	out.Batch = sheet.money(costs.batch)
	out.PerKg = sheet.money(costs.perKg)
	out.Cash = sheet.money(costs.cash)
	out.Matters = sheet.matters()
	if in.Price > 0 {
		margin := func(c costs) float64 { return float64(in.Price) - c.perKg() }
		out.Margin = sheet.money(margin)
		out.HourEarns = sheet.money(func(c costs) float64 { return (float64(in.Price) - c.cash()) / c.work })
		out.BreakEven = untilPaid[Kg](in.Fixed, out.Margin, 1)
		out.ToolDays = untilPaid[Days](in.Tool, out.Margin, float64(in.PerDay))
	}
	out.Parity = rangeOf[Ratio](heatAgainstCharcoal(in.Heating, &out.Assumed))
	out.Ceiling = moneyOf(out.Parity.Scale(float64(in.Charcoal)))
	return out, nil
}

// heatAgainstCharcoal is the heat to the pot from a kg of briquettes, times that
// from a kg of lump charcoal.
func heatAgainstCharcoal(net Range[MJPerKg], assumed *[]*Sourced) spread {
	briquette := spreadOf(either(net, briquetteSold, assumed))
	*assumed = append(*assumed, charcoalSold.Sourced(), stoveShare.Sourced())
	return briquette.over(spreadOf(charcoalSold.Range)).times(spreadOf(stoveShare.Range))
}

// untilPaid divides an amount by what a day or a kg brings in.
func untilPaid[T ~float64](amount Money, margin MoneyRange, times float64) Until[T] {
	at := func(m Money) *T {
		if m <= 0 || amount <= 0 || times <= 0 {
			return nil
		}
		v := T(float64(amount) / (float64(m) * times))
		return &v
	}
	return Until[T]{Low: at(margin.High), Likely: at(margin.Likely), High: at(margin.Low)}
}

func moneyOf[T ~float64](r Range[T]) MoneyRange {
	whole := func(v T) Money { return Money(math.Round(float64(v))) }
	return MoneyRange{whole(r.Low), whole(r.Likely), whole(r.High)}
}

// costs are the inputs of a cost sheet as plain numbers; per kg sold unless the
// name says batch.
type costs struct {
	sold, work, starch, water                               float64
	wage, perStarch, perLitre, pack, waste, transport, rest float64
}

func (c costs) cash() float64 {
	return c.starch*c.perStarch + c.water*c.perLitre + c.pack + (c.waste+c.transport+c.rest)/c.sold
}
func (c costs) perKg() float64 { return c.work*c.wage + c.cash() }
func (c costs) batch() float64 { return c.perKg() * c.sold }

// costSheet is the likely costs, and the same with one input low or high.
type costSheet struct {
	likely costs
	inputs []costInput
}

type costInput struct {
	key       string
	low, high costs
	uncertain bool // not a known price
}

func sheetOf(in PriceInput, assumed *[]*Sourced) costSheet {
	work := either(in.Work, workPerKg, assumed)
	starch, water := in.Starch.Scale(1/float64(in.Sold.Likely)), in.Water.Scale(1/float64(in.Sold.Likely))
	// Starch and water of a recipe are one draw with the briquettes: their part
	// of a kg is certain. Only the default parts are uncertain.
	starch, water = Exactly(starch.Likely), Exactly(water.Likely)
	if starch.Likely == 0 {
		starch = either(Range[Kg]{}, starchPerKg, assumed)
	}
	if water.Likely == 0 {
		water = either(Range[Litre]{}, waterPerKg, assumed)
	}
	s := costSheet{likely: costs{
		sold: float64(in.Sold.Likely), work: float64(work.Likely), starch: float64(starch.Likely), water: float64(water.Likely),
		wage: float64(in.Wage), perStarch: float64(in.PerStarch), perLitre: float64(in.PerLitre), pack: float64(in.Pack),
		waste: float64(in.Waste), transport: float64(in.Transport), rest: float64(in.Other),
	}}
	swing := float64(priceSwing.Likely)
	for _, v := range []struct {
		key       string
		of        func(*costs) *float64
		low, high float64
	}{
		{"sold", func(c *costs) *float64 { return &c.sold }, float64(in.Sold.Low), float64(in.Sold.High)},
		{"work", func(c *costs) *float64 { return &c.work }, float64(work.Low), float64(work.High)},
		{"starch", func(c *costs) *float64 { return &c.starch }, float64(starch.Low), float64(starch.High)},
		{"water", func(c *costs) *float64 { return &c.water }, float64(water.Low), float64(water.High)},
		{key: "wage", of: func(c *costs) *float64 { return &c.wage }},
		{key: "starch-price", of: func(c *costs) *float64 { return &c.perStarch }},
		{key: "water-price", of: func(c *costs) *float64 { return &c.perLitre }},
		{key: "pack", of: func(c *costs) *float64 { return &c.pack }},
		{key: "waste", of: func(c *costs) *float64 { return &c.waste }},
		{key: "transport", of: func(c *costs) *float64 { return &c.transport }},
		{key: "other", of: func(c *costs) *float64 { return &c.rest }},
	} {
		i := costInput{key: v.key, low: s.likely, high: s.likely, uncertain: v.low > 0}
		if !i.uncertain {
			known := *v.of(&s.likely)
			v.low, v.high = known*(1-swing), known*(1+swing)
		}
		*v.of(&i.low), *v.of(&i.high) = v.low, v.high
		s.inputs = append(s.inputs, i)
	}
	return s
}

// money is the range of an amount under the uncertain inputs: the deviations
// that each makes alone, added up as a spread adds those of logarithms.
func (s costSheet) money(of func(costs) float64) MoneyRange {
	likely := of(s.likely)
	unit := math.Abs(likely) + 1
	for _, i := range s.inputs {
		unit = max(unit, math.Abs(of(i.low)-likely), math.Abs(of(i.high)-likely))
	}
	// A spread speaks of logarithms: in this unit they cannot overflow.
	deviation := spread{likely: 1}
	for _, i := range s.inputs {
		a, b := (of(i.low)-likely)/unit, (of(i.high)-likely)/unit
		if i.uncertain && a != b {
			deviation.add(max(-min(a, b), 0), max(a, b, 0))
		}
	}
	at := func(z float64) Ratio { return Ratio(likely + unit*math.Log(deviation.at(z))) }
	return moneyOf(Range[Ratio]{min(at(-decile), Ratio(likely)), Ratio(likely), max(at(decile), Ratio(likely))})
}

// matters returns the two inputs that move the cost of a kg most.
func (s costSheet) matters() [2]Sensitivity {
	swing := func(i costInput) float64 { return math.Abs(i.high.perKg() - i.low.perKg()) }
	order := slices.SortedStableFunc(slices.Values(s.inputs), func(a, b costInput) int { return cmp.Compare(swing(b), swing(a)) })
	var out [2]Sensitivity
	for k := range out {
		c := moneyOf(Range[Ratio]{Low: Ratio(order[k].low.perKg()), High: Ratio(order[k].high.perKg())})
		out[k] = Sensitivity{order[k].key, c.Low, c.High}
	}
	return out
}

// SparedInput asks how much wood briquettes spare.
type SparedInput struct {
	Briquettes       Range[Kg]
	ReplacesCharcoal bool           // they are burnt in place of bought charcoal
	Heating          Range[MJPerKg] // net, of the briquettes as sold; zero: 15 to 26
}

// SparedResult is air-dry wood that was not made into charcoal. It is never a
// number of trees and never a credit.
type SparedResult struct {
	Wood    Range[Kg] // zero unless the briquettes replace bought charcoal
	Assumed []*Sourced
}

// Spared estimates the wood spared: briquettes times the ratio of heating values
// and stove efficiencies, the part that really replaces charcoal, and the wood
// per kg of charcoal, for up to 1000 t. It is known within a factor of two at best:
// own reference computation from published kilns.
func Spared(in SparedInput) (SparedResult, error) {
	if err := ranged("briquettes, kg", in.Briquettes, 0, 1e6); err != nil {
		return SparedResult{}, err
	}
	if !in.ReplacesCharcoal || in.Briquettes.Low <= 0 {
		return SparedResult{}, nil
	}
	var out SparedResult
	wood := heatAgainstCharcoal(in.Heating, &out.Assumed).times(spreadOf(replacedShare.Range)).times(spreadOf(woodPerKgLump.Range)).times(spreadOf(in.Briquettes))
	out.Wood = rangeOf[Kg](wood)
	out.Assumed = append(out.Assumed, replacedShare.Sourced(), woodPerKgLump.Sourced())
	return out, nil
}
