package webhook

import (
	"crypto/sha256"
	"crypto/subtle"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"
	"unicode"

	"cobline/gateway"
)

// Request is an HTTP request copied out of the server's buffers.
type Request struct {
	Method string
	Query  url.Values
	Header http.Header // canonical names
	Body   []byte
	At     time.Time // when it arrived
}

// Check reports ErrDenied unless the request proves where it comes from.
func (sh *Shape) Check(r Request) error {
	if sh.token == nil {
		return nil
	}
	got, _, err := sh.token.find(&request{Request: r})
	if err != nil {
		return ErrDenied // a body that cannot be read proves nothing
	}
	// Digests are compared, so that not even the length of the secret shows.
	a, b := sha256.Sum256([]byte(got)), sha256.Sum256([]byte(sh.spec.In.Check.Value))
	if subtle.ConstantTimeCompare(a[:], b[:]) != 1 {
		return ErrDenied
	}
	return nil
}

// Read turns a request into the message it carries. Its error is a FieldError.
func (sh *Shape) Read(r Request) (gateway.Inbound, error) {
	f := fieldReader{request: request{Request: r}}
	in := gateway.Inbound{
		Channel: sh.spec.Name,
		Sender:  f.must("sender", sh.from),
		To:      f.may("recipient", sh.to),
		Text:    f.must("text", sh.text),
		Session: f.may("session", sh.session),
		Via:     sh.via,
		At:      r.At,
	}
	id, at := f.may("id", sh.id), f.may("time", sh.at)
	if f.err != nil {
		return gateway.Inbound{}, f.err
	}
	if at != "" {
		sent, ok := parseTime(at)
		if !ok {
			return gateway.Inbound{}, FieldError{"time", sh.at.String(), "is no time: it must be RFC 3339 or Unix time in seconds or milliseconds"}
		}
		in.SentAt = sent.UTC()
	}
	// A sender that is no number is no error: a short code or a name is
	// journalled and never answered.
	sender := in.Sender
	if number, err := gateway.ParseNumber(in.Sender, sh.spec.Country); err == nil {
		in.From, sender = number, number.Digits()
	}
	switch {
	case id != "":
		in.Provider = id
		in.ID = gateway.NewMessageID(in.Channel, sender, "id", id)
	case at != "":
		in.ID = gateway.NewMessageID(in.Channel, sender, "sent", in.To, in.Text, at)
	}
	return in, nil
}

type fieldReader struct {
	request
	err error
}

func (f *fieldReader) may(field string, l locator) string {
	v, _ := f.get(field, l)
	return v
}

func (f *fieldReader) must(field string, l locator) string {
	v, ok := f.get(field, l)
	if !ok && f.err == nil {
		f.err = FieldError{field, l.String(), fmt.Sprintf("is missing; the body came as %q", f.mediaType())}
	}
	return v
}

func (f *fieldReader) get(field string, l locator) (string, bool) {
	if f.err != nil {
		return "", false
	}
	v, ok, err := l.find(&f.request)
	if err != nil {
		f.err = err
	}
	return clean(v), ok
}

// clean drops what no phone can have meant: octets that are no UTF-8 and
// control characters.
func clean(s string) string {
	s = strings.ToValidUTF8(s, string(unicode.ReplacementChar))
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n':
			return r
		case r == '\t':
			return ' '
		case unicode.IsControl(r):
			return -1
		default:
			return r
		}
	}, s)
}

// parseTime reads RFC 3339 or Unix time. Eleven digits of seconds are far off
// and ten of milliseconds long past, so the length tells them apart.
func parseTime(s string) (time.Time, bool) {
	s = strings.TrimSpace(s)
	if t, err := time.Parse(time.RFC3339, s); err == nil {
		return t, true
	}
	n, err := strconv.ParseInt(s, 10, 64)
	switch {
	case err != nil || n < 0 || n > 1e14:
		return time.Time{}, false
	case n < 1e11:
		return time.Unix(n, 0).UTC(), true
	default:
		return time.UnixMilli(n).UTC(), true
	}
}
