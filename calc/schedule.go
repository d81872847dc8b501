package calc

import (
	"math"
	"time"
)

// clockMinute counts from the midnight before the start of a plan.
type clockMinute int

const (
	minutesADay clockMinute = 24 * 60
	// crumb is an amount in kg that is taken as nothing.
	crumb = 1e-6
)

func clockMinutes(d time.Duration) clockMinute { return clockMinute(d / time.Minute) }

// works is a yard with its drums and people: what all runs of a plan share.
type works struct {
	midnight time.Time // before the start
	lat, lon Degree
	start    clockMinute
	sun      []daylight // of the days looked at so far
	steps    []sunlight // of every sunStep-th day, from one before the start
	ahead    []DayAhead

	cover, coverLate, wait, outside, reload, spacing clockMinute

	burnWork, finishWork      float64 // hours for a burn, and for a kg of briquettes
	perChar, wetPerKg         float64 // kg of briquettes per kg of char, wet kg per dry kg
	starchPerKg, waterPerKg   float64 // per kg of briquettes
	pieceKg, charStock, stock float64

	free  []clockMinute // when each drum is loaded: scratch of a run, as what follows
	burns []airing
	lots  []lot
}

// scenario is what the runs of one plan differ in.
type scenario struct {
	want    float64 // kg of briquettes, with the stock
	perBurn float64 // kg of char
	hands   float64 // hours of work a day
	rack    float64 // wet kg it holds
	binds   float64 // kg of briquettes for which there is starch
	drums   int
	dryDays int
	days    int  // to work through at most
	fair    bool // all days are fit
	// pressFirst gives the hands of a day to pressing before burning. Either
	// order can be the quicker one when hands are short.
	pressFirst bool
}

// airing is the char of one burn until its day outside is over.
type airing struct {
	until clockMinute
	kg    float64
}

// lot is what lies on the rack from one day of pressing.
type lot struct {
	kg      float64
	pressed int // day
	left    int // fit days until it is dry
}

// outcome is how a run ends.
type outcome struct {
	day     int     // the last one worked
	ready   float64 // kg
	done    bool
	starved bool // all starch is used, and less than wanted is ready
	short   bool // more hands would have done more on some day
}

// yard is the state of a run.
type yard struct {
	*works
	scenario
	out         *PlanResult // where to write the calendar; nil: nowhere
	aired, dry  int         // how many burns are aired and lots dry
	unlit, pool float64     // kg of char to burn; to press
	unpressed   float64     // kg of briquettes
	onRack      float64     // wet kg
	ready       float64     // kg
	left        float64     // hours of today
	short       bool        // more hands would have done more
}

// best finds the quicker order of a day's work, which matters only when hands
// are short.
func (w *works) best(s scenario) (scenario, outcome) {
	end := w.run(s, nil)
	if !end.short {
		return s, end
	}
	other := s
	other.pressFirst = !s.pressFirst
	if e := w.run(other, nil); e.before(end) {
		return other, e
	}
	return s, end
}

// before reports whether a run ended better than another.
func (o outcome) before(p outcome) bool {
	if o.done != p.done {
		return o.done
	}
	return o.day < p.day || o.day == p.day && o.ready > p.ready+crumb
}

// run works through the days until all is ready. With out it writes them down.
func (w *works) run(s scenario, out *PlanResult) outcome {
	w.free, w.burns, w.lots = w.free[:0], w.burns[:0], w.lots[:0]
	y := &yard{
		works: w, scenario: s, out: out,
		unlit: (s.want-w.stock)/w.perChar - w.charStock, pool: w.charStock,
		unpressed: s.want - w.stock, ready: w.stock,
	}
	for range min(s.drums, int(math.Ceil(y.unlit/s.perBurn))) { // more than are lit are not looked at
		w.free = append(w.free, w.start+w.reload)
	}
	for d := range s.days {
		y.day(d)
		switch {
		case y.ready >= s.want-crumb:
			return outcome{day: d, ready: y.ready, done: true, short: y.short}
		case y.binds <= crumb && y.dry == len(w.lots):
			return outcome{day: d, ready: y.ready, starved: true, short: y.short}
		}
	}
	return outcome{day: s.days, ready: y.ready, short: y.short}
}

func (y *yard) day(d int) {
	ahead := y.sky(d)
	var worked, pressed float64
	lit := 0
	if y.left = 0; y.unpressed > crumb { // else it only has to dry
		rise, set := y.daylight(d)
		worked = y.hands * float64(set-min(max(rise, y.start), set)) / float64(set-rise)
		y.left = worked
		if y.pressFirst {
			pressed = y.press(d)
		}
		if ahead.Light {
			lit = y.light(d)
		}
		if !y.pressFirst {
			pressed = y.press(d)
		}
	}
	rack, dried := y.onRack, 0.0
	if ahead.Dry {
		dried = y.sun(d)
	}
	y.ready += dried
	if y.out == nil {
		return
	}
	y.out.Days = append(y.out.Days, PlanDay{
		Date: y.midnight.AddDate(0, 0, d), Ahead: ahead, Known: d < len(y.works.ahead),
		Lit: lit, Pieces: y.pieces(pressed), Pressed: Kg(pressed), Rack: Kg(rack), Dried: Kg(dried), Ready: Kg(y.ready), Work: Hours(worked - y.left),
	})
}

// sky is what day d is fit for.
func (y *yard) sky(d int) DayAhead {
	if y.fair || d >= len(y.works.ahead) {
		return DayAhead{Light: true, Dry: true}
	}
	return y.works.ahead[d]
}

// light lights what can be lit on day d and returns how many drums that is.
func (y *yard) light(d int) int {
	rise, set := y.daylight(d)
	at := max(rise, y.start) + y.reload
	latest := set - clockMinutes(nightMargin.Likely.Duration()) - y.coverLate
	lit := 0
	for y.unlit > crumb {
		k := soonest(y.free)
		if at = max(at, y.free[k]); at >= latest {
			break
		}
		// Where a day has fewer hours than a burn takes, it still does one.
		if y.left < min(y.burnWork, y.hands) {
			y.short = true
			break
		}
		covered := at + y.cover
		opened := y.opens(covered + y.wait)
		y.free[k] = max(opened+y.reload, clockMinute(d+1)*minutesADay)
		y.burns = append(y.burns, airing{opened + y.outside, y.perBurn})
		if y.out != nil {
			y.out.Burnt = append(y.out.Burnt, PlannedBurn{
				Drum: k + 1, Lit: y.at(at), Covered: y.at(covered), Opened: y.at(opened), Aired: y.at(opened + y.outside), Char: Kg(y.perBurn),
			})
		}
		y.unlit -= y.perBurn
		y.left -= min(y.burnWork, y.left)
		at += y.spacing
		lit++
	}
	return lit
}

// soonest returns the drum that is free first.
func soonest(free []clockMinute) int {
	best := 0
	for k, m := range free {
		if m < free[best] {
			best = k
		}
	}
	return best
}

// press crushes and presses on day d what is aired by noon, and returns the kg
// of briquettes that gives.
func (y *yard) press(d int) float64 {
	rise, set := y.daylight(d)
	for y.aired < len(y.burns) && y.burns[y.aired].until <= (rise+set)/2 {
		y.pool += y.burns[y.aired].kg
		y.aired++
	}
	kg := min(y.pool*y.perChar, y.unpressed, (y.rack-y.onRack)/y.wetPerKg, y.binds)
	if can := y.left / y.finishWork; can < kg {
		kg, y.short = can, true
	}
	if kg < min(float64(smallestLot.Likely), y.unpressed, y.binds)-crumb || kg <= crumb {
		return 0
	}
	y.pool -= kg / y.perChar
	y.unpressed -= kg
	y.binds -= kg
	y.left -= kg * y.finishWork
	y.onRack += kg * y.wetPerKg
	y.lots = append(y.lots, lot{kg, d, y.dryDays})
	return kg
}

// sun dries what was pressed before day d, and returns the kg that are ready on
// its evening.
func (y *yard) sun(d int) float64 {
	var dried float64
	for i := y.dry; i < len(y.lots) && y.lots[i].pressed < d; i++ {
		l := &y.lots[i]
		if l.left--; l.left > 0 {
			continue
		}
		y.dry++
		dried += l.kg
		y.onRack -= l.kg * y.wetPerKg
		if y.out != nil {
			y.out.Lots = append(y.out.Lots, PlannedLot{
				Pressed: y.midnight.AddDate(0, 0, l.pressed), Dry: y.midnight.AddDate(0, 0, d), Pieces: y.pieces(l.kg), Kg: Kg(l.kg),
			})
		}
	}
	return dried
}

func (w *works) pieces(kg float64) Count { return Count(max(math.Ceil(kg/w.pieceKg-crumb), 0)) }

func (w *works) at(m clockMinute) time.Time { return w.midnight.Add(time.Duration(m) * time.Minute) }

// sunlight is sunrise and sunset in minutes since the midnight before the start.
type sunlight struct{ rise, set float64 }

// daylight is sunlight in whole minutes.
type daylight struct{ rise, set clockMinute }

const (
	sunStep = 8        // days
	sunNear = 2.5 / 60 // minutes
)

// daylight returns sunrise and sunset of day d as whole minutes: a clockMinute lies
// in daylight when it is not before the one and before the other. A plan looks
// at many days, and the sun moves smoothly: a cubic through every eighth day is
// as good as SunTimes, which is asked where the rest decides the minute.
func (w *works) daylight(d int) (rise, set clockMinute) {
	if d >= len(w.sun) {
		w.look(d)
	}
	return w.sun[d].rise, w.sun[d].set
}

// look adds the days up to d to those looked at.
func (w *works) look(d int) {
	near := func(minute float64) bool { return math.Abs(minute-math.Round(minute)) < sunNear }
	for n := len(w.sun); n <= d; n++ {
		s := w.sunBetween(n)
		if near(s.rise) || near(s.set) {
			s = w.sunOn(n)
		}
		w.sun = append(w.sun, daylight{clockMinute(math.Ceil(s.rise)), clockMinute(math.Ceil(s.set))})
	}
}

// sunBetween is sunOn to sunNear, from the four nearest days of the steps.
func (w *works) sunBetween(d int) sunlight {
	for len(w.steps) < d/sunStep+4 {
		w.steps = append(w.steps, w.sunOn((len(w.steps)-1)*sunStep))
	}
	s, part := w.steps[d/sunStep:], float64(d%sunStep)/sunStep
	return sunlight{cubic(part, s[0].rise, s[1].rise, s[2].rise, s[3].rise), cubic(part, s[0].set, s[1].set, s[2].set, s[3].set)}
}

func (w *works) sunOn(d int) sunlight {
	// Latitudes where the sun may not rise were refused.
	sun, _ := SunTimes(w.lat, w.lon, w.midnight.AddDate(0, 0, d))
	return sunlight{sun.Rise.Sub(w.midnight).Minutes(), sun.Set.Sub(w.midnight).Minutes()}
}

// cubic is the value at x, from 0 to 1, of the cubic through a, b, c and d at -1, 0,
// 1 and 2.
func cubic(x, a, b, c, d float64) float64 {
	bend := (a - 2*b + c) / 2
	return b + x*(c-b+(x-1)*(bend+(x+1)*(d-3*c+3*b-a)/6))
}

// opens returns the moment from which a drum may be opened whose wait is over
// at m, as NotBefore does.
func (w *works) opens(m clockMinute) clockMinute {
	margin := clockMinutes(nightMargin.Likely.Duration())
	for d := int(m / minutesADay); ; d++ {
		rise, set := w.daylight(d)
		if m < set-margin {
			return max(m, rise+margin)
		}
	}
}
