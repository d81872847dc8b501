package calc

import "time"

// Action is what to do with the rack on a day.
type Action uint8

const (
	// PutOut is out in the open hours.
	PutOut Action = iota + 1
	// PutOutUntil is out in the morning and in before the rain.
	PutOutUntil
	// KeepCovered stays under its sheet.
	KeepCovered
	// Pack is dry: off the ground into a dry store.
	Pack
)

// String returns the stable key.
func (a Action) String() string {
	return keyed([]string{"out", "out-until", "cover", "pack"}, uint8(a))
}

// Caution is a set of things to watch on a day.
type Caution uint16

// The cautions of a day.
const (
	StayNear   Caution = 1 << iota // rain is possible
	SlowDay                        // damp air: spread thin and turn
	TieDown                        // gusts: tie sheets, weigh racks down
	ShadeFirst                     // hot dry air cracks fresh pieces: half a day of shade
	DampSpell                      // will not get dry outdoors: finish over waste heat
	Fragile                        // heavy rain crumbles pieces of less than two days
	LittleGain                     // being out brings hardly more than the sheet
	ColdNight                      // the night that follows is so cold that people take fire indoors
)

// String returns the stable keys of the cautions.
func (c Caution) String() string {
	return keysOf([]string{"stay-near", "slow-day", "tie-down", "shade-first", "damp-spell", "fragile", "little-gain", "cold-night"}, uint16(c))
}

// DayAdvice is what the weather of a day asks for, whatever is drying.
type DayAdvice struct {
	Date         time.Time
	Action       Action
	Out, In      time.Time // put out, bring in; zero when kept covered
	CoverAtNight bool      // dew or rain
	Rain         Millimetre
	RainChance   *Share    // nil: not known
	RainFrom     time.Time // first wet hour; zero: none or not known
	Wet          bool      // rain is to be expected, by day or in the evening
	Cautions     Caution
}

// DayPlan is the advice of a day for what is drying.
type DayPlan struct {
	DayAdvice
	Evening WetBasis // moisture at the end of the day, or when packed
	Gain    Share    // moisture lost by being out rather than covered
}

var rackPractice = Source{Title: "Practice of drying on racks, restated as thresholds", Standing: Practice}

var (
	rainLikely   = constant("chance of rain that brings the rack in", Share(0.4), weatherPractice)
	rainPossible = constant("chance of rain to stay near for", Share(0.2), weatherPractice)
	rainDoubtful = constant("chance under which forecast rain is not acted on", Share(0.3), weatherPractice)
	rainSure     = constant("chance of rain that keeps the rack covered", Share(0.7), weatherPractice)
	someRain     = constant("rain that brings the rack in", Millimetre(1), weatherPractice)
	heavyRain    = constant("rain that keeps the rack covered", Millimetre(5), Source{Title: "Rain taken in by a briquette: 5 mm adds an eighth of its dry mass to a briquette", Standing: Derived})
	strongGust   = constant("gust that moves sheets and racks", MetrePerSecond(10), weatherPractice)
	dewMargin    = constant("degrees over the dew point at night below which dew falls", Celsius(2), rackPractice)
	damp         = constant("humidity at fifteen hours of a slow day", Share(0.75), rackPractice)
	dampMargin   = constant("degrees of the maximum over the dew point of a slow day", Celsius(7), rackPractice)
	saturated    = constant("mean humidity of three days in which nothing dries", Share(0.85), rackPractice)
	crackingHeat = constant("maximum at which fresh pieces crack", Celsius(35), rackPractice)
	crackingAir  = constant("humidity at which fresh pieces crack", Share(0.25), rackPractice)
	nightDry     = constant("moisture below which a piece takes up water at night", WetBasis(0.15), rackPractice)
	noonIn       = constant("clock hour of bringing in before rain of unknown hour", Hours(12), rackPractice)
	coldNight    = constant("minimum of a night in which people take fire indoors", Celsius(10), rackPractice)
	shortestTime = constant("time in the open that is worth the work", Hours(3), rackPractice)
	usefulGain   = constant("gain of a day worth putting out for", Share(0.005), rackPractice)
)

const planDays = 14

// humidityAt15 is about that of the driest hour.
func (w *Weather) humidityAt15() Share {
	return min(1, RelativeHumidity(w.Max, SaturationPressure(w.Dew)))
}

func (w *Weather) meanHumidity() Share {
	return min(1, Share(SaturationPressure(w.Dew)/meanSaturation(w.Max, w.Min)))
}

// dampSpell reports three or more saturated days in a row that hold the day.
func (f *Forecast) dampSpell(day int) bool {
	wet := func(d int) bool {
		return d >= 0 && d < len(f.Days) && f.Days[d].meanHumidity() > saturated.Likely
	}
	if !wet(day) {
		return false
	}
	from, to := day, day
	for wet(from - 1) {
		from--
	}
	for wet(to + 1) {
		to++
	}
	return to-from >= 2
}

// advise reads a day of the forecast for a rack that is open from one clock hour
// until another, and returns the clock hour at which it comes in.
func (f *Forecast) advise(day, from, until int) (DayAdvice, int) {
	w := &f.Days[min(max(day, 0), len(f.Days)-1)]
	a := DayAdvice{Date: f.clock(24 * day), Action: PutOut, Rain: w.Rain, RainChance: w.RainChance}
	rain, firstWet := w.Rain, 24
	if w.RainByHour != nil {
		rain = 0
	}
	for h, x := range f.Hours(LikelyMember, day) {
		if x.Rain > 0 && h >= from {
			firstWet = min(firstWet, h)
		}
		if w.RainByHour != nil && h >= from && h <= until {
			rain += x.Rain
		}
	}
	if firstWet < 24 && w.RainByHour != nil {
		a.RainFrom = f.clock(24*day + firstWet)
	}

	chance := func(atLeast Share) bool { return w.RainChance != nil && *w.RainChance >= atLeast }
	doubtful := w.RainChance != nil && *w.RainChance < rainDoubtful.Likely
	risky := w.Thunder || rain >= someRain.Likely && !doubtful || chance(rainLikely.Likely)
	heavy := w.Thunder || risky && (rain >= heavyRain.Likely || chance(rainSure.Likely))
	in := until
	switch {
	case heavy && w.RainByHour == nil:
		in = from
	case risky && firstWet < 24:
		in = min(until, firstWet-1)
	case risky:
		in = min(until, int(noonIn.Likely))
	}
	switch {
	case Hours(in-from) < shortestTime.Likely && in < until:
		a.Action, in = KeepCovered, from
	case in < until:
		a.Action = PutOutUntil
	}
	if in > from {
		a.Out, a.In = f.clock(24*day+from), f.clock(24*day+in)
	}
	a.Wet = risky || !a.RainFrom.IsZero() && w.Rain >= someRain.Likely && !doubtful
	a.CoverAtNight = risky || w.Rain > 0 || w.Min-w.Dew < dewMargin.Likely

	a.Cautions = w.cautions()
	if !risky && chance(rainPossible.Likely) {
		a.Cautions |= StayNear
	}
	if heavy {
		a.Cautions |= Fragile
	}
	if f.dampSpell(day) {
		a.Cautions |= DampSpell
	}
	// A night is coldest at its end, which is of the next day.
	if next := &f.Days[min(max(day+1, 0), len(f.Days)-1)]; next.Min <= coldNight.Likely {
		a.Cautions |= ColdNight
	}
	return a, in
}

func (w *Weather) cautions() (c Caution) {
	if w.humidityAt15() > damp.Likely || w.Max-w.Dew < dampMargin.Likely {
		c |= SlowDay
	}
	if w.Gust >= strongGust.Likely {
		c |= TieDown
	}
	if w.hotAndDry() {
		c |= ShadeFirst
	}
	return c
}

func (w *Weather) hotAndDry() bool {
	return w.Max > crackingHeat.Likely && w.humidityAt15() < crackingAir.Likely
}

// plan advises each day from now until the body is dry, at most fourteen: out,
// out until an hour, covered, and pack at the end.
func (r *rack) plan(x float64) []DayPlan {
	plan := make([]DayPlan, 0, 8)
	today, clock := dayOf(r.now)
	began, _ := dayOf(r.start)
	for day := today; day < today+planDays && x > r.target; day++ {
		advice, in := r.forecast.advise(day, r.from, r.until)
		hours := r.forecast.Hours(LikelyMember, day)
		covered := r.spend(x, hours[clock:], clock, r.from)
		if clock >= in && advice.Action != KeepCovered {
			x, clock = covered, 0 // too late for today
			continue
		}
		p := DayPlan{DayAdvice: advice}
		if clock > r.from && p.Action != KeepCovered {
			p.Out = r.forecast.clock(r.now)
		}
		if advice.Action == KeepCovered {
			x = covered
		} else {
			x = r.spend(x, hours[clock:], clock, in)
			p.Gain = Share(DryBasis(covered).Wet() - DryBasis(x).Wet())
		}
		p.Evening = DryBasis(x).Wet()
		p.CoverAtNight = p.CoverAtNight || p.Evening < nightDry.Likely
		if day-began >= 1 || !r.briquette {
			p.Cautions &^= ShadeFirst
		}
		if day-began >= 2 || !r.briquette {
			p.Cautions &^= Fragile
		}
		if p.Action != KeepCovered && p.Gain < usefulGain.Likely && x > r.target {
			p.Cautions |= LittleGain
		}
		plan, clock = append(plan, p), 0
	}
	if x <= r.target {
		on := r.forecast.clock(24 * today)
		if len(plan) > 0 {
			on = plan[len(plan)-1].Date
		}
		plan = append(plan, DayPlan{DayAdvice: DayAdvice{Date: on, Action: Pack}, Evening: DryBasis(x).Wet()})
	}
	return plan
}

// spend carries the moisture through the rest of a day, in the sun from the
// opening hour to another and not in rain.
func (r *rack) spend(x float64, hours []Hour, clock, in int) float64 {
	for i := range hours {
		h, shelter := &hours[i], Covered
		if at := clock + i; at >= r.from && at < in && h.Rain == 0 {
			shelter = InSun
		}
		x, _ = r.step(x, h, shelter, r.gamma, secondsPerHour)
	}
	return x
}

// StandardPieces are the pieces whose drying days are kept ready for a recipe:
// the default first.
func StandardPieces() []Piece {
	return []Piece{
		Piece{}.orDefault(), Solid(.04, .04), Solid(.05, .05), Solid(.06, .06), Solid(.08, .08),
		Hollow(.06, .015, .05), Ball(.05),
	}
}

// StandardDrying computes the drying days of the StandardPieces put out on the
// first morning of a forecast, once when the forecast arrives; a recipe reads
// them from the map.
func StandardDrying(f *Forecast) (map[Piece]Range[Days], error) {
	out := make(map[Piece]Range[Days])
	for _, p := range StandardPieces() {
		in := DryInput{Forecast: f, Piece: p}
		var assumed []*Sourced
		r, moisture, err := in.rack(&assumed)
		if err != nil {
			return nil, err
		}
		days, _ := r.days(in, moisture)
		out[p] = days
	}
	return out, nil
}

// OutlookDay is one coming day for an officer.
type OutlookDay struct {
	DayAdvice
	Weather     Weather
	Power       Ratio      // sum of the drying rate of a standard piece over the open hours
	Evaporation Millimetre // reference evaporation
	Fire        FireRiskResult
}

// Outlook reads each day of a forecast for drying and for lighting. Power is
// about 0.4 on a good day and below 0.3 on a slow one; the reference evaporation
// is that of FAO-56, the fire caution that of FireRisk in the worst hour. sinceRain is the number of dry days before the first day;
// negative when nobody knows.
func Outlook(f *Forecast, sinceRain int) ([]OutlookDay, error) {
	var assumed []*Sourced
	r, _, err := DryInput{Forecast: f}.rack(&assumed)
	if err != nil {
		return nil, err
	}
	days := make([]OutlookDay, len(f.Days))
	for d := range days {
		o := &days[d]
		o.Weather = f.Days[d]
		o.DayAdvice, _ = f.advise(d, r.from, r.until)
		o.Power = r.power(d)
		o.Evaporation = ReferenceEvaporation(f.Place, o.Weather)
		if o.Fire, err = f.fireRisk(d, sinceRain); err != nil {
			return nil, err
		}
		if sinceRain >= 0 {
			sinceRain++
		}
		if o.Rain >= someRain.Likely {
			sinceRain = 0
		}
	}
	return days, nil
}

// power is the sum of rate and time over the open hours of a day, for a piece
// that is still wet but holds no liquid water: how many times its moisture over
// equilibrium would fall to 1/e.
func (r *rack) power(day int) Ratio {
	const stillWet = 0.30
	hours := r.forecast.Hours(LikelyMember, day)
	sum := 0.0
	for clock := r.from; clock < r.until; clock++ {
		h := &hours[clock]
		_, surface := r.step(stillWet, h, r.shelter(clock, h.Rain), r.gamma, secondsPerHour)
		sum += secondsPerHour * r.rate * arrhenius(surface)
	}
	return Ratio(sum)
}
