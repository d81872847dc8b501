package dialog

import (
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
		if slot == slotCharKg && r.nearer(a.token, "starch", "thing") == "starch" && !r.parted(a, "starch") {
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
	if !f.has(slotStarch) && (f.has(slotCharKg) || f.has(slotCharTins)) {
		return starchQuestion(), true
	}
	if !f.has(slotCharKg) && !f.has(slotCharTins) && !f.has(slotStarchKg) {
		return question{slot: slotCharKg, id: "ask.char-kg"}, true
	}
	if !f.has(slotStarch) {
		return starchQuestion(), true
	}
	t.settle(f)
	return t.shortQuestion(f)
}

// settle forgets what was decided about another starch or another amount: a
// starch in hand is that of the starch it was said with.
func (t *turn) settle(f *Frame) {
	now := Value{Key: f.Slots[slotStarch].Key, Number: t.charOf(f)}
	was, before := f.Slots[slotSettled]
	_, inHand := t.heard.Slots[string(slotStarchKg)]
	if before && (was != now || inHand) {
		delete(f.Slots, slotShort)
	}
	if before && was.Key != now.Key && !inHand {
		delete(f.Slots, slotStarchKg)
	}
	f.Slots[slotSettled] = now
}

// starchQuestion asks for the starch, the commonest first.
func starchQuestion() question {
	q := question{slot: slotStarch, id: "ask.starch"}
	for _, s := range commonStarches {
		q.options = append(q.options, option{key: string(s), label: label(slotStarch, string(s))})
	}
	return q
}

const (
	slotShort   Slot = "short"   // what to do with too little starch
	slotSettled Slot = "settled" // the starch and the charcoal that is about

	bindWell = "well" // a part of the charcoal, the rest later
	bindAll  = "all"  // all of it, weaker
	bindMore = "more" // more starch is got
)

// shortQuestion asks what to do when the starch in hand does not suffice.
func (t *turn) shortQuestion(f *Frame) (question, bool) {
	char := t.charOf(f)
	in := f.bindInput(char)
	r, err := calc.Bind(in)
	if err != nil || r.Infeasible != nil || r.Short == nil || char == 0 || f.has(slotShort) {
		return question{}, false
	}
	have := in.Have
	in.Have = 0
	need, err := calc.Bind(in)
	if err != nil || enough(have, need) {
		return question{}, false
	}
	q := question{slot: slotShort, id: "ask.short", args: locales.Args{
		"Char": t.number(round(char)), "Starch": t.exactStarch(in.Starch, need),
	}}
	if well := float64(r.Short.WellBound); well >= limits[slotCharKg].least {
		q.options = append(q.options, option{key: bindWell, label: "short.well", args: locales.Args{"Kg": t.number(half(well))}})
	}
	if !r.Short.TooWeak {
		q.options = append(q.options, option{key: bindAll, label: "short.all"})
	}
	q.options = append(q.options, option{key: bindMore, label: "short.more"})
	return q, true
}

// enough reports whether the starch in hand is what is needed, as closely as a
// kitchen scale or a cup tells.
func enough(have calc.Kg, need calc.BindResult) bool { return have >= need.Starch.Likely*19/20 }

// charOf is the charcoal a frame speaks of, in kilograms.
func (t *turn) charOf(f *Frame) float64 {
	if f.has(slotCharTins) && !f.has(slotCharKg) {
		return t.charKg(amount{number: f.Slots[slotCharTins].Number, unit: "tin"})
	}
	return f.Slots[slotCharKg].Number
}

// aHeap is more charcoal than any starch in hand binds: it shows how much the
// starch is good for.
const aHeap calc.Kg = 2000

// bindInput asks calc for the paste of a frame; without charcoal, for as much
// as the starch in hand binds.
func (f *Frame) bindInput(char float64) calc.BindInput {
	in := calc.BindInput{
		Char: calc.Exactly(calc.Kg(char)), Starch: calc.Starch(f.Slots[slotStarch].Key),
		Have: calc.Kg(f.Slots[slotStarchKg].Number),
	}
	if char == 0 {
		in.Char = calc.Exactly(aHeap)
	}
	return in
}

// bind reckons the paste a frame has settled on, and the charcoal it is for.
func (t *turn) bind(f *Frame) (calc.BindResult, float64, error) {
	char := t.charOf(f)
	in := f.bindInput(char)
	r, err := calc.Bind(in)
	if err != nil || r.Short == nil {
		return r, char, err
	}
	short := *r.Short
	have := in.Have
	in.Have = 0
	if need, err := calc.Bind(in); err != nil || f.Slots[slotShort].Key == bindMore || char > 0 && enough(have, need) {
		return need, char, err
	}
	if f.Slots[slotShort].Key == bindAll {
		in.Dose = short.DoseForAll
	} else {
		in.Char, char = calc.Exactly(short.WellBound), float64(short.WellBound)
	}
	r, err = calc.Bind(in)
	return r, char, err
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
	if name := f.Slots[slotDrum].Key; name != "" {
		if d := t.drum(name); d != nil {
			t.record(*d, t.charOf(f), 0, t.w.Now)
			t.drop(name)
			f.Slots[slotRecorded] = Value{Number: float64(t.w.Now.Unix())}
		}
		delete(f.Slots, slotDrum)
	}
	starch := calc.Starch(f.Slots[slotStarch].Key)
	r, char, err := t.bind(f)
	if err != nil || r.Infeasible != nil {
		what := locales.Args{"What": t.text(label(slotStarch, string(starch)), nil)}
		if r.Infeasible != nil {
			t.say(locales.ID("infeasible."+r.Infeasible.Why), Answer, what)
		} else {
			t.say("binder.other", Answer, what)
		}
		for _, s := range []Slot{slotStarch, slotStarchKg, slotShort} {
			delete(f.Slots, s)
		}
		f.Done = false
		t.advance(f)
		return
	}
	t.s.PasteKg = char
	id, args := t.pasteOf(starch, r)
	args["Char"] = t.number(round(char))
	text := t.text(id, args)
	if s := float64(r.SprinkleWater.Likely); s >= 0.25 {
		text += " " + t.text("binder.sprinkle", locales.Args{"Water": t.litres(s)})
	}
	t.say("caution.crushing", Answer, nil)
	if id == "binder.flour" || id == "binder.root" {
		t.say("caution.paste", Answer, nil)
	}
	t.add(Reply{Key: string(id), Text: text, Urgency: Answer, Keep: true})
	t.appendText("change.binder", "next.binder")
	if f.Slots[slotShort].Key == bindAll {
		t.later("binder.weaker", nil)
	}
	for _, c := range r.Cautions {
		t.later(locales.ID("note."+string(c)), nil)
	}
}

// pasteOf words the paste by the way the binder holds: starch is cooked, flour
// stirred cold before; sugar and gum dissolve; clay, pulp and dung are mixed in.
func (t *turn) pasteOf(starch calc.Starch, r calc.BindResult) (locales.ID, locales.Args) {
	args := locales.Args{"Starch": t.exactStarch(starch, r)}
	water := float64(r.PasteWater.Likely)
	switch b, _ := calc.BinderOf(starch); {
	case b.Hold == calc.Sets:
		args["Water"] = t.litres(water)
		return "binder.sets", args
	case b.Hold == calc.Packs:
		args["Water"] = t.litres(water)
		return "binder.packs", args
	case !cupFlours[starch]:
		args["Hot"] = t.litres(water)
		return "binder.root", args
	}
	cold := float64(r.ColdWater.Likely)
	args["Cold"], args["Hot"] = t.litres(cold), t.litres(water-cold)
	return "binder.flour", args
}

// litres writes an amount of water in halves of a litre.
func (t *turn) litres(v float64) string { return t.measure("measure.litres", half(v)) }

// exactStarch writes the likely amount of binder, for charcoal that was weighed.
func (t *turn) exactStarch(s calc.Starch, r calc.BindResult) string {
	name := t.text(label(slotStarch, string(s)), nil)
	if cups := float64(r.Cups.Likely); cupFlours[s] && cups > 0 && cups < 60 {
		return t.text("measure.cups-of", locales.Args{"Number": t.number(half(cups)), "What": name})
	}
	return t.text("measure.kg-of", locales.Args{"Number": t.number(half(float64(r.Starch.Likely))), "What": name})
}
