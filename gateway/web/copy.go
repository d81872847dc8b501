package web

import (
	"bytes"
	"errors"
	"net/http"
	"net/netip"
	"net/url"
	"time"

	"github.com/gofiber/fiber/v2"

	"cobline/gateway/webhook"
)

// copyRequest copies a request by value. The server reuses its buffers for the
// next request on the connection, so nothing of fiber's leaves a handler.
func copyRequest(c *fiber.Ctx, now time.Time) (webhook.Request, error) {
	raw := string(c.Request().URI().QueryString())
	query, err := url.ParseQuery(raw)
	if err != nil {
		return webhook.Request{}, errors.New("the query of the address is not well-formed")
	}
	remote, _ := netip.AddrFromSlice(c.Context().RemoteIP()) // not of a test without a network: the zero Addr is nobody's
	r := webhook.Request{
		Method:   c.Method(),
		Path:     c.Path(),
		RawQuery: raw,
		Query:    query,
		Header:   http.Header{},
		Body:     bytes.Clone(c.BodyRaw()),
		Remote:   remote,
		At:       now,
	}
	c.Request().Header.VisitAll(func(k, v []byte) { r.Header.Add(string(k), string(v)) })
	return r, nil
}
