package console

import (
	"context"
	"net/http"
	"net/url"
	"testing"
	"time"

	"github.com/PuerkitoBio/goquery"
	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
)

// fillQuestions lets people ask, call, cry and not be understood.
func (o *office) fillQuestions() {
	t := o.t
	for i, texts := range [][]string{
		{"english", "my child burned his hand"},
		{"english", "call me"},
		{"english", "ask: who buys <i>briquettes</i> near the school and at what price"},
		{"english", "nubbins", "nubbins plenty"},
		{"english", "have nubbins"},
		{"kiswahili", "makopa"},
	} {
		for _, text := range texts {
			o.says(person(t, 40+i), text)
			o.wait(time.Minute)
		}
	}
	_, err := o.Knowledge.Teach(context.Background(), gateway.Taught{Lang: "en", Word: "corn knobs", Concept: "waste.maize-cob", By: "officer", At: o.clock()})
	require.NoError(t, err)
	_, err = o.Knowledge.SetAnswer(context.Background(), gateway.Answer{Lang: "en", Questions: []string{"loan"}, Text: "We have no loans.", Stage: dialog.Stages()[0], By: "officer", At: o.clock()})
	require.NoError(t, err)
	require.NoError(t, o.Knowledge.Propose(context.Background(), gateway.Proposal{
		Taught: &gateway.Taught{Lang: "en", Word: "dusty dry", Concept: "dryness.dry", By: "officer"}, Why: []string{"It is about how dry waste is."}, By: "officer", At: o.clock(),
	}))
	o.catchUp()
}

// under returns the part of a page under a heading.
func (p page) under(heading string) *goquery.Selection {
	return p.Find("h2").FilterFunction(func(_ int, s *goquery.Selection) bool { return s.Text() == heading }).NextUntil("h2")
}

func TestC15EmergencyUntilAcknowledged(t *testing.T) {
	o := newConsole(t)
	o.fillQuestions()
	require.Zero(t, o.as(Viewer).get("/office/questions").Find("main form[method=post]").Length(), "a viewer only looks")
	c := o.as(Officer)
	p := c.get("/office/questions")
	require.Equal(t, 1, p.Find(".alarm li").Length())
	require.Contains(t, p.Find(".alarm").Text(), "burn, Home")
	require.Equal(t, 1, p.Find("main h2").First().Closest(".alarm").Length(), "before everything else")
	p = c.submit(p, "/office/questions/acknowledge", nil)
	require.Zero(t, p.Find(".alarm").Length())
	require.Equal(t, "emergency acknowledged", o.trail()[0].What)
	conversation, err := o.store.Load(t.Context(), person(t, 40))
	require.NoError(t, err)
	require.True(t, conversation.State.Alert.Seen, "no other duty phone is told")
}

func TestCallsAndQuestions(t *testing.T) {
	o := newConsole(t)
	o.fillQuestions()
	o.wait(3 * time.Hour)
	c := o.as(Officer)
	p := c.get("/office/questions")
	require.Contains(t, p.text(), "waiting 3 hours")
	p = c.submit(p, "/office/questions/called", url.Values{"note": {"phone was off"}, "do": {"missed"}})
	require.Contains(t, p.text(), "They stay on the list")
	require.Contains(t, p.text(), "officer: not reached. phone was off")
	o.wait(time.Minute)
	p = c.submit(p, "/office/questions/called", url.Values{"do": {"called"}})
	require.Contains(t, p.text(), "Nobody waits to be phoned")
	require.Equal(t, "call-back made", o.trail()[0].What)

	require.Contains(t, p.text(), "who buys <i>briquettes</i> near the school", "harmless")
	reply := p.under("Questions to officers").Find("a.button").AttrOr("href", "")
	require.Equal(t, http.StatusOK, c.get(reply).status)
	p = c.submit(c.get("/office/questions"), "/office/questions/close", nil)
	require.Contains(t, p.text(), "No question waits")
}

func TestTeachAWord(t *testing.T) {
	o := newConsole(t)
	o.fillQuestions()
	c := o.as(Officer)
	p := c.get("/office/questions")
	unknown := p.under("Not understood")
	require.Contains(t, unknown.Text(), "3 texts")
	require.Contains(t, unknown.Find("a[href*='/teach']").First().AttrOr("href", ""), "word=nubbins")
	p = c.get(unknown.Find("a[href*='/teach']").First().AttrOr("href", ""))
	bad := c.submit(p, "/office/questions/teach", url.Values{"meaning": {""}})
	require.Contains(t, bad.text(), "It means: This is missing")
	p = c.submit(p, "/office/questions/teach", url.Values{"word": {"nubbins"}, "meaning": {"waste.maize-cob"}, "do": {"look"}})
	require.Equal(t, http.StatusOK, p.status, p.text())
	require.Contains(t, p.text(), "3 would be understood otherwise")
	require.Contains(t, p.Find("tbody").Text(), "Not understood")
	require.Contains(t, p.Find("tbody").Text(), "maize cobs")
	o.says(person(t, 50), "nubbins 2 drums dry")
	before, err := o.store.Load(t.Context(), person(t, 50))
	require.NoError(t, err)
	require.NotContains(t, before.State.Waste, "maize-cob", "nothing is taught yet")

	o.wait(time.Minute)
	p = c.submit(p, "/office/questions/teach", url.Values{"do": {"teach"}})
	require.Contains(t, p.text(), "understands \"nubbins\" from the next message on")
	require.Equal(t, "word taught", o.trail()[0].What)
	o.says(person(t, 51), "nubbins 2 drums dry")
	after, err := o.store.Load(t.Context(), person(t, 51))
	require.NoError(t, err)
	require.Equal(t, "maize-cob", after.State.Waste)

	var id string
	for _, w := range o.Knowledge.Taught() {
		if w.Word == "nubbins" {
			id = w.ID
		}
	}
	o.wait(time.Minute)
	p = c.submit(p, "/office/questions/untaught", url.Values{"id": {id}})
	require.Contains(t, p.text(), "Undone")
	require.NotContains(t, p.under("Words").Text(), "nubbins")
}

func TestC25SecondLook(t *testing.T) {
	o := newConsole(t)
	c := o.as(Officer)
	p := c.submit(c.get("/office/questions/teach"), "/office/questions/teach", url.Values{"word": {"clicky feel"}, "language": {"en"}, "meaning": {"dryness.dry"}, "do": {"teach"}})
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	require.Contains(t, p.text(), "An administrator has to look at it too")
	require.Empty(t, o.Knowledge.Taught())
	p = c.submit(p, "/office/questions/teach", url.Values{"do": {"propose"}})
	require.Contains(t, p.text(), "clicky feel")
	require.Zero(t, p.Find("form[action='/office/questions/approve']").Length())
	require.Empty(t, o.Knowledge.Taught())
	require.Equal(t, http.StatusForbidden, c.post("/office/questions/approve", nil).status)

	a := o.as(Administrator)
	p = a.submit(a.get("/office/questions/taught"), "/office/questions/approve", nil)
	require.Contains(t, p.text(), "Approved")
	require.Len(t, o.Knowledge.Taught(), 1)
	require.Equal(t, "administrator", o.Knowledge.Taught()[0].Second)

	// What an administrator proposes needs somebody else.
	p = a.submit(a.get("/office/questions/teach"), "/office/questions/teach", url.Values{"word": {"clacky feel"}, "language": {"en"}, "meaning": {"dryness.dry"}, "do": {"propose"}})
	require.Zero(t, p.Find("form[action='/office/questions/approve']").Length())
	proposals, err := o.Knowledge.Proposals(t.Context())
	require.NoError(t, err)
	require.Len(t, proposals, 1)
	p = a.submit(a.get("/office/questions/taught"), "/office/sign-out", nil)
	require.Equal(t, http.StatusOK, p.status)
	require.Len(t, o.Knowledge.Taught(), 1)
}

func TestC25WrittenAnswer(t *testing.T) {
	o := newConsole(t)
	c := o.as(Officer)
	p := c.submit(c.get("/office/questions/answer?language=en&question=training+when"), "/office/questions/answer", url.Values{"text": {"Open the drum when it is cold."}})
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	require.Contains(t, p.Find("#faults").Text(), "opening")
	p = c.submit(p, "/office/questions/answer", url.Values{"text": {"Ask at the market office."}, "stage": {dialog.Stages()[0]}})
	require.Equal(t, http.StatusOK, p.status, p.text())
	require.Contains(t, p.under("Answers").Text(), "training when")
	o.says(person(t, 60), "english")
	o.says(person(t, 60), "training when")
	o.catchUp()
	var said []string
	for _, m := range o.outbox() {
		said = append(said, m.Text)
	}
	require.Contains(t, said, "Ask at the market office.")
	p = c.get(p.under("Answers").Find("a").First().AttrOr("href", ""))
	p = c.submit(p, "/office/questions/answer", url.Values{"text": {"Ask at the school."}})
	require.Contains(t, p.under("Answers").Text(), "Ask at the school.")
	p = c.submit(p, "/office/questions/unanswer", nil)
	require.Contains(t, p.text(), "No answer was written yet")
}

// Beside an answer stand it and the caution that the line adds, as phones show
// them, in the language of the answer.
func TestAnswerStandsAsOnPhones(t *testing.T) {
	c := newConsole(t).as(Officer)
	p := c.get("/office/questions/answer")
	fill := url.Values{"language": {"sw"}, "questions": {"soko"}, "text": {"Uliza ofisi ya soko."}, "stage": {"buyers"}, "do": {"look"}}
	v := p.values(t, "/office/questions/answer")
	for name, values := range fill {
		v[name] = values
	}
	for _, p := range []page{c.post("/office/questions/measure", v), c.submit(p, "/office/questions/answer", fill)} {
		require.Equal(t, http.StatusOK, p.status)
		require.Equal(t, 2, p.Find("#m-text .sms").Length())
		require.Equal(t, "Uliza ofisi ya soko.", p.Find("#m-text .sms").First().Text())
		require.Equal(t, "sw", p.Find("#m-text .sms").Last().AttrOr("lang", ""))
		require.Contains(t, p.Find("#n-text").Text(), "1 message, 20 characters of GSM-7. 1 message, ")
		require.Contains(t, p.Find("#n-text").Text(), "1.60 KES for each phone.")
	}
	require.Contains(t, c.get("/office/questions/taught").text(), "No answer was written yet", "looking writes nothing")
}
