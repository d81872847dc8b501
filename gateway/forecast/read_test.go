package forecast

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"maps"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/calc"
	"cobline/dialog"
)

// Invented places.
var (
	blantyre = time.FixedZone("+02", 2*3600)
	hilltop  = dialog.Place{Key: "hilltop", Name: "Hilltop", Lat: -15.8, Lon: 35, Altitude: 640, Zone: blantyre}
	lakeside = dialog.Place{Key: "lakeside", Name: "Lakeside", Lat: -.4, Lon: 34.9, Altitude: 1150, Zone: time.FixedZone("+03", 3*3600)}
)

// serviceHours is the mapping of hours.json.
var serviceHours = Mapping{
	Format: "json", Step: "hour", Rows: "properties.timeseries", Time: "time", Issued: "properties.meta.updated_at",
	Fields: map[string]string{
		"temperature": "data.instant.details.air_temperature",
		"humidity":    "data.instant.details.relative_humidity > %",
		"wind":        "data.instant.details.wind_speed",
		"gust":        "data.instant.details.wind_speed_of_gust",
		"cloud":       "data.instant.details.cloud_area_fraction > %",
		"rain":        "data.next_1_hours.details.precipitation_amount | data.next_6_hours.details.precipitation_amount",
		"rain_chance": "data.next_1_hours.details.probability_of_precipitation | data.next_6_hours.details.probability_of_precipitation > %",
	},
}

// serviceDays is that of days.json.
var serviceDays = Mapping{
	Format: "json", Time: "daily.date", Issued: "issued",
	Fields: map[string]string{
		"max": "daily.tmax > F", "min": "daily.tmin > F", "humidity": "daily.rh_mean > %", "wind": "daily.wind_10m_kmh > km/h",
		"rain": "daily.rain_in > in", "rain_chance": "daily.rain_prob > %", "sunshine": "daily.sunshine_s > s", "code": "daily.code",
		"gust": "daily.not_given",
	},
}

// stations is that of stations.csv.
var stations = Mapping{
	Format: "csv", Separator: ";", Time: "date", Layout: "DD.MM.YYYY", Place: "station",
	Fields: map[string]string{
		"max": "max", "min": "min", "humidity_nine": "rh9 > %", "wind": "wind_kmh > km/h", "rain": "rain_mm", "sunshine": "sun_h",
	},
}

func compiled(t testing.TB, m Mapping) *Reader {
	r, err := Compile(m)
	require.NoError(t, err)
	return r
}

func sample(t testing.TB, name string) []byte {
	octets, err := os.ReadFile("../../testdata/forecast/" + name)
	require.NoError(t, err)
	return octets
}

func TestHoursOfAService(t *testing.T) {
	now := time.Date(2031, 6, 3, 6, 0, 0, 0, blantyre)
	in, err := compiled(t, serviceHours).Read(sample(t, "hours.json"), hilltop, now, now)
	require.NoError(t, err)
	require.Equal(t, time.Date(2031, 6, 3, 3, 40, 0, 0, time.UTC), in.Issued.UTC())
	var dates []string
	for _, d := range in.Days {
		dates = append(dates, d.Date.Format(time.DateOnly))
	}
	require.Equal(t, []string{"2031-06-03", "2031-06-04", "2031-06-05", "2031-06-06"}, dates, "of the seventh two hours are known")

	wet := in.Days[1]
	require.InDelta(t, 27, float64(*wet.Max), .01)
	require.InDelta(t, 15, float64(*wet.Min), .01)
	require.InDelta(t, .95, float64(*wet.Cloud), 1e-9)
	require.Equal(t, calc.Share(.8), *wet.RainChance)
	require.Equal(t, calc.MetrePerSecond(5), *wet.Gust)
	for hour, rain := range wet.RainByHour { // 12 to 15 h UTC
		want := 0.0
		if hour >= 14 && hour < 17 {
			want = 2.4
		}
		require.InDelta(t, want, float64(rain), 1e-9, "%d h", hour)
	}
	// Six hours share what one row of them says.
	require.InDelta(t, 1, float64(in.Days[3].RainByHour[14]), 1e-9)
	require.InDelta(t, 1, float64(in.Days[3].RainByHour[19]), 1e-9)
	require.Zero(t, in.Days[3].RainByHour[13])

	f, err := calc.NewForecast(in)
	require.NoError(t, err)
	days, err := calc.Outlook(f, -1)
	require.NoError(t, err)
	require.Equal(t, calc.PutOut, days[0].Action)
	require.Equal(t, calc.PutOutUntil, days[1].Action)
	require.Equal(t, "14:00", days[1].RainFrom.Format("15:04"))
	require.Greater(t, days[0].Power, days[1].Power)
}

func TestDaysOfAService(t *testing.T) {
	abuja := dialog.Place{Key: "plain", Lat: 9.1, Lon: 7.2, Altitude: 420, Zone: time.FixedZone("+01", 3600)}
	now := time.Date(2031, 1, 11, 6, 0, 0, 0, abuja.Zone)
	in, err := compiled(t, serviceDays).Read(sample(t, "days.json"), abuja, now, now)
	require.NoError(t, err)
	require.Len(t, in.Days, 3)
	d := in.Days[1]
	require.Equal(t, "2031-01-12", d.Date.Format(time.DateOnly))
	// 91.4 F are 33 C, 0.05 in 1.27 mm, 14.4 km/h 4 m/s: by definition of the units.
	require.InDelta(t, 33, float64(*d.Max), 1e-9)
	require.InDelta(t, 1.27, float64(*d.Rain), 1e-9)
	require.InDelta(t, 4, float64(*d.Wind), 1e-9)
	require.InDelta(t, 7, float64(*d.Sunshine), 1e-9)
	require.Equal(t, calc.Share(.45), *d.RainChance)
	require.Equal(t, 80, *d.Code)
	require.Nil(t, in.Days[2].Wind, "null")
	require.Nil(t, d.Gust, "the service does not give it")
	f, err := calc.NewForecast(in)
	require.NoError(t, err)
	require.NotZero(t, f.Days[2].Filled&calc.WindAssumed)
}

func TestTableOfStations(t *testing.T) {
	now := time.Date(2031, 6, 3, 6, 0, 0, 0, time.UTC)
	r := compiled(t, stations)
	at, err := r.Read(sample(t, "stations.csv"), lakeside, now, now)
	require.NoError(t, err)
	require.Len(t, at.Days, 2)
	require.Equal(t, calc.Celsius(27.5), *at.Days[0].Max, "a decimal comma")
	require.Equal(t, calc.Hours(8.5), *at.Days[0].Sunshine)
	require.InDelta(t, .82, float64(*at.Days[0].HumidityNine), 1e-9)
	require.Nil(t, at.Days[1].Rain, "a dash")
	require.Equal(t, now, at.Issued)

	hill, err := r.Read(sample(t, "stations.csv"), hilltop, now, now)
	require.NoError(t, err)
	require.Equal(t, calc.Millimetre(11), *hill.Days[1].Rain)
	_, err = r.Read(sample(t, "stations.csv"), dialog.Place{Key: "nowhere"}, now, now)
	require.EqualError(t, err, "no row is of the place nowhere")
}

// FAO-56 example 18, Uccle on 6 July: 21.5 over 12.3 C, humidity 84 to 63 %, 10
// km/h at 10 m, 9.25 hours of sun give 3.9 mm of reference evaporation (3.880
// with all digits, as test suites of that method have it).
func TestExampleOfFAO56(t *testing.T) {
	uccle := dialog.Place{Key: "uccle", Lat: 50.8, Lon: 4.35, Altitude: 100}
	csv := "day,tmax,tmin,rhmax,rhmin,wind,sun\n2031-07-06,21.5,12.3,84,63,10,9.25\n"
	now := time.Date(2031, 7, 6, 3, 0, 0, 0, time.UTC)
	in, err := compiled(t, Mapping{Format: "csv", Time: "day", Fields: map[string]string{
		"max": "tmax", "min": "tmin", "humidity_max": "rhmax > %", "humidity_min": "rhmin > %", "wind": "wind > km/h", "sunshine": "sun",
	}}).Read([]byte(csv), uccle, now, now)
	require.NoError(t, err)
	f, err := calc.NewForecast(in)
	require.NoError(t, err)
	require.InDelta(t, 3.880, float64(calc.ReferenceEvaporation(f.Place, f.Days[0])), .002)
}

// ASCE-EWRI 2005, appendix C: thirty hours at Greeley. Its rows are of the hour
// that has ended.
func TestHoursOfASCE(t *testing.T) {
	file, err := os.Open("../../testdata/calc/asce-hourly.csv")
	require.NoError(t, err)
	defer file.Close()
	csv := "time,air,sun,wind\n"
	sun, coldest, warmest := 0.0, math.Inf(1), math.Inf(-1)
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		require.NoError(t, err)
		return v
	}
	for lines := bufio.NewScanner(file); lines.Scan(); {
		cells := strings.Split(lines.Text(), ",")
		if len(cells) < 8 || cells[0] != "183" && cells[0] != "184" {
			continue
		}
		at := time.Date(2032, 1, int(number(cells[0])), int(number(cells[1])), 0, 0, 0, time.UTC)
		csv += fmt.Sprintf("%s,%s,%s,%s\n", at.Format(time.DateTime), cells[2], cells[6], cells[7])
		if cells[0] == "184" {
			sun, coldest, warmest = sun+number(cells[6]), min(coldest, number(cells[2])), max(warmest, number(cells[2]))
		}
	}
	greeley := dialog.Place{Key: "greeley", Lat: 40.41, Lon: -104.78, Altitude: 1462.4, Zone: time.FixedZone("Mountain", -7*3600)}
	now := time.Date(2032, 7, 1, 16, 0, 0, 0, greeley.Zone)
	for unit, watts := range map[string]float64{"MJ/m2": 1, "W/m2": 0} {
		body := csv
		if watts == 0 { // the same as a power
			body = ""
			for line := range strings.Lines(csv) {
				cells := strings.Split(line, ",")
				if v, err := strconv.ParseFloat(cells[2], 64); err == nil {
					cells[2] = strconv.FormatFloat(v*1e6/3600, 'f', 9, 64)
				}
				body += strings.Join(cells, ",")
			}
		}
		in, err := compiled(t, Mapping{
			Format: "csv", Step: "hour", Time: "time", Sums: "before", WindHeight: 2,
			Fields: map[string]string{"temperature": "air", "solar": "sun > " + unit, "wind": "wind"},
		}).Read([]byte(body), greeley, now, now)
		require.NoError(t, err)
		require.Len(t, in.Days, 2)
		require.Nil(t, in.Days[0].Solar, "of the first day the morning is not known")
		require.InDelta(t, sun, float64(*in.Days[1].Solar), 1e-6, unit)
		require.Equal(t, calc.Celsius(coldest), *in.Days[1].Min)
		require.Equal(t, calc.Celsius(warmest), *in.Days[1].Max)
		require.Equal(t, calc.Celsius(coldest), *in.Days[0].Min, "the morning that is past is taken to be like the next")
	}
}

func TestPartialDays(t *testing.T) {
	read := func(from, until int) []calc.Day {
		csv := "at,t,rain\n"
		start := time.Date(2031, 6, 3, from, 0, 0, 0, blantyre)
		for h := range until - from {
			csv += fmt.Sprintf("%s,%d,0\n", start.Add(time.Duration(h)*time.Hour).Format(time.RFC3339), 20+h%24)
		}
		in, err := compiled(t, Mapping{Format: "csv", Step: "hour", Time: "at", Fields: map[string]string{"temperature": "t", "rain": "rain"}}).
			Read([]byte(csv), hilltop, start, start)
		require.NoError(t, err)
		return in.Days
	}
	require.Len(t, read(0, 24), 1)
	require.Len(t, read(0, 48), 2)
	require.Len(t, read(0, 24+15), 1, "a last day that ends before the afternoon")
	require.Len(t, read(0, 24+16), 2)
	require.Len(t, read(17, 48), 1, "a first day on which nothing is out any more")
	require.Equal(t, 4, read(17, 48)[0].Date.Day())
	require.Len(t, read(20, 23), 1, "better than nothing")
}

// A row that is off by hours is told with its number, and nothing is made of it.
func TestRefusals(t *testing.T) {
	now := time.Date(2031, 6, 3, 6, 0, 0, 0, blantyre)
	plain := Mapping{Format: "csv", Fields: map[string]string{"max": "max", "min": "min", "humidity": "rh", "rain": "rain", "code": "code"}}
	dated := plain
	dated.Time = "day"
	hourly := Mapping{Format: "csv", Step: "hour", Time: "at", Fields: map[string]string{"temperature": "t"}}
	rows := Mapping{Format: "json", Rows: "days", Time: "d", Fields: map[string]string{"max": "max", "min": "min"}}
	lists := Mapping{Format: "json", Time: "d", Fields: map[string]string{"max": "max", "min": "min"}}
	for name, c := range map[string]struct {
		mapping    Mapping
		body, want string
	}{
		"a word for a number":  {plain, "max,min\n28,15\nhot,15", `line 3: max is "hot", which is no number`},
		"infinite":             {plain, "max,min\nInf,15", `line 2: max is "Inf", which is no number`},
		"humidity in percent":  {plain, "max,min,rh\n28,15,82", "mean humidity on 2031-06-03 is 82; it must lie between 0 and 1"},
		"boiling":              {plain, "max,min\n86,15", "maximum temperature on 2031-06-03 is 86; it must lie between -10 and 55"},
		"crossed":              {plain, "max,min\n20,25", "minimum temperature on 2031-06-03 is 25; it must lie between -10 and 20"},
		"a flood":              {plain, "max,min,rain\n28,15,301", "rain on 2031-06-03 is 301; it must lie between 0 and 300"},
		"no temperature":       {plain, "max,rain\n28,0", "maximum or minimum temperature on 2031-06-03 is missing; it must lie between -10 and 55"},
		"no such code":         {plain, "max,min,code\n28,15,120", "line 2: code 120 is no weather code; they are 0 to 99 (WMO 4677)"},
		"no rows":              {plain, "max,min\n", "line 1: no row follows; the first line names the columns, each further line is a row"},
		"other columns":        {plain, "tmax,tmin\n28,15", "line 1: no column is one of the mapping's; there are tmax, tmin"},
		"a short line":         {plain, "max,min\n28", "record on line 2: wrong number of fields"},
		"no date column":       {dated, "max,min\n28,15", `line 1: no column is called "day"; there are max, min`},
		"no date":              {dated, "day,max,min\nsoon,28,15", `line 2: "soon" is no time; if its form is unusual, the mapping needs a layout`},
		"twice the same day":   {dated, "day,max,min\n2031-06-03,28,15\n2031-06-03,28,15", "days missing before 2031-06-03 is -1; it must lie between 0 and 3"},
		"a long gap":           {dated, "day,max,min\n2031-06-03,28,15\n2031-06-09,28,15", "days missing before 2031-06-09 is 5; it must lie between 0 and 3"},
		"past":                 {dated, "day,max,min\n2031-06-02,28,15", "its last day, 2031-06-02, is over"},
		"hours far apart":      {hourly, "at,t\n2031-06-03 06:00,20\n2031-06-03 13:00,25", "rows 1 and 2 are 7h0m0s apart; hours follow each other by 1 to 6 whole hours"},
		"hours backwards":      {hourly, "at,t\n2031-06-03 06:00,20\n2031-06-03 05:00,25", "rows 1 and 2 are -1h0m0s apart; hours follow each other by 1 to 6 whole hours"},
		"half hours":           {hourly, "at,t\n2031-06-03 06:00,20\n2031-06-03 07:30,25", "rows 1 and 2 are 1h30m0s apart; hours follow each other by 1 to 6 whole hours"},
		"nothing but unknowns": {hourly, "at,t\n2031-06-03 06:00,-", "no row says anything"},
		"no JSON":              {rows, "{", "it is not JSON"},
		"no list":              {rows, `{"days":{}}`, `no list of rows stands at "days"`},
		"a row without a time": {rows, `{"days":[{"max":28,"min":15}]}`, `row 1: no time stands at "d"`},
		"no times":             {lists, `{"max":[28],"min":[15]}`, `no list of times stands at "d"`},
		"uneven lists":         {lists, `{"d":["2031-06-03"],"max":[28,27],"min":[15]}`, `the list at "max" has 2 values, another has 1`},
		"an empty list":        {lists, `{"d":[],"max":[],"min":[]}`, "no row says anything"},
	} {
		_, err := compiled(t, c.mapping).Read([]byte(c.body), hilltop, now, now)
		require.EqualError(t, err, c.want, name)
	}
	issued := lists
	issued.Issued = "made"
	for body, want := range map[string]string{
		`{"d":["2031-06-03"],"max":[28],"min":[15]}`:                               `when it was issued does not stand at "made"`,
		`{"d":["2031-06-03"],"max":[28],"min":[15],"made":"x"}`:                    `when it was issued, "x", is no time`,
		`{"d":["2031-06-03"],"max":[28],"min":[15],"made":"2031-06-03T09:00:00Z"}`: "it was issued at 2031-06-03T09:00:00Z, which is still to come",
	} {
		_, err := compiled(t, issued).Read([]byte(body), hilltop, now, now)
		require.EqualError(t, err, want)
	}
	_, err := compiled(t, Mapping{Format: "cap"}).Read(nil, hilltop, now, now)
	require.Error(t, err)
	_, err = Plain().Read([]byte("max,min,humidty\n28,15,.5"), hilltop, now, now)
	require.ErrorContains(t, err, `line 1: no column is called "humidty"; there are cloud, code, dew`)
	long := "max,min\n" + strings.Repeat("28,15\n", maxRows+1)
	_, err = Plain().Read([]byte(long), hilltop, now, now)
	require.EqualError(t, err, "it has more than 1000 rows")
}

func TestMappingErrors(t *testing.T) {
	good := func() Mapping {
		m := serviceHours
		m.Fields = maps.Clone(m.Fields)
		return m
	}
	for key, spoil := range map[string]func(*Mapping){
		"format":             func(m *Mapping) { m.Format = "xls" },
		"step":               func(m *Mapping) { m.Step, m.Fields = "week", map[string]string{"max": "max"} },
		"sums":               func(m *Mapping) { m.Sums = "around" },
		"time":               func(m *Mapping) { m.Time = "" },
		"rows":               func(m *Mapping) { m.Format = "csv" },
		"separator":          func(m *Mapping) { m.Separator = ";" },
		"wind_height":        func(m *Mapping) { m.WindHeight = -1 },
		"zone":               func(m *Mapping) { m.Zone = "Mars/Olympus" },
		"layout":             func(m *Mapping) { m.Layout = "YYYY" },
		"fields":             func(m *Mapping) { m.Fields = nil },
		"fields.max":         func(m *Mapping) { m.Fields["max"] = "max" },
		"fields.wind":        func(m *Mapping) { m.Fields["wind"] = "wind > furlongs" },
		"fields.code":        func(m *Mapping) { m.Fields["code"] = "code > %" },
		"fields.rain":        func(m *Mapping) { m.Fields["rain"] = " " },
		"fields.temperature": func(m *Mapping) { delete(m.Fields, "temperature") },
	} {
		m := good()
		spoil(&m)
		_, err := Compile(m)
		var wrong MappingError
		require.ErrorAs(t, err, &wrong, key)
		require.Contains(t, errorKeys(err), key)
	}
	_, err := Compile(Mapping{Format: "cap", Rows: "x"})
	require.ErrorAs(t, err, new(MappingError))
	warns, err := Compile(Mapping{Format: "cap"})
	require.NoError(t, err)
	require.True(t, warns.Warns())
}

func errorKeys(err error) []string {
	var keys []string
	for _, e := range err.(interface{ Unwrap() []error }).Unwrap() {
		var m MappingError
		if errors.As(e, &m) {
			keys = append(keys, m.Key)
		}
	}
	return keys
}

// A forecast written as any table, in any units, comes back as it was.
func TestReadingUndoesWriting(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		now := time.Date(2031, 6, 3, 6, 0, 0, 0, blantyre)
		n := rapid.IntRange(1, 16).Draw(t, "days")
		var csv strings.Builder
		csv.WriteString("max,min,wind,rain\n")
		type day struct{ max, min, wind, rain float64 }
		var days []day
		for range n {
			low := rapid.Float64Range(-10, 40).Draw(t, "min")
			d := day{rapid.Float64Range(low, 55).Draw(t, "max"), low, rapid.Float64Range(0, 60).Draw(t, "wind"), rapid.Float64Range(0, 300).Draw(t, "rain")}
			days = append(days, d)
			fmt.Fprintf(&csv, "%.9f,%.9f,%.9f,%.9f\n", d.max+273.15, d.min*9/5+32, d.wind*3.6, d.rain/10)
		}
		r, err := Compile(Mapping{Format: "csv", Fields: map[string]string{"max": "max > K", "min": "min > F", "wind": "wind > km/h", "rain": "rain > cm"}})
		require.NoError(t, err)
		in, err := r.Read([]byte(csv.String()), hilltop, now, now)
		if errors.As(err, new(calc.OutOfRange)) { // the last digit beyond a bound, or air that no sky gives
			return
		}
		require.NoError(t, err)
		require.Len(t, in.Days, n)
		for i, d := range days {
			require.InDelta(t, d.max, float64(*in.Days[i].Max), 1e-6)
			require.InDelta(t, d.min, float64(*in.Days[i].Min), 1e-6)
			require.InDelta(t, d.wind, float64(*in.Days[i].Wind), 1e-6)
			require.InDelta(t, d.rain, float64(*in.Days[i].Rain), 1e-6)
		}
	})
}

// Whatever a service sends, there is a forecast that calc takes, or a sentence.
func FuzzJSON(f *testing.F) {
	f.Add(sample(f, "hours.json"), true)
	f.Add(sample(f, "days.json"), false)
	f.Add([]byte(`{"daily":{"date":["2031-01-11"],"tmax":[1e300],"tmin":["66"]}}`), false)
	f.Fuzz(func(t *testing.T, octets []byte, hourly bool) {
		m := serviceDays
		if hourly {
			m = serviceHours
		}
		fuzzed(t, m, octets)
	})
}

// Whatever is uploaded, there is a forecast that calc takes, or a sentence.
func FuzzCSV(f *testing.F) {
	f.Add(sample(f, "stations.csv"), false)
	f.Add([]byte("date;station;max;min\n03.06.2031;hilltop;1e300;-1\n"), false)
	f.Add([]byte("at,t,rain\n2031-06-03T06:00:00+02:00,20,1\n2031-06-03T07:00:00+02:00,21,1\n"), true)
	f.Fuzz(func(t *testing.T, octets []byte, hourly bool) {
		m := stations
		if hourly {
			m = Mapping{Format: "csv", Step: "hour", Time: "at", Sums: "before", Fields: map[string]string{"temperature": "t", "rain": "rain", "solar": "sun > W/m2", "humidity": "rh > %"}}
		}
		fuzzed(t, m, octets)
	})
}

func fuzzed(t *testing.T, m Mapping, octets []byte) {
	now := time.Date(2031, 6, 3, 6, 0, 0, 0, blantyre)
	for _, place := range []dialog.Place{hilltop, lakeside} {
		in, err := compiled(t, m).Read(octets, place, now, now)
		if err != nil {
			require.NotEmpty(t, err.Error())
			continue
		}
		forecast, err := calc.NewForecast(in)
		require.NoError(t, err)
		_, err = calc.Outlook(forecast, -1)
		require.NoError(t, err)
		require.False(t, slices.ContainsFunc(in.Days, func(d calc.Day) bool { return d.Max != nil && math.IsNaN(float64(*d.Max)) }))
	}
}

func TestBOMAndCase(t *testing.T) {
	now := time.Date(2031, 6, 3, 6, 0, 0, 0, blantyre)
	body := append([]byte("\xef\xbb\xbf"), bytes.ReplaceAll([]byte("Max, MIN\n28, 15\n"), []byte("\n"), []byte("\r\n"))...)
	in, err := Plain().Read(body, hilltop, now, now)
	require.NoError(t, err)
	require.Equal(t, calc.Celsius(15), *in.Days[0].Min)
}
