package webhook

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"net/url"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"text/template"
	"text/template/parse"
)

// tree is a configured value whose texts are templates: a text, or a table or
// list of trees. A table is filled first and encoded after, and in a text every
// value is escaped for the place it stands in, so that nothing a person writes
// can break out of its leaf.
type tree struct {
	leaf   *template.Template
	source string // of the leaf
	field  string // the leaf is this field of the data alone, and keeps its type
	table  map[string]tree
	list   []tree
	value  any // what is no text: a number, a truth value
}

// escaper makes a value fit for the place it stands in.
type escaper func(string) string

func asItIs(s string) string { return s }

func escapeJSON(s string) string {
	b, err := encodeJSON(s)
	if err != nil {
		panic(err) // a text can always be encoded
	}
	return string(b[1 : len(b)-1])
}

// escapers are those of the texts a body can be.
var escapers = map[string]escaper{
	"text": asItIs, "json": escapeJSON, "xml": escapeXML, "form": url.QueryEscape,
}

var alone = regexp.MustCompile(`^\{\{ *\.([A-Za-z]+) *\}\}$`)

func parseTree(v any, escape escaper) (tree, error) {
	switch v := v.(type) {
	case string:
		t, err := parseLeaf(v, escape)
		return tree{leaf: t, source: v}, err
	case map[string]any:
		t := tree{table: make(map[string]tree, len(v))}
		for _, k := range slices.Sorted(maps.Keys(v)) {
			child, err := parseBranch(v[k])
			if err != nil {
				return tree{}, fmt.Errorf("%s: %w", k, err)
			}
			t.table[k] = child
		}
		return t, nil
	case []any:
		t := tree{list: make([]tree, len(v))}
		for i, item := range v {
			child, err := parseBranch(item)
			if err != nil {
				return tree{}, fmt.Errorf("[%d]: %w", i, err)
			}
			t.list[i] = child
		}
		return t, nil
	default:
		return tree{value: v}, nil
	}
}

// parseBranch compiles what stands in a table or list, which is encoded as a
// whole.
func parseBranch(v any) (tree, error) {
	if s, ok := v.(string); ok {
		if m := alone.FindStringSubmatch(s); m != nil {
			return tree{field: m[1]}, nil
		}
	}
	return parseTree(v, asItIs)
}

// escapeName is what the escaper is called inside a template.
const escapeName = "escaped"

func parseLeaf(s string, escape escaper) (*template.Template, error) {
	t, err := template.New("").Option("missingkey=error").
		Funcs(template.FuncMap{escapeName: func(v any) string { return escape(fmt.Sprint(v)) }}).Parse(s)
	if err == nil && len(t.Templates()) > 1 {
		err = errors.New("it defines another")
	}
	if err != nil {
		return nil, fmt.Errorf("%q is not a template: %s", s, strings.TrimPrefix(err.Error(), "template: :1: "))
	}
	if t.Tree != nil {
		escapeActions(t.Root)
	}
	return t, nil
}

// escapeActions pipes everything a template prints through its escaper.
func escapeActions(list *parse.ListNode) {
	if list == nil {
		return
	}
	for _, n := range list.Nodes {
		switch n := n.(type) {
		case *parse.ActionNode:
			if len(n.Pipe.Decl) == 0 {
				escape := parse.NewIdentifier(escapeName).SetPos(n.Pos)
				n.Pipe.Cmds = append(n.Pipe.Cmds, &parse.CommandNode{NodeType: parse.NodeCommand, Pos: n.Pos, Args: []parse.Node{escape}})
			}
		case *parse.IfNode:
			escapeActions(n.List)
			escapeActions(n.ElseList)
		case *parse.RangeNode:
			escapeActions(n.List)
			escapeActions(n.ElseList)
		case *parse.WithNode:
			escapeActions(n.List)
			escapeActions(n.ElseList)
		}
	}
}

// fill returns the value with the data, a struct, in its leaves.
func (t tree) fill(data any) (any, error) {
	switch {
	case t.field != "":
		f := reflect.ValueOf(data).FieldByName(t.field)
		if !f.IsValid() {
			return nil, fmt.Errorf("{{.%s}} is not known here; known are %s", t.field, fields(data))
		}
		return f.Interface(), nil
	case t.leaf != nil:
		var b strings.Builder
		if err := t.leaf.Execute(&b, data); err != nil {
			return nil, fmt.Errorf("%q cannot be filled; known are %s", t.source, fields(data))
		}
		return b.String(), nil
	case t.table != nil:
		out := make(map[string]any, len(t.table))
		for k, child := range t.table {
			v, err := child.fill(data)
			if err != nil {
				return nil, fmt.Errorf("%s: %w", k, err)
			}
			out[k] = v
		}
		return out, nil
	case t.list != nil:
		out := make([]any, len(t.list))
		for i, child := range t.list {
			v, err := child.fill(data)
			if err != nil {
				return nil, fmt.Errorf("[%d]: %w", i, err)
			}
			out[i] = v
		}
		return out, nil
	default:
		return t.value, nil
	}
}

// text fills the tree and returns it as it stands in a header or a plain body.
func (t tree) text(data any) (string, error) {
	v, err := t.fill(data)
	if err != nil || v == nil {
		return "", err
	}
	return fmt.Sprint(v), nil
}

// body fills the tree and returns it as a body: a text as it is, a table as JSON
// or as a form.
func (t tree) body(data any, kind string) ([]byte, error) {
	v, err := t.fill(data)
	if err != nil || v == nil {
		return nil, err
	}
	switch v := v.(type) {
	case string:
		return []byte(v), nil
	case map[string]any:
		if kind == "form" {
			form := url.Values{}
			for name, field := range v {
				form.Set(name, fmt.Sprint(field))
			}
			return []byte(form.Encode()), nil
		}
	}
	return encodeJSON(v)
}

func encodeJSON(v any) ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	err := e.Encode(v)
	return bytes.TrimSuffix(b.Bytes(), []byte("\n")), err
}

// fields lists what a template may name: the exported fields and the methods of
// its data.
func fields(data any) string {
	var names []string
	t := reflect.TypeOf(data)
	for _, f := range reflect.VisibleFields(t) {
		if f.IsExported() {
			names = append(names, "{{."+f.Name+"}}")
		}
	}
	for i := range t.NumMethod() {
		names = append(names, "{{."+t.Method(i).Name+"}}")
	}
	return strings.Join(names, " ")
}
