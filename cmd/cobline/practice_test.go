package main

import (
	"log/slog"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/gateway"
	"cobline/gateway/boltstore"
	"cobline/gateway/console"
)

// TestPracticePhone: a practice phone answers as the line does, through a burn,
// and leaves the line's own store alone.
func TestPracticePhone(t *testing.T) {
	config, err := Load("", nil)
	require.NoError(t, err)
	store, err := boltstore.Open(filepath.Join(t.TempDir(), storeFile), boltstore.Options{NoSync: true})
	require.NoError(t, err)
	defer store.Close()
	l, err := newLine(t.Context(), config, store, nil, nil, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	start := time.Date(2026, 3, 2, 5, 0, 0, 0, time.UTC) // 8 in the morning
	p, err := practice(config, l)(t.Context(), console.PhoneKind{Lang: "en", Place: "home"}, start)
	require.NoError(t, err)
	read := func(texts []console.PhoneText, err error) string {
		require.NoError(t, err)
		var all []string
		for _, t := range texts {
			all = append(all, t.Text)
		}
		return strings.Join(all, "\n")
	}
	require.Contains(t, read(p.Say(t.Context(), "cobs 1 drum dry")), "Fill 1 drum")
	require.Contains(t, read(p.Say(t.Context(), "lit")), "Drum A lit at 08:0")
	next, err := p.Next(t.Context())
	require.NoError(t, err)
	require.WithinDuration(t, start.Add(20*time.Minute), next, time.Minute)
	require.Contains(t, read(p.Move(t.Context(), next)), "how is the smoke?")
	require.WithinDuration(t, next, p.Now(), time.Second)
	require.NoError(t, p.Close())
	last, err := store.Last(t.Context())
	require.NoError(t, err)
	require.Equal(t, gateway.Key{}, last, "the line heard nothing of it")

	p, err = practice(config, l)(t.Context(), console.PhoneKind{Lang: "sw", Place: "home", Dialled: true}, start)
	require.NoError(t, err)
	defer p.Close()
	require.Contains(t, read(p.Say(t.Context(), "")), "Cobline")
}
