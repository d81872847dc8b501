package boltstore

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/gateway"
)

// copied writes a copy of a store beside it.
func copied(t *testing.T, s *Store) string {
	file := filepath.Join(t.TempDir(), "copy")
	f, err := os.Create(file)
	require.NoError(t, err)
	require.NoError(t, s.Backup(context.Background(), f))
	require.NoError(t, f.Close())
	return file
}

// C30 A copy that takes the place of the store waits to be confirmed, from when
// it is first served, over restarts; a copy of a copy waits anew.
func TestC30CopyWaitsToBeConfirmed(t *testing.T) {
	ctx := context.Background()
	now := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	s := fresh(t)
	path := s.db.Path()
	put(t, s, number(t, "999000000001"), func(*gateway.Change) {})
	_, held, err := s.Unconfirmed(ctx, now)
	require.NoError(t, err)
	require.False(t, held, "the store itself")
	file := copied(t, s)

	require.ErrorContains(t, Restore(file, path, true), "another process has it")
	require.NoError(t, s.Close())
	require.ErrorIs(t, Restore(file, path, false), ErrStoreExists)
	require.NoError(t, Restore(file, path, true))
	require.FileExists(t, path+Replaced)
	require.NoFileExists(t, path+".restored")

	s = reopened(t, path)
	for _, at := range []time.Time{now, now.Add(time.Hour)} {
		since, held, err := s.Unconfirmed(ctx, at)
		require.NoError(t, err)
		require.True(t, held)
		require.Equal(t, now, since)
		require.NoError(t, s.Close())
		s = reopened(t, path)
	}
	again := copied(t, s)
	require.NoError(t, s.Confirm(ctx))
	_, held, err = s.Unconfirmed(ctx, now)
	require.NoError(t, err)
	require.False(t, held)
	c, err := s.Load(ctx, number(t, "999000000001"))
	require.NoError(t, err)
	require.Equal(t, uint64(1), c.Rev)
	require.NoError(t, s.Close())

	require.NoError(t, os.Remove(path))
	require.NoError(t, Restore(again, path, false), "the disk is new")
	since, held, err := reopened(t, path).Unconfirmed(ctx, now.Add(2*time.Hour))
	require.NoError(t, err)
	require.True(t, held)
	require.Equal(t, now.Add(2*time.Hour), since)
}

// What is no whole store takes no store's place.
func TestRestoreRefuses(t *testing.T) {
	s := fresh(t)
	for i := range 200 {
		put(t, s, number(t, "999000000001"), func(c *gateway.Change) { c.Entry.Text = string(make([]byte, 100*i)) })
	}
	whole, err := os.ReadFile(copied(t, s))
	require.NoError(t, err)
	path := s.db.Path()
	require.NoError(t, s.Close())
	spoilt := func(from, to int) []byte {
		content := slices.Clone(whole)
		for i := from; i < to; i++ {
			content[i] ^= 0x55
		}
		return content
	}
	metas := 2 * os.Getpagesize()
	for name, content := range map[string][]byte{
		"nothing": nil, "a text": []byte("no store at all\n"), "torn": whole[:len(whole)/2],
		"spoilt": spoilt(len(whole)/2, len(whole)-5000), "spoilt but for its head": spoilt(metas, len(whole)),
	} {
		t.Run(name, func(t *testing.T) {
			file := filepath.Join(t.TempDir(), "copy")
			require.NoError(t, os.WriteFile(file, content, 0o600))
			require.Error(t, Restore(file, path, true))
			require.NoFileExists(t, path+Replaced)
		})
	}
	require.Error(t, Restore(filepath.Join(t.TempDir(), "missing"), path, true))
	require.NoError(t, reopened(t, path).Err())
}

// A store that is spoilt is what copies are for.
func TestRestoreOverASpoiltStore(t *testing.T) {
	for name, spoil := range map[string]func(content []byte) []byte{
		"text": func([]byte) []byte { return []byte("no store at all\n") },
		"torn": func(content []byte) []byte { return content[:len(content)/2] },
		"pages": func(content []byte) []byte {
			for i := 2 * os.Getpagesize(); i < len(content); i++ {
				content[i] ^= 0x55
			}
			return content
		},
	} {
		t.Run(name, func(t *testing.T) {
			s := fresh(t)
			for range 200 {
				put(t, s, number(t, "999000000001"), func(*gateway.Change) {})
			}
			file, path := copied(t, s), s.db.Path()
			require.NoError(t, s.Close())
			content, err := os.ReadFile(path)
			require.NoError(t, err)
			require.NoError(t, os.WriteFile(path, spoil(content), 0o600))
			require.NoError(t, Restore(file, path, true))
			c, err := reopened(t, path).Load(context.Background(), number(t, "999000000001"))
			require.NoError(t, err)
			require.Equal(t, uint64(200), c.Rev)
		})
	}
}
