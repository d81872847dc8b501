//go:build peers

package calc_test

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/calc"
)

// The npm package suncalc finds sunrise and sunset by other equations. Every
// tenth day of a year, from 50 degrees south to 50 degrees north, within a
// minute.
func TestSunTimesAgainstSuncalc(t *testing.T) {
	type day struct {
		Lat  float64 `json:"lat"`
		Lon  float64 `json:"lon"`
		Noon int64   `json:"noon"`
	}
	var days []day
	for lat := -50.; lat <= 50; lat += 10 {
		for lon := -150.; lon <= 150; lon += 75 {
			for yearDay := 1; yearDay <= 365; yearDay += 10 {
				noon := time.Date(2026, 1, yearDay, 12, 0, 0, 0, hour(int(lon/15)))
				days = append(days, day{lat, lon, noon.UnixMilli()})
			}
		}
	}
	job, err := json.Marshal(days)
	require.NoError(t, err)

	dir := t.TempDir()
	script, err := os.ReadFile("../testdata/peers/suntimes.cjs")
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "suntimes.cjs"), script, 0o600))
	run := func(stdin []byte, name string, args ...string) []byte {
		var problem bytes.Buffer
		peer := exec.Command(name, args...)
		peer.Dir, peer.Stdin, peer.Stderr = dir, bytes.NewReader(stdin), &problem
		out, err := peer.Output()
		require.NoError(t, err, problem.String())
		return out
	}
	run(nil, "npm", "install", "--silent", "--no-audit", "--no-fund", "suncalc@2.0.2")
	var peer []struct{ Rise, Set int64 }
	require.NoError(t, json.Unmarshal(run(job, "node", "suntimes.cjs"), &peer))
	require.Len(t, peer, len(days))
	for i, d := range days {
		noon := time.UnixMilli(d.Noon).In(hour(int(d.Lon / 15)))
		sun, err := calc.SunTimes(calc.Degree(d.Lat), calc.Degree(d.Lon), noon)
		require.NoError(t, err)
		require.WithinDuration(t, time.UnixMilli(peer[i].Rise), sun.Rise, time.Minute, "rise, %v", d)
		require.WithinDuration(t, time.UnixMilli(peer[i].Set), sun.Set, time.Minute, "set, %v", d)
	}
}
