package gateway_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"log/slog"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/gateway"
)

func TestParseNumber(t *testing.T) {
	for _, tt := range []struct{ in, country, want string }{
		{"+254712345678", "KE", "254712345678"},
		{"+254 712-345 678", "", "254712345678"},
		{" 254712345678", "KE", "254712345678"}, // a plus sign that a URL made a space
		{"254712345678", "KE", "254712345678"},
		{"0712345678", "KE", "254712345678"},
		{"712345678", "KE", "254712345678"},
		{"00254712345678", "KE", "254712345678"},
		{"000254712345678", "KE", "254712345678"}, // the exit code of East Africa
		{"000254712345678", "", "254712345678"},
		{"256772123456", "KE", "256772123456"}, // a neighbour's number without its plus sign
		{"+22901 97 12 34 56", "KE", "2290197123456"},
		{"٠٧١٢٣٤٥٦٧٨", "KE", "254712345678"},
		{"+2540700000001", "KE", "254700000001"},
		{"+999000000001", "KE", ""}, // a country code nobody has
		{"0712345678", "", ""},
		{"32100", "KE", ""}, // a short code
		{"BANK", "KE", ""},
		{"INFO254712", "KE", ""},
		{"", "KE", ""},
		{"+", "KE", ""},
		{"0", "KE", ""},
		{"254712345678901234567", "KE", ""},
		{"2547+12345678", "KE", ""},
		{"000000000", "KE", ""}, // nothing but what is dialled before a number
		{"0000000001", "KE", ""},
		{"+393901234567", "KE", "393901234567"},
		{"+390612345678", "KE", "390612345678"}, // Italy, whose numbers keep their zero
	} {
		t.Run(tt.in, func(t *testing.T) {
			n, err := gateway.ParseNumber(tt.in, tt.country)
			if tt.want == "" {
				require.ErrorIs(t, err, gateway.ErrNotNumber)
				require.True(t, n.IsZero())
				return
			}
			require.NoError(t, err)
			require.Equal(t, tt.want, n.Digits())
			again, err := gateway.ParseNumber("+"+n.Digits(), "")
			require.NoError(t, err)
			require.Equal(t, n, again)
		})
	}
}

// A numbering plan may change before the tables of this program do.
func TestPossibleNumberIsAPerson(t *testing.T) {
	n, err := gateway.ParseNumber("+254299999999", "KE")
	require.NoError(t, err)
	require.Equal(t, "254299999999", n.Digits())
}

func TestNumberMasksItself(t *testing.T) {
	n := number(t, 41)
	m := gateway.Outbound{To: n}
	var log bytes.Buffer
	slog.New(slog.NewJSONHandler(&log, nil)).Info("sent", "to", n, "message", m)
	slog.New(slog.NewTextHandler(&log, nil)).Info("sent", "to", n, "message", m)
	encoded, err := json.Marshal(m)
	require.NoError(t, err)
	for _, s := range []string{
		n.String(), fmt.Sprintf("%v %+v %#v %s %q %x", n, n, n, n, n, n),
		fmt.Sprintf("%v %+v", m, m), log.String(), string(encoded),
	} {
		require.NotContains(t, s, n.Digits())
		require.NotContains(t, s, fmt.Sprintf("%x", n.Digits()))
	}
	require.Equal(t, "+999…41", n.String())
	require.Equal(t, "no number", gateway.Number{}.String())
}

// What was read once reads as itself ever after, in all the forms that name a
// country: a person must not become two.
func TestNumberReadsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		digits := rapid.OneOf(rapid.StringMatching(`[0-9]{7,15}`), rapid.StringMatching(`0{1,9}[0-9]{0,6}`)).Draw(t, "digits")
		s := rapid.SampledFrom([]string{"", "+", " ", "0", "00", "000", "+254", "254", "+39", "+1"}).Draw(t, "before") + digits
		readsBack(t, s, rapid.SampledFrom([]string{"", "KE", "UG", "CI", "IT", "US"}).Draw(t, "country"))
	})
}

func readsBack(t require.TestingT, s, country string) {
	n, err := gateway.ParseNumber(s, country)
	if err != nil {
		require.ErrorIs(t, err, gateway.ErrNotNumber)
		return
	}
	for _, form := range []string{"+%s", " %s", "00%s", "000%s"} {
		again, err := gateway.ParseNumber(fmt.Sprintf(form, n.Digits()), country)
		require.NoError(t, err)
		require.Equal(t, n.Digits(), again.Digits(), form)
	}
}

func TestMask(t *testing.T) {
	for text, want := range map[string]string{
		"GAS from +254700000001, 14:05. Call 0712345678.": "GAS from +254…01, 14:05. Call 071…78.",
		"+254 700 000-001": "+254…01",
		"115 to 230 briquettes, 09:15, 65 kg, 1500 KES": "115 to 230 briquettes, 09:15, 65 kg, 1500 KES",
		"": "",
	} {
		require.Equal(t, want, gateway.Mask(text))
	}
}

func FuzzParseNumber(f *testing.F) {
	for _, s := range []string{"+254712345678", " 254712345678", "000254", "0712 345 678", "BANK", "+\u0660\u0661", ""} {
		f.Add(s, "KE")
	}
	f.Add("0712345678", "")
	f.Add("000000000", "KE")
	f.Fuzz(func(t *testing.T, s, country string) {
		readsBack(t, s, country)
	})
}

func BenchmarkParseNumber(b *testing.B) {
	for b.Loop() {
		if _, err := gateway.ParseNumber("+254712345678", "KE"); err != nil {
			b.Fatal(err)
		}
	}
}

// Countries dial before a national number a zero, something else, or nothing.
func TestNationalNumber(t *testing.T) {
	for _, tt := range []struct{ digits, country, want string }{
		{"254712345678", "KE", "0712345678"},
		{"2348031234567", "NG", "08031234567"},
		{"12025550123", "US", "2025550123"},
		{"390612345678", "IT", "0612345678"},
		{"2290197123456", "BJ", "0197123456"},
		{"999000000001", "", "999000000001"}, // nobody's country code
	} {
		n, err := gateway.NumberOf(tt.digits)
		require.NoError(t, err)
		require.Equal(t, tt.want, n.National())
		if tt.country != "" {
			again, err := gateway.ParseNumber(n.National(), tt.country)
			require.NoError(t, err)
			require.Equal(t, n, again)
		}
	}
}
