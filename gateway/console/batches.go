package console

var batchesRoutes = []route{
	{get, "/batches", Viewer, (*request).batches},
}

func (q *request) batches() error { return q.render("batches", nil) }
