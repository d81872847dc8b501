package dialog

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"cobline/locales"
)

// The kinds of emergency; their names are stable.
const (
	kindGas       = "gas"
	kindBurn      = "burn"
	kindNotWaking = "not-waking"
	kindFire      = "fire"
	kindClothes   = "clothes"
	kindEye       = "eye"
	kindChemical  = "chemical"
	kindInjury    = "injury"
)

// kindOrder is the order in which kinds are answered when a text holds several:
// what kills first comes first.
var kindOrder = []string{kindNotWaking, kindClothes, kindGas, kindFire, kindChemical, kindBurn, kindEye, kindInjury}

// firstAid is the fixed line of a kind. Nothing shortens these.
var firstAid = map[string]locales.ID{
	kindGas: "aid.gas", kindBurn: "aid.burn", kindNotWaking: "aid.not-waking", kindFire: "aid.fire",
	kindClothes: "aid.clothes", kindEye: "aid.eye", kindChemical: "aid.chemical", kindInjury: "aid.injury",
}

// harmKind is the kind of each harm.
var harmKind = map[string]string{
	"burned": kindBurn, "scald": kindBurn, "exploded": kindBurn,
	"fainted": kindNotWaking, "not-waking": kindNotWaking, "fits": kindNotWaking, "dead": kindNotWaking,
	"cannot-breathe": kindGas, "dizzy": kindGas, "headache": kindGas, "vomit": kindGas, "weak": kindGas, "chest": kindGas, "sick": kindGas,
	"clothes-fire": kindClothes, "swallowed": kindChemical, "poison": kindChemical,
	"hurt": kindInjury, "fell": kindInjury, "bleeding": kindInjury, "cut": kindInjury, "crushed": kindInjury,
}

// hazardKind is the kind of each hazard that a child is near.
var hazardKind = map[string]string{
	"gas": kindGas, "smoke": kindGas, "fire": kindBurn, "burn": kindBurn, "hot-water": kindBurn, "chemical": kindChemical,
}

// alwaysHarm needs no person beside it; anyHarm needs a person; bodyHarm needs
// a child, a pregnant woman or a part of the body, because its words are also
// work: "I cut the stalks".
var (
	alwaysHarm = []string{"fainted", "not-waking", "cannot-breathe", "fits", "exploded", "clothes-fire"}
	anyHarm    = []string{"burned", "scald", "hurt", "bleeding"}
	bodyHarm   = []string{"burned", "scald", "hurt", "bleeding", "cut", "crushed", "fell", "sick", "dead", "poison"}
	workHarm   = []string{"burned", "cut", "crushed", "fell", "dead"}
)

// emergencyIn is what a text says of a hurt or endangered person.
type emergencyIn struct {
	tier  string // "a" overrides everything, "b" is said first, "" is ordinary
	kinds []string
}

// emergency looks for harm to a person. It goes by phrases, and by a person or
// a part of the body together with a harm. Words of the trade (fire, burn,
// smoke) alone are no emergency.
func (r reading) emergency() emergencyIn {
	var a, b []string
	var harms, hazards []string
	weak, person, eye, chemical := false, false, false, false
	body := slices.ContainsFunc(r.safety, func(s span) bool { return s.in("body") })
	for _, s := range r.safety {
		for _, c := range s.concepts {
			n := name(c)
			switch family(c) {
			case "emergency":
				if kind, tier, _ := strings.Cut(n, "."); tier == "a" {
					a = append(a, kind)
				} else if !r.atWork(kind, s) {
					b = append(b, kind)
				}
			case "person":
				weak = weak || n == "child" || n == "pregnant"
				person = person || n != "animal"
			case "body":
				eye = eye || n == "eye"
			case "harm":
				if body || !slices.Contains(workHarm, n) || !r.workFollows(s) {
					harms = append(harms, n)
				}
			case "hazard":
				chemical = chemical || n == "chemical"
				if !r.workFollows(s) {
					hazards = append(hazards, n)
				}
			}
		}
	}
	for _, h := range harms {
		kind := harmKind[h]
		if eye && kind != kindGas && kind != kindNotWaking {
			kind = kindEye
		}
		switch {
		case slices.Contains(alwaysHarm, h),
			person && slices.Contains(anyHarm, h),
			(weak || body) && slices.Contains(bodyHarm, h),
			h == "swallowed" && (weak || chemical):
			a = append(a, kind)
		}
	}
	for _, h := range hazards {
		if weak || body && h != "gas" && h != "smoke" {
			a = append(a, hazardKind[h])
		}
	}
	if r.criesHelp() {
		b = append(b, kindInjury)
	}
	switch {
	case len(a) > 0:
		return emergencyIn{"a", ordered(append(a, b...))}
	case len(b) > 0:
		return emergencyIn{"b", ordered(b)}
	}
	return emergencyIn{}
}

// criesHelp reports whether the text is "help" alone, repeated or called out.
func (r reading) criesHelp() bool {
	cries := 0
	for _, s := range r.plain {
		if n := s.to - s.from; s.is("word.help") && !s.fuzzy && n <= longestCry {
			cries += n
		}
	}
	return cries > 0 && cries == len(r.tokens) && (cries > 1 || r.loud)
}

// longestCry is how many words a cry for help has; "what is this" is none.
const longestCry = 2

// workWords are the words of tier B a burn is spoken of with.
var workWords = []string{"hazard.fire", "hazard.smoke", "hazard.burn"}

// loneWords are harm only beside a person: the price fell, the stalks are cut.
var loneWords = []string{"harm.fell", "harm.cut", "harm.crushed"}

// atWork reports whether a word of tier B is one the trade speaks with here:
// "burned 2 drums of stalks", "the fire is good", "smoke white".
func (r reading) atWork(kind string, s span) bool {
	means := func(words []string) bool { return slices.ContainsFunc(words, s.is) }
	switch {
	case s.to-s.from > 1:
		return false
	case kind == kindBurn && r.workFollows(s), means(workWords) && r.ordinary():
		return true
	}
	return means(loneWords) && len(r.tokens) > 2 && !slices.ContainsFunc(r.safety, func(o span) bool { return o.in("person") || o.in("body") })
}

// workFollows reports whether waste or a measure stands behind the word: then
// it is work and not harm.
func (r reading) workFollows(harm span) bool {
	for _, s := range r.plain {
		if s.from < harm.from || s.from > harm.to+3 {
			continue
		}
		if s.in("waste") || s.in("unit") || s.in("dryness") {
			return true
		}
	}
	return false
}

// ordinary reports whether the text has a meaning of the trade that explains a
// word like smoke or fire.
func (r reading) ordinary() bool {
	for _, s := range r.plain {
		for _, f := range []string{"waste", "smoke", "report", "question", "topic", "symptom", "dryness"} {
			if s.in(f) {
				return true
			}
		}
	}
	return false
}

// smokeAnswer reports whether the text holds nothing but words the smoke
// question accepts.
func (r reading) smokeAnswer() bool {
	if len(r.tokens) == 0 {
		return false
	}
	covered := 0
	for _, s := range r.plain {
		if s.in("smoke") {
			covered += s.to - s.from
		}
	}
	return covered == len(r.tokens)
}

// ordered returns the kinds once each, gravest first.
func ordered(kinds []string) []string {
	var out []string
	for _, k := range kindOrder {
		if slices.Contains(kinds, k) {
			out = append(out, k)
		}
	}
	return out
}

// maxReplies is how many messages one turn may hold.
const maxReplies = 3

// aidIn makes first aid speak the language of the cry: a person in need writes
// in the own language, whatever the conversation is held in. Where that one is not
// sent, and the person was never met, it is one that its writers may read. English
// is added to tier A in any case, so a cry in English changes nothing. It returns
// what goes back to the language of the conversation.
func (t *turn) aidIn(text string) (back func()) {
	lang := t.lang
	cry, clear := t.e.lexicons.language(t.look(text), nil)
	if !clear || cry == "en" {
		return func() {}
	}
	if l, ok := t.reads(cry); ok {
		t.lang = l
	}
	if !t.speaks(cry) && !t.s.Chosen {
		t.abroad = true
	}
	return func() { t.lang = lang }
}

// reads returns the language that is sent to whoever writes one: that itself, the
// same in another script, or, to whoever was never met, what they may read.
func (t *turn) reads(l locales.Lang) (locales.Lang, bool) {
	if t.speaks(l) {
		return l, true
	}
	for _, o := range t.languages() {
		if locales.Kin(o, l) && t.speaks(o) {
			return o, true
		}
	}
	if !t.fresh || t.s.Chosen {
		return "", false
	}
	for _, o := range t.e.catalog.Rules(l).Reads {
		if t.speaks(o) {
			return o, true
		}
	}
	return "", false
}

// askBehind asks behind first aid which language a person reads, whose own the
// line does not speak.
func (t *turn) askBehind() {
	if !t.abroad || len(t.row()) < 2 || len(t.out.Replies) == 0 {
		return
	}
	if f := t.top(); f != nil && f.Open != "" && f.Topic != lobby {
		return // the question that is open comes first
	}
	last := &t.out.Replies[len(t.out.Replies)-1]
	if len(last.Choices) > 0 {
		return
	}
	last.Text += "\n" + t.text("language.question", nil)
	t.showRow(t.open(lobby), last)
}

// overrideWith answers an emergency of tier A: the fixed line in the person's
// language, then in English, then the number to call. The open question stays.
func (t *turn) overrideWith(kinds []string) {
	kind := kinds[0]
	t.heard.Emergency, t.heard.Tier, t.heard.Understood = kind, "a", true
	for _, k := range kinds {
		if len(t.out.Replies) < maxReplies-1 && (k == kind || t.lang == "en") {
			t.say(firstAid[k], Emergency, nil)
		}
	}
	if t.lang != "en" && slices.Contains(t.e.catalog.Langs(), locales.Lang("en")) {
		t.add(Reply{Key: string(firstAid[kind]), Text: t.e.catalog.Text("en", firstAid[kind], nil), Urgency: Emergency})
	}
	if t.place.Emergency != "" {
		t.say("aid.call", Emergency, locales.Args{"Number": t.place.Emergency})
	} else if len(t.out.Replies) < maxReplies {
		t.say("aid.no-number", Emergency, nil)
	}
	t.tell(kind)
	t.s.Paused = t.w.Now.Add(24 * time.Hour)
	t.s.Fails = 0
}

// tell takes the emergency to the duty phones of the place.
func (t *turn) tell(kind string) {
	if t.s.Alert != nil && !t.s.Alert.Seen && t.w.Now.Sub(t.s.Alert.At) < alertAgain && t.s.Alert.Kind == kind {
		return // it is on its way already
	}
	t.s.Serial++
	own := OwnAlert{ID: fmt.Sprintf("e%d-%d", t.s.Serial, t.w.Now.Unix()), Kind: kind, At: t.w.Now.UTC().Truncate(time.Second), Attempt: 1}
	t.s.Alert = &own
	t.set(Timer{ID: timerFollowUp, At: t.morning(), Kind: string(timerFollowUp)})
	if t.place.Duty == 0 {
		return
	}
	t.do(TellDuty{AlertID: own.ID, Kind: kind, Place: t.place.Key, Attempt: 1})
	t.set(Timer{ID: timerDuty, At: t.w.Now.Add(dutyWait), Kind: string(timerDuty)})
}

const (
	timerDuty     TimerID = "duty"
	timerFollowUp TimerID = "follow-up"
	dutyWait              = 10 * time.Minute
	alertAgain            = 30 * time.Minute
)

// morning returns half past seven of the next day.
func (t *turn) morning() time.Time {
	y, m, d := t.now.Date()
	return time.Date(y, m, d+1, 7, 30, 0, 0, t.place.Zone)
}

// nextDuty tells the next duty phone when the last one has not answered.
func (t *turn) nextDuty() {
	a := t.s.Alert
	if a == nil || a.Seen || a.Attempt >= t.place.Duty {
		if a != nil && !a.Seen {
			t.do(Flag{Why: "emergency not acknowledged"})
		}
		return
	}
	a.Attempt++
	t.do(TellDuty{AlertID: a.ID, Kind: a.Kind, Place: t.place.Key, Attempt: a.Attempt})
	t.set(Timer{ID: timerDuty, At: t.w.Now.Add(dutyWait), Kind: string(timerDuty)})
}

// followUp asks the morning after.
func (t *turn) followUp() {
	if t.s.Alert == nil || t.w.Now.Sub(t.s.Alert.At) > 36*time.Hour {
		return
	}
	t.add(Reply{Key: "aid.follow-up", Text: t.text("aid.follow-up", nil), Urgency: Reminder, Valid: 6 * time.Hour})
}

// alerted is an emergency that reaches this person as a duty phone.
func (t *turn) alerted(a Alert) {
	t.s.Alerts = append(slices.DeleteFunc(t.s.Alerts, func(o Alert) bool { return o.ID == a.ID }), a)
	t.sayAlert(a)
	t.heard.Understood = true
}

// sayAlert says an emergency to a duty phone.
func (t *turn) sayAlert(a Alert) {
	place := t.place.Name
	if t.w.Facts != nil {
		if p, ok := t.w.Facts.Places[a.Place]; ok && p.Name != "" {
			place = p.Name
		}
	}
	if place == "" {
		place = "-"
	}
	t.say("duty.alert", Emergency, locales.Args{
		"Kind": t.text(locales.ID("kind."+a.Kind), nil), "Place": place, "Time": t.clock(a.At), "Number": a.Number,
	})
}

// sawAlert answers a duty phone that texts SEEN.
func (t *turn) sawAlert() {
	for _, a := range t.s.Alerts {
		t.do(Seen{Alert: a})
	}
	t.say("duty.thanks", Answer, nil)
	t.s.Alerts = nil
	t.heard.Understood = true
}

// acknowledged stops the search for a duty phone. The person is not told that
// anybody is coming.
func (t *turn) acknowledged(id string) {
	if t.s.Alert != nil && t.s.Alert.ID == id {
		t.s.Alert.Seen = true
		t.clear(timerDuty)
	}
	t.heard.Understood = true
}

// hurtMenu is the emergency list behind HURT and behind key 9.
func (t *turn) hurtMenu() {
	t.aside(topicHurt, Slots{})
	t.out.Replies[len(t.out.Replies)-1].Urgency = Emergency
	t.heard.Tier, t.heard.Understood = "a", true
}

const (
	topicHurt      = "hurt"
	slotHurt  Slot = "hurt"
)
