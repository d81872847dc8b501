package dialog

import (
	"slices"

	"cobline/calc"
	"cobline/locales"
)

// menuOrder is the order of the topics in every menu.
var menuOrder = []string{topicRecipe, topicBurn, topicBinder, topicDrying, topicWasteDrying, topicWeather, topicSafety, topicLanguage}

const topicLanguage = "language"

// topics is every topic by its key. It is filled once, here.
var topics map[string]topic

func init() {
	// Topics call functions that look topics up; an initialiser would be a cycle.
	topics = map[string]topic{
		topicRecipe: recipeTopic, topicBinder: binderTopic, topicSafety: safetyTopic,
		topicDrying: dryingTopic, topicWasteDrying: wasteDryingTopic, topicWeather: weatherTopic,
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
	topicDrying: true, topicWasteDrying: true, topicWeather: true,
}

// meant returns the topic a text is about by the words that name one.
func (t *turn) meant(r reading) string {
	key := t.named(r)
	drying := r.has("topic.drying") || r.has("topic.waste-drying")
	switch {
	case (drying || key == topicWeather) && r.hasFamily("waste"):
		return topicWasteDrying
	case drying && key == topicWeather:
		return topicDrying // "dry briquettes in the sun"
	case key == "" && r.has("report.rain") && r.hasFamily("weekday"):
		return topicWeather // "rain tomorrow?"
	}
	return key
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
	for _, s := range []Slot{slotWaste, slotStarch, slotDrumPast} {
		add(s.id("which"))
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
	for _, s := range []Slot{slotWaste, slotDrums, slotWasteKg, slotSacks, slotTins, slotDryness, slotDrumPast, slotStarch, slotStarchKg, slotCharKg, slotCharTins} {
		out["slots"] = append(out["slots"], string(s))
	}
	return out
}
