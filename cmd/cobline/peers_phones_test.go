//go:build peers

package main

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"net"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"unicode/utf16"

	"github.com/stretchr/testify/require"

	"cobline/gateway/sms"
)

// received is what one phone shows.
type received struct {
	From, Text string
	Encoding   sms.Encoding
	Segments   int
}

// whole is how a text comes to a phone.
func whole(from, text string) received {
	p := sms.Split(text)
	return received{From: from, Text: text, Encoding: p.Encoding, Segments: len(p.Segments)}
}

// phones are all phones of the fake network, at the far end of one connection.
// It carries a line for each segment: from, to, kind and text.
type phones struct {
	t    *testing.T
	conn net.Conn
	mu   sync.Mutex
	got  map[string][]received // by number
	held map[string]received   // of texts that are not whole
	last *received             // a line without a head goes on with its text
}

func (k *kannel) phones() *phones {
	p := &phones{t: k.t, got: map[string][]received{}, held: map[string]received{}}
	p.dial(k)
	return p
}

// dial connects the phones to the network.
func (p *phones) dial(k *kannel) {
	var err error
	eventually(p.t, "the network", func() bool {
		p.conn, err = net.Dial("tcp", "127.0.0.1:"+k.values["PHONES"])
		return err == nil
	})
	go p.read(p.conn)
	p.t.Cleanup(func() { _ = p.conn.Close() }) // or the gateway has
}

func (p *phones) say(from, to, kind, data string) {
	_, err := fmt.Fprintf(p.conn, "%s %s %s %s\n", from, to, kind, data)
	require.NoError(p.t, err)
}

var (
	fakeLine = regexp.MustCompile(`^(\S+) (\+?[0-9]+) (text|ucs-2|udh) (.*)$`)
	fakePart = regexp.MustCompile(`^(\S+) data (.*)$`)
)

func (p *phones) read(conn net.Conn) {
	for lines := bufio.NewScanner(conn); lines.Scan(); {
		p.mu.Lock()
		p.take(lines.Text())
		p.mu.Unlock()
	}
}

// take takes one line in.
func (p *phones) take(line string) {
	m := fakeLine.FindStringSubmatch(line)
	switch {
	case m == nil && p.last == nil:
		p.t.Errorf("no line of a phone: %q", line)
		return
	case m == nil:
		p.last.Text += "\n" + line
		return
	}
	from, to, data := m[1], "+"+strings.TrimPrefix(m[2], "+"), m[4]
	switch m[3] {
	case "text":
		p.show(to, received{From: from, Text: data, Segments: 1})
	case "ucs-2":
		text, encoding := unescape(data)
		p.show(to, received{From: from, Text: text, Encoding: encoding, Segments: 1})
	case "udh":
		part := fakePart.FindStringSubmatch(data)
		header, err := url.QueryUnescape(part[1])
		if err != nil || len(header) != 6 || header[:3] != "\x05\x00\x03" {
			p.t.Errorf("no part of a text: %q", line)
			return
		}
		ref, total, seq := to+header[3:4], int(header[4]), int(header[5])
		whole := p.held[ref]
		whole.From, whole.Text, whole.Segments = from, whole.Text+part[2], whole.Segments+1
		if whole.Segments != seq {
			p.t.Errorf("the network does not keep order: %q", line)
		}
		if p.held[ref] = whole; seq == total {
			delete(p.held, ref)
			whole.Text, whole.Encoding = unescape(whole.Text)
			p.show(to, whole)
		}
	}
}

func (p *phones) show(to string, r received) {
	p.got[to] = append(p.got[to], r)
	p.last = &p.got[to][len(p.got[to])-1]
}

// shown returns what a phone has got.
func (p *phones) shown(number string) []received {
	p.mu.Lock()
	defer p.mu.Unlock()
	return slices.Clone(p.got[number])
}

// unescape returns the text of octets, which are UTF-8 or UTF-16. No text holds
// control characters, and each in UTF-16 has a letter or a blank that does.
func unescape(data string) (string, sms.Encoding) {
	octets, err := url.QueryUnescape(data)
	if err != nil {
		return data, sms.GSM7
	}
	if !strings.ContainsFunc(octets, func(r rune) bool { return r < ' ' && r != '\n' }) {
		return octets, sms.GSM7
	}
	return fromUTF16([]byte(octets)), sms.UCS2
}

// escape returns a text as UTF-16 in the line of a phone.
func escape(text string) string {
	var b strings.Builder
	for _, octet := range toUTF16(utf16.Encode([]rune(text))) {
		fmt.Fprintf(&b, "%%%02x", octet)
	}
	return b.String()
}

func fromUTF16(octets []byte) string {
	units := make([]uint16, len(octets)/2)
	for i := range units {
		units[i] = binary.BigEndian.Uint16(octets[2*i:])
	}
	return string(utf16.Decode(units))
}

func toUTF16(units []uint16) (octets []byte) {
	for _, u := range units {
		octets = binary.BigEndian.AppendUint16(octets, u)
	}
	return octets
}
