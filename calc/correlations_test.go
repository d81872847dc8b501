package calc_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"cobline/calc"
)

// Own reference computation from the coefficients of Neves et al. 2011; the
// heating value is that of Channiwala and Parikh 2002 for the char they give.
func TestAllPyrolysisCorrelations(t *testing.T) {
	for _, v := range []struct {
		bed                                   calc.Celsius
		yield, carbon, hydrogen, oxygen, heat float64
	}{
		{300, .4415, .6690, .0446, .2714, 25.8},
		{400, .2794, .7585, .0342, .1946, 28.5},
		{500, .1956, .8173, .0260, .1471, 30.1},
		{600, .1523, .8560, .0196, .1177, 31.0},
		{700, .1299, .8814, .0145, .0995, 31.5},
	} {
		yield, err := calc.AllPyrolysisYield(v.bed)
		require.NoError(t, err)
		require.InDelta(t, v.yield, float64(yield), .00006)
		char, err := calc.AllPyrolysisChar(v.bed)
		require.NoError(t, err)
		require.InDelta(t, v.carbon, float64(char.Carbon), .00006)
		require.InDelta(t, v.hydrogen, float64(char.Hydrogen), .00006)
		require.InDelta(t, v.oxygen, float64(char.Oxygen), .00006)
		heat, err := char.HeatingValue()
		require.NoError(t, err)
		require.InDelta(t, v.heat, float64(heat), .06)
	}
}

// The composition of FAO wood char at 500 C is about 32 MJ/kg (Miles 2006).
func TestAllPyrolysisCharOfWood(t *testing.T) {
	char, err := calc.AllPyrolysisChar(500)
	require.NoError(t, err)
	heat, err := char.HeatingValue()
	require.NoError(t, err)
	require.InEpsilon(t, 32, float64(heat), .07)
}

func TestCorrelationsRefuseOutsideTheirRanges(t *testing.T) {
	for _, bed := range []calc.Celsius{150, 1100} {
		_, err := calc.AllPyrolysisYield(bed)
		require.ErrorAs(t, err, new(calc.OutOfRange))
		_, err = calc.AllPyrolysisChar(bed)
		require.ErrorAs(t, err, new(calc.OutOfRange))
	}
	char := calc.Proximate{FixedCarbon: .73, Volatile: .18, Ash: .09}
	_, err := char.RawUltimate()
	require.ErrorAs(t, err, new(calc.OutOfRange))
	_, err = calc.Proximate{FixedCarbon: .2, Volatile: .5, Ash: .3}.RawUltimate()
	require.ErrorAs(t, err, new(calc.OutOfRange))
	_, err = calc.Proximate{FixedCarbon: .7}.CharCarbon()
	require.ErrorAs(t, err, new(calc.OutOfRange))
}

// Corn-cob char of 500 C: volatile 33.1, fixed carbon 59.0, ash 6.1, carbon
// 71.5 % (Rattanaphaiboon et al. 2022, AIP Conf. Proc. 2681:020034).
func TestCharCarbonOfCob(t *testing.T) {
	got, err := calc.Proximate{FixedCarbon: .590, Volatile: .331, Ash: .061}.CharCarbon()
	require.NoError(t, err)
	require.InEpsilon(t, .715, float64(got), .03)
}

// Proximate and ultimate composition measured on the same wastes: Raveendran et
// al. 1995, Fuel 74:1812, table 1 (cob), and Ghugare et al. 2014 (groundnut).
func TestRawUltimateOfWastes(t *testing.T) {
	for name, v := range map[string]struct {
		proximate                calc.Proximate
		carbon, hydrogen, oxygen float64
	}{
		"maize cob":       {calc.Proximate{FixedCarbon: .142, Volatile: .830, Ash: .028}, .476, .050, .446},
		"groundnut shell": {calc.Proximate{FixedCarbon: .160, Volatile: .781, Ash: .059}, .486, .056, .395},
	} {
		got, err := v.proximate.RawUltimate()
		require.NoError(t, err)
		require.InEpsilon(t, v.carbon, float64(got.Carbon), .06, name)
		require.InEpsilon(t, v.hydrogen, float64(got.Hydrogen), .20, name)
		require.InEpsilon(t, v.oxygen, float64(got.Oxygen), .08, name)
	}
}

func ExampleAllPyrolysisYield() {
	curve, _ := calc.AllPyrolysisYield(500)
	cob, _ := calc.Pyrolyse(calc.MaizeCob, 500, 0)
	fmt.Printf("all pyrolysis %.2f, cobs %.2f\n", curve, cob.Yield)
	_, err := calc.AllPyrolysisYield(1200)
	fmt.Println(err)
	// Output:
	// all pyrolysis 0.20, cobs 0.26
	// pyrolysis temperature is 1200; it must lie between 200 and 1000
}

func ExampleAllPyrolysisChar() {
	char, err := calc.AllPyrolysisChar(500)
	fmt.Printf("carbon %.2f, hydrogen %.3f, oxygen %.2f %v\n", char.Carbon, char.Hydrogen, char.Oxygen, err)
	// Output: carbon 0.82, hydrogen 0.026, oxygen 0.15 <nil>
}

func ExampleProximate_CharCarbon() {
	carbon, err := calc.Proximate{FixedCarbon: .59, Volatile: .33, Ash: .08}.CharCarbon()
	fmt.Printf("%.2f %v\n", carbon, err)
	// Output: 0.73 <nil>
}

func ExampleProximate_RawUltimate() {
	cob, err := calc.Proximate{FixedCarbon: .142, Volatile: .830, Ash: .028}.RawUltimate()
	fmt.Printf("carbon %.2f, hydrogen %.3f, oxygen %.2f %v\n", cob.Carbon, cob.Hydrogen, cob.Oxygen, err)
	// Output: carbon 0.47, hydrogen 0.059, oxygen 0.44 <nil>
}
