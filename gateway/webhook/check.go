package webhook

import (
	"bytes"
	"crypto/ed25519"
	"crypto/hmac"
	"crypto/sha1"
	"crypto/sha256"
	"crypto/sha512"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"hash"
	"maps"
	"net/http"
	"net/netip"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Check is what a request has to prove. All that is given must hold; a Check
// without anything asks for nothing. Secrets are compared in constant time, and
// signatures cover the body as it came.
type Check struct {
	Token    string // where a secret stands: a header, the query, a part of the path
	Value    string // what it is, or several with blanks between, while it is being changed
	Basic    *Basic
	HMAC     *HMAC
	Standard *Standard
	Allow    []string // the addresses requests come from, such as 192.0.2.0/24
	Proxies  []string // our own proxies, whose X-Forwarded-For is believed
}

// Open reports whether everybody may pass.
func (k Check) Open() bool {
	return k.Token == "" && k.Basic == nil && k.HMAC == nil && k.Standard == nil && len(k.Allow) == 0
}

// Basic is the user and password of HTTP Basic authentication, RFC 7617.
type Basic struct{ User, Password string }

// HMAC is a signature by a shared secret, RFC 2104.
type HMAC struct {
	At       string // where the signature stands, such as header:X-Signature > /sha256=(.*)/
	Secret   string // or several with blanks between, while it is being changed
	Hash     string // sha256 (if empty), sha1 or sha512
	Encoding string // hex (if empty) or base64
	// Signed is a template of what is signed; {{.Body}} if empty. It knows Body,
	// Method, URL, Path, Query (as it came), Params (the fields of query and form,
	// sorted, each name followed by its value), Time, and Header "NAME".
	Signed string
	Time   string // where the time of signing stands, in Unix seconds: no more than 5 minutes off
	URL    string // the address the gateway calls, as it knows it, without the query
}

// Standard is the scheme of Standard Webhooks 1.0.0: the headers webhook-id,
// webhook-timestamp and webhook-signature. Secrets begin with whsec_, or with
// whpk_ if they are the public key of an asymmetric signature; several with
// blanks between count all, while one is being changed.
type Standard struct{ Secret string }

// tolerance is how far the time of a signature may be from that of arrival.
const tolerance = 5 * time.Minute

// ErrDenied says that a request does not prove where it comes from.
var ErrDenied = errors.New("the secret is missing or wrong")

// denied is an ErrDenied with a reason that helps those who connect a gateway and
// nobody who guesses.
type denied string

func (d denied) Error() string { return string(d) }

func (denied) Is(target error) bool { return target == ErrDenied }

// proof reports ErrDenied unless a request shows what is asked.
type proof func(*request) error

func (c *compiler) check(key string, k Check) []proof {
	var proofs []proof
	if len(k.Allow) > 0 {
		proofs = append(proofs, c.allow(key, k))
	}
	if k.Token != "" || k.Value != "" {
		c.want(k.Token != "" && k.Value != "", key, "needs both: token says where the secret stands, value what it is")
		at := c.locator(key+".token", k.Token)
		proofs = append(proofs, func(r *request) error {
			got, _, err := at.find(r)
			right := false
			for value := range strings.FieldsSeq(k.Value) {
				right = same(got.octets, value) || right
			}
			if err != nil || !right { // a body that cannot be read proves nothing
				return ErrDenied
			}
			return nil
		})
	}
	if b := k.Basic; b != nil {
		c.want(b.User != "" && b.Password != "", key+".basic", "needs both: user and password")
		proofs = append(proofs, func(r *request) error {
			user, password, _ := (&http.Request{Header: r.Header}).BasicAuth()
			if known, right := same(user, b.User), same(password, b.Password); !known || !right {
				return ErrDenied
			}
			return nil
		})
	}
	if k.HMAC != nil {
		proofs = append(proofs, c.hmac(key+".hmac", *k.HMAC))
	}
	if k.Standard != nil {
		proofs = append(proofs, c.standard(key+".standard", *k.Standard))
	}
	return proofs
}

// same compares digests, so that not even the length of a secret shows.
func same(a, b string) bool {
	x, y := sha256.Sum256([]byte(a)), sha256.Sum256([]byte(b))
	return subtle.ConstantTimeCompare(x[:], y[:]) == 1
}

var hashes = map[string]func() hash.Hash{
	"": sha256.New, "sha256": sha256.New, "sha1": sha1.New, "sha512": sha512.New,
}

var octetDecoders = map[string]func(string) (string, error){"": hexOctets, "hex": hexOctets, "base64": base64Octets}

// signed is what the template of a signed text knows.
type signed struct {
	Body, Method, URL, Path, Query, Time string

	request *request
}

// Header returns a header of the request.
func (s signed) Header(name string) string { return s.request.Header.Get(name) }

// Params returns the fields of query and form, sorted, each name followed by its
// value. Only a signature that covers them has a body read before it is known to
// be genuine.
func (s signed) Params() (string, error) {
	fields := map[string][]string{}
	for name, vs := range s.request.Query {
		fields[name] = slices.Clip(vs)
	}
	if s.request.holds("form") {
		form, err := s.request.form()
		if err != nil {
			return "", err
		}
		for name, vs := range form {
			for _, v := range vs {
				fields[name] = append(fields[name], v.octets)
			}
		}
	}
	var b strings.Builder
	for _, name := range slices.Sorted(maps.Keys(fields)) {
		for _, v := range fields[name] {
			b.WriteString(name + v)
		}
	}
	return b.String(), nil
}

func newSigned(r *request, url, stamp string) signed {
	if url != "" && r.RawQuery != "" {
		url += "?" + r.RawQuery
	}
	return signed{Body: string(r.Body), Method: r.Method, URL: url, Path: r.Path, Query: r.RawQuery, Time: stamp, request: r}
}

func (c *compiler) hmac(key string, h HMAC) proof {
	if h.Signed == "" {
		h.Signed = "{{.Body}}"
	}
	sum, known := hashes[h.Hash]
	c.want(known, key+".hash", "must be sha256, sha1 or sha512")
	decoder, known := octetDecoders[h.Encoding]
	c.want(known, key+".encoding", "must be hex or base64")
	c.want(h.Secret != "", key+".secret", "is missing")
	c.want(h.At != "", key+".at", "is missing: say where the signature stands, such as header:X-Signature")
	c.want(h.Time == "" || strings.Contains(h.Signed, "{{.Time}}"), key+".time", "proves nothing unless signed holds {{.Time}}")
	c.want(!strings.Contains(h.Signed, ".URL") || h.URL != "", key+".url", "is missing: signed holds it")
	at, when := c.locator(key+".at", h.At), c.locator(key+".time", h.Time)
	text := c.tree(key+".signed", h.Signed, asItIs, newSigned(newRequest(Request{}, "", ""), "", ""))
	return func(r *request) error {
		got, _, err := at.find(r)
		if err != nil {
			return denied("the signature is missing")
		}
		signature, err := decoder(got.octets)
		if err != nil || signature == "" {
			return denied("the signature is missing or not " + h.encoding())
		}
		stamp, _, err := when.find(r)
		if err != nil || h.Time != "" && !fresh(stamp.octets, r.At) {
			return denied("the signature is older than 5 minutes, or a clock is wrong")
		}
		message, err := text.text(newSigned(r, h.URL, stamp.octets))
		if err != nil {
			return denied("the signed text cannot be put together")
		}
		right := false
		for secret := range strings.FieldsSeq(h.Secret) {
			mac := hmac.New(sum, []byte(secret))
			mac.Write([]byte(message))
			right = hmac.Equal(mac.Sum(nil), []byte(signature)) || right
		}
		if !right {
			return denied("the signature does not match")
		}
		return nil
	}
}

func (h HMAC) encoding() string {
	if h.Encoding == "" {
		return "hex"
	}
	return h.Encoding
}

// fresh reports whether a time in Unix seconds is near that of arrival.
func fresh(stamp string, arrived time.Time) bool {
	n, err := strconv.ParseInt(stamp, 10, 64)
	return err == nil && arrived.Sub(time.Unix(n, 0)).Abs() <= tolerance
}

// The prefixes of secrets and signatures in Standard Webhooks 1.0.0.
const (
	secretPrefix    = "whsec_"
	publicKeyPrefix = "whpk_"
)

func (c *compiler) standard(key string, s Standard) proof {
	var secrets [][]byte
	var public []ed25519.PublicKey
	for text := range strings.FieldsSeq(s.Secret) {
		k, err := base64.StdEncoding.DecodeString(strings.TrimPrefix(strings.TrimPrefix(text, secretPrefix), publicKeyPrefix))
		if strings.HasPrefix(text, publicKeyPrefix) {
			c.want(err == nil && len(k) == ed25519.PublicKeySize, key+".secret", "must hold 32 octets in base64 after whpk_")
			public = append(public, k)
			continue
		}
		c.want(err == nil && len(k) >= 24 && len(k) <= 64, key+".secret", "must hold 24 to 64 octets in base64 after whsec_")
		secrets = append(secrets, k)
	}
	c.want(s.Secret != "", key+".secret", "is missing")
	return func(r *request) error {
		id, stamp, signatures := r.Header.Get("Webhook-Id"), r.Header.Get("Webhook-Timestamp"), r.Header.Get("Webhook-Signature")
		if id == "" || signatures == "" || !fresh(stamp, r.At) {
			return denied("a webhook- header is missing, or its time is more than 5 minutes off")
		}
		message := bytes.Join([][]byte{[]byte(id), []byte(stamp), r.Body}, []byte("."))
		right := false
		for signature := range strings.FieldsSeq(signatures) {
			version, text, _ := strings.Cut(signature, ",")
			got, err := base64.StdEncoding.DecodeString(text)
			if err != nil {
				continue
			}
			switch version {
			case "v1":
				for _, secret := range secrets {
					mac := hmac.New(sha256.New, secret)
					mac.Write(message)
					right = hmac.Equal(mac.Sum(nil), got) || right
				}
			case "v1a":
				for _, k := range public {
					right = ed25519.Verify(k, message, got) || right
				}
			}
		}
		if !right {
			return denied("the signature does not match")
		}
		return nil
	}
}

func (c *compiler) allow(key string, k Check) proof {
	allowed, proxies := c.prefixes(key+".allow", k.Allow), c.prefixes(key+".proxies", k.Proxies)
	return func(r *request) error {
		if !within(allowed, client(r, proxies)) {
			return denied("the address is not allowed")
		}
		return nil
	}
}

func (c *compiler) prefixes(key string, texts []string) []netip.Prefix {
	out := make([]netip.Prefix, 0, len(texts))
	for _, s := range texts {
		p, err := netip.ParsePrefix(s)
		if a, bare := netip.ParseAddr(s); bare == nil {
			p, err = netip.PrefixFrom(a, a.BitLen()), nil
		}
		c.want(err == nil, key, fmt.Sprintf("%q is not an address; write one such as 192.0.2.7, or a range such as 192.0.2.0/24", s))
		out = append(out, p.Masked())
	}
	return out
}

func within(ps []netip.Prefix, a netip.Addr) bool {
	a = a.Unmap().WithZone("")
	return slices.ContainsFunc(ps, func(p netip.Prefix) bool { return p.Contains(a) })
}

// client returns who sent a request: the last address that is not one of our
// proxies. What stands further left in the header anybody may have written.
func client(r *request, proxies []netip.Prefix) netip.Addr {
	hops := strings.Split(strings.Join(r.Header.Values("X-Forwarded-For"), ","), ",")
	at := r.Remote
	for _, hop := range slices.Backward(hops) {
		if !within(proxies, at) {
			break
		}
		a, err := netip.ParseAddr(strings.TrimSpace(hop))
		if err != nil {
			return netip.Addr{}
		}
		at = a
	}
	return at
}
