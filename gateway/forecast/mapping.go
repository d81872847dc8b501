package forecast

import (
	"errors"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
	"time"

	"cobline/calc"
	"cobline/dialog"
	"cobline/gateway"
)

// Mapping says how a body tells the weather, as a configuration words it.
type Mapping struct {
	Format string // json, csv or cap
	Step   string // day or hour: what a row is of; left out: day
	Rows   string // json: the path of the list of rows; left out: each field is a list of its own
	Time   string // the path or column of a row's time; left out: a row a day, from today on
	Layout string // of times, such as DD.MM.YYYY; the usual forms need none
	Zone   string // of times that name none; left out: that of the place
	Issued string // the path or column of when the forecast was made; left out: when it was last changed, or fetched
	Place  string // the path or column of the place's key or name, if there are rows of several places
	// Separator stands between the cells of a CSV line; left out: a comma.
	Separator string
	// Sums says where in time lies what an hourly row adds up, its rain and sun:
	// after its time, or before it; left out: after.
	Sums       string
	WindHeight calc.Metre        `toml:"wind_height"` // above the ground; left out: 10
	Fields     map[string]string // by name: path or column, and a unit after " > "
}

// The formats.
const (
	formatJSON = "json"
	formatCSV  = "csv"
	formatCAP  = "cap"
)

// MappingError says which key of a mapping is wrong and what would be right.
type MappingError struct{ Key, Why string }

func (e MappingError) Error() string { return e.Key + ": " + e.Why }

// Reader reads bodies by a mapping. It is immutable and safe for concurrent use.
type Reader struct {
	mapping Mapping
	fields  []column
	zone    *time.Location // nil: that of the place
	hourly  bool
	before  bool // sums lie before the time of their row
	strict  bool // a column that is no field is a mistake
}

// column is where a field stands and in what unit.
type column struct {
	field
	name, at, unit string
}

// Warns reports whether the bodies are warnings, not forecasts.
func (r *Reader) Warns() bool { return r.mapping.Format == formatCAP }

// Compile makes a Reader of a mapping. The error joins a MappingError for
// everything that is wrong.
func Compile(m Mapping) (*Reader, error) {
	r := &Reader{mapping: m, hourly: m.Step == "hour", before: m.Sums == "before"}
	var errs []error
	want := func(ok bool, key, why string, args ...any) {
		if !ok {
			errs = append(errs, MappingError{key, fmt.Sprintf(why, args...)})
		}
	}
	want(slices.Contains([]string{formatJSON, formatCSV, formatCAP}, m.Format), "format", "must be json, csv or cap")
	if r.Warns() {
		want(len(m.Fields) == 0 && m.Rows == "" && m.Time == "", "format", "cap says by itself where everything stands: leave out fields, rows and time")
		return r, errors.Join(errs...)
	}
	want(m.Step == "" || m.Step == "day" || r.hourly, "step", "must be day or hour")
	want(m.Sums == "" || m.Sums == "after" || r.before, "sums", "must be after or before: where the rain of a row lies in time")
	want(m.Sums == "" || r.hourly, "sums", "is for hours alone: the rain of a day lies in the day")
	want(!r.hourly || m.Time != "", "time", "is missing: where stands the time of each hour?")
	want(m.Rows == "" || m.Format == formatJSON, "rows", "is for json alone: each line of a csv is a row")
	want(m.Separator == "" || m.Format == formatCSV, "separator", "is for csv alone")
	want(m.Separator == "" || len([]rune(m.Separator)) == 1 && !strings.ContainsAny(m.Separator, "\"\r\n\uFFFD"), "separator", "must be one sign, such as \";\"")
	want(m.WindHeight >= 0 && m.WindHeight <= 200, "wind_height", "must lie between 0 and 200 m")
	if m.Zone != "" {
		zone, err := time.LoadLocation(m.Zone)
		want(err == nil, "zone", "%q is not a time zone; write one such as Africa/Nairobi", m.Zone)
		r.zone = zone
	}
	enough, why := 24*time.Hour, "must say year, month and day, such as DD.MM.YYYY"
	if r.hourly {
		enough, why = time.Hour, "must say year, month, day and hour, such as YYYY-MM-DD hh:mm"
	}
	_, err := gateway.NewTimes(m.Layout, time.UTC, enough)
	want(err == nil, "layout", "%s", why)
	known := dailyFields
	if r.hourly {
		known = hourlyFields
	}
	want(len(m.Fields) > 0, "fields", "are missing; there are %s", strings.Join(slices.Sorted(maps.Keys(known)), ", "))
	for _, name := range slices.Sorted(maps.Keys(m.Fields)) {
		key := "fields." + name
		c := column{name: name, at: m.Fields[name]}
		if at := unitOf.FindStringSubmatch(c.at); at != nil {
			c.at, c.unit = at[1], at[2]
		}
		var ok bool
		if c.field, ok = known[name]; !ok {
			want(false, key, "is not known of %ss; there are %s", r.step(), strings.Join(slices.Sorted(maps.Keys(known)), ", "))
			continue
		}
		want(strings.TrimSpace(c.at) != "", key, "must say where it stands")
		if _, err := c.convert(0, c.unit); err != nil {
			want(false, key, "%v; %s", err, c.units)
		}
		r.fields = append(r.fields, c)
	}
	if r.hourly {
		want(m.Fields["temperature"] != "", "fields.temperature", "is missing: nothing dries in air of unknown warmth")
	}
	return r, errors.Join(errs...)
}

// unitOf matches a place with a unit after it.
var unitOf = regexp.MustCompile(`^(.*\S)\s+>\s+(\S.*?)\s*$`)

func (r *Reader) step() string {
	if r.hourly {
		return "hour"
	}
	return "day"
}

// Plain returns what reads a CSV whose columns are called as the fields are, in
// the units of package calc: a row a day, from today on.
func Plain() *Reader {
	fields := map[string]string{}
	for name := range dailyFields {
		fields[name] = name
	}
	r, err := Compile(Mapping{Format: formatCSV, Fields: fields})
	if err != nil {
		panic(err) // the mapping above is wrong
	}
	r.strict = true
	return r
}

// PlainColumns returns the names of columns that Plain knows.
func PlainColumns() []string { return slices.Sorted(maps.Keys(dailyFields)) }

// row is one day or hour of a body, in the units of package calc.
type row struct {
	n      int // as people count them
	at     time.Time
	values map[string]float64
}

// maxRows is sixteen days of hours and to spare.
const maxRows = 1000

// body is what a format finds in a body.
type body interface {
	// rows is how many there are.
	rows() int
	// text returns what stands at a path or in a column of a row.
	text(row int, at string) (string, bool)
	// whole returns what stands at a path outside of all rows, or in a column of
	// the first.
	whole(at string) (string, bool)
	// called returns how people find a row.
	called(row int) string
}

// Read reads a forecast for a place and completes it. changed is when the body
// was last changed, as far as anybody knows; now is the time. What is wrong is
// told with its row and its field, and nonsense is refused.
func (r *Reader) Read(octets []byte, place dialog.Place, changed, now time.Time) (calc.ForecastInput, error) {
	in := calc.ForecastInput{Place: Site(place), Issued: changed}
	var b body
	var err error
	switch r.mapping.Format {
	case formatJSON:
		b, err = newJSON(octets, r)
	case formatCSV:
		b, err = newCSV(octets, r)
	default:
		return in, errors.New("warnings are no forecast")
	}
	if err != nil {
		return in, err
	}
	if r.mapping.Issued != "" {
		s, ok := b.whole(r.mapping.Issued)
		if !ok {
			return in, fmt.Errorf("when it was issued does not stand at %q", r.mapping.Issued)
		}
		if in.Issued, ok = r.times(place).Read(s); !ok {
			return in, fmt.Errorf("when it was issued, %q, is no time", clip(s))
		}
	}
	rows, err := r.rows(b, place, now)
	if err != nil {
		return in, err
	}
	if r.hourly {
		in.Days, err = r.hours(rows, in.Place.Zone)
	} else {
		in.Days = r.days(rows, in.Place.Zone)
	}
	if err != nil {
		return in, err
	}
	return in, check(in, now)
}

// Site is a place as the weather sees it.
func Site(p dialog.Place) calc.Place {
	zone := p.Zone
	if zone == nil {
		zone = time.UTC
	}
	return calc.Place{Lat: p.Lat, Lon: p.Lon, Altitude: p.Altitude, Zone: zone}
}

// maxAhead is how far the clock of whoever made a forecast may be ahead. Common
// practice.
const maxAhead = time.Hour

// check refuses a forecast that says nothing of today or later, and nonsense.
func check(in calc.ForecastInput, now time.Time) error {
	f, err := calc.NewForecast(in)
	if err != nil {
		return err
	}
	if in.Issued.After(now.Add(maxAhead)) {
		return fmt.Errorf("it was issued at %s, which is still to come", in.Issued.Format(time.RFC3339))
	}
	if last := f.Days[len(f.Days)-1].Date; !last.AddDate(0, 0, 1).After(now) {
		return fmt.Errorf("its last day, %s, is over", last.Format(time.DateOnly))
	}
	return nil
}

func (r *Reader) times(place dialog.Place) gateway.Times {
	zone := r.zone
	if zone == nil {
		zone = Site(place).Zone
	}
	times, err := gateway.NewTimes(r.mapping.Layout, zone, 24*time.Hour)
	if err != nil {
		panic(err) // Compile has tried it
	}
	return times
}

// errNoRow says that the rows of a body are of other places.
var errNoRow = errors.New("no row is of the place")

// rows reads those of a place.
func (r *Reader) rows(b body, place dialog.Place, now time.Time) ([]row, error) {
	if b.rows() > maxRows {
		return nil, fmt.Errorf("it has more than %d rows", maxRows)
	}
	times := r.times(place)
	today := now.In(Site(place).Zone)
	var out []row
	for i := range b.rows() {
		if r.mapping.Place != "" {
			name, _ := b.text(i, r.mapping.Place)
			if name = strings.TrimSpace(name); !strings.EqualFold(name, place.Key) && !strings.EqualFold(name, place.Name) {
				continue
			}
		}
		x := row{n: i, values: map[string]float64{}, at: today.AddDate(0, 0, len(out))}
		if at := r.mapping.Time; at != "" {
			s, ok := b.text(i, at)
			if !ok {
				return nil, fmt.Errorf("%s: no time stands at %q", b.called(i), at)
			}
			if x.at, ok = times.Read(s); !ok {
				return nil, fmt.Errorf("%s: %q is no time; if its form is unusual, the mapping needs a layout", b.called(i), clip(s))
			}
		}
		for _, c := range r.fields {
			s, ok := b.text(i, c.at)
			if !ok || unknown(s) {
				continue
			}
			v, err := c.read(s, r.mapping.Separator)
			if err != nil {
				return nil, fmt.Errorf("%s: %s %w", b.called(i), c.name, err)
			}
			x.values[c.name] = v
		}
		if _, ok := x.values["temperature"]; ok || !r.hourly { // an hour of unknown warmth is left out
			out = append(out, x)
		}
	}
	switch {
	case len(out) == 0 && r.mapping.Place != "":
		return nil, fmt.Errorf("%w %s", errNoRow, place.Key)
	case len(out) == 0:
		return nil, errors.New("no row says anything")
	}
	return out, nil
}

// unknown reports whether a cell says that its value is not known.
func unknown(s string) bool {
	switch strings.ToLower(strings.TrimSpace(s)) {
	case "", "-", "--", "na", "n/a", "nan", "null", "none":
		return true
	}
	return false
}

// clip shortens what an error shows of a body.
func clip(s string) string {
	const most = 40
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "..."
	}
	return s
}
