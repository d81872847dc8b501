package boltstore

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"path/filepath"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
)

// rings counts the timers that rang.
type rings struct{ atomic.Int64 }

func (r *rings) Step(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
	r.Add(1)
	s.Timers = nil
	return dialog.Turn{State: s, Replies: []dialog.Reply{{Text: "rang", Urgency: dialog.Reminder}}}
}

// One conversation that cannot be decoded keeps nobody else from ringing.
func TestTenThousandAlarmsAndAnUndecodableConversation(t *testing.T) {
	const people = 10_000
	synctest.Test(t, func(t *testing.T) {
		s, err := Open(filepath.Join(t.TempDir(), "store"), Options{NoSync: true})
		require.NoError(t, err)
		defer s.Close()
		ctx := context.Background()
		numbers := make([]gateway.Number, people)
		for i := range numbers {
			numbers[i] = number(t, fmt.Sprintf("999%09d", i))
		}
		at := time.Now()
		require.NoError(t, s.do(ctx, func(w *write) error {
			for _, n := range numbers {
				c := change(n)
				c.Conversation.State.Timers = []dialog.Timer{{ID: "a", At: at, Kind: "vents"}}
				c.Set = []gateway.Alarm{{Number: n, ID: "a", At: at}}
				p, err := prepare(c)
				if err != nil {
					return err
				}
				if err := s.commit(w, p); err != nil {
					return err
				}
			}
			return w.put(bucketConv, numberKey(numbers[17]), []byte("not a conversation"))
		}))
		var r rings
		service := gateway.NewService(&r, s, gateway.Options{
			Main: "sms", Channels: map[string]gateway.Channel{"sms": {Ability: dialog.Ability{Sends: true}}},
			Log: slog.New(slog.NewTextHandler(io.Discard, nil)),
		})
		ctx, cancel := context.WithTimeout(ctx, 30*time.Second)
		defer cancel()
		require.NoError(t, gateway.RunAlarms(ctx, s, service))
		require.EqualValues(t, people-1, r.Load())
		left, err := s.DueAlarms(context.Background(), at.Add(24*time.Hour), people)
		require.NoError(t, err)
		require.Len(t, left, 1)
		require.Equal(t, numbers[17], left[0].Number)
		require.Equal(t, 1, left[0].Tries)
	})
}
