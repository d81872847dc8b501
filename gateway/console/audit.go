package console

import "cobline/gateway"

var auditRoutes = []route{
	{get, "/audit", Administrator, (*request).auditTrail},
}

// auditPage is how many records one page shows.
const auditPage = 50

type auditView struct {
	Rows []gateway.Record
	Pager
	Days int // for which it is kept; zero: for good
}

// Pager leads through a list that is read page by page, the newest first.
type Pager struct {
	First string // where the list begins; none on the first page
	Next  string // none on the last page
}

// pager returns the links of a page that was asked for by ?after=, and goes on
// after next. Other values of the address, such as a search, stay.
func (q *request) pager(next string) (p Pager) {
	link := func(after string) string {
		v := q.query
		v.Del("after")
		if after != "" {
			v.Set("after", after)
		}
		if len(v) == 0 {
			return q.path
		}
		return q.path + "?" + v.Encode()
	}
	if q.query.Get("after") != "" {
		p.First = link("")
	}
	if next != "" {
		p.Next = link(next)
	}
	return p
}

func (q *request) auditTrail() error {
	rows, next, err := gateway.AuditTrail(q.ctx, q.Desk, q.query.Get("after"), auditPage)
	if err != nil {
		return err
	}
	return q.render("audit", auditView{rows, q.pager(next), int(q.AuditFor.Hours() / 24)})
}
