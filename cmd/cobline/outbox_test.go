package main

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/calc"
	"cobline/dialog"
	"cobline/gateway"
)

// gatewayConfig is a line whose replies leave by a gateway at an address, in a
// place where it is noon. What comes in on its channel plain is answered at once
// and leaves nothing to be sent.
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
`, -hours, max(-179, 15*hours), url) + plainConfig
}

// fakeGateway takes messages, and now and then fails as gateways do.
type fakeGateway struct {
	*httptest.Server
	taken chan struct{} // a message was taken
	// hangUp tells of which messages, and how often for one number, the gateway
	// takes one and hangs up before the line learns it.
	hangUp func(text string) int

	mu     sync.Mutex
	down   bool
	asked  int
	got    map[string][]delivery // by reference, each attempt that was taken
	hungUp map[string]int
}

type delivery struct{ Ref, To, Text string }

func newFakeGateway(t *testing.T, hangUp func(text string) int) *fakeGateway {
	r := draw(t)
	g := &fakeGateway{hangUp: hangUp, got: map[string][]delivery{}, hungUp: map[string]int{}, taken: make(chan struct{}, 1<<20)}
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
		g.asked++
		switch {
		case g.down:
			w.WriteHeader(http.StatusInternalServerError)
			return
		case g.asked%200 == 150: // the line rests for two seconds
			w.WriteHeader(http.StatusTooManyRequests)
			return
		}
		g.got[d.Ref] = append(g.got[d.Ref], d)
		if g.hungUp[d.To] < g.hangUp(d.Text) && r.IntN(8) == 0 {
			g.hungUp[d.To]++
			panic(http.ErrAbortHandler)
		}
		g.taken <- struct{}{}
	}))
	t.Cleanup(g.Close)
	return g
}

func (g *fakeGateway) setDown(down bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.down = down
}

// has reports whether a message of this reference was taken.
func (g *fakeGateway) has(ref string) bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	return len(g.got[ref]) > 0
}

// rainText is how the ready notice of rain begins.
const rainText = "Rain is likely"

// hangsUpOnNotices also hangs up on other messages where there is the time: the
// line waits half a minute before it tries one of those again.
func hangsUpOnNotices(text string) int {
	if strings.HasPrefix(text, rainText) {
		return 1
	}
	return size(0, 1)
}

// noticed returns how often each phone was sent a notice.
func (g *fakeGateway) noticed() map[string]int {
	g.mu.Lock()
	defer g.mu.Unlock()
	times := map[string]int{}
	for _, all := range g.got {
		for _, d := range all {
			if strings.HasPrefix(d.Text, rainText) {
				times[d.To]++
			}
		}
	}
	return times
}

// look is how long after the lighting a drum is first looked at.
var look = calc.Clock(false).Cover.Low.Duration()

// Phones write and light drums, and a notice goes out, while the program is
// killed again and again. In the end no acknowledged text is lost; every reply
// and every timed message is at the gateway, and what is there twice has the
// same reference and says the same; the notice is nowhere twice, and of whom it
// is not known whether they have it is counted. What was spent is what the
// journal says was sent.
func TestNothingOwedIsLostInACrash(t *testing.T) {
	people, readers, kills := size(24, 240), size(60, 500), size(20, 100)
	g := newFakeGateway(t, hangsUpOnNotices)
	p := newProcess(t, gatewayConfig(g.URL))
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: people}, Timeout: 30 * time.Second}
	p.ask(client, people, readers)
	notice := p.sendRain(24 * time.Hour)

	events := make(chan struct{}, 1<<20)
	var writers sync.WaitGroup
	for person := range people {
		writers.Go(func() {
			said := []text{{Text: "cobs 1 drum snaps"}, {Text: "new drum"}, {Text: "LIT"}, {Text: "why"}, {Text: "help"}, {Text: "hi"}}
			for i, m := range said {
				m.ID, m.From = fmt.Sprintf("%d-%d", person, i), phoneNumber(person)
				if m.At = time.Now(); m.Text == "LIT" {
					// Lit long enough ago for the look at the smoke to be due soon.
					m.At = m.At.Add(-look + 2*time.Second)
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
	var journal []gateway.Entry
	for end := time.Now().Add(180 * time.Second); ; p.start() {
		p.drain(end)
		p.stop()
		journal = p.journal()
		var lit int
		if owed, lit = g.owed(journal); len(owed) == 0 && lit == people {
			break
		}
		require.True(t, time.Now().Before(end), "%d people told to look at the smoke; at the gateway are missing: %v", lit, owed)
	}
	entries := map[string]int{}
	for _, e := range journal {
		entries[e.Provider]++
	}
	for person := range people {
		for i := range 6 {
			require.Equal(t, 1, entries[fmt.Sprintf("%d-%d", person, i)], "text %d of person %d", i, person)
		}
	}
	require.Equal(t, spent(journal), p.channels()[0].Month.Segments, "what is spent is neither lost nor doubled")
	repeats := 0
	for ref, all := range g.got {
		_, _, err := gateway.ParseRef(ref)
		require.NoError(t, err)
		for _, d := range all[1:] {
			repeats++
			require.Equal(t, all[0], d)
		}
	}
	tally := p.state(notice)
	g.once(t, tally)
	require.LessOrEqual(t, readers, tally.Enlisted)
	t.Logf("%d kills, %d messages at the gateway, %d of them again; the notice was for %d, of whom %d are unknown",
		kills, len(g.got), repeats, tally.Enlisted, tally.Unknown)
}

// spent returns the segments of all messages that the journal says were sent or
// may have been.
func spent(journal []gateway.Entry) (n int) {
	segments := map[string]int{}
	for _, e := range journal {
		for i, r := range e.Replies {
			ref := e.Key.Ref(i)
			if e.Kind == gateway.Noticed && !r.Out {
				ref = e.Ref // a notice keeps its own
			}
			segments[ref] = r.Segments
		}
	}
	for _, e := range journal {
		if e.Outcome == gateway.Sent || e.Outcome == gateway.Unknown {
			n += segments[e.Ref]
		}
	}
	return n
}

// once wants a notice to be nowhere twice, and what the line says of it to be
// what the gateway has.
func (g *fakeGateway) once(t *testing.T, s noticeState) {
	times := g.noticed()
	for to, n := range times {
		require.Equal(t, 1, n, "notices at %s", to)
	}
	require.Zero(t, s.Waiting)
	require.GreaterOrEqual(t, len(times), s.Reached, "reached, but not at the gateway")
	require.LessOrEqual(t, len(times), s.Reached+s.Unknown, "at the gateway, but not counted")
}

// https://github.com/Uninett/nav/issues/1276: after a crash a queue is sent
// again, twenty messages to one phone. The program is killed during a broadcast
// to hundreds: nobody gets it twice, and what expired meanwhile is dropped.
func TestTrouble12QueueSentAgainAfterACrash(t *testing.T) {
	readers, kills := size(500, 2500), size(8, 100) // a kill leaves up to 16 of unknown fate
	g := newFakeGateway(t, hangsUpOnNotices)
	p := newProcess(t, gatewayConfig(g.URL))
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 64}, Timeout: 30 * time.Second}
	p.ask(client, 0, readers)

	notice := p.sendRain(24 * time.Hour)
	points := killPoints(draw(t), kills, readers/4)
	require.Equal(t, kills, p.crashes(points, g.taken))
	p.drain(time.Now().Add(180 * time.Second))
	s := p.state(notice)
	g.once(t, s)
	require.Equal(t, readers, s.Enlisted)
	t.Logf("%d kills, %d of %d reached, %d unknown, %d phones have it", kills, s.Reached, readers, s.Unknown, len(g.noticed()))

	// The gateway is away until another notice has expired, over a crash.
	g.setDown(true)
	before := len(g.noticed())
	var late noticeState
	for life := 3 * time.Second; late.Enlisted < readers; life *= 2 { // a slow machine needs longer to list them
		notice = p.sendRain(life)
		for late = p.state(notice); late.Enlisted < readers && time.Now().Before(late.Expires); late = p.state(notice) {
			time.Sleep(20 * time.Millisecond)
		}
	}
	p.kill()
	time.Sleep(time.Until(late.Expires))
	g.setDown(false)
	p.start()
	p.drain(time.Now().Add(180 * time.Second))
	late = p.state(notice)
	require.Equal(t, readers, late.Expired+late.Unknown)
	require.Positive(t, late.Expired)
	require.Len(t, g.noticed(), before)
	g.once(t, s)
}

// ask lets phones ask for a recipe, on the channel that answers at once; they
// are numbered from first.
func (p *process) ask(client *http.Client, first, phones int) {
	var writers sync.WaitGroup
	for writer := range 32 {
		writers.Go(func() {
			for i := first + writer; i < first+phones; i += 32 {
				_, err := p.post(client, "plain", text{ID: fmt.Sprintf("ask-%d", i), From: phoneNumber(i), Text: "cobs 1 drum snaps"})
				if err != nil {
					p.t.Errorf("phone %d: %v", i, err)
				}
			}
		})
	}
	writers.Wait()
}

// loaded returns the configuration the program runs with.
func (p *process) loaded() Config {
	config, err := Load(p.config, append(os.Environ(), "COBLINE_STORE_PATH="+p.dir))
	require.NoError(p.t, err)
	return config
}

// sendRain sends a notice through the running line and returns its id.
func (p *process) sendRain(life time.Duration) string {
	n, err := json.Marshal(gateway.Notice{Message: dialog.Notice{Ready: "rain", Hour: time.Now().Add(life)}})
	require.NoError(p.t, err)
	var s noticeState
	live, err := order(p.loaded(), "notice-send", string(n), &s)
	require.NoError(p.t, err)
	require.True(p.t, live)
	return s.ID
}

// state returns how far a notice has come, whether the program runs or not.
func (p *process) state(id string) noticeState {
	var all []noticeState
	_, err := order(p.loaded(), "notice-list", "", &all)
	require.NoError(p.t, err)
	i := slices.IndexFunc(all, func(s noticeState) bool { return s.ID == id })
	require.GreaterOrEqual(p.t, i, 0)
	return all[i]
}

// channels returns how the channels fare, whether the program runs or not.
func (p *process) channels() (all []channelState) {
	_, err := order(p.loaded(), "channels", "", &all)
	require.NoError(p.t, err)
	return all
}

// drain waits until nothing waits to be sent and notices are listed.
func (p *process) drain(end time.Time) {
	for {
		channels := p.channels()
		var notices []noticeState
		_, err := order(p.loaded(), "notice-list", "", &notices)
		require.NoError(p.t, err)
		waits := slices.ContainsFunc(channels, func(c channelState) bool { return c.Waiting > 0 }) ||
			slices.ContainsFunc(notices, func(s noticeState) bool { return !s.Listed })
		if !waits {
			return
		}
		require.True(p.t, time.Now().Before(end), "still waiting: %+v %+v", channels, notices)
		time.Sleep(100 * time.Millisecond)
	}
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
