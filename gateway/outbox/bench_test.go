package outbox_test

import (
	"context"
	"fmt"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/boltstore"
	"cobline/gateway/outbox"
	"cobline/locales"
)

// counter is a gateway that takes everything at once.
type counter struct{ took atomic.Int64 }

func (c *counter) Send(context.Context, gateway.Outbound) error {
	c.took.Add(1)
	return nil
}

// BenchmarkNotice is a notice to everybody on a store that flushes: the list,
// then each reference told, sent and settled.
func BenchmarkNotice(b *testing.B) {
	catalog, err := locales.Load()
	require.NoError(b, err)
	engine, err := dialog.New(catalog, dialog.Options{})
	require.NoError(b, err)
	st, err := boltstore.Open(filepath.Join(b.TempDir(), "store"), boltstore.Options{})
	require.NoError(b, err)
	defer func() { require.NoError(b, st.Close()) }()
	service := gateway.NewService(engine, st, gateway.Options{
		Main: "sms", Channels: map[string]gateway.Channel{"sms": {Ability: dialog.Ability{Sends: true}, Carry: gateway.CarryAll}},
	})
	notices := gateway.NewNotices(st, service)
	sender := &counter{}
	worker := outbox.New(st, "sms", sender, outbox.Options{PerSecond: 1e6, Notices: notices})

	people := b.N
	for i := range people {
		n := person(b, i)
		_, err := service.Receive(b.Context(), gateway.Inbound{
			ID: gateway.NewMessageID("sms", n.Digits(), fmt.Sprint(i)), Channel: "sms", Sender: n.Digits(), From: n,
			Via: dialog.SMS, Text: "cobs 1 drum dry", At: time.Now(),
		})
		require.NoError(b, err)
	}
	ctx, cancel := context.WithCancel(b.Context())
	defer cancel()
	b.ResetTimer()
	_, err = notices.Start(ctx, rain(6*time.Hour), time.Now())
	require.NoError(b, err)
	ended := make(chan error, 2)
	go func() { ended <- notices.Run(ctx) }()
	go func() { ended <- worker.Run(ctx) }()
	for sender.took.Load() < int64(people) {
		time.Sleep(time.Millisecond)
	}
	b.StopTimer()
	cancel()
	for range 2 {
		require.NoError(b, <-ended)
	}
	b.ReportMetric(float64(people)/b.Elapsed().Seconds(), "notices/s")
}
