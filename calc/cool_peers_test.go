//go:build peers

package calc

import (
	"bytes"
	"encoding/json"
	"os/exec"
	"testing"

	"github.com/stretchr/testify/require"
)

// peerBed is a bed of char as the script reads it.
type peerBed struct {
	Still      float64   `json:"still"`
	Piece      float64   `json:"piece"`
	Exchange   float64   `json:"exchange"`
	Convection float64   `json:"convection"`
	Emissivity float64   `json:"emissivity"`
	Lid        float64   `json:"lid"`
	Store      float64   `json:"store"`
	Radius     float64   `json:"radius"`
	Depth      float64   `json:"depth"`
	Start      float64   `json:"start"`
	Air        float64   `json:"air"`
	Celsius    []float64 `json:"celsius"`
}

// Debian's python3-scipy finds the roots with its own Bessel functions and root
// finder, sums the series, and integrates the equation of heat with LSODA.
func TestCoolingAgainstScipy(t *testing.T) {
	const aspect = .9
	biots, fouriers := []float64{.1, 1, 10, 50}, []float64{.05, .1, .3, 1}
	wastes := []Waste{RiceHusk, CoconutShell, MaizeStalk, MaizeCob, Prunings}
	celsius := []float64{200, 100, 60}
	var beds []peerBed
	for _, w := range wastes {
		in := defaultRun(w)
		b := in.heat()
		beds = append(beds, peerBed{
			Still: b.still, Piece: b.piece, Exchange: float64(coolExchange.Likely), Store: b.store, Air: b.air,
			Convection: float64(coolFreeConvection.Likely), Emissivity: float64(coolEmissivity.Likely), Lid: float64(coolLid.Likely),
			Radius: float64(in.Radius), Depth: float64(in.Depth), Start: float64(in.Start), Celsius: celsius,
		})
	}
	var peer struct {
		Cylinder, Slab [][]float64
		Product        []struct{ Axis, Mean, Flux float64 }
		Hours          [][]float64
	}
	askPeer(t, "../testdata/peers/cooling.py", map[string]any{
		"terms": seriesTerms, "biot": biots, "fourier": fouriers, "aspect": aspect, "beds": beds,
	}, &peer)

	for i, biot := range biots {
		for n := range seriesTerms {
			require.InEpsilon(t, peer.Cylinder[i][n], radialRoot(biot, n), 1e-13, "biot %g root %d", biot, n)
			require.InEpsilon(t, peer.Slab[i][n], axialRoot(biot, n), 1e-13, "biot %g root %d", biot, n)
		}
		p := newProductSolution(1, 1, biot, biot/2)
		p.aspect = aspect
		for j, fo := range fouriers {
			want, got := peer.Product[i*len(fouriers)+j], p.at(fo)
			require.InEpsilon(t, want.Axis, got.axis, 1e-9)
			require.InEpsilon(t, want.Mean, got.mean, 1e-9)
			require.InEpsilon(t, want.Flux, got.flux, 1e-9)
		}
	}
	for i, w := range wastes {
		for j, c := range celsius {
			r, err := Cool(CoolInput{Waste: w, Safe: Celsius(c)})
			require.NoError(t, err)
			require.InEpsilon(t, peer.Hours[i][j], float64(r.CoreSafe.Likely), .08, "%s core %g C", w, c)
		}
	}
}

// askPeer gives a script of Debian's Python the JSON of asked and reads its answer.
func askPeer(t *testing.T, script string, asked, answer any) {
	t.Helper()
	text, err := json.Marshal(asked)
	require.NoError(t, err)
	run := exec.Command("/usr/bin/python3", script)
	var trouble bytes.Buffer
	run.Stdin, run.Stderr = bytes.NewReader(text), &trouble
	out, err := run.Output()
	require.NoError(t, err, trouble.String())
	require.NoError(t, json.Unmarshal(out, answer))
}
