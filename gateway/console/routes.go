package console

import "net/http"

const (
	get  = http.MethodGet
	post = http.MethodPost
)

// routes returns every page and form of the console and who may use it. The
// pages of each part of the menu stand in that part's own file.
func (c *Console) routes() []route {
	routes := []route{
		{get, "/sign-in", nobody, (*request).signInPage},
		{post, "/sign-in", nobody, (*request).signIn},
		{post, "/sign-out", Viewer, (*request).signOut},
		{get, "", Viewer, func(q *request) error { return q.done("/outlook", "") }},
		{get, "/help", Viewer, func(q *request) error { return q.render("help", nil) }},
	}
	for _, part := range [][]route{
		accountRoutes, languagesRoutes, accountsRoutes, phonesRoutes, auditRoutes,
		outlookRoutes, noticesRoutes, talkRoutes, questionsRoutes, producersRoutes, batchesRoutes, practiceRoutes,
	} {
		routes = append(routes, part...)
	}
	return routes
}
