package web_test

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"io"
	"log/slog"
	"math/big"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/boltstore"
	"cobline/gateway/console"
	"cobline/gateway/web"
)

// office serves the console to one officer, over TLS if there is a certificate,
// and believes the proxies it is told.
func office(t *testing.T, certificate *tls.Certificate, proxies ...string) (address string, store *boltstore.Store) {
	store, err := boltstore.Open(filepath.Join(t.TempDir(), "store"), boltstore.Options{NoSync: true})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, store.Close()) })
	accounts, err := console.NewAccounts(store)
	require.NoError(t, err)
	require.NoError(t, accounts.Add(t.Context(), "amani", console.Officer, "four words that differ", false, time.Now()))
	pages, err := console.New(console.Options{
		Desk: store, Accounts: accounts, Facts: func() *dialog.Facts { return &dialog.Facts{} }, Secure: certificate != nil, Log: slog.New(slog.DiscardHandler),
	})
	require.NoError(t, err)
	app, err := web.New(web.Options{
		Console: pages, Proxies: proxies, ProxyHeader: "X-Real-IP",
		Ready: func() error { return nil }, Metrics: prometheus.NewRegistry(), Log: slog.New(slog.DiscardHandler),
	})
	require.NoError(t, err)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	if certificate != nil {
		listener = tls.NewListener(listener, &tls.Config{Certificates: []tls.Certificate{*certificate}})
	}
	served := make(chan error, 1)
	go func() { served <- app.Listener(listener) }()
	t.Cleanup(func() {
		require.NoError(t, app.ShutdownWithTimeout(5*time.Second))
		require.NoError(t, <-served)
	})
	return listener.Addr().String(), store
}

var formToken = regexp.MustCompile(`name="form" value="([^"]+)"`)

// signIn signs in with headers as a browser, or a proxy, sends them, and returns
// the answer to the form.
func signIn(t *testing.T, c *http.Client, root string, headers map[string]string) *http.Response {
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	c.Jar = jar
	c.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	send := func(method, path string, body url.Values) *http.Response {
		r, err := http.NewRequest(method, root+path, strings.NewReader(body.Encode()))
		require.NoError(t, err)
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		for name, v := range headers {
			r.Header.Set(name, v)
		}
		res, err := c.Do(r)
		require.NoError(t, err)
		t.Cleanup(func() { res.Body.Close() })
		return res
	}
	page, err := io.ReadAll(send("GET", "/office/sign-in", nil).Body)
	require.NoError(t, err)
	token := formToken.FindSubmatch(page)
	require.NotNil(t, token, string(page))
	return send("POST", "/office/sign-in", url.Values{"form": {string(token[1])}, "name": {"amani"}, "password": {"four words that differ"}})
}

// Over TLS of our own, cookies are for TLS alone, and a form has to come from our
// own pages.
func TestTheConsoleOverTLS(t *testing.T) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	own := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "the line"}, NotAfter: time.Now().Add(time.Hour), IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}}
	der, err := x509.CreateCertificate(rand.Reader, own, own, &key.PublicKey, key)
	require.NoError(t, err)
	parsed, err := x509.ParseCertificate(der)
	require.NoError(t, err)
	trusted := x509.NewCertPool()
	trusted.AddCert(parsed)
	address, _ := office(t, &tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key})
	client := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: trusted}}}
	for referer, want := range map[string]int{
		"https://" + address + "/office/sign-in": http.StatusSeeOther,
		"http://" + address + "/office/sign-in":  http.StatusForbidden,
		"https://example.invalid/":               http.StatusForbidden,
		"":                                       http.StatusForbidden,
	} {
		res := signIn(t, client, "https://"+address, map[string]string{"Referer": referer})
		require.Equal(t, want, res.StatusCode, referer)
		require.Contains(t, res.Header.Get("Strict-Transport-Security"), "max-age=")
		for _, c := range res.Cookies() {
			require.True(t, c.Secure, c.Name)
		}
	}
}

// What a header says of who asks, and how, counts from our own proxy alone.
func TestOnlyOurProxyIsBelieved(t *testing.T) {
	for _, c := range []struct {
		proxies    []string
		from, hsts string
	}{
		{nil, "from 127.0.0.1", ""},
		{[]string{"192.0.2.1"}, "from 127.0.0.1", ""},
		{[]string{"127.0.0.1"}, "from 198.51.100.7", "max-age="},
		{[]string{"127.0.0.0/8"}, "from 198.51.100.7", "max-age="},
	} {
		address, store := office(t, nil, c.proxies...)
		res := signIn(t, &http.Client{}, "http://"+address, map[string]string{
			"X-Real-IP": "198.51.100.7", "X-Forwarded-For": "203.0.113.9", "X-Forwarded-Proto": "https", "Referer": "https://" + address + "/office/sign-in",
		})
		require.Equal(t, http.StatusSeeOther, res.StatusCode)
		require.Contains(t, res.Header.Get("Strict-Transport-Security"), c.hsts)
		require.Equal(t, c.hsts == "", res.Header.Get("Strict-Transport-Security") == "")
		trail, _, err := gateway.AuditTrail(t.Context(), store, "", 10)
		require.NoError(t, err)
		require.Len(t, trail, 1)
		require.Equal(t, c.from, trail[0].Detail)
	}
}
