package main

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestReadSample(t *testing.T) {
	const head = "POST /in/sms-a/k%20y?a=1&a=2 HTTP/1.1\r\nHost: line.example\r\n"
	for name, c := range map[string]struct{ raw, body, err string }{
		"as it came":            {head + "Content-Length: 5\r\n\r\nid=m\n", "id=m\n", ""},
		"with more behind it":   {head + "Content-Length: 4\r\n\r\nid=m\r\nPOST", "id=m", ""},
		"with less":             {head + "Content-Length: 9\r\n\r\nid=m", "", "the body has 4 octets, and Content-Length says 9"},
		"in chunks":             {head + "Transfer-Encoding: chunked\r\n\r\n3\r\nid=\r\n1\r\nm\r\n0\r\n\r\n", "id=m", ""},
		"in broken chunks":      {head + "Transfer-Encoding: chunked\r\n\r\nid=m\r\n", "", "read the chunks of the body: invalid byte in chunk length"},
		"from an editor":        {"POST /in/sms-a/k%20y?a=1&a=2 HTTP/1.1\nHost: line.example\n\nid=m\n", "id=m", ""},
		"with an empty line":    {"POST /in/sms-a/k%20y?a=1&a=2 HTTP/1.1\n\na\r\n\r\nb", "a\r\n\r\nb", ""},
		"without a body":        {head + "\r\n", "", ""},
		"cut in its headers":    {head, "", ""},
		"compressed":            {head + "Content-Encoding: gzip\r\n\r\n\x1f", "", "the body is compressed; the line takes it only as it is"},
		"nothing":               {"", "", `malformed HTTP request ""`},
		"an answer, no request": {"HTTP/1.1 200 OK\r\n\r\n", "", `invalid method "HTTP/1.1"`},
	} {
		t.Run(name, func(t *testing.T) {
			r, err := readSample([]byte(c.raw))
			if c.err != "" {
				require.EqualError(t, err, c.err)
				return
			}
			require.NoError(t, err)
			require.Equal(t, "POST", r.Method)
			require.Equal(t, "/in/sms-a/k%20y", r.Path)
			require.Equal(t, "a=1&a=2", r.RawQuery)
			require.Equal(t, []string{"1", "2"}, r.Query["a"])
			require.Equal(t, c.body, string(r.Body))
		})
	}
}

// Whatever a file holds, it is a request or an error.
func FuzzReadSample(f *testing.F) {
	f.Add([]byte("POST /in/sms-a HTTP/1.1\r\nContent-Length: 4\r\n\r\nid=m"))
	f.Add([]byte("GET /in/sms-a?a=%zz HTTP/1.0\n\n"))
	f.Add([]byte("POST / HTTP/1.1\r\nTransfer-Encoding: chunked\r\n\r\n4\r\nid=m\r\n0\r\n\r\n"))
	f.Add([]byte("POST / HTTP/1.1\nContent-Length: -1\n\nid=m"))
	f.Fuzz(func(t *testing.T, raw []byte) {
		if r, err := readSample(raw); err == nil {
			require.NotEmpty(t, r.Method)
			require.LessOrEqual(t, len(r.Body), len(raw))
		}
	})
}
