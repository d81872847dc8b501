// Package calc computes what a small producer of charcoal briquettes needs to
// know: how much crop waste a drum holds, how much char it gives, how much
// starch and water bind that char, how many briquettes a mould makes of it, how
// long they dry, and when a sealed drum may be opened.
//
// The package is pure: no clock, no file, no network. Every number it computes
// with is a Figure with a source; see SOURCES.md. Every uncertain answer is a
// Range of P10, P50 and P90.
package calc
