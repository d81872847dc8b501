package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"cobline/gateway"
	"cobline/gateway/boltstore"
	"cobline/gateway/console"
	"cobline/gateway/views"
	"cobline/locales"
)

// phones lets officers' phones in. Who waits for officers is known while the line
// runs; shown is nil otherwise.
func (c Config) phones(store *boltstore.Store, notices *gateway.Notices, shown *views.Views) (*gateway.Office, error) {
	accounts, err := console.NewAccounts(store)
	if err != nil {
		return nil, err
	}
	return gateway.NewOffice(notices, gateway.OfficeOptions{
		Waiting: waitings{shown, c.Key},
		May: func(ctx context.Context, account string) (bool, error) {
			a, err := accounts.Get(ctx, account)
			if errors.Is(err, gateway.ErrNotFound) {
				return false, nil
			}
			return err == nil && !a.Disabled && a.Role >= console.Officer, err
		},
		Most: c.Office.Most, Lasts: time.Duration(c.Office.Days) * 24 * time.Hour,
	}), nil
}

// waitings reads in the views who waits for officers.
type waitings struct {
	views *views.Views
	home  string // the place of those who have named none
}

// Questions implements gateway.Waitings.
func (w waitings) Questions(ctx context.Context, places []string, max int) ([]gateway.Waiting, int, error) {
	return w.list(ctx, views.MatterQuery{Kind: views.Question, Places: w.all(places)}, max)
}

// CallBacks implements gateway.Waitings.
func (w waitings) CallBacks(ctx context.Context, places []string, max int) ([]gateway.Waiting, int, error) {
	return w.list(ctx, views.MatterQuery{Kind: views.CallBack, Places: w.all(places), Oldest: true}, max)
}

// Emergencies implements gateway.Waitings.
func (w waitings) Emergencies(ctx context.Context, places []string) (int, error) {
	m, err := w.views.Matters(ctx, views.MatterQuery{Kind: views.Emergency, Places: w.all(places)}, views.Page{Max: 1})
	return m.All, err
}

// all adds those who have named no place to the home place.
func (w waitings) all(places []string) []string {
	if slices.Contains(places, w.home) {
		return append(slices.Clone(places), "")
	}
	return places
}

func (w waitings) list(ctx context.Context, q views.MatterQuery, max int) (list []gateway.Waiting, all int, err error) {
	found, err := w.views.Matters(ctx, q, views.Page{Max: max})
	for _, m := range found.List {
		if m.Number.IsZero() { // erased since
			continue
		}
		list = append(list, gateway.Waiting{At: m.At, Number: m.Number, Place: m.Place, Text: m.Text})
	}
	return list, found.All, err
}

type officerPhoneCommand struct {
	Add    phoneAddCommand    `cmd:"" help:"Make a number an officer's phone, and print the PIN to hand over. The phone is told."`
	List   phoneListCommand   `cmd:"" help:"List the officers' phones."`
	Renew  phoneRenewCommand  `cmd:"" help:"Let a phone last again as long as a new one."`
	Unlock phoneUnlockCommand `cmd:"" help:"Open a phone that five wrong PINs have locked."`
	PIN    phonePINCommand    `cmd:"" name:"pin" help:"Print a new PIN to hand over, in place of one that was forgotten."`
	Drop   phoneDropCommand   `cmd:"" help:"Make a number no officer's phone."`
}

// phoneOrder is what a command about officers' phones says to the line.
type phoneOrder struct {
	Number  string       `json:"number"`
	Account string       `json:"account,omitempty"`
	Places  []string     `json:"places,omitempty"`
	Lang    locales.Lang `json:"lang,omitempty"`
}

// phoneState is an officer's phone as scripts read it; its names are stable.
type phoneState struct {
	Number   string    `json:"number"` // masked, unless it is asked for
	Account  string    `json:"account"`
	Places   []string  `json:"places,omitempty"`
	Expires  time.Time `json:"expires"`
	Locked   time.Time `json:"locked,omitzero"`
	PIN      string    `json:"pin,omitempty"` // a new one, to hand over
	Given    bool      `json:"pin_given"`     // it is not the officer's own choice
	Mornings bool      `json:"mornings"`
}

// officersPhone is an officer's phone on the command line.
type officersPhone struct {
	Number string `arg:"" help:"The number of the phone."`
	Config string `placeholder:"FILE" help:"The configuration (default: cobline.toml if it is there)."`
}

// order gives a command and returns the phone it was about, if there is one.
func (n officersPhone) order(command string, o phoneOrder) (state phoneState, err error) {
	config, err := Load(n.Config, os.Environ())
	if err != nil {
		return state, err
	}
	number, err := gateway.ParseNumber(n.Number, config.Country)
	if err != nil {
		return state, err
	}
	o.Number = number.Digits()
	argument, err := json.Marshal(o)
	if err != nil {
		return state, err
	}
	var all []phoneState
	_, err = order(config, "phone-"+command, string(argument), &all)
	for _, s := range all {
		if s.Number == number.String() {
			state = s
		}
	}
	return state, err
}

type phoneAddCommand struct {
	officersPhone
	Account string   `required:"" placeholder:"NAME" help:"Whose phone it is: an account that may send notices."`
	Place   []string `placeholder:"KEY" help:"The places whose people the officer sees to (default: all)."`
	Lang    string   `help:"The language the officer is written to in (default: that of the line)."`
}

// Run makes a number an officer's phone.
func (a *phoneAddCommand) Run(t *terminal) error {
	state, err := a.order("add", phoneOrder{Account: a.Account, Places: a.Place, Lang: locales.Lang(a.Lang)})
	if err != nil {
		return err
	}
	fmt.Fprintf(t.out, "%s is a phone of %s until %s. Its PIN is %s: tell it to %s alone. Another one is asked for at the first use.\n",
		state.Number, state.Account, state.Expires.Format(dayLayout), state.PIN, state.Account)
	return nil
}

type phonePINCommand struct{ officersPhone }

// Run gives a phone a new PIN.
func (p *phonePINCommand) Run(t *terminal) error {
	state, err := p.order("pin", phoneOrder{})
	if err != nil {
		return err
	}
	fmt.Fprintf(t.out, "The PIN of %s is %s: tell it to %s alone. Another one is asked for at the next use.\n", state.Number, state.PIN, state.Account)
	return nil
}

type (
	phoneRenewCommand  struct{ officersPhone }
	phoneUnlockCommand struct{ officersPhone }
	phoneDropCommand   struct{ officersPhone }
)

// Run renews a phone.
func (r *phoneRenewCommand) Run(t *terminal) error {
	state, err := r.order("renew", phoneOrder{})
	if err != nil {
		return err
	}
	fmt.Fprintf(t.out, "%s lasts until %s.\n", state.Number, state.Expires.Format(dayLayout))
	return nil
}

// Run opens a phone.
func (u *phoneUnlockCommand) Run(t *terminal) error {
	state, err := u.order("unlock", phoneOrder{})
	if err != nil {
		return err
	}
	fmt.Fprintf(t.out, "%s is open again.\n", state.Number)
	return nil
}

// Run drops a phone.
func (d *phoneDropCommand) Run(t *terminal) error {
	if _, err := d.order("drop", phoneOrder{}); err != nil {
		return err
	}
	fmt.Fprintln(t.out, "It is no officer's phone any more.")
	return nil
}

type phoneListCommand struct {
	Config string `placeholder:"FILE" help:"The configuration (default: cobline.toml if it is there)."`
	JSON   bool   `help:"Print a JSON array."`
}

// Run lists the phones.
func (l *phoneListCommand) Run(t *terminal) error {
	config, err := Load(l.Config, os.Environ())
	if err != nil {
		return err
	}
	var all []phoneState
	if _, err := order(config, "phone-list", "{}", &all); err != nil {
		return err
	}
	if l.JSON {
		return printJSON(t.out, all)
	}
	w := tabwriter.NewWriter(t.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "number\taccount\tplaces\tuntil\tstanding")
	for _, s := range all {
		places, standing := "all", "in use"
		if len(s.Places) > 0 {
			places = strings.Join(s.Places, ", ")
		}
		switch {
		case !s.Locked.IsZero():
			standing = "locked since " + s.Locked.In(config.zone()).Format(minuteLayout)
		case !time.Now().Before(s.Expires):
			standing = "expired"
		case s.Given:
			standing = "not used yet"
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\n", s.Number, s.Account, places, s.Expires.In(config.zone()).Format(dayLayout), standing)
	}
	return w.Flush()
}

// dayLayout is how commands write a day.
const dayLayout = "2006-01-02"

// phone does what commands about officers' phones ask for, and returns them all.
func (c *controller) phone(ctx context.Context, what, argument string) ([]phoneState, error) {
	var o phoneOrder
	if err := json.Unmarshal([]byte(argument), &o); err != nil {
		return nil, fmt.Errorf("read the command: %w", err)
	}
	const by = "command line"
	now := c.watch.At(time.Now())
	var n gateway.Number
	var pin string
	var err error
	if what != "list" {
		if n, err = gateway.NumberOf(o.Number); err != nil {
			return nil, err
		}
	}
	switch what {
	case "list":
	case "add":
		pin, err = c.addPhone(ctx, n, o, by, now)
	case "renew":
		err = c.phones.RenewPhone(ctx, n, by, now)
	case "unlock":
		err = c.phones.UnlockPhone(ctx, n, by, now)
	case "pin":
		pin, err = c.phones.NewPIN(ctx, n, by, now)
	case "drop":
		err = c.phones.DropPhone(ctx, n, by, now)
	default:
		return nil, fmt.Errorf("unknown command about officers' phones %q", what)
	}
	if errors.Is(err, gateway.ErrNotFound) {
		return nil, fmt.Errorf("%v is no officer's phone", n)
	}
	if err != nil {
		return nil, err
	}
	all, err := c.phones.Phones(ctx)
	states := []phoneState{}
	for _, p := range all {
		state := phoneState{Number: p.Number.String(), Account: p.Account, Places: p.Places, Expires: p.Expires, Locked: p.Locked, Given: p.Given, Mornings: p.Mornings}
		if p.Number == n {
			state.PIN = pin
		}
		states = append(states, state)
	}
	return states, err
}

// addPhone adds a phone of an account that there is, for places that there are.
func (c *controller) addPhone(ctx context.Context, n gateway.Number, o phoneOrder, by string, now time.Time) (string, error) {
	accounts, err := console.NewAccounts(c.store)
	if err != nil {
		return "", err
	}
	account, err := accounts.Get(ctx, o.Account)
	switch {
	case errors.Is(err, gateway.ErrNotFound):
		return "", fmt.Errorf("there is no account %q; `cobline officer list` names them", o.Account)
	case err != nil:
		return "", err
	case account.Role < console.Officer:
		return "", fmt.Errorf("the account %s may only read; give it the role of an officer first", account.Name)
	}
	for _, key := range o.Places {
		if _, ok := c.knowledge.Facts().Places[key]; !ok {
			return "", fmt.Errorf("there is no place %q", key)
		}
	}
	return c.phones.AddPhone(ctx, n, account.Name, o.Places, o.Lang, by, now)
}
