package review

import (
	"fmt"
	"strings"

	"cobline/locales"
)

// Prices is a table of what the messages of each topic cost at worst in each
// language: the most segments one takes, and how many take more than one. The
// topics whose messages take one segment everywhere are told together.
func Prices(c *locales.Catalog) string {
	langs := c.Langs()
	type price struct{ most, dear int }
	prices := map[string][]price{}
	var topics []string
	for _, id := range locales.IDs() {
		topic, _, _ := strings.Cut(string(id), ".")
		if prices[topic] == nil {
			topics = append(topics, topic)
			prices[topic] = make([]price, len(langs))
		}
		for i, l := range langs {
			p, n := &prices[topic][i], worst(Costs(c, l, id)).Segments
			p.most = max(p.most, n)
			if n > 1 {
				p.dear++
			}
		}
	}
	var b strings.Builder
	b.WriteString("| messages |")
	for _, l := range langs {
		fmt.Fprintf(&b, " %s |", l)
	}
	b.WriteString("\n|---|" + strings.Repeat("---|", len(langs)) + "\n")
	single := 0
	for _, topic := range topics {
		var cells []string
		dear := false
		for _, p := range prices[topic] {
			cell := fmt.Sprint(p.most)
			if p.dear > 0 {
				dear, cell = true, fmt.Sprintf("%d (%d)", p.most, p.dear)
			}
			cells = append(cells, cell)
		}
		if !dear {
			single++
			continue
		}
		fmt.Fprintf(&b, "| %s | %s |\n", topic, strings.Join(cells, " | "))
	}
	fmt.Fprintf(&b, "| %d others |%s\n", single, strings.Repeat(" 1 |", len(langs)))
	return b.String()
}
