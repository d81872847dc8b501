package calc

import "fmt"

// OutOfRange says that an input lies outside what a method can answer. It is
// the only error type of the package; a conversation turns it into a question.
type OutOfRange struct {
	What           string // the input, in the words of the field
	Got, Low, High float64
}

// Error returns a sentence an operator can act on.
func (e OutOfRange) Error() string {
	return fmt.Sprintf("%s is %g; it must lie between %g and %g", e.What, e.Got, e.Low, e.High)
}
