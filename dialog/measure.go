package dialog

import (
	"slices"

	"cobline/calc"
	"cobline/locales"
)

// container is a vessel that people count waste and charcoal in.
type container struct {
	unit   string
	slot   Slot
	litres calc.Litre // what it usually holds; zero: too different to assume
	id     locales.ID // a number of them
}

// containers are the vessels in the order of their units. A bucket counts as a
// tin.
var containers = []container{
	{"sack", slotSacks, calc.SackVolume(), "measure.sacks"},
	{"tin", slotTins, calc.TinVolume(), "measure.tins"},
	{"wheelbarrow", slotBarrows, 0, "measure.barrows"},
	{"basin", slotBasins, 0, "measure.basins"},
}

// contained returns the container a frame counts in, if any.
func (f *Frame) contained() (container, bool) {
	i := slices.IndexFunc(containers, func(c container) bool { return f.has(c.slot) })
	if i < 0 {
		return container{}, false
	}
	return containers[i], true
}

// volume is what a container of this person holds: by the maize that fills it,
// if that was ever said, else as usual; zero if nobody knows.
func (t *turn) volume(c container) calc.Litre {
	if kg := t.s.Fills[c.unit]; kg > 0 {
		return calc.SackVolumeOf(calc.Kg(kg))
	}
	return c.litres
}

// learnVolume remembers how much maize fills a container, for this person: the
// one it was said of, or the one the frame counts in.
func (t *turn) learnVolume(f *Frame) {
	unit := f.Slots[slotSizeOf].Key
	if c, ok := f.contained(); ok && unit == "" {
		unit = c.unit
	}
	if unit == "" || !f.has(slotSackSize) {
		return
	}
	if t.s.Fills == nil {
		t.s.Fills = map[string]float64{}
	}
	t.s.Fills[unit] = f.Slots[slotSackSize].Number
	delete(f.Slots, slotSackSize)
	delete(f.Slots, slotSizeOf)
}

// slotSizeOf is the container whose size a text gives.
const slotSizeOf Slot = "size_of"

// sizeOf finds that container, unless the text also counts it.
func sizeOf(r reading, in *filled) {
	if _, ok := in.values[slotSackSize]; !ok {
		return
	}
	for _, s := range r.spans {
		for _, c := range containers {
			if _, counted := in.values[c.slot]; counted {
				continue
			}
			if s.is("unit."+c.unit) || c.slot == slotTins && s.is("unit.bucket") {
				in.values[slotSizeOf] = Value{Key: c.unit}
			}
		}
	}
}

// fillsQuestion asks how much maize fills a container, if that is not known.
func (t *turn) fillsQuestion(f *Frame) (question, bool) {
	t.learnVolume(f)
	c, ok := f.contained()
	if !ok || t.volume(c) > 0 {
		return question{}, false
	}
	return question{slot: slotSackSize, id: "ask.sack-size", args: locales.Args{"What": t.text(locales.ID("one."+c.unit), nil)}}, true
}

// ofContainer puts kilograms behind the word for a container where they belong:
// "2 sacks of 50 kg", "sack of 50 kg".
func ofContainer(r reading, a amount, slot Slot) Slot {
	if slot != slotWasteKg || a.unit != "kg" {
		return slot
	}
	vessel := func(unit string) bool {
		return unit == "bucket" || slices.ContainsFunc(containers, func(c container) bool { return c.unit == unit })
	}
	counted := slices.ContainsFunc(r.sums, func(o amount) bool { return vessel(o.unit) })
	named := slices.ContainsFunc(r.spans, func(s span) bool {
		return s.to+1 == a.token && slices.ContainsFunc(s.of("unit"), vessel)
	})
	if counted || named {
		return slotSackSize
	}
	return slot
}

// vessel says how big a container was taken, for what is counted in it.
func (t *turn) vessel(f *Frame) string {
	c, ok := f.contained()
	if !ok {
		return ""
	}
	maize := float64(t.volume(c) / calc.SackVolumeOf(1))
	return t.text("recipe.vessel", locales.Args{"What": t.text(locales.ID("one."+c.unit), nil), "Kg": t.number(round(maize))})
}
