package console

import (
	"bytes"
	"compress/gzip"
	"context"
	"fmt"
	"io"
	"maps"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/PuerkitoBio/goquery"
	"github.com/gofiber/fiber/v2"
	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/storetest"
	"cobline/gateway/views"
)

// answered is what a browser over a socket got last: how many octets there were,
// and when the first of them came.
type answered struct {
	octets int
	first  time.Duration
}

// wire lets a browser ask over a socket.
func (o *office) wire(c *client) *answered {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(o.t, err)
	ended := make(chan error, 1)
	go func() { ended <- o.app.Listener(listener) }()
	o.t.Cleanup(func() {
		require.NoError(o.t, o.app.Shutdown())
		require.NoError(o.t, <-ended)
	})
	got := &answered{}
	asked := 0
	c.send = func(r *http.Request) (*http.Response, error) {
		asked++
		c.address = fmt.Sprintf("192.0.2.%d", 1+asked/200%250) // one that reads so fast is told to wait
		r.URL.Scheme, r.URL.Host, r.RequestURI = "http", listener.Addr().String(), ""
		r.Header.Set("Accept-Encoding", "gzip")
		began := time.Now()
		res, err := http.DefaultTransport.RoundTrip(r)
		if err != nil {
			return nil, err
		}
		got.first = time.Since(began)
		defer res.Body.Close()
		body, err := io.ReadAll(res.Body)
		if err != nil {
			return nil, err
		}
		got.octets = len(body)
		if res.Header.Get("Content-Encoding") == "gzip" {
			z, err := gzip.NewReader(bytes.NewReader(body))
			if err != nil {
				return nil, err
			}
			if body, err = io.ReadAll(z); err != nil {
				return nil, err
			}
		}
		res.Body = io.NopCloser(bytes.NewReader(body))
		return res, nil
	}
	return got
}

// queue reads in the views who waits, as an officer's phone is told.
type queue struct{ *views.Views }

func (w queue) list(ctx context.Context, q views.MatterQuery, max int) (list []gateway.Waiting, all int, err error) {
	found, err := w.Matters(ctx, q, views.Page{Max: max})
	for _, m := range found.List {
		list = append(list, gateway.Waiting{At: m.At, Number: m.Number, Place: m.Place, Text: m.Text})
	}
	return list, found.All, err
}

func (w queue) Questions(ctx context.Context, places []string, max int) ([]gateway.Waiting, int, error) {
	return w.list(ctx, views.MatterQuery{Kind: views.Question, Places: places}, max)
}

func (w queue) CallBacks(ctx context.Context, places []string, max int) ([]gateway.Waiting, int, error) {
	return w.list(ctx, views.MatterQuery{Kind: views.CallBack, Places: places, Oldest: true}, max)
}

func (w queue) Emergencies(ctx context.Context, places []string) (int, error) {
	_, all, err := w.list(ctx, views.MatterQuery{Kind: views.Emergency, Places: places}, 1)
	return all, err
}

// TestScale: every page answers when many people are behind it, and shows what
// their number is. How long each takes is told; with COBLINE_SCALE=long none may
// take longer than an officer waits.
func TestScale(t *testing.T) {
	producers, entries := storetest.Scale()
	o := newConsole(t)
	o.fill()
	for i := range storetest.Places {
		place := gateway.Place{Key: storetest.PlaceKey(i), Name: fmt.Sprint("Place ", i), Zone: "Africa/Nairobi", Lat: -1, Lon: 36, Altitude: 1500, By: "administrator", At: o.clock()}
		require.NoError(t, o.Knowledge.SetPlace(t.Context(), place))
	}
	d := storetest.NewDistrict(t, o.store, o.clock(), producers, entries)
	began := time.Now()
	d.Fill()
	t.Logf("%d producers wrote %d texts in %v", producers, d.Turns, time.Since(began).Round(time.Millisecond))
	o.wait(d.Now.Sub(o.clock()))
	for i := range storetest.Places {
		o.weather(storetest.PlaceKey(i))
	}
	c := o.as(Administrator)
	got := o.wire(c)

	// Views are made from nothing while somebody looks.
	fresh, err := views.Open(filepath.Join(t.TempDir(), "views"), o.store, views.Options{Home: "home", Zone: o.Facts().Places["home"].Zone, Log: o.Log})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, fresh.Close()) })
	o.Views = fresh
	o.Notices.Finds(fresh)
	running, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	began = time.Now()
	go func() { ended <- o.Views.Run(running) }()
	var told []string
	var meanwhile []time.Duration
	for whole := func() bool { p := o.Views.Progress(); return p.Taken > 0 && p.Whole() }; !whole(); time.Sleep(100 * time.Millisecond) {
		p := c.get("/office/talk")
		require.Equal(t, http.StatusOK, p.status)
		meanwhile = append(meanwhile, p.took)
		if note := p.Find("#behind").Text(); note != "" && !slices.Contains(told, note) {
			told = append(told, note)
		}
	}
	stop()
	require.NoError(t, <-ended)
	o.catchUp()
	t.Logf("views made in %v; meanwhile %d pages told how far, such as %q", time.Since(began).Round(time.Millisecond), len(told), told[:min(2, len(told))])

	var slow []string
	measure := func(name string, took []time.Duration, size int) {
		if len(took) == 0 {
			return
		}
		slices.Sort(took)
		median, worst := took[len(took)/2], took[len(took)-1]
		t.Logf("%-62s | %7.1f | %7.1f | %8d", name, 1000*median.Seconds(), 1000*worst.Seconds(), size)
		if median > 300*time.Millisecond || worst > 2*time.Second && strings.Contains(name, "?") {
			slow = append(slow, name)
		}
	}
	t.Logf("%-62s | %7s | %7s | %8s", "page", "median", "worst", "octets")
	measure("talk, while views are made", meanwhile, got.octets)
	const times = 7
	ask := func(name string, do func() page) (last page) {
		var took []time.Duration
		for range times {
			last = do()
			require.Equal(t, http.StatusOK, last.status, "%s: %s", name, last.text())
			took = append(took, last.took)
		}
		measure(name, took, got.octets)
		return last
	}

	list := []string{"phone;place;consent", "x;;paper"}
	for i := range 1000 {
		list = append(list, fmt.Sprintf("0713%06d;%s;paper", i, d.Place()))
	}
	const lists = "/office/producers/lists"
	ask("a list of 1000 is checked", func() page {
		return c.upload(c.get(lists), lists, nil, "file", "people.csv", []byte(strings.Join(list, "\n")))
	})

	// What each page is found by, and what else it is asked.
	paths := append(o.pages(c), Root, Root+"/sign-in", "/office/producers/lists/template.csv")
	for _, p := range paths {
		if list, ok := strings.CutPrefix(p, "/office/producers/lists/"); ok && !strings.Contains(list, ".") {
			paths = append(paths, p+"/faults.csv")
		}
	}
	for _, r := range o.routes() {
		found := slices.ContainsFunc(paths, func(p string) bool {
			p, _, _ = strings.Cut(p, "?")
			return fiber.RoutePatternMatch(p, Root+r.path, fiber.Config{StrictRouting: true, CaseSensitive: true})
		})
		require.True(t, found || r.method != get, "nobody asks for %s", r.path)
	}
	for _, p := range paths {
		ask("GET "+p, func() page { return c.get(p) })
	}
	somebody := d.Somebody()
	for somebody.State.Stopped { // nobody may reply to them
		somebody = d.Somebody()
	}
	busy := o.personID(somebody.Number)
	month := func(back int) string { return o.clock().AddDate(0, -back, 0).Format(monthLayout) }
	day := func(back int) string { return o.clock().AddDate(0, 0, -back).Format(dayLayout) }
	for _, p := range []func() string{
		func() string { return "talk?place=" + d.Place() },
		func() string { return "talk?words=" + d.Word("sw", 0, 5) },
		func() string { return "talk?words=" + d.Word("sw", 500, 2000) },
		func() string { return "talk?words=" + d.Word("en", 3900, 4000) },
		func() string { return "talk?words=zzzzzz" },
		func() string { return "talk?words=" + d.Word("sw", 0, 5) + "&place=" + d.Place() + "&topic=price" },
		func() string {
			return "talk?words=" + d.Word("sw", 0, 5) + "&language=fr&from=" + day(290) + "&to=" + day(270)
		},
		func() string { return "talk?unknown=yes&language=sw" },
		func() string { return "talk/" + busy },
		func() string { return "talk/figures?from=" + month(10) + "&to=" + month(0) },
		func() string { return "talk/figures?topic=recipe&place=" + d.Place() },
		func() string { return "questions?language=sw&days=90" },
		func() string { return "questions?language=en&days=7&skip=15" },
		func() string { return "producers?place=" + d.Place() },
		func() string { return "producers?stage=drying" },
		func() string { return "producers?stage=lit&place=" + d.Place() },
		func() string { return "producers?words=group+7&out=yes" },
		func() string { return "producers?language=sw&out=no" },
		func() string { return "producers/" + busy },
		func() string { return "batches?by=waste-month" },
		func() string { return "batches?by=waste-place&waste=bagasse&place=" + d.Place() },
		func() string { return "outlook/at/" + d.Place() },
	} {
		one := p()
		ask("GET /office/"+one, func() page { return c.get("/office/" + p()) })
	}

	// Forms that count, or list.
	submit := func(p page, action string, fill url.Values) func() page {
		return func() page { return c.submit(p, action, fill) }
	}
	form := c.get("/office/notices/new")
	all := url.Values{"text-en": {"Training on Friday. Coming? Text ASK."}, "ring": {"accepted"}}
	written := form.values(t, "/office/notices/preview")
	maps.Copy(written, all)
	ask("notice to all: looked at while it is written", func() page { return c.post("/office/notices/measure", written) })
	last := ask("notice to all: preview", submit(form, "/office/notices/preview", all))
	for began = time.Now(); last.Find("#progress").Length() > 0; last = c.get(last.path) {
		t.Logf("notice to all, after %v: %s", time.Since(began).Round(time.Millisecond), last.Find("#progress p").First().Text())
		time.Sleep(200 * time.Millisecond)
	}
	require.Equal(t, "Preview of a notice", last.Find("h1").Text())
	one := url.Values{"text-en": all["text-en"], "place": {"place-7"}, "ring": all["ring"]}
	ask("notice to a place: preview", submit(form, "/office/notices/preview", one))
	outlook := c.get("/office/outlook")
	draft := outlook.Find("#reminders + ul a.button").FilterFunction(func(_ int, s *goquery.Selection) bool {
		return strings.Contains(s.AttrOr("href", ""), "place-")
	}).AttrOr("href", "")
	ask("drafted reminder: form", func() page { return c.get(draft) })
	ask("drafted reminder: preview", submit(c.get(draft), "/office/notices/preview", nil))
	ask("a number is sought", submit(c.get("/office/producers"), "/office/producers/find", url.Values{"phone": {"0712000005"}}))
	ask("a word is tried", submit(c.get("/office/questions/teach"), "/office/questions/teach", url.Values{"word": {d.Word("en", 0, 5)}, "language": {"en"}, "meaning": {"waste.maize-cob"}}))
	ask("a reply is looked at", func() page {
		at := "/office/talk/" + busy
		return c.submit(c.get(at), at+"/reply", url.Values{"text": {"Come on Friday"}, "do": {"look"}})
	})
	// A sheet is on its way at once, and whole when it is.
	for name, of := range map[string]string{
		"producers of a place": "producers?place=" + d.Somebody().State.Place, "all producers": "producers", "all batches": "batches",
	} {
		path, _, _ := strings.Cut(of, "?")
		p := c.get("/office/" + of)
		v := p.values(t, "/office/"+path+"/export")
		var begun, whole []time.Duration
		for range 3 {
			sheet := c.post("/office/"+path+"/export", v)
			shown := strings.Fields(p.Find("p:contains('those who wrote last'), p:contains('finished batch')").First().Text())[0]
			require.Equal(t, shown, strconv.Itoa(strings.Count(sheet.body, "\r\n")-1), name)
			begun, whole = append(begun, got.first), append(whole, sheet.took)
		}
		measure(name+" as a sheet, begun", begun, got.octets)
		slices.Sort(whole)
		t.Logf("%-62s | %7.1f | %7.1f | %8d", name+" as a sheet, whole", 1000*whole[1].Seconds(), 1000*whole[2].Seconds(), got.octets)
	}

	// What is found at a place without looking at everybody is what is found by it;
	// and whom a notice goes to is who was counted.
	n := gateway.Notice{Message: dialog.Notice{Ready: "rain", Hour: o.clock().Add(5 * time.Hour)}}
	var here gateway.Preview
	for i := 0; here.Persons == 0 && i < storetest.Places; i++ {
		n.Audience.Places = []string{storetest.PlaceKey(i)}
		here, err = o.Notices.Preview(t.Context(), n, o.clock())
		require.NoError(t, err)
	}
	require.Positive(t, here.Persons)
	began = time.Now()
	everybody, err := gateway.NewNotices(o.store, o.Service).Preview(t.Context(), n, o.clock())
	require.NoError(t, err)
	t.Logf("a notice to a place, when everybody is looked at: %v", time.Since(began).Round(time.Millisecond))
	require.Equal(t, []any{everybody.Persons, everybody.Segments, everybody.Price, everybody.Rings, everybody.Asked}, []any{here.Persons, here.Segments, here.Price, here.Rings, here.Asked})
	sent := o.send(n)
	require.NoError(t, o.Notices.Enlist(t.Context(), o.clock))
	tally, err := o.store.Tally(t.Context(), sent.Message.ID)
	require.NoError(t, err)
	require.Equal(t, here.Persons, tally.Enlisted)

	// What an officer's phone counts.
	o.Phones = gateway.NewOffice(o.Notices, gateway.OfficeOptions{Waiting: queue{o.Views}, Rounds: 100, Most: 1_000_000})
	pin := "482913"
	phone := person(t, 80)
	require.NoError(t, o.Phones.RenewPhone(t.Context(), phone, "officer", o.clock()))
	require.NoError(t, o.Phones.SetPhone(t.Context(), phone, []string{"place-7"}, true, "officer", o.clock()))
	require.NoError(t, o.Phones.SetPIN(t.Context(), phone, pin, "officer", o.clock()))
	by := func(name string, texts ...string) {
		var took []time.Duration
		for range times {
			o.says(phone, "OFFICE "+pin)
			for i, text := range texts {
				o.wait(time.Second)
				began := time.Now()
				o.says(phone, text)
				if i == len(texts)-1 {
					took = append(took, time.Since(began))
				}
			}
			o.wait(time.Minute)
		}
		measure("by phone: "+name, took, 0)
	}
	by("outlook", "outlook")
	by("questions", "questions")
	by("warning counted", "rain 18:00")

	if os.Getenv("COBLINE_SCALE") == "long" {
		require.Empty(t, slow, "an officer waits longer than 0.3 seconds at the median, or 2 for a search")
	}
}
