package main

import (
	"encoding/csv"
	"fmt"
	"maps"
	"os"
	"slices"
	"strconv"
	"time"

	"cobline/calc"
	"cobline/dialog"
)

// skyColumns are the columns of a file of days, each with where its number goes.
var skyColumns = map[string]func(d *calc.Day, v float64){
	"max":      func(d *calc.Day, v float64) { d.Max = new(calc.Celsius(v)) },
	"min":      func(d *calc.Day, v float64) { d.Min = new(calc.Celsius(v)) },
	"humidity": func(d *calc.Day, v float64) { d.HumidityMean = new(calc.Share(v)) },
	"sunshine": func(d *calc.Day, v float64) { d.Sunshine = new(calc.Hours(v)) },
	"wind":     func(d *calc.Day, v float64) { d.Wind = new(calc.MetrePerSecond(v)) },
	"rain":     func(d *calc.Day, v float64) { d.Rain = new(calc.Millimetre(v)) },
}

// readSky reads a file of days: a line of column names, then a line for each day
// from the first on. An empty cell is not known.
func readSky(file string, first time.Time) ([]calc.Day, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	wrong := func(line int, what string) error {
		return advised{fmt.Errorf("%s:%d: %s", file, line, what), fmt.Sprintf("The first line names columns out of %v; each further line is a day.", slices.Sorted(maps.Keys(skyColumns)))}
	}
	if len(rows) < 2 {
		return nil, wrong(1, "no day")
	}
	var days []calc.Day
	for i, row := range rows[1:] {
		day := calc.Day{Date: first.AddDate(0, 0, i)}
		for j, cell := range row {
			enter, ok := skyColumns[rows[0][j]]
			if !ok {
				return nil, wrong(1, fmt.Sprintf("no column is called %q", rows[0][j]))
			}
			if cell == "" {
				continue
			}
			v, err := strconv.ParseFloat(cell, 64)
			if err != nil {
				return nil, wrong(i+2, fmt.Sprintf("%q is no number", cell))
			}
			enter(&day, v)
		}
		days = append(days, day)
	}
	return days, nil
}

// under returns the facts with a forecast at every place, issued at the start.
func under(facts *dialog.Facts, days []calc.Day, start time.Time) (*dialog.Facts, error) {
	out := *facts
	out.Places = maps.Clone(facts.Places)
	for key, p := range facts.Places {
		f, err := calc.NewForecast(calc.ForecastInput{
			Place:  calc.Place{Lat: p.Lat, Lon: p.Lon, Altitude: p.Altitude, Zone: p.Zone},
			Issued: start, Days: days,
		})
		if err != nil {
			return nil, err
		}
		if out.Places[key], err = p.WithForecast(f, -1); err != nil {
			return nil, err
		}
	}
	return &out, nil
}
