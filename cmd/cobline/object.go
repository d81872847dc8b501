package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"reflect"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"
	"unicode"

	"cobline/calc"
)

// object is a result in the order of its fields, which JSON of a map would lose.
type object []member

type member struct {
	name  string
	value any // text, number, truth value, spread, object, or a list of objects
}

// spread is an uncertain number.
type spread struct {
	Low    number `json:"low"`
	Likely number `json:"likely"`
	High   number `json:"high"`
}

// number is written with six digits, which is more than any answer is worth.
type number float64

// MarshalJSON writes null for what is no number.
func (n number) MarshalJSON() ([]byte, error) {
	if math.IsNaN(float64(n)) || math.IsInf(float64(n), 0) {
		return []byte("null"), nil
	}
	return strconv.AppendFloat(nil, float64(n), 'g', 6, 64), nil
}

// MarshalJSON writes the members in their order.
func (o object) MarshalJSON() ([]byte, error) {
	var b bytes.Buffer
	b.WriteByte('{')
	for i, m := range o {
		if i > 0 {
			b.WriteByte(',')
		}
		v, err := json.Marshal(m.value)
		if err != nil {
			return nil, err
		}
		fmt.Fprintf(&b, "%q:%s", m.name, v)
	}
	b.WriteByte('}')
	return b.Bytes(), nil
}

// objectOf turns a result of calc into an object whose names end in the unit.
func objectOf(v reflect.Value) object {
	var o object
	for i := range v.NumField() {
		f := v.Type().Field(i)
		name, suffix := snake(f.Name, "_"), unitOf(f.Type).suffix
		if suffix != "" && !strings.HasSuffix("_"+name, "_"+suffix) {
			name += "_" + suffix
		}
		if f.Anonymous {
			o = append(o, objectOf(v.Field(i))...)
		} else {
			o = append(o, member{name, valueOf(v.Field(i))})
		}
	}
	return o
}

func valueOf(v reflect.Value) any {
	switch x := v.Interface().(type) {
	case calc.Sourced:
		return sourced(x)
	case time.Time:
		return x.Format(time.RFC3339)
	case fmt.Stringer:
		if v.Kind() != reflect.Struct {
			return x.String()
		}
	}
	switch {
	case isRange(v.Type()):
		factor := unitOf(v.Type()).factor
		n := func(i int) number { return number(v.Field(i).Float() * factor) }
		return spread{n(0), n(1), n(2)}
	case v.CanFloat():
		return number(v.Float() * unitOf(v.Type()).factor)
	case v.Kind() == reflect.Struct:
		return objectOf(v)
	case v.Kind() == reflect.Pointer:
		if v.IsNil() {
			return nil
		}
		return valueOf(v.Elem())
	case v.Kind() == reflect.Slice:
		list := make([]any, v.Len())
		for i := range list {
			list[i] = valueOf(v.Index(i))
		}
		return list
	default:
		return v.Interface()
	}
}

// sourced is a figure with its source in one line.
func sourced(f calc.Sourced) object {
	return object{
		{"name", f.Name},
		{"unit", f.Unit},
		{"low", number(f.Low)},
		{"likely", number(f.Likely)},
		{"high", number(f.High)},
		{"standing", f.Source.Standing.String()},
		{"source", f.Source.String()},
	}
}

// printObject prints a result as JSON or as a table.
func printObject(w io.Writer, o object, asJSON bool) error {
	if asJSON {
		return json.NewEncoder(w).Encode(o)
	}
	table := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	o.rows(table, "")
	return table.Flush()
}

func (o object) rows(w io.Writer, indent string) {
	for _, m := range o {
		switch v := m.value.(type) {
		case nil:
		case spread:
			fmt.Fprintf(w, "%s%s\t%.3g\t%.3g\t%.3g\n", indent, m.name, v.Low, v.Likely, v.High)
		case number:
			fmt.Fprintf(w, "%s%s\t\t%.3g\n", indent, m.name, v)
		case object:
			fmt.Fprintf(w, "%s%s\n", indent, m.name)
			v.rows(w, indent+"  ")
		case []any:
			for _, item := range v {
				row, ok := item.(object)
				if !ok {
					fmt.Fprintf(w, "%s%s\t\t%v\n", indent, m.name, item)
					continue
				}
				texts := make([]string, len(row))
				for i, cell := range row {
					texts[i] = fmt.Sprint(cell.value)
				}
				fmt.Fprintf(w, "%s%s: %s\n", indent, m.name, strings.Join(texts, "  "))
			}
		default:
			fmt.Fprintf(w, "%s%s\t\t%v\n", indent, m.name, v)
		}
	}
}

// snake turns FeedPerDrum into feed_per_drum.
func snake(s, separator string) string {
	var b strings.Builder
	for i, r := range s {
		if unicode.IsUpper(r) && i > 0 {
			b.WriteString(separator)
		}
		b.WriteRune(unicode.ToLower(r))
	}
	return b.String()
}
