package calc_test

import (
	"fmt"
	"math"
	"os"
	"text/tabwriter"
	"time"

	"cobline/calc"
)

func ExampleLearn() {
	// Three burns of one drum, 33 kg of dry cobs each: this producer gets less
	// than the published 23 %.
	record := []calc.WeighedBatch{
		{Feed: 33, Moisture: 0.12, Char: 5.5},
		{Feed: 33, Moisture: 0.12, Char: 6.0},
		{Feed: 33, Moisture: 0.12, Char: 5.5},
	}
	learned, err := calc.Learn(calc.LearnInput{Waste: calc.MaizeCob, Batches: record})
	if err != nil {
		panic(err)
	}
	fmt.Printf("%.0f to %.0f %%, likely %.1f %%\n", 100*learned.Yield.Low, 100*learned.Yield.High, 100*learned.Yield.Likely)
	fmt.Printf("the published yield still counts %.0f %%\n", 100*learned.PriorWeight)
	// Output:
	// 16 to 25 %, likely 20.8 %
	// the published yield still counts 40 %
}

func ExampleWeighedBatch_Believable() {
	cob, _ := calc.Feed(calc.MaizeCob)
	fmt.Println(calc.WeighedBatch{Feed: 33, Moisture: 0.12, Char: 21}.Believable(cob))
	// Output: char on dry feed is 0.7231404958677686; it must lie between 0.1 and 0.45
}

func ExampleAdvise() {
	// Grey and white ash and little char after three quarters of an hour.
	advice, err := calc.Advise(calc.AdviseInput{Waste: calc.MaizeCob, Openings: []calc.Opening{
		{Brands: calc.NoBrands, Ash: calc.WhiteAsh, Yield: 0.18, Open: 45},
	}})
	if err != nil {
		panic(err)
	}
	fmt.Printf("%s, %.0f %% sure: cover %+.0f minutes\n", advice.Cause, 100*advice.Sure, advice.Move)
	// Output: too-late, 88 % sure: cover -4 minutes
}

func ExampleBrandsOf() {
	fmt.Println(calc.BrandsOf(6.5, 0.1) == calc.NoBrands, calc.BrandsOf(6.5, 0.5) == calc.SomeBrands, calc.BrandsOf(5, 1.5) == calc.ManyBrands)
	// Output: true true true
}

func ExamplePrice() {
	// One drum of cobs in a place whose currency has cents: 7 kg sold, an hour is
	// worth 50.00, starch costs 90.00 a kg, lump charcoal 80.00 a kg.
	sheet, err := calc.Price(calc.PriceInput{
		Sold: calc.Range[calc.Kg]{5, 7, 9.5}, Wage: 5000, Starch: calc.Range[calc.Kg]{0.5, 0.75, 1}, PerStarch: 9000,
		Pack: 200, Price: 6000, Charcoal: 8000, Fixed: 100000, Tool: 350000, PerDay: 7,
	})
	if err != nil {
		panic(err)
	}
	fmt.Printf("a kg costs %s (%s to %s), without labour %s\n",
		sheet.PerKg.Likely.Text(2), sheet.PerKg.Low.Text(2), sheet.PerKg.High.Text(2), sheet.Cash.Likely.Text(2))
	fmt.Printf("worth at most %s beside charcoal; an hour earns %s\n", sheet.Ceiling.Likely.Text(2), sheet.HourEarns.Likely.Text(2))
	fmt.Printf("rent is paid by %.0f kg a month, the tool in %.0f days\n", *sheet.BreakEven.Likely, *sheet.ToolDays.Likely)
	fmt.Printf("watch %s and %s\n", sheet.Matters[0].Input, sheet.Matters[1].Input)
	// Output:
	// a kg costs 41.64 (29.14 to 61.64), without labour 11.64
	// worth at most 60 beside charcoal; an hour earns 80.60
	// rent is paid by 54 kg a month, the tool in 27 days
	// watch work and wage
}

func ExampleSpared() {
	spared, err := calc.Spared(calc.SparedInput{Briquettes: calc.Exactly[calc.Kg](100), ReplacesCharcoal: true})
	if err != nil {
		panic(err)
	}
	fmt.Printf("%.0f to %.0f kg of air-dry wood\n", spared.Wood.Low, spared.Wood.High)
	// Output: 143 to 492 kg of air-dry wood
}

func ExampleMoney_Text() {
	fmt.Println(calc.Money(125000).Text(2), calc.Money(125050).Text(2), calc.Money(5).Text(2), calc.Money(-1250).Text(0))
	// Output: 1250 1250.50 0.05 -1250
}

func ExamplePlan() {
	zone := time.FixedZone("EAT", 3*60*60)
	in := calc.PlanInput{
		Burn: calc.RecipeInput{Waste: calc.MaizeCob}, Want: 20, Drums: 2, Lat: -1.3, Lon: 36.8, Drying: calc.Range[calc.Days]{3, 4, 6},
		Start: time.Date(2026, 3, 2, 8, 0, 0, 0, zone), By: time.Date(2026, 3, 13, 0, 0, 0, 0, zone),
	}
	p, err := calc.Plan(in)
	if err != nil {
		panic(err)
	}
	fmt.Printf("%.0f burns (%.0f to %.0f), %.0f kg of cobs, %.1f kg of flour, %.0f strokes, %.0f m2 of rack\n",
		p.Burns.Likely, p.Burns.Low, p.Burns.High, p.Waste.Likely, p.Starch, p.Strokes, math.Ceil(float64(p.RackArea.Likely)))
	table := tabwriter.NewWriter(os.Stdout, 4, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(table, "day\tlight\topen\tpress\tdry\tready\t")
	for _, d := range p.Days {
		fmt.Fprintf(table, "%s\t%d\t%d\t%.0f\t%.0f\t%.0f\t\n", d.Date.Format("Mon 2"), d.Lit, d.Opened, d.Pieces, d.Dried, d.Ready)
	}
	_ = table.Flush()
	fmt.Println("ready", p.Ready.Likely.Format("Mon 2 January"), "by the date:", p.Promise, "slowed by", p.Bottleneck)
	// Output:
	// 3 burns (3 to 5), 98 kg of cobs, 2.0 kg of flour, 239 strokes, 3 m2 of rack
	//     day  light  open  press  dry  ready
	//   Mon 2      2     0      0    0      0
	//   Tue 3      1     2      0    0      0
	//   Wed 4      0     1    171    0      0
	//   Thu 5      0     0     68    0      0
	//   Fri 6      0     0      0    0      0
	//   Sat 7      0     0      0    0      0
	//   Sun 8      0     0      0   14     14
	//   Mon 9      0     0      0    6     20
	// ready Mon 9 March by the date: by-then slowed by drums
}
