// Package calc computes what a small producer of charcoal briquettes needs to
// know: how much crop waste a drum holds, how much char it gives, how much
// starch and water bind that char, how many briquettes a mould makes of it, how
// long they dry, and when a sealed drum may be opened.
//
// The package is pure: no clock, no file, no network. Every number it computes
// with is a Figure with a source; see SOURCES.md. Every uncertain answer is a
// Range of P10, P50 and P90. A zero field of an input stands for the default its
// comment states, and results list what was assumed.
//
// # Ranges
//
// A Range is a split log-normal quantity. Products add the cumulants of their
// logarithms (JCGM 100:2008, extended to the third); sums, limits and branches
// are drawn at 256 fixed points. Quantities that follow from one another, such as
// char, its starch, its water and its briquettes, are one draw and keep one
// shape.
//
// # The burn
//
// Yields are those of a plain drum, judged around the constant
// fixed-carbon-yield model (Pyrolyse); drum runs told its burn-off, and no single
// yield. Moisture, bed temperature, burn-off, early and late covering move them.
// Ash is conserved, mass closes by class, and energy closes with the smoke as its
// rest.
// Tar, gas composition and the course of temperature in the burning drum are not
// modelled: nothing was found to check them against.
//
// # Cooling
//
// A sealed drum is the product solution of a cylinder and a slab, written for a
// conductivity that grows with temperature. It explains the wait and never
// shortens it. The heat that air leaking in sets free is not modelled.
//
// # The briquette
//
// Water of the paste follows from the moisture of the mix; pieces from density
// and volume; field tests multiply judged odds. Drying follows a first-order law
// capped by what the air carries off, hour by hour in three courses of the
// weather; without weather, the first term of the diffusion series stands in.
// Cracks, strength and the wear of a mould are not modelled.
//
// # Weather, plan and trade
//
// Humidity, radiation and reference evaporation are those of FAO Irrigation and
// Drainage Paper 56, sun times those of the NOAA solar calculator. A plan is a
// schedule found by trying days forward; a cost sheet is cost-volume-profit
// arithmetic; what a producer weighs updates a yield as a conjugate normal.
//
// Each function names its source and range. A test that has only our own
// arithmetic behind it says "own reference computation".
package calc
