//go:build peers

package calc

import (
	"bytes"
	"encoding/json"
	"os/exec"
	"testing"

	"github.com/stretchr/testify/require"
)

// SciPy integrates the same drying as a differential equation (Debian's
// python3-scipy): surface temperatures by Brent's method, moisture by an adaptive
// Runge-Kutta. The hourly steps of this package hold the rate for an hour, so
// they may lie a little beside it.
func TestDryingAgainstSciPy(t *testing.T) {
	type peerHour struct {
		Air     float64 `json:"air"`
		Vapour  float64 `json:"vapour"`
		Sun     float64 `json:"sun"`
		Wind    float64 `json:"wind"`
		Clear   float64 `json:"clear"`
		Shelter string  `json:"shelter"`
	}
	for _, name := range []string{"dry season", "hot dry", "warm humid", "cool cloudy", "highland"} {
		t.Run(name, func(t *testing.T) {
			f := scenarios(t)[name]
			r, _, err := DryInput{Forecast: f}.rack(new([]*Sourced))
			require.NoError(t, err)
			const start, days = .35 / .65, 5
			var hours []peerHour
			var surfaces, moistures []float64
			x := start
			for day := range days {
				for clock, h := range f.Hours(LikelyMember, day) {
					shelter := r.shelter(clock, h.Rain)
					hours = append(hours, peerHour{
						float64(h.Air), float64(h.Vapour), float64(h.Sun), float64(h.Wind), float64(h.Clear), shelter.String(),
					})
					e := r.exchange(x, &h, shelter, r.gamma)
					surfaces = append(surfaces, e.surface())
					x, _ = r.step(x, &h, shelter, r.gamma, 3600)
					moistures = append(moistures, x)
				}
			}
			job, err := json.Marshal(map[string]any{
				"gamma": r.gamma, "moisture": start, "hours": hours,
				"body": map[string]float64{"mass": r.mass, "exposed": r.exposed, "flow": r.flow, "rate": r.rate},
			})
			require.NoError(t, err)
			var problem bytes.Buffer
			peer := exec.Command("/usr/bin/python3", "../testdata/peers/drying.py")
			peer.Stdin, peer.Stderr = bytes.NewReader(job), &problem
			answer, err := peer.Output()
			require.NoError(t, err, problem.String())
			var got struct{ Surface, Moisture []float64 }
			require.NoError(t, json.Unmarshal(answer, &got))

			require.InDelta(t, got.Surface[0], surfaces[0], 1e-6, "the first surface has the same moisture")
			for hour := 23; hour < len(moistures); hour += 24 {
				require.InDelta(t, float64(DryBasis(got.Moisture[hour]).Wet()), float64(DryBasis(moistures[hour]).Wet()), .004,
					"evening of day %d", hour/24+1)
			}
		})
	}
}
