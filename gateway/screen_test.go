package gateway_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/sms"
)

// hooked is a dialogue whose every reply holds a letter outside the 7-bit
// alphabet, as a language with hooked letters would.
type hooked struct{ gateway.Stepper }

func (h hooked) Step(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
	turn := h.Stepper.Step(s, ev, w)
	for i := range turn.Replies {
		turn.Replies[i].Text = strings.ReplaceAll(turn.Replies[i].Text, "b", "ɓ") + " ɗ"
	}
	return turn
}

// Whatever is keyed in any topic, each screen is within what the network shows:
// 182 septets or 80 characters in UCS-2 (3GPP TS 23.038, section 5: 160 octets),
// or the smaller limit of a channel; and every page but the last leads on.
func TestScreensFit(t *testing.T) {
	engine := newEngine(t)
	topics := []string{
		"load", "burn", "binder", "pressing", "drying", "dry cobs", "plan", "price", "fix", "check", "batches", "weather", "safety", "ask", "enrol", "hurt", "language",
	}
	keys := []string{"1", "2", "3", "4", "5", "0", "7", "8", "8", "9", "12", "300", "cobs", "LIT", "COVERED", "OPENED", "9 kg", "?", ""}
	for _, alphabet := range []struct {
		name    string
		dialog  gateway.Stepper
		charset sms.Encoding
	}{{"7-bit", engine, sms.GSM7}, {"UCS-2", hooked{engine}, sms.UCS2}} {
		for _, limit := range []int{160, 182} {
			most := limit
			if alphabet.charset == sms.UCS2 {
				most = limit * 80 / 182
			}
			t.Run(fmt.Sprint(alphabet.name, " ", limit), func(t *testing.T) {
				l := newLine(t, func(o *gateway.Options) {
					o.Channels["ussd"] = gateway.Channel{Ability: dialog.Ability{Limit: limit}, Keys: pageKeys}
				})
				l.step = alphabet.dialog.Step
				l.service.SetFacts(facts(t))
				person := 0
				rapid.Check(t, func(rt *rapid.T) {
					person++
					lang := rapid.SampledFrom([]string{"english", "kiswahili"}).Draw(rt, "language")
					inputs := append([]string{"", lang}, rapid.SampledFrom(topics).Draw(rt, "topic"))
					inputs = append(inputs, rapid.SliceOfN(rapid.SampledFrom(keys), 1, 12).Draw(rt, "keys")...)
					for _, input := range inputs {
						l.pass(5 * time.Second)
						in := l.dial("s1", input)
						in.From = number(t, person)
						screen := l.receive(in).Screen
						require.NotEmpty(rt, screen.Pages, input)
						for i, page := range screen.Pages {
							encoding, units := sms.Measure(page)
							if encoding == sms.GSM7 {
								require.LessOrEqual(rt, units, limit, page)
							} else {
								require.LessOrEqual(rt, units, most, page)
							}
							require.True(rt, i == len(screen.Pages)-1 || strings.Contains(page, "8 more"), page)
						}
					}
				})
			})
		}
	}
}

// facts is a place with all that dialogues need.
func facts(t *testing.T) *dialog.Facts {
	zone, err := time.LoadLocation("Africa/Nairobi")
	require.NoError(t, err)
	return &dialog.Facts{Home: "home", Places: map[string]dialog.Place{
		"home": {Key: "home", Name: "Home", Zone: zone, Lat: -1.29, Lon: 36.82, Altitude: 1700, Currency: "KES", Emergency: "112"},
		"hill": {Key: "hill", Name: "Ɗakin Hill", Zone: zone, Lat: -1.3, Lon: 36.9, Altitude: 1900, Currency: "KES"},
	}}
}
