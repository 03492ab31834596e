package discover_test

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"boundwalk/discover"
	"boundwalk/discover/login"
	"boundwalk/discover/simnet"
	"boundwalk/discover/simnet/mibrows"
	"boundwalk/discover/simnet/simnettest"
	"boundwalk/inventory"
)

// tries is a ledger without a file.
type tries []login.Try

func (l *tries) Tries(_ context.Context, device string, _ [][6]byte) ([]login.Try, error) {
	var out []login.Try
	for _, t := range *l {
		if t.Device == device {
			out = append(out, t)
		}
	}
	return out, nil
}

func (l *tries) Reserve(ctx context.Context, t login.Try, macs [][6]byte, prior int) (int64, error) {
	if have, _ := l.Tries(ctx, t.Device, macs); len(have) != prior {
		return 0, login.ErrReserved
	}
	*l = append(*l, t)
	return int64(len(*l) - 1), nil
}

func (l *tries) Record(_ context.Context, id int64, r login.Result) error {
	(*l)[id].Outcome, (*l)[id].Sent, (*l)[id].Lock = r.Outcome, r.Sent, r.Lock
	return nil
}

// refusing is a web page that refuses every login, and counts them.
func refusing(t *testing.T) (port uint16, counted *atomic.Int32) {
	counted = new(atomic.Int32)
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if _, _, ok := r.BasicAuth(); ok {
			counted.Add(1)
		}
		w.Header().Set("WWW-Authenticate", `Basic realm="dome"`)
		w.WriteHeader(http.StatusUnauthorized)
	}))
	t.Cleanup(s.Close)
	return netip.MustParseAddrPort(s.Listener.Addr().String()).Port(), counted
}

// After-change, by what the agent says of its device in this run.
func TestAfterChange(t *testing.T) {
	ago := func(d time.Duration) time.Time { return time.Now().Add(-d) }
	const day = 24 * time.Hour
	refused := func(at time.Time, why, firmware string) login.Try {
		return login.Try{Device: "slip-cam", Entry: "dome", Over: login.OverHTTP, At: at, Why: why, Firmware: firmware, Outcome: login.Refused, Sent: 1}
	}
	for _, c := range []struct {
		name string
		past []login.Try
		up   time.Duration
		why  string // what allowed a try; empty: none was
	}{
		{"new account", nil, 90 * day, "never tried before"},
		{"refused, nothing changed", []login.Try{refused(ago(2*day), "", "2.1")}, 90 * day, ""},
		{"refused, then restarted", []login.Try{refused(ago(2*day), "", "2.1")}, time.Hour, "the device restarted"},
		{"restarted again within 30 days", []login.Try{refused(ago(20*day), "the device restarted", "2.1")}, time.Hour, ""},
		{"restarted within the day", []login.Try{refused(ago(2*time.Hour), "", "2.1")}, time.Hour, ""},
		{"other firmware", []login.Try{refused(ago(2*day), "", "2.0")}, 90 * day, "the firmware changed"},
	} {
		t.Run(c.name, func(t *testing.T) {
			port, counted := refusing(t)
			up := uint32(c.up / (10 * time.Millisecond))
			a := inventory.Agent{System: inventory.System{Name: "slip-cam", UpTime: &up},
				Entities: []inventory.Entity{{Index: 1, Class: 3, Model: "dome", Software: "2.1"}}}
			plan := loopback(inventory.Device{Name: "slip-cam", Role: inventory.Camera, Model: "dome", Access: "yard", Agent: agent(t, a, simnet.Faults{}),
				Addresses:    []netip.Addr{netip.MustParseAddr("127.0.0.1")},
				FactoryLogin: &inventory.FactoryLogin{Over: "http", Port: port, User: "admin", Password: "admin"}})
			plan.FactoryLogins = inventory.LoginsAfterChange
			// Its usual community was asked for yesterday, so that the account's turn comes first.
			c.past = append(c.past, login.Try{Device: "slip-cam", Entry: "usual-read-community", At: ago(25 * time.Hour), Firmware: "2.1",
				Outcome: login.CannotTell, Sent: 1})
			ledger := tries(slices.Clone(c.past))
			ev := discover.Survey(t.Context(), plan, discover.Options{Secrets: secrets, Ledger: &ledger})
			why := ""
			for _, y := range ledger[len(c.past):] {
				if y.Entry == "dome" {
					why = y.Why
				}
			}
			if want := min(1, len(c.why)); why != c.why || int(counted.Load()) != want {
				t.Errorf("%d logins because %q, want %d because %q; %+v", counted.Load(), why, want, c.why, ev.Logins)
			}
			if r, ok := ev.Coverage.Result("slip-cam", "factory account over http", "login"); !ok || (r == inventory.Complete) != (c.why != "") {
				t.Errorf("coverage %q, %v", r, ok)
			}
		})
	}
}

// The usual community: what is asked, what is known without asking, and why else not.
func TestUsualCommunity(t *testing.T) {
	serve := func(communities ...string) (netip.AddrPort, *simnet.Agent) {
		ag, err := simnet.NewAgent(simnet.AgentOptions{Communities: communities, Engine: "\x80\x00\x7e\xd9\x04quay", Rows: mibrows.Agent(small("quay"))})
		if err != nil {
			t.Fatal(err)
		}
		return simnettest.Start(t, ag), ag
	}
	snmpLogin := &inventory.FactoryLogin{Over: "snmp", Password: "quay"}
	for _, c := range []struct {
		name    string
		agent   []string
		own     string // the community that the plan asks by
		policy  inventory.LoginPolicy
		account *inventory.FactoryLogin
		outcome string
		why     string
		public  int // requests that carried it
		tries   int
	}{
		{"answers", []string{"quay", "public"}, "quay", inventory.LoginsAfterChange, nil, inventory.LoginCommunity, "reading is allowed", 1, 1},
		{"silent", []string{"quay"}, "quay", inventory.LoginsAfterChange, nil, inventory.LoginCannotTell, "silence", 1, 1},
		{"off", []string{"quay", "public"}, "quay", inventory.LoginsOff, nil, inventory.LoginNotChecked, "factory_logins is off", 0, 0},
		{"on request, not asked", []string{"quay", "public"}, "quay", inventory.LoginsOnRequest, nil, inventory.LoginNotChecked, "on request only", 0, 0},
		{"the plan's own", []string{"public"}, "public", inventory.LoginsOff, nil, inventory.LoginCommunity, "the plan itself", -1, 0},
		{"dead agent", []string{"other"}, "quay", inventory.LoginsAfterChange, nil, inventory.LoginNotChecked, "did not answer", 0, 0},
		{"factory account as intended", []string{"quay"}, "quay", inventory.LoginsAfterChange, snmpLogin, inventory.LoginNotChecked, "also the intended one", 1, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			at, ag := serve(c.agent...)
			plan := loopback(inventory.Device{Name: "quay-switch", Role: inventory.Switch, Access: "yard", Agent: at, FactoryLogin: c.account})
			plan.FactoryLogins = c.policy
			var ledger tries
			ev := discover.Survey(t.Context(), plan, discover.Options{Ledger: &ledger,
				Secrets: func(inventory.SecretRef) (string, error) { return c.own, nil }})
			if len(ev.Logins) == 0 || ev.Logins[0].Outcome != c.outcome || !strings.Contains(ev.Logins[0].Why, c.why) {
				t.Errorf("results %+v, want first %s because %q", ev.Logins, c.outcome, c.why)
			}
			if n := ag.Counts().Communities["public"]; c.public >= 0 && n != c.public || len(ledger) != c.tries {
				t.Errorf("%d requests under it and %d tries, want %d and %d", n, len(ledger), c.public, c.tries)
			}
			if n := ag.Counts().Set; n != 0 {
				t.Errorf("%d SETs", n)
			}
		})
	}
}

// Without a ledger, as in a draft, nothing is tried.
func TestNoLedgerNoTry(t *testing.T) {
	port, counted := refusing(t)
	plan := loopback(inventory.Device{Name: "slip-cam", Role: inventory.Camera, Addresses: []netip.Addr{netip.MustParseAddr("127.0.0.1")},
		FactoryLogin: &inventory.FactoryLogin{Over: "http", Port: port, User: "admin", Password: "admin"}})
	plan.FactoryLogins = inventory.LoginsAfterChange
	ev := discover.Survey(t.Context(), plan, discover.Options{Secrets: secrets, LoginsAsked: true})
	if len(ev.Logins) != 1 || ev.Logins[0].Outcome != inventory.LoginNotChecked || counted.Load() != 0 {
		t.Errorf("%d logins, %s", counted.Load(), fmt.Sprint(ev.Logins))
	}
}

// Only the device that the survey is about is tried, the usual community included.
func TestLoginsOfOne(t *testing.T) {
	port, counted := refusing(t)
	factory := &inventory.FactoryLogin{Over: "http", Port: port, User: "admin", Password: "admin"}
	plan := loopback(
		inventory.Device{Name: "slip-cam", Role: inventory.Camera, Addresses: []netip.Addr{netip.MustParseAddr("127.0.0.1")}, FactoryLogin: factory},
		inventory.Device{Name: "gate-cam", Role: inventory.Camera, Addresses: []netip.Addr{netip.MustParseAddr("127.0.0.2")}, FactoryLogin: factory})
	plan.FactoryLogins = inventory.LoginsAfterChange
	for _, c := range []struct {
		of    []string
		tried string
	}{{[]string{}, ""}, {[]string{"slip-cam"}, "slip-cam"}} {
		var ledger tries
		ev := discover.Survey(t.Context(), plan, discover.Options{Secrets: secrets, LoginsAsked: true, LoginsOf: c.of, Ledger: &ledger})
		got := ""
		for _, r := range ev.Logins {
			if r.Outcome == inventory.LoginRefused {
				got += r.Device
			} else if r.Why != "this run was about other devices" {
				t.Errorf("of %v: %+v", c.of, r)
			}
		}
		if got != c.tried || int(counted.Load()) != len(c.of) || len(ledger) != len(c.of) {
			t.Errorf("of %v: %q, %d logins, %d in the ledger", c.of, got, counted.Load(), len(ledger))
		}
	}
}

// The plan's signs of a form tell a factory login from a changed one, and a
// device that nobody has set up.
func TestFormByPlan(t *testing.T) {
	for _, c := range []struct {
		name, page, password, want string
		posts                      int32
	}{
		{"factory account", `<form><input type="password" name="p"></form>`, "admin", inventory.LoginAccepted, 1},
		{"changed", `<form><input type="password" name="p"></form>`, "hut-7", inventory.LoginRefused, 1},
		{"never set up", `<h1>First steps</h1><form><input type="password" name="p"></form>`, "admin", inventory.LoginUnset, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			var posts atomic.Int32
			mux := http.NewServeMux()
			mux.HandleFunc("GET /in", func(w http.ResponseWriter, _ *http.Request) { fmt.Fprint(w, c.page) })
			mux.HandleFunc("POST /in.do", func(w http.ResponseWriter, r *http.Request) {
				posts.Add(1)
				if r.FormValue("u") != "admin" || r.FormValue("p") != c.password {
					fmt.Fprint(w, "Try again")
					return
				}
				http.SetCookie(w, &http.Cookie{Name: "session", Value: "1", Path: "/"})
			})
			mux.HandleFunc("GET /status", func(w http.ResponseWriter, r *http.Request) {
				if _, err := r.Cookie("session"); err == nil {
					fmt.Fprint(w, "Log out")
				}
			})
			s := httptest.NewServer(mux)
			t.Cleanup(s.Close)
			plan := loopback(inventory.Device{Name: "slip-cam", Role: inventory.Camera, Addresses: []netip.Addr{netip.MustParseAddr("127.0.0.1")},
				FactoryLogin: &inventory.FactoryLogin{Over: "form", Port: netip.MustParseAddrPort(s.Listener.Addr().String()).Port(), Path: "/in",
					User: "admin", Password: "admin", UserKey: "u", PassKey: "p", Post: "/in.do", Proof: "/status", Success: "Log out", Failure: "Try again",
					Setup: "First steps"}})
			plan.FactoryLogins = inventory.LoginsOnRequest
			var ledger tries
			ev := discover.Survey(t.Context(), plan, discover.Options{Ledger: &ledger, LoginsAsked: true})
			if len(ev.Logins) == 0 || ev.Logins[0].Outcome != c.want || posts.Load() != c.posts {
				t.Errorf("%+v after %d logins, want %s after %d", ev.Logins, posts.Load(), c.want, c.posts)
			}
		})
	}
}
