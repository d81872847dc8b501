package dialog

import (
	"math"
	"slices"
	"time"
	"unicode/utf8"

	"cobline/calc"
	"cobline/locales"
)

const topicRecipe = "recipe"

// commonWastes is the order of the waste list, the commonest first.
var commonWastes = []calc.Waste{
	calc.MaizeCob, calc.MaizeStalk, calc.MaizeHusk, calc.GroundnutShell, calc.CoconutShell,
	calc.RiceHusk, calc.CottonStalk, calc.WoodyStalk, calc.Prunings, calc.Bagasse,
	calc.SorghumStalk, calc.CassavaStem, calc.SunflowerStalk, calc.RiceStraw, calc.CoconutHusk,
	calc.CoffeeHusk, calc.WheatStraw, calc.Bamboo, calc.Sawdust, calc.PalmKernelShell, calc.SunflowerHusk,
}

// recipeTopic answers what to load, what comes out, and how to burn it.
var recipeTopic = topic{
	key: topicRecipe,
	units: map[string]Slot{
		"drum": slotDrums, "kg": slotWasteKg, "sack": slotSacks, "tin": slotTins, "bucket": slotTins,
		"wheelbarrow": slotBarrows, "basin": slotBasins,
	},
	families: map[string]Slot{"waste": slotWaste, "dryness": slotDryness, "drum-past": slotDrumPast, "starch": slotStarch},
	bare:     slotDrums,
	starts:   []string{"waste", "dryness"},
	place:    ofContainer,
	takes: func(r reading, s span, family string, open Slot) bool {
		harmless := len(s.of("drum-past")) == 1 && (s.is("drum-past.food") || s.is("drum-past.new") || s.is("drum-past.none"))
		return family != "drum-past" || !harmless || (open == slotDrumPast || !r.hasFamily("waste")) && r.ofDrum()
	},
	infer: func(r reading, in *filled) {
		sizeOf(r, in)
		if past := in.ties[slotDrumPast]; len(past) > 0 && !slices.ContainsFunc(past, func(p string) bool { return p != "new" && p != "food" }) {
			delete(in.ties, slotDrumPast) // "a new food drum" is good either way
			in.values[slotDrumPast] = Value{Key: "food"}
		}
	},
	next:   (*turn).nextRecipe,
	answer: (*turn).recipe,
}

// sacksInDrum is how many sacks of loose waste a drum of 200 litres holds.
const sacksInDrum = 2

// What a plain drum needs for waste that chokes it.
const (
	fluePipe  = "pipe"
	flueMixed = "mixed"
	fluePlain = "plain"
)

func (t *turn) nextRecipe(f *Frame) (question, bool) {
	if past := f.Slots[slotDrumPast].Key; past != "" {
		t.keepPast(f, past)
	}
	if t.s.DrumPast == "poison" || t.s.DrumPast == "none" && f.Slots[slotDrumPast].Key == "none" {
		return question{}, false
	}
	waste := calc.Waste(f.Slots[slotWaste].Key)
	if waste == "" {
		return wasteQuestion(), true
	}
	feed, err := calc.Feed(waste)
	if err != nil {
		delete(f.Slots, slotWaste)
		return t.nextRecipe(f)
	}
	if feed.Suitability == calc.Chokes {
		switch f.Slots[slotFlue].Key {
		case "":
			return question{slot: slotFlue, id: "ask.flue", args: locales.Args{"Waste": t.waste(string(waste))}, options: []option{
				{key: fluePipe, label: "flue.pipe"}, {key: flueMixed, label: "flue.mixed"}, {key: fluePlain, label: "flue.plain"},
			}}, true
		case flueMixed, fluePlain:
			return question{}, false
		}
	}
	if !f.hasAmount() {
		return question{slot: slotDrums, id: "ask.drums"}, true
	}
	if q, ok := t.fillsQuestion(f); ok {
		return q, true
	}
	if f.Slots[slotDryness].Key == "" {
		return drynessQuestion(waste), true
	}
	return question{}, false
}

// wasteQuestion asks for the waste, the commonest first.
func wasteQuestion() question {
	q := question{slot: slotWaste, id: "ask.waste"}
	for _, w := range commonWastes {
		q.options = append(q.options, option{key: string(w), label: label(slotWaste, string(w))})
	}
	return q
}

// hasAmount reports whether the frame knows how much waste there is.
func (f *Frame) hasAmount() bool {
	for _, s := range amountSlots {
		if _, ok := f.Slots[s]; ok {
			return true
		}
	}
	return false
}

// feels is how the dryness question is worded for a waste: a shell neither
// snaps nor bends, and husk is crushed in the hand.
func feels(w calc.Waste) string {
	switch w {
	case calc.CoconutShell, calc.GroundnutShell, calc.PalmKernelShell:
		return "shell"
	case calc.MaizeHusk, calc.RiceHusk, calc.RiceStraw, calc.WheatStraw, calc.CoffeeHusk, calc.SunflowerHusk, calc.Sawdust, calc.CoconutHusk, calc.Bagasse:
		return "husk"
	default:
		return "stalk"
	}
}

func drynessQuestion(w calc.Waste) question {
	kind := feels(w)
	q := question{slot: slotDryness, id: locales.ID("ask.dryness-" + kind)}
	for _, d := range drynessOrder {
		q.options = append(q.options, option{key: d, label: locales.ID("feel." + kind + "." + d)})
	}
	return q
}

// feelOf turns the key of the slot into what calc knows.
func feelOf(dryness string) calc.Feel {
	switch dryness {
	case "dry":
		return calc.Dry
	case "nearly":
		return calc.NearlyDry
	case "wet":
		return calc.Wet
	default:
		return calc.TooWet
	}
}

// cupFlours are the binders a cup measures.
var cupFlours = map[calc.Starch]bool{
	calc.CassavaStarch: true, calc.CassavaFlour: true, calc.MaizeStarch: true, calc.MaizeFlour: true,
	calc.WheatFlour: true, calc.RiceFlour: true,
}

// reckon asks calc for the batch of a frame.
func (t *turn) reckon(f *Frame) (calc.RecipeResult, error) {
	in := calc.RecipeInput{
		Waste:    calc.Waste(f.Slots[slotWaste].Key),
		Moisture: feelOf(f.Slots[slotDryness].Key).Moisture(),
		Starch:   calc.Starch(f.Slots[slotStarch].Key),
	}
	in.Yield = t.ownYield(in.Waste, "")
	c, contained := f.contained()
	switch {
	case f.has(slotWasteKg):
		in.Mass = calc.Exactly(calc.Kg(f.Slots[slotWasteKg].Number))
	case contained:
		in.Volume = calc.Exactly(t.volume(c) * calc.Litre(f.Slots[c.slot].Number))
	case f.Slots[slotDrums].Number < 1: // "half a drum"
		in.Volume = calc.Exactly(sacksInDrum * calc.SackVolume() * calc.Litre(f.Slots[slotDrums].Number))
	default:
		in.Drums = calc.Count(f.Slots[slotDrums].Number)
	}
	return calc.RecipeInBrief(in)
}

func (f *Frame) has(s Slot) bool { _, ok := f.Slots[s]; return ok }

// recipe answers with the load, what comes of it, and the burn; in three
// messages that are enough with the phone off.
func (t *turn) recipe(f *Frame) {
	if t.s.DrumPast == "poison" {
		t.say("recipe.drum-poison", Answer, nil)
		t.forgetPast()
		delete(f.Slots, slotDrumPast)
		return
	}
	if t.s.DrumPast == "none" {
		t.say("recipe.no-drum", Answer, nil)
		t.forgetPast()
		delete(f.Slots, slotDrumPast)
		return
	}
	if flue := f.Slots[slotFlue].Key; flue == flueMixed || flue == fluePlain {
		t.say(locales.ID("recipe.flue-"+flue), Answer, locales.Args{"Waste": t.waste(f.Slots[slotWaste].Key)})
		delete(f.Slots, slotFlue)
		delete(f.Slots, slotWaste)
		return
	}
	t.s.Waste = f.Slots[slotWaste].Key
	r, err := t.reckon(f)
	if err != nil {
		t.say("recipe.out-of-range", Answer, nil)
		for _, s := range amountSlots {
			delete(f.Slots, s)
		}
		f.Done = false
		t.advance(f)
		return
	}
	if t.s.Wet = !r.Lighting.MayLight(); t.s.Wet {
		t.recipeWet(f, r)
		return
	}
	t.say2("recipe.load", t.load(f, r))
	if badPast(t.s.DrumPast) {
		t.say2("recipe.expect", t.expect(f, r))
		t.say("recipe.drum-oil", Answer, nil)
		return
	}
	expect, light := t.expect(f, r), Reply{Key: "recipe.light", Text: t.text("recipe.light", t.light(r)), Urgency: Answer, Keep: true}
	if hint := t.text("recipe.hint", nil); t.offersTiming() && utf8.RuneCountInString(light.Text+hint) <= t.room() {
		expect["Hint"] = t.text("recipe.hint-by", nil)
		light.Text += hint // the next step is the last word where there is room for it
	}
	t.say2("recipe.expect", expect)
	t.add(light)
	t.later("recipe.assumed", locales.Args{"Starch": t.text(label(slotStarch, string(f.starch())), nil), "Vessel": t.vessel(f)})
	for _, c := range []locales.ID{"caution.place", "caution.lighting", "caution.people"} {
		t.later(c, nil)
	}
	t.afterwards(f)
}

// say2 adds an answer worth keeping.
func (t *turn) say2(id locales.ID, a locales.Args) {
	t.add(Reply{Key: string(id), Text: t.text(id, a), Urgency: Answer, Keep: true})
}

// load is what goes into the drums.
func (t *turn) load(f *Frame, r calc.RecipeResult) locales.Args {
	waste := f.Slots[slotWaste].Key
	prepare := ""
	switch r.Suitability {
	case calc.CutFirst:
		prepare = t.text("prepare.cut", nil)
	case calc.Layered:
		prepare = t.text("prepare.layer", nil)
	case calc.Chokes:
		prepare = t.text("prepare.pipe", nil)
	}
	drum := t.text("drum.new", nil)
	if goodPast(t.s.DrumPast) && t.knowsPast(f.drums()) {
		drum = t.text("drum.no-cutting", nil)
	}
	dryness := t.text("dry.dry", nil)
	if r.Lighting == calc.LightWithLoss {
		dryness = t.text("dry.nearly", nil)
	}
	return locales.Args{
		"Drums": t.measure("measure.drums", float64(r.Drums)), "Dryness": dryness, "Waste": t.waste(waste),
		"Prepare": prepare, "Sacks": t.own(f, r),
		"Kg": t.number(round(float64(r.Feed.Likely))), "Drum": drum,
	}
}

// own writes the load in the measure the producer gave, or in sacks.
func (t *turn) own(f *Frame, r calc.RecipeResult) string {
	if c, ok := f.contained(); ok {
		return t.measure(c.id, f.Slots[c.slot].Number)
	}
	return t.measure("measure.sacks", half(float64(r.Sacks.Likely)))
}

// expect is what comes of the burn, and what to have ready for it.
func (t *turn) expect(f *Frame, r calc.RecipeResult) locales.Args {
	starch := f.starch()
	dryingDays := r.DryingDays
	if usual := t.usualDrying(); usual.Likely > 0 {
		dryingDays = usual
	}
	loss := ""
	if r.Lighting == calc.LightWithLoss {
		kept := float64(r.YieldKept.Likely)
		if lost := float64(r.Char.Likely) * (1 - kept) / kept; kept > 0 {
			loss = t.text("recipe.loss", locales.Args{"Kg": t.number(max(0.5, half(lost)))})
		}
	}
	return locales.Args{
		"Char": t.rangeOf(float64(r.Char.Low), float64(r.Char.High)), "Loss": loss,
		"Starch": t.starch(starch, r.Starch, r.Cups),
		"Pieces": t.rangeOf(float64(r.Briquettes.Low), float64(r.Briquettes.High)),
		"Days":   t.days(dryingDays), "Hint": t.hint(loss != ""),
	}
}

// starch is the binder of a frame; cassava flour if none was named.
func (f *Frame) starch() calc.Starch {
	if key := f.Slots[slotStarch].Key; key != "" {
		return calc.Starch(key)
	}
	return calc.CassavaFlour
}

// offersTiming reports whether the line can send what comes with a burn that has
// not begun, and will be able to pay for it.
func (t *turn) offersTiming() bool { return t.w.Channel.Sends && !t.w.Channel.Short }

// hint offers the timing of the burn where the line can send it and will be able
// to; in few words where a loss or the script takes the room.
func (t *turn) hint(short bool) string {
	switch {
	case !t.offersTiming():
		return ""
	case short || locales.Wide(t.lang):
		return t.text("recipe.hint-short", nil)
	}
	return t.text("recipe.hint", nil) + t.text("recipe.hint-by", nil)
}

// room is how many letters a message of the recipe may have: one segment of the cheap
// alphabet, or two of a script outside it.
func (t *turn) room() int {
	if locales.Wide(t.lang) {
		return 2 * 67
	}
	return 160
}

// starch writes an amount of binder in the measure a kitchen has.
func (t *turn) starch(s calc.Starch, kg calc.Range[calc.Kg], cups calc.Range[calc.Count]) string {
	name := t.text(label(slotStarch, string(s)), nil)
	if cupFlours[s] && cups.High > 0 && cups.High < 60 {
		return t.text("measure.cups-of", locales.Args{"Number": t.rangeOf(float64(cups.Low), float64(cups.High)), "What": name})
	}
	return t.text("measure.kg-of", locales.Args{"Number": t.rangeOf(float64(kg.Low), float64(kg.High)), "What": name})
}

// light is the burn itself: how, the sign to cover, and when to open.
func (t *turn) light(r calc.RecipeResult) locales.Args {
	when, day := t.text("light.tomorrow", nil), midnight(t.now.AddDate(0, 0, 1))
	if r.Drums > 1 {
		when = t.text("light.soon", nil)
	}
	// With an hour between drums, the last one must still be covered by daylight.
	latest := t.place.latestLighting(t.now, r.Clock).Add(-time.Duration(r.Drums-1) * time.Hour).Truncate(15 * time.Minute)
	switch first := t.place.firstLight(t.now); {
	case t.now.Before(first) && latest.After(first):
		day = midnight(t.now)
		when = t.text("light.between", locales.Args{"From": t.clock(first.Add(15*time.Minute - time.Nanosecond).Truncate(15 * time.Minute)), "Time": t.clock(latest)})
	case t.now.Before(latest):
		day = midnight(t.now)
		when = t.text("light.by", locales.Args{"Time": t.clock(latest)})
	}
	next, fit := t.mayLight(day)
	switch {
	case !fit:
		when = t.text("light.none", nil)
	case next.After(day) && r.Drums > 1:
		when = t.text("light.day", locales.Args{"Day": t.day(next)})
	case next.After(day):
		when = t.text("light.risk", locales.Args{"Day": t.day(next)})
	}
	apart := ""
	if r.Drums > 1 && fit {
		apart = t.text("light.apart", nil)
	}
	// Lit at the last moment and covered late, the long wait is over at this hour.
	over := roundUp(t.place.latestLighting(t.now, r.Clock).Add(r.Clock.Cover.High.Duration()))
	if r.Wait <= 12 {
		over = t.place.openingMorning(t.now)
	}
	wait := t.text("open.next-day", locales.Args{"Time": t.clock(over)})
	return locales.Args{
		"When": when, "Apart": apart, "Open": wait,
		"Low": int(r.Clock.Cover.Low), "High": int(r.Clock.Cover.High),
	}
}

// recipeWet gives no lighting time: what would be lost, how long to dry, and
// how to look again.
func (t *turn) recipeWet(f *Frame, r calc.RecipeResult) {
	waste := t.waste(f.Slots[slotWaste].Key)
	args := locales.Args{"Waste": waste, "Days": t.days(careful(r.DaysToDryFirst))}
	if r.Lighting == calc.DoNotLight {
		t.say2("recipe.too-wet", args)
		t.sayTest(f)
		return
	}
	dry := f.dryAgain()
	if better, err := t.reckon(&dry); err == nil {
		args["Now"] = t.rangeOf(float64(r.Char.Low), float64(r.Char.High))
		args["Dry"] = t.rangeOf(float64(better.Char.Low), float64(better.Char.High))
		t.say2("recipe.wet", args)
	} else {
		t.say2("recipe.too-wet", args)
	}
	t.sayTest(f)
}

// dryAgain is the same batch with dry waste.
func (f *Frame) dryAgain() Frame {
	dry := Frame{Topic: f.Topic, Slots: Slots{}}
	for s, v := range f.Slots {
		dry.Slots[s] = v
	}
	dry.Slots[slotDryness] = Value{Key: "dry"}
	return dry
}

// sayTest says how to tell that the waste is dry.
func (t *turn) sayTest(f *Frame) {
	t.say(locales.ID("test."+feels(calc.Waste(f.Slots[slotWaste].Key))), Answer, nil)
}

// drumAnswer takes the drum's past as the answer to the question behind a
// recipe: only what it changes is said.
func (t *turn) drumAnswer(past string) {
	t.keepPast(t.frameOf(topicRecipe), past)
	switch past {
	case "new", "food":
		t.say("drum.good", Answer, locales.Args{"Change": t.text("change.recipe", nil), "Next": t.text("next.recipe", nil)})
	case "poison":
		t.say("recipe.drum-poison", Answer, nil)
		t.forgetPast()
	case "none":
		t.say("recipe.no-drum", Answer, nil)
		t.forgetPast()
	default:
		t.say("recipe.drum-oil", Answer, nil)
	}
}

// afterwards asks once of each drum what it held, when a recipe has been given.
func (t *turn) afterwards(f *Frame) {
	if t.knowsPast(f.drums()) || badPast(t.s.DrumPast) || t.fresh {
		switch {
		case len(t.out.Replies) > 0:
		case badPast(t.s.DrumPast):
			t.say("recipe.drum-oil", Answer, nil) // again: nobody is sent to light that drum
		default:
			t.say("light.text-lit", Answer, locales.Args{"Next": t.text("next.recipe", nil)})
		}
		return
	}
	q := drumPastQuestion(f)
	if len(t.out.Replies) < maxReplies {
		t.ask(f, q)
		return
	}
	f.Open, f.Options = q.slot, nil
	last := &t.out.Replies[len(t.out.Replies)-1]
	last.Text += "\n" + t.text(q.id, nil)
	for _, o := range q.options {
		f.Options = append(f.Options, o.key)
		last.Choices = append(last.Choices, t.text(o.label, nil))
	}
}

// waste names a waste.
func (t *turn) waste(key string) string {
	if key == "" {
		return t.text("waste.any", nil)
	}
	return t.text(label(slotWaste, key), nil)
}

// number writes a number plainly, with one decimal at most.
func (t *turn) number(v float64) string {
	if v == math.Trunc(v) {
		return locales.Number(t.lang, v, 0)
	}
	return locales.Number(t.lang, v, 1)
}

// measure writes a number of things: a counted message for a whole number, and
// the same with a decimal otherwise, in the form that the language counts with:
// French and Portuguese say 1,5 litre, English 0.5 litres.
func (t *turn) measure(id locales.ID, v float64) string {
	if v == math.Trunc(v) {
		return t.count(id, int(v), nil)
	}
	if text, ok := t.e.catalog.One(t.lang, id, v, t.number(v)); ok {
		return text
	}
	return t.text(id+"-part", locales.Args{"Number": t.number(v)})
}

// rangeOf writes a range in steps a person can measure: both ends in the steps
// of the greater one, but never down to nothing.
func (t *turn) rangeOf(low, high float64) string {
	if high = round(high); high >= 10 {
		low = max(1, math.Round(low))
	}
	low = round(low)
	if low == high {
		return t.number(low)
	}
	return t.text("measure.range", locales.Args{"Low": t.number(low), "High": t.number(high)})
}

// days writes a range of days, rounded up: nobody is promised a shorter time.
func (t *turn) days(r calc.Range[calc.Days]) string {
	low, high := int(math.Ceil(float64(r.Low))), int(math.Ceil(float64(r.High)))
	if low >= high {
		return t.count("measure.days", high, nil)
	}
	return t.text("measure.days-range", locales.Args{"Low": low, "High": high})
}

// round rounds for a reader: halves below ten, whole numbers below a hundred,
// then fives and tens.
func round(v float64) float64 {
	switch {
	case v < 10:
		return half(v)
	case v < 100:
		return math.Round(v)
	case v < 300:
		return 5 * math.Round(v/5)
	default:
		return 10 * math.Round(v/10)
	}
}

// half rounds to half units, and never to nothing.
func half(v float64) float64 { return max(0.5, math.Round(2*v)/2) }
