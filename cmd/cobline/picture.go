package main

import (
	"bytes"
	"errors"
	"fmt"
	"image/color"
	"os"
	"slices"
	"strconv"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	vgdraw "gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"

	"cobline/calc"
)

// picture is a plot and how large it is drawn.
type picture struct {
	*plot.Plot
	height vg.Length
}

// The width is 360 pixels of a screen, so that letters stay legible on a phone.
const (
	pictureWidth  vg.Length = 270
	pictureHeight vg.Length = 200
)

// Colours that differ in lightness too, for print and for eyes that tell few
// colours.
var (
	black  = color.Gray{Y: 0x10}
	grey   = color.Gray{Y: 0x70}
	blue   = color.RGBA{R: 0x00, G: 0x72, B: 0xb2, A: 0xff}
	orange = color.RGBA{R: 0xe6, G: 0x9f, B: 0x00, A: 0xff}
	sky    = color.RGBA{R: 0xa6, G: 0xd5, B: 0xf2, A: 0xff}
)

func newPicture(title, x, y string) picture {
	p := picture{plot.New(), pictureHeight}
	p.Title.Text, p.X.Label.Text, p.Y.Label.Text = title, x, y
	// A name stands after its sign, where a wider typeface has room.
	p.Legend.Top, p.Legend.Left, p.Legend.XOffs, p.Legend.ThumbnailWidth, p.Legend.Padding = true, true, 140, 14, 2
	sans := func(size vg.Length) font.Font { return font.Font{Typeface: "Liberation", Variant: "Sans", Size: size} }
	p.Title.TextStyle.Font, p.Title.Padding = sans(11), 6
	p.X.Label.TextStyle.Font, p.Y.Label.TextStyle.Font = sans(10), sans(10)
	p.X.Tick.Label.Font, p.Y.Tick.Label.Font, p.Legend.TextStyle.Font = sans(9), sans(9), sans(9)
	p.X.Padding, p.Y.Padding = 0, 0
	return p
}

// write draws the picture to a file.
func (p picture) write(file string) error {
	canvas := vgsvg.New(pictureWidth, p.height)
	page := vgdraw.New(canvas)
	page.SetColor(color.White)
	page.Fill(page.Path())
	p.Draw(vgdraw.Crop(page, 4, -12, 4, -4))
	var b bytes.Buffer
	if _, err := canvas.WriteTo(&b); err != nil {
		return err
	}
	// Few have the typeface; these have its widths.
	svg := bytes.ReplaceAll(b.Bytes(), []byte("font-family:Liberation Sans;"), []byte("font-family:'Liberation Sans',Arial,Helvetica,sans-serif;"))
	return os.WriteFile(file, svg, 0o644)
}

// curve adds a line with its name in the legend.
func (p picture) curve(name string, points plotter.XYs, c color.Color) {
	line := p.line(points, c)
	line.Width = 1.5
	p.Legend.Add(name, line)
}

func (p picture) line(points plotter.XYs, c color.Color) *plotter.Line {
	line, err := plotter.NewLine(points)
	if err != nil {
		panic(err) // every number of calc is finite, and no curve empty
	}
	line.Color = c
	p.Add(line)
	return line
}

// limit adds a dashed line from one point to another.
func (p picture) limit(from, to plotter.XY) {
	p.line(plotter.XYs{from, to}, grey).Dashes = []vg.Length{4, 2}
}

// label writes beside a point.
func (p picture) label(at plotter.XY, text string) {
	labels, err := plotter.NewLabels(plotter.XYLabels{XYs: plotter.XYs{at}, Labels: []string{text}})
	if err != nil {
		panic(err) // every number of calc is finite
	}
	labels.TextStyle[0].Font, labels.Offset = p.Legend.TextStyle.Font, vg.Point{X: 3, Y: 3}
	p.Add(labels)
}

// bar adds a box.
func (p picture) bar(from, to, top, bottom float64, c color.Color) *plotter.Polygon {
	box, err := plotter.NewPolygon(plotter.XYs{{X: from, Y: top}, {X: to, Y: top}, {X: to, Y: bottom}, {X: from, Y: bottom}})
	if err != nil {
		panic(err) // every number of calc is finite
	}
	box.Color, box.LineStyle.Color, box.LineStyle.Width = c, color.White, .5
	p.Add(box)
	return box
}

// assumed returns what a method has taken for an input that was not given.
func assumed(list []*calc.Sourced, name string) float64 {
	i := slices.IndexFunc(list, func(s *calc.Sourced) bool { return s.Name == name })
	return list[i].Likely
}

// marks are the marks of an axis: at every first step, with a name at every
// such step as leaves room for the names.
type marks struct {
	steps []int
	name  func(at int) string
}

func numbers(steps ...int) marks { return marks{steps, strconv.Itoa} }

// Ticks makes the marks of a stretch of the axis.
func (m marks) Ticks(low, high float64) []plot.Tick {
	named := m.steps[0]
	for _, step := range m.steps {
		if named = step; high-low <= float64(6*step) {
			break
		}
	}
	var ticks []plot.Tick
	for at := 0; float64(at) <= high; at += m.steps[0] {
		tick := plot.Tick{Value: float64(at)}
		if at%named == 0 {
			tick.Label = m.name(at)
		}
		ticks = append(ticks, tick)
	}
	return ticks
}

// calendar counts days from a midnight.
type calendar struct{ midnight time.Time }

func calendarFrom(t time.Time) calendar {
	return calendar{time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, t.Location())}
}

func (c calendar) at(t time.Time) float64 { return t.Sub(c.midnight).Hours() / 24 }

func (c calendar) marks() marks {
	return marks{[]int{1, 2, 3, 7, 14, 28}, func(day int) string { return c.midnight.AddDate(0, 0, day).Format("2 Jan") }}
}

// drawDrying shows the moisture hour by hour, with a point on each evening.
func drawDrying(in dryInput) (picture, error) {
	dry, err := in.input()
	if err != nil {
		return picture{}, err
	}
	dry.Now = time.Time{} // the picture begins when the rack is put out
	result, err := calc.DryOut(dry)
	if err != nil {
		return picture{}, err
	}
	curves, err := calc.DryingCurve(dry)
	if err != nil {
		return picture{}, err
	}
	target := float64(dry.Target)
	switch {
	case target > 0:
	case dry.Waste != "":
		target = assumed(result.Assumed, "driest waste that loses no char worth saying")
	default:
		target = assumed(result.Assumed, "moisture of a finished briquette")
	}
	days := calendarFrom(dry.Start)
	p := newPicture("Drying in this weather", "day (marks at midnight)", "moisture, % of weight")
	p.X.Tick.Marker, p.Y.Tick.Marker = days.marks(), numbers(5, 10, 20)
	p.X.Min, p.Y.Min = 0, 0
	begin := float64(dry.Start.Hour()) // the model counts whole hours
	for _, m := range []struct {
		calc.Member
		name   string
		colour color.Color
	}{{calc.DryMember, "drier days", orange}, {calc.LikelyMember, "likely", black}, {calc.WetMember, "wetter days", blue}} {
		member := result.Members[m.Member]
		points := plotter.XYs{{X: begin / 24, Y: 100 * float64(member.Moisture)}}
		for i, w := range curves[m.Member] {
			points = append(points, plotter.XY{X: (begin + float64(i+1)) / 24, Y: 100 * float64(w)})
		}
		p.curve(m.name, points, m.colour)
		var evenings plotter.XYs
		for day, w := range member.Evenings {
			evenings = append(evenings, plotter.XY{X: min(float64(day+1), points[len(points)-1].X), Y: 100 * float64(w)})
		}
		dots, err := plotter.NewScatter(evenings)
		if err != nil {
			return picture{}, err
		}
		dots.GlyphStyle = vgdraw.GlyphStyle{Color: m.colour, Radius: 2.5, Shape: vgdraw.CircleGlyph{}}
		p.Add(dots)
	}
	p.limit(plotter.XY{X: p.X.Min, Y: 100 * target}, plotter.XY{X: p.X.Max, Y: 100 * target})
	p.label(plotter.XY{X: p.X.Min, Y: 100 * target}, fmt.Sprintf("target %.3g %%", 100*target))
	return p, nil
}

// drawCooling shows why to wait: the wall is cool long before the core.
func drawCooling(in calc.CoolInput) (picture, error) {
	result, err := calc.Cool(in)
	if err != nil {
		return picture{}, err
	}
	until := min(max(2*result.BindingWait, 1.25*result.CoreSafe.High), 240) // with room for names after the wait
	curve, err := calc.CoolingCurve(in, until, 400)
	if err != nil {
		return picture{}, err
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
	p := newPicture("A sealed drum cools: likely course", "hours since sealing", "temperature, °C")
	p.X.Tick.Marker, p.Y.Tick.Marker = numbers(6, 12, 24, 48), numbers(50, 100, 200)
	p.Y.Min = 0
	p.curve("core", core, black)
	p.curve("wall", wall, orange)
	wait := float64(result.BindingWait)
	p.limit(plotter.XY{X: 0, Y: safe}, plotter.XY{X: float64(until), Y: safe})
	p.limit(plotter.XY{X: wait, Y: 0}, plotter.XY{X: wait, Y: p.Y.Max})
	p.label(plotter.XY{X: wait, Y: safe}, fmt.Sprintf("safe core %.0f °C", safe))
	p.label(plotter.XY{X: wait, Y: p.Y.Max / 2}, fmt.Sprintf("not before %.0f h", wait))
	return p, nil
}

// drawPlan shows the calendar of a plan: a row for each drum and each lot.
func drawPlan(in calc.PlanInput) (picture, error) {
	result, err := calc.Plan(in)
	if err != nil {
		return picture{}, err
	}
	if len(result.Burnt)+len(result.Lots) == 0 {
		return picture{}, errors.New("the plan has no burns and no lots to draw")
	}
	title := "No likely day"
	if !result.Ready.Likely.IsZero() {
		title = fmt.Sprintf("Ready about %s", result.Ready.Likely.Format("2 Jan"))
	}
	days := calendarFrom(in.Start)
	p := newPicture(fmt.Sprintf("%s; bottleneck: %s", title, result.Bottleneck), "day (marks at midnight)", "")
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
		burn = p.bar(days.at(b.Lit), days.at(b.Opened), row-.4, row+.15, black)
		airing = p.bar(days.at(b.Opened), days.at(b.Aired), row+.15, row+.4, orange)
	}
	for i, lot := range result.Lots {
		row := float64(len(rows))
		rows = append(rows, plot.Tick{Value: row, Label: fmt.Sprintf("lot %d, %.0f kg", i+1, lot.Kg)})
		drying = p.bar(days.at(lot.Pressed), days.at(lot.Dry)+1, row-.3, row+.3, sky)
	}
	for _, kind := range []struct {
		name string
		bar  *plotter.Polygon
	}{{"burning, then sealed", burn}, {"char airing", airing}, {"pressed, drying", drying}} {
		if kind.bar != nil {
			p.Legend.Add(kind.name, kind.bar)
		}
	}
	p.X.Tick.Marker, p.Y.Tick.Marker, p.Y.Tick.Color = days.marks(), plot.ConstantTicks(rows), color.White
	p.Y.Scale = plot.InvertedScale{Normalizer: plot.LinearScale{}}
	const legend = 3 // rows
	p.Legend.XOffs = 4
	p.X.Min, p.Y.Min, p.Y.Max = 0, -legend-.6, float64(len(rows))-.4
	p.height = 70 + 14*vg.Length(legend+len(rows))
	return p, nil
}
