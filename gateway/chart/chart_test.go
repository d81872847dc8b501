package chart

import (
	"bytes"
	"encoding/xml"
	"errors"
	"image/color"
	"io"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/calc"
)

// week is the outlook of an invented week: rain on its second and fourth day.
func week(t testing.TB) []calc.OutlookDay {
	midnight := time.Date(2031, 6, 3, 0, 0, 0, 0, time.FixedZone("EAT", 3*3600))
	in := calc.ForecastInput{Place: calc.Place{Lat: -.4, Lon: 34.9, Altitude: 1150, Zone: midnight.Location()}, Issued: midnight}
	for i := range 9 {
		d := calc.Day{
			Date: midnight.AddDate(0, 0, i), Max: new(calc.Celsius(27)), Min: new(calc.Celsius(15)), HumidityMean: new(calc.Share(.6)),
			Sunshine: new(calc.Hours(8)), Wind: new(calc.MetrePerSecond(2 + float64(i)/2)), Rain: new(calc.Millimetre(0)),
		}
		switch i {
		case 1:
			d.RainByHour = make([]calc.Millimetre, 24)
			d.RainByHour[14], d.RainByHour[15], d.Sunshine = 4, 2.5, new(calc.Hours(4))
		case 3:
			d.Rain, d.Sunshine = new(calc.Millimetre(18)), new(calc.Hours(1))
		}
		in.Days = append(in.Days, d)
	}
	f, err := calc.NewForecast(in)
	require.NoError(t, err)
	days, err := calc.Outlook(f, -1)
	require.NoError(t, err)
	return days
}

// element is an element of a picture.
type element struct {
	name       string
	attributes map[string]string
	text       string
}

func elements(t *testing.T, svg []byte) (all []element) {
	d := xml.NewDecoder(bytes.NewReader(svg))
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return all
		}
		require.NoError(t, err, string(svg))
		switch token := token.(type) {
		case xml.StartElement:
			e := element{name: token.Name.Local, attributes: map[string]string{}}
			for _, a := range token.Attr {
				e.attributes[a.Name.Local] = a.Value
			}
			all = append(all, e)
		case xml.CharData:
			if n := len(all); n > 0 {
				all[n-1].text += string(token)
			}
		}
	}
}

func TestOutlookOnAPage(t *testing.T) {
	days := week(t)
	svg := Outlook(days).Page("o-lakeside", `Weather of "Lakeside" <soon>`, OutlookText(days))
	all := elements(t, svg)
	root := all[0]
	require.Equal(t, "svg", root.name)
	require.Equal(t, "img", root.attributes["role"])
	require.Equal(t, "o-lakeside-title o-lakeside-text", root.attributes["aria-labelledby"])
	require.Equal(t, element{"title", map[string]string{"id": "o-lakeside-title"}, `Weather of "Lakeside" <soon>`}, all[1])
	require.Equal(t, "o-lakeside-text", all[2].attributes["id"])
	require.True(t, strings.HasPrefix(all[2].text, "Tuesday 3 June: drying power "))
	require.Contains(t, all[2].text, "Wednesday 4 June: drying power ")
	require.Contains(t, all[2].text, "rain 6.5 mm from 14:00, wind 6.7 km/h.")

	var texts []string
	fills := map[string]int{}
	for _, e := range all {
		require.NotContains(t, e.attributes, "style", "a page's policy may forbid styles")
		for name, v := range e.attributes {
			if name == "fill" || name == "stroke" {
				fills[v]++
				require.NotEqual(t, "#FFFFFF", v, "there is no white on a dark page")
				require.NotEqual(t, "#101010", v)
			}
		}
		if e.name == "text" {
			texts = append(texts, e.text)
		}
	}
	for _, want := range []string{"Tue 3", "Mon 9", "drying", "rain mm", "wind km/h", "14 h"} {
		require.Contains(t, texts, want)
	}
	require.NotContains(t, texts, "Tue 10", "seven days are enough")
	require.Equal(t, 7, fills["#B87000"], "a bar for each day")
	require.Equal(t, 2, fills["#1F7FC4"], "a bar for each day of rain")
	require.Less(t, len(svg), 12<<10, "it is a small picture")
	if file := os.Getenv("COBLINE_PICTURE"); file != "" {
		require.NoError(t, os.WriteFile(file, svg, 0o600))
	}

	require.NotEmpty(t, Outlook(nil).Page("none", "", ""), "no day is no reason to fail")
}

// WCAG 2.2, 1.4.11: what must be seen to understand a picture has a contrast of 3
// to 1, here against white and both grounds of the officers' pages.
func TestColoursStandOut(t *testing.T) {
	for _, c := range []color.RGBA{Amber, Water} {
		for _, ground := range []color.RGBA{{0xff, 0xff, 0xff, 0xff}, {0xfb, 0xf9, 0xf5, 0xff}, {0x1b, 0x19, 0x17, 0xff}, {0x24, 0x21, 0x1e, 0xff}} {
			require.GreaterOrEqual(t, contrast(c, ground), 3., "%v on %v", c, ground)
		}
	}
	require.InDelta(t, 21, contrast(color.RGBA{A: 0xff}, color.RGBA{0xff, 0xff, 0xff, 0xff}), 1e-9, "black on white, by the standard")
}

// contrast is the contrast ratio of WCAG 2.2.
func contrast(a, b color.RGBA) float64 {
	light, dark := luminance(a), luminance(b)
	return (max(light, dark) + .05) / (min(light, dark) + .05)
}

func luminance(c color.RGBA) float64 {
	linear := func(v uint8) float64 {
		s := float64(v) / 255
		if s <= .04045 {
			return s / 12.92
		}
		return math.Pow((s+.055)/1.055, 2.4)
	}
	return .2126*linear(c.R) + .7152*linear(c.G) + .0722*linear(c.B)
}
