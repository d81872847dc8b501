package main

import (
	"cmp"

	"cobline/calc"
)

// dryInput asks how long something dries in weather that stays as it is.
type dryInput struct {
	calc.DryInput
	Lat, Lon calc.Degree          // of the place, north and east positive; both zero: the default place
	Altitude calc.Metre           // of the place
	Max, Min *calc.Celsius        // of every day; required
	Humidity *calc.Share          // mean of every day
	Wind     *calc.MetrePerSecond // mean of every day, 10 m above the ground
	Sunshine *calc.Hours          // of every day
	Cloud    *calc.Share          // of every day, instead of sunshine
	Rain     *calc.Millimetre     // on every day
}

// input makes a forecast of the one day, which then repeats.
func (in dryInput) input() (calc.DryInput, error) {
	if in.Lat == 0 && in.Lon == 0 {
		home := Default()
		in.Lat, in.Lon, in.Altitude = home.Latitude, home.Longitude, cmp.Or(in.Altitude, home.Altitude)
	}
	forecast, err := calc.NewForecast(calc.ForecastInput{
		Place:  calc.Place{Lat: in.Lat, Lon: in.Lon, Altitude: in.Altitude, Zone: in.Start.Location()},
		Issued: in.Start,
		Days: []calc.Day{{
			Date: in.Start, Max: in.Max, Min: in.Min, HumidityMean: in.Humidity, Wind: in.Wind,
			Sunshine: in.Sunshine, Cloud: in.Cloud, Rain: in.Rain,
		}},
	})
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
