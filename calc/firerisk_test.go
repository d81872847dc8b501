package calc

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func fireOf(t require.TestingT, in FireRiskInput) FireRiskResult {
	out, err := FireRisk(in)
	require.NoError(t, err)
	return out
}

func TestFireIndices(t *testing.T) {
	for _, r := range readTable(t, "fire-indices.csv") {
		got := fireOf(t, FireRiskInput{
			Air: Celsius(r.number("air_c")), Humidity: Share(r.number("rh") / 100),
			Wind: MetrePerSecond(r.number("wind_kmh") / 3.6), DroughtFactor: Ratio(r.number("drought")),
		})
		require.InDelta(t, r.number("angstrom"), float64(got.Angstrom), .051)
		require.InDelta(t, r.number("forest"), float64(got.Danger), .051)
		require.InDelta(t, r.number("fosberg"), float64(got.Fosberg), .051)
		require.InDelta(t, r.number("grass"), float64(got.Grass), .051)
	}
}

// The forest fire danger meter was scaled so that Black Friday of 1939 reads
// 100. A public calculator of a fire service, read in a validation report, gives
// 12.7 and 173.5 for two cases; the equation is within 7 % of the meter.
func TestForestDangerPublished(t *testing.T) {
	require.InEpsilon(t, 100, float64(forestDanger(40, .15, 55, 10)), .04)
	require.InEpsilon(t, 12.7, float64(forestDanger(30, .30, 30, 5)), .07)
	require.InEpsilon(t, 173.5, float64(forestDanger(45, .10, 60, 10)), .07)
}

func TestDroughtFactor(t *testing.T) {
	for days, want := range map[int]Ratio{-1: 3, 0: 3, 5: 6, 10: 8, 15: 9, 20: 10, 60: 10} {
		require.InDelta(t, float64(want), float64(FireRiskInput{DaysSinceRain: &days}.drought()), 1e-9)
	}
	require.Equal(t, Ratio(10), FireRiskInput{}.drought(), "nobody knows")
	// The equation of Noble, Bary and Gill 1980, own arithmetic: index 100 mm,
	// 10 mm of rain a week ago.
	require.InDelta(t, 0.191*204*22.6274/(3.52*22.6274+9),
		float64(FireRiskInput{DroughtIndex: new(Millimetre(100)), DaysSinceRain: new(7), LastRain: 10}.drought()), 1e-4)
}

func TestFireRule(t *testing.T) {
	calm := FireRiskInput{Air: 27, Humidity: .60, Wind: 1.5, DroughtFactor: 6}
	for _, r := range []struct {
		name    string
		change  func(*FireRiskInput)
		level   FireLevel
		reasons FireReason
	}{
		{"calm", func(*FireRiskInput) {}, OrdinaryCare, 0},
		{"a tropical day the Angstrom index fears", func(in *FireRiskInput) { in.Air, in.Humidity = 35, .50 }, OrdinaryCare, 0},
		{"wind 10 km/h", func(in *FireRiskInput) { in.Wind = 10.01 / 3.6 }, ExtraCare, WindyFire},
		{"wind 20 km/h", func(in *FireRiskInput) { in.Wind = 20.01 / 3.6 }, DoNotLightToday, WindyFire},
		{"gust 35 km/h", func(in *FireRiskInput) { in.Gust = 35.01 / 3.6 }, DoNotLightToday, GustyFire},
		{"humidity 34 %", func(in *FireRiskInput) { in.Humidity = .34 }, ExtraCare, DryAir},
		{"humidity 24 %", func(in *FireRiskInput) { in.Humidity = .24 }, DoNotLightToday, DryAir},
		{"after a hot dry day", func(in *FireRiskInput) { in.HotYesterday = true }, ExtraCare, AfterHotDay},
		{"official warning", func(in *FireRiskInput) { in.Warning = true }, DoNotLightToday, FireWarning},
		{"danger index 12", func(in *FireRiskInput) { in.Air, in.Humidity, in.DroughtFactor = 38, .36, 10 }, ExtraCare, DangerIndex},
		{"danger index 25", func(in *FireRiskInput) {
			in.Air, in.Humidity, in.DroughtFactor, in.Wind = 45, .26, 10, 2.7
		}, DoNotLightToday, DangerIndex},
	} {
		in := calm
		r.change(&in)
		got := fireOf(t, in)
		require.Equal(t, r.level, got.Level, r.name)
		require.Equal(t, r.reasons, got.Reasons, r.name)
	}
}

func TestFireRiskOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := FireRiskInput{
			Air: Celsius(rapid.Float64Range(0, 50).Draw(t, "air")), Humidity: Share(rapid.Float64Range(.02, .98).Draw(t, "humidity")),
			Wind:          MetrePerSecond(rapid.Float64Range(0, 20).Draw(t, "wind")),
			DaysSinceRain: new(rapid.IntRange(0, 30).Draw(t, "days")),
		}
		before := fireOf(t, in)
		worse := in
		worse.Wind += 2
		require.GreaterOrEqual(t, fireOf(t, worse).Level, before.Level)
		worse = in
		worse.Humidity -= .02
		require.GreaterOrEqual(t, fireOf(t, worse).Level, before.Level)
		worse = in
		worse.Air += 3
		require.GreaterOrEqual(t, fireOf(t, worse).Danger, before.Danger)
	})
}

func TestFireRiskRefusesNonsense(t *testing.T) {
	for what, in := range map[string]FireRiskInput{
		"oven": {Air: 90, Humidity: .5}, "humidity in percent": {Air: 30, Humidity: 40}, "gale": {Air: 30, Humidity: .5, Wind: 70},
		"drought": {Air: 30, Humidity: .5, DroughtFactor: 11}, "index": {Air: 30, Humidity: .5, DroughtIndex: new(Millimetre(900))},
	} {
		_, err := FireRisk(in)
		require.ErrorAs(t, err, new(OutOfRange), what)
	}
}
