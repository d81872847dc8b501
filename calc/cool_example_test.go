package calc_test

import (
	"fmt"

	"cobline/calc"
)

// Two hours after a drum of maize cobs was sealed its wall is only warm.
func ExampleCool() {
	r, err := calc.Cool(calc.CoolInput{Waste: calc.MaizeCob, After: 2})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("now: wall %.0f C, core %.0f C (%.0f to %.0f)\n", r.Wall.Likely, r.Core.Likely, r.Core.Low, r.Core.High)
	fmt.Printf("when the wall is hand-cool the core is still at %.0f C\n", r.CoreWhenWallCool)
	fmt.Printf("core below 60 C after %.1f h (%.1f to %.1f)\n", r.CoreSafe.Likely, r.CoreSafe.Low, r.CoreSafe.High)
	fmt.Printf("not opened before %g h, %g h from now\n", r.BindingWait, r.WaitLeft)
	// Output:
	// now: wall 43 C, core 155 C (89 to 236)
	// when the wall is hand-cool the core is still at 169 C
	// core below 60 C after 4.6 h (2.7 to 7.7)
	// not opened before 12 h, 10 h from now
}

func ExampleCoolingCurve() {
	curve, err := calc.CoolingCurve(calc.CoolInput{Waste: calc.RiceHusk}, 24, 5)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, p := range curve {
		fmt.Printf("%2.0f h: core %3.0f C, wall %3.0f C\n", p.After, p.Core, p.Wall)
	}
	// Output:
	//  0 h: core 500 C, wall 500 C
	//  6 h: core 306 C, wall  41 C
	// 12 h: core 145 C, wall  33 C
	// 18 h: core  75 C, wall  30 C
	// 24 h: core  46 C, wall  28 C
}
