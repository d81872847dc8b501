package main

import (
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

const plainConfig = `
[[channel]]
name = "plain"
[channel.in]
id = "json:id"
from = "json:from"
text = "json:text"
at = "json:at"
answer = { type = "application/json", carry = "all", body = { replies = "{{.Replies}}", more = "{{.More}}" } }
`

// what simulated phones write, over and over.
var whatPeopleWrite = []string{
	"hi", "cobs 2 drums snaps", "1", "2", "help", "no, 3 drums", "menu", "rice husk 5 sacks",
	"dry", "back", "qwzx", "mahindi magunzi pipa 2 kavu", "my child fainted near the kiln", "english", "why",
}

// Sixty-four phones write while the program is killed again and again. What was
// acknowledged is in the journal exactly once; what was not can be sent again,
// and then is; and the same message always has the same answer. This is a crash
// of the process, not a power cut: what the system has taken is not lost.
func TestNothingAcknowledgedIsLostInACrash(t *testing.T) {
	const senders = 64
	kills, texts := size(20, 100), size(100, 500)
	p := newProcess(t, plainConfig)
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: senders}, Timeout: 30 * time.Second}

	var (
		mu           sync.Mutex
		answers      = map[string]string{} // of what was acknowledged
		acknowledged = make(chan struct{}, senders*texts)
		writers      sync.WaitGroup
	)
	message := func(sender, i int) text {
		return text{
			ID:   fmt.Sprintf("%d-%d", sender, i),
			From: phoneNumber(sender),
			Text: whatPeopleWrite[(sender+i)%len(whatPeopleWrite)],
		}
	}
	// take sends a message and holds its answer against the one it had before.
	take := func(m text) error {
		answer, err := p.post(client, "plain", m)
		if err != nil {
			return err
		}
		mu.Lock()
		defer mu.Unlock()
		if before, ok := answers[m.ID]; ok && before != answer {
			t.Errorf("message %s was answered\n%s\nand then\n%s", m.ID, before, answer)
		}
		answers[m.ID] = answer
		return nil
	}
	for sender := range senders {
		writers.Go(func() {
			for i := range texts {
				if take(message(sender, i)) == nil {
					acknowledged <- struct{}{}
				} else {
					p.wait() // what failed is sent again later
				}
			}
		})
	}
	go func() {
		writers.Wait()
		close(acknowledged)
	}()
	// Each kill costs at most one message a sender, and a few more while the line
	// comes up.
	points := killPoints(draw(t), kills, senders*texts/2)
	require.Equal(t, kills, p.crashes(points, acknowledged))
	for range acknowledged { // until the writers are through
	}
	p.kill()

	entries := p.entriesByID()
	for id := range answers {
		require.Equal(t, 1, entries[id], "entries of acknowledged message %s", id)
	}
	t.Logf("%d kills, %d of %d messages acknowledged, %d more in the journal", kills, len(answers), senders*texts, len(entries)-len(answers))
	require.Less(t, len(answers), senders*texts, "no kill met a message on its way")

	p.start()
	for range 2 {
		for sender := range senders {
			writers.Go(func() {
				for i := range texts {
					if err := take(message(sender, i)); err != nil {
						t.Errorf("message %d of sender %d: %v", i, sender, err)
					}
				}
			})
		}
		writers.Wait()
	}
	p.stop()
	entries = p.entriesByID()
	require.Len(t, entries, senders*texts)
	require.Equal(t, []int{1}, slices.Compact(slices.Sorted(maps.Values(entries))))
}

// entriesByID counts the journal's entries of each message.
func (p *process) entriesByID() map[string]int {
	entries := map[string]int{}
	for _, e := range p.journal() {
		entries[e.Provider]++
	}
	return entries
}

// BenchmarkInbound is the whole way of a text through the real program: HTTP,
// the dialogue, and a commit that is on the disk before the answer leaves.
func BenchmarkInbound(b *testing.B) {
	for _, senders := range []int{1, 64} {
		b.Run(fmt.Sprintf("senders=%d", senders), func(b *testing.B) {
			p := newProcess(b, plainConfig)
			client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: senders}}
			var sent atomic.Int64
			var writers sync.WaitGroup
			b.ResetTimer()
			for sender := range senders {
				writers.Go(func() {
					for {
						i := int(sent.Add(1))
						if i > b.N {
							return
						}
						m := text{ID: strconv.Itoa(i), From: phoneNumber(sender), Text: whatPeopleWrite[i%len(whatPeopleWrite)]}
						if _, err := p.post(client, "plain", m); err != nil {
							b.Error(err)
						}
					}
				})
			}
			writers.Wait()
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "texts/s")
		})
	}
}
