package webhook

import (
	"cmp"
	"slices"
	"strings"

	"cobline/gateway"
)

// gap stands for what is missing of a text.
const gap = "…"

// Join returns the text of the parts that came, in their order, each once. What
// is missing is shown by an ellipsis. Octets are read only after they are joined,
// since a cut may run through a character.
func Join(parts []gateway.Part) string {
	parts = slices.Clone(parts)
	slices.SortStableFunc(parts, func(a, b gateway.Part) int { return cmp.Compare(a.Seq, b.Seq) })
	parts = slices.CompactFunc(parts, func(a, b gateway.Part) bool { return a.Seq == b.Seq })
	var text strings.Builder
	var run gateway.Part // parts that follow each other in one charset
	next := 1
	flush := func() { text.WriteString(decode(string(run.Octets), run.Charset)) }
	for _, p := range parts {
		switch {
		case p.Seq != next:
			flush()
			text.WriteString(gap)
			run = p
		case p.Charset != run.Charset:
			flush()
			run = p
		default:
			run.Octets = append(slices.Clip(run.Octets), p.Octets...)
		}
		next = p.Seq + 1
	}
	flush()
	if n := len(parts); n > 0 && parts[n-1].Seq < parts[n-1].Total {
		text.WriteString(gap)
	}
	return text.String()
}

// The information elements that say which piece of which text a message is, with
// a reference of 8 or 16 bits. 3GPP TS 23.040 sections 9.2.3.24.1 and 9.2.3.24.8.
const (
	concatenated     = 0x00
	concatenatedWide = 0x08
)

// parseHeader reads the user data header of a message, with its length octet
// first: 3GPP TS 23.040 section 9.2.3.24. It reports false if the header does
// not say that the message is a piece of a longer text, or says what cannot be.
func parseHeader(udh string) (p gateway.Part, ok bool) {
	if len(udh) == 0 || int(udh[0]) > len(udh)-1 {
		return gateway.Part{}, false
	}
	for rest := udh[1 : 1+int(udh[0])]; len(rest) >= 2; {
		id, n := rest[0], int(rest[1])
		if len(rest) < 2+n {
			return p, ok
		}
		data := rest[2 : 2+n]
		rest = rest[2+n:]
		switch {
		case id == concatenated && n == 3:
			p, ok = newPart(int(data[0]), int(data[1]), int(data[2]), 8)
		case id == concatenatedWide && n == 4:
			p, ok = newPart(int(data[0])<<8|int(data[1]), int(data[2]), int(data[3]), 16)
		}
	}
	return p, ok
}

// newPart returns a piece, or false if there is no such piece or it is all.
func newPart(ref, total, seq, width int) (gateway.Part, bool) {
	if ref < 0 || ref > 0xffff || total < 2 || total > 255 || seq < 1 || seq > total {
		return gateway.Part{}, false
	}
	return gateway.Part{Ref: ref, Width: width, Total: total, Seq: seq}, true
}
