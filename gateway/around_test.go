package gateway_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
)

// TestC24RingsAreCounted as a notice would find them: whom the preview of one
// counts, and what they have under way.
func TestC24RingsAreCounted(t *testing.T) {
	o := newOfficers(t)
	texts := map[int][]string{
		1: {"hi", "cobs 2 drums snaps", "1", "LIT"},
		2: {"hi", "cobs 1 drum snaps", "1", "LIT"},
		3: {"hi", "cobs 2 drums snaps"},
		4: {"hi", "STOP"},
		5: {"hi"},
		6: {"hi", "cobs 2 drums wet"},
	}
	for i, said := range texts {
		for _, text := range said {
			in := o.inbound("none", text)
			in.From = number(o.line, i)
			o.receive(in)
		}
	}
	o.now = o.now.Add(35 * time.Minute)
	in := o.inbound("none", "COVERED")
	in.From = number(o.line, 2)
	o.receive(in)

	notices := gateway.NewNotices(o.store, o.service)
	around, at, err := notices.Around(t.Context(), o.now)
	require.NoError(t, err)
	require.Equal(t, o.now, at)
	require.Len(t, around, 1)
	home := around["home"]
	require.Equal(t, 5, home.People)
	require.Equal(t, 1, home.Alight)
	require.Equal(t, 1, home.Sealed)
	require.Equal(t, 1, home.Waste)
	require.Equal(t, 2, home.Rings[dialog.RingReported])

	rain := gateway.Notice{Message: dialog.Notice{Ready: "rain", Hour: o.now.Add(6 * time.Hour)}, Audience: gateway.Audience{Ring: dialog.RingAccepted}}
	preview, err := notices.Preview(t.Context(), rain, o.now)
	require.NoError(t, err)
	rings := map[string]int{}
	for ring, n := range home.Rings {
		rings[map[dialog.Ring]string{dialog.RingReported: "reported", dialog.RingLikely: "likely", dialog.RingAccepted: "accepted"}[ring]] = n
	}
	require.Equal(t, preview.Rings, rings)
	require.Equal(t, preview.Persons, home.Reach(dialog.RingAccepted))
	require.Equal(t, preview.Rings["reported"]+preview.Rings["likely"], home.Reach(dialog.RingLikely))
	// One segment for each, and a rain line for each of the two beside a drum: of
	// the one alight also what to do while it burns.
	require.Equal(t, preview.Persons+3, preview.Segments)
}
