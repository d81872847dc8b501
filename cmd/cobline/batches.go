package main

import (
	"context"
	"encoding/csv"
	"errors"
	"os"
	"strconv"
	"time"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/register"
)

type batchesCommand struct {
	Config  string    `placeholder:"FILE" help:"The configuration (default: cobline.toml if it is there)."`
	Since   time.Time `format:"2006-01-02" placeholder:"2026-03-02" help:"Leave out what is older."`
	Numbers bool      `help:"Print whole phone numbers. They are personal data."`
}

// batchColumns are the names scripts go by; they are stable.
var batchColumns = []string{
	"at", "kind", "number", "place", "group", "drum", "waste", "drums", "feed_kg", "charcoal_kg", "half_burned_kg",
	"minutes_to_cover", "moisture_share", "ash", "sold_kg", "sold_pieces", "money",
}

// Run prints the batches and the sales of everybody, oldest first for each.
func (b *batchesCommand) Run(t *terminal) (err error) {
	config, err := Load(b.Config, os.Environ())
	if err != nil {
		return err
	}
	store, err := openStore(config)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	w := csv.NewWriter(t.out)
	if err := w.Write(batchColumns); err != nil {
		return err
	}
	broken := store.Each(context.Background(), gateway.Number{}, func(c gateway.Conversation) error {
		s := c.State
		number := c.Number.String()
		if b.Numbers {
			number = "+" + c.Number.Digits()
		}
		for _, row := range records(s) {
			if row.at.Before(b.Since) {
				continue
			}
			cells := append([]string{row.at.Format(time.RFC3339), row.kind, number, s.Place, s.Profile.Group}, row.cells...)
			for i, cell := range cells {
				cells[i] = register.Harmless(cell)
			}
			if err := w.Write(cells); err != nil {
				return err
			}
		}
		return nil
	})
	w.Flush()
	return errors.Join(w.Error(), broken)
}

// entered is one row of a person's record.
type entered struct {
	at    time.Time
	kind  string
	cells []string // those after the person's own
}

// records lists the batches of a conversation, then its sales.
func records(s dialog.State) (rows []entered) {
	for _, b := range s.Batches {
		rows = append(rows, entered{b.At, "batch", []string{
			b.Name, b.Waste, strconv.Itoa(b.Drums), register.Number(b.FeedKg), register.Number(b.CharKg), register.Number(b.BrandsKg), register.Number(b.Minutes), register.Number(b.Moisture), b.Ash, "", "", "",
		}})
	}
	for _, sale := range s.Sales {
		rows = append(rows, entered{sale.At, "sale", []string{"", "", "", "", "", "", "", "", "", register.Number(sale.Kg), register.Number(sale.Pieces), register.Number(sale.Money)}})
	}
	return rows
}
