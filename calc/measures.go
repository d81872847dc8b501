package calc

// SackVolume returns what a farm's sack holds: loose waste to the brim.
func SackVolume() Litre { return sackVolume.Likely }

// TinVolume returns what a 20-litre tin or bucket holds.
func TinVolume() Litre { return tinVolume.Likely }
