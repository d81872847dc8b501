package dialog

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"cobline/locales"
)

// TestNumbersAsPeopleWriteThem: digits in any hand and script, marks, fractions,
// thousands and words, as the notes on these languages collect them. A row waits
// until its language is heard.
func TestNumbersAsPeopleWriteThem(t *testing.T) {
	catalog, err := locales.Load()
	require.NoError(t, err)
	e, err := New(catalog, Options{})
	require.NoError(t, err)
	met := map[locales.Lang]int{}
	for _, row := range []struct {
		lang locales.Lang
		text string
		want []float64
	}{
		{"en", "3", []float64{3}},
		{"en", "03", []float64{3}},
		{"en", "3kg", []float64{3}},
		{"en", "3 kgs", []float64{3}},
		{"en", "kg3", []float64{3}},
		{"sw", "kilo 3", []float64{3}},
		{"en", "3.5", []float64{3.5}},
		{"en", "3,5", []float64{3.5}},
		{"en", "3 1/2", []float64{3.5}},
		{"en", "3-1/2", []float64{3.5}},
		{"en", "3½", []float64{3.5}},
		{"en", "five", []float64{5}},
		{"en", "x5", []float64{5}},
		{"en", "5x", []float64{5}},
		{"en", "+-5", []float64{5}},
		{"en", "about 5", []float64{5}},
		{"en", "5-6", []float64{5.5}},
		{"en", "1O", []float64{10}},
		{"en", "2OO kg", []float64{200}},
		{"en", "l5 kg", []float64{15}},
		{"en", "I2 sacks", []float64{12}},
		{"en", "1l0 kg", []float64{110}},
		{"en", "2I5", []float64{215}},
		{"en", "1 l", []float64{1}},
		{"hi", "३.५", []float64{3.5}},
		{"bn", "২ বস্তা ১৫", []float64{2, 15}},
		{"en", "٣ ۴", []float64{3, 4}},
		{"en", "٣٫٥", []float64{3.5}},
		{"am", "፩ ፪", nil}, // they have no places, so they are not read as digits
		{"en", "1,500,000", []float64{1500000}},
		{"pt", "1.500.000", []float64{1500000}},
		{"hi", "1,25,000", []float64{125000}}, // a lakh and a quarter
		{"es", "1.500,50", []float64{1500.5}},
		{"en", "1,500.50", []float64{1500.5}},
		{"fr", "5 000 F", []float64{5000}},
		{"fr", "12 500", []float64{12500}},
		{"fr", "1 250 000", []float64{1250000}},
		{"fr", "5\u202f000", []float64{5000}},
		{"fr", "2 futs 100 kg", []float64{2, 100}},
		{"en", "12 500", []float64{12, 500}},
		{"en", "5 000", []float64{5000}},
		{"fr", "5000f", []float64{5000}},
		{"en", "two thousand five hundred", []float64{2500}},
		{"en", "two hundred and fifty", []float64{250}},
		{"en", "two and a half", []float64{2.5}},
		{"en", "twenty five", []float64{25}},
		{"en", "2 drums and a half", []float64{2.5}},
		{"en", "2 drums 5 sacks", []float64{2, 5}},
		{"sw", "3 na nusu", []float64{3.5}},
		{"sw", "moja na nusu", []float64{1.5}},
		{"sw", "elfu tano", []float64{5000}},
		{"sw", "elfu 5", []float64{5000}},
		{"sw", "elfu moja", []float64{1000}},
		{"sw", "elfu moja mia tano", []float64{1500}},
		{"sw", "elfu moja na mia tano", []float64{1500}},
		{"sw", "elfu kumi na tano", []float64{15000}},
		{"sw", "elfu mia mbili", []float64{200000}},
		{"sw", "mia tatu", []float64{300}},
		{"sw", "mia tatu hamsini", []float64{350}},
		{"sw", "laki mbili", []float64{200000}},
		{"fr", "3 et demi", []float64{3.5}},
		{"fr", "2 futs et demi", []float64{2.5}},
		{"fr", "deux mille cinq cents", []float64{2500}},
		{"fr", "mille cinq cents", []float64{1500}},
		{"pt", "3 e meia", []float64{3.5}},
		{"pt", "5 mil", []float64{5000}},
		{"pt", "2 tambores e meio", []float64{2.5}},
		{"es", "3 y medio", []float64{3.5}},
		{"es", "5 mil", []float64{5000}},
		{"es", "5 mil 500", []float64{5500}},
		{"es", "2 tambores y medio", []float64{2.5}},
		{"hi-Latn", "dedh", []float64{1.5}},
		{"hi-Latn", "dhai", []float64{2.5}},
		{"hi-Latn", "saadhe teen", []float64{3.5}},
		{"hi-Latn", "sawa do", []float64{2.25}},
		{"hi-Latn", "paune do", []float64{1.75}},
		{"hi-Latn", "dedh sau", []float64{150}},
		{"hi-Latn", "dhai hazar", []float64{2500}},
		{"hi-Latn", "5 hazar", []float64{5000}},
		{"hi-Latn", "do lakh", []float64{200000}},
		{"hi-Latn", "ek lakh pachas hazar", []float64{150000}},
		{"hi", "डेढ़", []float64{1.5}},
		{"hi", "साढ़े तीन", []float64{3.5}},
		{"hi", "ढाई हज़ार", []float64{2500}},
		{"ha", "3 da rabi", []float64{3.5}},
		{"ha", "dubu biyar", []float64{5000}},
		{"ha", "dubu 5", []float64{5000}},
		{"ht", "3 ak demi", []float64{3.5}},
		{"ht", "5 mil goud", []float64{5000}},
		{"bn", "দেড়", []float64{1.5}},
	} {
		if !slices.Contains(catalog.Heard(), row.lang) {
			continue
		}
		met[row.lang]++
		var got []float64
		for _, a := range e.readText(row.lang, nil, row.text, nil, "").sums {
			got = append(got, a.number)
		}
		require.Equal(t, row.want, got, "%s %q", row.lang, row.text)
	}
	require.Greater(t, met["sw"], 8)
}

// TestAMarkThatMayBeEither: one mark with three digits behind it may part thousands
// or decimals.
func TestAMarkThatMayBeEither(t *testing.T) {
	for text, doubtful := range map[string]bool{
		"1.500": true, "1,500": true, "12.500": true, "0.500": false, "1.5": false, "1,50": false, "1.5000": false, "1.500.000": false, "1,500.50": false, "1500": false, "5 000": false,
	} {
		require.Equal(t, doubtful, read("en", text)[0].doubtful, text)
	}
}
