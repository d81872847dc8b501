package web

import (
	"errors"
	"time"

	"github.com/gofiber/fiber/v2"
	"github.com/prometheus/client_golang/prometheus"
)

type metrics struct {
	requests *prometheus.CounterVec
	seconds  *prometheus.HistogramVec
	reports  *prometheus.CounterVec
	doubts   *prometheus.CounterVec
	silenced *prometheus.CounterVec
}

func newMetrics(r prometheus.Registerer) metrics {
	m := metrics{
		requests: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "cobline_inbound_requests_total",
			Help: "Requests of gateways, by channel and outcome.",
		}, []string{"channel", "outcome"}),
		seconds: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name:    "cobline_inbound_seconds",
			Help:    "Time from the arrival of a request to its answer.",
			Buckets: prometheus.ExponentialBuckets(0.0005, 2, 15),
		}, []string{"channel"}),
		reports: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "cobline_delivery_reports_total",
			Help: "Delivery reports of gateways, by channel and state; stray: about no message that is known.",
		}, []string{"channel", "state"}),
		doubts: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "cobline_inbound_doubts_total",
			Help: "Values in requests that could not be used and were passed over.",
		}, []string{"channel"}),
		silenced: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "cobline_inbound_silenced_total",
			Help: "Texts journalled without an answer, by channel and why: a flood from one number, a loop of two machines, or more parts of long texts than are held.",
		}, []string{"channel", "why"}),
	}
	r.MustRegister(m.requests, m.seconds, m.reports, m.doubts, m.silenced)
	return m
}

func (m metrics) observe(channel string, o Outcome, d time.Duration) {
	m.requests.WithLabelValues(channel, string(o)).Inc()
	m.seconds.WithLabelValues(channel).Observe(d.Seconds())
}

// outcomeOf names how a request ended that may have come to no exchange.
func outcomeOf(x Exchange, err error) Outcome {
	switch told := (*fiber.Error)(nil); {
	case errors.As(err, &told):
		return Malformed
	case err != nil:
		return Failed
	}
	return x.Outcome
}
