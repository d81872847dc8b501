package calc

// Feel is the moisture of a crop waste as a hand can tell it.
type Feel uint8

const (
	// Dry snaps with a crack.
	Dry Feel = iota + 1
	// NearlyDry peels in strings but rings when knocked, or leaves salt clean.
	NearlyDry
	// Wet peels in strings.
	Wet
	// TooWet bends.
	TooWet
	// Sappy is too wet and shows sap or is cool to the touch.
	Sappy
)

// Lighting says whether a drum of waste may be lit.
type Lighting uint8

const (
	// LightNow: dry enough.
	LightNow Lighting = iota + 1
	// LightWithLoss: allowed, and the loss of char must be said.
	LightWithLoss
	// DryFirst: wet; it is dried before it is lit.
	DryFirst
	// DoNotLight: too wet to char.
	DoNotLight
)
