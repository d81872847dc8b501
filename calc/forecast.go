package calc

import (
	"cmp"
	"math"
	"strings"
	"time"
)

// Place is where the weather is.
type Place struct {
	Lat, Lon Degree // north and east positive
	Altitude Metre
	Zone     *time.Location // nil: UTC
	Coast    bool           // within some 20 km of the sea
	Arid     bool           // dry land: the night does not cool to the dew point
}

func (p Place) zone() *time.Location {
	if p.Zone == nil {
		return time.UTC
	}
	return p.Zone
}

// Day is one day of a weather forecast as it arrives. What is nil was not given.
type Day struct {
	Date time.Time // any moment of the day

	Max, Min *Celsius
	Dew      *Celsius // dew point

	HumidityMax, HumidityMin *Share
	HumidityMean             *Share
	HumidityNine             *Share // at nine in the morning

	Wind, Gust *MetrePerSecond
	WindHeight Metre // above the ground; zero: 10

	Solar    *MJPerSquareMetre // radiation on the ground
	Sunshine *Hours
	Cloud    *Share
	Code     *int // WMO 4677 as public services use it: 0 clear to 3 overcast, 45 fog, 51 drizzle, 61 rain, 80 showers, 95 thunder

	Rain       *Millimetre
	RainByHour []Millimetre // 24 clock hours; overrides Rain
	RainChance *Share
}

// Gap names what a forecast did not say and how it was filled.
type Gap uint16

// The ways gaps are filled.
const (
	DewFromHumidity        Gap = 1 << iota
	DewFromNine                // the humidity of nine o'clock
	DewFromMinimum             // the night cools to the dew point, or 2 degrees above it in dry land
	SunFromSunshine            // hours of sunshine
	SunFromCloud               // share of the sky under cloud
	SunFromCode                // weather code
	SunFromTemperature         // daily range of the temperature
	WindAssumed                // 2 m/s
	RainAssumed                // none, or its hours: 15 to 18
	DayBetween                 // a missing day: the mean of its neighbours
	DayFromClimate             // the place's monthly climate
	TemperatureFromClimate     // maximum and minimum of the month
)

// String returns the stable keys of the gaps.
func (g Gap) String() string {
	return keysOf([]string{
		"dew-from-humidity", "dew-from-nine", "dew-from-minimum", "sun-from-sunshine", "sun-from-cloud", "sun-from-code",
		"sun-from-temperature", "wind-assumed", "rain-assumed", "day-between", "day-from-climate", "temperature-from-climate",
	}, uint16(g))
}

// keysOf joins the keys of the bits that are set.
func keysOf(keys []string, set uint16) string {
	var out []string
	for i, key := range keys {
		if set&(1<<i) != 0 {
			out = append(out, key)
		}
	}
	return strings.Join(out, " ")
}

// Weather is one day with nothing missing.
type Weather struct {
	Date          time.Time // midnight at the place
	Max, Min, Dew Celsius
	Wind          MetrePerSecond // mean, 2 m above the ground
	Gust          MetrePerSecond // as forecast; zero when none was given
	Clearness     Share          // radiation on the ground per radiation above the air
	Rain          Millimetre
	RainByHour    []Millimetre // nil: its hours are not known
	RainChance    *Share       // nil: not known
	Thunder       bool
	Filled        Gap

	sun   [24]float64 // W/m2 above the air, by clock hour
	clock float64     // solar time minus clock time, hours
}

// Forecast is the weather to come at a place, complete and checked. It is not
// changed after NewForecast and may be shared.
type Forecast struct {
	Place  Place
	Issued time.Time
	Days   []Weather
}

// ForecastInput is a forecast as it arrives.
type ForecastInput struct {
	Place   Place
	Issued  time.Time
	Days    []Day     // in order; a missing day is filled from its neighbours
	Climate *Climate  // of the place, for what lies beyond the days; nil: the last day repeats
	From    time.Time // first day wanted when there are no days; zero: Issued
}

// The bounds outside which a forecast is nonsense.
var (
	airBounds  = newFigure("air temperature of a plausible forecast", Celsius(-10), 25, 55, weatherPractice)
	rainBound  = constant("most rain in a day of a plausible forecast", Millimetre(300), weatherPractice)
	windBound  = constant("most wind in a plausible forecast", MetrePerSecond(60), weatherPractice)
	warnAge    = constant("age at which a forecast is called old", Hours(24), weatherPractice)
	silenceAge = constant("age at which a forecast is no longer used", Hours(48), weatherPractice)
	calmWind   = constant("wind where none was forecast", MetrePerSecond(2), fao56("p. 63"))
	aridDew    = constant("degrees by which the night stays above the dew point in dry land", Celsius(2), fao56("eq. 48"))
)

var weatherPractice = Source{Title: "Thresholds and habits of weather services", Standing: Practice}

// NewForecast checks the days of a forecast and fills what they leave out, in
// this order: dew point, else humidity, else the night's minimum; radiation,
// else sunshine, else cloud, else weather code, else the range of the
// temperature; wind, else 2 m/s; a missing day from its neighbours; the time
// after the last day from the climate. Nonsense is refused with OutOfRange:
// temperatures outside -10 to 55 C or crossed, humidity outside 0 to 1, more
// than 300 mm of rain or 60 m/s of wind, more sunshine than there is above the
// air, days out of order or more than three missing between two.
func NewForecast(in ForecastInput) (*Forecast, error) {
	f := &Forecast{Place: in.Place, Issued: in.Issued}
	if err := in.Place.check(); err != nil {
		return nil, err
	}
	for _, d := range in.Days {
		w, err := d.fill(in.Place, in.Climate)
		if err != nil {
			return nil, err
		}
		if err := f.add(w); err != nil {
			return nil, err
		}
	}
	if in.Climate != nil {
		if err := f.extend(in); err != nil {
			return nil, err
		}
	}
	if len(f.Days) == 0 {
		return nil, OutOfRange{What: "days of forecast", Low: 1, High: longestDrying}
	}
	for i := range f.Days {
		f.Days[i].shine(in.Place)
	}
	return f, nil
}

func (p Place) check() error {
	return cmp.Or(
		within("latitude", p.Lat, -90, 90),
		within("longitude", p.Lon, -180, 180),
		within("altitude", p.Altitude, -450, 6000),
	)
}

// midnight is the start of the day that holds t at the place.
func (p Place) midnight(t time.Time) time.Time { return midnightIn(t, p.zone()) }

// midnightIn is the start of the day that holds t in a zone.
func midnightIn(t time.Time, zone *time.Location) time.Time {
	y, m, d := t.In(zone).Date()
	return time.Date(y, m, d, 0, 0, 0, 0, zone)
}

// daysBetween counts calendar days from one midnight to another; a day of 23 or
// 25 hours counts as one.
func daysBetween(from, to time.Time) int { return int(math.Round(to.Sub(from).Hours() / 24)) }

// add appends a day, and the days between that are missing.
func (f *Forecast) add(w Weather) error {
	if n := len(f.Days); n > 0 {
		before := f.Days[n-1]
		missing := daysBetween(before.Date, w.Date) - 1
		if err := within("days missing before "+w.Date.Format(time.DateOnly), Days(missing), 0, 3); err != nil {
			return err
		}
		for i := range missing {
			f.Days = append(f.Days, between(before, w, before.Date.AddDate(0, 0, i+1)))
		}
	}
	f.Days = append(f.Days, w)
	return nil
}

// between is the mean of two days, for one that is missing; what is dangerous on
// either of them may be so on it.
func between(a, b Weather, date time.Time) Weather {
	w := Weather{
		Date: date, Max: (a.Max + b.Max) / 2, Min: (a.Min + b.Min) / 2, Dew: (a.Dew + b.Dew) / 2,
		Wind: (a.Wind + b.Wind) / 2, Clearness: (a.Clearness + b.Clearness) / 2, Rain: (a.Rain + b.Rain) / 2,
		Gust: max(a.Gust, b.Gust), Thunder: a.Thunder || b.Thunder,
		Filled: a.Filled | b.Filled | DayBetween,
	}
	if a.RainChance != nil && b.RainChance != nil {
		w.RainChance = new((*a.RainChance + *b.RainChance) / 2)
	}
	return w
}

// fill checks a day and completes it; a climate supplies temperatures that are
// missing.
func (d Day) fill(p Place, c *Climate) (Weather, error) {
	w := Weather{Date: p.midnight(d.Date)}
	if (d.Max == nil || d.Min == nil) && c != nil {
		month := c[w.Date.Month()-1].Typical
		d.Max, d.Min, w.Filled = orElse(d.Max, month.Max), orElse(d.Min, month.Min), TemperatureFromClimate
	}
	if err := d.check(w.Date); err != nil {
		return w, err
	}
	w.Max, w.Min = *d.Max, *d.Min

	sky := skyOf(d.Code)
	w.Thunder = sky.thunder
	w.fillWind(d)
	w.fillRain(d, sky)
	w.fillSun(d, p, sky)
	w.fillDew(d, p)
	day := " on " + w.Date.Format(time.DateOnly)
	return w, cmp.Or(
		within("clearness of the air (radiation over that above the air)"+day, w.Clearness, 0, 1),
		within("dew point"+day, w.Dew, -60, w.Max),
	)
}

func orElse[T any](p, other *T) *T {
	if p == nil {
		return other
	}
	return p
}

func (d Day) check(date time.Time) error {
	day := " on " + date.Format(time.DateOnly)
	if d.Max == nil || d.Min == nil {
		return OutOfRange{What: "maximum or minimum temperature" + day, Got: math.NaN(), Low: float64(airBounds.Low), High: float64(airBounds.High)}
	}
	errs := []error{
		within("maximum temperature"+day, *d.Max, airBounds.Low, airBounds.High),
		within("minimum temperature"+day, *d.Min, airBounds.Low, *d.Max),
	}
	for _, share := range []struct {
		what  string
		value *Share
	}{
		{"highest humidity", d.HumidityMax},
		{"lowest humidity", d.HumidityMin},
		{"mean humidity", d.HumidityMean},
		{"humidity at nine", d.HumidityNine},
		{"cloud cover", d.Cloud},
		{"chance of rain", d.RainChance},
	} {
		errs = append(errs, known(share.what+day, share.value, 0, 1))
	}
	rain := Millimetre(0)
	for _, r := range d.RainByHour {
		errs = append(errs, within("rain of an hour"+day, r, 0, rainBound.Likely))
		rain += r
	}
	if d.RainByHour != nil {
		errs = append(errs, within("hours of rain"+day, Count(len(d.RainByHour)), 24, 24))
	}
	return cmp.Or(append(errs,
		known("wind"+day, d.Wind, 0, windBound.Likely),
		known("gust"+day, d.Gust, 0, windBound.Likely),
		within("height of the wind"+day, d.WindHeight, 0, 200),
		known("radiation"+day, d.Solar, 0, 60),
		known("sunshine"+day, d.Sunshine, 0, 24),
		known("rain"+day, d.Rain, 0, rainBound.Likely),
		within("rain"+day, rain, 0, rainBound.Likely),
	)...)
}

func (w *Weather) fillWind(d Day) {
	if d.Gust != nil {
		w.Gust = *d.Gust
	}
	if d.Wind == nil {
		w.Wind = calmWind.Likely
		w.Filled |= WindAssumed
		return
	}
	height := d.WindHeight
	if height == 0 {
		height = 10
	}
	w.Wind = *d.Wind
	if height != 2 {
		w.Wind = windAt2m(*d.Wind, height)
	}
}

func (w *Weather) fillRain(d Day, s sky) {
	switch {
	case d.RainByHour != nil:
		w.RainByHour = d.RainByHour
		for _, r := range d.RainByHour {
			w.Rain += r
		}
	case d.Rain != nil:
		w.Rain = *d.Rain
		if w.Rain > 0 {
			w.Filled |= RainAssumed
		}
	default:
		w.Filled |= RainAssumed
	}
	w.RainChance = d.RainChance
	if w.RainChance == nil && s.rain > 0 {
		w.RainChance = new(s.rain)
	}
}

func (w *Weather) fillSun(d Day, p Place, s sky) {
	above := ExtraterrestrialRadiation(p.Lat, w.Date.YearDay())
	longest := MaximumSunshine(p.Lat, w.Date.YearDay())
	switch {
	case d.Solar != nil:
		w.Clearness = Share(*d.Solar / max(above, 1e-6))
	case d.Sunshine != nil:
		w.Clearness = clearnessOfSunshine(Share(min(*d.Sunshine/max(longest, 1e-6), 1)))
		w.Filled |= SunFromSunshine
	case d.Cloud != nil:
		w.Clearness = clearnessOfCloud(*d.Cloud, p.Altitude)
		w.Filled |= SunFromCloud
	case d.Code != nil:
		w.Clearness = clearnessOfSunshine(s.sunshine)
		w.Filled |= SunFromCode
	default:
		w.Clearness = clearnessOfTemperature(w.Max, w.Min, p)
		w.Filled |= SunFromTemperature
	}
}

func (w *Weather) fillDew(d Day, p Place) {
	atMax, atMin := SaturationPressure(w.Max), SaturationPressure(w.Min)
	var ea Kilopascal
	how := DewFromHumidity
	switch {
	case d.Dew != nil:
		w.Dew = *d.Dew
		return
	case d.HumidityMax != nil && d.HumidityMin != nil: // FAO-56 eq. 17
		ea = (atMin*Kilopascal(*d.HumidityMax) + atMax*Kilopascal(*d.HumidityMin)) / 2
	case d.HumidityMax != nil: // eq. 18
		ea = atMin * Kilopascal(*d.HumidityMax)
	case d.HumidityMean != nil: // eq. 19
		ea = Kilopascal(*d.HumidityMean) * (atMax + atMin) / 2
	case d.HumidityMin != nil:
		ea = atMax * Kilopascal(*d.HumidityMin)
	case d.HumidityNine != nil:
		ea = Kilopascal(*d.HumidityNine) * SaturationPressure(w.air(9))
		how = DewFromNine
	default: // eq. 48
		w.Dew = w.Min
		if p.Arid {
			w.Dew -= aridDew.Likely
		}
		w.Filled |= DewFromMinimum
		return
	}
	w.Dew = DewPoint(max(ea, 0.001))
	w.Filled |= how
}

// sky is what a weather code says.
type sky struct {
	from           int // the code from which it holds
	sunshine, rain Share
	thunder        bool
}

func newSky(from int, name string, sunshine, rain Share) sky {
	s := sky{from: from, sunshine: constant("sunshine under "+name, sunshine, skyJudged).Likely, rain: rain}
	if rain > 0 {
		s.rain = constant("chance of rain under "+name, rain, skyJudged).Likely
	}
	s.thunder = from >= 95
	return s
}

var skyJudged = Source{Title: "Judgement of what a weather code means for the sun and the rack", Standing: Practice}

// skies reads the WMO code 4677 the way public services use it: 0 to 3 as an
// amount of cloud.
var skies = []sky{
	newSky(0, "a clear sky", .9, 0),
	newSky(1, "a mainly clear sky", .8, 0),
	newSky(2, "broken cloud", .55, 0),
	newSky(3, "an overcast sky", .25, 0),
	newSky(45, "fog", .15, 0),
	newSky(51, "drizzle", .2, .5),
	newSky(61, "rain", .2, .7),
	newSky(65, "heavy rain", .2, .9),
	newSky(71, "snow", .2, .7),
	newSky(80, "showers", .2, .6),
	newSky(95, "thunder", .2, .7),
}

func skyOf(code *int) (s sky) {
	if code == nil {
		return s
	}
	for _, row := range skies {
		if *code >= row.from {
			s = row
		}
	}
	return s
}

// Freshness says how far a forecast may still be used.
type Freshness uint8

const (
	// Fresh is younger than a day.
	Fresh Freshness = iota + 1
	// Old is said to be old; the hours rule and a look at the sky go before it.
	Old
	// Expired is not used.
	Expired
)

// String returns the stable key.
func (f Freshness) String() string { return keyed([]string{"fresh", "old", "expired"}, uint8(f)) }

// Freshness returns what the age of the forecast allows: it is old after 24 hours
// and expired after 48 (practice of weather services).
func (f *Forecast) Freshness(now time.Time) Freshness {
	switch age := now.Sub(f.Issued); {
	case age > silenceAge.Likely.Duration():
		return Expired
	case age > warnAge.Likely.Duration():
		return Old
	default:
		return Fresh
	}
}
