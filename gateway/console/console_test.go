package console

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/PuerkitoBio/goquery"
	"github.com/gofiber/fiber/v2"
	"github.com/stretchr/testify/require"

	"cobline/gateway"
)

func (o *office) fillAudit() {
	for i := range 3 * auditPage {
		require.NoError(o.t, gateway.Audit(context.Background(), o.store, gateway.Record{
			At: morning.Add(time.Duration(i-500) * time.Minute), By: "officer", What: "notice sent", On: fmt.Sprintf("notice %d", i), Detail: "12 phones",
		}))
	}
}

// concrete returns a path of a route with something for each of its parts.
func concrete(path string) string {
	return Root + strings.NewReplacer(":name", "viewer", ":place", "lakeside", ":id", "none").Replace(path)
}

// pages returns a path of every page there is: of one that shows a thing, that of
// the first such thing that another page leads to. To what is being counted only a
// form leads.
func (o *office) pages(c *client) (paths []string) {
	const looks = 5 // at pages of one kind: others of it lead nowhere else
	found := map[string]int{}
	for todo, seen := []string{Root + "/help"}, map[string]bool{}; len(todo) > 0; todo = todo[1:] {
		path, _, _ := strings.Cut(todo[0], "?")
		if seen[path] {
			continue
		}
		seen[path] = true
		i := slices.IndexFunc(o.routes(), func(r route) bool {
			return r.method == get && fiber.RoutePatternMatch(path, Root+r.path, fiber.Config{StrictRouting: true, CaseSensitive: true})
		})
		if i < 0 || strings.HasSuffix(path, ".csv") {
			continue
		}
		pattern := o.routes()[i].path
		if found[pattern]++; pattern != "" && found[pattern] == 1 {
			paths = append(paths, path)
		}
		if found[pattern] > looks {
			continue
		}
		c.get(path).Find("a[href]").Each(func(_ int, s *goquery.Selection) { todo = append(todo, s.AttrOr("href", "")) })
	}
	for _, count := range o.counts.list {
		paths = append(paths, Root+"/notices/count/"+count.form.Get("id"))
	}
	return paths
}

// Every page is executed with everything and with nothing, and is a whole page.
func TestPages(t *testing.T) {
	each(t, func(t *testing.T, o *office) {
		c := o.as(Administrator)
		for _, path := range o.pages(c) {
			p := c.get(path)
			require.Equal(t, http.StatusOK, p.status, "%s: %s", path, o.log.String())
			require.Equal(t, 1, p.Find("h1").Length(), path)
			require.NotEmpty(t, strings.TrimSpace(p.Find("h1").Text()), path)
			require.Equal(t, "text/html; charset=utf-8", p.header.Get("Content-Type"), path)
			require.Equal(t, "no-store", p.header.Get("Cache-Control"), path)
			checkPage(t, p)
		}
	})
}

// checkPage looks for what a page must not lack, or hold.
func checkPage(t *testing.T, p page) {
	ids := map[string]bool{}
	p.Find("[id]").Each(func(_ int, s *goquery.Selection) {
		require.False(t, ids[s.AttrOr("id", "")], "%s: two of id %s", p.path, s.AttrOr("id", ""))
		ids[s.AttrOr("id", "")] = true
	})
	p.Find("main input:not([type=hidden]), main select, main textarea").Each(func(_ int, s *goquery.Selection) {
		id := s.AttrOr("id", "none")
		labelled := p.Find("label[for='"+id+"']").Length() + s.Closest("label").Length()
		require.Positive(t, labelled, "%s: %s has no label", p.path, s.AttrOr("name", ""))
	})
	p.Find("form[method=post]").Each(func(_ int, s *goquery.Selection) {
		require.Equal(t, 1, s.Find("input[name="+tokenField+"]").Length(), "%s: a form without its token: %s", p.path, s.AttrOr("action", ""))
	})
	require.Zero(t, p.Find("[style], style, script:not([src])").Length(), "%s: our policy runs nothing that is written into a page", p.path)
	p.Find("*").Each(func(_ int, s *goquery.Selection) {
		for _, a := range s.Get(0).Attr {
			require.False(t, strings.HasPrefix(a.Key, "on"), "%s: %s", p.path, a.Key)
		}
	})
}

// Every link and form of a page leads to a route.
func TestLinksLeadSomewhere(t *testing.T) {
	o := newConsole(t)
	o.fill()
	c := o.as(Administrator)
	seen, todo := map[string]bool{}, []string{Root + "/help"}
	for len(todo) > 0 && len(seen) < 300 {
		path := todo[0]
		todo = todo[1:]
		if seen[path] {
			continue
		}
		seen[path] = true
		c.address = fmt.Sprintf("192.0.2.%d", 1+len(seen)/50) // one that reads so fast is told to wait
		p := c.get(path)
		require.Equal(t, http.StatusOK, p.status, path)
		p.Find("a[href]").Each(func(_ int, s *goquery.Selection) {
			if to := s.AttrOr("href", ""); strings.HasPrefix(to, "/") {
				todo = append(todo, to)
			}
		})
		p.Find("form[action]").Each(func(_ int, s *goquery.Selection) {
			require.NotEqual(t, http.StatusNotFound, o.stranger().post(s.AttrOr("action", ""), nil).status, s.AttrOr("action", ""))
		})
	}
	require.Greater(t, len(seen), 10)
}

// What each role may is the table of routes, and nothing else answers.
func TestRoles(t *testing.T) {
	o := newConsole(t)
	declared := map[string]Role{}
	for _, r := range o.routes() {
		require.Contains(t, append([]Role{nobody}, Roles...), r.role)
		require.NotContains(t, declared, r.method+" "+r.path)
		declared[r.method+" "+r.path] = r.role
		if r.role == nobody {
			require.Equal(t, "/sign-in", r.path, "only signing in is for everybody")
		}
		if r.method == post && r.path != "/sign-in" && r.path != "/sign-out" && !strings.HasPrefix(r.path, "/account/") {
			require.GreaterOrEqual(t, r.role, Officer, "%s changes something", r.path)
		}
	}
	for _, r := range o.app.GetRoutes(true) {
		path := strings.TrimPrefix(r.Path, Root)
		if r.Method == http.MethodHead || path == "/static/:name" || r.Path == "/" {
			continue
		}
		require.Contains(t, declared, r.Method+" "+path, "a route that declares no role")
	}
	for _, who := range append([]Role{nobody}, Roles...) {
		c := o.stranger()
		if who != nobody {
			c = o.as(who)
		}
		for _, r := range o.routes() {
			if r.method != get || strings.Contains(r.path, ":id") {
				continue
			}
			p := c.get(concrete(r.path))
			switch {
			case r.role == nobody:
			case who == nobody:
				require.Equal(t, Root+"/sign-in", p.path, r.path)
			case who < r.role:
				require.Equal(t, http.StatusForbidden, p.status, "%v at %s", who, r.path)
				require.Contains(t, p.text(), "This is for an "+r.role.String())
			default:
				require.Equal(t, http.StatusOK, p.status, "%v at %s", who, r.path)
			}
		}
		if who == nobody {
			continue
		}
		for _, r := range o.routes() {
			if r.method != post || who >= r.role {
				continue
			}
			v := c.get("/office/account/password").values(t, "/office/account/password")
			p := c.post(concrete(r.path), v)
			require.Equal(t, http.StatusForbidden, p.status, "%v at %s", who, r.path)
			require.Contains(t, p.text(), "This is for an")
		}
	}
}

// A first page is small: what a browser without anything loads.
func TestAFirstPageIsSmall(t *testing.T) {
	o := newConsole(t)
	o.fill()
	c := o.as(Administrator)
	for _, item := range (view{}).Menu() {
		p := c.get(item.Path)
		size := len(p.body)
		p.Find("script[src], link[href], img[src]").Each(func(_ int, s *goquery.Selection) {
			at := s.AttrOr("src", s.AttrOr("href", ""))
			loaded := c.get(at)
			require.Equal(t, http.StatusOK, loaded.status, at)
			size += len(loaded.body)
		})
		require.Less(t, size, 60_000, item.Path)
	}
}

func TestNothingIsThere(t *testing.T) {
	o := newConsole(t)
	require.Equal(t, Root+"/sign-in", o.stranger().get("/office/nothing").path, "a stranger does not learn what there is")
	p := o.as(Viewer).get("/office/nothing")
	require.Equal(t, http.StatusNotFound, p.status)
	require.Equal(t, "Not here", p.Find("h1").Text())
	require.Equal(t, 6, p.Find("nav[aria-label='The line'] a").Length())
}

func TestTheAuditTrailIsReadPageByPage(t *testing.T) {
	o := newConsole(t)
	o.fillAudit()
	p := o.as(Administrator).get("/office/audit")
	require.Equal(t, auditPage, p.Find("tbody tr").Length())
	require.Contains(t, p.Find("tbody tr").First().Text(), "sign-in")
	c := o.as(Administrator)
	rows := 0
	for next := "/office/audit"; next != ""; {
		p := c.get(next)
		rows += p.Find("tbody tr").Length()
		next = p.Find("a[rel=next]").AttrOr("href", "")
	}
	require.Equal(t, 3*auditPage+2, rows)
}

func TestC32Menu(t *testing.T) {
	o := newConsole(t)
	var menu []string
	o.as(Viewer).get("/office/help").Find("nav[aria-label='The line'] a").Each(func(_ int, s *goquery.Selection) {
		menu = append(menu, s.Text())
	})
	require.Equal(t, []string{"Outlook", "Notices", "Talk", "Questions", "Producers", "Batches"}, menu)
}

// Every part of the menu explains itself.
func TestPartsExplainThemselves(t *testing.T) {
	o := newConsole(t)
	c := o.as(Viewer)
	for _, item := range (view{}).Menu() {
		require.NotEmpty(t, strings.TrimSpace(c.get(item.Path).Find("details.about p, details.about dl").Text()), item.Name)
	}
}
