package locales

import (
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"regexp"
	"slices"
	"strings"

	"github.com/BurntSushi/toml"
)

// Fault is one thing to mend in a file of a language.
type Fault struct {
	File string
	Line int    // 0 if it stands on no line
	Key  string // the message or concept, if it is about one
	Why  string
}

// Error says where it is and what is wrong.
func (f Fault) Error() string {
	s := f.File
	if f.Line > 0 {
		s += fmt.Sprintf(":%d", f.Line)
	}
	if f.Key == "" {
		return s + ": " + f.Why
	}
	return fmt.Sprintf("%s: %q %s", s, f.Key, f.Why)
}

// fault names a place by its key.
func (c *Catalog) fault(kind string, l Lang, key, why string, args ...any) Fault {
	name := file(kind, l)
	return Fault{File: name, Line: c.lines[name][key], Key: key, Why: fmt.Sprintf(why, args...)}
}

// At is a fault of a message of a language.
func (c *Catalog) At(l Lang, id ID, why string) Fault {
	return c.fault("active", l, string(id), "%s", why)
}

// unread is the fault of a file that is no TOML or not of the wanted shape.
func unread(file string, err error) Fault {
	f := Fault{File: file, Why: err.Error()}
	if p, ok := errors.AsType[toml.ParseError](err); ok {
		f.Line, f.Why = p.Position.Line, p.Message
		if f.Why == "" {
			f.Why = strings.TrimPrefix(err.Error(), "toml: ")
		}
	}
	return f
}

var keyAtLine = regexp.MustCompile(`^\s*"?([^"=\s]+)"?\s*=`)

// keyLines finds the line of each key of a file, which the reader of TOML does
// not tell.
func keyLines(data []byte) map[string]int {
	lines := map[string]int{}
	n := 0
	for line := range strings.Lines(string(data)) {
		n++
		if m := keyAtLine.FindStringSubmatch(line); m != nil {
			lines[m[1]] = n
		}
	}
	return lines
}

// Inspect reads the languages of a folder as far as they can be read, for who
// is still writing one, and tells what LoadFS would refuse.
func Inspect(files fs.FS) (*Catalog, []Fault) { return read(files, messages) }

// Over returns the languages built into the program, with the files of a folder
// in place of those of the same name.
func Over(folder fs.FS) fs.FS { return over{folder} }

type over struct{ folder fs.FS }

// Open opens the file of the folder if it is there.
func (o over) Open(name string) (fs.File, error) {
	f, err := o.folder.Open(name)
	if errors.Is(err, fs.ErrNotExist) {
		return embedded.Open(name)
	}
	return f, err
}

// ReadDir lists the files of both.
func (o over) ReadDir(name string) ([]fs.DirEntry, error) {
	entries := map[string]fs.DirEntry{}
	for _, files := range []fs.FS{embedded, o.folder} {
		list, err := fs.ReadDir(files, name)
		if err != nil {
			return nil, err
		}
		for _, e := range list {
			entries[e.Name()] = e
		}
	}
	all := make([]fs.DirEntry, 0, len(entries))
	for _, name := range slices.Sorted(maps.Keys(entries)) {
		all = append(all, entries[name])
	}
	return all, nil
}
