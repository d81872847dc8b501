//go:build peers

package sms

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/locales"
)

// texts returns what the peers are asked about: those of the vectors, all that
// the line says in each language at its longest, in every plural form, as it is
// written and as it is sent, and drawn ones of letters that are one
// character each, from one segment to four.
func texts(t *testing.T) (list []string) {
	for _, v := range vectors(t) {
		list = append(list, v.Text)
	}
	catalog, err := locales.Load()
	require.NoError(t, err)
	for _, l := range catalog.Langs() {
		for _, id := range locales.IDs() {
			for _, text := range catalog.Longest(l, id) {
				if sent := Plain(text, locales.Substitutions(l)); sent != text {
					list = append(list, sent)
				}
				list = append(list, text)
			}
		}
	}
	require.Greater(t, len(list), 300)
	plain := []rune(strings.ReplaceAll(alphabet, string(rune(escape)), "") + extension)
	for _, letters := range [][]rune{plain, append(plain, []rune("ɓẹŋĩçêक’😀")...), []rune("a€"), []rune("ɓ😀")} {
		drawn := rapid.StringOfN(rapid.SampledFrom(letters), 1, 600, -1)
		for seed := range 100 {
			list = append(list, drawn.Example(seed))
		}
	}
	return list
}

// Wireshark unpacks the segments of each text, reads their headers and joins
// them. It follows 3GPP TS 23.038 and TS 23.040.
func TestSegmentsAgainstWireshark(t *testing.T) {
	// A reference names one text among 256.
	for few := range slices.Chunk(texts(t), 256) {
		var units [][]byte
		for ref, text := range few {
			p := Split(text)
			for i, s := range p.Segments {
				var header []byte
				if len(p.Segments) > 1 {
					header = []byte{5, 0, 3, byte(ref), byte(len(p.Segments)), byte(i + 1)}
				}
				units = append(units, submit(header, s, p.Encoding))
			}
		}
		read := wireshark(t, units)
		for _, text := range few {
			p := Split(text)
			for i, s := range p.Segments {
				got := read[0]
				read = read[1:]
				require.Equal(t, []string{map[Encoding]string{GSM7: "0", UCS2: "8"}[p.Encoding]}, got.Scheme)
				switch total := len(p.Segments); {
				case total == 1:
					require.Empty(t, got.Total)
					require.Equal(t, text, strings.Join(got.Text, ""))
				case i == total-1: // it shows them all
					require.Equal(t, p.Segments, got.Text)
					fallthrough
				default:
					require.Equal(t, s, got.Text[len(got.Text)-1])
					require.Equal(t, []string{fmt.Sprint(total)}, got.Total)
					require.Equal(t, []string{fmt.Sprint(i + 1)}, got.Seq)
				}
			}
		}
	}
}

// decoded is what Wireshark reads in one SMS-SUBMIT; what is not there is empty.
type decoded struct {
	Scheme []string `json:"gsm_sms.tp-dcs"`
	Total  []string `json:"gsm_sms.udh.mm.msg_parts"`
	Seq    []string `json:"gsm_sms.udh.mm.msg_part"`
	Text   []string `json:"gsm_sms.sms_text"`
}

func wireshark(t *testing.T, units [][]byte) (list []decoded) {
	dir := t.TempDir()
	dump, capture := filepath.Join(dir, "dump"), filepath.Join(dir, "capture")
	var lines strings.Builder
	for _, u := range units {
		fmt.Fprintf(&lines, "I\n000000 % x\n", u) // I: from the phone
	}
	require.NoError(t, os.WriteFile(dump, []byte(lines.String()), 0o600))
	peer(t, dir, nil, "text2pcap", "-q", "-D", "-l", "147", dump, capture)
	args := []string{"-o", `uat:user_dlts:"User 0 (DLT=147)","gsm_sms","0","","0",""`, "-r", capture, "-T", "json"}
	for _, field := range []string{"gsm_sms.tp-dcs", "gsm_sms.udh.mm.msg_parts", "gsm_sms.udh.mm.msg_part", "gsm_sms.sms_text"} {
		args = append(args, "-e", field)
	}
	var packets []struct {
		Source struct{ Layers decoded } `json:"_source"`
	}
	require.NoError(t, json.Unmarshal(peer(t, dir, nil, "tshark", args...), &packets))
	require.Len(t, packets, len(units))
	for _, p := range packets {
		list = append(list, p.Source.Layers)
	}
	return list
}

// The npm packages split-sms and sms-segments-calculator have tables and
// splitting of their own.
func TestSegmentsAgainstOtherLibraries(t *testing.T) {
	all := texts(t)
	dir := t.TempDir()
	script, err := os.ReadFile("../../testdata/peers/segments.cjs")
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "segments.cjs"), script, 0o600))
	peer(t, dir, nil, "npm", "install", "--silent", "--no-audit", "--no-fund", "--ignore-scripts", "split-sms@0.1.7", "sms-segments-calculator@1.3.0")
	asked, err := json.Marshal(all)
	require.NoError(t, err)
	var counted []struct {
		Alphabets []string
		Segments  []int
	}
	require.NoError(t, json.Unmarshal(peer(t, dir, asked, "node", "segments.cjs"), &counted))
	require.Len(t, counted, len(all))
	for i, text := range all {
		p := Split(text)
		name, n := p.Encoding.String(), len(p.Segments)
		require.Equal(t, []string{name, name}, counted[i].Alphabets, "%q", text)
		byUnits := n
		if p.Encoding == UCS2 && n > 1 && strings.ContainsFunc(text, unicode.IsMark) {
			// split-sms cuts a letter from its vowel sign, which a phone then shows
			// alone; the others keep it whole, and may take one segment more.
			byUnits = (p.Units + 66) / 67
		}
		require.Equal(t, []int{byUnits, n}, counted[i].Segments, "%q", text)
	}
}

// peer runs a program and returns what it prints.
func peer(t *testing.T, dir string, stdin []byte, name string, args ...string) []byte {
	var problem bytes.Buffer
	run := exec.Command(name, args...)
	run.Dir, run.Stdin, run.Stderr = dir, bytes.NewReader(stdin), &problem
	out, err := run.Output()
	require.NoError(t, err, problem.String())
	return out
}
