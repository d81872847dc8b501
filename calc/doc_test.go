package calc_test

import (
	"go/ast"
	"go/doc"
	"go/parser"
	"go/token"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Whatever the package computes is shown by a worked example, and every exported
// name says what it means. Strings and errors speak for themselves.
func TestEveryExportedFunctionHasACommentAndAnExample(t *testing.T) {
	files := token.NewFileSet()
	names, err := filepath.Glob("*.go")
	require.NoError(t, err)
	var sources []*ast.File
	for _, name := range names {
		f, err := parser.ParseFile(files, name, nil, parser.ParseComments)
		require.NoError(t, err)
		sources = append(sources, f)
	}
	p, err := doc.NewFromFiles(files, sources, "cobline/calc")
	require.NoError(t, err)

	functions := p.Funcs
	for _, typ := range p.Types {
		require.NotEmpty(t, typ.Doc, typ.Name)
		functions = append(append(functions, typ.Funcs...), typ.Methods...)
	}
	require.Greater(t, len(functions), 50)
	for _, f := range functions {
		name := strings.TrimPrefix(f.Recv+"."+f.Name, ".")
		if f.Name == "String" || f.Name == "Error" {
			continue
		}
		require.NotEmpty(t, f.Doc, name)
		require.NotEmpty(t, f.Examples, "%s has no example", name)
	}
}
