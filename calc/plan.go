package calc

import (
	"cmp"
	"math"
	"slices"
	"sort"
	"time"
)

// The figures of planning.
var (
	burnWork       = newFigure[Hours]("work for one burn: load, tend, cover with two, open and spread", 1, 1.5, 2.5, practice)
	finishWork     = newFigure[Hours]("work from char to sack per kg: crush, mix, press, turn, pack", 0.30, 0.42, 0.68, kilnTrade)
	workday        = newFigure[Hours]("work of one person in a day", 4, 6, 8, practice)
	peopleUsual    = constant[Count]("people at a drum", 2, fuelFields.at("lowering and sealing needs two to three"))
	airingTime     = constant[Hours]("char spread outside before it is stored or crushed", 24, Source{Title: "Simple technologies for charcoal making, FAO Forestry Paper 41", Year: 1987, At: "conditioning in the open, at least 24 h", Standing: Remembered})
	rackLoad       = newFigure[Kg]("wet briquettes on a square metre of rack", 8, 10, 15, practice.at("one layer, a finger between"))
	betweenDrums   = constant[Minutes]("from lighting one drum to lighting the next", 60, practice.at("covering takes two people"))
	reloadTime     = constant[Minutes]("emptying and loading a drum", 30, practice)
	smallestLot    = constant[Kg]("fewest briquettes worth a paste", 1, judged)
	mostPeople     = constant[Count]("most people of one plan", 100, judged)
	mostDryingDays = constant[Days]("most fit days of drying", 60, judged)
	planHorizon    = constant[Days]("longest plan", 180, judged.at("a season"))
)

// DayAhead says what one coming day is fit for.
type DayAhead struct{ Light, Dry bool }

// PlanInput asks for briquettes by a date. A zero field stands for the default
// its comment states.
type PlanInput struct {
	Burn   RecipeInput // of one drum: waste, moisture, starch, mould; drums and amounts are ignored
	Want   Kg          // dry briquettes, 0.5 to 5000
	Start  time.Time   // now, in the zone of the place; required
	By     time.Time   // the day on which they must be ready; zero: as soon as can be
	Drums  Count       // 1 to 50; zero: 1
	People Count       // 1 to 100; zero: 2
	Work   Hours       // of each in a day, 1 to 12; zero: 6

	Lat, Lon Degree      // of the place, for daylight; both zero: the equator in the middle of the zone
	Drying   Range[Days] // fit days until a piece is dry; zero: that of the recipe
	Ahead    []DayAhead  // from the day of Start on; days after the last are taken as fit
	Rack     SquareMetre // 0.5 to 10000; zero: as much as is needed
	Starch   Kg          // as bought, all there will be; zero: as much as is needed

	StockBriquettes, StockChar Kg // ready now; the char dry, cold and aired
}

// Promise says whether a date can be kept.
type Promise uint8

const (
	// NoDate: none was given.
	NoDate Promise = iota
	// ByThen: even if char is scarce and drying slow (P90).
	ByThen
	// ProbablyByThen: if all goes as is likely (P50).
	ProbablyByThen
	// NotByThen: the earliest likely day is later.
	NotByThen
)

// String returns the promise as a stable key.
func (v Promise) String() string {
	return keyed([]string{"no-date", "by-then", "probably", "not-by-then"}, uint8(v)+1)
}

// Bottleneck is the one thing of which more would make a plan quicker.
type Bottleneck uint8

const (
	// TimeItself: waits and drying as they are; nothing else would help by a day.
	TimeItself Bottleneck = iota
	// DrumsShort: more drums.
	DrumsShort
	// PeopleShort: more hands.
	PeopleShort
	// RackShort: more rack area.
	RackShort
	// SunShort: better weather.
	SunShort
	// StarchShort: more starch; without it the amount cannot be reached at all.
	StarchShort
)

// String returns the bottleneck as a stable key.
func (b Bottleneck) String() string {
	return keyed([]string{"time", "drums", "people", "rack", "sun", "starch"}, uint8(b)+1)
}

// DateRange is an uncertain day: P10, P50 and P90.
type DateRange struct{ Low, Likely, High time.Time }

// PlannedBurn is one drum from lighting to crushing.
type PlannedBurn struct {
	Drum    int // from 1
	Lit     time.Time
	Covered time.Time // likely; the smoke decides
	Opened  time.Time // not before, if covered then
	Aired   time.Time // not stored or crushed before
	Char    Kg        // likely, dry
}

// PlannedLot is what is pressed on one day.
type PlannedLot struct {
	Pressed, Dry time.Time // the days
	Pieces       Count
	Kg           Kg // dry briquettes
}

// PlanDay is one line of the calendar.
type PlanDay struct {
	Date        time.Time // midnight
	Ahead       DayAhead
	Known       bool // the day is in PlanInput.Ahead
	Lit, Opened int  // drums
	Pieces      Count
	Pressed     Kg // dry briquettes
	Rack        Kg // wet briquettes lying there at night
	Dried       Kg
	Ready       Kg    // in all, with the stock
	Work        Hours // of all people
}

// PlanResult is a plan in likely numbers, with its ranges.
type PlanResult struct {
	Burns    Range[Count]
	Waste    Range[Kg]    // moist
	Sacks    Range[Count] // of 100 litres, of waste
	Char     Kg           // dry, to be made
	Starch   Kg           // as bought
	Water    Litre
	Strokes  Count              // of the mould, which is the number of pieces
	RackArea Range[SquareMetre] // at the fullest
	Work     Range[Hours]       // of all people

	Promise    Promise
	Ready      DateRange // the day on whose evening all are dry; zero: never, with this starch
	ByThen     Kg        // likely ready on the evening of By
	Bottleneck Bottleneck
	Gain       Days // by which the likely day comes earlier without the bottleneck
	// Where the date is not kept, the fewest drums that probably would with hands
	// in plenty, and the fewest people with as many drums; zero: no number does.
	NeedDrums, NeedPeople Count
	CallHelp              bool // covering needs a second person, who is not in the plan

	Days       []PlanDay
	Burnt      []PlannedBurn
	Lots       []PlannedLot
	Infeasible *Fault // no mix, so no plan
	Assumed    []*Sourced
}

// Plan works from briquettes and a date back to waste, burns, starch, water and
// rack, and forward through the days. Each drum is lit at most once a day, in
// daylight, early enough that even a slow fire (P90) is covered before dark, an
// hour after the drum before it, and opened after the binding wait and in
// daylight. Char lies outside for a day before it is crushed. What is crushed is
// pressed on the same day, as far as hands, rack and starch go, and then lies
// for as many fit days as drying takes. The ready day has the spread of char and
// of drying, added as squares. The bottleneck is found by planning again with
// each resource in plenty. Own reference computation; its times are plans, and
// the real ones follow the reports of each burn.
func Plan(in PlanInput) (PlanResult, error) {
	var out PlanResult
	if err := in.check(&out.Assumed); err != nil {
		return PlanResult{}, err
	}
	burn := in.Burn
	burn.Drums, burn.Mass, burn.Volume = 1, Range[Kg]{}, Range[Litre]{}
	c := charge{brief: true}
	recipe, solids, err := c.recipe(burn)
	if err != nil {
		return PlanResult{}, err
	}
	if !recipe.Lighting.MayLight() {
		w := either(burn.Moisture, dryFeed, new([]*Sourced))
		return PlanResult{}, OutOfRange{"moisture of waste to be lit, wet basis", float64(w.Likely), 0, float64(wetFrom.Likely)}
	}
	if recipe.Infeasible != nil {
		return PlanResult{Infeasible: recipe.Infeasible}, nil
	}
	piece, err := Press(PressInput{Solids: solids, Piece: burn.Piece, MixMoisture: recipe.MixMoisture})
	if err != nil {
		return PlanResult{}, err
	}
	if in.Drying == (Range[Days]{}) {
		in.Drying = recipe.DryingDays
	}
	if err := ranged("days of drying", in.Drying, 0.1, mostDryingDays.Likely); err != nil {
		return PlanResult{}, err
	}

	w, likely := newWorks(in, recipe, solids.Likely, piece)
	likely, end := w.best(likely)
	out.Days = make([]PlanDay, 0, end.day+1)
	out.Burnt = make([]PlannedBurn, 0, len(w.burns))
	out.Lots = make([]PlannedLot, 0, len(w.lots))
	w.run(likely, &out)
	if !end.done && !end.starved {
		return PlanResult{}, OutOfRange{"kilograms wanted", float64(in.Want), 0, math.Floor(end.ready)}
	}
	w.total(in, recipe, likely, &out)
	w.judge(in, recipe, likely, end, &out)
	return out, nil
}

// check refuses what no plan answers and fills in defaults.
func (in *PlanInput) check(assumed *[]*Sourced) error {
	if in.Drums == 0 {
		in.Drums = 1
	}
	in.People = or(in.People, peopleUsual, assumed)
	in.Work = or(in.Work, workday, assumed)
	if in.Lat == 0 && in.Lon == 0 {
		_, east := in.Start.Zone()
		in.Lon = Degree(float64(east) / 240) // 240 s of clock a degree
	}
	if err := cmp.Or(
		within("kilograms wanted", in.Want, leastSold.Likely, mostSold.Likely),
		within("drums", in.Drums, 1, mostDrums.Likely),
		within("people", in.People, 1, mostPeople.Likely),
		within("hours of work in a day", in.Work, 1, 12),
		within("latitude", in.Lat, -60, 60),
		within("longitude", in.Lon, -180, 180),
		within("kilograms of starch", in.Starch, 0, mostWaste.Likely),
		within("kilograms of briquettes in stock", in.StockBriquettes, 0, in.Want),
		within("kilograms of char in stock", in.StockChar, 0, mostWaste.Likely),
		withinOrZero("square metres of rack", in.Rack, 0.5, 10000),
	); err != nil {
		return err
	}
	if !in.By.IsZero() && daysFrom(in.Start, in.By) < 0 {
		return OutOfRange{"days until the briquettes must be ready", float64(daysFrom(in.Start, in.By)), 0, float64(planHorizon.Likely)}
	}
	return nil
}

// daysFrom returns the calendar days from start to t, in the zone of start.
func daysFrom(start, t time.Time) int {
	zone := start.Location()
	return daysBetween(midnightIn(start, zone), midnightIn(t, zone))
}

func newWorks(in PlanInput, r RecipeResult, solids Kg, p PressResult) (*works, scenario) {
	minuteOf := func(v Minutes) clockMinute { return clockMinute(math.Ceil(float64(v))) }
	w := &works{
		midnight: midnightIn(in.Start, in.Start.Location()),
		lat:      in.Lat, lon: in.Lon, ahead: in.Ahead,
		cover: minuteOf(r.Clock.Cover.Likely), coverLate: minuteOf(r.Clock.Cover.High),
		wait: minuteOf(Minutes(r.Wait * 60)), outside: minuteOf(Minutes(airingTime.Likely * 60)),
		reload: minuteOf(reloadTime.Likely), spacing: minuteOf(betweenDrums.Likely),
		burnWork: float64(burnWork.Likely), finishWork: float64(finishWork.Likely),
		perChar:  float64(solids/r.Char.Likely) * float64(1-pressLoss.Likely) / float64(1-readyPiece.Likely),
		wetPerKg: 1 / float64(p.ReadyRatio), pieceKg: float64(p.DryPiece),
		charStock: float64(in.StockChar), stock: float64(in.StockBriquettes),
		// Room for a month.
		sun: make([]daylight, 0, 32), burns: make([]airing, 0, 32), lots: make([]lot, 0, 32),
	}
	w.start = clockMinutes(in.Start.Sub(w.midnight))
	perKg := 1 / (float64(r.Char.Likely) * w.perChar)
	w.starchPerKg, w.waterPerKg = float64(r.Starch.Likely)*perKg, float64(r.Water.Likely)*perKg
	s := scenario{
		want: float64(in.Want), perBurn: float64(r.Char.Likely), hands: float64(in.People) * float64(in.Work),
		rack: math.Inf(1), binds: math.Inf(1), drums: int(in.Drums), dryDays: wholeDays(in.Drying.Likely), days: int(planHorizon.Likely),
	}
	if in.Rack > 0 {
		s.rack = float64(in.Rack) * float64(rackLoad.Likely)
	}
	if in.Starch > 0 {
		s.binds = float64(in.Starch) / w.starchPerKg
	}
	return w, s
}

// plenty is more than any plan needs, in hours of work a day.
const plenty = 1e6

func wholeDays(d Days) int { return max(int(math.Ceil(float64(d))), 1) }

// total sums up what the plan needs.
func (w *works) total(in PlanInput, r RecipeResult, s scenario, out *PlanResult) {
	toMake := s.want - w.stock
	char := max(toMake/w.perChar-w.charStock, 0)
	burns := func(perBurn Kg) Count { return Count(math.Ceil(char/float64(perBurn) - crumb)) }
	out.Burns = Range[Count]{burns(r.Char.High), burns(r.Char.Likely), burns(r.Char.Low)}
	// Drums are filled: the likely waste is that of whole burns. Its range is
	// that of the yield, for a light load brings more burns but no more waste.
	waste := r.FeedPerDrum.Likely * Kg(out.Burns.Likely)
	out.Waste = Range[Kg]{waste * Kg(r.Yield.Likely/r.Yield.High), waste, waste * Kg(r.Yield.Likely/r.Yield.Low)}
	out.Sacks = As[Count](out.Waste.Scale(float64(r.Sacks.Likely) / float64(r.Feed.Likely)))
	out.Char, out.Starch, out.Water = Kg(char), Kg(toMake*w.starchPerKg), Litre(toMake*w.waterPerKg)
	out.Strokes = w.pieces(toMake)
	for _, day := range out.Days {
		area := SquareMetre(day.Rack / rackLoad.Likely)
		if area > out.RackArea.Likely {
			out.RackArea = Range[SquareMetre]{SquareMetre(day.Rack / rackLoad.High), area, SquareMetre(day.Rack / rackLoad.Low)}
		}
	}
	hours := func(burn, finish Hours) Hours { return Hours(out.Burns.Likely)*burn + Hours(toMake)*finish }
	out.Work = Range[Hours]{hours(burnWork.Low, finishWork.Low), hours(burnWork.Likely, finishWork.Likely), hours(burnWork.High, finishWork.High)}
	for _, b := range out.Burnt {
		if d := daysFrom(in.Start, b.Opened); d < len(out.Days) {
			out.Days[d].Opened++
		}
	}
	out.CallHelp = in.People < peopleUsual.Likely && out.Burns.Likely > 0
	out.Assumed = slices.Concat(out.Assumed, r.Assumed, []*Sourced{burnWork.Sourced(), finishWork.Sourced(), rackLoad.Sourced(), airingTime.Sourced()})
}

// judge finds the spread of the ready day, the promise of the date and the
// bottleneck.
func (w *works) judge(in PlanInput, r RecipeResult, likely scenario, end outcome, out *PlanResult) {
	by := -1
	if !in.By.IsZero() {
		by = daysFrom(in.Start, in.By)
		out.ByThen = out.Days[min(by, end.day)].Ready
		out.Promise = NotByThen
	}
	if end.starved {
		out.Bottleneck = StarchShort
		return
	}
	day := func(change func(*scenario)) int {
		s := likely
		change(&s)
		same := s
		if !end.short {
			same.hands = likely.hands // of which there are enough
		}
		if same == likely {
			return end.day
		}
		_, end := w.best(s)
		return end.day
	}
	early := math.Hypot(
		float64(end.day-day(func(s *scenario) { s.perBurn = float64(r.Char.High) })),
		float64(end.day-day(func(s *scenario) { s.dryDays = wholeDays(in.Drying.Low) })))
	late := math.Hypot(
		float64(end.day-day(func(s *scenario) { s.perBurn = float64(r.Char.Low) })),
		float64(end.day-day(func(s *scenario) { s.dryDays = wholeDays(in.Drying.High) })))
	latest := end.day + int(math.Ceil(late))
	date := func(d int) time.Time { return w.midnight.AddDate(0, 0, d) }
	out.Ready = DateRange{date(end.day - int(early)), date(end.day), date(latest)}
	switch {
	case by >= latest:
		out.Promise = ByThen
	case by >= end.day:
		out.Promise = ProbablyByThen
	}

	for _, more := range []struct {
		of  Bottleneck
		add func(*scenario)
	}{
		{DrumsShort, func(s *scenario) { s.drums = int(mostDrums.Likely) }},
		{PeopleShort, func(s *scenario) { s.hands = plenty }},
		{RackShort, func(s *scenario) { s.rack = math.Inf(1) }},
		{SunShort, func(s *scenario) { s.fair, s.dryDays = true, wholeDays(in.Drying.Low) }},
	} {
		if gain := Days(end.day - day(more.add)); gain > out.Gain {
			out.Bottleneck, out.Gain = more.of, gain
		}
	}

	if out.Promise != NotByThen {
		return
	}
	// The answer is a few, so the search doubles up to it.
	fewest := func(most Count, use func(s *scenario, n Count)) Count {
		enough := func(n int) bool {
			return day(func(s *scenario) { s.days = by + 1; use(s, Count(n)) }) <= by
		}
		few, n := 0, 1
		for ; !enough(n); n = min(2*n, int(most)) {
			if few = n; n == int(most) {
				return 0
			}
		}
		return Count(few + 1 + sort.Search(n-few-1, func(k int) bool { return enough(few + 1 + k) }))
	}
	out.NeedDrums = fewest(mostDrums.Likely, func(s *scenario, n Count) { s.drums, s.hands = int(n), plenty })
	if out.NeedDrums > 0 {
		out.NeedPeople = fewest(mostPeople.Likely, func(s *scenario, n Count) {
			s.drums, s.hands = int(max(out.NeedDrums, in.Drums)), float64(n)*float64(in.Work)
		})
	}
}
