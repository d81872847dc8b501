package calc

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

// PressInput asks how many briquettes a mix makes.
type PressInput struct {
	Solids      Range[Kg] // dry char and dry binder
	Piece       Piece
	MixMoisture WetBasis               // zero: 0.35
	Density     Range[KgPerCubicMetre] // of the piece as ejected; zero: that of a hand mould
}

// PressResult is what comes out of the mould.
type PressResult struct {
	WetPiece   Kg           // one piece as ejected
	DryPiece   Kg           // the same piece at 8 % moisture
	Briquettes Range[Count] // whole pieces, after losses
	ReadyRatio Ratio        // dried mass per wet mass at which a piece is ready
	Assumed    []Sourced
}
