package dialog

import (
	"slices"

	"cobline/calc"
	"cobline/locales"
)

// menuOrder is the order of the topics in every menu.
var menuOrder = []string{
	topicRecipe, topicBurn, topicBinder, topicPressing, topicDrying, topicWasteDrying, topicPlan, topicPrice,
	topicFix, topicCheck, topicBatches, topicWeather, topicSafety, topicAsk, topicEnrol, topicLanguage,
}

const topicLanguage = "language"

// topics is every topic by its key. It is filled once, here.
var topics map[string]topic

func init() {
	// Topics call functions that look topics up; an initialiser would be a cycle.
	topics = map[string]topic{
		topicRecipe: recipeTopic, topicBinder: binderTopic, topicSafety: safetyTopic,
		topicDrying: dryingTopic, topicWasteDrying: wasteDryingTopic, topicWeather: weatherTopic,
		topicPressing: pressingTopic, topicPlan: planTopic, topicPrice: priceTopic, topicFix: fixTopic, topicCheck: checkTopic,
		topicSale: saleTopic, topicBatches: batchesTopic, topicAsk: askTopic, topicEnrol: enrolTopic,
		topicBurn:     {key: topicBurn, next: (*turn).askNothing, answer: (*turn).burnStatus},
		topicLanguage: {key: topicLanguage, next: (*turn).nextLanguage},
	}
}

// nextLanguage asks for the language and leaves no frame of its own behind.
func (t *turn) nextLanguage(*Frame) (question, bool) {
	return question{slot: slotLanguage, id: "language.question"}, true
}

// ownSubject holds the topics whose name in a text changes the subject: what
// else the text says belongs to them and not to what was spoken of before.
var ownSubject = map[string]bool{
	topicDrying: true, topicWasteDrying: true, topicWeather: true, topicPressing: true, topicPlan: true, topicPrice: true, topicSale: true,
	topicFix: true, topicCheck: true, topicBatches: true, topicAsk: true, topicEnrol: true,
}

// meant returns the topic a text is about by the words that name one.
func (t *turn) meant(r reading) string {
	key := t.named(r)
	drying := r.has("topic.drying") || r.has("topic.waste-drying")
	switch {
	case key == "" && r.has("word.yesterday") && (r.hasFamily("mould") || r.has("unit.piece")):
		return topicDrying // "balls put out yesterday"
	case r.has("word.sold"):
		return topicSale
	case r.has("word.call"):
		return topicAsk // "please call me back"
	case r.has("topic.safety") && (r.asks() || !r.hasFamily("waste")):
		return topicSafety // "is the smoke from the kiln dangerous"
	case r.has("topic.check") && key != topicFix:
		return topicCheck
	case r.has("topic.plan"), r.has("unit.piece") && r.hasWeight() && r.hasTime():
		return topicPlan
	case key == topicPrice && r.hasFamily("waste") && (r.hasFamily("dryness") || r.has("unit.drum")):
		return topicRecipe // "dry cobs, and two drums from the market"
	case key == topicPressing && r.has("thing.char") && r.hasWeight() && (r.has("word.dose") || r.asks() && r.hasFamily("starch")):
		return topicBinder // "i bought a press, how much starch for 20 kg char"
	case key == topicPressing && r.hasFamily("waste"):
		return topicRecipe // "how many briquettes from 3 sacks of cobs"
	case t.faulty(r) && (key == "" || drying || key == topicBurn || key == topicPressing):
		return topicFix
	case key == "" && r.has("word.dose"):
		return topicBinder // said again, if there was a paste
	case (key == "" || key == topicPressing) && r.has("word.pressed") && !r.asks():
		return topicDrying // "pressed 180": what comes next
	case key == "" && r.has("thing.char") && r.hasFamily("starch"):
		return topicBinder
	case (drying || key == topicWeather) && r.hasFamily("waste"):
		return topicWasteDrying
	case drying && key == topicWeather:
		return topicDrying // "dry briquettes in the sun"
	case key == "" && r.has("report.rain") && (r.hasFamily("weekday") || r.asks()):
		return topicWeather // "rain tomorrow?"
	}
	return key
}

// faulty reports whether a text tells of bad briquettes. Of waste that is named,
// only ash is a fault: the rest may be how dry it feels.
func (t *turn) faulty(r reading) bool {
	briquettes := r.has("unit.piece")
	switch {
	case t.burning() && !briquettes:
		return false
	case r.has("symptom.ash"):
		return true
	case r.hasFamily("symptom"):
		return !r.hasFamily("waste")
	}
	return r.has("smoke.much") && !r.hasFamily("waste") && len(r.tokens) > 2
}

// hasTime reports whether the text gives days.
func (r reading) hasTime() bool {
	return slices.ContainsFunc(r.sums, func(a amount) bool { return a.unit == "day" }) || r.hasFamily("weekday")
}

// askNothing is for a topic that answers at once.
func (t *turn) askNothing(*Frame) (question, bool) { return question{}, false }

// burnStatus says where each open drum stands, or how a burn is followed.
func (t *turn) burnStatus(*Frame) {
	if len(t.s.Drums) == 0 {
		t.say("burn.no-drum", Answer, nil)
		return
	}
	for _, d := range t.s.Drums[:min(len(t.s.Drums), maxReplies)] {
		args := locales.Args{"Drum": d.Name, "Time": t.clock(d.LitAt), "When": t.when(d.NotBefore)}
		switch d.Stage {
		case stageLit:
			t.say("burn.status-lit", Answer, args)
			t.appendText("next.burn")
		case stageSealed:
			t.say("burn.not-before", Answer, args)
		default:
			t.say("burn.weigh", Answer, args)
		}
	}
}

// spoken lists the messages whose ids are put together at run time, so that New
// can refuse a catalogue without them.
func spoken() []locales.ID {
	var out []locales.ID
	add := func(ids ...locales.ID) { out = append(out, ids...) }
	for _, c := range containers {
		add(locales.ID("one."+c.unit), c.id+"-part")
	}
	for _, w := range calc.Wastes() {
		add(label(slotWaste, string(w)))
	}
	for _, s := range calc.Starches() {
		add(label(slotStarch, string(s)))
	}
	for _, c := range cautions {
		add(locales.ID("caution."+c), locales.ID("stage."+c))
	}
	for _, kind := range []string{"stalk", "husk", "shell"} {
		add(locales.ID("ask.dryness-"+kind), locales.ID("test."+kind))
		for _, d := range drynessOrder {
			add(locales.ID("feel." + kind + "." + d))
		}
	}
	for _, k := range kindOrder {
		add(firstAid[k], locales.ID("kind."+k))
	}
	for _, k := range menuOrder {
		add(locales.ID("topic." + k))
	}
	for _, d := range []string{"mon", "tue", "wed", "thu", "fri", "sat", "sun"} {
		add(locales.ID("day." + d))
	}
	for _, r := range []string{reportLit, reportCovered, reportOpened, reportWeighed} {
		add(locales.ID("burn.asking-" + r))
	}
	for _, s := range []Slot{slotWaste, slotStarch, slotDrumPast, slotMould, slotSymptom} {
		add(s.id("which"))
	}
	for _, o := range troubles {
		add(label(slotSymptom, o.symptom))
		for _, c := range o.causes {
			add(label(slotCause, c), locales.ID("remedy."+c))
		}
	}
	for _, o := range fieldTests {
		for _, option := range testQuestion(o.test).options {
			add(testQuestion(o.test).id, option.label)
		}
	}
	for _, m := range moulds {
		add(locales.ID("size." + m))
	}
	for _, fault := range []calc.Fault{calc.NotDry, calc.Breaks, calc.Dusty, calc.RawPaste, calc.BurnsBadly, calc.TooMuchAsh, calc.Mouldy} {
		add(locales.ID("fault." + fault.Why))
	}
	for _, why := range []calc.Fault{calc.CharTooWet, calc.BinderTooWet, calc.TooMuchStarch, calc.TooLittleBinder, calc.TooMuchBinder, calc.UnprovenBinder} {
		add(locales.ID("infeasible." + why.Why))
	}
	for _, s := range calc.Starches() {
		if b, err := calc.BinderOf(s); err == nil {
			for _, c := range b.Cautions {
				add(locales.ID("note." + string(c)))
			}
		}
	}
	for _, c := range []calc.Cause{calc.AboutRight, calc.CoveredTooSoon, calc.CoveredTooLate, calc.DampWaste, calc.AirLeak} {
		add(locales.ID("advice." + c.String()))
	}
	for _, key := range menuOrder {
		add(locales.ID("why." + key))
		if key != topicLanguage {
			add(locales.ID("next." + key))
		}
	}
	numbers := make([]Slot, 0, len(limits))
	for s := range limits {
		numbers = append(numbers, s)
	}
	slices.Sort(numbers)
	for _, s := range numbers {
		add(s.id("amount"))
	}
	return out
}

// Keys returns the stable keys by what they name, in menu or field order.
func Keys() map[string][]string {
	out := map[string][]string{"topics": menuOrder, "dryness": drynessOrder, "emergencies": kindOrder}
	for _, w := range calc.Wastes() {
		out["wastes"] = append(out["wastes"], string(w))
	}
	for _, s := range calc.Starches() {
		out["starches"] = append(out["starches"], string(s))
	}
	for _, s := range []Slot{slotWaste, slotDrums, slotWasteKg, slotSacks, slotTins, slotDryness, slotDrumPast, slotStarch, slotStarchKg, slotCharKg, slotCharTins, slotWantKg, slotByDays, slotByDate, slotPeople, slotMould, slotSymptom, slotPlace} {
		out["slots"] = append(out["slots"], string(s))
	}
	return out
}
