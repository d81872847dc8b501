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

// askTopic passes a question on to the officers.
var askTopic = topic{
	key: topicAsk,
	infer: func(r reading, in *filled) {
		if r.has("word.call") {
			in.values[slotCall] = Value{Key: "yes"}
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
		t.say("ask.sent", Answer, locales.Args{"Days": answerDays})
	}
}

// putQuestion takes a text as the question for an officer.
func (t *turn) putQuestion(f *Frame, text string) {
	if t.w.Channel.Sends {
		t.do(Question{Text: text})
		t.set(Timer{ID: timerAsk, At: t.w.Now.Add(answerDays * 24 * time.Hour), Kind: string(timerAsk)})
	}
	f.Slots[slotQuestion] = Value{Key: "asked"}
	t.heard.Topic = topicAsk
	t.advance(f)
	delete(f.Slots, slotQuestion)
}
