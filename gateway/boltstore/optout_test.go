package boltstore

import (
	"context"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
)

// put commits a turn over what is stored.
func put(t *testing.T, s *Store, n gateway.Number, f func(*gateway.Change)) {
	c := change(n)
	stored, err := s.Load(context.Background(), n)
	require.NoError(t, err)
	c.Conversation.Rev, c.Conversation.State = stored.Rev, stored.State
	f(&c)
	require.NoError(t, s.Commit(context.Background(), c))
}

func reopened(t *testing.T, path string) *Store {
	s, err := Open(path, Options{NoSync: true})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	return s
}

// C30 An older copy in place of the store does not turn opt-outs back: what
// waits is dropped, and the conversation is told.
func TestC30OptOutOutlivesRestore(t *testing.T) {
	ctx := context.Background()
	s := fresh(t)
	stopped, returned, other := number(t, "999000000001"), number(t, "999000000002"), number(t, "999000000003")
	for _, n := range []gateway.Number{stopped, returned, other} {
		put(t, s, n, func(c *gateway.Change) {
			c.Out = []gateway.Outbound{
				{Channel: "sms", To: n, Text: "notice", Urgency: dialog.Bulletin, Expires: time.Now().Add(time.Hour)},
				{Index: 1, Channel: "sms", To: n, Text: "caution", Urgency: dialog.Safety},
			}
		})
	}
	path := s.db.Path()
	var old strings.Builder
	require.NoError(t, s.Backup(ctx, &old))
	for _, n := range []gateway.Number{stopped, returned} {
		put(t, s, n, func(c *gateway.Change) { c.Conversation.State.Stopped, c.Withdraw = true, true })
	}
	put(t, s, returned, func(c *gateway.Change) { c.Conversation.State.Stopped = false })
	require.NoError(t, s.Close())
	require.NoError(t, os.WriteFile(path, []byte(old.String()), 0o600))

	s = reopened(t, path)
	for n, want := range map[gateway.Number]bool{stopped: true, returned: false, other: false} {
		c, err := s.Load(ctx, n)
		require.NoError(t, err)
		require.Equal(t, want, c.State.Stopped)
	}
	texts := map[gateway.Number]string{}
	for range 2 {
		out, err := s.Lease(ctx, "sms", time.Now(), time.Minute, 10)
		require.NoError(t, err)
		for _, m := range out {
			texts[m.To] += " " + m.Text
			require.NoError(t, s.Settle(ctx, m.Ref, gateway.Settlement{Outcome: gateway.Sent}))
		}
	}
	require.Equal(t, map[gateway.Number]string{stopped: " caution", returned: " caution notice", other: " caution notice"}, texts)
	due, err := s.DueAlarms(ctx, time.Now(), 10)
	require.NoError(t, err)
	require.Len(t, due, 1)
	require.Equal(t, stopped, due[0].Number)
	require.True(t, due[0].Errand.OptOut)
}

// The list outlives a store that is lost altogether, and names nobody.
func TestOptOutOutlivesStore(t *testing.T) {
	s := fresh(t)
	n := number(t, "999000000001")
	put(t, s, n, func(c *gateway.Change) { c.Conversation.State.Stopped = true })
	path := s.db.Path()
	require.NoError(t, s.Close())
	list, err := os.ReadFile(path + ".optouts")
	require.NoError(t, err)
	require.Regexp(t, "^stop [0-9a-f]{32}\n$", string(list))
	require.NoError(t, os.Remove(path))
	c, err := reopened(t, path).Load(context.Background(), n)
	require.NoError(t, err)
	require.True(t, c.State.Stopped)
}

func TestOptOutFile(t *testing.T) {
	whole := "stop 000102030405060708090a0b0c0d0e0f\n"
	for _, tt := range []struct{ name, list, left, err string }{
		{"whole", whole, whole, ""},
		{"torn by a crash", whole + "stop 0001", whole, ""},
		{"spoilt", whole + "stop 00\n" + whole, "", "line 2"},
		{"another word", "halt 000102030405060708090a0b0c0d0e0f\n", "", "line 1"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			path := t.TempDir() + "/optouts"
			require.NoError(t, os.WriteFile(path, []byte(tt.list), 0o600))
			o, err := openOptOuts(path, true)
			if tt.err != "" {
				require.ErrorContains(t, err, tt.err)
				return
			}
			require.NoError(t, err)
			require.NoError(t, o.append(map[disguise]bool{{1}: true}))
			require.NoError(t, o.file.Close())
			got, err := os.ReadFile(path)
			require.NoError(t, err)
			require.Equal(t, tt.left+"stop 01000000000000000000000000000000\n", string(got))
		})
	}
}

// An opt-out that cannot be kept is not acknowledged, and the store takes no
// more.
func TestOptOutCannotBeWritten(t *testing.T) {
	s := fresh(t)
	require.NoError(t, s.optOuts.file.Close())
	c := change(number(t, "999000000001"))
	c.Conversation.State.Stopped = true
	require.ErrorContains(t, s.Commit(context.Background(), c), "opt-outs")
	require.Error(t, s.Err())
	var err error
	s.optOuts.file, err = os.OpenFile(s.db.Path()+".optouts", os.O_RDWR, 0o600)
	require.NoError(t, err)
}
