package dialog

import "cobline/locales"

const topicSafety = "safety"

// cautions are the fixed lines by stage, in the order of a batch.
var cautions = []string{"drum", "place", "lighting", "covering", "opening", "glowing", "crushing", "paste", "pressing", "drying", "storing", "buyers", "people"}

// safetyTopic says the cautions of a stage.
var safetyTopic = topic{
	key:    topicSafety,
	next:   (*turn).nextSafety,
	answer: (*turn).caution,
}

func (t *turn) nextSafety(f *Frame) (question, bool) {
	if f.Slots[slotStage].Key != "" {
		return question{}, false
	}
	q := question{slot: slotStage, id: "ask.stage"}
	for _, c := range cautions {
		q.options = append(q.options, option{key: c, label: locales.ID("stage." + c)})
	}
	return q, true
}

// caution says the line of a stage. The cold test never stands alone: while a
// drum is sealed its not-before time comes first.
func (t *turn) caution(f *Frame) {
	stage := f.Slots[slotStage].Key
	if d, ok := t.hot(); ok && (stage == "opening" || stage == "glowing") {
		t.say("burn.not-before", Answer, locales.Args{"Drum": d.Name, "When": t.when(d.NotBefore)})
	}
	t.say(locales.ID("caution."+stage), Answer, nil)
	delete(f.Slots, slotStage)
}
