package main

import (
	"cmp"
	"errors"
	"time"

	"cobline/calc"
)

// site is where the weather and the sun are asked for.
type site struct {
	Lat, Lon calc.Degree // of the place, north and east positive; both zero: the default place
	Altitude calc.Metre  // of the place
}

// orHome returns the site itself, or the default place.
func (s site) orHome() site {
	if s.Lat == 0 && s.Lon == 0 {
		home := Default()
		return site{home.Latitude, home.Longitude, cmp.Or(s.Altitude, home.Altitude)}
	}
	return s
}

// steadyWeather is one day at a site, which repeats.
type steadyWeather struct {
	site
	Max, Min *calc.Celsius          // of every day; dry and outlook ask for both
	Humidity *calc.Share            // mean of every day
	Dew      *calc.Celsius          // dew point, instead of humidity
	Wind     *calc.MetrePerSecond   // mean of every day, 10 m above the ground
	Solar    *calc.MJPerSquareMetre // radiation on the ground, of every day
	Sunshine *calc.Hours            // of every day, instead of radiation
	Cloud    *calc.Share            // of every day, instead of sunshine
	Rain     *calc.Millimetre       // on every day
}

// forecast says the weather for a number of days.
func (w steadyWeather) forecast(first time.Time, days int) (*calc.Forecast, error) {
	at := w.orHome()
	in := calc.ForecastInput{
		Place:  calc.Place{Lat: at.Lat, Lon: at.Lon, Altitude: at.Altitude, Zone: first.Location()},
		Issued: first,
	}
	for d := range days {
		in.Days = append(in.Days, calc.Day{
			Date: first.AddDate(0, 0, d), Max: w.Max, Min: w.Min, HumidityMean: w.Humidity, Dew: w.Dew, Wind: w.Wind,
			Solar: w.Solar, Sunshine: w.Sunshine, Cloud: w.Cloud, Rain: w.Rain,
		})
	}
	return calc.NewForecast(in)
}

// orToday returns a day itself, or today.
func orToday(day time.Time) time.Time {
	if day.IsZero() {
		return time.Now().In(homeZone())
	}
	return day
}

// outlookInput asks what weather that stays as it is means for rack and fire.
type outlookInput struct {
	steadyWeather
	Day       time.Time   // the first; zero: today
	Days      calc.Count  // in which the weather stays so, 1 to 16; zero: 1
	SinceRain *calc.Count // dry days before the first; not given: nobody knows
}

type outlookResult struct{ Days []outlookDay }

// outlookDay is a day of calc.Outlook without the weather, which was given.
type outlookDay struct {
	calc.DayAdvice
	Power       calc.Ratio // about 0.4 on a good day, below 0.3 on a slow one
	Evaporation calc.Millimetre
	Fire        calc.FireLevel
	Reasons     calc.FireReason
	Danger      calc.Ratio // McArthur's forest fire danger index
}

func outlook(in outlookInput) (outlookResult, error) {
	days, sinceRain := cmp.Or(in.Days, 1), -1
	if err := within("days of weather", days, 1, 16); err != nil {
		return outlookResult{}, err
	}
	if in.SinceRain != nil {
		if err := within("days since rain", *in.SinceRain, 0, 366); err != nil {
			return outlookResult{}, err
		}
		sinceRain = int(*in.SinceRain)
	}
	forecast, err := in.forecast(orToday(in.Day), int(days))
	if err != nil {
		return outlookResult{}, err
	}
	told, err := calc.Outlook(forecast, sinceRain)
	if err != nil {
		return outlookResult{}, err
	}
	var out outlookResult
	for _, d := range told {
		out.Days = append(out.Days, outlookDay{d.DayAdvice, d.Power, d.Evaporation, d.Fire.Level, d.Fire.Reasons, d.Fire.Danger})
	}
	return out, nil
}

// sunInput asks for the daylight of a place, and what it leaves time for.
type sunInput struct {
	site
	Day    time.Time  // zero: today
	Slow   bool       // a drum of restricted holes, which burns for hours
	Sealed time.Time  // when a drum was completely sealed; zero: none waits
	Waste  calc.Waste // whose char cools in it; zero: unknown, which counts as fines
	Wait   calc.Hours // from sealing to opening, 0 to 240; never less than the binding wait of the waste
}

type sunResult struct {
	calc.SunDay
	MaximumSunshine calc.Hours            // geometric, without refraction
	Radiation       calc.MJPerSquareMetre // above the air
	LatestLighting  answer[time.Time]     // so that the drum is covered by day
	NotBefore       *answer[time.Time]    // of the sealed drum: not opened sooner
}

func sun(in sunInput) (sunResult, error) {
	at, day := in.orHome(), orToday(in.Day)
	times, err := calc.SunTimes(at.Lat, at.Lon, day)
	if err != nil {
		return sunResult{}, err
	}
	out := sunResult{
		SunDay:          times,
		MaximumSunshine: calc.MaximumSunshine(at.Lat, day.YearDay()),
		Radiation:       calc.ExtraterrestrialRadiation(at.Lat, day.YearDay()),
		LatestLighting:  answered(calc.LatestLighting(at.Lat, at.Lon, day, calc.Clock(in.Slow))),
	}
	if in.Sealed.IsZero() {
		return out, nil
	}
	cool, err := calc.Cool(calc.CoolInput{Waste: in.Waste})
	if err != nil {
		return sunResult{}, err
	}
	out.NotBefore = new(answered(calc.NotBefore(in.Sealed, max(in.Wait, cool.BindingWait), at.Lat, at.Lon)))
	return out, nil
}

// airInput is the state of the air; with maximum and minimum that of a day.
type airInput struct {
	steadyWeather
	Air *calc.Celsius // of the air now; not given: the mean of maximum and minimum
	Wet *calc.Celsius // a ventilated wet thermometer in that air, instead of humidity
	Day time.Time     // of the evaporation; zero: today
}

type airResult struct {
	Air               calc.Celsius
	Pressure          calc.Kilopascal // of the air at the altitude
	Saturation        calc.Kilopascal // of water vapour in this air
	Vapour            calc.Kilopascal
	Humidity          calc.Share
	DewPoint, WetBulb calc.Celsius
	Char, Wood        calc.DryBasis    // moisture that char briquettes and crop waste keep in this air
	Evaporation       *calc.Millimetre // of short grass in a day; asks for maximum and minimum
}

func air(in airInput) (airResult, error) {
	wholeDay := in.Max != nil && in.Min != nil
	switch {
	case in.Humidity == nil && in.Dew == nil && in.Wet == nil:
		return airResult{}, errors.New("say how moist the air is: give its humidity, its dew point or a wet thermometer")
	case in.Air == nil && !wholeDay:
		return airResult{}, errors.New("say how warm the air is: give its temperature, or the maximum and minimum of a day")
	case in.Air == nil:
		in.Air = new((*in.Max + *in.Min) / 2)
	}
	if err := within("air temperature", *in.Air, -10, 55); err != nil {
		return airResult{}, err
	}
	out := airResult{Air: *in.Air, Pressure: calc.AirPressure(in.orHome().Altitude), Saturation: calc.SaturationPressure(*in.Air)}
	if in.Wet != nil {
		vapour := calc.VapourFromWetBulb(*in.Air, *in.Wet, out.Pressure)
		if err := within("vapour pressure by the wet thermometer", vapour, 0.001, out.Saturation); err != nil {
			return airResult{}, err
		}
		in.Dew = new(calc.DewPoint(vapour))
	}
	if !wholeDay {
		in.Max, in.Min = in.Air, in.Air
	}
	forecast, err := in.forecast(orToday(in.Day), 1)
	if err != nil {
		return airResult{}, err
	}
	day := forecast.Days[0]
	out.DewPoint, out.Vapour = day.Dew, calc.SaturationPressure(day.Dew)
	out.Humidity = calc.RelativeHumidity(out.Air, out.Vapour)
	out.WetBulb = calc.WetBulb(out.Air, out.Vapour, out.Pressure)
	out.Char, out.Wood = calc.CharcoalEquilibrium(out.Air, out.Humidity), calc.WoodEquilibrium(out.Air, out.Humidity)
	if wholeDay {
		out.Evaporation = new(calc.ReferenceEvaporation(forecast.Place, day))
	}
	return out, nil
}
