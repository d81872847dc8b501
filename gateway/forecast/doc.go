// Package forecast brings the weather: from services by a configured mapping of
// JSON or CSV, from authorities as CAP 1.2 warnings, and typed by hand. What it
// reads is checked and completed by calc; what it makes of it, the outlook of a
// place and the drafts of notices, officers read before anybody is written to.
//
// Reading is pure. Only the Fetcher reaches the network.
package forecast
