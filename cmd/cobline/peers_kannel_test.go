//go:build peers

package main

import (
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/gateway"
	"cobline/gateway/sms"
	"cobline/gateway/webhook"
)

// kannelSecret is one that Kannel can paste into an address.
const kannelSecret = "a-secret-of-the-tests"

// kannel is Debian's SMS gateway daemon: one program speaks to the network, the
// other to the line.
type kannel struct {
	t           *testing.T
	dir         string
	network     string            // fake, or smpp
	values      map[string]string // what stands for the names in its configuration
	bearer, box *peer
	centre      *peer // of a network of SMPP
}

// newKannel chooses the ports of a gateway that will be started later. The
// configuration of a line may name them.
func newKannel(t *testing.T, network string) *kannel {
	k := &kannel{t: t, dir: t.TempDir(), network: network, values: map[string]string{
		"SECRET":   kannelSecret,
		"PASSWORD": kannelSecret[:8], // as long as SMPP has it
		// Its delay between retries is one for all that wait, one after the
		// other, so there is none here.
		"RETRIES": "1000000",
	}}
	for _, port := range []string{"ADMIN", "BOX", "SENDSMS", "NETWORK", "PHONES"} {
		k.values[port] = freePort(t)
	}
	if network == "fake" { // whose connection is that of the phones
		k.values["PHONES"] = k.values["NETWORK"]
	}
	for name, v := range k.values {
		t.Setenv(name, v)
	}
	require.NoError(t, os.Mkdir(filepath.Join(k.dir, "spool"), 0o700))
	return k
}

// configure writes the configuration: the network on one side, and on the other
// the channels of a line. The name of a channel says how it is called and for
// which short code.
func (k *kannel) configure(line string, channels ...string) {
	text := fill(k.t, "kannel/core.conf", k.values) + fill(k.t, "kannel/"+k.network+".conf", k.values)
	for _, channel := range channels {
		address := fmt.Sprintf("http://%s/in/%s?k=%s&id=%%I", line, channel, kannelSecret)
		call := fmt.Sprintf("get-url = %q", address+"&from=%p&to=%P&text=%b&at=%T&charset=%C&udh=%u")
		if strings.HasPrefix(channel, "post-") {
			call = fmt.Sprintf("send-sender = true\npost-url = %q", address)
		}
		text += fill(k.t, "kannel/service.conf", map[string]string{"CODE": codeOf(channel), "CALL": call})
	}
	require.NoError(k.t, os.WriteFile(filepath.Join(k.dir, "kannel.conf"), []byte(text), 0o600))
}

// codeOf returns the short code of a channel.
func codeOf(channel string) string {
	_, code, _ := strings.Cut(channel, "-")
	return code
}

// start starts the gateway, in a zone of its own. Nobody else can answer at its
// ports: each wants its secret.
func (k *kannel) start() {
	zone := []string{"TZ=Asia/Kolkata"}
	k.bearer = startPeer(k.t, k.dir, zone, "/usr/sbin/bearerbox", "-v", "2", "kannel.conf")
	eventually(k.t, "the bearerbox", func() bool { return k.status() != "" })
	k.box = startPeer(k.t, k.dir, zone, "/usr/sbin/smsbox", "-v", "2", "kannel.conf")
	k.t.Cleanup(k.rest)
	eventually(k.t, "the smsbox", func() bool {
		return strings.Contains(k.status(), "smsbox:") && listens("127.0.0.1:"+k.values["SENDSMS"])
	})
}

// rest waits until the gateway has nothing to bring to the line: it does not end
// before.
func (k *kannel) rest() {
	if !k.t.Failed() && k.bearer.running() {
		eventually(k.t, "an empty gateway", func() bool { return !queued.MatchString(k.status()) })
	}
}

// queued is what the status says of a queue that holds messages.
var queued = regexp.MustCompile(`\([1-9][0-9]* queued\)`)

// stop ends the gateway as an operator does.
func (k *kannel) stop() {
	k.rest()
	k.box.stop()
	k.bearer.stop()
}

// status returns what the gateway says about itself, if it runs.
func (k *kannel) status() string {
	require.True(k.t, k.bearer.running(), "the bearerbox has ended")
	res, err := http.Get("http://127.0.0.1:" + k.values["ADMIN"] + "/status.txt?password=" + kannelSecret)
	if err != nil {
		return ""
	}
	defer res.Body.Close()
	text, err := io.ReadAll(res.Body)
	require.NoError(k.t, err)
	require.Contains(k.t, string(text), "Kannel")
	return string(text)
}

// kannelLine is a line behind a gateway, with phones in front of it.
type kannelLine struct {
	*process
	*kannel
	*phones
	numbers   map[string]string // whose a text is: each is said by one phone
	unordered map[string]bool   // whose messages the gateway may bring in another order
	again     int               // messages that came twice after crashes
	t         *testing.T
}

func newKannelLine(t *testing.T, k *kannel, config string, channels ...string) *kannelLine {
	l := &kannelLine{t: t, kannel: k, process: newProcess(t, config), numbers: map[string]string{}, unordered: map[string]bool{}}
	k.configure(l.addr, channels...)
	if k.network == "smpp" {
		k.startCentre()
	}
	k.start()
	l.phones = k.phones()
	return l
}

// text lets a phone say something that no other says.
func (l *kannelLine) text(from, to, text string) { l.raw(from, to, "text", text, text) }

// raw is text, as a line of the network.
func (l *kannelLine) raw(from, to, kind, data, text string) {
	require.NotContains(l.t, l.numbers, text)
	l.numbers[text] = "+" + strings.TrimPrefix(from, "+")
	l.say(from, to, kind, data)
}

// entries returns the journal, for which the line has to rest.
func (l *kannelLine) entries() []gateway.Entry {
	l.process.stop()
	defer l.process.start()
	return l.journal()
}

// people returns whose entries of the journal are.
func (l *kannelLine) people(journal []gateway.Entry) map[gateway.PersonKey]string {
	people := map[gateway.PersonKey]string{}
	for _, e := range journal {
		if number, ok := l.numbers[e.Text]; ok && e.Kind == gateway.Heard {
			people[e.Person] = number
		}
	}
	return people
}

// owed returns what each phone should show by the journal, in order.
func (l *kannelLine) owed(journal []gateway.Entry) map[string][]received {
	people, owed := l.people(journal), map[string][]received{}
	for _, e := range journal {
		number, code := people[e.Person], codeOf(e.Channel)
		var inline []string
		for _, said := range e.Replies {
			if said.Inline {
				inline = append(inline, said.Text)
			} else {
				owed[number] = append(owed[number], whole(code, said.Text))
			}
		}
		if inline != nil {
			owed[number] = append(owed[number], whole(code, strings.Join(inline, "\n")))
		}
	}
	return owed
}

// differs returns what phones have said and got beside what the journal says,
// and how often something came twice.
func (l *kannelLine) differs() (diff string, again int) {
	l.settle()
	journal := l.entries()
	var wrong []string
	times := map[string]int{}
	for _, e := range journal {
		if e.Kind != gateway.Heard {
			continue
		}
		if _, ok := l.numbers[e.Text]; !ok {
			wrong = append(wrong, fmt.Sprintf("nobody said %q", e.Text))
		}
		times[e.Text]++
	}
	for text := range l.numbers {
		if n := times[text]; n != 1 {
			wrong = append(wrong, fmt.Sprintf("%q was heard %d times", text, n))
		}
	}
	if wrong != nil {
		return strings.Join(wrong, "\n"), 0
	}
	for number, want := range l.owed(journal) {
		// A message that comes twice does so before the next.
		got := l.shown(number)
		if l.unordered[number] {
			slices.SortFunc(want, byText)
			slices.SortFunc(got, byText)
		}
		once := slices.Compact(slices.Clone(got))
		if want = slices.Compact(want); !slices.Equal(want, once) {
			return fmt.Sprintf("%s is owed %+v and got %+v", number, want, got), 0
		}
		again += len(got) - len(once)
	}
	return "", again
}

func byText(a, b received) int { return strings.Compare(a.Text, b.Text) }

// agree wants phones and journal to say the same.
func (l *kannelLine) agree(t *testing.T) {
	diff, again := l.differs()
	require.Empty(t, diff)
	require.Equal(t, l.again, again, "messages came twice")
}

// settle waits until nothing moves any more.
func (l *kannelLine) settle() {
	quiet, before := time.Now(), 0
	eventually(l.t, "an end of the traffic", func() bool {
		l.mu.Lock()
		defer l.mu.Unlock()
		now := 0
		for _, m := range l.got {
			now += len(m)
		}
		if now != before {
			quiet, before = time.Now(), now
		}
		return time.Since(quiet) > time.Second
	})
}

// Both ways through a gateway daemon as it is installed, over a network whose
// other end are the phones of the test.
func TestKannel(t *testing.T) {
	config, err := os.ReadFile(filepath.Join(peers, "kannel/line.toml"))
	require.NoError(t, err)
	l := newKannelLine(t, newKannel(t, "fake"), string(config), "get-32100", "post-32200")
	t.Run("every alphabet arrives whole and is answered", l.alphabets)
	t.Run("long texts arrive in pieces", l.pieces)
	t.Run("each message is reported delivered", l.reported)
	t.Run("the line chooses the alphabet of what it sends", l.sends)
	t.Run("the line crashes", l.crash)
	t.Run("the gateway restarts", l.restart)
	t.Run("the network is away and the gateway crashes", l.away)
}

// alphabets has each channel hear every kind of text, each from a phone of its
// own. What phones then show is what the journal says, segment for segment.
func (l *kannelLine) alphabets(t *testing.T) {
	number := 0
	for _, code := range []string{"32100", "32200"} {
		for _, text := range []string{
			"cobs 2 drums snaps",
			"Hello World & more?x=1+2 %41",
			"café 5 € {x} [y] ~ ^ \\ |",
			"@ £ ¥ è é ù ì ò Ç Ø ø Å å Δ _ Ω Æ æ ß É ¡ ¿ Ä Ö Ñ Ü § ä ö ñ ü à",
			"i burned my hand", // the answer names the number to call, which is in UCS-2
		} {
			number++
			l.text(fmt.Sprintf("+2547000001%02d", number), code, text+" "+code)
		}
		for _, text := range []string{"Hœ😀 ɓawo", "ሰላም", "magunzi pipa 2 kavu 👍🏽"} {
			number++
			text += " " + code
			l.raw(fmt.Sprintf("2547000001%02d", number), code, "ucs2", escape(text), text)
		}
	}
	l.agree(t)
	ucs2, long := 0, 0
	for _, messages := range l.got {
		for _, m := range messages {
			if m.Encoding == sms.UCS2 {
				ucs2++
			}
			if m.Segments > 1 {
				long++
			}
		}
	}
	require.GreaterOrEqual(t, ucs2, 2)
	require.GreaterOrEqual(t, long, 4)
}

// pieces has phones send long texts, whose segments come in any order; some so
// late that the gateway passes on what it has.
func (l *kannelLine) pieces(t *testing.T) {
	piece := func(from, code string, total, seq int, data string) {
		l.say(from, code, "udh-text", fmt.Sprintf("%%05%%00%%03%%07%%%02x%%%02x %s", total, seq, data))
	}
	for _, code := range []string{"32100", "32200"} {
		joined, late := "+254700"+code+"1", "+254700"+code+"2"
		l.numbers["cobs 2 drums, they snap and are € dry "+code] = joined
		l.numbers["husks 3 drums, they are & dry "+code] = late
		piece(joined, code, 3, 3, "are € dry "+code)
		piece(late, code, 2, 2, "are & dry "+code)
		piece(joined, code, 3, 1, "cobs 2 drums, ")
		piece(joined, code, 3, 2, "they snap and ")
	}
	time.Sleep(tooLate)
	for _, code := range []string{"32100", "32200"} {
		piece("+254700"+code+"2", code, 2, 1, "husks 3 drums, they ")
	}
	l.answered(t, "+254700321002", "+254700322002")
	l.agree(t)
}

// tooLate is after the gateway has passed on the pieces it has.
const tooLate = 4 * time.Second

// answered waits until something came to each phone.
func (l *kannelLine) answered(t *testing.T, numbers ...string) {
	for _, number := range numbers {
		eventually(t, "an answer to "+number, func() bool { return len(l.shown(number)) > 0 })
	}
}

// reported has every message that was sent end as delivered, whichever of its
// reports came first.
func (l *kannelLine) reported(t *testing.T) {
	l.reports(t, func(string) gateway.Delivery { return gateway.ReportDelivered })
}

// reports wants of each message that was sent what is known of those of a number.
func (l *kannelLine) reports(t *testing.T, want func(number string) gateway.Delivery) {
	until(t, func() string {
		journal := l.entries()
		last := map[string]gateway.Delivery{}
		for _, e := range journal {
			if e.Kind == gateway.Reported {
				last[e.Ref] = e.Delivery
			}
		}
		people, sent := l.people(journal), 0
		for _, e := range journal {
			for i, said := range e.Replies {
				if !said.Out {
					continue
				}
				sent++
				number := people[e.Person]
				if got := last[e.Key.Ref(i)]; got != want(number) {
					return fmt.Sprintf("of a message to %s is known: %v, not %v", number, got, want(number))
				}
			}
		}
		if sent < 10 || len(last) != sent {
			return fmt.Sprintf("%d messages were sent, and %d reported", sent, len(last))
		}
		return ""
	})
}

// until waits until nothing is wrong any more.
func until(t *testing.T, wrong func() string) {
	for end := time.Now().Add(45 * time.Second); ; time.Sleep(time.Second) {
		why := wrong()
		if why == "" {
			return
		}
		require.True(t, time.Now().Before(end), why)
	}
}

// sends lets the channel's own sender, which serve uses, send texts of every
// alphabet and length.
func (l *kannelLine) sends(t *testing.T) {
	config, err := Load(l.config, append(os.Environ(), "LINE="+l.addr))
	require.NoError(t, err)
	shape, err := webhook.Compile(config.Channel[0].Spec)
	require.NoError(t, err)
	for i, text := range []string{
		"plain", "5 € {x} [y] ~ ^ \\ |", "two\nlines & 100% + 1", "ɓ ẹ ŋ", "AB 😀 tail", "ሰላም",
		strings.Repeat("a", 161), strings.Repeat("a", 152) + strings.Repeat("€", 10), strings.Repeat("€", 81),
		strings.Repeat("ɓ ", 67), strings.Repeat("cobs ", 80), strings.Repeat("😀 ", 40),
	} {
		number := fmt.Sprintf("2547000002%02d", i)
		to, err := gateway.NumberOf(number)
		require.NoError(t, err)
		require.NoError(t, shape.Send(t.Context(), gateway.Outbound{
			To: to, From: "32100", Text: text, Ref: gateway.NewKey(time.Now(), uint64(i)).Ref(0), Expires: time.Now().Add(time.Hour),
		}))
		want := []received{whole("32100", text)}
		eventually(t, text, func() bool { return len(l.shown("+"+number)) > 0 })
		eventually(t, fmt.Sprintf("%v, not %v", want, l.shown("+"+number)), func() bool { return slices.Equal(want, l.shown("+"+number)) })
	}
}

// crash kills the line while people write to it and it answers them.
func (l *kannelLine) crash(t *testing.T) {
	const people, each, kills = 12, 4, 4
	for i := range people * each {
		number := fmt.Sprintf("+2547000004%02d", i%people)
		code := "32100"
		if i%2 != 0 { // an answer that was lost comes when the gateway asks again
			code, l.unordered[number] = "32200", true
		}
		l.text(number, code, fmt.Sprintf("%d drums of cobs, they snap, say %d", i/people+1, i))
		time.Sleep(10 * time.Millisecond)
		if i%(people*each/kills) == 5 {
			l.process.kill()
			l.process.start()
		}
	}
	l.recovers(t)
	t.Logf("%d messages came twice", l.again)
}

// recovers waits until phones and journal say the same again.
func (l *kannelLine) recovers(t *testing.T) {
	until(t, func() (diff string) {
		diff, l.again = l.differs()
		return diff
	})
}

// restart lets people be answered whose gateway is being restarted.
func (l *kannelLine) restart(t *testing.T) {
	l.kannel.stop()
	for i := range 10 {
		l.call(fmt.Sprintf("+2547000005%02d", i), fmt.Sprintf("cobs 2 drums snaps, say %d more", i))
	}
	l.kannel.start()
	l.dial(l.kannel)
	before := l.again
	l.recovers(t)
	require.Equal(t, before, l.again, "what could not be sent came twice")
}

// away lets the gateway take messages that it cannot pass on before it crashes.
func (l *kannelLine) away(t *testing.T) {
	require.NoError(t, l.conn.Close())
	eventually(t, "a network that is away", func() bool { return strings.Contains(l.status(), "(re-connecting") })
	var numbers []string
	for i := range 10 {
		number := fmt.Sprintf("+2547000006%02d", i)
		numbers = append(numbers, number)
		l.unordered[number] = true // its store has no order
		l.call(number, fmt.Sprintf("cobs 2 drums snaps, say %d again", i))
	}
	owed, kept := l.owed(l.entries()), 0
	for _, number := range numbers {
		kept += len(owed[number])
	}
	require.GreaterOrEqual(t, kept, len(numbers))
	eventually(t, "messages in the gateway", func() bool { return strings.Contains(l.status(), fmt.Sprintf("store size %d\n", kept)) })
	l.bearer.kill()
	l.box.kill()
	l.kannel.start()
	l.dial(l.kannel)
	l.agree(t)
}

// call brings a text as a gateway does, while there is none.
func (l *kannelLine) call(from, text string) {
	l.numbers[text] = from
	query := url.Values{"k": {kannelSecret}, "id": {text}, "from": {from}, "to": {"32100"}, "text": {text}, "at": {fmt.Sprint(time.Now().Unix())}}
	res, err := http.Get("http://" + l.addr + "/in/get-32100?" + query.Encode())
	require.NoError(l.t, err)
	require.NoError(l.t, res.Body.Close())
	require.Equal(l.t, http.StatusOK, res.StatusCode)
}

// A gateway reads an answer in its own way: it takes 204 for a failure and tells
// the person so, cannot show JSON, and chooses an alphabet that loses letters
// unless it is told. What the line answers unless configured otherwise is right.
func TestKannelTroubleAnswers(t *testing.T) {
	const coding = `headers = { X-Kannel-Coding = '{{if eq .Encoding "ucs-2"}}2{{else}}0{{end}}' }`
	answers := []struct {
		name, answer string
		shows        func(text string) []string
	}{
		{"empty", `carry = "none", body = ""`, nothing},
		{"accepted", `carry = "none", body = "", status = 202`, nothing},
		{"no content", `carry = "none", body = "", status = 204`, just("Could not fetch content, sorry.")},
		{"usual", `carry = "all", ` + coding, func(text string) []string { return []string{text} }},
		{"no coding", `carry = "all"`, func(text string) []string { return []string{strings.ReplaceAll(text, "Ɓ", "?")} }},
		{"JSON", `carry = "all", body = { replies = "{{.Replies}}" }`, just("Result could not be represented as an SMS message.")},
	}
	config := "emergency = \"Ɓaba 199\"\n"
	var channels []string
	for i, tt := range answers {
		channels = append(channels, fmt.Sprintf("get-33%03d", i))
		config += fmt.Sprintf(`
[[channel]]
name = %q
[channel.in]
method = "GET"
from = "query:from"
text = "query:text"
id = "query:id"
check = { token = "query:k", value = "$SECRET" }
answer = { %s }
[channel.out]
url = "http://127.0.0.1:9/"
body = "{{.Text}}"
encode = "text"
dry = true
`, channels[i], tt.answer)
	}
	k := newKannel(t, "fake")
	k.values["RETRIES"] = "2"
	l := newKannelLine(t, k, config, channels...)
	for i := range answers {
		l.text(phoneNumber(i), codeOf(channels[i]), fmt.Sprintf("i burned my hand %d", i))
	}
	l.settle()
	journal := slices.DeleteFunc(l.entries(), func(e gateway.Entry) bool { return e.Kind != gateway.Heard })
	require.Len(t, journal, len(answers), "what came again was answered before")
	replies := map[string][]gateway.Said{}
	for _, e := range journal {
		replies[e.Channel] = e.Replies
	}
	for i, tt := range answers {
		t.Run(tt.name, func(t *testing.T) {
			var texts, got []string
			for _, said := range replies[channels[i]] {
				texts = append(texts, said.Text)
			}
			for _, m := range l.shown(phoneNumber(i)) {
				got = append(got, m.Text)
			}
			require.Equal(t, tt.shows(strings.Join(texts, "\n")), got)
		})
	}
}

func nothing(string) []string { return nil }

func just(text string) func(string) []string {
	return func(string) []string { return []string{text} }
}
