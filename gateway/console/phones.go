package console

import (
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"cobline/gateway"
	"cobline/locales"
)

// Officers' own phones: an administrator keeps them, and an officer chooses the
// PIN of theirs.
var phonesRoutes = []route{
	{get, "/phones", Officer, (*request).phonesPage},
	{post, "/phones", Administrator, (*request).addPhone},
	{post, "/phones/:id/renew", Administrator, (*request).renewPhone},
	{post, "/phones/:id/unlock", Administrator, (*request).unlockPhone},
	{post, "/phones/:id/new-pin", Administrator, (*request).newPIN},
	{post, "/phones/:id/drop", Administrator, (*request).dropPhone},
	{post, "/phones/:id/pin", Officer, (*request).choosePIN},
	{post, "/phones/:id/mornings", Officer, (*request).setMornings},
}

// phoneRow is an officer's phone as the page shows it.
type phoneRow struct {
	gateway.OfficerPhone
	ID       string
	At       string // the places
	Standing string
	Mine     bool
	PIN      form // to choose another, of the reader's own
}

type phonesView struct {
	Rows  []phoneRow
	Mine  []phoneRow
	Add   form
	Given givenPIN
}

// givenPIN is a PIN that was drawn a moment ago. It is shown once, in the answer
// itself, and kept nowhere.
type givenPIN struct{ Number, Account, PIN string }

func (q *request) newPhones() (page phonesView, err error) {
	all, err := q.Phones.Phones(q.ctx)
	if err != nil {
		return page, err
	}
	for _, p := range all {
		c, err := q.People.Load(q.ctx, p.Number)
		if err != nil {
			return page, err
		}
		row := phoneRow{OfficerPhone: p, ID: idOf(c.Person), At: "all places", Standing: "in use", Mine: p.Account == q.Account.Name}
		var places []string
		for _, key := range p.Places {
			places = append(places, q.placeName(key))
		}
		if len(places) > 0 {
			row.At = strings.Join(places, ", ")
		}
		switch {
		case !p.Locked.IsZero():
			row.Standing = "locked: five wrong PINs"
		case !q.now.Before(p.Expires):
			row.Standing = "expired: renew it"
		case p.Given:
			row.Standing = "PIN not chosen yet"
		}
		page.Rows = append(page.Rows, row)
		if row.Mine {
			row.PIN = pinForm(row.ID)
			page.Mine = append(page.Mine, row)
		}
	}
	accounts, err := q.Accounts.List(q.ctx)
	if err != nil {
		return page, err
	}
	owner := field{Name: "account", Label: "Whose phone", Kind: "select"}
	for _, a := range accounts {
		if a.Role >= Officer && !a.Disabled {
			owner.Options = append(owner.Options, option{a.Name, a.Name})
		}
	}
	page.Add = form{Fields: []field{
		{Name: "number", Label: "Number", Kind: "tel", Complete: "off"},
		owner,
		{Name: "lang", Label: "Language", Kind: "select", Options: q.langOptions(), Hint: "In which the line writes to the officer."},
		{Name: "place", Label: "Whose people", Kind: "select", Options: append([]option{{"", "of all places"}}, q.placeOptions()...), Filter: true},
	}}
	return page, nil
}

// pinForm asks for the PIN of a phone; an officer may have several.
func pinForm(id string) form {
	return form{Fields: []field{
		{Name: "pin-" + id, Label: "The new PIN", Kind: "password", Keys: "numeric", Complete: "off", Hint: "6 digits: not all alike, not in a row, not one pattern again and again."},
		{Name: "repeat-" + id, Label: "The new PIN again", Kind: "password", Keys: "numeric", Complete: "off"},
	}}
}

func (q *request) phonesPage() error {
	page, err := q.newPhones()
	if err != nil {
		return err
	}
	return q.render("phones", page)
}

func (q *request) addPhone() error {
	page, err := q.newPhones()
	if err != nil {
		return err
	}
	page.Add.fill(q.form)
	n, err := gateway.ParseNumber(q.form.Get("number"), q.Country)
	if err != nil {
		page.Add.wrong("number", "this is not a number of a phone")
	}
	if slices.ContainsFunc(page.Rows, func(r phoneRow) bool { return r.Number == n && err == nil }) {
		page.Add.wrong("number", "this is an officer's phone already; renew it, or drop it first")
	}
	if page.Add.Wrong() {
		return q.again("phones", page)
	}
	var places []string
	if place := q.form.Get("place"); place != "" {
		places = []string{place}
	}
	account := q.form.Get("account")
	pin, err := q.Phones.AddPhone(q.ctx, n, account, places, locales.Lang(q.form.Get("lang")), q.Account.Name, q.now)
	if err != nil {
		return err
	}
	return q.given(n, pin)
}

// given shows a PIN to hand over.
func (q *request) given(n gateway.Number, pin string) error {
	page, err := q.newPhones()
	if err != nil {
		return err
	}
	i := slices.IndexFunc(page.Rows, func(r phoneRow) bool { return r.Number == n })
	if i < 0 { // dropped in the same moment
		return q.done("/phones", "")
	}
	page.Given = givenPIN{n.String(), page.Rows[i].Account, pin}
	return q.renderAs(http.StatusOK, "phones", page)
}

// phone finds the phone of the path. The own ones alone are an officer's business.
func (q *request) phone() (phonesView, phoneRow, error) {
	page, err := q.newPhones()
	if err != nil {
		return page, phoneRow{}, err
	}
	i := slices.IndexFunc(page.Rows, func(r phoneRow) bool { return r.ID == q.param("id") })
	if i < 0 || q.Account.Role < Administrator && !page.Rows[i].Mine {
		return page, phoneRow{}, fmt.Errorf("officer's phone: %w", gateway.ErrNotFound)
	}
	return page, page.Rows[i], nil
}

// alter does something to the phone of the path and tells what was done.
func (q *request) alter(done string, f func(p phoneRow) error) error {
	_, p, err := q.phone()
	if err == nil {
		err = f(p)
	}
	if err != nil {
		return err
	}
	return q.done("/phones", done)
}

func (q *request) renewPhone() error {
	return q.alter("The phone is renewed.", func(p phoneRow) error { return q.Phones.RenewPhone(q.ctx, p.Number, q.Account.Name, q.now) })
}

func (q *request) unlockPhone() error {
	return q.alter("The phone is open again.", func(p phoneRow) error { return q.Phones.UnlockPhone(q.ctx, p.Number, q.Account.Name, q.now) })
}

func (q *request) dropPhone() error {
	return q.alter("It is no officer's phone any more.", func(p phoneRow) error { return q.Phones.DropPhone(q.ctx, p.Number, q.Account.Name, q.now) })
}

func (q *request) setMornings() error {
	on := q.form.Get("mornings") == "yes"
	done := "The list of the morning comes no more."
	if on {
		done = "The list of the morning comes at 7 o'clock."
	}
	return q.alter(done, func(p phoneRow) error {
		return q.Phones.SetPhone(q.ctx, p.Number, p.Places, on, q.Account.Name, q.now)
	})
}

func (q *request) newPIN() error {
	_, p, err := q.phone()
	if err != nil {
		return err
	}
	pin, err := q.Phones.NewPIN(q.ctx, p.Number, q.Account.Name, q.now)
	if err != nil {
		return err
	}
	return q.given(p.Number, pin)
}

// choosePIN gives one's own phone the PIN one has chosen.
func (q *request) choosePIN() error {
	page, p, err := q.phone()
	if err != nil {
		return err
	}
	if !p.Mine {
		return fmt.Errorf("the PIN of another's phone: %w", gateway.ErrNotFound)
	}
	i := slices.IndexFunc(page.Mine, func(r phoneRow) bool { return r.ID == p.ID })
	f, name, repeat := &page.Mine[i].PIN, "pin-"+p.ID, "repeat-"+p.ID
	f.fill(q.form)
	if q.form.Get(name) != q.form.Get(repeat) {
		f.wrong(repeat, "this is not the same")
	}
	if !f.Wrong() {
		err := q.Phones.SetPIN(q.ctx, p.Number, q.form.Get(name), q.Account.Name, q.now)
		if errors.Is(err, gateway.ErrWeakPIN) {
			f.wrong(name, gateway.ErrWeakPIN.Error())
		} else if err != nil {
			return err
		}
	}
	if f.Wrong() {
		return q.again("phones", page)
	}
	return q.done("/phones", "Your PIN is changed.")
}
