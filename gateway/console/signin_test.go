package console

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/pquerna/otp/totp"
	"github.com/stretchr/testify/require"

	"cobline/gateway"
)

func TestSignIn(t *testing.T) {
	o := newConsole(t)
	for name, c := range map[string]struct {
		name, password string
		ok             bool
	}{
		"right":                 {"officer", password, true},
		"the name in capitals":  {" Officer ", password, true},
		"a wrong password":      {"officer", "four words that do not", false},
		"nobody":                {"amani", password, false},
		"no password":           {"officer", "", false},
		"an endless password":   {"officer", strings.Repeat("a", 100_000), false},
		"script for a name":     {"<script>alert(1)</script>", password, false},
		"a header for a name":   {"officer\r\nSet-Cookie: a=b", password, false},
		"the password for name": {password, password, false},
	} {
		t.Run(name, func(t *testing.T) {
			b := o.stranger()
			p := b.signIn(c.name, c.password)
			require.Equal(t, c.ok, p.path == Root+"/outlook", p.body)
			require.NotContains(t, p.body, "<script>alert")
			require.Empty(t, p.header.Values("Set-Cookie: a"))
			if c.ok {
				return
			}
			require.Equal(t, http.StatusUnprocessableEntity, p.status)
			if c.password != "" {
				require.Contains(t, p.text(), "The name, the password or the code is not right.")
			}
			require.Empty(t, p.Find("#f-password").AttrOr("value", ""))
			require.Equal(t, Root+"/sign-in", b.get("/office/outlook").path)
		})
	}
	for _, r := range o.trail() {
		require.NotContains(t, fmt.Sprint(r), password, "what was typed for a name may be a password")
	}
}

// Who opens a page without a session comes back to it, and nowhere else.
func TestSignInLeadsBack(t *testing.T) {
	o := newConsole(t)
	c := o.stranger()
	p := c.submit(c.get("/office/talk"), "/office/sign-in", url.Values{"name": {"viewer"}, "password": {password}})
	require.Equal(t, "/office/talk", p.path)
	for _, to := range []string{"https://example.invalid/office/", "//example.invalid/office/", "/office/\\example.invalid", "/office//example.invalid", "/elsewhere", "javascript:alert(1)", "/office/%0d%0aSet-Cookie:%20a=b", "\x00", "/officeelsewhere"} {
		require.NotContains(t, within(to), "example.invalid", to)
		require.True(t, strings.HasPrefix(Root+within(to), Root+"/"), to)
		require.NotContains(t, within(to), "\n", to)
	}
	require.Equal(t, "/talk", within("/office/talk"))
}

// The id that a stranger had is worth nothing after signing in.
func TestAFixedSession(t *testing.T) {
	o := newConsole(t)
	victim := o.stranger()
	p := victim.get("/office/sign-in")
	planted := *victim.cookies["cobline_session"]
	victim.submit(p, "/office/sign-in", url.Values{"name": {"officer"}, "password": {password}})
	require.NotEqual(t, planted.Value, victim.cookies["cobline_session"].Value)
	attacker := o.stranger()
	attacker.cookies[planted.Name] = &planted
	require.Equal(t, Root+"/sign-in", attacker.get("/office/outlook").path)
	// An id that we did not make is not taken on either.
	attacker.cookies["cobline_session"] = &http.Cookie{Name: "cobline_session", Value: "CHOSEN"}
	attacker.signIn("officer", password)
	require.NotEqual(t, "CHOSEN", attacker.cookies["cobline_session"].Value)
}

func TestCookies(t *testing.T) {
	for _, secure := range []bool{false, true} {
		o := newConsole(t)
		o.Console.Secure = secure
		again, err := New(o.Options)
		require.NoError(t, err)
		o.Console, o.app = again, newApp()
		o.Mount(o.app)
		c := o.stranger()
		require.Len(t, c.get("/office/sign-in").header.Values("Set-Cookie"), 2)
		for name, cookie := range c.cookies {
			require.True(t, cookie.HttpOnly, name)
			require.Equal(t, http.SameSiteLaxMode, cookie.SameSite, name)
			require.Equal(t, secure, cookie.Secure, name)
			require.Equal(t, Root, cookie.Path, name)
			require.Zero(t, cookie.Expires, "%s is gone with the browser", name)
		}
	}
}

func TestSessionsEnd(t *testing.T) {
	signedIn := func(c *client) bool { return c.get("/office/account").path == Root+"/account" }
	t.Run("idle", func(t *testing.T) {
		o := newConsole(t)
		c := o.as(Officer)
		o.wait(idleTime - time.Second)
		require.True(t, signedIn(c))
		o.wait(idleTime - time.Second)
		require.True(t, signedIn(c), "a page begins the time anew")
		o.wait(idleTime)
		require.False(t, signedIn(c))
	})
	t.Run("in all", func(t *testing.T) {
		o := newConsole(t)
		c := o.as(Officer)
		for range 24 {
			require.True(t, signedIn(c))
			o.wait(idleTime - time.Second)
		}
		require.True(t, signedIn(c))
		o.wait(24 * time.Second)
		require.False(t, signedIn(c))
	})
	t.Run("signed out", func(t *testing.T) {
		o := newConsole(t)
		c, other := o.as(Officer), o.as(Officer)
		kept := *c.cookies["cobline_session"]
		require.Equal(t, Root+"/sign-in", c.submit(c.get("/office/account"), "/office/sign-out", nil).path)
		require.NotContains(t, c.cookies, kept.Value)
		c.cookies[kept.Name] = &kept
		require.False(t, signedIn(c), "the cookie alone is worth nothing")
		require.True(t, signedIn(other))
	})
	t.Run("disabled", func(t *testing.T) {
		o := newConsole(t)
		c := o.as(Officer)
		require.NoError(t, o.Accounts.Disable(context.Background(), "officer", true))
		require.False(t, signedIn(c))
		require.Equal(t, http.StatusUnprocessableEntity, o.stranger().signIn("officer", password).status)
		require.NoError(t, o.Accounts.Disable(context.Background(), "officer", false))
		require.False(t, signedIn(c))
		require.True(t, signedIn(o.as(Officer)))
	})
	t.Run("another role", func(t *testing.T) {
		o := newConsole(t)
		c := o.as(Administrator)
		require.NoError(t, o.Accounts.Add(context.Background(), "other", Administrator, password, false, morning))
		require.Equal(t, http.StatusOK, c.get("/office/audit").status)
		require.NoError(t, o.Accounts.SetRole(context.Background(), "administrator", Viewer))
		require.Equal(t, http.StatusForbidden, c.get("/office/audit").status)
	})
}

// A page still being made when its reader signs out does not bring the session
// back.
func TestADeletedSessionStaysSo(t *testing.T) {
	o := newConsole(t)
	s := o.storage
	require.NoError(t, s.Set("key", []byte("value"), time.Hour))
	require.NoError(t, s.Delete("key"))
	require.NoError(t, s.Set("key", []byte("late"), time.Hour))
	v, err := s.Get("key")
	require.NoError(t, err)
	require.Nil(t, v)
}

func TestStorage(t *testing.T) {
	o := newConsole(t)
	s, ctx := o.storage, context.Background()
	documents := func() (n int) {
		require.NoError(t, o.store.List(ctx, sessionKind, "", 10_000, func(string, uint64, func(any) error) error {
			n++
			return nil
		}))
		return n
	}
	require.Zero(t, documents())
	for i := range 450 {
		require.NoError(t, s.Set(fmt.Sprint(i), []byte{byte(i)}, time.Duration(1+i%2)*time.Hour))
	}
	require.NoError(t, s.Set("for good", []byte("kept"), 0))
	require.NoError(t, s.Delete("7"))
	require.NoError(t, s.Delete("never there"))
	o.wait(90 * time.Minute)
	for key, want := range map[string][]byte{"0": nil, "1": {1}, "7": nil, "for good": []byte("kept"), "never there": nil} {
		v, err := s.Get(key)
		require.NoError(t, err)
		require.Equal(t, want, v, key)
	}
	require.Equal(t, 451, documents())
	require.NoError(t, s.collect(ctx))
	require.Equal(t, 226, documents())
	require.NoError(t, s.Reset())
	require.Zero(t, documents())
	require.NoError(t, s.Close())
	require.NoError(t, s.Set("1", []byte("again"), time.Hour), "the Desk is open still")
}

// A copy of the store holds nothing to sign in with.
func TestTheStoreHoldsNoSession(t *testing.T) {
	o := newConsole(t)
	c := o.as(Officer)
	require.NoError(t, o.store.List(context.Background(), sessionKind, "", 1000, func(id string, _ uint64, _ func(any) error) error {
		require.NotContains(t, id, c.cookies["cobline_session"].Value)
		return nil
	}))
}

func TestLockOut(t *testing.T) {
	t.Run("a name", func(t *testing.T) {
		for _, name := range []string{"officer", "nobody"} {
			o := newConsole(t)
			fails := func() page {
				b := o.stranger()
				b.address = fmt.Sprintf("198.51.100.%d", len(o.trail())) // from ever other addresses
				return b.signIn(name, "not the password")
			}
			for range triesByName {
				require.Equal(t, http.StatusUnprocessableEntity, fails().status)
			}
			for _, wait := range backOff {
				p := fails()
				require.Equal(t, http.StatusTooManyRequests, p.status)
				require.Contains(t, p.text(), "Too many sign-ins have failed. Try again in "+spell(wait))
				require.Equal(t, fmt.Sprint(int(wait.Seconds())+1), p.header.Get("Retry-After"))
				require.Equal(t, http.StatusTooManyRequests, o.stranger().signIn(name, password).status, "also with the right password")
				o.wait(wait)
				require.Equal(t, http.StatusUnprocessableEntity, fails().status)
			}
			require.Contains(t, fails().text(), "Try again in 15 minutes", "and no longer")
			o.wait(15 * time.Minute)
			require.Equal(t, name == "officer", o.stranger().signIn(name, password).path == Root+"/outlook")
		}
	})
	t.Run("an address", func(t *testing.T) {
		o := newConsole(t)
		b := o.stranger()
		for i := range triesByAddress {
			if i == 10 {
				o.wait(time.Minute)
			}
			require.Equal(t, http.StatusUnprocessableEntity, b.signIn(fmt.Sprintf("name%d", i), "not the password").status)
		}
		require.Equal(t, http.StatusTooManyRequests, b.signIn("officer", password).status)
		other := o.stranger()
		other.address = "203.0.113.9"
		require.Equal(t, Root+"/outlook", other.signIn("officer", password).path)
		o.wait(backOff[0])
		require.Equal(t, Root+"/outlook", b.signIn("officer", password).path)
	})
	t.Run("who signs in is not counted", func(t *testing.T) {
		o := newConsole(t)
		for range triesByAddress + 5 {
			require.Equal(t, Root+"/outlook", o.stranger().signIn("officer", password).path)
		}
	})
	t.Run("many at once are each counted", func(t *testing.T) {
		o := newConsole(t)
		var all sync.WaitGroup
		var mu sync.Mutex
		opened := 0
		for range 40 {
			all.Go(func() {
				until, err := count(context.Background(), o.store, triesID("name", "officer"), triesByName, morning)
				mu.Lock()
				defer mu.Unlock()
				if err == nil && until.IsZero() {
					opened++
				}
			})
		}
		all.Wait()
		require.LessOrEqual(t, opened, triesByName)
	})
	t.Run("unlocked by an administrator", func(t *testing.T) {
		o := newConsole(t)
		admin := o.as(Administrator)
		b := o.stranger()
		for range triesByName {
			b.signIn("officer", "not the password")
		}
		require.Equal(t, http.StatusTooManyRequests, b.signIn("officer", password).status)
		p := admin.get("/office/accounts/officer")
		require.Contains(t, p.text(), "locked until Mon 2 Mar 09:30 EAT")
		p = admin.submit(p, "/office/accounts/officer/unlock", nil)
		require.Contains(t, p.text(), "may sign in again at once")
		require.Equal(t, Root+"/outlook", b.signIn("officer", password).path)
	})
}

// The limiter bounds what an address may try in a minute, whatever it tries.
func TestTriesPerMinute(t *testing.T) {
	o := newConsole(t)
	b := o.stranger()
	p := b.get("/office/sign-in")
	statuses := map[int]int{}
	for range 2 * signInsPerMinute {
		v := p.values(t, "/office/sign-in")
		v.Set("name", "")
		statuses[b.post("/office/sign-in", v).status]++
	}
	require.InDelta(t, signInsPerMinute, statuses[http.StatusUnprocessableEntity], 2)
	require.InDelta(t, signInsPerMinute, statuses[http.StatusTooManyRequests], 2)
}

func TestAPasswordOfOnesOwn(t *testing.T) {
	o := newConsole(t)
	admin := o.as(Administrator)
	p := admin.submit(admin.get("/office/accounts"), "/office/accounts", url.Values{"name": {"Baraka"}, "role": {"officer"}, "password": {"short"}})
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	require.Contains(t, p.Find("#w-password").Text(), "A password has at least 12 characters")
	require.Equal(t, "Baraka", p.Find("#f-name").AttrOr("value", ""), "what was written stays")
	require.Equal(t, "#f-password", p.Find("#faults a").AttrOr("href", ""))
	p = admin.submit(admin.get("/office/accounts"), "/office/accounts", url.Values{"name": {"Baraka"}, "role": {"officer"}, "password": {"a password to begin"}})
	require.Contains(t, p.text(), "The account baraka is made.")
	p = admin.submit(p, "/office/accounts", url.Values{"name": {"baraka"}, "role": {"officer"}, "password": {"a password to begin"}})
	require.Contains(t, p.Find("#w-name").Text(), "There is an account of this name already.")

	c := o.stranger()
	p = c.signIn("baraka", "a password to begin")
	require.Equal(t, "/office/account/password", p.path, "the administrator knows it still")
	require.Equal(t, "/office/account/password", c.get("/office/talk").path)
	for name, v := range map[string]url.Values{
		"Something is to be mended":                  {"old": {"a password to begin"}, "new": {"another one, chosen"}, "repeat": {"another one, chosen!"}},
		"This is the password you have now.":         {"old": {"a password to begin"}, "new": {"a password to begin"}, "repeat": {"a password to begin"}},
		"This is not the password you have now.":     {"old": {"not the password"}, "new": {"another one, chosen"}, "repeat": {"another one, chosen"}},
		"A password is not the name itself.":         {"old": {"a password to begin"}, "new": {"baraka"}, "repeat": {"baraka"}},
		"A password has at least 12 characters":      {"old": {"a password to begin"}, "new": {"short"}, "repeat": {"short"}},
		"The password you have now: This is missing": {"new": {"another one, chosen"}, "repeat": {"another one, chosen"}},
	} {
		if name == "A password is not the name itself." {
			continue // too short as well; the table of passwords has it
		}
		p := c.submit(c.get("/office/account/password"), "/office/account/password", v)
		require.Equal(t, http.StatusUnprocessableEntity, p.status, name)
		require.Contains(t, p.text(), name)
	}
	other := o.stranger()
	other.signIn("baraka", "a password to begin")
	p = c.submit(c.get("/office/account/password"), "/office/account/password", url.Values{"old": {"a password to begin"}, "new": {"another one, chosen"}, "repeat": {"another one, chosen"}})
	require.Contains(t, p.text(), "Your password is changed.")
	require.Equal(t, "/office/talk", c.get("/office/talk").path)
	require.Equal(t, "/office/sign-in", other.get("/office/talk").path, "other browsers are signed out")
	require.Equal(t, "/office/outlook", o.stranger().signIn("baraka", "another one, chosen").path)
}

func TestTheSecondStep(t *testing.T) {
	o := newConsole(t)
	c := o.as(Officer)
	p := c.get("/office/account/second-step")
	require.Equal(t, 1, p.Find("svg.qr").Length())
	secret := strings.ReplaceAll(p.Find("main > p code").Text(), " ", "")
	code := func(at time.Time) string {
		s, err := totp.GenerateCode(secret, at)
		require.NoError(t, err)
		return s
	}
	p = c.submit(p, "/office/account/second-step", url.Values{"code": {"000000"}, "password": {password}})
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	require.Equal(t, secret, strings.ReplaceAll(p.Find("main > p code").Text(), " ", ""), "the picture stays the one that was read")
	p = c.submit(p, "/office/account/second-step", url.Values{"code": {code(o.time)}, "password": {"not the password"}})
	require.Contains(t, p.text(), "This is not the password you have now.")
	p = c.submit(p, "/office/account/second-step", url.Values{"code": {code(o.time)}, "password": {password}})
	recovery := p.Find(".codes code").First().Text()
	require.Len(t, p.Find(".codes code").Nodes, recoveryCodes)
	require.Contains(t, c.get("/office/account").text(), "set up; 8 recovery codes left")

	signIn := func(code string) bool {
		b := o.stranger()
		p := b.submit(b.get("/office/sign-in"), "/office/sign-in", url.Values{"name": {"officer"}, "password": {password}, "code": {code}})
		return p.path == Root+"/outlook"
	}
	require.False(t, signIn(""))
	require.False(t, signIn(code(o.time)), "the code that set it up is used")
	o.wait(time.Minute)
	require.True(t, signIn(code(o.time)))
	require.False(t, signIn(code(o.time)), "a code is taken once")
	o.wait(10 * time.Minute)
	require.False(t, signIn(code(o.time.Add(-2*time.Minute))), "an old code")
	o.wait(10 * time.Minute)
	require.True(t, signIn(code(o.time.Add(30*time.Second))), "a clock a little ahead")
	require.True(t, signIn(strings.ToUpper(recovery)))
	require.False(t, signIn(recovery), "a recovery code is taken once")
	o.wait(10 * time.Minute)

	c = o.stranger()
	p = c.submit(c.get("/office/sign-in"), "/office/sign-in", url.Values{"name": {"officer"}, "password": {password}, "code": {code(o.time)}})
	require.Equal(t, Root+"/outlook", p.path)
	p = c.submit(c.get("/office/account/second-step"), "/office/account/second-step/end", url.Values{"password": {password}})
	require.Contains(t, p.text(), "with your password alone")
	require.True(t, signIn(""))
	var what []string
	for _, r := range o.trail() {
		what = append(what, r.What)
	}
	require.Subset(t, what, []string{"second step set up", "second step ended", "sign-in", "sign-in failed"})
}

// The codes are those of RFC 6238, appendix B, cut to six digits.
func TestCodesOfTheStandard(t *testing.T) {
	const secret = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ" // 12345678901234567890
	for at, code := range map[int64]string{59: "287082", 1111111109: "081804", 1111111111: "050471", 1234567890: "005924", 2000000000: "279037", 20000000000: "353130"} {
		account := Account{Secret: secret}
		require.NoError(t, account.take(code, time.Unix(at, 0)))
		require.ErrorIs(t, account.take(code, time.Unix(at, 0)), errNotThem)
	}
}

func TestTheLastAdministratorStays(t *testing.T) {
	o := newConsole(t)
	c := o.as(Administrator)
	for action, v := range map[string]url.Values{"disable": nil, "role": {"role": {"viewer"}}} {
		p := c.submit(c.get("/office/accounts/administrator"), "/office/accounts/administrator/"+action, v)
		require.Equal(t, http.StatusUnprocessableEntity, p.status)
		require.Contains(t, p.text(), "This is the last administrator")
	}
	p := c.submit(c.get("/office/accounts/viewer"), "/office/accounts/viewer/role", url.Values{"role": {"king"}})
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	p = c.submit(c.get("/office/accounts/viewer"), "/office/accounts/viewer/role", url.Values{"role": {"administrator"}})
	require.Contains(t, p.text(), "The role is changed.")
	p = c.submit(p, "/office/accounts/viewer/reset", url.Values{"password": {"a password to begin"}})
	require.Contains(t, p.text(), "The password is reset.")
	require.Contains(t, p.text(), "must change the password")
	p = c.submit(p, "/office/accounts/viewer/disable", nil)
	require.Contains(t, p.text(), "The account is disabled")
	p = c.submit(p, "/office/accounts/viewer/enable", nil)
	require.Contains(t, p.text(), "The account is enabled")
	var what []string
	for _, r := range o.trail()[:5] {
		require.Equal(t, "administrator", r.By)
		what = append(what, r.What)
	}
	require.ElementsMatch(t, []string{"account enabled", "account disabled", "password reset", "role changed", "sign-in"}, what)
	require.Equal(t, http.StatusNotFound, c.get("/office/accounts/nobody").status)
}

func TestPasswords(t *testing.T) {
	o := newConsole(t)
	ctx := context.Background()
	for password, why := range map[string]string{
		"":                         "at least 12",
		"elevenchars":              "at least 12",
		strings.Repeat("x", 201):   "at most 200",
		"a-long-name@example.test": "not the name itself",
		"mvua inakuja leo jioni":   "",
		"пароль для проверки":      "",
	} {
		err := o.Accounts.Add(ctx, "a-long-name@example.test", Viewer, password, false, morning)
		if why == "" {
			require.NoError(t, err)
			require.NoError(t, o.store.Put(ctx, accountKind, "a-long-name@example.test", nil, 1))
			continue
		}
		require.ErrorContains(t, err, why)
	}
	account, err := o.Accounts.Get(ctx, "officer")
	require.NoError(t, err)
	require.True(t, strings.HasPrefix(account.Hash, "$argon2id$v=19$"), account.Hash)
}

func TestAuditOrder(t *testing.T) {
	o := newConsole(t)
	for i := range 5 { // two of them in each millisecond
		require.NoError(t, gateway.Audit(context.Background(), o.store, gateway.Record{At: morning.Add(time.Duration(i/2) * time.Millisecond), What: fmt.Sprint(i)}))
	}
	var got []string
	for after := ""; ; {
		rows, next, err := gateway.AuditTrail(context.Background(), o.store, after, 2)
		require.NoError(t, err)
		for _, r := range rows {
			got = append(got, r.What)
		}
		if after = next; next == "" {
			break
		}
	}
	require.Equal(t, []string{"4", "3", "2", "1", "0"}, got)
}
