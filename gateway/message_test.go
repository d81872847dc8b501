package gateway_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/gateway"
)

func TestMessageIDs(t *testing.T) {
	seen := map[gateway.MessageID]bool{}
	for _, id := range []gateway.MessageID{
		gateway.NewMessageID("sms", "254", "1"),
		gateway.NewMessageID("sms", "2541", ""),
		gateway.NewMessageID("sms2", "54", "1"),
		gateway.NewMessageID("sms", "254", "1", ""),
		gateway.NewMessageID("sms", "254"),
	} {
		require.False(t, seen[id], "a character moved from one part to the next")
		seen[id] = true
	}
	require.Equal(t, gateway.NewMessageID("sms", "254", "1"), gateway.NewMessageID("sms", "254", "1"))
}

func TestRefs(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		at := start.Add(time.Duration(rapid.IntRange(-1e9, 1e12).Draw(t, "ms")) * time.Millisecond)
		k := gateway.NewKey(at, rapid.Uint64Range(0, 1<<40-2).Draw(t, "number"))
		index := rapid.IntRange(0, gateway.MaxIndex).Draw(t, "index")
		ref := k.Ref(index)
		require.Regexp(t, "^[0-9A-V]{20}$", ref)
		key, i, err := gateway.ParseRef(ref)
		require.NoError(t, err)
		require.Equal(t, k, key)
		require.Equal(t, index, i)
		require.True(t, at.Equal(k.Time()))
		next := k.Next(at.Add(time.Duration(rapid.IntRange(-1000, 1000).Draw(t, "step")) * time.Millisecond))
		require.Less(t, ref, next.Ref(0), "references order as their entries do")
	})
	for _, bad := range []string{"", "0", "0123456789ABCDEFGHIJK", "0123456789abcdefghij", "WWWWWWWWWWWWWWWWWWWW"} {
		_, _, err := gateway.ParseRef(bad)
		require.ErrorIs(t, err, gateway.ErrNotRef, bad)
	}
	require.Panics(t, func() { gateway.Key{}.Ref(gateway.MaxIndex + 1) })
}

func TestNamesOfStoredValues(t *testing.T) {
	require.Equal(t, "heard", gateway.Heard.String())
	require.Equal(t, "foreign", gateway.Foreign.String())
	require.Equal(t, "sent", gateway.Sent.String())
	require.Equal(t, "unknown", gateway.Unknown.String())
	require.Equal(t, "unnamed 200", gateway.Kind(200).String())
	require.Equal(t, "unnamed 0", gateway.Outcome(0).String())
}
