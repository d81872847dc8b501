package dialog

import (
	"slices"
	"time"

	"cobline/calc"
	"cobline/locales"
)

const (
	topicDrying      = "drying"
	topicWasteDrying = "waste-drying"

	slotMould   Slot = "mould"
	slotOutDays Slot = "out_days"
)

// dryingTopic answers how long briquettes dry in the weather that comes.
var dryingTopic = topic{
	key:      topicDrying,
	units:    map[string]Slot{"day": slotOutDays},
	families: map[string]Slot{"mould": slotMould},
	bare:     slotOutDays,
	place: func(r reading, _ amount, slot Slot) Slot {
		if r.asks() {
			return "" // "is 1 day enough?"
		}
		return slot
	},
	infer: func(r reading, in *filled) {
		if r.has("word.pressed") && !slices.ContainsFunc(r.sums, func(a amount) bool { return a.unit == "day" }) {
			delete(in.values, slotOutDays) // "pressed 180" counts briquettes
		}
		if r.has("word.yesterday") {
			in.values[slotOutDays] = Value{Number: 1}
		}
	},
	next:   (*turn).askNothing,
	answer: (*turn).drying,
}

// wasteDryingTopic answers how long a waste dries before it may be burned.
var wasteDryingTopic = topic{
	key:      topicWasteDrying,
	families: map[string]Slot{"waste": slotWaste, "dryness": slotDryness},
	next:     (*turn).nextWasteDrying,
	answer:   (*turn).wasteDrying,
}

// moulds are the forms of a briquette a person can name, the usual first.
var moulds = []string{"usual", "small", "big", "hole", "ball"}

// standardPieces are those whose drying a place keeps ready, the usual first.
var standardPieces = calc.StandardPieces()

// piece is the form a frame speaks of, one of the standard pieces.
func (f *Frame) piece() (key string, p calc.Piece) {
	switch key = f.Slots[slotMould].Key; key {
	case "small":
		return key, standardPieces[1]
	case "big":
		return key, standardPieces[4]
	case "hole":
		return key, standardPieces[5]
	case "ball":
		return key, standardPieces[6]
	}
	return "usual", standardPieces[0]
}

const (
	tooLateToDry = 15 // o'clock: what is put out later counts from the next morning
	dryingStarts = 8
	neverDry     = calc.Days(40) // stands for never
)

// putOut returns when something that is put out now begins to dry.
func (t *turn) putOut() (at time.Time, since string) {
	if t.now.Hour() >= tooLateToDry {
		return midnight(t.now.AddDate(0, 0, 1)).Add(dryingStarts * time.Hour), t.text("since.tomorrow", nil)
	}
	return t.now, t.text("since.today", nil)
}

// drying says how many days, what to do on each of them, and the caution.
func (t *turn) drying(f *Frame) {
	key, piece := f.piece()
	start, since := t.putOut()
	now := start
	if out := int(f.Slots[slotOutDays].Number); out > 0 {
		start, now = midnight(t.now.AddDate(0, 0, -out)).Add(dryingStarts*time.Hour), t.now
		since = t.count("since.days", out, nil)
	}
	args := locales.Args{"Size": t.text(locales.ID("size."+key), nil), "Since": since}
	days, plan := t.dryPiece(piece, start, now)
	t.later("dry.more", nil)
	switch {
	case days.High <= 0:
		t.say("caution.storing", Answer, nil)
		t.say2("dry.ready", args)
		t.appendText("next.drying")
		return
	case days.Likely >= neverDry:
		t.say2("dry.damp", nil)
	default:
		days.Low = max(1, days.Low)
		args["Days"] = t.days(days)
		t.say2("dry.briquettes", args)
	}
	t.say("caution.drying", Answer, nil)
	if age, lines := t.age(), t.dryLines(plan); age != "" {
		t.add(Reply{Key: "weather.none", Text: age, Urgency: Answer})
	} else if lines != "" {
		t.say("dry.plan", Answer, locales.Args{"Lines": lines})
	}
	t.appendText("change.drying", "next.drying")
}

// dryPiece reckons the days a briquette has left: in the forecast, or by the
// hours of sun when there is none.
func (t *turn) dryPiece(p calc.Piece, start, now time.Time) (calc.Range[calc.Days], []calc.DayPlan) {
	if f := t.forecast(); f != nil {
		if r, err := calc.DryOut(calc.DryInput{Forecast: f, Piece: p, Start: start, Now: now}); err == nil {
			return r.Days, r.Plan
		}
	}
	r, err := calc.RecipeInBrief(calc.RecipeInput{Waste: calc.MaizeCob, Piece: p})
	if err != nil {
		return calc.Exactly(neverDry), nil
	}
	since := calc.Days(now.Sub(start).Hours() / 24)
	return calc.Range[calc.Days]{Low: max(0, r.DryingDays.Low-since), Likely: max(0, r.DryingDays.Likely-since), High: max(0, r.DryingDays.High-since)}, nil
}

// dryLines says what to do with the rack on the coming days.
func (t *turn) dryLines(plan []calc.DayPlan) string {
	var lines []dayLine
	for _, d := range plan[:min(daysSaid, len(plan))] {
		switch d.Action {
		case calc.PutOut:
			lines = append(lines, dayLine{"plan.out", "", d.Date})
		case calc.PutOutUntil:
			lines = append(lines, dayLine{"plan.until", t.clock(d.In), d.Date})
		case calc.KeepCovered:
			lines = append(lines, dayLine{"plan.covered", "", d.Date})
		}
	}
	return t.dayLines(lines)
}

func (t *turn) nextWasteDrying(f *Frame) (question, bool) {
	if f.Slots[slotWaste].Key == "" {
		return wasteQuestion(), true
	}
	return question{}, false
}

// wasteLayer is a heap spread one hand deep.
const wasteLayer calc.Metre = 0.10

// wasteDrying says how many days and how to tell. What is not said to be dry is
// taken as wet.
func (t *turn) wasteDrying(f *Frame) {
	waste := calc.Waste(f.Slots[slotWaste].Key)
	dryness := f.Slots[slotDryness].Key
	if dryness == "" {
		dryness = "wet"
	}
	args := locales.Args{"Waste": t.waste(string(waste)), "Feel": t.text(locales.ID("dry."+dryness), nil)}
	t.later("waste-dry.more", nil)
	if dryness == "dry" {
		t.sayTest(f)
		t.say2("waste-dry.dry", args)
		t.appendText("next.waste-drying")
		return
	}
	days, plan := t.dryWaste(waste, dryness)
	if args["Days"] = t.days(days); days.Likely < neverDry {
		t.say2("waste-dry.days", args)
	} else {
		t.say2("dry.damp", nil)
	}
	t.appendText("change.waste-drying")
	if age := t.age(); age != "" {
		t.add(Reply{Key: "weather.none", Text: age, Urgency: Answer})
	} else if lines := t.dryLines(plan); lines != "" {
		t.add(Reply{Key: "plan.out", Text: lines + ".", Urgency: Answer})
	}
	t.sayTest(f)
}

// dryWaste reckons the days a waste needs: in the forecast, or by the rate of
// its kind when there is none.
func (t *turn) dryWaste(w calc.Waste, dryness string) (calc.Range[calc.Days], []calc.DayPlan) {
	start, _ := t.putOut()
	if f := t.forecast(); f != nil {
		in := calc.DryInput{Forecast: f, Waste: w, Layer: wasteLayer, Moisture: feelOf(dryness).Moisture(), Start: start}
		if r, err := calc.DryOut(in); err == nil {
			return careful(r.Days), r.Plan
		}
	}
	if dryness == "nearly" {
		dryness = "wet" // in doubt the wetter
	}
	r, err := calc.RecipeInBrief(calc.RecipeInput{Waste: w, Moisture: feelOf(dryness).Moisture()})
	if err != nil {
		return calc.Exactly(neverDry), nil
	}
	return careful(r.DaysToDryFirst), nil
}

// careful leaves out the days of the driest weather: waste that is lit too
// early smokes, so nobody is told to look before the likely day.
func careful(days calc.Range[calc.Days]) calc.Range[calc.Days] {
	days.Low = max(1, days.Likely)
	days.High = max(1, days.High)
	return days
}
