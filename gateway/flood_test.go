package gateway_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/locales"
)

// perHour sets how many texts of a number channel "all" answers in an hour.
func perHour(n int) func(*gateway.Options) {
	return func(o *gateway.Options) {
		ch := o.Channels["all"]
		ch.PerHour = n
		o.Channels["all"] = ch
	}
}

// hears answers every text and hears what it is told to of it.
func hears(h map[string]dialog.Heard) stepper {
	return func(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
		turn := count(s, ev, w)
		turn.Heard = h[ev.(dialog.Said).Text]
		return turn
	}
}

// answered brings texts and returns how many of them are answered.
func (l *line) answered(every time.Duration, texts ...string) (n int) {
	for _, text := range texts {
		n += len(l.receive(l.inbound("all", text)).Texts)
		l.pass(every)
	}
	return n
}

func times(n int, text func(i int) string) (list []string) {
	for i := range n {
		list = append(list, text(i))
	}
	return list
}

func same(text string) func(int) string { return func(int) string { return text } }

// Two machines that answer each other stop: words of which nothing is made are
// answered a few times, although a number in them changes.
func TestLoopStops(t *testing.T) {
	away := func(i int) string { return fmt.Sprintf("We are away. Your ticket is #%d.", 100+i) }
	l := newLine(t)
	require.Equal(t, 3, l.answered(time.Second, times(40, away)...))
	require.Equal(t, 3, l.load(1).State.Serial, "what is not answered changes nothing")
	entries := l.entries()
	require.Len(t, entries, 40, "and is journalled")
	require.Empty(t, entries[2].Flags)
	require.Equal(t, []string{gateway.Looped}, entries[3].Flags)
	require.Equal(t, away(3), entries[3].Text)

	silent := l.inbound("all", away(99))
	require.Equal(t, gateway.Looped, l.receive(silent).Silenced)
	require.Empty(t, l.receive(silent).Texts, "brought again")
	require.Equal(t, 1, l.answered(time.Second, "I need some help with my drum"), "other words are answered")
	l.restart()
	require.Zero(t, l.answered(time.Second, away(1)))
	l.pass(time.Hour)
	require.Equal(t, 3, l.answered(time.Second, times(9, away)...), "after a time they are tried again")
}

// A flood of one number is answered as often as the channel says.
func TestFloodStops(t *testing.T) {
	text := func(i int) string { return fmt.Sprint("text ", strings.Repeat("x", i)) }
	l := newLine(t, perHour(20))
	require.Equal(t, 20, l.answered(time.Second, times(50, text)...))
	last := l.entries()[49]
	require.Equal(t, []string{gateway.Flooded}, last.Flags)
	require.NotZero(t, last.Person)
	l.pass(5 * time.Minute)
	require.Equal(t, 1, l.answered(time.Second, times(5, text)...), "the allowance comes back little by little")
	l.pass(time.Hour)
	require.Equal(t, 20, l.answered(time.Second, times(30, text)...))
	other := l.inbound("all", "hello")
	other.From = number(t, 2)
	require.NotEmpty(t, l.receive(other).Texts, "of another number")
	require.Equal(t, 50, newLine(t).answered(time.Second, times(50, text)...), "without a limit")
}

// Emergencies, opt-outs and what is told of a burn are answered in any flood.
func TestFloodKeepsWhatIsUrgent(t *testing.T) {
	const junk = "a text that says nothing to anybody"
	urgent := map[string]dialog.Heard{
		"fainted": {Tier: "a"}, "dizzy": {Tier: "b"}, "STOP": {OptOut: true}, "COVERED": {Report: "covered"},
		"my brother fainted in the smoke": {Tier: "a"},
	}
	l := newLine(t, perHour(20))
	l.step = hears(urgent)
	l.answered(time.Second, times(60, func(i int) string { return fmt.Sprint(i, strings.Repeat(junk, i%9)) })...)
	for text := range urgent {
		require.Equal(t, 10, l.answered(time.Second, times(10, same(text))...), text)
	}
	require.Zero(t, l.answered(time.Second, junk))

	machine := strings.Repeat("In a fire call the fire brigade at once. ", 3)
	urgent[machine] = dialog.Heard{Tier: "a"}
	require.Equal(t, 10, l.answered(time.Second, times(40, same(machine))...), "nobody types that ten times")
}

// A session has a screen for every key.
func TestFloodOfKeys(t *testing.T) {
	l := newLine(t, perHour(20))
	for range 60 {
		require.NotEmpty(t, l.receive(l.dial("s1", "1")).Screen.Text())
	}
}

func newEngine(t *testing.T) *dialog.Engine {
	catalog, err := locales.Load()
	require.NoError(t, err)
	engine, err := dialog.New(catalog, dialog.Options{})
	require.NoError(t, err)
	return engine
}

// A person in need who writes ten short texts is answered ten times, however
// alike they are and little is understood of them.
func TestDistressIsAnswered(t *testing.T) {
	l := newLine(t, perHour(20))
	l.step = newEngine(t).Step
	l.service.SetFacts(facts(t))
	for _, text := range []string{"pls", "pls", "help", "anybody", "pls help", "pls help", "pls help", "he fell", "pls pls", "are you there"} {
		require.NotEmpty(t, l.receive(l.inbound("all", text)).Texts, text)
		l.pass(4 * time.Second)
	}
}

// Phones that answer by themselves, and another line of this kind, come to rest.
func TestMachinesComeToRest(t *testing.T) {
	engine := newEngine(t)
	open := func() *line {
		l := newLine(t, perHour(100))
		l.step = engine.Step
		l.service.SetFacts(facts(t))
		return l
	}
	for text, most := range map[string]int{
		"Thank you for your message. We are away and answer soon.": 3,
		"Your balance is low, buy airtime now":                     3,
		"I am driving and will call you later":                     6,
	} {
		l := open()
		require.LessOrEqual(t, l.answered(5*time.Second, times(100, same(text))...), most, text)
	}
	lines := []*line{open(), open()}
	texts, n := []string{"hello"}, 0
	for turn := 0; len(texts) > 0; turn++ {
		var replies []string
		for _, text := range texts {
			lines[0].pass(3 * time.Second)
			lines[1].now = lines[0].now
			l := lines[turn%2]
			replies = append(replies, l.receive(l.inbound("all", text)).Texts...)
			n++
			require.Less(t, n, 600)
		}
		texts = replies
	}
	require.Less(t, lines[0].now.Sub(start), time.Hour)
}
