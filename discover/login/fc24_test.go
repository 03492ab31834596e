package login_test

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"boundwalk/discover/login"
)

// FC-24: checking for factory passwords locks the camera, or cries wolf.

// lockingCamera takes Basic, and locks after five wrong tries in thirty minutes.
type lockingCamera struct {
	pass string

	mu    sync.Mutex
	tries []time.Time // all that carried a login
	wrong []time.Time
}

func (c *lockingCamera) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	c.mu.Lock()
	defer c.mu.Unlock()
	recent := 0
	for _, t := range c.wrong {
		if time.Since(t) < 30*time.Minute {
			recent++
		}
	}
	if recent >= 5 {
		http.Error(w, "locked", http.StatusLocked)
		return
	}
	_, p, ok := r.BasicAuth()
	if ok {
		c.tries = append(c.tries, time.Now())
	}
	if ok && p == c.pass {
		fmt.Fprint(w, "settings")
		return
	}
	if ok {
		c.wrong = append(c.wrong, time.Now())
	}
	w.Header().Set("WWW-Authenticate", `Basic realm="dome"`)
	w.WriteHeader(http.StatusUnauthorized)
}

func (c *lockingCamera) counted() int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return len(c.tries)
}

// pipes is a network of one device in a bubble.
type pipes struct {
	conns chan net.Conn
	done  chan struct{}
}

func newPipes(t *testing.T, h http.Handler) *pipes {
	p := &pipes{make(chan net.Conn), make(chan struct{})}
	s := &http.Server{Handler: h}
	go s.Serve(p)
	t.Cleanup(func() { s.Close() })
	return p
}

func (p *pipes) Accept() (net.Conn, error) {
	select {
	case c := <-p.conns:
		return c, nil
	case <-p.done:
		return nil, net.ErrClosed
	}
}
func (p *pipes) Close() error   { close(p.done); return nil }
func (p *pipes) Addr() net.Addr { return &net.TCPAddr{} }
func (p *pipes) dial(ctx context.Context, _, _ string) (net.Conn, error) {
	here, there := net.Pipe()
	select {
	case p.conns <- there:
		return here, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// process is a Checker as a start of the daemon makes it.
func (p *pipes) process(ledger login.Ledger) *login.Checker {
	c := &login.Checker{Ledger: ledger, ReadMAC: func(context.Context, netip.Addr) (login.Sighting, error) {
		return login.Sighting{MAC: mac31, At: time.Now()}, nil
	}}
	c.SetDial(p.dial)
	return c
}

func slipCam(entry string, asked bool) login.Target {
	t, _ := onQuay()
	t.Account = account(login.OverHTTP)
	t.Account.Entry = entry
	t.Switch, t.Asked, t.Booted = login.AfterChange, asked, time.Time{}
	return t
}

// A: the daemon starts, ten runs are asked for by a person, and it restarts twice, all within a day.
func TestFC24AtMostOneTryADay(t *testing.T) {
	for _, pass := range []string{"changed", secret} {
		synctest.Test(t, func(t *testing.T) {
			camera, ledger := &lockingCamera{pass: pass}, &memory{}
			site := newPipes(t, camera)
			checker := site.process(ledger)
			run := func(asked bool) login.Result {
				// Two accounts of the plan, as a model and its device may list them.
				return checker.Check(t.Context(), []login.Target{slipCam("dome 1", asked), slipCam("dome 1", asked)})[0]
			}
			first := run(false)
			for i := range 10 {
				time.Sleep(2 * time.Hour)
				if r := run(true); r.Outcome != login.NotChecked || r.Reason == "" {
					t.Errorf("run %d: %s (%s)", i, r.Outcome, r.Reason)
				}
				if i == 3 || i == 6 {
					checker = site.process(ledger)
				}
			}
			if n := camera.counted(); n != 1 {
				t.Errorf("password %s: the camera counted %d tries in a day, want 1", pass, n)
			}
			want := login.Refused
			if pass == secret {
				want = login.Accepted
			}
			if first.Outcome != want {
				t.Errorf("first run: %s (%s), want %s", first.Outcome, first.Reason, want)
			}

			// The next day a person asks again.
			time.Sleep(5 * time.Hour)
			if r := run(true); r.Outcome != want || camera.counted() != 2 {
				t.Errorf("next day: %s (%s), %d tries; want %s, 2", r.Outcome, r.Reason, camera.counted(), want)
			}
			// And nobody for a month: a refused login is never repeated, an accepted
			// one once a day, so that the finding ends when the password is changed.
			before := camera.counted()
			for range 30 * 24 {
				time.Sleep(time.Hour)
				run(false)
			}
			n := camera.counted() - before
			if pass == secret && n != 30 || pass != secret && n != 0 {
				t.Errorf("password %s: %d tries in a month unasked", pass, n)
			}
			for i, at := range camera.tries {
				if i > 0 && at.Sub(camera.tries[i-1]) < 24*time.Hour {
					t.Errorf("two tries within a day: %v and %v", camera.tries[i-1], at)
				}
			}
		})
	}
}

// The process may be killed at any point: no second try follows within the day.
func TestFC24Killed(t *testing.T) {
	for _, die := range []string{"before", "reserved", "login", "record"} {
		t.Run(die, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				camera, ledger := &lockingCamera{pass: "changed"}, &memory{die: die}
				site := newPipes(t, camera)
				checker := site.process(ledger)
				checker.SetDial(func(ctx context.Context, network, address string) (net.Conn, error) {
					c, err := site.dial(ctx, network, address)
					if die == "login" {
						return &dyingConn{Conn: c}, err
					}
					return c, err
				})
				func() {
					defer func() {
						if r := recover(); r != nil && r != (killed{}) {
							panic(r)
						}
					}()
					ctx, cancel := context.WithCancel(t.Context())
					if die == "before" {
						cancel()
					}
					defer cancel()
					checker.Check(ctx, []login.Target{slipCam("dome 1", true)})
				}()
				ledger.die = ""
				for i := range 12 { // started again and again
					r := site.process(ledger).Check(t.Context(), []login.Target{slipCam("dome 1", true)})[0]
					if i == 0 && (r.Outcome == login.Refused) != (die == "before") {
						t.Errorf("after the kill: %s (%s)", r.Outcome, r.Reason)
					}
					time.Sleep(time.Hour)
				}
				want := map[string]int{"before": 1, "reserved": 0, "login": 1, "record": 1}[die]
				if n := camera.counted(); n != want {
					t.Errorf("camera counted %d, want %d", n, want)
				}
			})
		})
	}
}

// dyingConn breaks when a login's answer is to be read.
type dyingConn struct {
	net.Conn
	login atomic.Bool
}

func (c *dyingConn) Write(b []byte) (int, error) {
	if strings.Contains(string(b), "Authorization:") {
		c.login.Store(true)
	}
	return c.Conn.Write(b)
}

func (c *dyingConn) Read(b []byte) (int, error) {
	n, err := c.Conn.Read(b)
	if c.login.Load() {
		return 0, errDisk
	}
	return n, err
}

// B: HTTP 200 for everything.
func TestFC24SameForAll(t *testing.T) {
	d := serve(t, func(d *webDevice, w http.ResponseWriter, r *http.Request) {
		if r.Header.Get("Authorization") != "" || r.Method == http.MethodPost {
			d.counted.Add(1)
		}
		fmt.Fprint(w, "hello")
	})
	expect(t, check(t, d.at, account(login.OverHTTP)), login.CannotTell, &d.counted, 0)
	expect(t, check(t, d.at, form(login.Form{Proof: "/status"})), login.CannotTell, &d.counted, 1)
}

// C: Basic, and the factory pair works.
func TestFC24FactoryPairWorks(t *testing.T) {
	d := serve(t, basic(secret, "settings"))
	expect(t, check(t, d.at, account(login.OverHTTPBasic)), login.Accepted, &d.counted, 1)
}

// D: a v2c community reads. Over a function of the caller; the real one has its own tests.
func TestFC24Community(t *testing.T) {
	agent := map[string]login.Outcome{secret: login.Accepted}
	cases := []struct {
		name     string
		user     string
		answer   func(login.SNMPTry) (login.Outcome, error)
		contrast bool
		want     login.Outcome
		sent     int
	}{
		{"reads", "", func(q login.SNMPTry) (login.Outcome, error) { return agent[q.Secret.Reveal()], nil }, false, login.Accepted, 1},
		{"reads, with contrast", "", func(q login.SNMPTry) (login.Outcome, error) { return agent[q.Secret.Reveal()], nil }, true, login.Accepted, 2},
		{"any community reads", "", func(q login.SNMPTry) (login.Outcome, error) { return login.Accepted, nil }, true, login.CannotTell, 2},
		{"silence is no refusal", "", func(q login.SNMPTry) (login.Outcome, error) {
			return "", fmt.Errorf("no answer to %s", q.Secret.Reveal())
		}, false, login.CannotTell, 1},
		{"a v3 user is refused", "audit", func(q login.SNMPTry) (login.Outcome, error) { return login.Refused, nil }, false, login.Refused, 1},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			var counted atomic.Int32
			checker := &login.Checker{Ledger: &memory{}, Lab: lab, SNMP: func(_ context.Context, q login.SNMPTry) (login.Outcome, error) {
				counted.Add(1)
				if q.Agent != netip.MustParseAddrPort("127.0.0.1:161") || (q.User == "") != (c.user == "") {
					t.Errorf("asked %v as %q", q.Agent, q.User)
				}
				return c.answer(q)
			}}
			a := account(login.OverSNMP)
			a.User, a.Contrast = c.user, c.contrast
			expect(t, checker.Check(t.Context(), []login.Target{target("127.0.0.1:161", a)})[0], c.want, &counted, c.sent)
		})
	}
}

// E: a camera that asks to set its first password.
func TestFC24NotInitialised(t *testing.T) {
	d := serve(t, func(d *webDevice, w http.ResponseWriter, r *http.Request) {
		if r.Header.Get("Authorization") != "" || r.Method == http.MethodPost {
			d.counted.Add(1)
		}
		fmt.Fprint(w, `<h1>Welcome</h1><form action=/setup method=post><input type=password name=new><input type=password name=again></form>`)
	})
	expect(t, check(t, d.at, account(login.OverHTTP)), login.NotInitialised, &d.counted, 0)
	expect(t, check(t, d.at, form(login.Form{Proof: "/status"})), login.NotInitialised, &d.counted, 0)
}
