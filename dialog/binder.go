package dialog

import (
	"math"

	"cobline/calc"
	"cobline/locales"
)

const topicBinder = "binder"

// binderTopic answers with the paste for the charcoal a person really has.
var binderTopic = topic{
	key:      topicBinder,
	units:    map[string]Slot{"kg": slotCharKg, "tin": slotCharTins, "bucket": slotCharTins},
	families: map[string]Slot{"starch": slotStarch},
	bare:     slotCharKg,
	starts:   []string{"starch"},
	place: func(r reading, a amount, slot Slot) Slot {
		if slot == slotCharKg && r.nearer(a.token, "starch", "thing") == "starch" {
			return slotStarchKg // "charcoal 10 kg, flour 1 kg"
		}
		return slot
	},
	next:   (*turn).nextBinder,
	answer: (*turn).paste,
}

// commonStarches is the order of the starch list.
var commonStarches = []calc.Starch{
	calc.CassavaFlour, calc.CassavaRoot, calc.MaizeFlour, calc.CassavaStarch, calc.RiceFlour,
	calc.WheatFlour, calc.MaizeStarch, calc.SweetPotato, calc.GreenBanana, calc.Arrowroot,
}

func (t *turn) nextBinder(f *Frame) (question, bool) {
	if !f.has(slotCharKg) && !f.has(slotCharTins) {
		return question{slot: slotCharKg, id: "ask.char-kg"}, true
	}
	if !f.has(slotStarch) {
		q := question{slot: slotStarch, id: "ask.starch"}
		for _, s := range commonStarches {
			q.options = append(q.options, option{key: string(s), label: label(slotStarch, string(s))})
		}
		return q, true
	}
	return question{}, false
}

// bindFrame opens the binder with what was weighed and says the paste, or asks
// what is missing.
func (t *turn) bindFrame(starch string, what told) *Frame {
	t.heard.Topic = topicBinder
	f := t.open(topicBinder)
	if starch == "" {
		starch = string(calc.CassavaFlour)
	}
	f.Slots[slotStarch] = Value{Key: starch}
	if len(what.kg) > 0 {
		v := Value{Number: t.charKg(what.kg[0]), Unsure: what.kg[0].unsure}
		t.note(slotCharKg, v)
		if doubt, value := t.put(f, map[Slot]Value{slotCharKg: v}); doubt != "" {
			t.askDoubt(f, doubt, value)
			return f
		}
	}
	t.advance(f)
	return t.top()
}

// paste answers with the paste, and the cautions of crushing and of hot paste.
func (t *turn) paste(f *Frame) {
	char := f.Slots[slotCharKg].Number
	if f.has(slotCharTins) && !f.has(slotCharKg) {
		char = t.charKg(amount{number: f.Slots[slotCharTins].Number, unit: "tin"})
	}
	if name := f.Slots[slotDrum].Key; name != "" {
		if d := t.drum(name); d != nil {
			t.record(*d, char, 0, t.w.Now)
			t.drop(name)
		}
		delete(f.Slots, slotDrum)
	}
	starch := calc.Starch(f.Slots[slotStarch].Key)
	r, err := calc.Bind(calc.BindInput{Char: calc.Exactly(calc.Kg(char)), Starch: starch})
	if err != nil || r.Infeasible != nil {
		t.say("binder.other", Answer, locales.Args{"What": t.text(label(slotStarch, string(starch)), nil)})
		delete(f.Slots, slotStarch)
		f.Done = false
		t.advance(f)
		return
	}
	water := float64(r.PasteWater.Likely)
	cold := min(water, math.Max(0.5, 2*float64(r.DryStarch.Likely)))
	args := locales.Args{
		"Char": t.number(round(char)), "Starch": t.exactStarch(starch, r),
		"Cold": t.number(half(cold)), "Hot": t.number(half(water - cold)),
	}
	id := locales.ID("binder.flour")
	if !cupFlours[starch] {
		id = "binder.root"
		args["Hot"] = t.number(half(water))
	}
	text := t.text(id, args)
	if s := float64(r.SprinkleWater.Likely); s >= 0.25 {
		text += " " + t.text("binder.sprinkle", locales.Args{"Water": t.number(half(s))})
	}
	t.add(Reply{Key: string(id), Text: text, Urgency: Answer, Keep: true})
	t.say("caution.crushing", Answer, nil)
	t.say("caution.paste", Answer, nil)
}

// exactStarch writes the likely amount of binder, for charcoal that was weighed.
func (t *turn) exactStarch(s calc.Starch, r calc.BindResult) string {
	name := t.text(label(slotStarch, string(s)), nil)
	if cups := float64(r.Cups.Likely); cupFlours[s] && cups > 0 && cups < 60 {
		return t.text("measure.cups-of", locales.Args{"Number": t.number(half(cups)), "What": name})
	}
	return t.text("measure.kg-of", locales.Args{"Number": t.number(half(float64(r.Starch.Likely))), "What": name})
}
