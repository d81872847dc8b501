package gateway

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"sync"
	"time"

	"cobline/calc"
	"cobline/dialog"
	"cobline/gateway/sms"
	"cobline/locales"
)

// The kinds of the documents that Knowledge keeps on the Desk.
const (
	PlaceKind    = "place"
	ForecastKind = "forecast"
	TaughtKind   = "taught"
	AnswerKind   = "answer"

	// factsKind counts the versions of the facts.
	factsKind = "facts"
)

// Place is a place as officers entered it. It lies over the place of the same key
// in the configuration. Integer keys are never reused.
type Place struct {
	Key       string      `cbor:"1,keyasint"`
	Name      string      `cbor:"2,keyasint"`
	Zone      string      `cbor:"3,keyasint"` // such as Africa/Nairobi
	Lat       calc.Degree `cbor:"4,keyasint"`
	Lon       calc.Degree `cbor:"5,keyasint"`
	Altitude  calc.Metre  `cbor:"6,keyasint,omitempty"`
	Emergency string      `cbor:"7,keyasint,omitempty"` // the number to call for help
	Currency  string      `cbor:"8,keyasint,omitempty"`
	Duty      []string    `cbor:"9,keyasint,omitempty"` // digits of the phones told of emergencies; none: those of the configuration
	By        string      `cbor:"10,keyasint,omitempty"`
	At        time.Time   `cbor:"11,keyasint,omitzero"`
}

// Forecast is the weather to come at a place, as it arrived.
type Forecast struct {
	Place  string
	Source string    // where it came from, in words
	By     string    // who typed or uploaded it; empty if it was fetched
	Taken  time.Time // when the line took it
	Dry    int       // how many days it has not rained; negative when nobody knows
	Input  calc.ForecastInput
}

// Taught is a word or spelling that an officer taught. Integer keys are never
// reused.
type Taught struct {
	ID      string       `cbor:"-"` // given by Teach
	Lang    locales.Lang `cbor:"1,keyasint"`
	Place   string       `cbor:"2,keyasint,omitempty"` // where alone it holds; empty: everywhere
	Word    string       `cbor:"3,keyasint"`
	Concept string       `cbor:"4,keyasint"` // one of dialog.Meanings
	By      string       `cbor:"5,keyasint"`
	Second  string       `cbor:"6,keyasint,omitempty"` // the administrator who looked again
	At      time.Time    `cbor:"7,keyasint"`
}

// Answer is an answer that an officer wrote to a question people ask often.
// Integer keys are never reused.
type Answer struct {
	ID        string       `cbor:"-"` // given by SetAnswer, which replaces the one of a given id
	Lang      locales.Lang `cbor:"1,keyasint"`
	Place     string       `cbor:"2,keyasint,omitempty"` // where alone it holds; empty: everywhere
	Questions []string     `cbor:"3,keyasint"`           // the wordings it answers
	Text      string       `cbor:"4,keyasint"`
	Stage     string       `cbor:"5,keyasint,omitempty"` // one of dialog.Stages, whose caution the line adds
	By        string       `cbor:"6,keyasint"`
	Second    string       `cbor:"7,keyasint,omitempty"` // the administrator who looked again
	At        time.Time    `cbor:"8,keyasint"`
}

// Knowledge keeps what officers tell the line about the world: places, weather,
// words, answers. Each write goes to the Desk, then makes new facts and hands them
// on, so that the next text is answered with them. It is safe for concurrent use.
type Knowledge struct {
	desk   Desk
	engine *dialog.Engine
	base   *dialog.Facts
	duty   func(place string) []Number
	set    func(*dialog.Facts)
	log    *slog.Logger

	mu         sync.RWMutex
	facts      *dialog.Facts
	places     map[string]Place
	forecasts  map[string]Forecast
	alerts     map[string]Alert
	taught     map[string]Taught
	answers    map[string]Answer
	version    uint64
	unreadable int
}

// NewKnowledge returns the knowledge of a desk. Base is what the configuration
// says; duty its duty phones of a place; set is given the facts whenever they
// change. Nothing is known before Load.
func NewKnowledge(desk Desk, engine *dialog.Engine, base *dialog.Facts, duty func(place string) []Number, set func(*dialog.Facts), log *slog.Logger) *Knowledge {
	return &Knowledge{desk: desk, engine: engine, base: base, duty: duty, set: set, log: log, facts: base}
}

// Load reads the desk and hands on the facts. A document that cannot be read is
// left out, logged and counted.
func (k *Knowledge) Load(ctx context.Context) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.places, k.forecasts, k.alerts = map[string]Place{}, map[string]Forecast{}, map[string]Alert{}
	k.taught, k.answers, k.unreadable = map[string]Taught{}, map[string]Answer{}, 0
	err := errors.Join(
		load(ctx, k, PlaceKind, func(id string, p Place) { p.Key, p.At = id, exactly(p.At); k.places[id] = p }),
		load(ctx, k, ForecastKind, func(id string, f forecastRow) { k.forecasts[id] = f.forecast(id) }),
		load(ctx, k, AlertKind, func(id string, a Alert) { k.alerts[id] = a.exact() }),
		load(ctx, k, TaughtKind, func(id string, t Taught) { t.ID, t.At = id, exactly(t.At); k.taught[id] = t }),
		load(ctx, k, AnswerKind, func(id string, a Answer) { a.ID, a.At = id, exactly(a.At); k.answers[id] = a }),
	)
	if err == nil {
		err = k.count(ctx)
	}
	if err != nil {
		return fmt.Errorf("load what officers entered: %w", err)
	}
	places := maps.Clone(k.base.Places)
	if places == nil {
		places = map[string]dialog.Place{}
	}
	for _, key := range k.keys() {
		if p, ok := k.place(key); ok {
			places[key] = p
		}
	}
	k.swap(places, k.overlay())
	return nil
}

// load reads the documents of a kind.
func load[T any](ctx context.Context, k *Knowledge, kind string, keep func(id string, doc T)) error {
	for after, last := "", "-"; last != ""; after = last {
		last = ""
		count := 0
		err := k.desk.List(ctx, kind, after, deskPage, func(id string, _ uint64, decode func(any) error) error {
			if count++; count == deskPage {
				last = id
			}
			var doc T
			if err := decode(&doc); err != nil {
				k.leave(kind, id, err)
				return nil
			}
			keep(id, doc)
			return nil
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// leave counts a document that cannot be used.
func (k *Knowledge) leave(kind, id string, err error) {
	k.unreadable++
	k.log.Error("left out of what the line knows", "kind", kind, "id", id, "error", err)
}

// Unreadable returns how many documents were left out when they were last
// loaded.
func (k *Knowledge) Unreadable() int {
	k.mu.RLock()
	defer k.mu.RUnlock()
	return k.unreadable
}

// count takes the next version of the facts, which no restart turns back.
func (k *Knowledge) count(ctx context.Context) error {
	return retry(func() error {
		var version uint64
		rev, err := k.desk.Get(ctx, factsKind, "version", &version)
		if err != nil && !errors.Is(err, ErrNotFound) {
			return err
		}
		version = max(version, k.version) + 1
		if err := k.desk.Put(ctx, factsKind, "version", version, rev); err != nil {
			return err
		}
		k.version = version
		return nil
	})
}

// put writes a document over whatever revision is stored; nil deletes it. The
// version is taken first: facts that differ never share one.
func (k *Knowledge) put(ctx context.Context, kind, id string, doc any) error {
	if err := k.count(ctx); err != nil {
		return err
	}
	return retry(func() error {
		rev, err := k.desk.Get(ctx, kind, id, new(any))
		if err != nil && rev == 0 && !errors.Is(err, ErrNotFound) { // one that cannot be read may be written over
			return err
		}
		if doc == nil && rev == 0 {
			return ErrNotFound
		}
		return k.desk.Put(ctx, kind, id, doc, rev)
	})
}

// swap makes facts of the parts and hands them on.
func (k *Knowledge) swap(places map[string]dialog.Place, taught *dialog.Overlay) {
	f := *k.base
	f.Version, f.Places, f.Taught = k.version, places, taught
	k.facts = &f
	k.set(&f)
}

// changed hands on facts in which one place is another.
func (k *Knowledge) changed(key string) {
	places := maps.Clone(k.facts.Places)
	if p, ok := k.place(key); ok {
		places[key] = p
	} else if _, ok := k.base.Places[key]; !ok {
		delete(places, key)
	}
	k.swap(places, k.facts.Taught)
}

// overlay compiles what was taught.
func (k *Knowledge) overlay() *dialog.Overlay {
	if len(k.taught)+len(k.answers) == 0 {
		return nil
	}
	var lessons []dialog.Lesson
	for _, id := range slices.Sorted(maps.Keys(k.taught)) {
		lessons = append(lessons, k.taught[id].lesson())
	}
	var answers []dialog.Written
	for _, id := range slices.Sorted(maps.Keys(k.answers)) {
		answers = append(answers, k.answers[id].written())
	}
	return dialog.NewOverlay(lessons, answers)
}

func (t Taught) lesson() dialog.Lesson {
	return dialog.Lesson{Lang: t.Lang, Place: t.Place, Word: t.Word, Concept: t.Concept}
}

func (a Answer) written() dialog.Written {
	return dialog.Written{ID: a.ID, Lang: a.Lang, Place: a.Place, Questions: a.Questions, Text: a.Text, Stage: a.Stage}
}

// keys are the places of the configuration and of the desk.
func (k *Knowledge) keys() []string {
	all := map[string]bool{}
	for key := range k.base.Places {
		all[key] = true
	}
	for key := range k.places {
		all[key] = true
	}
	return slices.Sorted(maps.Keys(all))
}

// place makes a place of the facts, with its weather; false if there is none.
func (k *Knowledge) place(key string) (dialog.Place, bool) {
	p, known := k.base.Places[key]
	if doc, ok := k.places[key]; ok {
		zone, err := time.LoadLocation(doc.Zone)
		if err != nil {
			k.leave(PlaceKind, key, err)
			return p, known
		}
		p = dialog.Place{
			Key: key, Name: doc.Name, Zone: zone, Lat: doc.Lat, Lon: doc.Lon, Altitude: doc.Altitude,
			Emergency: doc.Emergency, Currency: doc.Currency, Duty: len(doc.Duty), Decimals: p.Decimals,
		}
		if len(doc.Duty) == 0 {
			p.Duty = len(k.duty(key))
		}
		known = true
	}
	if !known {
		return p, false
	}
	if f, ok := k.forecasts[key]; ok {
		with, err := withForecast(p, f)
		if err != nil {
			k.leave(ForecastKind, key, err)
		} else {
			p = with
		}
	}
	forbidFires(&p, standing(slices.Collect(maps.Values(k.alerts))))
	return p, true
}

// withForecast puts a forecast on a place, whose own coordinates count.
func withForecast(p dialog.Place, f Forecast) (dialog.Place, error) {
	in := f.Input
	in.Place.Lat, in.Place.Lon, in.Place.Altitude, in.Place.Zone = p.Lat, p.Lon, p.Altitude, p.Zone
	forecast, err := calc.NewForecast(in)
	if err != nil {
		return p, fmt.Errorf("forecast of %s: %w", p.Key, err)
	}
	return p.WithForecast(forecast, f.Dry)
}

// Facts returns what the line knows now.
func (k *Knowledge) Facts() *dialog.Facts {
	k.mu.RLock()
	defer k.mu.RUnlock()
	return k.facts
}

// Duty returns the phones that are told of emergencies at a place, the first to
// be told first.
func (k *Knowledge) Duty(place string) []Number {
	k.mu.RLock()
	defer k.mu.RUnlock()
	var phones []Number
	for _, digits := range k.places[place].Duty {
		if n, err := NumberOf(digits); err == nil {
			phones = append(phones, n)
		}
	}
	if len(phones) == 0 {
		return k.duty(place)
	}
	return phones
}

// Places returns the places that officers entered, in the order of their keys.
// Those of the configuration are in Facts alone.
func (k *Knowledge) Places() []Place { return listed(&k.mu, &k.places) }

// Forecasts returns the forecast of each place that has one, in the order of the
// places' keys.
func (k *Knowledge) Forecasts() []Forecast { return listed(&k.mu, &k.forecasts) }

// Alerts returns the warnings of authorities, in the order of their ids.
func (k *Knowledge) Alerts() []Alert { return listed(&k.mu, &k.alerts) }

// Taught returns what officers taught, in the order of ids.
func (k *Knowledge) Taught() []Taught { return listed(&k.mu, &k.taught) }

// Answers returns the written answers, in the order of ids.
func (k *Knowledge) Answers() []Answer { return listed(&k.mu, &k.answers) }

func listed[T any](mu *sync.RWMutex, docs *map[string]T) []T {
	mu.RLock()
	defer mu.RUnlock()
	list := make([]T, 0, len(*docs))
	for _, id := range slices.Sorted(maps.Keys(*docs)) {
		list = append(list, (*docs)[id])
	}
	return list
}

// SetPlace enters a place, or changes it. What is wrong with it is told in a
// sentence.
func (k *Knowledge) SetPlace(ctx context.Context, p Place) error {
	if err := p.check(); err != nil {
		return err
	}
	p.At = exactly(p.At)
	k.mu.Lock()
	defer k.mu.Unlock()
	if err := k.put(ctx, PlaceKind, p.Key, p); err != nil {
		return fmt.Errorf("keep place %q: %w", p.Key, err)
	}
	k.places[p.Key] = p
	k.changed(p.Key)
	return nil
}

// DropPlace takes away what officers entered about a place: what the
// configuration says of it, if anything, holds again.
func (k *Knowledge) DropPlace(ctx context.Context, key string) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	if err := k.put(ctx, PlaceKind, key, nil); err != nil {
		return fmt.Errorf("drop place %q: %w", key, err)
	}
	delete(k.places, key)
	k.changed(key)
	return nil
}

var placeKey = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,30}$`)

func (p Place) check() error {
	_, err := time.LoadLocation(p.Zone)
	switch {
	case !placeKey.MatchString(p.Key):
		return fmt.Errorf("the key %q must be small letters, digits and hyphens, 31 at most", p.Key)
	case strings.TrimSpace(p.Name) == "":
		return errors.New("the place needs a name")
	case p.Zone == "" || err != nil:
		return fmt.Errorf("%q is not a time zone; write one such as Africa/Nairobi", p.Zone)
	case p.Lat == 0 && p.Lon == 0:
		return errors.New("latitude and longitude are missing: daylight is reckoned from them")
	case !(p.Lat >= -66 && p.Lat <= 66):
		return errors.New("the latitude must lie between -66 and 66 degrees")
	case !(p.Lon >= -180 && p.Lon <= 180):
		return errors.New("the longitude must lie between -180 and 180 degrees")
	case !(p.Altitude >= -450 && p.Altitude <= 6000):
		return errors.New("the altitude must lie between -450 and 6000 metres")
	}
	for _, d := range p.Duty {
		if _, err := NumberOf(d); err != nil {
			return fmt.Errorf("the duty phone %q is not a number in international digits", d)
		}
	}
	return nil
}

// ErrNoPlace says that there is no place of a key.
var ErrNoPlace = errors.New("there is no such place")

// SetForecast puts the weather to come on a place, in the stead of the one before.
// Nonsense is refused with calc.OutOfRange, and then the one before stays.
func (k *Knowledge) SetForecast(ctx context.Context, f Forecast) error {
	f.Taken = exactly(f.Taken)
	k.mu.Lock()
	defer k.mu.Unlock()
	p, ok := k.facts.Places[f.Place]
	if !ok {
		return fmt.Errorf("forecast of %q: %w", f.Place, ErrNoPlace)
	}
	if _, err := withForecast(p, f); err != nil {
		return err
	}
	row := rowOf(f)
	if err := k.put(ctx, ForecastKind, f.Place, row); err != nil {
		return fmt.Errorf("keep the forecast of %q: %w", f.Place, err)
	}
	k.forecasts[f.Place] = row.forecast(f.Place)
	k.changed(f.Place)
	return nil
}

// DropForecast takes the forecast of a place away, so that the next one counts
// whenever it was issued.
func (k *Knowledge) DropForecast(ctx context.Context, place string) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	if err := k.put(ctx, ForecastKind, place, nil); err != nil {
		return fmt.Errorf("drop the forecast of %q: %w", place, err)
	}
	delete(k.forecasts, place)
	k.changed(place)
	return nil
}

// Configured reports whether the configuration has a place of a key.
func (k *Knowledge) Configured(key string) bool {
	_, ok := k.base.Places[key]
	return ok
}

// CheckReply returns nil if an officer's reply to one person may go as it is,
// else a dialog.Objection.
func (k *Knowledge) CheckReply(l locales.Lang, text string) error {
	return k.engine.CheckReply(l, text)
}

// AddAlert keeps a warning of an authority, in the stead of the same one.
func (k *Knowledge) AddAlert(ctx context.Context, a Alert) error {
	a = a.exact()
	k.mu.Lock()
	defer k.mu.Unlock()
	if err := k.put(ctx, AlertKind, a.ID(), a); err != nil {
		return fmt.Errorf("keep warning %q: %w", a.ID(), err)
	}
	k.alerts[a.ID()] = a
	k.warned(a)
	return nil
}

// DropAlert forgets a warning: it was withdrawn, or is over.
func (k *Knowledge) DropAlert(ctx context.Context, id string) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	if err := k.put(ctx, AlertKind, id, nil); err != nil {
		return fmt.Errorf("drop warning %q: %w", id, err)
	}
	a := k.alerts[id]
	delete(k.alerts, id)
	k.warned(a)
	return nil
}

// warned hands on facts after a warning has come or gone: of the places it is
// about, or what it takes the place of is about.
func (k *Knowledge) warned(a Alert) {
	about := []Alert{a}
	for _, other := range k.alerts {
		if slices.ContainsFunc(a.References, other.Ref.same) {
			about = append(about, other)
		}
	}
	places := maps.Clone(k.facts.Places)
	for _, key := range k.keys() {
		here := func(a Alert) bool {
			at := Point{places[key].Lat, places[key].Lon}
			return slices.ContainsFunc(a.Infos, func(i AlertInfo) bool { return i.Covers(at) })
		}
		if p, ok := k.place(key); ok && slices.ContainsFunc(about, here) {
			places[key] = p
		}
	}
	k.swap(places, k.facts.Taught)
}

// exact returns the warning as it comes back from a store.
func (a Alert) exact() Alert {
	a.Ref.Sent, a.Taken = exactly(a.Ref.Sent), exactly(a.Taken)
	a.References, a.Infos = slices.Clone(a.References), slices.Clone(a.Infos)
	for i, r := range a.References {
		a.References[i].Sent = exactly(r.Sent)
	}
	for i, info := range a.Infos {
		a.Infos[i].Onset, a.Infos[i].Expires = exactly(info.Onset), exactly(info.Expires)
	}
	return a
}

// exactly is a time as it comes back from a store.
func exactly(t time.Time) time.Time {
	if t.IsZero() {
		return time.Time{}
	}
	return t.Round(time.Millisecond).UTC()
}

// Teach lets the line understand a word from the next message on, and returns
// what was kept. What may not be taught is refused with a dialog.Objection.
func (k *Knowledge) Teach(ctx context.Context, t Taught) (Taught, error) {
	t.Word, t.At = strings.Join(strings.Fields(t.Word), " "), exactly(t.At)
	t.ID = nameOf(string(t.Lang), t.Place, locales.Fold(t.Lang, t.Word))
	k.mu.Lock()
	defer k.mu.Unlock()
	if err := k.placed(t.Place); err != nil {
		return t, err
	}
	if err := allowed(k.engine.CheckLesson(k.facts, t.lesson()), t.By, t.Second); err != nil {
		return t, err
	}
	if err := k.put(ctx, TaughtKind, t.ID, t); err != nil {
		return t, fmt.Errorf("keep what was taught: %w", err)
	}
	k.taught[t.ID] = t
	k.swap(k.facts.Places, k.overlay())
	return t, nil
}

// Untaught undoes what was taught.
func (k *Knowledge) Untaught(ctx context.Context, id string) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	if err := k.put(ctx, TaughtKind, id, nil); err != nil {
		return fmt.Errorf("undo what was taught: %w", err)
	}
	delete(k.taught, id)
	k.swap(k.facts.Places, k.overlay())
	return nil
}

// allowed returns the objection to what an officer wants, unless an administrator
// who is somebody else has looked too and that is enough.
func allowed(err error, by, second string) error {
	var o dialog.Objection
	if errors.As(err, &o) && o.Second && second != "" && second != by {
		return nil
	}
	return err
}

// placed returns an error unless a place is known, or none is named.
func (k *Knowledge) placed(place string) error {
	if _, ok := k.facts.Places[place]; !ok && place != "" {
		return fmt.Errorf("%q: %w", place, ErrNoPlace)
	}
	return nil
}

// Reread is a text that would be understood otherwise.
type Reread struct {
	Text          string
	Before, After dialog.Heard
}

// Changes returns those of some texts that would be understood otherwise if a
// word were taught: each by itself, by a person of the place it is taught for.
func (k *Knowledge) Changes(texts []string, t Taught) []Reread {
	k.mu.RLock()
	before, lessons, answers := k.facts, []dialog.Lesson{t.lesson()}, []dialog.Written{}
	for _, o := range k.taught {
		lessons = append(lessons, o.lesson())
	}
	for _, a := range k.answers {
		answers = append(answers, a.written())
	}
	k.mu.RUnlock()
	after := *before
	after.Taught = dialog.NewOverlay(lessons, answers)
	state := dialog.State{Met: true, Lang: t.Lang, Chosen: true, Place: t.Place}
	hear := func(text string, f *dialog.Facts) dialog.Heard {
		w := dialog.World{Facts: f, Channel: dialog.Ability{Sends: true}}
		return k.engine.Step(state, dialog.Said{Text: text, Via: dialog.SMS}, w).Heard
	}
	var out []Reread
	for _, text := range texts {
		if b, a := hear(text, before), hear(text, &after); !reflect.DeepEqual(b, a) {
			out = append(out, Reread{Text: text, Before: b, After: a})
		}
	}
	return out
}

// longestWritten is how many messages a written answer takes at most: its stage's
// caution and an open question follow.
const longestWritten = 2

// SetAnswer lets the line answer a common question from the next message on, and
// returns what was kept; with the ID of one that is there it replaces that. What
// may not be written is refused with a dialog.Objection.
func (k *Knowledge) SetAnswer(ctx context.Context, a Answer) (Answer, error) {
	a.Text, a.At = strings.TrimSpace(cleanText(a.Text)), exactly(a.At)
	k.mu.Lock()
	defer k.mu.Unlock()
	if err := k.placed(a.Place); err != nil {
		return a, err
	}
	if a.ID == "" {
		a.ID = nameOf(string(a.Lang), a.Place, rand.Text())
	} else if _, ok := k.answers[a.ID]; !ok {
		return a, fmt.Errorf("written answer %q: %w", a.ID, ErrNotFound)
	}
	if n := len(sms.Split(sms.Plain(a.Text, locales.Substitutions(a.Lang))).Segments); n > longestWritten {
		return a, dialog.Objection{Reasons: []string{fmt.Sprintf("The answer takes %d messages; %d are the most, because a caution may follow.", n, longestWritten)}}
	}
	if err := allowed(k.engine.CheckAnswer(k.facts, a.written()), a.By, a.Second); err != nil {
		return a, err
	}
	if err := k.put(ctx, AnswerKind, a.ID, a); err != nil {
		return a, fmt.Errorf("keep a written answer: %w", err)
	}
	k.answers[a.ID] = a
	k.swap(k.facts.Places, k.overlay())
	return a, nil
}

// DropAnswer takes a written answer away.
func (k *Knowledge) DropAnswer(ctx context.Context, id string) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	if err := k.put(ctx, AnswerKind, id, nil); err != nil {
		return fmt.Errorf("drop a written answer: %w", err)
	}
	delete(k.answers, id)
	k.swap(k.facts.Places, k.overlay())
	return nil
}

// nameOf is the id of a document from what it is about.
func nameOf(parts ...string) string {
	sum := sha256.Sum256([]byte(strings.Join(parts, "\x00")))
	return hex.EncodeToString(sum[:8])
}
