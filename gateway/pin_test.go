package gateway

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestWeakPIN(t *testing.T) {
	for _, pin := range []string{"", "12345", "1234567", "12345a", " 82913", "000000", "111111", "123456", "234567", "567890", "654321", "098765", "121212", "123123", "٤٨٢٩١٣"} {
		require.True(t, weakPIN(pin), pin)
	}
	for _, pin := range []string{"482913", "770412", "112233", "100000", "123457"} {
		require.False(t, weakPIN(pin), pin)
	}
	for range 100 {
		require.False(t, weakPIN(newPIN()))
	}
}

// TestHashPIN: a hash fits its PIN and no other, says how it was made, and is
// another every time.
func TestHashPIN(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		digits := rapid.StringMatching(`[0-9]{6}`)
		pin, other := digits.Draw(t, "pin"), digits.Draw(t, "other")
		hash, err := hashPIN(pin, 10)
		require.NoError(t, err)
		require.True(t, strings.HasPrefix(hash, "pbkdf2-sha256$10$"))
		require.NotContains(t, hash, pin)
		right, err := isPIN(hash, pin)
		require.NoError(t, err)
		require.True(t, right)
		right, err = isPIN(hash, other)
		require.NoError(t, err)
		require.Equal(t, pin == other, right)
		again, err := hashPIN(pin, 10)
		require.NoError(t, err)
		require.NotEqual(t, hash, again)
	})
	for _, hash := range []string{"", "argon2id$1$a$b", "pbkdf2-sha256$x$a$b", "pbkdf2-sha256$1$!$b"} {
		_, err := isPIN(hash, "482913")
		require.Error(t, err, hash)
	}
}

// The scheme is what its name says: RFC 7914 section 11, the second vector of
// PBKDF2 with HMAC-SHA-256.
func TestPINScheme(t *testing.T) {
	const hash = "pbkdf2-sha256$80000$TmFDbA$TdzY9guYviGDDO5e8icB+WQaRBjQTAQUrv8Ih2s0q1ah1CWhIlgzVJrbhBtRybMXaicr3ruh0HhHj2Kzl/M8jQ"
	right, err := isPIN(hash, "Password")
	require.NoError(t, err)
	require.True(t, right)
}
