package dialog

import (
	"slices"
	"strings"

	"cobline/locales"
)

const (
	topicEnrol = "enrol"

	slotPlace   Slot = "place"
	slotGroup   Slot = "group"
	slotConsent Slot = "consent"

	// How consent to messages was given, as the profile keeps it.
	consentYes = "text-yes"
	consentNo  = "text-no"
)

// enrolTopic asks for the place, the group, and consent to messages.
var enrolTopic = topic{key: topicEnrol, next: (*turn).nextEnrol, answer: (*turn).enrol}

func (t *turn) nextEnrol(f *Frame) (question, bool) {
	switch {
	case !f.has(slotPlace) && len(t.placeKeys()) > 1:
		q := question{slot: slotPlace, id: "ask.place"}
		for _, key := range t.placeKeys() {
			q.options = append(q.options, option{key: key, label: "place.name", args: locales.Args{"Name": t.w.Facts.Places[key].Name}})
		}
		q.options = append(q.options, option{key: keyOther, label: "place.other"})
		return q, true
	case !f.has(slotGroup):
		return question{slot: slotGroup, id: "ask.group"}, true
	case !f.has(slotConsent) && t.w.Channel.Sends:
		return question{slot: slotConsent, id: "ask.consent", options: []option{{key: "yes", label: "answer.yes"}, {key: "no", label: "answer.no"}}}, true
	}
	return question{}, false
}

// placeKeys lists the places the line knows, in the order of their names.
func (t *turn) placeKeys() []string {
	if t.w.Facts == nil {
		return nil
	}
	keys := make([]string, 0, len(t.w.Facts.Places))
	for key := range t.w.Facts.Places {
		keys = append(keys, key)
	}
	slices.SortFunc(keys, func(a, b string) int {
		return strings.Compare(t.w.Facts.Places[a].Name+a, t.w.Facts.Places[b].Name+b)
	})
	return keys
}

// placeNamed returns the place whose name is in a text, the longest of them:
// Upper Kisimani is not Kisimani.
func (t *turn) placeNamed(r reading) string {
	found, text := "", " "+locales.Fold(t.lang, r.text)+" "
	for _, key := range t.placeKeys() {
		name := t.w.Facts.Places[key].Name
		if name != "" && strings.Contains(text, " "+locales.Fold(t.lang, name)+" ") && (found == "" || len(name) > len(t.w.Facts.Places[found].Name)) {
			found = key
		}
	}
	return found
}

// longestGroup is how much of a group's name is kept.
const longestGroup = 30

// groupIn takes a text as the name of a group.
func (t *turn) groupIn(f *Frame, r reading) {
	name := strings.Join(strings.Fields(r.text), " ")
	if r.has("word.no") || r.has("word.skip") || name == "0" {
		name = ""
	}
	if runes := []rune(name); len(runes) > longestGroup {
		name = string(runes[:longestGroup])
	}
	t.s.Profile.Group = name
	t.put(f, map[Slot]Value{slotGroup: {Key: "said"}})
	t.heard.Topic = topicEnrol
	t.advance(f)
}

// enrol keeps what was said, and says how to take it back.
func (t *turn) enrol(f *Frame) {
	key := f.Slots[slotPlace].Key
	if keys := t.placeKeys(); key == "" && len(keys) == 1 {
		key = keys[0]
	}
	if key != "" && key != keyOther {
		t.s.Place, t.s.Profile.Place = key, key
		t.place = placeOf(t.w.Facts, key)
	}
	t.s.Profile.Lang = t.lang
	id, consent := locales.ID("enrol.quiet"), consentNo
	if f.Slots[slotConsent].Key == "yes" {
		id, consent = "enrol.done", consentYes
		t.s.Stopped = false
	}
	t.s.Profile.Consent = consent
	name := t.place.Name
	if key == keyOther {
		t.s.Place, t.s.Profile.Place, name = "", "", t.text("place.other", nil)
	}
	t.say(id, Answer, locales.Args{"Place": name})
	if t.s.Profile.Group != "" {
		t.say("enrol.group", Answer, nil)
	}
	if key == keyOther {
		t.say("enrol.other", Answer, nil)
	}
	t.appendText("next.enrol")
}
