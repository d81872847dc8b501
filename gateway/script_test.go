package gateway_test

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/tools/txtar"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/locales"
)

var update = flag.Bool("update", false, "rewrite the screens in testdata/conversations")

// TestDialledConversations plays the conversations under testdata/conversations
// that are sessions of screens, as a gateway would bring them, and compares what
// the phone shows. Lines of such a script:
//
//	# a remark
//	speaks en pt             the languages switched on, if not English, French and Swahili
//	screen 160               how many septets one screen holds
//	now 2026-03-02 09:00     the clock, at the place; alarms due on the way ring
//	now +20m                 or +9d
//	dial                     the person dials: a session begins
//	> 1                      what is keyed
//	hangs up                 the session breaks off
//	sms a text               a text message instead of a key
//	office 482913            the phone becomes an officer's, with this PIN
//	forecast rain            it rains from 14:00 on the coming days
//	asks a text, waits       somebody asks the officers; somebody waits for a call
//	people 3                 so many have asked for a recipe today
//	= a screen               further lines are indented by two spaces
//	< a text message that comes beside the screen
//	! a text message that nobody asked for just now
func TestDialledConversations(t *testing.T) {
	files, err := filepath.Glob("../testdata/conversations/*/*.txtar")
	require.NoError(t, err)
	played := 0
	for _, file := range files {
		raw, err := os.ReadFile(file)
		require.NoError(t, err)
		archive := txtar.Parse(raw)
		if !regexp.MustCompile(`(?m)^dial$`).Match(archive.Comment) {
			continue
		}
		played++
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txtar"), func(t *testing.T) {
			got := newDialler(t).plays(string(archive.Comment))
			if *update {
				archive.Comment = []byte(got)
				require.NoError(t, os.WriteFile(file, txtar.Format(archive), 0o644))
				return
			}
			require.Equal(t, string(archive.Comment), got)
		})
	}
	require.GreaterOrEqual(t, played, 4)
}

// dialler is a phone that dials the line, and the line itself. Of an officer's
// phone the office is there too.
type dialler struct {
	*line
	out      bytes.Buffer
	zone     *time.Location
	sessions int
	limit    int
	waiting  *waitings
	code     string // that confirms a warning; scripts write theCode
}

// theCode stands in scripts for the code that is drawn.
const theCode = "550017"

var codeSent = regexp.MustCompile(`\b[0-9]{6}\b`)

func newDialler(t *testing.T) *dialler {
	zone, err := time.LoadLocation("Africa/Nairobi")
	require.NoError(t, err)
	catalog, err := locales.Load()
	require.NoError(t, err)
	engine, err := dialog.New(catalog, dialog.Options{})
	require.NoError(t, err)
	d := &dialler{zone: zone, limit: 160, waiting: &waitings{}}
	d.line = newLine(t, func(o *gateway.Options) {
		o.Main = "none"
		o.Channels["screens"] = gateway.Channel{Ability: dialog.Ability{Limit: 160}, Keys: pageKeys}
		o.Channels["small"] = gateway.Channel{Ability: dialog.Ability{Limit: 100}, Keys: pageKeys}
	})
	d.step = engine.Step
	d.speaks("en fr sw")
	return d
}

// speaks switches languages on.
func (d *dialler) speaks(langs string) {
	facts := &dialog.Facts{Home: "home", Places: map[string]dialog.Place{
		"home": {Key: "home", Name: "Kisimani", Zone: d.zone, Lat: -1.29, Lon: 36.82, Altitude: 1700},
	}}
	for _, l := range strings.Fields(langs) {
		facts.Langs = append(facts.Langs, locales.Lang(l))
	}
	d.service.SetFacts(facts)
}

// plays plays a script and returns it with what the phone shows now.
func (d *dialler) plays(script string) string {
	for line := range strings.Lines(script) {
		line = strings.TrimRight(line, "\n")
		word, rest, _ := strings.Cut(line, " ")
		if word == "=" || word == "<" || word == "!" || strings.HasPrefix(line, "  ") {
			continue
		}
		fmt.Fprintln(&d.out, line)
		switch {
		case line == "" || word == "#" || line == "hangs up":
		case word == "speaks":
			d.speaks(rest)
		case word == "screen":
			limit, err := strconv.Atoi(rest)
			require.NoError(d, err)
			d.limit = limit
		case word == "now":
			d.until(rest)
		case line == "dial":
			d.sessions++
			d.press("")
		case word == ">":
			d.press(rest)
		case word == "sms":
			d.texts("<", d.receive(d.inbound("all", d.meant(rest))).Texts)
			d.texts("<", d.line.out("none"))
			d.pass(2 * time.Second)
		case word == "office":
			d.office(rest)
		case line == "forecast rain":
			d.rains()
		case word == "asks":
			d.waiting.questions = append(d.waiting.questions, gateway.Waiting{At: d.now, Number: number(d, 2), Text: rest})
		case line == "waits":
			d.waiting.calls = append(d.waiting.calls, gateway.Waiting{At: d.now, Number: number(d, 3)})
		case word == "people":
			n, err := strconv.Atoi(rest)
			require.NoError(d, err)
			peopleOf(d.line, 10, 10+n)
		default:
			require.Fail(d, "a line no script knows", line)
		}
	}
	return d.out.String()
}

// meant returns a text with the code that was drawn for the one of the script.
func (d *dialler) meant(text string) string {
	if d.code == "" {
		return text
	}
	return strings.ReplaceAll(text, theCode, d.code)
}

// office makes the phone an officer's.
func (d *dialler) office(pin string) {
	office := gateway.NewOffice(gateway.NewNotices(d.store, d.service), gateway.OfficeOptions{
		Waiting: d.waiting, Rounds: 1000,
		May: func(context.Context, string) (bool, error) { return true, nil },
	})
	_, err := office.AddPhone(d.ctx, number(d, 1), "amina", nil, "en", "admin", d.now)
	require.NoError(d, err)
	d.pass(time.Second)
	require.NoError(d, office.SetPIN(d.ctx, number(d, 1), pin, "amina", d.now))
	d.texts("!", d.line.out("none"))
}

// rains lets rain come to the place at 14:00 of the coming days.
func (d *dialler) rains() {
	facts := *d.service.Facts()
	facts.Places = map[string]dialog.Place{"home": rainy(d, facts.Places["home"], d.now)}
	d.service.SetFacts(&facts)
}

// press keys something in the session and writes the screen and what comes by
// text message beside it.
func (d *dialler) press(text string) {
	channel := map[int]string{160: "screens", 100: "small"}[d.limit]
	require.NotEmpty(d, channel, "no channel has screens of %d", d.limit)
	in := d.inbound(channel, d.meant(text))
	in.Via, in.Session = dialog.USSD, fmt.Sprint("s", d.sessions)
	shown := d.receive(in)
	d.texts("=", []string{shown.Screen.Text()})
	d.texts("<", d.line.out("none"))
	d.pass(2 * time.Second)
}

// until moves the clock, ringing the alarms that come due on the way.
func (d *dialler) until(moment string) {
	at := d.now
	switch days, isDays := strings.CutSuffix(moment, "d"); {
	case isDays:
		n, err := strconv.Atoi(strings.TrimPrefix(days, "+"))
		require.NoError(d, err)
		at = at.AddDate(0, 0, n)
	case strings.HasPrefix(moment, "+"):
		span, err := time.ParseDuration(moment[1:])
		require.NoError(d, err)
		at = at.Add(span)
	default:
		var err error
		at, err = time.ParseInLocation("2006-01-02 15:04", moment, d.zone)
		require.NoError(d, err)
	}
	for {
		due, err := d.store.DueAlarms(d.ctx, at, 1)
		require.NoError(d, err)
		if len(due) == 0 {
			break
		}
		if due[0].Due.After(d.now) {
			d.now = due[0].Due
		}
		require.NoError(d, d.service.Ring(d.ctx, due[0], d.now))
		d.texts("!", d.line.out("none"))
	}
	d.now = at
}

// texts writes what a phone shows, each with its mark.
func (d *dialler) texts(mark string, texts []string) {
	for _, text := range texts {
		if code := codeSent.FindString(text); code != "" {
			d.code = code
			text = codeSent.ReplaceAllString(text, theCode)
		}
		fmt.Fprintf(&d.out, "%s %s\n", mark, strings.ReplaceAll(text, "\n", "\n  "))
	}
}
