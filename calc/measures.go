package calc

// grainBulk is what a litre of a sack holds of shelled maize; sacks are named by
// that weight.
var grainBulk = constant[KgPerCubicMetre]("shelled maize in a sack", 720, practice.at("a 50 kg sack holds 65 to 80 litres"))

// SackVolumeOf returns the litres of a sack that is named by the kilograms of
// maize it holds, 5 to 200 kg, at 720 kg/m3 (practice).
func SackVolumeOf(maize Kg) Litre { return Litre(float64(maize) / float64(grainBulk.Likely) * 1000) }

// SackVolume returns what a farm's sack holds: 100 litres of loose waste to the
// brim (practice, 65 to 140).
func SackVolume() Litre { return sackVolume.Likely }

// TinVolume returns what a tin or bucket holds: 20 litres (practice, 17 to 21).
func TinVolume() Litre { return tinVolume.Likely }
