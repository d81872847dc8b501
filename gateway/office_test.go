package gateway_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/calc"
	"cobline/dialog"
	"cobline/gateway"
	"cobline/locales"
)

// bureau is a line with an office, whose officer has the phone of person 1.
type bureau struct {
	*line
	office  *gateway.Office
	notices *gateway.Notices
	waiting *waitings
	account map[string]bool // that may no longer
	log     bytes.Buffer
	pin     string
}

// waitings are those who wait in a test.
type waitings struct {
	questions, calls []gateway.Waiting
	emergencies      int
}

func (w *waitings) Questions(context.Context, []string, int) ([]gateway.Waiting, int, error) {
	return w.questions, len(w.questions), nil
}

func (w *waitings) CallBacks(context.Context, []string, int) ([]gateway.Waiting, int, error) {
	return w.calls, len(w.calls), nil
}

func (w *waitings) Emergencies(context.Context, []string) (int, error) { return w.emergencies, nil }

func newBureau(t *testing.T, more ...func(*gateway.Options)) *bureau {
	b := &bureau{waiting: &waitings{}, account: map[string]bool{}}
	catalog, err := locales.Load()
	require.NoError(t, err)
	engine, err := dialog.New(catalog, dialog.Options{})
	require.NoError(t, err)
	b.line = newLine(t, append(more, func(o *gateway.Options) {
		o.Log = slog.New(slog.NewTextHandler(&b.log, &slog.HandlerOptions{Level: slog.LevelDebug}))
		screens := o.Channels["ussd"]
		screens.Ability.Limit = 160
		o.Channels["ussd"] = screens
	})...)
	b.step = engine.Step
	b.begin()
	b.pin, err = b.office.AddPhone(b.ctx, number(t, 1), "amina", nil, "en", "admin", b.now)
	require.NoError(t, err)
	b.pass(time.Second)
	require.NoError(t, b.office.SetPIN(b.ctx, number(t, 1), "482913", "amina", b.now))
	b.pin = "482913"
	require.Len(t, b.waiting1(), 1, "the phone is told")
	return b
}

// begin wires the office to the service, as the line does when it starts.
func (b *bureau) begin() {
	zone, err := time.LoadLocation("Africa/Nairobi")
	require.NoError(b, err)
	b.service.SetFacts(&dialog.Facts{Home: "home", Places: map[string]dialog.Place{
		"home": {Key: "home", Name: "Kisimani", Zone: zone, Lat: -1.29, Lon: 36.82, Altitude: 1700},
	}})
	b.notices = gateway.NewNotices(b.store, b.service)
	b.office = gateway.NewOffice(b.notices, gateway.OfficeOptions{
		Waiting: b.waiting, Rounds: 1000,
		May: func(_ context.Context, account string) (bool, error) { return !b.account[account], nil },
	})
}

// waiting1 takes what waits for the officer's phone.
func (b *bureau) waiting1() []gateway.Outbound { return b.line.waiting("none") }

// says texts from the officer's phone and returns what comes back.
func (b *bureau) says(text string) string {
	b.pass(time.Second)
	b.receive(b.inbound("none", text))
	return strings.Join(b.out("none"), "\n")
}

// producers are people with a recipe of today.
func (b *bureau) producers(from, to int) { peopleOf(b.line, from, to) }

func peopleOf(l *line, from, to int) {
	for i := from; i < to; i++ {
		in := l.inbound("none", "cobs 1 drum dry")
		in.From = number(l, i)
		in.Sender = in.From.Digits()
		l.receive(in)
	}
	l.waiting("none")
}

// rainy returns a place where it rains from 14:00 on for four days.
func rainy(t require.TestingT, place dialog.Place, now time.Time) dialog.Place {
	f := calc.ForecastInput{Place: calc.Place{Lat: place.Lat, Lon: place.Lon, Altitude: place.Altitude, Zone: place.Zone}, Issued: now.In(place.Zone)}
	for i := range 4 {
		rain := make([]calc.Millimetre, 24)
		rain[14] = 6
		f.Days = append(f.Days, calc.Day{
			Date: now.In(place.Zone).AddDate(0, 0, i), Max: new(calc.Celsius(27)), Min: new(calc.Celsius(15)),
			Wind: new(calc.MetrePerSecond(2.5)), HumidityMean: new(calc.Share(.75)), Sunshine: new(calc.Hours(4)), RainByHour: rain,
		})
	}
	forecast, err := calc.NewForecast(f)
	require.NoError(t, err)
	place, err = place.WithForecast(forecast, 3)
	require.NoError(t, err)
	return place
}

// code asks for a warning of rain and returns the code that came.
func (b *bureau) code() string {
	require.Contains(b, b.says("OFFICE "+b.pin), "What do you need?")
	got := b.says("rain 18:00")
	_, rest, ok := strings.Cut(got, "\nCode ")
	require.True(b, ok, got)
	return rest[:6]
}

func (b *bureau) sent() []gateway.Standing {
	all, err := b.notices.List(b.ctx)
	require.NoError(b, err)
	return all
}

func (b *bureau) phone() gateway.OfficerPhone {
	all, err := b.office.Phones(b.ctx)
	require.NoError(b, err)
	require.Len(b, all, 1)
	return all[0]
}

// did are the records of the audit trail, the newest first.
func (b *bureau) did() (what []string) {
	trail, _, err := gateway.AuditTrail(b.ctx, b.store, "", 1000)
	require.NoError(b, err)
	for _, r := range trail {
		what = append(what, r.What)
	}
	return what
}

// TestOfficerSendsByPhone: a ready warning goes to exactly those it is for, after
// the code that came to the phone; the trail tells who sent it.
func TestOfficerSendsByPhone(t *testing.T) {
	b := newBureau(t)
	b.producers(2, 25)
	require.Contains(t, b.says("office"), "PIN")
	require.Contains(t, b.says(b.pin), "4 send a warning")
	got := b.says("rain 18:00")
	require.Contains(t, got, "Phones: 23, segments: 23")
	require.Contains(t, got, "Rain is likely: Kisimani, Monday 18:00")
	require.Empty(t, b.sent())
	code := strings.SplitAfter(got, "\nCode ")[1][:6]
	require.Contains(t, b.says(code), "It goes out now. Phones: 23.")
	all := b.sent()
	require.Len(t, all, 1)
	n := all[0].Notice
	require.Equal(t, "amina", n.By)
	require.Equal(t, dialog.Notice{
		ID: n.Message.ID, Ready: "rain", Weather: true,
		Hour: time.Date(2026, 3, 2, 15, 0, 0, 0, time.UTC), Expires: time.Date(2026, 3, 2, 15, 0, 0, 0, time.UTC),
	}, n.Message)
	require.Equal(t, gateway.Audience{Places: []string{"home"}}, n.Audience)
	require.Equal(t, gateway.Running, n.Progress)
	preview, err := b.notices.Preview(b.ctx, n, b.now)
	require.NoError(t, err)
	require.Equal(t, 23, preview.Persons)
	require.Equal(t, "notice sent", b.did()[0])
	require.Contains(t, b.did(), "sign-in")
	require.NotContains(t, b.says(code), "It goes out now", "the code is for once")
	require.Len(t, b.sent(), 1)
}

// TestOfficerSendsOnce: the confirming text may come again, and the line may fail
// before or after it is durable: the notice is started once, and the answer is
// the same.
func TestOfficerSendsOnce(t *testing.T) {
	b := newBureau(t)
	b.producers(2, 5)
	code := b.code()
	b.pass(time.Second)
	in := b.inbound("all", code)

	broken := errors.New("the disk is gone")
	b.store.before = func(gateway.Change) error { return broken }
	_, err := b.service.Receive(b.ctx, in)
	require.ErrorIs(t, err, broken)
	require.Empty(t, b.sent(), "nothing was durable")
	b.store.before = nil
	b.store.after = broken // the answer never came
	_, err = b.service.Receive(b.ctx, in)
	require.ErrorIs(t, err, broken)
	b.store.after = nil
	require.Len(t, b.sent(), 1)

	b.restart()
	b.begin()
	for range 3 {
		shown := b.receive(in)
		require.True(t, shown.Again)
		require.Equal(t, []string{"It goes out now. Phones: 3. That closes it."}, shown.Texts)
	}
	require.Len(t, b.sent(), 1)
	require.Equal(t, 1, strings.Count(strings.Join(b.did(), "\n"), "notice sent"))

	again := b.inbound("all", code) // under another id
	require.NotContains(t, b.receive(again).Texts, "It goes out now. Phones: 3. That closes it.")
	require.Len(t, b.sent(), 1)
}

// TestOfficerReachesTooMany: 500 phones may be reached by phone, and not one
// more; the number is told.
func TestOfficerReachesTooMany(t *testing.T) {
	b := newBureau(t)
	b.producers(2, 502)
	code := b.code()
	b.producers(502, 503) // meanwhile one more has a recipe
	require.Contains(t, b.says(code), "501 phones, and a phone may send to 500")
	require.Empty(t, b.sent())
	require.Contains(t, b.says("office "+b.pin), "What do you need?")
	require.Contains(t, b.says("rain 18:00"), "501 phones, and a phone may send to 500. Send it on the console.")
	require.Empty(t, b.sent())
}

// TestFiveWrongPINs: the fifth locks the phone, whatever lies between them, until
// an administrator opens it. Then the word means nothing.
func TestFiveWrongPINs(t *testing.T) {
	b := newBureau(t)
	other := func(text string) string { // an ordinary number in the same state
		in := b.inbound("all", text)
		in.From = number(t, 99)
		return strings.Join(b.receive(in).Texts, "\n")
	}
	b.says("menu")
	other("menu")
	for i := range 4 {
		require.Contains(t, b.says("office"), "PIN")
		in := b.inbound("none", fmt.Sprint(111112+i))
		for range 3 { // brought again, it counts once
			b.receive(in)
		}
		require.Equal(t, []string{"Wrong PIN. Text it again, or MENU."}, b.out("none"))
		require.Equal(t, i+1, b.phone().Wrong)
		b.pass(time.Hour)
		b.restart()
		b.begin()
	}
	b.says("office")
	require.Contains(t, b.says("my pin 111117"), "locked")
	require.False(t, b.phone().Locked.IsZero())
	require.Equal(t, "phone locked", b.did()[0])
	b.says("menu")
	require.Equal(t, other("office"), b.says("office"))
	b.says(b.pin)
	b.says("menu")
	require.NotContains(t, b.says("office "+b.pin), "What do you need?")

	require.NoError(t, b.office.UnlockPhone(b.ctx, number(t, 1), "admin", b.now))
	require.Contains(t, b.says("office "+b.pin), "What do you need?")

	for range 4 {
		b.says("office 111112")
	}
	require.Contains(t, b.says("office "+b.pin), "What do you need?")
	require.Zero(t, b.phone().Wrong, "a right one ends the row")
	b.says("FORGET ME")
	b.says("yes")
	phones, err := b.office.Phones(b.ctx)
	require.NoError(t, err)
	require.Empty(t, phones, "who is forgotten is no officer, and begins no new row of PINs")
}

// TestC27OfficerPhoneExpires: unless it is renewed, and when its account may do
// nothing any more.
func TestC27OfficerPhoneExpires(t *testing.T) {
	b := newBureau(t)
	require.Equal(t, start.Add(180*24*time.Hour), b.phone().Expires)
	b.pass(179 * 24 * time.Hour)
	require.NoError(t, b.office.RenewPhone(b.ctx, number(t, 1), "admin", b.now))
	b.pass(179 * 24 * time.Hour)
	b.says("menu")
	require.Contains(t, b.says("office "+b.pin), "What do you need?")
	b.account["amina"] = true
	require.NotContains(t, b.says("office "+b.pin), "What do you need?")
	b.account["amina"] = false
	require.Contains(t, b.says("office "+b.pin), "What do you need?")
	b.pass(24 * time.Hour)
	require.NotContains(t, b.says("office "+b.pin), "What do you need?")
}

// TestPhonesOfTheOffice: what the console does with them, each in the trail.
func TestPhonesOfTheOffice(t *testing.T) {
	b := newBureau(t)
	n := number(t, 1)
	_, err := b.office.AddPhone(b.ctx, n, "otieno", nil, "", "admin", b.now)
	require.ErrorContains(t, err, "the phone of amina already")
	_, err = b.office.AddPhone(b.ctx, number(t, 7), "", nil, "", "admin", b.now)
	require.ErrorContains(t, err, "Name the account")
	require.ErrorIs(t, b.office.SetPIN(b.ctx, n, "123456", "amina", b.now), gateway.ErrWeakPIN)
	require.ErrorIs(t, b.office.RenewPhone(b.ctx, number(t, 7), "admin", b.now), gateway.ErrNotFound)
	b.pass(time.Second)
	pin, err := b.office.NewPIN(b.ctx, n, "admin", b.now)
	require.NoError(t, err)
	require.True(t, b.phone().Given)
	require.Contains(t, b.says("office "+pin), "Choose your own")
	require.Contains(t, b.says(pin), "Too easy", "the one that was given out is not one's own")
	require.Contains(t, b.says("940275"), "What do you need?")
	require.False(t, b.phone().Given)
	require.Contains(t, b.says("office 940275"), "What do you need?")
	b.pass(time.Second)
	require.NoError(t, b.office.SetPhone(b.ctx, n, []string{"home"}, false, "admin", b.now))
	require.Empty(t, b.load(1).State.Timers, "no list of the morning")
	b.pass(time.Second)
	require.NoError(t, b.office.DropPhone(b.ctx, n, "admin", b.now))
	require.NotContains(t, b.says("office 940275"), "What do you need?")
	require.Equal(t, []string{"phone dropped", "phone changed", "sign-in", "PIN changed", "sign-in", "PIN changed", "PIN changed", "phone added"}, b.did())
	require.Empty(t, b.out("none"))
}

// TestListOfTheMorning: at seven o'clock of the officer's place, over a restart,
// once a day.
func TestListOfTheMorning(t *testing.T) {
	b := newBureau(t)
	b.waiting.questions = []gateway.Waiting{{At: b.now, Number: number(t, 2), Text: "na unga?"}}
	b.waiting.calls = []gateway.Waiting{{At: b.now, Number: number(t, 2)}, {At: b.now, Number: number(t, 3)}}
	b.waiting.emergencies = 1
	in := b.inbound("none", "LIT")
	in.From = number(t, 2)
	b.receive(in)
	b.line.waiting("none")
	b.restart()
	b.begin()
	b.now = time.Date(2026, 3, 3, 3, 59, 59, 0, time.UTC)
	for _, a := range b.due() {
		require.NotEqual(t, number(t, 1), a.Number)
	}
	b.now = b.now.Add(time.Second) // 07:00 in Nairobi
	var mine []gateway.Alarm
	for _, a := range b.due() {
		if a.Number == number(t, 1) {
			mine = append(mine, a)
		}
	}
	require.Len(t, mine, 1)
	for range 3 {
		require.NoError(t, b.service.Ring(b.ctx, mine[0], b.now))
	}
	require.Equal(t, []string{
		"Today: 1 emergency that nobody has seen, 1 question, 2 calls to make, 1 with a hot drum. There is no fresh forecast. Text OFFICE to read.",
	}, b.out("none"))
	require.Equal(t, b.now.Add(24*time.Hour), b.load(1).State.Timers[0].At.UTC())
}

// TestOfficersListsStayApart: other people's words and numbers, and the code, go
// to the phone as messages of their own, never in the answer to a request, which
// anybody could have made who knows the number; the journal keeps dots. That the
// numbers were looked at is recorded.
func TestOfficersListsStayApart(t *testing.T) {
	b := newBureau(t)
	b.producers(2, 4)
	b.waiting.questions = []gateway.Waiting{{At: b.now, Number: number(t, 2), Text: "na unga wa mahindi?"}}
	b.waiting.calls = []gateway.Waiting{{At: b.now, Number: number(t, 3)}}
	for _, row := range []struct{ text, apart string }{
		{"2", "na unga wa mahindi?"}, {"3", "+" + number(t, 3).Digits()}, {"rain 18:00", "\x00"},
	} {
		b.receive(b.inbound("all", "office "+b.pin))
		shown := b.receive(b.inbound("all", row.text))
		out := b.line.waiting("all")
		require.Len(t, out, 1, row.text)
		apart := row.apart
		if apart == "\x00" {
			apart = strings.TrimPrefix(out[0].Text, "Code ")[:6]
			require.Contains(t, shown.Texts[0], "Phones: 2,")
		}
		require.Contains(t, out[0].Text, apart)
		require.NotContains(t, strings.Join(shown.Texts, "\n"), apart)
		for _, e := range b.entries() {
			for _, r := range e.Replies {
				require.NotContains(t, r.Text, apart)
			}
		}
	}
	require.Contains(t, b.did(), "number shown")
}

// TestPINIsNeverWritten: after sessions with right, wrong, mistyped and glued
// PINs, by text and on screens, of gateways with ids and without, in one part and
// in several, nothing on the disk holds one, and no log.
func TestPINIsNeverWritten(t *testing.T) {
	b := newBureau(t)
	require.NoError(t, b.office.SetPIN(b.ctx, number(t, 1), "770412", "amina", b.now))
	b.pin = "770412"
	secrets := []string{"770412", "771593", "77 04 12", "77041", "770-412", "604918"}
	texts := []string{
		"office", "770412", "menu", "office 770412", "menu", "office", "my pin is 771593", "77 04 12", "77041", "office", "pin770412", "menu",
		"770412", "770412 cobs", "Asha: 770412", "office770412", "770-412", "menu", "ask", "is it 770412", "office", "770412?", "qwerty 770412",
	}
	for _, channel := range []string{"none", "all", "bare"} {
		for _, text := range texts {
			b.pass(7 * time.Second)
			in := b.inbound(channel, text)
			if channel == "bare" {
				in.ID, in.Provider = gateway.MessageID{}, ""
				require.Equal(t, b.receive(in).Texts, b.receive(in).Texts, "brought again, it is known")
			}
			b.receive(in)
			require.NoError(t, b.office.UnlockPhone(b.ctx, number(t, 1), "admin", b.now))
		}
	}
	// On screens, of a gateway that repeats all that was keyed.
	c := &caller{line: b.line, dialect: "cumulative"}
	for i, pin := range []string{"771593", "770412"} {
		c.call(fmt.Sprint("s", i))
		for _, key := range []string{"office", pin, "1", "0"} {
			b.pass(3 * time.Second)
			c.press(key)
		}
	}
	// In parts: one that answers the question for a PIN is not held for the rest.
	b.receive(b.inbound("none", "menu"))
	b.receive(b.inbound("none", "office"))
	part := b.inbound("none", "")
	part.Part = &gateway.Part{Ref: 5, Width: 8, Total: 2, Seq: 1, Octets: []byte("my pin is 770412 and I write it in a long text")}
	b.receive(part)
	require.Contains(t, strings.Join(b.out("none"), "\n"), "What do you need?")
	// The new one, of one that was given out.
	given, err := b.office.NewPIN(b.ctx, number(t, 1), "admin", b.now)
	require.NoError(t, err)
	b.receive(b.inbound("none", "office "+given))
	b.receive(b.inbound("none", "604918"))
	require.Contains(t, strings.Join(b.out("none"), "\n"), "What do you need?")
	secrets = append(secrets, given)

	marked := 0
	for _, e := range b.entries() {
		if e.Heard != nil && e.Heard.Secret {
			marked++
			require.Equal(t, "...", e.Text)
		}
	}
	require.Greater(t, marked, 40)
	require.NoError(t, b.store.Close())
	read := 0
	require.NoError(t, filepath.WalkDir(filepath.Dir(b.path), func(path string, d fs.DirEntry, err error) error {
		require.NoError(t, err)
		if d.IsDir() {
			return nil
		}
		data, err := os.ReadFile(path)
		require.NoError(t, err)
		read += len(data)
		for _, secret := range secrets {
			require.False(t, bytes.Contains(data, []byte(secret)), "%s holds %s", path, secret)
		}
		return nil
	}))
	require.Greater(t, read, 10_000)
	for _, secret := range secrets {
		require.NotContains(t, b.log.String(), secret)
	}
	b.line.open() // for the end of the test
}

// TestPINOnScreens: the way of a dialled session, screen by screen.
func TestPINOnScreens(t *testing.T) {
	b := newBureau(t)
	b.producers(2, 5)
	b.waiting.questions = []gateway.Waiting{{At: b.now, Number: number(t, 2), Text: "na unga wa mahindi?"}}
	callersOf(b.line, func(c *caller) {
		c.call("s" + c.dialect)
		b.pass(time.Second)
		require.Contains(t, c.press("office"), "PIN")
		b.pass(time.Second)
		require.Contains(t, c.press("111112"), "Wrong PIN")
		b.pass(time.Second)
		require.Contains(t, c.press(b.pin), "1 outlook of a place")
		b.pass(time.Second)
		require.NotContains(t, c.press("2"), "mahindi")
		require.Contains(t, strings.Join(b.out("none"), "\n"), "mahindi")
		b.pass(time.Second)
		require.Contains(t, c.press("rain 18:00"), "Phones: 3,")
		code := strings.TrimPrefix(strings.Join(b.out("none"), "\n"), "Code ")[:6]
		require.Contains(t, b.says(code), "It goes out now. Phones: 3.")
	})
	require.Len(t, b.sent(), 3)
}

// callersOf runs a test in each dialect of sessions on one line.
func callersOf(l *line, test func(c *caller)) {
	for _, dialect := range []string{"cumulative", "step", "latest"} {
		test(&caller{line: l, dialect: dialect})
	}
}

// TestOutlookByPhone: the coming days of a place, and what is under way there.
func TestOutlookByPhone(t *testing.T) {
	b := newBureau(t)
	b.now = time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)
	facts := *b.service.Facts()
	place := rainy(t, facts.Places["home"], b.now)
	facts.Places = map[string]dialog.Place{"home": place}
	b.service.SetFacts(&facts)
	in := b.inbound("none", "LIT")
	in.From = number(t, 2)
	b.receive(in)
	b.line.waiting("none")
	b.says("office " + b.pin)
	require.Contains(t, b.says("outlook"), "Kisimani: Monday to Thursday rain from 14:00. 0 with briquettes drying, 1 with a hot drum.")
	require.Contains(t, b.says("warning"), "rain")
	require.Contains(t, b.says("rain"), "1 Monday 14:00")
}
