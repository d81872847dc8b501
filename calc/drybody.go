package calc

import "math"

var (
	dryingFit  = Source{Title: "Calibrated to three to four days of sun in a dry season; no drying curve of a charcoal briquette with its weather was found", Standing: Derived}
	rackJudged = Source{Title: "Judgement of how a piece on a rack meets sun, sky, air and rain", Standing: Practice}
	chipDrying = Source{Title: "Infrared drying of wood chips, JFFHMT 7:66", By: "Pryce et al.", Year: 2020, At: "34.05 kJ/mol", Standing: Read}
)

var (
	dryingDiffusivity = newFigure("diffusivity of water in a char briquette at 25 C", SquareMetrePerSecond(4e-10), 6.5e-10, 1e-9, dryingFit)
	activation        = newFigure("activation energy of drying", KilojoulePerMole(20), 34, 40, chipDrying.judged("34.05 kJ/mol; spread by judgement"))
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

	radiantOpen   = constant("heat exchange by radiation in the open", WattPerSquareMetreKelvin(5.5), rackJudged)
	radiantHidden = constant("heat exchange by radiation under a roof or sheet", WattPerSquareMetreKelvin(3.3), rackJudged)
	rackWind      = constant("wind at the rack per wind at 2 m", Ratio(0.6), rackJudged)
	roofedWind    = constant("wind under a roof per wind at the rack", Ratio(0.5), rackJudged)
	openAir       = constant("least movement of the air at a rack in the open", MetrePerSecond(0.3), rackJudged)
	roofedAir     = constant("least movement of the air under a roof", MetrePerSecond(0.2), rackJudged)
	stillAir      = constant("movement of the air under a sheet", MetrePerSecond(0.1), rackJudged)
	freeExchange  = constant("heat exchange of a piece in calm air", WattPerSquareMetreKelvin(4), rackJudged)
	rackWidth     = constant("width of a briquette across the wind, whatever its size", Metre(0.055), rackJudged)
	sheetedAir    = constant("heat exchange under a sheet per that in the open", Ratio(0.04), rackJudged)

	rainUptake  = constant("share of the rain on a briquette that it takes in", Share(0.7), rackJudged)
	wasteUptake = constant("share of the rain on crop waste that it takes in", Share(0.3), rackJudged)
	soaked      = constant("most water a briquette holds", DryBasis(0.70), rackJudged)

	dryDensity = newFigure("dry density of a hand-pressed briquette", KgPerCubicMetre(550), 650, 900, Source{Title: "Hand-pressed starch briquettes 571 to 678 and 729 to 987 kg/m3", By: "Heliyon and Energy Reports, excerpts", At: "judged among them", Standing: Derived})
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

	last   drying // at lastAt, so that the solution need not be computed again
	lastAt float64
}

func (b *body) exchange(x float64, h *Hour, s Shelter, gamma float64) exchange {
	e := exchange{body: b, moisture: x, air: float64(h.Air), vapour: float64(h.Vapour), rewet: float64(rewetting.Likely)}
	wind := float64(h.Wind) * float64(rackWind.Likely)
	light, radiant, still := float64(h.Sun), float64(radiantHidden.Likely), 1.0
	switch s {
	case InSun:
		wind, radiant, e.sky = max(float64(openAir.Likely), wind), float64(radiantOpen.Likely), true
		t := e.air + kelvin
		emissivity := 0.34 - 0.14*math.Sqrt(max(e.vapour, 0.05))
		e.heat = -float64(skyView.Likely) * stefanBoltzmann * t * t * t * t * emissivity * max(0.2, min(1, 1.35*float64(h.Clear)-0.35))
	case UnderRoof:
		wind = max(float64(roofedAir.Likely), wind*float64(roofedWind.Likely))
		light *= float64(shadeLight.Likely)
	default:
		wind, light, still = float64(stillAir.Likely), 0, float64(sheetedAir.Likely)
		e.rewet *= float64(sheetedRate.Likely)
	}
	// Hilpert's cross flow, Re 40 to 4000, with the viscosity and conductivity
	// of air at 27 C, from memory; in calm air free convection stands in.
	reynolds := wind * b.flow / 1.6e-5
	convection := max(float64(freeExchange.Likely), 0.683*math.Pow(reynolds, 0.466)*0.026/b.flow) * still
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
// at most 50 degrees over the air, and under it by no more than 40: a wet bulb in
// desert air is 30 lower. Mostly one Newton step from the temperature of a
// surface without evaporation crosses it.
func (e *exchange) surface() float64 {
	lowest, highest := e.air-40, e.air+50
	bound := func(t float64) float64 { return max(lowest, min(highest, t)) }
	lo, hi := lowest, highest
	flo, fhi := math.Inf(1), math.Inf(-1)
	t, overshoot := bound(e.air+e.heat/e.loss), 1.1
	for range 3 {
		f := e.balance(t)
		if f > 0 {
			lo, flo = t, f
		} else {
			hi, fhi = t, f
		}
		if !math.IsInf(flo, 1) && !math.IsInf(fhi, -1) {
			return fallingRoot(e.balance, lo, flo, hi, fhi, balanced)
		}
		t = bound(t + overshoot*f/e.slope())
		overshoot *= 2
	}
	if math.IsInf(flo, 1) {
		flo = e.balance(lo)
	}
	if math.IsInf(fhi, -1) {
		fhi = e.balance(hi)
	}
	return fallingRoot(e.balance, lo, flo, hi, fhi, balanced)
}

// slope is about how fast the balance falls where it was last taken: with the vapour pressure of a wet
// surface, or with the inner rate where that limits, whose equilibrium falls some
// four per cent a degree.
func (e *exchange) slope() float64 {
	t, d := e.lastAt, &e.last
	if d.evaporation >= d.surface {
		return e.loss + latentHeat*e.transfer*saturationSlope(Celsius(t))
	}
	faster := float64(activation.Likely) * 1e3 / gasConstant / ((t + kelvin) * (t + kelvin))
	return e.loss + latentHeat*(max(0, d.evaporation)*faster+e.mass*d.rate/e.exposed*d.equilibrium*0.04)
}

// arrhenius is the drying rate at a temperature over that at 25 C.
func arrhenius(t float64) float64 {
	return math.Exp(float64(activation.Likely) * 1e3 / gasConstant * (1/(25+kelvin) - 1/(t+kelvin)))
}

// balance is the heat left over at a surface temperature, W/m2; it falls as the
// temperature rises.
func (e *exchange) balance(t float64) float64 {
	e.last, e.lastAt = e.at(t), t
	return e.heat - e.loss*(t-e.air) - latentHeat*e.last.evaporation
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
	d, x := e.last, e.moisture
	if surface != e.lastAt {
		d = e.at(surface)
	}
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

// wetted is the moisture after rain on the open rack; what is wetter than rain
// can make it stays so.
func (b *body) wetted(x float64, rain Millimetre) float64 {
	return max(x, min(b.most, x+b.uptake*float64(rain)*b.shadow/b.mass))
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
		rate:     float64(rate) / secondsPerHour,
		absorbs:  float64(fm.absorbs.Likely),
		uptake:   float64(wasteUptake.Likely),
		most:     float64(fm.most.Likely),
		sorption: WoodEquilibrium,
	}, fm
}
