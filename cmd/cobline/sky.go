package main

import (
	"fmt"
	"maps"
	"os"
	"strings"
	"time"

	"cobline/calc"
	"cobline/dialog"
	"cobline/gateway/forecast"
)

// under returns the facts with the weather of a file at every place, issued at
// the start: a line of column names, then a line a day from the start on.
func under(facts *dialog.Facts, file string, start time.Time) (*dialog.Facts, error) {
	octets, err := os.ReadFile(file)
	if err != nil {
		return nil, err
	}
	out := *facts
	out.Places = maps.Clone(facts.Places)
	for key, p := range facts.Places {
		in, err := forecast.Plain().Read(octets, p, start, start)
		if err != nil {
			advice := "The first line names columns out of " + strings.Join(forecast.PlainColumns(), ", ") + "; each further line is a day."
			return nil, advised{fmt.Errorf("%s: %w", file, err), advice}
		}
		f, err := calc.NewForecast(in)
		if err != nil {
			return nil, err
		}
		if out.Places[key], err = p.WithForecast(f, -1); err != nil {
			return nil, err
		}
	}
	return &out, nil
}
