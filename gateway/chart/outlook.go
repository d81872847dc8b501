package chart

import (
	"fmt"
	"strings"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"

	"cobline/calc"
)

// outlookDays is how many days of an outlook are drawn: more leave no room for
// their names.
const outlookDays = 7

// What the axes of an outlook show at least, so that a fair week does not look
// like a wild one.
const (
	leastPower = .6
	leastRain  = 10.
	leastWind  = 20.
)

// outlookHeight is that of three small plots, one below the other.
const outlookHeight vg.Length = 225

// Outlook draws the coming days of a place: how well they dry, the rain, which
// has its hour where it is known, and the wind.
func Outlook(days []calc.OutlookDay) Picture {
	days = days[:min(len(days), outlookDays)]
	row := func(title string, least float64, marks Marks) Picture {
		p := Picture{Plot: newPlot("", "", title), Height: outlookHeight}
		p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = -.5, float64(len(days))-.5, 0, least
		p.X.Tick.Marker, p.X.Tick.Length = plot.ConstantTicks{}, 0
		p.Y.Tick.Marker = marks
		return p
	}
	power := row("drying", leastPower*100, Numbers(20, 40))
	rain := row("rain mm", leastRain, Numbers(5, 10, 50, 100))
	wind := row("wind km/h", leastWind, Numbers(10, 20, 50))
	const half = .35
	var names []plot.Tick
	var speeds plotter.XYs
	for i, d := range days {
		x := float64(i)
		power.Bar(x-half, x+half, 100*float64(d.Power), 0, Amber)
		power.Y.Max = max(power.Y.Max, 100*float64(d.Power))
		if d.Rain > 0 {
			rain.Bar(x-half, x+half, float64(d.Rain), 0, Water)
			rain.Y.Max = max(rain.Y.Max, 1.2*float64(d.Rain))
		}
		if !d.RainFrom.IsZero() {
			rain.Label(plotter.XY{X: x - half, Y: float64(d.Rain)}, d.RainFrom.Format("15 h"))
		}
		speeds = append(speeds, plotter.XY{X: x, Y: float64(d.Weather.Wind.PerHour())})
		wind.Y.Max = max(wind.Y.Max, 1.1*float64(d.Weather.Wind.PerHour()))
		names = append(names, plot.Tick{Value: x, Label: d.Date.Format("Mon 2")})
	}
	if len(speeds) > 0 {
		wind.Line(speeds, Black)
		wind.Dots(speeds, Black)
	}
	wind.X.Tick.Marker = plot.ConstantTicks(names)
	power.below = []*plot.Plot{rain.Plot, wind.Plot}
	return power
}

// OutlookText says what Outlook draws, for those who hear it.
func OutlookText(days []calc.OutlookDay) string {
	var b strings.Builder
	for _, d := range days[:min(len(days), outlookDays)] {
		fmt.Fprintf(&b, "%s: drying power %.0f, rain %s mm%s, wind %s km/h. ", d.Date.Format("Monday 2 January"), 100*float64(d.Power), short(float64(d.Rain)), from(d.RainFrom), short(float64(d.Weather.Wind.PerHour())))
	}
	return strings.TrimSpace(b.String())
}

func from(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format(" from 15:04")
}

// short writes a number with one decimal, if it has one.
func short(v float64) string { return strings.TrimSuffix(fmt.Sprintf("%.1f", v), ".0") }
