package gateway

import (
	"crypto/pbkdf2"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"math/big"
	"strconv"
	"strings"
)

// PINDigits is how many digits a PIN has.
const PINDigits = 6

// ErrWeakPIN says that a PIN is no six digits, or too easy to guess.
var ErrWeakPIN = errors.New("a PIN has 6 digits, not all alike, not in a row and not one pattern again and again")

// pinRounds is how often PBKDF2 hashes: OWASP Password Storage Cheat Sheet, for
// HMAC-SHA-256. Six digits are soon tried all the same by whoever holds the
// store; the hash keeps the PIN from being read in it.
const pinRounds = 600_000

const pinScheme = "pbkdf2-sha256"

// hashPIN returns what is kept of a PIN.
func hashPIN(pin string, rounds int) (string, error) {
	salt := make([]byte, 16)
	rand.Read(salt)
	key, err := pbkdf2.Key(sha256.New, pin, salt, rounds, sha256.Size)
	if err != nil {
		return "", fmt.Errorf("hash a PIN: %w", err)
	}
	code := base64.RawStdEncoding
	return strings.Join([]string{pinScheme, strconv.Itoa(rounds), code.EncodeToString(salt), code.EncodeToString(key)}, "$"), nil
}

// isPIN reports whether a hash was made of a PIN.
func isPIN(hash, pin string) (bool, error) {
	parts := strings.Split(hash, "$")
	if len(parts) != 4 || parts[0] != pinScheme {
		return false, fmt.Errorf("the hash of a PIN is of an unknown kind %q", parts[0])
	}
	rounds, errRounds := strconv.Atoi(parts[1])
	salt, errSalt := base64.RawStdEncoding.DecodeString(parts[2])
	want, errKey := base64.RawStdEncoding.DecodeString(parts[3])
	if err := errors.Join(errRounds, errSalt, errKey); err != nil {
		return false, fmt.Errorf("read the hash of a PIN: %w", err)
	}
	key, err := pbkdf2.Key(sha256.New, pin, salt, rounds, len(want))
	if err != nil {
		return false, fmt.Errorf("hash a PIN: %w", err)
	}
	return subtle.ConstantTimeCompare(key, want) == 1, nil
}

// weakPIN reports whether a text is no PIN or one of those that people try first:
// a digit or a pattern again and again, digits in a row.
func weakPIN(pin string) bool {
	if len(pin) != PINDigits || strings.Trim(pin, "0123456789") != "" {
		return true
	}
	for n := 1; n <= PINDigits/2; n++ {
		if PINDigits%n == 0 && strings.Repeat(pin[:n], PINDigits/n) == pin {
			return true
		}
	}
	const up, down = "01234567890", "09876543210"
	return strings.Contains(up, pin) || strings.Contains(down, pin)
}

// newPIN draws a PIN.
func newPIN() string {
	for {
		if pin := digits(PINDigits); !weakPIN(pin) {
			return pin
		}
	}
}

// digits draws digits.
func digits(n int) string {
	limit := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(n)), nil)
	v, err := rand.Int(rand.Reader, limit)
	if err != nil {
		panic(err) // crypto/rand does not fail
	}
	return fmt.Sprintf("%0*d", n, v)
}
