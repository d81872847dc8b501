package calc

import (
	"fmt"
	"iter"
	"reflect"
)

// Range is an uncertain quantity: P10, P50 and P90.
type Range[T ~float64] struct{ Low, Likely, High T }

// Exactly returns a range without width.
func Exactly[T ~float64](v T) Range[T] { return Range[T]{v, v, v} }

// Ordered reports whether low <= likely <= high.
func (r Range[T]) Ordered() bool { return r.Low <= r.Likely && r.Likely <= r.High }

// Scale multiplies the whole range by k >= 0. Use it for quantities that move
// together (the char, its starch and its briquettes are one draw).
func (r Range[T]) Scale(k float64) Range[T] {
	return Range[T]{T(float64(r.Low) * k), T(float64(r.Likely) * k), T(float64(r.High) * k)}
}

// As gives the range another unit without changing the numbers.
func As[U, T ~float64](r Range[T]) Range[U] {
	return Range[U]{U(r.Low), U(r.Likely), U(r.High)}
}

// Standing says how far a source can be trusted.
type Standing uint8

const (
	// Unsourced is the zero value; a test fails on any figure that has it.
	Unsourced Standing = iota
	// Practice is common practice without a published source.
	Practice
	// Remembered is quoted from memory of the named source, not read again.
	Remembered
	// Derived is computed or judged here from other figures.
	Derived
	// Read was looked up in the named source (often its abstract or an excerpt).
	Read
)

// String returns the words used in SOURCES.md.
func (s Standing) String() string {
	switch s {
	case Practice:
		return "common practice, no source"
	case Remembered:
		return "from memory, not read again"
	case Derived:
		return "derived or judged here"
	case Read:
		return "read"
	default:
		return "UNSOURCED"
	}
}

// Source names where a figure comes from.
type Source struct {
	Title, By string
	Year      int
	At, URL   string // At: equation, table or page
	Standing  Standing
}

// String returns the source in one line.
func (s Source) String() string {
	out := s.Title
	if s.By != "" {
		out = s.By + ": " + out
	}
	if s.Year != 0 {
		out += fmt.Sprintf(" (%d)", s.Year)
	}
	if s.At != "" {
		out += ", " + s.At
	}
	return out
}

// Figure is a number the package computes with: a name, a range and a source.
type Figure[T ~float64] struct {
	Name string
	Range[T]
	Source  Source
	sourced *Sourced
}

// Sourced is a Figure without its type, for lists of all figures.
type Sourced struct {
	Name, Unit        string
	Low, Likely, High float64
	Source            Source
}

// Sourced returns the figure without its type, as it stands in the list of all
// figures: every result that rests on it holds the same one, which nobody
// changes.
func (f Figure[T]) Sourced() *Sourced { return f.sourced }

var figures []*Sourced

// newFigure makes a figure and enters it into the list of all figures. It is
// called in package variable declarations only.
func newFigure[T ~float64](name string, low, likely, high T, s Source) Figure[T] {
	sourced := &Sourced{
		Name: name, Unit: reflect.TypeFor[T]().Name(),
		Low: float64(low), Likely: float64(likely), High: float64(high), Source: s,
	}
	figures = append(figures, sourced)
	return Figure[T]{name, Range[T]{low, likely, high}, s, sourced}
}

// constant makes a figure without a range.
func constant[T ~float64](name string, v T, s Source) Figure[T] { return newFigure(name, v, v, v, s) }

// Figures yields every number the package computes with, always in the same
// order.
func Figures() iter.Seq[*Sourced] {
	return func(yield func(*Sourced) bool) {
		for _, f := range figures {
			if !yield(f) {
				return
			}
		}
	}
}
