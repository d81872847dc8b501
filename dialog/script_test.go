package dialog_test

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"path/filepath"
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
//	lang sw                  the person speaks Swahili (before the first text)
//	sends no                 the channel cannot start a message by itself
//	price 10 shillings       what a text costs
//	duty 2                   duty phones of the place
//	number 0800 000 000      the place's emergency number
//	forecast fair            a week of weather: fair, rain or wind
//	currency KSh             of the place
//	now 2026-03-02 09:00     the clock, at the place; timers due on the way ring
//	now +20m                 or +9d
//	> a text from the phone
//	> 09:05 a text that was sent at that time of the day
//	< a reply                further lines are indented by two spaces
//	! a timed message
//	* an effect              what the world is asked to do
func TestConversations(t *testing.T) {
	files, err := filepath.Glob("../testdata/conversations/*/*.txtar")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, file := range files {
		t.Run(strings.TrimSuffix(strings.TrimPrefix(file, "../testdata/conversations/"), ".txtar"), func(t *testing.T) {
			raw, err := os.ReadFile(file)
			require.NoError(t, err)
			archive := txtar.Parse(raw)
			got := play(t, string(archive.Comment))
			if *update {
				archive.Comment = []byte(got)
				require.NoError(t, os.WriteFile(file, txtar.Format(archive), 0o644))
				return
			}
			require.Equal(t, string(archive.Comment), got)
		})
	}
}

// place is an invented place in the equatorial highlands.
func place(t testing.TB) dialog.Place {
	zone, err := time.LoadLocation("Africa/Nairobi")
	require.NoError(t, err)
	return dialog.Place{Key: "home", Name: "Kisimani", Zone: zone, Lat: -1.29, Lon: 36.82, Altitude: 1700}
}

var theEngine = sync.OnceValues(func() (*dialog.Engine, error) {
	catalog, err := locales.Load()
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
	channel dialog.Ability
}

func newPhone(t testing.TB) *phone {
	p := place(t)
	return &phone{t: t, e: engine(t), place: p, now: time.Date(2026, 3, 2, 9, 0, 0, 0, p.Zone), channel: dialog.Ability{Sends: true}}
}

func (p *phone) world() dialog.World {
	return dialog.World{Now: p.now, Channel: p.channel, Facts: &dialog.Facts{Home: p.place.Key, Places: map[string]dialog.Place{p.place.Key: p.place}}}
}

func (p *phone) step(ev dialog.Event) dialog.Turn {
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

// play plays a script and returns it with the replies the line gives now.
func play(t testing.TB, script string) string {
	p := newPhone(t)
	var out bytes.Buffer
	for line := range strings.Lines(script) {
		line = strings.TrimRight(line, "\n")
		word, rest, _ := strings.Cut(line, " ")
		switch word {
		case "<", "!", "*":
			continue
		case ">":
			fmt.Fprintln(&out, line)
			write(&out, "<", p.step(said(t, p, rest)))
			continue
		case "lang":
			p.state.Lang, p.state.Chosen, p.state.Met = locales.Lang(rest), true, true
		case "sends":
			p.channel.Sends = rest != "no"
		case "price":
			p.channel.Price = rest
		case "duty":
			_, err := fmt.Sscan(rest, &p.place.Duty)
			require.NoError(t, err)
		case "forecast":
			p.forecast(rest)
		case "currency":
			p.place.Currency = rest
		case "number":
			p.place.Emergency = rest
		case "now":
			fmt.Fprintln(&out, line)
			p.until(moment(t, p, rest), func(turn dialog.Turn) { write(&out, "!", turn) })
			continue
		default:
			if strings.HasPrefix(line, "  ") {
				continue
			}
			require.True(t, line == "" || strings.HasPrefix(line, "#"), "a line no script knows: %q", line)
		}
		fmt.Fprintln(&out, line)
	}
	return out.String()
}

// said reads a text with the time it was sent, if it begins with one.
func said(t testing.TB, p *phone, text string) dialog.Said {
	ev := dialog.Said{Text: text, Via: dialog.SMS}
	if at, rest, ok := strings.Cut(text, " "); ok && len(at) == 5 && at[2] == ':' {
		clock, err := time.Parse("15:04", at)
		require.NoError(t, err)
		y, m, d := p.now.Date()
		ev.Text, ev.SentAt = rest, time.Date(y, m, d, clock.Hour(), clock.Minute(), 0, 0, p.place.Zone)
	}
	return ev
}

// moment reads the argument of now.
func moment(t testing.TB, p *phone, s string) time.Time {
	if rest, ok := strings.CutPrefix(s, "+"); ok {
		if days, err := strconv.Atoi(strings.TrimSuffix(rest, "d")); err == nil && strings.HasSuffix(rest, "d") {
			return p.now.AddDate(0, 0, days)
		}
		d, err := time.ParseDuration(rest)
		require.NoError(t, err)
		return p.now.Add(d)
	}
	at, err := time.ParseInLocation("2006-01-02 15:04", s, p.place.Zone)
	require.NoError(t, err)
	return at
}

// write writes the replies and effects of a turn as a script shows them.
func write(out *bytes.Buffer, mark string, turn dialog.Turn) {
	for _, r := range turn.Replies {
		text := r.Plain()
		parts := sms.Split(text)
		fmt.Fprintf(out, "%s %s [%d seg]\n", mark, strings.ReplaceAll(text, "\n", "\n  "), len(parts.Segments))
	}
	for _, f := range turn.Effects {
		fmt.Fprintf(out, "* %s\n", strings.TrimPrefix(fmt.Sprintf("%T", f), "dialog."))
	}
}

// skies are the invented weeks a script can ask for: fair, or with rain every
// day from noon, or fair but so windy that nobody should light.
var skies = map[string]func(*calc.Day){
	"fair": func(d *calc.Day) { d.HumidityMean, d.Sunshine = new(calc.Share(.5)), new(calc.Hours(8)) },
	"rain": func(d *calc.Day) {
		d.HumidityMean, d.Sunshine, d.RainByHour = new(calc.Share(.75)), new(calc.Hours(4)), make([]calc.Millimetre, 24)
		d.RainByHour[14] = 6
	},
	"wind": func(d *calc.Day) {
		d.HumidityMean, d.Sunshine, d.Wind = new(calc.Share(.3)), new(calc.Hours(9)), new(calc.MetrePerSecond(9))
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
