package web

import (
	"bytes"
	"errors"
	"net/http"
	"net/url"
	"time"

	"github.com/gofiber/fiber/v2"

	"cobline/gateway/webhook"
)

// copyRequest copies a request by value. The server reuses its buffers for the
// next request on the connection, so nothing of fiber's leaves a handler.
func copyRequest(c *fiber.Ctx, now time.Time) (webhook.Request, error) {
	query, err := url.ParseQuery(string(c.Request().URI().QueryString()))
	if err != nil {
		return webhook.Request{}, errors.New("the query of the address is not well-formed")
	}
	r := webhook.Request{
		Method: c.Method(),
		Query:  query,
		Header: http.Header{},
		Body:   bytes.Clone(c.BodyRaw()),
		At:     now,
	}
	c.Request().Header.VisitAll(func(k, v []byte) { r.Header.Add(string(k), string(v)) })
	return r, nil
}
