package console

var producersRoutes = []route{
	{get, "/producers", Viewer, (*request).producers},
}

func (q *request) producers() error { return q.render("producers", nil) }
