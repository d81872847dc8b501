package main

import (
	"bytes"
	"cmp"
	"fmt"
	"maps"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
)

// A configuration's values are named by keys as the file nests them, such as
// outbox.per_second or channel[0].in.from.

// walk calls f with every value of a configuration that is no table. f may set
// the value.
func walk(key string, v reflect.Value, f func(key string, v reflect.Value)) {
	child := func(name string) string { return strings.TrimPrefix(key+"."+name, ".") }
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			if field := v.Type().Field(i); !field.IsExported() {
				continue
			} else if field.Anonymous {
				walk(key, v.Field(i), f)
			} else {
				walk(child(keyOf(field)), v.Field(i), f)
			}
		}
	case reflect.Pointer:
		if !v.IsNil() {
			walk(key, v.Elem(), f)
		}
	case reflect.Slice:
		if v.Type().Elem().Kind() == reflect.String {
			f(key, v)
			return
		}
		for i := range v.Len() {
			walk(fmt.Sprintf("%s[%d]", key, i), v.Index(i), f)
		}
	case reflect.Map:
		for _, name := range slices.SortedFunc(slices.Values(v.MapKeys()), byString) {
			inner := reflect.New(v.Type().Elem()).Elem()
			inner.Set(v.MapIndex(name))
			walk(child(name.String()), inner, f)
			v.SetMapIndex(name, inner)
		}
	case reflect.Interface:
		if !v.IsNil() {
			inner := reflect.New(v.Elem().Type()).Elem()
			inner.Set(v.Elem())
			walk(key, inner, f)
			v.Set(inner)
		}
	default:
		f(key, v)
	}
}

// texts returns the texts of a value that is no table: itself, or those of a list.
func texts(v reflect.Value) []reflect.Value {
	switch {
	case v.Kind() == reflect.String:
		return []reflect.Value{v}
	case v.Kind() == reflect.Slice && v.Type().Elem().Kind() == reflect.String:
		all := make([]reflect.Value, v.Len())
		for i := range all {
			all[i] = v.Index(i)
		}
		return all
	}
	return nil
}

func byString(a, b reflect.Value) int { return strings.Compare(a.String(), b.String()) }

func keyOf(f reflect.StructField) string {
	if name := f.Tag.Get("toml"); name != "" {
		return name
	}
	return strings.ToLower(f.Name)
}

// kinds wants the values of a file to be of the kinds that its keys have.
func (l *loader) kinds(key string, v any, t reflect.Type) {
	if t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	text, isText := v.(string)
	switch want := func(ok bool, why string) { l.want(ok, key, "%s", why) }; {
	case t == reflect.TypeFor[time.Duration]():
		_, err := time.ParseDuration(text)
		want(isText && err == nil, `must be a span of time in quotes, such as "5s", "10m" or "24h"`)
	case t.Kind() == reflect.String:
		why := "must be a text in quotes"
		switch v.(type) {
		case int64, float64, bool:
			why += fmt.Sprintf(", such as %q", fmt.Sprint(v))
		}
		want(isText, why)
	case t.Kind() == reflect.Bool:
		_, ok := v.(bool)
		want(ok, "must be true or false, without quotes")
	case t.Kind() == reflect.Int:
		_, ok := v.(int64)
		want(ok, "must be a whole number, without quotes")
	case t.Kind() == reflect.Float64:
		_, whole := v.(int64)
		_, ok := v.(float64)
		want(ok || whole, "must be a number, without quotes")
	case t.Kind() == reflect.Slice:
		list := reflect.ValueOf(v)
		if list.Kind() != reflect.Slice {
			example := `["` + fmt.Sprint(v) + `"]`
			if t.Elem().Kind() == reflect.Struct {
				example = "[[" + index.ReplaceAllString(key, "") + "]] before each of its tables"
			}
			want(false, "must be a list, such as "+example)
			return
		}
		for i := range list.Len() {
			l.kinds(fmt.Sprintf("%s[%d]", key, i), list.Index(i).Interface(), t.Elem())
		}
	case t.Kind() == reflect.Struct || t.Kind() == reflect.Map:
		table, ok := v.(map[string]any)
		want(ok, "must be a table: { ... } on one line, or a part of its own under its name in brackets")
		var fields map[string]reflect.Type
		if t.Kind() == reflect.Struct {
			fields = fieldTypes(t)
		}
		for name, inner := range table {
			child := strings.TrimPrefix(key+"."+strings.ToLower(name), ".")
			if t.Kind() == reflect.Map {
				l.kinds(child, inner, t.Elem())
			} else if f, known := fields[strings.ToLower(name)]; known {
				l.kinds(child, inner, f)
			}
		}
	}
}

// setLeaf sets a value from its text.
func setLeaf(v reflect.Value, s string) error {
	switch {
	case v.Type() == reflect.TypeFor[time.Duration]():
		d, err := time.ParseDuration(s)
		if err != nil {
			return fmt.Errorf("%q is not a span of time such as 24h", s)
		}
		v.SetInt(int64(d))
	case v.Kind() == reflect.String:
		v.SetString(s)
	case v.Kind() == reflect.Slice:
		list := reflect.MakeSlice(v.Type(), 0, 1)
		for part := range strings.SplitSeq(s, ",") {
			list = reflect.Append(list, reflect.ValueOf(strings.TrimSpace(part)).Convert(v.Type().Elem()))
		}
		v.Set(list)
	case v.Kind() == reflect.Bool:
		b, err := strconv.ParseBool(s)
		if err != nil {
			return fmt.Errorf("%q is neither true nor false", s)
		}
		v.SetBool(b)
	case v.CanFloat():
		x, err := strconv.ParseFloat(s, 64)
		if err != nil {
			return fmt.Errorf("%q is not a number", s)
		}
		v.SetFloat(x)
	default:
		return fmt.Errorf("cannot be set in the environment")
	}
	return nil
}

var (
	index      = regexp.MustCompile(`\[[0-9]+\]`)
	arrayLine  = regexp.MustCompile(`^\s*\[\[\s*([^\]]+?)\s*\]\]`)
	tableLine  = regexp.MustCompile(`^\s*\[\s*([^\]]+?)\s*\]`)
	assignment = regexp.MustCompile(`^\s*([A-Za-z0-9_.-]+)\s*=`)
	inline     = regexp.MustCompile(`[{,]\s*([A-Za-z0-9_.-]+)\s*=`)
)

// parentKey returns the key of the table a key stands in, empty at the top.
func parentKey(key string) string { return key[:max(strings.LastIndexAny(key, ".["), 0)] }

// keyLines returns the line at which a file sets each key. It knows as much of
// TOML as people write in a configuration; a key it misses is told with the
// line of its table.
func keyLines(file []byte) map[string]int {
	lines := map[string]int{}
	count := map[string]int{} // of the tables of a list so far
	resolve := func(path string) string {
		var key, plain string
		for name := range strings.SplitSeq(strings.ToLower(path), ".") {
			plain = strings.TrimPrefix(plain+"."+strings.TrimSpace(name), ".")
			key = strings.TrimPrefix(key+"."+strings.TrimSpace(name), ".")
			if n := count[plain]; n > 0 {
				key += fmt.Sprintf("[%d]", n-1)
			}
		}
		return key
	}
	var table string
	for i, line := range bytes.Split(file, []byte("\n")) {
		text, _, _ := strings.Cut(string(line), " #")
		add := func(key string) { lines[key] = i + 1 }
		switch {
		case arrayLine.MatchString(text):
			name := arrayLine.FindStringSubmatch(text)[1]
			count[strings.ToLower(name)]++
			table = resolve(name)
			add(table)
		case tableLine.MatchString(text):
			table = resolve(tableLine.FindStringSubmatch(text)[1])
			add(table)
		case assignment.MatchString(text):
			key := strings.TrimPrefix(table+"."+strings.ToLower(assignment.FindStringSubmatch(text)[1]), ".")
			add(key)
			for _, m := range inline.FindAllStringSubmatch(text, -1) {
				add(key + "." + strings.ToLower(m[1]))
			}
		}
	}
	return lines
}

// knownKeys lists the keys that may stand where key stands.
func knownKeys(key string) []string {
	t := reflect.TypeFor[Config]()
	path := strings.Split(index.ReplaceAllString(key, ""), ".")
	for _, name := range path[:len(path)-1] {
		fields := fieldTypes(t)
		if t = fields[name]; t == nil {
			return nil
		}
		for t.Kind() == reflect.Slice || t.Kind() == reflect.Pointer {
			t = t.Elem()
		}
		if t.Kind() != reflect.Struct {
			return nil
		}
	}
	return slices.Sorted(maps.Keys(fieldTypes(t)))
}

func fieldTypes(t reflect.Type) map[string]reflect.Type {
	types := map[string]reflect.Type{}
	for i := range t.NumField() {
		if f := t.Field(i); !f.IsExported() {
			continue
		} else if f.Anonymous {
			maps.Copy(types, fieldTypes(f.Type))
		} else {
			types[keyOf(f)] = f.Type
		}
	}
	return types
}

// secretKey matches the keys whose values are nobody's business.
var secretKey = regexp.MustCompile(`\.check\.(value|basic\.password|hmac\.secret|standard\.secret)$|\.out\.(headers\.|body)|^forecast\[[0-9]+\]\.headers\.`)

// queryValue matches the values in the query of an address that are no slots.
var queryValue = regexp.MustCompile(`=[^&{]+`)

// fetched matches the keys of addresses that weather is fetched from.
var fetched = regexp.MustCompile(`^forecast\[[0-9]+\]\.url$`)

// templatePart matches a slot of a template, or what stands around slots.
var templatePart = regexp.MustCompile(`\{\{[^}]*\}\}|[^{]+|\{`)

// starred hides all of a text but its slots.
func starred(text string) string {
	return templatePart.ReplaceAllStringFunc(text, func(part string) string {
		if strings.HasPrefix(part, "{{") {
			return part
		}
		return "***"
	})
}

// minHidden is how short a text may be to be hidden wherever it stands: a shorter
// one would star what is no secret.
const minHidden = 6

// hide returns what stars the secrets of a configuration wherever they stand.
func (c Config) hide() *strings.Replacer {
	secrets := slices.Clone(c.secrets)
	for _, ch := range c.Channel {
		for _, s := range append(secretsOf(ch.In.Check), secretsOf(ch.reportsCheck())...) {
			secrets = append(secrets, s.value)
		}
	}
	// The longest first: one may begin with another.
	slices.SortFunc(secrets, func(a, b string) int { return cmp.Or(len(b)-len(a), strings.Compare(a, b)) })
	var pairs []string
	for _, s := range slices.Compact(secrets) {
		if len(s) >= minHidden && !reference.MatchString(s) { // a $NAME that is not set is no secret
			pairs = append(pairs, s, "***")
		}
	}
	return strings.NewReplacer(pairs...)
}

// secretName matches the names of fields that hold a secret in many gateways.
var (
	secretName  = regexp.MustCompile(`(?i)(auth|key|token|secret|cookie|passw|signature)[^.]*$`)
	secretQuery = regexp.MustCompile(`(?i)([?&][^=&]*(?:auth|key|token|secret|passw|signature)[^=&]*=)[^&{]+`)
)

// starOut stars what is secret in what channels send.
func (c *Config) starOut() {
	for _, ch := range c.Channel {
		if ch.Out == nil {
			continue
		}
		walk("", reflect.ValueOf(ch.Out).Elem(), func(key string, v reflect.Value) {
			switch {
			case v.Kind() != reflect.String:
			case key == "url":
				v.SetString(secretQuery.ReplaceAllString(v.String(), "$1***"))
			case secretName.MatchString(key):
				v.SetString(starred(v.String()))
			}
		})
	}
}

// String lists a configuration as key = value, a line each, secrets starred.
func (c Config) String() string {
	hide := c.hide()
	var b strings.Builder
	walk("", reflect.ValueOf(&c).Elem(), func(key string, v reflect.Value) {
		text := hide.Replace(fmt.Sprintf("%v", v))
		switch {
		case (strings.HasPrefix(key, "channel[") || strings.HasPrefix(key, "forecast[")) && (v.IsZero() || v.Kind() == reflect.Slice && v.Len() == 0):
			return // a channel has many keys, and few are its own
		case v.Kind() == reflect.String && secretKey.MatchString(key):
			text = strconv.Quote(starred(text))
		case strings.HasSuffix(key, ".out.command") && v.Len() > 0: // arguments may be secrets
			text = fmt.Sprintf("[%v ***]", v.Index(0))
		case strings.HasSuffix(key, ".out.url"), strings.HasSuffix(key, ".reports.url"), fetched.MatchString(key):
			address, query, _ := strings.Cut(text, "?")
			text = strconv.Quote(strings.TrimSuffix(address+"?"+queryValue.ReplaceAllString(query, "=***"), "?"))
		case v.Kind() == reflect.String:
			text = strconv.Quote(text)
		}
		fmt.Fprintf(&b, "%s = %s\n", key, text)
	})
	return b.String()
}
