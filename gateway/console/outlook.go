package console

var outlookRoutes = []route{
	{get, "/outlook", Viewer, (*request).outlook},
}

func (q *request) outlook() error { return q.render("outlook", nil) }
