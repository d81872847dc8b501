package main

import (
	"bytes"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/BurntSushi/toml"
	"github.com/stretchr/testify/require"
)

// switchedOff matches the mark of a line that a person may switch on.
var switchedOff = regexp.MustCompile(`(?m)^# (\[|[a-z_]+ = )`)

// wholeExample returns the example with everything switched on.
func wholeExample(t *testing.T) string {
	text := switchedOff.ReplaceAll(exampleConfig, []byte("$1"))
	text = bytes.ReplaceAll(text, placeholderSecret, []byte(exampleSecret))
	setSecrets(t, string(text))
	t.Setenv("SMS_B_WEBHOOK", "whsec_AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8=")
	return string(text)
}

// load loads a configuration.
func load(t *testing.T, text string) (Config, error) {
	file := filepath.Join(t.TempDir(), "cobline.toml")
	require.NoError(t, os.WriteFile(file, []byte(text), 0o600))
	return Load(file, os.Environ())
}

// The example that `cobline init` writes shows every key there is, and is good as
// a whole when everything is switched on.
func TestExampleShowsEveryKey(t *testing.T) {
	text := wholeExample(t)
	config, err := load(t, text)
	require.NoError(t, err)
	require.Len(t, config.Channel, 5)
	require.Len(t, config.Place, 1)

	meta, err := toml.Decode(text, &Config{})
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

// What is wrong with a channel is told with its line, its key and what would be
// right: one key of the example is spoilt at a time.
func TestWrongKeysAreExplained(t *testing.T) {
	text := wholeExample(t)
	for _, c := range []struct{ good, bad, key, why string }{
		{`name = "sms-a"`, `name = "SMS A"`, "channel[1].name", "must be small letters, digits and hyphens"},
		{`name = "sms-b"`, `name = "sms-a"`, "channel[2].name", "is used twice"},
		{`kind = "sms"`, `kind = "mms"`, "channel[1].kind", "must be sms or ussd"},
		{`country = "KE"                 # if`, `country = "Kenya" # if`, "channel[1].country", "two capital letters"},
		{`per_second = 0.2`, `per_second = -0.2`, "channel[4].per_second", "must be more than 0"},
		{`quiet = { from = "20:30"`, `quiet = { from = "dusk"`, "channel[1].quiet.from", "must be a time of day"},
		{`limit = 160`, `limit = 300`, "channel[3].limit", "between 40 and 182 septets"},
		{`path = "/in/sms-a/:key" `, `path = "/sms-a/:key" `, "channel[1].in.path", "must begin with /in/"},
		{`path = "/in/sms-a/:key" `, `path = "/in/sms-a/*" `, "channel[1].in.path", "parts such as :key"},
		{`method = "GET POST"`, `method = "PATCH"`, "channel[1].in.method", "must be GET, POST or PUT"},
		{`as = "form"`, `as = "yaml"`, "channel[1].in.as", "must be json, form or xml"},
		{`from = "query:from | form:from"`, `from = "from"`, "channel[1].in.from", "is not a place in a request"},
		{`text = "query:text | form:text"`, `txt = "query:text"`, "channel[1].in.txt", "is not known here; known are answer, as, at"},
		{`id = "query:id | form:id"`, `id = "json:a..b"`, "channel[1].in.id", "is not a path"},
		{`layout = "YYYY-MM-DD hh:mm"`, `layout = "MM-DD"`, "channel[1].in.layout", "must say year, month, day"},
		{`zone = "Africa/Nairobi"        # of`, `zone = "EAT+3" # of`, "channel[1].in.zone", "such as Africa/Nairobi"},
		{`8 = "utf-16be"`, `8 = "utf-17"`, "channel[1].in.charsets.8", "is no charset"},
		{`header = "form:udh > hex"`, `header = "form:udh > hexa"`, "channel[1].in.header", "is no step"},
		{`value = "$SMS_A_SECRET" } # two`, `value = "$SMS_A_SECRET short" } # two`, "channel[1].in.check.value", "is too short"},
		{`value = "$DIAL_A_SECRET"`, `value = "$DIAL_A_SECRT"`, "channel[3].in.check.value", "$DIAL_A_SECRT is not set; set DIAL_A_SECRT, or DIAL_A_SECRT_FILE"},
		{`carry = "none"` + "\n", `carry = "some"` + "\n", "channel[1].in.answer.carry", "must be none, first or all"},
		{`status = 200` + "\n", `status = 404` + "\n", "channel[1].in.answer.status", "must be a 2xx"},
		{`X-Line = "{{.ID}}"`, `X-Line = "{{.Id}}"`, "channel[1].in.answer.headers.X-Line", "{{.Id}}\" cannot be filled; known are"},
		{`within = "8s"`, `within = "8h"`, "channel[1].in.answer.within", "must lie between 500ms and 1m0s"},
		{`each = "json:events"           # or`, `each = "events" # or`, "channel[2].in.each", "must be the place of a list"},
		{`when = { at = "item:kind", is = "message|mo" }`, `when = { at = "item:kind" }`, "channel[2].in.when", "needs both"},
		{`ref = "item:part.ref"`, `ref = ""`, "channel[2].in.ref", "needs all three"},
		{`from = "item:from"`, `from = "form:a | item:a..b"`, "channel[2].in.from", "is not a path"},
		{`allow = ["192.0.2.0/24"]`, `allow = ["192.0.2.0/240"]`, "channel[2].in.check.allow", "is not an address"},
		{`hash = "sha256"`, `hash = "md5"`, "channel[2].in.check.hmac.hash", "must be sha256, sha1 or sha512"},
		{`encoding = "hex"`, `encoding = "octal"`, "channel[2].in.check.hmac.encoding", "must be hex or base64"},
		{`signed = "{{.Time}}.`, `signed = "{{.Tyme}}.`, "channel[2].in.check.hmac.signed", "cannot be filled; known are {{.Body}}"},
		{`user = "gateway"`, `user = ""`, "channel[2].in.check.basic", "needs both"},
		{`from = "query:from | form:from"`, `joined = "*"` + "\n" + `from = "form:from"`, "channel[1].in.joined", "needs a session"},
		{`url = "https://gateway.example/send?user=me"`, `url = "gateway.example/send"`, "channel[1].out.url", "must be an http or https address"},
		{`encode = "json"`, `encode = "yaml"`, "channel[1].out.encode", "must be json, form, xml or text"},
		{`message = "{{.Text}}"`, `message = "{{.Txt}}"`, "channel[1].out.body", "{{.Txt}} is not known here; known are {{.To}}"},
		{`ok = ["2xx"]`, `ok = ["OK"]`, "channel[1].out.ok", "is not a status"},
		{`means = "blocked"`, `means = "lost"`, "channel[1].out.rules[0].means", "must be one of taken, later"},
		{`is = "credit.*"`, `is = "credit(.*"`, "channel[1].out.rules[0].is", "is not a regular expression"},
		{`command = ["gammu-smsd-inject", "TEXT", "+{{.To}}"`, `command = ["gammu-smsd-inject", "TEXT", "{{.To"`, "channel[4].out.command[2]", ""},
		{`path = "/in/sms-a/reports/:key"`, `path = "/in/sms-a/:other"`, "channel[1].reports.path", "cannot be told from in.path"},
		{`state = "json:status"`, `state = ""`, "channel[1].reports.state", "is missing"},
		{`ok = "delivered"`, `ok = "there"`, "channel[1].reports.states.ok", "must be queued, submitted, accepted"},
		{`sender = "32100"`, `sender = 32100`, "channel[1].sender", `must be a text in quotes, such as "32100"`},
		{`limit = 160`, `limit = "160"`, "channel[3].limit", "must be a whole number, without quotes"},
		{`per_second = 0.2`, `per_second = "0.2"`, "channel[4].per_second", "must be a number, without quotes"},
		{`dry = false`, `dry = "no"`, "channel[1].out.dry", "must be true or false"},
		{`within = "20s"`, `within = 20`, "channel[1].out.within", `must be a span of time in quotes, such as "5s"`},
		{`retry_window = "5s"`, `retry_window = "5 s"`, "channel[1].retry_window", "must be a span of time"},
		{`ok = ["2xx"]`, `ok = 200`, "channel[1].out.ok", `must be a list, such as ["200"]`},
		{`retry = ["408"`, `retry = [408`, "channel[1].out.retry[0]", `must be a text in quotes, such as "408"`},
		{`rules = [{ status = ["2xx"], at = "json:error", is = "credit.*", means = "blocked" }]`, `rules = "blocked"`, "channel[1].out.rules", "[[channel.out.rules]] before each"},
		{`answer = { carry = "none", body = "" }`, `answer = "none"`, "channel[2].in.answer", "must be a table"},
		{`from = "item:from"`, `from = ["item:from"]`, "channel[2].in.from", "must be a text in quotes"},
		{`?ref={{.Ref}}" # {{`, `?ref={{.To}}" # {{`, "channel[1].reports.url", "/***?ref={{.To}}\" cannot be filled; known are {{.Ref}}"},
		{`name = "met-table"`, `name = "met-points"`, "forecast[1].name", "is used twice"},
		{`url = "https://met.example/point?lat={{.Lat}}`, `url = "https://met.example/point?lat={{.Latitude}}`, "forecast[0].url", "knows {{.Lat}}"},
		{`Authorization = "Bearer $MET_KEY"`, `Authorization = "Bearer $MET_KAY"`, "forecast[0].headers.Authorization", "$MET_KAY is not set"},
		{`every = "3h"`, `every = "3s"`, "forecast[0].every", "must lie between 5m0s and 24h0m0s"},
		{`limit = 1048576`, `limit = 10`, "forecast[0].limit", "between 1024"},
		{`places = ["home"]              # left`, `places = ["My Home"] # left`, "forecast[0].places", "must be the key of a place"},
		{`step = "hour"`, `step = "week"`, "forecast[0].step", "must be day or hour"},
		{`wind = "data.wind > m/s"`, `wind = "data.wind > bft"`, "forecast[0].fields.wind", "write it as one of m/s, km/h, kn, mph"},
		{`gust = "data.gust"`, `gale = "data.gust"`, "forecast[0].fields.gale", "is not known of hours; there are cloud, code"},
		{`layout = "DD.MM.YYYY"`, `layout = "DD.MM"`, "forecast[1].layout", "must say year, month and day"},
		{`format = "cap"`, `format = "capp"`, "forecast[2].format", "must be json, csv or cap"},
	} {
		t.Run(c.key, func(t *testing.T) {
			require.Contains(t, text, c.good)
			_, err := load(t, strings.Replace(text, c.good, c.bad, 1))
			var wrong problems
			require.ErrorAs(t, err, &wrong)
			i := slices.IndexFunc(wrong, func(p problem) bool { return p.Key == c.key })
			require.GreaterOrEqual(t, i, 0, err)
			require.Contains(t, wrong[i].Why, c.why)
			before, _, _ := strings.Cut(text, c.good)
			require.Equal(t, strings.Count(before, "\n")+1, wrong[i].Line, err)
		})
	}
}
