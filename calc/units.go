package calc

import "time"

// The units of this package. A quantity that leaves or enters an exported
// function has one of these types, so kilograms and litres, or wet and dry
// basis, cannot be added by accident.
type (
	// Kg is a mass in kilograms.
	Kg float64
	// Litre is a volume in litres.
	Litre float64
	// CubicMetre is a volume in cubic metres.
	CubicMetre float64
	// Metre is a length in metres.
	Metre float64
	// SquareMetre is an area in square metres.
	SquareMetre float64
	// SquareMetrePerSecond is a diffusivity.
	SquareMetrePerSecond float64
	// KgPerCubicMetre is a density.
	KgPerCubicMetre float64
	// MJ is an energy in megajoules.
	MJ float64
	// MJPerKg is a heating value or a heat demand.
	MJPerKg float64
	// Celsius is a temperature in degrees Celsius.
	Celsius float64
	// Hours is a span of hours.
	Hours float64
	// PerHour is a rate, such as that of an exponential drying law.
	PerHour float64
	// KgPerHour is a rate of work.
	KgPerHour float64
	// Minutes is a span of minutes.
	Minutes float64
	// Days is a span of days.
	Days float64
	// Share is a fraction of one, without a unit.
	Share float64
	// Ratio is a mass per mass, such as kg of water per kg of starch.
	Ratio float64
	// Count is a number of things (pieces, drums, people).
	Count float64
	// WetBasis is kg of water per kg of moist material.
	WetBasis float64
	// DryBasis is kg of water per kg of dry material.
	DryBasis float64
	// Kilopascal is a pressure, mostly of water vapour.
	Kilopascal float64
	// MetrePerSecond is a wind speed.
	MetrePerSecond float64
	// MJPerSquareMetre is a radiation sum per square metre.
	MJPerSquareMetre float64
	// WattPerSquareMetre is a radiation or heat flux.
	WattPerSquareMetre float64
	// Millimetre is a depth of rain or of evaporated water.
	Millimetre float64
	// PerCelsius is a change per degree.
	PerCelsius float64
	// PerRootCelsius is a change per root of a degree.
	PerRootCelsius float64
	// KilojoulePerMole is an activation energy.
	KilojoulePerMole float64
	// WattPerSquareMetreKelvin is the heat passed by a surface.
	WattPerSquareMetreKelvin float64
	// WattPerMetreKelvin is a thermal conductivity.
	WattPerMetreKelvin float64
	// KilojoulePerKgKelvin is a specific heat.
	KilojoulePerKgKelvin float64
	// KilometrePerHour is a wind speed as fire indices and forecasts give it.
	KilometrePerHour float64
	// Degree is an angle in degrees (latitude, longitude).
	Degree float64
	// Money is an amount in the smallest unit of a place's currency.
	Money int64
)

// Constants of nature, CODATA 2018.
const (
	stefanBoltzmann = 5.670374419e-8 // W/m2/K4
	gasConstant     = 8.314          // J/mol/K, rounded
	kelvin          = 273.15         // of 0 C
)

// Dry converts a moisture from wet to dry basis: u = w/(1-w), for w in [0, 1).
func (w WetBasis) Dry() DryBasis { return DryBasis(w / (1 - w)) }

// Wet converts a moisture from dry to wet basis: w = u/(1+u), for u >= 0.
func (u DryBasis) Wet() WetBasis { return WetBasis(u / (1 + u)) }

// DryOf returns the dry mass inside a moist mass m.
func (w WetBasis) DryOf(m Kg) Kg { return m * Kg(1-w) }

// massAt is what one kg of moisture w weighs at another moisture of the same
// dry mass.
func (w WetBasis) massAt(to WetBasis) Ratio { return Ratio((1 - w) / (1 - to)) }

// reweighed is the moisture of what weighs ratio times what it weighs at a known
// moisture: w = 1 - (1 - known)/ratio, never below zero.
func reweighed(ratio Ratio, known Range[WetBasis]) Range[WetBasis] {
	now := func(w WetBasis) WetBasis { return max(0, 1-(1-w)/WetBasis(ratio)) }
	return Range[WetBasis]{now(known.Low), now(known.Likely), now(known.High)}
}

// by is the heat that warms a kilogram by some degrees.
func (c KilojoulePerKgKelvin) by(degrees Celsius) MJPerKg {
	return MJPerKg(c) * MJPerKg(degrees) / 1000
}

// Duration returns the span as a time.Duration.
func (h Hours) Duration() time.Duration { return time.Duration(float64(h) * float64(time.Hour)) }

// Duration returns the span as a time.Duration.
func (m Minutes) Duration() time.Duration { return time.Duration(float64(m) * float64(time.Minute)) }

// PerHour converts a wind speed to kilometres per hour.
func (v MetrePerSecond) PerHour() KilometrePerHour { return KilometrePerHour(v * 3.6) }
