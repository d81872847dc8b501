package main

import (
	"bytes"
	"encoding/json"
	"flag"
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"cobline/calc"
)

var update = flag.Bool("update", false, "rewrite the files made from the source")

// Every input of every method is told in help as the source of calc tells it.
func TestInputComments(t *testing.T) {
	comments := sourceComments(t, "../../calc")
	maps.Copy(comments, sourceComments(t, "."))
	lines := map[string]bool{}
	for _, m := range methods {
		flags := map[string]bool{}
		for _, f := range m.fields {
			require.False(t, flags[f.flag], "two flags %s of %s", f.flag, m.name)
			flags[f.flag] = true
			if c := comments[f.owner.Name()+"."+f.Name]; c != "" {
				lines[f.owner.Name()+"."+f.Name+"\t"+c] = true
			}
		}
	}
	want := strings.Join(slices.Sorted(maps.Keys(lines)), "\n") + "\n"
	if *update {
		require.NoError(t, os.WriteFile("reckon.inputs", []byte(want), 0o644))
		return
	}
	require.Equal(t, want, inputComments, "run go generate ./cmd/cobline")
}

// Every number that goes in or comes out has a unit.
func TestQuantitiesHaveUnits(t *testing.T) {
	seen := map[reflect.Type]bool{}
	var visit func(where string, of reflect.Type)
	visit = func(where string, of reflect.Type) {
		q := quantity(of)
		if seen[q] {
			return
		}
		seen[q] = true
		if q.PkgPath() == "cobline/calc" && q.Kind() == reflect.Float64 {
			require.Contains(t, units, q, where)
		}
		if q.Kind() == reflect.Struct && slices.Contains([]string{"cobline/calc", reflect.TypeFor[method]().PkgPath()}, q.PkgPath()) {
			for i := range q.NumField() {
				visit(where+"."+q.Field(i).Name, q.Field(i).Type)
			}
		}
	}
	for _, m := range methods {
		visit(m.name, m.input)
		visit(m.name, m.result)
	}
}

// sourceComments returns the comment of each field of each struct, by
// Struct.Field.
func sourceComments(t *testing.T, dir string) map[string]string {
	comments := map[string]string{}
	files, err := filepath.Glob(filepath.Join(dir, "*.go"))
	require.NoError(t, err)
	for _, file := range files {
		f, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.ParseComments)
		require.NoError(t, err)
		ast.Inspect(f, func(n ast.Node) bool {
			spec, ok := n.(*ast.TypeSpec)
			if !ok {
				return true
			}
			if s, ok := spec.Type.(*ast.StructType); ok {
				for _, field := range s.Fields.List {
					for _, name := range field.Names {
						text := strings.TrimSpace(field.Doc.Text() + " " + field.Comment.Text())
						comments[spec.Name.Name+"."+name.Name] = strings.Join(strings.Fields(text), " ")
					}
				}
			}
			return true
		})
	}
	return comments
}

func TestSetInput(t *testing.T) {
	var in struct {
		Kg       calc.Kg
		Range    calc.Range[calc.WetBasis]
		Share    calc.Share
		Waste    calc.Waste
		Shape    calc.Shape
		Bores    int
		Fills    []calc.Fill
		Defaults calc.Litre
	}
	v := reflect.ValueOf(&in).Elem()
	for field, text := range map[string]string{
		"Kg": "12.5", "Range": "10..12..15", "Share": "8", "Waste": "maize-cob", "Shape": "hollow", "Bores": "3", "Defaults": "",
		"Fills": "maize-cob:60,maize-husk:40:12",
	} {
		require.NoError(t, setInput(v.FieldByName(field), reflect.ValueOf(text)), field)
	}
	require.InDelta(t, 12.5, float64(in.Kg), 1e-12)
	require.InDelta(t, 0.10, float64(in.Range.Low), 1e-12)
	require.InDelta(t, 0.12, float64(in.Range.Likely), 1e-12)
	require.InDelta(t, 0.15, float64(in.Range.High), 1e-12)
	require.InDelta(t, 0.08, float64(in.Share), 1e-12)
	require.Equal(t, calc.MaizeCob, in.Waste)
	require.Equal(t, "hollow", in.Shape.String())
	require.Equal(t, 3, in.Bores)
	require.Zero(t, in.Defaults)
	require.Len(t, in.Fills, 2)
	require.Equal(t, calc.MaizeHusk, in.Fills[1].Waste)
	require.InDelta(t, 0.4, float64(in.Fills[1].Share), 1e-12)
	require.InDelta(t, 0.12, float64(in.Fills[1].Moisture.High), 1e-12)
}

func TestObjectNamesEndInTheUnit(t *testing.T) {
	type result struct {
		FeedPerDrum calc.Range[calc.Kg]
		Water       calc.Litre
		DryingDays  calc.Range[calc.Days]
		Drums       calc.Count
		MixMoisture calc.WetBasis
		Inner       struct{ Wait calc.Hours }
		None        *struct{ Why string }
	}
	r := result{FeedPerDrum: calc.Range[calc.Kg]{Low: 1, Likely: 2, High: 1.0 / 3}, Water: 4, MixMoisture: 0.35}
	b, err := json.Marshal(objectOf(reflect.ValueOf(r)))
	require.NoError(t, err)
	require.Equal(t, `{"feed_per_drum_kg":{"low":1,"likely":2,"high":0.333333},"water_l":4,`+
		`"drying_days":{"low":0,"likely":0,"high":0},"drums":0,"mix_moisture_percent":35,`+
		`"inner":{"wait_h":0},"none":null}`, string(b))

	var table bytes.Buffer
	require.NoError(t, printObject(&table, objectOf(reflect.ValueOf(r)), false))
	require.Contains(t, table.String(), "feed_per_drum_kg")
	require.NotContains(t, table.String(), "none")
}
