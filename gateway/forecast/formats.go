package forecast

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/tidwall/gjson"
)

// jsonBody is a JSON body: a list of rows, or a list for each field.
type jsonBody struct {
	root   gjson.Result
	list   []gjson.Result            // the rows, if they are a list
	lists  map[string][]gjson.Result // else by path
	length int
}

func newJSON(octets []byte, r *Reader) (*jsonBody, error) {
	if !gjson.ValidBytes(octets) {
		return nil, errors.New("it is not JSON")
	}
	b := &jsonBody{root: gjson.ParseBytes(octets)}
	m := r.mapping
	if m.Rows != "" {
		rows := b.root.Get(m.Rows)
		if !rows.IsArray() {
			return nil, fmt.Errorf("no list of rows stands at %q", m.Rows)
		}
		b.list = rows.Array()
		b.length = len(b.list)
		return b, nil
	}
	b.lists, b.length = map[string][]gjson.Result{}, -1
	paths := []string{m.Time, m.Place}
	for _, c := range r.fields {
		paths = append(paths, c.at)
	}
	for _, path := range paths {
		if path == "" {
			continue
		}
		list, ok := b.listAt(path)
		switch {
		case !ok && path == m.Time:
			return nil, fmt.Errorf("no list of times stands at %q", path)
		case !ok: // a service leaves out what it does not know
			continue
		case b.length >= 0 && len(list) != b.length:
			return nil, fmt.Errorf("the list at %q has %d values, another has %d", path, len(list), b.length)
		}
		b.lists[path], b.length = list, len(list)
	}
	if b.length < 0 {
		return nil, errors.New("none of the fields stands where the mapping says")
	}
	return b, nil
}

// listAt returns the first list of a path's alternatives.
func (b *jsonBody) listAt(path string) ([]gjson.Result, bool) {
	for p := range strings.SplitSeq(path, " | ") {
		if list := b.root.Get(strings.TrimSpace(p)); list.IsArray() {
			return list.Array(), true
		}
	}
	return nil, false
}

func (b *jsonBody) rows() int { return b.length }

func (b *jsonBody) text(row int, at string) (string, bool) {
	if b.list == nil {
		list := b.lists[at]
		if list == nil {
			return "", false
		}
		return textOf(list[row])
	}
	return firstAt(b.list[row], at)
}

func (b *jsonBody) whole(at string) (string, bool) { return firstAt(b.root, at) }

// firstAt returns what stands at the first of a path's alternatives that is
// there.
func firstAt(v gjson.Result, path string) (string, bool) {
	for p := range strings.SplitSeq(path, " | ") {
		if s, ok := textOf(v.Get(strings.TrimSpace(p))); ok {
			return s, true
		}
	}
	return "", false
}

// textOf returns a text or a number as it was written.
func textOf(v gjson.Result) (string, bool) {
	switch v.Type {
	case gjson.String:
		return v.Str, true
	case gjson.Number:
		return v.Raw, true
	}
	return "", false
}

func (*jsonBody) called(row int) string { return fmt.Sprintf("row %d", row+1) }

// csvBody is a table whose first line names its columns.
type csvBody struct {
	head  []string
	cells [][]string
	lines []int
}

func newCSV(octets []byte, r *Reader) (*csvBody, error) {
	read := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(octets, []byte("\xef\xbb\xbf"))))
	read.TrimLeadingSpace = true
	if r.mapping.Separator != "" {
		read.Comma = []rune(r.mapping.Separator)[0]
	}
	b := &csvBody{}
	for {
		cells, err := read.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err // it names the line
		}
		if b.head == nil {
			for _, name := range cells {
				b.head = append(b.head, strings.ToLower(strings.TrimSpace(name)))
			}
			continue
		}
		line, _ := read.FieldPos(0)
		b.cells, b.lines = append(b.cells, cells), append(b.lines, line)
		if len(b.cells) > maxRows {
			break
		}
	}
	if len(b.cells) == 0 {
		return nil, errors.New("line 1: no row follows; the first line names the columns, each further line is a row")
	}
	for _, name := range []string{r.mapping.Time, r.mapping.Place, r.mapping.Issued} {
		if _, ok := b.column(name); name != "" && !ok {
			return nil, fmt.Errorf("line 1: no column is called %q; there are %s", name, strings.Join(b.head, ", "))
		}
	}
	for _, name := range b.head {
		if known := func(c column) bool { return c.at == name }; r.strict && !slices.ContainsFunc(r.fields, known) {
			return nil, fmt.Errorf("line 1: no column is called %q; there are %s", name, strings.Join(PlainColumns(), ", "))
		}
	}
	if !slices.ContainsFunc(r.fields, func(c column) bool { _, ok := b.column(c.at); return ok }) {
		return nil, fmt.Errorf("line 1: no column is one of the mapping's; there are %s", strings.Join(b.head, ", "))
	}
	return b, nil
}

func (b *csvBody) column(name string) (int, bool) {
	i := slices.Index(b.head, strings.ToLower(strings.TrimSpace(name)))
	return i, i >= 0
}

func (b *csvBody) rows() int { return len(b.cells) }

func (b *csvBody) text(row int, at string) (string, bool) {
	i, ok := b.column(at)
	if !ok {
		return "", false
	}
	return b.cells[row][i], true
}

func (b *csvBody) whole(at string) (string, bool) { return b.text(0, at) }

func (b *csvBody) called(row int) string { return fmt.Sprintf("line %d", b.lines[row]) }
