package outbox

import (
	"context"
	"math"

	"github.com/prometheus/client_golang/prometheus"

	"cobline/gateway"
)

type metrics struct {
	settled  *prometheus.CounterVec
	segments *prometheus.CounterVec
	seconds  *prometheus.HistogramVec
	paused   *prometheus.GaugeVec
}

// newMetrics makes the metrics of one worker; r may be nil. Workers of several
// channels share them.
func newMetrics(r prometheus.Registerer) *metrics {
	m := &metrics{
		settled: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "cobline_outbox_settled_total", Help: "Messages that were sent, put off, dropped or lost sight of.",
		}, []string{"channel", "urgency", "outcome", "why"}),
		segments: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "cobline_outbox_segments_total", Help: "Segments the gateway took.",
		}, []string{"channel"}),
		seconds: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name: "cobline_outbox_send_seconds", Help: "How long the gateway took to answer.",
			Buckets: prometheus.ExponentialBuckets(0.01, 4, 7),
		}, []string{"channel"}),
		paused: prometheus.NewGaugeVec(prometheus.GaugeOpts{
			Name: "cobline_channel_paused", Help: "1 while a gateway takes nothing: credit, credentials or address need a person.",
		}, []string{"channel"}),
	}
	if r == nil {
		return m
	}
	m.settled = register(r, m.settled)
	m.segments = register(r, m.segments)
	m.seconds = register(r, m.seconds)
	m.paused = register(r, m.paused)
	return m
}

// waits enters how many messages wait on a channel.
func waits(r prometheus.Registerer, st gateway.Outbox, channel string) {
	if r == nil {
		return
	}
	register(r, prometheus.NewGaugeFunc(prometheus.GaugeOpts{
		Name: "cobline_outbox_waiting", Help: "Messages that wait to be sent.", ConstLabels: prometheus.Labels{"channel": channel},
	}, func() float64 {
		n, err := st.Waiting(context.Background())
		if err != nil {
			return math.NaN()
		}
		return float64(n[channel])
	}))
}

// register enters a collector, or returns the one a worker before entered.
func register[C prometheus.Collector](r prometheus.Registerer, c C) C {
	if err := r.Register(c); err != nil {
		if had, ok := err.(prometheus.AlreadyRegisteredError); ok {
			return had.ExistingCollector.(C)
		}
		panic(err) // two metrics of one name: a mistake of the program
	}
	return c
}

func (m *metrics) count(o gateway.Outbound, s gateway.Settlement) {
	m.settled.WithLabelValues(o.Channel, o.Urgency.String(), s.Outcome.String(), s.Why).Inc()
	if s.Outcome == gateway.Sent {
		m.segments.WithLabelValues(o.Channel).Add(float64(o.Segments))
	}
}
