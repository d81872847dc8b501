package dialog

import (
	"strings"

	"cobline/calc"
	"cobline/locales"
)

const (
	topicBatches = "batches"

	slotAshSeen Slot = "ash_seen"
	slotWho     Slot = "who"  // the name a text on the phone of a group began with
	slotSame    Slot = "same" // whether the record is that of the person who asks
)

// batchesTopic shows the record and the one thing it teaches.
var batchesTopic = topic{key: topicBatches, next: (*turn).nextBatches, answer: (*turn).batches}

func (t *turn) nextBatches(f *Frame) (question, bool) {
	if t.shut() {
		switch f.Slots[slotSame].Key {
		case "":
			return question{slot: slotSame, id: "ask.same", options: []option{{key: "yes", label: "answer.yes"}, {key: "no", label: "answer.no"}}}, true
		case "no":
			return question{}, false
		}
		t.s.Stranger = 0
	}
	if t.who == "" {
		t.who = f.Slots[slotWho].Key // who began to ask goes on
	}
	f.Slots[slotWho] = Value{Key: t.who}
	i := t.lastBatch()
	if i < 0 {
		return question{}, false
	}
	last := &t.s.Batches[i]
	if key := f.Slots[slotAshSeen].Key; key != "" && last.Ash == "" {
		last.Ash = key
	}
	if last.Minutes > 0 && last.Ash == "" {
		return question{slot: slotAshSeen, id: "ask.ash-seen", options: []option{
			{key: "black", label: "ash-seen.black"},
			{key: "grey", label: "ash-seen.grey"},
			{key: "white", label: "ash-seen.white"},
			{key: "unknown", label: "ash-seen.unknown"},
		}}, true
	}
	return question{}, false
}

// batchesSaid is how many batches one message holds.
const batchesSaid = 3

// batches says the last ones, the yield of this person against that of others,
// and one advice on covering.
func (t *turn) batches(*Frame) {
	if t.shut() {
		t.notMe()
		return
	}
	own := t.ownBatches()
	n := len(own)
	if n == 0 {
		t.say("record.none", Answer, nil)
		if sold := t.soldSoFar(); sold != "" {
			t.out.Replies[0].Text = strings.TrimSpace(sold) + " " + t.out.Replies[0].Text
		}
		return
	}
	var lines []string
	for _, b := range own[max(0, n-batchesSaid):] {
		id := locales.ID("record.line")
		if b.ownName() != "" {
			id = "record.named"
		}
		lines = append(lines, t.text(id, locales.Args{
			"Date": b.At.In(t.place.Zone).Format("2/1"), "Name": b.Name, "Kg": t.number(half(b.CharKg)), "Waste": t.waste(b.Waste),
		}))
	}
	t.say2("record.list", locales.Args{"Lines": strings.Join(lines, ", "), "Sold": t.soldSoFar()})
	waste, name := calc.Waste(own[n-1].Waste), own[n-1].ownName()
	learned := t.ownYield(waste, name)
	if learned.Likely > 0 {
		r, err := calc.RecipeInBrief(calc.RecipeInput{Waste: waste, Drums: 1, Yield: learned})
		feed, unknown := calc.Feed(waste)
		if err == nil && unknown == nil {
			low, high := float64(r.Char.Low), float64(r.Char.High)
			mine := t.rangeOf(low, high)
			others := t.rangeOf(low*float64(feed.Yield.Low/learned.Low), high*float64(feed.Yield.High/learned.High))
			if mine != others {
				t.say2("record.yield", locales.Args{"Waste": t.waste(string(waste)), "Own": mine, "Others": others})
			}
		}
	}
	t.advise(waste, name, learned)
	t.appendText("next.batches")
	t.later("change.batches", nil)
}

// ownBatches is the record of the person who speaks: nothing while nobody knows
// whose number it is, and on the phone of a group only the drum of the name the
// text began with, if there is one.
func (t *turn) ownBatches() []Batch {
	if t.s.Stranger != 0 {
		return nil
	}
	i := t.lastBatch()
	if i < 0 || t.who == "" || t.s.Batches[i].ownName() != t.who {
		return t.s.Batches
	}
	var named []Batch
	for _, b := range t.s.Batches {
		if b.ownName() == t.who {
			named = append(named, b)
		}
	}
	return named
}

// lastBatch is the place of the last batch of the person who speaks, or of all;
// negative if there is none.
func (t *turn) lastBatch() int {
	last := len(t.s.Batches) - 1
	for i := last; i >= 0 && t.who != ""; i-- {
		if t.s.Batches[i].ownName() == t.who {
			return i
		}
	}
	return last
}

// ownName is the word a drum was called by, or nothing for a drum that only has
// a letter. On the phone of a group it stands for one person's drum and hand.
func (b Batch) ownName() string {
	if len(b.Name) > 1 {
		return b.Name
	}
	return ""
}

// of reports whether a batch belongs to a waste and, if a name is given, to the
// drum of that name.
func (b Batch) of(waste calc.Waste, name string) bool {
	return b.Waste == string(waste) && (name == "" || b.ownName() == name)
}

// weighedBatches returns the record of a waste, of one named drum or of all, as
// calc reads it. What was not said of a batch is taken as usual: dry waste, one
// drum.
func (t *turn) weighedBatches(waste calc.Waste, name string) []calc.WeighedBatch {
	own := t.ownBatches()
	out := make([]calc.WeighedBatch, 0, len(own))
	for _, b := range own {
		if !b.of(waste, name) || b.FeedKg <= 0 {
			continue
		}
		out = append(out, calc.WeighedBatch{
			Drums: calc.Count(max(1, b.Drums)), Feed: calc.Kg(b.FeedKg), Moisture: b.moisture(),
			Char: calc.Kg(b.CharKg), Unburnt: calc.Kg(b.BrandsKg),
		})
	}
	return out
}

// moisture is what the waste of a batch held, that of dry waste if unknown.
func (b Batch) moisture() calc.WetBasis {
	if b.Moisture > 0 {
		return calc.WetBasis(b.Moisture)
	}
	return calc.Dry.Moisture().Likely
}

// ownYield is what the batches of a waste teach, those of one named drum or all
// of this phone; zero without any.
func (t *turn) ownYield(waste calc.Waste, name string) calc.Range[calc.Share] {
	record := t.weighedBatches(waste, name)
	if len(record) == 0 {
		return calc.Range[calc.Share]{}
	}
	r, err := calc.Learn(calc.LearnInput{Waste: waste, Batches: record})
	if err != nil || r.PriorWeight >= 1 {
		return calc.Range[calc.Share]{}
	}
	return r.Yield
}

// How sure an advice is, in words.
const (
	quiteSure calc.Share = 0.8
	likely    calc.Share = 0.6
)

// lastOpenings is how many burns one advice rests on: those covered in much the
// same way.
const lastOpenings = 3

// advise says when to cover next time, and how sure that is.
func (t *turn) advise(waste calc.Waste, name string, own calc.Range[calc.Share]) {
	in, seen := calc.AdviseInput{Waste: waste, Usual: own}, 0
	record := t.ownBatches()
	for _, b := range record[max(0, len(record)-lastOpenings):] {
		if !b.of(waste, name) {
			continue
		}
		o := calc.Opening{Open: calc.Minutes(b.Minutes), Moisture: calc.WetBasis(b.Moisture)}
		if b.BrandsKg > 0 {
			o.Brands = calc.BrandsOf(calc.Kg(b.CharKg), calc.Kg(b.BrandsKg))
		}
		o.Ash = map[string]calc.AshColour{"black": calc.BlackAll, "grey": calc.GreyAsh, "white": calc.WhiteAsh}[b.Ash]
		if b.FeedKg > 0 {
			o.Yield = calc.Share(b.CharKg / (b.FeedKg * (1 - float64(b.moisture()))))
		}
		if o.Brands != calc.BrandsUnknown || o.Ash != calc.AshUnknown {
			seen++
		}
		in.Openings = append(in.Openings, o)
	}
	r, err := calc.Advise(in)
	if err != nil || r.Sure < likely || r.Move == 0 && (r.Cause == calc.CoveredTooSoon || r.Cause == calc.CoveredTooLate) {
		t.say("advice.unsure", Answer, nil)
		return
	}
	sure := locales.ID("sure.likely")
	switch {
	case seen < 2:
		sure = "sure.once" // the signs of one drum can have any cause
	case seen == lastOpenings && r.Sure >= quiteSure:
		sure = "sure.quite"
	}
	minutes := int(max(r.Move, -r.Move) + 0.5)
	t.say2(locales.ID("advice."+r.Cause.String()), locales.Args{"Sure": t.text(sure, nil), "Minutes": max(1, minutes)})
}
