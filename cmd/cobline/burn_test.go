package main

import (
	"fmt"
	"io"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/gateway"
)

// A burn from the recipe to the paste, with what people do on the way.
var burn = []string{
	"cobs 1 drum snaps", "new drum", "LIT", "@ +21m", "1", "@ +10m", "can I open?", "thin", "COVERED", "is it raining?", "rain",
	"@ +3h", "open?", "@ 2026-03-03 08:30", "OPENED", "cold", "@ +1d", "6 kg", "cassava flour", "menu",
}

// The burn is the same if the program is killed after every message and started
// again: what a person is told depends on nothing that a crash can take.
func TestBurnIsTheSameThroughCrashes(t *testing.T) {
	home := Default()
	start := time.Date(2026, 3, 2, 9, 0, 0, 0, homeZone())
	number, err := gateway.ParseNumber("+254700000001", home.Country)
	require.NoError(t, err)
	whole, err := newLocalPhone(home, "", number, channelSMS, start)
	require.NoError(t, err)
	defer func() { require.NoError(t, whole.close()) }()

	p := build(t)
	dir := t.TempDir()
	for i, line := range burn {
		at := whole.now()
		messages, err := whole.enter(t.Context(), line)
		require.NoError(t, err)
		var want strings.Builder
		for _, m := range messages {
			fmt.Fprintln(&want, m.lines(false))
		}
		got := sayAndDie(t, p, dir, at, line, want.Len())
		require.Equal(t, want.String(), got, "line %d: %s", i+1, line)
	}
}

// sayAndDie starts a phone on a kept store, says one line, reads as many octets
// as are wanted and kills it.
func sayAndDie(t *testing.T, bin, dir string, at time.Time, line string, want int) string {
	cmd := exec.Command(bin, "try", "--data", dir, "--at", at.Format(minuteLayout))
	in, err := cmd.StdinPipe()
	require.NoError(t, err)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	_, err = fmt.Fprintln(in, line)
	require.NoError(t, err)
	if want == 0 { // nothing to wait for: let it end
		require.NoError(t, in.Close())
		rest, err := io.ReadAll(out)
		require.NoError(t, err)
		require.NoError(t, cmd.Wait())
		return string(rest)
	}
	got := make([]byte, want)
	_, err = io.ReadFull(out, got)
	require.NoError(t, err, "%q", got)
	require.NoError(t, cmd.Process.Kill())
	require.Error(t, cmd.Wait())
	return string(got)
}
