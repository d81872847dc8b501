//go:build peers

package console

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// look lets each page of a list of paths be looked through at both widths.
func (b *browser) look(paths map[string]string) {
	b.t.Helper()
	for name, path := range paths {
		for width := range widths {
			for _, dark := range []bool{false, true} {
				b.size(width, dark)
				b.open(path)
				name := strings.Join([]string{name, width, map[bool]string{false: "light", true: "dark"}[dark]}, "-")
				b.sound(name)
				b.picture(name)
			}
		}
	}
}

// TestAListInABrowser: an officer checks a list of a thousand producers of which
// seven are bad, enters it, and sees it go on and end; the pages that belong to a
// list and to one person are for everybody.
func TestAListInABrowser(t *testing.T) {
	o := newConsole(t)
	o.fillProducers()
	rows := []string{"phone,place,group,language,consent"}
	for i := range 1000 {
		rows = append(rows, fmt.Sprintf("0713%06d,Lakeside,Group %d,sw,paper", i, i%20))
	}
	for i := range 7 {
		rows[100*i+50] = "0713000001,Lakeside,,sw,paper"
	}
	file := filepath.Join(t.TempDir(), "producers.csv")
	require.NoError(t, os.WriteFile(file, []byte(strings.Join(rows, "\n")), 0o600))

	b := browse(t, o)
	b.size("laptop", false)
	b.signIn(Administrator)
	b.open("/office/producers")
	b.do(
		chromedp.Click(chromedp.CSS(`a[href="/office/producers/lists"]`)), chromedp.WaitVisible(chromedp.CSS("#f-file")),
		chromedp.SetUploadFiles(chromedp.CSS("#f-file"), []string{file}),
		chromedp.Click(chromedp.CSS(`form[action="/office/producers/lists"] button`)), chromedp.WaitVisible(chromedp.CSS("table.faulty")),
	)
	list := b.path()
	require.Equal(t, 7, evaluate[int](b, `document.querySelectorAll("table.faulty tbody tr").length`))
	cells := evaluate[[]string](b, `[...document.querySelectorAll("table.faulty tbody tr:first-child > *")].map(c => c.innerText.trim())`)
	require.Equal(t, []string{"line 51", "phone"}, cells[:2], "the line and the column")
	require.Contains(t, strings.Join(cells[2:], " "), "line 3", "and why: it stands above already")
	require.Contains(t, evaluate[string](b, `document.querySelector("main").innerText`), "Nothing is entered yet.")
	b.open("/office/producers?group=Group+3")
	require.Zero(t, evaluate[int](b, `document.querySelectorAll("tbody tr").length`), "nobody is, before somebody says so")
	person := "/office/producers/" + o.personID(person(t, 3))
	b.look(map[string]string{"list-checked": list, "producer": person})

	b.size("laptop", false)
	b.open(list)
	b.do(chromedp.Click(chromedp.CSS(`form[action$="/start"] button`)), chromedp.WaitVisible(chromedp.CSS("progress")))
	b.look(map[string]string{"list-running": list})
	b.size("laptop", false)
	b.open(list)
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- o.Register.Run(ctx, o.clock) }()
	// The page refreshes itself: nobody loads it again.
	b.do(chromedp.WaitVisible(chromedp.CSS("#progress .told")))
	stop()
	require.NoError(t, <-ended)
	require.Contains(t, evaluate[string](b, `document.querySelector("#progress").textContent.replace(/\s+/g, " ")`), "Entered993")
	b.look(map[string]string{"list-entered": list})
	o.catchUp()
	b.open("/office/producers?group=Group+3")
	require.Contains(t, evaluate[string](b, `document.querySelector("main").textContent`), "50 producers")
	o.wait(time.Minute)
	b.look(map[string]string{
		"producers": "/office/producers", "producers-none": "/office/producers?language=en&group=Group+3", "groups": "/office/producers/groups",
		"producer-new": "/office/producers/new", "lists": "/office/producers/lists", "batches": "/office/batches", "batches-by-place": "/office/batches?by=waste-place",
	})
}
