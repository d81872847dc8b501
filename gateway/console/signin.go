package console

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/gofiber/fiber/v2/middleware/session"

	"cobline/gateway"
)

// signInView is the page that asks who it is.
type signInView struct {
	Form form
	To   string // the page that was asked for
}

func newSignIn(to string) signInView {
	return signInView{To: to, Form: form{Fields: []field{
		{Name: "name", Label: "Name", Kind: "text", Complete: "username"},
		{Name: "password", Label: "Password", Kind: "password", Complete: "current-password"},
		{Name: "code", Label: "Code", Kind: "text", Optional: true, Complete: "one-time-code", Hint: "Only if you have set up a second step: six digits, or one of your recovery codes."},
	}}}
}

// within returns a path of the console, or its first page: nobody is led
// elsewhere by a link.
func within(to string) string {
	u, err := url.Parse(to)
	if err != nil || u.Scheme != "" || u.Host != "" || !strings.HasPrefix(u.Path, Root+"/") || strings.ContainsAny(to, "\\\r\n") || strings.Contains(to, "//") {
		return "/outlook"
	}
	return strings.TrimPrefix(u.EscapedPath(), Root)
}

func (q *request) signInPage() error {
	if q.Account.Name != "" {
		return q.done(within(q.query.Get("to")), "")
	}
	return q.render("sign-in", newSignIn(q.query.Get("to")))
}

// signIn begins a session. Whatever is wrong, the answer is the same, after the
// same time.
func (q *request) signIn() error {
	page := newSignIn(q.form.Get("to"))
	page.Form.fill(q.form)
	if page.Form.Wrong() {
		return q.again("sign-in", page)
	}
	name, password, code := fold(q.form.Get("name")), q.form.Get("password"), q.form.Get("code")
	until, err := q.countTry(name)
	if err != nil {
		return err
	}
	if !until.IsZero() {
		q.fiber.Set("Retry-After", fmt.Sprint(int(until.Sub(q.now).Seconds())+1))
		page.Form.Fault = fmt.Sprintf("Too many sign-ins have failed. Try again in %s, or ask an administrator to unlock your account.", spell(until.Sub(q.now)))
		return q.renderAs(http.StatusTooManyRequests, "sign-in", page)
	}
	account, err := q.Accounts.signIn(q.ctx, name, password, code, q.now)
	if errors.Is(err, errNotThem) {
		if err := gateway.Audit(q.ctx, q.Desk, gateway.Record{At: q.now, By: tried(name), What: "sign-in failed", Detail: "from " + q.address}); err != nil {
			return err
		}
		page.Form.Fault = "The name, the password or the code is not right."
		return q.again("sign-in", page)
	}
	if err != nil {
		return err
	}
	if err := q.forgiveTries(name); err != nil {
		return err
	}
	if err := q.begin(account); err != nil {
		return err
	}
	q.Account = account
	if err := q.audit("sign-in", "", "from "+q.address); err != nil {
		return err
	}
	return q.done(within(q.form.Get("to")), "")
}

// tried is a name that somebody typed: it may be anything, also their password.
func tried(name string) string {
	if accountName.MatchString(name) {
		return name
	}
	return "somebody"
}

// countTry counts a sign-in, or returns until when none is tried.
func (q *request) countTry(name string) (time.Time, error) {
	until, err := count(q.ctx, q.Desk, triesID("address", q.address), triesByAddress, q.now)
	if err != nil || !until.IsZero() {
		return until, err
	}
	return count(q.ctx, q.Desk, triesID("name", name), triesByName, q.now)
}

// forgiveTries takes back what counted as failed until it was known that it is
// right.
func (q *request) forgiveTries(name string) error {
	return errors.Join(
		forgive(q.ctx, q.Desk, triesID("address", q.address), false),
		forgive(q.ctx, q.Desk, triesID("name", name), true),
	)
}

// begin makes the session the account's. It gets another id: who knew the one
// before knows nothing.
func (q *request) begin(account Account) error {
	return q.session(func(s *session.Session) error {
		if err := s.Regenerate(); err != nil {
			return fmt.Errorf("renew the session: %w", err)
		}
		q.fiber.Request().Header.SetCookie(sessionCookie, s.ID()) // what is still to be told goes to this one
		for _, key := range s.Keys() {
			s.Delete(key) // also the token of its forms
		}
		s.Set(sessionAccount, account.Name)
		s.Set(sessionEpoch, account.Epoch)
		s.Set(sessionBegan, q.now.UnixMilli())
		return nil
	})
}

func (q *request) signOut() error {
	if err := q.audit("sign-out", "", ""); err != nil {
		return err
	}
	s, err := q.sessions.Get(q.fiber)
	if err != nil {
		return fmt.Errorf("open the session: %w", err)
	}
	if err := s.Destroy(); err != nil {
		return fmt.Errorf("end the session: %w", err)
	}
	return q.fiber.Redirect(Root+"/sign-in", http.StatusSeeOther)
}

// spell writes how long to wait.
func spell(d time.Duration) string {
	if d <= time.Minute {
		return fmt.Sprintf("%d seconds", int(d.Seconds()+0.999))
	}
	return fmt.Sprintf("%d minutes", int(d.Minutes()+0.999))
}
