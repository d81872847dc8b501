// Package chart draws small pictures as SVG: for a file, and for a page, where
// they take the letters and the ground of the page and are read aloud by their
// title and description.
package chart

import (
	"bytes"
	"fmt"
	"html"
	"image/color"
	"regexp"
	"strconv"
	"strings"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	vgdraw "gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"
)

// Picture is a plot, perhaps with others below that share its axis, and how high
// all of it is drawn.
type Picture struct {
	*plot.Plot
	Height vg.Length
	below  []*plot.Plot
}

// The width is 360 pixels of a screen, so that letters stay legible on a phone.
const (
	width  vg.Length = 270
	height vg.Length = 200
)

// Colours that differ in lightness too, for print and for eyes that tell few
// colours. Amber and Water stand out against a light and against a dark page.
var (
	Black  = color.Gray{Y: 0x10} // on a page, that of its letters
	Grey   = color.Gray{Y: 0x70}
	Blue   = color.RGBA{R: 0x00, G: 0x72, B: 0xb2, A: 0xff}
	Orange = color.RGBA{R: 0xe6, G: 0x9f, B: 0x00, A: 0xff}
	Sky    = color.RGBA{R: 0xa6, G: 0xd5, B: 0xf2, A: 0xff}
	Amber  = color.RGBA{R: 0xb8, G: 0x70, B: 0x00, A: 0xff}
	Water  = color.RGBA{R: 0x1f, G: 0x7f, B: 0xc4, A: 0xff}
)

// New returns an empty picture with a title and the names of its axes.
func New(title, x, y string) Picture {
	return Picture{Plot: newPlot(title, x, y), Height: height}
}

func newPlot(title, x, y string) *plot.Plot {
	p := plot.New()
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

// draw draws the picture; ground is nil where the page shines through.
func (p Picture) draw(ground color.Color) []byte {
	canvas := vgsvg.New(width, p.Height)
	page := vgdraw.New(canvas)
	if ground != nil {
		page.SetColor(ground)
		page.Fill(page.Path())
	}
	rows := [][]*plot.Plot{{p.Plot}}
	for _, q := range p.below {
		rows = append(rows, []*plot.Plot{q})
	}
	for _, row := range rows {
		row[0].BackgroundColor = ground
	}
	inside := vgdraw.Crop(page, 4, -12, 4, -4)
	if len(rows) == 1 {
		p.Draw(inside)
	} else {
		for i, c := range plot.Align(rows, vgdraw.Tiles{Rows: len(rows), Cols: 1, PadY: 4}, inside) {
			rows[i][0].Draw(c[0])
		}
	}
	var b bytes.Buffer
	if _, err := canvas.WriteTo(&b); err != nil {
		panic(err) // a buffer takes all
	}
	return b.Bytes()
}

// File returns the picture as a file of its own, on a white ground.
func (p Picture) File() []byte {
	// Few have the typeface; these have its widths.
	return bytes.ReplaceAll(p.draw(color.White), []byte("font-family:Liberation Sans;"), []byte("font-family:'Liberation Sans',Arial,Helvetica,sans-serif;"))
}

var (
	prolog  = regexp.MustCompile(`(?s)^.*?<svg[^>]*>`)
	styles  = regexp.MustCompile(`style="([^"]*)"`)
	between = regexp.MustCompile(`>\s+<`)
	blank   = regexp.MustCompile(`\s*\n\s*`)
	letters = strings.NewReplacer("#101010", "currentColor", "#000000", "currentColor")
)

// Page returns the picture as a part of a page: an element svg without styles of
// its own, which a page's policy may forbid, in the colour of the letters around
// it. id is unique on the page; title and text say what is to be seen.
func (p Picture) Page(id, title, text string) []byte {
	svg := prolog.ReplaceAll(p.draw(nil), nil)
	svg = styles.ReplaceAllFunc(svg, func(s []byte) []byte {
		var attributes []string
		for style := range strings.SplitSeq(html.UnescapeString(string(styles.FindSubmatch(s)[1])), ";") {
			name, value, ok := strings.Cut(style, ":")
			switch {
			case !ok, strings.HasPrefix(name, "font-") && name != "font-size":
			case name == "stroke" && value == "#FFFFFF": // the edge of a bar
				attributes = append(attributes, `stroke="none"`)
			default:
				attributes = append(attributes, fmt.Sprintf("%s=%q", name, letters.Replace(value)))
			}
		}
		return []byte(strings.Join(attributes, " "))
	})
	head := fmt.Sprintf(`<svg class="chart" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" role="img" aria-labelledby="%[3]s-title %[3]s-text" fill="currentColor"><title id="%[3]s-title">%[4]s</title><desc id="%[3]s-text">%[5]s</desc>`,
		float64(width), float64(p.Height), html.EscapeString(id), html.EscapeString(title), html.EscapeString(text))
	svg = between.ReplaceAll(blank.ReplaceAll(svg, []byte(" ")), []byte("><"))
	return append([]byte(head), bytes.TrimSpace(svg)...)
}

// Curve adds a line with its name in the legend.
func (p Picture) Curve(name string, points plotter.XYs, c color.Color) {
	line := p.Line(points, c)
	line.Width = 1.5
	p.Legend.Add(name, line)
}

// Line adds a line.
func (p Picture) Line(points plotter.XYs, c color.Color) *plotter.Line {
	line, err := plotter.NewLine(points)
	if err != nil {
		panic(err) // every number of calc is finite, and no curve empty
	}
	line.Color = c
	p.Add(line)
	return line
}

// Dots adds points.
func (p Picture) Dots(points plotter.XYs, c color.Color) {
	dots, err := plotter.NewScatter(points)
	if err != nil {
		panic(err) // every number of calc is finite
	}
	dots.GlyphStyle = vgdraw.GlyphStyle{Color: c, Radius: 2.5, Shape: vgdraw.CircleGlyph{}}
	p.Add(dots)
}

// Limit adds a dashed line from one point to another.
func (p Picture) Limit(from, to plotter.XY) {
	p.Line(plotter.XYs{from, to}, Grey).Dashes = []vg.Length{4, 2}
}

// Label writes beside a point.
func (p Picture) Label(at plotter.XY, text string) {
	labels, err := plotter.NewLabels(plotter.XYLabels{XYs: plotter.XYs{at}, Labels: []string{text}})
	if err != nil {
		panic(err) // every number of calc is finite
	}
	labels.TextStyle[0].Font, labels.Offset = p.Legend.TextStyle.Font, vg.Point{X: 3, Y: 3}
	p.Add(labels)
}

// Bar adds a box.
func (p Picture) Bar(from, to, top, bottom float64, c color.Color) *plotter.Polygon {
	box, err := plotter.NewPolygon(plotter.XYs{{X: from, Y: top}, {X: to, Y: top}, {X: to, Y: bottom}, {X: from, Y: bottom}})
	if err != nil {
		panic(err) // every number of calc is finite
	}
	box.Color, box.LineStyle.Color, box.LineStyle.Width = c, color.White, .5
	p.Add(box)
	return box
}

// Marks are the marks of an axis: at every first step, with a name at every such
// step as leaves room for the names.
type Marks struct {
	Steps []int
	Name  func(at int) string
}

// Numbers are marks that are named by their numbers.
func Numbers(steps ...int) Marks { return Marks{steps, strconv.Itoa} }

// Ticks makes the marks of a stretch of the axis.
func (m Marks) Ticks(low, high float64) []plot.Tick {
	named := m.Steps[0]
	for _, step := range m.Steps {
		if named = step; high-low <= float64(6*step) {
			break
		}
	}
	var ticks []plot.Tick
	for at := 0; float64(at) <= high; at += m.Steps[0] {
		tick := plot.Tick{Value: float64(at)}
		if at%named == 0 {
			tick.Label = m.Name(at)
		}
		ticks = append(ticks, tick)
	}
	return ticks
}

// Calendar counts days from a midnight.
type Calendar struct{ midnight time.Time }

// CalendarFrom returns the calendar that begins on the day of a time.
func CalendarFrom(t time.Time) Calendar {
	return Calendar{time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, t.Location())}
}

// At returns the days from the beginning to a time.
func (c Calendar) At(t time.Time) float64 { return t.Sub(c.midnight).Hours() / 24 }

// Marks are those of days, named by their dates.
func (c Calendar) Marks() Marks {
	return Marks{[]int{1, 2, 3, 7, 14, 28}, func(day int) string { return c.midnight.AddDate(0, 0, day).Format("2 Jan") }}
}
