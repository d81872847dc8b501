package locales

import (
	"regexp"
	"slices"
	"strings"
)

// Signature is what a file says beside a message about who looked at it.
type Signature struct {
	By      string // who signed it and when, "" if nobody did
	Version string // like v1, "" if there is none
	Back    string // what the text says in the default language
	Strayed bool   // somebody signed another text than stands there
}

var signature = regexp.MustCompile(`^(?:draft, unreviewed, (v[0-9]+)|reviewed by ([^,]+, [0-9]{4}-[0-9]{2}-[0-9]{2}), (v[0-9]+) of ([0-9a-f]{8}))(?:\. (.+))?$`)

// Signature returns what stands beside a message: "draft, unreviewed, v1. WORDS"
// or "reviewed by NAME, YEAR-MONTH-DAY, v1 of PRINT. WORDS", or of what is neither
// reviewed nor a safety line "says: WORDS". Anything else is none. Print is the
// fingerprint of the text that was read, so that no name stands for another one.
func (c *Catalog) Signature(l Lang, id ID) Signature {
	remark := c.Remark(l, id)
	if says, ok := strings.CutPrefix(remark, "says: "); ok {
		return Signature{Back: says}
	}
	m := signature.FindStringSubmatch(remark)
	if m == nil {
		return Signature{}
	}
	if m[4] != "" && m[4] != c.OwnPrint(l, id) {
		return Signature{Version: m[3], Back: m[5], Strayed: true}
	}
	return Signature{By: m[2], Version: m[1] + m[3], Back: m[5]}
}

// OwnPrint returns the fingerprint of a message in a language, which a signature
// names.
func (c *Catalog) OwnPrint(l Lang, id ID) string { return c.voice(l).texts[id].own }

// Unreviewed lists what no named reviewer has signed in a language, in the order
// of the list: the safety lines, and apart from them all other messages. The
// default language is the master: what its other messages say is what the line
// means, and nobody can hold them to anything else; so only its safety lines wait.
func (c *Catalog) Unreviewed(l Lang) (lines, others []ID) {
	for _, id := range IDs() {
		if !c.Has(l, id) || c.Signature(l, id).By != "" {
			continue
		}
		switch {
		case c.Remark(Default, id) != "":
			lines = append(lines, id)
		case l != Default:
			others = append(others, id)
		}
	}
	return lines, others
}

// NeedsReviewer reports whether nothing of a language may be sent before somebody
// who grew up with it answers for it: its words file says so, with
// rule.reviewer.
func (c *Catalog) NeedsReviewer(l Lang) bool { return c.rules[l].Reviewer != "" }

// Free lists the spoken languages that may be sent before anybody has reviewed
// them, the default first.
func (c *Catalog) Free() []Lang { return slices.DeleteFunc(c.Langs(), c.NeedsReviewer) }
