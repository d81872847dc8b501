package main

import "cobline/calc"

// dryInput asks how long something dries in weather that stays as it is.
type dryInput struct {
	calc.DryInput
	steadyWeather
}

// input makes a forecast of the one day, which then repeats.
func (in dryInput) input() (calc.DryInput, error) {
	forecast, err := in.forecast(in.Start, 1)
	in.Forecast = forecast
	return in.DryInput, err
}

func dry(in dryInput) (calc.DryResult, error) {
	input, err := in.input()
	if err != nil {
		return calc.DryResult{}, err
	}
	return calc.DryOut(input)
}
