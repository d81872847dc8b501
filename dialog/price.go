package dialog

import (
	"math"

	"cobline/calc"
	"cobline/locales"
)

const (
	topicPrice = "price"

	slotCharcoalPrice Slot = "charcoal_price"
	slotStarchPrice   Slot = "starch_price"
)

// priceTopic answers what briquettes cost and what they can fetch.
var priceTopic = topic{
	key: topicPrice, bare: slotCharcoalPrice,
	infer: func(r reading, in *filled) {
		for i, a := range r.sums { // "charcoal 60, flour 90"
			if len(r.sums) == 2 && r.hasFamily("starch") && a.unit == "" {
				slot := slotCharcoalPrice
				if r.nearer(a.token, "starch", "thing") == "starch" || i == 1 && !r.has("thing.char") {
					slot = slotStarchPrice
				}
				in.values[slot] = Value{Number: a.number, Unsure: a.unsure}
			}
		}
	},
	next: (*turn).nextPrice, answer: (*turn).price,
}

func (t *turn) nextPrice(f *Frame) (question, bool) {
	for _, s := range []Slot{slotCharcoalPrice, slotStarchPrice} {
		if !f.has(s) {
			return question{slot: s, id: s.id("ask")}, true
		}
	}
	return question{}, false
}

// smallest turns an amount a person writes into the smallest unit.
func (t *turn) smallest(v float64) calc.Money {
	return calc.Money(math.Round(v * math.Pow10(t.place.Decimals)))
}

// money writes an amount in round figures, with the currency of the place.
func (t *turn) money(m calc.Money) string {
	if t.place.Currency == "" {
		return t.bareMoney(m)
	}
	return t.bareMoney(m) + " " + t.place.Currency
}

// bareMoney writes an amount in round figures: two digits that count.
func (t *turn) bareMoney(m calc.Money) string {
	if m == 0 {
		return "0"
	}
	step := math.Pow10(max(0, int(math.Floor(math.Log10(math.Abs(float64(m)))))-1))
	return calc.Money(math.Round(float64(m)/step) * step).Text(t.place.Decimals)
}

// price says the price that gives a cook the same heat for the same money, what
// starch takes of it, and what is left for an hour of work.
func (t *turn) price(f *Frame) {
	charcoal, starch := t.smallest(f.Slots[slotCharcoalPrice].Number), t.smallest(f.Slots[slotStarchPrice].Number)
	fair, err := calc.Price(calc.PriceInput{Sold: calc.Exactly[calc.Kg](1), PerStarch: starch, Charcoal: charcoal, Price: charcoal})
	price := fair.Ceiling.Likely
	if err != nil || price == 0 {
		t.say("recipe.out-of-range", Answer, nil)
		delete(f.Slots, slotCharcoalPrice)
		f.Done = false
		t.advance(f)
		return
	}
	t.say2("price.sell", locales.Args{"Charcoal": t.money(charcoal), "Low": t.bareMoney(fair.Ceiling.Low), "High": t.money(fair.Ceiling.High)})
	// What an hour earns is what the price leaves above the cash, over the hours:
	// at another price the hours are the same.
	left, atCharcoal := price-fair.Cash.Likely, charcoal-fair.Cash.Likely
	hour := calc.Money(0)
	if left > 0 {
		hour = calc.Money(float64(fair.HourEarns.Likely) * float64(left) / float64(atCharcoal))
	}
	args := locales.Args{
		"Low": t.bareMoney(fair.Cash.Low), "High": t.money(fair.Cash.High),
		"Price": t.money(price), "Hour": t.money(hour),
	}
	t.say("caution.buyers", Answer, nil)
	switch {
	case starch == 0:
		t.say("price.free", Answer, args)
	case left <= 0:
		t.say("price.loss", Answer, args)
	default:
		t.say("price.cost", Answer, args)
	}
	t.appendText("next.price")
	t.later("price.more", nil)
}
