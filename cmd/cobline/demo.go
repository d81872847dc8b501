package main

import (
	"container/heap"
	"context"
	"embed"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"os/signal"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"

	"github.com/BurntSushi/toml"

	"cobline/calc"
	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/boltstore"
	"cobline/gateway/console"
	"cobline/gateway/outbox"
	"cobline/locales"
)

// The district of a demonstration is invented, and so are its people and what
// they write. The line's part is not: every answer is what the line says to
// such a text.
const (
	demoPeople = 60
	demoDays   = 21
	demoSeed   = 7
)

//go:embed demo
var demoFiles embed.FS

// district is what the file of the district says.
type district struct {
	Wastes map[string][]string // of each place
	Words  map[locales.Lang]map[string][]string
}

func readDistrict() (d district, err error) {
	_, err = toml.DecodeFS(demoFiles, "demo/district.toml", &d)
	return d, err
}

// demoConfig returns the configuration of the district's line, with its store in
// a directory.
func demoConfig(dir string, env []string) (Config, error) {
	file := filepath.Join(dir, defaultConfigFile)
	written, err := demoFiles.ReadFile("demo/cobline.toml")
	if err != nil {
		return Config{}, err
	}
	if err := os.WriteFile(file, written, 0o600); err != nil {
		return Config{}, fmt.Errorf("write the configuration of the demonstration: %w", err)
	}
	c, err := Load(file, append(slices.Clone(env), "COBLINE_STORE_PATH="+dir))
	if err == nil && !c.loopback() {
		err = advised{fmt.Errorf("a demonstration listens on %s, which others can reach", c.Listen), "Its passwords are known to all: choose an address such as 127.0.0.1:8081."}
	}
	return c, err
}

// The accounts of a demonstration and their password, which everybody may know.
var demoAccounts = map[string]console.Role{"viewer": console.Viewer, demoOfficer: console.Officer, "admin": console.Administrator}

const demoPassword = "charcoal-on-the-rack"

// serveDemo runs the line of the district until it is told to stop.
func serveDemo(env []string, t *terminal) (err error) {
	dir, err := os.MkdirTemp("", "cobline-demo-")
	if err != nil {
		return fmt.Errorf("make a directory for the demonstration: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	config, err := demoConfig(dir, env)
	if err != nil {
		return err
	}
	fmt.Fprintln(t.err, "An invented district: its people, places and numbers are made up. Three weeks of it are played first.")
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	if err := prepareDemo(ctx, config, time.Now()); err != nil {
		return fmt.Errorf("play the demonstration: %w", err)
	}
	fmt.Fprintf(t.err, "Open http://%s and sign in as viewer, %s or admin; the password of each is %s\n", config.Listen, demoOfficer, demoPassword)
	return serve(ctx, config, slog.New(slog.NewTextHandler(t.err, &slog.HandlerOptions{Level: config.logLevel()})))
}

// prepareDemo fills the store of a demonstration.
func prepareDemo(ctx context.Context, config Config, now time.Time) (err error) {
	d, err := readDistrict()
	if err != nil {
		return err
	}
	store, err := boltstore.Open(filepath.Join(config.Store.Path, storeFile), boltstore.Options{Zone: config.zone(), NoSync: true})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	accounts, err := console.NewAccounts(store)
	if err != nil {
		return err
	}
	for _, name := range slices.Sorted(maps.Keys(demoAccounts)) {
		if err := accounts.Add(ctx, name, demoAccounts[name], demoPassword, false, now); err != nil {
			return err
		}
	}
	return fillDemo(ctx, config, d, store, now)
}

// history is three weeks of the district in the making. Its clock goes from one
// act to the next; what the line sends on its own comes on the way.
type history struct {
	district
	config  Config
	store   *boltstore.Store
	line    *line
	policy  outbox.Policy
	zone    *time.Location
	chance  *rand.Rand
	now     time.Time
	end     time.Time
	acts    acts
	serial  int
	matters int // that an officer has to see to
	rain    int // the day on which it rains next
}

// producer is one of the district's people.
type producer struct {
	number gateway.Number
	lang   locales.Lang
	home   string // the key of their place
	group  string
	waste  string
	drums  int
	late   float64 // how late they cover, in minutes
}

// act is something a person does at a time.
type act struct {
	at     time.Time
	serial int // acts of one moment keep their order
	who    *producer
	do     doing
}

// doing is what a person does: it returns what they text, if anything, or when
// they look again.
type doing func(ctx context.Context, c gateway.Conversation) (text string, again time.Time, err error)

type acts []act

func (a acts) Len() int { return len(a) }
func (a acts) Less(i, j int) bool {
	if !a[i].at.Equal(a[j].at) {
		return a[i].at.Before(a[j].at)
	}
	return a[i].serial < a[j].serial
}
func (a acts) Swap(i, j int) { a[i], a[j] = a[j], a[i] }
func (a *acts) Push(x any)   { *a = append(*a, x.(act)) }
func (a *acts) Pop() any {
	last := (*a)[len(*a)-1]
	*a = (*a)[:len(*a)-1]
	return last
}

// fillDemo plays the district's three weeks up to now into an empty store. Only
// the keys that a line draws for itself differ from one time to the next.
func fillDemo(ctx context.Context, c Config, d district, store *boltstore.Store, now time.Time) error {
	h := &history{
		district: d, config: c, store: store, zone: c.zone(),
		chance: rand.New(rand.NewPCG(demoSeed, demoSeed)), end: now.Truncate(time.Minute),
	}
	var err error
	if h.line, err = newLine(ctx, c, store, gateway.NewWatch(time.Time{}), nil, slog.New(slog.DiscardHandler)); err != nil {
		return err
	}
	h.policy = c.Quiet.policy(h.line.service.Facts)
	h.policy.Tariff = c.tariffs()[demoChannel]
	h.now = h.at(0, 5, 0)
	// The rain is near enough for a reminder and far enough to read about it first.
	if h.rain = demoDays; !h.at(h.rain, rainHour-6, 0).After(h.end) {
		h.rain++
	}
	for day := range demoDays + 1 {
		for _, hour := range []float64{5, 17} {
			h.plan(h.at(day, hour, 0), nil, h.forecast(day))
		}
	}
	h.plan(h.at(demoDays-6, 16, 0), nil, h.teach)
	for i := range demoPeople {
		h.settle(i)
	}
	if err := h.play(ctx); err != nil {
		return err
	}
	return h.notice(ctx)
}

// demoOfficer is who did what officers did.
const demoOfficer, demoChannel = "officer", "sms"

// rainHour is the hour at which it rains in the district.
const rainHour = 14

// forecast lets the officer bring the coming days of every place. It rains every
// sixth day in every second place, and next within a day and a half.
func (h *history) forecast(day int) doing {
	return func(ctx context.Context, _ gateway.Conversation) (string, time.Time, error) {
		for i, p := range h.config.places() {
			in := calc.ForecastInput{Issued: h.now}
			dry := 0
			for ; dry < 5 && !h.rains(day-1-dry, i); dry++ {
			}
			for ahead := range 6 {
				d := calc.Day{
					Date: h.at(day+ahead, 12, 0), Max: new(calc.Celsius(29 - float64(p.Altitude)/400)), Min: new(calc.Celsius(19 - float64(p.Altitude)/400)),
					HumidityMean: new(calc.Share(0.55)), Sunshine: new(calc.Hours(8.5)), Wind: new(calc.MetrePerSecond(2.5)), Rain: new(calc.Millimetre(0)),
				}
				if h.rains(day+ahead, i) {
					d.HumidityMean, d.Sunshine = new(calc.Share(0.8)), new(calc.Hours(3))
					d.RainByHour = make([]calc.Millimetre, 24)
					copy(d.RainByHour[rainHour:], []calc.Millimetre{3, 6, 4, 1})
				}
				in.Days = append(in.Days, d)
			}
			err := h.line.knowledge.SetForecast(ctx, gateway.Forecast{Place: p.Key, Source: "an invented weather table", By: demoOfficer, Taken: h.now, Dry: dry, Input: in})
			if err != nil {
				return "", time.Time{}, err
			}
		}
		return "", time.Time{}, nil
	}
}

func (h *history) rains(day, place int) bool { return day%6 == h.rain%6 && place%2 == 0 }

// teach lets the officer teach a word and write an answer.
func (h *history) teach(ctx context.Context, _ gateway.Conversation) (string, time.Time, error) {
	word := gateway.Taught{Lang: "en", Word: "corn knobs", Concept: "waste.maize-cob", By: demoOfficer, At: h.now}
	if _, err := h.line.knowledge.Teach(ctx, word); err != nil {
		return "", time.Time{}, err
	}
	answer := gateway.Answer{Lang: "sw", Questions: []string{"mkopo", "mkopo wa mashine"}, Text: "Hatuna mkopo. Vikundi vingi huweka akiba pamoja.", By: demoOfficer, At: h.now}
	_, err := h.line.knowledge.SetAnswer(ctx, answer)
	err = errors.Join(
		err,
		gateway.Audit(ctx, h.store, gateway.Record{At: h.now, By: demoOfficer, What: "word taught", On: "corn knobs", Detail: "en: maize cobs"}),
		gateway.Audit(ctx, h.store, gateway.Record{At: h.now.Add(time.Second), By: demoOfficer, What: "answer written", On: "mkopo", Detail: "sw"}),
	)
	return "", time.Time{}, err
}

// sees lets the officer see to what a person asked for, the next morning. Every
// second matter stays open.
func (h *history) sees(p *producer, e gateway.Entry) {
	if e.Question == "" && !e.CallBack {
		return
	}
	if h.matters++; h.matters%2 == 0 {
		return
	}
	y, m, d := h.now.In(h.zone).Date()
	h.plan(time.Date(y, m, d+1, 9, 0, 0, 0, h.zone).Add(h.minutes(0, 90)), nil, func(ctx context.Context, _ gateway.Conversation) (string, time.Time, error) {
		if e.CallBack {
			return "", time.Time{}, h.line.service.Called(ctx, p.number, e.Key, demoOfficer, h.now)
		}
		_, err := h.line.service.Answer(ctx, p.number, e.Key, h.one(h.Words[p.lang]["reply"]), demoOfficer, h.now)
		return "", time.Time{}, err
	})
}

// notice starts a notice of the next rain that has reached half of the phones
// it is for, and waits for somebody to let it go on.
func (h *history) notice(ctx context.Context) error {
	notices := gateway.NewNotices(h.store, h.line.service)
	var places []string
	for i, p := range h.config.places() {
		if h.rains(h.rain, i) && len(places) < 2 { // elsewhere it is still to be sent
			places = append(places, p.Key)
		}
	}
	started, err := notices.Start(ctx, gateway.Notice{
		By: demoOfficer, Message: dialog.Notice{Ready: "rain", Hour: h.at(h.rain, rainHour, 0)}, Audience: gateway.Audience{Places: places, Ring: dialog.RingAccepted},
	}, h.end)
	if err != nil {
		return err
	}
	if err := notices.Enlist(ctx, func() time.Time { return h.end }); err != nil {
		return err
	}
	s, err := notices.Get(ctx, started.Message.ID)
	if err != nil {
		return err
	}
	leased, err := h.store.Lease(ctx, demoChannel, h.end, time.Minute, s.Tally.Enlisted/2)
	if err != nil {
		return err
	}
	for _, m := range leased {
		_, settled, send, err := notices.Tell(ctx, m, h.end)
		if err != nil {
			return err
		}
		if send {
			settled = h.policy.After(m, nil, h.end, 0)
		}
		if settled.Outcome != 0 {
			if err := h.store.Settle(ctx, m.Ref, settled); err != nil {
				return err
			}
		}
	}
	if _, err := notices.Set(ctx, started.Message.ID, gateway.Paused, h.end); err != nil {
		return err
	}
	return gateway.Audit(ctx, h.store, gateway.Record{At: h.end, By: demoOfficer, What: "notice started", On: started.Message.ID})
}

// at returns a time of a day counted from the first.
func (h *history) at(day int, hour, minute float64) time.Time {
	y, m, d := h.end.In(h.zone).AddDate(0, 0, day-demoDays).Date()
	return time.Date(y, m, d, 0, 0, 0, 0, h.zone).Add(time.Duration((hour*60 + minute) * float64(time.Minute))).Truncate(time.Second)
}

// within returns a number between two others.
func (h *history) within(low, high float64) float64 { return low + (high-low)*h.chance.Float64() }

func (h *history) one(of []string) string { return of[h.chance.IntN(len(of))] }

// plan lets a person do something at a time.
func (h *history) plan(at time.Time, who *producer, do doing) {
	h.serial++
	heap.Push(&h.acts, act{at, h.serial, who, do})
}

// says lets a person text one of the phrases of a kind at a time.
func (h *history) says(at time.Time, who *producer, kind string, fill ...string) {
	h.plan(at, who, func(context.Context, gateway.Conversation) (string, time.Time, error) {
		return h.phrase(who, kind, fill...), time.Time{}, nil
	})
}

// phrase returns one of the phrases of a kind in a person's language.
func (h *history) phrase(p *producer, kind string, fill ...string) string {
	fill = append(fill, "{waste}", h.line.catalog.Text(p.lang, locales.ID("waste."+p.waste), nil), "{drums}", strconv.Itoa(p.drums))
	return strings.NewReplacer(fill...).Replace(h.one(h.Words[p.lang][kind]))
}

// settle makes the i-th person and plans their three weeks.
func (h *history) settle(i int) {
	langs := slices.Sorted(func(yield func(locales.Lang) bool) {
		for l := range h.Words {
			if !yield(l) {
				return
			}
		}
	})
	number, err := gateway.NumberOf(fmt.Sprintf("2547000%05d", 10000+i*37))
	if err != nil {
		panic(err) // it has the digits of a number
	}
	places := h.config.places()
	place := places[i%len(places)]
	p := &producer{
		number: number, home: place.Key, lang: langs[(i/2)%len(langs)],
		drums: 1 + h.chance.IntN(3), late: h.within(0, 12),
	}
	groups := h.Words[p.lang]["group"]
	p.waste, p.group = h.one(h.Wastes[place.Key]), groups[i%len(places)%len(groups)]
	first := h.chance.IntN(demoDays)
	if i < 5*len(places) {
		first = h.chance.IntN(5) // many were there from the beginning
	}
	hello := h.at(first, h.within(7, 14), 0)
	if i%3 == 0 {
		h.says(hello, p, "language")
		h.says(hello.Add(h.minutes(3, 40)), p, "join")
	} else {
		h.plan(hello, p, func(ctx context.Context, _ gateway.Conversation) (string, time.Time, error) {
			profile := dialog.Profile{Lang: p.lang, Place: p.home, Group: p.group, Consent: "signed at a meeting"}
			return "", time.Time{}, h.enrol(ctx, p.number, profile)
		})
	}
	day := first + 1
	if i%7 == 3 {
		h.says(h.at(day, h.within(8, 17), 0), p, "wet")
		day += 3
	}
	for ; day <= demoDays; day += 4 + h.chance.IntN(5) {
		h.batch(p, day)
	}
	h.asides(p, i, first)
}

func (h *history) enrol(ctx context.Context, n gateway.Number, p dialog.Profile) error {
	_, err := h.line.service.Enrol(ctx, n, p, demoOfficer, h.now)
	return err
}

func (h *history) minutes(low, high float64) time.Duration {
	return time.Duration(h.within(low, high) * float64(time.Minute)).Truncate(time.Second)
}

// batch plans a batch from the recipe to the sale.
func (h *history) batch(p *producer, day int) {
	lit := h.at(day, h.within(6.6, 9.5), 0)
	h.says(lit.Add(-h.minutes(20, 600)), p, "recipe")
	h.says(lit, p, "lit")
	covered := lit.Add(h.minutes(27, 36) + time.Duration(p.late*float64(time.Minute)))
	h.says(covered, p, "covered")
	kg := 5.0 // until the drum tells what was loaded
	h.plan(covered.Add(20*time.Hour), p, func(_ context.Context, c gateway.Conversation) (string, time.Time, error) {
		for _, d := range c.State.Drums {
			if d.NotBefore.After(h.now) {
				return "", d.NotBefore.Add(h.minutes(15, 120)), nil
			}
		}
		return h.phrase(p, "opened"), time.Time{}, nil
	})
	weighed := h.at(day+2, h.within(9.5, 11), 0)
	if h.chance.IntN(9) == 0 {
		return // and is not heard of again
	}
	share := h.within(0.13, 0.27) // of the load: what drums give
	h.plan(weighed, p, func(_ context.Context, c gateway.Conversation) (string, time.Time, error) {
		if len(c.State.Drums) > 0 && c.State.Drums[0].FeedKg > 0 {
			kg = max(1, math.Round(2*share*c.State.Drums[0].FeedKg)/2)
		}
		return h.phrase(p, "weighed", "{kg}", locales.Number(p.lang, kg, 1)), time.Time{}, nil
	})
	h.says(weighed.Add(h.minutes(40, 90)), p, "press")
	h.says(weighed.Add(h.minutes(200, 320)), p, "drying")
	h.says(h.at(day+7, h.within(8, 12), 0), p, "check")
	if h.chance.IntN(3) > 0 {
		h.plan(h.at(day+9, h.within(10, 17), 0), p, func(context.Context, gateway.Conversation) (string, time.Time, error) {
			sold := math.Round(kg)
			return h.phrase(p, "sold", "{kg}", fmt.Sprintf("%.0f", sold), "{money}", fmt.Sprintf("%.0f", sold*45)), time.Time{}, nil
		})
	}
}

// asides plans what a person asks between batches.
func (h *history) asides(p *producer, i, first int) {
	some := func(every int, kind string) {
		if i%every == every/2 {
			h.says(h.at(first+1+h.chance.IntN(demoDays-first), h.within(7, 19), 0), p, kind)
		}
	}
	some(2, "unknown")
	some(3, "weather")
	some(4, "price")
	some(5, "batches")
	some(6, "fix")
	some(7, "plan")
	some(8, "question")
	some(9, "unknown")
	some(10, "call")
	some(11, "thanks")
	switch i {
	case 17:
		h.says(h.at(demoDays-9, 18, 20), p, "hurt")
		h.says(h.at(demoDays-9, 18, 23), h.duty(), "seen")
		h.says(h.at(demoDays-8, 9, 0), p, "stop")
	case 41:
		h.says(h.end.Add(-95*time.Minute), p, "hurt")
	case 52, 53, 54: // alight while somebody looks; by night, lit late and not heard of since
		lit := h.end.Add(-time.Duration(i-50) * 11 * time.Minute)
		if hour := lit.In(h.zone).Hour(); hour < 7 || hour >= 15 {
			if i > 52 {
				return
			}
			if lit = h.at(demoDays, 14.8, 0); lit.After(h.end) {
				lit = h.at(demoDays-1, 14.8, 0)
			}
		}
		h.says(lit.Add(-15*time.Minute), p, "recipe")
		h.says(lit, p, "lit")
	}
}

// play lets everything happen in its order until the end.
func (h *history) play(ctx context.Context) error {
	for len(h.acts) > 0 && !h.acts[0].at.After(h.end) {
		a := heap.Pop(&h.acts).(act)
		if err := h.pass(ctx, a.at); err != nil {
			return err
		}
		var c gateway.Conversation
		if a.who != nil {
			var err error
			if c, err = h.store.Load(ctx, a.who.number); err != nil {
				return err
			}
		}
		text, again, err := a.do(ctx, c)
		switch {
		case err != nil:
			return err
		case !again.IsZero():
			a.at = again
			heap.Push(&h.acts, a)
		case text != "":
			if err := h.say(ctx, a.who, text); err != nil {
				return err
			}
		}
	}
	return h.pass(ctx, h.end)
}

// maxAnswers is how many questions a person answers in a row.
const maxAnswers = 5

// say brings a text to the line, and what the person answers to its questions.
func (h *history) say(ctx context.Context, p *producer, text string) error {
	for range maxAnswers {
		h.serial++
		id := gateway.NewMessageID(demoChannel, p.number.Digits(), strconv.Itoa(h.serial))
		_, err := h.line.service.Receive(ctx, gateway.Inbound{
			ID: id, Channel: demoChannel, Sender: "+" + p.number.Digits(), From: p.number, Via: dialog.SMS, Text: text, SentAt: h.now.Add(-4 * time.Second), At: h.now,
		})
		if err != nil {
			return err
		}
		if err := h.send(ctx); err != nil {
			return err
		}
		e, err := h.store.Recall(ctx, p.number, id)
		if err != nil {
			return err
		}
		h.sees(p, e)
		c, err := h.store.Load(ctx, p.number)
		if err != nil {
			return err
		}
		var ok bool
		if text, ok = p.answers(c.State); !ok {
			return nil
		}
		next := h.now.Add(h.minutes(0.5, 6))
		if next.After(h.end) {
			return nil
		}
		if err := h.pass(ctx, next); err != nil {
			return err
		}
	}
	return nil
}

// duty returns the phone that is told of emergencies.
func (h *history) duty() *producer {
	number, err := gateway.ParseNumber(h.config.Duty[0], h.config.Country)
	if err != nil {
		panic(err) // it stands in the file of the district
	}
	return &producer{number: number, lang: h.config.DefaultLang, drums: 1}
}

// answers returns what a person answers to the open question. Some they leave
// open.
func (p *producer) answers(s dialog.State) (string, bool) {
	if len(s.Frames) == 0 {
		return "", false
	}
	f := s.Frames[len(s.Frames)-1]
	key := map[dialog.Slot]string{
		"waste": p.waste, "drums": strconv.Itoa(p.drums), "dryness": "dry", "drum_past": "food", "inside": "cold", "flue": "pipe",
		"smoke": "thin", "consent": "yes", "group": p.group, "starch": "cassava-flour", "ash_seen": "grey",
		"charcoal_price": "70", "starch_price": "90", "doubt": "done", "sold_unit": "kg",
		"drop": "good", "weight": "good", "boil": "good", "place": p.home,
	}[f.Open]
	if key == "" {
		return "", false
	}
	if len(f.Options) == 0 {
		return key, true
	}
	i := slices.Index(f.Options, key)
	return strconv.Itoa(i + 1), i >= 0
}

// pass moves the clock, and rings and sends what comes due on the way.
func (h *history) pass(ctx context.Context, to time.Time) error {
	if to.Before(h.now) {
		to = h.now
	}
	for {
		due, err := h.store.DueAlarms(ctx, to, 1)
		if err != nil {
			return err
		}
		if len(due) == 0 {
			h.now = to
			return h.send(ctx)
		}
		if due[0].Due.After(h.now) {
			h.now = due[0].Due
		}
		if err := errors.Join(h.line.service.Ring(ctx, due[0], h.now), h.send(ctx)); err != nil {
			return err
		}
	}
}

// send takes what may leave now out of the outbox, as a gateway would. Of some
// phones nothing is heard.
func (h *history) send(ctx context.Context) error {
	for {
		leased, err := h.store.Lease(ctx, demoChannel, h.now, time.Minute, 100)
		if err != nil || len(leased) == 0 {
			return err
		}
		for _, o := range leased {
			s, send := h.policy.Before(o, h.now, h.store.Spent(demoChannel, h.now))
			if send {
				s = h.policy.After(o, nil, h.now, 0)
			}
			if err := h.store.Settle(ctx, o.Ref, s); err != nil {
				return err
			}
			if !send || h.chance.IntN(20) == 0 {
				continue
			}
			err := h.store.Report(ctx, gateway.Report{Channel: demoChannel, Ref: o.Ref, State: gateway.ReportDelivered, At: h.now})
			if err != nil && !errors.Is(err, gateway.ErrSeen) {
				return err
			}
		}
	}
}
