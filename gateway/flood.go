package gateway

import (
	"slices"
	"strings"
	"time"
	"unicode"

	"cobline/dialog"
)

// Traffic is what a number has lately been answered, as far as floods and loops
// go.
type Traffic struct {
	// Full is when the whole hourly allowance will be there again.
	Full time.Time `cbor:"1,keyasint,omitzero"`
	Same []Same    `cbor:"2,keyasint,omitempty"` // oldest first
}

// Same counts texts of the same words.
type Same struct {
	Words MessageID `cbor:"1,keyasint"` // a digest
	Since time.Time `cbor:"2,keyasint"` // when the first of them came
	Count int       `cbor:"3,keyasint"`
}

// Why a text is journalled and not answered, as the journal and metrics have it.
const (
	Flooded = "flood" // the number had its answers for the hour
	Looped  = "loop"  // the same words have been answered often enough
	Crowded = "parts" // a part of a long text beyond those that are held
)

// What an hour holds. Common practice, all of it.
const (
	trafficSpan = time.Hour
	// How often the same words are answered: those of which nothing is made, those
	// of an emergency or a report, and others. Two machines that answer each other
	// stop after as many.
	maxPuzzling = 3
	maxUrgent   = 10
	maxSame     = 6
	// A machine writes sentences; a person in need writes "pls" ten times. Words of
	// fewer letters are never too often the same, those of an emergency or a report
	// only if they are as long as no person types twice.
	minLetters       = 16
	minLettersUrgent = 60
	keptSame         = 16
)

// judge returns the traffic of a number after a text, and why the text is not to
// be answered, if it is not. perHour is how many are answered in an hour, at once
// or one by one; zero is no limit. Emergencies, opt-outs and what is reported of
// a burn do not count.
func (t Traffic) judge(text string, h dialog.Heard, perHour int, now time.Time) (Traffic, string) {
	urgent := urgent(h)
	if perHour > 0 && !urgent {
		full := t.Full
		if full.Before(now) {
			full = now
		}
		if full = full.Add(trafficSpan / time.Duration(perHour)); full.Sub(now) > trafficSpan {
			return t, Flooded
		}
		t.Full = full
	}
	puzzling := h.Topic == "" && len(h.Slots) == 0 && !urgent
	least, most := minLetters, maxSame
	switch {
	case urgent:
		least, most = minLettersUrgent, maxUrgent
	case puzzling:
		most = maxPuzzling
	}
	words := onlyLetters(text)
	if len(words) < least || perHour == 0 && !puzzling {
		return t, ""
	}
	digest := NewMessageID("words", "", string(words))
	t.Same = slices.DeleteFunc(slices.Clone(t.Same), func(s Same) bool { return now.Sub(s.Since) > trafficSpan })
	i := slices.IndexFunc(t.Same, func(s Same) bool { return s.Words == digest })
	switch {
	case i < 0:
		t.Same = append(t.Same, Same{Words: digest, Since: now, Count: 1})
		t.Same = t.Same[max(0, len(t.Same)-keptSame):]
	case t.Same[i].Count >= most:
		return t, Looped
	default:
		t.Same[i].Count++
	}
	return t, ""
}

// urgent reports whether a text is one that no flood keeps from being answered.
func urgent(h dialog.Heard) bool { return h.Tier != "" || h.OptOut || h.Report != "" }

// onlyLetters returns what two texts have in common that differ in numbers, times
// and signs alone.
func onlyLetters(text string) []rune {
	return []rune(strings.Map(func(r rune) rune {
		if !unicode.IsLetter(r) {
			return -1
		}
		return unicode.ToLower(r)
	}, text))
}
