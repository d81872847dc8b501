package dialog

import (
	"time"

	"cobline/locales"
)

const (
	topicAsk = "ask"

	slotQuestion Slot = "question"

	timerAsk TimerID = "ask"
)

// answerDays is by when an officer answers.
const answerDays = 3

// askedWords is how many words behind the word for a question make one.
const askedWords = 3

// askTopic passes a question on to the officers.
var askTopic = topic{
	key: topicAsk,
	infer: func(r reading, in *filled) {
		switch {
		case r.has("word.call"):
			in.values[slotCall] = Value{Key: "yes"}
		case len(r.spans) > 0 && r.spans[0].is("topic.ask") && r.spans[0].from == 0 && len(r.tokens)-r.spans[0].to >= askedWords:
			in.values[slotQuestion] = Value{Key: r.text} // "question: may I ..."
		}
	},
	next:   (*turn).nextAsk,
	answer: (*turn).asked,
}

// nextAsk asks for the question. Who wants a person on the phone gets one.
func (t *turn) nextAsk(f *Frame) (question, bool) {
	if f.has(slotQuestion) || f.has(slotCall) || !t.w.Channel.Sends {
		return question{}, false
	}
	return question{slot: slotQuestion, id: "ask.question", args: locales.Args{"Days": answerDays}}, true
}

// slotCall holds that a person wants to be phoned.
const slotCall Slot = "call"

// asked says what happens next with the question.
func (t *turn) asked(f *Frame) {
	switch {
	case !t.w.Channel.Sends: // an answer could not reach the person
		t.say("ask.not-here", Answer, nil)
	case f.has(slotCall):
		delete(f.Slots, slotCall)
		t.callBack()
	default:
		t.askOfficer(f.Slots[slotQuestion].Key)
		t.appendText("next.ask")
		delete(f.Slots, slotQuestion)
	}
}

// putQuestion takes a text as the question for an officer.
func (t *turn) putQuestion(f *Frame, text string) {
	f.Slots[slotQuestion] = Value{Key: text}
	t.heard.Topic = topicAsk
	t.advance(f)
}

// replyValid is how long an officer's reply may wait for the end of the quiet
// hours, and for a gateway.
const replyValid = 3 * 24 * time.Hour

// mostHeld is how many replies of officers wait for whoever has the number.
const mostHeld = 3

// timerHeld lets out what waited until it was known who has the number.
const timerHeld TimerID = "held"

// Answerable reports whether an officer may reply to this person: one who left
// gets the one reply they asked for by texting again.
func (s State) Answerable() bool { return !s.Stopped || s.Owed }

// replied takes an officer's reply to the person. After a long absence the number
// may have another owner, whom it is nobody's business to tell: they are asked
// something that shows nothing, and the reply waits.
func (t *turn) replied(ev Answered) {
	t.heard.Understood = true
	if !t.s.Answerable() {
		return
	}
	t.clear(timerAsk)
	t.s.Owed = false
	if !t.absent() {
		t.sayReplies(ev.Text)
		return
	}
	t.s.Held = append(t.s.Held, ev.Text)
	t.s.Held = t.s.Held[max(0, len(t.s.Held)-mostHeld):]
	t.askStillYou(askAgain)
}

// sayHeld says the replies that waited.
func (t *turn) sayHeld() {
	t.sayReplies(t.s.Held...)
	t.s.Held = nil
}

// replyCautions are the stages whose cautions go with a reply that speaks of a
// subject; hours have no caution of their own.
var replyCautions = []struct{ subject, stage string }{{"opening", "opening"}, {"water", "glowing"}, {"lighting", "lighting"}, {"drums", "drum"}}

// sayReplies says what officers wrote. What speaks of the work at a drum goes with
// the caution of that work and, while a drum must stay shut, with how long.
func (t *turn) sayReplies(texts ...string) {
	stage, touches := "", false
	for _, text := range texts {
		t.remind("ask.answered", locales.Args{"Text": text}, replyValid)
		spoken, known := t.e.subjectsOf(t.lang, text)
		touches = touches || !known || len(spoken) > 0
		for _, c := range replyCautions {
			if stage == "" && spoken[c.subject] != "" {
				stage = c.stage
			}
		}
	}
	if d, ok := t.hot(); ok && touches {
		t.remind("burn.not-before", locales.Args{"Drum": d.Name, "When": t.when(d.NotBefore)}, replyValid)
	}
	if stage != "" {
		t.remind(locales.ID("caution."+stage), nil, replyValid)
	}
}
