package calc

import "math"

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
	readyPiece = newFigure[WetBasis]("moisture of a finished briquette", .05, .08, .12,
		Source{Title: "EN 1860-2 charcoal briquettes for barbecuing", At: "8 % or less", Standing: Read})
	diffusivity = newFigure[SquareMetrePerSecond]("diffusivity of water in a pressed piece at 30 C", 1.2e-9, 1.9e-9, 2.9e-9,
		Source{Title: "Calibrated to published days in the sun", At: "no measured value of a charcoal briquette was found", Standing: Derived})
	sunEquilibrium = constant[DryBasis]("moisture a briquette tends to at 60 % relative humidity", .06,
		Source{Title: "Sorption of rice-husk biochar at 30 C and 70 %, 6.4 %", By: "Lin et al.", Standing: Read})
	leastDrying = constant[Days]("least days of drying", 2, fuelFields.at("at least two days of sun"))
	// shrinking fields of the first term of the diffusion series
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

// Volume is the volume of the solid part.
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

// Area is the whole surface, holes included.
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
// of Diffusion; from memory). It is a hand check without weather, and returns
// OutOfRange where the air holds more moisture than the target.
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
	return Hours(max(math.Log(first/left), 0) / (root * float64(d) * 3600)), nil
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

// PressInput asks how many briquettes a mix makes.
type PressInput struct {
	Solids      Range[Kg] // dry char and dry binder
	Piece       Piece
	MixMoisture WetBasis               // zero: 0.35
	Density     Range[KgPerCubicMetre] // of the piece as ejected; zero: that of a hand mould
	Loss        Range[Share]           // of the solids as fines and breakage; zero: that of hand work
}

// PressResult is what comes out of the mould.
type PressResult struct {
	WetPiece   Kg           // one piece as ejected
	DryPiece   Kg           // the same piece at 8 % moisture
	Briquettes Range[Count] // whole pieces, after losses
	ReadyRatio Ratio        // dried mass per wet mass at which a piece is ready
	Assumed    []Sourced
}

// Press computes the briquettes of a mix: N = Ds (1 - loss) / (rho V (1 - wm)).
func Press(in PressInput) (PressResult, error) {
	var r PressResult
	density := either(in.Density, wetDensity, &r.Assumed)
	loss := either(in.Loss, pressLoss, &r.Assumed)
	mix := or(in.MixMoisture, handMix, &r.Assumed)
	if err := ranged("kilograms of solids", in.Solids, .001, mostWaste.Likely); err != nil {
		return PressResult{}, err
	}
	if err := in.Piece.Check(); err != nil {
		return PressResult{}, err
	}
	if err := ranged("density of the piece", density, 300, 1500); err != nil {
		return PressResult{}, err
	}
	if err := ranged("loss of solids", loss, 0, .5); err != nil {
		return PressResult{}, err
	}
	if err := within("moisture of the mix", mix, .2, .5); err != nil {
		return PressResult{}, err
	}
	r.WetPiece = Kg(float64(density.Likely) * float64(in.Piece.Volume()))
	r.ReadyRatio = Ratio((1 - mix) / (1 - readyPiece.Likely))
	r.DryPiece = r.WetPiece * Kg(r.ReadyRatio)
	kept := Range[Share]{1 - loss.High, 1 - loss.Likely, 1 - loss.Low}
	n := spreadOf(in.Solids).times(spreadOf(kept)).over(spreadOf(density))
	r.Briquettes = whole(rangeOf[Count](n).Scale(1 / float64(in.Piece.Volume()) / float64(1-mix)))
	return r, nil
}

// whole rounds down to whole things; a quantile of a rounded quantity is the
// rounded quantile.
func whole(r Range[Count]) Range[Count] {
	// The margin keeps an exact quotient from losing a piece to rounding.
	floor := func(v Count) Count { return Count(math.Floor(float64(v) + 1e-9)) }
	return Range[Count]{floor(r.Low), floor(r.Likely), floor(r.High)}
}
