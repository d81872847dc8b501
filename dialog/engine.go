// Package dialog decides what the line says.
package dialog

import "cobline/locales"

// Options are an engine's fixed settings.
type Options struct {
	Default locales.Lang // the language of a person who has chosen none
}

// Engine answers events. It is immutable and safe for concurrent use.
type Engine struct {
	catalog *locales.Catalog
	options Options
}

// New returns an engine that speaks from the catalogue.
func New(c *locales.Catalog, o Options) (*Engine, error) {
	return &Engine{catalog: c, options: o}, nil
}

// Step answers one event. It reads no clock, disk, network or global: the same
// arguments give the same turn, and the state given is left unchanged.
func (e *Engine) Step(s State, ev Event, w World) Turn {
	return Turn{State: s}
}
