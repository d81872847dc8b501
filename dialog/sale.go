package dialog

import (
	"time"

	"cobline/calc"
	"cobline/locales"
)

const (
	topicSale = "sale"

	slotSold       Slot = "sold" // a number of something: kilograms or pieces
	slotSoldKg     Slot = "sold_kg"
	slotSoldPieces Slot = "sold_pieces"
	slotSoldUnit   Slot = "sold_unit"
	slotSoldMoney  Slot = "sold_money"

	soldKg     = "kg"
	soldPieces = "pieces"

	maxSales = 12 // sales that a conversation remembers
)

// saleTopic keeps what was sold, and for how much.
var saleTopic = topic{
	key:   topicSale,
	units: map[string]Slot{"kg": slotSoldKg, "piece": slotSoldPieces},
	bare:  slotSold,
	infer: func(r reading, in *filled) {
		// "sold 20 kg for 800", "sold 40 for 800": a bare number is the money, unless
		// it is the first of two or the only one.
		counted := in.values[slotSoldKg].Number+in.values[slotSoldPieces].Number > 0
		for i, a := range r.sums {
			if a.unit == "" && (i > 0 || counted) {
				in.values[slotSoldMoney] = Value{Number: a.number, Unsure: a.unsure}
			}
		}
		if counted {
			delete(in.values, slotSold)
		}
	},
	next:   (*turn).nextSale,
	answer: (*turn).sold,
}

func (t *turn) nextSale(f *Frame) (question, bool) {
	if f.has(slotSold) && f.has(slotSoldUnit) {
		unit := map[string]Slot{soldKg: slotSoldKg, soldPieces: slotSoldPieces}[f.Slots[slotSoldUnit].Key]
		f.Slots[unit] = f.Slots[slotSold]
		delete(f.Slots, slotSold)
	}
	switch known := f.has(slotSoldKg) || f.has(slotSoldPieces); {
	case f.has(slotSold) && !known:
		args := locales.Args{"Number": t.number(f.Slots[slotSold].Number)}
		return question{slot: slotSoldUnit, id: "ask.sold-unit", args: args, options: []option{
			{key: soldKg, label: "sold.kg", args: args}, {key: soldPieces, label: "sold.pieces", args: args},
		}}, true
	case !known:
		return question{slot: slotSold, id: "ask.sold"}, true
	case !f.has(slotSoldMoney):
		return question{slot: slotSoldMoney, id: "ask.sold-money"}, true
	}
	return question{}, false
}

// sold keeps the sale, says what one kilogram or piece brought, and the line for
// those who buy.
func (t *turn) sold(f *Frame) {
	sale := Sale{
		At: t.w.Now.UTC().Truncate(time.Second), Kg: f.Slots[slotSoldKg].Number, Pieces: f.Slots[slotSoldPieces].Number,
		Money: f.Slots[slotSoldMoney].Number,
	}
	t.s.Sales = append(t.s.Sales, sale)
	t.s.Sales = t.s.Sales[max(0, len(t.s.Sales)-maxSales):]
	t.say("caution.buyers", Answer, nil)
	args := locales.Args{"What": t.soldWhat(sale), "Money": t.money(t.smallest(sale.Money)), "Each": t.money(t.smallest(sale.Money / max(sale.Kg, sale.Pieces)))}
	id := locales.ID("sale.kg")
	if sale.Pieces > 0 {
		id = "sale.pieces"
	}
	t.say2(id, args)
	t.appendText("next.sale")
	f.Slots = Slots{}
}

// soldWhat writes what was sold.
func (t *turn) soldWhat(s Sale) string {
	if s.Pieces > 0 {
		return t.text("sold.pieces", locales.Args{"Number": t.number(s.Pieces)})
	}
	return t.text("sold.kg", locales.Args{"Number": t.number(s.Kg)})
}

// soldSoFar says what all remembered sales brought; nothing without any.
func (t *turn) soldSoFar() string {
	sum := Sale{}
	for _, s := range t.s.Sales {
		sum.Kg, sum.Pieces, sum.Money = sum.Kg+s.Kg, sum.Pieces+s.Pieces, sum.Money+s.Money
	}
	if len(t.s.Sales) == 0 {
		return ""
	}
	what := t.soldWhat(sum)
	if sum.Pieces > 0 && sum.Kg > 0 {
		what = t.soldWhat(Sale{Kg: sum.Kg}) + ", " + what
	}
	return t.text("record.sold", locales.Args{"What": what, "Money": calc.Money(t.smallest(sum.Money)).Text(t.place.Decimals)})
}
