package main

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httputil"
	"slices"

	"cobline/gateway/webhook"
)

// readSample reads a request as it came over a line, or as an editor left it:
// lines may end without a carriage return and the body with a newline of its own.
func readSample(raw []byte) (webhook.Request, error) {
	head, body, _ := bytes.Cut(raw, []byte("\r\n\r\n"))
	if h, b, ok := bytes.Cut(raw, []byte("\n\n")); ok && len(h) < len(head) {
		head, body = h, b
	}
	r, err := http.ReadRequest(bufio.NewReader(io.MultiReader(bytes.NewReader(bytes.TrimSpace(head)), bytes.NewReader([]byte("\r\n\r\n")))))
	if err != nil {
		return webhook.Request{}, err
	}
	switch n := r.ContentLength; {
	case slices.Contains(r.TransferEncoding, "chunked"):
		if body, err = io.ReadAll(httputil.NewChunkedReader(bytes.NewReader(body))); err != nil {
			return webhook.Request{}, fmt.Errorf("read the chunks of the body: %w", err)
		}
	case r.Header.Get("Content-Length") == "":
		body = bytes.TrimSuffix(bytes.TrimSuffix(body, []byte("\n")), []byte("\r"))
	case int64(len(body)) < n:
		return webhook.Request{}, fmt.Errorf("the body has %d octets, and Content-Length says %d", len(body), n)
	default:
		body = body[:n]
	}
	if r.Header.Get("Content-Encoding") != "" {
		return webhook.Request{}, errors.New("the body is compressed; the line takes it only as it is")
	}
	return webhook.Request{
		Method: r.Method, Path: r.URL.EscapedPath(), RawQuery: r.URL.RawQuery, Query: r.URL.Query(), Header: r.Header, Body: body,
	}, nil
}
