package login_test

import (
	"crypto/md5"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"hash"
	"net"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/icholy/digest"

	"boundwalk/discover/login"
)

// The factory account of all fakes. The words stand nowhere else, so that a
// search for them is telling.
const (
	user   = "slipway"
	secret = "Anchor-Zx81-Halyard"
)

var lab = []netip.Prefix{netip.MustParsePrefix("127.0.0.0/8")}

// account is the factory account, reached as over says.
func account(over login.Over) login.Account {
	return login.Account{Entry: "dome 1", Over: over, User: user, Password: login.NewSecret(secret)}
}

// target is slip-cam at an address on loopback, asked for by a person.
func target(at string, a login.Account) login.Target {
	ap := netip.MustParseAddrPort(at)
	a.Port = ap.Port()
	return login.Target{
		Device: "slip-cam", MACs: [][6]byte{{0, 0, 0x5e, 0, 0x53, 0x31}}, Address: ap.Addr(),
		Switch: login.OnRequest, Asked: true, Account: a,
	}
}

// check is one check by a new Checker on an empty ledger.
func check(t *testing.T, at string, a login.Account) login.Result {
	t.Helper()
	return checkFor(t, at, a, 10*time.Second)
}

func checkFor(t *testing.T, at string, a login.Account, timeout time.Duration) login.Result {
	t.Helper()
	c := &login.Checker{Ledger: &memory{}, Lab: lab, Timeout: timeout}
	r := c.Check(t.Context(), []login.Target{target(at, a)})[0]
	if r.Device != "slip-cam" || r.Entry != "dome 1" || r.At.IsZero() {
		t.Errorf("result does not say what was checked when: %+v", r)
	}
	return r
}

// expect compares what a check came to, and what the device counted.
func expect(t *testing.T, r login.Result, want login.Outcome, counted *atomic.Int32, sent int) {
	t.Helper()
	if r.Outcome != want {
		t.Errorf("outcome %s (%s), want %s", r.Outcome, r.Reason, want)
	}
	if r.Sent != sent {
		t.Errorf("result says %d logins sent, want %d", r.Sent, sent)
	}
	if n := counted.Load(); int(n) != sent {
		t.Errorf("device counted %d logins, want %d", n, sent)
	}
	switch r.Outcome {
	case login.CannotTell, login.NotChecked, login.NotInitialised, login.Locked:
		if r.Reason == "" {
			t.Errorf("%s without a reason", r.Outcome)
		}
	}
}

// page is a fake web device: a handler and what it counts.
type webDevice struct {
	*httptest.Server
	at      string
	counted atomic.Int32 // logins seen
}

// serve starts a device; its handler gets the device to count logins with.
func serve(t *testing.T, h func(d *webDevice, w http.ResponseWriter, r *http.Request)) *webDevice {
	d := &webDevice{}
	d.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { h(d, w, r) }))
	d.at = d.Listener.Addr().String()
	t.Cleanup(d.Close)
	return d
}

// basic answers as RFC 7617 says: with page for pass, with 401 for all else.
func basic(pass, page string) func(*webDevice, http.ResponseWriter, *http.Request) {
	return func(d *webDevice, w http.ResponseWriter, r *http.Request) {
		u, p, ok := r.BasicAuth()
		if ok {
			d.counted.Add(1)
		}
		if !ok || u != user || p != pass {
			w.Header().Set("WWW-Authenticate", `Basic realm="Tern Quay"`)
			http.Error(w, "login, please", http.StatusUnauthorized)
			return
		}
		fmt.Fprint(w, page)
	}
}

// digestAuth answers as RFC 7616 says. The check is written out from section
// 3.4.1, apart from the code under test and from its library's hashing.
func digestAuth(algorithm, qop, pass string) func(*webDevice, http.ResponseWriter, *http.Request) {
	newHash := md5.New
	if strings.HasPrefix(algorithm, "SHA-256") {
		newHash = sha256.New
	}
	return func(d *webDevice, w http.ResponseWriter, r *http.Request) {
		if field := r.Header.Get("Authorization"); field != "" {
			d.counted.Add(1)
			if digestValid(newHash, field, r.Method, r.RequestURI, pass, strings.HasSuffix(algorithm, "-sess")) {
				fmt.Fprint(w, "settings")
				return
			}
		}
		offer := `Digest realm="Tern Quay", nonce="n0nce", opaque="0paque"`
		if algorithm != "" {
			offer += ", algorithm=" + algorithm
		}
		if qop != "" {
			offer += fmt.Sprintf(`, qop="%s"`, qop)
		}
		w.Header().Add("WWW-Authenticate", offer)
		w.WriteHeader(http.StatusUnauthorized)
	}
}

func digestValid(newHash func() hash.Hash, field, method, uri, pass string, session bool) bool {
	h := func(parts ...string) string {
		s := newHash()
		s.Write([]byte(strings.Join(parts, ":")))
		return hex.EncodeToString(s.Sum(nil))
	}
	c, err := digest.ParseCredentials(field)
	if err != nil || c.Username != user || c.URI != uri || c.Nonce != "n0nce" || c.Opaque != "0paque" {
		return false
	}
	a1 := h(user, "Tern Quay", pass)
	if session {
		a1 = h(a1, c.Nonce, c.Cnonce)
	}
	a2 := h(method, uri)
	if c.QOP == "auth-int" {
		a2 = h(method, uri, h(""))
	}
	if c.QOP == "" {
		return c.Response == h(a1, c.Nonce, a2)
	}
	return c.Response == h(a1, c.Nonce, fmt.Sprintf("%08x", c.Nc), c.Cnonce, c.QOP, a2)
}

// wire is a device on a bare socket: what it does with each connection.
func wire(t *testing.T, each func(c net.Conn)) (at string) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go each(c)
		}
	}()
	t.Cleanup(func() { l.Close(); <-done })
	return l.Addr().String()
}
