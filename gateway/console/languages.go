package console

import (
	"cmp"
	"slices"
	"strings"

	"cobline/gateway/review"
	"cobline/locales"
)

var languagesRoutes = []route{
	{get, "/languages", Viewer, (*request).languages},
}

// languageRow is one language the line speaks.
type languageRow struct {
	Tag, Name string
	On, Waits bool
	Why       string // it waits
	Reviewer  string
	review.Standing
}

type languagesView struct {
	Rows  []languageRow
	Heard []string // understood in an emergency, and not spoken
	Total review.Standing
}

// languages shows which languages are sent, and how far each has been looked at.
func (q *request) languages() error {
	var page languagesView
	on := q.langs()
	for _, l := range q.Catalog.Langs() {
		row := languageRow{Tag: string(l), Name: q.langName(l), On: slices.Contains(on, l), Reviewer: q.Reviewers[l], Standing: review.StandingOf(q.Catalog, l)}
		if row.Waits = q.Catalog.NeedsReviewer(l) && row.Reviewer == ""; row.Waits {
			row.Why = q.Catalog.Rules(l).Reviewer
		}
		page.Total.Unreviewed += row.Unreviewed
		page.Total.UnreviewedLines += row.UnreviewedLines
		page.Rows = append(page.Rows, row)
	}
	for _, l := range q.Catalog.Heard() {
		if !slices.Contains(q.Catalog.Langs(), l) {
			page.Heard = append(page.Heard, q.heardName(l))
		}
	}
	slices.Sort(page.Heard)
	return q.render("languages", page)
}

// heardName is what English calls a language that is understood and not spoken.
func (q *request) heardName(l locales.Lang) string {
	names := q.Catalog.Words(locales.Default)["lang."+string(l)]
	if len(names) == 0 {
		return string(l)
	}
	return cmp.Or(strings.ToUpper(names[0][:1])+names[0][1:], string(l))
}
