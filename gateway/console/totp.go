package console

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"errors"
	"fmt"
	"html/template"
	"slices"
	"strings"
	"time"

	"github.com/boombuler/barcode/qr"
	"github.com/pquerna/otp"
	"github.com/pquerna/otp/totp"

	"cobline/gateway"
)

// errNotThem says that a name, a password or a code is wrong, and not which.
var errNotThem = errors.New("the name, the password or the code is not right")

// codeStep is how long a code is shown, and codeSkew how many before and after
// are taken: RFC 6238, section 5.2.
const (
	codeStep = 30
	codeSkew = 1
)

// recoveryCodes is how many codes stand in for a lost phone.
const recoveryCodes = 8

// signIn returns the account of a name and notes the sign-in; the error is
// errNotThem if it is not theirs. It reckons the same for every name.
func (a *Accounts) signIn(ctx context.Context, name, password, code string, now time.Time) (Account, error) {
	account, err := a.Get(ctx, name)
	if err != nil && !errors.Is(err, gateway.ErrNotFound) {
		return Account{}, err
	}
	ok, err := a.verify(account, password)
	if err != nil {
		return Account{}, err
	}
	if !ok || account.Disabled {
		return Account{}, errNotThem
	}
	return a.change(ctx, name, func(account *Account) error {
		account.Seen = now
		return account.take(code, now)
	})
}

// take takes the code of the second step, once.
func (account *Account) take(code string, now time.Time) error {
	if account.Secret == "" {
		return nil
	}
	code = strings.ToLower(strings.NewReplacer(" ", "", "-", "").Replace(code))
	for step := now.Unix()/codeStep - codeSkew; step <= now.Unix()/codeStep+codeSkew; step++ {
		want, err := totp.GenerateCode(account.Secret, time.Unix(step*codeStep, 0))
		if err != nil {
			return fmt.Errorf("reckon a code: %w", err)
		}
		if step > account.Step && subtle.ConstantTimeCompare([]byte(want), []byte(code)) == 1 {
			account.Step = step
			return nil
		}
	}
	if i := slices.Index(account.Recovery, recoveryHash(code)); i >= 0 {
		account.Recovery = slices.Delete(slices.Clone(account.Recovery), i, i+1)
		return nil
	}
	return errNotThem
}

// recoveryHash hashes a recovery code. It has 65 random bits, so a plain hash
// keeps it.
func recoveryHash(code string) string {
	sum := sha256.Sum256([]byte(code))
	return hex.EncodeToString(sum[:])
}

// newRecovery returns recovery codes, to be shown once, and their hashes.
func newRecovery() (codes, hashes []string) {
	for range recoveryCodes {
		code := strings.ToLower(rand.Text()[:13])
		codes = append(codes, code[:4]+"-"+code[4:8]+"-"+code[8:])
		hashes = append(hashes, recoveryHash(code))
	}
	return codes, hashes
}

// newSecond returns a fresh secret for the second step of an account.
func newSecond(name string) (*otp.Key, error) {
	key, err := totp.Generate(totp.GenerateOpts{Issuer: "Cobline", AccountName: name})
	if err != nil {
		return nil, fmt.Errorf("make a secret: %w", err)
	}
	return key, nil
}

// keyOf returns the key of a secret that a form brings back.
func keyOf(name, secret string) (*otp.Key, error) {
	return otp.NewKeyFromURL(fmt.Sprintf("otpauth://totp/Cobline:%s?secret=%s&issuer=Cobline&algorithm=SHA1&digits=6&period=%d", name, secret, codeStep))
}

// picture draws what an authenticator reads with its camera.
func picture(text string) (template.HTML, error) {
	code, err := qr.Encode(text, qr.M, qr.Auto)
	if err != nil {
		return "", fmt.Errorf("draw a code: %w", err)
	}
	size := code.Bounds().Dx()
	var dots strings.Builder
	for y := range size {
		for x := range size {
			if r, _, _, _ := code.At(x, y).RGBA(); r == 0 {
				fmt.Fprintf(&dots, "M%d %dh1v1h-1z", x+4, y+4)
			}
		}
	}
	return template.HTML(fmt.Sprintf( //nolint:gosec // numbers alone
		`<svg class="qr" viewBox="0 0 %[1]d %[1]d" role="img" aria-label="A picture that an authenticator reads; the same secret stands below in letters"><path fill="#fff" d="M0 0h%[1]dv%[1]dH0z"/><path fill="#000" d="%[2]s"/></svg>`,
		size+8, dots.String())), nil
}
