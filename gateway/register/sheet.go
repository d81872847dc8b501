package register

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// Harmless keeps a spreadsheet from reading a cell as a formula: words that
// people text, and names, can begin with its signs. OWASP, "CSV Injection", lists
// them.
func Harmless(cell string) string {
	begin := strings.TrimLeft(cell, " \u00a0")
	if begin == "" || !strings.ContainsRune("=+-@\t\r\n＝＋－＠", []rune(begin)[0]) {
		return cell
	}
	if _, err := strconv.ParseFloat(cell, 64); err == nil {
		return cell
	}
	return "'" + cell
}

// Number writes a figure for a spreadsheet, or nothing for one that is not known.
func Number(v float64) string {
	if v == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return ""
	}
	return strconv.FormatFloat(math.Round(100*v)/100, 'f', -1, 64)
}

// Sheet writes rows for a spreadsheet: CSV in UTF-8, every cell harmless.
type Sheet struct{ w *csv.Writer }

// NewSheet begins a sheet with the names of its columns. The mark at its beginning
// tells spreadsheets that it is UTF-8.
func NewSheet(w io.Writer, columns ...string) (*Sheet, error) {
	if _, err := io.WriteString(w, byteOrderMark); err != nil {
		return nil, fmt.Errorf("begin a sheet: %w", err)
	}
	s := &Sheet{csv.NewWriter(w)}
	s.w.UseCRLF = true // RFC 4180
	return s, s.Row(columns...)
}

// Row writes a row.
func (s *Sheet) Row(cells ...string) error {
	row := make([]string, len(cells))
	for i, cell := range cells {
		row[i] = Harmless(cell)
	}
	return s.w.Write(row)
}

// End writes what is left.
func (s *Sheet) End() error {
	s.w.Flush()
	return s.w.Error()
}
