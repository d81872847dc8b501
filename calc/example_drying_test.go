package calc_test

import (
	"fmt"
	"time"

	"cobline/calc"
)

// dryWeek is an invented week in a dry season, as a weather service sends it.
func dryWeek() *calc.Forecast {
	in := calc.ForecastInput{
		Place:  calc.Place{Lat: 10, Lon: 7.5, Altitude: 300, Zone: time.FixedZone("WAT", 3600)},
		Issued: time.Date(2031, 1, 14, 17, 0, 0, 0, time.UTC),
	}
	for i := range 7 {
		in.Days = append(in.Days, calc.Day{
			Date: time.Date(2031, 1, 15+i, 12, 0, 0, 0, time.UTC),
			Max:  new(calc.Celsius(32)), Min: new(calc.Celsius(19)), HumidityMean: new(calc.Share(.40)),
			Wind: new(calc.MetrePerSecond(2.6)), Sunshine: new(calc.Hours(8.5)), Rain: new(calc.Millimetre(0)),
		})
	}
	in.Days[4].RainByHour = make([]calc.Millimetre, 24)
	in.Days[4].RainByHour[15] = 3
	f, err := calc.NewForecast(in)
	if err != nil {
		panic(err)
	}
	return f
}

func ExampleNewForecast() {
	f := dryWeek()
	w := f.Days[0]
	fmt.Printf("dew point %.1f C, wind at 2 m %.1f m/s, clearness %.2f\n", w.Dew, w.Wind, w.Clearness)
	fmt.Println("filled in:", w.Filled)
	_, err := calc.NewForecast(calc.ForecastInput{Days: []calc.Day{{
		Date: time.Date(2031, 1, 15, 0, 0, 0, 0, time.UTC), Max: new(calc.Celsius(86)), Min: new(calc.Celsius(60)),
	}}})
	fmt.Println(err)
	// Output:
	// dew point 11.9 C, wind at 2 m 1.9 m/s, clearness 0.62
	// filled in: dew-from-humidity sun-from-sunshine
	// maximum temperature on 2031-01-15 is 86; it must lie between -10 and 55
}

func ExampleForecast_Hours() {
	noon := dryWeek().Hours(calc.LikelyMember, 0)[12]
	fmt.Printf("%.1f C, %.2f kPa, %.0f W/m2, %.1f m/s\n", noon.Air, noon.Vapour, noon.Sun, noon.Wind)
	// Output: 28.4 C, 1.39 kPa, 745 W/m2, 2.5 m/s
}

func ExampleForecast_Freshness() {
	f := dryWeek()
	fmt.Println(f.Freshness(f.Issued.Add(6*time.Hour)), f.Freshness(f.Issued.Add(30*time.Hour)), f.Freshness(f.Issued.Add(50*time.Hour)))
	// Output: fresh old expired
}

func ExampleGap_String() {
	fmt.Println(calc.WindAssumed | calc.SunFromCloud)
	// Output: sun-from-cloud wind-assumed
}

func ExampleDryOut() {
	r, err := calc.DryOut(calc.DryInput{Forecast: dryWeek(), Piece: calc.Solid(.055, .05)})
	if err != nil {
		panic(err)
	}
	from, to := r.WholeDays()
	fmt.Printf("%d to %d days\n", from, to)
	for _, p := range r.Plan {
		fmt.Printf("%s %s, %.0f %%\n", p.Date.Format("Mon"), p.Action, 100*p.Evening)
	}
	// Output:
	// 3 to 4 days
	// Wed out, 21 %
	// Thu out, 14 %
	// Fri out, 10 %
	// Sat out, 6 %
	// Sat pack, 6 %
}

func ExampleDryOut_waste() {
	r, err := calc.DryOut(calc.DryInput{
		Forecast: dryWeek(), Waste: calc.MaizeCob, Layer: .10, Moisture: calc.TooWet.Moisture(),
		Start: time.Date(2031, 1, 15, 10, 0, 0, 0, time.UTC),
	})
	if err != nil {
		panic(err)
	}
	from, to := r.WholeDays()
	fmt.Printf("%d to %d days in a layer of 10 cm; rain on %s\n", from, to, r.Plan[4].RainFrom.Format("Mon 15:04"))
	// Output: 4 to 8 days in a layer of 10 cm; rain on Sun 15:00
}

func ExampleDryingCurve() {
	curves, err := calc.DryingCurve(calc.DryInput{Forecast: dryWeek()})
	if err != nil {
		panic(err)
	}
	likely := curves[calc.LikelyMember]
	fmt.Printf("%d hours; %.0f %% at noon, %.0f %% at dusk\n", len(likely), 100*likely[12], 100*likely[17])
	// Output: 86 hours; 27 % at noon, 21 % at dusk
}

func ExampleDryResult_WholeDays() {
	fmt.Println(calc.DryResult{Days: calc.Range[calc.Days]{Low: 3, Likely: 3.6, High: 4.2}}.WholeDays())
	// Output: 3 5
}

func ExampleStandardDrying() {
	days, err := calc.StandardDrying(dryWeek())
	if err != nil {
		panic(err)
	}
	for _, p := range calc.StandardPieces()[:2] {
		fmt.Printf("%.0f mm: %.1f days\n", 1000*p.Diameter, days[p].Likely)
	}
	// Output:
	// 55 mm: 3.7 days
	// 40 mm: 2.0 days
}

func ExampleStandardPieces() {
	fmt.Println(len(calc.StandardPieces()), calc.StandardPieces()[0].Shape)
	// Output: 7 solid
}

func ExampleOutlook() {
	days, err := calc.Outlook(dryWeek(), 20)
	if err != nil {
		panic(err)
	}
	for _, d := range days[3:5] {
		fmt.Printf("%s %s, power %.2f, %.1f mm of evaporation, %s\n", d.Date.Format("Mon"), d.Action, d.Power, d.Evaporation, d.Fire.Level)
	}
	// Output:
	// Sat out, power 0.39, 5.3 mm of evaporation, extra-care
	// Sun out-until, power 0.38, 5.3 mm of evaporation, extra-care
}

func ExampleFireRisk() {
	r, err := calc.FireRisk(calc.FireRiskInput{Air: 35, Humidity: .20, Wind: 20 / 3.6, DroughtFactor: 9})
	if err != nil {
		panic(err)
	}
	fmt.Printf("%s (%s): forest fire danger %.1f, Angstrom %.1f\n", r.Level, r.Reasons, r.Danger, r.Angstrom)
	// Output: do-not-light (wind dry-air danger-index): forest fire danger 29.2, Angstrom 0.2
}

func ExampleWeighPiece() {
	r, err := calc.WeighPiece(calc.WeighPieceInput{Wet: .120, Now: .090})
	if err != nil {
		panic(err)
	}
	fmt.Printf("%.0f to %.0f %%, ready at %.0f g: %v\n", 100*r.Moisture.Low, 100*r.Moisture.High, 1000*r.ReadyMass, r.Ready)
	// Output: 7 to 20 %, ready at 85 g: false
}

func ExampleLearnPace() {
	fmt.Printf("%.2f\n", calc.LearnPace([]calc.DryingRecord{{Forecast: 4, Taken: 5}, {Forecast: 3, Taken: 4}, {Forecast: 4, Taken: 4}}))
	// Output: 0.80
}

// FAO-56, example 18: Uccle on 6 July evaporates 3.9 mm.
func ExampleReferenceEvaporation() {
	uccle := calc.Place{Lat: 50.8, Altitude: 100}
	f, err := calc.NewForecast(calc.ForecastInput{Place: uccle, Days: []calc.Day{{
		Date: time.Date(2031, 7, 6, 0, 0, 0, 0, time.UTC), Max: new(calc.Celsius(21.5)), Min: new(calc.Celsius(12.3)),
		HumidityMax: new(calc.Share(.84)), HumidityMin: new(calc.Share(.63)),
		Wind: new(calc.MetrePerSecond(10 / 3.6)), Sunshine: new(calc.Hours(9.25)),
	}}})
	if err != nil {
		panic(err)
	}
	fmt.Printf("%.1f mm\n", calc.ReferenceEvaporation(uccle, f.Days[0]))
	// Output: 3.9 mm
}

// FAO-56, examples 8 and 9: 20 degrees south on 3 September.
func ExampleExtraterrestrialRadiation() {
	fmt.Printf("%.1f MJ/m2\n", calc.ExtraterrestrialRadiation(-20, 246))
	// Output: 32.2 MJ/m2
}

func ExampleMaximumSunshine() {
	fmt.Printf("%.1f hours\n", calc.MaximumSunshine(-20, 246))
	// Output: 11.7 hours
}

// FAO-56, example 3.
func ExampleSaturationPressure() {
	fmt.Printf("%.3f kPa\n", calc.SaturationPressure(24.5))
	// Output: 3.075 kPa
}

// FAO-56, example 2.
func ExampleAirPressure() {
	fmt.Printf("%.1f kPa\n", calc.AirPressure(1800))
	// Output: 81.8 kPa
}

func ExampleRelativeHumidity() {
	fmt.Printf("%.0f %%\n", 100*calc.RelativeHumidity(30, 1.7))
	// Output: 40 %
}

func ExampleDewPoint() {
	fmt.Printf("%.1f C\n", calc.DewPoint(1.7))
	// Output: 15.0 C
}

// FAO-56, example 4, there and back.
func ExampleWetBulb() {
	pressure := calc.AirPressure(1200)
	ea := calc.VapourFromWetBulb(25.6, 19.5, pressure)
	fmt.Printf("%.2f kPa, %.1f C\n", ea, calc.WetBulb(25.6, ea, pressure))
	// Output: 1.91 kPa, 19.5 C
}

// FAO-56, example 4.
func ExampleVapourFromWetBulb() {
	fmt.Printf("%.2f kPa\n", calc.VapourFromWetBulb(25.6, 19.5, 87.9))
	// Output: 1.91 kPa
}

func ExampleCharcoalEquilibrium() {
	fmt.Printf("%.1f %%\n", 100*calc.CharcoalEquilibrium(30, .70))
	// Output: 6.3 %
}

// The worked figure of liquisearch.com: 140 F and 55 %.
func ExampleWoodEquilibrium() {
	fmt.Printf("%.1f %%\n", 100*calc.WoodEquilibrium(60, .55))
	// Output: 8.4 %
}

func ExampleMetrePerSecond_PerHour() {
	fmt.Println(calc.MetrePerSecond(10).PerHour())
	// Output: 36
}

func ExampleToCelsius() {
	fmt.Println(calc.ToCelsius(77, "°F"))
	fmt.Println(calc.ToCelsius(77, "furlong"))
	// Output:
	// 25 <nil>
	// 0 there is no unit of temperature "furlong"
}

func ExampleToMetrePerSecond() {
	fmt.Println(calc.ToMetrePerSecond(36, "km/h"))
	// Output: 10 <nil>
}

func ExampleToMillimetre() {
	fmt.Println(calc.ToMillimetre(4, "kg/m2"))
	// Output: 4 <nil>
}

func ExampleToShare() {
	fmt.Println(calc.ToShare(82, "%"))
	// Output: 0.8200000000000001 <nil>
}

func ExampleToMJPerSquareMetre() {
	fmt.Println(calc.ToMJPerSquareMetre(20e6, "J/m2"))
	// Output: 20 <nil>
}

func ExampleToHours() {
	fmt.Println(calc.ToHours(32400, "s"))
	// Output: 9 <nil>
}
