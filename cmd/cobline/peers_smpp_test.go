//go:build peers

package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/gateway"
)

// startCentre starts a message centre of SMPP, with the phones behind it.
func (k *kannel) startCentre() {
	script, err := os.ReadFile(filepath.Join(peers, "smsc.cjs"))
	require.NoError(k.t, err)
	require.NoError(k.t, os.WriteFile(filepath.Join(k.dir, "smsc.cjs"), script, 0o600))
	if _, err := os.Stat(filepath.Join(k.dir, "node_modules")); err != nil {
		npm(k.t, k.dir, "smpp@0.5.1")
	}
	k.centre = startPeer(k.t, k.dir, nil, "node", "smsc.cjs")
	eventually(k.t, "the message centre", func() bool { return listens("127.0.0.1:" + k.values["NETWORK"]) })
}

// The same gateway as a client of a message centre that speaks SMPP.
func TestKannelSMPP(t *testing.T) {
	config, err := os.ReadFile(filepath.Join(peers, "kannel/line.toml"))
	require.NoError(t, err)
	l := newKannelLine(t, newKannel(t, "smpp"), string(config), "get-32100", "post-32200")
	t.Run("every alphabet arrives whole and is answered", l.alphabets)
	t.Run("long texts arrive in pieces", l.pieces)
	t.Run("pieces are cut inside a character", l.cuts)
	t.Run("receipts come early, late and never", l.receipts)
	t.Run("the message centre restarts", l.centreRestarts)
}

// cuts has phones send what only this network carries: pieces in UCS-2 that are
// cut between the halves of an emoji, of which some come late, and a text beside
// the field for texts.
func (l *kannelLine) cuts(t *testing.T) {
	const head, tail = "%05%00%03%21%02%01 ", "%05%00%03%21%02%02 "
	first, second := escape("ɓawo 😀"), escape(" gobe")
	first, second = first[:len(first)-6], first[len(first)-6:]+second
	codes := []string{"32100", "32200"}
	for _, code := range codes {
		joined, late, long := "+254700"+code+"3", "+254700"+code+"4", "+254700"+code+"5"
		l.say(joined, code, "udh-ucs2", tail+second+escape(" joined "+code))
		l.raw(joined, code, "udh-ucs2", head+first, "ɓawo 😀 gobe joined "+code)
		l.raw(late, code, "udh-ucs2", head+first, "ɓawo 😀 gobe late "+code)
		text := strings.Repeat("my cobs are dry, ", 20) + code
		l.raw(long, code, "payload", text, text)
	}
	time.Sleep(tooLate)
	for _, code := range codes {
		l.say("+254700"+code+"4", code, "udh-ucs2", tail+second+escape(" late "+code))
	}
	l.answered(t, "+254700321004", "+254700322004")
	l.agree(t)
}

// receipts lets the message centre tell what became of messages as such centres
// do. Each is known by our own reference: the centre writes its ids now in
// hexadecimal, now in decimal, and a receipt that comes before the response to
// its message is lost on the gateway.
func (l *kannelLine) receipts(t *testing.T) {
	fates := map[string]gateway.Delivery{
		"+2547007": gateway.ReportAccepted, "+2547008": gateway.ReportDelivered,
		"+2547009": gateway.ReportRejected, "+2547010": gateway.ReportFailed,
	}
	for fate, state := range fates {
		for i := range 3 {
			l.text(fmt.Sprintf("%s0000%d", fate, i), "32100", fmt.Sprintf("hello %s %d", fate, i))
		}
		if state != gateway.ReportRejected {
			eventually(t, "an answer to each", func() bool { return len(l.shown(fate+"00002")) > 0 })
		}
	}
	l.settle() // what comes twice, for want of a receipt, is seen at the end
	l.reports(t, func(number string) gateway.Delivery {
		if state, ok := fates[number[:len("+2547007")]]; ok {
			return state
		}
		return gateway.ReportDelivered
	})
	owed := l.owed(l.entries())
	for fate, state := range fates {
		for i := range 3 {
			number := fmt.Sprintf("%s0000%d", fate, i)
			if state == gateway.ReportRejected {
				delete(owed, number)
			}
			require.Equal(t, owed[number], l.shown(number), number)
		}
	}
}

// centreRestarts lets people be answered while there is no network.
func (l *kannelLine) centreRestarts(t *testing.T) {
	l.centre.kill()
	eventually(t, "a network that is away", func() bool { return strings.Contains(l.status(), "(re-connecting") })
	var numbers []string
	for i := range 5 {
		numbers = append(numbers, fmt.Sprintf("+2547000007%02d", i))
		l.call(numbers[i], fmt.Sprintf("hello once more %d", i))
	}
	l.startCentre()
	l.dial(l.kannel)
	l.answered(t, numbers...)
}
