package calc_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"cobline/calc"
)

// Compositions and measured heating values of Ghugare et al. 2014, BioEnergy
// Res. 7:681, table S.2 (ash by difference); the value by the correlation of
// Channiwala and Parikh 2002 is our own reference computation.
func TestHeatingValueOfElements(t *testing.T) {
	for _, v := range []struct {
		sample                string
		c, h, o, n, s, ash    float64
		measured, correlation float64
	}{
		{"maize cob", 48.2, 5.5, 42.4, .8, .3, 2.80, 18.92, 18.882},
		{"corncob", 46.58, 5.87, 45.46, .47, .01, 1.61, 18.77, 18.437},
		{"rice straw", 38.24, 5.2, 36.26, .87, .18, 19.25, 15.09, 15.326},
		{"groundnut shell", 48.59, 5.64, 39.49, .58, 0, 5.70, 19.849, 19.396},
		{"coconut shell char 750 C", 88.95, .73, 6.04, 1.38, 0, 2.90, 31.124, 31.206},
		{"rice husk char 750 C", 31.51, 2.5, 19.34, 1.45, 0, 45.20, 10.935, 10.971},
		{"oak char 565 C", 64.6, 2.1, 15.5, .4, .1, 17.30, 23.05, 23.063},
		{"redwood char 421-549 C", 75.6, 3.3, 18.4, .2, .2, 2.30, 28.844, 28.346},
		{"leucaena char 950 C", 83.61, 1.95, 10.48, .014, 0, 3.95, 30.353, 30.319},
		{"straw-pellet char 350 C", 46.0, 2.8, 12.5, 1.2, .4, 37.10, 18.0, 17.305},
	} {
		t.Run(v.sample, func(t *testing.T) {
			share := func(percent float64) calc.Share { return calc.Share(percent / 100) }
			got, err := calc.Ultimate{
				Carbon: share(v.c), Hydrogen: share(v.h), Oxygen: share(v.o),
				Nitrogen: share(v.n), Sulphur: share(v.s), Ash: share(v.ash),
			}.HeatingValue()
			require.NoError(t, err)
			require.InDelta(t, v.correlation, float64(got), .0015)
			require.InEpsilon(t, v.measured, float64(got), .04)
		})
	}
}

// The char of a drum by the correlation of Parikh et al. 2005; own reference
// computation at 430 C.
func TestHeatingValueOfDrumChar(t *testing.T) {
	for w, want := range map[calc.Waste]struct{ ash, fixedCarbon, heat float64 }{
		calc.MaizeCob:        {.10, .73, 28.4},
		calc.MaizeStalk:      {.30, .56, 21.7},
		calc.MaizeHusk:       {.38, .50, 19.2},
		calc.RiceHusk:        {.54, .37, 14.1},
		calc.RiceStraw:       {.53, .38, 14.4},
		calc.CoconutShell:    {.04, .77, 30.1},
		calc.CoconutHusk:     {.13, .70, 27.2},
		calc.GroundnutShell:  {.17, .67, 26.1},
		calc.CoffeeHusk:      {.12, .71, 27.6},
		calc.Bagasse:         {.16, .68, 26.4},
		calc.CottonStalk:     {.20, .64, 25.0},
		calc.SorghumStalk:    {.29, .57, 22.1},
		calc.SunflowerStalk:  {.41, .48, 18.4},
		calc.CassavaStem:     {.17, .67, 26.1},
		calc.WheatStraw:      {.30, .56, 21.8},
		calc.PalmKernelShell: {.10, .73, 28.4},
		calc.Bamboo:          {.07, .75, 29.2},
		calc.WoodyStalk:      {.15, .69, 26.7},
		calc.Prunings:        {.12, .70, 27.5},
	} {
		r, err := calc.Recipe(calc.RecipeInput{Waste: w})
		require.NoError(t, err)
		require.InDelta(t, want.ash, float64(r.Ash.Likely), .006, w)
		require.InDelta(t, want.fixedCarbon, float64(r.FixedCarbon.Likely), .01, w)
		require.InDelta(t, want.heat, float64(r.HeatingValue.Likely), .15, w)
	}
}

func TestHeatingValueRefusesOutsideItsRange(t *testing.T) {
	_, err := calc.Proximate{FixedCarbon: .95, Volatile: .04, Ash: .01}.HeatingValue()
	require.Equal(t, calc.OutOfRange{What: "fixed carbon", Got: .95, Low: .01, High: .915}, err)
	_, err = calc.Ultimate{Carbon: .5, Oxygen: .4}.HeatingValue()
	require.Equal(t, calc.OutOfRange{What: "hydrogen", Got: 0, Low: .0043, High: .2515}, err)
}

// Own reference computation with the form of ISO 18125 (from memory).
func TestNetHeatingValue(t *testing.T) {
	for moisture, want := range map[calc.WetBasis]float64{0: 23.46, .08: 21.39, .15: 19.58, .30: 15.69} {
		require.InDelta(t, want, float64(calc.NetHeatingValue(24, .025, .10, moisture)), .006)
	}
}

// Maize cob of Ghugare et al. 2014, measured at 18.92 MJ/kg.
func ExampleUltimate_HeatingValue() {
	cob := calc.Ultimate{Carbon: .482, Hydrogen: .055, Oxygen: .424, Nitrogen: .008, Sulphur: .003, Ash: .028}
	heat, err := cob.HeatingValue()
	fmt.Printf("%.2f MJ/kg %v\n", heat, err)
	// Output: 18.88 MJ/kg <nil>
}

func ExampleProximate_HeatingValue() {
	heat, err := calc.Proximate{FixedCarbon: .73, Volatile: .18, Ash: .09}.HeatingValue()
	fmt.Printf("%.1f MJ/kg %v\n", heat, err)
	// Output: 28.5 MJ/kg <nil>
}

func ExampleProximate_LignocellulosicHeatingValue() {
	fmt.Printf("%.1f MJ/kg\n", calc.Proximate{FixedCarbon: .73, Volatile: .18, Ash: .09}.LignocellulosicHeatingValue())
	// Output: 28.9 MJ/kg
}

// A briquette of 24 MJ/kg sold at 8 % moisture.
func ExampleNetHeatingValue() {
	fmt.Printf("%.2f MJ/kg\n", calc.NetHeatingValue(24, .025, .10, .08))
	// Output: 21.39 MJ/kg
}
