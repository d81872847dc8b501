package console

var noticesRoutes = []route{
	{get, "/notices", Viewer, (*request).notices},
}

func (q *request) notices() error { return q.render("notices", nil) }
