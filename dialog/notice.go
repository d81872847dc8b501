package dialog

import (
	"regexp"
	"slices"
	"time"

	"cobline/locales"
)

// NoticeKey is the key of the reply that is an officer's notice.
const NoticeKey = "notice"

// Notice is one officer's notice: in the languages it was written in, or one of
// the ready texts, which are said in each person's language. Integer keys are
// never reused.
type Notice struct {
	ID      string                  `cbor:"1,keyasint"`
	Texts   map[locales.Lang]string `cbor:"2,keyasint,omitempty"`
	Ready   string                  `cbor:"3,keyasint,omitempty"` // one of ReadyNotices
	Hour    time.Time               `cbor:"4,keyasint,omitzero"`  // what a ready text is about begins then
	Expires time.Time               `cbor:"5,keyasint"`
	Weather bool                    `cbor:"6,keyasint,omitempty"` // it concerns the weather: a person with a drum alight or sealed also gets the rain line
}

// ReadyNotices are the texts about the weather that need only a place and an
// hour.
var ReadyNotices = []string{"rain", "wind", "cold"}

// askAgain is how long the question after a long absence stands. It may never
// have left, or nobody answered it: a notice after that asks once more.
const askAgain = 7 * 24 * time.Hour

// told is an officer's notice. After a long absence the number may have another
// owner: they are asked something that shows nothing, and the notice waits.
func (t *turn) told(n Notice) {
	t.heard.Understood = true
	valid := n.Expires.Sub(t.w.Now)
	text := t.noticeText(n)
	if text == "" || t.s.Stopped || valid <= 0 {
		return
	}
	if t.absent() {
		t.askStillYou(min(valid, askAgain))
		return
	}
	t.add(Reply{Key: NoticeKey, Text: text, Urgency: Bulletin, Valid: valid})
	if !n.Weather || !t.burning() {
		return
	}
	caution := func(id locales.ID) {
		t.add(Reply{Key: string(id), Text: t.text(id, nil), Urgency: Safety, Valid: valid})
	}
	caution("burn.rain")
	if _, alight := t.litDrum(); alight && !t.isDark() {
		caution("burn.rain-lit")
	}
}

// Absent reports whether it is not known, after a long absence, who has the
// number.
func (s State) Absent(now time.Time) bool {
	return s.Stranger == Unasked || !s.Asked.IsZero() || !s.Seen.IsZero() && now.Sub(s.Seen) > longAbsence
}

func (t *turn) absent() bool { return t.s.Absent(t.w.Now) }

// askStillYou asks whoever has the number something that shows nothing, unless
// that question stands.
func (t *turn) askStillYou(valid time.Duration) {
	if !t.s.Asked.IsZero() && t.w.Now.Sub(t.s.Asked) < askAgain {
		return
	}
	t.s.Asked = t.seen()
	t.add(Reply{Key: "notice.still-you", Text: t.text("notice.still-you", nil), Urgency: Bulletin, Valid: valid})
}

// noticeText is the notice in the person's language, or in the line's own.
func (t *turn) noticeText(n Notice) string {
	if slices.Contains(ReadyNotices, n.Ready) {
		return t.text(locales.ID("notice."+n.Ready), locales.Args{"Place": t.place.Name, "When": t.when(n.Hour)})
	}
	if text := n.Texts[t.lang]; text != "" {
		return text
	}
	return n.Texts[t.e.fallback]
}

// recognise ends the question after a long absence: a person who uses the line,
// or wants to be back on it, may be sent what waits.
func (t *turn) recognise() {
	if t.heard.Understood && !t.heard.OptOut && !t.s.Asked.IsZero() {
		t.s.Asked = time.Time{}
		if t.s.Stranger == Unasked {
			t.s.Stranger = Writes
		}
		if len(t.s.Held) > 0 {
			t.set(Timer{ID: timerHeld, At: t.w.Now, Kind: string(timerHeld)})
		}
	}
}

var digitWanted = regexp.MustCompile(`(?im)^\s*[0-9][ .:)=-]+\pL|\b(?:reply|answer|text|send|press|type|jibu|andika|tuma|bonyeza)(?:\s+(?:with|na|by|kwa))?\W{1,3}[0-9]\b`)

// AsksForDigit reports whether a notice asks to be answered by a digit. A digit
// belongs to the question a conversation has open, so a notice asks for a word.
func AsksForDigit(text string) bool { return digitWanted.MatchString(text) }

// Ring is how near to the weather a person's work is.
type Ring uint8

// The rings, the nearest first. Zero is nobody a notice is for.
const (
	RingReported Ring = 1 // something dries, or a drum is alight, sealed or open, as they reported
	RingLikely   Ring = 2 // they asked for a recipe, or burned, in the last ten days
	RingAccepted Ring = 3 // they accepted messages
)

// DryingTime is how long something that was weighed may still dry, and a recipe
// may still be used. Common practice.
const DryingTime = 10 * 24 * time.Hour

// StageDrying is the stage of what was weighed and is not yet dry.
const StageDrying = "drying"

// Ring returns the nearest ring a person is in.
func (s State) Ring(now time.Time) Ring {
	recipe := slices.ContainsFunc(s.Frames, func(f Frame) bool { return f.Topic == topicRecipe })
	switch {
	case len(s.Stages(now)) > 0:
		return RingReported
	case recipe && now.Sub(s.Seen) <= DryingTime:
		return RingLikely
	case s.Accepts():
		return RingAccepted
	}
	return 0
}

// Accepts reports whether the person agreed to be sent messages, by text or
// through whoever enrolled them.
func (s State) Accepts() bool {
	return !s.Stopped && s.Profile.Consent != "" && s.Profile.Consent != consentNo
}

// Declines reports whether the person wants no messages they did not ask for.
func (s State) Declines() bool { return s.Stopped || s.Profile.Consent == consentNo }

// Stages returns what a person has reported to have under way: the stage of each
// drum, and StageDrying.
func (s State) Stages(now time.Time) (stages []string) {
	for _, d := range s.Drums {
		stages = append(stages, d.Stage)
	}
	if len(s.Drying(now)) > 0 {
		stages = append(stages, StageDrying)
	}
	return stages
}

// Drying returns the wastes whose charcoal was weighed lately: its briquettes
// dry.
func (s State) Drying(now time.Time) (wastes []string) {
	for _, b := range s.Batches {
		if now.Sub(b.At) <= DryingTime {
			wastes = append(wastes, b.Waste)
		}
	}
	return wastes
}

// DriesWaste reports whether the person's waste was too wet to light lately, or
// they asked how to dry it: it dries.
func (s State) DriesWaste(now time.Time) bool {
	asked := slices.ContainsFunc(s.Frames, func(f Frame) bool { return f.Topic == topicWasteDrying })
	return (s.Wet || asked) && now.Sub(s.Seen) <= DryingTime
}

// Burning reports whether a drum is alight or sealed.
func (s State) Burning() bool {
	return slices.ContainsFunc(s.Drums, func(d Drum) bool { return d.Stage != stageOpened })
}
