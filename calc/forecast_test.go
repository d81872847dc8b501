package calc

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func fairDay(date time.Time) Day {
	return Day{Date: date, Max: new(Celsius(30)), Min: new(Celsius(15))}
}

// What a forecast gives is used in its stated order; what it leaves out is
// filled and said.
func TestGapsAreFilledInOrder(t *testing.T) {
	date := onDay(100, time.UTC)
	for _, r := range []struct {
		name   string
		change func(*Day)
		place  Place
		filled Gap
	}{
		{"nothing", func(*Day) {}, Place{}, DewFromMinimum | SunFromTemperature | WindAssumed | RainAssumed},
		{"dew point before humidity", func(d *Day) { d.Dew, d.HumidityMean = new(Celsius(9)), new(Share(.9)) }, Place{}, SunFromTemperature | WindAssumed | RainAssumed},
		{"humidity", func(d *Day) { d.HumidityMean = new(Share(.5)) }, Place{}, DewFromHumidity | SunFromTemperature | WindAssumed | RainAssumed},
		{"humidity at nine", func(d *Day) { d.HumidityNine = new(Share(.5)) }, Place{}, DewFromNine | SunFromTemperature | WindAssumed | RainAssumed},
		{"lowest humidity", func(d *Day) { d.HumidityMin = new(Share(.3)) }, Place{}, DewFromHumidity | SunFromTemperature | WindAssumed | RainAssumed},
		{"radiation before sunshine", func(d *Day) { d.Solar, d.Sunshine = new(MJPerSquareMetre(20)), new(Hours(2)) }, Place{}, DewFromMinimum | WindAssumed | RainAssumed},
		{"sunshine before cloud", func(d *Day) { d.Sunshine, d.Cloud = new(Hours(8)), new(Share(1)) }, Place{}, DewFromMinimum | SunFromSunshine | WindAssumed | RainAssumed},
		{"cloud before code", func(d *Day) { d.Cloud, d.Code = new(Share(.2)), new(61) }, Place{}, DewFromMinimum | SunFromCloud | WindAssumed | RainAssumed},
		{"code", func(d *Day) { d.Code = new(2) }, Place{}, DewFromMinimum | SunFromCode | WindAssumed | RainAssumed},
		{"wind and hours of rain", func(d *Day) { d.Wind, d.RainByHour = new(MetrePerSecond(3)), make([]Millimetre, 24) }, Place{}, DewFromMinimum | SunFromTemperature},
		{"no rain", func(d *Day) { d.Rain = new(Millimetre(0)) }, Place{}, DewFromMinimum | SunFromTemperature | WindAssumed},
	} {
		d := fairDay(date)
		r.change(&d)
		require.Equal(t, r.filled, filled(t, r.place, d).Filled, "%s: %s", r.name, filled(t, r.place, d).Filled)
	}
}

func TestFilledFigures(t *testing.T) {
	date := onDay(100, time.UTC)
	d := fairDay(date)
	// FAO-56 eq. 48, its table of saturation: 15 C hold 1.705 kPa, 13 C 1.498.
	require.InDelta(t, 1.705, float64(SaturationPressure(filled(t, Place{}, d).Dew)), .0005)
	require.InDelta(t, 1.498, float64(SaturationPressure(filled(t, Place{Arid: true}, d).Dew)), .0005)
	require.Greater(t, filled(t, Place{Coast: true}, d).Clearness, filled(t, Place{}, d).Clearness, "FAO-56 eq. 50")
	require.Equal(t, MetrePerSecond(2), filled(t, Place{}, d).Wind)

	d.Code = new(95)
	storm := filled(t, Place{}, d)
	require.True(t, storm.Thunder)
	require.Equal(t, Share(.7), *storm.RainChance)
	d.RainChance = new(Share(.1))
	require.Equal(t, Share(.1), *filled(t, Place{}, d).RainChance, "a chance that is given stands")
}

func TestForecastRefusesNonsense(t *testing.T) {
	date := onDay(100, time.UTC)
	for what, change := range map[string]func(*Day){
		"no temperature":      func(d *Day) { d.Max = nil },
		"crossed":             func(d *Day) { d.Min = new(Celsius(31)) },
		"boiling":             func(d *Day) { d.Max = new(Celsius(86)) },
		"kelvin":              func(d *Day) { d.Max, d.Min = new(Celsius(303)), new(Celsius(290)) },
		"not a number":        func(d *Day) { d.Max = new(Celsius(math.NaN())) },
		"humidity in percent": func(d *Day) { d.HumidityMax = new(Share(82)) },
		"negative humidity":   func(d *Day) { d.HumidityNine = new(Share(-.1)) },
		"chance":              func(d *Day) { d.RainChance = new(Share(70)) },
		"deluge":              func(d *Day) { d.Rain = new(Millimetre(301)) },
		"deluge by hour":      func(d *Day) { d.RainByHour = make([]Millimetre, 24); d.RainByHour[3], d.RainByHour[4] = 200, 200 },
		"negative rain":       func(d *Day) { d.RainByHour = make([]Millimetre, 24); d.RainByHour[3] = -1 },
		"half a day of rain":  func(d *Day) { d.RainByHour = make([]Millimetre, 12) },
		"gale":                func(d *Day) { d.Wind = new(MetrePerSecond(61)) },
		"gust":                func(d *Day) { d.Gust = new(MetrePerSecond(-1)) },
		"brighter than space": func(d *Day) { d.Solar = new(MJPerSquareMetre(41)) },
		"long sunshine":       func(d *Day) { d.Sunshine = new(Hours(25)) },
		"dew above maximum":   func(d *Day) { d.Dew = new(Celsius(33)) },
	} {
		d := fairDay(date)
		change(&d)
		_, err := NewForecast(ForecastInput{Days: []Day{d}})
		var refused OutOfRange
		require.ErrorAs(t, err, &refused, what)
		require.Contains(t, refused.What, "2031-04-10", what)
	}
	for what, in := range map[string]ForecastInput{
		"nothing at all": {},
		"latitude":       {Place: Place{Lat: 91}, Days: []Day{fairDay(date)}},
		"the same day":   {Days: []Day{fairDay(date), fairDay(date.Add(time.Hour))}},
		"a long gap":     {Days: []Day{fairDay(date), fairDay(date.AddDate(0, 0, 6))}},
		"backwards":      {Days: []Day{fairDay(date), fairDay(date.AddDate(0, 0, -1))}},
	} {
		_, err := NewForecast(in)
		require.ErrorAs(t, err, new(OutOfRange), what)
	}
}

func TestMissingDayIsTheMeanOfItsNeighbours(t *testing.T) {
	first, third := fairDay(onDay(100, time.UTC)), fairDay(onDay(102, time.UTC))
	third.Max, third.Rain = new(Celsius(20)), new(Millimetre(8))
	first.Gust, third.Code = new(MetrePerSecond(15)), new(95)
	first.RainChance, third.RainChance = new(Share(.2)), new(Share(.6))
	f, err := NewForecast(ForecastInput{Days: []Day{first, third}})
	require.NoError(t, err)
	require.Len(t, f.Days, 3)
	require.Equal(t, Celsius(25), f.Days[1].Max)
	require.Equal(t, Millimetre(4), f.Days[1].Rain)
	require.InDelta(t, .4, float64(*f.Days[1].RainChance), 1e-12)
	require.NotZero(t, f.Days[1].Filled&DayBetween)
	require.Equal(t, MetrePerSecond(15), f.Days[1].Gust, "a storm on either side may blow between")
	require.True(t, f.Days[1].Thunder)
	require.Equal(t, onDay(101, time.UTC), f.Days[1].Date)
}

// The shape of a dry-season day at 10 N on 15 January, own reference
// computation: 32 over 19 C, sunshine three quarters of the day.
func TestHoursOfADay(t *testing.T) {
	f := scenarios(t)["dry season"]
	hours := f.Hours(LikelyMember, 0)
	for h, want := range map[int]struct{ air, sun float64 }{6: {19.099, 57.2}, 9: {23.277, 584.8}, 12: {29.678, 744.6}, 15: {31.964, 435.8}} {
		require.InDelta(t, want.air, float64(hours[h].Air), .0006)
		require.InDelta(t, want.sun, float64(hours[h].Sun), .06)
	}
	sum := 0.0
	for _, h := range hours {
		sum += float64(h.Sun) * 3600 / 1e6
	}
	require.InDelta(t, 19.91, sum, .005)
	require.InDelta(t, 2.6, float64(hours[12].Wind), 1e-9)
	require.InDelta(t, 1.4, float64(hours[20].Wind), 1e-9)
	require.Equal(t, f.Hours(LikelyMember, 0), f.Hours(LikelyMember, -3), "before the first day")
	require.Equal(t, f.Hours(LikelyMember, 0), f.Hours(LikelyMember, 30), "after the last day")
}

// A place west of the meridian of its clock sees the sun later by four minutes a
// degree.
func TestSolarTimeIsNotClockTime(t *testing.T) {
	noon := func(lon Degree, zone *time.Location) float64 {
		f, err := NewForecast(ForecastInput{Place: Place{Lon: lon, Zone: zone}, Days: []Day{fairDay(onDay(105, zone))}})
		require.NoError(t, err)
		var moment, sum float64
		for h, x := range f.Hours(LikelyMember, 0) {
			moment += (float64(h) + .5) * float64(x.Sun)
			sum += float64(x.Sun)
		}
		return moment / sum
	}
	utc := noon(0, time.UTC)
	require.InDelta(t, 12, utc, .02, "the equation of time is nil in mid-April")
	require.InDelta(t, utc+1, noon(-15, time.UTC), .01)
	require.InDelta(t, utc+.5, noon(7.5, time.FixedZone("+1", 3600)), .01)
}

func TestMembersLieInOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f, err := NewForecast(forecastOf(t))
		require.NoError(t, err)
		day := rapid.IntRange(-2, 20).Draw(t, "day")
		dry, likely, wet := f.Hours(DryMember, day), f.Hours(LikelyMember, day), f.Hours(WetMember, day)
		for h := range likely {
			require.GreaterOrEqual(t, dry[h].Air, likely[h].Air)
			require.LessOrEqual(t, wet[h].Air, likely[h].Air)
			require.GreaterOrEqual(t, dry[h].Sun, likely[h].Sun)
			require.LessOrEqual(t, wet[h].Sun, likely[h].Sun)
			require.Zero(t, dry[h].Rain)
			require.InDelta(t, 2*float64(likely[h].Rain), float64(wet[h].Rain), 1e-12)
			require.LessOrEqual(t, float64(likely[h].Vapour), .98*float64(SaturationPressure(likely[h].Air))+1e-12)
		}
	})
}

// climateOf is an invented year: dry from November, wet from June.
func climateOf() *Climate {
	var c Climate
	for i := range c {
		c[i].Typical = Day{Max: new(Celsius(33)), Min: new(Celsius(18)), HumidityMean: new(Share(.4)), Sunshine: new(Hours(9))}
		if i >= 5 && i < 10 {
			c[i].Typical = Day{Max: new(Celsius(29)), Min: new(Celsius(21)), HumidityMean: new(Share(.8)), Sunshine: new(Hours(4))}
			c[i].Rain, c[i].WetDays = 150, 12
		}
	}
	return &c
}

func TestClimateStandsInForAForecast(t *testing.T) {
	at := func(month time.Month) *Forecast {
		f, err := NewForecast(ForecastInput{Place: Place{Lat: 9}, Climate: climateOf(), From: time.Date(2031, month, 3, 9, 0, 0, 0, time.UTC)})
		require.NoError(t, err)
		return f
	}
	january, july := dried(t, DryInput{Forecast: at(time.January)}), dried(t, DryInput{Forecast: at(time.July)})
	require.True(t, january.Beyond)
	require.InDelta(t, 3.5, float64(january.Days.Likely), 1, "three to four days of sun are practice")
	require.Greater(t, july.Days.Likely, january.Days.Likely+1)

	rain, wet := Millimetre(0), 0
	july31 := time.Date(2031, time.July, 31, 0, 0, 0, 0, time.UTC)
	for d := time.Date(2031, time.July, 1, 0, 0, 0, 0, time.UTC); !d.After(july31); d = d.AddDate(0, 0, 1) {
		day := climateOf().on(d)
		rain += *day.Rain
		if *day.Rain > 0 {
			wet++
		}
	}
	require.InDelta(t, 150, float64(rain), 1e-9)
	require.Equal(t, 12, wet)
}

func TestClimateFollowsTheForecast(t *testing.T) {
	d := Day{Date: onDay(10, time.UTC)} // no temperature: the month supplies it
	f, err := NewForecast(ForecastInput{Place: Place{Lat: 9}, Days: []Day{d}, Climate: climateOf()})
	require.NoError(t, err)
	require.Equal(t, 1, f.horizon())
	require.Len(t, f.Days, longestDrying)
	require.NotZero(t, f.Days[0].Filled&TemperatureFromClimate)
	require.Equal(t, onDay(11, time.UTC), f.Days[1].Date)
	require.NotZero(t, f.Days[1].Filled&DayFromClimate)
}

func TestFreshness(t *testing.T) {
	issued := time.Date(2031, 6, 3, 4, 0, 0, 0, time.UTC)
	f := &Forecast{Issued: issued}
	for age, want := range map[time.Duration]Freshness{time.Hour: Fresh, 24 * time.Hour: Fresh, 25 * time.Hour: Old, 48 * time.Hour: Old, 49 * time.Hour: Expired} {
		require.Equal(t, want, f.Freshness(issued.Add(age)), age.String())
	}
}

// A day of 23 or 25 hours is one day.
func TestDaysAcrossAClockChange(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Brussels")
	require.NoError(t, err)
	in := ForecastInput{Place: Place{Lat: 50.8, Lon: 4.35, Zone: zone}}
	for i := range 4 {
		in.Days = append(in.Days, fairDay(time.Date(2031, 3, 29+i, 12, 0, 0, 0, zone)))
	}
	f, err := NewForecast(in)
	require.NoError(t, err)
	require.Len(t, f.Days, 4)
	at := time.Date(2031, 3, 31, 9, 0, 0, 0, zone)
	require.Equal(t, 57, f.hourOf(at))
	require.True(t, at.Equal(f.clock(57)))
}

func TestWeatherUnits(t *testing.T) {
	for _, r := range []struct {
		got  func() (float64, error)
		want float64
	}{
		{func() (float64, error) { v, err := ToCelsius(77, "°F"); return float64(v), err }, 25},
		{func() (float64, error) { v, err := ToCelsius(298.15, "K"); return float64(v), err }, 25},
		{func() (float64, error) { v, err := ToCelsius(25, "deg C"); return float64(v), err }, 25},
		{func() (float64, error) { v, err := ToMetrePerSecond(36, "km/h"); return float64(v), err }, 10},
		{func() (float64, error) { v, err := ToMetrePerSecond(10, "kn"); return float64(v), err }, 5.14444},
		{func() (float64, error) { v, err := ToMetrePerSecond(10, "mph"); return float64(v), err }, 4.4704},
		{func() (float64, error) { v, err := ToMetrePerSecond(10, "m s^-1"); return float64(v), err }, 10},
		{func() (float64, error) { v, err := ToMillimetre(4, "kg/m²"); return float64(v), err }, 4},
		{func() (float64, error) { v, err := ToMillimetre(2, "in"); return float64(v), err }, 50.8},
		{func() (float64, error) { v, err := ToShare(82, "%"); return float64(v), err }, .82},
		{func() (float64, error) { v, err := ToShare(2, "oktas"); return float64(v), err }, .25},
		{func() (float64, error) { v, err := ToMJPerSquareMetre(11.574, "W/m2"); return float64(v), err }, 1},
		{func() (float64, error) { v, err := ToMJPerSquareMetre(2e7, "J/m^2"); return float64(v), err }, 20},
		{func() (float64, error) { v, err := ToHours(32400, "s"); return float64(v), err }, 9},
	} {
		got, err := r.got()
		require.NoError(t, err)
		require.InDelta(t, r.want, got, 1e-4)
	}
	_, err := ToCelsius(20, "furlong")
	require.Equal(t, Unknown{"unit of temperature", "furlong"}, err)
}
