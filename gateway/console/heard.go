package console

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/locales"
)

// own are the subjects of a conversation that no menu names.
var own = map[string]string{
	"":               "no subject yet",
	"lobby":          "no subject yet",
	"sale":           "a sale",
	"smoke":          "smoke of a drum",
	"which-drum":     "which drum is meant",
	"asking-or-done": "asking or done",
	"inside":         "inside of a drum",
	"sealed-when":    "when a drum was sealed",
	"hurt":           "somebody is hurt",
	"resume":         "going on after a break",
	"stuck":          "not getting on",
	"forget":         "being forgotten",
	"stop":           "opting out",
	"office":         "an officer's phone",
}

// topicName is what officers call a subject.
func (q *request) topicName(key string) string {
	if name, ok := own[key]; ok {
		return name
	}
	return q.said("topic."+key, key)
}

// said returns an English message that needs nothing filled in, or what stands in
// for it: a newer journal may name what this program does not know.
func (q *request) said(id, other string) string {
	if q.Catalog.Has(locales.Default, locales.ID(id)) {
		return q.Catalog.Text(locales.Default, locales.ID(id), nil)
	}
	return other
}

// subjects are those a search may be for.
func (q *request) subjects() (options []option) {
	for _, key := range append(slices.Clone(dialog.Keys()["topics"]), "sale") {
		options = append(options, option{key, q.topicName(key)})
	}
	return options
}

// slotNames is what the line asks for and takes in, as officers call it.
var slotNames = map[string]string{
	"waste": "waste", "drums": "drums", "waste_kg": "kg of waste", "sacks": "sacks", "tins": "tins", "barrows": "wheelbarrows", "basins": "basins",
	"have_sacks": "sacks of waste", "sack_size": "kg of maize that fill one", "dryness": "how dry the waste is", "drum_past": "what the drum held before",
	"starch": "starch", "starch_have_kg": "kg of starch in hand", "short": "what to do with too little starch", "flue": "how air gets through fine waste",
	"char_kg": "kg of charcoal", "char_tins": "tins of charcoal", "brands_kg": "kg of half-burned pieces", "ash_seen": "ash on the charcoal",
	"stage": "step of the work", "smoke": "look of the smoke", "which": "which drum", "drum": "drum", "doubt": "asking or done", "inside": "how it is inside", "sealed": "when it was sealed",
	"mould": "form of the briquettes", "out_days": "days on the rack", "people": "people at work", "symptom": "what is wrong", "cause": "what fits it",
	"want_kg": "kg of briquettes wanted", "by_days": "days until then", "by_date": "day it is wanted",
	"charcoal_price": "price of 1 kg of charcoal", "starch_price": "price of 1 kg of starch",
	"sold": "how much was sold", "sold_kg": "kg sold", "sold_pieces": "pieces sold", "sold_unit": "kilograms or pieces", "sold_money": "money for all",
	"question": "question to an officer", "call": "being phoned", "place": "place", "group": "group", "consent": "whether messages may come",
	"who": "name", "same": "whether it is the same person", "hurt": "what happened", "resume": "going on or not", "language": "language", "menu": "choice of the menu",
	"forget": "whether to forget them", "stop": "whether to opt out", "stuck": "what to do now", "written": "a written answer was given",
	"pin": "PIN", "new-pin": "new PIN", "office": "what the officer wants", "kind": "kind of warning", "hour": "hour of the weather", "code": "code that confirms",
	"drop": "drop test", "weight": "weight test", "ring": "ring test", "core": "broken open", "rub": "rub test", "sink": "water test", "boil": "boiling test", "ash": "ash test",
}

// slotName is what officers call something that is asked for.
func slotName(key string) string {
	key = strings.TrimPrefix(key, "doubt:") // asked again, because a number was hard to believe
	return cmp.Or(slotNames[key], key)
}

// labels are the families of messages that name the value of a slot, where they
// are not called like it.
var labels = map[string]string{"mould": "size", "dryness": "dry", "consent": "answer", "stop": "answer", "forget": "answer", "same": "answer", "call": "answer"}

// value writes what a slot was filled with.
func (q *request) value(slot string, v dialog.Value) string {
	switch {
	case slot == "written", slot == "question": // it stands beside
		return ""
	case v.Key == "" && v.Other != 0:
		return number(v.Number) + " or " + number(v.Other)
	case v.Key == "":
		return number(v.Number)
	case slot == "place":
		return q.placeName(v.Key)
	case slot == "by_date":
		return q.said("day."+v.Key, v.Key)
	}
	for _, prefix := range []string{"lang.", "topic."} {
		if key, ok := strings.CutPrefix(v.Key, prefix); ok && prefix == "topic." {
			return q.topicName(key)
		} else if ok && slices.Contains(q.langs(), locales.Lang(key)) {
			return q.langName(locales.Lang(key))
		}
	}
	family := cmp.Or(labels[slot], strings.ReplaceAll(slot, "_", "-"))
	return q.said(family+"."+v.Key, v.Key)
}

func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// reports are the things a text can tell or ask of a burn.
var reports = map[string]string{
	"lit": "a drum was lit", "covered": "a drum was covered", "opened": "a drum was opened", "weighed": "charcoal was weighed", "leak": "smoke leaks",
	"rain": "it rains", "wind": "it is windy", "dark": "it gets dark", "ready": "the charcoal is ready", "out": "the fire is out", "water": "water on it",
}

// askings are the questions about a burn.
var askings = map[string]string{
	"lit": "may I light?", "covered": "may I cover?", "opened": "may I open?", "weighed": "may I weigh?", "ready": "is it ready?", "water": "may I use water?",
}

// point is one thing to know about a text.
type point struct {
	Text  string
	Grave bool // to be seen first
	Link  string
}

// emergency names what a text told of; empty if it told of none.
func (q *request) emergency(tier, kind string) string {
	name := map[string]string{"a": "Emergency", "b": "Perhaps an emergency"}[tier]
	if name != "" && kind != "" {
		name += ": " + q.said("kind."+kind, kind)
	}
	return name
}

// understood says in plain words what the line made of a text.
func (q *request) understood(h dialog.Heard) (points []point) {
	add := func(format string, a ...any) { points = append(points, point{Text: fmt.Sprintf(format, a...)}) }
	grave := func(format string, a ...any) {
		points = append(points, point{Text: fmt.Sprintf(format, a...), Grave: true})
	}
	switch emergency := q.emergency(h.Tier, h.Emergency); h.Tier {
	case "a":
		grave("%s. First aid was said at once", emergency)
	case "b":
		grave("%s. The word HURT was asked for", emergency)
	}
	if h.Secret {
		add("It held a PIN or a code, which is not kept")
	}
	if h.OptOut {
		grave("Opted out")
	}
	if !h.Understood && h.Tier == "" {
		grave("Not understood")
	}
	if h.Topic != "" {
		add("About: %s", q.topicName(h.Topic))
	}
	if report, asked := strings.CutSuffix(h.Report, "?"); report != "" {
		if asked {
			add("Asks: %s", cmp.Or(askings[report], reports[report], report))
		} else {
			add("Reports: %s", cmp.Or(reports[report], report))
		}
	}
	for _, slot := range sortedKeys(h.Slots) {
		text := slotName(slot)
		if v := q.value(slot, h.Slots[slot]); v != "" {
			text += ": " + v
		}
		if slices.Contains(h.Unsure, slot) {
			text += " (unsure)"
		}
		add("%s", strings.ToUpper(text[:1])+text[1:])
	}
	return points
}

// timers are the moments at which the line writes by itself.
var timers = map[string]string{
	"smoke": "to look at the smoke", "cover": "to cover the drum", "silent": "no report of covering had come", "hold": "it feels cold and is not",
	"open": "the wait was over", "weigh": "to weigh the charcoal", "close": "nobody spoke of the batch any more",
	"ask": "the days for an answer were over", "call": "the days for a call were over", "held": "it was known who has the number",
	"duty": "no duty phone had seen the emergency", "follow-up": "the morning after an emergency", "digest": "the list of the morning",
}

// timerName says why the line wrote by itself.
func timerName(t dialog.Timer) string {
	name := timers[cmp.Or(t.Kind, string(t.ID))]
	if name == "" {
		name = cmp.Or(t.Kind, string(t.ID))
	}
	if t.Drum != "" {
		name += ", drum " + t.Drum
	}
	return name
}

// whys are the reasons why a message waits or was not sent.
var whys = map[string]string{
	gateway.WhyExpired: "its time was over", gateway.WhyCap: "the money for messages was used up", gateway.WhyRefused: "the gateway refused it",
	gateway.WhyOptedOut: "they opted out", gateway.WhyCrash: "the line ended while it was sent", "quiet hours": "quiet hours", "unsure": "the connection broke",
	"failed": "the gateway could not be reached", "throttled": "the gateway takes no more for now", "blocked": "the gateway takes nothing", "no channel": "there is no channel",
	"asked first": "they are asked first whether it is still them",
}

// whyName says why, after a colon, if anything is known.
func whyName(why string) string {
	if why == "" {
		return ""
	}
	return ": " + cmp.Or(whys[why], why)
}

// deliveries say how far a message got that the gateway has.
var deliveries = map[gateway.Delivery]string{
	0:                       "sent; no report yet",
	gateway.ReportQueued:    "sent; the gateway will see to it",
	gateway.ReportSubmitted: "sent; handed to the network",
	gateway.ReportAccepted:  "sent; the network took it",
	gateway.ReportDelivered: "on the phone",
	gateway.ReportFailed:    "sent, and not delivered",
	gateway.ReportExpired:   "sent; the phone was not reached in time",
	gateway.ReportRejected:  "sent, and rejected by the network",
	gateway.ReportUnknown:   "sent; the network does not know more",
}

// fate says what became of a reply, and whether it did not get there.
func fate(r gateway.Said, outcome gateway.Outcome, why string, d gateway.Delivery) (text string, lost bool) {
	switch {
	case !r.Out && r.Inline:
		return "shown in the answer", false
	case !r.Out:
		return "not sent: no channel can write to this number", true
	}
	switch outcome {
	case gateway.Sent:
		return cmp.Or(deliveries[d], d.String()), d >= gateway.ReportFailed && d < gateway.ReportUnknown
	case gateway.Later:
		return "waits" + whyName(why), false
	case gateway.Dropped:
		return "not sent" + whyName(why), true
	case gateway.Unknown:
		return "perhaps sent, and not sent again" + whyName(why), true
	}
	return "waits to be sent", false
}
