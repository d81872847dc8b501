package ussd_test

import (
	"strings"
	"testing"
	"unicode/utf16"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/gateway/ussd"
)

var keys = ussd.Keys{Back: ussd.Key{Press: "7", Label: "back"}, More: ussd.Key{Press: "8", Label: "more"}}

// septets counts a page as the network does: a page of plain letters takes a
// septet a letter; any other letter makes it 16 bits for each.
func septets(page string) int {
	for _, r := range page {
		if r > 'z' {
			return len(utf16.Encode([]rune(page))) * 16 / 7
		}
	}
	return len(page)
}

func TestPages(t *testing.T) {
	a := func(n int) string { return strings.Repeat("a", n) }
	for name, c := range map[string]struct {
		text    string
		choices []string
		limit   int
		want    []string
	}{
		"a full screen is one page":          {a(182), nil, 182, []string{a(182)}},
		"one septet more is two":             {a(183), nil, 182, []string{a(175) + "\n8 more", a(8)}},
		"80 letters of 16 bits are one page": {strings.Repeat("ɓ", 80), nil, 182, []string{strings.Repeat("ɓ", 80)}},
		"81 letters of 16 bits are two":      {strings.Repeat("ɓ", 81), nil, 182, []string{strings.Repeat("ɓ", 73) + "\n8 more", strings.Repeat("ɓ", 8)}},
		"a menu of exactly 160":              {a(149), []string{"yes", "no"}, 160, []string{a(149) + "\n1 yes\n2 no"}},
		"choices stay together": {
			"Which waste do you have today?",
			[]string{"cobs", "husks"},
			40,
			[]string{"Which waste do you have today?\n8 more", "1 cobs\n2 husks\n7 back"},
		},
		"choices no page can hold are cut between lines": {
			"Which?",
			[]string{"maize cobs", "rice husks", "coconut"},
			34,
			[]string{"Which?\n8 more", "1 maize cobs\n7 back  8 more", "2 rice husks\n3 coconut\n7 back"},
		},
		"words stay whole": {
			"Load three sacks of dry cobs and light them from the top.", nil, 40,
			[]string{"Load three sacks of dry cobs and\n8 more", "light them from the top."},
		},
		"lines stay lines":      {"One.\n\nTwo.", nil, 40, []string{"One.\n\nTwo."}},
		"a mark keeps its base": {strings.Repeat("n\u0303", 11), nil, 40, []string{strings.Repeat("n\u0303", 5) + "\n8 more", strings.Repeat("n\u0303", 6)}},
		"nothing to say":        {"", nil, 160, []string{""}},
	} {
		t.Run(name, func(t *testing.T) {
			require.Equal(t, c.want, ussd.Pages(c.text, c.choices, keys, c.limit, septets).Pages)
		})
	}
}

// TestListThatGoesOn: the key for more choices stands below the list and stays
// with it; on the page of the list it belongs to the dialogue.
func TestListThatGoesOn(t *testing.T) {
	k := keys
	k.Next = ussd.Key{Press: "8", Label: "more"}
	s := ussd.Pages("Which waste do you have today?", []string{"cobs", "husks"}, k, 40, septets)
	require.Equal(t, []string{"Which waste do you have today?\n8 more", "1 cobs\n2 husks\n8 more\n7 back"}, s.Pages)
	s, turned := s.Press("8", k)
	require.True(t, turned)
	_, turned = s.Press("8", k)
	require.False(t, turned)
	require.Equal(t, 2, s.Options)
}

func TestPress(t *testing.T) {
	list := ussd.Screen{Pages: []string{"one", "two", "three"}, Options: 3}
	words := ussd.Screen{Pages: list.Pages}
	for name, c := range map[string]struct {
		screen ussd.Screen
		at     int
		press  string
		want   int
		turns  bool
	}{
		"more on the first page":            {list, 0, "8", 1, true},
		"more with a space around it":       {list, 0, " 8 ", 1, true},
		"more on the last page":             {list, 2, "8", 2, false},
		"back on the first page":            {list, 0, "7", 0, false},
		"back on the last page":             {list, 2, "7", 1, true},
		"a choice not shown yet":            {list, 1, "3", 2, true},
		"a choice":                          {list, 2, "3", 2, false},
		"a choice on a page of a long list": {ussd.Screen{Pages: []string{"which?\n1 one\n2 two", "3 three"}, Options: 3}, 0, "2", 0, false},
		"hurt":                              {list, 1, "9", 1, false},
		"menu":                              {list, 1, "0", 1, false},
		"reading on in a text":              {words, 1, "8", 2, true},
		"a number where a text ends":        {words, 2, "7", 2, false},
		"another number where a text ends":  {words, 2, "8", 2, false},
	} {
		t.Run(name, func(t *testing.T) {
			c.screen.At = c.at
			got, turned := c.screen.Press(c.press, keys)
			require.Equal(t, c.turns, turned)
			require.Equal(t, c.want, got.At)
		})
	}
}

func TestPageProperties(t *testing.T) {
	word := rapid.StringMatching(`[a-zɓ€]{1,60}`)
	rapid.Check(t, func(t *rapid.T) {
		text := strings.Join(rapid.SliceOfN(word, 0, 80).Draw(t, "words"), " ")
		choices := rapid.SliceOfN(rapid.StringMatching(`[a-zɓ ]{1,30}`), 0, 5).Draw(t, "choices")
		limit := rapid.IntRange(40, 182).Draw(t, "limit")
		s := ussd.Pages(text, choices, keys, limit, septets)

		var letters strings.Builder
		for i, page := range s.Pages {
			require.LessOrEqual(t, septets(page), limit)
			require.Equal(t, page, s.Text())
			next, turned := s.Press("8", keys)
			require.Equal(t, i < len(s.Pages)-1, turned)
			if turned {
				page = page[:strings.LastIndexByte(page, '\n')]
				back, turned := next.Press("7", keys)
				if turned {
					require.Equal(t, s, back)
				}
			} else if len(choices) > 0 && i > 0 {
				page = strings.TrimSuffix(page, "\n7 back")
			}
			letters.WriteString(page)
			s = next
		}
		want := ussd.Pages(text, choices, keys, 1<<20, septets).Text()
		require.Equal(t, squeeze(want), squeeze(letters.String()))
	})
}

// squeeze drops what page breaks may change.
func squeeze(s string) string { return strings.NewReplacer(" ", "", "\n", "").Replace(s) }
