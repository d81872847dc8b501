package main

import (
	"go/ast"
	"go/importer"
	"go/parser"
	"go/token"
	"go/types"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// notReckoned are the exported functions of calc that no command calls, by the
// reason.
var notReckoned = map[string][]string{
	"writes or reads a value": {
		"As", "Exactly", "Range.Ordered", "Range.Scale", "Money.Text", "Figure.Sourced",
		"WetBasis.Dry", "WetBasis.DryOf", "DryBasis.Wet", "Hours.Duration", "Minutes.Duration", "MetrePerSecond.PerHour",
		"DryResult.WholeDays",
	},
	"reads the units of a forecast that someone imports": {
		"ToCelsius", "ToMetrePerSecond", "ToMillimetre", "ToShare", "ToMJPerSquareMetre", "ToHours",
	},
	"makes a shape, which is an input": {"Solid", "Hollow", "Holes", "Ball", "Brick"},
	"lists or looks up figures, which `reckon sources` and `hear --list` print": {
		"Wastes", "Starches", "BinderOf", "Binder.CookTo", "PressingOf", "SackVolume", "StandardPieces",
	},
	"is a part of `reckon load`":         {"Cylinder.Volume"},
	"describes the usual drum":           {"StandardDrum", "Cylinder.Usable"},
	"is a part of `reckon recipe`":       {"Classes.Total", "RecipeInBrief"},
	"is a part of `reckon bind`":         {"Cups"},
	"is a part of `reckon learn`":        {"WeighedBatch.Believable"},
	"is a part of `reckon advise`":       {"BrandsOf"},
	"is a part of `reckon press`":        {"Piece.Check"},
	"is a part of `reckon dry`":          {"Forecast.Hours", "StandardDrying"},
	"is the age of a forecast from afar": {"Forecast.Freshness"},
}

// Every function of calc that computes is called by a command of reckon, not
// only by others on the way to their own answer.
func TestEveryCalculationIsReckoned(t *testing.T) {
	c := checked{set: token.NewFileSet(), uses: map[*ast.Ident]types.Object{}}
	c.std = importer.ForCompiler(c.set, "source", nil)
	calc := c.check(t, "cobline/calc", "../../calc")
	c.calc = calc
	program := c.check(t, "main", ".")

	reached := c.reach(program)
	excused := map[string]bool{}
	for reason, names := range notReckoned {
		for _, name := range names {
			require.False(t, excused[name], "%s is excused twice", name)
			require.False(t, reached[name], "%s is reckoned, yet excused: it %s", name, reason)
			excused[name] = true
		}
	}
	exported := exportedOf(calc)
	for _, name := range exported {
		if !reached[name] && !excused[name] {
			t.Errorf("calc.%s is reached by no command of reckon", name)
		}
		delete(excused, name)
	}
	require.Empty(t, excused, "no such functions of calc")
	require.Greater(t, len(exported), 60)
}

// checked is source whose names are resolved.
type checked struct {
	set   *token.FileSet
	std   types.Importer
	calc  *types.Package
	uses  map[*ast.Ident]types.Object
	files []*ast.File
}

// Import returns calc and, of all others, what the check of names can do without:
// nothing outside the standard library.
func (c *checked) Import(path string) (*types.Package, error) {
	first, _, _ := strings.Cut(path, "/")
	switch {
	case path == "cobline/calc":
		return c.calc, nil
	case first == "cobline" || strings.Contains(first, "."):
		return types.NewPackage(path, path[strings.LastIndex(path, "/")+1:]), nil
	}
	return c.std.Import(path)
}

func (c *checked) check(t *testing.T, path, dir string) *types.Package {
	names, err := filepath.Glob(filepath.Join(dir, "*.go"))
	require.NoError(t, err)
	c.files = nil
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(c.set, name, nil, 0)
		require.NoError(t, err)
		c.files = append(c.files, f)
	}
	resolve := types.Config{Importer: c, Error: func(error) {}} // what is not imported is not found
	p, _ := resolve.Check(path, c.set, c.files, &types.Info{Uses: c.uses})
	return p
}

// reach follows the names from the table of methods through the program, and
// returns those of calc that it meets.
func (c *checked) reach(program *types.Package) map[string]bool {
	bodies := map[string][]ast.Node{}
	for _, f := range c.files {
		for _, d := range f.Decls {
			switch d := d.(type) {
			case *ast.FuncDecl:
				bodies[d.Name.Name] = append(bodies[d.Name.Name], d)
			case *ast.GenDecl:
				for _, s := range d.Specs {
					if v, ok := s.(*ast.ValueSpec); ok {
						for _, n := range v.Names {
							bodies[n.Name] = append(bodies[n.Name], v)
						}
					}
				}
			}
		}
	}
	reached, seen := map[string]bool{}, map[string]bool{}
	var follow func(name string)
	follow = func(name string) {
		if seen[name] {
			return
		}
		seen[name] = true
		for _, body := range bodies[name] {
			ast.Inspect(body, func(n ast.Node) bool {
				id, ok := n.(*ast.Ident)
				if !ok {
					return true
				}
				switch o := c.uses[id]; {
				case o == nil:
				case o.Pkg() == c.calc:
					reached[fullName(o)] = true
				case o.Pkg() == program:
					follow(o.Name())
				}
				return true
			})
		}
	}
	follow("methods")
	return reached
}

// fullName is Function or Type.Method.
func fullName(o types.Object) string {
	if f, ok := o.(*types.Func); ok {
		if r := f.Signature().Recv(); r != nil {
			of := r.Type()
			if p, ok := of.(*types.Pointer); ok {
				of = p.Elem()
			}
			return of.(*types.Named).Obj().Name() + "." + f.Name()
		}
	}
	return o.Name()
}

// exportedOf lists the exported functions and methods of a package, but those
// that write a value or an error for people.
func exportedOf(p *types.Package) []string {
	var out []string
	add := func(f *types.Func) {
		if f.Exported() && f.Name() != "String" && f.Name() != "Error" {
			out = append(out, fullName(f))
		}
	}
	for _, name := range p.Scope().Names() {
		switch o := p.Scope().Lookup(name).(type) {
		case *types.Func:
			add(o)
		case *types.TypeName:
			if named, ok := o.Type().(*types.Named); ok {
				for f := range named.Methods() {
					add(f)
				}
			}
		}
	}
	slices.Sort(out)
	return out
}
