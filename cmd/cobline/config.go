package main

import (
	"cmp"
	"crypto/tls"
	_ "embed"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"net"
	"net/http"
	"net/netip"
	"os"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/BurntSushi/toml"

	"cobline/calc"
	"cobline/gateway"
	"cobline/gateway/webhook"
	"cobline/locales"
)

// Config is everything an operator can set. It comes from Default, then a file,
// then the environment; Load checks the result.
type Config struct {
	Listen      string
	DefaultLang locales.Lang   `toml:"default_lang"`
	Langs       []locales.Lang // the languages switched on; none are all that may be sent
	// Reviewers are who answers for a language, "NAME, YEAR-MONTH-DAY". Some are
	// sent only then.
	Reviewers   map[locales.Lang]string
	Country     string // whose numbers come without an international prefix
	Log         string // the least level that is logged: error, warn, info or debug
	PlaceConfig        // of people who have named no place, and the defaults of all places
	Store       struct{ Kind, Path string }
	Quiet       QuietConfig
	Outbox      struct {
		PerSecond float64       `toml:"per_second"` // segments, on each channel
		GiveUp    time.Duration `toml:"give_up"`
	}
	Console  ConsoleConfig
	Office   OfficeConfig
	Channel  []ChannelConfig
	Place    []PlaceConfig
	Forecast []ForecastConfig

	secrets []string // what stood for a $NAME
}

// ChannelConfig is one way in and out.
type ChannelConfig struct {
	webhook.Spec
	Sender      string         // whom its messages come from
	Price       string         // what one text costs a producer, in words
	PerSecond   float64        `toml:"per_second"` // segments; zero: that of the outbox
	Quiet       QuietConfig    // zero: those of the line
	Limit       *int           // septets of one screen of a ussd channel; no other has one
	Idempotent  bool           // its gateway sends a reference once, however often it is given it
	Cost        CostConfig     // what its messages cost the line
	RetryWindow *time.Duration `toml:"retry_window"` // how long the same text again is a repeat, if the gateway gives no ids
	PerHour     *int           `toml:"per_hour"`     // texts of one number that are answered in an hour; zero: no limit
}

// answersPerHour is how many texts of one number are answered in an hour if the
// configuration does not say: more than a person writes, and few enough that a
// machine costs little; common practice.
const answersPerHour = 100

// ConsoleConfig is the officers' pages.
type ConsoleConfig struct {
	Off         bool     // serve no pages
	Certificate string   // files of our own TLS; none where a proxy has it
	Key         string   // of the certificate
	Proxies     []string // our own, through which browsers come
	Header      string   // in which they put the address of who asks
}

// OfficeConfig is what officers may do by text from phones of their own, and for
// how long it is known what they did.
type OfficeConfig struct {
	Most int // phones that a warning sent by phone may reach
	Days int // after which an officer's phone has to be renewed
	// AuditDays is for how many days it is kept who did what.
	AuditDays int `toml:"audit_days"`
}

// auditFor is for how long it is kept who did what.
func (c Config) auditFor() time.Duration { return time.Duration(c.Office.AuditDays) * 24 * time.Hour }

// secure reports whether browsers send the console's cookies over TLS alone:
// wherever others reach the line, or a proxy brings them.
func (c Config) secure() bool {
	return c.Console.Certificate != "" || len(c.Console.Proxies) > 0 || !c.loopback()
}

// QuietConfig is when no reminder or notice leaves.
type QuietConfig struct{ From, To string }

// reportsCheck returns what delivery reports have to prove beside messages.
func (c ChannelConfig) reportsCheck() webhook.Check {
	if c.Reports == nil {
		return webhook.Check{}
	}
	return c.Reports.Check
}

// PlaceConfig is where people burn and dry.
type PlaceConfig struct {
	Key, Name string
	Zone      string
	Latitude  calc.Degree `toml:"lat"`
	Longitude calc.Degree `toml:"lon"`
	Altitude  calc.Metre
	Emergency string // the number to call for help
	Currency  string
	Duty      []string // phones that are told of emergencies, the first one first
}

//go:embed config.example.toml
var exampleConfig []byte

// defaultConfigFile is read if it is there and no other is named.
const defaultConfigFile = "cobline.toml"

// Default returns the configuration of a line that only this machine reaches.
func Default() Config {
	c := Config{Listen: "127.0.0.1:8080", DefaultLang: locales.Default, Country: "KE", Log: "info"}
	c.PlaceConfig = PlaceConfig{
		Key: "home", Name: "Home", Zone: "Africa/Nairobi",
		Latitude: -1.29, Longitude: 36.82, Altitude: 1700, Currency: "KES",
	}
	c.Store.Kind, c.Store.Path = "bolt", "cobline-data"
	c.Quiet.From, c.Quiet.To = "20:30", "06:00"
	c.Outbox.PerSecond, c.Outbox.GiveUp = 5, 24*time.Hour
	c.Office = OfficeConfig{Most: 500, Days: 180, AuditDays: 730}
	c.Console.Header = "X-Real-IP"
	return c
}

// plainChannel is the channel of a line that configures none: JSON or a form
// in, JSON out.
func plainChannel() ChannelConfig {
	either := func(name string) string { return "json:" + name + " | form:" + name }
	return ChannelConfig{PerHour: new(0), Spec: webhook.Spec{Name: "plain", In: webhook.In{
		Path: "/in/plain", ID: either("id"), From: either("from"), To: either("to"), Text: either("text"), At: either("at"),
		Answer: webhook.Answer{
			Type: "application/json", Carry: "all",
			Body: map[string]any{"replies": "{{.Replies}}", "more": "{{.More}}"},
		},
	}}}
}

// Load reads a configuration and the environment over the defaults, and checks
// the result. The empty file name stands for cobline.toml if that exists. The
// error is problems; the configuration then is what was understood.
func Load(file string, env []string) (Config, error) {
	l := loader{Config: Default(), file: file}
	if _, err := os.Stat(defaultConfigFile); file == "" && err == nil {
		l.file = defaultConfigFile
	}
	if l.file == "" || l.read() {
		l.override(env)
		l.expand(env)
		l.validate()
	}
	hide := l.hide()
	for i := range l.problems {
		l.problems[i].Why = hide.Replace(l.problems[i].Why)
	}
	if len(l.problems) > 0 {
		slices.SortStableFunc(l.problems, func(a, b problem) int { return a.Line - b.Line })
		return l.Config, l.problems
	}
	return l.Config, nil
}

// problem is one thing to mend in a configuration.
type problem struct {
	File string
	Line int // zero if the file does not set the key
	Key  string
	Why  string
}

type problems []problem

func (p problems) Error() string {
	lines := make([]string, len(p))
	for i, x := range p {
		lines[i] = x.Why
		if x.Key != "" {
			lines[i] = x.Key + ": " + x.Why
		}
		switch {
		case x.Line > 0:
			lines[i] = fmt.Sprintf("%s:%d: %s", x.File, x.Line, lines[i])
		case x.File != "":
			lines[i] = x.File + ": " + lines[i]
		}
	}
	return strings.Join(lines, "\n")
}

// loader is a configuration in the making.
type loader struct {
	Config
	file     string
	lines    map[string]int // where the file sets each key
	set      toml.MetaData
	problems problems
}

func (l *loader) wrong(key, why string, args ...any) {
	p := problem{File: l.file, Key: key, Why: fmt.Sprintf(why, args...)}
	for k := key; k != "" && p.Line == 0; k = parentKey(k) {
		p.Line = l.lines[k]
	}
	l.problems = append(l.problems, p)
}

func (l *loader) want(ok bool, key, why string, args ...any) {
	if !ok {
		l.wrong(key, why, args...)
	}
}

// read reads the file and reports whether it can be read at all.
func (l *loader) read() bool {
	data, err := os.ReadFile(l.file)
	if err != nil {
		l.wrong("", "cannot be read: %v", errors.Unwrap(err))
		return false
	}
	l.lines = keyLines(data)
	var raw map[string]any
	_, err = toml.Decode(string(data), &raw)
	if p := (toml.ParseError{}); errors.As(err, &p) {
		l.problems = append(l.problems, problem{l.file, p.Position.Line, p.LastKey, p.Message})
		return false
	}
	if l.kinds("", raw, reflect.TypeFor[Config]()); len(l.problems) > 0 {
		return false
	}
	if l.set, err = toml.Decode(string(data), &l.Config); err != nil {
		l.wrong("", "%v", err)
		return false
	}
	for _, k := range l.set.Undecoded() {
		for _, key := range slices.Sorted(maps.Keys(l.lines)) {
			// What stands below an unknown table, or is a gateway's own, has no
			// keys to know.
			known := knownKeys(key)
			if len(known) > 0 && index.ReplaceAllString(key, "") == strings.ToLower(k.String()) {
				l.wrong(key, "is not known here; known are %s", strings.Join(known, ", "))
			}
		}
	}
	return true
}

// override sets what the environment names: COBLINE_OUTBOX_PER_SECOND is the
// key outbox.per_second. Lists of tables have no such names.
func (l *loader) override(env []string) {
	walk("", reflect.ValueOf(&l.Config).Elem(), func(key string, v reflect.Value) {
		name := "COBLINE_" + strings.ToUpper(strings.ReplaceAll(key, ".", "_"))
		if s, ok := lookup(env, name); ok {
			if err := setLeaf(v, s); err != nil {
				l.wrong(key, "%s: %v", name, err)
			}
		}
	})
}

var reference = regexp.MustCompile(`\$[A-Z][A-Z0-9_]+`)

// expand puts in what $NAME stands for: the environment's NAME, or the content
// of the file that NAME_FILE names.
func (l *loader) expand(env []string) {
	walk("", reflect.ValueOf(&l.Config).Elem(), func(key string, v reflect.Value) {
		replace := func(ref string) string {
			name := ref[1:]
			if s, ok := lookup(env, name); ok {
				l.secrets = append(l.secrets, s)
				return s
			}
			path, ok := lookup(env, name+"_FILE")
			if !ok {
				l.wrong(key, "%s is not set; set %s, or %s_FILE to a file that holds it", ref, name, name)
				return ref
			}
			data, err := os.ReadFile(path)
			l.want(err == nil, key, "%s_FILE names %s, which cannot be read", name, path)
			l.secrets = append(l.secrets, strings.TrimSpace(string(data)))
			return strings.TrimSpace(string(data))
		}
		for _, leaf := range texts(v) {
			leaf.SetString(reference.ReplaceAllStringFunc(leaf.String(), replace))
		}
	})
}

func lookup(env []string, name string) (string, bool) {
	for _, e := range slices.Backward(env) {
		if k, v, ok := strings.Cut(e, "="); ok && k == name {
			return v, true
		}
	}
	return "", false
}

// logLevels are what Config.Log may say. Only debug shows the texts of messages.
var logLevels = []string{"error", "warn", "info", "debug"}

func (c Config) logLevel() slog.Level {
	var level slog.Level
	if err := level.UnmarshalText([]byte(c.Log)); err != nil {
		panic(err) // the configuration was checked
	}
	return level
}

var (
	channelName = regexp.MustCompile(`^[a-z0-9][a-z0-9-]*$`)
	countryCode = regexp.MustCompile(`^[A-Z]{2}$`)
)

func (l *loader) validate() {
	_, _, err := net.SplitHostPort(l.Listen)
	l.want(err == nil, "listen", "must be an address and a port, such as 127.0.0.1:8080")
	l.want(countryCode.MatchString(l.Country), "country", "must be two capital letters (ISO 3166), such as KE")
	if len(l.Langs)+len(l.Reviewers) > 0 || l.DefaultLang != locales.Default { // else there is nothing to hold to the languages
		if catalog, err := builtIn(); err != nil {
			l.wrong("langs", "the languages built in cannot be read: %v", err)
		} else {
			l.validateLangs(catalog)
		}
	}
	l.want(slices.Contains(logLevels, l.Log), "log", "must be one of %s", strings.Join(logLevels, ", "))
	l.want(l.Store.Kind == "bolt", "store.kind", "must be bolt")
	l.want(l.Store.Path != "", "store.path", "is missing: name a directory")
	l.validateQuiet("quiet", l.Quiet)
	l.validateConsole()
	l.want(l.Outbox.PerSecond > 0, "outbox.per_second", "must be more than 0 segments a second")
	l.want(l.Office.Most > 0, "office.most", "must be more than 0 phones")
	l.want(l.Office.Days > 0, "office.days", "must be more than 0 days")
	l.want(l.Office.AuditDays > 0, "office.audit_days", "must be more than 0 days")
	l.want(l.Outbox.GiveUp > 0, "outbox.give_up", "must be a span, such as 24h")
	if l.set.IsDefined("zone") {
		l.want(l.set.IsDefined("lat") && l.set.IsDefined("lon"), "zone", "is set without lat and lon: daylight is reckoned from them")
	}
	l.validatePlace("", &l.PlaceConfig)
	keys := map[string]bool{l.Key: true}
	for i := range l.Place {
		key := fmt.Sprintf("place[%d]", i)
		p := &l.Place[i]
		p.Zone, p.Emergency, p.Currency = cmp.Or(p.Zone, l.Zone), cmp.Or(p.Emergency, l.Emergency), cmp.Or(p.Currency, l.Currency)
		if p.Duty == nil {
			p.Duty = l.Duty
		}
		l.want(channelName.MatchString(p.Key), key+".key", "must be small letters and digits: commands name the place by it")
		l.want(!keys[p.Key], key+".key", "%q is used twice", p.Key)
		keys[p.Key] = true
		l.validatePlace(key+".", p)
	}
	if l.Channel == nil {
		l.Channel = []ChannelConfig{plainChannel()}
	}
	l.validateChannels()
	l.validateForecasts()
}

func (l *loader) validateConsole() {
	c := l.Console
	l.want((c.Certificate == "") == (c.Key == ""), "console.key", "and console.certificate go together: name the files of both")
	if c.Certificate != "" && c.Key != "" {
		_, err := tls.LoadX509KeyPair(c.Certificate, c.Key)
		l.want(err == nil, "console.certificate", "does not go with console.key: %v", err)
	}
	for _, p := range c.Proxies {
		_, address := netip.ParseAddr(p)
		_, prefix := netip.ParsePrefix(p)
		l.want(address == nil || prefix == nil, "console.proxies", "%q is neither an address nor a network, such as 10.0.0.0/8", p)
	}
	// Of a list that is added to, anybody writes the first entry.
	l.want(c.Header != "" && !strings.EqualFold(c.Header, "X-Forwarded-For") && !strings.EqualFold(c.Header, "Forwarded"), "console.header", "must be one that the proxy writes over, such as X-Real-IP: in a list that proxies add to, the first address is whatever a browser sends")
}

func (l *loader) validateQuiet(key string, q QuietConfig) {
	for name, s := range map[string]string{".from": q.From, ".to": q.To} {
		_, err := parseClock(s)
		l.want(err == nil, key+name, "must be a time of day, such as 20:30")
	}
}

func (l *loader) validatePlace(prefix string, p *PlaceConfig) {
	_, err := time.LoadLocation(p.Zone)
	l.want(err == nil && p.Zone != "", prefix+"zone", "%q is not a time zone; write one such as Africa/Nairobi", p.Zone)
	l.want(p.Latitude != 0 || p.Longitude != 0, prefix+"lat", "and lon are missing: daylight is reckoned from them")
	l.want(p.Latitude >= -66 && p.Latitude <= 66, prefix+"lat", "must lie between -66 and 66 degrees")
	l.want(p.Longitude >= -180 && p.Longitude <= 180, prefix+"lon", "must lie between -180 and 180 degrees")
	for i, number := range p.Duty {
		_, err := gateway.ParseNumber(number, l.Country)
		l.want(err == nil, fmt.Sprintf("%sduty", prefix), "%q is not a phone number", p.Duty[i])
	}
}

func (l *loader) validateChannels() {
	names := map[string]bool{}
	var taken []webhook.Endpoint
	for i := range l.Channel {
		c, key := &l.Channel[i], fmt.Sprintf("channel[%d]", i)
		c.Country = cmp.Or(c.Country, l.Country)
		l.want(countryCode.MatchString(c.Country), key+".country", "must be two capital letters (ISO 3166), such as KE")
		if c.In.Path == "" {
			c.In.Path = "/in/" + c.Name
		}
		c.Kind = cmp.Or(c.Kind, "sms")
		c.In.Answer.Status = cmp.Or(c.In.Answer.Status, http.StatusOK)
		if c.Kind == "ussd" {
			c.Limit = cmp.Or(c.Limit, new(160))
			l.want(*c.Limit >= 40 && *c.Limit <= 182, key+".limit", "must lie between 40 and 182 septets")
		} else {
			l.want(c.Limit == nil, key+".limit", "is for a channel of kind ussd alone: there are no screens on this one")
		}
		l.want(c.PerSecond >= 0, key+".per_second", "must be more than 0 segments a second")
		if c.Quiet != (QuietConfig{}) {
			l.validateQuiet(key+".quiet", c.Quiet)
		}
		c.PerSecond, c.Quiet = cmp.Or(c.PerSecond, l.Outbox.PerSecond), cmp.Or(c.Quiet, l.Quiet)
		if c.PerHour == nil {
			c.PerHour = new(answersPerHour)
		}
		l.want(*c.PerHour == 0 || *c.PerHour >= 20, key+".per_hour", "must be 0 for no limit, or at least 20: a person who is asked many questions must be answered")
		l.validateCost(key+".cost", &c.Cost)
		if c.RetryWindow == nil {
			c.RetryWindow = new(5 * time.Second)
			if c.Kind == "ussd" {
				c.RetryWindow = new(2 * time.Second)
			}
		}
		l.want(channelName.MatchString(c.Name), key+".name", "must be small letters, digits and hyphens, such as sms-a")
		l.want(!names[c.Name], key+".name", "%q is used twice", c.Name)
		names[c.Name] = true
		l.validateCheck(key+".in.check", c.In.Check)
		if c.Reports != nil && c.Reports.Path != "" && c.Reports.Path != c.In.Path {
			l.validateCheck(key+".reports.check", c.reportsCheck())
		}
		within := c.In.Answer.Within
		l.want(within == 0 || within >= minAnswerTime && within <= maxAnswerTime, key+".in.answer.within", "must lie between %v and %v", minAnswerTime, maxAnswerTime)
		shape, err := webhook.Compile(c.Spec)
		if err != nil {
			for _, e := range split(err) {
				if s := (webhook.SpecError{}); errors.As(e, &s) {
					l.wrong(key+"."+s.Key, "%s", s.Why)
				}
			}
			continue
		}
		for _, e := range shape.Endpoints() {
			where := ".in.path"
			if c.Reports != nil && e.Path == c.Reports.Path {
				where = ".reports.path"
			}
			l.want(!slices.ContainsFunc(taken, e.Overlaps), key+where, "%s is used twice", e.Path)
		}
		taken = append(taken, shape.Endpoints()...)
	}
}

// The bounds of in.answer.within: less is no time for a turn, and more than a
// gateway waits.
const (
	minAnswerTime = 500 * time.Millisecond
	maxAnswerTime = time.Minute
)

// validateCheck wants what a request has to prove to be worth something.
func (l *loader) validateCheck(key string, c webhook.Check) {
	l.want(secret(c) || l.loopback(), key, "is missing: the line listens on %s, which others can reach, so each channel needs a secret; %q writes one", l.Listen, "cobline init")
	for _, k := range secretsOf(c) {
		l.want(len(k.value) >= minSecret, key+"."+k.key, "is too short to be a secret; use at least %d letters and digits", minSecret)
	}
}

// minSecret is how many characters a secret has at least: 80 random bits in the
// alphabet of cobline init.
const minSecret = 16

// secret reports whether a check asks for more than an address.
func secret(c webhook.Check) bool {
	return c.Token != "" || c.Basic != nil || c.HMAC != nil || c.Standard != nil
}

type secretValue struct{ key, value string }

// secretsOf returns the secrets of a check, each of those that count while one is
// being changed.
func secretsOf(c webhook.Check) []secretValue {
	var out []secretValue
	add := func(key, secrets string) {
		for s := range strings.FieldsSeq(secrets) {
			out = append(out, secretValue{key, s})
		}
	}
	add("value", c.Value)
	if c.Basic != nil {
		out = append(out, secretValue{"basic.password", c.Basic.Password})
	}
	if c.HMAC != nil {
		add("hmac.secret", c.HMAC.Secret)
	}
	if c.Standard != nil {
		add("standard.secret", c.Standard.Secret)
	}
	return out
}

// split returns the errors that errors.Join has joined.
func split(err error) []error {
	if j, ok := err.(interface{ Unwrap() []error }); ok {
		return j.Unwrap()
	}
	return []error{err}
}

// loopback reports whether only this machine can reach the line.
func (c Config) loopback() bool {
	host, _, err := net.SplitHostPort(c.Listen)
	return err == nil && (host == "localhost" || net.ParseIP(host).IsLoopback())
}

func parseClock(s string) (gateway.Clock, error) {
	t, err := time.Parse("15:04", s)
	return gateway.Clock{Hour: t.Hour(), Minute: t.Minute()}, err
}
