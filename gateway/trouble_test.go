package gateway_test

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
)

// troubles are what people have met between a phone and a line, as the threads
// named at the tests tell it. The tests are called TestTroubleNN and what it is,
// in whatever package has to do with it:
//
//	go test ./... -run 'Trouble05'
var troubles = []string{
	1:  "one text comes as two webhooks, under one id or under two",
	2:  "a slow call is called again",
	3:  "the plus sign of a number is lost",
	4:  "a pair of code units is cut in two",
	5:  "parts of a long text come in any order, twice, late or never",
	6:  "letters come in another alphabet than declared",
	7:  "segments are counted differently from the network",
	8:  "the id of a report is written in another form",
	9:  "a report comes before the answer to the submission",
	10: "a report is lost after a throttle",
	11: "a clock or zone is wrong",
	12: "the queue is sent again after a crash",
	13: "a message is lost while the line is down",
	14: "a throttle holds one message and breaks the order",
	15: "the answer of a session comes too late, or its step twice",
	16: "an answer cannot be read by the gateway",
	17: "blanks and signs are encoded twice",
}

func TestEveryTroubleHasATest(t *testing.T) {
	name := regexp.MustCompile(`(?m)^func TestTrouble([0-9]{2})[A-Z]\w+\(`)
	tested := map[string]int{}
	require.NoError(t, filepath.WalkDir("..", func(path string, d fs.DirEntry, err error) error {
		if err != nil || !strings.HasSuffix(path, "_test.go") {
			return err
		}
		source, err := os.ReadFile(path)
		for _, m := range name.FindAllStringSubmatch(string(source), -1) {
			tested[m[1]]++
		}
		return err
	}))
	for i, what := range troubles {
		if what != "" {
			require.NotZero(t, tested[fmt.Sprintf("%02d", i)], "%d: %s", i, what)
		}
	}
	require.Len(t, tested, len(troubles)-1)
}

// together brings messages at the same time and returns what each is shown.
func (l *line) together(all []gateway.Inbound) []gateway.Shown {
	shown, errs := make([]gateway.Shown, len(all)), make([]error, len(all))
	var wg sync.WaitGroup
	for i, in := range all {
		wg.Go(func() { shown[i], errs[i] = l.service.Receive(l.ctx, in) })
	}
	wg.Wait()
	require.NoError(l, errors.Join(errs...))
	return shown
}

// asks is a dialogue whose every answer asks a new question.
func asks(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
	turn := count(s, ev, w)
	turn.State.Frames = []dialog.Frame{{Topic: "recipe", Open: dialog.Slot(fmt.Sprint("q", turn.State.Serial))}}
	return turn
}

// https://github.com/capcom6/android-sms-gateway/issues/291 and
// https://github.com/textbee/textbee/issues/159: however often one text comes and
// under whatever ids, it has one effect and one reply.
func TestTrouble01FiftyDeliveries(t *testing.T) {
	for name, ids := range map[string]int{"under one id": 1, "under two ids": 2, "under fifty": 50} {
		t.Run(name, func(t *testing.T) {
			l := newLine(t)
			l.step = asks
			list := make([]gateway.Inbound, ids)
			for i := range list {
				list[i] = l.inbound("none", "1")
				list[i].SentAt = start.Add(-2 * time.Second)
			}
			all := make([]gateway.Inbound, 50)
			for i := range all {
				all[i] = list[i%ids]
				all[i].At = start.Add(time.Duration(i) * 100 * time.Millisecond)
			}
			l.together(all)
			l.pass(time.Minute)
			require.Equal(t, 1, l.load(1).State.Serial)
			require.Equal(t, []string{"1"}, l.texts())
			require.Equal(t, []string{"answer 1"}, l.out("none"))
		})
	}
}

func TestTrouble01SameOrHonest(t *testing.T) {
	stamp := start.Add(-4*time.Second + 123_456_789)
	minute := start.Truncate(time.Minute)
	for name, c := range map[string]struct {
		step          stepper
		first, second time.Time // by the gateway's clock
		after         time.Duration
		text          string
		same          bool
	}{
		"one second":                             {asks, stamp, stamp, time.Second, "1", true},
		"one second, by a clock 14 h ahead":      {asks, stamp.Add(14 * time.Hour), stamp.Add(14 * time.Hour), time.Second, "1", true},
		"two honest answers":                     {asks, stamp, stamp.Add(3 * time.Second), 3 * time.Second, "1", false},
		"another text":                           {asks, stamp, stamp, time.Second, "2", false},
		"a minute later":                         {asks, stamp, stamp, time.Minute, "1", false},
		"no time":                                {asks, time.Time{}, time.Time{}, time.Second, "1", false},
		"a clock of minutes":                     {count, minute, minute, time.Second, "1", true},
		"a clock of minutes, and a new question": {asks, minute, minute, time.Second, "1", false},
	} {
		t.Run(name, func(t *testing.T) {
			l := newLine(t)
			l.step = c.step
			a, b, again := l.inbound("all", "1"), l.inbound("all", "x"), l.inbound("all", c.text)
			a.SentAt, b.SentAt, again.SentAt = c.first, stamp.Add(time.Second), c.second
			first := l.receive(a)
			l.receive(b)
			again.At = start.Add(c.after)
			want := []string{"answer 3"}
			if c.same {
				want = first.Texts
			}
			require.Equal(t, want, l.receive(again).Texts)
		})
	}
}

// Seen with an SMS gateway daemon that waits two seconds for a handler of three:
// four calls, and the person has one reply.
func TestTrouble02FourCallsOfASlowHandler(t *testing.T) {
	for _, channel := range []string{"all", "none"} {
		l := newLine(t)
		release := make(chan struct{})
		l.step = func(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
			<-release
			return count(s, ev, w)
		}
		in := l.inbound(channel, "cobs")
		calls := make([]gateway.Inbound, 4)
		for i := range calls {
			calls[i] = in
			calls[i].At = start.Add(time.Duration(i) * 2 * time.Second)
		}
		time.AfterFunc(20*time.Millisecond, func() { close(release) })
		shown := l.together(calls)
		l.pass(time.Minute)
		require.Equal(t, 1, l.load(1).State.Serial)
		texts := l.out(channel)
		if channel == "all" {
			texts = shown[0].Texts
		}
		require.Equal(t, []string{"answer 1"}, texts)
		for _, s := range shown {
			require.Equal(t, shown[0].Texts, s.Texts, "whichever call the gateway listens to")
		}
	}
}

// Numbers share locks: that another number has to be waited for makes no honest
// answer a repeat.
func TestTrouble02OthersAreSlow(t *testing.T) {
	l := newLine(t)
	l.step = asks
	bare := func(last int, at time.Duration) gateway.Inbound {
		in := l.inbound("bare", "1")
		in.From, in.ID, in.At = number(t, last), gateway.MessageID{}, start.Add(at)
		return in
	}
	require.Equal(t, []string{"answer 1"}, l.receive(bare(1, 0)).Texts)
	var all []gateway.Inbound
	for last := 2; last < 600; last++ {
		all = append(all, bare(last, 10*time.Second))
	}
	l.together(append(all, bare(1, 10*time.Second)))
	require.Equal(t, 2, l.load(1).State.Serial)
}

// https://github.com/gammu/gammu/issues/132, https://github.com/jookies/jasmin/issues/872:
// texts are answered in the order in which they arrive, whatever a gateway's clock
// says, and a time that cannot be is passed on to nobody.
func TestTrouble11OrderOfArrival(t *testing.T) {
	l := newLine(t)
	var sent []time.Time
	l.step = func(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
		sent = append(sent, ev.(dialog.Said).SentAt)
		return count(s, ev, w)
	}
	clocks := []time.Duration{14 * time.Hour, -14 * time.Hour, 10 * 365 * 24 * time.Hour, -time.Hour, 0}
	for i, clock := range clocks {
		in := l.inbound("all", fmt.Sprint(i))
		in.SentAt = l.now.Add(clock)
		l.receive(in)
	}
	require.Equal(t, []string{"0", "1", "2", "3", "4"}, l.texts())
	require.Equal(t, []time.Time{start, start.Add(-14 * time.Hour), {}, start.Add(-time.Hour), start}, sent)
	for _, e := range l.entries() {
		require.Equal(t, start, e.At)
	}
}

// https://github.com/gammu/gammu/issues/291: the line is down for five seconds,
// and a gateway that tries again until it is answered loses nothing.
func TestTrouble13DownForFiveSeconds(t *testing.T) {
	l := newLine(t)
	var all []gateway.Inbound
	for i := range 100 {
		in := l.inbound("none", fmt.Sprint("text ", i))
		in.From = number(t, i%10)
		all = append(all, in)
	}
	bring := func(list []gateway.Inbound) (refused []gateway.Inbound) {
		for _, in := range list {
			if _, err := l.service.Receive(l.ctx, in); err != nil {
				refused = append(refused, in)
			}
		}
		return refused
	}
	waiting := bring(all[:40])
	require.Empty(t, waiting)
	require.NoError(t, l.store.Close())
	for second := range 5 {
		waiting = bring(append(waiting, all[40+10*second:50+10*second]...))
		l.pass(time.Second)
	}
	require.Len(t, waiting, 50)
	l.open()
	require.Empty(t, bring(append(waiting, all[90:]...)))
	require.Empty(t, bring(all), "and once more")
	require.Len(t, l.texts(), 100)
	require.Len(t, l.waiting("none"), 100)
}

// The line ends after a turn is durable and before the gateway hears of it: the
// person has one reply, and the gateway the same answer.
func TestTrouble13EndBetweenCommitAndAnswer(t *testing.T) {
	for _, channel := range []string{"all", "none"} {
		l := newLine(t)
		in := l.inbound(channel, "cobs")
		l.store.after = errors.New("killed")
		_, err := l.service.Receive(l.ctx, in)
		require.ErrorContains(t, err, "killed")
		l.restart()
		shown := l.receive(in)
		require.True(t, shown.Again)
		texts := append(shown.Texts, l.out(channel)...)
		require.Equal(t, []string{"answer 1"}, texts)
		require.Equal(t, []string{"cobs"}, l.texts())
		require.Equal(t, 1, l.load(1).State.Serial)
	}
}
