package dialog

import (
	"slices"

	"cobline/locales"
)

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

// caution says the line of a stage.
func (t *turn) caution(f *Frame) {
	t.sayStage(f.Slots[slotStage].Key)
	delete(f.Slots, slotStage)
}

// Stages returns the stages of work that have a caution of their own, in the
// order of a batch.
func Stages() []string { return slices.Clone(cautions) }

// sayStage says the line of a stage. The cold test never stands alone: while a
// drum is sealed its not-before time comes first.
func (t *turn) sayStage(stage string) {
	if d, ok := t.hot(); ok && (stage == "opening" || stage == "glowing") {
		t.say("burn.not-before", Answer, locales.Args{"Drum": d.Name, "When": t.when(d.NotBefore)})
	}
	t.say(locales.ID("caution."+stage), Answer, nil)
}
