package calc

import (
	"math"
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

const climateHorizon = 40 // days to which a climate extends a forecast

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

var weatherPractice = Source{Title: "thresholds and habits of weather services", Standing: Practice}

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
		return nil, OutOfRange{"days of forecast", 0, 1, climateHorizon}
	}
	for i := range f.Days {
		f.Days[i].shine(in.Place)
	}
	return f, nil
}

func (p Place) check() error {
	return firstError(
		within("latitude", p.Lat, -90, 90),
		within("longitude", p.Lon, -180, 180),
		within("altitude", p.Altitude, -450, 6000),
	)
}

// firstError returns the first that is not nil.
func firstError(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// midnight is the start of the day that holds t at the place.
func (p Place) midnight(t time.Time) time.Time {
	y, m, d := t.In(p.zone()).Date()
	return time.Date(y, m, d, 0, 0, 0, 0, p.zone())
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

// between is the mean of two days, for one that is missing.
func between(a, b Weather, date time.Time) Weather {
	w := Weather{
		Date: date, Max: (a.Max + b.Max) / 2, Min: (a.Min + b.Min) / 2, Dew: (a.Dew + b.Dew) / 2,
		Wind: (a.Wind + b.Wind) / 2, Clearness: (a.Clearness + b.Clearness) / 2, Rain: (a.Rain + b.Rain) / 2,
		Filled: a.Filled | b.Filled | DayBetween,
	}
	if a.RainChance != nil && b.RainChance != nil {
		w.RainChance = new((*a.RainChance + *b.RainChance) / 2)
	}
	return w
}

// extend appends days of the climate up to the horizon.
func (f *Forecast) extend(in ForecastInput) error {
	next := in.Place.midnight(in.From)
	if in.From.IsZero() {
		next = in.Place.midnight(in.Issued)
	}
	if n := len(f.Days); n > 0 {
		next = f.Days[n-1].Date.AddDate(0, 0, 1)
	}
	for len(f.Days) < climateHorizon {
		w, err := in.Climate.on(next).fill(in.Place, nil)
		if err != nil {
			return err
		}
		w.Filled |= DayFromClimate
		f.Days = append(f.Days, w)
		next = next.AddDate(0, 0, 1)
	}
	return nil
}

// horizon counts the days that come from the forecast itself.
func (f *Forecast) horizon() int {
	for i := range f.Days {
		if f.Days[i].Filled&DayFromClimate != 0 {
			return i
		}
	}
	return len(f.Days)
}

// Month is the climate of one month at a place.
type Month struct {
	Typical Day        // a typical day; its date and rain do not count
	Rain    Millimetre // of the whole month
	WetDays Count      // days with rain; zero: none
}

// Climate is a place's January to December.
type Climate [12]Month

// on is the climate as a day of forecast. The wet days of a month are spread
// evenly over it, each with its share of the rain, so that the dry days between
// them are not lost in a mean.
func (c *Climate) on(date time.Time) Day {
	m := c[date.Month()-1]
	d := m.Typical
	d.Date, d.Rain, d.RainByHour = date, new(Millimetre(0)), nil
	length := float64(date.AddDate(0, 1, -date.Day()).Day())
	wet := min(float64(m.WetDays), length)
	until := func(day int) float64 { return math.Floor(float64(day) * wet / length) }
	if until(date.Day()) > until(date.Day()-1) {
		d.Rain = new(m.Rain / Millimetre(wet))
	}
	if d.RainChance == nil {
		d.RainChance = new(Share(wet / length))
	}
	return d
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
	return w, firstError(
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
		return OutOfRange{"maximum or minimum temperature" + day, math.NaN(), float64(airBounds.Low), float64(airBounds.High)}
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
	return firstError(append(errs,
		known("wind"+day, d.Wind, 0, windBound.Likely),
		known("gust"+day, d.Gust, 0, windBound.Likely),
		within("height of the wind"+day, d.WindHeight, 0, 200),
		known("radiation"+day, d.Solar, 0, 60),
		known("sunshine"+day, d.Sunshine, 0, 24),
		known("rain"+day, d.Rain, 0, rainBound.Likely),
		within("rain"+day, rain, 0, rainBound.Likely),
	)...)
}

func known[T ~float64](what string, v *T, low, high T) error {
	if v == nil {
		return nil
	}
	return within(what, *v, low, high)
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

// shine works out the sun above the air in each clock hour of the day.
func (w *Weather) shine(p Place) {
	s := solarDayAt(p.Lat, w.Date.YearDay())
	ahead := p.solarClock(w.Date.Add(12*time.Hour), s)
	w.clock = ahead
	for h := range w.sun {
		from, to := hourAngle(float64(h)+ahead), hourAngle(float64(h)+1+ahead)
		w.sun[h] = float64(s.between(from, to)) / 3600 * 1e6
	}
}

// sky is what a weather code says.
type sky struct {
	from           int // the code from which it holds
	sunshine, rain Share
	thunder        bool
}

// skies reads the WMO code the way public services use it (0 to 3 as an amount
// of cloud), with shares of sunshine and chances of rain that are judgement.
var skies = []sky{
	{from: 0, sunshine: 0.9},
	{from: 1, sunshine: 0.8},
	{from: 2, sunshine: 0.55},
	{from: 3, sunshine: 0.25},
	{from: 45, sunshine: 0.15},
	{from: 51, sunshine: 0.2, rain: 0.5},
	{from: 61, sunshine: 0.2, rain: 0.7},
	{from: 65, sunshine: 0.2, rain: 0.9},
	{from: 71, sunshine: 0.2, rain: 0.7},
	{from: 80, sunshine: 0.2, rain: 0.6},
	{from: 95, sunshine: 0.2, rain: 0.7, thunder: true},
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

// Member is one of the three courses the weather may take.
type Member uint8

// The members of a forecast.
const (
	DryMember Member = iota
	LikelyMember
	WetMember
	members = 3
)

// shift is how a member differs from the forecast.
type shift struct {
	max, min, dew Celsius
	clearness     Share
	rain          Millimetre // times the forecast
}

// shifts are the errors of a forecast that are taken as P10 and P90.
var shifts = [members]shift{
	DryMember:    {max: 1.5, min: 1, dew: -2, clearness: 0.5 * 0.15, rain: 0},
	LikelyMember: {rain: 1},
	WetMember:    {max: -2, min: -0.5, dew: 1.5, clearness: -0.5 * 0.2, rain: 2},
}

// in returns the day as it is in a member.
func (w Weather) in(m Member) Weather {
	s := shifts[m]
	if m == WetMember {
		w.Dew = min(w.Dew+s.dew, w.Min-0.5)
		w.Clearness = min(w.Clearness, max(w.Clearness+s.clearness, cloudy.Likely))
	} else {
		w.Dew += s.dew
		w.Clearness = max(w.Clearness, min(w.Clearness+s.clearness, sunny.Likely))
	}
	w.Max, w.Min, w.Rain = w.Max+s.max, w.Min+s.min, w.Rain*s.rain
	return w
}

// Hour is the weather of one hour.
type Hour struct {
	Air    Celsius
	Vapour Kilopascal
	Sun    WattPerSquareMetre
	Wind   MetrePerSecond // 2 m above the ground
	Rain   Millimetre     // its sum
	Clear  Share          // sunshine per that of a clear day
}

// air is the temperature at a solar time: lowest at six, highest at fifteen
// hours, two half cosines between.
func (w *Weather) air(solar float64) Celsius {
	mean, swing := (w.Max+w.Min)/2, float64(w.Max-w.Min)/2
	solar = math.Mod(solar+24, 24)
	if solar >= 6 && solar < 15 {
		return mean - Celsius(swing*math.Cos(math.Pi*(solar-6)/9))
	}
	return mean + Celsius(swing*math.Cos(math.Pi*math.Mod(solar+9, 24)/15))
}

// Hours returns the 24 clock hours of a member's day, counted from the first day
// of the forecast; before the first and after the last day those repeat.
// Temperature and sun follow the sun, the vapour pressure is that of the dew
// point, the wind blows 1.3 of its mean from 9 to 18 o'clock and 0.7 outside,
// and rain of unknown hour falls from 15 to 18 o'clock.
func (f *Forecast) Hours(m Member, day int) [24]Hour {
	forecast := &f.Days[min(max(day, 0), len(f.Days)-1)]
	w := forecast.in(m)
	wet, times := w.RainByHour, shifts[m].rain
	vapour := SaturationPressure(w.Dew)
	var hours [24]Hour
	for h := range hours {
		x := &hours[h]
		x.Air = w.air(float64(h) + 0.5 + w.clock)
		x.Vapour = min(vapour, SaturationPressure(x.Air)*0.98)
		x.Sun = WattPerSquareMetre(w.sun[h] * float64(w.Clearness))
		x.Clear = w.Clearness / sunny.Likely
		x.Wind = w.Wind * 0.7
		if h >= 9 && h < 18 {
			x.Wind = w.Wind * 1.3
		}
		switch {
		case wet != nil:
			x.Rain = wet[h] * times
		case h >= 15 && h < 18:
			x.Rain = w.Rain / 3
		}
	}
	return hours
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

// Freshness returns what the age of the forecast allows.
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

// String lists the gaps, for an officer.
func (g Gap) String() string {
	names := []string{
		"dew point from humidity", "dew point from the humidity of nine o'clock", "dew point from the minimum",
		"sun from hours of sunshine", "sun from cloud", "sun from the weather code", "sun from the temperature range",
		"wind assumed", "rain or its hours assumed", "missing day from its neighbours", "day from the climate",
		"temperature from the climate",
	}
	out := ""
	for i, name := range names {
		if g&(1<<i) != 0 {
			if out != "" {
				out += ", "
			}
			out += name
		}
	}
	return out
}
