package web

import (
	"errors"
	"net/http"
	"time"

	"github.com/gofiber/fiber/v2"
	"github.com/prometheus/client_golang/prometheus"
)

type metrics struct {
	requests *prometheus.CounterVec
	seconds  *prometheus.HistogramVec
	reports  *prometheus.CounterVec
	doubts   *prometheus.CounterVec
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
	}
	r.MustRegister(m.requests, m.seconds, m.reports, m.doubts)
	return m
}

func (m metrics) observe(channel, outcome string, d time.Duration) {
	m.requests.WithLabelValues(channel, outcome).Inc()
	m.seconds.WithLabelValues(channel).Observe(d.Seconds())
}

// The outcomes of a request, a small closed set.
const (
	answered  = "answered"
	denied    = "denied"
	malformed = "malformed"
	late      = "late"   // the session was ended before its turn was done
	failed    = "failed" // the gateway is to bring it again
)

// outcomeOf names how a request ended that was answered with an error.
func outcomeOf(err error) string {
	var told *fiber.Error
	switch {
	case !errors.As(err, &told):
		return failed
	case told.Code == http.StatusUnauthorized:
		return denied
	default:
		return malformed
	}
}
