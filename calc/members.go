package calc

import (
	"math"
	"time"
)

// Member is one of the three courses the weather may take.
type Member uint8

// The members of a forecast.
const (
	DryMember Member = iota
	LikelyMember
	WetMember
	members = 3
)

// String returns the stable key.
func (m Member) String() string { return keyed([]string{"dry", "likely", "wet"}, uint8(m)+1) }

// shift is how a member differs from the forecast.
type shift struct {
	max, min, dew Celsius
	clearness     Share
	rain          Millimetre // times the forecast
}

var forecastErrors = Source{Title: "Judgement of the error of a forecast of some days, P10 and P90", Standing: Derived}

var (
	maxError   = newFigure("true maximum less the forecast", Celsius(-2), 0, 1.5, forecastErrors)
	minError   = newFigure("true minimum less the forecast", Celsius(-0.5), 0, 1, forecastErrors)
	dewError   = newFigure("true dew point less the forecast", Celsius(-2), 0, 1.5, forecastErrors)
	sunError   = newFigure("true clearness index less the forecast", Share(-0.1), 0, 0.075, forecastErrors)
	rainFactor = newFigure("true rain per rain forecast", Ratio(0), 1, 2, forecastErrors)

	shifts = [members]shift{
		DryMember:    {maxError.High, minError.High, dewError.Low, sunError.High, Millimetre(rainFactor.Low)},
		LikelyMember: {rain: Millimetre(rainFactor.Likely)},
		WetMember:    {maxError.Low, minError.Low, dewError.High, sunError.Low, Millimetre(rainFactor.High)},
	}

	coolest  = constant("solar hour of the lowest temperature", Hours(6), weatherPractice)
	warmest  = constant("solar hour of the highest temperature", Hours(15), weatherPractice)
	dayWind  = constant("wind from nine to eighteen hours over the mean", Ratio(1.3), weatherPractice)
	restWind = constant("wind at other hours over the mean", Ratio(0.7), weatherPractice)
)

// in returns the day as it is in a member.
func (w Weather) in(m Member) Weather {
	s := shifts[m]
	if m == WetMember {
		w.Dew = min(w.Dew+s.dew, w.Min-0.5)
		w.Clearness = min(w.Clearness, max(w.Clearness+s.clearness, cloudy.Likely))
	} else {
		w.Dew += s.dew
		w.Clearness = max(w.Clearness, min(w.Clearness+s.clearness, sunny.Likely))
	}
	w.Max, w.Min, w.Rain = w.Max+s.max, w.Min+s.min, w.Rain*s.rain
	return w
}

// Hour is the weather of one hour.
type Hour struct {
	Air    Celsius
	Vapour Kilopascal
	Sun    WattPerSquareMetre
	Wind   MetrePerSecond // 2 m above the ground
	Rain   Millimetre     // its sum
	Clear  Share          // sunshine per that of a clear day
}

// air is the temperature at a solar time: two half cosines between the coolest
// and the warmest hour.
func (w *Weather) air(solar float64) Celsius {
	mean, swing := (w.Max+w.Min)/2, float64(w.Max-w.Min)/2
	low, high := float64(coolest.Likely), float64(warmest.Likely)
	rise, since := high-low, math.Mod(solar-low+48, 24)
	if since < rise {
		return mean - Celsius(swing*math.Cos(math.Pi*since/rise))
	}
	return mean + Celsius(swing*math.Cos(math.Pi*(since-rise)/(24-rise)))
}

// Hours returns the 24 clock hours of a member's day, counted from the first day
// of the forecast; before the first and after the last day those repeat.
// Temperature and sun follow the sun, the vapour pressure is that of the dew
// point, the wind blows 1.3 of its mean from 9 to 18 o'clock and 0.7 outside,
// and rain of unknown hour falls from 15 to 18 o'clock.
func (f *Forecast) Hours(m Member, day int) [24]Hour {
	forecast := &f.Days[min(max(day, 0), len(f.Days)-1)]
	w := forecast.in(m)
	wet, times := w.RainByHour, shifts[m].rain
	vapour := SaturationPressure(w.Dew)
	var hours [24]Hour
	for h := range hours {
		x := &hours[h]
		x.Air = w.air(float64(h) + 0.5 + w.clock)
		x.Vapour = min(vapour, SaturationPressure(x.Air)*0.98)
		x.Sun = WattPerSquareMetre(w.sun[h] * float64(w.Clearness))
		x.Clear = w.Clearness / sunny.Likely
		x.Wind = w.Wind * MetrePerSecond(restWind.Likely)
		if h >= 9 && h < 18 {
			x.Wind = w.Wind * MetrePerSecond(dayWind.Likely)
		}
		switch {
		case wet != nil:
			x.Rain = wet[h] * times
		case h >= 15 && h < 18:
			x.Rain = w.Rain / 3
		}
	}
	return hours
}

// shine works out the sun above the air in each clock hour of the day.
func (w *Weather) shine(p Place) {
	s := solarDayAt(p.Lat, w.Date.YearDay())
	ahead := p.solarClock(w.Date.Add(12*time.Hour), s)
	w.clock = ahead
	for h := range w.sun {
		from, to := hourAngle(float64(h)+ahead), hourAngle(float64(h)+1+ahead)
		w.sun[h] = float64(s.between(from, to)) / secondsPerHour * 1e6
	}
}
