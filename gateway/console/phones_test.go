package console

import (
	"context"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/PuerkitoBio/goquery"
	"github.com/stretchr/testify/require"
)

// fillPhones gives the officer and the administrator a phone each.
func (o *office) fillPhones() {
	for i, account := range []string{"officer", "administrator"} {
		_, err := o.Phones.AddPhone(context.Background(), person(o.t, 80+i), account, []string{"lakeside"}, "en", "administrator", o.clock())
		require.NoError(o.t, err)
	}
}

// way is the path of a form of a page whose end is given.
func (p page) way(t *testing.T, end string) string {
	t.Helper()
	found := p.Find("form").FilterFunction(func(_ int, s *goquery.Selection) bool { return strings.HasSuffix(s.AttrOr("action", ""), end) })
	require.GreaterOrEqual(t, found.Length(), 1, "no form for %s on %s", end, p.path)
	return found.First().AttrOr("action", "")
}

// TestPhonesOfOfficers: an administrator adds a phone and reads the PIN once; the
// officer chooses another; the fifth wrong one locks it, and the console opens it.
func TestPhonesOfOfficers(t *testing.T) {
	o := newConsole(t)
	admin, officer := o.as(Administrator), o.as(Officer)
	require.Contains(t, officer.get("/office/phones").text(), "An administrator adds it")
	p := admin.submit(admin.get("/office/phones"), "/office/phones", url.Values{"number": {"12"}, "account": {"officer"}})
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	require.Contains(t, p.text(), "This is not a number of a phone.")
	p = admin.submit(p, "/office/phones", url.Values{"number": {"0712 000080"}, "account": {"officer"}, "place": {"lakeside"}})
	require.Equal(t, http.StatusOK, p.status, p.text())
	pin := regexp.MustCompile(`is ([0-9]{6})\. Tell it to officer alone`).FindStringSubmatch(p.text())
	require.Len(t, pin, 2, p.text())
	require.NotContains(t, p.body, "712000080", "the number is masked")
	require.NotContains(t, admin.get("/office/phones").text(), pin[1], "once")
	again := admin.submit(p, "/office/phones", url.Values{"number": {"0712 000080"}, "account": {"officer"}})
	require.Contains(t, again.text(), "This is an officer's phone already")

	p = officer.get("/office/phones")
	require.Contains(t, p.text(), "Your phone")
	require.Contains(t, p.text(), "Lakeside")
	way := p.way(t, "/pin")
	id := strings.TrimSuffix(strings.TrimPrefix(way, "/office/phones/"), "/pin")
	weak := officer.submit(p, way, url.Values{"pin-" + id: {"123456"}, "repeat-" + id: {"123456"}})
	require.Equal(t, http.StatusUnprocessableEntity, weak.status)
	require.NotContains(t, weak.body, "123456")
	require.Contains(t, officer.submit(p, way, url.Values{"pin-" + id: {"482913"}, "repeat-" + id: {"482914"}}).text(), "This is not the same.")
	require.Contains(t, officer.submit(p, way, url.Values{"pin-" + id: {"482913"}, "repeat-" + id: {"482913"}}).text(), "Your PIN is changed.")
	o.says(person(t, 80), "office 482913")
	texts := o.outbox()
	require.Contains(t, texts[len(texts)-1].Text, "What do you need?")

	p = officer.get("/office/phones")
	require.Contains(t, officer.submit(p, p.way(t, "/mornings"), nil).text(), "No list comes in the morning.")

	for range 5 {
		o.says(person(t, 80), "office 482914")
	}
	p = admin.get("/office/phones")
	require.Contains(t, p.text(), "locked: five wrong PINs")
	require.Contains(t, admin.submit(p, p.way(t, "/unlock"), nil).text(), "The phone is open again.")
	p = admin.get("/office/phones")
	require.Contains(t, admin.submit(p, p.way(t, "/renew"), nil).text(), "The phone is renewed.")
	require.Regexp(t, `is [0-9]{6}\. Tell it to officer alone`, admin.submit(p, p.way(t, "/new-pin"), nil).text())
	require.Contains(t, admin.submit(p, p.way(t, "/drop"), nil).text(), "It is no officer's phone any more.")
	require.Contains(t, admin.get("/office/phones").text(), "No officer has a phone here yet.")
	var did []string
	for _, r := range o.trail() {
		if strings.Contains(r.What, "phone") || strings.Contains(r.What, "PIN") {
			did = append(did, r.By+": "+r.What)
		}
	}
	require.Equal(t, []string{
		"administrator: phone dropped", "administrator: PIN changed", "administrator: phone renewed", "administrator: phone unlocked",
		"officer, by phone: phone locked", "officer: phone changed", "officer: PIN changed", "administrator: phone added",
	}, did)
}

// TestPhoneOfAnother: an officer does nothing to the phone of somebody else.
func TestPhoneOfAnother(t *testing.T) {
	o := newConsole(t)
	o.fillPhones()
	admin, officer := o.as(Administrator), o.as(Officer)
	p := admin.get("/office/phones")
	theirs := p.way(t, "/pin")
	for _, way := range []string{theirs, strings.TrimSuffix(theirs, "pin") + "mornings"} {
		mine := officer.get("/office/phones")
		v := mine.values(t, mine.way(t, "/mornings"))
		require.Equal(t, http.StatusNotFound, officer.post(way, v).status, way)
	}
	mine := officer.get("/office/phones")
	v := mine.values(t, mine.way(t, "/mornings"))
	require.Equal(t, http.StatusForbidden, officer.post(strings.TrimSuffix(theirs, "pin")+"unlock", v).status)
	require.Contains(t, officer.get("/office/phones").text(), person(t, 80).String())
	require.NotContains(t, officer.get("/office/phones").text(), person(t, 81).String())
}
