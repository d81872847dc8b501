package gateway_test

import (
	"encoding/json"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/gateway"
	"cobline/gateway/sms"
	"cobline/locales"
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

// https://github.com/chadselph/smssplit/issues/2: a line that counts otherwise
// than the network is billed otherwise than it said. Wireshark 4.0.17 decoded the
// vectors back.
func TestTrouble07PriceOfEveryVector(t *testing.T) {
	data, err := os.ReadFile("../testdata/sms/vectors.json")
	require.NoError(t, err)
	var file struct {
		Vectors []struct {
			Name, Text, Ref string
			Parts           []int `json:"part_chars"`
		}
	}
	require.NoError(t, json.Unmarshal(data, &file))
	price, counted := gateway.MoneyOf(0.75), 0
	for _, v := range file.Vectors {
		if v.Text == "" || v.Ref != "8" || sms.Plain(v.Text, locales.Substitutions(locales.Default)) != v.Text {
			continue // what no reply is: silence, a 16-bit reference, letters the line writes otherwise
		}
		counted++
		l := newLine(t, func(o *gateway.Options) {
			none := o.Channels["none"]
			none.Tariff.PerSegment = price
			o.Channels["none"] = none
		})
		l.step = says(answer(v.Text))
		l.receive(l.inbound("none", "hello"))
		said := l.entries()[0].Replies[0]
		require.Equal(t, len(v.Parts), said.Segments, v.Name)
		out := l.waiting("none")[0]
		require.Equal(t, v.Text, out.Text)
		require.Equal(t, price*gateway.Money(len(v.Parts)), out.Price, v.Name)
		require.Equal(t, gateway.Spend{Segments: len(v.Parts), Money: out.Price}, l.store.Spent("none", l.now).Day, v.Name)
	}
	require.GreaterOrEqual(t, counted, 15)
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
