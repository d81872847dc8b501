package calc

import (
	"cmp"
	"math"
)

// Shape is the form of a briquette.
type Shape uint8

// The shapes a mould makes.
const (
	SolidShape Shape = iota + 1
	HollowShape
	HolesShape
	BallShape
	BrickShape
)

// String returns the stable key of the shape.
func (s Shape) String() string {
	return keyed([]string{"solid", "hollow", "holes", "ball", "brick"}, uint8(s))
}

// Piece is one briquette as it leaves the mould. The zero piece stands for the
// default: a solid cylinder 55 mm wide and 50 mm high.
type Piece struct {
	Shape         Shape
	Diameter      Metre // of a cylinder or ball
	Height        Metre // of a cylinder or brick
	Bore          Metre // diameter of each hole
	Bores         int   // number of holes
	Length, Width Metre // of a brick
}

// Solid is a cylinder.
func Solid(diameter, height Metre) Piece {
	return Piece{Shape: SolidShape, Diameter: diameter, Height: height}
}

// Hollow is a cylinder with one hole along its axis.
func Hollow(diameter, bore, height Metre) Piece {
	return Piece{Shape: HollowShape, Diameter: diameter, Height: height, Bore: bore, Bores: 1}
}

// Holes is a cylinder with n holes along it.
func Holes(diameter, bore, height Metre, n int) Piece {
	return Piece{Shape: HolesShape, Diameter: diameter, Height: height, Bore: bore, Bores: n}
}

// Ball is a ball.
func Ball(diameter Metre) Piece { return Piece{Shape: BallShape, Diameter: diameter} }

// Brick is a block.
func Brick(length, width, height Metre) Piece {
	return Piece{Shape: BrickShape, Length: length, Width: width, Height: height}
}

var (
	pieceDiameter = constant[Metre]("diameter of the default briquette", .055, practice)
	pieceHeight   = constant[Metre]("height of the default briquette", .050, practice)

	wetDensity = newFigure[KgPerCubicMetre]("density of a hand-moulded piece as ejected", 800, 1000, 1150, practice)
	pressLoss  = newFigure[Share]("solids lost as fines and breakage, whole line", .03, .08, .15, practice)
	shrinkage  = newFigure[Share]("volume lost on drying", .02, .08, .15, practice)
	readyPiece = newFigure[WetBasis]("moisture of a finished briquette", .05, .08, .12,
		en1860.judged("8 % or less; 5 to 12 % is what is sold"))
	diffusivity = newFigure[SquareMetrePerSecond]("diffusivity of the hours formula, for air of 30 C and a piece that the sun warms", 1.2e-9, 1.9e-9, 2.9e-9,
		Source{Title: "Calibrated to published days in the sun", At: "no measured value of a charcoal briquette was found; that of the hourly model is for the piece at its own temperature", Standing: Derived})
	sunEquilibrium = constant[DryBasis]("moisture a briquette tends to at 60 % relative humidity", .06,
		Source{Title: "Sorption of rice-husk biochar at 30 C and 70 %, 6.4 %", By: "Lin et al.", At: "a little less at 60 %", Standing: Derived})
	leastDrying = constant[Days]("least days of drying", 2, fuelFields.at("at least two days of sun"))
)

// The square of the first zero of the Bessel function J0, and the coefficients
// of the first term of the diffusion series.
const (
	cylinderRoot = 5.783185962946785
	slabTerm     = 8 / (math.Pi * math.Pi)
	cylinderTerm = 4 / cylinderRoot
	ballTerm     = 6 / (math.Pi * math.Pi)
)

// orDefault returns the piece itself, or the default for the zero piece.
func (p Piece) orDefault() Piece {
	if p == (Piece{}) {
		return Solid(pieceDiameter.Likely, pieceHeight.Likely)
	}
	return p
}

// Check returns an OutOfRange unless the piece could be made by hand: 10 to
// 400 mm, and its holes fit into it.
func (p Piece) Check() error {
	p = p.orDefault()
	type dimension struct {
		what      string
		got       Metre
		low, high Metre
	}
	var dimensions []dimension
	const least, most = .01, .4
	switch p.Shape {
	case SolidShape, HollowShape, HolesShape:
		dimensions = []dimension{{"diameter of the briquette", p.Diameter, least, most}, {"height of the briquette", p.Height, least, most}}
	case BallShape:
		dimensions = []dimension{{"diameter of the briquette", p.Diameter, least, most}}
	case BrickShape:
		dimensions = []dimension{{"length of the briquette", p.Length, least, most}, {"width of the briquette", p.Width, least, most}, {"height of the briquette", p.Height, least, most}}
	default:
		return Unknown{"shape", p.Shape.String()}
	}
	if p.Bores != 0 || p.Bore != 0 || p.Shape == HollowShape || p.Shape == HolesShape {
		if err := within("number of holes", Count(p.Bores), 1, 50); err != nil {
			return err
		}
		// Holes take at most half the face, or the piece breaks on ejection.
		widest := p.Diameter * Metre(math.Sqrt(.5/float64(p.Bores)))
		dimensions = append(dimensions, dimension{"diameter of a hole", p.Bore, .002, widest})
	}
	for _, d := range dimensions {
		if err := within(d.what, d.got, d.low, d.high); err != nil {
			return err
		}
	}
	return nil
}

// Volume is the volume of the solid part, in m3, of a piece that passes Check.
func (p Piece) Volume() CubicMetre {
	switch p = p.orDefault(); p.Shape {
	case BallShape:
		return CubicMetre(math.Pi / 6 * p.Diameter * p.Diameter * p.Diameter)
	case BrickShape:
		return CubicMetre(p.Length * p.Width * p.Height)
	default:
		return CubicMetre(p.face() * SquareMetre(p.Height))
	}
}

// face is the area of one end of a cylinder, less its holes.
func (p Piece) face() SquareMetre {
	return SquareMetre(math.Pi / 4 * (p.Diameter*p.Diameter - Metre(p.Bores)*p.Bore*p.Bore))
}

// Area is the whole surface, holes included, in m2, of a piece that passes Check.
func (p Piece) Area() SquareMetre {
	switch p = p.orDefault(); p.Shape {
	case BallShape:
		return SquareMetre(math.Pi * p.Diameter * p.Diameter)
	case BrickShape:
		return SquareMetre(2 * (p.Length*p.Width + p.Width*p.Height + p.Height*p.Length))
	default:
		return 2*p.face() + SquareMetre(math.Pi*(p.Diameter+Metre(p.Bores)*p.Bore)*p.Height)
	}
}

// DryingHours is the time, in hours of good drying at 30 C, in which a piece
// goes from one moisture to another by diffusion in its inside alone: the first
// term of the series solution for a cylinder of which both ends are open, a
// hollow one as a plate of its wall, a ball, or a brick (Crank, The Mathematics
// of Diffusion; from memory), exact to 3 % once less than a fifth of the free water
// is left. It is a hand check without weather, for a mix of at most 0.60, and
// returns OutOfRange where the air holds more moisture than the target.
func DryingHours(p Piece, from, to WetBasis, equilibrium DryBasis, d SquareMetrePerSecond) (Hours, error) {
	if err := p.Check(); err != nil {
		return 0, err
	}
	if err := within("moisture to dry to", to, equilibrium.Wet()+.001, from); err != nil {
		return 0, err
	}
	if err := within("moisture of the mix", from, to, .6); err != nil {
		return 0, err
	}
	root, first := p.diffusion()
	left := float64((to.Dry() - equilibrium) / (from.Dry() - equilibrium))
	return Hours(max(math.Log(first/left), 0) / (root * float64(d) * secondsPerHour)), nil
}

// diffusion returns the sum of the squared first roots per square metre and
// the first coefficient of the series.
func (p Piece) diffusion() (root, first float64) {
	plate := func(thickness Metre) float64 { return math.Pi * math.Pi / float64(thickness*thickness) }
	p = p.orDefault()
	radius := float64(p.Diameter) / 2
	switch p.Shape {
	case BallShape:
		return math.Pi * math.Pi / (radius * radius), ballTerm
	case BrickShape:
		return plate(p.Length) + plate(p.Width) + plate(p.Height), slabTerm * slabTerm * slabTerm
	case SolidShape:
		return cylinderRoot/(radius*radius) + plate(p.Height), cylinderTerm * slabTerm
	default:
		return plate(p.wall()) + plate(p.Height), slabTerm * slabTerm
	}
}

// wall is the thickness of solid between a hole and the rim, or between holes
// spread evenly over the face.
func (p Piece) wall() Metre {
	if p.Bores == 1 {
		return (p.Diameter - p.Bore) / 2
	}
	return (p.Diameter - p.Bore*Metre(math.Sqrt(float64(p.Bores)))) / Metre(1+math.Sqrt(float64(p.Bores)))
}

// daysInSun is the range of days on the rack, never below two.
func daysInSun(p Piece, from WetBasis, sun Hours) (Range[Days], error) {
	likely, err := DryingHours(p, from, readyPiece.Likely, sunEquilibrium.Likely, diffusivity.Likely)
	if err != nil {
		return Range[Days]{}, err
	}
	days := func(d SquareMetrePerSecond) Days {
		return max(Days(likely*Hours(diffusivity.Likely/d)/sun), leastDrying.Likely)
	}
	return Range[Days]{days(diffusivity.High), days(diffusivity.Likely), days(diffusivity.Low)}, nil
}

// Method is a way of pressing.
type Method uint8

const (
	// HammerMould is a mould with a plunger struck two or three times.
	HammerMould Method = iota + 1
	// HandBalls are rolled and squeezed between the palms.
	HandBalls
	// LeverPress is a lever over one or more moulds.
	LeverPress
	// ScrewJack is a car jack or a hydraulic jack in a frame.
	ScrewJack
	// HandScrew is an extruder turned by hand.
	HandScrew
	// MotorScrew is an extruder turned by a motor.
	MotorScrew
)

// String returns the stable key of the method.
func (m Method) String() string {
	return keyed([]string{"hammer-mould", "hand-balls", "lever-press", "screw-jack", "hand-screw", "motor-screw"}, uint8(m))
}

// Pressing is what is known about one way of pressing.
type Pressing struct {
	Method       Method
	Pressure     Figure[Kilopascal]
	WetDensity   Figure[KgPerCubicMetre] // of a piece as ejected
	DriedDensity Figure[KgPerCubicMetre] // published or usual, of a dry one
	MixMoisture  Figure[WetBasis]
	Crew         Figure[Count]     // people at the press
	Pieces       Figure[PerHour]   // of the crew; zero for extruders
	Mix          Figure[KgPerHour] // wet mix of an extruder; zero for the others
}

var (
	pressDensity = Source{Title: "Practice of briquette makers; published dried densities of crop-char briquettes 522 to 987 kg/m3", Standing: Practice}
	pressForce   = Source{Title: "Force of arms and body weight over the face of a piece", Standing: Derived}
	jackForce    = Source{Title: "Neem char at 1.05 MPa, J. For. Res. 21:63", By: "Sotannde et al.", Year: 2010, At: "and hydraulic jacks to 7 MPa, judged", Standing: Derived}
)

func pressing(m Method, pressure, wet, dried, mix, crew, pieces, kgPerHour given) Pressing {
	name := func(what string) string { return m.String() + " " + what }
	p := Pressing{
		Method:       m,
		Pressure:     figureOf[Kilopascal](name("pressure"), pressure),
		WetDensity:   figureOf[KgPerCubicMetre](name("density as ejected"), wet),
		DriedDensity: figureOf[KgPerCubicMetre](name("density when dry"), dried),
		MixMoisture:  figureOf[WetBasis](name("moisture of the mix"), mix),
		Crew:         figureOf[Count](name("people"), crew),
	}
	if pieces.likely != 0 {
		p.Pieces = figureOf[PerHour](name("pieces an hour of the crew"), pieces)
	} else {
		p.Mix = figureOf[KgPerHour](name("kg of mix an hour of the crew"), kgPerHour)
	}
	return p
}

// pressings is in the order of the methods.
var pressings = []Pressing{
	pressing(HammerMould, given{500, 1000, 3000, practice.at("peaks of a hammer")}, given{900, 1000, 1050, pressDensity},
		given{550, 650, 750, pressDensity}, given{.30, .35, .40, practice}, given{1, 1, 2, practice},
		given{30, 60, 120, practice}, given{}),
	pressing(HandBalls, given{10, 20, 50, pressForce}, given{750, 820, 900, pressDensity},
		given{450, 520, 600, pressDensity}, given{.35, .40, .45, practice}, given{1, 1, 1, practice},
		given{60, 90, 150, practice}, given{}),
	pressing(LeverPress, given{200, 500, 1000, pressForce}, given{900, 1000, 1100, pressDensity},
		given{550, 680, 800, pressDensity}, given{.30, .35, .40, practice}, given{2, 2, 2, practice},
		given{60, 120, 250, practice}, given{}),
	pressing(ScrewJack, given{1000, 2000, 7000, jackForce}, given{1000, 1080, 1150, pressDensity},
		given{600, 760, 950, pressDensity}, given{.30, .35, .40, practice}, given{1, 2, 2, practice},
		given{20, 35, 60, practice}, given{}),
	pressing(HandScrew, given{100, 300, 1000, practice}, given{950, 1020, 1100, pressDensity},
		given{550, 680, 800, pressDensity}, given{.28, .33, .38, practice}, given{1, 1, 2, practice},
		given{}, given{10, 20, 40, practice}),
	pressing(MotorScrew, given{1000, 2500, 5000, practice}, given{1000, 1100, 1200, pressDensity},
		given{800, 950, 1100, pressDensity}, given{.28, .33, .38, practice}, given{2, 2, 3, practice},
		given{}, given{100, 250, 500, practice}),
}

// PressingOf returns the figures of a way of pressing, or Unknown.
func PressingOf(m Method) (Pressing, error) {
	if m == 0 || int(m) > len(pressings) {
		return Pressing{}, Unknown{"way of pressing", m.String()}
	}
	return pressings[m-1], nil
}

// ForceInput asks how hard a piece is pressed.
type ForceInput struct {
	Load   Kg    // standing or hanging on the plunger or the end of the lever, up to 20000
	Lever  Ratio // length from pivot to load over pivot to plunger, 1 to 50; zero: 1
	Piston Metre // diameter of the plunger; zero: that of the default piece
	Moulds Count // pressed at once, each with this plunger; zero: 1
}

// Force returns the pressure on a piece, P = F L1 / (L2 A), with standard gravity;
// the plunger is 10 to 400 mm wide, for 1 to 100 moulds. Friction is left out.
func Force(in ForceInput) (Kilopascal, error) {
	var assumed []*Sourced
	piston := or(in.Piston, pieceDiameter, &assumed)
	lever, moulds := cmp.Or(in.Lever, 1), cmp.Or(in.Moulds, 1)
	if err := cmp.Or(
		within("load on the press", in.Load, 0, 20000),
		within("lever", lever, 1, 50),
		within("diameter of the plunger", piston, .01, .4),
		within("moulds pressed at once", moulds, 1, 100),
	); err != nil {
		return 0, err
	}
	area := float64(Solid(piston, 1).face()) * float64(moulds)
	return Kilopascal(float64(in.Load) * standardGravity * float64(lever) / area / 1000), nil
}

const standardGravity = 9.80665 // m/s2

// PressInput asks how many briquettes a mix makes.
type PressInput struct {
	Solids      Range[Kg] // dry char and dry binder
	Piece       Piece
	Method      Method                 // zero: hammer-mould
	MixMoisture WetBasis               // zero: 0.35
	Density     Range[KgPerCubicMetre] // of the piece as ejected; zero: that of the method, or of any hand mould
	Loss        Range[Share]           // of the solids as fines and breakage; zero: that of hand work
	Presses     Count                  // 1 to 1000; zero: one for each crew of the people
	People      Count                  // 1 to 1000; zero: one crew at each press
}

// PressResult is what comes out of the mould.
type PressResult struct {
	WetPiece     Kg                     // one piece as ejected
	DryPiece     Kg                     // the same piece at 8 % moisture
	Briquettes   Range[Count]           // whole pieces, after losses
	Dried        Range[Kg]              // all of them at 8 %
	ReadyRatio   Ratio                  // dried mass per wet mass at which a piece is ready
	DriedDensity Range[KgPerCubicMetre] // of a piece that has dried and shrunk
	Pressure     Range[Kilopascal]      // usual for the method
	Pressing     Count                  // people of whom the presses make use
	Hours        Range[Hours]           // until all is pressed
	PersonHours  Range[Hours]
	Assumed      []*Sourced
}

// Press computes the briquettes of a mix, N = Ds (1 - loss) / (rho V (1 - wm)),
// and the work of pressing them. A dried piece has the density
// rho (1 - wm) / ((1 - w1)(1 - shrinkage)); published hand-pressed pieces are up to
// 30 % lighter, because they spring back and crack. Solids from 1 g to 6 t, density
// 300 to 1500 kg/m3, losses up to a half, a mix of 0.20 to 0.50. Rates of work are
// practice.
func Press(in PressInput) (PressResult, error) {
	var r PressResult
	how, err := PressingOf(cmp.Or(in.Method, HammerMould))
	if err != nil {
		return PressResult{}, err
	}
	own := wetDensity
	if in.Method != 0 {
		own = how.WetDensity
	}
	density := either(in.Density, own, &r.Assumed)
	loss := either(in.Loss, pressLoss, &r.Assumed)
	mix := or(in.MixMoisture, handMix, &r.Assumed)
	crew := or(0, how.Crew, &r.Assumed)
	people := cmp.Or(in.People, crew*max(1, in.Presses))
	presses := cmp.Or(in.Presses, max(1, Count(math.Floor(float64(people/crew)))))
	if err := cmp.Or(
		ranged("kilograms of solids", in.Solids, .001, mostWaste.Likely),
		in.Piece.Check(),
		ranged("density of the piece", density, 300, 1500),
		ranged("loss of solids", loss, 0, .5),
		within("moisture of the mix", mix, .2, .5),
		within("people", people, 1, 1000),
		within("presses", presses, 1, 1000),
	); err != nil {
		return PressResult{}, err
	}
	r.WetPiece = Kg(float64(density.Likely) * float64(in.Piece.Volume()))
	r.ReadyRatio = mix.massAt(readyPiece.Likely)
	r.DryPiece = r.WetPiece * Kg(r.ReadyRatio)
	solids := spreadOf(in.Solids).times(spreadOf(loss.rest()))
	pieces := solids.over(spreadOf(density)).scale(1 / float64(in.Piece.Volume()) / float64(1-mix))
	r.Briquettes = whole(rangeOf[Count](pieces))
	r.Dried = rangeOf[Kg](solids).Scale(1 / float64(1-readyPiece.Likely))
	r.DriedDensity = rangeOf[KgPerCubicMetre](spreadOf(density).over(spreadOf(shrinkage.rest()))).Scale(float64(r.ReadyRatio))
	r.Pressure = how.Pressure.Range

	work := pieces.over(spreadOf(how.Pieces.Range))
	if how.Mix.Likely != 0 {
		work = solids.over(spreadOf(how.Mix.Range)).scale(1 / float64(1-mix))
	}
	r.PersonHours = rangeOf[Hours](work.scale(float64(crew)))
	r.Pressing = min(people, presses*crew)
	r.Hours = r.PersonHours.Scale(1 / float64(r.Pressing))
	return r, nil
}

// whole rounds down to whole things; a quantile of a rounded quantity is the
// rounded quantile.
func whole(r Range[Count]) Range[Count] {
	// The margin keeps an exact quotient from losing a piece to rounding.
	floor := func(v Count) Count { return Count(math.Floor(float64(v) + 1e-9)) }
	return Range[Count]{floor(r.Low), floor(r.Likely), floor(r.High)}
}
