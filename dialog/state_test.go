package dialog_test

import (
	"encoding/hex"
	"flag"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
)

var newFixture = flag.Bool("newfixture", false, "write the state of the current version to testdata/state")

const fixture = "../testdata/state/v1.hex"

// fullState is a conversation in which much is going on.
func fullState(t testing.TB) dialog.State {
	p := sealed(t)
	p.place.Duty = 2
	p.says("cobs 1 drum")
	p.says("my hand is burned")
	p.step(dialog.Alerted{Alert: dialog.Alert{ID: "e9", Kind: "gas", Place: "home", At: p.now, Number: "+254700000009", Attempt: 1}})
	p.state.Batches = []dialog.Batch{{At: p.now.UTC(), Name: "A", Waste: "maize-cob", Drums: 1, FeedKg: 33, CharKg: 7.5, BrandsKg: 1, Minutes: 30, Moisture: 0.12}}
	return p.state
}

// TestStateOfVersion1 holds the stored form: octets written by the first version
// decode, say what they said, and go on.
func TestStateOfVersion1(t *testing.T) {
	if *newFixture {
		require.NoError(t, os.WriteFile(fixture, []byte(hex.EncodeToString(fullState(t).Encode())+"\n"), 0o644))
	}
	raw, err := os.ReadFile(fixture)
	require.NoError(t, err)
	octets, err := hex.DecodeString(strings.TrimSpace(string(raw)))
	require.NoError(t, err)
	s, err := dialog.DecodeState(octets)
	require.NoError(t, err)
	require.True(t, s.Met)
	require.Equal(t, "food", s.DrumPast)
	require.Len(t, s.Drums, 1)
	require.Equal(t, "sealed", s.Drums[0].Stage)
	require.WithinDuration(t, time.Date(2026, 3, 3, 4, 45, 0, 0, time.UTC), s.Drums[0].NotBefore, 0)
	require.Equal(t, "e9", s.Alerts[0].ID)
	require.Equal(t, "burn", s.Alert.Kind)
	require.Equal(t, 7.5, s.Batches[0].CharKg)
	require.NotEmpty(t, s.Timers)

	p := known(t)
	p.state, p.now = s, time.Date(2026, 3, 2, 13, 0, 0, 0, p.place.Zone)
	require.Contains(t, all(p.says("can i open")), "not before Tuesday 07:45")
}

// TestStateThatDoesNotDecode: a newer version and broken octets are errors, and
// no octets are a person never met.
func TestStateThatDoesNotDecode(t *testing.T) {
	for name, octets := range map[string][]byte{"newer": {200, 0xa0}, "zero version": {0}, "broken": {1, 0xff, 0x00}, "cut": fullState(t).Encode()[:40]} {
		_, err := dialog.DecodeState(octets)
		require.Error(t, err, name)
	}
	s, err := dialog.DecodeState(nil)
	require.NoError(t, err)
	require.Equal(t, dialog.State{}, s)
}

// FuzzDecodeState: any octets decode or fail, and what decodes encodes to
// something that decodes to the same.
func FuzzDecodeState(f *testing.F) {
	f.Add(dialog.State{}.Encode())
	f.Add(fullState(f).Encode())
	f.Fuzz(func(t *testing.T, octets []byte) {
		s, err := dialog.DecodeState(octets)
		if err != nil {
			return
		}
		again, err := dialog.DecodeState(s.Encode())
		require.NoError(t, err)
		require.Equal(t, s.Encode(), again.Encode())
	})
}
