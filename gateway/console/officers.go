package console

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"cobline/gateway"
)

// The accounts of all officers.
var accountsRoutes = []route{
	{get, "/accounts", Administrator, (*request).accounts},
	{post, "/accounts", Administrator, (*request).addAccount},
	{get, "/accounts/:name", Administrator, (*request).account},
	{post, "/accounts/:name/role", Administrator, (*request).setRole},
	{post, "/accounts/:name/disable", Administrator, (*request).disable},
	{post, "/accounts/:name/enable", Administrator, (*request).enable},
	{post, "/accounts/:name/reset", Administrator, (*request).reset},
	{post, "/accounts/:name/unlock", Administrator, (*request).unlock},
}

// accountRow is an account as the list shows it.
type accountRow struct {
	Account
	Locked time.Time // until then it cannot sign in for its failed tries
}

type accountsView struct {
	Rows []accountRow
	Form form
}

func roleOptions() (options []option) {
	for _, r := range Roles {
		options = append(options, option{r.String(), map[Role]string{
			Viewer:        "viewer (reads)",
			Officer:       "officer (sends, teaches, answers)",
			Administrator: "administrator (makes accounts)",
		}[r]})
	}
	return options
}

func (q *request) newAccounts() (page accountsView, err error) {
	all, err := q.Accounts.List(q.ctx)
	if err != nil {
		return page, err
	}
	for _, a := range all {
		row, err := q.row(a)
		if err != nil {
			return page, err
		}
		page.Rows = append(page.Rows, row)
	}
	page.Form = form{Fields: []field{
		{Name: "name", Label: "Name", Kind: "text", Complete: "off", Hint: "Small letters and digits, as it is typed at sign-in."},
		{Name: "role", Label: "Role", Kind: "select", Options: roleOptions(), Value: Officer.String()},
		{Name: "password", Label: "First password", Kind: "password", Complete: "new-password", Hint: "At least 12 characters. Its owner is asked for another at the first sign-in."},
	}}
	return page, nil
}

func (q *request) row(a Account) (accountRow, error) {
	locked, err := q.Accounts.Locked(q.ctx, a.Name, q.now)
	return accountRow{a, locked}, err
}

func (q *request) accounts() error {
	page, err := q.newAccounts()
	if err != nil {
		return err
	}
	return q.render("accounts", page)
}

func (q *request) addAccount() error {
	page, err := q.newAccounts()
	if err != nil {
		return err
	}
	page.Form.fill(q.form)
	if page.Form.Wrong() {
		return q.again("accounts", page)
	}
	role, err := ParseRole(q.form.Get("role"))
	if err != nil {
		return err
	}
	name := fold(q.form.Get("name"))
	err = q.Accounts.Add(q.ctx, name, role, q.form.Get("password"), true, q.now)
	if page.Form.mends(err, map[bool]string{true: "password", false: "name"}[err != nil && strings.HasPrefix(err.Error(), "a password")]) {
		return q.again("accounts", page)
	}
	if err != nil {
		return err
	}
	if err := q.audit("account made", name, role.String()); err != nil {
		return err
	}
	return q.done("/accounts", fmt.Sprintf("The account %s is made. Tell its owner the password in person.", name))
}

type officerView struct {
	accountRow
	Role, Password form
	Fault          string
}

func (q *request) newOfficer() (page officerView, err error) {
	a, err := q.Accounts.Get(q.ctx, q.param("name"))
	if err != nil {
		return page, err
	}
	if page.accountRow, err = q.row(a); err != nil {
		return page, err
	}
	page.Role = form{Fields: []field{{Name: "role", Label: "Role", Kind: "select", Options: roleOptions(), Value: a.Role.String()}}}
	page.Password = form{Fields: []field{{Name: "password", Label: "New password", Kind: "password", Complete: "new-password", Hint: "At least 12 characters. Its owner is asked for another at the next sign-in, and sets up a second step anew."}}}
	return page, nil
}

func (q *request) account() error {
	page, err := q.newOfficer()
	if err != nil {
		return err
	}
	return q.render("officer", page)
}

// officer does something to the account of the path, records it, and tells what
// was done or why not.
func (q *request) officer(what, detail, done string, f func(name string) error) error {
	name := fold(q.param("name"))
	var why fault
	switch err := f(name); {
	case errors.As(err, &why):
		page, err := q.newOfficer()
		if err != nil {
			return err
		}
		page.Fault = sentence(string(why))
		return q.again("officer", page)
	case errors.Is(err, gateway.ErrConflict):
		return fmt.Errorf("change account %q: %w", name, err)
	case err != nil:
		return err
	}
	if err := q.audit(what, name, detail); err != nil {
		return err
	}
	return q.done("/accounts/"+name, done)
}

func (q *request) setRole() error {
	role, err := ParseRole(q.form.Get("role"))
	if err != nil {
		return q.officer("", "", "", func(string) error { return fault("choose a role of the list") })
	}
	return q.officer("role changed", role.String(), "The role is changed.", func(name string) error {
		return q.Accounts.SetRole(q.ctx, name, role)
	})
}

func (q *request) disable() error {
	return q.officer("account disabled", "", "The account is disabled, and signed out everywhere.", func(name string) error {
		return q.Accounts.Disable(q.ctx, name, true)
	})
}

func (q *request) enable() error {
	return q.officer("account enabled", "", "The account is enabled.", func(name string) error {
		return q.Accounts.Disable(q.ctx, name, false)
	})
}

func (q *request) reset() error {
	return q.officer("password reset", "", "The password is reset. Tell its owner in person.", func(name string) error {
		_, err := q.Accounts.SetPassword(q.ctx, name, q.form.Get("password"), true)
		return err
	})
}

func (q *request) unlock() error {
	return q.officer("account unlocked", "", "The account may sign in again at once.", func(name string) error {
		return q.Accounts.Unlock(q.ctx, name)
	})
}
