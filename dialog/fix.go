package dialog

import (
	"slices"

	"cobline/locales"
)

const (
	topicFix = "fix"

	slotSymptom Slot = "symptom"
	slotCause   Slot = "cause"
	slotAsked   Slot = "asked" // the symptom the cause was asked for

	keyOther = "other"
)

// fixTopic finds the cause of a fault by its sign, and says the remedy.
var fixTopic = topic{
	key:      topicFix,
	families: map[string]Slot{"symptom": slotSymptom},
	starts:   []string{"symptom"},
	infer: func(r reading, in *filled) {
		if !in.found() && r.has("smoke.much") {
			in.values[slotSymptom] = Value{Key: "smokes"}
		}
	},
	next:   (*turn).nextFix,
	answer: (*turn).remedy,
}

// troubles lists the likely causes of each symptom, the likeliest first.
var troubles = []struct {
	symptom string
	causes  []string
}{
	{"crumbles", []string{"raw-paste", "dry-mix", "coarse", "loose"}},
	{"cracks", []string{"sun", "wet-mix", "much-starch", "fines"}},
	{"splits", []string{"stroke", "brown"}},
	{"mouldy", []string{"heap", "damp", "binder"}},
	{"smokes", []string{"brown", "damp", "binder", "much-starch"}},
	{"hard-to-light", []string{"damp", "thick", "soil"}},
	{"sparks", []string{"damp", "soil", "husk"}},
	{"burns-fast", []string{"loose", "coarse", "big-hole"}},
	{"ash", []string{"white-ash", "soil", "husk"}},
	{"smells", []string{"sour-paste", "brown", "binder", "heap"}},
	{"not-drying", []string{"humid", "thick", "ground", "much-starch"}},
	{"sticks", []string{"wet-mix", "much-starch", "rust"}},
	{"white-core", []string{"fluff", "white-ash", "lumps"}},
	{"goes-out", []string{"stove", "soil", "damp"}},
	{"heats", []string{"fresh"}},
}

// causesOf returns the causes of a symptom.
func causesOf(symptom string) []string {
	for _, o := range troubles {
		if o.symptom == symptom {
			return o.causes
		}
	}
	return nil
}

func (t *turn) nextFix(f *Frame) (question, bool) {
	symptom := f.Slots[slotSymptom].Key
	causes := causesOf(symptom)
	if len(causes) == 0 {
		q := question{slot: slotSymptom, id: "ask.symptom"}
		for _, o := range troubles {
			q.options = append(q.options, option{key: o.symptom, label: label(slotSymptom, o.symptom)})
		}
		return q, true
	}
	if f.Slots[slotAsked].Key != symptom {
		delete(f.Slots, slotCause)
		f.Slots[slotAsked] = Value{Key: symptom}
	}
	if cause := f.Slots[slotCause].Key; len(causes) == 1 || cause == keyOther || slices.Contains(causes, cause) {
		return question{}, false
	}
	q := question{slot: slotCause, id: "ask.cause", args: locales.Args{"Symptom": t.text(label(slotSymptom, symptom), nil)}}
	for _, c := range append(slices.Clone(causes), keyOther) {
		q.options = append(q.options, option{key: c, label: label(slotCause, c)})
	}
	return q, true
}

// remedy says what to do about the cause; if none was chosen, about the
// likeliest. Charcoal that heats by itself and mould bring their cautions.
func (t *turn) remedy(f *Frame) {
	symptom, cause := f.Slots[slotSymptom].Key, f.Slots[slotCause].Key
	causes := causesOf(symptom)
	text, ends := "", []locales.ID{"next.fix"}
	if !slices.Contains(causes, cause) {
		cause = causes[0]
		if len(causes) > 1 {
			text, ends = t.text("fix.likely", nil)+" ", []locales.ID{"change.fix", "next.fix"}
		}
	}
	switch {
	case symptom == "heats":
		t.say("caution.storing", Answer, nil)
		ends = []locales.ID{"next.safety"}
	case symptom == "mouldy" || cause == "fluff":
		t.say("caution.drying", Answer, nil)
	}
	remedy := locales.ID("remedy." + cause)
	t.add(Reply{Key: string(remedy), Text: text + t.text(remedy, nil), Urgency: Answer, Keep: true})
	for _, c := range causes {
		if c != cause {
			t.s.More = append(t.s.More, ReplyRef{ID: locales.ID("remedy." + c), Text: t.text(label(slotCause, c), nil) + ": " + t.text(locales.ID("remedy."+c), nil)})
		}
	}
	t.appendText(ends...)
}
