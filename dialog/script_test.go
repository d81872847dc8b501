package dialog_test

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/tools/txtar"

	"cobline/calc"
	"cobline/dialog"
	"cobline/gateway/sms"
	"cobline/locales"
)

var update = flag.Bool("update", false, "rewrite the replies in testdata/conversations")

// TestConversations plays every conversation under testdata/conversations and
// compares what the line says. Lines of a script:
//
//	# a remark
//	speaks en pt             the languages switched on, if not English, French and Swahili
//	lang sw                  the person speaks Swahili (before the first text)
//	sends no                 the channel cannot start a message by itself
//	price 10 shillings       what a text costs
//	duty 2                   duty phones of the place
//	number 0800 000 000      the place's emergency number
//	forecast fair            a week of weather: fair, rain, storm, mist or wind
//	currency KSh             of the place
//	place Mlimani            one more place that the line knows
//	teach en waste.bamboo x  officers teach the word x that meaning
//	answers en drying q = t  officers answer the question q with the text t, whose stage is drying
//	now 2026-03-02 09:00     the clock, at the place; timers due on the way ring
//	now +20m                 or +9d
//	> a text from the phone
//	> 09:05 a text that was sent at that time of the day
//	notice 6h a text         an officer's notice, good for that long
//	warning 6h a text        the same, about the weather
//	officer a text           an officer's answer to a question
//	called                   an officer has phoned the person
//	enrol sw Umoja           an officer enters the person: language and group
//	lost burn.hold           the message of that key did not leave in time
//	alert burn +254700000002 an emergency of that kind reaches this duty phone
//	seen                     a duty phone has seen this person's emergency
//	office 482913            the phone is an officer's, with this PIN
//	given yes                its PIN was given out
//	posted en                the phone has become an officer's, who speaks that
//	expires +10d             when the officer's phone ends
//	asks a text              a question waits, from the place
//	waits +254700000002      somebody waits for a call
//	work 1 2 3               emergencies nobody has seen, people beside a hot drum, people with briquettes drying
//	reaches 23               how many phones a warning reaches; by phone 500 at most
//	< a reply                further lines are indented by two spaces
//	! a timed message
//	* an effect              what the world is asked to do
//
// A script with the line "dial" is a session of screens and is played by the
// package gateway, which lays them out.
func TestConversations(t *testing.T) {
	for name, file := range scripts(t) {
		t.Run(name, func(t *testing.T) {
			raw, err := os.ReadFile(file)
			require.NoError(t, err)
			archive := txtar.Parse(raw)
			if dialled.Match(archive.Comment) {
				return
			}
			got := newPhone(t).plays(string(archive.Comment))
			if *update {
				archive.Comment = []byte(got)
				require.NoError(t, os.WriteFile(file, txtar.Format(archive), 0o644))
				return
			}
			require.Equal(t, string(archive.Comment), got)
		})
	}
}

const conversations = "../testdata/conversations/"

// dialled finds the line that makes a script a session of screens.
var dialled = regexp.MustCompile(`(?m)^dial$`)

// scripts returns the file of each conversation by its language and name, such
// as en/first-hello.
func scripts(t testing.TB) map[string]string {
	files, err := filepath.Glob(conversations + "*/*.txtar")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	out := map[string]string{}
	for _, file := range files {
		out[strings.TrimSuffix(strings.TrimPrefix(file, conversations), ".txtar")] = file
	}
	return out
}

// place is an invented place in the equatorial highlands.
func place(t testing.TB) dialog.Place {
	zone, err := time.LoadLocation("Africa/Nairobi")
	require.NoError(t, err)
	return dialog.Place{Key: "home", Name: "Kisimani", Zone: zone, Lat: -1.29, Lon: 36.82, Altitude: 1700}
}

// theCatalog is read once for all tests.
var theCatalog = sync.OnceValues(locales.Load)

var theEngine = sync.OnceValues(func() (*dialog.Engine, error) {
	catalog, err := theCatalog()
	if err != nil {
		return nil, err
	}
	return dialog.New(catalog, dialog.Options{})
})

func engine(t testing.TB) *dialog.Engine {
	e, err := theEngine()
	require.NoError(t, err)
	return e
}

// phone is one conversation in a test: a state, a clock and what the channel can
// do.
type phone struct {
	t       testing.TB
	e       *dialog.Engine
	state   dialog.State
	now     time.Time
	place   dialog.Place
	others  []string       // the names of further places
	langs   []locales.Lang // switched on
	channel dialog.Ability
	officer *office
	listen  func(dialog.Turn) // hears every turn, if set

	lessons []dialog.Lesson
	written []dialog.Written
	taught  *dialog.Overlay // of both
}

// ofHere are the languages of the invented place.
var ofHere = []locales.Lang{"en", "fr", "sw"}

func newPhone(t testing.TB) *phone {
	p := place(t)
	return &phone{t: t, e: engine(t), place: p, now: time.Date(2026, 3, 2, 9, 0, 0, 0, p.Zone), langs: ofHere, channel: dialog.Ability{Sends: true}}
}

func (p *phone) world() dialog.World {
	places := map[string]dialog.Place{p.place.Key: p.place}
	for _, name := range p.others {
		other := p.place
		other.Key, other.Name = strings.ToLower(name), name
		places[other.Key] = other
	}
	return dialog.World{Now: p.now, Channel: p.channel, Officer: p.officer.known(p.now), Facts: &dialog.Facts{Home: p.place.Key, Places: places, Langs: p.langs, Taught: p.taught}}
}

func (p *phone) step(ev dialog.Event) dialog.Turn {
	turn := p.once(ev)
	for ask, ok := turn.Asks(); ok; ask, ok = turn.Asks() {
		turn = turn.Then(p.once(p.officer.answer(ask, p.now)))
	}
	if slices.Contains(turn.Effects, dialog.Effect(dialog.Resign{})) {
		p.officer = nil
	}
	if p.listen != nil {
		p.listen(turn)
	}
	return turn
}

func (p *phone) once(ev dialog.Event) dialog.Turn {
	before := p.state.Encode()
	turn := p.e.Step(p.state, ev, p.world())
	require.Equal(p.t, before, p.state.Encode(), "Step changed the state it was given")
	decoded, err := dialog.DecodeState(turn.State.Encode())
	require.NoError(p.t, err)
	require.Equal(p.t, turn.State.Encode(), decoded.Encode())
	p.state = decoded
	return turn
}

func (p *phone) says(text string) dialog.Turn {
	return p.step(dialog.Said{Text: text, Via: dialog.SMS})
}

// until moves the clock, ringing what comes due on the way, in order.
func (p *phone) until(at time.Time, rung func(dialog.Turn)) {
	for {
		var next *dialog.Timer
		for _, o := range p.state.Timers {
			if !o.At.After(at) && (next == nil || o.At.Before(next.At)) {
				next = &o
			}
		}
		if next == nil {
			break
		}
		if next.At.After(p.now) {
			p.now = next.At.In(p.place.Zone)
		}
		turn := p.step(dialog.Due{Timer: *next})
		if rung != nil {
			rung(turn)
		}
	}
	p.now = at
}

// plays plays a script and returns it with the replies the line gives now.
func (p *phone) plays(script string) string {
	var out bytes.Buffer
	for line := range strings.Lines(script) {
		line = strings.TrimRight(line, "\n")
		word, rest, _ := strings.Cut(line, " ")
		if slices.Contains([]string{"<", "!", "*"}, word) || strings.HasPrefix(line, "  ") {
			continue
		}
		fmt.Fprintln(&out, line)
		switch {
		case line == "" || word == "#":
		case word == ">":
			write(&out, "<", p.step(p.said(rest)))
		case word == "now":
			p.until(p.moment(rest), func(turn dialog.Turn) { write(&out, "!", turn) })
		case settings[word] != nil:
			settings[word](p, rest)
		case happenings[word] != nil:
			write(&out, "!", p.step(happenings[word](p, rest)))
		default:
			require.Fail(p.t, "a line no script knows", line)
		}
	}
	return out.String()
}

// settings are the lines of a script that set up the world.
var settings = map[string]func(p *phone, rest string){
	"speaks": func(p *phone, langs string) {
		p.langs = nil
		for _, l := range strings.Fields(langs) {
			p.langs = append(p.langs, locales.Lang(l))
		}
	},
	"lang":     func(p *phone, l string) { p.state.Lang, p.state.Chosen, p.state.Met = locales.Lang(l), true, true },
	"sends":    func(p *phone, answer string) { p.channel.Sends = answer != "no" },
	"price":    func(p *phone, price string) { p.channel.Price = price },
	"forecast": (*phone).forecast,
	"currency": func(p *phone, sign string) { p.place.Currency = sign },
	"number":   func(p *phone, number string) { p.place.Emergency = number },
	"place":    func(p *phone, name string) { p.others = append(p.others, name) },
	"office":   func(p *phone, pin string) { p.officer = &office{pin: pin, ends: p.now.AddDate(0, 6, 0), digest: true} },
	"given":    func(p *phone, _ string) { p.officer.given = true },
	"expires":  func(p *phone, moment string) { p.officer.ends = p.moment(moment) },
	"asks": func(p *phone, text string) {
		p.officer.questions = append(p.officer.questions, dialog.Waiting{At: p.now, Place: p.place.Key, Text: text})
	},
	"waits": func(p *phone, number string) {
		p.officer.calls = append(p.officer.calls, dialog.Waiting{At: p.now, Place: p.place.Key, Number: number})
	},
	"reaches": func(p *phone, phones string) {
		_, err := fmt.Sscan(phones, &p.officer.persons)
		require.NoError(p.t, err)
	},
	"work": func(p *phone, counts string) {
		w := &p.officer.work
		_, err := fmt.Sscan(counts, &w.Emergencies, &w.Alight, &w.Drying)
		require.NoError(p.t, err)
	},
	"teach":   (*phone).teach,
	"answers": (*phone).answers,
	"duty": func(p *phone, phones string) {
		_, err := fmt.Sscan(phones, &p.place.Duty)
		require.NoError(p.t, err)
	},
}

// teach lets officers teach a word, if they may.
func (p *phone) teach(rest string) {
	parts := strings.SplitN(rest, " ", 3)
	require.Len(p.t, parts, 3)
	l := dialog.Lesson{Lang: locales.Lang(parts[0]), Concept: parts[1], Word: parts[2]}
	require.NoError(p.t, p.e.CheckLesson(p.world().Facts, l))
	p.lessons = append(p.lessons, l)
	p.taught = dialog.NewOverlay(p.lessons, p.written)
}

// answers lets officers write an answer, if they may.
func (p *phone) answers(rest string) {
	parts := strings.SplitN(rest, " ", 3)
	require.Len(p.t, parts, 3)
	question, text, ok := strings.Cut(parts[2], " = ")
	require.True(p.t, ok)
	w := dialog.Written{ID: fmt.Sprint(len(p.written)), Lang: locales.Lang(parts[0]), Stage: parts[1], Questions: []string{question}, Text: text}
	require.NoError(p.t, p.e.CheckAnswer(p.world().Facts, w))
	p.written = append(p.written, w)
	p.taught = dialog.NewOverlay(p.lessons, p.written)
}

// happenings are the lines of a script that tell of an event no text brings.
var happenings = map[string]func(p *phone, rest string) dialog.Event{
	"notice":  func(p *phone, rest string) dialog.Event { return p.notice(rest, false) },
	"warning": func(p *phone, rest string) dialog.Event { return p.notice(rest, true) },
	"officer": func(_ *phone, text string) dialog.Event { return dialog.Answered{Text: text} },
	"called":  func(*phone, string) dialog.Event { return dialog.Called{} },
	"lost":    func(_ *phone, key string) dialog.Event { return dialog.Lapsed{Key: key, Why: dialog.Expired} },
	"enrol": func(p *phone, rest string) dialog.Event {
		lang, group, _ := strings.Cut(rest, " ")
		return dialog.Enrolled{Profile: dialog.Profile{Lang: locales.Lang(lang), Place: p.place.Key, Group: group, Consent: "paper"}}
	},
	"alert": func(p *phone, rest string) dialog.Event {
		kind, number, _ := strings.Cut(rest, " ")
		return dialog.Alerted{Alert: dialog.Alert{ID: "e1", Kind: kind, Place: p.place.Key, At: p.now, Number: number}}
	},
	"posted": func(_ *phone, lang string) dialog.Event { return dialog.Posted{Lang: locales.Lang(lang), Fresh: true} },
	"seen": func(p *phone, _ string) dialog.Event {
		require.NotNil(p.t, p.state.Alert, "nobody was hurt")
		return dialog.Acknowledged{AlertID: p.state.Alert.ID}
	},
}

// notice reads how long a notice is good, and its text in the person's language.
func (p *phone) notice(rest string, weather bool) dialog.Told {
	hours, text, _ := strings.Cut(rest, " ")
	valid, err := time.ParseDuration(hours)
	require.NoError(p.t, err)
	return dialog.Told{Notice: dialog.Notice{ID: "n1", Texts: map[locales.Lang]string{p.state.Lang: text}, Expires: p.now.Add(valid), Weather: weather}}
}

// said reads a text with the time it was sent, if it begins with one.
func (p *phone) said(text string) dialog.Said {
	ev := dialog.Said{Text: text, Via: dialog.SMS}
	if at, rest, ok := strings.Cut(text, " "); ok && len(at) == 5 && at[2] == ':' {
		clock, err := time.Parse("15:04", at)
		require.NoError(p.t, err)
		y, m, d := p.now.Date()
		ev.Text, ev.SentAt = rest, time.Date(y, m, d, clock.Hour(), clock.Minute(), 0, 0, p.place.Zone)
	}
	return ev
}

// moment reads the argument of now.
func (p *phone) moment(s string) time.Time {
	if rest, ok := strings.CutPrefix(s, "+"); ok {
		if days, err := strconv.Atoi(strings.TrimSuffix(rest, "d")); err == nil && strings.HasSuffix(rest, "d") {
			return p.now.AddDate(0, 0, days)
		}
		d, err := time.ParseDuration(rest)
		require.NoError(p.t, err)
		return p.now.Add(d)
	}
	at, err := time.ParseInLocation("2006-01-02 15:04", s, p.place.Zone)
	require.NoError(p.t, err)
	return at
}

// write writes the replies and effects of a turn as a script shows them.
func write(out *bytes.Buffer, mark string, turn dialog.Turn) {
	for _, r := range turn.Replies {
		text := r.Plain()
		parts := sms.Split(sms.Plain(text, locales.Substitutions(turn.Heard.Lang))) // as it is sent
		fmt.Fprintf(out, "%s %s [%d seg]\n", mark, strings.ReplaceAll(text, "\n", "\n  "), len(parts.Segments))
	}
	for _, f := range turn.Effects {
		fmt.Fprintf(out, "* %s\n", strings.TrimPrefix(fmt.Sprintf("%T", f), "dialog."))
	}
}

// skies are the invented weeks a script can ask for: fair; rain every day in the
// afternoon; storm, with rain from morning to night; mist, damp and without sun;
// wind, fair but so windy that nobody should light; calms, windy until Tuesday.
var skies = map[string]func(*calc.Day){
	"fair": func(d *calc.Day) { d.HumidityMean, d.Sunshine = new(calc.Share(.5)), new(calc.Hours(8)) },
	"rain": func(d *calc.Day) {
		d.HumidityMean, d.Sunshine, d.RainByHour = new(calc.Share(.75)), new(calc.Hours(4)), make([]calc.Millimetre, 24)
		d.RainByHour[14] = 6
	},
	"storm": func(d *calc.Day) {
		d.HumidityMean, d.Sunshine, d.RainByHour = new(calc.Share(.9)), new(calc.Hours(.5)), make([]calc.Millimetre, 24)
		for h := range d.RainByHour {
			d.RainByHour[h] = 2
		}
	},
	"mist": func(d *calc.Day) {
		d.HumidityMean, d.Sunshine = new(calc.Share(.97)), new(calc.Hours(0))
		d.Max, d.Min = new(calc.Celsius(17)), new(calc.Celsius(14))
	},
	"wind": func(d *calc.Day) {
		d.HumidityMean, d.Sunshine, d.Wind = new(calc.Share(.3)), new(calc.Hours(9)), new(calc.MetrePerSecond(9))
	},
	"calms": func(d *calc.Day) {
		d.HumidityMean, d.Sunshine = new(calc.Share(.5)), new(calc.Hours(8))
		if day := d.Date.Weekday(); day == time.Monday || day == time.Tuesday {
			d.Wind = new(calc.MetrePerSecond(9))
		}
	},
}

// forecast gives the place the week of a sky, issued at six in the morning.
func (p *phone) forecast(sky string) {
	morning := time.Date(p.now.Year(), p.now.Month(), p.now.Day(), 6, 0, 0, 0, p.place.Zone)
	in := calc.ForecastInput{
		Place:  calc.Place{Lat: p.place.Lat, Lon: p.place.Lon, Altitude: p.place.Altitude, Zone: p.place.Zone},
		Issued: morning,
	}
	for i := range 7 {
		d := calc.Day{
			Date: morning.AddDate(0, 0, i), Max: new(calc.Celsius(27)), Min: new(calc.Celsius(15)),
			Wind: new(calc.MetrePerSecond(2.5)), Rain: new(calc.Millimetre(0)),
		}
		skies[sky](&d)
		in.Days = append(in.Days, d)
	}
	f, err := calc.NewForecast(in)
	require.NoError(p.t, err)
	p.place, err = p.place.WithForecast(f, 3)
	require.NoError(p.t, err)
}
