package gateway_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/gateway"
)

func TestPriceByPrefix(t *testing.T) {
	tariff := gateway.Tariff{PerSegment: gateway.MoneyOf(3), Prefixes: map[string]gateway.Money{
		"254": gateway.MoneyOf(0.8), "2547": gateway.MoneyOf(0.0075), "255": 0,
	}}
	for number, want := range map[string]string{
		"254700000001": "0.0225", "254200000001": "2.40", "255700000001": "0.00", "256700000001": "9.00",
	} {
		n, err := gateway.NumberOf(number)
		require.NoError(t, err)
		require.Equal(t, want, tariff.Price(n, 3).String(), number)
	}
	n, err := gateway.NumberOf("254700000001")
	require.NoError(t, err)
	require.Zero(t, gateway.Tariff{}.Price(n, 3))
}

// TestC28Funds: a warning before, a stop after, and what is held between.
func TestC28Funds(t *testing.T) {
	east := time.FixedZone("EAT", 3*60*60)
	tariff := gateway.Tariff{
		Day: gateway.Spend{Segments: 100}, Month: gateway.Spend{Segments: 1000, Money: gateway.MoneyOf(500)},
		Warn: 0.8, Reserve: 0.1, Zone: east,
	}
	now := time.Date(2026, 12, 30, 22, 30, 0, 0, time.UTC) // half past one on the last day of the year there
	tomorrow := time.Date(2027, 1, 1, 0, 0, 0, 0, east)
	day := func(n int) gateway.Spent { return gateway.Spent{Day: gateway.Spend{Segments: n}} }
	month := func(units float64) gateway.Spent {
		return gateway.Spent{Month: gateway.Spend{Money: gateway.MoneyOf(units)}}
	}
	for name, c := range map[string]struct {
		spent gateway.Spent
		funds gateway.Funds
		until time.Time
	}{
		"nothing":            {gateway.Spent{}, gateway.FundsAmple, now},
		"some":               {day(79), gateway.FundsAmple, now},
		"warned":             {day(80), gateway.FundsLow, now},
		"the last ordinary":  {day(89), gateway.FundsLow, now},
		"into the reserve":   {day(90), gateway.FundsHeld, tomorrow},
		"beyond the cap":     {day(120), gateway.FundsHeld, tomorrow},
		"money of the month": {month(451), gateway.FundsHeld, tomorrow},
	} {
		require.Equal(t, c.funds, tariff.Funds(c.spent), name)
		require.True(t, c.until.Equal(tariff.Afford(c.spent, now)), name)
	}
	earlier := now.AddDate(0, 0, -10)
	require.True(t, tomorrow.Equal(tariff.Afford(month(451), earlier)), "the next month, not the next day")
	require.Equal(t, gateway.FundsAmple, gateway.Tariff{}.Funds(day(1e6)), "no cap")
	require.Equal(t, now, gateway.Tariff{}.Afford(day(1e6), now))
}

// TestCapsHold: while only the reserve is left nothing ordinary is afforded, and
// until then everything is.
func TestCapsHold(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		spend := rapid.Custom(func(t *rapid.T) gateway.Spend {
			return gateway.Spend{Segments: rapid.IntRange(0, 1000).Draw(t, "segments"), Money: gateway.Money(rapid.Int64Range(0, 1e7).Draw(t, "money"))}
		})
		tariff := gateway.Tariff{Day: spend.Draw(t, "day"), Month: spend.Draw(t, "month"), Warn: 0.5, Reserve: rapid.Float64Range(0.01, 0.5).Draw(t, "reserve")}
		spent := gateway.Spent{Day: spend.Draw(t, "spent today"), Month: spend.Draw(t, "spent this month")}
		now := time.Unix(rapid.Int64Range(0, 4e9).Draw(t, "now"), 0).UTC()
		until := tariff.Afford(spent, now)
		require.Equal(t, tariff.Funds(spent) == gateway.FundsHeld, until.After(now))
		if !until.After(now) {
			require.Equal(t, now, until)
		}
	})
}
