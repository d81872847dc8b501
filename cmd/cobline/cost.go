package main

import (
	"cmp"
	"maps"
	"regexp"
	"slices"
	"strings"

	"cobline/gateway"
)

// CostConfig is what the messages of a channel cost whoever runs the line, in
// the currency of the configuration, and how much they may.
type CostConfig struct {
	PerSegment float64            `toml:"per_segment"` // to a number that no prefix fits
	Prefixes   map[string]float64 // of a segment, by the first digits of the number with its country code
	Day, Month CapConfig
	Warn       float64 // the share of a cap at which someone is warned
	Reserve    float64 // the share of a cap that is held for burns already begun
}

// CapConfig bounds what is spent; zero bounds nothing.
type CapConfig struct {
	Segments int
	Money    float64
}

const (
	defaultWarn    = 0.8
	defaultReserve = 0.1
)

var numberPrefix = regexp.MustCompile(`^\+?[1-9][0-9]{0,14}$`)

func (l *loader) validateCost(key string, c *CostConfig) {
	c.Warn, c.Reserve = cmp.Or(c.Warn, defaultWarn), cmp.Or(c.Reserve, defaultReserve)
	l.want(c.PerSegment >= 0, key+".per_segment", "must not be less than nothing")
	for _, prefix := range slices.Sorted(maps.Keys(c.Prefixes)) {
		l.want(numberPrefix.MatchString(prefix), key+".prefixes", `%q is not the beginning of a number with its country code, such as "+2547"`, prefix)
		l.want(c.Prefixes[prefix] >= 0, key+".prefixes", "%q must not cost less than nothing", prefix)
	}
	priced := c.PerSegment > 0 || len(c.Prefixes) > 0
	for span, limit := range map[string]CapConfig{".day": c.Day, ".month": c.Month} {
		l.want(limit.Segments >= 0 && limit.Money >= 0, key+span, "must not be less than nothing; 0 is no cap")
		l.want(limit.Money == 0 || priced, key+span, "caps money, but nothing has a price; set per_segment or prefixes")
	}
	l.want(c.Reserve > 0 && c.Reserve < 1, key+".reserve", "must lie between 0 and 1: the share of a cap that is held for burns already begun")
	l.want(c.Warn > 0 && c.Warn <= 1-c.Reserve, key+".warn", "must lie between 0 and %.2f: someone is warned before the reserve is all that is left", 1-c.Reserve)
}

// tariff returns what a channel's messages cost.
func (c Config) tariff(ch ChannelConfig) gateway.Tariff {
	t := gateway.Tariff{
		PerSegment: gateway.MoneyOf(ch.Cost.PerSegment), Prefixes: map[string]gateway.Money{},
		Day: ch.Cost.Day.spend(), Month: ch.Cost.Month.spend(),
		Warn: ch.Cost.Warn, Reserve: ch.Cost.Reserve, Zone: c.zone(),
	}
	for prefix, price := range ch.Cost.Prefixes {
		t.Prefixes[strings.TrimPrefix(prefix, "+")] = gateway.MoneyOf(price)
	}
	return t
}

func (c CapConfig) spend() gateway.Spend {
	return gateway.Spend{Segments: c.Segments, Money: gateway.MoneyOf(c.Money)}
}

// tariffs returns what messages cost, by channel.
func (c Config) tariffs() map[string]gateway.Tariff {
	all := map[string]gateway.Tariff{}
	for _, ch := range c.Channel {
		all[ch.Name] = c.tariff(ch)
	}
	return all
}
