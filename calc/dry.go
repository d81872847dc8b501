package calc

import (
	"math"
	"time"
)

// Shelter is how a thing that dries meets the weather.
type Shelter uint8

// The shelters.
const (
	InSun     Shelter = iota + 1
	UnderRoof         // airy, dry, shaded
	Covered           // under a sheet or indoors
)

// String returns the stable key.
func (s Shelter) String() string { return keyed([]string{"sun", "roof", "cover"}, uint8(s)) }

// Tending is what the producer does with the rack day by day.
type Tending uint8

const (
	// SheetedAtNight is out in the sun in the open hours and under a sheet at
	// night and in rain.
	SheetedAtNight Tending = iota
	// Roofed stays under an airy roof day and night.
	Roofed
	// LeftOut stays out day and night, in rain too.
	LeftOut
)

// String returns the stable key.
func (t Tending) String() string { return keyed([]string{"sheeted", "roofed", "left-out"}, uint8(t)+1) }

var (
	dryingFit  = Source{Title: "Calibrated to three to four days of sun in a dry season; no drying curve of a charcoal briquette with its weather was found", Standing: Derived}
	rackJudged = Source{Title: "Judgement of how a piece on a rack meets sun, sky, air and rain", Standing: Practice}
	chipDrying = Source{Title: "Infrared drying of wood chips, JFFHMT 7:66", By: "Pryce et al.", Year: 2020, Standing: Read}
)

var (
	dryingDiffusivity = newFigure("diffusivity of water in a char briquette at 25 C", SquareMetrePerSecond(4e-10), 6.5e-10, 1e-9, dryingFit)
	activation        = newFigure("activation energy of drying", KilojoulePerMole(20), 34, 40, chipDrying)
	lumping           = newFigure("whole drying rate per first root of diffusion", Ratio(1), 1.25, 1.4, dryingFit)
	capillary         = newFigure("gain in rate while pores still hold liquid water", Ratio(0), 2, 4, rackJudged)
	capillaryEnd      = constant("moisture at which liquid water no longer helps", DryBasis(0.25), rackJudged)
	capillaryRun      = constant("moisture above that at which it helps in full", DryBasis(0.20), rackJudged)
	rewetting         = constant("rate of taking up water per rate of drying", Ratio(0.5), rackJudged)
	sheetedRate       = constant("rate of taking up water under a sheet per that in the open", Ratio(0.2), rackJudged)

	blackness  = constant("share of sunshine a char briquette takes in", Share(0.90), rackJudged)
	sunlit     = newFigure("share of a piece's surface that faces the sun", Share(0.22), 0.33, 0.44, rackJudged)
	skyView    = constant("share of a piece's surface that faces the sky", Share(0.35), rackJudged)
	exposure   = newFigure("share of a piece's surface that air reaches", Share(0.5), 0.8, 1, rackJudged)
	shadeLight = constant("share of sunshine under an airy roof", Share(0.12), rackJudged)

	radiantOpen   = constant("heat exchange by radiation in the open", WattPerSquareMetreCelsius(5.5), rackJudged)
	radiantHidden = constant("heat exchange by radiation under a roof or sheet", WattPerSquareMetreCelsius(3.3), rackJudged)
	rackWind      = constant("wind at the rack per wind at 2 m", Ratio(0.6), rackJudged)
	roofedWind    = constant("wind under a roof per wind at the rack", Ratio(0.5), rackJudged)
	rackWidth     = constant("width of a briquette across the wind, whatever its size", Metre(0.055), rackJudged)
	sheetedAir    = constant("heat exchange under a sheet per that in the open", Ratio(0.04), rackJudged)

	rainUptake  = constant("share of the rain on a briquette that it takes in", Share(0.7), rackJudged)
	wasteUptake = constant("share of the rain on crop waste that it takes in", Share(0.3), rackJudged)
	soaked      = constant("most water a briquette holds", DryBasis(0.70), rackJudged)

	openFrom  = constant("clock hour of putting out", Hours(8), practice)
	openUntil = constant("clock hour of covering", Hours(17), practice)
	twilight  = constant("time kept from sunrise and sunset when putting out and bringing in", Minutes(30), practice)

	dryDensity = newFigure("dry density of a hand-pressed briquette", KgPerCubicMetre(550), 650, 900, Source{Title: "Hand-pressed starch briquettes 571 to 678 and 729 to 987 kg/m3", By: "Heliyon and Energy Reports, excerpts", Standing: Read})
)

const latentHeat = 2.45e6 // J/kg, FAO-56

// body is what the drying model needs to know of one thing that dries.
type body struct {
	briquette bool
	mass      float64 // kg dry
	exposed   float64 // m2 that air reaches
	shadow    float64 // m2 that rain meets
	flow      float64 // m, width across the wind
	rate      float64 // 1/s at 25 C, without liquid water
	help      float64 // capillary
	absorbs   float64 // share of sunshine taken in
	uptake    float64 // share of rain taken in
	most      float64 // kg/kg
	sorption  Sorption
}

// exchange is the heat and water balance of a body over one step of weather.
type exchange struct {
	*body
	moisture, air, vapour float64
	heat                  float64 // W/m2 taken in from sun and sky
	loss                  float64 // W/m2/K given to air and surroundings
	transfer              float64 // kg/m2/s/kPa
	rewet                 float64
	sky                   bool // open to dew
}

func (b *body) exchange(x float64, h *Hour, s Shelter, gamma float64) exchange {
	e := exchange{body: b, moisture: x, air: float64(h.Air), vapour: float64(h.Vapour), rewet: float64(rewetting.Likely)}
	wind := float64(h.Wind) * float64(rackWind.Likely)
	light, radiant, still := float64(h.Sun), float64(radiantHidden.Likely), 1.0
	switch s {
	case InSun:
		wind, radiant, e.sky = max(0.3, wind), float64(radiantOpen.Likely), true
		t := e.air + 273.15
		emissivity := 0.34 - 0.14*math.Sqrt(max(e.vapour, 0.05))
		e.heat = -float64(skyView.Likely) * 5.670374e-8 * t * t * t * t * emissivity * max(0.2, min(1, 1.35*float64(h.Clear)-0.35))
	case UnderRoof:
		wind, light = max(0.2, wind*float64(roofedWind.Likely)), light*float64(shadeLight.Likely)
	default:
		wind, light, still = 0.1, 0, float64(sheetedAir.Likely)
		e.rewet *= float64(sheetedRate.Likely)
	}
	// Hilpert's cross flow, Re 40 to 4000, with the viscosity and conductivity
	// of air at 27 C; in calm air free convection keeps 4 W/m2/K.
	reynolds := wind * b.flow / 1.6e-5
	convection := max(4, 0.683*math.Pow(reynolds, 0.466)*0.026/b.flow) * still
	e.heat += b.absorbs * float64(sunlit.Likely) * light
	e.loss = convection + radiant
	e.transfer = convection / (gamma * latentHeat) // Lewis number 1
	return e
}

// drying is what a surface temperature brings about.
type drying struct {
	evaporation float64 // kg/m2/s that leaves, or arrives when negative
	surface     float64 // kg/m2/s the air could carry off a wet surface
	equilibrium float64 // kg/kg
	rate        float64 // 1/s
}

func (e *exchange) at(t float64) drying {
	es := saturation(t)
	d := drying{
		surface:     e.transfer * (es - e.vapour),
		equilibrium: float64(e.sorption(Celsius(t), Share(min(0.95, e.vapour/es)))),
		rate:        e.rate * arrhenius(t),
	}
	if e.moisture < d.equilibrium {
		d.rate *= e.rewet
	} else {
		d.rate *= 1 + e.help*max(0, min(1, (e.moisture-float64(capillaryEnd.Likely))/float64(capillaryRun.Likely)))
	}
	d.evaporation = e.mass * d.rate * (e.moisture - d.equilibrium) / e.exposed
	if d.evaporation >= 0 {
		d.evaporation = min(d.evaporation, max(d.surface, 0))
	}
	if e.sky && d.surface < 0 {
		d.evaporation = min(d.evaporation, d.surface)
	}
	return d
}

// surface is the temperature at which the balance is nil, to balanced. It lies
// within 20 degrees under and 50 over the air, but mostly between that of a
// surface without evaporation and a Newton step from there with the slope of a
// wet one.
func (e *exchange) surface() float64 {
	bound := func(t float64) float64 { return max(e.air-20, min(e.air+50, t)) }
	slope := e.loss + latentHeat*e.transfer*saturationSlope(Celsius(e.air))
	lo, hi := e.air-20, e.air+50
	flo, fhi := math.Inf(1), math.Inf(-1)
	t := bound(e.air + e.heat/e.loss)
	for range 2 {
		f := e.balance(t)
		if f > 0 {
			lo, flo = t, f
		} else {
			hi, fhi = t, f
		}
		t = bound(t + 1.05*f/slope)
	}
	if math.IsInf(flo, 1) {
		flo = e.balance(lo)
	}
	if math.IsInf(fhi, -1) {
		fhi = e.balance(hi)
	}
	return fallingRoot(e.balance, lo, flo, hi, fhi, balanced)
}

// arrhenius is the drying rate at a temperature over that at 25 C.
func arrhenius(t float64) float64 {
	const gas = 8.314 // J/mol/K
	return math.Exp(float64(activation.Likely) * 1e3 / gas * (1/298.15 - 1/(t+273.15)))
}

// balance is the heat left over at a surface temperature, W/m2; it falls as the
// temperature rises.
func (e *exchange) balance(t float64) float64 {
	return e.heat - e.loss*(t-e.air) - latentHeat*e.at(t).evaporation
}

const balanced = 1e-7 // W/m2

// step carries the moisture x over some seconds of weather and returns it with
// the temperature of the surface. gamma is the psychrometric constant. The
// exponential cannot pass the equilibrium and the cap cannot make x negative, so
// a step may have any length; rain counts as a sum.
func (b *body) step(x float64, h *Hour, s Shelter, gamma, seconds float64) (next, surface float64) {
	e := b.exchange(x, h, s, gamma)
	surface = e.surface()
	return e.after(surface, h, seconds), surface
}

func (e *exchange) after(surface float64, h *Hour, seconds float64) float64 {
	d, x := e.at(surface), e.moisture
	carried := d.surface * e.exposed * seconds / e.mass
	next := d.equilibrium + (x-d.equilibrium)*math.Exp(-d.rate*seconds)
	if next < x {
		next = max(next, x-max(carried, 0))
	}
	if !e.sky {
		return next
	}
	if carried < 0 {
		next = max(next, min(e.most, x-carried)) // dew
	}
	if h.Rain > 0 {
		next = e.wetted(max(next, x), h.Rain)
	}
	return next
}

// wetted is the moisture after rain on the open rack.
func (b *body) wetted(x float64, rain Millimetre) float64 {
	return min(b.most, x+b.uptake*float64(rain)*b.shadow/b.mass)
}

// pieceBody is one briquette on the rack. Rain meets a cylinder lying and a
// brick flat.
func pieceBody(p Piece, density KgPerCubicMetre) body {
	p = p.orDefault()
	shadow := p.Diameter * p.Height
	switch p.Shape {
	case BallShape:
		shadow = math.Pi / 4 * p.Diameter * p.Diameter
	case BrickShape:
		shadow = p.Length * p.Width
	}
	root, _ := p.diffusion()
	return body{
		briquette: true,
		mass:      float64(density) * float64(p.Volume()),
		exposed:   float64(exposure.Likely) * float64(p.Area()),
		shadow:    float64(shadow),
		flow:      float64(rackWidth.Likely),
		rate:      float64(lumping.Likely) * float64(dryingDiffusivity.Likely) * root,
		help:      float64(capillary.Likely),
		absorbs:   float64(blackness.Likely),
		uptake:    float64(rainUptake.Likely),
		most:      float64(soaked.Likely),
		sorption:  CharcoalEquilibrium,
	}
}

// form is how one stem, ear, leaf or shell of a crop waste lies in the sun; its
// drying rate is that of the Feedstock.
type form struct {
	width, length, flow Figure[Metre]
	density             Figure[KgPerCubicMetre] // dry
	absorbs             Figure[Share]
	most                Figure[DryBasis]
	fresh               Figure[WetBasis] // as harvested
}

var formJudged = Source{Title: "Judgement of crop wastes on the ground, with their drying rates", Standing: Derived}

func newForm(name string, width, length, flow Metre, density KgPerCubicMetre, absorbs Share, most DryBasis, fresh WetBasis) form {
	return form{
		width:   constant(name+": width", width, formJudged),
		length:  constant(name+": length", length, formJudged),
		flow:    constant(name+": width across the wind", flow, formJudged),
		density: constant(name+": dry density", density, formJudged),
		absorbs: constant(name+": share of sunshine taken in", absorbs, formJudged),
		most:    constant(name+": most water held", most, formJudged),
		fresh:   constant(name+": moisture as harvested", fresh, formJudged),
	}
}

var (
	ear       = newForm("whole cob", .025, .15, .025, 250, .6, 1.5, .35)
	leaf      = newForm("loose leaf or straw", .004, .15, .01, 150, .5, 1.5, .35)
	stalk     = newForm("whole stalk", .02, .5, .02, 130, .5, 2, .55)
	splitStem = newForm("split or chopped stalk", .01, .1, .01, 130, .5, 2, .55)
	stick     = newForm("woody stick", .02, .5, .02, 450, .5, 1.2, .45)
	shell     = newForm("thin shell", .003, .03, .01, 250, .6, 1, .25)
	halfShell = newForm("thick shell", .012, .08, .05, 900, .7, .6, .30)

	forms = map[Waste]form{
		MaizeCob: ear, MaizeStalk: stalk, MaizeHusk: leaf, RiceHusk: shell, RiceStraw: leaf,
		CoconutShell: halfShell, CoconutHusk: leaf, GroundnutShell: shell, CoffeeHusk: shell, Bagasse: leaf,
		CottonStalk: stick, SorghumStalk: stalk, SunflowerStalk: stalk, SunflowerHusk: shell, CassavaStem: stalk,
		WheatStraw: leaf, PalmKernelShell: halfShell, Bamboo: stick, WoodyStalk: stick, Sawdust: shell, Prunings: stick,
	}
	splitRate = newFigure("drying rate of split or chopped stalks at 25 C", PerHour(0.03), 0.05, 0.066, layerRate)
)

// wasteBody is one piece of a crop waste in a thin layer.
func wasteBody(f *Feedstock, split bool) (body, form) {
	fm, rate := forms[f.Waste], f.DryingRate.Likely
	density := fm.density.Likely
	if split && (fm == stalk || fm == stick) {
		fm, rate = splitStem, splitRate.Likely
	}
	d, l := float64(fm.width.Likely), float64(fm.length.Likely)
	return body{
		mass:     float64(density) * math.Pi / 4 * d * d * l,
		exposed:  float64(exposure.Likely) * math.Pi * d * (l + d/2),
		shadow:   d * l,
		flow:     float64(fm.flow.Likely),
		rate:     float64(rate) / 3600,
		absorbs:  float64(fm.absorbs.Likely),
		uptake:   float64(wasteUptake.Likely),
		most:     float64(fm.most.Likely),
		sorption: WoodEquilibrium,
	}, fm
}

// DryInput asks how long something dries in the coming weather. A zero field
// stands for the default its comment states.
type DryInput struct {
	Forecast *Forecast

	Piece   Piece           // a briquette; zero: solid, 55 mm by 50 mm
	Density KgPerCubicMetre // dry, of the briquette; zero: 650
	Waste   Waste           // a crop waste, instead of briquettes
	Split   bool            // stalks split or chopped
	Layer   Metre           // depth of a layer of waste that is turned daily; zero: thin; at most 0.3

	Moisture Range[WetBasis] // at Start; zero: 0.35, or that of the fresh waste
	Target   WetBasis        // zero: 0.08, or 0.15 for a waste
	Pace     Ratio           // rate over that of the model, as LearnPace finds it; zero: 1
	Rained   Millimetre      // rain on the open rack that a person reports

	Start       time.Time // put out; zero: the first midnight of the forecast
	Now         time.Time // zero: Start
	Tending     Tending
	From, Until int // clock hours in the open; both zero: 8 to 17, but never in the dark
}

// MemberDrying is the drying in one member of the forecast.
type MemberDrying struct {
	Reached  bool       // dry within 40 days
	Ready    time.Time  // the hour it is dry
	Days     Days       // left from Now; a day counts its open hours
	Moisture WetBasis   // at Now
	Evenings []WetBasis // at the end of each day from Start, the last one when it is dry
}

// DryResult is how long something dries.
type DryResult struct {
	Days    Range[Days]           // left from Now; 40 stands for never
	Beyond  bool                  // the likely day lies after the forecast, in monthly or repeated weather
	Members [members]MemberDrying // dry, likely, wet
	Plan    []DayPlan             // from Now until dry in the likely member
	Assumed []Sourced
}

// WholeDays rounds the days up to what is said to a producer.
func (r DryResult) WholeDays() (from, to int) {
	return int(math.Ceil(float64(r.Days.Low) - 1e-9)), int(math.Ceil(float64(r.Days.High) - 1e-9))
}

const longestDrying = 40 // days

// rack is a body in the weather of a place, and how it is tended. Hours count
// from the first midnight of the forecast by the clock, 24 to a day.
type rack struct {
	body
	forecast    *Forecast
	gamma       float64
	target      float64
	tending     Tending
	from, until int         // clock hours
	start, now  int         // hours
	curve       *[]WetBasis // of each hour, when a picture is wanted
}

// dayOf splits an hour count into the day of the forecast and the clock hour.
func dayOf(hour int) (day, clock int) {
	clock = (hour%24 + 24) % 24
	return (hour - clock) / 24, clock
}

// hourOf counts the whole hours from the first midnight of the forecast to t.
func (f *Forecast) hourOf(t time.Time) int {
	local := t.In(f.Place.zone())
	return 24*daysBetween(f.Days[0].Date, f.Place.midnight(local)) + local.Hour()
}

// clock is the time at an hour count.
func (f *Forecast) clock(hour int) time.Time {
	y, m, d := f.Days[0].Date.Date()
	return time.Date(y, m, d, hour, 0, 0, 0, f.Place.zone())
}

// openHours are the clock hours of the day of a time, or of the first day, in
// which a rack stands in the open by default: nobody is sent out in the dark.
func (f *Forecast) openHours(day time.Time) (from, until int) {
	from, until = int(openFrom.Likely), int(openUntil.Likely)
	noon := f.clock(12)
	if !day.IsZero() {
		noon = f.Place.midnight(day).Add(12 * time.Hour)
	}
	sun, err := SunTimes(f.Place.Lat, f.Place.Lon, noon)
	if err != nil || sun.PolarDay || sun.PolarNight {
		return from, until
	}
	margin := twilight.Likely.Duration()
	rise := sun.Rise.Add(margin + time.Hour - time.Nanosecond)
	return max(from, rise.Hour()), min(until, sun.Set.Add(-margin).Hour())
}

func (r *rack) shelter(clock int, rain Millimetre) Shelter {
	switch {
	case r.tending == LeftOut:
		return InSun
	case r.tending == Roofed:
		return UnderRoof
	case rain > 0 || clock < r.from || clock >= r.until:
		return Covered
	default:
		return InSun
	}
}

// elapsed is the time at an hour count in days, each by its open hours: a night
// takes none.
func (r *rack) elapsed(hour int) Days {
	day, clock := dayOf(hour)
	return Days(float64(day) + max(0, min(1, float64(clock-r.from)/float64(r.until-r.from))))
}

// run dries from moisture x in a member until the target or the longest time.
func (r *rack) run(m Member, x float64) MemberDrying {
	out := MemberDrying{Evenings: make([]WetBasis, 0, 12), Moisture: DryBasis(x).Wet()}
	var hours [24]Hour
	morning, hour, end := x, r.start, r.start+24*longestDrying
	for ; x > r.target && hour < end; hour++ {
		day, clock := dayOf(hour)
		if hour == r.start || clock == 0 {
			hours, morning = r.forecast.Hours(m, day), x
		}
		h := &hours[clock]
		x, _ = r.step(x, h, r.shelter(clock, h.Rain), r.gamma, 3600)
		if r.curve != nil {
			*r.curve = append(*r.curve, DryBasis(x).Wet())
		}
		if hour < r.now {
			out.Moisture = DryBasis(x).Wet()
		}
		if clock == 23 || x <= r.target {
			out.Evenings = append(out.Evenings, DryBasis(x).Wet())
		}
		if clock == 23 && day >= len(r.forecast.Days) && (morning-x)*float64(end-hour)/24 < x-r.target {
			break // the last day repeats, and dries too little
		}
	}
	if out.Reached = x <= r.target; !out.Reached {
		out.Days = longestDrying
		return out
	}
	out.Ready = r.forecast.clock(hour)
	out.Days = max(0, r.elapsed(hour)-r.elapsed(max(r.start, r.now)))
	return out
}

// DryOut computes how many days a briquette or a crop waste needs until it is dry,
// in the likely course of a forecast and in its dry and wet members, and what to
// do on each day. The model is a first-order (Lewis) drying law whose rate
// follows the surface temperature of the piece, capped by what the air can carry
// off: hour by hour the surface finds the temperature at which sun, sky, air and
// evaporation balance. It is calibrated to three to four days of sun in a dry
// season, not to a measured curve: own reference computation. Low and High of
// the days are the dry and wet member (P10 and P90 of the weather), widened by
// the range of the moisture; they do not hold the uncertainty of the model,
// which LearnPace takes out. Moisture 0.02 to 0.75, Pace 0.2 to 5.
func DryOut(in DryInput) (DryResult, error) {
	var out DryResult
	r, moisture, err := in.rack(&out.Assumed)
	if err != nil {
		return out, err
	}
	out.Days, out.Members = r.days(in, moisture)
	likely := out.Members[LikelyMember]
	out.Beyond = !likely.Reached || likely.Ready.After(in.Forecast.clock(24*in.Forecast.horizon()))
	out.Plan = r.plan(float64(likely.Moisture.Dry()))
	return out, nil
}

func (r *rack) days(in DryInput, moisture Range[WetBasis]) (Range[Days], [members]MemberDrying) {
	var out [members]MemberDrying
	for m := range out {
		out[m] = r.run(Member(m), r.begin(in, moisture.Likely))
	}
	likely := out[LikelyMember].Days
	days := Range[Days]{min(out[DryMember].Days, likely), likely, max(out[WetMember].Days, likely)}
	if moisture.Low != moisture.High {
		days = widened(days, r.run(LikelyMember, r.begin(in, moisture.Low)).Days,
			r.run(LikelyMember, r.begin(in, moisture.High)).Days)
	}
	return days, out
}

// DryingCurve is the moisture at the end of each hour from Start until it is dry,
// in the dry, the likely and the wet member: the picture of DryOut.
func DryingCurve(in DryInput) ([members][]WetBasis, error) {
	var curves [members][]WetBasis
	r, moisture, err := in.rack(new([]Sourced))
	if err != nil {
		return curves, err
	}
	for m := range curves {
		r.curve = &curves[m]
		r.run(Member(m), r.begin(in, moisture.Likely))
	}
	return curves, nil
}

// begin is the moisture at the start, with the rain that was reported.
func (r *rack) begin(in DryInput, w WetBasis) float64 {
	x := float64(w.Dry())
	if in.Rained > 0 {
		x = r.wetted(x, in.Rained)
	}
	return x
}

// widened adds the days of an independent cause at its own P10 and P90; where
// something is dry already, logarithms do not exist and the outermost stand.
func widened(r Range[Days], low, high Days) Range[Days] {
	if min(r.Low, low) <= 0 {
		return Range[Days]{min(r.Low, low), r.Likely, max(r.High, high)}
	}
	s := spreadOf(r)
	s.move(float64(low), float64(high))
	wide := rangeOf[Days](s)
	wide.High = min(wide.High, longestDrying)
	return wide
}

// rack checks an input and completes it.
func (in DryInput) rack(assumed *[]Sourced) (*rack, Range[WetBasis], error) {
	var none Range[WetBasis]
	if in.Forecast == nil || len(in.Forecast.Days) == 0 {
		return nil, none, OutOfRange{What: "days of forecast", Low: 1, High: longestDrying}
	}
	r := &rack{forecast: in.Forecast, gamma: psychrometricConstant(AirPressure(in.Forecast.Place.Altitude)), tending: in.Tending}
	moisture, target := in.Moisture, in.Target
	if in.Waste != "" {
		f, err := feedOf(in.Waste)
		if err != nil {
			return nil, none, err
		}
		var fm form
		r.body, fm = wasteBody(f, in.Split)
		if moisture == (Range[WetBasis]{}) {
			moisture = Exactly(or(0, fm.fresh, assumed))
		}
		target = or(target, dryEnough, assumed)
	} else {
		if err := in.Piece.Check(); err != nil {
			return nil, none, err
		}
		density := or(in.Density, dryDensity, assumed)
		if err := within("dry density of the briquette", density, 100, 2000); err != nil {
			return nil, none, err
		}
		r.body = pieceBody(in.Piece, density)
		if moisture == (Range[WetBasis]{}) {
			moisture = Exactly(or(0, handMix, assumed))
		}
		target = or(target, readyPiece, assumed)
	}
	pace := in.Pace
	if pace == 0 {
		pace = 1
	}
	r.rate *= float64(pace) / slowing(in.Layer)
	r.target = float64(target.Dry())
	r.from, r.until = in.From, in.Until
	if r.from == 0 && r.until == 0 {
		*assumed = append(*assumed, openFrom.Sourced(), openUntil.Sourced())
		r.from, r.until = in.Forecast.openHours(in.Start)
	}
	if !in.Start.IsZero() {
		r.start = in.Forecast.hourOf(in.Start)
	}
	r.now = r.start
	if !in.Now.IsZero() {
		r.now = max(r.start, in.Forecast.hourOf(in.Now))
	}
	return r, moisture, firstError(
		ranged("moisture (wet basis)", moisture, 0.02, 0.75),
		within("target moisture (wet basis)", target, 0.02, 0.5),
		within("pace of drying", pace, 0.2, 5),
		within("depth of the layer in metres", in.Layer, 0, 0.3),
		within("rain", in.Rained, 0, rainBound.Likely),
		within("hour of putting out", float64(r.from), 0, 23),
		within("hour of covering", float64(r.until), float64(r.from+1), 24),
		within("days since it was put out", Days(r.now-r.start)/24, 0, longestDrying),
		within("days from the forecast to putting out", Days(r.start)/24, -longestDrying, longestDrying),
	)
}

// slowing is how much longer a deep layer takes that is turned daily: twice at
// 10 cm, four times at 30 cm.
func slowing(depth Metre) float64 {
	const thin = 0.03
	switch d := float64(depth); {
	case d <= thin:
		return 1
	case d <= 0.10:
		return 1 + (d-thin)/(0.10-thin)
	default:
		return 2 + (d-0.10)/0.10
	}
}
