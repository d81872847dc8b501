package calc

import (
	"cmp"
	"math"
	"time"
)

// Shelter is how a thing that dries meets the weather.
type Shelter uint8

// The shelters.
const (
	InSun     Shelter = iota + 1
	UnderRoof         // airy, dry, shaded
	Covered           // under a sheet or indoors
)

// String returns the stable key.
func (s Shelter) String() string { return keyed([]string{"sun", "roof", "cover"}, uint8(s)) }

// Tending is what the producer does with the rack day by day.
type Tending uint8

const (
	// SheetedAtNight is out in the sun in the open hours and under a sheet at
	// night and in rain.
	SheetedAtNight Tending = iota
	// Roofed stays under an airy roof day and night.
	Roofed
	// LeftOut stays out day and night, in rain too.
	LeftOut
)

// String returns the stable key.
func (t Tending) String() string { return keyed([]string{"sheeted", "roofed", "left-out"}, uint8(t)+1) }

var (
	openFrom       = constant("clock hour of putting out", Hours(8), practice)
	openUntil      = constant("clock hour of covering", Hours(17), practice)
	thinLayer      = constant("layer of waste that dries as one piece does", Metre(.03), practice)
	doubleLayer    = constant("layer of waste turned daily that takes twice as long", Metre(.10), practice)
	deepestLayer   = constant("deepest layer of waste that dries", Metre(.30), practice)
	deepestSlowing = constant("time of the deepest layer over that of a thin one", Ratio(4), practice)

	twilight = constant("time kept from sunrise and sunset when putting out and bringing in", Minutes(30), practice)
)

// DryInput asks how long something dries in the coming weather. A zero field
// stands for the default its comment states.
type DryInput struct {
	Forecast *Forecast

	Piece   Piece           // a briquette; zero: solid, 55 mm by 50 mm
	Density KgPerCubicMetre // dry, of the briquette; zero: 650
	Waste   Waste           // a crop waste, instead of briquettes
	Split   bool            // stalks split or chopped
	Layer   Metre           // depth of a layer of waste that is turned daily; zero: thin; at most 0.3

	Moisture Range[WetBasis] // at Start; zero: 0.35, or that of the fresh waste
	Target   WetBasis        // zero: 0.08, or 0.15 for a waste
	Pace     Ratio           // rate over that of the model, as LearnPace finds it; zero: 1
	Rained   Millimetre      // rain on the open rack that a person reports

	Start       time.Time // put out; zero: the first midnight of the forecast
	Now         time.Time // zero: Start
	Tending     Tending
	From, Until int // clock hours in the open; both zero: 8 to 17, but never in the dark
}

// MemberDrying is the drying in one member of the forecast.
type MemberDrying struct {
	Reached  bool       // dry within 40 days
	Ready    time.Time  // the hour it is dry
	Days     Days       // left from Now; a day counts its open hours
	Moisture WetBasis   // at Now
	Evenings []WetBasis // at the end of each day from Start, the last one when it is dry
}

// DryResult is how long something dries.
type DryResult struct {
	Days    Range[Days]     // left from Now; 40 stands for never
	Beyond  bool            // the likely day lies after the forecast, in monthly or repeated weather
	Members [3]MemberDrying // dry, likely, wet
	Plan    []DayPlan       // from Now until dry in the likely member
	Assumed []*Sourced
}

// WholeDays rounds the days up to what is said to a producer.
func (r DryResult) WholeDays() (from, to int) {
	return int(math.Ceil(float64(r.Days.Low) - 1e-9)), int(math.Ceil(float64(r.Days.High) - 1e-9))
}

const longestDrying = 40 // days

// rack is a body in the weather of a place, and how it is tended. Hours count
// from the first midnight of the forecast by the clock, 24 to a day.
type rack struct {
	body
	forecast    *Forecast
	gamma       float64
	target      float64
	tending     Tending
	from, until int         // clock hours
	start, now  int         // hours
	curve       *[]WetBasis // of each hour, when a picture is wanted
}

// dayOf splits an hour count into the day of the forecast and the clock hour.
func dayOf(hour int) (day, clock int) {
	clock = (hour%24 + 24) % 24
	return (hour - clock) / 24, clock
}

// hourOf counts the whole hours from the first midnight of the forecast to t.
func (f *Forecast) hourOf(t time.Time) int {
	local := t.In(f.Place.zone())
	return 24*daysBetween(f.Days[0].Date, f.Place.midnight(local)) + local.Hour()
}

// clock is the time at an hour count.
func (f *Forecast) clock(hour int) time.Time {
	y, m, d := f.Days[0].Date.Date()
	return time.Date(y, m, d, hour, 0, 0, 0, f.Place.zone())
}

// openHours are the clock hours of the day of a time, or of the first day, in
// which a rack stands in the open by default: nobody is sent out in the dark.
func (f *Forecast) openHours(day time.Time) (from, until int) {
	from, until = int(openFrom.Likely), int(openUntil.Likely)
	noon := f.clock(12)
	if !day.IsZero() {
		noon = f.Place.midnight(day).Add(12 * time.Hour)
	}
	sun, err := SunTimes(f.Place.Lat, f.Place.Lon, noon)
	if err != nil || sun.PolarDay || sun.PolarNight {
		return from, until
	}
	margin := twilight.Likely.Duration()
	rise := sun.Rise.Add(margin + time.Hour - time.Nanosecond)
	return max(from, rise.Hour()), min(until, sun.Set.Add(-margin).Hour())
}

func (r *rack) shelter(clock int, rain Millimetre) Shelter {
	switch {
	case r.tending == LeftOut:
		return InSun
	case r.tending == Roofed:
		return UnderRoof
	case rain > 0 || clock < r.from || clock >= r.until:
		return Covered
	default:
		return InSun
	}
}

// elapsed is the time at an hour count in days, each by its open hours: a night
// takes none.
func (r *rack) elapsed(hour int) Days {
	day, clock := dayOf(hour)
	return Days(float64(day) + max(0, min(1, float64(clock-r.from)/float64(r.until-r.from))))
}

// run dries from moisture x in a member until the target or the longest time.
func (r *rack) run(m Member, x float64) MemberDrying {
	out := MemberDrying{Evenings: make([]WetBasis, 0, 12), Moisture: DryBasis(x).Wet()}
	var hours [24]Hour
	morning, hour, end := x, r.start, r.start+24*longestDrying
	for ; x > r.target && hour < end; hour++ {
		day, clock := dayOf(hour)
		if hour == r.start || clock == 0 {
			hours, morning = r.forecast.Hours(m, day), x
		}
		h := &hours[clock]
		x, _ = r.step(x, h, r.shelter(clock, h.Rain), r.gamma, secondsPerHour)
		if r.curve != nil {
			*r.curve = append(*r.curve, DryBasis(x).Wet())
		}
		if hour < r.now {
			out.Moisture = DryBasis(x).Wet()
		}
		if clock == 23 || x <= r.target {
			out.Evenings = append(out.Evenings, DryBasis(x).Wet())
		}
		if clock == 23 && day >= len(r.forecast.Days) && (morning-x)*float64(end-hour)/24 < x-r.target {
			break // the last day repeats, and dries too little
		}
	}
	if out.Reached = x <= r.target; !out.Reached {
		out.Days = longestDrying
		return out
	}
	out.Ready = r.forecast.clock(hour)
	out.Days = max(0, r.elapsed(hour)-r.elapsed(max(r.start, r.now)))
	return out
}

// DryOut computes how many days a briquette or a crop waste needs until it is dry,
// in the likely course of a forecast and in its dry and wet members, and what to
// do on each day. The model is a first-order (Lewis) drying law whose rate
// follows the surface temperature of the piece, capped by what the air can carry
// off: hour by hour the surface finds the temperature at which sun, sky, air and
// evaporation balance. It is calibrated to three to four days of sun in a dry
// season, not to a measured curve: own reference computation. Low and High of
// the days are the dry and wet member (P10 and P90 of the weather), widened by
// the range of the moisture; they do not hold the uncertainty of the model,
// which LearnPace takes out. Moisture 0.02 to 0.75, Pace 0.2 to 5.
func DryOut(in DryInput) (DryResult, error) {
	var out DryResult
	r, moisture, err := in.rack(&out.Assumed)
	if err != nil {
		return out, err
	}
	out.Days, out.Members = r.days(in, moisture)
	likely := out.Members[LikelyMember]
	out.Beyond = !likely.Reached || likely.Ready.After(in.Forecast.clock(24*in.Forecast.horizon()))
	out.Plan = r.plan(float64(likely.Moisture.Dry()))
	return out, nil
}

func (r *rack) days(in DryInput, moisture Range[WetBasis]) (Range[Days], [3]MemberDrying) {
	var out [3]MemberDrying
	for m := range out {
		out[m] = r.run(Member(m), r.begin(in, moisture.Likely))
	}
	likely := out[LikelyMember].Days
	days := Range[Days]{min(out[DryMember].Days, likely), likely, max(out[WetMember].Days, likely)}
	if moisture.Low != moisture.High {
		days = widened(days, r.run(LikelyMember, r.begin(in, moisture.Low)).Days,
			r.run(LikelyMember, r.begin(in, moisture.High)).Days)
	}
	return days, out
}

// DryingCurve is the moisture at the end of each hour from Start until it is dry,
// at most 40 days, in the dry, the likely and the wet member: the picture of
// DryOut, with its input, ranges and model.
func DryingCurve(in DryInput) ([3][]WetBasis, error) {
	var curves [3][]WetBasis
	r, moisture, err := in.rack(new([]*Sourced))
	if err != nil {
		return curves, err
	}
	for m := range curves {
		r.curve = &curves[m]
		r.run(Member(m), r.begin(in, moisture.Likely))
	}
	return curves, nil
}

// begin is the moisture at the start, with the rain that was reported.
func (r *rack) begin(in DryInput, w WetBasis) float64 {
	x := float64(w.Dry())
	if in.Rained > 0 {
		x = r.wetted(x, in.Rained)
	}
	return x
}

// widened adds the days of an independent cause at its own P10 and P90; where
// something is dry already, logarithms do not exist and the outermost stand.
func widened(r Range[Days], low, high Days) Range[Days] {
	if min(r.Low, low) <= 0 {
		return Range[Days]{min(r.Low, low), r.Likely, max(r.High, high)}
	}
	s := spreadOf(r)
	s.move(float64(low), float64(high))
	wide := rangeOf[Days](s)
	wide.High = min(wide.High, longestDrying)
	return wide
}

// rack checks an input and completes it.
func (in DryInput) rack(assumed *[]*Sourced) (*rack, Range[WetBasis], error) {
	var none Range[WetBasis]
	if in.Forecast == nil || len(in.Forecast.Days) == 0 {
		return nil, none, OutOfRange{What: "days of forecast", Low: 1, High: longestDrying}
	}
	r := &rack{forecast: in.Forecast, gamma: psychrometricConstant(AirPressure(in.Forecast.Place.Altitude)), tending: in.Tending}
	moisture, target := in.Moisture, in.Target
	if in.Waste != "" {
		f, err := feedOf(in.Waste)
		if err != nil {
			return nil, none, err
		}
		var fm form
		r.body, fm = wasteBody(f, in.Split)
		if moisture == (Range[WetBasis]{}) {
			moisture = Exactly(or(0, fm.fresh, assumed))
		}
		target = or(target, dryEnough, assumed)
	} else {
		if err := in.Piece.Check(); err != nil {
			return nil, none, err
		}
		density := or(in.Density, dryDensity, assumed)
		if err := within("dry density of the briquette", density, 100, 2000); err != nil {
			return nil, none, err
		}
		r.body = pieceBody(in.Piece, density)
		if moisture == (Range[WetBasis]{}) {
			moisture = Exactly(or(0, handMix, assumed))
		}
		target = or(target, readyPiece, assumed)
	}
	pace := in.Pace
	if pace == 0 {
		pace = 1
	}
	r.rate *= float64(pace) / slowing(in.Layer)
	r.target = float64(target.Dry())
	r.from, r.until = in.From, in.Until
	if r.from == 0 && r.until == 0 {
		*assumed = append(*assumed, openFrom.Sourced(), openUntil.Sourced())
		r.from, r.until = in.Forecast.openHours(in.Start)
	}
	if !in.Start.IsZero() {
		r.start = in.Forecast.hourOf(in.Start)
	}
	r.now = r.start
	if !in.Now.IsZero() {
		r.now = max(r.start, in.Forecast.hourOf(in.Now))
	}
	return r, moisture, cmp.Or(
		ranged("moisture (wet basis)", moisture, 0.02, 0.75),
		within("target moisture (wet basis)", target, 0.02, 0.5),
		within("pace of drying", pace, 0.2, 5),
		within("depth of the layer in metres", in.Layer, 0, deepestLayer.Likely),
		within("rain", in.Rained, 0, rainBound.Likely),
		within("hour of putting out", float64(r.from), 0, 23),
		within("hour of covering", float64(r.until), float64(r.from+1), 24),
		within("days since it was put out", Days(r.now-r.start)/24, 0, longestDrying),
		within("days from the forecast to putting out", Days(r.start)/24, -longestDrying, longestDrying),
	)
}

// slowing is how much longer a deep layer takes that is turned daily; it runs
// straight from a thin layer to one that takes twice as long, and on to the
// deepest.
func slowing(depth Metre) float64 {
	thin, twice, deepest := thinLayer.Likely, doubleLayer.Likely, deepestLayer.Likely
	switch {
	case depth <= thin:
		return 1
	case depth <= twice:
		return 1 + float64((depth-thin)/(twice-thin))
	default:
		return 2 + float64((depth-twice)/(deepest-twice))*float64(deepestSlowing.Likely-2)
	}
}
