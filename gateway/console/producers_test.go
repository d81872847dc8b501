package console

import (
	"context"
	"encoding/csv"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/PuerkitoBio/goquery"
	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/register"
)

// fillProducers lets people write who have made batches, opted out, or were
// entered by an officer. The charcoal and the wastes are made up.
func (o *office) fillProducers() {
	for i := range 12 {
		enrol := dialog.Profile{Place: []string{"home", "lakeside"}[i%2], Group: []string{"Upper", "=Lower"}[i/6], Lang: "en", Consent: "paper"}
		_, err := o.Service.Enrol(context.Background(), person(o.t, i), enrol, "officer", o.clock())
		require.NoError(o.t, err)
		o.says(person(o.t, i), "cobs 1 drum snaps food")
	}
	o.burn(8)
	o.says(person(o.t, 11), "STOP")
	o.says(person(o.t, 10), "LIT")
	o.catchUp()
}

// burn lets the first people make a batch each, of 5 kg and more, from one morning
// to the next.
func (o *office) burn(people int) {
	for _, step := range []struct {
		text string
		wait time.Duration
	}{{"LIT", time.Hour}, {"COVERED", 25 * time.Hour}, {"OPENED", time.Minute}, {"WEIGHED", time.Minute}} {
		for i := range people {
			text := step.text
			if text == "WEIGHED" {
				text = fmt.Sprintf("WEIGHED %g", 5+float64(i%8)/2)
			}
			o.says(person(o.t, i), text)
		}
		o.wait(step.wait)
	}
}

// did returns the newest record of something in the audit trail.
func (o *office) did(what string) gateway.Record {
	for _, r := range o.trail() {
		if r.What == what {
			return r
		}
	}
	o.t.Fatalf("nobody did %q", what)
	return gateway.Record{}
}

// personID is the address of a person.
func (o *office) personID(n gateway.Number) string {
	c, err := o.People.Load(context.Background(), n)
	require.NoError(o.t, err)
	return idOf(c.Person)
}

// enter lets the importer do what was started.
func (o *office) enter() {
	o.t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- o.Register.Run(ctx, o.clock) }()
	require.Eventually(o.t, func() bool {
		all, err := o.Register.List(ctx)
		require.NoError(o.t, err)
		for _, i := range all {
			if i.Stage == register.Running {
				return false
			}
		}
		return true
	}, 30*time.Second, 10*time.Millisecond)
	cancel()
	require.NoError(o.t, <-ended)
	o.catchUp()
}

func TestProducers(t *testing.T) {
	o := newConsole(t)
	c := o.as(Viewer)
	p := c.get("/office/producers")
	require.Contains(t, p.text(), "Nobody is known yet")
	require.Zero(t, p.Find("a[href='/office/producers/new']").Length())
	o.fillProducers()
	c = o.as(Viewer) // days have passed
	p = c.get("/office/producers")
	require.Equal(t, 12, p.Find("tbody tr").Length())
	require.Contains(t, p.text(), "12 producers")
	require.NotContains(t, p.body, person(t, 3).Digits(), "numbers are masked")
	for query, want := range map[string]int{
		"place=lakeside": 6, "group=Upper": 6, "group=Upper&place=home": 3, "language=en": 12, "language=sw": 0,
		"out=yes": 1, "out=no": 11, "stage=lit": 1, "stage=drying": 8, "words=upp": 6,
	} {
		p := c.get("/office/producers?" + query)
		require.Equal(t, http.StatusOK, p.status)
		require.Equal(t, want, p.Find("tbody tr").Length(), query)
		checkPage(t, p)
	}
	require.Contains(t, c.get("/office/producers?language=sw").text(), "Nobody fits")
	require.Equal(t, http.StatusUnprocessableEntity, c.get("/office/producers?place=nowhere").status)
	require.Equal(t, http.StatusBadRequest, c.get("/office/producers?after=x").status)
}

// A number is found without standing in an address, which proxies write down.
func TestFindANumber(t *testing.T) {
	o := newConsole(t)
	o.fillProducers()
	c := o.as(Officer)
	find := func(phone string) page {
		return c.submit(c.get("/office/producers"), "/office/producers/find", url.Values{"phone": {phone}})
	}
	for _, phone := range []string{"0712 000 005", "+" + person(t, 5).Digits()} {
		require.Equal(t, "/office/producers/"+o.personID(person(t, 5)), find(phone).path)
	}
	for phone, why := range map[string]string{"0712000077": "The line knows nobody with this number.", "x": "This is not a phone number.", "": "This is missing."} {
		p := find(phone)
		require.Equal(t, http.StatusUnprocessableEntity, p.status)
		require.Contains(t, p.text(), why)
		checkPage(t, p)
	}
	require.Zero(t, o.as(Viewer).get("/office/producers").Find("[name=phone]").Length())
}

func TestProducersPageByPage(t *testing.T) {
	o := newConsole(t)
	for i := range 70 {
		o.says(person(t, i), "hello")
		o.wait(time.Second)
	}
	o.catchUp()
	c := o.as(Viewer)
	p := c.get("/office/producers")
	require.Equal(t, producersShown, p.Find("tbody tr").Length())
	require.Equal(t, person(t, 69).String(), p.Find("tbody th").First().Text())
	seen := map[string]bool{}
	for next := "/office/producers?language=en"; next != ""; {
		p = c.get(next)
		p.Find("tbody a").Each(func(_ int, s *goquery.Selection) { seen[s.AttrOr("href", "")] = true })
		next = p.Find("a[rel=next]").AttrOr("href", "")
		require.True(t, next == "" || strings.Contains(next, "language=en"), "the search stays")
	}
	require.Len(t, seen, 70, "each once")
}

func TestOneProducer(t *testing.T) {
	o := newConsole(t)
	o.fillProducers()
	at := "/office/producers/" + o.personID(person(t, 3))
	c := o.as(Officer)
	p := c.get(at)
	checkPage(t, p)
	for _, want := range []string{"Lakeside", "Upper", "agreed: paper", "maize cobs", "6.5 kg"} {
		require.Contains(t, p.text(), want)
	}
	require.NotContains(t, p.body, person(t, 3).Digits())
	require.Zero(t, o.as(Viewer).get(at).Find("form[action^='"+at+"']").Length(), "a viewer changes nothing")

	p = c.submit(p, at+"/number", nil)
	require.Contains(t, p.text(), "+"+person(t, 3).Digits())
	require.Equal(t, []string{"officer", person(t, 3).String()}, []string{o.did("number shown").By, o.did("number shown").On})
	require.NotContains(t, c.get(at).body, person(t, 3).Digits(), "shown once")

	p = c.submit(c.get(at), at, url.Values{"group": {"  Lower   field "}, "place": {"home"}, "language": {"sw"}})
	require.Contains(t, p.text(), "Saved.")
	state, err := o.People.Load(context.Background(), person(t, 3))
	require.NoError(t, err)
	require.Equal(t, dialog.Profile{Place: "home", Group: "Lower field", Lang: "sw", Consent: "paper"}, state.State.Profile)
	require.Equal(t, "home", state.State.Place)
	p = c.submit(c.get(at), at, url.Values{"group": {strings.Repeat("x", 31)}})
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	require.Contains(t, p.text(), "It has 31 letters; 30 is the most.")
	require.Equal(t, http.StatusUnprocessableEntity, c.submit(c.get(at), at, url.Values{"place": {"nowhere"}}).status)

	out := "/office/producers/" + o.personID(person(t, 11))
	p = c.get(out)
	require.Contains(t, p.text(), "This number has opted out.")
	require.Zero(t, p.Find("form[action='"+out+"']").Length())
	v := c.get(at).values(t, at)
	require.Equal(t, http.StatusUnprocessableEntity, c.follow(c.post(out, v)).status, "nor by a form of another page")
	for _, path := range []string{"/office/producers/none", "/office/producers/00112233445566ff", "/office/producers/..%2faccounts"} {
		require.Equal(t, http.StatusNotFound, c.get(path).status, path)
	}
}

func TestEnterAProducer(t *testing.T) {
	o := newConsole(t)
	o.fillProducers()
	c := o.as(Officer)
	enter := func(v url.Values) page { return c.submit(c.get("/office/producers/new"), "/office/producers/new", v) }
	p := enter(url.Values{"phone": {"0712 000 050"}, "consent": {"meeting"}, "place": {"home"}, "group": {"<script>alert(1)</script>"}, "language": {"sw"}})
	require.Equal(t, "/office/producers/"+o.personID(person(t, 50)), p.path)
	require.Contains(t, p.text(), "The first message, which says who writes and why, is on its way.")
	require.Contains(t, p.text(), "<script>alert(1)</script>", "as text")
	checkPage(t, p)
	require.Equal(t, "home", o.did("producer entered").Detail)
	require.NotContains(t, fmt.Sprint(o.trail()), person(t, 50).Digits())
	for _, tt := range []struct {
		v   url.Values
		why string
	}{
		{url.Values{"phone": {"12"}, "consent": {"paper"}}, "This is not a phone number."},
		{url.Values{"phone": {""}, "consent": {"paper"}}, "This is missing."},
		{url.Values{"phone": {"0712000060"}, "consent": {""}}, "How they agreed to be written to: This is missing."},
		{url.Values{"phone": {"0712000003"}, "consent": {"paper"}}, "The line knows this number already"},
		{url.Values{"phone": {"0712000011"}, "consent": {"paper"}}, "This number has opted out"},
	} {
		p := enter(tt.v)
		require.Equal(t, http.StatusUnprocessableEntity, p.status)
		require.Contains(t, p.text(), tt.why)
	}
}

// TestC20: an administrator erases a person who asked for it, and nobody else
// does.
func TestC20ForgetAProducer(t *testing.T) {
	o := newConsole(t)
	o.fillProducers()
	at := "/office/producers/" + o.personID(person(t, 10))
	require.Zero(t, o.as(Officer).get(at).Find("form[action='"+at+"/forget']").Length())
	c := o.as(Administrator)
	p := c.get(at)
	require.Contains(t, p.text(), "A drum of theirs is alight or sealed.")
	require.Equal(t, http.StatusUnprocessableEntity, c.submit(p, at+"/forget", nil).status, "without a yes")
	p = c.submit(c.get(at), at+"/forget", url.Values{"sure": {"yes"}})
	require.Contains(t, p.text(), "Forgotten")
	require.Equal(t, http.StatusNotFound, c.get(at).status)
	o.catchUp()
	require.Equal(t, 11, c.get("/office/producers").Find("tbody tr").Length())
	require.Equal(t, "administrator", o.did("producer forgotten").By)
}

func TestGroups(t *testing.T) {
	o := newConsole(t)
	c := o.as(Officer)
	require.Contains(t, c.get("/office/producers/groups").text(), "There are no groups yet.")
	o.fillProducers()
	c = o.as(Officer) // days have passed
	p := c.get("/office/producers/groups")
	require.Equal(t, "=Lower6Upper6", strings.Join(strings.Fields(p.Find("tbody").Text()), ""))
	require.Equal(t, 6, c.get(p.Find("tbody a").First().AttrOr("href", "")).Find("tbody tr").Length())
	p = c.submit(p, "/office/producers/groups", url.Values{"group": {"=Lower"}, "name": {"Lower"}})
	require.Contains(t, p.text(), "The group is being renamed.")
	o.enter()
	require.Equal(t, "=Lower1Lower5Upper6", strings.Join(strings.Fields(c.get("/office/producers/groups").Find("tbody").Text()), ""), "who opted out is left alone")
	p = c.submit(c.get("/office/producers/groups"), "/office/producers/groups", url.Values{"group": {"Lower"}, "name": {"Lower"}})
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	p = c.submit(c.get("/office/producers/groups"), "/office/producers/groups", url.Values{"group": {"none"}, "name": {"x"}})
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
}

// rows returns the rows of a download.
func (p page) rows(t *testing.T) [][]string {
	require.Equal(t, http.StatusOK, p.status)
	require.Contains(t, p.header.Get("Content-Disposition"), "attachment")
	require.Equal(t, "text/csv; charset=utf-8", p.header.Get("Content-Type"))
	rows, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(p.body, "\ufeff"))).ReadAll()
	require.NoError(t, err)
	return rows
}

// What is exported can be opened in a spreadsheet and entered again; numbers are
// masked but for an administrator who wants them whole, and that is recorded.
func TestExportProducers(t *testing.T) {
	o := newConsole(t)
	o.fillProducers()
	c := o.as(Officer)
	rows := c.submit(c.get("/office/producers?group=%3DLower"), "/office/producers/export", nil).rows(t)
	require.Len(t, rows, 7)
	require.Equal(t, []string{"phone", "place", "group", "language", "consent", "opted out", "last text", "batches", "charcoal kg"}, rows[0])
	for _, row := range rows[1:] {
		require.Contains(t, row[0], "…")
		require.Equal(t, "'=Lower", row[2], "no formula")
	}
	r := o.did("producers exported")
	require.Equal(t, []string{"officer", "6 people", "some, numbers masked"}, []string{r.By, r.On, r.Detail})
	require.Zero(t, c.get("/office/producers").Find("[name=numbers]").Length())
	v := c.get("/office/producers").values(t, "/office/producers/export")
	v.Set("numbers", "yes")
	require.Equal(t, http.StatusForbidden, c.post("/office/producers/export", v).status)

	c = o.as(Administrator)
	p := c.submit(c.get("/office/producers"), "/office/producers/export", url.Values{"numbers": {"yes"}})
	require.Len(t, p.rows(t), 13)
	require.Contains(t, fmt.Sprint(o.trail()), "all, with whole numbers")
	list, err := register.Read([]byte(p.body), register.Words{Country: "KE", Places: o.Facts().Places, Langs: (&request{Console: o.Console}).listWords().Langs})
	require.NoError(t, err)
	require.Len(t, list.Rows, 12)
	require.Empty(t, list.Faults)
}

// TestC27AList: a thousand rows of which seven are bad are checked, told of,
// entered and recorded; nothing is entered before somebody says so.
func TestC27AList(t *testing.T) {
	o := newConsole(t)
	o.fillProducers()
	c := o.as(Officer)
	const lists = "/office/producers/lists"
	rows := []string{"phone;place;group;language;consent;name"}
	for i := range 1000 {
		rows = append(rows, fmt.Sprintf("0713%06d;Lakeside;Group %d;sw;paper;Somebody", i, i%20))
	}
	for i, row := range map[int]string{
		10: "x;;;;paper", 20: "0713000001;;;;paper", 30: "0713000029;Riverside;;;paper", 40: "0713000039;;;xx;paper",
		50: "0713000049;;;;", 60: "0712000011;;;;paper", 70: "0713000069;;<script>alert(1)</script>" + strings.Repeat("x", 30) + ";;paper",
	} {
		rows[i] = row
	}
	p := c.upload(c.get(lists), lists, nil, "file", `C:\Users\anna\=people +254700000001.csv`, []byte("\ufeff"+strings.Join(rows, "\r\n")))
	require.Equal(t, http.StatusOK, p.status)
	checkPage(t, p)
	at := p.path
	require.Contains(t, p.Find("h1").Text(), "=people +254…01.csv")
	require.Equal(t, 7, p.Find("tbody tr").Length())
	require.Contains(t, p.text(), "Nothing is entered yet.")
	require.Contains(t, p.text(), "Passed over: the column “name”")
	one, err := o.Service.Greeting(gateway.Conversation{Number: person(t, 99)}, dialog.Profile{Lang: "sw", Place: "lakeside"}, o.clock())
	require.NoError(t, err)
	require.Contains(t, p.text(), fmt.Sprintf("%d messages to pay, %.2f KES", 993*one.Segments, 993*one.Money.Units()))
	require.Contains(t, p.Find("tbody tr").First().Text(), "11")
	require.Contains(t, p.Find("dl.facts").First().Text(), "993")
	require.Len(t, c.get(at+"/faults.csv").rows(t), 8)
	bad := c.upload(c.get(lists), lists, nil, "file", "bad.csv", []byte("phone,consent\n"+strings.Repeat("x,paper\n", 1500)))
	require.Equal(t, faultsShown, bad.Find("tbody tr").Length())
	require.Contains(t, bad.text(), "And 1400 more.")
	require.Zero(t, bad.Find("form[action$='/start']").Length(), "there is nothing to enter")
	require.Len(t, c.get(bad.path+"/faults.csv").rows(t), 1501, "every one is told")
	o.enter()
	require.Contains(t, c.get("/office/producers").text(), "12 producers")

	p = c.submit(c.get(at), at+"/start", nil)
	require.Contains(t, p.text(), "The list is being entered.")
	require.Equal(t, 1, p.Find("progress").Length())
	require.Equal(t, "2", p.Find("#progress").AttrOr("data-refresh", ""))
	o.enter()
	p = c.get(at)
	require.Contains(t, p.text(), "Entered993 Changed0")
	require.Zero(t, p.Find("progress").Length())
	require.Contains(t, c.get("/office/producers?group=Group+3").text(), "50 producers")
	require.Contains(t, fmt.Sprint(o.trail()), "993 rows good, 7 bad")
	require.Equal(t, "993 rows", o.did("list entered").Detail)
	p = c.submit(c.get(lists), lists, nil)
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	require.Contains(t, p.text(), "Choose a file first.")
	require.Equal(t, http.StatusNotFound, c.get(lists+"/none").status)
}

// Hostile lists are refused or rendered harmless.
func TestHostileLists(t *testing.T) {
	o := newConsole(t)
	c := o.as(Officer)
	const lists = "/office/producers/lists"
	for name, tt := range map[string]struct{ data, why string }{
		"nothing":       {"", "The file is empty."},
		"another code":  {"\xff\xfep\x00h\x00o\x00n\x00e\x00", "The file is written in UTF-16"},
		"a workbook":    {"PK\x03\x04\x14\x00", "This is a workbook"},
		"a page":        {"<!doctype html><script>alert(1)</script>", `There is no column "phone"`},
		"too many rows": {"phone,consent\n" + strings.Repeat("0712000000,paper\n", register.MaxRows+1), "The list has more than 20000 rows"},
	} {
		p := c.upload(c.get(lists), lists, nil, "file", "x.csv", []byte(tt.data))
		require.Equal(t, http.StatusUnprocessableEntity, p.status, name)
		require.Contains(t, p.text(), tt.why, name)
		checkPage(t, p)
	}
	p := c.upload(c.get(lists), lists, nil, "file", "<script>.csv", []byte("phone,consent,<b>name</b>,group\n0712000001,\"=cmd()\",x,\"<img src=x onerror=alert(1)>\"\n0712000002,<script>,x,Caf\xe9\n"))
	require.Equal(t, http.StatusOK, p.status)
	checkPage(t, p)
	require.Contains(t, p.text(), "this is not UTF-8; save the file again as CSV in UTF-8")
	require.Zero(t, p.Find("main img, main b").Length())
	c.submit(p, p.path+"/start", nil)
	o.enter()
	at := "/office/producers/" + o.personID(person(t, 1))
	p = c.get(at)
	require.Contains(t, p.text(), "<img src=x onerror=alert(1)>", "as text")
	checkPage(t, p)
	rows := c.submit(c.get("/office/producers"), "/office/producers/export", nil).rows(t)
	require.Equal(t, "'=cmd()", rows[1][4])
}
