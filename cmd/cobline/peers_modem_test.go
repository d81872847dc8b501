//go:build peers

package main

import (
	"bufio"
	"encoding/hex"
	"fmt"
	"maps"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"
	"unicode/utf16"

	"github.com/stretchr/testify/require"

	"cobline/gateway"
	"cobline/gateway/sms"
	"cobline/gateway/webhook"
)

// modem is a fake one, with the network behind it.
type modem struct {
	t       *testing.T
	network net.Conn

	mu   sync.Mutex
	got  map[string][]received // by number
	held map[string]received   // of texts that are not whole
}

// startModem makes a terminal with a modem behind it in a directory.
func startModem(t *testing.T, dir string) *modem {
	script, err := filepath.Abs(filepath.Join(peers, "modem.py"))
	require.NoError(t, err)
	port := freePort(t)
	startPeer(t, dir, nil, "/usr/bin/python3", script, filepath.Join(dir, "modem"), port)
	m := &modem{t: t, got: map[string][]received{}, held: map[string]received{}}
	eventually(t, "the modem", func() bool {
		m.network, err = net.Dial("tcp", "127.0.0.1:"+port)
		return err == nil
	})
	go func() {
		for lines := bufio.NewScanner(m.network); lines.Scan(); {
			if err := m.take(lines.Text()); err != nil {
				t.Errorf("the modem was given %q: %v", lines.Text(), err)
			}
		}
	}()
	return m
}

// take takes an SMS-SUBMIT with the address of its service centre in front,
// 3GPP TS 23.040 sections 9.2.2.2 and 9.2.3.24, and shows it when it is whole.
func (m *modem) take(line string) error {
	octets, err := hex.DecodeString(line)
	if err != nil {
		return err
	}
	octets = octets[1+octets[0]:]
	first, digits, international := octets[0], int(octets[2]), octets[3] == 0x91
	number := "+" + hex.EncodeToString(swapped(octets[4 : 4+(digits+1)/2]))[:digits]
	octets = octets[4+(digits+1)/2:]
	unicode, body := octets[1] == 8, octets[2:]
	if first&0x18 != 0 { // how long it is valid
		body = body[1:]
	}
	if first&3 != 1 || !international {
		return fmt.Errorf("first octet %#x, international %t", first, international)
	}
	count, data := int(body[0]), body[1:]
	header := 0
	if first&0x40 != 0 {
		header = 1 + int(data[0])
	}
	var text string
	if unicode {
		text = fromUTF16(data[header:count])
	} else {
		text = sms.Decode(string(unpack(data, count)[(header*8+6)/7:]))
	}

	m.mu.Lock()
	defer m.mu.Unlock()
	whole := m.held[number]
	whole.Text, whole.Segments = whole.Text+text, whole.Segments+1
	if unicode {
		whole.Encoding = sms.UCS2
	}
	if header == 0 || data[header-2] == data[header-1] { // the last two are total and place
		delete(m.held, number)
		m.got[number] = append(m.got[number], whole)
	} else {
		m.held[number] = whole
	}
	return nil
}

// unpack returns septets, the least significant bits first.
func unpack(octets []byte, count int) (codes []byte) {
	for i := range count {
		word := uint16(octets[i*7/8])
		if i*7/8+1 < len(octets) {
			word |= uint16(octets[i*7/8+1]) << 8
		}
		codes = append(codes, byte(word>>(i*7%8))&0x7f)
	}
	return codes
}

// swapped returns octets with the halves of each exchanged, as digits stand in
// messages.
func swapped(octets []byte) []byte {
	out := make([]byte, len(octets))
	for i, o := range octets {
		out[i] = o<<4 | o>>4
	}
	return out
}

// shown returns what a phone has got.
func (m *modem) shown(number string) []received {
	m.mu.Lock()
	defer m.mu.Unlock()
	return slices.Clone(m.got[number])
}

// say lets a phone send a text in UCS-2, in pieces of some letters if any are
// given, and these in an order.
func (m *modem) say(number, text string, order ...int) {
	units := utf16.Encode([]rune(text))
	if order == nil {
		m.arrive(number, 8, nil, toUTF16(units))
		return
	}
	size := (len(units) + len(order) - 1) / len(order)
	pieces := slices.Collect(slices.Chunk(units, size))
	for _, i := range order {
		m.arrive(number, 8, []byte{5, 0, 3, 0x33, byte(len(order)), byte(i)}, toUTF16(pieces[i-1]))
	}
}

// arrive lets an SMS-DELIVER arrive, 3GPP TS 23.040 section 9.2.2.1.
func (m *modem) arrive(number string, scheme byte, header, data []byte) {
	digits := strings.TrimPrefix(number, "+")
	first, count := byte(0x04), len(header)+len(data)
	if header != nil {
		first |= 0x40
	}
	if scheme == 0 {
		count = len(data) * 8 / 7
	}
	address, err := hex.DecodeString(digits)
	require.NoError(m.t, err)
	stamp, err := hex.DecodeString(time.Now().UTC().Format("060102150405") + "00")
	require.NoError(m.t, err)
	octets := slices.Concat(
		[]byte{7, 0x91, 0x52, 0x74, 0, 0, 0, 0xf0, first, byte(len(digits)), 0x91}, swapped(address),
		[]byte{0, scheme}, swapped(stamp), []byte{byte(count)}, header, data,
	)
	_, err = fmt.Fprintf(m.network, "%X\n", octets)
	require.NoError(m.t, err)
}

// The daemon of a modem runs the script of the README for each message, and
// sends what its program is given.
func TestModem(t *testing.T) {
	dir := t.TempDir()
	for _, box := range []string{"inbox", "outbox", "sent", "error"} {
		require.NoError(t, os.Mkdir(filepath.Join(dir, box), 0o700))
	}
	conf := filepath.Join(dir, "smsd.conf")
	require.NoError(t, os.WriteFile(conf, []byte(fill(t, "smsd.conf", map[string]string{"DIR": dir})), 0o600))
	blocks := connected(t)
	config := strings.NewReplacer("per_second = 0.2", "per_second = 20", `"TEXT"`, `"-c", "`+conf+`", "TEXT"`).Replace(blocks["toml"][3])
	setSecrets(t, config)
	line := newProcess(t, "emergency = \"Ɓaba 199, 0700 000 002\"\n"+config)
	hook := strings.NewReplacer("127.0.0.1:8080", line.addr, "sleep 5", "sleep 0.2").Replace(blocks["sh"][0])
	require.NoError(t, os.WriteFile(filepath.Join(dir, "receive.sh"), []byte(hook), 0o700))
	m := startModem(t, dir)
	line.kill() // the script brings what comes meanwhile
	startPeer(t, dir, []string{"LC_ALL=C.UTF-8"}, "/usr/bin/gammu-smsd", "-c", conf)

	said := map[string]string{
		"+254700000001": "hellohello",
		"+254700000002": "i burned my hand, ƙonewa 😀",
		"+254700000003": "my cobs are dry and they snap when I break them, I have 2 drums here beside the house and ƙananan 😀 people who help me",
		"+254700000004": "cobs 2 drums snaps & it's \"dry\" $HOME `id`",
	}
	// "hellohello" in septets: 3GPP TS 23.038 section 6.1.2.1.
	m.arrive("+254700000001", 0, nil, []byte{0xe8, 0x32, 0x9b, 0xfd, 0x46, 0x97, 0xd9, 0xec, 0x37})
	m.say("+254700000002", said["+254700000002"])
	m.say("+254700000003", said["+254700000003"], 2, 3, 1)
	m.say("+254700000004", said["+254700000004"])
	eventually(t, "a message at the daemon", func() bool {
		files, err := os.ReadDir(filepath.Join(dir, "inbox"))
		return err == nil && len(files) > 0
	})
	time.Sleep(time.Second)
	line.start()
	for number := range said {
		eventually(t, "an answer to "+number, func() bool { return len(m.shown(number)) > 0 })
	}
	line.stop()
	owed := map[string][]received{}
	var heard []string
	for _, e := range line.journal() {
		if e.Kind != gateway.Heard {
			continue
		}
		heard = append(heard, e.Text)
		for number, text := range said {
			for _, r := range e.Replies {
				if e.Text == text {
					owed[number] = append(owed[number], whole("", r.Text))
				}
			}
		}
	}
	require.ElementsMatch(t, slices.Collect(maps.Values(said)), heard)

	// What serve sends with: texts of every alphabet, as arguments.
	loaded, err := Load(line.config, os.Environ())
	require.NoError(t, err)
	shape, err := webhook.Compile(loaded.Channel[0].Spec)
	require.NoError(t, err)
	for i, text := range []string{
		"AB 😀 tail", strings.Repeat("x", 152) + strings.Repeat("€", 10), strings.Repeat("a", 66) + "😀" + strings.Repeat("b", 10),
		"-5 \"& 'two'\nlines {x} \\ $HOME",
	} {
		number, err := gateway.NumberOf(fmt.Sprintf("25470000001%d", i))
		require.NoError(t, err)
		require.NoError(t, shape.Send(t.Context(), gateway.Outbound{To: number, Text: text, Ref: gateway.NewKey(time.Now(), uint64(i)).Ref(0), Expires: time.Now().Add(time.Hour)}))
		owed["+"+number.Digits()] = []received{whole("", text)}
	}
	for number, want := range owed {
		eventually(t, "the last message to "+number, func() bool { return len(m.shown(number)) == len(want) })
		require.Equal(t, want, m.shown(number), number)
	}
}
