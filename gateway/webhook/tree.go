package webhook

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"text/template"
)

// tree is a configured value whose texts are templates: a text, or a table or
// list of trees. It is filled first and encoded after, so that nothing a person
// writes can break out of its leaf.
type tree struct {
	leaf  *template.Template
	field string // the leaf is this field of the data alone, and keeps its type
	table map[string]tree
	list  []tree
	value any // what is no text: a number, a truth value
}

var alone = regexp.MustCompile(`^\{\{ *\.([A-Za-z]+) *\}\}$`)

func parseTree(v any) (tree, error) {
	switch v := v.(type) {
	case string:
		if m := alone.FindStringSubmatch(v); m != nil {
			return tree{field: m[1]}, nil
		}
		t, err := template.New("").Option("missingkey=error").Parse(v)
		if err != nil {
			return tree{}, fmt.Errorf("%q is not a template: %s", v, strings.TrimPrefix(err.Error(), "template: :1: "))
		}
		return tree{leaf: t}, nil
	case map[string]any:
		t := tree{table: make(map[string]tree, len(v))}
		for _, k := range slices.Sorted(maps.Keys(v)) {
			child, err := parseTree(v[k])
			if err != nil {
				return tree{}, fmt.Errorf("%s: %w", k, err)
			}
			t.table[k] = child
		}
		return t, nil
	case []any:
		t := tree{list: make([]tree, len(v))}
		for i, item := range v {
			child, err := parseTree(item)
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
			return nil, fmt.Errorf("%q cannot be filled; known are %s", t.leaf.Root.String(), fields(data))
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

// json fills the tree and encodes it.
func (t tree) json(data any) ([]byte, error) {
	v, err := t.fill(data)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		return nil, err
	}
	return bytes.TrimSuffix(b.Bytes(), []byte("\n")), nil
}

func fields(data any) string {
	t := reflect.TypeOf(data)
	names := make([]string, t.NumField())
	for i := range names {
		names[i] = "{{." + t.Field(i).Name + "}}"
	}
	return strings.Join(names, " ")
}
