package dialog

import (
	"cmp"
	"regexp"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"cobline/calc"
	"cobline/locales"
)

// An officer's own phone may ask the line for what is most urgent and send the
// ready notices. A word begins it, a PIN proves who texts, and after ten quiet
// minutes it is over. Of any other number the word means nothing.

const (
	topicOffice       = "office"
	officeWord        = "word.office"
	slotPIN      Slot = "pin"
	slotNewPIN   Slot = "new-pin"
	slotOffice   Slot = "office" // what the officer wants
	slotKind     Slot = "kind"   // of warning
	slotHour     Slot = "hour"   // it is about
	slotCode     Slot = "code"
	slotUntil    Slot = "until" // the session lasts
	slotTries    Slot = "tries" // wrong codes
	slotCodeEnds Slot = "code-ends"
)

// What an officer can choose. The keys stand in the state of a conversation.
const (
	wantOutlook   = "outlook"
	wantQuestions = "questions"
	wantCalls     = "calls"
	wantWarning   = "warning"
	wantMornings  = "mornings"
	keyForecast   = "forecast" // the hour that the forecast gives
)

// How long things last on an officer's phone. Common practice.
const (
	officeLasts = 10 * time.Minute
	codeLasts   = 10 * time.Minute
	maxTries    = 3
	pinDigits   = 6
	mornings    = 7             // the hour of the list of the morning
	digestLate  = 3 * time.Hour // after which it is left out
	digestValid = 5 * time.Hour
	rainSoon    = 48 * time.Hour
	endsSoon    = 14 * 24 * time.Hour
)

const timerDigest TimerID = "digest"

// officeWords are the words that begin it, in every language, folded as that
// language folds them.
func officeWords(c *locales.Catalog) map[string]bool {
	words := map[string]bool{}
	for _, l := range c.Heard() {
		for _, w := range c.Words(l)[officeWord] {
			words[string(l)+" "+locales.Fold(l, w)] = true
		}
	}
	return words
}

// callsOffice reports whether a text is one of those words and nothing else.
func (e *Engine) callsOffice(text string) bool {
	text = strings.TrimFunc(text, func(r rune) bool { return !unicode.IsLetter(r) })
	return slices.ContainsFunc(e.lexicons.order, func(l locales.Lang) bool {
		return e.office[string(l)+" "+locales.Fold(l, text)]
	})
}

// secret finds what may be a PIN or a code in a text, mistyped or not: five
// digits and more that no word stands between, an O or an l among them.
var secret = regexp.MustCompile(`\p{Nd}(?:[^\pL\p{Nd}]*[oOlI]?[^\pL\p{Nd}]*\p{Nd}){4,}`)

// keepSecret takes what may be a PIN out of a text of an officer's phone before
// anything reads it, and returns it apart. The line says no such number back and
// keeps none, whatever it was.
func (t *turn) keepSecret(text string) (rest string, found []string) {
	if t.w.Officer == nil {
		return text, nil
	}
	f := t.frameOf(topicOffice)
	asked := f != nil && (f.Open == slotPIN || f.Open == slotNewPIN || f.Open == slotCode)
	for _, run := range secret.FindAllString(text, -1) {
		found = append(found, pinOf(t.lang, run))
	}
	t.heard.Secret = len(found) > 0 || asked && strings.ContainsFunc(text, unicode.IsDigit)
	return strings.TrimSpace(secret.ReplaceAllString(text, " ")), found
}

var meantDigits = strings.NewReplacer("o", "0", "O", "0", "l", "1", "I", "1")

// pinOf returns the digits that were meant.
func pinOf(l locales.Lang, run string) string {
	return strings.Map(func(r rune) rune {
		if r < '0' || r > '9' {
			return -1
		}
		return r
	}, locales.Fold(l, meantDigits.Replace(run)))
}

// office answers a text of an officer's phone, if it is one for the office: rest
// is the text without what may be a PIN, found is that.
func (t *turn) office(r reading, ev Said, found []string) bool {
	o := t.w.Officer
	f := t.frameOf(topicOffice)
	if f != nil && (o == nil || !o.Open || t.w.Now.Unix() >= int64(f.Slots[slotUntil].Number)) {
		t.leaveOffice()
		f = nil
	}
	if o == nil || !o.Open || len(t.s.Alerts) > 0 && (r.whole("word.seen") || r.whole("word.ok")) {
		return false
	}
	if ev.Begins && len(found) == 0 && !t.e.callsOffice(r.text) {
		// Whoever dials has seen no question, and is shown nothing older.
		if f != nil && f.Open != slotCode {
			t.leaveOffice()
		}
		return false
	}
	switch begins := t.e.callsOffice(r.text); {
	case begins:
		t.leaveOffice()
		t.s.Frames = slices.DeleteFunc(t.s.Frames, func(f Frame) bool { return f.Topic == lobby })
		if len(t.s.Frames) >= maxFrames {
			t.s.Frames = t.s.Frames[1:]
		}
		t.s.Frames = append(t.s.Frames, Frame{Topic: topicOffice, Slots: Slots{}})
		t.stay()
		if o.Digest && !t.s.Stopped {
			t.setDigest() // should anything have ended it
		}
		if len(found) == 1 && len(found[0]) == pinDigits {
			t.top().Open = slotPIN
			t.askWorld(Ask{What: AskPIN, PIN: Secret(found[0])})
			return true
		}
		t.askOffice(slotPIN)
		return true
	case f == nil && len(found) > 0 && len(r.tokens) == 0:
		t.say("office.over", Answer, nil)
		return true
	case f == nil, len(found) == 0 && t.top().Topic != topicOffice:
		return false
	}
	t.raiseOffice()
	t.stay()
	if t.answerOffice(r, found) {
		return true
	}
	if f := t.top(); f != nil && f.Topic == topicOffice {
		t.leaveOffice() // the officer has gone on to something else
	}
	return false
}

// stay lets the session last from now on.
func (t *turn) stay() {
	t.top().Slots[slotUntil] = Value{Number: float64(t.w.Now.Add(officeLasts).Unix())}
}

// raiseOffice brings the session to the top: a question of the line's own may
// have come in between.
func (t *turn) raiseOffice() {
	f := *t.frameOf(topicOffice)
	t.leaveOffice()
	t.s.Frames = append(t.s.Frames, f)
}

// leaveOffice ends the session.
func (t *turn) leaveOffice() {
	t.s.Frames = slices.DeleteFunc(t.s.Frames, func(f Frame) bool { return f.Topic == topicOffice })
}

// askWorld asks the world, which answers with Found.
func (t *turn) askWorld(a Ask) {
	a.Via = t.via
	t.do(a)
}

// askOffice asks one of the office's questions.
func (t *turn) askOffice(slot Slot) {
	f := t.top()
	f.Open, f.Page, f.Fails, f.Options = slot, 0, 0, nil
	if q, ok := t.officeQuestion(f); ok {
		t.ask(f, q)
	}
}

// officeAgain goes on after an answer: on a screen with the list of what there
// is; by text its digits keep their meaning without being said again.
func (t *turn) officeAgain() {
	if t.via == USSD {
		t.askOffice(slotOffice)
		return
	}
	f := t.top()
	f.Open, f.Page, f.Fails, f.Options = slotOffice, 0, 0, nil
	q, _ := t.officeQuestion(f)
	for _, o := range q.options {
		f.Options = append(f.Options, o.key)
	}
}

// officeQuestion is what the session asks now.
func (t *turn) officeQuestion(f *Frame) (question, bool) {
	o := t.w.Officer
	if o == nil {
		return question{}, false
	}
	q := question{slot: f.Open, id: locales.ID("office.ask-" + string(f.Open))}
	switch f.Open {
	case slotOffice:
		morning := locales.ID("office.mornings")
		if o.Digest {
			morning = "office.no-mornings"
		}
		q.options = []option{
			{key: wantOutlook, label: "office.outlook"},
			{key: wantQuestions, label: "office.questions"},
			{key: wantCalls, label: "office.calls"},
			{key: wantWarning, label: "office.warning"},
			{key: wantMornings, label: morning},
		}
	case slotKind:
		for _, kind := range ReadyNotices {
			q.options = append(q.options, option{key: kind, label: locales.ID("office." + kind)})
		}
	case slotPlace:
		for _, key := range t.officePlaces() {
			q.options = append(q.options, option{key: key, label: "place.name", args: locales.Args{"Name": t.placeName(key)}})
		}
	case slotHour:
		if at := t.likelyHour(f); !at.IsZero() {
			day := t.in(f.Slots[slotPlace].Key).day(at)
			q.options = []option{{key: keyForecast, label: "when.day", args: locales.Args{"Day": day, "Time": t.in(f.Slots[slotPlace].Key).clock(at)}}}
		}
	}
	return q, true
}

// in returns the turn as it would be at another place.
func (t *turn) in(place string) *turn {
	other := *t
	other.place = placeOf(t.w.Facts, place)
	other.now = t.w.Now.In(other.place.Zone)
	return &other
}

// officePlaces lists the places whose people the officer sees to.
func (t *turn) officePlaces() []string {
	all := t.placeKeys()
	if len(t.w.Officer.Places) == 0 {
		return all
	}
	return slices.DeleteFunc(all, func(key string) bool { return !slices.Contains(t.w.Officer.Places, key) })
}

// placeName is how a place is called, or its key.
func (t *turn) placeName(key string) string {
	if p := placeOf(t.w.Facts, key); p.Key == key && p.Name != "" {
		return p.Name
	}
	return key
}

// likelyHour is when the forecast says that it will rain, or the coming evening
// for a cold night; zero if nothing tells.
func (t *turn) likelyHour(f *Frame) time.Time {
	at := t.in(f.Slots[slotPlace].Key)
	switch f.Slots[slotKind].Key {
	case "rain":
		return at.nextRain()
	case "cold":
		y, m, d := at.now.Date()
		evening := time.Date(y, m, d, 18, 0, 0, 0, at.place.Zone)
		if !evening.After(at.now) {
			evening = evening.AddDate(0, 0, 1)
		}
		return evening
	}
	return time.Time{}
}

// nextRain is when the forecast of the place says that rain begins; zero if it
// does not.
func (t *turn) nextRain() time.Time {
	days := t.outlook()
	i := slices.IndexFunc(days, func(d calc.OutlookDay) bool { return d.RainFrom.After(t.w.Now) })
	if i < 0 {
		return time.Time{}
	}
	return days[i].RainFrom
}

// answerOffice takes a text as the answer to the open question of the session.
// One that is none, and says something else, leaves it.
func (t *turn) answerOffice(r reading, found []string) bool {
	f := t.top()
	n, digit := r.digit()
	list := len(f.Options) > 0
	switch {
	case list && digit && n == 9, r.whole("word.hurt"):
		t.hurtMenu()
		return true
	case list && digit && n == 0, r.whole("word.menu"):
		t.leaveOffice()
		t.menu()
		return true
	case list && digit && n == 8:
		t.more()
		return true
	case list && digit && n == 7, r.whole("word.back"), f.Open != slotCode && r.whole("word.no"):
		t.officeBack(f)
		return true
	}
	switch f.Open {
	case slotPIN, slotNewPIN:
		return t.pinIn(f, r, found)
	case slotCode:
		return t.codeIn(f, r, found)
	}
	if len(found) > 0 { // a number that belongs to no question of now
		t.askOffice(f.Open)
		return true
	}
	key, ok := f.pick(r)
	said := r // what the text says besides the answer
	if ok {
		said = reading{}
	} else {
		key, ok = t.labelled(f, r, false)
	}
	switch kind, place := t.readyKind(r), t.officePlaceIn(r); {
	case f.Open == slotOffice && !ok && kind != "" && !t.burning() && t.w.Channel.Sends: // beside a drum of one's own rain is rain
		t.forgetDraft(f)
		f.Slots[slotKind] = Value{Key: kind}
		t.nextOfWarning(f, said)
	case f.Open == slotOffice && ok:
		t.officeWants(f, key)
	case f.Open == slotKind && (ok || kind != ""):
		f.Slots[slotKind] = Value{Key: cmp.Or(key, kind)}
		t.nextOfWarning(f, said)
	case f.Open == slotPlace && (ok || place != ""):
		f.Slots[slotPlace] = Value{Key: cmp.Or(key, place)}
		t.nextOfWarning(f, said)
	case f.Open == slotHour && ok:
		t.hourIn(f, t.likelyHour(f))
	case f.Open == slotHour && t.in(f.Slots[slotPlace].Key).tells(r):
		t.hourIn(f, t.in(f.Slots[slotPlace].Key).toldHour(r))
	case f.Fails < failsForList && !t.saysElse(r): // a slip
		fails := f.Fails + 1
		t.askOffice(f.Open)
		t.top().Fails = fails
		t.prefix("line.unknown")
	default:
		return false
	}
	return true
}

// saysElse reports whether a text says what the line knows otherwise: a topic, a
// waste, a report of a drum, a word that is always understood.
func (t *turn) saysElse(r reading) bool {
	_, report := t.hear(r)
	return report || t.named(r) != "" || r.hasFamily("waste") || r.hasFamily("lang") ||
		slices.ContainsFunc([]string{"help", "why", "language", "call", "start", "forget-me", "not-me"}, func(w string) bool { return r.whole("word." + w) })
}

// officeBack returns to the list of what there is, and from there to the menu of
// everybody.
func (t *turn) officeBack(f *Frame) {
	switch {
	case f.Page > 0:
		f.Page--
		t.resume()
	case f.Open == slotOffice, f.Open == slotPIN, f.Open == slotNewPIN:
		t.leaveOffice()
		t.menu()
	default:
		t.askOffice(slotOffice)
	}
}

// pinIn takes a text as a PIN. A text with no digit is none, and neither is what
// reports of a drum.
func (t *turn) pinIn(f *Frame, r reading, found []string) bool {
	if _, report := t.hear(r); len(found) == 0 && (report || !t.heard.Secret && len(r.tokens) > 0) {
		return false
	}
	if len(found) != 1 || len(found[0]) != pinDigits {
		t.say("office.no-pin", Answer, nil)
		return true
	}
	what := AskPIN
	if f.Open == slotNewPIN {
		what = AskNewPIN
	}
	t.askWorld(Ask{What: what, PIN: Secret(found[0])})
	return true
}

// codeIn takes a text as the code that confirms a notice.
func (t *turn) codeIn(f *Frame, r reading, found []string) bool {
	over := t.w.Now.Unix() >= int64(f.Slots[slotCodeEnds].Number)
	switch {
	case len(found) == 0 && !t.heard.Secret && !r.whole("word.no") && len(r.tokens) > 0:
		return false
	case len(found) == 1 && found[0] == f.Slots[slotCode].Key && !over:
		t.askWorld(Ask{What: AskSend, Place: f.Slots[slotPlace].Key, Notice: t.draft(f)})
		return true
	case !r.whole("word.no") && !over && f.Slots[slotTries].Number+1 < maxTries:
		f.Slots[slotTries] = Value{Number: f.Slots[slotTries].Number + 1}
		t.say("office.no-code", Answer, nil)
		return true
	}
	t.forgetDraft(f)
	t.say("office.unsent", Answer, nil)
	t.askOffice(slotOffice)
	return true
}

// forgetDraft forgets a notice that is not sent.
func (t *turn) forgetDraft(f *Frame) {
	for _, s := range []Slot{slotKind, slotPlace, slotHour, slotCode, slotCodeEnds, slotTries} {
		delete(f.Slots, s)
	}
}

// officeWants does what was chosen.
func (t *turn) officeWants(f *Frame, key string) {
	t.forgetDraft(f)
	f.Slots[slotOffice] = Value{Key: key}
	switch key {
	case wantOutlook:
		t.nextOfWarning(f, reading{})
	case wantQuestions:
		t.askWorld(Ask{What: AskQuestions})
	case wantCalls:
		t.askWorld(Ask{What: AskCalls})
	case wantWarning:
		if !t.w.Channel.Sends {
			t.say("office.cannot", Answer, nil)
			t.officeAgain()
			return
		}
		t.askOffice(slotKind)
	case wantMornings:
		what := AskMornings
		if t.w.Officer.Digest {
			what = AskNoMornings
		}
		t.askWorld(Ask{What: what})
	}
}

// readyKind is the ready notice that a text names by a word of its label.
func (t *turn) readyKind(r reading) string {
	for _, kind := range ReadyNotices {
		for _, label := range read(t.lang, t.text(locales.ID("office."+kind), nil)) {
			for _, tok := range r.tokens {
				if tok.word == label.word && utf8.RuneCountInString(tok.word) >= leastWord {
					return kind
				}
			}
		}
	}
	return ""
}

// leastWord is how many letters a word has that names a warning: "and" is in
// many labels.
const leastWord = 4

// officePlaceIn is the officer's place that a text names.
func (t *turn) officePlaceIn(r reading) string {
	if key := t.placeNamed(r); slices.Contains(t.officePlaces(), key) {
		return key
	}
	return ""
}

// nextOfWarning asks for what a warning still lacks, or for the place of the
// outlook. What the text says besides is taken.
func (t *turn) nextOfWarning(f *Frame, r reading) {
	places := t.officePlaces()
	if key := t.officePlaceIn(r); f.Slots[slotPlace].Key == "" && key != "" {
		f.Slots[slotPlace] = Value{Key: key}
	}
	if f.Slots[slotPlace].Key == "" && len(places) == 1 {
		f.Slots[slotPlace] = Value{Key: places[0]}
	}
	at := t.in(f.Slots[slotPlace].Key)
	switch {
	case f.Slots[slotPlace].Key == "":
		t.askOffice(slotPlace)
	case f.Slots[slotKind].Key == "":
		t.askWorld(Ask{What: AskOutlook, Place: f.Slots[slotPlace].Key})
	case at.tells(r):
		t.hourIn(f, at.toldHour(r))
	default:
		t.askOffice(slotHour)
	}
}

// tells reports whether a text tells an hour.
func (t *turn) tells(r reading) bool { return !t.toldHour(r).IsZero() }

// toldHour is the next time at which it is the hour that a text tells: "15:00",
// "tomorrow 6", "saa 9", "Tuesday 14:30".
func (t *turn) toldHour(r reading) time.Time {
	clock, _ := r.clockTime(locales.Agglutinative(t.lang))
	for _, tok := range r.tokens {
		if clock < 0 && tok.isNumber && tok.number == float64(int(tok.number)) && tok.number < 24 {
			clock = time.Duration(tok.number) * time.Hour
		}
	}
	if clock < 0 {
		return time.Time{}
	}
	at := midnight(t.now).Add(clock)
	for day := range 8 {
		date := midnight(t.now).AddDate(0, 0, day)
		at = time.Date(date.Year(), date.Month(), date.Day(), 0, int(clock/time.Minute), 0, 0, t.place.Zone)
		if at.After(t.w.Now) && t.onDay(r, at) {
			return at
		}
	}
	return at
}

// onDay reports whether a text names the day of a time, or no day. It looks at
// every word, for "rain tomorrow" has a meaning of its own.
func (t *turn) onDay(r reading, at time.Time) bool {
	for _, tok := range r.tokens {
		for _, concept := range t.e.lexicons.words[t.lang].main.phrases[tok.word].concepts {
			if family(concept) == "weekday" {
				return name(concept) == strings.ToLower(at.Weekday().String()[:3]) ||
					name(concept) == "tomorrow" && midnight(t.now).AddDate(0, 0, 1).Equal(midnight(at))
			}
		}
	}
	return true
}

// hourIn takes the hour of a warning, and asks whom it would reach.
func (t *turn) hourIn(f *Frame, at time.Time) {
	if at.IsZero() { // the forecast has changed
		t.askOffice(slotHour)
		return
	}
	f.Slots[slotHour] = Value{Number: float64(at.Unix())}
	t.askWorld(Ask{What: AskCount, Place: f.Slots[slotPlace].Key, Notice: t.draft(f)})
}

// draft is the notice that was filled in.
func (t *turn) draft(f *Frame) Notice {
	return Notice{Ready: f.Slots[slotKind].Key, Hour: time.Unix(int64(f.Slots[slotHour].Number), 0).UTC()}
}

// found goes on with what the world has answered.
func (t *turn) found(ev Found) {
	t.via, t.heard.Understood = ev.Ask.Via, true
	f := t.top()
	if ev.Ask.What == AskDigest {
		t.digest(ev.Work)
		return
	}
	if f == nil || f.Topic != topicOffice || t.w.Officer == nil {
		return
	}
	switch ev.Ask.What {
	case AskPIN, AskNewPIN:
		t.pinFound(ev)
	case AskOutlook:
		t.officeOutlook(ev)
	case AskQuestions:
		t.waiting("office.n-questions", "office.no-questions", "office.question", ev.Work.Questions, ev.Rows)
	case AskCalls:
		t.waiting("office.n-calls", "office.no-calls", "office.call", ev.Work.Calls, ev.Rows)
	case AskCount:
		t.counted(f, ev)
	case AskSend:
		t.sent(f, ev)
	case AskMornings:
		t.setDigest()
		t.say("office.mornings-on", Answer, nil)
		t.officeAgain()
	case AskNoMornings:
		t.clear(timerDigest)
		t.say("office.mornings-off", Answer, nil)
		t.officeAgain()
	}
}

// pinFound goes on after a PIN was looked at.
func (t *turn) pinFound(ev Found) {
	switch {
	case ev.No == NoLocked:
		t.leaveOffice()
		t.say("office.locked", Answer, nil)
	case ev.No == NoWeak:
		t.say("office.weak", Answer, nil)
	case ev.No != 0:
		t.say("office.wrong", Answer, nil)
	case ev.Ask.What == AskPIN && t.w.Officer.Given:
		t.askOffice(slotNewPIN)
	default:
		t.askOffice(slotOffice)
	}
}

// officeOutlook says the coming days of a place and what is under way there.
func (t *turn) officeOutlook(ev Found) {
	at := t.in(ev.Ask.Place)
	work := t.text("office.work", locales.Args{"Drying": ev.Work.Drying, "Alight": ev.Work.Alight})
	days := at.outlook()
	if len(days) == 0 {
		none := t.text("weather.none", nil)
		if at.forecast() == nil {
			none = at.age()
		}
		t.add(Reply{Key: "weather.none", Text: none, Urgency: Answer})
		t.add(Reply{Key: "office.work", Text: t.placeName(ev.Ask.Place) + ": " + work, Urgency: Answer})
		t.officeAgain()
		return
	}
	lines, _ := at.sky(days)
	t.add(Reply{
		Key: "weather.days", Urgency: Answer,
		Text: t.text("weather.days", locales.Args{"Place": t.placeName(ev.Ask.Place), "Lines": lines}) + " " + work,
	})
	at.out.Replies = nil
	at.lighting(days)
	t.add(at.out.Replies[0])
	t.officeAgain()
}

// waiting sends the list of those who wait, to the phone alone: it holds other
// people's words and numbers.
func (t *turn) waiting(some, none, line locales.ID, count int, rows []Waiting) {
	if len(rows) == 0 {
		t.say(none, Answer, nil)
		t.officeAgain()
		return
	}
	if !t.w.Channel.Sends {
		t.say("office.cannot", Answer, nil)
		t.officeAgain()
		return
	}
	lines := []string{t.count(some, count, nil)}
	for _, w := range rows {
		at := t.in(w.Place)
		lines = append(lines, t.text(line, locales.Args{
			"When": at.when(w.At), "Place": t.placeName(w.Place), "Number": w.Number, "Text": shortened(w.Text),
		}))
	}
	t.add(Reply{Key: string(some), Text: strings.Join(lines, "\n"), Urgency: Answer, Apart: true})
	if t.via == USSD {
		t.say("office.by-text", Answer, nil)
	}
	t.officeAgain()
}

// longestQuestion is how much of a question is read out, in letters.
const longestQuestion = 80

// shortened returns a text as one line of a list holds it.
func shortened(text string) string {
	runes := []rune(strings.Join(strings.Fields(text), " "))
	if len(runes) > longestQuestion {
		return string(runes[:longestQuestion-2]) + ".."
	}
	return string(runes)
}

// counted shows what a notice would come to, and sends the code that confirms it
// in a message of its own: who only pretends to text from this number does not
// get it.
func (t *turn) counted(f *Frame, ev Found) {
	switch {
	case ev.No == NoLate:
		t.say("office.late", Answer, nil)
		t.askOffice(slotHour)
		return
	case ev.No == NoMany:
		t.say("office.many", Answer, locales.Args{"Persons": ev.Persons, "Most": ev.Most})
		t.forgetDraft(f)
		t.officeAgain()
		return
	case ev.Persons == 0:
		t.say("office.nobody", Answer, nil)
		t.forgetDraft(f)
		t.officeAgain()
		return
	}
	at := t.in(ev.Ask.Place)
	text := t.text(locales.ID("notice."+ev.Ask.Notice.Ready), locales.Args{"Place": t.placeName(ev.Ask.Place), "When": at.when(ev.Ask.Notice.Hour)})
	t.add(Reply{
		Key: "office.draft", Urgency: Answer, End: t.via == USSD, // the code comes as a text
		Text: t.text("office.draft", locales.Args{"Persons": ev.Persons, "Segments": ev.Segments}) + "\n" + text,
	})
	t.add(Reply{Key: "office.code", Text: t.text("office.code", locales.Args{"Code": ev.Code}), Urgency: Answer, Valid: codeLasts, Apart: true})
	f.Slots[slotCode] = Value{Key: ev.Code}
	f.Slots[slotCodeEnds] = Value{Number: float64(t.w.Now.Add(codeLasts).Unix())}
	delete(f.Slots, slotTries)
	f.Open, f.Options, f.Page, f.Fails = slotCode, nil, 0, 0
}

// sent says that a notice goes out, or why not. Then the session is over.
func (t *turn) sent(f *Frame, ev Found) {
	switch ev.No {
	case NoMany:
		t.say("office.many", Answer, locales.Args{"Persons": ev.Persons, "Most": ev.Most})
	case NoLate:
		t.say("office.late", Answer, nil)
	default:
		t.say("office.sending", Answer, locales.Args{"Persons": ev.Persons})
	}
	t.leaveOffice()
}

// posted takes note that the number is an officer's phone, or no longer.
func (t *turn) posted(ev Posted) {
	t.heard.Understood = true
	o := t.w.Officer
	if o == nil || !o.Open {
		t.clear(timerDigest)
		t.leaveOffice()
		return
	}
	if !t.s.Chosen && t.speaks(ev.Lang) {
		t.s.Lang, t.lang = ev.Lang, ev.Lang
	}
	if o.Digest && !t.s.Stopped {
		t.setDigest()
	} else {
		t.clear(timerDigest)
	}
	if ev.Fresh && !t.s.Stopped {
		t.say("office.posted", Answer, nil)
	}
}

// setDigest sets the list of the next morning, in the zone of the officer's
// places.
func (t *turn) setDigest() {
	at := t
	if places := t.officePlaces(); len(places) > 0 {
		at = t.in(places[0])
	}
	y, m, d := at.now.Date()
	next := time.Date(y, m, d, mornings, 0, 0, 0, at.place.Zone)
	if !next.After(at.now) {
		next = time.Date(y, m, d+1, mornings, 0, 0, 0, at.place.Zone)
	}
	t.set(Timer{ID: timerDigest, At: next, Kind: string(timerDigest)})
}

// morningDue asks for the list of the morning and sets the next one.
func (t *turn) morningDue(late time.Duration) {
	o := t.w.Officer
	if o == nil || !o.Open || !o.Digest || t.s.Stopped {
		return
	}
	t.setDigest()
	if late <= digestLate {
		t.do(Ask{What: AskDigest})
	}
}

// digest says what the morning holds, in a message or two however much it is.
func (t *turn) digest(w Work) {
	var parts []string
	for _, n := range []struct {
		id    locales.ID
		count int
	}{
		{"office.sum-emergencies", w.Emergencies},
		{"office.sum-questions", w.Questions},
		{"office.sum-calls", w.Calls},
		{"office.sum-alight", w.Alight},
		{"office.sum-drying", w.Drying},
	} {
		if n.count > 0 {
			parts = append(parts, t.count(n.id, n.count, nil))
		}
	}
	text := t.text("office.quiet", nil)
	if len(parts) > 0 {
		text = t.text("office.morning", locales.Args{"Parts": strings.Join(parts, ", ")})
	}
	text += " " + t.rainAhead()
	if len(parts) > 0 {
		text += " " + t.text("office.read", nil)
	}
	if o := t.w.Officer; o != nil && o.Ends.Sub(t.w.Now) < endsSoon {
		text += " " + t.text("office.ends", locales.Args{"Date": o.Ends.In(t.place.Zone).Format("2/1")})
	}
	t.add(Reply{Key: "office.morning", Text: text, Urgency: Reminder, Valid: digestValid})
}

// rainAhead names the place of the officer where it rains first within two days.
func (t *turn) rainAhead() string {
	var first time.Time
	place, known := "", false
	for _, key := range t.officePlaces() {
		at := t.in(key)
		known = known || at.forecast() != nil
		if rain := at.nextRain(); !rain.IsZero() && rain.Sub(t.w.Now) <= rainSoon && (first.IsZero() || rain.Before(first)) {
			first, place = rain, key
		}
	}
	switch {
	case !first.IsZero():
		return t.text("office.rain-ahead", locales.Args{"Place": t.placeName(place), "When": t.in(place).when(first)})
	case known:
		return t.text("office.no-rain", nil)
	}
	return t.text("office.no-forecast", nil)
}

// resign tells the world that the number is no officer's phone any more.
func (t *turn) resign() {
	if t.w.Officer != nil {
		t.do(Resign{})
	}
}

// AsksSecret reports whether a PIN or a code is what the conversation waits for.
func (s State) AsksSecret() bool {
	return slices.ContainsFunc(s.Frames, func(f Frame) bool {
		return f.Topic == topicOffice && (f.Open == slotPIN || f.Open == slotNewPIN || f.Open == slotCode)
	})
}
