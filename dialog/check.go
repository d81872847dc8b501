package dialog

import (
	"slices"

	"cobline/calc"
	"cobline/locales"
)

const topicCheck = "check"

// checkTopic judges briquettes by field tests, the one that tells most next.
var checkTopic = topic{key: topicCheck, next: (*turn).nextCheck, answer: (*turn).checked}

// The findings a person can choose from.
const (
	foundGood     = "good"
	foundDoubt    = "doubt"
	foundBad      = "bad"
	foundMould    = "mould"
	foundUntested = "untested"
)

// found turns a chosen finding into a grade.
func found(key string) calc.Finding {
	switch key {
	case foundGood:
		return calc.Passed
	case foundDoubt:
		return calc.Doubtful
	case foundBad, foundMould:
		return calc.Failed
	}
	return calc.NotTested
}

// fieldTest is a test, and what a finding of it means to calc.
type fieldTest struct {
	test  calc.FieldTest
	enter func(in *calc.QualityInput, key string)
}

// fieldTests are the tests in the order they are asked when none tells most.
var fieldTests = []fieldTest{
	{calc.DropTest, func(in *calc.QualityInput, key string) {
		in.Dropped = 5
		switch key {
		case foundDoubt:
			in.Chipped = 2
		case foundBad:
			in.Broken = 3
		}
	}},
	{calc.CoreTest, func(in *calc.QualityInput, key string) { in.Core, in.Mould = found(key), key == foundMould }},
	{calc.RingTest, func(in *calc.QualityInput, key string) { in.Ring = found(key) }},
	{calc.WeightTest, func(in *calc.QualityInput, key string) {
		in.PressedWeight, in.DriedWeight = 1, map[string]calc.Kg{foundGood: 0.66, foundDoubt: 0.75, foundBad: 0.9}[key]
	}},
	{calc.RubTest, func(in *calc.QualityInput, key string) { in.Rub = found(key) }},
	{calc.SinkTest, func(in *calc.QualityInput, key string) {
		in.InWater = map[string]calc.Minutes{foundGood: 6, foundDoubt: 3, foundBad: 0.5}[key]
	}},
	{calc.BoilTest, func(in *calc.QualityInput, key string) {
		in.Boil = map[string]calc.Minutes{foundGood: 14, foundDoubt: 20, foundBad: 30}[key]
	}},
	{calc.AshTest, func(in *calc.QualityInput, key string) {
		in.AshLeft = map[string]calc.Share{foundGood: 0.15, foundDoubt: 0.25, foundBad: 0.4}[key]
	}},
}

// askedTests is how many tests are asked for at most: more than that, and
// people give up.
const askedTests = 4

// judge asks calc what the tests of a frame say, and counts those made or
// passed over.
func (f *Frame) judge() (r calc.QualityResult, asked int) {
	var in calc.QualityInput
	for _, t := range fieldTests {
		v, ok := f.Slots[Slot(t.test)]
		if !ok {
			continue
		}
		asked++
		if v.Key != foundUntested {
			t.enter(&in, v.Key)
		}
	}
	r, err := calc.Quality(in)
	if err != nil {
		r.Verdict = calc.Unsure
	}
	return r, asked
}

func (t *turn) nextCheck(f *Frame) (question, bool) {
	r, asked := f.judge()
	if asked >= askedTests || r.Verdict == calc.NotFit || asked >= 2 && r.Verdict == calc.FitToSell {
		return question{}, false
	}
	best := r.Next
	if best == calc.AshTest && !f.has(Slot(calc.BoilTest)) {
		best = calc.BoilTest // nobody weighs ash who can boil water
	}
	next := slices.IndexFunc(fieldTests, func(o fieldTest) bool { return o.test == best && asked > 0 && !f.has(Slot(o.test)) })
	if next < 0 {
		next = slices.IndexFunc(fieldTests, func(o fieldTest) bool { return !f.has(Slot(o.test)) })
	}
	return testQuestion(fieldTests[next].test), true
}

// testQuestion asks what a field test showed.
func testQuestion(test calc.FieldTest) question {
	slot := Slot(test)
	q := question{slot: slot, id: slot.id("ask")}
	keys := []string{foundGood, foundDoubt, foundBad}
	if test == calc.CoreTest {
		keys = append(keys, foundMould)
	}
	for _, k := range keys {
		q.options = append(q.options, option{key: k, label: label(slot, k)})
	}
	q.options = append(q.options, option{key: foundUntested, label: "test.untested"})
	return q
}

// checked says the verdict, the worst faults with their remedies, and the
// caution for those who buy.
func (t *turn) checked(f *Frame) {
	r, _ := f.judge()
	mould := f.Slots[Slot(calc.CoreTest)].Key == foundMould
	switch {
	case mould:
		t.say("caution.drying", Answer, nil)
		t.say("fault.mould", Answer, nil)
		t.appendText("next.check")
		return
	case r.Verdict == calc.FitToSell:
		t.say("caution.buyers", Answer, nil)
		t.say2("check.fit", nil)
	case r.Verdict == calc.NotFit:
		t.say2("check.not-fit", nil)
	default:
		t.say2("check.unsure", nil)
	}
	last := &t.out.Replies[len(t.out.Replies)-1]
	for i, fault := range r.Faults {
		id := locales.ID("fault." + fault.Why)
		if i == 0 && r.Verdict == calc.NotFit {
			last.Text += " " + t.text(id, nil)
			continue
		}
		t.later(id, nil)
	}
	if r.Verdict != calc.FitToSell {
		t.appendText("next.check")
	}
}
