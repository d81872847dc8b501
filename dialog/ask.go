package dialog

import "cobline/locales"

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
