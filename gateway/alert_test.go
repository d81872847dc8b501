package gateway

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/calc"
)

// Great-circle distances; Paris to London is about 344 km, a degree of latitude
// 111.2 km on a sphere of 6371 km (own reference computation).
func TestDistanceOnTheEarth(t *testing.T) {
	require.InDelta(t, 343.5, Point{48.8566, 2.3522}.kilometres(Point{51.5074, -0.1278}), .5)
	require.InDelta(t, 111.195, Point{0, 0}.kilometres(Point{1, 0}), .001)
	require.InDelta(t, 111.195, Point{0, 179.5}.kilometres(Point{0, -179.5}), .001, "over the date line")
	require.Zero(t, Point{-1.29, 36.82}.kilometres(Point{-1.29, 36.82}))
}

func TestAreasCover(t *testing.T) {
	lake := [][]Point{{{0, 34}, {0, 35}, {-1, 35}, {-1, 34}, {0, 34}}}
	dateline := [][]Point{{{10, 179}, {10, -179}, {-10, -179}, {-10, 179}, {10, 179}}}
	for name, c := range map[string]struct {
		area  AlertArea
		point Point
		want  bool
	}{
		"inside":                         {AlertArea{Polygons: lake}, Point{-.4, 34.9}, true},
		"outside":                        {AlertArea{Polygons: lake}, Point{-.4, 35.1}, false},
		"north of it":                    {AlertArea{Polygons: lake}, Point{.1, 34.5}, false},
		"over the date line":             {AlertArea{Polygons: dateline}, Point{0, -179.5}, true},
		"on the other side of the earth": {AlertArea{Polygons: dateline}, Point{0, 0}, false},
		"in the circle":                  {AlertArea{Circles: []AlertCircle{{Point{-.4, 34.9}, 20}}}, Point{-.5, 34.9}, true},
		"out of the circle":              {AlertArea{Circles: []AlertCircle{{Point{-.4, 34.9}, 10}}}, Point{-.5, 34.9}, false},
		"polygon or circle":              {AlertArea{Polygons: lake, Circles: []AlertCircle{{Point{5, 5}, 1}}}, Point{5, 5}, true},
		"only named":                     {AlertArea{Name: "Lake Region"}, Point{50, 8}, true},
	} {
		require.Equal(t, c.want, c.area.Covers(c.point), name)
	}
}

// A rectangle holds the points between its sides, wherever on the earth it lies.
func TestPolygonIsItsRectangle(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		degree := func(low, high float64, name string) calc.Degree {
			return calc.Degree(rapid.Float64Range(low, high).Draw(t, name))
		}
		south, west := degree(-80, 79, "south"), degree(-180, 180, "west")
		height, width := degree(.01, 5, "height"), degree(.01, 100, "width")
		up, right := degree(-1, 2, "up"), degree(-.5, 1.5, "right")
		corner := func(y, x calc.Degree) Point { return Point{south + y*height, west + x*width} }
		box := []Point{corner(0, 0), corner(0, 1), corner(1, 1), corner(1, 0), corner(0, 0)}
		p := corner(up, right)
		if p.Lon > 180 {
			p.Lon -= 360
		}
		const edge = 1e-6
		nearEdge := min(abs(up), abs(up-1), abs(right), abs(right-1)) < edge
		if !nearEdge {
			require.Equal(t, up > 0 && up < 1 && right > 0 && right < 1, p.inside(box))
		}
	})
}

func abs(d calc.Degree) calc.Degree { return max(d, -d) }

func TestWarningsInForce(t *testing.T) {
	noon := time.Date(2031, 6, 3, 12, 0, 0, 0, time.UTC)
	storm := Alert{Type: "Alert", Ref: AlertRef{"met@example.invalid", "1", noon.Add(-time.Hour)}, Infos: []AlertInfo{{
		Lang: "en-GB", Categories: []string{"Met"}, Event: "Thunderstorm", Severity: "Severe", Onset: noon.Add(3 * time.Hour), Expires: noon.Add(6 * time.Hour),
	}, {
		Lang: "sw", Categories: []string{"Met"}, Event: "Mvua ya radi", Severity: "Severe", Onset: noon.Add(3 * time.Hour), Expires: noon.Add(6 * time.Hour),
	}}}
	require.Len(t, InForce([]Alert{storm}, noon), 1)
	require.Empty(t, InForce([]Alert{storm}, noon.Add(6*time.Hour)), "it is over")

	update := storm
	update.Type, update.Ref, update.References = "Update", AlertRef{"met@example.invalid", "2", noon}, []AlertRef{storm.Ref}
	require.Equal(t, []Alert{update}, InForce([]Alert{storm, update}, noon))

	cancel := Alert{Type: "Cancel", Ref: AlertRef{"met@example.invalid", "3", noon}, References: []AlertRef{storm.Ref, update.Ref}}
	require.Empty(t, InForce([]Alert{storm, update, cancel}, noon))
	cancel.References[0].Sender = "somebody@example.invalid"
	require.Equal(t, []Alert{storm}, InForce([]Alert{storm, cancel}, noon), "nobody cancels the warning of another")

	here := storm.Here(Point{}, noon, noon.Add(24*time.Hour), "sw")
	require.Len(t, here, 2)
	require.Equal(t, "Mvua ya radi", here[0].Event)
	require.True(t, here[0].ForbidsFire())
	require.Empty(t, storm.Here(Point{}, noon, noon.Add(2*time.Hour), "en"), "not yet")
	require.Empty(t, storm.Here(Point{}, noon.Add(7*time.Hour), noon.Add(24*time.Hour), "en"), "no longer")
	storm.Infos[0].Responses, storm.Infos[1].Severity = []string{"AllClear"}, "Moderate"
	here = storm.Here(Point{}, noon, noon.Add(24*time.Hour), "en")
	require.Len(t, here, 1)
	require.False(t, here[0].ForbidsFire())
	here[0].Categories = []string{"Safety", "Fire"}
	require.True(t, here[0].ForbidsFire())

	storm.Infos = []AlertInfo{{Event: "Wind"}}
	require.Len(t, InForce([]Alert{storm}, noon.Add(22*time.Hour)), 1)
	require.Empty(t, InForce([]Alert{storm}, noon.Add(24*time.Hour)), "no end is given: a day")
}
