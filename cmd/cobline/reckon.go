package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/alecthomas/kong"

	"cobline/calc"
	"cobline/gateway/sms"
)

// methods are the calculations of the command line. The fields of their inputs
// are their flags, told by the inputs table.
var methods = []method{
	methodOf("recipe", "A batch, from the heap of waste to the rack.", calc.Recipe),
	methodOf("carbonise", "What a burn leaves of a load.", calc.Carbonise),
	methodOf("bind", "Starch and water for a heap of char.", calc.Bind),
	methodOf("press", "Briquettes from a mix.", calc.Press),
}

// inputs says what each field of an input means, and what stands for it if it
// is left out. Units come from the field's type.
var inputs = map[string]struct{ help, standard string }{
	"Waste":        {"crop waste, a key of `cobline hear --list`", ""},
	"Drums":        {"drums, 1 to 50", "1, or as many as the mass or volume fills"},
	"Drum":         {"nominal size of a drum", "200"},
	"Mass":         {"moist waste at hand", "what fills the drums"},
	"Volume":       {"loose waste at hand", "what fills the drums"},
	"Moisture":     {"moisture of the waste, wet basis", "that of dry waste"},
	"Starch":       {"binder, a key of `cobline hear --list`", "cassava-flour"},
	"Dose":         {"dry starch per dry char", "8"},
	"EffectiveSun": {"effective drying hours a day", "8"},
	"Yield":        {"char per dry waste, as a producer's own record has it", "that of the waste"},
	"Slow":         {"a drum with restricted holes, which burns for hours", "an open fire from the base"},
	"Char":         {"char as weighed, with its moisture", ""},
	"CharMoisture": {"moisture of the char, wet basis", "5"},
	"MixMoisture":  {"moisture of the mix to be pressed, wet basis", "35"},
	"Solids":       {"dry char and dry starch in the mix", ""},
	"Density":      {"density of a piece as it leaves the mould", "that of a hand mould"},
	"Loss":         {"solids lost as fines and breakage", "that of hand work"},
	"Shape":        {"shape of a piece: solid, hollow, holes, ball or brick", "solid"},
	"Diameter":     {"diameter of a cylinder or ball", "0.055"},
	"Height":       {"height of a cylinder or brick", "0.05"},
	"Bore":         {"diameter of each hole", "none"},
	"Bores":        {"number of holes", "1 if hollow"},
	"Length":       {"length of a brick", "none"},
	"Width":        {"width of a brick", "none"},
}

// method is one calculation.
type method struct {
	name, help string
	input      reflect.Type
	fields     []field
	run        func(in reflect.Value) (any, error)
}

// field is one input of a method: a leaf of its struct.
type field struct {
	reflect.StructField
	path []int
}

func methodOf[I, O any](name, help string, f func(I) (O, error)) method {
	m := method{name: name, help: help, input: reflect.TypeFor[I]()}
	m.fields = fieldsOf(m.input, nil)
	m.run = func(in reflect.Value) (any, error) { return f(in.Interface().(I)) }
	return m
}

// fieldsOf lists the leaves of an input. A range is a leaf.
func fieldsOf(t reflect.Type, path []int) []field {
	var out []field
	for i := range t.NumField() {
		f, p := t.Field(i), append(slices.Clone(path), i)
		if f.Type.Kind() == reflect.Struct && !isRange(f.Type) {
			out = append(out, fieldsOf(f.Type, p)...)
		} else {
			out = append(out, field{f, p})
		}
	}
	return out
}

func isRange(t reflect.Type) bool {
	return t.Kind() == reflect.Struct && strings.HasPrefix(t.Name(), "Range[")
}

// quantity returns the type whose unit a value has: that of a range is that of
// its numbers.
func quantity(t reflect.Type) reflect.Type {
	if isRange(t) {
		return t.Field(0).Type
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
	reflect.TypeFor[calc.Kg]():                 {"kg", "KG", 1},
	reflect.TypeFor[calc.Litre]():              {"l", "LITRES", 1},
	reflect.TypeFor[calc.CubicMetre]():         {"m3", "M3", 1},
	reflect.TypeFor[calc.Metre]():              {"m", "METRES", 1},
	reflect.TypeFor[calc.SquareMetre]():        {"m2", "M2", 1},
	reflect.TypeFor[calc.KgPerCubicMetre]():    {"kg_per_m3", "KG/M3", 1},
	reflect.TypeFor[calc.MJ]():                 {"mj", "MJ", 1},
	reflect.TypeFor[calc.MJPerKg]():            {"mj_per_kg", "MJ/KG", 1},
	reflect.TypeFor[calc.Celsius]():            {"c", "CELSIUS", 1},
	reflect.TypeFor[calc.Hours]():              {"h", "HOURS", 1},
	reflect.TypeFor[calc.PerHour]():            {"per_h", "PER-HOUR", 1},
	reflect.TypeFor[calc.Minutes]():            {"min", "MINUTES", 1},
	reflect.TypeFor[calc.Days]():               {"days", "DAYS", 1},
	reflect.TypeFor[calc.Share]():              {"percent", "PERCENT", 100},
	reflect.TypeFor[calc.Ratio]():              {"ratio", "RATIO", 1},
	reflect.TypeFor[calc.Count]():              {"", "N", 1},
	reflect.TypeFor[calc.WetBasis]():           {"percent", "PERCENT", 100},
	reflect.TypeFor[calc.DryBasis]():           {"dry_basis_percent", "PERCENT", 100},
	reflect.TypeFor[calc.Kilopascal]():         {"kpa", "KPA", 1},
	reflect.TypeFor[calc.MetrePerSecond]():     {"m_per_s", "M/S", 1},
	reflect.TypeFor[calc.MJPerSquareMetre]():   {"mj_per_m2", "MJ/M2", 1},
	reflect.TypeFor[calc.WattPerSquareMetre](): {"w_per_m2", "W/M2", 1},
	reflect.TypeFor[calc.Millimetre]():         {"mm", "MM", 1},
	reflect.TypeFor[calc.Degree]():             {"deg", "DEGREES", 1},
	reflect.TypeFor[calc.Money]():              {"minor_units", "MINOR-UNITS", 1},
}

func unitOf(t reflect.Type) unit {
	if u, ok := units[quantity(t)]; ok {
		return u
	}
	if t.Kind() == reflect.Int {
		return unit{placeholder: "N", factor: 1}
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
	return `A number may be a range: --moisture 10..12..15 is low, likely and high.

Examples:
  cobline reckon recipe --waste maize-cob --drums 2 --moisture 12
  cobline reckon bind --char 12.5 --starch cassava-flour --json`
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
	for _, f := range m.fields {
		in := inputs[f.Name]
		help := in.help + " (default: " + in.standard + ")"
		if in.standard == "" {
			help = in.help + " (required)"
		}
		flag := reflect.StructField{Name: f.Name, Type: reflect.TypeFor[string]()}
		if f.Type.Kind() == reflect.Bool {
			flag.Type = f.Type
		}
		flag.Tag = reflect.StructTag(fmt.Sprintf(`help:%q placeholder:%q`, help, unitOf(f.Type).placeholder))
		fields = append(fields, flag)
	}
	return reflect.StructOf(fields)
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
		if err := setInput(in.FieldByIndex(f.path), flags.FieldByName(f.Name)); err != nil {
			return fmt.Errorf("--%s: %w", snake(f.Name, "-"), err)
		}
	}
	result, err := m.run(in)
	if err != nil {
		return err
	}
	return printObject(t.out, objectOf(reflect.ValueOf(result)), flags.FieldByName("JSON").Bool())
}

// setInput sets an input from its flag. A flag that was not given leaves it
// zero, which stands for the default.
func setInput(v, flag reflect.Value) error {
	text := flag.String()
	switch {
	case v.Kind() == reflect.Bool:
		v.Set(flag)
	case text == "":
	case v.Kind() == reflect.String:
		v.SetString(text)
	case isRange(v.Type()):
		numbers := strings.Split(text, "..")
		if len(numbers) == 1 {
			numbers = []string{text, text, text}
		}
		if len(numbers) != 3 {
			return fmt.Errorf("%q must be one number, or low..likely..high", text)
		}
		for i := range numbers {
			if err := setInput(v.Field(i), reflect.ValueOf(numbers[i])); err != nil {
				return err
			}
		}
	case v.Kind() == reflect.Uint8:
		return setKey(v, text)
	default:
		x, err := strconv.ParseFloat(text, 64)
		if err != nil {
			return fmt.Errorf("%q is not a number", text)
		}
		v.Set(reflect.ValueOf(x / unitOf(v.Type()).factor).Convert(v.Type()))
	}
	return nil
}

// setKey sets an enumeration, which counts from one, from its key.
func setKey(v reflect.Value, text string) error {
	var keys []string
	for i := uint64(1); ; i++ {
		v.SetUint(i)
		key := fmt.Sprint(v)
		if key == "unknown" {
			return fmt.Errorf("%q must be one of %s", text, strings.Join(keys, ", "))
		}
		if key == text {
			return nil
		}
		keys = append(keys, key)
	}
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
