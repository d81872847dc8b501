package calc

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
)

// row is one line of a table under ../testdata/calc.
type row struct {
	t     *testing.T
	cells map[string]string
}

func (r row) text(column string) string {
	cell, ok := r.cells[column]
	require.True(r.t, ok, "no column %s", column)
	return cell
}

func (r row) number(column string) float64 {
	v, err := strconv.ParseFloat(r.text(column), 64)
	require.NoError(r.t, err)
	return v
}

// readTable reads a CSV table; lines that start with # say where it is from.
func readTable(t *testing.T, name string) []row {
	t.Helper()
	file, err := os.Open(filepath.Join("..", "testdata", "calc", name))
	require.NoError(t, err)
	defer file.Close()
	reader := csv.NewReader(file)
	reader.Comment = '#'
	records, err := reader.ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(records), 1)
	rows := make([]row, 0, len(records)-1)
	for _, record := range records[1:] {
		cells := make(map[string]string, len(record))
		for i, cell := range record {
			cells[records[0][i]] = cell
		}
		rows = append(rows, row{t, cells})
	}
	return rows
}
