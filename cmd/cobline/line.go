package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/outbox"
	"cobline/gateway/ussd"
	"cobline/gateway/webhook"
	"cobline/locales"
)

// line is what a configuration comes to: everything that answers, without what
// runs by itself.
type line struct {
	catalog   *locales.Catalog
	engine    *dialog.Engine
	shapes    []*webhook.Shape
	service   *gateway.Service
	knowledge *gateway.Knowledge // what officers tell the line about the world
	main      string             // the channel that writes to people of channels that cannot
}

// store is what a line keeps its people and its officers' documents in.
type store interface {
	gateway.Turns
	gateway.Desk
}

// newLine wires a checked configuration to a store, and reads what officers
// entered there. poke is told the channel whose outbox a turn has put something
// in; it may be nil.
func newLine(ctx context.Context, c Config, st store, watch *gateway.Watch, poke func(channel string), log *slog.Logger) (*line, error) {
	l := &line{}
	var err error
	if l.catalog, l.engine, err = newEngine(c.DefaultLang); err != nil {
		return nil, err
	}
	channels := map[string]gateway.Channel{}
	for _, ch := range c.Channel {
		shape, err := webhook.Compile(ch.Spec)
		if err != nil {
			return nil, fmt.Errorf("channel %s: %w", ch.Name, err)
		}
		l.shapes = append(l.shapes, shape)
		ability := dialog.Ability{Sends: shape.Sends(), Price: ch.Price}
		if ch.Limit != nil {
			ability.Limit = *ch.Limit
		}
		channels[ch.Name] = gateway.Channel{
			Ability:     ability,
			Carry:       shape.Carry(),
			From:        ch.Sender,
			Keys:        l.pageKeys,
			RetryWindow: *ch.RetryWindow,
			PerHour:     *ch.PerHour,
			Tariff:      c.tariff(ch),
		}
		if l.main == "" && shape.Sends() {
			l.main = ch.Name
		}
	}
	l.service = gateway.NewService(l.engine, st, gateway.Options{
		Channels: channels, Main: l.main, Duty: func(place string) []gateway.Number { return l.knowledge.Duty(place) }, GiveUp: c.Outbox.GiveUp,
		Poke: poke, Join: webhook.Join, Watch: watch, Log: log,
	})
	l.knowledge = gateway.NewKnowledge(st, l.engine, c.facts(l.catalog), c.duty(), l.service.SetFacts, log)
	return l, l.knowledge.Load(ctx)
}

// newEngine returns the engine with the languages built in.
func newEngine(lang locales.Lang) (*locales.Catalog, *dialog.Engine, error) {
	catalog, err := builtIn()
	if err != nil {
		return nil, nil, fmt.Errorf("load the languages: %w", err)
	}
	engine, err := dialog.New(catalog, dialog.Options{Default: lang})
	return catalog, engine, err
}

// pageKeys are the keys that turn the pages of a session, in a language.
func (l *line) pageKeys(lang locales.Lang) ussd.Keys {
	return ussd.Keys{
		Back: ussd.Key{Press: "7", Label: l.catalog.Text(lang, "key.back", nil)},
		More: ussd.Key{Press: "8", Label: l.catalog.Text(lang, "key.more", nil)},
	}
}

// places returns the place at the top of the configuration and all others.
func (c Config) places() []PlaceConfig { return append([]PlaceConfig{c.PlaceConfig}, c.Place...) }

// facts returns what the configuration says about the world.
func (c Config) facts(catalog *locales.Catalog) *dialog.Facts {
	f := &dialog.Facts{Home: c.Key, Places: map[string]dialog.Place{}, Langs: c.sent(catalog)}
	for _, p := range c.places() {
		zone, err := time.LoadLocation(p.Zone)
		if err != nil {
			panic(err) // the configuration was checked
		}
		f.Places[p.Key] = dialog.Place{
			Key: p.Key, Name: p.Name, Zone: zone, Lat: p.Latitude, Lon: p.Longitude, Altitude: p.Altitude,
			Emergency: p.Emergency, Currency: p.Currency, Duty: len(p.Duty),
		}
	}
	return f
}

// policy returns when messages may be sent that keep these quiet hours, by the
// clocks of the places that the line knows.
func (q QuietConfig) policy(known func() *dialog.Facts) outbox.Policy {
	from, errFrom := parseClock(q.From)
	to, errTo := parseClock(q.To)
	if err := errors.Join(errFrom, errTo); err != nil {
		panic(err) // the configuration was checked
	}
	return outbox.Policy{
		Quiet: gateway.Quiet{From: from, To: to},
		Zone: func(place string) *time.Location {
			facts := known()
			if p, ok := facts.Places[place]; ok {
				return p.Zone
			}
			return facts.Places[facts.Home].Zone
		},
	}
}

// duty returns the duty phones of each place.
func (c Config) duty() func(place string) []gateway.Number {
	phones := map[string][]gateway.Number{}
	for _, p := range c.places() {
		for _, s := range p.Duty {
			n, err := gateway.ParseNumber(s, c.Country)
			if err != nil {
				panic(err) // the configuration was checked
			}
			phones[p.Key] = append(phones[p.Key], n)
		}
	}
	return func(place string) []gateway.Number {
		if list, ok := phones[place]; ok {
			return list
		}
		return phones[c.Key]
	}
}
