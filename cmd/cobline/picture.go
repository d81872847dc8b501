package main

import (
	"errors"
	"fmt"
	"image/color"
	"slices"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"

	"cobline/calc"
	"cobline/gateway/chart"
)

// assumed returns what a method has taken for an input that was not given.
func assumed(list []*calc.Sourced, name string) float64 {
	i := slices.IndexFunc(list, func(s *calc.Sourced) bool { return s.Name == name })
	return list[i].Likely
}

// drawDrying shows the moisture hour by hour, with a point on each evening.
func drawDrying(in dryInput) (chart.Picture, error) {
	dry, err := in.input()
	if err != nil {
		return chart.Picture{}, err
	}
	dry.Now = time.Time{} // the picture begins when the rack is put out
	result, err := calc.DryOut(dry)
	if err != nil {
		return chart.Picture{}, err
	}
	curves, err := calc.DryingCurve(dry)
	if err != nil {
		return chart.Picture{}, err
	}
	target := float64(dry.Target)
	switch {
	case target > 0:
	case dry.Waste != "":
		target = assumed(result.Assumed, "driest waste that loses no char worth saying")
	default:
		target = assumed(result.Assumed, "moisture of a finished briquette")
	}
	days := chart.CalendarFrom(dry.Start)
	p := chart.New("Drying in this weather", "day (marks at midnight)", "moisture, % of weight")
	p.X.Tick.Marker, p.Y.Tick.Marker = days.Marks(), chart.Numbers(5, 10, 20)
	p.X.Min, p.Y.Min = 0, 0
	begin := float64(dry.Start.Hour()) // the model counts whole hours
	for _, m := range []struct {
		calc.Member
		name   string
		colour color.Color
	}{{calc.DryMember, "drier days", chart.Orange}, {calc.LikelyMember, "likely", chart.Black}, {calc.WetMember, "wetter days", chart.Blue}} {
		member := result.Members[m.Member]
		points := plotter.XYs{{X: begin / 24, Y: 100 * float64(member.Moisture)}}
		for i, w := range curves[m.Member] {
			points = append(points, plotter.XY{X: (begin + float64(i+1)) / 24, Y: 100 * float64(w)})
		}
		p.Curve(m.name, points, m.colour)
		var evenings plotter.XYs
		for day, w := range member.Evenings {
			evenings = append(evenings, plotter.XY{X: min(float64(day+1), points[len(points)-1].X), Y: 100 * float64(w)})
		}
		p.Dots(evenings, m.colour)
	}
	p.Limit(plotter.XY{X: p.X.Min, Y: 100 * target}, plotter.XY{X: p.X.Max, Y: 100 * target})
	p.Label(plotter.XY{X: p.X.Min, Y: 100 * target}, fmt.Sprintf("target %.3g %%", 100*target))
	return p, nil
}

// drawCooling shows why to wait: the wall is cool long before the core.
func drawCooling(in calc.CoolInput) (chart.Picture, error) {
	result, err := calc.Cool(in)
	if err != nil {
		return chart.Picture{}, err
	}
	until := min(max(2*result.BindingWait, 1.25*result.CoreSafe.High), 240) // with room for names after the wait
	curve, err := calc.CoolingCurve(in, until, 400)
	if err != nil {
		return chart.Picture{}, err
	}
	core, wall := make(plotter.XYs, len(curve)), make(plotter.XYs, len(curve))
	for i, c := range curve {
		core[i] = plotter.XY{X: float64(c.After), Y: float64(c.Core)}
		wall[i] = plotter.XY{X: float64(c.After), Y: float64(c.Wall)}
	}
	safe := float64(in.Safe)
	if safe == 0 {
		safe = assumed(result.Assumed, "core temperature below which opened char is not expected to run away")
	}
	p := chart.New("A sealed drum cools: likely course", "hours since sealing", "temperature, °C")
	p.X.Tick.Marker, p.Y.Tick.Marker = chart.Numbers(6, 12, 24, 48), chart.Numbers(50, 100, 200)
	p.Y.Min = 0
	p.Curve("core", core, chart.Black)
	p.Curve("wall", wall, chart.Orange)
	wait := float64(result.BindingWait)
	p.Limit(plotter.XY{X: 0, Y: safe}, plotter.XY{X: float64(until), Y: safe})
	p.Limit(plotter.XY{X: wait, Y: 0}, plotter.XY{X: wait, Y: p.Y.Max})
	p.Label(plotter.XY{X: wait, Y: safe}, fmt.Sprintf("safe core %.0f °C", safe))
	p.Label(plotter.XY{X: wait, Y: p.Y.Max / 2}, fmt.Sprintf("not before %.0f h", wait))
	return p, nil
}

// drawPlan shows the calendar of a plan: a row for each drum and each lot.
func drawPlan(in calc.PlanInput) (chart.Picture, error) {
	result, err := calc.Plan(in)
	if err != nil {
		return chart.Picture{}, err
	}
	if len(result.Burnt)+len(result.Lots) == 0 {
		return chart.Picture{}, errors.New("the plan has no burns and no lots to draw")
	}
	title := "No likely day"
	if !result.Ready.Likely.IsZero() {
		title = fmt.Sprintf("Ready about %s", result.Ready.Likely.Format("2 Jan"))
	}
	days := chart.CalendarFrom(in.Start)
	p := chart.New(fmt.Sprintf("%s; bottleneck: %s", title, result.Bottleneck), "day (marks at midnight)", "")
	var rows []plot.Tick
	drums := 0
	for _, b := range result.Burnt {
		drums = max(drums, b.Drum)
	}
	for drum := range drums {
		rows = append(rows, plot.Tick{Value: float64(drum), Label: fmt.Sprintf("drum %d", drum+1)})
	}
	var burn, airing, drying *plotter.Polygon
	for _, b := range result.Burnt {
		row := float64(b.Drum - 1)
		burn = p.Bar(days.At(b.Lit), days.At(b.Opened), row-.4, row+.15, chart.Black)
		airing = p.Bar(days.At(b.Opened), days.At(b.Aired), row+.15, row+.4, chart.Orange)
	}
	for i, lot := range result.Lots {
		row := float64(len(rows))
		rows = append(rows, plot.Tick{Value: row, Label: fmt.Sprintf("lot %d, %.0f kg", i+1, lot.Kg)})
		drying = p.Bar(days.At(lot.Pressed), days.At(lot.Dry)+1, row-.3, row+.3, chart.Sky)
	}
	for _, kind := range []struct {
		name string
		bar  *plotter.Polygon
	}{{"burning, then sealed", burn}, {"char airing", airing}, {"pressed, drying", drying}} {
		if kind.bar != nil {
			p.Legend.Add(kind.name, kind.bar)
		}
	}
	p.X.Tick.Marker, p.Y.Tick.Marker, p.Y.Tick.Color = days.Marks(), plot.ConstantTicks(rows), color.White
	p.Y.Scale = plot.InvertedScale{Normalizer: plot.LinearScale{}}
	const legend = 3 // rows
	p.Legend.XOffs = 4
	p.X.Min, p.Y.Min, p.Y.Max = 0, -legend-.6, float64(len(rows))-.4
	p.Height = 70 + 14*vg.Length(legend+len(rows))
	return p, nil
}
