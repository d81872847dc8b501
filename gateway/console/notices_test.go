package console

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/locales"
)

// joined lets people of a place accept messages.
func (o *office) joined(place string, people ...int) {
	for _, i := range people {
		for _, text := range []string{"join", place, "no", "yes"} {
			o.says(person(o.t, i), text)
		}
	}
}

// fillNotices starts a notice of each kind, one of them paused.
func (o *office) fillNotices() {
	o.joined("lakeside", 1, 2)
	o.send(gateway.Notice{Message: dialog.Notice{Texts: map[locales.Lang]string{"en": "Meeting on Friday at the <b>mill</b>. Coming? Text ASK."}}, By: "officer"})
	paused := o.send(gateway.Notice{
		Message: dialog.Notice{Ready: "rain", Hour: o.clock().Add(5 * time.Hour)}, By: "officer",
		Audience: gateway.Audience{Places: []string{"lakeside"}, Stages: []string{"sealed"}, Wastes: []string{"maize-cob"}, Langs: []locales.Lang{"sw"}, Groups: []string{"Umoja"}},
	})
	_, err := o.Notices.Set(context.Background(), paused.Message.ID, gateway.Paused, o.clock())
	require.NoError(o.t, err)
	o.counting()
}

// counting lets the administrator have a notice that is being counted, for ever.
func (o *office) counting() {
	o.patience = patience
	c := &headcount{by: Administrator.String(), form: url.Values{"id": {"counting"}}, at: o.clock(), stop: func() {}, done: make(chan struct{})}
	c.looked.Store(1200)
	c.of.Store(4000)
	o.counts.add(c)
}

// halting is a store that does not say who there is until it is told to.
type halting struct {
	gateway.NoticeStore
	goes  chan struct{}
	ended chan error
}

func (h *halting) Each(ctx context.Context, after gateway.Number, f func(gateway.Conversation) error) error {
	select {
	case <-h.goes:
		return h.NoticeStore.Each(ctx, after, f)
	case <-ctx.Done():
		h.ended <- ctx.Err()
		return ctx.Err()
	}
}

// TestNoticeIsCountedBehindThePage: while people are counted a page tells how far
// it is, without a script too, and leads to the preview; who starts another count
// ends the one before.
func TestNoticeIsCountedBehindThePage(t *testing.T) {
	o := newConsole(t)
	o.joined("lakeside", 1, 2)
	store := &halting{o.store, make(chan struct{}), make(chan error, 10)}
	o.Notices, o.patience = gateway.NewNotices(store, o.Service), patience
	c := o.as(Officer)
	fill := url.Values{"text-en": {"Training on Friday. Coming? Text ASK."}}
	first := c.submit(c.get("/office/notices/new"), "/office/notices/preview", fill)
	require.Equal(t, http.StatusOK, first.status, first.text())
	require.Equal(t, "Whom it is for", first.Find("h1").Text())
	require.Contains(t, first.text(), "0 people looked at")
	require.Contains(t, first.Find("head noscript").Text(), `http-equiv="refresh"`)
	require.Equal(t, "1", first.Find("#progress[data-leads]").AttrOr("data-refresh", ""))
	checkPage(t, first)
	require.Contains(t, o.as(Administrator).get(first.path).text(), "That count is gone", "it is another's")
	require.Equal(t, fill.Get("text-en"), c.submit(first, "/office/notices/new", nil).Find("#f-text-en").Text(), "nothing is lost")

	p := c.submit(c.get("/office/notices/new"), "/office/notices/preview", fill)
	for errors.Is(<-store.ended, context.DeadlineExceeded) { // of the form, which does not wait
	}
	require.NotEqual(t, first.path, p.path)
	require.Contains(t, c.get(first.path).text(), "That count is gone")
	close(store.goes)
	o.patience = time.Minute
	require.Eventually(t, func() bool { return c.get(p.path).Find("h1").Text() == "Preview of a notice" }, 10*time.Second, time.Millisecond)
	p = c.get(p.path)
	require.Contains(t, p.text(), "Phones2 (2 accepted)")
	o.wait(time.Minute)
	tried := c.submit(p, "/office/notices/try", url.Values{"phone": {"0712000077"}, "try-lang": {"en"}})
	require.Contains(t, tried.Find(".told").Text(), "Training")
	require.Equal(t, http.StatusOK, c.submit(tried, "/office/notices/send", nil).status)
}

func (o *office) send(n gateway.Notice) gateway.Notice {
	started, err := o.Notices.Start(context.Background(), n, o.clock())
	require.NoError(o.t, err)
	return started
}

// run lets the notices be listed.
func (o *office) run() { require.NoError(o.t, o.Notices.Enlist(context.Background(), o.clock)) }

func TestNoticeFromFormToPhones(t *testing.T) {
	o := newConsole(t)
	o.joined("lakeside", 1, 2)
	o.joined("home", 3)
	o.outbox()
	c := o.as(Officer)
	p := c.get("/office/notices")
	require.Contains(t, p.text(), "No notice was sent yet")

	p = c.get("/office/notices/new")
	p = c.submit(p, "/office/notices/preview", url.Values{"place": {"lakeside"}, "text-en": {"Training on Friday. Coming? Reply 1."}})
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	require.Contains(t, p.text(), "The text in en asks for a digit")
	require.Equal(t, "Training on Friday. Coming? Reply 1.", p.Find("#f-text-en").Text(), "nothing is lost")
	_, on := p.Find("input[name=place][value=lakeside]").Attr("checked")
	require.True(t, on)

	p = c.submit(p, "/office/notices/preview", url.Values{"text-en": {"Training on Friday. Coming? Text ASK."}})
	require.Equal(t, http.StatusOK, p.status, p.text())
	require.Contains(t, p.text(), "Phones2 (2 accepted)")
	require.Contains(t, p.text(), "2, 1.60 KES in all")
	require.NotContains(t, p.text(), "not whom it is for", "there")
	require.Equal(t, "Training on Friday. Coming? Text ASK.", p.Find(".sms").Text())
	require.Contains(t, p.text(), "2 phones, 1 message, 37 characters of GSM-7")
	require.Len(t, o.trail(), len(Roles)-2, "only the sign-in is recorded")

	back := c.submit(p, "/office/notices/new", nil)
	require.Equal(t, "Training on Friday. Coming? Text ASK.", back.Find("#f-text-en").Text())
	require.Zero(t, back.Find(".fault").Length())

	o.wait(time.Second)
	sent := c.submit(p, "/office/notices/send", nil)
	require.Equal(t, "looking up whom it is for", sent.Find("#progress strong").Text())
	again := c.submit(p, "/office/notices/send", nil)
	require.Equal(t, sent.path, again.path, "a form sent twice starts one notice")
	require.Contains(t, again.text(), "started already")
	all, err := o.Notices.List(t.Context())
	require.NoError(t, err)
	require.Len(t, all, 1)
	require.Equal(t, "officer", all[0].Notice.By)

	o.run()
	var to []gateway.Number
	for _, m := range o.outbox() {
		if m.Notice != "" {
			to = append(to, m.To)
		}
	}
	require.Equal(t, []gateway.Number{person(t, 1), person(t, 2)}, to)
	require.Equal(t, "officer", o.did("notice started").By)
	p = c.get(sent.path)
	require.Contains(t, p.text(), "going out: 0 of 2")
	require.Equal(t, "5", p.Find("#progress").AttrOr("data-refresh", ""))
	p = c.submit(p, sent.path+"/pause", nil)
	require.Contains(t, p.text(), "paused")
	require.Empty(t, p.Find("#progress").AttrOr("data-refresh", ""))
	p = c.submit(p, sent.path+"/resume", nil)
	require.Contains(t, p.text(), "going out")
	p = c.submit(p, sent.path+"/cancel", nil)
	require.Contains(t, p.text(), "cancelled")
	require.Zero(t, p.Find("main button").Length(), "nothing is left to do with it")
	require.Contains(t, c.get("/office/notices").text(), "Training on Friday")
}

func TestReadyNotice(t *testing.T) {
	o := newConsole(t)
	o.joined("lakeside", 1)
	o.says(person(t, 1), "cobs 1 drum dry")
	c := o.as(Officer)
	p := c.get("/office/notices/new?ready=rain&place=lakeside&hour=2026-03-02T15:00")
	require.Equal(t, "rain", p.values(t, "/office/notices/preview").Get("ready"))
	p = c.submit(p, "/office/notices/preview", url.Values{"hour": {""}})
	require.Contains(t, p.text(), "A ready text names the hour of the weather")
	p = c.submit(p, "/office/notices/preview", url.Values{"hour": {"tomorrow"}})
	require.Contains(t, p.text(), "Write a date and a time")
	p = c.submit(p, "/office/notices/preview", url.Values{"hour": {"2026-03-02T15:00"}, "ring": {"likely"}})
	require.Equal(t, http.StatusOK, p.status, p.text())
	require.Contains(t, p.Find(".sms").Text(), "Rain is likely: Lakeside, Monday 15:00.")
	require.Contains(t, p.text(), "Phones1 (1 likely)")

	o.wait(time.Second)
	tried := c.submit(p, "/office/notices/try", url.Values{"phone": {"0700 00"}})
	require.Contains(t, tried.text(), "is no phone number")
	tried = c.submit(p, "/office/notices/try", url.Values{"phone": {"0712000077"}, "try-lang": {"sw"}})
	require.Contains(t, tried.Find(".told").Text(), "Mvua")
	var texts []string
	for _, m := range o.outbox() {
		if m.To == person(t, 77) {
			texts = append(texts, m.Text)
		}
	}
	require.Len(t, texts, 1)
	require.Contains(t, texts[0], "Mvua")
	require.Equal(t, person(t, 77).String(), o.did("notice tried").On, "masked")
	require.Equal(t, http.StatusOK, c.submit(tried, "/office/notices/send", nil).status, "what was tried can be sent")
	require.Equal(t, "Rain is likely, Lakeside", c.get("/office/notices").Find("tbody th").Text(), "it is told by its place")
}

// A notice whose hour is over by the clock of the line, which goes on when that of
// the machine was set back, is mended in its form.
func TestNoticeWhoseHourIsOverByTheLine(t *testing.T) {
	o := newConsole(t)
	o.joined("lakeside", 1)
	c := o.as(Officer)
	fill := url.Values{"ready": {"rain"}, "hour": {"2026-03-02T15:00"}, "ring": {"accepted"}}
	seen := c.submit(c.get("/office/notices/new"), "/office/notices/preview", fill)
	require.Equal(t, http.StatusOK, seen.status, seen.text())
	o.send(gateway.Notice{Message: dialog.Notice{Texts: map[locales.Lang]string{"en": "Meeting on Friday."}}})
	require.NoError(t, o.Notices.Enlist(t.Context(), func() time.Time { return o.clock().Add(8 * time.Hour) }))
	for _, p := range []page{c.submit(c.get("/office/notices/new"), "/office/notices/preview", fill), c.submit(seen, "/office/notices/send", nil)} {
		require.Equal(t, http.StatusUnprocessableEntity, p.status)
		require.Contains(t, p.Find("#faults").Text(), "The notice would expire before it can be sent.")
	}
	all, err := o.Notices.List(t.Context())
	require.NoError(t, err)
	require.Len(t, all, 1)
}

// TestNoticesLeadOn: a long list has pages.
func TestNoticesLeadOn(t *testing.T) {
	o := newConsole(t)
	for i := range noticesShown + 5 {
		o.wait(time.Second)
		o.send(gateway.Notice{Message: dialog.Notice{Texts: map[locales.Lang]string{"en": fmt.Sprintf("Meeting %d.", i)}}})
	}
	c := o.as(Viewer)
	p := c.get("/office/notices")
	require.Equal(t, noticesShown, p.Find("tbody tr").Length())
	require.Contains(t, p.text(), fmt.Sprintf("Meeting %d.", noticesShown+4))
	p = c.get(p.Find("a[rel=next]").AttrOr("href", ""))
	require.Equal(t, 5, p.Find("tbody tr").Length())
	require.Contains(t, p.text(), "Meeting 0.")
}

// TestNoticeStandsAsOnPhones: beside each text stands what phones will show of it,
// how it is counted and what it costs, while it is written and, by a button,
// without a script. How texts are counted is 3GPP TS 23.040 (see gateway/sms).
func TestNoticeStandsAsOnPhones(t *testing.T) {
	o := newConsole(t)
	o.joined("lakeside", 1, 2)
	o.outbox()
	c := o.as(Officer)
	form := c.get("/office/notices/new")
	require.Empty(t, strings.TrimSpace(form.Find("#m-text-en, #m-all").Text()))
	for _, tt := range []struct {
		name, lang, text, shown, size string
	}{
		{"as it is", "en", "Meeting on Friday.", "Meeting on Friday.", "1 message, 18 characters of GSM-7. 0.80 KES for each phone."},
		{"letters put in place of others", "en", "It\u2019s <b>dry</b>", "It's <b>dry</b>", "1 message, 15 characters of GSM-7; some letters are put in place of others, so that it takes fewer messages. 0.80 KES for each phone."},
		{"longer than one", "sw", strings.Repeat("a", 161), strings.Repeat("a", 161), "2 messages, 161 characters of GSM-7. 1.60 KES for each phone."},
		{"a dear letter", "en", "R\u00e9union \u4f1a", "R\u00e9union \u4f1a", "1 message, 9 characters of UCS-2; it would take fewer messages without \u4f1a. 0.80 KES for each phone."},
		{"none", "en", "  ", "", ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			v := form.values(t, "/office/notices/preview")
			v.Set("text-"+tt.lang, tt.text)
			live := c.post("/office/notices/measure", v)
			require.Equal(t, http.StatusOK, live.status)
			require.Zero(t, live.Find("form, h1").Length(), "no whole page")
			pressed := c.follow(c.post("/office/notices/new", v))
			for _, p := range []page{live, pressed} {
				require.Equal(t, tt.shown, p.Find("#m-text-"+tt.lang+" .sms").Text())
				require.Equal(t, tt.size, strings.TrimSpace(p.Find("#n-text-"+tt.lang).Text()))
				require.Zero(t, p.Find("#m-text-en b").Length())
			}
			require.Equal(t, live.Find("#m-all").Text(), pressed.Find("#m-all").Text())
			require.Equal(t, strings.TrimSpace(tt.text), pressed.Find("#f-text-"+tt.lang).Text(), "nothing is lost")
			require.Zero(t, pressed.Find(".fault").Length(), "nobody has sent it yet")
		})
	}
	all := func(fill url.Values) page {
		v := form.values(t, "/office/notices/preview")
		for name, values := range fill {
			v[name] = values
		}
		return c.post("/office/notices/measure", v)
	}
	require.Equal(t, "It goes to 2 phones and takes 4 messages, 3.20 KES in all.", all(url.Values{"text-en": {strings.Repeat("b", 200)}}).Find("#m-all").Text())
	require.Equal(t, "It goes to nobody so far.", all(url.Values{"text-en": {"x"}, "place": {"home"}}).Find("#m-all").Text())
	require.Equal(t, "The text in en asks for a digit, which may answer another question; ask for a word.", all(url.Values{"text-en": {"Coming? Reply 1."}}).Find("#m-all").Text())
	ready := all(url.Values{"ready": {"rain"}, "hour": {"2026-03-02T15:00"}, "ring": {"accepted"}, "text-en": {"left out"}})
	require.Contains(t, ready.Find("#m-ready .sms").Text(), "Rain is likely: Lakeside, Monday 15:00.")
	require.Empty(t, ready.Find("#m-text-en .sms").Text(), "a ready text takes its place")
	require.NotContains(t, c.get("/office/notices/new?ready=rain&place=lakeside&hour=2026-03-02T15:00").Find("form[data-measure-now]").AttrOr("action", "none"), "none", "a draft is counted at once")
	require.Equal(t, http.StatusForbidden, o.as(Viewer).post("/office/notices/measure", url.Values{"text-en": {"x"}}).status)
}
