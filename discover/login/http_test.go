package login_test

import (
	"bufio"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/netip"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"boundwalk/discover/login"
)

// Each scheme once with the factory account and once changed.
func TestBasicAndDigest(t *testing.T) {
	kinds := []struct {
		name, scheme string
		device       func(pass string) func(*webDevice, http.ResponseWriter, *http.Request)
	}{
		{"basic", "basic", func(p string) func(*webDevice, http.ResponseWriter, *http.Request) { return basic(p, "settings") }},
		{"digest of RFC 2069, no qop", "digest-md5", func(p string) func(*webDevice, http.ResponseWriter, *http.Request) { return digestAuth("", "", p) }},
		{"digest MD5", "digest-md5", func(p string) func(*webDevice, http.ResponseWriter, *http.Request) {
			return digestAuth("MD5", "auth", p)
		}},
		{"digest MD5, list of qop with blanks", "digest-md5", func(p string) func(*webDevice, http.ResponseWriter, *http.Request) {
			return digestAuth("MD5", "auth-int, auth", p)
		}},
		{"digest MD5, auth-int only", "digest-md5", func(p string) func(*webDevice, http.ResponseWriter, *http.Request) {
			return digestAuth("MD5", "auth-int", p)
		}},
		{"digest MD5-sess", "digest-md5-sess", func(p string) func(*webDevice, http.ResponseWriter, *http.Request) {
			return digestAuth("MD5-sess", "auth", p)
		}},
		{"digest SHA-256", "digest-sha-256", func(p string) func(*webDevice, http.ResponseWriter, *http.Request) {
			return digestAuth("SHA-256", "auth", p)
		}},
		{"digest SHA-256-sess", "digest-sha-256-sess", func(p string) func(*webDevice, http.ResponseWriter, *http.Request) {
			return digestAuth("SHA-256-sess", "auth", p)
		}},
	}
	for _, k := range kinds {
		for pass, want := range map[string]login.Outcome{secret: login.Accepted, "changed-since": login.Refused} {
			t.Run(k.name+" "+string(want), func(t *testing.T) {
				d := serve(t, k.device(pass))
				r := check(t, d.at, account(login.OverHTTP))
				expect(t, r, want, &d.counted, 1)
				if r.Scheme != k.scheme {
					t.Errorf("scheme %q, want %q", r.Scheme, k.scheme)
				}
			})
		}
	}
}

func TestIPv6(t *testing.T) {
	l, err := net.Listen("tcp", "[::1]:0")
	if err != nil {
		t.Skip("no IPv6 loopback here")
	}
	d := &webDevice{}
	h := digestAuth("MD5", "auth", secret)
	s := &http.Server{Handler: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/" {
			http.Redirect(w, r, "http://"+r.Host+"/admin", http.StatusFound)
			return
		}
		h(d, w, r)
	})}
	go s.Serve(l)
	defer s.Close()
	c := &login.Checker{Ledger: &memory{}, Lab: []netip.Prefix{netip.MustParsePrefix("::1/128")}}
	r := c.Check(t.Context(), []login.Target{target(l.Addr().String(), account(login.OverHTTP))})[0]
	expect(t, r, login.Accepted, &d.counted, 1)
}

// A login that anything opens is no factory account.
func TestContrast(t *testing.T) {
	cases := []struct {
		name      string
		any       bool
		contrast  bool
		want      login.Outcome
		sent      int
		unguarded bool
	}{
		{"one account opens it, no second try", false, false, login.Accepted, 1, false},
		{"one account opens it, second try", false, true, login.Accepted, 2, false},
		{"any login opens it, second try", true, true, login.CannotTell, 2, true},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			d := serve(t, func(d *webDevice, w http.ResponseWriter, r *http.Request) {
				if _, _, ok := r.BasicAuth(); ok && c.any {
					d.counted.Add(1)
					fmt.Fprint(w, "settings")
					return
				}
				basic(secret, "settings")(d, w, r)
			})
			a := account(login.OverHTTP)
			a.Contrast = c.contrast
			r := check(t, d.at, a)
			expect(t, r, c.want, &d.counted, c.sent)
			if r.Unguarded != c.unguarded {
				t.Errorf("unguarded %v, want %v", r.Unguarded, c.unguarded)
			}
		})
	}
	t.Run("a refused login is followed by none", func(t *testing.T) {
		d := serve(t, basic("changed", "settings"))
		a := account(login.OverHTTP)
		a.Contrast = true
		expect(t, check(t, d.at, a), login.Refused, &d.counted, 1)
	})
	t.Run("a lock at the second try stands beside the first's success", func(t *testing.T) {
		d := serve(t, func(d *webDevice, w http.ResponseWriter, r *http.Request) {
			if u, _, ok := r.BasicAuth(); ok && u != user {
				d.counted.Add(1)
				w.WriteHeader(http.StatusLocked)
				return
			}
			basic(secret, "settings")(d, w, r)
		})
		a := account(login.OverHTTP)
		a.Contrast = true
		r := check(t, d.at, a)
		expect(t, r, login.Accepted, &d.counted, 2)
		if r.Lock == "" {
			t.Error("the sign of a lock is lost")
		}
	})
}

type handler = func(http.ResponseWriter, *http.Request)

// askFor is a 401 with challenges.
func askFor(w http.ResponseWriter, offers ...string) {
	for _, o := range offers {
		w.Header().Add("WWW-Authenticate", o)
	}
	w.WriteHeader(http.StatusUnauthorized)
}

// after answers a login.
func after(status int, body string) handler {
	return func(w http.ResponseWriter, r *http.Request) {
		if r.Header.Get("Authorization") == "" {
			askFor(w, `Basic realm="x"`)
			return
		}
		w.WriteHeader(status)
		fmt.Fprint(w, body)
	}
}

// before answers all alike.
func before(status int, body string) handler {
	return func(w http.ResponseWriter, r *http.Request) { w.WriteHeader(status); fmt.Fprint(w, body) }
}

// offers asks for a login.
func offers(o ...string) handler {
	return func(w http.ResponseWriter, r *http.Request) { askFor(w, o...) }
}

var answerCases = []struct {
	name string
	over login.Over
	h    handler
	want login.Outcome
	sent int
}{
	{"200 for everything", login.OverHTTP, before(200, "hello"), login.CannotTell, 0},
	{"404 without a login", login.OverHTTP, before(404, ""), login.CannotTell, 0},
	{"403 without a login", login.OverHTTP, before(403, "no"), login.CannotTell, 0},
	{"423 before any login", login.OverHTTP, before(423, ""), login.Locked, 0},
	{"429 before any login", login.OverHTTP, before(429, ""), login.Locked, 0},
	{"403 locked before any login", login.OverHTTP, before(403, "This device is locked."), login.Locked, 0},
	{"two password fields: never set up", login.OverHTTP, before(200,
		`<form action=/set><input type=password name=p1><INPUT TYPE="Password" name=p2></form>`), login.NotInitialised, 0},
	{"one password field: a login page", login.OverHTTP, before(200, `<form><input type=password></form>`), login.CannotTell, 0},
	{"a login beside a change of password", login.OverHTTP, before(200,
		`<form><input type=password></form><form><input type=password><input type=password></form>`), login.CannotTell, 0},
	{"three password fields: a change", login.OverHTTP, before(200,
		`<form><input type=password><input type=password><input type=password></form>`), login.CannotTell, 0},
	{"423", login.OverHTTP, after(423, ""), login.Locked, 1},
	{"429", login.OverHTTP, after(429, ""), login.Locked, 1},
	{"403", login.OverHTTP, after(403, ""), login.Locked, 1},
	{"401 with words of a lock", login.OverHTTP, after(401, "Too many failed attempts"), login.Locked, 1},
	{"401 locked", login.OverHTTP, after(401, "LOCKED"), login.Locked, 1},
	{"401 unlocked is another word", login.OverHTTP, after(401, "unlocked"), login.Refused, 1},
	{"200 with words of a lock", login.OverHTTP, after(200, "Your account is locked."), login.Locked, 1},
	{"200 with a door that is locked", login.OverHTTP, after(200, "door: locked"), login.Accepted, 1},
	{"302 after the login", login.OverHTTP, after(302, ""), login.CannotTell, 1},
	{"500 after the login", login.OverHTTP, after(500, ""), login.CannotTell, 1},
	{"no challenge", login.OverHTTP, offers(), login.CannotTell, 0},
	{"unknown scheme", login.OverHTTP, offers("Bearer"), login.CannotTell, 0},
	{"Digest of an unknown hash beside Basic: no fall to Basic", login.OverHTTP,
		offers(`Digest realm="x", nonce="y", algorithm=MD6`, `Basic realm="x"`), login.CannotTell, 0},
	{"Basic where the plan wants Digest", login.OverHTTPDigest, offers(`Basic realm="x"`), login.CannotTell, 0},
	{"Digest where the plan wants Basic", login.OverHTTPBasic, offers(`Digest realm="x", nonce="y"`), login.CannotTell, 0},
	{"both in one field", login.OverHTTPBasic, offers(`Digest realm="x", nonce="y", Basic realm="x"`), login.Refused, 1},
	{"realm that cannot be sent back", login.OverHTTP, offers("Digest realm=\"\xe9\", nonce=\"y\""), login.CannotTell, 0},
	{"stale nonce", login.OverHTTP, offers(`Digest realm="x", nonce="y", stale=TRUE`), login.CannotTell, 1},
}

// What an answer to the look, or to the login, comes to.
func TestAnswers(t *testing.T) {
	for _, c := range answerCases {
		t.Run(c.name, func(t *testing.T) {
			d := serve(t, func(d *webDevice, w http.ResponseWriter, r *http.Request) {
				if r.Header.Get("Authorization") != "" {
					d.counted.Add(1)
				}
				c.h(w, r)
			})
			r := check(t, d.at, account(c.over))
			expect(t, r, c.want, &d.counted, c.sent)
			if (r.Outcome == login.Locked) != (r.Lock != "") {
				t.Errorf("outcome %s with lock sign %q", r.Outcome, r.Lock)
			}
		})
	}
	t.Run("the same page with the login as without", func(t *testing.T) {
		d := serve(t, func(d *webDevice, w http.ResponseWriter, r *http.Request) {
			if r.Header.Get("Authorization") == "" {
				w.Header().Set("WWW-Authenticate", `Basic realm="x"`)
				w.WriteHeader(401)
			} else {
				d.counted.Add(1)
			}
			fmt.Fprint(w, "welcome")
		})
		expect(t, check(t, d.at, account(login.OverHTTP)), login.CannotTell, &d.counted, 1)
	})
	t.Run("sign of a set-up page that the plan names", func(t *testing.T) {
		d := serve(t, func(d *webDevice, w http.ResponseWriter, r *http.Request) { fmt.Fprint(w, `{"initialised":false}`) })
		a := account(login.OverHTTP)
		a.SetupSign = `"initialised":false`
		expect(t, check(t, d.at, a), login.NotInitialised, &d.counted, 0)
	})
}

func TestRedirects(t *testing.T) {
	other := serve(t, func(d *webDevice, w http.ResponseWriter, r *http.Request) {
		d.counted.Add(1)
		basic(secret, "settings")(d, w, r)
	})
	elsewhere := strings.Replace(other.URL, "127.0.0.1", "localhost", 1)
	cases := []struct {
		name string
		to   func(d *webDevice) string
		want login.Outcome
		sent int
	}{
		{"on the same device", func(d *webDevice) string { return d.URL + "/admin" }, login.Accepted, 1},
		{"relative", func(d *webDevice) string { return "admin" }, login.Accepted, 1},
		{"with a user in it", func(d *webDevice) string { return "http://evil:evil@" + d.at + "/admin" }, login.Accepted, 1},
		{"for ever", func(d *webDevice) string { return "/" }, login.CannotTell, 0},
		{"to another host by name", func(d *webDevice) string { return elsewhere }, login.CannotTell, 0},
		{"to another host by address", func(d *webDevice) string { return "http://127.0.0.2:9/" }, login.CannotTell, 0},
		{"to another scheme", func(d *webDevice) string { return "file:///etc/passwd" }, login.CannotTell, 0},
		{"to nonsense", func(d *webDevice) string { return "http://[::1" }, login.CannotTell, 0},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			d := serve(t, func(d *webDevice, w http.ResponseWriter, r *http.Request) {
				if r.URL.Path == "/admin" {
					basic(secret, "settings")(d, w, r)
					return
				}
				if r.Header.Get("Authorization") != "" {
					d.counted.Add(1)
				}
				w.Header().Set("Location", c.to(d))
				w.WriteHeader(http.StatusFound)
			})
			expect(t, check(t, d.at, account(login.OverHTTP)), c.want, &d.counted, c.sent)
		})
	}
	if n := other.counted.Load(); n != 0 {
		t.Errorf("another host was asked %d times", n)
	}
}

// httpAsk is a raw answer that asks for Basic.
const httpAsk = "HTTP/1.1 401 Unauthorized\r\nWWW-Authenticate: Basic realm=\"x\"\r\nContent-Length: 0\r\n\r\n"

// rawHTTP answers a request without a login by httpAsk, and gives the rest to login.
func rawHTTP(t *testing.T, counted *atomic.Int32, login func(c net.Conn, r *http.Request)) string {
	return wire(t, func(c net.Conn) {
		defer c.Close()
		r, err := http.ReadRequest(bufio.NewReader(c))
		if err != nil {
			return
		}
		if r.Header.Get("Authorization") == "" {
			io.WriteString(c, httpAsk)
			return
		}
		counted.Add(1)
		login(c, r)
	})
}

// Answers to the login by devices that break off or never end.
func TestBadServersAfterLogin(t *testing.T) {
	cases := []struct {
		name    string
		do      func(c net.Conn, r *http.Request)
		want    login.Outcome
		timeout time.Duration
	}{
		{"reset", func(c net.Conn, _ *http.Request) { c.(*net.TCPConn).SetLinger(0) }, login.Locked, 0},
		{"closed without a word", func(c net.Conn, _ *http.Request) {}, login.Locked, 0},
		{"closed in the headers", func(c net.Conn, _ *http.Request) { io.WriteString(c, "HTTP/1.1 200 OK\r\nServer:") }, login.CannotTell, 0},
		{"closed in the body", func(c net.Conn, _ *http.Request) {
			io.WriteString(c, "HTTP/1.1 200 OK\r\nContent-Length: 100\r\n\r\nhalf")
		}, login.CannotTell, 0},
		{"not HTTP", func(c net.Conn, _ *http.Request) { io.WriteString(c, "220 hello\r\n") }, login.CannotTell, 0},
		{"headers without end", func(c net.Conn, _ *http.Request) {
			io.WriteString(c, "HTTP/1.1 200 OK\r\n")
			for _, err := io.WriteString(c, "X: y\r\n"); err == nil; {
				_, err = io.WriteString(c, strings.Repeat("X: y\r\n", 1000))
			}
		}, login.CannotTell, 0},
		{"1 GB", func(c net.Conn, _ *http.Request) {
			io.WriteString(c, "HTTP/1.1 200 OK\r\nContent-Length: 1000000000\r\n\r\n")
			n, _ := io.CopyN(c, zeros{}, 1e9)
			if n > 64<<20 {
				t.Errorf("took %d bytes of an answer", n)
			}
		}, login.Accepted, 0},
		{"never", func(c net.Conn, _ *http.Request) { io.Copy(io.Discard, c) }, login.CannotTell, 300 * time.Millisecond},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			var counted atomic.Int32
			at := rawHTTP(t, &counted, c.do)
			r := checkFor(t, at, account(login.OverHTTP), c.timeout)
			expect(t, r, c.want, &counted, 1)
		})
	}
}

type zeros struct{}

func (zeros) Read(b []byte) (int, error) { clear(b); return len(b), nil }

// Devices that are bad before a login: nothing is sent, and that is no outcome.
func TestBadServersBeforeLogin(t *testing.T) {
	cases := []struct {
		name    string
		do      func(c net.Conn)
		tls     bool
		timeout time.Duration
	}{
		{"never answers", func(c net.Conn) { io.Copy(io.Discard, c) }, false, 300 * time.Millisecond},
		{"never shakes hands", func(c net.Conn) { io.Copy(io.Discard, c) }, true, 300 * time.Millisecond},
		{"closes at once", func(c net.Conn) {}, false, 0},
		{"plain text where TLS should be", func(c net.Conn) { io.WriteString(c, "HTTP/1.1 400 Bad Request\r\n\r\n") }, true, 0},
		{"closes half way", func(c net.Conn) { io.WriteString(c, "HTTP/1.1 401 Un") }, false, 0},
	}
	for _, over := range []login.Over{login.OverHTTP, login.OverForm, login.OverRTSP, login.OverONVIF, login.OverSSH} {
		for _, c := range cases {
			if c.tls && over == login.OverSSH {
				continue
			}
			t.Run(string(over)+" "+c.name, func(t *testing.T) {
				at := wire(t, func(conn net.Conn) { defer conn.Close(); c.do(conn) })
				a := account(over)
				a.TLS = c.tls
				a.Form = login.Form{PassField: "p", Success: "settings"}
				r := checkFor(t, at, a, c.timeout)
				if r.Outcome != login.NotChecked || r.Sent != 0 || r.Reason == "" {
					t.Errorf("got %s (%s), %d sent; want not-checked, 0", r.Outcome, r.Reason, r.Sent)
				}
			})
		}
		t.Run(string(over)+" nobody listens", func(t *testing.T) {
			l, err := net.Listen("tcp", "127.0.0.1:0")
			if err != nil {
				t.Fatal(err)
			}
			at := l.Addr().String()
			l.Close()
			a := account(over)
			a.Form = login.Form{PassField: "p", Success: "settings"}
			r := check(t, at, a)
			if r.Outcome != login.NotChecked || r.Reason != "connection refused" {
				t.Errorf("got %s (%s), want not-checked (connection refused)", r.Outcome, r.Reason)
			}
		})
	}
}
