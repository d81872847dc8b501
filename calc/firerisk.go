package calc

import (
	"cmp"
	"fmt"
	"math"
)

// FireLevel is how much care lighting a drum asks for. It is a caution, never a
// permission: local bans and fire warnings come first.
type FireLevel uint8

const (
	// OrdinaryCare is what every fire needs.
	OrdinaryCare FireLevel = iota + 1
	// ExtraCare is five metres cleared, water or sand at hand, a watcher.
	ExtraCare
	// DoNotLightToday is not a day to light.
	DoNotLightToday
)

// String returns the stable key.
func (l FireLevel) String() string {
	return keyed([]string{"ordinary-care", "extra-care", "do-not-light"}, uint8(l))
}

// FireReason is a set of reasons for a fire level.
type FireReason uint16

// The reasons.
const (
	WindyFire FireReason = 1 << iota
	GustyFire
	DryAir
	DangerIndex // forest fire danger index
	FireWarning
	AfterHotDay
)

// String returns the stable keys of the reasons.
func (r FireReason) String() string {
	return keysOf([]string{"wind", "gusts", "dry-air", "danger-index", "fire-warning", "after-hot-day"}, uint16(r))
}

var (
	burnGuide   = Source{Title: "Best practices for open burning, provincial guide", Year: 2021, At: "do not start above 10 km/h or if gusts are forecast", Standing: Read}
	burnRule    = Source{Title: "Town open-burning rule", At: "15 mph and 25 % humidity", Standing: Read}
	dangerBands = Source{Title: "McArthur forest fire danger meter", At: "12 to 25 high, 25 to 50 very high", Standing: Read}

	windToStop    = constant("wind at 10 m that forbids lighting", KilometrePerHour(20), burnRule.judged("below its 15 mph, for a drum beside dry grass"))
	gustToStop    = constant("gust that forbids lighting", KilometrePerHour(35), burnGuide.judged("it forbids any gusts forecast; those that lift embers"))
	windToWatch   = constant("wind at 10 m that asks for extra care", KilometrePerHour(10), burnGuide)
	airToStop     = constant("humidity below which nothing is lit", Share(0.25), burnRule)
	airToWatch    = constant("humidity below which extra care is due", Share(0.35), burnRule.judged("ten points above its limit"))
	dangerToStop  = constant("forest fire danger that forbids lighting", Ratio(25), dangerBands)
	dangerToWatch = constant("forest fire danger that asks for extra care", Ratio(12), dangerBands)
	angstromWatch = constant("Angstrom index below which a forest burns easily", Ratio(2.5), Source{Title: "Angstrom index", By: "wikifire.wsl.ch", Standing: Read})
)

// driest is the most of McArthur's drought factor.
const driest Ratio = 10

// droughts is the drought factor by the days without rain, straight in between.
var droughts = func() (after [4]struct {
	days   float64
	factor Figure[Ratio]
},
) {
	for i, row := range [...]struct {
		days   float64
		factor Ratio
	}{{0, 3}, {5, 6}, {10, 8}, {20, driest}} {
		after[i].days = row.days
		after[i].factor = constant(fmt.Sprintf("drought factor %g days after rain, its index not known", row.days), row.factor, weatherPractice)
	}
	return after
}()

// FireRiskInput is the weather of the hour when a drum would be lit, at its
// hottest: one o'clock or later.
type FireRiskInput struct {
	Air           Celsius        // -10 to 55
	Humidity      Share          // 0 to 1
	Wind          MetrePerSecond // mean, 10 m above the ground
	Gust          MetrePerSecond // zero: none forecast
	DroughtFactor Ratio          // McArthur's, 1 to 10; zero: worked out from what follows
	DroughtIndex  *Millimetre    // Keetch and Byram's, 0 to 203; nil: judged from DaysSinceRain
	DaysSinceRain *int           // nil: not known, taken as the driest
	LastRain      Millimetre     // that fell then; used with DroughtIndex
	Warning       bool           // an official fire warning is in force
	HotYesterday  bool           // the day before was hot and dry
}

// FireRiskResult is the fire caution of an hour.
type FireRiskResult struct {
	Level   FireLevel
	Reasons FireReason

	Drought  Ratio // McArthur's drought factor, 1 to 10
	Angstrom Ratio // above 4 unlikely, below 2 very likely
	Danger   Ratio // McArthur's forest fire danger index, Mark 5: from 12 high, from 50 severe
	Fosberg  Ratio // fire weather index, 0 to 100: above 50 dangerous
	Grass    Ratio // McArthur's grassland index, Mark 4, cured grass
}

// FireRisk judges whether a drum may be lit beside dry grass: not at 20 km/h of
// wind, gusts of 35, air under 25 % humid, a forest fire danger index of 25 or
// an official warning; with extra care at half the wind, under 35 %, after a hot
// dry day, or when the danger index is 12 and the Angstrom index low. The
// Angstrom index was made for Scandinavia and calls every tropical day
// dangerous, so alone it counts for nothing; Fosberg and Grass are given for
// those who know them.
func FireRisk(in FireRiskInput) (FireRiskResult, error) {
	err := cmp.Or(
		within("temperature", in.Air, airBounds.Low, airBounds.High),
		within("humidity", in.Humidity, 0, 1),
		within("wind", in.Wind, 0, windBound.Likely),
		within("gust", in.Gust, 0, windBound.Likely),
		within("drought factor", in.DroughtFactor, 0, driest),
		known("drought index", in.DroughtIndex, 0, 203.2),
		within("last rain", in.LastRain, 0, 10*rainBound.Likely),
	)
	if err != nil {
		return FireRiskResult{}, err
	}
	out := FireRiskResult{Drought: in.drought(), Angstrom: angstrom(in.Air, in.Humidity)}
	wind, gust := in.Wind.PerHour(), in.Gust.PerHour()
	out.Danger = forestDanger(in.Air, in.Humidity, wind, out.Drought)
	out.Fosberg = fosberg(in.Air, in.Humidity, wind)
	out.Grass = grassDanger(in.Air, in.Humidity, wind)

	stop := when(wind >= windToStop.Likely, WindyFire) | when(gust >= gustToStop.Likely, GustyFire) |
		when(in.Humidity < airToStop.Likely, DryAir) | when(out.Danger >= dangerToStop.Likely, DangerIndex) |
		when(in.Warning, FireWarning)
	watch := when(wind >= windToWatch.Likely, WindyFire) | when(in.Humidity < airToWatch.Likely, DryAir) |
		when(out.Danger >= dangerToWatch.Likely && out.Angstrom < angstromWatch.Likely, DangerIndex) |
		when(in.HotYesterday, AfterHotDay)
	switch {
	case stop != 0:
		out.Level, out.Reasons = DoNotLightToday, stop
	case watch != 0:
		out.Level, out.Reasons = ExtraCare, watch
	default:
		out.Level = OrdinaryCare
	}
	return out, nil
}

func when(is bool, r FireReason) FireReason {
	if is {
		return r
	}
	return 0
}

// angstrom is the index of one o'clock, RH/20 + (27-T)/10.
func angstrom(t Celsius, rh Share) Ratio { return Ratio(rh*100/20) + Ratio((27-t)/10) }

// forestDanger is McArthur's Mark 5 meter as an equation (Noble, Bary and Gill
// 1980).
func forestDanger(t Celsius, rh Share, wind KilometrePerHour, drought Ratio) Ratio {
	return Ratio(2 * math.Exp(-0.45+0.987*math.Log(float64(drought))-3.45*float64(rh)+0.0338*float64(t)+0.0234*float64(wind)))
}

// drought is McArthur's drought factor. Without the drought index it is judged
// from the days without rain: 3 after rain, 6 at five days, 8 at ten, 10 at
// twenty and when nobody knows.
func (in FireRiskInput) drought() Ratio {
	if in.DroughtFactor != 0 {
		return in.DroughtFactor
	}
	if in.DaysSinceRain == nil {
		return driest
	}
	days := max(0, float64(*in.DaysSinceRain))
	if in.DroughtIndex != nil {
		n := math.Pow(days+1, 1.5)
		return Ratio(min(float64(driest), 0.191*(float64(*in.DroughtIndex)+104)*n/(3.52*n+float64(in.LastRain)-1)))
	}
	for i, to := range droughts[1:] {
		if from := droughts[i]; days <= to.days {
			return from.factor.Likely + (to.factor.Likely-from.factor.Likely)*Ratio((days-from.days)/(to.days-from.days))
		}
	}
	return driest
}

// fosberg is the fire weather index of Fosberg: the moisture of fine fuel
// (Simard) and the wind.
func fosberg(t Celsius, rh Share, wind KilometrePerHour) Ratio {
	f, h := float64(t)*9/5+32, float64(rh)*100
	var m float64
	switch {
	case h < 10:
		m = 0.03229 + 0.281073*h - 0.000578*h*f
	case h <= 50:
		m = 2.22749 + 0.160107*h - 0.01478*f
	default:
		m = 21.0606 + 0.005565*h*h - 0.00035*h*f - 0.483199*h
	}
	x := m / 30
	damping := 1 - 2*x + 1.5*x*x - 0.5*x*x*x
	mph := float64(wind) / 1.609344
	return Ratio(min(100, damping*math.Sqrt(1+mph*mph)/0.3002))
}

// grassDanger is McArthur's Mark 4 grassland meter with 4.5 t/ha of fully cured
// grass.
func grassDanger(t Celsius, rh Share, wind KilometrePerHour) Ratio {
	const load = 4.5
	return Ratio(math.Exp(-1.523 + 1.027*math.Log(load) + 0.02764*float64(t) -
		0.2205*math.Sqrt(float64(rh)*100) + 0.6422*math.Sqrt(float64(wind))))
}

// fireRisk is the worst hour of a day of the forecast from nine to eighteen.
func (f *Forecast) fireRisk(day, sinceRain int) (worst FireRiskResult, err error) {
	w := &f.Days[day]
	in := FireRiskInput{Gust: w.Gust, HotYesterday: day > 0 && f.Days[day-1].hotAndDry()}
	if sinceRain >= 0 {
		in.DaysSinceRain = &sinceRain
	}
	hours := f.Hours(LikelyMember, day)
	for _, h := range hours[9:18] {
		in.Air, in.Humidity = h.Air, min(1, RelativeHumidity(h.Air, h.Vapour))
		in.Wind = h.Wind / windAt2m(1, 10)
		risk, err := FireRisk(in)
		if err != nil {
			return worst, err
		}
		if risk.Level > worst.Level || risk.Level == worst.Level && risk.Danger > worst.Danger {
			worst = risk
		}
	}
	return worst, nil
}
