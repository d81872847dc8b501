package dialog

import (
	"math"
	"slices"
	"strings"
	"time"

	"cobline/calc"
	"cobline/locales"
)

const (
	topicPlan = "plan"

	slotWantKg    Slot = "want_kg"
	slotHaveSacks Slot = "have_sacks" // of waste
	slotByDays    Slot = "by_days"
	slotByDate    Slot = "by_date"
)

// planTopic works back from the briquettes wanted to waste, burns and days.
var planTopic = topic{
	key:      topicPlan,
	units:    map[string]Slot{"kg": slotWantKg, "day": slotByDays, "person": slotPeople, "drum": slotDrums, "sack": slotHaveSacks},
	families: map[string]Slot{"waste": slotWaste, "weekday": slotByDate},
	bare:     slotWantKg,
	infer: func(r reading, in *filled) {
		if days := in.ties[slotByDate]; len(days) > 0 { // "friday or saturday": the sooner named counts
			delete(in.ties, slotByDate)
			in.values[slotByDate] = Value{Key: days[0]}
		}
		bareWeek := slices.ContainsFunc(r.parts, func(p part) bool { return p.span != nil && p.span.is("unit.week") }) &&
			!slices.ContainsFunc(r.sums, func(a amount) bool { return a.unit == "day" })
		if v, ok := in.values[slotByDate]; ok && bareWeek {
			v.Number = 1 // "friday week", "friday next week"
			in.values[slotByDate] = v
		}
	},
	next:   (*turn).nextPlan,
	answer: (*turn).plan,
}

func (t *turn) nextPlan(f *Frame) (question, bool) {
	if !f.has(slotWantKg) {
		return question{slot: slotWantKg, id: "ask.want-kg"}, true
	}
	if !f.has(slotWaste) {
		if waste := t.usualWaste(); waste != "" {
			f.Slots[slotWaste] = Value{Key: waste}
			return question{}, false
		}
		return wasteQuestion(), true
	}
	return question{}, false
}

// usualWaste is the waste a person spoke of last.
func (t *turn) usualWaste() string {
	if t.s.Waste != "" {
		return t.s.Waste
	}
	if own := t.ownBatches(); len(own) > 0 {
		return own[len(own)-1].Waste
	}
	return ""
}

// deadline is the day the briquettes are wanted, or zero.
func (t *turn) deadline(f *Frame) time.Time {
	if days := f.Slots[slotByDays].Number; days > 0 {
		return midnight(t.now.AddDate(0, 0, int(days)))
	}
	switch key := f.Slots[slotByDate].Key; key {
	case "":
		return time.Time{}
	case "tomorrow":
		return midnight(t.now.AddDate(0, 0, 1))
	default:
		day := midnight(t.now.AddDate(0, 0, 1))
		for f.Slots[slotByDate].Number > 0 && day.Weekday() != time.Monday { // of the week after this
			day = day.AddDate(0, 0, 1)
		}
		for strings.ToLower(day.Weekday().String()[:3]) != key {
			day = day.AddDate(0, 0, 1)
		}
		return day
	}
}

// plan says what is needed, when it is ready and the first days; and, before
// waste is gathered, which drum not to use.
func (t *turn) plan(f *Frame) {
	drums, people := max(1, math.Ceil(f.Slots[slotDrums].Number)), f.Slots[slotPeople].Number
	if people == 0 {
		people = usualPeople
	}
	waste := calc.Waste(f.Slots[slotWaste].Key)
	in := calc.PlanInput{
		Burn: calc.RecipeInput{Waste: waste, Yield: t.ownYield(waste, "")},
		Want: calc.Kg(f.Slots[slotWantKg].Number), Start: t.now, By: t.deadline(f),
		Drums: calc.Count(drums), People: calc.Count(people), Lat: t.place.Lat, Lon: t.place.Lon,
		Drying: t.usualDrying(),
	}
	for _, d := range t.outlook() {
		in.Ahead = append(in.Ahead, calc.DayAhead{Light: d.Fire.Level != calc.DoNotLightToday, Dry: d.Action != calc.KeepCovered})
	}
	r, err := calc.Plan(in)
	if err != nil || r.Infeasible != nil || r.Ready.Likely.IsZero() {
		t.say("plan.impossible", Answer, nil)
		f.Slots = Slots{}
		return
	}
	t.say2("plan.need", locales.Args{
		"Want": t.number(f.Slots[slotWantKg].Number), "Waste": t.waste(string(waste)),
		"Burns":  t.count("plan.burns", int(r.Burns.High), locales.Args{"Number": t.rangeOf(float64(r.Burns.Low), float64(r.Burns.High))}),
		"Kg":     t.number(round(float64(r.Waste.Likely))),
		"Sacks":  t.measure("measure.sacks", math.Ceil(float64(r.Sacks.Likely))),
		"Starch": t.number(round(float64(r.Starch))),
	})
	have := f.Slots[slotHaveSacks].Number
	if share := have * float64(t.volume(containers[0])/calc.SackVolume()) / float64(r.Sacks.Likely); have > 0 && share < 1 {
		t.out.Replies[len(t.out.Replies)-1].Text += " " + t.text("plan.in-hand", locales.Args{
			"Have": t.measure("measure.sacks", have), "Kg": t.number(round(share * f.Slots[slotWantKg].Number)),
		})
	}
	text := t.text("plan.ready", locales.Args{
		"Drums": t.measure("measure.drums", drums), "People": t.count("measure.people", int(people), nil),
		"Early": t.date(r.Ready.Likely), "Late": t.date(r.Ready.High),
	})
	for _, s := range append(t.promise(r, in.By), t.text("plan.change", nil)) {
		text += " " + s
	}
	t.say("caution.drum", Answer, nil)
	t.appendText("caution.young") // four messages would be too many
	t.add(Reply{Key: "plan.ready", Text: text, Urgency: Answer, Keep: true})
	t.appendText("next.plan")
	if lines := t.calendar(r.Days); lines != "" {
		t.later("plan.calendar", locales.Args{"Lines": lines})
	}
}

// promise says whether the day can be met, and what would make it so. It names
// the day, so that one misread is seen.
func (t *turn) promise(r calc.PlanResult, by time.Time) []string {
	args := locales.Args{"Date": t.date(by)}
	switch r.Promise {
	case calc.ByThen:
		return []string{t.text("plan.in-time", args)}
	case calc.ProbablyByThen:
		return []string{t.text("plan.probably", args)}
	case calc.NotByThen:
		args["Kg"] = t.number(math.Floor(float64(r.ByThen)))
		out := []string{t.text("plan.late", args)}
		with := ""
		switch {
		case r.NeedDrums > 0:
			with = t.measure("measure.drums", float64(r.NeedDrums))
		case r.NeedPeople > 0:
			with = t.count("measure.people", int(r.NeedPeople), nil)
		default:
			return out
		}
		return append(out, t.text("plan.with", locales.Args{"What": with}))
	}
	key := map[calc.Bottleneck]locales.ID{calc.DrumsShort: "short.drums", calc.PeopleShort: "short.people", calc.RackShort: "short.rack"}[r.Bottleneck]
	if key == "" {
		return nil
	}
	return []string{t.text("plan.short", locales.Args{"What": t.text(key, nil)})}
}

// calendar says what is done on the first days.
func (t *turn) calendar(days []calc.PlanDay) string {
	var lines []string
	for _, d := range days {
		if len(lines) == daysSaid {
			break
		}
		var work []string
		if d.Lit > 0 {
			work = append(work, t.text("plan.light", locales.Args{"Number": d.Lit}))
		}
		if d.Opened > 0 {
			work = append(work, t.text("plan.open", locales.Args{"Number": d.Opened}))
		}
		if d.Pieces > 0 {
			work = append(work, t.text("plan.press", locales.Args{"Number": t.number(round(float64(d.Pieces)))}))
		}
		if len(work) > 0 {
			lines = append(lines, t.day(d.Date)+" "+strings.Join(work, ", "))
		}
	}
	return strings.Join(lines, ", ")
}

// date writes a day such as Friday 13/3.
func (t *turn) date(at time.Time) string {
	return t.text("when.date", locales.Args{"Day": t.day(at), "Date": at.In(t.place.Zone).Format("2/1")})
}

// usualDrying is how many days the usual piece dries in the coming weather, or
// zero where the hours of sun must tell.
func (t *turn) usualDrying() calc.Range[calc.Days] {
	if t.forecast() == nil {
		return calc.Range[calc.Days]{}
	}
	return t.place.Drying[standardPieces[0]]
}
