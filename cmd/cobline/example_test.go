package main

import (
	"bytes"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"testing"

	"github.com/BurntSushi/toml"
	"github.com/stretchr/testify/require"
)

// switchedOff matches the mark of a line that a person may switch on.
var switchedOff = regexp.MustCompile(`(?m)^# (\[|[a-z_]+ = )`)

// The example that `cobline init` writes shows every key there is, and is good as
// a whole when everything is switched on.
func TestExampleShowsEveryKey(t *testing.T) {
	text := switchedOff.ReplaceAll(exampleConfig, []byte("$1"))
	text = bytes.ReplaceAll(text, placeholderSecret, []byte(exampleSecret))
	file := filepath.Join(t.TempDir(), "cobline.toml")
	require.NoError(t, os.WriteFile(file, text, 0o600))
	setSecrets(t, string(text))
	t.Setenv("SMS_B_WEBHOOK", "whsec_AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8=")
	config, err := Load(file, os.Environ())
	require.NoError(t, err)
	require.Len(t, config.Channel, 5)
	require.Len(t, config.Place, 1)

	meta, err := toml.Decode(string(text), &Config{})
	require.NoError(t, err)
	require.Empty(t, unknownKeys(meta), "only bodies have keys of their own")
	shown := map[string]bool{}
	for _, key := range meta.Keys() {
		shown[key.String()] = true
	}
	// A table that stands in several places, such as check, shows each of its keys
	// in one of them.
	wanted := map[tableKey]bool{}
	noteKeys("", reflect.TypeFor[Config](), shown, wanted)
	for f, there := range wanted {
		require.True(t, there, "%v.%s", f.table, f.key)
	}
}

func unknownKeys(meta toml.MetaData) (unknown []string) {
	for _, key := range meta.Undecoded() {
		if !regexp.MustCompile(`\.body\.`).MatchString(key.String()) {
			unknown = append(unknown, key.String())
		}
	}
	return unknown
}

// tableKey is a key of a kind of table.
type tableKey struct {
	table reflect.Type
	key   string
}

// noteKeys notes for the keys of a kind of table whether they are among those
// that are shown.
func noteKeys(path string, t reflect.Type, shown map[string]bool, wanted map[tableKey]bool) {
	for name, kind := range fieldTypes(t) {
		key := name
		if path != "" {
			key = path + "." + name
		}
		f := tableKey{t, name}
		wanted[f] = wanted[f] || shown[key]
		for kind.Kind() == reflect.Pointer || kind.Kind() == reflect.Slice {
			kind = kind.Elem()
		}
		if kind.Kind() == reflect.Struct {
			noteKeys(key, kind, shown, wanted)
		}
	}
}
