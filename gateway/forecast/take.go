package forecast

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"cobline/calc"
	"cobline/dialog"
	"cobline/gateway"
)

// Knowledge is where forecasts and warnings are kept, from where the line uses
// them at once: gateway.Knowledge.
type Knowledge interface {
	Facts() *dialog.Facts
	Forecasts() []gateway.Forecast
	SetForecast(ctx context.Context, f gateway.Forecast) error
	Alerts() []gateway.Alert
	AddAlert(ctx context.Context, a gateway.Alert) error
	DropAlert(ctx context.Context, id string) error
}

// ErrOlder says that a forecast is not newer than the one the place has.
var ErrOlder = errors.New("the place has a forecast that was issued later")

// errSame says that a forecast is the one the place has.
var errSame = errors.New("the place has this forecast")

// Take keeps a forecast of a place, unless it has one that was issued later.
// source says where it is from, by who brought it if a person did.
func Take(ctx context.Context, k Knowledge, place, source, by string, in calc.ForecastInput, now time.Time) error {
	f := gateway.Forecast{Place: place, Source: source, By: by, Taken: now, Dry: -1, Input: in}
	held := k.Forecasts()
	if i := slices.IndexFunc(held, func(h gateway.Forecast) bool { return h.Place == place }); i >= 0 {
		old := held[i]
		switch age := in.Issued.Sub(old.Input.Issued).Round(time.Second); {
		case age < 0:
			return fmt.Errorf("%w: at %s, and this at %s", ErrOlder, old.Input.Issued.Format(time.RFC3339), in.Issued.Format(time.RFC3339))
		case age == 0 && by == "" && old.Source == source:
			return errSame
		}
		f.Dry = dryBefore(old, dateOf(in.Days[0].Date, in.Place.Zone))
	}
	return k.SetForecast(ctx, f)
}

// dryBefore counts the days without rain before a day, as the forecast before
// told them; negative if nobody knows.
func dryBefore(old gateway.Forecast, first time.Time) int {
	dry := old.Dry
	for _, d := range old.Input.Days {
		rain := calc.Millimetre(0)
		if d.Rain != nil {
			rain = *d.Rain
		}
		for _, r := range d.RainByHour {
			rain += r
		}
		switch {
		case !d.Date.Before(first):
			return dry
		case rain >= 1:
			dry = 0
		case dry >= 0:
			dry++
		}
	}
	return dry
}

// Upload reads a body that a person brings, and keeps the forecast of each of
// the places; of none if one of them is refused. It returns the places.
func Upload(ctx context.Context, k Knowledge, r *Reader, octets []byte, places []string, source, by string, now time.Time) ([]string, error) {
	facts := k.Facts()
	if len(places) == 0 {
		if r.mapping.Place == "" {
			return nil, fmt.Errorf("say which place it is for: one of %s", strings.Join(slices.Sorted(maps.Keys(facts.Places)), ", "))
		}
		places = slices.Sorted(maps.Keys(facts.Places))
	}
	read := map[string]calc.ForecastInput{}
	var errs []error
	for _, key := range places {
		p, ok := facts.Places[key]
		if !ok {
			return nil, fmt.Errorf("%q: %w", key, gateway.ErrNoPlace)
		}
		in, err := r.Read(octets, p, now, now)
		switch {
		case errors.Is(err, errNoRow) && len(places) > 1: // it has its rows of other places
		case err != nil:
			errs = append(errs, fmt.Errorf("%s: %w", key, err))
		default:
			read[key] = in
		}
	}
	if len(read) == 0 && errs == nil {
		errs = append(errs, fmt.Errorf("no row is of a place of the line: %s", strings.Join(places, ", ")))
	}
	if len(errs) > 0 {
		return nil, errors.Join(errs...)
	}
	taken := slices.Sorted(maps.Keys(read))
	for _, key := range taken {
		if err := Take(ctx, k, key, source, by, read[key], now); err != nil {
			return nil, fmt.Errorf("%s: %w", key, err)
		}
	}
	return taken, nil
}

// alertMemory is how long a warning that is over is kept, so that a late
// cancellation still finds it.
const alertMemory = 30 * 24 * time.Hour

// TakeAlerts keeps those of some warnings that concern a place of the line, or a
// warning that is kept, and drops the ones long over. It returns how many were
// new.
func TakeAlerts(ctx context.Context, k Knowledge, alerts []gateway.Alert, source string, now time.Time) (int, error) {
	held := map[string]gateway.Alert{}
	for _, a := range k.Alerts() {
		held[a.ID()] = a
	}
	fresh := 0
	slices.SortStableFunc(alerts, func(a, b gateway.Alert) int { return a.Ref.Sent.Compare(b.Ref.Sent) })
	for _, a := range alerts {
		_, known := held[a.ID()]
		if known || now.Sub(a.Ref.Sent) > alertMemory || !concerns(a, k.Facts(), held) {
			continue
		}
		a.Source, a.Taken = source, now
		if err := k.AddAlert(ctx, a); err != nil {
			return fresh, err
		}
		held[a.ID()] = a
		fresh++
	}
	for id, a := range held {
		if now.Sub(a.Ref.Sent) > alertMemory && a.Ended(now) {
			if err := k.DropAlert(ctx, id); err != nil {
				return fresh, err
			}
		}
	}
	return fresh, nil
}

// concerns reports whether a warning holds at a place of the line, or takes the
// place of one that is kept.
func concerns(a gateway.Alert, facts *dialog.Facts, held map[string]gateway.Alert) bool {
	for _, h := range held {
		if slices.Contains(a.References, h.Ref) {
			return true
		}
	}
	for _, p := range facts.Places {
		at := gateway.Point{Lat: p.Lat, Lon: p.Lon}
		if slices.ContainsFunc(a.Infos, func(i gateway.AlertInfo) bool { return i.Covers(at) }) {
			return true
		}
	}
	return false
}
