package gateway_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
)

// An input may hold what stands between inputs; what came before tells.
func TestLatest(t *testing.T) {
	for _, c := range []struct{ before, dialled, separator, want string }{
		{"", "", "*", ""},
		{"", "1", "*", "1"},
		{"", "1*2", "*", "2"},
		{"1", "1*2", "*", "2"},
		{"1", "1*2*5", "*", "2*5"},
		{"1*2*5", "1*2*5*ok", "*", "ok"},
		{"1*2", "1*2*", "*", ""},
		{"1", "1", "*", "1"},
		{"12", "1*2", "*", "2"},
		{"3*4", "1*2", "*", "2"},
		{"3*4*5*6", "1*2", "*", "2"},
		{"", "1::2", "::", "2"},
		{"1", "1::a::b", "::", "a::b"},
	} {
		require.Equal(t, c.want, gateway.Latest(len(c.before), c.dialled, c.separator), "%q after %q", c.dialled, c.before)
	}
}

// echo answers an input of a session with the input, and says how the session
// stands.
func echo(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
	said := ev.(dialog.Said)
	s.Serial++
	text := fmt.Sprintf("%d:%s", s.Serial, said.Text)
	if said.Begins {
		text += " begins"
	}
	if said.Dropped {
		text += " dropped"
	}
	return dialog.Turn{State: s, Replies: []dialog.Reply{{Key: "test.answer", Text: text, Urgency: dialog.Answer, End: said.Text == "end"}}}
}

// caller is a phone in sessions. Its gateway gives no ids; how it brings what is
// keyed is a dialect.
type caller struct {
	*line
	dialect string // cumulative, step or latest
	session string
	dialled []string
}

func (c *caller) request(texts []string) gateway.Inbound {
	in := c.dial(c.session, "")
	in.ID, in.Provider = gateway.MessageID{}, ""
	if len(texts) > 0 {
		in.Text = texts[len(texts)-1]
	}
	switch c.dialect {
	case "cumulative":
		in.Dialled, in.Separator = strings.Join(texts, "*"), "*"
		in.Text = gateway.Latest(0, in.Dialled, "*")
		in.ID = gateway.NewMessageID(in.Channel, in.From.Digits(), "dialled", in.Session, in.Dialled)
	case "step":
		in.ID = gateway.NewMessageID(in.Channel, in.From.Digits(), "step", in.Session, fmt.Sprint(len(texts)))
	}
	return in
}

func (c *caller) call(session string) string {
	c.session, c.dialled = session, nil
	return c.receive(c.request(nil)).Screen.Text()
}

func (c *caller) press(text string) string {
	c.dialled = append(c.dialled, text)
	return c.receive(c.request(c.dialled)).Screen.Text()
}

// callers runs a test in each dialect.
func callers(t *testing.T, test func(t *testing.T, c *caller)) {
	for _, dialect := range []string{"cumulative", "step", "latest"} {
		t.Run(dialect, func(t *testing.T) {
			c := &caller{line: newLine(t), dialect: dialect}
			c.step = echo
			test(t, c)
		})
	}
}

// An answer may hold the separator: what the session brought before tells where
// it begins.
func TestSessionInputs(t *testing.T) {
	callers(t, func(t *testing.T, c *caller) {
		require.Equal(t, "1: begins", c.call("s1"))
		for i, text := range []string{"1", "2*5", "*", "5", "a*b*", "1"} {
			c.pass(5 * time.Second)
			require.Equal(t, fmt.Sprintf("%d:%s", i+2, text), c.press(text))
		}
	})
}

// https://github.com/RestComm/ussdgateway/issues/69: a step that is brought again
// has the same screen, and changes nothing.
func TestTrouble15ReplayOfAStep(t *testing.T) {
	callers(t, func(t *testing.T, c *caller) {
		c.call("s1")
		c.pass(10 * time.Second)
		first := c.press("a")
		for range 3 {
			c.pass(500 * time.Millisecond)
			require.Equal(t, first, c.receive(c.request(c.dialled)).Screen.Text())
		}
		c.pass(10 * time.Second)
		c.press("b")
		if c.dialect != "latest" { // without ids an older one is a new answer
			require.Equal(t, first, c.receive(c.request(c.dialled[:1])).Screen.Text(), "A, B, A")
		}
		c.pass(10 * time.Second)
		end := c.press("end")
		require.Equal(t, "4:end", end)
		c.pass(time.Second)
		again := c.receive(c.request(c.dialled))
		require.Equal(t, end, again.Screen.Text(), "the last screen too")
		require.False(t, again.More)
		require.Equal(t, 4, c.load(1).State.Serial)
	})
}

// A key that turned a page shows that page again, also after another screen.
func TestTrouble15ReplayOfAPage(t *testing.T) {
	c := &caller{line: newLine(t), dialect: "step", session: "s1"}
	c.step = says(dialog.Reply{Text: repeat("load three sacks", 4), Urgency: dialog.Answer, Choices: []string{"yes"}})
	c.call("s1")
	second, third := c.press("8"), c.press("8")
	require.NotEqual(t, second, third)
	answered := c.press("1")
	require.NotEqual(t, third, answered)
	require.Equal(t, second, c.receive(c.request(c.dialled[:1])).Screen.Text())
	require.Equal(t, third, c.receive(c.request(c.dialled[:2])).Screen.Text())
	require.Equal(t, answered, c.receive(c.request(c.dialled)).Screen.Text())
	require.Equal(t, 2, c.load(1).State.Serial)
}

// Networks give the id of a session to another one after some hours, also of the
// same person.
func TestSessionIDComesAgain(t *testing.T) {
	callers(t, func(t *testing.T, c *caller) {
		c.call("s1")
		require.Equal(t, "2:1", c.press("1"))
		c.pass(3 * time.Hour)
		require.Equal(t, "3: begins", c.call("s1"))
		require.Equal(t, "4:1", c.press("1"), "not the screen of the morning")
		c.session = "s2"
		require.Equal(t, "5:1 begins dropped", c.receive(c.request([]string{"1"})).Screen.Text())
	})
	other := newLine(t)
	other.step = echo
	in := other.dial("s1", "")
	require.Equal(t, "1: begins", other.receive(in).Screen.Text())
	in = other.dial("s1", "1")
	in.From = number(t, 2)
	require.Equal(t, "1:1 begins", other.receive(in).Screen.Text(), "of another person")
}

// A gateway that names a session after the phone begins it anew after its end.
func TestSessionAfterItsEnd(t *testing.T) {
	c := &caller{line: newLine(t), dialect: "latest"}
	c.step = echo
	c.call("phone")
	require.Equal(t, "2:end", c.press("end"))
	c.pass(10 * time.Second)
	require.Equal(t, "3: begins", c.call("phone"))
}

// Some gateways tell the end of a session with a request that brings nothing. It
// changes nothing; nothing twice is a person who presses no key.
func TestSessionEndWithoutText(t *testing.T) {
	callers(t, func(t *testing.T, c *caller) {
		c.call("s1")
		c.pass(10 * time.Second)
		shown := c.press("1")
		before := c.load(1).State.Encode()
		c.pass(10 * time.Second)
		callback := c.request(nil)
		callback.ID = gateway.MessageID{}
		require.Equal(t, shown, c.receive(callback).Screen.Text())
		c.pass(time.Second)
		callback.At = c.now
		require.Equal(t, shown, c.receive(callback).Screen.Text(), "brought again")
		require.Equal(t, before, c.load(1).State.Encode())
		require.Equal(t, 2, c.steps)
		c.pass(10 * time.Second)
		callback.At = c.now
		require.Equal(t, "3:", c.receive(callback).Screen.Text())
	})
}

// C31 Resume asks before it shows anything: a session that broke off is told from
// one that ended, and from one long ago.
func TestC31DroppedSession(t *testing.T) {
	for _, tt := range []struct {
		last, want string
		after      time.Duration
	}{
		{"1", "3: begins dropped", time.Minute},
		{"1", "3: begins", 11 * time.Minute},
		{"end", "3: begins", time.Minute},
	} {
		callers(t, func(t *testing.T, c *caller) {
			c.call("s1")
			c.press(tt.last)
			c.pass(tt.after)
			require.Equal(t, tt.want, c.call("s2"))
		})
	}
}

// A text beside a session leaves its screen alone.
func TestTextDuringASession(t *testing.T) {
	c := &caller{line: newLine(t), dialect: "latest"}
	c.step = says(dialog.Reply{Text: repeat("load three sacks", 9), Urgency: dialog.Answer, Choices: []string{"yes"}})
	c.call("s1")
	c.receive(c.inbound("none", "hello"))
	require.Equal(t, 1, c.receive(c.request([]string{"8"})).Screen.At)
}
