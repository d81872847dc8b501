package console

import (
	"math"
	"strconv"
)

// bar is one row of a picture: its name, and a bar below it from low to high.
type bar struct {
	Name string
	Pale bool // it says little

	// Where it stands in the picture.
	Top               int // of its name
	Line              int // of the end of its bar
	BarTop            int
	X1, Width, Middle string

	low, middle, high float64 // middle is zero if nothing is marked
}

// bars are a picture. Its lengths across are parts of its width, so that its words
// stay as large on a phone, and have the whole width of it.
type bars struct {
	ID, Title string
	Rows      []bar
	Ticks     []tick
	Height    int
	Bottom    int // of the grid
	Floor     int // where the figures of the ticks stand
}

type tick struct{ X, Label, Anchor string }

const (
	rowHeight = 52
	barHeight = 16
	mostRows  = 24 // what is below them stands in the table alone
)

// drawBars draws bars for a page with a table of the same figures. The id is the
// picture's on its page.
func drawBars(id, title string, rows []bar) bars {
	c := bars{ID: id, Title: title, Rows: rows[:min(len(rows), mostRows)]}
	if len(rows) == 0 {
		return c
	}
	top := 0.0
	for i := range c.Rows {
		r := &c.Rows[i]
		r.Top = rowHeight*i + 18
		r.BarTop = r.Top + 8
		r.Line = r.BarTop + barHeight
		top = max(top, r.high)
	}
	step := 1.0
	for i := 0; top > 5*step; i++ {
		step *= []float64{2, 2.5, 2}[i%3] // 1, 2, 5, 10
	}
	top = step * max(1, math.Ceil(top/step))
	part := func(v float64) string { return strconv.FormatFloat(100*v/top, 'f', 2, 64) + "%" }
	for i := range c.Rows {
		r := &c.Rows[i]
		r.X1, r.Width = part(r.low), part(max(r.high-r.low, top/200))
		if r.middle != 0 {
			r.Middle = part(r.middle)
		}
	}
	c.Bottom = rowHeight * len(c.Rows)
	c.Floor = c.Bottom + 18
	c.Height = c.Bottom + 26
	for v := 0.0; v <= top; v += step {
		anchor := "middle"
		switch v {
		case 0:
			anchor = "start"
		case top:
			anchor = "end"
		}
		c.Ticks = append(c.Ticks, tick{part(v), strconv.FormatFloat(v, 'f', -1, 64), anchor})
	}
	return c
}
