package forecast

import "github.com/prometheus/client_golang/prometheus"

type metrics struct {
	fetched *prometheus.CounterVec
	failing *prometheus.GaugeVec
}

// newMetrics makes the metrics of the sources; r may be nil.
func newMetrics(r prometheus.Registerer) *metrics {
	m := &metrics{
		fetched: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "cobline_forecast_fetched_total", Help: "What became of the answers of sources of weather: taken, known, unchanged, refused or failed.",
		}, []string{"source", "outcome"}),
		failing: prometheus.NewGaugeVec(prometheus.GaugeOpts{
			Name: "cobline_forecast_source_failing", Help: "1 while a source of weather does not answer as it should.",
		}, []string{"source"}),
	}
	if r != nil {
		r.MustRegister(m.fetched, m.failing)
	}
	return m
}

func (m *metrics) count(source, outcome string) { m.fetched.WithLabelValues(source, outcome).Inc() }
