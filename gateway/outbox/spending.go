package outbox

import (
	"context"
	"log/slog"
	"maps"
	"slices"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"cobline/gateway"
)

// Spending watches what channels spend: it is a metric, and a line of the log
// when a cap comes near.
type Spending struct {
	ledger  gateway.Ledger
	tariffs map[string]gateway.Tariff // by channel
	watch   *gateway.Watch
	log     *slog.Logger
}

// spendPause is how often the caps are looked at.
const spendPause = 10 * time.Second

var (
	spentSegments = prometheus.NewDesc("cobline_spend_segments", "Segments sent or answered with, of the day and the month under way.", []string{"channel", "span"}, nil)
	spentMoney    = prometheus.NewDesc("cobline_spend_money", "What they cost, in units of the currency.", []string{"channel", "span"}, nil)
	capUsed       = prometheus.NewDesc("cobline_spend_cap_used", "The share of the cap that is used; 0 if there is none.", []string{"channel", "span"}, nil)
)

// NewSpending returns what watches the channels, and enters it as a metric.
func NewSpending(l gateway.Ledger, tariffs map[string]gateway.Tariff, watch *gateway.Watch, log *slog.Logger, r prometheus.Registerer) *Spending {
	s := &Spending{ledger: l, tariffs: tariffs, watch: watch, log: log}
	r.MustRegister(s)
	return s
}

// Describe implements prometheus.Collector.
func (s *Spending) Describe(out chan<- *prometheus.Desc) { prometheus.DescribeByCollect(s, out) }

// Collect implements prometheus.Collector.
func (s *Spending) Collect(out chan<- prometheus.Metric) {
	now := s.watch.At(time.Now())
	for channel, tariff := range s.tariffs {
		spent := s.ledger.Spent(channel, now)
		day, month := tariff.Used(spent)
		for span, of := range map[string]struct {
			spend gateway.Spend
			used  float64
		}{"day": {spent.Day, day}, "month": {spent.Month, month}} {
			for desc, v := range map[*prometheus.Desc]float64{
				spentSegments: float64(of.spend.Segments), spentMoney: of.spend.Money.Units(), capUsed: of.used,
			} {
				out <- prometheus.MustNewConstMetric(desc, prometheus.GaugeValue, v, channel, span)
			}
		}
	}
}

// Run tells the log when a cap comes near, is reached and begins anew, until the
// context ends, which is no error.
func (s *Spending) Run(ctx context.Context) error {
	tick := time.NewTicker(spendPause)
	defer tick.Stop()
	before := map[string]gateway.Funds{}
	for {
		now := s.watch.At(time.Now())
		for _, channel := range slices.Sorted(maps.Keys(s.tariffs)) {
			spent := s.ledger.Spent(channel, now)
			funds := s.tariffs[channel].Funds(spent)
			if funds != before[channel] {
				s.tell(channel, funds, spent)
			}
			before[channel] = funds
		}
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}

func (s *Spending) tell(channel string, f gateway.Funds, spent gateway.Spent) {
	level, message := slog.LevelInfo, "channel has funds again"
	switch f {
	case gateway.FundsLow:
		level, message = slog.LevelWarn, "channel comes near its cap: no timing is offered before lighting"
	case gateway.FundsHeld:
		level, message = slog.LevelError, "channel is at its cap: only first aid and burns already begun are sent"
	}
	s.log.Log(context.Background(), level, message, "channel", channel,
		"day_segments", spent.Day.Segments, "day_money", spent.Day.Money.String(),
		"month_segments", spent.Month.Segments, "month_money", spent.Month.Money.String())
}
