package console

var questionsRoutes = []route{
	{get, "/questions", Viewer, (*request).questions},
}

func (q *request) questions() error { return q.render("questions", nil) }
