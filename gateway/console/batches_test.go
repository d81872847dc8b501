package console

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/PuerkitoBio/goquery"
	"github.com/stretchr/testify/require"
)

func TestBatches(t *testing.T) {
	o := newConsole(t)
	p := o.as(Viewer).get("/office/batches")
	require.Contains(t, p.text(), "No batch is finished yet.")
	require.Zero(t, p.Find("svg").Length())
	o.fillProducers()
	c := o.as(Viewer)
	p = c.get("/office/batches")
	checkPage(t, p)
	// Eight batches of 5 to 8.5 kg were made, all of maize cobs.
	require.Contains(t, p.text(), "8 finished batches, 54 kg of charcoal.")
	yields, list := p.Find("table").Eq(0), p.Find("table").Eq(1)
	require.Equal(t, 1, yields.Find("tbody tr").Length())
	require.Equal(t, "maize cobs", yields.Find("tbody th").Text())
	require.Equal(t, 8, list.Find("tbody tr").Length())
	require.Equal(t, 1, p.Find("svg rect.bar.few").Length(), "eight batches say little")
	require.Contains(t, p.Find("svg title").Text(), "by waste")
	require.NotContains(t, p.body, person(t, 3).Digits())
	for query, want := range map[string][2]int{
		"by=place": {2, 8}, "by=waste-place": {2, 8}, "by=month": {1, 8}, "by=waste-month": {1, 8},
		"place=lakeside": {1, 4}, "waste=maize-cob": {1, 8}, "from=2026-03&to=2026-03": {1, 8},
	} {
		p := c.get("/office/batches?" + query)
		require.Equal(t, http.StatusOK, p.status, query)
		require.Equal(t, want, [2]int{p.Find("table").Eq(0).Find("tbody tr").Length(), p.Find("table").Eq(1).Find("tbody tr").Length()}, query)
		require.Equal(t, want[0], p.Find("svg rect.bar").Length(), query)
		checkPage(t, p)
	}
	for _, query := range []string{"waste=bamboo", "from=2026-04", "to=2026-02"} {
		require.Contains(t, c.get("/office/batches?"+query).text(), "No batch fits.", query)
	}
	for _, query := range []string{"by=x", "place=nowhere", "waste=gold", "from=March", "from=2026-03&to=2026-02"} {
		require.Equal(t, http.StatusUnprocessableEntity, c.get("/office/batches?"+query).status, query)
	}
	for _, after := range []string{"x", "1.2.3", "1.0011223344556677.%21", "x.0011223344556677.QQ"} {
		require.Equal(t, http.StatusBadRequest, c.get("/office/batches?after="+after).status, after)
	}
}

// The picture shows what the table does: its bars lie where the figures are.
func TestYieldsPicture(t *testing.T) {
	rows := []yieldRow{
		{Name: "a", Measured: 20, low: 15, median: 20, high: 25},
		{Name: "b", Measured: 0},
		{Name: "c", Measured: 3, low: 30, median: 30, high: 30, Few: true},
	}
	c := drawYields("waste", rows)
	require.Len(t, c.Rows, 2, "what was not weighed has no bar")
	require.Equal(t, []string{"50.00%", "33.33%", "66.67%"}, []string{c.Rows[0].X1, c.Rows[0].Width, c.Rows[0].Middle})
	require.Equal(t, []string{"100.00%", "0.50%"}, []string{c.Rows[1].X1, c.Rows[1].Width}, "a single figure is a thin bar")
	require.Equal(t, "0", c.Ticks[0].Label)
	require.Equal(t, "30", c.Ticks[len(c.Ticks)-1].Label)
	require.Equal(t, "100.00%", c.Ticks[len(c.Ticks)-1].X)
	require.Len(t, c.Ticks, 4, "at tens")
	require.Greater(t, c.Rows[1].Top, c.Rows[0].Line)
	require.Greater(t, c.Height, c.Floor)
	require.Empty(t, drawYields("waste", nil).Rows)
	require.Len(t, drawYields("waste", many(rows[0], 100)).Rows, mostRows)
}

func many(r yieldRow, n int) (rows []yieldRow) {
	for range n {
		rows = append(rows, r)
	}
	return rows
}

func TestBatchesPageByPage(t *testing.T) {
	o := newConsole(t)
	for i := range 34 {
		o.says(person(t, i), "cobs 1 drum snaps food")
	}
	o.burn(34)
	o.catchUp()
	c := o.as(Viewer)
	p := c.get("/office/batches?place=home")
	require.Equal(t, batchesShown, p.Find("table").Eq(1).Find("tbody tr").Length())
	seen := map[string]bool{}
	p.Find("table").Eq(1).Find("td a").Each(func(_ int, s *goquery.Selection) { seen[s.AttrOr("href", "")] = true })
	p = c.get(p.Find("a[rel=next]").AttrOr("href", ""))
	require.Equal(t, 4, p.Find("table").Eq(1).Find("tbody tr").Length())
	p.Find("table").Eq(1).Find("td a").Each(func(_ int, s *goquery.Selection) { seen[s.AttrOr("href", "")] = true })
	require.Len(t, seen, 34, "each once")
	require.Zero(t, p.Find("a[rel=next]").Length())
}

func TestExportBatches(t *testing.T) {
	o := newConsole(t)
	o.fillProducers()
	c := o.as(Officer)
	rows := c.submit(c.get("/office/batches?place=lakeside"), "/office/batches/export", nil).rows(t)
	require.Len(t, rows, 5)
	for _, row := range rows[1:] {
		require.Contains(t, row[1], "…")
		require.Equal(t, []string{"Lakeside", "maize-cob", "1"}, []string{row[2], row[4], row[5]})
	}
	require.Equal(t, []string{"4 batches", "some"}, []string{o.did("batches exported").On, o.did("batches exported").Detail})
	v := c.get("/office/batches").values(t, "/office/batches/export")
	v.Set("by", "=x")
	require.Equal(t, http.StatusBadRequest, c.post("/office/batches/export", v).status)
	require.Equal(t, http.StatusForbidden, o.as(Viewer).post("/office/batches/export", url.Values{"form": {strings.Repeat("A", 8)}}).status)
}
