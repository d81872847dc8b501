package calc

import (
	"cmp"
	"math"
	"math/rand/v2"
)

var (
	brandRatio = newFigure[Ratio]("half-charred pieces per char", .031, .087, .25,
		hung.judged("3.95 % part-charred beside 48.25 % char at the best setting; spread by judgement"))
	brandMass = newFigure[Share]("mass of a half-charred piece, of its dry feed", .45, .55, .70,
		miles.judged("40 % of wood is left at 300 C, more below; judged between"))
	lateBurn = newFigure[Kg]("char burnt in ten minutes by the air of an open drum", .15, .25, .40,
		Source{Title: "Draught of a hot column of 0.86 m through 3 to 7 g/s of air, to CO2", Standing: Derived})
	earlyMiss = newFigure[Share]("feed left half-charred by covering ten minutes early", .04, .08, .16, judged.at(
		"the front passes the charge in 8 to 30 minutes, and the hold under the lid makes good most of what is missed"))
	coarseShare = constant[Share]("coarse waste that keeps a mixture open, of its volume", .5, practice.at("40 to 50 % or more"))
	mixtureWait = constant[Hours]("wait from sealing to opening of a mixture, an unknown waste or char that looks fine", 24, fineWait)
)

// The uncertain causes of what a charge gives.
const (
	amount = iota // litres, or kilograms when the mass is known
	density
	moisture
	dryYield
	lossByMoisture
	feedAsh
	retention
	volatileDAF
	brands
	burntLate
	missedEarly
	halfCharred
	causes
)

// What a charge gives.
const (
	feedMass = iota
	dryMass
	looseVolume
	charMass
	unburntMass
	charYield
	yieldKept
	ashShare
	fixedShare
	volatileShare
	charHeat
	outcomes

	products = fixedShare // those before it are products of their causes
)

type (
	causeValues   [causes]float64
	outcomeValues [outcomes]float64
	outcomeRanges [outcomes]Range[float64]
)

// charge is a load on its way through the drum: of one waste, or of the parts
// of a mixture.
type charge struct {
	feed  *Feedstock
	parts []*charge // of a mixture, whose feed is nil

	drums       Count
	even        bool      // the feed is spread over the drums, instead of filling all but the last
	full        Range[Kg] // moist waste in a full drum; of a mixture, the likely mass alone
	suitability Suitability
	wait        Hours
	wettest     Range[WetBasis]

	weighed     bool // the amount is a mass
	causes      [causes]Range[float64]
	bed         Celsius
	bedRatio    float64 // yield at the bed temperature and burn-off of this burn, to the default's
	late        Minutes
	ownVolatile bool    // volatile matter is not that of the default burn
	lateShare   float64 // of the drums' late burning that falls on this part
	brief       bool    // what is drawn is not asked for
	assumed     []*Sourced
}

// set loads the charge as asked.
func (c *charge) set(in LoadInput) error {
	c.assumed = make([]*Sourced, 0, 24)
	drum := or(in.Drum, standardDrum, &c.assumed)
	if err := cmp.Or(
		within("litres of a drum", drum, 50, 400),
		withinOrZero("drums", in.Drums, 1, mostDrums.Likely),
	); err != nil {
		return err
	}
	if in.Mass != (Range[Kg]{}) {
		if err := ranged("kilograms of waste", in.Mass, .1, mostWaste.Likely); err != nil {
			return err
		}
	}
	if in.Volume != (Range[Litre]{}) {
		if err := ranged("litres of waste", in.Volume, 1, Litre(mostDrums.Likely)*drum); err != nil {
			return err
		}
	}
	if len(in.Fills) > 0 {
		return c.setMixture(in, drum)
	}
	if err := c.setWaste(in.Waste, either(in.Moisture, dryFeed, &c.assumed), drum); err != nil {
		return err
	}
	c.assumed = append(c.assumed, c.feed.Density.Sourced())
	c.setAmount(in, Litre(float64(drum)*float64(c.feed.Fill.Likely)))
	return nil
}

// setWaste makes the charge one waste of moisture w, whose amount is not set yet.
func (c *charge) setWaste(waste Waste, w Range[WetBasis], drum Litre) error {
	f, err := feedOf(waste)
	if err != nil {
		return err
	}
	if err := ranged("moisture on wet basis", w, 0, wettestFeed.Likely); err != nil {
		return err
	}
	*c = charge{
		feed: f, suitability: f.Suitability, wait: f.BindingWait.Likely, wettest: w,
		bed: bedTemperature.Likely, bedRatio: 1, lateShare: 1, assumed: c.assumed, brief: c.brief,
	}
	moist := Range[float64]{airDryOf(w.Low), airDryOf(w.Likely), airDryOf(w.High)}
	c.full = rangeOf[Kg](spreadOf(f.Density.Range).times(spreadOf(usableFill.Range)).times(spreadOf(moist))).
		Scale(float64(drum) / 1000 * float64(f.Fill.Likely))
	c.causes = [causes]Range[float64]{
		density:        As[float64](f.Density.Range),
		moisture:       As[float64](w),
		lossByMoisture: As[float64](yieldLoss.Range),
		feedAsh:        As[float64](f.Ash.Range),
		retention:      As[float64](ashRetention.Range),
		volatileDAF:    As[float64](charVolatile.Range),
		brands:         As[float64](brandRatio.Range),
	}
	return nil
}

// setAmount decides how much there is: a mass, a volume, or what fills drums of
// which each has room.
func (c *charge) setAmount(in LoadInput, room Litre) {
	switch {
	case in.Mass != Range[Kg]{}:
		c.weighed, c.causes[amount] = true, As[float64](in.Mass)
		c.drums = loads(float64(in.Mass.Likely / c.full.Likely))
	case in.Volume != Range[Litre]{}:
		c.causes[amount] = As[float64](in.Volume)
		c.drums = loads(float64(in.Volume.Likely / room))
	default:
		c.drums = max(in.Drums, 1)
		c.causes[amount] = As[float64](usableFill.Scale(float64(room) * float64(c.drums)))
		c.assumed = append(c.assumed, usableFill.Sourced())
	}
	c.even = in.Drums != 0 || c.drums == 1
	if in.Drums != 0 {
		c.drums = in.Drums
	}
}

// loads rounds up to whole drums; a drum that is full but for rounding is full.
func loads(drums float64) Count { return Count(math.Ceil(drums - 1e-9)) }

// wastes counts the wastes of a charge.
func (c *charge) wastes() int { return max(1, len(c.parts)) }

// waste is one of them: a part of a mixture, or the charge itself.
func (c *charge) waste(i int) *charge {
	if c.parts == nil {
		return c
	}
	return c.parts[i]
}

// setYield takes the yields of the wastes, or a producer's own.
func (c *charge) setYield(own Range[Share]) error {
	for i := range c.wastes() {
		p := c.waste(i)
		y := either(own, p.feed.Yield, &c.assumed)
		if err := ranged("yield of dry waste", y, .05, .60); err != nil {
			return err
		}
		p.causes[dryYield] = As[float64](y)
	}
	c.assumed = append(c.assumed, yieldLoss.Sourced(), charVolatile.Sourced(), brandRatio.Sourced())
	return nil
}

// conserve sees to it that no char holds more fixed carbon than its feed can
// make. A yield beyond that means under-charred char, which holds the more
// volatile matter.
func (c *charge) conserve() {
	for i := range c.wastes() {
		p := c.waste(i)
		x := p.likely()
		o := p.burn(&x)
		charred := o[charYield] * (1 - o[ashShare])
		least := func(yfc Share) float64 { return 1 - float64((1-p.feed.Ash.Likely)*yfc)/charred }
		yfc, v := p.feed.FixedCarbonYield, &p.causes[volatileDAF]
		if least(yfc.Likely) > v.Likely {
			*v = Range[float64]{max(v.Low, least(yfc.High)), least(yfc.Likely), max(v.High, least(yfc.Low))}
			p.ownVolatile = true
		}
	}
}

// setBed moves yield and volatile matter to another bed temperature and burn-off.
func (c *charge) setBed(bed Celsius, burnt Share) error {
	if bed == 0 && burnt == 0 {
		return nil
	}
	t, b := cmp.Or(bed, bedTemperature.Likely), cmp.Or(burnt, burnOff.Likely)
	if err := cmp.Or(bedWithin(t), burnOffWithin(b)); err != nil {
		return err
	}
	for i := range c.wastes() {
		p := c.waste(i)
		p.bed = t
		p.bedRatio = float64(p.feed.pyrolysisYield(t, b) / p.feed.pyrolysisYield(bedTemperature.Likely, burnOff.Likely))
		v := p.causes[volatileDAF].Scale(float64(volatileAt(t) / volatileAt(bedTemperature.Likely)))
		p.causes[volatileDAF] = Range[float64]{v.Low, v.Likely, min(v.High, .9)}
		p.ownVolatile = true
	}
	return nil
}

// setLate covers later or, if negative, sooner than ready.
func (c *charge) setLate(late Minutes) error {
	if err := within("minutes covered late", late, -30, 120); err != nil {
		return err
	}
	if late == 0 {
		return nil
	}
	total := 0.
	comb := func(p *charge) float64 {
		x := p.likely()
		o := p.burn(&x)
		return o[charMass] * (1 - o[ashShare])
	}
	for i := range c.wastes() {
		total += comb(c.waste(i))
	}
	for i := range c.wastes() {
		p := c.waste(i)
		p.lateShare = comb(p) / total * float64(c.drums)
		p.late = late
		p.causes[burntLate] = As[float64](lateBurn.Range)
		p.causes[missedEarly] = As[float64](earlyMiss.Range)
		p.causes[halfCharred] = As[float64](brandMass.Range)
	}
	return nil
}

// airDryOf is the mass of moist waste per mass of the same waste air dry.
func airDryOf(w WetBasis) float64 { return float64(fillMoisture.Likely.massAt(w)) }

func (c *charge) likely() (x causeValues) {
	for i, r := range c.causes {
		x[i] = r.Likely
	}
	return x
}

// burn computes what one draw of the causes gives of one waste.
func (c *charge) burn(x *causeValues) (o outcomeValues) {
	w := WetBasis(x[moisture])
	if c.weighed {
		o[feedMass] = x[amount]
		o[looseVolume] = 1000 * x[amount] / x[density] / airDryOf(w)
	} else {
		o[looseVolume] = x[amount]
		o[feedMass] = x[amount] / 1000 * x[density] * airDryOf(w)
	}
	o[dryMass] = float64(w.DryOf(Kg(o[feedMass])))

	kept := keptAt(w, x[lossByMoisture])
	ash := x[feedAsh] * x[retention]
	least := ash / float64(mostCharAsh.Likely)
	y := max(x[dryYield]*kept*c.bedRatio, least)
	y = max(ash+c.leftLate(x, o[dryMass], y-ash), least)
	early := c.missed(x)
	o[yieldKept] = min(kept, 1)
	o[charYield] = y * (1 - early)
	o[charMass] = o[dryMass] * o[charYield]
	o[unburntMass] = o[charMass]*x[brands] + o[dryMass]*early*x[halfCharred]

	p := composition(ash/y, x[volatileDAF])
	o[ashShare], o[fixedShare], o[volatileShare] = float64(p.Ash), float64(p.FixedCarbon), float64(p.Volatile)
	o[charHeat] = float64(p.heat())
	return o
}

// leftLate is what of the combustible part of the yield is left by covering
// late. The air that a drum draws sets the rate, so the less there is, the
// greater the part that goes.
func (c *charge) leftLate(x *causeValues, dry, combustible float64) float64 {
	if c.late <= 0 {
		return combustible
	}
	burnt := x[burntLate] * float64(c.late) / 10 * c.lateShare
	return combustible * math.Exp(-burnt/(dry*combustible))
}

// missed is the part of the feed left half-charred by covering early.
func (c *charge) missed(x *causeValues) float64 {
	if c.late >= 0 {
		return 0
	}
	return 1 - math.Pow(1-x[missedEarly], -float64(c.late)/10)
}

// covering returns the char that ten minutes later or sooner cost a charge.
func (c *charge) covering() (late, early Range[Kg]) {
	char, combustible := 0., 0.
	for i := range c.wastes() {
		p := c.waste(i)
		x := p.likely()
		o := p.burn(&x)
		char += o[charMass]
		combustible += o[charMass] * (1 - o[ashShare])
	}
	burnt := func(kg Kg) Kg { return Kg(combustible * -math.Expm1(-float64(kg)*float64(c.drums)/combustible)) }
	late = Range[Kg]{burnt(lateBurn.Low), burnt(lateBurn.Likely), burnt(lateBurn.High)}
	return late, As[Kg](earlyMiss.Scale(char))
}

// ranges combines the causes: each is moved to its P10 and P90 alone, and their
// effects on every outcome are added on the logarithms. What is not ash is
// shared between fixed carbon and volatile matter, which is no product, so the
// two and the heating value are drawn. A mixture is a sum, and drawn whole.
func (c *charge) ranges() (out outcomeRanges) {
	if c.parts != nil {
		return c.mixed()
	}
	x := c.likely()
	var s [products]spread
	likely := c.burn(&x)
	for j := range s {
		s[j].likely = likely[j]
	}
	for i, r := range c.causes {
		if r.Low == r.High {
			continue
		}
		x[i] = r.Low
		low := c.burn(&x)
		x[i] = r.High
		high := c.burn(&x)
		x[i] = r.Likely
		for j := range s {
			s[j].move(low[j], high[j])
		}
	}
	for j := range s {
		out[j] = rangeOf[float64](s[j])
	}
	if c.brief {
		return out
	}
	volatile := &drawnVolatile
	if c.ownVolatile {
		own := drawOf(c.causes[volatileDAF])
		volatile = &own
	}
	var drawn [outcomes - products][draws]float64
	for k := range plane {
		p := composition(s[ashShare].at(plane[k][0]), volatile[k])
		drawn[fixedShare-products][k] = float64(p.FixedCarbon)
		drawn[volatileShare-products][k] = float64(p.Volatile)
		drawn[charHeat-products][k] = float64(p.heat())
	}
	for j := range drawn {
		out[products+j] = around(&drawn[j], likely[products+j])
	}
	return out
}

// drawnVolatile is the volatile matter of char at the points of the plane.
var drawnVolatile = drawOf(As[float64](charVolatile.Range))

func drawOf(r Range[float64]) (drawn [draws]float64) {
	s := sidesOf(r)
	for k := range drawn {
		drawn[k] = s.at(plane[k][1])
	}
	return drawn
}

// mostParts is how many wastes a mixture may have.
const mostParts = 6

// setMixture makes the charge several wastes in layers.
func (c *charge) setMixture(in LoadInput, drum Litre) error {
	if err := within("wastes of a mixture", Count(len(in.Fills)), 2, mostParts); err != nil {
		return err
	}
	c.wait, c.bedRatio = mixtureWait.Likely, 1
	total, coarse, room := Share(0), Share(0), Litre(0)
	var full Kg
	whole := either(in.Moisture, dryFeed, &c.assumed)
	for _, f := range in.Fills {
		w := cmp.Or(f.Moisture, whole)
		if err := within("part of a mixture", f.Share, .01, .99); err != nil {
			return err
		}
		p := new(charge)
		if err := p.setWaste(f.Waste, w, drum); err != nil {
			return err
		}
		c.parts = append(c.parts, p)
		c.assumed = append(c.assumed, p.feed.Density.Sourced())
		c.suitability = max(c.suitability, p.suitability)
		if p.wettest.Likely > c.wettest.Likely {
			c.wettest = p.wettest
		}
		if p.suitability <= CutFirst {
			coarse += f.Share
		}
		total += f.Share
		room += Litre(float64(drum) * float64(f.Share) * float64(p.feed.Fill.Likely))
		full += p.full.Likely * Kg(f.Share)
	}
	if err := within("parts of a mixture, together", total, .99, 1.01); err != nil {
		return err
	}
	if coarse >= coarseShare.Likely {
		c.suitability = min(c.suitability, Layered)
	}
	c.full = Exactly(full)
	c.setAmount(in, room)
	for i, p := range c.parts {
		share := float64(in.Fills[i].Share)
		if c.weighed {
			share *= float64(p.full.Likely / full)
		}
		p.weighed, p.drums = c.weighed, c.drums
		p.causes[amount] = c.causes[amount].Scale(share)
	}
	return nil
}

// mixed draws a mixture. The drum, the hand and the weather are the same for
// all parts; how loosely each lies and what ash it holds is its own.
func (c *charge) mixed() (out outcomeRanges) {
	random := rand.New(rand.NewPCG(draws, uint64(len(c.parts))))
	var split [mostParts][causes]sides
	var parts [mostParts]causeValues
	for i, p := range c.parts {
		parts[i] = p.likely()
		for j, r := range p.causes {
			split[i][j] = sidesOf(r)
		}
	}
	likely := c.together(&parts)
	var drawn [outcomes][draws]float64
	var z causeValues
	for k := range draws {
		for j := range z {
			z[j] = random.NormFloat64()
		}
		for i := range c.parts {
			z[density], z[feedAsh] = random.NormFloat64(), random.NormFloat64()
			for j := range z {
				parts[i][j] = split[i][j].at(z[j])
			}
		}
		for j, v := range c.together(&parts) {
			drawn[j][k] = v
		}
	}
	for j := range out {
		out[j] = around(&drawn[j], likely[j])
	}
	return out
}

// together sums what the parts of a mixture give, each with its own causes.
func (c *charge) together(x *[mostParts]causeValues) (sum outcomeValues) {
	dryChar := 0.
	for i, p := range c.parts {
		o := p.burn(&x[i])
		for _, j := range [...]int{feedMass, dryMass, looseVolume, charMass, unburntMass} {
			sum[j] += o[j]
		}
		for _, j := range [...]int{ashShare, fixedShare, volatileShare, charHeat} {
			sum[j] += o[j] * o[charMass]
		}
		dryChar += o[charMass] / o[yieldKept]
	}
	for _, j := range [...]int{ashShare, fixedShare, volatileShare, charHeat} {
		sum[j] /= sum[charMass]
	}
	sum[charYield] = sum[charMass] / sum[dryMass]
	sum[yieldKept] = sum[charMass] / dryChar
	return sum
}
