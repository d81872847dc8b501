package main

import (
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/alecthomas/kong"

	"cobline/calc"
	"cobline/gateway/chart"
	"cobline/gateway/sms"
)

// methods are the calculations of the command line. The fields of their inputs
// are their flags, and the comments of those fields their help.
var methods = []method{
	methodOf("recipe", "A batch, from the heap of waste to the rack.", calc.Recipe),
	methodOf("load", "What fills a drum, or how many drums a heap fills.", calc.Load),
	methodOf("carbonise", "What a burn leaves of a load.", calc.Carbonise),
	methodOf("cool", "How a sealed drum cools, inside and outside.", calc.Cool, drawCooling),
	methodOf("bind", "Binder and water for a heap of char.", calc.Bind),
	methodOf("press", "Briquettes from a mix.", calc.Press),
	methodOf("force", "How hard a piece is pressed.", calc.Force),
	methodOf("fuel", "What a briquette is worth as a fuel.", calc.Fuel),
	methodOf("quality", "What the field tests of a batch say.", calc.Quality),
	methodOf("moisture", "How dry waste or a piece is, by hand and by weight.", moisture),
	methodOf("containers", "How many sacks or tins a heap of waste fills.", containers),
	methodOf("pyrolyse", "The char of a waste at one temperature, by this and by other published methods.", pyrolyse),
	methodOf("heating", "The heating value of a fuel of known composition.", heating),
	methodOf("mix", "How moist char gets from a paste of a fixed recipe.", mix),
	methodOf("diffusion", "How long a piece dries from its inside alone, whatever the weather.", diffusion),
	methodOf("dry", "How long briquettes or waste dry in weather that stays as it is.", dry, drawDrying),
	methodOf("weigh", "How dry a marked piece is, by its weight.", calc.WeighPiece),
	methodOf("pace", "How fast a producer's briquettes dry against the forecast.", pace),
	methodOf("outlook", "What weather that stays as it is means for rack and fire.", outlook),
	methodOf("air", "What the air holds, and how much water it takes up.", air),
	methodOf("sun", "Daylight, and when a drum may be lit and opened in it.", sun),
	methodOf("firerisk", "Whether a drum may be lit in this weather.", calc.FireRisk),
	methodOf("plan", "Briquettes by a date: waste, burns, calendar and bottleneck.", calc.Plan, drawPlan),
	methodOf("price", "What a batch costs and may be sold for.", calc.Price),
	methodOf("spared", "How much wood briquettes spare.", calc.Spared),
	methodOf("learn", "What a producer's record says of the yield.", calc.Learn),
	methodOf("advise", "What the last burns say about when to cover.", calc.Advise),
}

// inputComments holds the comments of the inputs' fields, a line each. A test
// makes it from the source of calc.
//
//go:generate go test -run TestInputComments . -update
//go:embed reckon.inputs
var inputComments string

// method is one calculation.
type method struct {
	name, help    string
	input, result reflect.Type
	fields        []field
	run           func(in reflect.Value) (any, error)
	draw          func(in reflect.Value) (chart.Picture, error) // nil: no picture says more than the numbers
}

// field is one input of a method: a leaf of its struct.
type field struct {
	reflect.StructField
	owner reflect.Type
	path  []int
	flag  string
}

func methodOf[I, O any](name, help string, f func(I) (O, error), draw ...func(I) (chart.Picture, error)) method {
	m := method{name: name, help: help, input: reflect.TypeFor[I](), result: reflect.TypeFor[O]()}
	m.fields = fieldsOf(m.input, nil, "")
	// Two structs may have a field of one name: the outer one keeps it.
	taken := map[string]int{}
	for _, f := range m.fields {
		if depth, ok := taken[f.Name]; !ok || len(f.path) < depth {
			taken[f.Name] = len(f.path)
		}
	}
	for i, f := range m.fields {
		if taken[f.Name] == len(f.path) {
			m.fields[i].flag = snake(f.Name, "-")
		}
	}
	m.run = func(in reflect.Value) (any, error) { return f(in.Interface().(I)) }
	for _, d := range draw {
		m.draw = func(in reflect.Value) (chart.Picture, error) { return d(in.Interface().(I)) }
	}
	return m
}

// fieldsOf lists the leaves of an input. A range is a leaf.
func fieldsOf(t reflect.Type, path []int, prefix string) []field {
	var out []field
	for i := range t.NumField() {
		f, p := t.Field(i), append(slices.Clone(path), i)
		name := prefix + snake(f.Name, "-")
		switch {
		case f.Type.Kind() == reflect.Pointer && f.Type.Elem().Kind() == reflect.Struct: // not an input a flag can hold
		case f.Type.Kind() != reflect.Struct || isRange(f.Type) || f.Type == reflect.TypeFor[time.Time]():
			out = append(out, field{f, t, p, name})
		case f.Anonymous:
			out = append(out, fieldsOf(f.Type, p, prefix)...)
		default:
			out = append(out, fieldsOf(f.Type, p, name+"-")...)
		}
	}
	return out
}

// isRange reports whether a type is low, likely and high of one quantity.
func isRange(t reflect.Type) bool {
	return t.Kind() == reflect.Struct && t.NumField() == 3 && t.Field(0).Name == "Low" && t.Field(2).Name == "High"
}

// quantity returns the type whose unit a value has: that of a range or of a
// list is that of its numbers.
func quantity(t reflect.Type) reflect.Type {
	switch {
	case isRange(t):
		return t.Field(0).Type
	case t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice:
		return quantity(t.Elem())
	}
	return t
}

// unit is how a type of calc is written: the end of a name in JSON, a
// placeholder in help, and by how much its numbers are multiplied.
type unit struct {
	suffix, placeholder string
	factor              float64
}

var units = map[reflect.Type]unit{
	reflect.TypeFor[calc.Kg]():                   {"kg", "KG", 1},
	reflect.TypeFor[calc.Litre]():                {"l", "LITRES", 1},
	reflect.TypeFor[calc.CubicMetre]():           {"m3", "M3", 1},
	reflect.TypeFor[calc.Metre]():                {"m", "METRES", 1},
	reflect.TypeFor[calc.SquareMetre]():          {"m2", "M2", 1},
	reflect.TypeFor[calc.SquareMetrePerSecond](): {"m2_per_s", "M2/S", 1},
	reflect.TypeFor[calc.KgPerCubicMetre]():      {"kg_per_m3", "KG/M3", 1},
	reflect.TypeFor[calc.MJ]():                   {"mj", "MJ", 1},
	reflect.TypeFor[calc.MJPerKg]():              {"mj_per_kg", "MJ/KG", 1},
	reflect.TypeFor[calc.Celsius]():              {"c", "CELSIUS", 1},
	reflect.TypeFor[calc.Hours]():                {"h", "HOURS", 1},
	reflect.TypeFor[calc.PerHour]():              {"per_h", "PER-HOUR", 1},
	reflect.TypeFor[calc.Minutes]():              {"min", "MINUTES", 1},
	reflect.TypeFor[calc.Days]():                 {"days", "DAYS", 1},
	reflect.TypeFor[calc.Share]():                {"percent", "PERCENT", 100},
	reflect.TypeFor[calc.Ratio]():                {"ratio", "RATIO", 1},
	reflect.TypeFor[calc.Count]():                {"", "N", 1},
	reflect.TypeFor[calc.WetBasis]():             {"percent", "PERCENT", 100},
	reflect.TypeFor[calc.DryBasis]():             {"dry_basis_percent", "PERCENT", 100},
	reflect.TypeFor[calc.Kilopascal]():           {"kpa", "KPA", 1},
	reflect.TypeFor[calc.MetrePerSecond]():       {"m_per_s", "M/S", 1},
	reflect.TypeFor[calc.MJPerSquareMetre]():     {"mj_per_m2", "MJ/M2", 1},
	reflect.TypeFor[calc.WattPerSquareMetre]():   {"w_per_m2", "W/M2", 1},
	reflect.TypeFor[calc.Millimetre]():           {"mm", "MM", 1},
	reflect.TypeFor[calc.Degree]():               {"deg", "DEGREES", 1},
	reflect.TypeFor[calc.WattPerMetreKelvin]():   {"w_per_m_k", "W/MK", 1},
	reflect.TypeFor[calc.Money]():                {"minor", "MONEY", 1},
}

func unitOf(t reflect.Type) unit {
	if u, ok := units[quantity(t)]; ok {
		return u
	}
	switch t.Kind() {
	case reflect.Int:
		return unit{placeholder: "N", factor: 1}
	case reflect.Slice:
		return unit{placeholder: "LIST", factor: 1}
	case reflect.Struct:
		return unit{placeholder: "TIME", factor: 1}
	}
	return unit{placeholder: "KEY", factor: 1}
}

type reckonCommand struct {
	Segments segmentsCommand `cmd:"" help:"Segments, encoding and units of the text on the standard input."`
	Sources  sourcesCommand  `cmd:"" help:"Every figure the line computes with, and its source."`
	kong.Plugins
}

// Help returns what stands below the commands.
func (*reckonCommand) Help() string {
	return `A number may be a range: --moisture 10..12..15 is low, likely and high. Parts of
one item of a list are separated by colons, items by commas. Times are those of
the default place.

Examples:
  cobline reckon recipe --waste maize-cob --drums 2 --moisture 12
  cobline reckon bind --char 12.5 --starch cassava-flour --json
  cobline reckon cool --waste rice-husk --svg cool.svg`
}

// newReckon returns the command with one subcommand for each method.
func newReckon() reckonCommand {
	var r reckonCommand
	for _, m := range methods {
		tag := fmt.Sprintf(`cmd:"" name:%q help:%q`, m.name, m.help)
		r.Plugins = append(r.Plugins, reflect.New(reflect.StructOf([]reflect.StructField{
			{Name: "Method", Type: m.flags(), Tag: reflect.StructTag(tag)},
		})).Interface())
	}
	return r
}

// flags returns the struct of a method's flags: texts, and truth values.
func (m method) flags() reflect.Type {
	fields := []reflect.StructField{{
		Name: "JSON", Type: reflect.TypeFor[bool](), Tag: `name:"json" help:"Print one JSON object."`,
	}}
	if m.draw != nil {
		fields = append(fields, reflect.StructField{
			Name: "SVG", Type: reflect.TypeFor[string](), Tag: `name:"svg" placeholder:"FILE" help:"Draw it to this file too."`,
		})
	}
	for _, f := range m.fields {
		flag := reflect.StructField{Name: f.flagName(), Type: reflect.TypeFor[string]()}
		if f.Type.Kind() == reflect.Bool {
			flag.Type = f.Type
		}
		flag.Tag = reflect.StructTag(fmt.Sprintf(`name:%q help:%q placeholder:%q`, f.flag, f.help(), unitOf(f.Type).placeholder))
		fields = append(fields, flag)
	}
	return reflect.StructOf(fields)
}

// flagName is the name of the flag's field in the struct of flags.
func (f field) flagName() string { return "F" + strings.ReplaceAll(f.flag, "-", "_") }

var decimal = regexp.MustCompile(`[0-9]+(\.[0-9]+)?`)

// help tells what an input is: its comment, in the unit of the flag, and the
// keys it may be.
func (f field) help() string {
	_, line, _ := strings.Cut("\n"+inputComments, "\n"+f.owner.Name()+"."+f.Name+"\t")
	comment, _, _ := strings.Cut(line, "\n")
	if factor := unitOf(f.Type).factor; factor != 1 {
		comment = decimal.ReplaceAllStringFunc(comment, func(s string) string {
			x, err := strconv.ParseFloat(s, 64)
			if err != nil {
				panic(err) // the pattern matches numbers alone
			}
			return strconv.FormatFloat(x*factor, 'g', 6, 64)
		})
	}
	parts := []string{f.keys(), comment}
	return strings.Join(slices.DeleteFunc(parts, func(s string) bool { return s == "" }), "; ")
}

// keys tells what a key may be, and what a share is of.
func (f field) keys() string {
	switch t := f.Type; {
	case t == reflect.TypeFor[calc.Waste](), t == reflect.TypeFor[calc.Starch]():
		return "a key of `cobline hear --list`"
	case quantity(t) == reflect.TypeFor[calc.WetBasis]():
		return "wet basis"
	case t.Kind() == reflect.Uint8:
		return strings.Join(keysOf(t), ", ")
	case t.Kind() == reflect.Slice && t.Elem().Kind() == reflect.Struct:
		var parts []string
		for i := range t.Elem().NumField() {
			parts = append(parts, snake(t.Elem().Field(i).Name, "-"))
		}
		return strings.Join(parts, ":") + ",..."
	}
	return ""
}

// keysOf lists the keys of an enumeration. What stands for none has no key.
func keysOf(t reflect.Type) []string {
	var keys []string
	for i := range uint64(20) {
		v := reflect.New(t).Elem()
		v.SetUint(i)
		if key := fmt.Sprint(v); key != "" && key != "unknown" && !slices.Contains(keys, key) {
			keys = append(keys, key)
		}
	}
	return keys
}

// Run computes the method that was chosen, if it was one.
func (*reckonCommand) Run(ctx *kong.Context, t *terminal) error {
	chosen := ctx.Selected().Name
	if chosen == "reckon" {
		return advised{errors.New("say what to reckon"), `Run "cobline reckon --help" for the list.`}
	}
	i := slices.IndexFunc(methods, func(m method) bool { return m.name == chosen })
	if i < 0 {
		return nil
	}
	m, flags := methods[i], ctx.Selected().Target
	in := reflect.New(m.input).Elem()
	for _, f := range m.fields {
		if err := setInput(in.FieldByIndex(f.path), flags.FieldByName(f.flagName())); err != nil {
			return fmt.Errorf("--%s: %w", f.flag, err)
		}
	}
	// A method that asks for a start begins now, as the picture does.
	if start := in.FieldByName("Start"); start.IsValid() && start.Type() == reflect.TypeFor[time.Time]() && start.IsZero() {
		start.Set(reflect.ValueOf(time.Now().In(homeZone())))
	}
	result, err := m.run(in)
	if err != nil {
		return err
	}
	if err := printObject(t.out, objectOf(reflect.ValueOf(result)), flags.FieldByName("JSON").Bool()); err != nil || m.draw == nil {
		return err
	}
	file := flags.FieldByName("SVG").String()
	if file == "" {
		return nil
	}
	p, err := m.draw(in)
	if err != nil {
		return err
	}
	return os.WriteFile(file, p.File(), 0o644)
}

// setInput sets an input from its flag. A flag that was not given leaves it
// zero, which stands for the default.
func setInput(v, flag reflect.Value) error {
	if flag.Kind() == reflect.Bool {
		v.Set(flag)
		return nil
	}
	text := flag.String()
	switch {
	case text == "":
	case v.Kind() == reflect.String:
		v.SetString(text)
	case v.Type() == reflect.TypeFor[time.Time]():
		return setTime(v, text)
	case isRange(v.Type()):
		numbers := strings.Split(text, "..")
		if len(numbers) == 1 {
			numbers = []string{text, text, text}
		}
		if len(numbers) != 3 {
			return fmt.Errorf("%q must be one number, or low..likely..high", text)
		}
		return setParts(v, numbers)
	case v.Kind() == reflect.Struct:
		return setParts(v, strings.Split(text, ":"))
	case v.Kind() == reflect.Slice:
		for item := range strings.SplitSeq(text, ",") {
			row := reflect.New(v.Type().Elem()).Elem()
			if err := setInput(row, reflect.ValueOf(item)); err != nil {
				return err
			}
			v.Set(reflect.Append(v, row))
		}
	case v.Kind() == reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		return setInput(v.Elem(), flag)
	case v.Kind() == reflect.Uint8:
		return setKey(v, text)
	case v.Kind() == reflect.Bool:
		b, err := strconv.ParseBool(text)
		if err != nil {
			return fmt.Errorf("%q must be true or false", text)
		}
		v.SetBool(b)
	default:
		x, err := strconv.ParseFloat(text, 64)
		if err != nil {
			return fmt.Errorf("%q is not a number", text)
		}
		v.Set(reflect.ValueOf(x / unitOf(v.Type()).factor).Convert(v.Type()))
	}
	return nil
}

// setParts sets the fields of a struct in their order. Parts may be left out at
// the end.
func setParts(v reflect.Value, parts []string) error {
	if len(parts) > v.NumField() {
		return fmt.Errorf("%q has more than %d parts", strings.Join(parts, ":"), v.NumField())
	}
	for i, part := range parts {
		if err := setInput(v.Field(i), reflect.ValueOf(part)); err != nil {
			return err
		}
	}
	return nil
}

// homeZone is the zone of times given and told: that of the default place.
func homeZone() *time.Location {
	zone, err := time.LoadLocation(Default().Zone)
	if err != nil {
		panic(err) // the zones are built in
	}
	return zone
}

// setTime sets a moment.
func setTime(v reflect.Value, text string) error {
	for _, layout := range []string{minuteLayout, time.DateOnly, time.RFC3339} {
		if t, err := time.ParseInLocation(layout, text, homeZone()); err == nil {
			v.Set(reflect.ValueOf(t))
			return nil
		}
	}
	return fmt.Errorf("%q is not a time; write 2026-03-02 or 2026-03-02 09:00", text)
}

// setKey sets an enumeration from its key.
func setKey(v reflect.Value, text string) error {
	for i := range uint64(20) {
		v.SetUint(i)
		if fmt.Sprint(v) == text {
			return nil
		}
	}
	return fmt.Errorf("%q must be one of %s", text, strings.Join(keysOf(v.Type()), ", "))
}

type segmentsCommand struct {
	JSON bool `help:"Print one JSON object."`
}

// Run counts the text on the standard input.
func (s *segmentsCommand) Run(t *terminal) error {
	text, err := io.ReadAll(t.in)
	if err != nil {
		return err
	}
	p := sms.Split(strings.TrimSuffix(string(text), "\n"))
	return printObject(t.out, object{
		{"encoding", strings.ToLower(p.Encoding.String())}, {"units", p.Units}, {"segments", len(p.Segments)},
	}, s.JSON)
}

type sourcesCommand struct {
	JSON bool `help:"Print one JSON object a line."`
}

// Run lists the figures.
func (s *sourcesCommand) Run(t *terminal) error {
	if s.JSON {
		e := json.NewEncoder(t.out)
		for f := range calc.Figures() {
			if err := e.Encode(sourced(f)); err != nil {
				return err
			}
		}
		return nil
	}
	w := tabwriter.NewWriter(t.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "FIGURE\tLOW\tLIKELY\tHIGH\tUNIT\tSTANDING\tSOURCE")
	for f := range calc.Figures() {
		fmt.Fprintf(w, "%s\t%.4g\t%.4g\t%.4g\t%s\t%s\t%s\n", f.Name, f.Low, f.Likely, f.High, f.Unit, f.Source.Standing, f.Source)
	}
	return w.Flush()
}
