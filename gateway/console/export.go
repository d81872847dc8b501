package console

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"runtime/debug"
	"time"

	"github.com/gofiber/fiber/v2"

	"cobline/gateway/register"
)

// sheetKind is the media type of a sheet.
const sheetKind = "text/csv; charset=utf-8"

// ExportTime is how long a sheet may take to give out. With 100,000 producers the
// line makes it in some seconds, but links are slow.
const ExportTime = 30 * time.Minute

// export answers with a sheet while rows writes it: the first rows are on their
// way before the last are read. Once it has begun nothing but the sheet itself can
// say that it broke off.
func (q *request) export(name string, columns []string, rows func(ctx context.Context, row func(cells ...string) error) error) error {
	q.fiber.Attachment(name + "-" + q.now.In(q.zone()).Format(dayLayout) + ".csv")
	q.fiber.Set(fiber.HeaderContentType, sheetKind)
	ctx, cancel := longer(q.ctx, ExportTime)
	out, in := io.Pipe()
	stop := context.AfterFunc(ctx, func() { out.CloseWithError(ctx.Err()) })
	log := q.Log
	go func() {
		defer cancel()
		defer stop()
		defer in.Close()
		buffer := bufio.NewWriterSize(in, 32<<10)
		s, err := register.NewSheet(buffer, columns...)
		if err == nil {
			err = contained(func() error { return rows(ctx, s.Row) })
		}
		if err != nil {
			log.Warn("a download broke off", "file", name, "error", err)
			err = s.Row("This list is not whole: it broke off here. Ask for it again.")
		}
		if err == nil {
			err = s.End()
		}
		if err == nil {
			err = buffer.Flush()
		}
		if err != nil {
			log.Warn("a download did not reach whom it was for", "file", name, "error", err)
		}
	}()
	q.fiber.Context().SetBodyStream(out, -1)
	return nil
}

// contained makes an error of a panic: what goes on behind a page must not take
// the line with it.
func contained(f func() error) (err error) {
	defer func() {
		if e := recover(); e != nil {
			err = fmt.Errorf("panic: %v\n%s", e, debug.Stack())
		}
	}()
	return f()
}
