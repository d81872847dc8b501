package console

var talkRoutes = []route{
	{get, "/talk", Viewer, (*request).talk},
}

func (q *request) talk() error { return q.render("talk", nil) }
