package dialog

import (
	"slices"
	"strings"
	"time"

	"cobline/calc"
	"cobline/locales"
)

// How late a timed message may still be sent. All of them carry their own clock
// time and stay harmless when read later still.
const (
	smokeValid  = 20 * time.Minute
	coverValid  = 30 * time.Minute
	silentValid = 8 * time.Hour
	openValid   = 9 * time.Hour
	plainValid  = 24 * time.Hour
)

// due answers a timer. A timer the state no longer holds does nothing.
func (t *turn) due(timer Timer) {
	i := slices.IndexFunc(t.s.Timers, func(o Timer) bool { return o.ID == timer.ID && o.At.Equal(timer.At) })
	if i < 0 {
		return
	}
	t.s.Timers = slices.Delete(t.s.Timers, i, i+1)
	late := t.w.Now.Sub(timer.At)
	switch timer.Kind {
	case string(timerDuty):
		t.nextDuty()
		return
	case string(timerDigest):
		t.morningDue(late)
		return
	case string(timerFollowUp):
		t.followUp()
		return
	case string(timerAsk):
		t.ordinary(timer, func() { t.remind("ask.sent-over", nil, plainValid) })
		return
	case string(timerHeld):
		t.sayHeld()
		return
	case string(timerCall):
		t.ordinary(timer, func() { t.remind("ask.call-over", nil, plainValid) })
		return
	}
	d := t.drum(timer.Drum)
	if d == nil {
		return
	}
	args := locales.Args{"Drum": d.Name, "Time": t.clock(timer.At), "Lit": t.clock(d.LitAt), "When": t.when(d.NotBefore)}
	switch timer.Kind {
	case timerSmoke:
		if d.Stage != stageLit || late > smokeValid {
			return
		}
		if t.isDark() {
			t.remindSafety("burn.dark-at", args, silentValid)
			return
		}
		t.askSmoke(d, timer.At)
	case timerCover:
		if d.Stage != stageLit || late > coverValid || t.isDark() {
			return
		}
		t.remindSafety("burn.cover", args, coverValid)
	case timerSilent:
		if d.Stage == stageLit && t.w.Now.Before(d.NotBefore) {
			t.remindSafety("burn.silent", args, min(silentValid, d.NotBefore.Sub(t.w.Now)))
		}
	case timerHold:
		if d.Stage == stageSealed && t.w.Now.Before(d.NotBefore) {
			t.remindSafety("burn.hold", args, d.NotBefore.Sub(t.w.Now))
		}
	case timerOpen:
		t.mayOpen(d)
	case timerWeigh:
		if d.Stage == stageOpened {
			t.ordinary(timer, func() { t.remind("burn.weigh", args, plainValid) })
		}
	case timerClose:
		name := d.Name
		t.drop(name)
		t.ordinary(timer, func() { t.remind("burn.closed", locales.Args{"Drum": name}, plainValid) })
	}
}

// ordinary does what is no matter of a hot drum, but not within a day of an
// emergency.
func (t *turn) ordinary(timer Timer, do func()) {
	if t.w.Now.Before(t.s.Paused) {
		timer.At = t.s.Paused
		t.set(timer)
		return
	}
	do()
}

// remind adds a timed message that may wait for the morning.
func (t *turn) remind(id locales.ID, a locales.Args, valid time.Duration) {
	t.add(Reply{Key: string(id), Text: t.text(id, a), Urgency: Reminder, Valid: valid})
}

// remindSafety adds a timed message that looks after a hot drum.
func (t *turn) remindSafety(id locales.ID, a locales.Args, valid time.Duration) {
	t.add(Reply{Key: string(id), Text: t.text(id, a), Urgency: Safety, Valid: valid})
}

// askSmoke asks what the smoke looks like.
func (t *turn) askSmoke(d *Drum, at time.Time) {
	t.aside(topicSmoke, Slots{slotDrum: {Key: d.Name}, slotAt: {Number: float64(at.Unix())}})
	last := &t.out.Replies[len(t.out.Replies)-1]
	last.Urgency, last.Valid = Safety, smokeValid
}

// mayOpen announces that the wait is over, in daylight only. The cold test
// never stands without the not-before time.
func (t *turn) mayOpen(d *Drum) {
	if d.Stage != stageSealed {
		return
	}
	if t.w.Now.Before(d.NotBefore) {
		t.timer(timerOpen, d.Name, d.NotBefore)
		return
	}
	if day := t.notBefore(t.w.Now, 0); day.After(t.w.Now.Add(5 * time.Minute)) {
		t.timer(timerOpen, d.Name, day)
		return
	}
	valid := openValid
	if end := t.place.latestLighting(t.now, calc.BurnClock{}); end.After(t.now) {
		valid = min(valid, end.Sub(t.now))
	}
	t.add(Reply{Key: "burn.may-open", Text: t.text("burn.may-open", locales.Args{"Drum": d.Name, "When": t.when(d.NotBefore)}), Urgency: Reminder, Valid: valid})
	t.add(Reply{Key: "caution.glowing", Text: t.text("caution.glowing", nil), Urgency: Reminder, Valid: valid})
}

// lapsed puts the safe text in the place of one that was never sent. A safe
// text that lapses itself brings no other.
func (t *turn) lapsed(ev Lapsed) {
	t.heard.Understood = true
	if !strings.HasPrefix(ev.Key, topicBurn+".") && !strings.HasPrefix(ev.Key, "caution.") || ev.Key == "burn.lapsed" || ev.Key == "burn.lapsed-lit" {
		return
	}
	if d, ok := t.latestSealed(); ok && t.w.Now.Before(d.NotBefore) {
		t.remindSafety("burn.lapsed", locales.Args{"Drum": d.Name, "When": t.when(d.NotBefore)}, d.NotBefore.Sub(t.w.Now))
		return
	}
	for _, d := range t.s.Drums {
		if d.Stage == stageLit && t.w.Now.Before(d.NotBefore) {
			t.remindSafety("burn.lapsed-lit", locales.Args{"Drum": d.Name, "When": t.when(d.NotBefore)}, d.NotBefore.Sub(t.w.Now))
			return
		}
	}
}

// enrolled takes over what an officer entered, and says who writes and why to a
// number never met. The gas caution and the languages come with the answer to the
// person's first text, as they do for everybody. What a person has told the line
// about messages counts more than what an officer was told; one who left is left
// alone.
func (t *turn) enrolled(p Profile) {
	t.heard.Understood = true
	if t.s.Stopped {
		return
	}
	known := t.s.Met || t.s.Profile != (Profile{})
	if t.speaks(p.Lang) {
		t.s.Lang, t.s.Chosen, t.lang = p.Lang, true, p.Lang
	}
	if p.Place != "" {
		t.s.Place = p.Place
		t.place = placeOf(t.w.Facts, p.Place)
	}
	p.Group = strings.ToValidUTF8(p.Group, "\uFFFD")
	if own := t.s.Profile.Consent; own == consentYes || own == consentNo {
		p.Consent = own
	}
	t.s.Profile = p
	if !known {
		t.add(Reply{Key: "enrol.hello", Text: t.text("enrol.hello", nil), Urgency: Reminder, Valid: greetingValid})
	}
}

// greetingValid is how long the first message to an imported number may wait for
// its turn: thousands are entered at once.
const greetingValid = 7 * 24 * time.Hour
