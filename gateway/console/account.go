package console

import (
	"html/template"
	"regexp"
	"strings"
)

// The reader's own account.
var accountRoutes = []route{
	{get, "/account", Viewer, func(q *request) error { return q.render("account", nil) }},
	{get, "/account/password", Viewer, func(q *request) error { return q.render("password", newPassword()) }},
	{post, "/account/password", Viewer, (*request).changePassword},
	{get, "/account/second-step", Viewer, (*request).secondStep},
	{post, "/account/second-step", Viewer, (*request).setSecondStep},
	{post, "/account/second-step/end", Viewer, (*request).endSecondStep},
}

// formView is a page that is one form.
type formView struct{ Form form }

func newPassword() formView {
	return formView{form{Fields: []field{
		{Name: "old", Label: "The password you have now", Kind: "password", Complete: "current-password"},
		{Name: "new", Label: "The new password", Kind: "password", Complete: "new-password", Hint: "At least 12 characters. Four words that do not belong together are easy to keep in mind and hard to guess."},
		{Name: "repeat", Label: "The new password again", Kind: "password", Complete: "new-password"},
	}}}
}

func (q *request) changePassword() error {
	page := newPassword()
	page.Form.fill(q.form)
	if q.form.Get("new") != q.form.Get("repeat") {
		page.Form.wrong("repeat", "this is not the same")
	}
	if q.form.Get("new") == q.form.Get("old") {
		page.Form.wrong("new", "this is the password you have now")
	}
	if page.Form.Wrong() {
		return q.again("password", page)
	}
	if ok, err := q.own(&page.Form, "old"); err != nil || !ok {
		return orAgain(q, err, "password", page)
	}
	account, err := q.Accounts.SetPassword(q.ctx, q.Account.Name, q.form.Get("new"), false)
	if page.Form.mends(err, "new") {
		return q.again("password", page)
	}
	if err != nil {
		return err
	}
	if err := q.begin(account); err != nil {
		return err
	}
	if err := q.audit("password changed", account.Name, ""); err != nil {
		return err
	}
	return q.done("/account", "Your password is changed. Wherever else you were signed in, you are no longer.")
}

// own checks that it is the reader who writes: the password stands in a field.
// Tries count as those of a sign-in do.
func (q *request) own(f *form, name string) (bool, error) {
	until, err := q.countTry(q.Account.Name)
	if err != nil {
		return false, err
	}
	if !until.IsZero() {
		f.wrong(name, "too many tries; wait "+spell(until.Sub(q.now)))
		return false, nil
	}
	ok, err := q.Accounts.verify(q.Account, q.form.Get(name))
	if err != nil {
		return false, err
	}
	if !ok {
		f.wrong(name, "this is not the password you have now")
		return false, nil
	}
	return true, q.forgiveTries(q.Account.Name)
}

// orAgain returns an error, or shows a form that is to be mended.
func orAgain(q *request, err error, name string, page any) error {
	if err != nil {
		return err
	}
	return q.again(name, page)
}

// secondView is the page that sets up a second step.
type secondView struct {
	Form   form
	Secret string // in groups of four
	QR     template.HTML
	Codes  []string // shown once, when it is set up
}

func (q *request) secondStep() error {
	page, err := q.newSecondView("")
	if err != nil {
		return err
	}
	return q.render("second-step", page)
}

// newSecondView shows a secret, a fresh one if none is given.
func (q *request) newSecondView(secret string) (page secondView, err error) {
	if q.Account.Secret != "" {
		page.Form = form{Fields: []field{{Name: "password", Label: "Your password", Kind: "password", Complete: "current-password"}}}
		return page, nil
	}
	key, err := newSecond(q.Account.Name)
	if secret != "" {
		key, err = keyOf(q.Account.Name, secret)
	}
	if err != nil {
		return page, err
	}
	if page.QR, err = picture(key.URL()); err != nil {
		return page, err
	}
	for i, r := range key.Secret() {
		if i > 0 && i%4 == 0 {
			page.Secret += " "
		}
		page.Secret += string(r)
	}
	page.Form = form{Fields: []field{
		{Name: "code", Label: "The code it shows now", Kind: "text", Keys: "numeric", Complete: "one-time-code"},
		{Name: "password", Label: "Your password", Kind: "password", Complete: "current-password"},
	}}
	return page, nil
}

// base32Secret matches what a form brings back of a secret shown before.
var base32Secret = regexp.MustCompile(`^[A-Z2-7]{32}$`)

func (q *request) setSecondStep() error {
	secret := strings.ReplaceAll(q.form.Get("secret"), " ", "")
	if !base32Secret.MatchString(secret) || q.Account.Secret != "" {
		return q.done("/account/second-step", "")
	}
	page, err := q.newSecondView(secret)
	if err != nil {
		return err
	}
	page.Form.fill(q.form)
	if page.Form.Wrong() {
		return q.again("second-step", page)
	}
	if ok, err := q.own(&page.Form, "password"); err != nil || !ok {
		return orAgain(q, err, "second-step", page)
	}
	codes, hashes := newRecovery()
	account, err := q.Accounts.change(q.ctx, q.Account.Name, func(account *Account) error {
		account.Secret, account.Step, account.Recovery = secret, 0, nil
		if err := account.take(q.form.Get("code"), q.now); err != nil {
			return fault("this is not the code it shows now; is the clock of the phone right?")
		}
		account.Recovery = hashes
		account.Epoch++
		return nil
	})
	if page.Form.mends(err, "code") {
		return q.again("second-step", page)
	}
	if err != nil {
		return err
	}
	if err := q.begin(account); err != nil {
		return err
	}
	if err := q.audit("second step set up", account.Name, ""); err != nil {
		return err
	}
	q.Account = account
	return q.render("second-step", secondView{Codes: codes})
}

func (q *request) endSecondStep() error {
	page, err := q.newSecondView("")
	if err != nil {
		return err
	}
	if ok, err := q.own(&page.Form, "password"); err != nil || !ok {
		return orAgain(q, err, "second-step", page)
	}
	_, err = q.Accounts.change(q.ctx, q.Account.Name, func(account *Account) error {
		account.Secret, account.Step, account.Recovery = "", 0, nil
		return nil
	})
	if err != nil {
		return err
	}
	if err := q.audit("second step ended", q.Account.Name, ""); err != nil {
		return err
	}
	return q.done("/account", "You sign in with your password alone now.")
}
