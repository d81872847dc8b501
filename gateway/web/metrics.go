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
	}
	r.MustRegister(m.requests, m.seconds)
	return m
}

func (m metrics) observe(channel, outcome string, d time.Duration) {
	m.requests.WithLabelValues(channel, outcome).Inc()
	m.seconds.WithLabelValues(channel).Observe(d.Seconds())
}

// outcome names how a request ended, from a small closed set.
func outcome(err error) string {
	var told *fiber.Error
	switch {
	case err == nil:
		return "answered"
	case !errors.As(err, &told):
		return "failed"
	case told.Code == http.StatusUnauthorized:
		return "denied"
	default:
		return "malformed"
	}
}
