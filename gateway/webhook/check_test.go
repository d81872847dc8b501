package webhook

import (
	"crypto/ed25519"
	"encoding/base64"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// checked compiles a channel that asks for proofs.
func checked(t require.TestingT, k Check) *Shape {
	sh, err := Compile(Spec{Name: "a", In: In{Path: "/in/a/:key", From: "form:from", Text: "form:text", Check: k, Answer: Answer{Carry: "all"}}})
	require.NoError(t, err)
	return sh
}

// The library of the scheme's authors signs, and both judge the same: a request
// as it was signed, with something changed, and too old or from the future.
func TestStandardWebhooksAsItsAuthorsDo(t *testing.T) {
	secret := func(t *rapid.T, label string) string {
		return base64.StdEncoding.EncodeToString(rapid.SliceOfN(rapid.Byte(), 24, 64).Draw(t, label))
	}
	rapid.Check(t, func(t *rapid.T) {
		ours, old := secret(t, "secret"), secret(t, "old")
		theirs := rapid.SampledFrom([]string{ours, old, base64.StdEncoding.EncodeToString([]byte("a secret of somebody else."))}).Draw(t, "signed with")
		library, err := standardwebhooks.NewWebhook(theirs)
		require.NoError(t, err)
		body := []byte(rapid.String().Draw(t, "body"))
		id := rapid.StringMatching(`[a-z0-9_]{1,20}`).Draw(t, "id")
		now := time.Now()
		at := now.Add(rapid.SampledFrom([]time.Duration{0, -4 * time.Minute, 4 * time.Minute, -6 * time.Minute, 6 * time.Minute}).Draw(t, "signed before"))
		signature, err := library.Sign(id, at, body)
		require.NoError(t, err)
		r := Request{Method: http.MethodPost, At: now, Body: body, Header: http.Header{
			"Webhook-Id": {id}, "Webhook-Timestamp": {fmt.Sprint(at.Unix())}, "Webhook-Signature": {"v2,x v1,AAAA " + signature},
		}}
		if rapid.Bool().Draw(t, "changed") {
			r.Body = append([]byte("!"), body...)
		}
		// Both of our secrets count while one is being changed.
		sh := checked(t, Check{Standard: &Standard{Secret: "whsec_" + ours + " " + old}})
		judge := func(secret string) error {
			library, err := standardwebhooks.NewWebhook(secret)
			require.NoError(t, err)
			return library.Verify(r.Body, r.Header)
		}
		if judge(ours) == nil || judge(old) == nil {
			require.NoError(t, sh.Check(r))
		} else {
			require.ErrorIs(t, sh.Check(r), ErrDenied)
		}
	})
}

// The asymmetric signature of Standard Webhooks 1.0.0; the library has none.
func TestStandardWebhooksWithAPublicKey(t *testing.T) {
	public, private, err := ed25519.GenerateKey(nil)
	require.NoError(t, err)
	sh := checked(t, Check{Standard: &Standard{Secret: "whpk_" + base64.StdEncoding.EncodeToString(public)}})
	now := time.Now()
	stamp := fmt.Sprint(now.Unix())
	signature := base64.StdEncoding.EncodeToString(ed25519.Sign(private, []byte("id."+stamp+".hi")))
	r := Request{At: now, Body: []byte("hi"), Header: http.Header{
		"Webhook-Id": {"id"}, "Webhook-Timestamp": {stamp}, "Webhook-Signature": {"v1a," + signature},
	}}
	require.NoError(t, sh.Check(r))
	r.Body = []byte("ho")
	require.ErrorIs(t, sh.Check(r), ErrDenied)
	r.Body = []byte("hi")
	r.Header.Set("Webhook-Signature", "v1,"+signature)
	require.ErrorIs(t, sh.Check(r), ErrDenied)
}

// A secret counts only where it is asked for: what a caller puts beside it, in a
// field of the same name, does not.
func TestSecretStandsInOnePlace(t *testing.T) {
	const secret = "s3cret-s3cret"
	places := map[string]func(r *Request, v string){
		"query:k":  func(r *Request, v string) { r.Query = url.Values{"k": {v}} },
		"header:K": func(r *Request, v string) { r.Header.Set("K", v) },
		"path:key": func(r *Request, v string) { r.Path = "/in/a/" + v },
		"form:k":   func(r *Request, v string) { r.Body = []byte(url.Values{"k": {v}}.Encode()) },
	}
	for asked := range places {
		sh := checked(t, Check{Token: asked, Value: secret})
		for given, put := range places {
			r := Request{Method: http.MethodPost, Path: "/in/a/x", Header: http.Header{"Content-Type": {formType}}}
			require.ErrorIs(t, sh.Check(r), ErrDenied)
			put(&r, secret)
			if given == asked {
				require.NoError(t, sh.Check(r), given)
			} else {
				require.ErrorIs(t, sh.Check(r), ErrDenied, "%s for %s", given, asked)
			}
			put(&r, secret+"x")
			require.ErrorIs(t, sh.Check(r), ErrDenied)
		}
	}
}

// Nothing but the very secret passes, and no reason tells how near a guess was.
func TestGuessesLearnNothing(t *testing.T) {
	const secret = "s3cret-s3cret"
	shapes := []*Shape{
		checked(t, Check{Token: "header:K", Value: secret}),
		checked(t, Check{Basic: &Basic{User: "u", Password: secret}}),
		checked(t, Check{HMAC: &HMAC{At: "header:K", Secret: secret}}),
	}
	rapid.Check(t, func(t *rapid.T) {
		guess := rapid.OneOf(rapid.String(), rapid.StringMatching(`s3cret-s3cre.?`), rapid.StringMatching(`[0-9a-f]{64}`)).Draw(t, "guess")
		if guess == secret {
			return
		}
		r := Request{Header: http.Header{"K": {guess}, "Authorization": {"Basic " + base64.StdEncoding.EncodeToString([]byte("u:"+guess))}}}
		for _, sh := range shapes {
			err := sh.Check(r)
			require.ErrorIs(t, err, ErrDenied)
			require.NotContains(t, err.Error(), "s3cret")
			require.True(t, len(guess) < 8 || !strings.Contains(err.Error(), guess))
		}
	})
}

func TestOpen(t *testing.T) {
	require.True(t, Check{Proxies: []string{"10.0.0.0/8"}}.Open())
	for _, k := range []Check{{Token: "query:k", Value: "x"}, {Basic: &Basic{}}, {HMAC: &HMAC{}}, {Standard: &Standard{}}, {Allow: []string{"192.0.2.1"}}} {
		require.False(t, k.Open())
	}
}
