// Package register keeps the officers' register of producers: it reads lists of
// them, enters whole lists in the background, and writes lists and batches for
// spreadsheets.
package register

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/locales"
)

// The columns of a list, as its first line names them.
const (
	ColumnPhone    = "phone"
	ColumnPlace    = "place"
	ColumnGroup    = "group"
	ColumnLanguage = "language"
	ColumnConsent  = "consent"
)

// Columns are the columns of a list in the order of the template.
var Columns = []string{ColumnPhone, ColumnPlace, ColumnGroup, ColumnLanguage, ColumnConsent}

// aliases are other words that people write above a column.
var aliases = map[string]string{
	"phone number": ColumnPhone, "number": ColumnPhone, "telephone": ColumnPhone, "mobile": ColumnPhone,
	"village": ColumnPlace, "lang": ColumnLanguage, "how consent was given": ColumnConsent,
}

// The bounds of a list. Common practice.
const (
	MaxRows    = 20_000
	MaxGroup   = 30 // letters, as the dialogue keeps them
	MaxConsent = 60
)

// Words are what the cells of a list may say.
type Words struct {
	Country string // whose numbers come without an international prefix
	Places  map[string]dialog.Place
	Langs   map[locales.Lang]string                // each with its own name
	Called  func(name string) (locales.Lang, bool) // the language of another name, if given
}

// Row is one producer of a list.
type Row struct {
	Line    int            `cbor:"1,keyasint"` // of the file, counted from 1
	Digits  string         `cbor:"2,keyasint"`
	Profile dialog.Profile `cbor:"3,keyasint"`
	// Known says that the line knew this number when the list was checked.
	Known bool `cbor:"4,keyasint,omitempty"`
}

// Number returns the phone number of the row.
func (r Row) Number() (gateway.Number, error) { return gateway.NumberOf(r.Digits) }

// Fault is why a row is not entered.
type Fault struct {
	Line   int    `cbor:"1,keyasint"`
	Column string `cbor:"2,keyasint,omitempty"` // empty: the whole row
	Why    string `cbor:"3,keyasint"`           // a sentence without its full stop
}

// List is what was read of a file: each of its rows is in one of the two, in the
// order of the lines.
type List struct {
	Rows    []Row
	Faults  []Fault
	Ignored []string // columns that nothing is known of
}

// Unreadable is why a file is no list at all, as a sentence without its full
// stop.
type Unreadable string

// Error returns the sentence.
func (u Unreadable) Error() string { return string(u) }

const byteOrderMark = "\ufeff"

// Read reads a list: text in UTF-8, the cells apart by commas, semicolons or
// tabs, the names of the columns in the first line. What is wrong with a row is a
// fault of that row; what is wrong with the file is an Unreadable.
func Read(data []byte, w Words) (List, error) {
	var list List
	if bytes.HasPrefix(data, []byte{0xff, 0xfe}) || bytes.HasPrefix(data, []byte{0xfe, 0xff}) {
		return list, Unreadable("the file is written in UTF-16; save it again as CSV in UTF-8")
	}
	if bytes.HasPrefix(data, []byte("PK\x03\x04")) || bytes.HasPrefix(data, []byte{0xd0, 0xcf, 0x11, 0xe0}) {
		return list, Unreadable("this is a workbook of a spreadsheet, not a list; save the sheet as CSV in UTF-8 and choose that file")
	}
	data = bytes.TrimPrefix(data, []byte(byteOrderMark))
	if len(bytes.TrimSpace(data)) == 0 {
		return list, Unreadable("the file is empty")
	}
	r := csv.NewReader(bytes.NewReader(data))
	r.Comma = separator(data)
	r.FieldsPerRecord = -1
	head, err := r.Read()
	if err != nil {
		return list, Unreadable("the first line cannot be read; write there: " + strings.Join(Columns, ","))
	}
	t := table{Words: w, list: &list, seen: map[string]int{}}
	if err := t.head(head); err != nil {
		return list, err
	}
	for {
		cells, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if broken := (*csv.ParseError)(nil); errors.As(err, &broken) {
			t.wrong(broken.StartLine, "", "%s", quoting(broken))
			continue
		}
		if err != nil {
			return list, fmt.Errorf("read a list: %w", err)
		}
		line, _ := r.FieldPos(0)
		if t.row(line, cells); len(list.Rows)+len(list.Faults) > MaxRows {
			return list, Unreadable(fmt.Sprintf("the list has more than %d rows; cut it in pieces", MaxRows))
		}
	}
	if len(list.Rows)+len(list.Faults) == 0 {
		return list, Unreadable("the list has no rows below the names of its columns")
	}
	return list, nil
}

// separator is what stands between the cells: what the first line has most of.
func separator(data []byte) rune {
	first, _, _ := bytes.Cut(data, []byte("\n"))
	most, found := 0, ','
	for _, s := range ",;\t" {
		if n := bytes.Count(first, []byte(string(s))); n > most {
			most, found = n, s
		}
	}
	return found
}

func quoting(e *csv.ParseError) string {
	if e.Line > e.StartLine {
		return fmt.Sprintf("a quotation mark opens a cell that is not closed as it should be; the rows from here to line %d were not read", e.Line)
	}
	return `a quotation mark stands inside a cell; write the cell in quotation marks and the mark twice: "the ""upper"" group"`
}

// table is a list while it is read.
type table struct {
	Words
	list    *List
	columns []string       // by place; empty: ignored
	names   map[string]int // column -> place
	seen    map[string]int // digits -> line
}

// head takes in the names of the columns.
func (t *table) head(cells []string) error {
	t.names = map[string]int{}
	for i, cell := range cells {
		name := strings.ToLower(strings.Join(strings.Fields(strings.TrimPrefix(cell, byteOrderMark)), " "))
		if plain, ok := aliases[name]; ok {
			name = plain
		}
		if !slices.Contains(Columns, name) {
			t.columns = append(t.columns, "")
			if name != "" {
				t.list.Ignored = append(t.list.Ignored, shown(cell))
			}
			continue
		}
		if _, twice := t.names[name]; twice {
			return Unreadable(fmt.Sprintf("two columns are named %q", name))
		}
		t.names[name] = i
		t.columns = append(t.columns, name)
	}
	for _, name := range []string{ColumnPhone, ColumnConsent} {
		if _, ok := t.names[name]; !ok {
			return Unreadable(fmt.Sprintf("there is no column %q; the first line must name the columns, such as: %s", name, strings.Join(Columns, ",")))
		}
	}
	return nil
}

func (t *table) wrong(line int, column, why string, args ...any) {
	t.list.Faults = append(t.list.Faults, Fault{line, column, fmt.Sprintf(why, args...)})
}

// row takes in one row. An empty one says nothing. The first fault is told.
func (t *table) row(line int, cells []string) {
	if !slices.ContainsFunc(cells, func(c string) bool { return strings.TrimSpace(c) != "" }) {
		return
	}
	for i, cell := range cells {
		column := ""
		if i < len(t.columns) {
			column = t.columns[i]
		} else if strings.TrimSpace(cell) != "" {
			t.wrong(line, "", "the row has %d cells, and the first line names %d", len(cells), len(t.columns))
			return
		}
		if why := unfit(cell); column != "" && why != "" {
			t.wrong(line, column, "%s", why)
			return
		}
	}
	cell := func(name string) string {
		if i, ok := t.names[name]; ok && i < len(cells) {
			return strings.Join(strings.Fields(cells[i]), " ")
		}
		return ""
	}
	r := Row{Line: line}
	number, why := t.phone(cell(ColumnPhone))
	column := ColumnPhone
	for _, c := range []struct {
		name string
		read func(string) (string, string)
		into *string
	}{
		{ColumnPlace, t.place, &r.Profile.Place},
		{ColumnGroup, group, &r.Profile.Group},
		{ColumnLanguage, t.language, (*string)(&r.Profile.Lang)},
		{ColumnConsent, consent, &r.Profile.Consent},
	} {
		if why == "" {
			column = c.name
			*c.into, why = c.read(cell(c.name))
		}
	}
	if why != "" {
		t.wrong(line, column, "%s", why)
		return
	}
	r.Digits = number.Digits()
	if first, twice := t.seen[r.Digits]; twice {
		t.wrong(line, ColumnPhone, "the same number stands on line %d", first)
		return
	}
	t.seen[r.Digits] = line
	t.list.Rows = append(t.list.Rows, r)
}

// unfit returns why a cell is no text.
func unfit(cell string) string {
	if !utf8.ValidString(cell) || strings.ContainsRune(cell, utf8.RuneError) {
		return "this is not UTF-8; save the file again as CSV in UTF-8"
	}
	if strings.ContainsFunc(cell, func(r rune) bool { return unicode.IsControl(r) && !unicode.IsSpace(r) }) {
		return "the cell holds control characters"
	}
	return ""
}

// shown returns a cell as a report may show it: short, and without a number.
func shown(cell string) string {
	cell = gateway.Mask(strings.ToValidUTF8(strings.Join(strings.Fields(cell), " "), "\ufffd"))
	if r := []rune(cell); len(r) > 30 {
		cell = string(r[:30]) + "…"
	}
	return cell
}

func (t *table) phone(cell string) (gateway.Number, string) {
	cell = strings.TrimPrefix(cell, "'") // by which spreadsheets keep a cell as it is
	n, err := gateway.ParseNumber(cell, t.Country)
	switch {
	case cell == "":
		return n, "the phone number is missing"
	case err == nil:
		return n, ""
	case strings.ContainsAny(cell, "eE") && strings.Trim(cell, "0123456789.,+eE") == "":
		return n, "the spreadsheet has shortened the number; format the column as text, write the number anew and save again"
	}
	return n, "this is not a phone number; write it with its country code, such as +254700000001"
}

func (t *table) place(cell string) (string, string) {
	if cell == "" {
		return "", ""
	}
	if _, ok := t.Places[cell]; ok {
		return cell, ""
	}
	var known []string
	for key, p := range t.Places {
		if strings.EqualFold(p.Name, cell) || strings.EqualFold(key, cell) {
			return key, ""
		}
		known = append(known, p.Name)
	}
	slices.Sort(known)
	return "", fmt.Sprintf("there is no place %q; there are %s", shown(cell), strings.Join(known, ", "))
}

func (t *table) language(cell string) (string, string) {
	if cell == "" {
		return "", ""
	}
	var known []string
	for lang, name := range t.Langs {
		if strings.EqualFold(string(lang), cell) || strings.EqualFold(name, cell) {
			return string(lang), ""
		}
		known = append(known, fmt.Sprintf("%s (%s)", lang, name))
	}
	if t.Called != nil {
		if lang, ok := t.Called(cell); ok && t.Langs[lang] != "" {
			return string(lang), ""
		}
	}
	slices.Sort(known)
	return "", fmt.Sprintf("there is no language %q; there are %s", shown(cell), strings.Join(known, ", "))
}

func group(cell string) (string, string) {
	if n := utf8.RuneCountInString(cell); n > MaxGroup {
		return "", fmt.Sprintf("the name of the group has %d letters; %d is the most", n, MaxGroup)
	}
	return cell, ""
}

// refusals are what people write where nobody has agreed.
var refusals = []string{"no", "none", "not", "n", "false", "0", "-", "?", "unknown", "not yet", "refused", "text-no"}

// consent reads how a person agreed to be written to: on paper, at a meeting, by
// voice. Without that nobody is entered.
func consent(cell string) (string, string) {
	switch n := utf8.RuneCountInString(cell); {
	case cell == "":
		return "", "how consent was given is missing; write for example: paper, meeting or by phone"
	case slices.Contains(refusals, strings.ToLower(cell)):
		return "", "this person has not agreed; leave the row out"
	case n > MaxConsent:
		return "", fmt.Sprintf("how consent was given has %d letters; %d is the most", n, MaxConsent)
	}
	return cell, ""
}

// Template returns a list to begin with: the names of the columns and rows that
// are made up. Their numbers are of no country, so that nobody is written to who
// was left in the list by mistake.
func (w Words) Template() []byte {
	places, langs := w.examples()
	var b bytes.Buffer
	b.WriteString(byteOrderMark) // without which spreadsheets take the file for an older encoding
	c := csv.NewWriter(&b)
	c.UseCRLF = true
	rows := [][]string{Columns}
	for i, how := range []string{"paper", "meeting", "by phone"} {
		rows = append(rows, []string{fmt.Sprintf("+99900000000%d", i+1), places[i%len(places)], "Example group", langs[i%len(langs)], how})
	}
	if err := c.WriteAll(rows); err != nil {
		panic(err) // a buffer takes everything
	}
	return b.Bytes()
}

func (w Words) examples() (places, langs []string) {
	for _, p := range w.Places {
		places = append(places, p.Name)
	}
	for l := range w.Langs {
		langs = append(langs, string(l))
	}
	slices.Sort(places)
	slices.Sort(langs)
	return append(places, ""), append(langs, "")
}
