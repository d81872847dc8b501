package dialog

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"cobline/calc"
	"cobline/locales"
)

const (
	topicBurn   = "burn"
	topicSmoke  = "smoke"
	topicWhich  = "which-drum"
	topicDoubt  = "asking-or-done"
	topicInside = "inside"
	topicSealed = "sealed-when"

	slotSmoke  Slot = "smoke"
	slotWhich  Slot = "which"
	slotDoubt  Slot = "doubt"
	slotInside Slot = "inside"
	slotSealed Slot = "sealed"
	slotReport Slot = "report"
	slotDrum   Slot = "drum"
	slotAt     Slot = "at"

	stageLit    = "lit"
	stageSealed = "sealed"
	stageOpened = "opened"

	reportLit     = "lit"
	reportCovered = "covered"
	reportLeak    = "leak"
	reportOpened  = "opened"
	reportWeighed = "weighed"
	reportRain    = "rain"
	reportWind    = "wind"
	reportDark    = "dark"
	reportReady   = "ready"
	reportOut     = "out"
	reportWater   = "water"

	timerSmoke  = "smoke"  // look at the smoke
	timerCover  = "cover"  // time to cover, going by the smoke
	timerSilent = "silent" // no report of covering came
	timerHold   = "hold"   // it feels cold and is not
	timerOpen   = "open"   // the wait is over
	timerWeigh  = "weigh"  // how much charcoal was it
	timerClose  = "close"  // a batch nobody speaks of any more

	maxDrums     = 6
	smokeAgain   = 10 * time.Minute
	holdAfter    = 3 * time.Hour
	weighAfter   = 5 * time.Hour
	closeAfter   = 4 * 24 * time.Hour
	sentLongAgo  = 24 * time.Hour
	longestStory = 12 * time.Hour // "lit 3 hours ago"
)

// report answers a text about a burn. It returns false for any other text.
func (t *turn) report(r reading, ev Said) bool {
	if t.answerBurn(r, ev) {
		t.askUnder()
		return true
	}
	what, ok := t.hear(r)
	if !ok && t.bareWeight(r) {
		opened := slices.ContainsFunc(t.s.Drums, func(d Drum) bool { return d.Stage == stageOpened })
		what, ok = told{what: reportWeighed, kg: r.sums, drum: t.speakersDrum(reportWeighed), doubtful: !opened}, true
	}
	if !ok && t.feelsDrum(r) {
		what, ok = told{what: reportReady, question: true}, true // "it is cold" asks whether it may be
	}
	if !ok {
		return t.smokeSeen(r) || t.flares(r, ev)
	}
	t.heard.Topic, t.heard.Understood, t.heard.Report = topicBurn, true, what.what
	if what.what == reportRain && t.burning() && r.has("unit.piece") {
		t.say("dry.rain", Answer, nil)
	}
	if what.question {
		t.heard.Report = what.what + "?"
		t.answerQuestion(what)
		return true
	}
	at := t.reported(ev).Add(-what.ago)
	if what.clock >= 0 {
		at = t.toldTime(at, what.clock)
	}
	if what.doubtful && what.what != reportRain && what.what != reportWind && what.what != reportDark && what.what != reportOut && what.what != reportLeak {
		t.heard.Report += "?"
		switch indoors := r.has("thing.indoors"); { // what cannot wait for the answer
		case what.what == reportOpened && (r.has("smoke.flames") || r.has("state.glow")):
			t.say("caution.glowing", Answer, nil)
		case what.what == reportOpened && indoors:
			t.say("caution.storing", Answer, nil)
		case indoors:
			t.say("caution.buyers", Answer, nil)
		}
		t.askDone(what, at)
		return true
	}
	t.stage(what, at)
	if what.what == reportOpened && r.has("thing.indoors") && !slices.ContainsFunc(t.out.Replies, func(o Reply) bool { return o.Key == "caution.storing" }) && len(t.out.Replies) < maxReplies {
		t.say("caution.storing", Answer, nil)
	}
	return true
}

// feelsDrum reports whether a text says no more than how a sealed drum feels.
func (t *turn) feelsDrum(r reading) bool {
	_, sealed := t.latestSealed()
	strange := func(s span) bool {
		return !s.in("state") && !r.belongs(s) && t.drumNamed(r.tokens[s.from].word) == ""
	}
	return sealed && len(r.spans) > 0 && !slices.ContainsFunc(r.spans, strange) && r.hasFamily("state")
}

// flares meets a text that says no more than that opened charcoal is warm or
// glows: it goes back under lid and soil.
func (t *turn) flares(r reading, ev Said) bool {
	i := slices.IndexFunc(t.s.Drums, func(d Drum) bool { return d.Stage == stageOpened })
	hot := slices.ContainsFunc(r.spans, func(s span) bool { return s.is("state.glow") || s.is("state.warm") })
	if i < 0 || !hot || r.has("word.not") || r.has("word.no") || slices.ContainsFunc(r.spans, func(s span) bool { return !r.belongs(s) && family(s.concepts[0]) != "word" }) {
		return false
	}
	name := t.s.Drums[i].Name
	if named := t.drumWord(r); named != "" {
		name = named
	}
	t.heard.Topic, t.heard.Understood = topicBurn, true
	t.inside(name, "glow")
	return true
}

// smokeSeen takes a text about the smoke of the one drum that is alight as an
// answer, asked or not.
func (t *turn) smokeSeen(r reading) bool {
	d, ok := t.litDrum()
	if !ok || r.hasFamily("waste") {
		return false
	}
	spoken := r.smokeAnswer() || slices.ContainsFunc(r.safety, func(s span) bool { return s.is("hazard.smoke") })
	for i, s := range r.spans {
		if n := s.of("smoke"); len(n) == 1 && !s.fuzzy && (spoken || s.to-s.from > 1 || n[0] == "flames") { // "a little" may be of anything
			look := r.smokeAt(i, n[0])
			if look == "" {
				return false
			}
			t.heard.Topic, t.heard.Understood = topicBurn, true
			t.note(slotSmoke, Value{Key: look})
			t.smoke(d.Name, look)
			return true
		}
	}
	return false
}

// smokeAt is what a word for the smoke says where it stands. Smoke that is not
// thin is still thick; what else it is not says nothing.
func (r reading) smokeAt(i int, word string) string {
	look := smokeWords[word]
	if i == 0 || r.spans[i-1].to != r.spans[i].from || !r.denies(r.spans[i-1]) {
		return look
	}
	switch {
	case look != "white" && look != "yellow":
		return "white"
	case r.spans[i-1].is("word.not"):
		return ""
	}
	return look // "bado mweupe" is still white
}

// bareWeight reports whether a text is nothing but kilograms while a drum
// stands open and no other number is asked for. Beside a sealed drum it may be
// one that nobody said was opened.
func (t *turn) bareWeight(r reading) bool {
	f := t.top()
	opened := slices.ContainsFunc(t.s.Drums, func(d Drum) bool { return d.Stage == stageOpened })
	if _, sealed := t.latestSealed(); !opened && sealed && (f == nil || f.Topic == topicRecipe || f.Topic == topicBurn || f.Topic == lobby) {
		opened = len(r.sums) > 0 && r.sums[0].unit == "kg"
	}
	if r.has("word.sold") || r.asks() {
		return false
	}
	asides := f != nil && (f.Topic == topicInside || f.Topic == topicStop || f.Topic == lobby)
	if !opened || f != nil && !f.Done && f.Open != "" && !asides { // Done: the drum's past lies open behind a recipe
		return false
	}
	lone := len(r.sums) == 1 && len(r.tokens) == 1 && (f == nil || len(f.Options) == 0 || f.Topic != topicInside && r.sums[0].number > float64(len(f.Options)) && r.sums[0].number < 7)
	weights := 0
	for _, a := range r.sums {
		if a.unit != "kg" && a.unit != "tin" && a.unit != "bucket" && !lone {
			return false
		}
		weights++
	}
	for _, s := range r.spans {
		if s.in("waste") || s.in("starch") {
			return false
		}
	}
	return weights > 0
}

// reported is when a text was sent, if the gateway says so believably, else
// when it came.
func (t *turn) reported(ev Said) time.Time {
	if ev.SentAt.IsZero() || ev.SentAt.After(t.w.Now.Add(time.Minute)) || t.w.Now.Sub(ev.SentAt) > sentLongAgo {
		return t.w.Now
	}
	return ev.SentAt
}

// askDone asks whether a text was a question or a report. Nothing moves until
// the answer.
func (t *turn) askDone(what told, at time.Time) {
	t.aside(topicDoubt, t.kept(what, at))
}

// kept is what an aside remembers of a report it asks about.
func (t *turn) kept(what told, at time.Time) Slots {
	slots := Slots{slotReport: {Key: what.what}, slotDrum: {Key: what.drum}, slotAt: {Number: float64(at.Unix())}}
	for i, slot := range []Slot{slotCharKg, slotBrandsKg} {
		if i < len(what.kg) && what.kg[i].unit != "" {
			slots[slot] = Value{Number: t.charKg(what.kg[i])}
		}
	}
	if len(what.waste) > 0 {
		slots[slotWaste] = Value{Key: strings.Join(what.waste, " ")}
	}
	return slots
}

// keptWaste is what an aside remembers to be said of the waste.
func (f *Frame) keptWaste() []string { return strings.Fields(f.Slots[slotWaste].Key) }

// keptKg is the charcoal and the half-burned pieces an aside remembers.
func (f *Frame) keptKg() (kg []amount) {
	for _, slot := range []Slot{slotCharKg, slotBrandsKg} {
		if v, ok := f.Slots[slot]; ok {
			kg = append(kg, amount{number: v.Number, unit: "kg"})
		}
	}
	return kg
}

// answerBurn takes a text as the answer to one of the burn's own questions.
func (t *turn) answerBurn(r reading, ev Said) bool {
	f := t.top()
	if f == nil {
		return false
	}
	key, picked := f.pick(r)
	if !picked {
		key, picked = f.named(r)
	}
	if !picked && topics[f.Topic].next == nil && f.Topic != lobby {
		key, picked = t.labelled(f, r, true) // as it was shown, word for word
	}
	drum := f.Slots[slotDrum].Key
	at := time.Unix(int64(f.Slots[slotAt].Number), 0)
	switch f.Open {
	case slotDoubt:
		if !picked {
			return false
		}
		what := told{what: f.Slots[slotReport].Key, drum: drum, kg: f.keptKg(), waste: f.keptWaste()}
		t.close()
		t.heard.Topic, t.heard.Understood, t.heard.Report = topicBurn, true, what.what
		if key == "done" {
			if what.what == reportCovered {
				at = t.reported(ev) // it may have been done since it was asked
			}
			t.stage(what, at)
		} else {
			t.answerQuestion(what)
		}
		return true
	case slotWhich:
		if !picked && r.whole("word.both") && f.Slots[slotReport].Key == reportCovered {
			t.close()
			t.heard.Topic, t.heard.Understood, t.heard.Report = topicBurn, true, reportCovered
			t.stage(told{what: reportCovered, all: true}, at)
			return true
		}
		if yes := r.whole("word.yes"); !picked && f.Slots[slotDrum].Key == keyAnother && len(f.Options) > 1 && (yes || r.whole("word.no")) {
			if key, picked = f.Options[1], true; yes {
				key = keyAnother
			}
		}
		if !picked {
			if key = t.drumAlone(r); key == "" {
				return false
			}
		}
		what := told{what: f.Slots[slotReport].Key, drum: key, kg: f.keptKg(), waste: f.keptWaste()}
		t.close()
		t.heard.Topic, t.heard.Understood, t.heard.Report = topicBurn, true, what.what
		if key == keyAnother {
			what.drum = t.nextName()
		}
		t.stage(what, at)
		return true
	case slotSmoke:
		for i, s := range r.spans {
			for _, n := range s.of("smoke") {
				key = r.smokeAt(i, n)
				picked = key != ""
			}
		}
		if !picked || t.reportsStage(r) {
			return false
		}
		t.close()
		t.heard.Topic, t.heard.Understood = topicBurn, true
		t.note(slotSmoke, Value{Key: key})
		t.smoke(drum, key)
		return true
	case slotSealed:
		if !picked && r.whole("word.yesterday") {
			key, picked = sealedYesterday, true
		}
		if !picked {
			return false
		}
		waste := f.keptWaste()
		t.close()
		t.heard.Topic, t.heard.Understood, t.heard.Report = topicBurn, true, reportOpened
		d := t.enter(drum, at)
		t.holds(d, waste)
		t.seal(d, sealedOn(at.In(t.place.Zone), key))
		t.opened(d, at, told{what: reportOpened})
		return true
	case slotInside:
		if !picked {
			key, picked = r.inside()
		}
		if !picked {
			return false
		}
		if key == "" { // what it is not says too little
			t.heard.Topic, t.heard.Understood = topicBurn, true
			t.resume()
			return true
		}
		t.close()
		t.heard.Topic, t.heard.Understood = topicBurn, true
		t.inside(drum, key)
		return true
	}
	return false
}

// inside reads how opened charcoal looks: the worst of what is said, and nothing
// where it is only said what it is not: charcoal without a glow may be warm. It
// returns false for a text about anything else.
func (r reading) inside() (key string, ok bool) {
	order := []string{"", "cold", "warm", "glow"}
	words := 0
	for i, s := range r.spans {
		said := ""
		switch state := s.of("state"); {
		case len(state) == 1 && !s.fuzzy:
			said, ok = state[0], true
		case s.is("smoke.none"):
			ok = true
		case s.is("smoke.flames"):
			said, ok = "glow", true
		case !r.belongs(s) && !s.is("word.yes") && !s.is("report.opened"):
			return "", false
		}
		if i > 0 && r.spans[i-1].to == s.from && r.denies(r.spans[i-1]) && said != "" {
			if said = ""; s.is("state.cold") {
				said = "warm"
			}
		}
		if slices.Index(order, said) > slices.Index(order, key) {
			key = said
		}
		words += s.to - s.from
	}
	return key, ok && words == len(r.tokens)
}

// denies reports whether a word turns what follows it round. After a comma it
// only answers: "no, it glows".
func (r reading) denies(s span) bool {
	none := s.is("smoke.none") && s.is("drum-past.none") // "hakuna": there is none, of whatever
	return (none || s.is("word.not") || s.is("word.no")) && !r.tokens[s.to-1].comma
}

// reportsStage reports whether a text is a report rather than a smoke answer.
func (t *turn) reportsStage(r reading) bool {
	return slices.ContainsFunc(r.spans, func(s span) bool { return s.in("report") && !s.fuzzy || s.in("question") && !s.fuzzy })
}

// drumAlone returns the drum a text names and says nothing else of: "b", "drum b".
// What says more is a question or a report of its own.
func (t *turn) drumAlone(r reading) string {
	if len(r.tokens) > 2 || t.reportsStage(r) || len(r.tokens) == 2 && !r.has("unit.drum") {
		return ""
	}
	return t.drumWord(r)
}

// drumWord returns the drum a text names.
func (t *turn) drumWord(r reading) string {
	for _, tok := range r.tokens {
		w := tok.word
		if tok.isNumber {
			w = strconv.FormatFloat(tok.number, 'f', -1, 64)
		}
		if n := t.drumNamed(w); n != "" {
			return n
		}
	}
	return ""
}

const keyAnother = "another"

// drum returns an open drum by its name.
func (t *turn) drum(name string) *Drum {
	for i := range t.s.Drums {
		if t.s.Drums[i].Name == name {
			return &t.s.Drums[i]
		}
	}
	return nil
}

// burning reports whether a drum is alight or sealed.
func (t *turn) burning() bool {
	return t.s.Burning()
}

// latestSealed returns the sealed drum that must wait longest.
func (t *turn) latestSealed() (Drum, bool) {
	var out Drum
	for _, d := range t.s.Drums {
		if d.Stage == stageSealed && d.NotBefore.After(out.NotBefore) {
			out = d
		}
	}
	return out, out.Name != ""
}

// busy reports whether a drum is alight, or sealed with its wait not over.
func (t *turn) busy() bool {
	return slices.ContainsFunc(t.s.Drums, func(d Drum) bool {
		return d.Stage == stageLit || d.Stage == stageSealed && t.w.Now.Before(d.NotBefore)
	})
}

// hot returns the drum that must stay shut longest from now on.
func (t *turn) hot() (Drum, bool) {
	d, ok := t.latestSealed()
	return d, ok && t.w.Now.Before(d.NotBefore)
}

// latestWait returns the latest not-before time of some drums.
func (t *turn) latestWait(drums []Drum) time.Time {
	var at time.Time
	for _, d := range drums {
		if d.NotBefore.After(at) {
			at = d.NotBefore
		}
	}
	return at
}

// nextName returns the first free letter.
func (t *turn) nextName() string {
	for c := 'A'; c < 'A'+maxDrums; c++ {
		if t.drum(string(c)) == nil {
			return string(c)
		}
	}
	return "A"
}

// wait is the binding wait of a waste; the longer one when it is not known.
func wait(waste string) calc.Hours {
	if f, err := calc.Feed(calc.Waste(waste)); err == nil {
		return f.BindingWait.Likely
	}
	return 24
}

// stage moves a drum by a report. Older questions beside the topics end.
func (t *turn) stage(what told, at time.Time) {
	t.s.Frames = slices.DeleteFunc(t.s.Frames, func(f Frame) bool {
		return f.Topic == topicStop || f.Topic == topicForget || f.Topic == topicDoubt || f.Topic == topicWhich || f.Topic == topicHurt || f.Topic == topicResume || f.Topic == topicSealed
	})
	if t.elements(what.what) {
		return
	}
	if what.what == reportLit {
		t.lit(what, at)
		return
	}
	if what.all && what.what == reportCovered && t.coveredAll(at, what.waste) {
		return
	}
	d, ok := t.pickDrum(what, at)
	if !ok {
		return
	}
	t.holds(d, what.waste)
	switch what.what {
	case reportCovered:
		t.covered(d, at)
	case reportLeak:
		t.leak(d, at)
	case reportOpened:
		t.opened(d, at, what)
	case reportWeighed:
		t.weighed(d, at, what)
	}
}

// pickDrum finds the drum a report is about. While two are open, a report
// without a name asks which; until then the latest time holds for all. A report
// without any drum known is placed: the drum is entered now.
func (t *turn) pickDrum(what told, at time.Time) (*Drum, bool) {
	if what.drum != "" {
		if d := t.drum(what.drum); d != nil {
			return d, true
		}
		return t.enter(what.drum, at), true
	}
	switch len(t.s.Drums) {
	case 0:
		return t.enter(t.nextName(), at), true
	case 1:
		return &t.s.Drums[0], true
	}
	if what.what == reportWeighed || what.what == reportOpened {
		var ready []int
		for i, d := range t.s.Drums {
			if what.what == reportWeighed && d.Stage == stageOpened {
				ready = append(ready, i)
			}
		}
		if len(ready) == 1 {
			return &t.s.Drums[ready[0]], true
		}
	}
	t.askWhich(what, at, false)
	return nil, false
}

// askWhich asks which drum a report is about, or whether it is about another.
func (t *turn) askWhich(what told, at time.Time, another bool) {
	slots := t.kept(what, at)
	if another {
		slots[slotDrum] = Value{Key: keyAnother}
	}
	t.aside(topicWhich, slots)
}

// whichDrum is the question about the drum a report means.
func (t *turn) whichDrum(another bool) question {
	q := question{slot: slotWhich, id: "burn.which"}
	if another {
		last := t.s.Drums[len(t.s.Drums)-1]
		q.id, q.args = "burn.another", locales.Args{"Drum": last.Name, "Time": t.clock(last.LitAt)}
		if last.LitAt.IsZero() {
			q.id, q.args = "burn.another-sealed", locales.Args{"Drum": last.Name, "Time": t.clock(last.SealedAt)}
		}
		q.options = []option{
			{key: keyAnother, label: "burn.another-yes", args: locales.Args{"Drum": t.nextName()}},
			{key: last.Name, label: "burn.another-no"},
		}
		return q
	}
	if d, ok := t.hot(); ok {
		q.id, q.args = "burn.which-wait", locales.Args{"When": t.when(d.NotBefore)}
	}
	for _, d := range t.s.Drums[:min(len(t.s.Drums), maxOptions)] {
		q.options = append(q.options, option{key: d.Name, label: "burn.drum", args: locales.Args{"Drum": d.Name}})
	}
	return q
}

// cold returns the place of a drum that needs no more following: one that was
// opened, or else one whose wait is over. It is -1 if all are hot.
func (t *turn) cold() int {
	if i := slices.IndexFunc(t.s.Drums, func(d Drum) bool { return d.Stage == stageOpened }); i >= 0 {
		return i
	}
	return slices.IndexFunc(t.s.Drums, func(d Drum) bool { return d.Stage == stageSealed && !t.w.Now.Before(d.NotBefore) })
}

// holds enters what a person says lies in a drum: one of some wastes, and nothing
// known if it is several. A wait that has begun only grows.
func (t *turn) holds(d *Drum, wastes []string) {
	if len(wastes) == 0 || slices.Contains(wastes, d.Waste) {
		return
	}
	d.Waste, d.FeedKg = "", 0
	if len(wastes) == 1 {
		d.Waste = wastes[0]
	}
	if d.Stage != stageSealed {
		return
	}
	if at := t.notBefore(d.SealedAt, wait(d.Waste)).UTC(); at.After(d.NotBefore) {
		d.NotBefore = at
		t.watch(d)
	}
}

// slotEntered holds how many drums of a recipe were entered, and its waste then.
const slotEntered Slot = "entered"

// corrected gives the drums of a recipe the waste it was corrected to.
func (t *turn) corrected(f *Frame) {
	was, now := f.Slots[slotEntered], f.Slots[slotWaste].Key
	if was.Number == 0 || now == "" || now == was.Key {
		return
	}
	for i := range t.s.Drums {
		d := &t.s.Drums[i]
		if d.Waste != was.Key || d.Stage == stageOpened {
			continue
		}
		before := d.NotBefore
		if t.holds(d, []string{now}); d.Stage == stageSealed && d.NotBefore.After(before) {
			t.say("burn.not-before", Answer, locales.Args{"Drum": d.Name, "When": t.when(d.NotBefore)})
		}
	}
	f.Slots[slotEntered] = Value{Key: now, Number: was.Number}
}

// enter adds a drum to the open ones, with what the last recipe knew. Of a drum
// more than the recipe was for it is not known what it holds.
func (t *turn) enter(name string, at time.Time) *Drum {
	d := Drum{Name: name, Stage: stageLit}
	if t.s.Wet { // also after other talk
		d.Moisture = float64(calc.Wet.Moisture().Likely)
	}
	if f := t.frameOf(topicRecipe); f != nil {
		d.Starch = f.Slots[slotStarch].Key
		if dry := f.Slots[slotDryness].Key; dry != "" {
			d.Moisture = float64(feelOf(dry).Moisture().Likely)
		}
		drums, feed := 1.0, 0.0
		if r, err := t.reckon(f); err == nil && r.Drums > 0 {
			drums, feed = float64(r.Drums), float64(r.Feed.Likely)
		}
		if entered := f.Slots[slotEntered].Number + 1; entered <= drums {
			d.Waste = f.Slots[slotWaste].Key
			f.Slots[slotEntered] = Value{Key: d.Waste, Number: entered}
			if f.Done && d.Waste != "" {
				d.FeedKg = feed / drums
			}
		}
	}
	if len(t.s.Drums) >= maxDrums {
		t.drop(t.s.Drums[max(t.cold(), 0)].Name)
	}
	t.s.Drums = append(t.s.Drums, d)
	return &t.s.Drums[len(t.s.Drums)-1]
}

// lit starts a drum's clock, or the clocks of several lit at once.
func (t *turn) lit(what told, at time.Time) {
	if what.drums > 1 && !t.busy() {
		for range what.drums {
			t.lit(told{what: reportLit, drum: t.nextName(), waste: what.waste}, at)
		}
		return
	}
	if d := t.coveredBefore(what, at); d != nil {
		d.LitAt = at.UTC().Truncate(time.Second)
		t.say("burn.sealed-already", Answer, locales.Args{"Drum": d.Name, "When": t.when(d.NotBefore)})
		return
	}
	full := len(t.s.Drums) >= maxDrums && t.cold() < 0
	switch {
	case what.drum == "" && full:
		t.say("burn.full", Answer, locales.Args{"Drums": maxDrums})
		return
	case what.drum == "" && t.busy():
		t.askWhich(what, at, true)
		return
	}
	if what.drum == "" {
		for _, d := range slices.Clone(t.s.Drums) { // their wait is over and nothing was said of them since
			t.drop(d.Name)
		}
	}
	name := what.drum
	if name == "" {
		name = t.nextName()
	}
	d := t.drum(name)
	switch {
	case d != nil && d.Stage == stageSealed && t.w.Now.Before(d.NotBefore):
		t.say("burn.sealed-already", Answer, locales.Args{"Drum": d.Name, "When": t.when(d.NotBefore)})
		if t.s.Stopped && t.w.Channel.Sends {
			d.Consent = true
			t.say("consent.burn-only", Answer, nil)
			t.timer(timerOpen, d.Name, d.NotBefore)
		}
		return
	case d != nil && d.Stage == stageLit && !d.LitAt.IsZero():
		t.say("burn.lit-already", Answer, locales.Args{"Drum": d.Name, "Time": t.clock(d.LitAt)})
		t.follow(d)
		return
	case d != nil:
		t.drop(d.Name)
	}
	if full {
		t.say("burn.full", Answer, locales.Args{"Drums": maxDrums})
		return
	}
	d = t.enter(name, at)
	t.holds(d, what.waste)
	d.LitAt = at.UTC().Truncate(time.Second)
	clock := calc.Clock(false)
	look := d.LitAt.Add(clock.Cover.Low.Duration())
	last := d.LitAt.Add(clock.Cover.High.Duration())
	if d.Moisture > nearlyWet {
		look, last = look.Add(smokeAgain), last.Add(smokeAgain)
	}
	d.NotBefore = t.notBefore(last, wait(d.Waste)).UTC() // until covering is reported
	args := locales.Args{"Drum": d.Name, "Time": t.clock(d.LitAt), "Look": t.clock(look), "Last": t.clock(last), "GoBy": ""}
	if t.w.Channel.Sends { // else nothing is promised that could stay away
		args["GoBy"] = t.text("burn.go-by", nil)
	}
	switch latest := t.place.latestLighting(d.LitAt.In(t.place.Zone), clock); {
	case t.isDark():
		t.say("burn.lit-dark", Answer, args)
	case t.w.Now.After(last):
		args["When"] = t.when(d.NotBefore)
		t.say("burn.lit-long", Answer, args)
	case d.LitAt.After(latest):
		t.say("burn.lit-late", Answer, args)
	case d.Moisture > nearlyWet:
		t.say("burn.lit-wet", Answer, args)
	default:
		t.say("burn.lit", Answer, args)
	}
	t.s.Given = slices.DeleteFunc(t.s.Given, func(id string) bool { return id == "caution.covering" })
	t.must("caution.covering")
	if !t.goodDrum(d.Name) {
		t.say("caution.drum-alight", Answer, nil)
	}
	if !t.fitToday() && len(t.out.Replies) < maxReplies {
		t.say("weather.care", Answer, nil)
	}
	t.follow(d)
}

// coveredBefore returns the one drum whose covering was reported and whose
// lighting was not, if it is told that it was lit before that.
func (t *turn) coveredBefore(what told, at time.Time) *Drum {
	if len(t.s.Drums) != 1 || what.drums > 1 || what.drum != "" && what.drum != t.s.Drums[0].Name {
		return nil
	}
	d := &t.s.Drums[0]
	if d.Stage != stageSealed || !d.LitAt.IsZero() || !at.Before(d.SealedAt) || !t.w.Now.Before(d.NotBefore) {
		return nil
	}
	return d
}

// follow sets the timers of a drum alight. After a STOP, LIT is consent for the
// messages of this burn, and the reply says so.
func (t *turn) follow(d *Drum) {
	if t.s.Stopped && t.w.Channel.Sends {
		d.Consent = true
		t.say("consent.burn-only", Answer, nil)
	}
	cover := calc.Clock(false).Cover
	look, last := d.LitAt.Add(cover.Low.Duration()), d.LitAt.Add(cover.High.Duration())
	if d.Moisture > nearlyWet {
		look, last = look.Add(smokeAgain), last.Add(smokeAgain)
	}
	for _, o := range []Timer{
		{Kind: timerSmoke, At: look},
		{Kind: timerCover, At: look.Add(smokeAgain)},
		{Kind: timerSilent, At: last.Add(30 * time.Minute)},
		{Kind: timerClose, At: d.NotBefore.Add(closeAfter)},
	} {
		if o.At.After(t.w.Now) {
			t.timer(o.Kind, d.Name, o.At)
		}
	}
}

// nearlyWet is a moisture (wet basis) above which the smoke stays white longer.
const nearlyWet = 0.18

// timer sets a timer of a drum, if the channel can use it.
func (t *turn) timer(kind, drum string, at time.Time) {
	if d := t.drum(drum); !t.w.Channel.Sends || t.s.Stopped && (d == nil || !d.Consent) {
		return
	}
	t.set(Timer{ID: TimerID(kind + ":" + drum), At: at, Kind: kind, Drum: drum})
}

// untime takes the timers of some kinds away from a drum.
func (t *turn) untime(drum string, kinds ...string) {
	for _, k := range kinds {
		t.clear(TimerID(k + ":" + drum))
	}
}

// drop takes a drum off the list.
func (t *turn) drop(name string) {
	t.untime(name, timerSmoke, timerCover, timerSilent, timerHold, timerOpen, timerWeigh, timerClose)
	t.s.Drums = slices.DeleteFunc(t.s.Drums, func(d Drum) bool { return d.Name == name })
	t.s.Frames = slices.DeleteFunc(t.s.Frames, func(f Frame) bool {
		if topics[f.Topic].next != nil || f.Topic == lobby {
			return false
		}
		_, asked := t.asideQuestion(&f)
		return !asked // it was about this drum
	})
}

// covered starts the binding wait. Of two possible sealing times the later
// counts.
func (t *turn) covered(d *Drum, at time.Time) {
	if d.Stage == stageOpened {
		t.resealed(d, "burn.resealed")
		return
	}
	if at.Before(d.LitAt) {
		at = t.w.Now // nobody covered it before it was lit
	}
	if d.Stage != stageSealed || at.After(d.SealedAt) {
		t.seal(d, at)
	}
	text := t.text("burn.covered-at", locales.Args{"Drum": d.Name, "Time": t.clock(d.SealedAt)})
	t.add(Reply{Key: "burn.wait", Text: text + "\n" + t.text("burn.wait", locales.Args{"When": t.when(d.NotBefore)}), Urgency: Answer, Keep: true})
	t.say("caution.opening", Answer, nil)
	if t.w.Channel.Sends {
		return
	}
	t.say("caution.glowing", Answer, nil)
}

// coveredAll covers every drum that is alight; it returns false if none is.
func (t *turn) coveredAll(at time.Time, waste []string) bool {
	any := false
	for i := range t.s.Drums {
		if d := &t.s.Drums[i]; d.Stage == stageLit {
			t.holds(d, waste)
			t.covered(d, at)
			any = true
		}
	}
	return any
}

// seal enters the sealing time and sets the timers of the wait.
func (t *turn) seal(d *Drum, at time.Time) {
	d.Stage, d.SealedAt = stageSealed, at.UTC().Truncate(time.Second)
	d.NotBefore = t.notBefore(d.SealedAt, wait(d.Waste)).UTC()
	d.OpenedAt = time.Time{}
	t.untime(d.Name, timerSmoke, timerCover, timerSilent, timerWeigh)
	t.s.Frames = slices.DeleteFunc(t.s.Frames, func(f Frame) bool {
		return f.Slots[slotDrum].Key == d.Name && (f.Topic == topicSmoke || f.Topic == topicInside)
	})
	t.watch(d)
}

// watch sets the timers of a sealed drum.
func (t *turn) watch(d *Drum) {
	t.timer(timerHold, d.Name, d.SealedAt.Add(holdAfter))
	t.timer(timerOpen, d.Name, d.NotBefore)
	t.timer(timerClose, d.Name, d.NotBefore.Add(closeAfter))
}

// resealed starts the whole wait again, from now on: whatever time was told, the
// drum is shut only after this answer.
func (t *turn) resealed(d *Drum, id locales.ID) {
	d.Resealed++
	t.seal(d, t.w.Now)
	t.say(id, Safety, locales.Args{"Drum": d.Name, "When": t.when(d.NotBefore)})
	t.say("caution.glowing", Answer, nil)
}

// leak tells how to close a leak; the wait counts from then.
func (t *turn) leak(d *Drum, at time.Time) {
	if d.Stage == stageLit {
		t.say("burn.leak-lit", Answer, nil)
		return
	}
	d.Resealed++ // its air is nothing to learn a covering time from
	if t.isDark() {
		t.seal(d, t.daylight()) // nobody goes there before
		t.say("burn.dark", Answer, nil)
		t.say("burn.wait", Answer, locales.Args{"When": t.when(d.NotBefore)})
		return
	}
	t.seal(d, at)
	t.say("burn.leak", Answer, locales.Args{"Drum": d.Name, "When": t.when(d.NotBefore)})
}

// opened meets an opening: too early it is closed again at once; in time the
// line asks how it looks inside.
func (t *turn) opened(d *Drum, at time.Time, what told) {
	if d.Stage == stageOpened { // the caution came with the first report
		t.askInside(d)
		return
	}
	if d.NotBefore.IsZero() { // neither lighting nor covering was reported
		name := d.Name
		if f := t.frameOf(topicRecipe); f != nil && f.Slots[slotEntered].Number > 0 && d.Waste != "" {
			v := f.Slots[slotEntered]
			v.Number-- // it is entered again when the answer comes
			f.Slots[slotEntered] = v
		}
		t.drop(name)
		t.askSealed(name, at, what)
		return
	}
	if at.Before(d.NotBefore) {
		t.resealed(d, "burn.opened-early")
		return
	}
	d.Stage, d.OpenedAt = stageOpened, at.UTC().Truncate(time.Second)
	if what.hot {
		t.resealed(d, "burn.still-hot")
		return
	}
	t.untime(d.Name, timerSmoke, timerCover, timerSilent, timerHold, timerOpen)
	t.say("caution.glowing", Answer, nil)
	t.askInside(d)
	t.timer(timerWeigh, d.Name, d.OpenedAt.Add(weighAfter))
}

// askSealed asks when a drum the line knows nothing of was sealed.
func (t *turn) askSealed(name string, at time.Time, what told) {
	t.say("caution.glowing", Answer, nil)
	what.drum = name
	t.aside(topicSealed, t.kept(what, at))
}

const (
	sealedToday     = "today"
	sealedYesterday = "yesterday"
	sealedBefore    = "before"
)

// sealedOn returns the latest moment a drum opened at a time can have been
// sealed on that day: of two possible times the later counts.
func sealedOn(at time.Time, day string) time.Time {
	switch day {
	case sealedBefore:
		return midnight(at).Add(-30 * time.Hour)
	case sealedYesterday:
		return midnight(at).Add(-6 * time.Hour)
	default:
		return at
	}
}

// askInside asks whether the opened charcoal is cold through.
func (t *turn) askInside(d *Drum) {
	t.aside(topicInside, Slots{slotDrum: {Key: d.Name}})
}

// inside answers how the charcoal looks after opening.
func (t *turn) inside(name, state string) {
	d := t.drum(name)
	if d == nil {
		t.say("burn.none", Answer, nil)
		return
	}
	if state != "cold" {
		t.resealed(d, "burn.still-hot")
		return
	}
	spread := locales.ID("burn.spread")
	if t.isDark() {
		spread = "burn.spread-dark"
	}
	t.say(spread, Answer, locales.Args{"When": t.when(d.OpenedAt.Add(24 * time.Hour))})
	t.say("caution.storing", Answer, nil)
}

// weighed closes the drum's clock and gives the paste for the real charcoal.
func (t *turn) weighed(d *Drum, at time.Time, what told) {
	if d.Stage != stageOpened {
		if !d.NotBefore.IsZero() && at.Before(d.NotBefore) {
			t.resealed(d, "burn.opened-early")
			return
		}
		if d.LitAt.IsZero() && d.SealedAt.IsZero() {
			// A heap from a burn the line did not follow: only the paste is asked for.
			t.drop(d.Name)
			t.bindFrame("", what)
			return
		}
		d.Stage, d.OpenedAt = stageOpened, at.UTC().Truncate(time.Second)
	}
	if len(what.kg) == 0 || t.charKg(what.kg[0]) > limits[slotCharKg].usual {
		name := d.Name // the record waits for a weight to be believed
		f := t.bindFrame(d.Starch, what)
		f.Slots[slotDrum] = Value{Key: name}
		return
	}
	t.record(*d, t.charKg(what.kg[0]), t.brandsKg(what.kg), at)
	starch := d.Starch
	t.drop(d.Name)
	f := t.bindFrame(starch, what)
	f.Slots[slotRecorded] = Value{Number: float64(at.Unix())}
}

// slotRecorded holds when the charcoal of a paste was entered into the record.
const slotRecorded Slot = "recorded"

// correctRecord enters a corrected weight into the record: "no, 7 kg".
func (t *turn) correctRecord(f *Frame) {
	if n := len(t.s.Batches); n > 0 && f.has(slotRecorded) && t.s.Batches[n-1].At.Unix() == int64(f.Slots[slotRecorded].Number) {
		t.s.Batches[n-1].CharKg = t.charOf(f)
	}
}

// charKg turns an amount of charcoal into kilograms.
func (t *turn) charKg(a amount) float64 {
	if a.unit == "bucket" {
		a.unit = "tin"
	}
	for _, c := range containers {
		if c.unit == a.unit && t.volume(c) > 0 {
			return a.number * charPerLitre * float64(t.volume(c))
		}
	}
	return a.number
}

// charPerLitre is the loose density of cob char, 100 kg to the cubic metre
// (common practice, no source).
const charPerLitre = 0.1

// brandsKg is the second weight of a report: the half-charred pieces.
func (t *turn) brandsKg(kg []amount) float64 {
	if len(kg) < 2 {
		return 0
	}
	return kg[1].number
}

// maxBatches is how many finished batches a conversation remembers.
const maxBatches = 12

// record keeps a finished batch.
func (t *turn) record(d Drum, charKg, brandsKg float64, at time.Time) {
	if charKg <= 0 || charKg > limits[slotCharKg].usual {
		return
	}
	b := Batch{At: at.UTC().Truncate(time.Second), Name: d.Name, Waste: d.Waste, Drums: 1, FeedKg: d.FeedKg, CharKg: charKg, BrandsKg: brandsKg, Moisture: d.Moisture}
	if !d.LitAt.IsZero() && !d.SealedAt.IsZero() && d.Resealed == 0 {
		b.Minutes = d.SealedAt.Sub(d.LitAt).Minutes()
	}
	t.s.Batches = append(t.s.Batches, b)
	if n := len(t.s.Batches); n > maxBatches {
		t.s.Batches = t.s.Batches[n-maxBatches:]
	}
}

// elements answers what happens to a drum, reported or asked alike: rain, wind,
// the dark, and a fire gone out. It returns false for anything else.
func (t *turn) elements(what string) bool {
	switch what {
	case reportRain:
		t.rain()
	case reportWind:
		t.wind()
	case reportDark:
		t.dark()
	case reportOut:
		t.fireOut()
	case reportWater:
		t.say("caution.glowing", Answer, nil)
		if d, ok := t.hot(); ok {
			t.say("burn.not-before", Answer, locales.Args{"Drum": d.Name, "When": t.when(d.NotBefore)})
		}
	default:
		return false
	}
	return true
}

// rain answers rain at every stage.
func (t *turn) rain() {
	t.say("burn.rain", Answer, nil)
	if !t.burning() {
		t.say("dry.rain", Answer, nil)
		return
	}
	t.sayBoth("burn.wait", "burn.rain-lit")
}

// sayBoth says a line about the drum that stays shut the longest, and one about
// a drum alight. In the dark nobody works at the latter.
func (t *turn) sayBoth(sealed, lit locales.ID) {
	d, shut := t.latestSealed()
	if shut && t.isDark() {
		sealed = "burn.wait"
	}
	if shut {
		t.say(sealed, Answer, locales.Args{"When": t.when(d.NotBefore)})
	}
	switch _, alight := t.litDrum(); {
	case alight && t.isDark():
		t.say("burn.dark", Answer, nil)
	case alight:
		t.say(lit, Answer, nil)
	}
}

// wind answers strong wind.
func (t *turn) wind() {
	if !t.burning() {
		t.say("burn.wind", Answer, nil)
		return
	}
	t.sayBoth("burn.wind-sealed", "burn.wind-lit")
}

// dark answers a person for whom it got dark.
func (t *turn) dark() {
	d, sealed := t.latestSealed()
	if sealed {
		t.say("burn.wait", Answer, locales.Args{"When": t.when(d.NotBefore)})
	}
	if _, alight := t.litDrum(); alight || !sealed {
		t.say("burn.dark", Answer, nil)
	}
}

// fireOut answers a fire that went out before its time.
func (t *turn) fireOut() {
	_, lit := t.litDrum()
	if d, sealed := t.latestSealed(); sealed && !lit {
		t.say("burn.wait", Answer, locales.Args{"When": t.when(d.NotBefore)})
		return
	}
	if t.isDark() {
		t.dark()
		return
	}
	t.say("burn.fire-out", Answer, nil)
}

// answerQuestion answers a question about a burn, never with yes.
func (t *turn) answerQuestion(what told) {
	if t.elements(what.what) {
		return
	}
	lit, isLit := t.litDrum()
	d, isSealed := t.latestSealed()
	if named := t.drum(what.drum); named != nil {
		isLit, isSealed = named.Stage == stageLit, named.Stage == stageSealed
		d, lit = *named, *named
	}
	switch {
	case what.what == reportLit:
		if !t.fitToday() {
			t.say("weather.no-light", Answer, locales.Args{"Days": t.day(t.now)})
		}
		t.say("burn.may-light", Answer, nil)
	case what.what == reportLeak && t.isDark():
		t.dark()
	case what.what == reportLeak:
		t.say("burn.leak-lit", Answer, nil)
		if isSealed && t.w.Now.Before(d.NotBefore) {
			t.say("burn.not-before", Answer, locales.Args{"Drum": d.Name, "When": t.when(d.NotBefore)})
		}
	case isLit && t.isDark():
		t.say("burn.dark", Answer, nil)
	case isLit && (what.what == reportCovered || !isSealed):
		t.say("burn.cover-sign", Answer, locales.Args{"When": t.when(lit.NotBefore)})
		t.must("caution.covering")
	case isSealed && t.w.Now.Before(d.NotBefore):
		t.say("burn.not-before", Answer, locales.Args{"Drum": d.Name, "When": t.when(d.NotBefore)})
		t.say("caution.opening", Answer, nil)
	case isSealed && t.isDark():
		t.say("burn.dark", Answer, nil)
	case isSealed:
		t.say("burn.may-open", Answer, locales.Args{"Drum": d.Name, "When": t.when(d.NotBefore)})
		t.say("caution.glowing", Answer, nil)
	case len(t.s.Drums) > 0:
		t.say("burn.weigh", Answer, locales.Args{"Drum": t.s.Drums[0].Name})
	case what.what == reportOpened || what.what == reportReady:
		t.say("burn.shut-first", Answer, nil) // it may be sealed without a word of it
	default:
		t.say("burn.no-drum", Answer, nil)
	}
}

// litDrum returns the drum alight that must wait longest.
func (t *turn) litDrum() (Drum, bool) {
	var out Drum
	for _, d := range t.s.Drums {
		if d.Stage == stageLit && (out.Name == "" || d.NotBefore.After(out.NotBefore)) {
			out = d
		}
	}
	return out, out.Name != ""
}

// must says a caution unless this burn was told it already.
func (t *turn) must(id locales.ID) {
	if slices.Contains(t.s.Given, string(id)) {
		return
	}
	t.s.Given = append(t.s.Given, string(id))
	t.say(id, Answer, nil)
}

// smokeWords is how a word for the smoke is taken when it is not the digit of an
// option: flames of unknown height are no sign to cover, and thick smoke waits.
var smokeWords = map[string]string{
	"white": "white", "much": "white", "yellow": "yellow", "flames": "yellow", "grey": "grey", "thin": "thin", "blue": "blue", "none": "none",
}

// smoke answers what the smoke looks like.
func (t *turn) smoke(name, look string) {
	d := t.drum(name)
	if d == nil || d.Stage != stageLit {
		t.say("burn.none", Answer, nil)
		return
	}
	if t.isDark() {
		t.say("burn.dark", Answer, nil)
		return
	}
	again := t.w.Now.Add(smokeAgain)
	args := locales.Args{"Drum": d.Name, "Time": t.clock(again)}
	switch look {
	case "thin", "blue", "none", "grey", "flames": // low flames, as the option says
		t.untime(d.Name, timerSmoke)
		t.timer(timerCover, d.Name, again)
		t.say("burn.cover-now", Answer, args)
		t.must("caution.covering")
	case "yellow":
		t.say("burn.smoke-yellow", Answer, args)
		t.timer(timerSmoke, d.Name, again)
		t.untime(d.Name, timerCover)
	default:
		t.say("burn.smoke-white", Answer, args)
		t.timer(timerSmoke, d.Name, again)
		t.untime(d.Name, timerCover)
	}
}

// isDark reports whether it is too dark to work at a drum.
func (t *turn) isDark() bool {
	rise := t.place.firstLight(t.now)
	if t.now.Before(rise) {
		return true
	}
	if t.place.sun() {
		if sun, err := calc.SunTimes(t.place.Lat, t.place.Lon, t.now); err == nil && !sun.Set.IsZero() {
			return t.now.After(sun.Set)
		}
	}
	return t.now.After(midnight(t.now).Add(anywhereCloses + time.Hour))
}

// daylight returns the next first light.
func (t *turn) daylight() time.Time {
	if rise := t.place.firstLight(t.now); t.now.Before(rise) {
		return rise
	}
	return t.place.firstLight(t.now.AddDate(0, 0, 1))
}

// when writes a day and a clock time, such as "Tuesday 7:30".
func (t *turn) when(at time.Time) string {
	at = at.In(t.place.Zone)
	return t.text("when.day", locales.Args{"Day": t.text(locales.ID("day."+strings.ToLower(at.Weekday().String()[:3])), nil), "Time": t.clock(at)})
}
