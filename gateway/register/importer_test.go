package register

import (
	"context"
	"fmt"
	"log/slog"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/boltstore"
	"cobline/locales"
)

// line is a line with an importer.
type line struct {
	*testing.T
	ctx     context.Context
	store   *boltstore.Store
	service *gateway.Service
	serial  int
}

func newLine(t *testing.T) *line {
	st, err := boltstore.Open(filepath.Join(t.TempDir(), "store"), boltstore.Options{NoSync: true})
	require.NoError(t, err)
	catalog, err := locales.Load()
	require.NoError(t, err)
	engine, err := dialog.New(catalog, dialog.Options{})
	require.NoError(t, err)
	l := &line{T: t, ctx: t.Context(), store: st}
	l.service = gateway.NewService(engine, st, gateway.Options{
		Main: "sms", Channels: map[string]gateway.Channel{"sms": {Ability: dialog.Ability{Sends: true}}},
	})
	l.service.SetFacts(&dialog.Facts{Home: "home", Places: words.Places})
	return l
}

func number(t testing.TB, digits string) gateway.Number {
	n, err := gateway.NumberOf(digits)
	require.NoError(t, err)
	return n
}

func (l *line) says(digits, text string) {
	l.serial++
	_, err := l.service.Receive(l.ctx, gateway.Inbound{
		ID: gateway.NewMessageID("sms", digits, fmt.Sprint(l.serial)), Channel: "sms", Sender: digits, From: number(l, digits), Via: dialog.SMS, Text: text, At: time.Now(),
	})
	require.NoError(l, err)
}

func (l *line) knows(digits string) gateway.Conversation {
	c, err := l.store.Load(l.ctx, number(l, digits))
	require.NoError(l, err)
	return c
}

// greeted returns how many first messages wait to be sent.
func (l *line) greeted() (n int) {
	out, err := l.store.Outgoing(l.ctx)
	require.NoError(l, err)
	for _, m := range out {
		if m.Key == "enrol.hello" {
			n++
		}
	}
	return n
}

func read(t *testing.T, file string) List {
	list, err := Read([]byte(file), words)
	require.NoError(t, err)
	return list
}

// run runs an importer until it has nothing to do, and ends it.
func run(t *testing.T, im *Importer) {
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- im.Run(ctx, time.Now) }()
	time.Sleep(2 * lookPause)
	synctest.Wait()
	cancel()
	require.NoError(t, <-ended)
}

// failing is a service that fails from some enrolment on.
type failing struct {
	*gateway.Service
	after int
	end   func()
}

func (f *failing) Enrol(ctx context.Context, n gateway.Number, p dialog.Profile, by string, now time.Time) (gateway.Enrolment, error) {
	if f.after--; f.after < 0 {
		f.end()
		return 0, context.Canceled
	}
	return f.Service.Enrol(ctx, n, p, by, now)
}

// TestC27AThousandProducers: of a thousand rows seven are bad, each in its own
// way, and told of before anything is written. The others are entered in the
// background, each once, although the line ends in the middle, and each is told
// who writes and why.
func TestC27AThousandProducers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := newLine(t)
		defer func() { require.NoError(t, l.store.Close()) }()
		for _, text := range []string{"hello", "STOP"} {
			l.says("254712000990", text)
		}
		for _, text := range []string{"hello", "STOP", "FORGET ME", "yes"} {
			l.says("254712000991", text)
		}
		l.says("254712000992", "hello")
		require.Zero(t, l.knows("254712000991").Rev)

		rows := []string{"phone;place;group;language;consent"}
		for i := range 1000 {
			rows = append(rows, fmt.Sprintf("0712%06d;Lakeside;Group %d;sw;paper", i, i%20))
		}
		for line, row := range map[int]string{
			18: "0712x;Lakeside;;sw;paper", 101: "0712000001;Lakeside;;sw;paper", 201: "0712000199;Riverside;;sw;paper",
			301: "0712000299;Lakeside;;xx;paper", 401: "0712000399;Lakeside;;sw;",
		} {
			rows[line-1] = row
		}
		list := read(t, strings.Join(rows, "\n"))
		im := NewImporter(l.store, l.service, slog.New(slog.DiscardHandler))
		i, err := im.Add(l.ctx, list, "anna", "producers.csv", time.Now())
		require.NoError(t, err)
		faults, err := im.Faults(l.ctx, i.ID)
		require.NoError(t, err)
		var told []string
		for _, f := range faults {
			told = append(told, fmt.Sprintf("%d %s: %s", f.Line, f.Column, f.Why))
		}
		require.Equal(t, []string{
			"18 phone: this is not a phone number; write it with its country code, such as +254700000001",
			"101 phone: the same number stands on line 3",
			`201 place: there is no place "Riverside"; there are Home, Lakeside`,
			`301 language: there is no language "xx"; there are en (English), sw (Kiswahili)`,
			"401 consent: how consent was given is missing; write for example: paper, meeting or by phone",
			"992 phone: this number has opted out; only its owner can change that, by the text START",
			"993 phone: this number has opted out; only its owner can change that, by the text START",
		}, told)
		require.Equal(t, []int{7, 993, 1}, []int{i.Faulty, i.Rows, i.Known})
		one, err := l.service.Greeting(gateway.Conversation{Number: number(t, "254712000500")}, list.Rows[0].Profile, time.Now())
		require.NoError(t, err)
		require.Equal(t, 992*one.Segments, i.Segments)
		require.Positive(t, one.Segments)
		run(t, im)
		require.Zero(t, l.greeted(), "nothing is written before somebody says yes")

		// The line ends in the middle, after rows that are not marked yet.
		ctx, crash := context.WithCancel(l.ctx)
		im = NewImporter(l.store, &failing{l.service, 510, crash}, slog.New(slog.DiscardHandler))
		_, err = im.Start(l.ctx, i.ID, false)
		require.NoError(t, err)
		require.NoError(t, im.Run(ctx, time.Now))
		half, err := im.Get(l.ctx, i.ID)
		require.NoError(t, err)
		require.Equal(t, 500, half.Next)
		require.Equal(t, 510, l.greeted())

		im = NewImporter(l.store, l.service, slog.New(slog.DiscardHandler))
		run(t, im)
		done, err := im.Get(l.ctx, i.ID)
		require.NoError(t, err)
		require.Equal(t, Done, done.Stage)
		require.Equal(t, []int{992, 0, 1, 0}, []int{done.Entered, done.Renewed, done.Left, done.Missed})
		require.Equal(t, 992, l.greeted(), "each once")
		p := l.knows("254712000007")
		require.Equal(t, dialog.Profile{Lang: "sw", Place: "lakeside", Group: "Group 7", Consent: "paper"}, p.State.Profile)
		require.Empty(t, l.knows("254712000992").State.Profile.Group, "known before, and left as they were")
		var kept []Row
		_, err = l.store.Get(l.ctx, rowsKind, i.ID, &kept)
		require.ErrorIs(t, err, gateway.ErrNotFound, "the numbers are kept no longer than they are needed")
		_, err = im.Start(l.ctx, i.ID, false)
		require.ErrorIs(t, err, ErrStage)
	})
}

// What an officer enters of a known person changes what they filled in, and not
// how the person agreed; nothing changes of who says no in between.
func TestRenew(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := newLine(t)
		defer func() { require.NoError(t, l.store.Close()) }()
		for _, n := range []string{"254712000001", "254712000002", "254712000004"} {
			l.says(n, "hello")
		}
		list := read(t, "phone,place,group,consent\n0712000001,lakeside,,paper\n0712000002,lakeside,,paper\n0712000003,lakeside,,paper\n0712000004,lakeside,,paper\n")
		im := NewImporter(l.store, l.service, slog.New(slog.DiscardHandler))
		i, err := im.Add(l.ctx, list, "anna", "", time.Now())
		require.NoError(t, err)
		require.Equal(t, 3, i.Known)
		l.says("254712000002", "STOP")
		require.NoError(t, l.service.Forget(l.ctx, number(t, "254712000004"), time.Now()))
		_, err = im.Start(l.ctx, i.ID, true)
		require.NoError(t, err)
		run(t, im)
		i, err = im.Get(l.ctx, i.ID)
		require.NoError(t, err)
		require.Equal(t, []int{1, 1, 0, 2}, []int{i.Entered, i.Renewed, i.Left, i.Missed})
		require.Equal(t, []Fault{
			{3, "phone", "this number has opted out; only its owner can change that, by the text START"},
			{5, "phone", "this person asked to be forgotten since the list was checked"},
		}, i.Failed)
		require.Zero(t, l.knows("254712000004").Rev)
		require.Equal(t, "lakeside", l.knows("254712000001").State.Place)
		require.Empty(t, l.knows("254712000002").State.Place)
		require.Equal(t, 1, l.greeted(), "who wrote before is not greeted")

		again, err := im.Add(l.ctx, read(t, "phone,group,consent\n0712000001,Upper,meeting\n"), "anna", "", time.Now())
		require.NoError(t, err)
		_, err = im.Start(l.ctx, again.ID, true)
		require.NoError(t, err)
		run(t, im)
		require.Equal(t, dialog.Profile{Place: "lakeside", Group: "Upper", Consent: "paper"}, l.knows("254712000001").State.Profile)
		all, err := im.List(l.ctx)
		require.NoError(t, err)
		require.Equal(t, []string{again.ID, i.ID}, []string{all[0].ID, all[1].ID})
	})
}

// A list that nobody starts is dropped after a day, with the numbers in it; one
// that is ended goes no further.
func TestListsThatEnd(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := newLine(t)
		defer func() { require.NoError(t, l.store.Close()) }()
		im := NewImporter(l.store, l.service, slog.New(slog.DiscardHandler))
		list := read(t, "phone,consent\n0712000001,paper\n")
		forgotten, err := im.Add(l.ctx, list, "anna", "", time.Now())
		require.NoError(t, err)
		time.Sleep(25 * time.Hour)
		run(t, im)
		ended, err := im.Add(l.ctx, list, "anna", "", time.Now())
		require.NoError(t, err)
		_, err = im.Start(l.ctx, ended.ID, false)
		require.NoError(t, err)
		_, err = im.End(l.ctx, ended.ID, time.Now())
		require.NoError(t, err)
		run(t, im)
		for _, id := range []string{forgotten.ID, ended.ID} {
			i, err := im.Get(l.ctx, id)
			require.NoError(t, err)
			require.Equal(t, Ended, i.Stage)
			var rows []Row
			_, err = l.store.Get(l.ctx, rowsKind, id, &rows)
			require.ErrorIs(t, err, gateway.ErrNotFound)
		}
		require.Zero(t, l.knows("254712000001").Rev)
		_, err = im.Get(l.ctx, "none")
		require.ErrorIs(t, err, gateway.ErrNotFound)
	})
}
