package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// layer is what the code of a package may import: packages of this module,
// packages of others by their beginning, and whether it may reach the world.
type layer struct {
	ours, theirs []string
	pure         bool // no clock, no file, no network
}

// layers is the import table of the project: arrows point from cmd to the
// gateway, from the gateway to the dialogue, from the dialogue to what it says
// and computes.
var layers = map[string]layer{
	"calc":    {pure: true},
	"locales": {theirs: []string{"github.com/nicksnyder/go-i18n/v2", "golang.org/x/text", "github.com/BurntSushi/toml"}, pure: true},
	"dialog":  {ours: []string{"calc", "locales"}, theirs: []string{"github.com/fxamacker/cbor/v2"}, pure: true},

	"gateway/sms":  {pure: true},
	"gateway/ussd": {pure: true},
	"gateway": {
		ours:   []string{"dialog", "calc", "locales", "gateway/ussd", "gateway/sms"},
		theirs: []string{"github.com/nyaruka/phonenumbers"},
	},
	"gateway/webhook": {
		ours:   []string{"gateway", "gateway/sms", "dialog"},
		theirs: []string{"github.com/tidwall/gjson", "github.com/antchfx/xmlquery", "golang.org/x/text"},
	},
	"gateway/outbox": {
		ours:   []string{"gateway", "dialog"},
		theirs: []string{"github.com/prometheus/client_golang"},
	},
	"gateway/chart": {
		ours:   []string{"calc"},
		theirs: []string{"gonum.org/v1/plot"},
	},
	"gateway/review": {ours: []string{"gateway/sms", "locales"}, pure: true},
	"gateway/forecast": {
		ours:   []string{"gateway", "dialog", "calc", "locales"},
		theirs: []string{"github.com/tidwall/gjson", "github.com/prometheus/client_golang"},
	},
	"gateway/boltstore": {
		ours:   []string{"gateway", "dialog"},
		theirs: []string{"go.etcd.io/bbolt", "github.com/fxamacker/cbor/v2"},
	},
	"gateway/views": {
		ours:   []string{"gateway", "dialog", "calc", "locales"},
		theirs: []string{"modernc.org/sqlite"},
	},
	"gateway/register": {
		ours: []string{"gateway", "dialog", "locales"},
	},
	"gateway/storetest": {
		ours:   []string{"gateway", "dialog", "locales"},
		theirs: []string{"github.com/stretchr/testify/require", "pgregory.net/rapid"},
	},
	"gateway/console": {
		ours: []string{"gateway", "gateway/sms", "gateway/views", "gateway/forecast", "gateway/chart", "gateway/register", "gateway/review", "dialog", "calc", "locales"},
		theirs: []string{
			"github.com/gofiber/fiber/v2", "github.com/alexedwards/argon2id", "github.com/pquerna/otp", "github.com/boombuler/barcode/qr",
			"gonum.org/v1/plot",
		},
	},
	"gateway/web": {
		ours:   []string{"gateway", "gateway/webhook", "gateway/console"},
		theirs: []string{"github.com/gofiber/fiber/v2", "github.com/valyala/fasthttp", "github.com/prometheus/client_golang", "golang.org/x/time/rate"},
	},
	"cmd/cobline": {
		ours: []string{"calc", "dialog", "locales", "gateway", "gateway/sms", "gateway/ussd", "gateway/webhook", "gateway/chart", "gateway/forecast", "gateway/outbox", "gateway/register", "gateway/review", "gateway/views", "gateway/boltstore", "gateway/console", "gateway/web"},
		theirs: []string{
			"github.com/alecthomas/kong", "github.com/willabides/kongplete", "github.com/BurntSushi/toml",
			"github.com/peterh/liner", "github.com/mattn/go-isatty", "github.com/prometheus/client_golang", "golang.org/x/sync/errgroup",
			"gonum.org/v1/plot",
		},
	},
}

// worldly are the parts of the standard library that reach the world.
var worldly = []string{"net", "os", "syscall", "io/ioutil", "log", "database/sql", "plugin"}

// clocks are what tells the time or waits for it.
var clocks = []string{"Now", "Since", "Until", "Sleep", "After", "AfterFunc", "Tick", "NewTicker", "NewTimer"}

const module = "cobline/"

func TestImports(t *testing.T) {
	for _, p := range listPackages(t) {
		name := strings.TrimPrefix(p.ImportPath, module)
		l, ok := layers[name]
		if !ok {
			t.Errorf("package %s is not in the import table", name)
			continue
		}
		for _, i := range p.Imports {
			if !l.allows(i) {
				t.Errorf("package %s must not import %s", name, i)
			}
		}
		if l.pure {
			for _, file := range p.GoFiles {
				for _, use := range clockUses(t, filepath.Join(p.Dir, file)) {
					t.Errorf("%s: a pure package is told the time, it does not look", use)
				}
			}
		}
	}
}

func (l layer) allows(path string) bool {
	if ours, ok := strings.CutPrefix(path, module); ok {
		return slices.Contains(l.ours, ours)
	}
	under := func(parent string) bool { return path == parent || strings.HasPrefix(path, parent+"/") }
	if first, _, _ := strings.Cut(path, "/"); strings.Contains(first, ".") {
		return slices.ContainsFunc(l.theirs, under)
	}
	return !l.pure || !slices.ContainsFunc(worldly, under)
}

type listed struct {
	ImportPath, Dir  string
	GoFiles, Imports []string
}

func listPackages(t *testing.T) []listed {
	cmd := exec.Command("go", "list", "-json=ImportPath,Dir,GoFiles,Imports", "./...")
	cmd.Dir = "../.."
	out, err := cmd.Output()
	require.NoError(t, err)
	var packages []listed
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		var p listed
		err := d.Decode(&p)
		if errors.Is(err, io.EOF) {
			break
		}
		require.NoError(t, err)
		packages = append(packages, p)
	}
	require.Greater(t, len(packages), 8)
	return packages
}

// clockUses returns where a file asks for the time.
func clockUses(t *testing.T, file string) []string {
	set := token.NewFileSet()
	f, err := parser.ParseFile(set, file, nil, 0)
	require.NoError(t, err)
	var uses []string
	ast.Inspect(f, func(n ast.Node) bool {
		s, ok := n.(*ast.SelectorExpr)
		if !ok || !slices.Contains(clocks, s.Sel.Name) {
			return true
		}
		if x, ok := s.X.(*ast.Ident); ok && x.Name == "time" {
			uses = append(uses, set.Position(s.Pos()).String())
		}
		return true
	})
	return uses
}

// The table itself has no arrow back: whoever imports comes later.
func TestLayersHaveNoCycle(t *testing.T) {
	var visit func(name string, path []string)
	visit = func(name string, path []string) {
		require.NotContains(t, path, name)
		for _, below := range layers[name].ours {
			require.Contains(t, layers, below)
			visit(below, append(slices.Clone(path), name))
		}
	}
	for name := range layers {
		visit(name, nil)
	}
}
