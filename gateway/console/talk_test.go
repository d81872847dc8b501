package console

import (
	"bytes"
	"context"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"net/http"
	"net/url"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/PuerkitoBio/goquery"
	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/views"
)

// hostile is a text that would run in a page that believes it.
const hostile = `<script>alert(1)</script> "char" & <img src=x onerror=alert(2)>`

// fillTalk lets people say what a conversation can hold: what is understood, what
// is not, an emergency, a question, and what would do harm in a page.
func (o *office) fillTalk() {
	for _, text := range []string{
		"cobs 2 drums snaps", "food", "mahindi", "zzkwt blorp", "my eye got paste in it, it hurts", "ask how do I keep the sacks from rats", hostile,
	} {
		o.says(person(o.t, 20), text)
		o.wait(time.Minute)
	}
	o.says(person(o.t, 21), "mahindi magunzi pipa 2 kavu")
	o.outbox()
	o.catchUp()
}

// talkOf is the page of a person's conversation.
func (o *office) talkOf(last int) string { return "/office/talk/" + o.personID(person(o.t, last)) }

// matters are what waits for an officer.
func (o *office) matters(kind views.MatterKind) []views.Matter {
	m, err := o.Views.Matters(context.Background(), views.MatterQuery{Kind: kind}, views.Page{})
	require.NoError(o.t, err)
	return m.List
}

func TestTalk(t *testing.T) {
	o := newConsole(t)
	c := o.as(Viewer)
	p := c.get("/office/talk")
	require.Contains(t, p.text(), "Nobody has written yet")
	require.Zero(t, p.Find("search").Length(), "there is nothing to search in")
	o.fillTalk()
	p = c.get("/office/talk")
	checkPage(t, p)
	require.Equal(t, 8, p.Find("tbody tr").Length())
	require.Contains(t, p.Find("tbody tr").First().Text(), "mahindi magunzi", "the newest first")
	require.NotContains(t, p.body, person(t, 20).Digits(), "numbers are masked")
	require.Contains(t, p.text(), "EAT", "times name the zone of the place")
	for query, want := range map[string]int{
		"language=sw": 1, "language=en": 7, "topic=recipe": 4, "topic=price": 0, "unknown=yes": 2, "words=SACKS+rats": 1, "words=drum": 1, "words=drums+nothing": 0,
		"words=%22%27*": 0, "from=2026-03-02&to=2026-03-02": 8, "from=2026-03-03": 0, "place=home": 8, "place=lakeside": 0,
	} {
		p := c.get("/office/talk?" + query)
		require.Equal(t, http.StatusOK, p.status, query)
		require.Equal(t, want, p.Find("tbody tr").Length(), "%s: %s", query, p.text())
		checkPage(t, p)
	}
	require.Equal(t, []string{"Not understood", "Emergency: eye", "Not understood"}, c.get("/office/talk").Find("tbody strong").Map(func(_ int, s *goquery.Selection) string { return s.Text() }))
	require.Equal(t, "sacks", c.get("/office/talk?words=sacks").Find("mark").Text(), "what was sought is marked")
	require.Contains(t, c.get("/office/talk?words=nothing+here").text(), "No text fits")
	for _, wrong := range []string{"place=nowhere", "topic=x", "from=yesterday", "from=2026-03-03&to=2026-03-02"} {
		p := c.get("/office/talk?" + wrong)
		require.Equal(t, http.StatusUnprocessableEntity, p.status, wrong)
		require.Equal(t, 1, p.Find("#faults li").Length(), wrong)
	}
	require.Equal(t, http.StatusBadRequest, c.get("/office/talk?after=x").status)
}

func TestConversation(t *testing.T) {
	o := newConsole(t)
	o.fillTalk()
	c := o.as(Viewer)
	p := c.get("/office/talk")
	link := p.Find("tbody tr a").Last().AttrOr("href", "")
	p = c.get(strings.Split(link, "#")[0])
	require.Equal(t, http.StatusOK, p.status)
	checkPage(t, p)
	anchor := strings.Split(link, "#")[1]
	require.Equal(t, 1, p.Find("#"+anchor).Length(), "a text that was found leads to where it stands")
	require.Equal(t, 1, p.Find("li.they").Length(), "what was said later is on the page before")
	p = c.get(p.Find("nav.pager a").First().AttrOr("href", ""))
	require.Equal(t, 7, p.Find("li.they").Length())
	texts := p.Find(".said > li").Map(func(_ int, s *goquery.Selection) string { return strings.Join(strings.Fields(s.Text()), " ") })
	require.Contains(t, texts[0], "They, Mon 2 Mar 09:30 EAT cobs 2 drums snaps")
	for _, want := range []string{"Read as English", "About: what to load in the drum", "Waste: maize cobs", "Drums: 2", "How dry the waste is: dry"} {
		require.Contains(t, texts[0], want)
	}
	all := p.text()
	for _, want := range []string{
		"What the drum held before: new, or food", "Not understood", "Emergency: eye. First aid was said at once", "Put before the officers", "sent; no report yet", "1 message, 0.80 KES", "2 messages, 1.60 KES",
	} {
		require.Contains(t, strings.ToLower(all), strings.ToLower(want))
	}
	require.Contains(t, all, hostile, "what was written is shown as it was written")
	require.Zero(t, p.Find("main script, main img").Length())
	require.NotContains(t, p.body, person(t, 20).Digits())
	require.Zero(t, p.Find("main form").Length(), "a viewer does nothing here")

	p = c.get("/office/talk?words=" + url.QueryEscape("<script>alert(1)</script>"))
	require.Equal(t, 1, p.Find("tbody tr").Length())
	require.Zero(t, p.Find("main script, main img").Length())
	require.Equal(t, "<script>alert(1)</script>", p.Find("#f-words").AttrOr("value", ""))

	p = c.get("/office/producers/" + o.personID(person(t, 20)))
	require.Equal(t, 1, p.Find("a[href='"+o.talkOf(20)+"']").Length(), "the page of a producer leads here")
	for _, nobody := range []string{"none", strings.Repeat("0", 32), "%3Cscript%3E"} {
		require.Equal(t, http.StatusNotFound, c.get("/office/talk/"+nobody).status)
	}
	require.Equal(t, http.StatusBadRequest, c.get(o.talkOf(20)+"?after=x").status)
}

func TestConversationPageByPage(t *testing.T) {
	o := newConsole(t)
	const texts = hitsShown + 10
	for i := range texts {
		o.says(person(t, 20), fmt.Sprintf("hello %d", i))
		o.wait(time.Minute)
	}
	o.catchUp()
	c := o.as(Viewer)
	p := c.get("/office/talk")
	require.Equal(t, hitsShown, p.Find("tbody tr").Length())
	require.Equal(t, 10, c.get(p.Find("a[rel=next]").AttrOr("href", "")).Find("tbody tr").Length())
	var own []string
	pages := 0
	for next := o.talkOf(20); next != ""; pages++ {
		p := c.get(next)
		part := p.Find("li.they .sms").Map(func(_ int, s *goquery.Selection) string { return s.Text() })
		own = append(part, own...)
		next = p.Find("a[rel=next]").AttrOr("href", "")
	}
	require.Equal(t, (texts+sayingsShown-1)/sayingsShown, pages)
	require.Len(t, own, texts)
	for i, text := range own {
		require.Equal(t, fmt.Sprintf("hello %d", i), text, "each text once, the oldest first")
	}
}

func TestTheWholeNumberBesideTalk(t *testing.T) {
	o := newConsole(t)
	o.fillTalk()
	c, at := o.as(Officer), o.talkOf(20)
	p := c.get(at)
	require.NotContains(t, p.body, person(t, 20).Digits())
	p = c.submit(p, at+"/number", nil)
	require.Contains(t, p.Find(".told").Text(), "+"+person(t, 20).Digits())
	require.Equal(t, 2, strings.Count(p.body, person(t, 20).Digits()), "once to read, once to dial")
	did := o.did("number shown")
	require.Equal(t, gateway.Record{At: did.At, By: "officer", What: "number shown", On: person(t, 20).String(), Detail: "talk"}, did)
	require.NotContains(t, c.get(at).body, person(t, 20).Digits(), "it is not shown again unasked")
	require.Equal(t, http.StatusNotFound, c.post("/office/talk/none/number", c.get(at).values(t, at+"/number")).status)
}

func TestReply(t *testing.T) {
	o := newConsole(t)
	o.fillTalk()
	c, at := o.as(Officer), o.talkOf(20)
	p := c.get(at)
	require.Equal(t, 2, p.Find("#f-about option").Length(), "the question that waits, and none")
	p = c.submit(p, at+"/reply", url.Values{"text": {"  "}})
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	for i := range 2 * sayingsShown { // the question does not wait less because they wrote more
		o.says(person(t, 20), fmt.Sprintf("hello %d", i))
	}
	o.catchUp()
	o.outbox()
	p = c.get(at)
	require.NotContains(t, p.Find(".said").Text(), "rats")
	const text = "Hang the sacks on a wire under the roof."
	p = c.submit(p, at+"/reply", url.Values{"text": {text}, "do": {"look"}})
	require.Contains(t, p.text(), "From your officer: "+text)
	require.Contains(t, p.text(), "1 message, 59 characters of GSM")
	require.Equal(t, text, p.Find("#f-text").Text(), "it can still be changed")
	require.Empty(t, o.outbox(), "looking sends nothing")
	for _, wrong := range []string{"Press 1 for yes", strings.Repeat("long words ", 60)} {
		p := c.submit(p, at+"/reply", url.Values{"text": {wrong}})
		require.Equal(t, http.StatusUnprocessableEntity, p.status, wrong)
		require.Contains(t, p.Find("#faults").Text(), "The reply")
	}
	p = c.submit(p, at+"/reply", url.Values{"text": {text}, "do": {"send"}})
	require.Contains(t, p.Find(".told").Text(), "on its way")
	out := o.outbox()
	require.Len(t, out, 1)
	require.Equal(t, "From your officer: "+text, out[0].Text)
	require.Equal(t, person(t, 20), out[0].To)
	require.Equal(t, person(t, 20).String(), o.did("reply sent").On)
	o.catchUp()
	p = c.get(at)
	require.Contains(t, p.text(), "Officer officer")
	require.Empty(t, o.matters(views.Question), "the question is answered")
	require.Contains(t, p.text(), "From your officer: "+text)
	require.Zero(t, p.Find("#f-about").Length(), "the question waits no longer")

	v := p.values(t, at+"/reply")
	v.Set("text", hostile)
	live := c.post(at+"/measure", v)
	require.Equal(t, "From your officer: "+hostile, live.Find("#m-text .sms").Text())
	require.Contains(t, live.Find("#n-text").Text(), "KES for each phone.")
	require.NotContains(t, live.body, "<script>")
	v.Set("text", "It\u2019s dry")
	live = c.post(at+"/measure", v)
	require.Equal(t, "From your officer: It's dry", live.Find("#m-text .sms").Text())
	require.Contains(t, live.Find("#n-text").Text(), "some letters are put in place of others")
}

// C25: a reply that speaks of the work at a drum is shown with its rule first, and
// goes with the caution that the line adds; of an illness it does not go.
func TestC25ReplyGoesWithTheCaution(t *testing.T) {
	o := newConsole(t)
	o.fillTalk()
	for _, text := range []string{"cobs 1 drum dry food", "lit", "covered"} {
		o.says(person(t, 20), text)
		o.wait(40 * time.Minute)
	}
	o.catchUp()
	o.outbox()
	c, at := o.as(Officer), o.talkOf(20)
	const text = "If it is cold you may open it."
	p := c.submit(c.get(at), at+"/reply", url.Values{"text": {text}, "do": {"send"}})
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	require.Contains(t, p.Find("#faults").Text(), "It speaks of opening")
	require.Empty(t, o.outbox(), "it is read once more first")
	shown := p.Find("#m-text .sms").Map(func(_ int, s *goquery.Selection) string { return s.Text() })
	require.Len(t, shown, 3)
	require.Contains(t, shown[1], "not before Tuesday")
	require.Contains(t, shown[2], "Do not open before the hour I sent")
	require.Equal(t, 1, p.Find("button[value=sure]").Length())
	p = c.submit(p, at+"/reply", url.Values{"do": {"sure"}})
	require.Contains(t, p.Find(".told").Text(), "on its way")
	var sent []string
	for _, m := range o.outbox() {
		sent = append(sent, m.Text)
	}
	require.Equal(t, shown, sent, "what was shown is what goes")

	for _, do := range []string{"send", "sure"} {
		p = c.submit(c.get(at), at+"/reply", url.Values{"text": {"Take a tablet for the headache."}, "do": {do}})
		require.Equal(t, http.StatusUnprocessableEntity, p.status)
		require.Contains(t, p.Find("#faults").Text(), "phone them")
		require.Zero(t, p.Find("button[value=sure]").Length())
	}
	require.Empty(t, o.outbox())
}

// C21: after 120 quiet days a reply waits until whoever has the number says that
// it is still them.
func TestC21ReplyWaitsForWhoHasTheNumber(t *testing.T) {
	o := newConsole(t)
	o.fillTalk()
	o.wait(121 * 24 * time.Hour)
	c, at := o.as(Officer), o.talkOf(20)
	p := c.get(at)
	require.Contains(t, p.text(), "asked first whether it is still them")
	p = c.submit(p, at+"/reply", url.Values{"text": {"Come on Friday."}, "do": {"send"}})
	require.Contains(t, p.Find(".told").Text(), "asked first")
	for _, m := range o.outbox() {
		require.NotContains(t, m.Text, "Friday")
	}
	o.catchUp()
	require.Contains(t, c.get(at).text(), "waits until they say that it is still them: Come on Friday.")
}

// C19: to one who left nobody writes, unless they wrote again.
func TestC19NoReplyAfterStop(t *testing.T) {
	o := newConsole(t)
	o.fillTalk()
	c, at := o.as(Officer), o.talkOf(20)
	form := c.get(at).values(t, at+"/reply")
	o.says(person(t, 20), "STOP")
	o.catchUp()
	o.outbox()
	p := c.get(at)
	require.Contains(t, p.text(), "They have opted out")
	require.Zero(t, p.Find("form[action='"+at+"/reply']").Length())
	form.Set("text", "Come on Friday.")
	p = c.post(at+"/reply", form)
	require.Equal(t, http.StatusConflict, p.status)
	require.Contains(t, p.text(), "opted out")
	require.Empty(t, o.outbox())
}

// C20: whoever was forgotten is gone from here at once, before the views have
// caught up.
func TestC20ForgottenIsGoneFromTalk(t *testing.T) {
	o := newConsole(t)
	o.fillTalk()
	c, at := o.as(Officer), o.talkOf(20)
	form := c.get(at).values(t, at+"/reply")
	require.NoError(t, o.Service.Forget(context.Background(), person(t, 20), o.clock()))
	for _, caughtUp := range []bool{false, true} {
		if caughtUp {
			o.catchUp()
		}
		require.Equal(t, http.StatusNotFound, c.get(at).status)
		require.Equal(t, http.StatusNotFound, c.post(at+"/number", form).status)
		require.Equal(t, http.StatusNotFound, c.post(at+"/reply", form).status)
		p := c.get("/office/talk")
		require.Equal(t, 1, p.Find("tbody tr").Length())
		require.Contains(t, c.get("/office/talk?words=rats").text(), "No text fits")
	}
}

// What the dialogue asks for and takes in has a name of ours: its slots, subjects
// and moments are read from its source.
func TestEverythingHeardHasAName(t *testing.T) {
	unsaid := []string{"settled", "entered", "recorded", "size_of", "asked", "report", "at", "until", "tries", "code-ends"} // kept, and never asked or told
	o := newConsole(t)
	q := &request{Console: o.Console}
	files, err := filepath.Glob("../../dialog/*.go")
	require.NoError(t, err)
	found := map[string]int{}
	for _, file := range files {
		if strings.HasSuffix(file, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), file, nil, 0)
		require.NoError(t, err)
		ast.Inspect(f, func(n ast.Node) bool {
			spec, ok := n.(*ast.ValueSpec)
			if !ok || len(spec.Values) != 1 {
				return true
			}
			literal, ok := spec.Values[0].(*ast.BasicLit)
			if !ok || literal.Kind != token.STRING {
				return true
			}
			key, err := strconv.Unquote(literal.Value)
			require.NoError(t, err)
			switch name := spec.Names[0].Name; {
			case strings.HasPrefix(name, "slot") && !slices.Contains(unsaid, key):
				require.Contains(t, slotNames, key, name)
				found["slot"]++
			case strings.HasPrefix(name, "topic"):
				require.NotEqual(t, key, q.topicName(key)+map[bool]string{true: " "}[key == "weather" || key == "language"], name)
				found["topic"]++
			case strings.HasPrefix(name, "timer"):
				require.Contains(t, timers, key, name)
				found["timer"]++
			case strings.HasPrefix(name, "report"):
				require.Contains(t, reports, key, name)
				found["report"]++
			}
			return true
		})
	}
	for what, least := range map[string]int{"slot": 50, "topic": 25, "timer": 10, "report": 10} {
		require.GreaterOrEqual(t, found[what], least, what)
	}
	require.Equal(t, "maize cobs", q.value("waste", dialog.Value{Key: "maize-cob"}))
	require.Equal(t, "1 or 300", q.value("drums", dialog.Value{Number: 1, Other: 300}))
	require.Equal(t, "very wet", q.value("dryness", dialog.Value{Key: "too-wet"}))
	require.Equal(t, "Lakeside", q.value("place", dialog.Value{Key: "lakeside"}))
	require.Equal(t, "starch paste", q.value("menu", dialog.Value{Key: "topic.binder"}))
	require.Equal(t, "a newer word", q.value("waste", dialog.Value{Key: "a newer word"}))
}

func TestWherePeopleStop(t *testing.T) {
	o := newConsole(t)
	c := o.as(Viewer)
	p := c.get("/office/talk/figures")
	require.Contains(t, p.text(), "No conversation has ended")
	require.Contains(t, p.text(), "Nobody has finished a batch")
	require.Zero(t, p.Find("main svg").Length())
	for i := range 3 {
		o.says(person(t, 20+i), "cobs 2 drums")
	}
	o.says(person(t, 23), "how much binder for 10 kg")
	o.says(person(t, 24), "stop")
	o.catchUp()
	require.Contains(t, c.get("/office/talk/figures").text(), "No conversation has ended", "they may still go on")
	o.wait(25 * time.Hour)
	c = o.as(Viewer)
	p = c.get("/office/talk/figures")
	checkPage(t, p)
	require.Contains(t, p.text(), "5 conversations ended in these months: a day passed without another text. In 1 of them nothing was asked any more.")
	require.Equal(t, []string{"how dry the waste is", "what to load in the drum", "3", "100 %"}, cells(p.Find("tbody tr").First()))
	require.Equal(t, "what to load in the drum: how dry the waste is (3)", p.Find("svg.bars text:not(.label)").First().Text())
	require.Equal(t, []string{"100.00%", "33.33%"}, p.Find("svg.bars rect").Map(func(_ int, s *goquery.Selection) string { return s.AttrOr("width", "") }), "three, and one")
	p = c.get("/office/talk/figures?topic=binder")
	require.Equal(t, []string{"starch", "starch paste", "1", "100 %"}, cells(p.Find("tbody tr").First()))
	require.Zero(t, c.get("/office/talk/figures?place=lakeside").Find("tbody tr").Length())
	require.Zero(t, c.get("/office/talk/figures?from=2025-01&to=2025-12").Find("tbody tr").Length())
	for _, wrong := range []string{"from=x", "place=x", "from=2026-03&to=2026-01"} {
		require.Equal(t, http.StatusUnprocessableEntity, c.get("/office/talk/figures?"+wrong).status, wrong)
	}
}

func TestHowLongBatchesTake(t *testing.T) {
	o := newConsole(t)
	o.fillProducers()
	p := o.as(Viewer).get("/office/talk/figures")
	checkPage(t, p)
	days := p.Find("#days-title").Closest("svg")
	require.Equal(t, 2, days.Find("rect.bar.few").Length(), "all wastes, and the one there is: eight batches say little")
	require.Contains(t, days.Find("text").Text(), "maize cobs (8)")
	row := cells(p.Find("table").Last().Find("tbody tr").Last())
	require.Equal(t, []string{"maize cobs", "8", "8"}, row[:3])
	// From the recipe to the weighing they took 26 hours and some minutes: reckoned here.
	for _, cell := range row[3:] {
		v, err := strconv.ParseFloat(strings.TrimSuffix(cell, " days"), 64)
		require.NoError(t, err)
		require.InDelta(t, 26./24, v, 0.25)
	}
}

// cells are the words of a row.
func cells(row *goquery.Selection) []string {
	return row.Find("th, td").Map(func(_ int, s *goquery.Selection) string { return strings.TrimSpace(s.Text()) })
}

// Whatever happened to a person is told in words: no kind of entry is forgotten.
func TestEveryEntryIsTold(t *testing.T) {
	o := newConsole(t)
	q := &request{Console: o.Console, now: o.clock()}
	for kind := gateway.Heard; kind <= gateway.Forgotten; kind++ {
		if strings.HasPrefix(kind.String(), "unnamed") {
			continue
		}
		switch kind {
		case gateway.Settled, gateway.Reported, gateway.Foreign, gateway.Enlisted, gateway.Forgotten:
			continue // of no conversation, or of one that is gone
		}
		l := views.Line{
			Entry: gateway.Entry{
				Kind: kind, At: morning, Key: gateway.NewKey(morning, 7), By: "amina", Notice: "n1", Timer: dialog.Timer{Kind: "cover", Drum: "A"},
				Text: "hello", Heard: &dialog.Heard{Lang: "sw", Understood: true}, Replies: []gateway.Said{{Text: "Which one?", Choices: []string{"cobs", "husk"}, More: "more", Inline: true}},
			},
			Fates: make([]views.Fate, 1),
		}
		out := q.sayings(l)
		require.Len(t, out, 2, kind.String())
		require.NotEqual(t, kind.String(), out[0].Who, "%v has no words", kind)
		require.NotEmpty(t, out[0].Beside, kind.String())
		require.Equal(t, []string{"1 cobs", "2 husk", "8 more"}, out[1].Choice)
		require.Equal(t, []point{{Text: "Shown in the answer"}}, out[1].Beside)
	}
	l := views.Line{
		Entry: gateway.Entry{Kind: gateway.Heard, At: morning.Add(time.Hour), SentAt: morning, Flags: []string{"emergency not acknowledged"}, CallBack: true, Heard: &dialog.Heard{
			Tier: "b", Emergency: "gas", OptOut: true, Secret: true, Report: "opened?", Slots: map[string]dialog.Value{"drums": {Number: 2}}, Unsure: []string{"drums"},
		}},
		Case: gateway.Case{State: gateway.CaseTaken, By: "amina", Note: "I go there"},
	}
	var told []string
	for _, p := range q.sayings(l)[0].Beside {
		told = append(told, p.Text)
	}
	require.Equal(t, []string{
		"Read as English", "Perhaps an emergency: gas. The word HURT was asked for", "It held a PIN or a code, which is not kept", "Opted out", "Asks: may I open?",
		"Drums: 2 (unsure)", "Sent at Mon 2 Mar 09:30 EAT", "Asked to be phoned", "No duty phone has seen the emergency", "An officer, amina: taken. I go there",
	}, told)
	for want, f := range map[string]views.Fate{
		"Waits to be sent": {}, "Waits: quiet hours": {Outcome: gateway.Later, Why: "quiet hours"}, "Not sent: its time was over": {Outcome: gateway.Dropped, Why: gateway.WhyExpired},
		"On the phone": {Outcome: gateway.Sent, Delivery: gateway.ReportDelivered}, "Sent, and not delivered": {Outcome: gateway.Sent, Delivery: gateway.ReportFailed},
		"Perhaps sent, and not sent again: the connection broke": {Outcome: gateway.Unknown, Why: "unsure"}, "Not sent: a newer reason": {Outcome: gateway.Dropped, Why: "a newer reason"},
	} {
		out := q.sayings(views.Line{Entry: gateway.Entry{Kind: gateway.Rang, Replies: []gateway.Said{{Text: "x", Out: true, Segments: 2, Price: gateway.MoneyOf(1.5)}}}, Fates: []views.Fate{f}})
		require.Equal(t, want, out[1].Beside[0].Text)
		require.Equal(t, "2 messages, 1.50 KES", out[1].Beside[1].Text)
	}
}

// While the views are behind, the pages say how far they have come.
func TestTalkSaysThatItIsBehind(t *testing.T) {
	o := newConsole(t)
	for want, p := range map[string]views.Progress{
		"": {Taken: 10, Entries: 12, Behind: time.Second},
		"This page is being made anew and does not know everything yet: 25 % is done.": {Taken: 500, Entries: 2000, Behind: time.Hour},
		"This page is being made anew: 3 people are still to be looked up.":            {Taken: 2000, Entries: 2000, Pending: 3, Behind: time.Hour},
	} {
		require.Equal(t, want, behind(p))
		for name, page := range map[string]any{"talk": talkView{Behind: behind(p)}, "talk-one": conversationView{Behind: behind(p)}, "talk-figures": figuresView{Behind: behind(p)}} {
			var b bytes.Buffer
			require.NoError(t, o.Console.pages.execute(&b, name, view{Page: page}))
			require.Equal(t, want != "", strings.Contains(b.String(), `id="behind"`), name)
			require.Contains(t, b.String(), want)
		}
	}
}
