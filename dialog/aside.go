package dialog

import (
	"slices"
	"time"

	"cobline/locales"
)

// An aside is a question that belongs to no topic: about a report, the smoke, a
// hurt person, or an opt-out. Its frame lies on top of what the person was
// doing and goes when it is answered.

// aside asks such a question, in place of an older one of its kind.
func (t *turn) aside(topic string, slots Slots) {
	t.s.Frames = slices.DeleteFunc(t.s.Frames, func(f Frame) bool { return f.Topic == topic })
	if len(t.s.Frames) >= maxFrames {
		t.s.Frames = t.s.Frames[1:]
	}
	t.s.Frames = append(t.s.Frames, Frame{Topic: topic, Slots: slots})
	f := t.top()
	if q, ok := t.asideQuestion(f); ok {
		t.ask(f, q)
	}
}

// asideQuestion is the question of an aside, or false when what it was about is
// gone.
func (t *turn) asideQuestion(f *Frame) (question, bool) {
	yesNo := []option{{key: "yes", label: "answer.yes"}, {key: "no", label: "answer.no"}}
	switch f.Topic {
	case topicHurt:
		return question{slot: slotHurt, id: "hurt.which", options: []option{
			{key: kindGas, label: "hurt.gas"},
			{key: kindBurn, label: "hurt.burn"},
			{key: kindFire, label: "hurt.fire"},
			{key: kindNotWaking, label: "hurt.not-waking"},
			{key: kindInjury, label: "hurt.other"},
		}}, true
	case topicOffice:
		return t.officeQuestion(f)
	case topicStuck:
		return question{slot: slotStuck, id: "ask.stuck", options: []option{
			{key: keyCall, label: "ask.call-option"}, {key: keySend, label: "stuck.send"}, {key: "again", label: "stuck.again"},
		}}, true
	case topicStop:
		return question{slot: slotStop, id: "consent.stop-question", options: yesNo}, true
	case topicResume:
		return question{slot: slotResume, id: "resume.question", options: yesNo}, true
	case topicForget:
		return question{slot: slotForget, id: "consent.forget-question", options: yesNo}, true
	case topicDoubt:
		return question{
			slot: slotDoubt, id: locales.ID("burn.asking-" + f.Slots[slotReport].Key),
			options: []option{{key: "asking", label: "answer.asking"}, {key: "done", label: "answer.done"}},
		}, true
	case topicSealed:
		return question{slot: slotSealed, id: "burn.sealed-when", options: []option{
			{key: sealedToday, label: "sealed.today"}, {key: sealedYesterday, label: "sealed.yesterday"}, {key: sealedBefore, label: "sealed.before"},
		}}, true
	case topicInside:
		return question{slot: slotInside, id: "burn.inside", options: []option{
			{key: "cold", label: "inside.cold"}, {key: "warm", label: "inside.warm"}, {key: "glow", label: "inside.glow"},
		}}, t.drum(f.Slots[slotDrum].Key) != nil
	case topicWhich:
		another := f.Slots[slotDrum].Key == keyAnother
		if len(t.s.Drums) == 0 {
			return question{}, false
		}
		return t.whichDrum(another), true
	case topicSmoke:
		d := t.drum(f.Slots[slotDrum].Key)
		if d == nil {
			return question{}, false
		}
		at := time.Unix(int64(f.Slots[slotAt].Number), 0)
		return question{slot: slotSmoke, id: "burn.smoke", args: locales.Args{"Drum": d.Name, "Time": t.clock(at)}, options: []option{
			{key: "white", label: "smoke.white"}, {key: "yellow", label: "smoke.yellow"}, {key: "thin", label: "smoke.thin"}, {key: "flames", label: "smoke.flames"},
		}}, d.Stage == stageLit
	}
	return question{}, false
}

// askUnder asks an aside again that lay open under the one just answered, if
// there is room: a question nobody sees must not wait for a digit.
func (t *turn) askUnder() {
	f := t.top()
	if f == nil || f.Done || topics[f.Topic].next != nil || f.Topic == lobby || f.Topic == topicStuck {
		return
	}
	q, ok := t.asideQuestion(f)
	switch {
	case !ok || len(t.out.Replies) >= maxReplies:
		t.close()
	case slices.ContainsFunc(t.out.Replies, func(r Reply) bool { return r.Key == string(q.id) }):
	default:
		t.ask(f, q)
	}
}
