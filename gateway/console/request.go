package console

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/gofiber/fiber/v2"
	"github.com/gofiber/fiber/v2/middleware/session"
	"github.com/gofiber/fiber/v2/utils"

	"cobline/gateway"
)

// route is one page, or what one form does.
type route struct {
	method, path string // below Root
	role         Role   // who may; nobody: everybody, also who is not signed in
	handle       func(*request) error
}

// nobody is the role of who is not signed in.
const nobody Role = 0

// request is what a handler is given. All of it is copied: the server reuses its
// buffers for the next request.
type request struct {
	*Console
	ctx     context.Context
	now     time.Time
	Account Account // zero if nobody is signed in
	query   url.Values
	form    url.Values
	address string // of who asks
	path    string

	fiber *fiber.Ctx
	token string
}

// The values of a session.
const (
	sessionAccount = "account"
	sessionEpoch   = "epoch"
	sessionBegan   = "began"
	sessionFlash   = "flash"
)

// serve lets a route answer those it is for.
func (c *Console) serve(r route) fiber.Handler {
	return func(f *fiber.Ctx) error {
		ctx, cancel := context.WithTimeout(context.Background(), requestTime)
		defer cancel()
		q := &request{Console: c, ctx: ctx, now: c.Now(), fiber: f, address: utils.CopyString(f.IP()), path: utils.CopyString(f.Path())}
		q.token, _ = f.Locals(tokenKey).(string)
		f.Set(fiber.HeaderCacheControl, "no-store")
		if err := q.copyValues(); err != nil {
			return err
		}
		if err := q.identify(); err != nil {
			return err
		}
		switch {
		case r.role == nobody:
		case q.Account.Name == "":
			return q.toSignIn()
		case q.Account.Change && q.path != Root+"/account/password" && q.path != Root+"/sign-out":
			return f.Redirect(Root+"/account/password", http.StatusSeeOther)
		case q.Account.Role < r.role:
			return fiber.NewError(http.StatusForbidden, fmt.Sprintf("this is for an %v; you are signed in as a %v. Ask an administrator if you need it", r.role, q.Account.Role))
		}
		return r.handle(q)
	}
}

// copyValues copies what was sent.
func (q *request) copyValues() (err error) {
	if q.query, err = url.ParseQuery(string(q.fiber.Request().URI().QueryString())); err != nil {
		return fiber.NewError(http.StatusBadRequest, "the address of this page is not well-formed")
	}
	switch kind, _, _ := strings.Cut(q.fiber.Get(fiber.HeaderContentType), ";"); {
	case q.fiber.Method() != http.MethodPost:
	case kind == fiber.MIMEMultipartForm:
		m, err := q.fiber.MultipartForm()
		if err != nil {
			return fiber.NewError(http.StatusBadRequest, "the form could not be read; send it again")
		}
		q.form = url.Values{}
		for name, values := range m.Value {
			for _, v := range values {
				q.form.Add(utils.CopyString(name), utils.CopyString(v))
			}
		}
	default:
		if q.form, err = url.ParseQuery(string(q.fiber.BodyRaw())); err != nil {
			return fiber.NewError(http.StatusBadRequest, "the form could not be read; send it again")
		}
	}
	return nil
}

// upload returns a file of a form; nothing if none was chosen.
func (q *request) upload(name string) (data []byte, file string, err error) {
	m, err := q.fiber.MultipartForm()
	if err != nil || len(m.File[name]) == 0 {
		return nil, "", nil
	}
	f, err := m.File[name][0].Open()
	if err != nil {
		return nil, "", fmt.Errorf("open an upload: %w", err)
	}
	defer f.Close()
	if data, err = io.ReadAll(f); err != nil {
		return nil, "", fmt.Errorf("read an upload: %w", err)
	}
	return data, utils.CopyString(m.File[name][0].Filename), nil
}

// param returns a part of the path, such as :id.
func (q *request) param(name string) string {
	s, err := url.PathUnescape(q.fiber.Params(name))
	if err != nil {
		return ""
	}
	return s
}

// session runs f on the session and keeps what it changed.
func (q *request) session(f func(*session.Session) error) error {
	s, err := q.sessions.Get(q.fiber)
	if err != nil {
		return fmt.Errorf("open the session: %w", err)
	}
	if err := f(s); err != nil {
		return err
	}
	if err := s.Save(); err != nil {
		return fmt.Errorf("keep the session: %w", err)
	}
	return nil
}

// identify finds whose session this is. One that is over, or of an account that
// may sign in no more, is nobody's.
func (q *request) identify() error {
	s, err := q.sessions.Get(q.fiber)
	if err != nil {
		return fmt.Errorf("open the session: %w", err)
	}
	name, _ := s.Get(sessionAccount).(string)
	epoch, _ := s.Get(sessionEpoch).(uint64)
	began, _ := s.Get(sessionBegan).(int64)
	if name == "" || !q.now.Before(time.UnixMilli(began).Add(absoluteTime)) {
		return nil
	}
	account, err := q.Accounts.Get(q.ctx, name)
	switch {
	case errors.Is(err, gateway.ErrNotFound):
		return nil
	case err != nil:
		return err
	case !account.Disabled && account.Epoch == epoch:
		q.Account = account
		q.fiber.Locals(readerKey, account)
	}
	return nil
}

// toSignIn asks who it is, and comes back to this page.
func (q *request) toSignIn() error {
	to := Root + "/sign-in"
	if q.fiber.Method() == http.MethodGet && q.path != Root {
		to += "?" + url.Values{"to": {q.path}}.Encode()
	}
	return q.fiber.Redirect(to, http.StatusSeeOther)
}

// render answers with a page. The data is a struct of the page's own, .Page in
// the template.
func (q *request) render(name string, data any) error {
	return q.renderAs(http.StatusOK, name, data)
}

// again answers with a form that is to be mended.
func (q *request) again(name string, data any) error {
	return q.renderAs(http.StatusUnprocessableEntity, name, data)
}

func (q *request) renderAs(status int, name string, data any) error {
	v := view{Account: q.Account, Page: data, Path: q.path, Now: q.now, facts: q.Facts(), token: q.token}
	var err error
	if v.Flash, err = q.takeFlash(); err != nil {
		return err
	}
	var page bytes.Buffer
	if err := q.pages.execute(&page, name, v); err != nil {
		return err
	}
	q.fiber.Set(fiber.HeaderContentType, fiber.MIMETextHTMLCharsetUTF8)
	return q.fiber.Status(status).Send(page.Bytes())
}

// download answers with a file.
func (q *request) download(name, kind string, data []byte) error {
	q.fiber.Attachment(name)
	q.fiber.Set(fiber.HeaderContentType, kind)
	return q.fiber.Send(data)
}

// done goes on to a page of the console, which tells what was done.
func (q *request) done(path, flash string) error {
	if flash != "" {
		err := q.session(func(s *session.Session) error {
			s.Set(sessionFlash, flash)
			return nil
		})
		if err != nil {
			return err
		}
	}
	return q.fiber.Redirect(Root+path, http.StatusSeeOther)
}

// takeFlash returns what the page before left to tell.
func (q *request) takeFlash() (flash string, err error) {
	s, err := q.sessions.Get(q.fiber)
	if err != nil {
		return "", fmt.Errorf("open the session: %w", err)
	}
	if flash, _ = s.Get(sessionFlash).(string); flash == "" {
		return "", nil
	}
	s.Delete(sessionFlash)
	if err := s.Save(); err != nil {
		return "", fmt.Errorf("keep the session: %w", err)
	}
	return flash, nil
}

// longer returns a context for what takes more time than a page.
func longer(ctx context.Context, d time.Duration) (context.Context, context.CancelFunc) {
	return context.WithTimeout(context.WithoutCancel(ctx), d)
}

// audit records what the reader did.
func (q *request) audit(what, on, detail string) error {
	return gateway.Audit(q.ctx, q.Desk, gateway.Record{At: q.now, By: q.Account.Name, What: what, On: on, Detail: detail})
}

// newSecret returns 128 random bits.
func newSecret() string { return rand.Text() }

// masked hides a token behind other random octets each time: a compressed page
// would give it away bit by bit to who can put text into the page and see how
// large it gets.
func masked(token string) string {
	pad := make([]byte, len(token))
	rand.Read(pad)
	out := append(pad, token...)
	for i := range token {
		out[len(token)+i] ^= pad[i]
	}
	return base64.RawURLEncoding.EncodeToString(out)
}

// tokenField is the name of the field that proves where a form comes from.
const tokenField = "form"

// tokenOf returns the token of a form.
func tokenOf(f *fiber.Ctx) (string, error) {
	b, err := base64.RawURLEncoding.DecodeString(f.FormValue(tokenField))
	if err != nil || len(b)%2 != 0 {
		return "", errors.New("the token is not well-formed")
	}
	n := len(b) / 2
	for i := range n {
		b[n+i] ^= b[i]
	}
	return string(b[n:]), nil
}
