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

// spread is an uncertain number, or day.
type spread struct {
	Low    any `json:"low"`
	Likely any `json:"likely"`
	High   any `json:"high"`
}

// number is written with six digits, which is more than any answer is worth.
type number float64

// String writes three digits, for people.
func (n number) String() string { return strconv.FormatFloat(float64(n), 'g', 3, 64) }

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
	if v.Kind() == reflect.Pointer {
		if v.IsNil() {
			return nil
		}
		return valueOf(v.Elem())
	}
	switch x := v.Interface().(type) {
	case calc.Sourced:
		return sourced(&x)
	case time.Time:
		if x.IsZero() {
			return nil
		}
		return x.Format(time.RFC3339)
	case fmt.Stringer:
		if v.Kind() != reflect.Struct {
			return x.String()
		}
	}
	switch {
	case isRange(v.Type()):
		return spread{valueOf(v.Field(0)), valueOf(v.Field(1)), valueOf(v.Field(2))}
	case v.CanFloat():
		return number(v.Float() * unitOf(v.Type()).factor)
	case v.Kind() == reflect.Struct:
		return objectOf(v)
	case v.Kind() == reflect.Slice || v.Kind() == reflect.Array:
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
func sourced(f *calc.Sourced) object {
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
			if v.Likely != nil {
				fmt.Fprintf(w, "%s%s\t%v\t%v\t%v\n", indent, m.name, v.Low, v.Likely, v.High)
			}
		case object:
			fmt.Fprintf(w, "%s%s\n", indent, m.name)
			v.rows(w, indent+"  ")
		case []any:
			printList(w, indent, m.name, v)
		default:
			fmt.Fprintf(w, "%s%s\t\t%v\n", indent, m.name, v)
		}
	}
}

// list prints the items of a list: objects as a table of their own.
func printList(w io.Writer, indent, name string, items []any) {
	if len(items) == 0 {
		return
	}
	if _, ok := items[0].(object); !ok {
		fmt.Fprintf(w, "%s%s\t\t%s\n", indent, name, strings.Trim(fmt.Sprint(items), "[]"))
		return
	}
	fmt.Fprintf(w, "%s%s\n", indent, name)
	for i, item := range items {
		row := item.(object)
		if i == 0 {
			fmt.Fprintf(w, "%s  %s\n", indent, row.cells(func(m member) any { return m.name }))
		}
		fmt.Fprintf(w, "%s  %s\n", indent, row.cells(func(m member) any { return m.value }))
	}
}

func (o object) cells(of func(member) any) string {
	texts := make([]string, len(o))
	for i, m := range o {
		if texts[i] = "-"; of(m) != nil {
			texts[i] = fmt.Sprint(of(m))
		}
	}
	return strings.Join(texts, "\t")
}

// String writes an object inside the cell of a table.
func (o object) String() string {
	texts := make([]string, len(o))
	for i, m := range o {
		texts[i] = fmt.Sprintf("%s=%v", m.name, m.value)
	}
	return strings.Join(texts, " ")
}

// String writes a range inside the cell of a table.
func (s spread) String() string { return fmt.Sprintf("%v..%v..%v", s.Low, s.Likely, s.High) }

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
