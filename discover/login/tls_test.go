package login_test

import (
	"crypto/sha256"
	"crypto/tls"
	"encoding/hex"
	"net/http"
	"net/http/httptest"
	"testing"

	"boundwalk/discover/login"
)

func secure(t *testing.T, version uint16, suites []uint16) *webDevice {
	d := &webDevice{}
	h := basic(secret, "settings")
	d.Server = httptest.NewUnstartedServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { h(d, w, r) }))
	d.TLS = &tls.Config{MinVersion: version, MaxVersion: version, CipherSuites: suites}
	d.StartTLS()
	d.at = d.Listener.Addr().String()
	t.Cleanup(d.Close)
	return d
}

// An unknown certificate is taken for this one purpose, and its fingerprint kept.
func TestTLS(t *testing.T) {
	cases := []struct {
		name    string
		version uint16
		suites  []uint16
		want    string
	}{
		{"TLS 1.3", tls.VersionTLS13, nil, "TLS 1.3"},
		{"TLS 1.0 with RSA key exchange", tls.VersionTLS10, []uint16{tls.TLS_RSA_WITH_AES_128_CBC_SHA}, "TLS 1.0"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			d := secure(t, c.version, c.suites)
			a := account(login.OverHTTP)
			a.TLS = true
			r := check(t, d.at, a)
			expect(t, r, login.Accepted, &d.counted, 1)
			sum := sha256.Sum256(d.Certificate().Raw)
			if r.TLS != c.want || r.Fingerprint != hex.EncodeToString(sum[:]) {
				t.Errorf("TLS %q, fingerprint %q; want %q, %x", r.TLS, r.Fingerprint, c.want, sum)
			}
		})
	}
	t.Run("from plain text to TLS, never back", func(t *testing.T) {
		plain := serve(t, basic(secret, "settings"))
		d := serveTLS(t, func(w http.ResponseWriter, r *http.Request) { http.Redirect(w, r, plain.URL, http.StatusFound) })
		a := account(login.OverHTTP)
		a.TLS = true
		expect(t, check(t, d.Listener.Addr().String(), a), login.CannotTell, &plain.counted, 0)

		behind := secure(t, tls.VersionTLS12, nil)
		front := serve(t, func(_ *webDevice, w http.ResponseWriter, r *http.Request) {
			http.Redirect(w, r, behind.URL, http.StatusFound)
		})
		r := check(t, front.at, account(login.OverHTTP))
		expect(t, r, login.Accepted, &behind.counted, 1)
		if r.TLS != "TLS 1.2" {
			t.Errorf("TLS %q, want TLS 1.2", r.TLS)
		}
	})
}

func serveTLS(t *testing.T, h http.HandlerFunc) *httptest.Server {
	s := httptest.NewTLSServer(h)
	t.Cleanup(s.Close)
	return s
}
