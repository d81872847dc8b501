package console

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
	"io/fs"
	"path"
	"strings"
	"text/template/parse"
	"time"

	"cobline/dialog"
)

//go:embed templates/*.html
var templateFiles embed.FS

// pages are the parsed pages by name.
type pages map[string]*template.Template

// parsePages parses each page together with the layout and the parts it may use.
func parsePages() (pages, error) {
	layout, err := template.New("layout.html").Funcs(template.FuncMap{
		"static":   staticPath,
		"sentence": sentence,
		"role":     func(name string) (Role, error) { return ParseRole(name) },
	}).ParseFS(templateFiles, "templates/layout.html", "templates/parts.html")
	if err != nil {
		return nil, fmt.Errorf("parse the layout: %w", err)
	}
	files, err := fs.Glob(templateFiles, "templates/*.html")
	if err != nil {
		return nil, err
	}
	p := pages{}
	for _, file := range files {
		name := strings.TrimSuffix(path.Base(file), ".html")
		if name == "layout" || name == "parts" {
			continue
		}
		page, err := layout.Clone()
		if err != nil {
			return nil, fmt.Errorf("page %s: %w", name, err)
		}
		if p[name], err = page.ParseFS(templateFiles, file); err != nil {
			return nil, fmt.Errorf("parse page %s: %w", name, err)
		}
	}
	return p, nil
}

// execute renders a page whole: an error leaves no half page behind.
func (p pages) execute(out *bytes.Buffer, name string, v view) error {
	page, ok := p[name]
	if !ok {
		return fmt.Errorf("there is no page %q", name)
	}
	v.About = !parse.IsEmptyTree(page.Lookup("help").Tree.Root)
	if err := page.ExecuteTemplate(out, "layout", v); err != nil {
		return fmt.Errorf("render %s: %w", name, err)
	}
	return nil
}

// view is what a template is given.
type view struct {
	Account Account
	Flash   string
	Path    string
	Now     time.Time
	About   bool // the page explains itself
	Page    any

	facts *dialog.Facts
	token string
}

// item is one entry of the menu.
type item struct {
	Name, Path string
	Here       bool
}

// Menu returns the console's menu.
func (v view) Menu() []item {
	menu := []item{
		{Name: "Outlook", Path: "/office/outlook"},
		{Name: "Notices", Path: "/office/notices"},
		{Name: "Talk", Path: "/office/talk"},
		{Name: "Questions", Path: "/office/questions"},
		{Name: "Producers", Path: "/office/producers"},
		{Name: "Batches", Path: "/office/batches"},
	}
	for i := range menu {
		menu[i].Here = v.Under(menu[i].Path)
	}
	return menu
}

// Under reports whether this page is at a path or below it.
func (v view) Under(path string) bool { return v.Path == path || strings.HasPrefix(v.Path, path+"/") }

// May reports whether the reader may do what a role may.
func (v view) May(role string) bool {
	r, err := ParseRole(role)
	return err == nil && v.Account.Role >= r
}

// Token returns the hidden field that every form of a page carries.
func (v view) Token() template.HTML {
	return template.HTML(`<input type="hidden" name="` + tokenField + `" value="` + masked(v.token) + `">`) //nolint:gosec // letters, digits, - and _
}

// zone returns the zone of a place, or that of the line.
func (v view) zone(place string) *time.Location {
	if v.facts == nil {
		return time.UTC
	}
	if p, ok := v.facts.Places[place]; ok && p.Zone != nil {
		return p.Zone
	}
	if p, ok := v.facts.Places[v.facts.Home]; ok && p.Zone != nil {
		return p.Zone
	}
	return time.UTC
}

// At writes a time in the zone of the line, which it names.
func (v view) At(t time.Time) string { return v.AtIn("", t) }

// AtIn writes a time in the zone of a place, which it names.
func (v view) AtIn(place string, t time.Time) string {
	if t.IsZero() {
		return "never"
	}
	layout := "Mon 2 Jan 15:04 MST"
	if t, now := t.In(v.zone(place)), v.Now.In(v.zone(place)); t.Year() != now.Year() {
		layout = "Mon 2 Jan 2006 15:04 MST"
	}
	return t.In(v.zone(place)).Format(layout)
}

// Day writes the day of a time in the zone of a place.
func (v view) Day(place string, t time.Time) string { return t.In(v.zone(place)).Format("Mon 2 Jan") }

// Zone names the zone of the line.
func (v view) Zone() string { return v.zone("").String() }
