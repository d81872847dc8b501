package dialog

import (
	"slices"
	"strings"

	"cobline/locales"
)

// The slots topics ask for.
const (
	slotWaste    Slot = "waste"
	slotDrums    Slot = "drums"
	slotWasteKg  Slot = "waste_kg"
	slotSacks    Slot = "sacks"
	slotTins     Slot = "tins"
	slotBarrows  Slot = "barrows"
	slotBasins   Slot = "basins"
	slotSackSize Slot = "sack_size"
	slotDryness  Slot = "dryness"
	slotDrumPast Slot = "drum_past"
	slotStarch   Slot = "starch"
	slotStarchKg Slot = "starch_have_kg"
	slotCharKg   Slot = "char_kg"
	slotCharTins Slot = "char_tins"
	slotBrandsKg Slot = "brands_kg"
	slotFlue     Slot = "flue"
	slotStage    Slot = "stage"
)

// topic is one thing a person can do: slots to fill, and an answer.
type topic struct {
	key      string
	units    map[string]Slot // the unit of a number -> the slot it fills
	families map[string]Slot // a family of words -> the slot they fill
	bare     Slot            // what a number without a unit fills
	starts   []string        // families whose words alone open the topic
	// place corrects the slot of an amount by what stands beside it, if given.
	place func(r reading, a amount, slot Slot) Slot
	// takes reports whether a word belongs to the topic here, if given.
	takes func(r reading, s span, family string, open Slot) bool
	// infer adds what follows from the text as a whole, if given.
	infer func(r reading, in *filled)
	// next returns the next question, or false when the answer can be given.
	next func(t *turn, f *Frame) (question, bool)
	// answer says what the filled slots lead to.
	answer func(t *turn, f *Frame)
}

// question asks for one slot.
type question struct {
	slot    Slot
	id      locales.ID
	args    locales.Args
	options []option // numbered; none for a number question
}

// option is one numbered choice.
type option struct {
	key   string
	label locales.ID
	args  locales.Args
}

// maxOptions is how many choices one list shows; 7, 8, 9 and 0 are keys.
const maxOptions = 5

// limits of a number: what is usual, beyond which the line asks again, and the
// most it reckons with.
type limit struct{ least, usual, most float64 }

var limits = map[Slot]limit{
	slotDrums:     {0.25, 10, 50},
	slotWasteKg:   {2, 500, 5000},
	slotSacks:     {0.25, 40, 400},
	slotTins:      {0.5, 200, 2000},
	slotBarrows:   {0.25, 30, 300},
	slotBasins:    {0.5, 100, 1000},
	slotSackSize:  {5, 120, 200},
	slotStarchKg:  {0.05, 50, 500},
	slotCharKg:    {0.2, 200, 2000},
	slotCharTins:  {0.25, 60, 600},
	slotBrandsKg:  {0, 100, 1000},
	slotOutDays:   {0, 14, 60},
	slotPeople:    {1, 20, 100},
	slotHaveSacks: {0.25, 400, 4000},
	slotWantKg:    {0.5, 1000, 5000},
	slotByDays:    {1, 90, 365},

	slotCharcoalPrice: {0.001, 1e6, 1e8},
	slotStarchPrice:   {0, 1e6, 1e8},
	slotSold:          {0.1, 2000, 50000},
	slotSoldKg:        {0.1, 1000, 5000},
	slotSoldPieces:    {1, 2000, 50000},
	slotSoldMoney:     {0, 1e7, 1e9},
}

// money holds the slots of money: a price with three digits behind its mark has
// thousands.
var money = map[Slot]bool{slotCharcoalPrice: true, slotStarchPrice: true, slotSoldMoney: true}

// holds reports whether a number can be reckoned with.
func (l limit) holds(v float64) bool { return v >= l.least && v <= l.most }

// usualAmounts are the choices for a number that a person could not say. But for
// whole drums none is a digit of the list, so that no digit has two meanings.
var usualAmounts = map[Slot][]float64{
	slotDrums: {1, 2, 3, 4}, slotCharKg: {6, 9, 12, 20}, slotWantKg: {10, 20, 50, 100},
}

// filled is what a text says about a topic.
type filled struct {
	values map[Slot]Value
	ties   map[Slot][]string // a word with several meanings
	denied map[Slot][]string // what it is not: "not cobs", "instead of cobs"
}

// found reports whether the text said anything about the topic.
func (f filled) found() bool { return len(f.values) > 0 || len(f.ties) > 0 || len(f.denied) > 0 }

// fill reads all slots of a topic from a text, in any order. A bare number
// fills the open question, if that is a number, or the topic's own slot.
func (p topic) fill(r reading, open Slot) filled {
	out := filled{values: map[Slot]Value{}, ties: map[Slot][]string{}, denied: map[Slot][]string{}}
	for _, a := range unitsFirst(r.sums) {
		if a.unit == unitKilo {
			if _, weighs := p.units["kg"]; weighs {
				a.unit = "kg"
			} else {
				a.unit, a.other = "", 1000*a.number
			}
		}
		slot, ok := p.units[a.unit]
		if p.place != nil && ok {
			slot = p.place(r, a, slot)
		}
		if open == slotSackSize && a.unit == "kg" {
			slot = open
		}
		if a.unit == "" {
			slot, ok = p.bare, p.bare != ""
			if _, numeric := limits[open]; numeric {
				slot, ok = open, true
			}
		}
		if _, taken := out.values[slot]; ok && slot != "" && !taken {
			if money[slot] && r.tokens[a.token].doubtful {
				a.number, a.other = a.other, 0 // a price of 1.500 is fifteen hundred
			}
			if coin := r.coin(); money[slot] && coin > 0 && a.other == 0 {
				a.other = coin * a.number // said in a coin that is another one's name
			}
			out.values[slot] = Value{Number: a.number, Unsure: a.unsure, Other: a.other}
		}
	}
	for i, s := range r.spans {
		for _, family := range sortedFamilies(s) {
			slot, ok := p.families[family]
			if !ok || p.takes != nil && !p.takes(r, s, family, open) {
				continue
			}
			names := s.of(family)
			if family == "dryness" {
				names = []string{negated(r, i, wettest(names))}
			} else if denied(r, i, family) {
				out.denied[slot] = append(out.denied[slot], names...)
				continue
			}
			out.merge(slot, names, s.fuzzy)
		}
	}
	if slot, ok := p.families["dryness"]; ok && r.has("report.rain") && r.hasFamily("waste") {
		out.merge(slot, []string{"wet"}, true) // dry, but it rained on them
	}
	if v, ok := out.values[slotDryness]; ok && r.has("word.doubt") && v.Key == "dry" {
		out.values[slotDryness] = Value{Key: "nearly", Unsure: true} // "dry I think"
	}
	if r.asks() || r.has("word.unknown") {
		delete(out.values, slotDryness) // "dry enough?" is no answer
	}
	if p.infer != nil {
		p.infer(r, &out)
	}
	return out
}

// unitsFirst puts amounts with a unit before a bare one, which may be no more than
// an article: "une boutique veut 200 kg".
func unitsFirst(sums []amount) []amount {
	if len(sums) < 2 {
		return sums
	}
	article := func(a amount) bool { return a.unit == "" && a.number == 1 }
	return append(slices.DeleteFunc(slices.Clone(sums), article), slices.DeleteFunc(slices.Clone(sums), func(a amount) bool { return !article(a) })...)
}

// asks reports whether the text is a question.
func (r reading) asks() bool {
	return r.has("word.asks") || r.has("question.ready") || slices.ContainsFunc(r.tokens, func(t token) bool { return t.question })
}

// sortedFamilies returns the families of a span's concepts, each once.
func sortedFamilies(s span) []string {
	var out []string
	for _, c := range s.concepts {
		if f := family(c); !slices.Contains(out, f) {
			out = append(out, f)
		}
	}
	return out
}

// merge adds the meanings of one more span: two words about one slot narrow
// each other down ("maize", "husk"), and what does not agree is a tie. Of two
// dryness words the wetter counts and is doubtful.
func (f *filled) merge(slot Slot, names []string, fuzzy bool) {
	had := f.ties[slot]
	if v, ok := f.values[slot]; ok {
		had = []string{v.Key}
		fuzzy = fuzzy || v.Unsure
	}
	all := names
	if len(had) > 0 {
		if both := intersect(had, names); len(both) > 0 {
			all = both
		} else if slot == slotStarch && (len(had) == 1) != (len(names) == 1) {
			if all = had; len(names) == 1 {
				all = names // "clay instead of flour": the one that is named in full
			}
		} else if slot == slotDryness {
			all, fuzzy = []string{wettest(append(slices.Clone(had), names...))}, true
		} else {
			all = append(slices.Clone(had), names...)
		}
	}
	delete(f.ties, slot)
	delete(f.values, slot)
	if len(all) == 1 {
		f.values[slot] = Value{Key: all[0], Unsure: fuzzy}
		return
	}
	f.ties[slot] = all
}

// correct takes what is denied out of what was said, and narrows a tie down to
// the choices of the list that is open.
func (f *filled) correct(open *Frame) {
	for slot, tie := range f.ties {
		denied := f.denied[slot]
		left := slices.DeleteFunc(slices.Clone(tie), func(k string) bool { return slices.Contains(denied, k) })
		if both := intersect(left, open.Options); open.Open == slot && len(both) > 0 {
			left = both
		}
		delete(f.ties, slot)
		switch len(left) {
		case 0:
		case 1:
			f.values[slot] = Value{Key: left[0]}
		default:
			f.ties[slot] = left
		}
	}
	for slot, denied := range f.denied {
		if slices.Contains(denied, open.Slots[slot].Key) {
			delete(open.Slots, slot)
		}
	}
}

func intersect(a, b []string) []string {
	var out []string
	for _, x := range a {
		if slices.Contains(b, x) {
			out = append(out, x)
		}
	}
	return out
}

// coin returns of how many of the currency a text speaks, zero if it names no such
// coin.
func (r reading) coin() float64 {
	for _, s := range r.spans {
		if n := s.of("coin"); len(n) == 1 {
			return parse(n[0])
		}
	}
	return 0
}

// drynessOrder is from dry to wet.
var drynessOrder = []string{"dry", "nearly", "wet", "too-wet"}

// wettest returns the wettest of some dryness words: in doubt wet is wet.
func wettest(names []string) string {
	return slices.MaxFunc(names, func(a, b string) int {
		return slices.Index(drynessOrder, a) - slices.Index(drynessOrder, b)
	})
}

// denied reports whether a span says what it is not: "not cobs", or "no cobs,
// stalks", where another of its family follows. In "no, cobs" it says what it is.
func denied(r reading, at int, family string) bool {
	if at == 0 || r.spans[at-1].to != r.spans[at].from || r.tokens[r.spans[at].from-1].comma {
		return false
	}
	switch before := r.spans[at-1]; {
	case before.is("word.not"):
		return true
	case !before.is("word.no") || !r.tokens[r.spans[at].to-1].comma:
		return false
	}
	return slices.ContainsFunc(r.spans[at+1:], func(s span) bool { return s.in(family) })
}

// negated turns a dryness word round when a "not" stands before it. "Not dry"
// is wet; "not wet" is no more than nearly dry.
func negated(r reading, at int, dryness string) string {
	if at == 0 {
		return dryness
	}
	before := r.spans[at-1]
	denies := before.is("word.not") || before.is("word.no") && !r.tokens[before.to-1].comma // "no, dry" corrects
	if !denies || before.to != r.spans[at].from {
		return dryness
	}
	switch {
	case dryness == "dry", dryness == "nearly":
		return "wet"
	case !before.is("word.not"): // "bado mbichi" is still wet
		return dryness
	case dryness == "wet":
		return "nearly"
	default:
		return "wet"
	}
}

// ask asks a question: it becomes the open one of the frame.
func (t *turn) ask(f *Frame, q question) {
	if f.Open != q.slot {
		f.Page, f.Fails = 0, 0
	}
	f.Open, f.Options, f.Tie = q.slot, nil, false
	r := Reply{Key: string(q.id), Text: t.echo() + t.text(q.id, q.args), Urgency: Answer}
	for _, o := range q.page(f.Page) {
		f.Options = append(f.Options, o.key)
		r.Choices = append(r.Choices, t.text(o.label, o.args))
	}
	if (f.Page+1)*maxOptions < len(q.options) {
		r.More = t.text("key.more", nil)
	}
	t.add(r)
}

// echo repeats what was read with doubt in this turn, before a question builds
// on it. An answer says by itself what it is for.
func (t *turn) echo() string {
	var said []string
	for _, s := range t.heard.Unsure {
		slot, v := Slot(s), t.heard.Slots[s]
		switch _, numeric := limits[slot]; {
		case numeric && v.Other == 0:
			said = append(said, t.amount(slot, v.Number))
		case slot == slotWaste, slot == slotStarch:
			said = append(said, t.text(label(slot, v.Key), nil))
		case slot == slotDryness:
			said = append(said, t.text(locales.ID("dry."+v.Key), nil))
		}
	}
	if len(said) == 0 {
		return ""
	}
	return t.text("line.echo", locales.Args{"What": strings.Join(said, ", ")}) + " "
}

// amount writes a number of a slot with what it counts.
func (t *turn) amount(slot Slot, v float64) string {
	return t.text("amount.of", locales.Args{"Number": t.number(v), "What": t.text(slot.id("amount"), nil)})
}

// page returns the options one list shows. A last page of one is joined to the
// page before by showing it alone; lists are short enough.
func (q question) page(n int) []option {
	from := min(n*maxOptions, len(q.options))
	return q.options[from:min(from+maxOptions, len(q.options))]
}

// pick reads an answer to the open option list that points at one of them.
func (f *Frame) pick(r reading) (string, bool) {
	n, ok := r.pointed()
	if !ok || n < 1 || n > len(f.Options) {
		return "", false
	}
	return f.Options[n-1], true
}

// later keeps a message back for the word MORE.
func (t *turn) later(id locales.ID, a locales.Args) {
	t.s.More = append(t.s.More, ReplyRef{ID: id, Text: t.text(id, a)})
}

// advance asks the next question of the frame or gives its answer.
func (t *turn) advance(f *Frame) {
	p := topics[f.Topic]
	if q, ok := p.next(t, f); ok {
		if f.Topic != t.s.Last {
			t.s.More = nil // what was kept back was about something else
		}
		t.ask(f, q)
		return
	}
	f.Open, f.Options, f.Done = "", nil, true
	t.s.More = nil
	p.answer(t, f)
}

// put enters values into the frame and remembers their order for BACK. A number
// beyond the usual, or one that can be read in two ways, is not entered: it is
// asked about.
func (t *turn) put(f *Frame, values map[Slot]Value) (doubt Slot, value Value) {
	for _, slot := range sortedSlots(values) {
		v := values[slot]
		if l, ok := limits[slot]; ok && v.Key == "" {
			if v.Other != 0 && !(l.holds(v.Number) && l.holds(v.Other)) {
				if !l.holds(v.Number) {
					v.Number = v.Other
				}
				v.Other = 0
			}
			if v.Other != 0 || !l.holds(v.Number) || v.Number > l.usual && f.Slots[doubtOf(slot)].Number != v.Number {
				doubt, value = slot, v
				f.Slots[doubtOf(slot)] = v
				continue
			}
			delete(f.Slots, doubtOf(slot))
		}
		f.Slots[slot] = v
		f.Past = append(slices.DeleteFunc(f.Past, func(s Slot) bool { return s == slot }), slot)
		for _, other := range rivals(slot) {
			delete(f.Slots, other)
		}
	}
	return doubt, value
}

// doubtOf names the slot that keeps a number the line asked about.
func doubtOf(s Slot) Slot { return "doubt:" + s }

// doubted returns the slot a doubt is about.
func (s Slot) doubted() (Slot, bool) {
	d, ok := strings.CutPrefix(string(s), "doubt:")
	return Slot(d), ok
}

// amountSlots are the ways to say how much waste there is.
var amountSlots = []Slot{slotDrums, slotWasteKg, slotSacks, slotTins, slotBarrows, slotBasins}

// rivals are other ways to say the same amount.
func rivals(s Slot) []Slot {
	if !slices.Contains(amountSlots, s) {
		return nil
	}
	return slices.DeleteFunc(slices.Clone(amountSlots), func(o Slot) bool { return o == s })
}

// id returns the message of a family that is about a slot.
func (s Slot) id(family string) locales.ID {
	return locales.ID(family + "." + strings.ReplaceAll(string(s), "_", "-"))
}

func sortedSlots(values map[Slot]Value) []Slot {
	out := make([]Slot, 0, len(values))
	for s := range values {
		out = append(out, s)
	}
	slices.Sort(out)
	return out
}
