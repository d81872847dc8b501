package dialog

import (
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"cobline/locales"
)

const (
	lobby             = "lobby" // the frame of a person who has not said what they want
	slotLanguage Slot = "language"
	slotMenu     Slot = "menu"
	slotForget   Slot = "forget"
	slotStop     Slot = "stop"
	keyCall           = "call"
	keySend           = "send"
	slotStuck    Slot = "stuck"
	topicStuck        = "stuck"
	keyLanguage       = "lang."
	keyTopic          = "topic."
	longAbsence       = 120 * 24 * time.Hour
	aidGoesOn         = 2 * time.Hour
)

// said answers a text: emergency of tier A, then opt-out, then tier B, then the
// words of command, then the dialogue.
func (t *turn) said(ev Said) {
	t.via = ev.Via
	ev.Text = strings.ToValidUTF8(ev.Text, "\uFFFD") // what is kept must be readable again
	if !t.s.Seen.IsZero() && t.w.Now.Sub(t.s.Seen) > longAbsence {
		t.away()
	}
	rest, found := t.keepSecret(ev.Text)
	ev.Text = t.whoSpeaks(rest)
	t.settleLanguage(ev.Text)
	r := t.read(ev.Text)
	em := r.emergency()
	if t.smokeOpen() && r.smokeAnswer() || r.whole("word.hurt") {
		em = emergencyIn{}
	}
	if em.tier == "b" && t.shownWords(r) {
		em = emergencyIn{}
	}
	if em.tier == "" && t.barePoison(r) {
		em = emergencyIn{tier: "b", kinds: []string{kindChemical}}
	}
	if em.tier == "a" {
		back := t.aidIn(ev.Text)
		t.overrideWith(em.kinds)
		back()
		t.askBehind()
		if t.optOut(r) || r.beginsWithStop() {
			t.stopBeside()
		}
		t.meet()
		return
	}
	if t.optOut(r) {
		switch {
		case r.whole("word.stop") && t.stopped() && t.via == SMS:
			t.heard.Understood = true // it was confirmed; a screen cannot stay empty
		case r.whole("word.stop") || !t.burning():
			t.stop()
		default:
			t.askStop()
		}
		t.meet()
		return
	}
	if em.tier == "b" {
		t.heard.Emergency, t.heard.Tier = em.kinds[0], "b"
		back := t.aidIn(ev.Text)
		t.say(firstAid[em.kinds[0]], Emergency, nil)
		t.say("aid.hurt", Emergency, nil)
		back()
	}
	before := len(t.out.Replies)
	if t.office(r, ev, found) {
		t.heard.Topic, t.heard.Understood, t.s.Seen = topicOffice, true, t.seen()
		return
	}
	switch {
	case em.tier == "b" && (em.kinds[0] == kindGas && r.has("symptom.smells") || em.kinds[0] == kindChemical && t.barePoison(r)):
		t.heard.Understood = true // the word was about the danger
		if t.burning() {
			t.burnStatus(nil)
		}
	default:
		t.converse(r, ev)
		t.warnedBeside(r, before)
	}
	if em.tier == "b" {
		t.keepAid(before)
		t.askBehind()
	}
	if t.heard.Understood && !slices.ContainsFunc(t.out.Replies, func(r Reply) bool { return r.Key == "ask.stuck" }) {
		t.s.Frames = slices.DeleteFunc(t.s.Frames, func(f Frame) bool { return f.Topic == topicStuck })
	}
	if len(t.out.Replies) > 0 {
		t.keysOnly(r)
	}
	t.greet()
	if !t.erased {
		t.meet()
	}
}

// meet notes that the person wrote. Who left and writes again may be given one
// reply by an officer.
func (t *turn) meet() {
	t.s.Met, t.s.Seen = true, t.seen()
	t.s.Owed = t.s.Stopped && !t.heard.OptOut
}

// seen is the time of this text, as the state keeps it.
func (t *turn) seen() time.Time { return t.w.Now.UTC().Truncate(time.Second) }

// keepAid drops what tier B leaves no room for: the line comes first and the
// ordinary answer follows, in at most three messages. An answer that only says
// it did not understand is left out.
func (t *turn) keepAid(before int) {
	if !t.heard.Understood {
		t.out.Replies = t.out.Replies[:before]
		t.heard.Understood = true
		return
	}
}

// settleLanguage picks the session's language. A person who chose one keeps it;
// for others the words decide, but never one stray word, and never while a drum
// is open. Whoever writes the same language in another script is answered in it.
func (t *turn) settleLanguage(text string) {
	if l, ok := t.otherScript(text); ok {
		t.s.Lang, t.lang = l, l
		return
	}
	if t.s.Chosen || len(t.s.Drums) > 0 && t.s.Lang != "" {
		return
	}
	best, clear := t.e.lexicons.language(t.look(text), t.languages())
	if !clear {
		best, clear = t.inScript(text)
	}
	switch {
	case !clear || !t.speaks(best):
	case t.s.Lang == "":
		t.lang = best
		if t.fresh {
			t.s.Lang = best
		}
	case best != t.s.Lang && len(strings.Fields(text)) > 1:
		t.s.Lang, t.lang = best, best
	}
	if t.s.Lang == "" {
		t.s.Lang = t.lang
	}
}

// otherScript returns the person's language in the letters of a text, if these are
// others than the line has written to them in.
func (t *turn) otherScript(text string) (locales.Lang, bool) {
	script := locales.Written(text)
	if script == nil || script == locales.Script(t.lang) {
		return "", false
	}
	for _, l := range t.languages() {
		if locales.Kin(l, t.lang) && locales.Script(l) == script && t.speaks(l) {
			return l, true
		}
	}
	return "", false
}

// inScript returns the one language switched on that is written in the letters of a
// text, or, if there is none, the one that can be.
func (t *turn) inScript(text string) (best locales.Lang, clear bool) {
	script := locales.Written(text)
	if script == nil {
		return "", false
	}
	for _, able := range []bool{false, true} {
		for _, l := range t.languages() {
			fits := locales.Script(l) == script
			if able {
				fits = slices.ContainsFunc(t.e.lexicons.order, func(o locales.Lang) bool { return locales.Kin(l, o) && locales.Script(o) == script })
			}
			if fits {
				best, clear = l, best == "" || locales.Kin(l, best)
			}
		}
		if best != "" {
			return best, clear
		}
	}
	return "", false
}

// speaks reports whether this language may be sent: the operator has switched it
// on, and there are messages of it.
func (t *turn) speaks(l locales.Lang) bool {
	return slices.Contains(t.languages(), l) && t.e.catalog.Has(l, "line.menu")
}

// languages returns the languages that may be sent.
func (t *turn) languages() []locales.Lang {
	if t.w.Facts == nil || len(t.w.Facts.Langs) == 0 {
		return t.e.free
	}
	return t.w.Facts.Langs
}

// smokeOpen reports whether the open question is about the smoke.
func (t *turn) smokeOpen() bool {
	f := t.top()
	return f != nil && f.Open == slotSmoke
}

// converse answers an ordinary text.
func (t *turn) converse(r reading, ev Said) {
	if len(t.s.Alerts) > 0 && (r.whole("word.seen") || r.whole("word.ok")) {
		t.sawAlert()
		return
	}
	if t.begin(ev) || t.command(r) || t.polite(r) || t.warned(r) {
		t.s.Fails = 0
		return
	}
	if t.answerLabel(r, true) || t.report(r, ev) {
		t.s.Fails = 0
		t.heard.Understood = true
		return
	}
	if t.written(r, true) || t.asksDryness(r) || t.answerOpen(r) || t.fillTopic(r) || t.answerLabel(r, false) || t.written(r, false) {
		t.s.Fails, t.s.Puzzled = 0, ""
		t.heard.Understood = true
		return
	}
	if _, thanks := r.courtesy(); thanks && t.asking() && !t.aiding() {
		t.heard.Understood = true // thanks are no answer, and no failure either
		t.resume()
		return
	}
	if t.warnedOf(r) {
		return
	}
	t.puzzled(r.text)
}

// asksDryness answers a question about how dry the waste of the last recipe is:
// with the days it needs if it is wet, else with the test. Who was refused for
// wet waste and asks about drying means that waste.
func (t *turn) asksDryness(r reading) bool {
	f := t.frameOf(topicRecipe)
	briquettes := func(o token) bool {
		return t.wordMeans(o.word, "unit.piece")
	}
	if f == nil || !f.Done || r.hasFamily("waste") || slices.ContainsFunc(r.tokens, briquettes) {
		return false
	}
	wet := f.Slots[slotDryness].Key == "wet" || f.Slots[slotDryness].Key == "too-wet"
	top := t.top()
	if n := len(t.s.Frames); top.Topic == lobby && n > 1 {
		top = &t.s.Frames[n-2] // the row of languages lies on the first answer
	}
	switch named := t.named(r); {
	case named == "" && r.asks() && r.hasFamily("dryness"):
	case wet && f == top && (named == topicDrying || named == topicWasteDrying):
		t.heard.Topic, t.s.More = topicWasteDrying, nil
		t.wasteDrying(f)
		return true
	case wet && f == top && named == topicBurn: // "what if I burn them now"
	default:
		return false
	}
	t.heard.Topic = topicRecipe
	if wet {
		t.advance(f)
	} else {
		t.sayTest(f)
	}
	return true
}

// asking reports whether a question waits for its answer.
func (t *turn) asking() bool {
	f := t.top()
	return f != nil && f.Open != "" && f.Topic != lobby && !f.Done
}

// polite answers a greeting with where things stand, and thanks with a kind
// word. An open question stays open.
func (t *turn) polite(r reading) bool {
	courteous, thanks := r.courtesy()
	switch {
	case !courteous || t.asking():
		return false
	case thanks && t.aiding():
		t.say("aid.go-on", Emergency, nil)
	case thanks:
		t.say("line.kind", Answer, nil)
	case t.burning():
		t.burnStatus(nil)
	default:
		t.menu()
	}
	t.heard.Understood = true
	return true
}

// warned answers what nobody may do, asked or told: to burn plastic, to cut an old
// drum or to wash one and use it, to bring charcoal or a drum indoors, to sleep or
// cook beside its gas, to let a child press. An open question stays open.
func (t *turn) warned(r reading) bool {
	hot, f := t.burning(), t.top()
	reports := func(s span) bool { return s.in("report") && !s.is("report.dark") }
	switch {
	case slices.ContainsFunc(r.spans, reports):
		return false // the line about rain speaks of the house too
	case r.has("thing.plastic") && (f == nil || f.Open != slotQuestion):
		t.say("caution.drum", Answer, nil)
	case r.hasFamily("waste"):
		return false
	case r.has("thing.cutting"):
		t.say("caution.drum", Answer, nil)
	case r.has("thing.indoors"), r.has("thing.moving") && hot:
		t.say("caution.storing", Answer, nil)
		if d, ok := t.hot(); ok {
			t.say("burn.wait", Answer, locales.Args{"When": t.when(d.NotBefore)})
		} else if !hot {
			t.say("caution.buyers", Answer, nil)
		}
	case r.has("topic.pressing") && r.kept() && !r.hasWeight() && !r.hasFamily("starch"): // "can kids press", and not "with cow dung"
		t.say("caution.people", Answer, nil)
	default:
		return false
	}
	t.heard.Understood = true
	return true
}

// warnedOf says who stays away from a drum, to a text that names a child, a
// pregnant woman or an animal and is not understood otherwise.
func (t *turn) warnedOf(r reading) bool {
	if !r.kept() || t.aiding() {
		return false
	}
	t.say("caution.people", Answer, nil)
	t.heard.Understood = true
	return true
}

// warnedBeside says it before the answer to a question that names a child or a
// pregnant woman, if there is room.
func (t *turn) warnedBeside(r reading, before int) {
	people := Reply{Key: "caution.people", Text: t.text("caution.people", nil), Urgency: Answer}
	said := func(o Reply) bool { return o.Key == people.Key }
	if r.kept() && (r.asks() || r.hasFamily("question") || r.has("topic.burn")) && t.heard.Tier == "" && len(t.out.Replies) < maxReplies && !slices.ContainsFunc(t.out.Replies, said) {
		t.out.Replies = slices.Insert(t.out.Replies, before, people)
	}
}

// kept reports whether a text names somebody who is to be kept away from a drum.
func (r reading) kept() bool {
	near := func(s span) bool { return s.is("person.child") || s.is("person.pregnant") || s.is("person.animal") }
	young := func(a amount) bool { return a.unit == "year" && a.number < ofAge }
	return slices.ContainsFunc(r.safety, near) || slices.ContainsFunc(r.sums, young)
}

// ofAge is the age from which a person may do hazardous work (ILO convention 138,
// article 3).
const ofAge = 18

// barePoison reports whether a text is nothing but a word for poison, and
// not the answer to what a drum held.
func (t *turn) barePoison(r reading) bool {
	f := t.top()
	asked := f != nil && (f.Open == slotDrumPast || f.Open == slotHurt)
	return r.has("drum-past.poison") && !asked && len(r.tokens) == 1 && !r.has("unit.drum") && !r.hasFamily("waste")
}

// command obeys the words that are always understood. They count only when they
// are the whole text.
func (t *turn) command(r reading) bool {
	f := t.top()
	digits := f != nil && len(f.Options) > 0
	n, isDigit := r.digit()
	pressed := func(d int) bool { return digits && isDigit && n == d && (d == 0 || len(f.Options) < d) } // else it is an option
	key := func(d int, word string) bool { return pressed(d) || r.whole(word) }
	switch {
	case key(9, "word.hurt"):
		t.hurtMenu()
	case key(0, "word.menu"):
		t.menu()
	case key(7, "word.back"):
		t.back()
	case key(8, "word.more"):
		t.more()
	case r.whole("word.help"):
		t.say("line.help", Answer, nil)
		if t.w.Channel.Sends {
			t.appendText("line.help-call")
		}
	case r.whole("word.why"):
		t.why()
	case r.whole("word.language"):
		t.askLanguage()
	case r.whole("word.start"):
		t.restart()
	case r.whole("word.forget-me"):
		t.askForget()
	case r.whole("word.not-me"):
		t.notMe()
	case r.whole("word.call") && t.w.Channel.Sends:
		t.callBack()
	default:
		langs := r.languages()
		switch len(langs) {
		case 0:
			return false
		case 1:
			t.speak(langs[0])
		default:
			t.askLanguage()
		}
	}
	t.heard.Understood = true
	return true
}

// languages returns the languages that a text names, if it says nothing else:
// "kiswahili", "french please", "हिन्दी में". A name that is that of a language in
// two scripts is the one in the letters it is written in.
func (r reading) languages() []locales.Lang {
	var out []locales.Lang
	covered := 0
	for _, s := range r.spans {
		names := s.of("lang")
		switch {
		case len(names) > 0 && !s.fuzzy:
			if len(names) > 1 {
				script := locales.Written(r.text)
				names = slices.DeleteFunc(names, func(l string) bool { return locales.Script(locales.Lang(l)) != script })
			}
			for _, l := range names {
				if !slices.Contains(out, locales.Lang(l)) {
					out = append(out, locales.Lang(l))
				}
			}
		case s.is("word.filler"), s.is("word.language"), s.is("word.ok"), s.is("word.greeting"):
		default:
			return nil
		}
		covered += s.to - s.from
	}
	if covered < len(r.tokens) {
		return nil
	}
	return out
}

// restart brings the messages back, those of a hot drum with them.
func (t *turn) restart() {
	if !t.s.Asked.IsZero() {
		t.s.Stranger = 0 // they say that they are there
	}
	switch {
	case t.s.Stopped || !t.s.Asked.IsZero():
		t.say("consent.started", Answer, nil)
	case t.s.Profile.Consent == "":
		t.start(topicEnrol) // nobody stopped: they want to join
		return
	default:
		t.menu()
	}
	t.s.Stopped = false
	if o := t.w.Officer; o != nil && o.Open && o.Digest {
		t.setDigest()
	}
	for i := range t.s.Drums {
		switch d := &t.s.Drums[i]; d.Stage {
		case stageLit:
			t.follow(d)
		case stageSealed:
			t.watch(d)
		}
	}
}

// appendText adds messages to the end of the last reply: how to change what was
// assumed, and the one next step.
func (t *turn) appendText(ids ...locales.ID) {
	for _, id := range ids {
		t.out.Replies[len(t.out.Replies)-1].Text += " " + t.text(id, nil)
	}
}

// optOut reports whether the text asks to be left alone: STOP at once in every
// language; another word only as the whole text, in the session's language, and
// only if the open question does not take it as an answer.
func (t *turn) optOut(r reading) bool {
	if r.whole("word.stop") {
		t.heard.OptOut = true
		return true
	}
	f := t.top()
	if f != nil && f.Open == slotStop || !r.whole("word.stop-local") {
		return false
	}
	own := t.e.lexicons.words[t.lang].main.means(r.tokens, "word.stop-local")
	for _, v := range t.taught().in(t.lang, t.place.Key) {
		own = own || v.main.means(r.tokens, "word.stop-local")
	}
	if !own {
		return false
	}
	if f != nil && len(f.Options) > 0 {
		for _, s := range r.spans {
			for _, c := range s.concepts {
				if slices.Contains(f.Options, name(c)) {
					return false
				}
			}
		}
	}
	t.heard.OptOut = true
	return true
}

// means reports whether the whole text is one phrase of this language with the
// meaning.
func (x *index) means(tokens []token, concept string) bool {
	s, ok := x.at(tokens, 0, nil)
	return ok && s.to == len(tokens) && s.is(concept)
}

// stop ends all messages but the answers to what the person asks. With a burn
// open the confirmation carries the not-before time.
func (t *turn) stop() {
	t.s.Stopped = true
	t.s.Frames = slices.DeleteFunc(t.s.Frames, func(f Frame) bool { return f.Topic == topicStop }) // it is answered
	t.s.Owed, t.s.Held = false, nil
	t.heard.Understood, t.heard.OptOut = true, true
	lit, alight := t.litDrum()
	shut, sealed := t.latestSealed()
	switch _, hot := t.hot(); {
	case alight && !hot:
		t.say("consent.stopped-lit", Answer, locales.Args{"When": t.when(lit.NotBefore)})
	case sealed: // also when the wait is over: it may be hot all the same
		t.say("consent.stopped-burn", Answer, locales.Args{"When": t.when(shut.NotBefore)})
	default:
		t.say("consent.stopped", Answer, nil)
	}
	t.s.Timers = slices.DeleteFunc(t.s.Timers, func(o Timer) bool { return o.ID != timerDuty })
	for i := range t.s.Drums {
		t.s.Drums[i].Consent = false
	}
	t.forAll()
}

// stopped reports whether a STOP would change nothing.
func (t *turn) stopped() bool {
	return t.s.Stopped && !slices.ContainsFunc(t.s.Drums, func(d Drum) bool { return d.Consent }) &&
		!slices.ContainsFunc(t.s.Timers, func(o Timer) bool { return o.ID != timerDuty })
}

// beginsWithStop reports whether a text says STOP before it says anything else.
// Inside a sentence the word ends nothing: "stop my child fainted".
func (r reading) beginsWithStop() bool {
	return len(r.spans) > 0 && r.spans[0].is("word.stop") && !r.spans[0].fuzzy && r.spans[0].from == 0 && r.tokens[r.spans[0].to-1].comma
}

// stopBeside confirms an opt-out behind first aid, whose lines stay whole: where
// there is no room for one more message it joins the last.
func (t *turn) stopBeside() {
	t.stop()
	if n := len(t.out.Replies); n > maxReplies {
		t.out.Replies[n-2].Text += "\n" + t.out.Replies[n-1].Text
		t.out.Replies = t.out.Replies[:n-1]
	}
}

// criesAbroad answers a text that says nothing in the person's language and tells
// of harm in another one, in that language: short words, which mean other things
// beside the words of the person and alone, count there.
func (t *turn) criesAbroad(text string) bool {
	lang, clear := t.e.lexicons.language(t.look(text), nil)
	if !clear || lang == t.lang || len(strings.Fields(text)) < 2 && locales.Written(text) == nil {
		return false
	}
	em := t.e.readText(lang, t.languages(), text, t.taught(), t.place.Key).emergency()
	if em.tier == "" {
		return false
	}
	back := t.aidIn(text)
	defer back()
	if em.tier == "a" {
		t.overrideWith(em.kinds)
		t.askBehind()
		return true
	}
	t.heard.Emergency, t.heard.Tier, t.heard.Understood = em.kinds[0], "b", true
	t.say(firstAid[em.kinds[0]], Emergency, nil)
	t.say("aid.hurt", Emergency, nil)
	return true
}

// askStop asks once whether an everyday word was an opt-out, while a drum is
// open.
func (t *turn) askStop() {
	t.aside(topicStop, Slots{})
	t.heard.Understood = true
}

// askForget asks for a yes before everything is erased.
func (t *turn) askForget() {
	if d, ok := t.hot(); ok {
		t.say("burn.wait", Answer, locales.Args{"When": t.when(d.NotBefore)})
	}
	t.aside(topicForget, Slots{})
	t.forAll()
}

const (
	topicForget = "forget"
	topicStop   = "stop"
)

// forget erases the person.
func (t *turn) forget() {
	stopped := t.s.Stopped
	t.say("consent.forgotten", Answer, nil) // without the group's name: the journal keeps this answer
	t.resign()
	t.do(Erase{KeepOptOut: stopped})
	lang := t.lang
	t.s, t.lang, t.erased = State{}, lang, true
}

// forgotten erases the person on the word of an administrator. With a drum alight
// or sealed it says first until when that stays shut. Whoever opted out is told
// nothing else.
func (t *turn) forgotten() {
	t.heard.Understood = true
	if d, ok := t.hot(); ok {
		t.say("burn.wait", Safety, locales.Args{"When": t.when(d.NotBefore)})
	}
	said := slices.Clone(t.out.Replies)
	stopped := t.s.Stopped
	t.forget()
	if stopped {
		t.out.Replies = said
	}
}

// notMe detaches the record from a number that changed hands.
func (t *turn) notMe() {
	var wait []Drum
	for _, d := range t.s.Drums {
		if d.Stage != stageOpened {
			wait = append(wait, d)
		}
	}
	t.resign()
	kept := State{Lang: t.s.Lang, Chosen: t.s.Chosen, Met: true, Stopped: t.s.Stopped, Serial: t.s.Serial}
	if len(wait) > 0 {
		t.say("consent.not-me-burn", Answer, locales.Args{"When": t.when(t.latestWait(wait))})
	} else {
		t.say("consent.not-me", Answer, nil)
	}
	t.s = kept
}

// callBack puts the number on the officers' list.
func (t *turn) callBack() {
	if f := t.top(); f != nil && f.Topic == topicAsk {
		t.close() // what comes next is no question for the officers
	}
	t.do(CallBack{})
	t.set(Timer{ID: timerCall, At: t.w.Now.Add(callDays * 24 * time.Hour), Kind: string(timerCall)})
	t.say("ask.call", Answer, locales.Args{"Days": callDays})
}

const timerCall TimerID = "call"

// callDays is by when somebody calls.
const callDays = 3

// askLanguage asks for a language by its own name.
func (t *turn) askLanguage() {
	f := t.top()
	if f == nil || f.Topic != lobby || f.Open != slotLanguage {
		f = t.open(lobby)
	}
	t.ask(f, question{slot: slotLanguage, id: "language.question"})
	t.showRow(f, &t.out.Replies[len(t.out.Replies)-1])
}

// The most languages that one list shows by digit: on a phone's own keys all but 9
// and 0; on a screen 7 and 8 turn pages.
const (
	mostLanguages     = 8
	mostLanguagesUSSD = 6
)

// row returns the languages that are offered: of one in two scripts that whose
// letters every phone has.
func (t *turn) row() []locales.Lang {
	all := t.languages()
	return slices.DeleteFunc(slices.Clone(all), func(l locales.Lang) bool {
		return locales.Wide(l) && slices.ContainsFunc(all, func(o locales.Lang) bool { return !locales.Wide(o) && locales.Kin(o, l) })
	})
}

// showRow ends a reply with the languages by digit, a page of them if there are
// many.
func (t *turn) showRow(f *Frame, r *Reply) {
	row, most := t.row(), mostLanguages
	if t.via == USSD {
		most = mostLanguagesUSSD
	}
	r.More = ""
	if len(row) <= most || f.Page*maxOptions >= len(row) {
		f.Page = 0 // there is no page behind it
	}
	if len(row) > most {
		row = row[f.Page*maxOptions:]
		if len(row) > maxOptions {
			row, r.More = row[:maxOptions], t.text("key.more", nil)
		}
	}
	f.Open = slotLanguage
	r.Choices, f.Options = t.languageRow(row, nil, nil)
}

// languageRow adds languages to a list of choices.
func (t *turn) languageRow(row []locales.Lang, choices, keys []string) ([]string, []string) {
	for _, l := range row {
		choices = append(choices, t.e.catalog.RowName(l))
		keys = append(keys, keyLanguage+string(l))
	}
	return choices, keys
}

// speak sets the language and goes on where the person was.
func (t *turn) speak(l locales.Lang) {
	if !t.speaks(l) {
		t.say("language.not-spoken", Answer, nil)
		t.askLanguage()
		return
	}
	changed := l != t.lang
	t.s.Lang, t.s.Chosen, t.lang = l, true, l
	for len(t.s.Frames) > 0 && t.top().Topic == lobby {
		t.close()
	}
	f := t.top()
	switch {
	case changed && t.burning() && (f == nil || f.Done && f.Topic == topicRecipe):
		t.burnStatus(nil) // how to load and light comes too late
	case f == nil:
		t.menu()
	case f.Done && !changed && f.Topic == topicRecipe:
		t.afterwards(f)
	case f.Done && !changed:
		t.menu()
	case f.Done && topics[f.Topic].next != nil:
		t.advance(f) // the answer again, in the new language
	default:
		t.resume()
	}
}

// greet makes the first turn say who speaks, with the gas caution first and a
// row of languages last.
func (t *turn) greet() {
	if !t.fresh || len(t.out.Replies) == 0 || t.heard.Emergency != "" {
		return
	}
	hello := t.text("line.hello", nil)
	if t.w.Channel.Price != "" {
		hello += " " + t.text("line.price", locales.Args{"Price": t.w.Channel.Price})
	}
	if first := &t.out.Replies[0]; t.heard.Step == "" && first.Key == "line.menu" {
		first.Text = hello
		first.Choices = nil
		t.s.Frames = []Frame{{Topic: lobby, Slots: Slots{}}}
	} else {
		first.Text = hello + "\n" + first.Text
	}
	if len(t.row()) < 2 {
		return
	}
	last := &t.out.Replies[len(t.out.Replies)-1]
	f := t.top()
	if f == nil || f.Done {
		t.s.Frames = append(t.s.Frames, Frame{Topic: lobby, Slots: Slots{}})
		f = t.top()
	}
	row := t.row()
	switch {
	case f.Topic == lobby:
		t.showRow(f, last)
		if !t.heard.Understood {
			t.offerCall()
		}
	case len(f.Options) > 0 && len(f.Options)+len(row) <= maxOptions+1 && last.More == "":
		last.Choices, f.Options = t.languageRow(row, last.Choices, f.Options)
	default:
		var names []string
		for _, l := range row {
			names = append(names, t.e.catalog.RowName(l))
		}
		last.Text += "\n" + t.text("language.row", locales.Args{"Names": strings.Join(names, " / ")})
	}
}

// menu shows the topics.
func (t *turn) menu() {
	t.s.Frames = slices.DeleteFunc(t.s.Frames, func(f Frame) bool { return f.Topic == lobby })
	t.s.Frames = append(t.s.Frames, Frame{Topic: lobby, Slots: Slots{}})
	t.ask(t.top(), menuQuestion)
	t.heard.Understood = true
}

// menuQuestion lists the topics in menu order.
var menuQuestion = func() question {
	q := question{slot: slotMenu, id: "line.menu"}
	for _, key := range menuOrder {
		q.options = append(q.options, option{key: keyTopic + key, label: locales.ID("topic." + key)})
	}
	return q
}()

// back returns to the question before.
func (t *turn) back() {
	f := t.top()
	if f == nil {
		t.menu()
		return
	}
	slot, _, doubted := f.doubt()
	switch {
	case f.Page > 0:
		f.Page--
	case doubted:
		delete(f.Slots, doubtOf(slot))
	case len(f.Past) > 0:
		last := f.Past[len(f.Past)-1]
		f.Past = f.Past[:len(f.Past)-1]
		delete(f.Slots, last)
		f.Done = false
	default:
		t.close()
		if under := t.top(); under == nil || under.Done && under.Open == "" { // an answer is not said twice
			if t.burning() {
				t.burnStatus(nil)
			} else {
				t.menu()
			}
			return
		}
	}
	t.resume()
}

// resume asks the open question of the top frame again, or gives its answer.
func (t *turn) resume() {
	f := t.top()
	doubted := false
	if f != nil {
		_, _, doubted = f.doubt()
	}
	switch {
	case f == nil:
		t.menu()
	case f.Topic == lobby && f.Open == slotLanguage:
		t.askLanguage()
	case f.Topic != lobby && topics[f.Topic].next != nil && !(f.Done && f.Open == slotDrumPast) && !(f.Tie && f.Open != "") && !doubted:
		f.Tie = false
		t.advance(f)
	default:
		q, ok := t.question(f)
		if !ok {
			t.close()
			t.resume()
			return
		}
		tie := f.Tie
		t.ask(f, q)
		f.Tie = tie
	}
}

// question is what a frame asks now, with all its options; false if it is no
// longer worth asking.
func (t *turn) question(f *Frame) (question, bool) {
	switch {
	case f.Topic == lobby:
		return menuQuestion, true
	case topics[f.Topic].next == nil:
		return t.asideQuestion(f)
	case f.Done && f.Open == slotDrumPast:
		return drumPastQuestion(f), true
	case f.Tie && f.Open != "": // a tie whose question was withdrawn is no question
		return tieQuestion(f.Open, f.Options), true
	}
	if slot, v, doubted := f.doubt(); doubted {
		return t.doubtQuestion(slot, v), true
	}
	return topics[f.Topic].next(t, f)
}

// more turns the page of an option list, or says what was kept back.
func (t *turn) more() {
	f := t.top()
	if f != nil && (len(f.Options) >= maxOptions || f.Page > 0 && f.Open == slotLanguage) {
		f.Page++
		page := f.Page
		t.resume()
		if len(f.Options) == 0 || f.Page != page {
			f.Page = 0
			t.out.Replies = nil
			t.resume()
		}
		return
	}
	if len(t.s.More) == 0 {
		t.allSaid()
		return
	}
	for _, m := range t.s.More[:min(len(t.s.More), maxReplies)] {
		text := m.Text
		if text == "" {
			text = t.text(m.ID, nil)
		}
		t.add(Reply{Key: string(m.ID), Text: text, Urgency: Answer})
	}
	t.s.More = t.s.More[min(len(t.s.More), maxReplies):]
}

// why gives the reason behind the open question or the last answer.
func (t *turn) why() {
	id, open := t.reason()
	t.say(id, Answer, nil)
	if open {
		t.resume()
	}
}

// allSaid answers MORE when nothing was kept back: with the reason for the open
// question, else with the next step.
func (t *turn) allSaid() {
	if _, open := t.reason(); open {
		t.why()
		return
	}
	next := locales.ID("next." + t.s.Last)
	if !t.e.catalog.Has(t.lang, next) {
		next = "next.ask"
	}
	t.say("line.no-more", Answer, locales.Args{"Next": t.text(next, nil)})
}

// reason is the message that says why the open question is asked or what the
// last answer rests on, and whether the question is open now: one that was left
// for another subject is not.
func (t *turn) reason() (id locales.ID, open bool) {
	first := func(ids ...locales.ID) locales.ID {
		for _, id := range ids {
			if t.e.catalog.Has(t.lang, id) {
				return id
			}
		}
		return "why.menu"
	}
	f := t.top()
	if f != nil && f.Open != "" && (f.Topic == t.s.Last || topics[f.Topic].next == nil) {
		slot := f.Open
		if s, ok := slot.doubted(); ok {
			slot = s
		}
		return first(slot.id("why"), locales.ID("why."+f.Topic)), true
	}
	if t.aiding() {
		return "aid.go-on", false
	}
	if t.s.Last == topicBurn {
		switch _, lit := t.litDrum(); {
		case lit:
			return "why.lit", false
		case t.burning():
			return "why.wait", false
		case len(t.s.Drums) > 0:
			return "why.opened", false
		}
	}
	return first(locales.ID("why." + t.s.Last)), false
}

// last is what a turn was about, for the next WHY or MORE.
func (t *turn) last() string {
	if len(t.out.Replies) == 0 {
		return t.s.Last
	}
	switch about := family(t.out.Replies[len(t.out.Replies)-1].Key); {
	case t.heard.Topic != "":
		return t.heard.Topic
	case about == topicBurn, about == "consent", about == "language", about == topicEnrol:
		return about
	}
	return t.s.Last
}

// answerOpen takes the text as the answer to the open question.
func (t *turn) answerOpen(r reading) bool {
	f := t.top()
	if f == nil || f.Open == "" {
		return false
	}
	switch f.Open {
	case slotQuestion:
		switch _, key := r.digit(); {
		case key:
			t.resume() // a key is no question
			return true
		case !strings.ContainsFunc(r.text, unicode.IsLetter):
			return false
		}
		t.putQuestion(f, r.text)
		return true
	case slotGroup:
		if t.named(r) == topicEnrol {
			return false // "I want to join" is no name
		}
		t.groupIn(f, r)
		return true
	case slotStarchPrice:
		if r.whole("word.no") || r.whole("word.skip") || r.whole("word.unknown") {
			t.put(f, map[Slot]Value{slotStarchPrice: {}}) // not counted
			t.advance(f)
			return true
		}
	case slotPlace:
		if key := t.placeNamed(r); key != "" {
			return t.choice(f, key)
		}
	}
	key, ok := f.pick(r)
	if _, doubted := f.Open.doubted(); !ok && doubted && r.hasNumber() {
		return false // "no, 3": the number itself
	}
	if !ok {
		if key, ok = f.named(r); strings.HasPrefix(key, keyTopic) {
			return false // the topic reads what else the text says
		}
	}
	if !ok && r.whole("word.unknown") {
		key, ok = "unknown", slices.Contains(f.Options, "unknown")
		if f.Open == slotDryness {
			t.sayTest(f)
			t.resume()
			return true
		}
	}
	if !ok && !t.heardBy(f) {
		key, ok = t.labelled(f, r, false)
	}
	return ok && t.choose(f, key)
}

// shownWords reports whether a text is an option of a topic's open list word for
// word: the line itself offered it, and it cries nothing.
func (t *turn) shownWords(r reading) bool {
	f := t.top()
	if f == nil || len(f.Options) == 0 || topics[f.Topic].next == nil {
		return false
	}
	_, ok := t.labelled(f, r, true)
	return ok
}

// answerLabel takes a text as an option of the open list by the words it was
// shown with: all of them, or words that only one option has. A question about a
// burn is answered by its digit or by the words of the burn alone.
func (t *turn) answerLabel(r reading, whole bool) bool {
	f := t.top()
	if f == nil || len(f.Options) == 0 || topics[f.Topic].next == nil && f.Topic != lobby && f.Topic != topicStuck {
		return false
	}
	key, ok := t.labelled(f, r, whole)
	return ok && t.choose(f, key)
}

// heardBy reports whether the words of the open question are in the lexicon of
// the topic, which then reads them before the words of the list.
func (t *turn) heardBy(f *Frame) bool {
	for _, slot := range topics[f.Topic].families {
		if slot == f.Open {
			return true
		}
	}
	return topics[f.Topic].next == nil
}

// labelled finds the option that a text names by the words it was shown with.
func (t *turn) labelled(f *Frame, r reading, whole bool) (string, bool) {
	q, ok := t.question(f)
	if !ok || q.slot != f.Open {
		return "", false
	}
	said, weight := []string{}, 0
	for _, tok := range r.tokens {
		if tok.isNumber {
			return "", false // a number is a digit of the list or an amount
		}
		said, weight = append(said, tok.word), weight+utf8.RuneCountInString(tok.word)
	}
	found := ""
	for _, o := range q.options {
		var shown []string
		for _, tok := range read(t.lang, t.text(o.label, o.args)) {
			shown = append(shown, tok.word)
		}
		fits := slices.Equal(said, shown)
		if !whole && weight >= leastLabel {
			fits = !slices.ContainsFunc(said, func(w string) bool { return !slices.Contains(shown, w) })
		}
		if !fits || !slices.Contains(f.Options, o.key) {
			continue
		}
		if found != "" {
			return "", false
		}
		found = o.key
	}
	return found, found != ""
}

// leastLabel is how many letters name an option.
const leastLabel = 2

// choose acts on the chosen key of the open question.
func (t *turn) choose(f *Frame, key string) bool {
	switch {
	case strings.HasPrefix(key, keyLanguage):
		t.speak(locales.Lang(strings.TrimPrefix(key, keyLanguage)))
	case strings.HasPrefix(key, keyTopic):
		t.close()
		t.start(strings.TrimPrefix(key, keyTopic))
	case key == keyCall:
		if f.Topic == topicStuck {
			t.close()
		}
		t.callBack()
	case f.Open == slotStuck:
		t.close()
		if key == keySend {
			t.askOfficer(t.s.Puzzled)
		}
		t.resume()
	case f.Open == slotHurt:
		t.close()
		kinds := []string{key}
		if key == kindInjury {
			kinds = append(kinds, kindEye)
		}
		t.overrideWith(kinds)
	case f.Open == slotResume:
		t.goOn(key == "yes")
	case f.Open == slotForget:
		t.close()
		if key == "yes" {
			t.forget()
		} else {
			t.say("consent.kept", Answer, nil)
		}
	case f.Open == slotStop:
		t.close()
		if key == "yes" {
			t.stop()
		} else {
			t.say("consent.kept", Answer, nil)
		}
	default:
		return t.choice(f, key)
	}
	return true
}

// named finds an option of the open list that the text names by its words.
func (f *Frame) named(r reading) (string, bool) {
	found := ""
	for _, s := range r.spans {
		for _, c := range s.concepts {
			for _, o := range f.Options {
				if o != c && !(o == name(c) && (c == "word.yes" || c == "word.no")) {
					continue
				}
				if found != "" && found != o {
					return "", false
				}
				found = o
			}
		}
	}
	return found, found != ""
}

// choice enters the chosen key of a topic's question.
func (t *turn) choice(f *Frame, key string) bool {
	slot, doubted := f.Open.doubted()
	if !doubted {
		slot = f.Open
	}
	if l, numeric := limits[slot]; numeric {
		v := f.Slots[doubtOf(slot)]
		if n, err := strconv.ParseFloat(key, 64); err == nil {
			v = Value{Number: n}
		} else if key != "yes" || !l.holds(v.Number) {
			delete(f.Slots, doubtOf(slot))
			t.advance(f)
			return true
		}
		f.Slots[doubtOf(slot)] = v
		t.put(f, map[Slot]Value{slot: v})
		t.advance(f)
		return true
	}
	t.note(slot, Value{Key: key})
	if slot == slotDrumPast && f.Done {
		f.Open, f.Options = "", nil
		t.drumAnswer(key)
		return true
	}
	t.put(f, map[Slot]Value{slot: {Key: key}})
	if f.Topic == topicRecipe {
		t.corrected(f)
	}
	t.advance(f)
	return true
}

// note keeps what was understood for the journal.
func (t *turn) note(s Slot, v Value) {
	if t.heard.Slots == nil {
		t.heard.Slots = map[string]Value{}
	}
	t.heard.Slots[string(s)] = v
	if v.Unsure && !slices.Contains(t.heard.Unsure, string(s)) {
		t.heard.Unsure = append(t.heard.Unsure, string(s))
	}
}

// start opens a topic by its key.
func (t *turn) start(key string) {
	t.heard.Topic = key
	if key == topicLanguage {
		t.askLanguage()
		return
	}
	f := t.open(key)
	t.advance(f)
}

// fillTopic lets a topic read the text: the topic it names, the open one, or
// the one its words belong to.
func (t *turn) fillTopic(r reading) bool {
	key := t.topicOf(r)
	if key == "" {
		return false
	}
	p := topics[key]
	f := t.frameOf(key)
	open := Slot("")
	if f != nil {
		open = f.Open
		if slot, ok := open.doubted(); ok {
			open = slot
		}
	}
	in := p.fill(r, open)
	if !in.found() && f != nil && t.meant(r) != key {
		return false
	}
	if f != nil && f.Done && f.Open == "" && len(r.tokens) == 1 && r.tokens[0].isNumber {
		return false // a lone number answers nothing
	}
	t.heard.Topic = key
	if past, ok := in.values[slotDrumPast]; ok && len(in.values) == 1 && f != nil && f.Done {
		t.note(slotDrumPast, past)
		f.Open, f.Options = "", nil
		t.drumAnswer(past.Key)
		return true
	}
	if f == nil || f.Done && t.anew(f, r, in) {
		f = t.open(key)
	} else {
		t.raise(f.Topic)
		f = t.top()
		f.Done = false
	}
	in.correct(f)
	for _, s := range sortedSlots(in.values) {
		t.note(s, in.values[s])
	}
	doubt, value := t.put(f, in.values)
	if key == topicRecipe {
		t.corrected(f)
	}
	if _, weight := in.values[slotCharKg]; weight && doubt == "" && (r.has("word.no") || r.has("word.not")) {
		t.correctRecord(f)
	}
	if len(in.ties) > 0 {
		for _, s := range tieSlots(in.ties) {
			t.askTie(f, s, in.ties[s])
			return true
		}
	}
	if doubt != "" {
		t.askDoubt(f, doubt, value)
		return true
	}
	if badPast(in.values[slotDrumPast].Key) && !f.has(slotWaste) {
		t.say("recipe.drum-oil", Answer, nil) // before any waste is asked for
	}
	t.advance(f)
	return true
}

// tieSlots returns the slots with ties in order.
func tieSlots(ties map[Slot][]string) []Slot {
	out := make([]Slot, 0, len(ties))
	for s := range ties {
		out = append(out, s)
	}
	slices.Sort(out)
	return out
}

// anew reports whether a text after an answer begins another batch instead of
// correcting the last one: it names other waste without a "no".
func (t *turn) anew(f *Frame, r reading, in filled) bool {
	if r.has("word.no") || r.has("word.not") {
		return false
	}
	if _, stock := in.values[slotHaveSacks]; stock {
		return false // "I have only 20 sacks of cobs" corrects the plan
	}
	v, named := in.values[slotWaste]
	if _, tie := in.ties[slotWaste]; tie {
		return true
	}
	if named {
		return v.Key != f.Slots[slotWaste].Key || len(in.values) > 1
	}
	return t.named(r) == f.Topic && !in.found()
}

// raise brings a frame to the top of the stack.
func (t *turn) raise(topic string) {
	t.s.Frames = slices.DeleteFunc(t.s.Frames, func(f Frame) bool { return f.Topic == lobby })
	i := slices.IndexFunc(t.s.Frames, func(f Frame) bool { return f.Topic == topic })
	f := t.s.Frames[i]
	t.s.Frames = append(slices.Delete(t.s.Frames, i, i+1), f)
}

// frameOf returns the frame of a topic, if it is on the stack.
func (t *turn) frameOf(topic string) *Frame {
	for i := len(t.s.Frames) - 1; i >= 0; i-- {
		if t.s.Frames[i].Topic == topic {
			return &t.s.Frames[i]
		}
	}
	return nil
}

// named returns the topic a text names, if it names just one.
func (t *turn) named(r reading) string {
	found := ""
	for _, s := range r.spans {
		for _, key := range s.of("topic") {
			if _, ok := topics[key]; !ok || found != "" && found != key {
				continue
			}
			found = key
		}
	}
	return found
}

// topicOf returns the topic that should read a text.
func (t *turn) topicOf(r reading) string {
	top := t.top()
	under := top
	if top != nil && (top.Topic == lobby || top.Topic == topicStuck) && len(t.s.Frames) > 1 {
		under = &t.s.Frames[len(t.s.Frames)-2]
	}
	key := t.meant(r)
	if under != nil && under.Topic == topicRecipe && !r.namesWaste() && (r.has("thing.char") && r.hasWeight() || r.weighsStarch()) {
		return topicBinder
	}
	if under != nil && (key == under.Topic || !ownSubject[key] && !(key == topicBinder && (ownSubject[under.Topic] || r.has("thing.char")))) {
		p, ok := topics[under.Topic]
		foreign := key == "" && p.families["waste"] == "" && r.namesWaste()
		if ok && p.next != nil && !foreign && p.fill(r, under.Open).found() {
			return under.Topic
		}
	}
	switch {
	case key == topicBurn && r.hasFamily("waste"):
		return topicRecipe
	case key == topicBurn && r.has("unit.drum") && (r.has("drum-past.oil") || r.has("drum-past.poison")) && !t.aiding():
		return topicRecipe // "the drum had pesticide, is it ok after burning"
	case key != "":
		return key
	case r.has("thing.char") && r.hasWeight():
		return topicBinder
	case t.aiding(): // oil or a medicine beside a burn is no drum's past
	case r.has("unit.drum") && r.hasFamily("drum-past"), r.has("drum-past.oil") || r.has("drum-past.poison") || r.has("drum-past.unknown"):
		return topicRecipe
	}
	for _, key := range menuOrder {
		for _, s := range r.spans {
			for _, f := range topics[key].starts {
				if s.in(f) {
					return key
				}
			}
		}
	}
	for _, a := range r.sums {
		if _, ok := topics[topicRecipe].units[a.unit]; ok && a.unit != "kg" {
			return topicRecipe
		}
	}
	return ""
}

// askTie asks which of several meanings a word has.
func (t *turn) askTie(f *Frame, slot Slot, keys []string) {
	t.ask(f, tieQuestion(slot, keys))
	f.Tie = true
}

// tieQuestion asks for one of some keys, in the order in which all are asked for.
func tieQuestion(slot Slot, keys []string) question {
	if all, ok := map[Slot]question{slotWaste: wasteQuestion(), slotStarch: starchQuestion()}[slot]; ok {
		at := func(key string) int {
			return slices.IndexFunc(all.options, func(o option) bool { return o.key == key })
		}
		keys = slices.SortedStableFunc(slices.Values(keys), func(a, b string) int { return at(a) - at(b) })
	}
	q := question{slot: slot, id: slot.id("which")}
	for _, k := range keys[:min(len(keys), maxOptions)] {
		if k != keyCall { // it was offered with the list
			q.options = append(q.options, option{key: k, label: label(slot, k)})
		}
	}
	return q
}

// label is the message that names a key of a slot.
func label(slot Slot, key string) locales.ID {
	if slot == slotMould {
		return locales.ID("size." + key)
	}
	return locales.ID(strings.ReplaceAll(string(slot), "_", "-") + "." + key)
}

// askDoubt asks about a number that is hard to believe.
func (t *turn) askDoubt(f *Frame, slot Slot, v Value) {
	for _, s := range append(rivals(slot), slot) {
		delete(f.Slots, s) // what was said before no longer holds
	}
	f.Slots[doubtOf(slot)] = v
	t.ask(f, t.doubtQuestion(slot, v))
}

// doubtQuestion is the question about such a number.
func (t *turn) doubtQuestion(slot Slot, v Value) question {
	l := limits[slot]
	q := question{slot: slot, id: "doubt.many", args: locales.Args{
		"Number": t.number(v.Number), "What": t.text(slot.id("amount"), nil), "Most": t.number(l.most),
	}}
	switch {
	case v.Other != 0:
		return t.numbers(doubtOf(slot), "doubt.which", []float64{v.Number, v.Other})
	case l.holds(v.Number):
		q.slot, q.id = doubtOf(slot), "doubt.sure"
		q.options = []option{{key: "yes", label: "answer.yes"}, {key: "no", label: "answer.no"}}
	case v.Number < l.least:
		q.id = "doubt.few"
	}
	return q
}

// doubt returns the number the open question doubts, and its slot.
func (f *Frame) doubt() (slot Slot, v Value, doubted bool) {
	slot, _ = f.Open.doubted()
	v, doubted = f.Slots[doubtOf(slot)]
	return slot, v, doubted && !f.Done
}

// numbers asks for one of some numbers of a slot.
func (t *turn) numbers(open Slot, id locales.ID, choices []float64) question {
	slot, doubted := open.doubted()
	if !doubted {
		slot = open
	}
	q := question{slot: open, id: id}
	for _, n := range choices {
		q.options = append(q.options, option{
			key: strconv.FormatFloat(n, 'f', -1, 64), label: "amount.is",
			args: locales.Args{"Number": t.number(n), "What": t.text(slot.id("amount"), nil)},
		})
	}
	return q
}

// aiding reports whether someone was hurt so lately that first aid goes on.
func (t *turn) aiding() bool {
	a := t.s.Alert
	return a != nil && t.w.Now.Sub(a.At) < aidGoesOn
}

// puzzled answers a text that was not understood. The first answer already
// holds the digit for a person; after the second failure the choices of a number
// come as a list; after the third a person is offered. What the text was is kept
// for the officers with the question it was an answer to.
func (t *turn) puzzled(text string) {
	t.heard.Understood = false
	if t.heard.Tier == "b" || t.criesAbroad(text) {
		return // the line about the danger is the answer
	}
	t.s.Fails++
	switch {
	case t.aiding():
		t.say("aid.go-on", Emergency, nil)
		return
	case len(t.s.Alerts) > 0: // a duty phone asks back
		t.sayAlert(t.s.Alerts[len(t.s.Alerts)-1])
		return
	}
	if runes := []rune(text); len(runes) > longestPuzzle {
		text = string(runes[:longestPuzzle])
	}
	t.s.Puzzled = text
	f := t.top()
	done := f != nil && f.Done && (f.Open == "" || f.Fails > 0) // the question behind an answer is asked again once
	lost := f == nil || done || f.Topic == lobby && f.Open == slotLanguage
	if t.s.Fails >= failsForPerson && t.w.Channel.Sends && !t.fresh {
		if t.s.Fails == failsForPerson {
			t.do(Flag{Why: "not understood"})
		}
		if lost {
			t.close()
		}
		t.keepShut()
		t.aside(topicStuck, Slots{})
		return
	}
	switch amounts := []float64(nil); {
	case lost && t.fresh:
		t.menu()
		t.heard.Understood = false
		return
	case lost:
		t.keepShut()
		t.menu()
		t.heard.Understood = false
	default:
		f.Fails++
		t.resume()
		if amounts = usualAmounts[f.Open]; f.Fails >= failsForList && len(f.Options) == 0 && amounts != nil {
			t.out.Replies = t.out.Replies[:len(t.out.Replies)-1]
			t.ask(f, t.numbers(f.Open, f.Open.id("ask"), amounts))
		}
	}
	t.prefix("line.unknown")
	t.offerCall()
}

// keepShut says how a hot drum stands before it says that a text was not
// understood: what was misspelt may have been "opened".
func (t *turn) keepShut() {
	if d, ok := t.hot(); ok && t.s.Fails <= failsForPerson {
		t.say("burn.not-before", Answer, locales.Args{"Drum": d.Name, "When": t.when(d.NotBefore)})
	}
}

const (
	failsForList   = 2
	failsForPerson = 3
	longestPuzzle  = 160 // letters that are kept of a text nobody understood
)

// askOfficer puts a text before the officers and says when the answer comes.
func (t *turn) askOfficer(text string) {
	t.do(Question{Text: text})
	t.set(Timer{ID: timerAsk, At: t.w.Now.Add(answerDays * 24 * time.Hour), Kind: string(timerAsk)})
	t.say("ask.sent", Answer, locales.Args{"Days": answerDays})
}

// prefix puts a message in front of the last reply.
func (t *turn) prefix(id locales.ID) {
	last := &t.out.Replies[len(t.out.Replies)-1]
	last.Text = t.text(id, nil) + " " + last.Text
}

// offerCall adds the digit for a person who calls to a list of options, and the
// word to a question for a number or a text.
func (t *turn) offerCall() {
	f := t.top()
	if !t.w.Channel.Sends || f != nil && slices.Contains(f.Options, keyCall) {
		return
	}
	last := &t.out.Replies[len(t.out.Replies)-1]
	if f == nil || len(f.Options) == 0 || len(f.Options) > maxOptions || len(last.Choices) != len(f.Options) {
		last.Text += " " + t.text("ask.call-word", nil)
		return
	}
	f.Options = append(f.Options, keyCall)
	last.Choices = append(last.Choices, t.text("ask.call-option", nil))
}

// manyDigits is how many single digits in a row, with no answer among them, are
// taken for a person who cannot read what they press.
const manyDigits = 3

// keysOnly counts single digits in a row. Of a person who goes from list to list
// it is not known whether they read: they are offered somebody who calls, and
// what is not understood next counts as the second time.
func (t *turn) keysOnly(r reading) {
	f := t.top()
	_, digit := r.digit()
	if !digit || !t.heard.Understood || t.heard.Tier != "" || f == nil || f.Open == "" || f.Done {
		t.s.Digits = 0
		return
	}
	if t.s.Digits++; t.s.Digits >= manyDigits {
		t.s.Digits, t.s.Fails = 0, 1
		t.offerCall()
	}
}
