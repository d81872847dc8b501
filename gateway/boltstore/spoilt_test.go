package boltstore

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"path/filepath"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/locales"
)

// told answers a notice with its text.
type told struct{}

func (told) Step(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
	s.Seen, s.Profile.Consent = w.Now, "list"
	return dialog.Turn{State: s, Heard: dialog.Heard{Lang: "en"}, Replies: []dialog.Reply{
		{Key: dialog.NoticeKey, Text: "come", Urgency: dialog.Bulletin},
	}}
}

// TestUnreadableNotice: a notice that cannot be read, and a document that cannot,
// keep neither the store from opening nor the others from going out; they are
// counted.
func TestUnreadableNotice(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "store")
		s, err := Open(path, Options{NoSync: true})
		require.NoError(t, err)
		ctx := context.Background()
		body, err := encoding.Marshal("not a notice")
		require.NoError(t, err)
		spoilt, err := encoding.Marshal(document{Rev: 1, Body: body})
		require.NoError(t, err)
		require.NoError(t, s.do(ctx, func(w *write) error {
			for i := range 120 { // more than a page
				if err := w.put(bucketDesk, deskKey(gateway.NoticeKind, fmt.Sprintf("0-%03d", i)), spoilt); err != nil {
					return err
				}
			}
			return w.put(bucketDesk, deskKey(gateway.NoticeKind, "0-120"), []byte("not a document"))
		}))
		require.NoError(t, s.Close())

		s, err = Open(path, Options{NoSync: true})
		require.NoError(t, err)
		defer s.Close()
		service := gateway.NewService(told{}, s, gateway.Options{
			Main: "sms", Channels: map[string]gateway.Channel{"sms": {Ability: dialog.Ability{Sends: true}}},
			Log: slog.New(slog.NewTextHandler(io.Discard, nil)),
		})
		_, err = service.Receive(ctx, gateway.Inbound{
			ID: gateway.MessageID{1}, Channel: "sms", Sender: "999000000001", From: number(t, "999000000001"), Text: "hi", Via: dialog.SMS, At: time.Now(),
		})
		require.NoError(t, err)
		notices := gateway.NewNotices(s, service)
		running, cancel := context.WithCancel(ctx)
		ended := make(chan error, 1)
		go func() { ended <- notices.Run(running) }()
		started, err := notices.Start(ctx, gateway.Notice{Message: dialog.Notice{Texts: map[locales.Lang]string{"en": "come"}}}, time.Now())
		require.NoError(t, err)
		time.Sleep(time.Minute)
		all, err := notices.List(ctx)
		require.NoError(t, err)
		require.Len(t, all, 1)
		require.Equal(t, started.Message.ID, all[0].Notice.Message.ID)
		require.True(t, all[0].Notice.Listed)
		require.Equal(t, 1, all[0].Tally.Enlisted)
		require.Equal(t, 121, notices.Unreadable())
		cancel()
		require.NoError(t, <-ended)
	})
}
