package login_test

import (
	"context"
	"errors"
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

// communities is a set of targets whose tries the test counts itself.
func communities(n int) []login.Target {
	targets := make([]login.Target, n)
	for i := range targets {
		t, _ := onQuay()
		t.Device = "cam-" + string(rune('a'+i))
		t.MACs = [][6]byte{{2, 0, 0x5e, 0, 0x53, byte(i)}}
		t.Address = netip.AddrFrom4([4]byte{10, 20, 0, byte(i + 1)})
		t.Account = account(login.OverSNMP)
		t.Account.Password = login.NewSecret(secret)
		targets[i] = t
	}
	return targets
}

func readMAC(_ context.Context, a netip.Addr) (login.Sighting, error) {
	return login.Sighting{MAC: [6]byte{2, 0, 0x5e, 0, 0x53, a.As4()[3] - 1}, At: time.Now()}, nil
}

// At most one device a second, never two at once, over all calls; what the gate holds back costs no time.
func TestPace(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var at []time.Time
		var busy atomic.Int32
		checker := &login.Checker{Ledger: &memory{}, ReadMAC: readMAC, SNMP: func(context.Context, login.SNMPTry) (login.Outcome, error) {
			if busy.Add(1) != 1 {
				t.Error("two tries at once")
			}
			at = append(at, time.Now())
			time.Sleep(200 * time.Millisecond)
			busy.Add(-1)
			return login.Accepted, nil
		}}
		targets := communities(6)
		targets[1].Device = ""
		start := time.Now()
		done := make(chan []login.Result)
		go func() { done <- checker.Check(t.Context(), targets[:3]) }()
		synctest.Wait()
		if r := checker.Check(t.Context(), communities(1))[0]; r.Outcome != login.NotChecked || !strings.Contains(r.Reason, "under way") {
			t.Errorf("a second check at once: %s (%s)", r.Outcome, r.Reason)
		}
		first := <-done
		if first[1].Outcome != login.NotChecked || first[0].Outcome != login.Accepted || first[2].Outcome != login.Accepted {
			t.Errorf("results are not in the targets' order: %+v", first)
		}
		checker.Check(t.Context(), targets[3:])
		var got []time.Duration
		for _, a := range at {
			got = append(got, a.Sub(start))
		}
		want := []time.Duration{0, time.Second, 2 * time.Second, 3 * time.Second, 4 * time.Second}
		if len(got) != len(want) {
			t.Fatalf("tries at %v, want %v", got, want)
		}
		for i := range want {
			if got[i] != want[i] {
				t.Errorf("tries at %v, want %v", got, want)
			}
		}
		for _, x := range targets {
			if x.Account.Password.IsSet() {
				t.Error("a password outlives the check")
			}
		}
	})
}

// A stop ends the wait, and says of the rest that they were not checked.
func TestStop(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		ledger := &memory{}
		checker := &login.Checker{Ledger: ledger, ReadMAC: readMAC, SNMP: func(ctx context.Context, _ login.SNMPTry) (login.Outcome, error) {
			cancel()
			<-ctx.Done()
			return "", ctx.Err()
		}}
		r := checker.Check(ctx, communities(2))
		if r[0].Outcome != login.CannotTell || r[1].Outcome != login.NotChecked || len(ledger.tries) != 1 {
			t.Errorf("got %+v with %d tries", r, len(ledger.tries))
		}
		if ledger.tries[0].Outcome != login.CannotTell {
			t.Errorf("the stopped try is recorded as %q", ledger.tries[0].Outcome)
		}
	})
}

// A spoofer takes a planned address between the run and the check.
func TestSpoofedAddressIsNotTried(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		camera, ledger := &lockingCamera{pass: secret}, &memory{}
		site := newPipes(t, camera)
		for name, read := range map[string]func(context.Context, netip.Addr) (login.Sighting, error){
			"another MAC": func(context.Context, netip.Addr) (login.Sighting, error) {
				return login.Sighting{MAC: mac99, At: time.Now()}, nil
			},
			"an old reading": func(context.Context, netip.Addr) (login.Sighting, error) {
				return login.Sighting{MAC: mac31, At: time.Now().Add(-time.Minute)}, nil
			},
			"no reading": func(context.Context, netip.Addr) (login.Sighting, error) {
				return login.Sighting{}, errors.New("silent")
			},
			"no way to it": nil,
		} {
			checker := site.process(ledger)
			checker.ReadMAC = read
			if r := checker.Check(t.Context(), []login.Target{slipCam("dome 1", true)})[0]; r.Outcome != login.NotChecked || !strings.Contains(r.Reason, "MAC") {
				t.Errorf("%s: %s (%s)", name, r.Outcome, r.Reason)
			}
		}
		if len(ledger.tries) != 0 || camera.counted() != 0 {
			t.Errorf("%d tries noted, %d counted", len(ledger.tries), camera.counted())
		}
	})
}

// Without a durable note nothing is sent; without a noted outcome nothing follows.
func TestLedgerFails(t *testing.T) {
	for fail, want := range map[string]int32{"tries": 0, "reserve": 0, "record": 1} {
		d := serve(t, basic("changed", "settings"))
		ledger := &memory{fail: fail}
		checker := &login.Checker{Ledger: ledger, Lab: lab}
		r := checker.Check(t.Context(), []login.Target{target(d.at, account(login.OverHTTP))})[0]
		if d.counted.Load() != want || r.Reason == "" {
			t.Errorf("%s fails: %d tries, %s (%s)", fail, d.counted.Load(), r.Outcome, r.Reason)
		}
		ledger.fail = ""
		checker.Check(t.Context(), []login.Target{target(d.at, account(login.OverHTTP))})
		if n := d.counted.Load(); n != 1 {
			t.Errorf("%s failed once: %d tries in all, want 1", fail, n)
		}
	}
}

// Another process reserves a try between this one's look at the ledger and its own.
func TestAnotherProcessTakesTheTurn(t *testing.T) {
	d := serve(t, basic(secret, "settings"))
	ledger := &racing{memory: &memory{}}
	r := (&login.Checker{Ledger: ledger, Lab: lab}).Check(t.Context(), []login.Target{target(d.at, account(login.OverHTTP))})[0]
	expect(t, r, login.NotChecked, &d.counted, 0)
	if !strings.Contains(r.Reason, "another check") {
		t.Errorf("reason %q", r.Reason)
	}
}

// What the ledger holds back costs no packet, not even the one that asks for the MAC.
func TestHeldBackAsksNoMAC(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		asked := 0
		checker := &login.Checker{
			Ledger: &memory{},
			ReadMAC: func(ctx context.Context, a netip.Addr) (login.Sighting, error) {
				asked++
				return readMAC(ctx, a)
			},
			SNMP: func(context.Context, login.SNMPTry) (login.Outcome, error) { return login.Accepted, nil },
		}
		for range 5 {
			checker.Check(t.Context(), communities(1))
			time.Sleep(time.Hour)
		}
		if asked != 1 {
			t.Errorf("asked for a MAC %d times, want 1", asked)
		}
	})
}

type racing struct{ *memory }

func (l *racing) Reserve(ctx context.Context, y login.Try, macs [][6]byte, prior int) (int64, error) {
	other := y
	other.Entry = "dome 2"
	if _, err := l.memory.Reserve(ctx, other, macs, prior); err != nil {
		return 0, err
	}
	return l.memory.Reserve(ctx, y, macs, prior)
}

// A lock on one account ends the checks of the device, under any name, until a person clears it.
func TestLockEndsAllChecks(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ledger := &memory{}
		status := http.StatusLocked
		asked := 0
		site := newPipes(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { asked++; w.WriteHeader(status) }))
		run := func(entry, device string) login.Result {
			x := slipCam(entry, true)
			x.Device = device
			return site.process(ledger).Check(t.Context(), []login.Target{x})[0]
		}
		if r := run("dome 1", "slip-cam"); r.Outcome != login.Locked || r.Sent != 0 {
			t.Fatalf("got %s (%s), %d sent", r.Outcome, r.Reason, r.Sent)
		}
		for range 60 {
			time.Sleep(24 * time.Hour)
			for _, r := range []login.Result{run("dome 1", "slip-cam"), run("dome 2", "slip-cam"), run("dome 1", "renamed-cam")} {
				if r.Outcome != login.NotChecked || !strings.Contains(r.Reason, "lock") {
					t.Fatalf("after a lock: %s (%s)", r.Outcome, r.Reason)
				}
			}
		}
		if asked != 1 {
			t.Errorf("the locked device was asked %d times", asked)
		}
		ledger.clear()
		status = http.StatusNotFound
		if r := run("dome 1", "slip-cam"); r.Outcome != login.CannotTell {
			t.Errorf("after the lock was cleared: %s (%s)", r.Outcome, r.Reason)
		}
	})
}

// Several accounts of one device take turns, a day apart, so that each comes to be checked.
func TestAccountsTakeTurns(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		camera, ledger := &lockingCamera{pass: "changed"}, &memory{}
		checker := newPipes(t, camera).process(ledger)
		for range 6 {
			checker.Check(t.Context(), []login.Target{slipCam("a", true), slipCam("b", true), slipCam("c", true)})
			time.Sleep(25 * time.Hour)
		}
		var order []string
		for _, y := range ledger.tries {
			order = append(order, y.Entry)
		}
		if got := strings.Join(order, ""); got != "abcabc" {
			t.Errorf("tried in the order %s, want abcabc", got)
		}
		if camera.counted() != 6 {
			t.Errorf("camera counted %d in 6 days, want 6", camera.counted())
		}
	})
}

// Silent agents are waited for together, but one device is never asked twice at once, and a
// login that is no single datagram has the network for itself.
func TestSilenceOverlaps(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var busy, most atomic.Int32
		asking := map[string]bool{}
		var mu sync.Mutex
		ledger := &memory{}
		checker := &login.Checker{Ledger: ledger, ReadMAC: readMAC, Pace: time.Millisecond, SNMP: func(_ context.Context, y login.SNMPTry) (login.Outcome, error) {
			at := y.Agent.Addr().String()
			mu.Lock()
			if asking[at] {
				t.Errorf("%s is asked twice at once", at)
			}
			asking[at] = true
			mu.Unlock()
			most.Store(max(most.Load(), busy.Add(1)))
			time.Sleep(2 * time.Second)
			busy.Add(-1)
			mu.Lock()
			delete(asking, at)
			mu.Unlock()
			return login.CannotTell, errors.New("silent")
		}}
		targets := communities(20)
		twin := targets[3]
		twin.Account.Entry, twin.Account.Password = "second", login.NewSecret(secret)
		targets = append(targets, twin)
		start := time.Now()
		got := checker.Check(t.Context(), targets)
		for i, r := range got {
			want := login.CannotTell
			if i == len(got)-1 { // by the first one's try, which ended or not
				want = login.NotChecked
			}
			if r.Outcome != want {
				t.Errorf("%s %s: %s (%s)", r.Device, r.Entry, r.Outcome, r.Reason)
			}
		}
		if took := time.Since(start); most.Load() != 16 || took > 7*time.Second {
			t.Errorf("%d agents asked in %v, at most %d at once, want 16 and 6 s at most", len(targets), took, most.Load())
		}
		for _, y := range ledger.tries {
			if y.Outcome != login.CannotTell {
				t.Errorf("the ledger has %s %s as %q", y.Device, y.Entry, y.Outcome)
			}
		}
	})
}
