package calc

import (
	"fmt"
	"math"
)

// OutOfRange says that an input lies outside what a method can answer; a
// conversation turns it into a question.
type OutOfRange struct {
	What           string // the input, in the words of the field
	Got, Low, High float64
}

// Error returns a sentence an operator can act on.
func (e OutOfRange) Error() string {
	if math.IsNaN(e.Got) {
		return fmt.Sprintf("%s is missing; it must lie between %g and %g", e.What, e.Low, e.High)
	}
	return fmt.Sprintf("%s is %g; it must lie between %g and %g", e.What, e.Got, e.Low, e.High)
}

// Unknown says that a key names nothing the package has figures for.
type Unknown struct{ What, Key string }

// Error returns a sentence an operator can act on.
func (e Unknown) Error() string { return fmt.Sprintf("there is no %s %q", e.What, e.Key) }

// Fault is what is wrong with a mix or with briquettes, and what to do; both are
// stable keys.
type Fault struct{ Why, Remedy string }

// within returns an OutOfRange unless low <= got <= high.
func within[T ~float64](what string, got, low, high T) error {
	if got >= low && got <= high {
		return nil
	}
	return OutOfRange{What: what, Got: float64(got), Low: float64(low), High: float64(high)}
}

// ranged returns an OutOfRange unless r is ordered and lies in [low, high].
func ranged[T ~float64](what string, r Range[T], low, high T) error {
	if err := within(what, r.Low, low, high); err != nil {
		return err
	}
	if err := within(what, r.Likely, r.Low, high); err != nil {
		return err
	}
	return within(what, r.High, r.Likely, high)
}

// withinOrZero is within for a field whose zero stands for its default.
func withinOrZero[T ~float64](what string, got, low, high T) error {
	if got == 0 {
		return nil
	}
	return within(what, got, low, high)
}

// rangedOrZero is ranged for a field whose zero stands for its default.
func rangedOrZero[T ~float64](what string, r Range[T], low, high T) error {
	if r == (Range[T]{}) {
		return nil
	}
	return ranged(what, r, low, high)
}

// known is within for a field that may not have been given.
func known[T ~float64](what string, v *T, low, high T) error {
	if v == nil {
		return nil
	}
	return within(what, *v, low, high)
}
