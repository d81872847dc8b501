package gateway_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
)

// part is one of the parts of a long text of person 1, with an id of its own.
func (l *line) part(ref, total, seq int, text string) gateway.Inbound {
	in := l.inbound("all", "")
	in.Part = &gateway.Part{Ref: ref, Width: 8, Total: total, Seq: seq, Octets: []byte(text)}
	return in
}

// parts cuts a text into parts of one reference.
func (l *line) parts(ref int, texts ...string) (list []gateway.Inbound) {
	for i, text := range texts {
		list = append(list, l.part(ref, len(texts), i+1, text))
	}
	return list
}

// texts returns what the journal says people wrote.
func (l *line) texts() (list []string) {
	for _, e := range l.entries() {
		if e.Kind == gateway.Heard || e.Kind == gateway.Foreign {
			list = append(list, e.Text)
		}
	}
	return list
}

// https://github.com/jookies/jasmin/issues/513 and
// https://github.com/eeeeeta/matrix-appservice-sms/issues/16: parts come in any
// order, at the same time and twice.
func TestTrouble05PartsInParallel(t *testing.T) {
	for seed := range uint64(20) {
		l := newLine(t)
		came := l.parts(0, "cobs ", "2 ", "drums ", "that ", "snap")
		came = append(came, came[seed%5], came[seed%3])
		rand.New(rand.NewPCG(seed, 0)).Shuffle(len(came), func(i, j int) { came[i], came[j] = came[j], came[i] })
		errs := make([]error, len(came))
		shown := make([]gateway.Shown, len(came))
		var wg sync.WaitGroup
		for i, in := range came {
			wg.Go(func() { shown[i], errs[i] = l.service.Receive(l.ctx, in) })
		}
		wg.Wait()
		require.NoError(t, errors.Join(errs...))
		require.Equal(t, 1, l.load(1).State.Serial)
		require.Equal(t, []string{"cobs 2 drums that snap"}, l.texts())
		require.Equal(t, []string{"answer 1"}, l.receive(came[0]).Texts, "a part brought again has the answer to the whole")
		l.pass(time.Hour)
		require.Empty(t, l.due(), "nothing is waited for")
		require.Contains(t, shown, gateway.Shown{Texts: []string{"answer 1"}})
	}
}

// https://github.com/textbee/textbee/issues/159: each part comes under two ids.
func TestTrouble05PartsUnderTwoIDs(t *testing.T) {
	for seed := range uint64(20) {
		l := newLine(t)
		came := append(l.parts(7, "a", "b", "c"), l.parts(7, "a", "b", "c")...)
		rand.New(rand.NewPCG(seed, 1)).Shuffle(len(came), func(i, j int) { came[i], came[j] = came[j], came[i] })
		for _, in := range came {
			l.pass(time.Second)
			in.At = l.now
			l.receive(in)
		}
		l.pass(time.Hour)
		l.ring()
		require.Equal(t, []string{"abc"}, l.texts())
	}
}

// Parts are durable before they are acknowledged, so a restart loses none.
func TestTrouble05PartsOverARestart(t *testing.T) {
	l := newLine(t)
	parts := l.parts(9, "a😀"[:3], "a😀b"[3:], "c")
	require.Zero(t, l.receive(parts[2]))
	l.restart()
	require.Zero(t, l.receive(parts[0]))
	l.restart()
	require.Zero(t, l.receive(parts[0]))
	require.Equal(t, []string{"answer 1"}, l.receive(parts[1]).Texts)
	require.Equal(t, []string{"a😀bc"}, l.texts())
}

// https://github.com/onomondo/onomondo-uicc/pull/174 and /pull/158: what the
// header says cannot be, so the text is one of its own.
func TestTrouble05ImpossibleParts(t *testing.T) {
	for _, wrong := range [][2]int{{2, 3}, {0, 1}, {2, 0}, {1, 1}, {300, 299}, {-1, 1}} {
		l := newLine(t)
		require.Equal(t, []string{"answer 1"}, l.receive(l.part(7, wrong[0], wrong[1], "hi")).Texts, "%v", wrong)
		require.Equal(t, "hi", l.texts()[0])
	}
}

// https://github.com/selvakn/gsm-sip-bridge/pull/67: a reference comes again, and
// a part comes after nobody waits for it any longer. Nothing is lost.
func TestTrouble05MissingAndLatePart(t *testing.T) {
	l := newLine(t)
	parts := l.parts(3, "one ", "two ", "three")
	require.Zero(t, l.receive(parts[0]))
	l.pass(90 * time.Second)
	parts[2].At = l.now
	require.Zero(t, l.receive(parts[2]))
	require.Empty(t, l.due())
	l.pass(30 * time.Second)
	l.ring()
	require.Equal(t, []string{"one …three"}, l.texts(), "what came is answered in time")
	require.Equal(t, []string{"answer 1"}, l.out("all"))
	require.Equal(t, []string{"parts missing"}, l.entries()[0].Flags)
	require.Empty(t, l.due())

	l.pass(time.Hour)
	parts[1].At = l.now
	require.Zero(t, l.receive(parts[1]))
	l.pass(2 * time.Minute)
	l.ring()
	require.Equal(t, []string{"one …three", "…two …"}, l.texts(), "a late part is not lost")
	for _, again := range parts {
		l.receive(again)
	}
	l.pass(time.Hour)
	l.ring()
	require.Len(t, l.texts(), 2, "and none is answered twice")
}

func TestTrouble05ReferenceComesAgain(t *testing.T) {
	for name, anonymous := range map[string]bool{"with ids": false, "without": true} {
		t.Run(name, func(t *testing.T) {
			l := newLine(t)
			bring := func(texts ...string) (shown gateway.Shown) {
				for _, in := range l.parts(200, texts...) {
					if anonymous {
						in.ID = gateway.MessageID{}
					}
					shown = l.receive(in)
				}
				return shown
			}
			require.Equal(t, []string{"answer 1"}, bring("yes ", "please").Texts)
			l.pass(24 * time.Hour)
			require.Equal(t, []string{"answer 2"}, bring("no ", "thanks").Texts)
			l.pass(24 * time.Hour)
			require.Equal(t, []string{"answer 3"}, bring("yes ", "please").Texts, "the same text another day is another text")
			l.pass(5 * time.Second)
			require.Equal(t, []string{"answer 3"}, bring("yes ", "please").Texts, "brought again")
			require.Equal(t, []string{"answer 4"}, bring("never ", "mind").Texts)
		})
	}
}

// A reference comes again while an older text lacks a part: the new one is
// whole, and what there is of the old one is answered too.
func TestTrouble05TwoTextsOfOneReference(t *testing.T) {
	l := newLine(t)
	require.Zero(t, l.receive(l.part(1, 2, 1, "old ")))
	l.pass(time.Minute)
	require.Zero(t, l.receive(l.part(1, 2, 1, "new ")))
	require.Equal(t, []string{"answer 1"}, l.receive(l.part(1, 2, 2, "text")).Texts)
	l.pass(time.Minute)
	l.ring()
	require.Equal(t, []string{"new text", "old …"}, l.texts())
	l.pass(time.Hour)
	l.ring()
	require.Empty(t, l.due())
	require.Len(t, l.texts(), 2)
}

// An alarm of an older text cuts no newer one short.
func TestPartsAreWaitedForInFull(t *testing.T) {
	l := newLine(t)
	old := l.part(1, 2, 1, "old ")
	require.Zero(t, l.receive(old))
	l.pass(time.Minute)
	again := old // with another id, as some gateways give
	again.ID, again.At = l.inbound("all", "").ID, l.now
	require.Zero(t, l.receive(again))
	require.Equal(t, []string{"answer 1"}, l.receive(l.part(1, 2, 2, "text")).Texts)
	l.pass(50 * time.Second)
	require.Zero(t, l.receive(l.part(1, 2, 1, "new ")))
	l.pass(10 * time.Second)
	l.ring()
	require.Equal(t, []string{"old text"}, l.texts())
	l.pass(time.Minute)
	require.Equal(t, []string{"answer 2"}, l.receive(l.part(1, 2, 2, "one")).Texts)
	require.Equal(t, []string{"old text", "new one"}, l.texts())
}

// C14 A cry for help waits for no other part.
func TestC14PartOfACry(t *testing.T) {
	l := newLine(t)
	l.step = func(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
		turn := count(s, ev, w)
		if said, ok := ev.(dialog.Said); ok && slices.Contains([]string{"fainted …", "fainted in smoke"}, said.Text) {
			turn.Heard.Tier = "a"
		}
		return turn
	}
	parts := l.parts(1, "fainted ", "in smoke")
	require.Equal(t, []string{"answer 1"}, l.receive(parts[0]).Texts)
	require.Zero(t, l.receive(parts[1]))
	l.pass(2 * time.Minute)
	l.ring()
	require.Equal(t, []string{"fainted …", "…in smoke"}, l.texts())
}

// A part of a sender who is no number is journalled as it came.
func TestForeignPart(t *testing.T) {
	l := newLine(t)
	in := l.part(1, 2, 2, "low")
	in.From, in.Sender = gateway.Number{}, "BANK"
	require.Zero(t, l.receive(in))
	require.Equal(t, "…low", l.texts()[0])
}

// What one part fails at, the same part brought again makes good.
func TestPartsAfterAFailedCommit(t *testing.T) {
	l := newLine(t)
	parts := l.parts(1, "a", "b")
	l.receive(parts[0])
	l.store.before = func(gateway.Change) error { return errors.New("disk full") }
	_, err := l.service.Receive(l.ctx, parts[1])
	require.ErrorContains(t, err, "disk full")
	l.restart()
	require.Equal(t, []string{"answer 1"}, l.receive(parts[1]).Texts)
	require.Equal(t, []string{"ab"}, l.texts())
}

// One number can pile up no more parts than are held, under one reference or
// many. What comes beyond is in the journal like every text of a flood, and a cry
// for help is answered all the same.
func TestPartsOfAFlood(t *testing.T) {
	for name, ref := range map[string]func(i int) int{
		"one reference": func(int) int { return 1 }, "many": func(i int) int { return i },
	} {
		t.Run(name, func(t *testing.T) {
			l := newLine(t)
			l.step = func(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
				turn := count(s, ev, w)
				if strings.Contains(ev.(dialog.Said).Text, "fire") {
					turn.Heard.Tier = "a"
				}
				return turn
			}
			held := 2 + gateway.MaxRivals
			if name == "many" {
				held = gateway.MaxHeld
			}
			for i := range held {
				require.Zero(t, l.receive(l.part(ref(i), 2, 1, fmt.Sprintf("<%d>", i))), i)
			}
			require.Empty(t, l.entries())
			beyond := l.part(ref(held), 2, 1, "one more")
			shown := l.receive(beyond)
			require.Equal(t, gateway.Crowded, shown.Silenced)
			require.Empty(t, shown.Texts)
			require.Equal(t, []string{"parts"}, l.entries()[0].Flags)
			require.True(t, l.receive(beyond).Again)
			require.Equal(t, []string{"one more…"}, l.texts())
			require.Equal(t, []string{"answer 1"}, l.receive(l.part(ref(held+1), 2, 1, "fire in the shed")).Texts)
			for range held { // each ring takes one text of a reference
				l.pass(3 * time.Minute)
				l.ring()
			}
			require.Empty(t, l.due())
			require.Len(t, l.texts(), held+2, "nothing that was taken is lost")
		})
	}
}

// A long text at which the dialogue fails is not held for ever: when its alarm
// has rung in vain often enough it is in the journal, for a person to see.
func TestPartsThatCannotBeAnswered(t *testing.T) {
	l := newLine(t)
	l.step = func(dialog.State, dialog.Event, dialog.World) dialog.Turn { panic("a fault of the dialogue") }
	parts := l.parts(1, "one ", "two ", "three")
	l.receive(parts[0])
	l.receive(parts[1])
	l.pass(3 * time.Minute)
	due := l.due()[0]
	for due.Tries = 0; due.Tries < 3; due.Tries++ {
		require.ErrorContains(t, l.service.Ring(l.ctx, due, l.now), "a fault of the dialogue")
		require.Empty(t, l.entries())
	}
	require.NoError(t, l.service.Ring(l.ctx, due, l.now))
	require.Empty(t, l.due())
	require.Equal(t, []string{"one two …"}, l.texts())
	require.Equal(t, []string{"not answered", "parts missing"}, l.entries()[0].Flags)
	held, err := l.store.Held(l.ctx, number(t, 1), parts[0].PartsName())
	require.NoError(t, err)
	require.Empty(t, held)
}

// FuzzParts: whatever parts come, in whatever order, every octet of them is in
// what the dialogue hears, once.
func FuzzParts(f *testing.F) {
	f.Add([]byte{1, 2, 3}, uint8(3))
	f.Add([]byte{3, 1, 1, 2, 9, 0}, uint8(3))
	f.Add([]byte{2, 4, 2}, uint8(5))
	f.Fuzz(func(t *testing.T, came []byte, total uint8) {
		l := newLine(t)
		want := map[string]bool{}
		for i, seq := range came[:min(len(came), 12)] {
			word := fmt.Sprintf("<%d>", i)
			want[word] = true
			l.receive(l.part(1, int(total), int(seq), word))
			l.pass(time.Second)
		}
		for range came {
			l.pass(3 * time.Minute)
			l.ring()
		}
		require.Empty(t, l.due())
		for _, text := range l.texts() {
			for word := range want {
				if n := strings.Count(text, word); n > 0 {
					require.Equal(t, 1, n)
					delete(want, word)
				}
			}
		}
		require.Empty(t, want)
	})
}
