package forecast

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"sync"
	"text/template"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"cobline/dialog"
	"cobline/gateway"
)

// Source is where forecasts or warnings are fetched from.
type Source struct {
	Name    string
	Reader  *Reader
	URL     string // knows {{.Lat}}, {{.Lon}}, {{.Altitude}} and {{.Place}}; with one of them it is asked for each place
	Headers map[string]string
	Every   time.Duration
	Within  time.Duration // for one answer
	Limit   int64         // octets of one answer
	Places  []string      // the keys of those it is for; none: all of the line
}

// slots are what an address knows of a place.
type slots struct{ Lat, Lon, Altitude, Place string }

func slotsOf(p dialog.Place) slots {
	number := func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
	return slots{number(float64(p.Lat)), number(float64(p.Lon)), number(float64(p.Altitude)), url.QueryEscape(p.Key)}
}

// CheckURL returns what is wrong with the address of a source.
func CheckURL(address string) error {
	t, err := template.New("url").Parse(address)
	if err != nil {
		return errors.New("must be an address with {{.Lat}}, {{.Lon}}, {{.Altitude}} or {{.Place}} in it")
	}
	filled, err := fill(t, slots{"1", "1", "1", "here"})
	if err != nil {
		return errors.New("knows {{.Lat}}, {{.Lon}}, {{.Altitude}} and {{.Place}}")
	}
	if u, err := url.Parse(filled); err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" {
		return errors.New("must begin with https:// or http://")
	}
	return nil
}

func fill(t *template.Template, s slots) (string, error) {
	var b strings.Builder
	err := t.Execute(&b, s)
	return b.String(), err
}

// Fetcher asks sources for what is new, each at its pace. A source that fails is
// asked again soon, then more seldom; what was known before stays as old as it is.
type Fetcher struct {
	know    Knowledge
	client  *http.Client
	log     *slog.Logger
	metrics *metrics
	sources []*source
	taking  sync.Mutex // held while a forecast is compared with the one before and kept
}

// source is a Source at work.
type source struct {
	Source
	address *template.Template

	work  sync.Mutex          // held while it is asked
	known map[string]validity // by address
	read  map[string]bool     // the links to warnings that were read

	mu       sync.Mutex
	standing Standing
	fails    int
}

// validity is what a server wants to hear of what it said last.
type validity struct{ tag, changed string }

// Standing is how a source fares.
type Standing struct {
	Name    string
	Tried   time.Time // zero: not yet
	Done    time.Time // when it last answered as it should
	Next    time.Time
	Problem string // with it; empty: none
}

// NewFetcher returns a fetcher of checked sources; m may be nil.
func NewFetcher(k Knowledge, sources []Source, log *slog.Logger, m prometheus.Registerer) *Fetcher {
	f := &Fetcher{know: k, log: log, metrics: newMetrics(m), client: &http.Client{CheckRedirect: stayAtHome}}
	for _, s := range sources {
		address, err := template.New("url").Parse(s.URL)
		if err != nil {
			panic(err) // the configuration was checked
		}
		f.sources = append(f.sources, &source{
			Source: s, address: address, known: map[string]validity{}, read: map[string]bool{}, standing: Standing{Name: s.Name},
		})
	}
	return f
}

// stayAtHome follows no redirect to another host: the headers may hold a key.
func stayAtHome(r *http.Request, via []*http.Request) error {
	switch {
	case len(via) > 5:
		return errors.New("it leads from address to address")
	case r.URL.Host != via[0].URL.Host:
		return fmt.Errorf("it leads to %s: write that address into the configuration if it is right", r.URL.Host)
	}
	return nil
}

// Run asks the sources until the context ends, which is no error.
func (f *Fetcher) Run(ctx context.Context) error {
	var all sync.WaitGroup
	for _, s := range f.sources {
		all.Go(func() {
			timer := time.NewTimer(time.Until(f.first(s, time.Now())))
			defer timer.Stop()
			for {
				select {
				case <-ctx.Done():
					return
				case <-timer.C:
				}
				timer.Reset(f.ask(ctx, s))
			}
		})
	}
	all.Wait()
	return nil
}

// first is when a source is asked after a start: at once, unless all it is for
// is younger than its pace.
func (f *Fetcher) first(s *source, now time.Time) time.Time {
	if s.Reader.Warns() {
		return now
	}
	oldest := now
	held := f.know.Forecasts()
	for _, p := range s.places(f.know.Facts()) {
		i := slices.IndexFunc(held, func(h gateway.Forecast) bool { return h.Place == p.Key && h.Source == s.Name })
		if i < 0 {
			return now
		}
		if held[i].Taken.Before(oldest) {
			oldest = held[i].Taken
		}
	}
	next := oldest.Add(s.Every)
	s.mu.Lock()
	defer s.mu.Unlock()
	s.standing.Next = next
	return next
}

// places are those of the line that a source is for.
func (s *source) places(facts *dialog.Facts) []dialog.Place {
	var out []dialog.Place
	for _, key := range slices.Sorted(maps.Keys(facts.Places)) {
		if len(s.Places) == 0 || slices.Contains(s.Places, key) {
			out = append(out, facts.Places[key])
		}
	}
	return out
}

// backOff is how long a source is left alone after failing once, twice and so
// on, or its own pace if that is shorter. Common practice.
var backOff = []time.Duration{time.Minute, 5 * time.Minute, 15 * time.Minute, time.Hour}

// maxRest is the longest a server may ask to be left alone.
const maxRest = 24 * time.Hour

// ask asks a source once, notes how it went, and returns when to ask again.
func (f *Fetcher) ask(ctx context.Context, s *source) time.Duration {
	err := f.fetch(ctx, s)
	now := time.Now()
	s.mu.Lock()
	defer s.mu.Unlock()
	s.standing.Tried = now
	if err == nil {
		if s.fails > 0 {
			f.log.Info("a source of weather answers again", "source", s.Name)
		}
		s.fails, s.standing.Problem, s.standing.Done, s.standing.Next = 0, "", now, now.Add(s.Every)
		f.metrics.failing.WithLabelValues(s.Name).Set(0)
		return s.Every
	}
	rest := min(s.Every, backOff[min(s.fails, len(backOff)-1)])
	if b := (busy{}); errors.As(err, &b) {
		rest = max(rest, min(b.rest, maxRest))
	}
	if ctx.Err() == nil {
		s.fails++
		s.standing.Problem, s.standing.Next = err.Error(), now.Add(rest)
		f.metrics.failing.WithLabelValues(s.Name).Set(1)
		f.log.Warn("a source of weather fails; what is known stays as old as it is", "source", s.Name, "error", err, "again", now.Add(rest).Format(time.RFC3339))
	}
	return rest
}

// Standings tells how the sources fare.
func (f *Fetcher) Standings() []Standing {
	out := make([]Standing, len(f.sources))
	for i, s := range f.sources {
		s.mu.Lock()
		out[i] = s.standing
		s.mu.Unlock()
	}
	return out
}

// Notes tells which sources fail, a sentence each.
func (f *Fetcher) Notes() []string {
	var out []string
	for _, s := range f.Standings() {
		if s.Problem != "" {
			out = append(out, fmt.Sprintf("forecast source %s fails: %s", s.Name, s.Problem))
		}
	}
	return out
}

// Fetch asks a source at once; the empty name stands for all of them.
func (f *Fetcher) Fetch(ctx context.Context, name string) error {
	var errs []error
	found := name == ""
	for _, s := range f.sources {
		if name != "" && s.Name != name {
			continue
		}
		found = true
		f.ask(ctx, s)
		s.mu.Lock()
		if s.standing.Problem != "" {
			errs = append(errs, fmt.Errorf("%s: %s", s.Name, s.standing.Problem))
		}
		s.mu.Unlock()
	}
	if !found {
		var names []string
		for _, s := range f.sources {
			names = append(names, s.Name)
		}
		return fmt.Errorf("there is no source %q; there are %s", name, strings.Join(names, ", "))
	}
	return errors.Join(errs...)
}

// fetch asks a source for all its places.
func (f *Fetcher) fetch(ctx context.Context, s *source) error {
	s.work.Lock()
	defer s.work.Unlock()
	asked := map[string]answer{}
	var errs []error
	places := s.places(f.know.Facts())
	if s.Reader.Warns() {
		places = places[:min(1, len(places))]
	}
	for _, p := range places {
		address, err := fill(s.address, slotsOf(p))
		if err != nil {
			return fmt.Errorf("make the address for %s: %w", p.Key, err)
		}
		a, ok := asked[address]
		if !ok {
			if f.lacks(s, places) { // one that has come since is told nothing by "unchanged"
				delete(s.known, address)
			}
			a = f.get(ctx, s, address)
			asked[address] = a
			if a.err != nil {
				errs = append(errs, a.err)
			}
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if a.err != nil || a.octets == nil {
			continue
		}
		if err := f.take(ctx, s, p, address, a); err != nil {
			delete(s.known, address) // or it would be taken for read next time
			errs = append(errs, err)
		}
	}
	if len(asked) > 1 && len(errs) > 1 {
		return fmt.Errorf("%d of %d requests: %w", len(errs), len(asked), errs[0])
	}
	return errors.Join(errs...)
}

// lacks reports whether one of the places has no forecast.
func (f *Fetcher) lacks(s *source, places []dialog.Place) bool {
	held := f.know.Forecasts()
	return !s.Reader.Warns() && slices.ContainsFunc(places, func(p dialog.Place) bool {
		return !slices.ContainsFunc(held, func(h gateway.Forecast) bool { return h.Place == p.Key })
	})
}

// take keeps what an answer says of a place.
func (f *Fetcher) take(ctx context.Context, s *source, p dialog.Place, address string, a answer) error {
	if s.Reader.Warns() {
		return f.takeAlerts(ctx, s, address, a)
	}
	in, err := s.Reader.Read(a.octets, p, a.changed, time.Now())
	if err != nil {
		f.metrics.count(s.Name, "refused")
		return fmt.Errorf("%s: %w", p.Key, err)
	}
	f.taking.Lock()
	err = Take(ctx, f.know, p.Key, s.Name, "", in, time.Now())
	f.taking.Unlock()
	switch {
	case errors.Is(err, ErrOlder), errors.Is(err, errSame):
		f.metrics.count(s.Name, "known")
		return nil
	case err != nil:
		f.metrics.count(s.Name, "failed")
		return fmt.Errorf("%s: %w", p.Key, err)
	}
	f.metrics.count(s.Name, "taken")
	f.log.Debug("a forecast was taken", "source", s.Name, "place", p.Key, "issued", in.Issued)
	return nil
}

// takeAlerts keeps the warnings of a body, and of the messages it links to at
// the same host; each of those is read once.
func (f *Fetcher) takeAlerts(ctx context.Context, s *source, address string, a answer) error {
	alerts, links, err := ReadAlerts(a.octets)
	errs := []error{err}
	from, parseErr := url.Parse(address)
	if parseErr != nil {
		return parseErr
	}
	for _, link := range links {
		to, err := from.Parse(link)
		if err != nil || to.Host != from.Host || s.read[to.String()] {
			continue
		}
		linked := f.get(ctx, s, to.String())
		if linked.err != nil {
			errs = append(errs, linked.err)
			continue
		}
		more, _, err := ReadAlerts(linked.octets)
		s.read[to.String()] = true
		alerts, errs = append(alerts, more...), append(errs, err)
	}
	fresh, err := TakeAlerts(ctx, f.know, alerts, s.Name, time.Now())
	if err = errors.Join(append(errs, err)...); err != nil {
		f.metrics.count(s.Name, "refused")
		return err
	}
	outcome := "known"
	if fresh > 0 {
		outcome = "taken"
		f.log.Warn("new warnings of an authority", "source", s.Name, "warnings", fresh)
	}
	f.metrics.count(s.Name, outcome)
	return nil
}

// answer is what a server said; octets are nil if it has nothing new.
type answer struct {
	octets  []byte
	changed time.Time
	err     error
}

// busy says that a server wants to be left alone for a while.
type busy struct {
	status string
	rest   time.Duration
}

func (b busy) Error() string { return "it answers " + b.status }

// get asks an address once.
func (f *Fetcher) get(ctx context.Context, s *source, address string) answer {
	a, v, err := f.request(ctx, s, address)
	if err != nil {
		if u := (*url.Error)(nil); errors.As(err, &u) {
			err = u.Err // without the address, which may hold a key
		}
		f.metrics.count(s.Name, "failed")
		return answer{err: err}
	}
	if a.octets == nil {
		f.metrics.count(s.Name, "unchanged")
		return a
	}
	s.known[address] = v
	return a
}

func (f *Fetcher) request(ctx context.Context, s *source, address string) (a answer, v validity, err error) {
	ctx, cancel := context.WithTimeout(ctx, s.Within)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, address, nil)
	if err != nil {
		return a, v, err
	}
	req.Header.Set("User-Agent", "cobline")
	for name, value := range s.Headers {
		req.Header.Set(name, value)
	}
	known := s.known[address]
	if known.tag != "" {
		req.Header.Set("If-None-Match", known.tag)
	}
	if known.changed != "" {
		req.Header.Set("If-Modified-Since", known.changed)
	}
	res, err := f.client.Do(req)
	if err != nil {
		return a, v, err
	}
	defer res.Body.Close()
	now := time.Now()
	switch {
	case res.StatusCode == http.StatusNotModified:
		return a, v, nil
	case res.StatusCode == http.StatusTooManyRequests, res.StatusCode == http.StatusServiceUnavailable:
		return a, v, busy{res.Status, restOf(res.Header.Get("Retry-After"), now)}
	case res.StatusCode != http.StatusOK:
		return a, v, fmt.Errorf("it answers %s", res.Status)
	}
	octets, err := io.ReadAll(io.LimitReader(res.Body, s.Limit+1))
	if err != nil {
		return a, v, fmt.Errorf("read its answer: %w", err)
	}
	if int64(len(octets)) > s.Limit {
		return a, v, fmt.Errorf("its answer is longer than %d octets; the limit of the source may be raised", s.Limit)
	}
	a = answer{octets: octets, changed: now} // ReadAll returns no nil
	v = validity{res.Header.Get("ETag"), res.Header.Get("Last-Modified")}
	if t, err := http.ParseTime(v.changed); err == nil && t.Before(now) {
		a.changed = t
	}
	return a, v, nil
}

// restOf reads how long a server wants to be left alone: seconds, or a time.
func restOf(s string, now time.Time) time.Duration {
	if n, err := strconv.Atoi(s); err == nil {
		return time.Duration(max(0, n)) * time.Second
	}
	if t, err := http.ParseTime(s); err == nil {
		return max(0, t.Sub(now))
	}
	return 0
}
