package main

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/calc"
	"cobline/gateway"
)

// gatewayConfig is a line whose replies leave by a gateway at an address, in a
// place where it is noon.
func gatewayConfig(url string) string {
	hours := 12 - time.Now().UTC().Hour() // between -11 and 12
	return fmt.Sprintf(`
zone = "Etc/GMT%+d"
lat = 0.5
lon = %d
[outbox]
per_second = 2000
[[channel]]
name = "sms-a"
[channel.in]
id = "json:id"
from = "json:from"
text = "json:text"
at = "json:at"
[channel.out]
url = "%s"
body = { ref = "{{.Ref}}", to = "+{{.To}}", text = "{{.Text}}" }
`, -hours, max(-179, 15*hours), url)
}

// fakeGateway takes messages, and now and then fails as gateways do.
type fakeGateway struct {
	*httptest.Server
	taken chan struct{} // a message was taken

	mu     sync.Mutex
	got    map[string][]delivery // by reference, each attempt that was taken
	hungUp map[string]bool       // on this number, once: the line waits half a minute before it tries again
}

type delivery struct{ Ref, To, Text string }

func newFakeGateway(t *testing.T) *fakeGateway {
	r := draw(t)
	g := &fakeGateway{got: map[string][]delivery{}, hungUp: map[string]bool{}, taken: make(chan struct{}, 1<<20)}
	g.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, req *http.Request) {
		body, err := io.ReadAll(req.Body)
		if err != nil {
			return // the line was killed while it wrote
		}
		var d delivery
		if err := json.Unmarshal(body, &d); err != nil {
			t.Errorf("the line sent %q: %v", body, err)
		}
		g.mu.Lock()
		defer g.mu.Unlock()
		switch n := r.IntN(20); {
		case n == 0:
			w.WriteHeader(http.StatusTooManyRequests)
		case n == 1 && !g.hungUp[d.To]: // taken, but the line does not learn it
			g.hungUp[d.To] = true
			g.got[d.Ref] = append(g.got[d.Ref], d)
			panic(http.ErrAbortHandler)
		default:
			g.got[d.Ref] = append(g.got[d.Ref], d)
			g.taken <- struct{}{}
		}
	}))
	t.Cleanup(g.Close)
	return g
}

// has reports whether a message of this reference was taken.
func (g *fakeGateway) has(ref string) bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	return len(g.got[ref]) > 0
}

// look is how long after the lighting a drum is first looked at.
var look = calc.Clock(false).Cover.Low.Duration()

// Phones write and light drums while the program is killed again and again: in
// the end every reply and every timed message is at the gateway, and what is
// there twice has the same reference and says the same.
func TestNothingOwedIsLostInACrash(t *testing.T) {
	people, kills := size(24, 240), size(30, 100)
	g := newFakeGateway(t)
	p := newProcess(t, gatewayConfig(g.URL))
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: people}, Timeout: 30 * time.Second}

	events := make(chan struct{}, 1<<20)
	var writers sync.WaitGroup
	for person := range people {
		writers.Go(func() {
			said := []text{{Text: "cobs 1 drum snaps"}, {Text: "new drum"}, {Text: "LIT"}, {Text: "why"}, {Text: "help"}, {Text: "hi"}}
			for i, m := range said {
				m.ID, m.From = fmt.Sprintf("%d-%d", person, i), phoneNumber(person)
				if m.At = time.Now(); m.Text == "LIT" {
					// Lit long enough ago for the look at the smoke to be due soon.
					m.At = m.At.Add(-look + 3*time.Second)
				}
				for p.postOnce(client, m) != nil {
					p.wait()
				}
				events <- struct{}{}
			}
		})
	}
	go func() {
		for range g.taken {
			events <- struct{}{}
		}
	}()
	// Each person has six texts taken in and at least six messages sent out.
	points := killPoints(draw(t), kills, people*8)
	require.Equal(t, kills, p.crashes(points, events))
	writers.Wait()

	var owed []string
	for end := time.Now().Add(180 * time.Second); ; {
		time.Sleep(2 * time.Second)
		p.stop()
		journal := p.journal()
		var lit int
		if owed, lit = g.owed(journal); len(owed) == 0 && lit == people {
			break
		}
		require.True(t, time.Now().Before(end), "%d people told to look at the smoke; at the gateway are missing: %v", lit, owed)
		p.start()
	}
	repeats := 0
	for ref, all := range g.got {
		_, _, err := gateway.ParseRef(ref)
		require.NoError(t, err)
		for _, d := range all[1:] {
			repeats++
			require.Equal(t, all[0], d)
		}
	}
	t.Logf("%d kills, %d messages at the gateway, %d of them again", kills, len(g.got), repeats)
}

func (p *process) postOnce(client *http.Client, m text) error {
	_, err := p.post(client, "sms-a", m)
	return err
}

// owed returns the references of messages that the journal says are to be sent
// and that are not at the gateway, and how many people were told to look at
// their smoke.
func (g *fakeGateway) owed(journal []gateway.Entry) (owed []string, told int) {
	for _, e := range journal {
		for i, r := range e.Replies {
			if r.Out && !g.has(e.Key.Ref(i)) {
				owed = append(owed, e.Key.Ref(i))
			}
		}
		rang := e.Kind == gateway.Rang && strings.HasPrefix(string(e.Timer.ID), "smoke") && len(e.Replies) > 0
		// On a slow machine the report itself may come after the look was due;
		// its answer says so, and no bell follows.
		late := e.Text == "LIT" && !e.At.Before(e.SentAt.Truncate(time.Second).Add(look))
		if rang || late {
			told++
		}
	}
	return owed, told
}
