package gateway

import (
	"time"

	"cobline/calc"
)

// forecastRow is a forecast as the desk holds it. Integer keys are never reused.
type forecastRow struct {
	Source  string     `cbor:"1,keyasint,omitempty"`
	By      string     `cbor:"2,keyasint,omitempty"`
	Taken   time.Time  `cbor:"3,keyasint,omitzero"`
	Dry     int        `cbor:"4,keyasint"`
	Issued  time.Time  `cbor:"5,keyasint,omitzero"`
	From    time.Time  `cbor:"6,keyasint,omitzero"`
	Coast   bool       `cbor:"7,keyasint,omitempty"`
	Arid    bool       `cbor:"8,keyasint,omitempty"`
	Days    []dayRow   `cbor:"9,keyasint,omitempty"`
	Climate []monthRow `cbor:"10,keyasint,omitempty"`
}

// dayRow is a day of it. It has the fields of calc.Day, in their order.
type dayRow struct {
	Date time.Time `cbor:"1,keyasint,omitzero"`

	Max *calc.Celsius `cbor:"2,keyasint,omitempty"`
	Min *calc.Celsius `cbor:"3,keyasint,omitempty"`
	Dew *calc.Celsius `cbor:"4,keyasint,omitempty"`

	HumidityMax  *calc.Share `cbor:"5,keyasint,omitempty"`
	HumidityMin  *calc.Share `cbor:"6,keyasint,omitempty"`
	HumidityMean *calc.Share `cbor:"7,keyasint,omitempty"`
	HumidityNine *calc.Share `cbor:"8,keyasint,omitempty"`

	Wind       *calc.MetrePerSecond `cbor:"9,keyasint,omitempty"`
	Gust       *calc.MetrePerSecond `cbor:"10,keyasint,omitempty"`
	WindHeight calc.Metre           `cbor:"11,keyasint,omitempty"`

	Solar    *calc.MJPerSquareMetre `cbor:"12,keyasint,omitempty"`
	Sunshine *calc.Hours            `cbor:"13,keyasint,omitempty"`
	Cloud    *calc.Share            `cbor:"14,keyasint,omitempty"`
	Code     *int                   `cbor:"15,keyasint,omitempty"`

	Rain       *calc.Millimetre  `cbor:"16,keyasint,omitempty"`
	RainByHour []calc.Millimetre `cbor:"17,keyasint,omitempty"`
	RainChance *calc.Share       `cbor:"18,keyasint,omitempty"`
}

// monthRow is a month of the climate behind it.
type monthRow struct {
	Typical dayRow          `cbor:"1,keyasint"`
	Rain    calc.Millimetre `cbor:"2,keyasint,omitempty"`
	WetDays calc.Count      `cbor:"3,keyasint,omitempty"`
}

func rowOf(f Forecast) forecastRow {
	in := f.Input
	row := forecastRow{
		Source: f.Source, By: f.By, Taken: f.Taken, Dry: f.Dry,
		Issued: exactly(in.Issued), From: exactly(in.From), Coast: in.Place.Coast, Arid: in.Place.Arid,
	}
	for _, d := range in.Days {
		d.Date = exactly(d.Date)
		row.Days = append(row.Days, dayRow(d))
	}
	if in.Climate != nil {
		for _, m := range in.Climate {
			row.Climate = append(row.Climate, monthRow{Typical: dayRow(m.Typical), Rain: m.Rain, WetDays: m.WetDays})
		}
	}
	return row
}

// forecast returns the forecast of a row. Where its place lies is not in it: a
// place that moves takes its weather along.
func (r forecastRow) forecast(place string) Forecast {
	f := Forecast{Place: place, Source: r.Source, By: r.By, Taken: exactly(r.Taken), Dry: r.Dry}
	f.Input.Issued, f.Input.From = exactly(r.Issued), exactly(r.From)
	f.Input.Place.Coast, f.Input.Place.Arid = r.Coast, r.Arid
	for _, d := range r.Days {
		d.Date = exactly(d.Date)
		f.Input.Days = append(f.Input.Days, calc.Day(d))
	}
	if len(r.Climate) == len(calc.Climate{}) {
		f.Input.Climate = new(calc.Climate)
		for i, m := range r.Climate {
			f.Input.Climate[i] = calc.Month{Typical: calc.Day(m.Typical), Rain: m.Rain, WetDays: m.WetDays}
		}
	}
	return f
}
