package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"cobline/calc"
	"cobline/gateway"
	"cobline/gateway/forecast"
	"cobline/locales"
)

// ForecastConfig is where the weather is fetched from, or the form of files that
// are brought.
type ForecastConfig struct {
	forecast.Mapping
	Name    string
	URL     string            // left out: nothing is fetched, files are brought
	Headers map[string]string // of a request
	Every   time.Duration
	Within  time.Duration // for one answer
	Limit   int           // octets of one answer
	Places  []string      // the keys of those it is for; none: all
}

// The defaults and bounds of a source of weather: services make a forecast a few
// times a day. Common practice.
const (
	fetchEvery  = 3 * time.Hour
	warnEvery   = 15 * time.Minute
	minEvery    = 5 * time.Minute
	maxEvery    = 24 * time.Hour
	fetchWithin = 20 * time.Second
	maxWithin   = 2 * time.Minute
	fetchLimit  = 1 << 20
	maxLimit    = 16 << 20
)

func (l *loader) validateForecasts() {
	names := map[string]bool{}
	for i := range l.Forecast {
		f, key := &l.Forecast[i], fmt.Sprintf("forecast[%d]", i)
		usual := fetchEvery
		if f.Format == "cap" {
			usual = warnEvery
		}
		if f.Every == 0 {
			f.Every = usual
		}
		if f.Within == 0 {
			f.Within = fetchWithin
		}
		if f.Limit == 0 {
			f.Limit = fetchLimit
		}
		l.want(channelName.MatchString(f.Name), key+".name", "must be small letters, digits and hyphens, such as met-service")
		l.want(!names[f.Name], key+".name", "%q is used twice", f.Name)
		names[f.Name] = true
		if f.URL != "" {
			err := forecast.CheckURL(f.URL)
			l.want(err == nil, key+".url", "%v", err)
		}
		l.want(f.Every >= minEvery && f.Every <= maxEvery, key+".every", "must lie between %v and %v", minEvery, maxEvery)
		l.want(f.Within >= time.Second && f.Within <= maxWithin, key+".within", "must lie between 1s and %v", maxWithin)
		l.want(f.Limit >= 1024 && f.Limit <= maxLimit, key+".limit", "must lie between 1024 and %d octets", maxLimit)
		for name := range f.Headers {
			l.want(name != "" && http.CanonicalHeaderKey(name) != "" && !strings.ContainsAny(name, " :\r\n"), key+".headers."+name, "is no name of a header")
		}
		for _, place := range f.Places {
			l.want(channelName.MatchString(place), key+".places", "%q must be the key of a place", place)
		}
		if _, err := forecast.Compile(f.Mapping); err != nil {
			for _, e := range split(err) {
				if m := (forecast.MappingError{}); errors.As(e, &m) {
					l.wrong(key+"."+m.Key, "%s", m.Why)
				}
			}
		}
	}
}

// reader reads the bodies of a source.
func (f ForecastConfig) reader() *forecast.Reader {
	r, err := forecast.Compile(f.Mapping)
	if err != nil {
		panic(err) // the configuration was checked
	}
	return r
}

// forms are those of files that officers bring, by name.
func (c Config) forms() map[string]*forecast.Reader {
	forms := map[string]*forecast.Reader{}
	for _, f := range c.Forecast {
		if r := f.reader(); !r.Warns() {
			forms[f.Name] = r
		}
	}
	return forms
}

// fetcher returns what fetches the weather of a configuration.
func (c Config) fetcher(k *gateway.Knowledge, log *slog.Logger, metrics prometheus.Registerer) *forecast.Fetcher {
	var sources []forecast.Source
	for _, f := range c.Forecast {
		if f.URL != "" {
			sources = append(sources, forecast.Source{
				Name: f.Name, Reader: f.reader(), URL: f.URL, Headers: f.Headers,
				Every: f.Every, Within: f.Within, Limit: int64(f.Limit), Places: f.Places,
			})
		}
	}
	return forecast.NewFetcher(k, sources, log, metrics)
}

type forecastCommand struct {
	List   forecastListCommand   `cmd:"" help:"Show the weather of each place, how old it is, what it is good for, and how its sources fare."`
	Fetch  forecastFetchCommand  `cmd:"" help:"Ask the sources of the configuration now, or one of them."`
	Upload forecastUploadCommand `cmd:"" help:"Take a forecast from a file."`
	Alert  forecastAlertCommand  `cmd:"" help:"Take the warnings of a file of the Common Alerting Protocol."`
}

// forecastState is the outlook of a place as scripts read it; its names are
// stable.
type forecastState struct {
	Place    string       `json:"place"`
	Name     string       `json:"name"`
	Age      string       `json:"age"` // fresh, old, expired, or none
	Issued   time.Time    `json:"issued,omitzero"`
	Source   string       `json:"source,omitempty"`
	By       string       `json:"by,omitempty"`
	Days     []dayState   `json:"days"`
	Warnings []alertState `json:"warnings"`
}

type dayState struct {
	Date      string          `json:"date"`
	Power     calc.Ratio      `json:"drying_power"`
	Max       calc.Celsius    `json:"max_c"`
	Min       calc.Celsius    `json:"min_c"`
	Rain      calc.Millimetre `json:"rain_mm"`
	RainFrom  string          `json:"rain_from,omitempty"`
	Wind      calc.Ratio      `json:"wind_ms"`
	Plan      string          `json:"plan"`
	In        string          `json:"in_by,omitempty"`
	Light     string          `json:"light"`
	Reasons   string          `json:"reasons,omitempty"`
	Cautions  string          `json:"cautions,omitempty"`
	Evaporate calc.Millimetre `json:"evaporation_mm"`
}

type alertState struct {
	Event    string    `json:"event"`
	Severity string    `json:"severity,omitempty"`
	From     time.Time `json:"from"`
	Until    time.Time `json:"until"`
	Headline string    `json:"headline,omitempty"`
	Lang     string    `json:"lang,omitempty"`
}

// sourceState is how a source fares, as scripts read it.
type sourceState struct {
	Name    string    `json:"name"`
	Done    time.Time `json:"done,omitzero"`
	Next    time.Time `json:"next,omitzero"`
	Problem string    `json:"problem,omitempty"`
}

// weatherState is what `cobline forecast list --json` prints.
type weatherState struct {
	Places  []forecastState `json:"places"`
	Sources []sourceState   `json:"sources"`
}

func stateOfOutlook(o forecast.Outlook) forecastState {
	s := forecastState{Place: o.Place.Key, Name: o.Place.Name, Age: o.Freshness.String(), Issued: o.Issued, Source: o.Source, By: o.By, Days: []dayState{}, Warnings: []alertState{}}
	if o.Freshness == 0 {
		s.Age = "none"
	}
	for _, d := range o.Days {
		day := dayState{
			Date: d.Date.Format(time.DateOnly), Power: rounded(d.Power), Max: rounded(d.Weather.Max), Min: rounded(d.Weather.Min),
			Rain: rounded(d.Rain), Wind: rounded(calc.Ratio(d.Weather.Wind)), Plan: d.Action.String(), Light: d.Fire.Level.String(),
			Reasons: d.Fire.Reasons.String(), Cautions: d.Cautions.String(), Evaporate: rounded(d.Evaporation),
		}
		if !d.RainFrom.IsZero() {
			day.RainFrom = d.RainFrom.Format("15:04")
		}
		if d.Action == calc.PutOutUntil {
			day.In = d.In.Format("15:04")
		}
		s.Days = append(s.Days, day)
	}
	for _, w := range o.Warnings {
		s.Warnings = append(s.Warnings, alertState{Event: w.Event, Severity: w.Severity, From: w.From, Until: w.Until, Headline: w.Headline, Lang: w.Lang})
	}
	return s
}

// rounded keeps two decimals.
func rounded[T ~float64](v T) T { return T(float64(int64(float64(v)*100+.5*sign(float64(v)))) / 100) }

func sign(v float64) float64 {
	if v < 0 {
		return -1
	}
	return 1
}

type forecastListCommand struct {
	Config string `placeholder:"FILE" help:"The configuration (default: cobline.toml if it is there)."`
	JSON   bool   `help:"Print JSON."`
}

// Run lists the weather.
func (l *forecastListCommand) Run(t *terminal) error {
	config, err := Load(l.Config, os.Environ())
	if err != nil {
		return err
	}
	var state weatherState
	if _, err := order(config, "forecast-list", "", &state); err != nil {
		return err
	}
	if l.JSON {
		return printJSON(t.out, state)
	}
	for _, p := range state.Places {
		fmt.Fprintf(t.out, "%s (%s): ", p.Name, p.Place)
		if p.Age == "none" {
			fmt.Fprintln(t.out, "no forecast. Fetch one by a [[forecast]] of the configuration, or bring one with `cobline forecast upload`.")
			continue
		}
		fmt.Fprintf(t.out, "%s forecast of %s, from %s", p.Age, p.Issued.In(config.zone()).Format(minuteLayout), p.Source)
		if p.By != "" {
			fmt.Fprintf(t.out, ", brought by %s", p.By)
		}
		fmt.Fprintln(t.out)
		for _, w := range p.Warnings {
			fmt.Fprintf(t.out, "  warning: %s (%s), %s to %s. %s\n", w.Event, w.Severity, w.From.In(config.zone()).Format(minuteLayout), w.Until.In(config.zone()).Format(minuteLayout), w.Headline)
		}
		if len(p.Days) == 0 {
			continue
		}
		w := tabwriter.NewWriter(t.out, 0, 0, 2, ' ', 0)
		fmt.Fprintln(w, "  day\tdrying power\tmax\tmin\train mm\train from\twind m/s\track\tin by\tlighting\tcautions")
		for _, d := range p.Days {
			fmt.Fprintf(w, "  %s\t%.2f\t%.0f\t%.0f\t%g\t%s\t%g\t%s\t%s\t%s\t%s\n", d.Date, d.Power, d.Max, d.Min, d.Rain, dash(d.RainFrom), d.Wind, d.Plan, dash(d.In), d.Light, dash(strings.TrimSpace(d.Reasons+" "+d.Cautions)))
		}
		if err := w.Flush(); err != nil {
			return err
		}
	}
	for _, s := range state.Sources {
		switch {
		case s.Problem != "":
			fmt.Fprintf(t.out, "source %s fails: %s\n", s.Name, s.Problem)
		case s.Done.IsZero():
			fmt.Fprintf(t.out, "source %s was not asked since the line began\n", s.Name)
		default:
			fmt.Fprintf(t.out, "source %s answered at %s\n", s.Name, s.Done.In(config.zone()).Format(minuteLayout))
		}
	}
	return nil
}

func dash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}

type forecastFetchCommand struct {
	Source string `arg:"" optional:"" help:"The name of a [[forecast]] (default: all that have a url)."`
	Config string `placeholder:"FILE" help:"The configuration (default: cobline.toml if it is there)."`
}

// Run fetches.
func (f *forecastFetchCommand) Run(t *terminal) error {
	config, err := Load(f.Config, os.Environ())
	if err != nil {
		return err
	}
	if !slices.ContainsFunc(config.Forecast, func(c ForecastConfig) bool { return c.URL != "" }) {
		return advised{errors.New("no [[forecast]] of the configuration has a url"), "`cobline forecast upload FILE` takes a file instead."}
	}
	var fetched string
	if _, err := order(config, "forecast-fetch", f.Source, &fetched); err != nil {
		return err
	}
	fmt.Fprintln(t.out, fetched)
	return nil
}

type forecastUploadCommand struct {
	File   string   `arg:"" help:"The file."`
	As     string   `placeholder:"NAME" help:"The [[forecast]] whose form the file has (default: a CSV whose columns are called max, min, humidity, sunshine, wind, rain and the like; a line a day, from today on)."`
	Place  []string `placeholder:"KEY" help:"The places it is for (default: those its rows name)."`
	By     string   `help:"Who brings it, for the record."`
	Config string   `placeholder:"FILE" help:"The configuration (default: cobline.toml if it is there)."`
}

// brought is a file as it goes through the control socket.
type brought struct {
	As, Name, By string
	Places       []string
	Octets       []byte
}

// maxBrought is how many octets a file may have: it goes through the socket as
// text, in one line.
const maxBrought = 512 << 10

// bring reads a file.
func bring(file string) ([]byte, error) {
	octets, err := os.ReadFile(file)
	if err == nil && len(octets) > maxBrought {
		err = fmt.Errorf("%s has more than %d octets", file, maxBrought)
	}
	return octets, err
}

// Run takes a file.
func (u *forecastUploadCommand) Run(t *terminal) error {
	config, err := Load(u.Config, os.Environ())
	if err != nil {
		return err
	}
	octets, err := bring(u.File)
	if err != nil {
		return err
	}
	argument, err := json.Marshal(brought{u.As, filepath.Base(u.File), u.By, u.Place, octets})
	if err != nil {
		return err
	}
	var places []string
	if _, err := order(config, "forecast-upload", string(argument), &places); err != nil {
		return fmt.Errorf("%s: %w", u.File, err)
	}
	fmt.Fprintf(t.out, "Taken for %s. `cobline forecast list` shows it.\n", strings.Join(places, ", "))
	return nil
}

type forecastAlertCommand struct {
	File   string `arg:"" help:"The file: one warning, or a feed of them."`
	Config string `placeholder:"FILE" help:"The configuration (default: cobline.toml if it is there)."`
}

// Run takes warnings.
func (a *forecastAlertCommand) Run(t *terminal) error {
	config, err := Load(a.Config, os.Environ())
	if err != nil {
		return err
	}
	octets, err := bring(a.File)
	if err != nil {
		return err
	}
	argument, err := json.Marshal(brought{Name: filepath.Base(a.File), Octets: octets})
	if err != nil {
		return err
	}
	var taken string
	if _, err := order(config, "forecast-alert", string(argument), &taken); err != nil {
		return fmt.Errorf("%s: %w", a.File, err)
	}
	fmt.Fprintln(t.out, taken)
	return nil
}

// forecast does what commands about the weather ask for.
func (c *controller) forecast(ctx context.Context, what, argument string) (any, error) {
	now := c.watch.At(time.Now())
	var file brought
	if what == "upload" || what == "alert" {
		if err := json.Unmarshal([]byte(argument), &file); err != nil {
			return nil, fmt.Errorf("read the file: %w", err)
		}
	}
	switch what {
	case "list":
		return c.weather(now), nil
	case "fetch":
		if err := c.fetcher.Fetch(ctx, argument); err != nil {
			return nil, err
		}
		return "Fetched. `cobline forecast list` shows it.", nil
	case "upload":
		reader := forecast.Plain()
		if file.As != "" {
			i := slices.IndexFunc(c.config.Forecast, func(f ForecastConfig) bool { return f.Name == file.As })
			if i < 0 {
				return nil, fmt.Errorf("no [[forecast]] is called %q", file.As)
			}
			reader = c.config.Forecast[i].reader()
		}
		return forecast.Upload(ctx, c.knowledge, reader, file.Octets, file.Places, file.Name, file.By, now)
	case "alert":
		alerts, _, err := forecast.ReadAlerts(file.Octets)
		if err != nil {
			return nil, err
		}
		fresh, err := forecast.TakeAlerts(ctx, c.knowledge, alerts, file.Name, now)
		return fmt.Sprintf("Of %d warnings that are actual, %d are new and concern a place of the line.", len(alerts), fresh), err
	}
	return nil, fmt.Errorf("unknown command about forecasts %q", what)
}

// weather is what the line knows of the weather.
func (c *controller) weather(now time.Time) weatherState {
	k := c.knowledge
	state := weatherState{Places: []forecastState{}, Sources: []sourceState{}}
	for _, o := range forecast.Outlooks(k.Facts(), k.Forecasts(), k.Alerts(), nil, locales.Lang(c.config.DefaultLang), now) {
		state.Places = append(state.Places, stateOfOutlook(o))
	}
	for _, s := range c.fetcher.Standings() {
		state.Sources = append(state.Sources, sourceState{s.Name, s.Done, s.Next, s.Problem})
	}
	return state
}
