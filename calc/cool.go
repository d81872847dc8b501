package calc

import (
	"cmp"
	"math"
)

// charClass groups chars by the size of their pieces, which decides how fast a
// sealed drum of them cools: between coarse pieces heat radiates, in fines it
// must creep through still air. The zero class is the slowest, so that an unknown
// char is never taken for a quick one.
type charClass uint8

const (
	fines       charClass = iota // of husk, straw, leaf, sawdust; mixtures; whatever looks fine
	shellPieces                  // of broken coconut and palm kernel shell
	stalkPieces                  // of stalks and stems
	cobPieces                    // whole maize cobs
	woodPieces                   // of branches and bamboo
)

// charClassOf returns the class of the char of a waste.
func charClassOf(w Waste) charClass {
	switch w {
	case MaizeCob:
		return cobPieces
	case MaizeStalk, SorghumStalk, SunflowerStalk, CottonStalk, CassavaStem, WoodyStalk:
		return stalkPieces
	case Bamboo, Prunings:
		return woodPieces
	case CoconutShell, PalmKernelShell:
		return shellPieces
	default:
		return fines
	}
}

// charBed is what the cooling of a class depends on.
type charBed struct {
	piece Figure[Metre]              // distance over which heat radiates
	bulk  Figure[KgPerCubicMetre]    // of the char as it lies in the drum
	depth Figure[Metre]              // of the char of one drum
	still Figure[WattPerMetreKelvin] // conductivity without radiation
}

func newCharBed(name string, piece Metre, bulk Range[KgPerCubicMetre], depth Metre, still WattPerMetreKelvin) charBed {
	return charBed{
		piece: constant("char bed, "+name+": size of a piece", piece, practice.at("sizes of char pieces in a drum")),
		bulk: newFigure("char bed, "+name+": bulk density", bulk.Low, bulk.Likely, bulk.High,
			practice.at("drum fills, checked by mass balance")),
		depth: constant("char bed, "+name+": depth in a 200 L drum", depth,
			Source{Title: "Mass balance: char of one drum over its bulk density", Standing: Derived}),
		still: newFigure("char bed, "+name+": conductivity without radiation", .08, still, .12, Source{
			Title: "Judged between still air and loose char; a cold bed measured 0.030 W/mK, Santos et al. 2020, CERNE 26(1)", Standing: Derived,
		}),
	}
}

var charBeds = [...]charBed{
	fines:       newCharBed("fines", .002, Range[KgPerCubicMetre]{120, 150, 200}, .40, .08),
	shellPieces: newCharBed("shell pieces", .010, Range[KgPerCubicMetre]{170, 200, 250}, .35, .12),
	stalkPieces: newCharBed("stalk pieces", .012, Range[KgPerCubicMetre]{60, 90, 120}, .35, .08),
	cobPieces:   newCharBed("cob pieces", .028, Range[KgPerCubicMetre]{80, 100, 130}, .30, .10),
	woodPieces:  newCharBed("wood pieces", .050, Range[KgPerCubicMetre]{155, 170, 220}, .40, .12),
}

var (
	coolStart = newFigure[Celsius]("char bed when the drum is sealed", 400, 500, 600,
		Source{Title: "Effective peak temperature of a drum bed, upper half", Standing: Derived})
	coolAir = newFigure[Celsius]("air round the cooling drum", 15, 27, 35,
		practice.at("tropical day and night"))
	coolRadius = constant("inside radius of a 200 litre steel drum", drumInside.Likely/2, drumTrade)
	coolHeat   = newFigure[KilojoulePerKgKelvin]("specific heat of hot char", 1.0, 1.1, 1.3, Source{
		Title: "Judged for a hot bed; lump charcoal measured 1.017 +- 0.074 kJ/kgK, Santos et al. 2020, CERNE 26(1)", Standing: Derived,
	})
	coolExchange = constant[Share]("radiation exchange factor between pieces of char", .5,
		Source{Title: "Packed-bed heat transfer", Standing: Remembered})
	coolEmissivity = newFigure[Share]("emissivity of a rusty or sooty drum", .8, .85, .95,
		Source{Title: "Heat transfer textbooks", Standing: Remembered})
	coolFreeConvection = constant[WattPerSquareMetreKelvin]("free convection at a hot upright wall 1 K above the air; grows with the cube root", 1.31,
		Source{Title: "Turbulent vertical plate, heat transfer textbooks", Standing: Remembered})
	coolLid = constant[Share]("heat passed by gas gap and lid, against the bare wall", .5,
		Source{Title: "Two surfaces in series", Standing: Derived})
	coolFilmAt = constant[Celsius]("wall temperature at which the Biot numbers are taken", 60,
		Source{Title: "Core hours agree with a finite-volume solution within 6 % (own reference computation)", Standing: Derived})
	coolFactor = newFigure[Share]("hours of the cooling model, factor", .6, 1, 1.7,
		Source{Title: "Judged: bed conductivity dominates; no measured cooling curve of a sealed drum is known", Standing: Derived})
	coolSafe = constant[Celsius]("core temperature below which opened char is not expected to run away", 60,
		Source{Title: "A heap of char can heat itself from 80 to 100 C (Frank-Kamenetskii scaling of the 140 C, 10 cm cube test)", By: "Jones", Standing: Derived})
	coolTouch = constant[Celsius]("wall temperature a palm bears", 45,
		practice.at("palm test on a drum"))
)

// CoolInput describes a sealed drum. A zero field takes the stated default.
type CoolInput struct {
	Waste  Waste   // whose char cools; default unknown or mixed, which counts as fines
	Fine   bool    // the char looks fine, whatever the waste
	After  Hours   // since the drum was completely sealed, 0 to 240
	Air    Celsius // mean of the hours since; default 27, -10 to 40
	Start  Celsius // of the bed when sealed; default 500, 300 to 700
	Depth  Metre   // of the char; default by class, 0.15 to 0.9
	Radius Metre   // inside the drum; default 0.286, 0.15 to 0.4
	Safe   Celsius // core temperature to wait for; default 60, at least 2 above Air
	Touch  Celsius // wall temperature to wait for; default 45, at least 2 above Air
}

// CoolResult says how a sealed drum cools, and why its wall tells so little.
type CoolResult struct {
	Core, Wall       Range[Celsius] // now: After hours since sealing
	CoreSafe         Range[Hours]   // from sealing until the core is at Safe
	WallCool         Range[Hours]   // from sealing until the hottest part of the wall is at Touch
	CoreWhenWallCool Celsius        // the core at the moment the wall is at Touch
	BindingWait      Hours          // from sealing; binds whatever the other fields say
	WaitLeft         Hours          // of the binding wait, never negative
	Assumed          []*Sourced
}

// Cool computes core and wall of a sealed drum of char: temperatures now, and
// the hours until each is cool.
//
// It answers "why wait": the wall is hand-cool hours before the core. It must
// never be used to tell anyone to open earlier than BindingWait; the model rests
// on a judged bed conductivity and no measured cooling curve, and its hours carry
// a factor of 0.6 to 1.7.
//
// The hottest point is the axis at the base, the base on soil taken as insulated.
// A short cylinder with heat loss at side and top has the product solution of an
// infinite cylinder and a slab (Incropera and DeWitt, Fundamentals of Heat and
// Mass Transfer, chapter 5; from memory). Bed conductivity grows with the cube of
// the absolute temperature, k = k0 + 4 F sigma d T^3, so the solution is written
// for the Kirchhoff integral of k, and time runs with the diffusivity at the
// geometric mean of axis and bed (own derivation, held against a finite-volume
// solution in the tests). The wall temperature follows from the heat that
// arrives there.
func Cool(in CoolInput) (CoolResult, error) {
	var r CoolResult
	c, err := newCooling(&in, &r.Assumed)
	if err != nil {
		return CoolResult{}, err
	}
	r.BindingWait = in.bindingWait(&r.Assumed)
	r.WaitLeft = max(0, r.BindingWait-in.After)

	f := coolFactor
	r.Assumed = append(r.Assumed, f.Sourced())
	low, likely, high := c.at(in.After/Hours(f.Low)), c.at(in.After), c.at(in.After/Hours(f.High))
	r.Core = Range[Celsius]{low.core, likely.core, high.core}
	r.Wall = Range[Celsius]{low.wall, likely.wall, high.wall}
	safe := c.until(func(s coolState) Celsius { return s.core }, in.Safe)
	cool := c.until(func(s coolState) Celsius { return s.wall }, in.Touch)
	r.CoreSafe = As[Hours](f.Range.Scale(float64(safe)))
	r.WallCool = As[Hours](f.Range.Scale(float64(cool)))
	r.CoreWhenWallCool = c.at(cool).core
	return r, nil
}

// CoolPoint is one moment of a cooling drum, likely values.
type CoolPoint struct {
	After      Hours
	Core, Wall Celsius
}

// CoolingCurve returns n likely points (2 to 1000) from sealing to until hours (up
// to 240) by the solution of Cool, for a picture of why to wait; it is never read
// off to open before the binding wait. After in the input is not used.
func CoolingCurve(in CoolInput, until Hours, n int) ([]CoolPoint, error) {
	if n < 2 || n > 1000 {
		return nil, OutOfRange{What: "points of the curve", Got: float64(n), Low: 2, High: 1000}
	}
	in.After = until
	c, err := newCooling(&in, new([]*Sourced))
	if err != nil {
		return nil, err
	}
	points := make([]CoolPoint, n)
	for i := range points {
		h := until * Hours(i) / Hours(n-1)
		s := c.at(h)
		points[i] = CoolPoint{h, s.core, s.wall}
	}
	return points, nil
}

// coolState is the drum at one node of the solution.
type coolState struct {
	after      Hours
	core, wall Celsius
}

const (
	coolNodes      = 160
	coolNodeDecay  = .08 // decay of the slowest term of the series from node to node
	secondsPerHour = 3600
)

// cooling is the drum at growing times; beyond the last node it is as the air.
type cooling struct {
	air   Celsius
	nodes [coolNodes]coolState
}

// bed returns the bed of char in the drum.
func (in *CoolInput) bed() *charBed {
	if in.Fine {
		return &charBeds[fines]
	}
	return &charBeds[charClassOf(in.Waste)]
}

// bindingWait returns the hours before which the drum is never opened.
func (in *CoolInput) bindingWait(assumed *[]*Sourced) Hours {
	wait := mixtureWait
	if feed, err := feedOf(in.Waste); err == nil && !in.Fine {
		wait = feed.BindingWait
	}
	return or(0, wait, assumed)
}

// newCooling fills in the defaults of in, checks it and solves it.
func newCooling(in *CoolInput, assumed *[]*Sourced) (*cooling, error) {
	if in.Waste != "" {
		if _, err := feedOf(in.Waste); err != nil {
			return nil, err
		}
	}
	bed := in.bed()
	in.Air = or(in.Air, coolAir, assumed)
	in.Start = or(in.Start, coolStart, assumed)
	in.Depth = or(in.Depth, bed.depth, assumed)
	in.Radius = or(in.Radius, coolRadius, assumed)
	in.Safe = or(in.Safe, coolSafe, assumed)
	in.Touch = or(in.Touch, coolTouch, assumed)
	if err := cmp.Or(
		within("hours since sealing", in.After, 0, 240),
		within("air temperature", in.Air, -10, 40),
		within("temperature of the char when sealed", in.Start, 300, 700),
		within("depth of the char", in.Depth, .15, .9),
		within("inside radius of the drum", in.Radius, .15, .4),
		within("safe core temperature", in.Safe, in.Air+2, in.Start-1),
		within("touch temperature", in.Touch, in.Air+2, in.Start-1),
	); err != nil {
		return nil, err
	}
	*assumed = append(*assumed, bed.piece.Sourced(), bed.bulk.Sourced(), bed.still.Sourced())
	return solveCooling(in.heat(), in), nil
}

// heat returns the heat transport of the bed.
func (in *CoolInput) heat() bedHeat {
	bed := in.bed()
	return bedHeat{
		still: float64(bed.still.Likely), piece: float64(bed.piece.Likely),
		store: float64(bed.bulk.Likely) * float64(coolHeat.Likely) * 1000, air: float64(in.Air),
	}
}

func solveCooling(b bedHeat, in *CoolInput) *cooling {
	radius, depth, start := float64(in.Radius), float64(in.Depth), float64(in.Start)
	at := float64(coolFilmAt.Likely)
	biot := b.film(at) / (b.integral(at) / (at - b.air)) // per metre
	p := newProductSolution(radius, depth, biot*radius, biot*depth*float64(coolLid.Likely))
	full := b.integral(start)
	fo := coolNodeDecay / p.decay()

	c := &cooling{air: in.Air}
	c.nodes[0] = coolState{0, in.Start, in.Start}
	seconds, slow := 0.0, b.store/b.conductivity(start)
	for i := 1; i < coolNodes; i++ {
		s := p.at(fo * float64(i))
		core := b.temperature(min(s.axis, 1)*full, start)
		mid := b.temperature(math.Sqrt(min(s.axis, 1)*min(s.mean, 1))*full, start)
		wall := b.wall(s.flux*full/radius, start)
		next := b.store / b.conductivity(mid)
		seconds += (slow + next) / 2 * fo * radius * radius
		slow = next
		last := c.nodes[i-1] // the cut series ripples by a fraction of a degree in the first minutes
		core = min(core, float64(last.core))
		c.nodes[i] = coolState{Hours(seconds / secondsPerHour), Celsius(core), min(Celsius(min(wall, core)), last.wall)}
	}
	return c
}

// at returns the drum after h hours, linear between nodes.
func (c *cooling) at(h Hours) coolState {
	for i := 1; i < coolNodes; i++ {
		if a, b := c.nodes[i-1], c.nodes[i]; h <= b.after {
			f := Celsius((h - a.after) / (b.after - a.after))
			return coolState{h, a.core + f*(b.core-a.core), a.wall + f*(b.wall-a.wall)}
		}
	}
	return coolState{h, c.air, c.air}
}

// until returns the hours until what is at t or below.
func (c *cooling) until(what func(coolState) Celsius, t Celsius) Hours {
	for i := 1; i < coolNodes; i++ {
		a, b := c.nodes[i-1], c.nodes[i]
		if from, to := what(a), what(b); to <= t {
			return a.after + (b.after-a.after)*Hours((from-t)/(from-to))
		}
	}
	return c.nodes[coolNodes-1].after
}

// bedHeat is the heat transport of a bed of char and its surface, in SI units and
// degrees Celsius.
type bedHeat struct {
	still, piece float64 // W/mK, m
	store        float64 // J/m3K
	air          float64
}

// conductivity returns k0 + 4 F sigma d T^3, in W/mK.
func (b bedHeat) conductivity(t float64) float64 {
	k := t + kelvin
	return b.still + 4*float64(coolExchange.Likely)*stefanBoltzmann*b.piece*k*k*k
}

// integral returns the Kirchhoff integral of the conductivity from air to t, in W/m.
func (b bedHeat) integral(t float64) float64 {
	k, a := t+kelvin, b.air+kelvin
	return b.still*(k-a) + float64(coolExchange.Likely)*stefanBoltzmann*b.piece*(k*k*k*k-a*a*a*a)
}

// temperature inverts integral, from a start at or above the answer.
func (b bedHeat) temperature(integral, from float64) float64 {
	return descend(from, func(t float64) (float64, float64) { return b.integral(t) - integral, b.conductivity(t) })
}

// film returns the heat passed by the outside of the drum, free convection and
// radiation, in W/m2K.
func (b bedHeat) film(wall float64) float64 {
	w, a := wall+kelvin, b.air+kelvin
	return float64(coolFreeConvection.Likely)*math.Cbrt(max(0, wall-b.air)) +
		float64(coolEmissivity.Likely)*stefanBoltzmann*(w*w+a*a)*(w+a)
}

// wall returns the wall temperature at which flux, in W/m2, leaves, from a start
// at or above the answer.
func (b bedHeat) wall(flux, from float64) float64 {
	return descend(from, func(t float64) (float64, float64) {
		w := t + kelvin
		slope := 4.0/3*float64(coolFreeConvection.Likely)*math.Cbrt(t-b.air) +
			4*float64(coolEmissivity.Likely)*stefanBoltzmann*w*w*w
		return b.film(t)*(t-b.air) - flux, slope
	})
}

// descend returns the zero of a rising convex function, which Newton's steps
// approach from above without passing it. f returns value and slope.
func descend(from float64, f func(float64) (value, slope float64)) float64 {
	for range 50 {
		value, slope := f(from)
		step := value / slope
		from -= step
		if step < 1e-9 {
			break
		}
	}
	return from
}

// seriesTerms is how many terms of each series are summed; four are enough after
// a tenth of an hour, the rest serve the first minutes.
const seriesTerms = 16

// productSolution is heat conduction in a cylinder insulated at its base, from a
// uniform start: the product of the series for an infinite cylinder and a slab.
type productSolution struct {
	aspect        float64 // (radius/depth)^2
	radial, axial [seriesTerms]seriesTerm
}

// seriesTerm is one term of a series: its root and its weights at the axis or
// base, in the mean of the bed, and in the heat leaving at the wall.
type seriesTerm struct{ root, weight, mean, flux float64 }

func newProductSolution(radius, depth, biot, biotTop float64) productSolution {
	p := productSolution{aspect: radius / depth * radius / depth}
	for n := range seriesTerms {
		z, x := radialRoot(biot, n), axialRoot(biotTop, n)
		j0, j1 := math.J0(z), math.J1(z)
		c, d := 2/z*j1/(j0*j0+j1*j1), 4*math.Sin(x)/(2*x+math.Sin(2*x))
		p.radial[n] = seriesTerm{z, c, c * 2 * j1 / z, c * z * j1}
		p.axial[n] = seriesTerm{root: x, weight: d, mean: d * math.Sin(x) / x}
	}
	return p
}

// decay returns the rate of the slowest term, per Fourier number.
func (p *productSolution) decay() float64 {
	r, a := p.radial[0].root, p.axial[0].root
	return r*r + a*a*p.aspect
}

// productState is the solution at one time, as shares of the start: at the axis
// of the base, as the mean of the whole bed, and the heat leaving at the wall of
// the base (times radius over conductivity).
type productState struct{ axis, mean, flux float64 }

// at returns the solution at Fourier number fo = diffusivity x time / radius^2.
func (p *productSolution) at(fo float64) productState {
	var axis, mean, flux, axial, axialMean float64
	for n := range seriesTerms {
		r, a := &p.radial[n], &p.axial[n]
		radialLeft, axialLeft := math.Exp(-r.root*r.root*fo), math.Exp(-a.root*a.root*fo*p.aspect)
		axis += r.weight * radialLeft
		mean += r.mean * radialLeft
		flux += r.flux * radialLeft
		axial += a.weight * axialLeft
		axialMean += a.mean * axialLeft
	}
	return productState{axis * axial, mean * axialMean, flux * axial}
}

// radialRoot returns root n (from 0) of z J1(z) = biot J0(z). The zeros of J0
// and J1 interlace, so exactly one root lies in the bracket.
func radialRoot(biot float64, n int) float64 {
	return bisect(func(z float64) float64 { return z*math.J1(z) - biot*math.J0(z) },
		math.Pi*float64(n), math.Pi*(float64(n)+7.0/8))
}

// axialRoot returns root n (from 0) of x tan x = biot.
func axialRoot(biot float64, n int) float64 {
	return bisect(func(x float64) float64 { return x*math.Sin(x) - biot*math.Cos(x) },
		math.Pi*float64(n), math.Pi*(float64(n)+.5))
}

// bisect returns the zero of f between low and high to the last bit.
func bisect(f func(float64) float64, low, high float64) float64 {
	rising := f(high) > 0
	for {
		mid := low + (high-low)/2
		if mid <= low || mid >= high {
			return mid
		}
		if (f(mid) > 0) == rising {
			high = mid
		} else {
			low = mid
		}
	}
}
