package console

import (
	"errors"
	"net/url"
	"slices"
	"strings"
)

// field is one question of a form.
type field struct {
	Name, Label string
	Hint        string // what to write, if the label does not say it
	Kind        string // as HTML knows it: text, password, date, datetime-local, tel, number, file, checkbox; also textarea and select
	Value       string
	Options     []option // of a select
	Optional    bool
	Filter      bool   // of a search, which needs nothing
	Keys        string // the keyboard a phone brings up, as HTML names it; empty: that of the kind
	Complete    string // what a browser may fill in, as HTML names it
	Lang        string // of what is written, if it is not English
	Look        *look  // of a text to phones: as they will show it
	Fault       string // what to mend, as a sentence
}

// option is one answer to choose.
type option struct{ Value, Label string }

// form is what a page asks for.
type form struct {
	Fields []field
	Fault  string // what is wrong with all of it
}

// fill takes the answers and looks for what is missing. A password is not shown
// again.
func (f *form) fill(v url.Values) {
	for i := range f.Fields {
		f.Fields[i].Value = strings.TrimSpace(v.Get(f.Fields[i].Name))
		if f.Fields[i].Kind == "password" {
			f.Fields[i].Value = ""
		}
		if f.Fields[i].Kind == "select" && !slices.ContainsFunc(f.Fields[i].Options, func(o option) bool { return o.Value == f.Fields[i].Value }) {
			f.Fields[i].Fault = "Choose one of the list."
		}
		if v.Get(f.Fields[i].Name) == "" && !f.Fields[i].Optional && !f.Fields[i].Filter && f.Fields[i].Kind != "checkbox" && f.Fields[i].Kind != "file" {
			f.Fields[i].Fault = "This is missing."
		}
	}
}

// wrong says what to mend in a field, or in all of the form if it has no such
// field. The first fault of a field is the one that is told.
func (f *form) wrong(name, why string) {
	i := slices.IndexFunc(f.Fields, func(f field) bool { return f.Name == name })
	switch {
	case i < 0:
		f.Fault = sentence(why)
	case f.Fields[i].Fault == "":
		f.Fields[i].Fault = sentence(why)
	}
}

// Wrong reports whether something is to be mended.
func (f form) Wrong() bool {
	return f.Fault != "" || slices.ContainsFunc(f.Fields, func(f field) bool { return f.Fault != "" })
}

// sentence makes one of a fault.
func sentence(s string) string {
	if s == "" {
		return ""
	}
	s = strings.ToUpper(s[:1]) + s[1:]
	if !strings.ContainsAny(s[len(s)-1:], ".?!") {
		s += "."
	}
	return s
}

// mends takes an error as a fault of a field if it is one.
func (f *form) mends(err error, name string) bool {
	var why fault
	if !errors.As(err, &why) {
		return false
	}
	f.wrong(name, string(why))
	return true
}

// Chosen says what a search is narrowed to; empty if to nothing.
func (f form) Chosen() string {
	var list []string
	for _, in := range f.Fields {
		value := in.Value
		if i := slices.IndexFunc(in.Options, func(o option) bool { return o.Value == value }); i >= 0 {
			value = in.Options[i].Label
		}
		switch {
		case in.Value == "" || !in.Filter:
		case in.Kind == "checkbox":
			list = append(list, strings.ToLower(in.Label[:1])+in.Label[1:])
		default:
			list = append(list, strings.ToLower(in.Label[:1])+in.Label[1:]+" "+value)
		}
	}
	return strings.Join(list, ", ")
}

// By names the fields of a search.
func (f form) By() string {
	var names []string
	for _, in := range f.Fields {
		if in.Filter {
			names = append(names, strings.ToLower(in.Label[:1])+in.Label[1:])
		}
	}
	return strings.Join(names, ", ")
}
