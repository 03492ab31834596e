package daemon

import (
	"context"
	"fmt"
	"net/netip"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"boundwalk/discover"
	"boundwalk/discover/arp"
	"boundwalk/inventory"
)

// planText is the daemon's plan in the tests; %s is the mail server.
const planText = `
site: {name: Tern Quay, timezone: Europe/Dublin}
networks:
  yard: {subnet: 203.0.113.0/24, gateway: 203.0.113.1}
access:
  yard: {snmp: v2c, community: file:yard.community}
devices:
  quay-router: {role: router, mac: "00:00:5e:00:53:01", address: 203.0.113.1, access: yard}
  quay-switch: {role: switch, mac: "00:00:5e:00:53:02", address: 203.0.113.2, access: yard, at: quay-router/2, ports: 10, feeds: 802.3at, budget: 130 W}
  slip-cam: {role: camera, mac: "00:00:5e:00:53:31", address: 203.0.113.31, at: quay-switch/5}
  gate-cam: {role: camera, mac: "00:00:5e:00:53:32", address: 203.0.113.32, at: quay-switch/6}
  frost-sensor: {role: sensor, mac: "00:00:5e:00:53:42", address: 203.0.113.42, at: quay-switch/7}
  quay-radio: {role: radio, mac: "00:00:5e:00:53:51", address: 203.0.113.51, at: quay-switch/8}
  basin-cam: {role: camera, mac: "00:00:5e:00:53:61", address: 203.0.113.61, at: quay-radio}
  crane-cam: {role: camera, mac: "00:00:5e:00:53:62", address: 203.0.113.62, at: quay-radio}
service:
  socket: /nowhere/control.sock
  mail:
    to: [owner@example.net, {address: boss@example.net, short: true}]
    from: boundwalk@example.net
    server: "%s"
    security: plain
`

func writePlan(t testing.TB, path, server string) {
	t.Helper()
	if err := os.WriteFile(path, fmt.Appendf(nil, planText, server), 0o600); err != nil {
		t.Fatal(err)
	}
}

// addLines adds lines to the service of the plan in a file.
func addLines(t testing.TB, path, lines string) {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(strings.Replace(string(text), "  mail:\n", lines+"  mail:\n", 1)), 0o600); err != nil {
		t.Fatal(err)
	}
}

// site is a network of one segment that a test switches things off in. It stands
// in for discover.Survey; all else is the real thing.
type site struct {
	mu    sync.Mutex
	off   map[string]bool
	cut   bool          // this machine's own cable is out
	dark  bool          // the internet line is down
	looks int           // runs so far
	now   int           // runs that are on
	most  int           // of them at once
	takes time.Duration // how long a run takes
}

func newSite() *site { return &site{off: map[string]bool{}} }

// set switches devices on or off.
func (s *site) set(name string, on bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.off[name] = !on
}

// there reports whether the device answers: it, and all that it hangs on, is on.
func (s *site) there(plan *inventory.Plan, d *inventory.Device) bool {
	for d != nil {
		if s.off[d.Name] {
			return false
		}
		up, ok := plan.Device(d.At.Device)
		if !ok {
			break
		}
		d = up
	}
	return true
}

// survey is what a sweep of the segment sees.
func (s *site) survey(ctx context.Context, plan *inventory.Plan, _ discover.Options) *inventory.Evidence {
	start := time.Now()
	s.mu.Lock()
	s.looks++
	s.now++
	s.most = max(s.most, s.now)
	takes := s.takes
	s.mu.Unlock()
	wait(ctx, takes)
	s.mu.Lock()
	defer s.mu.Unlock()
	s.now--
	ev := &inventory.Evidence{Started: start, Finished: time.Now(), Aborted: ctx.Err() != nil}
	ev.Attached = []inventory.Attached{{Network: "yard", Interface: "eth0", MAC: inventory.MAC{0, 0, 0x5e, 0, 0x53, 0xf0},
		Addr: netip.MustParseAddr("203.0.113.240"), Up: true}}
	if s.cut {
		ev.Coverage = inventory.CoverageList{{Subject: "yard", Source: inventory.SourceARP, Result: inventory.Skipped,
			Why: arp.ErrNotRun.Error() + ": eth0 has no carrier"}}
		return ev
	}
	ev.Coverage = inventory.CoverageList{{Subject: "yard", Source: inventory.SourceARP, Result: inventory.Complete}}
	for i := range plan.Devices {
		d := &plan.Devices[i]
		if s.there(plan, d) {
			ev.Sightings = append(ev.Sightings, inventory.Sighting{MAC: d.MACs[0], Addr: d.Address(), Source: inventory.SourceARP, Seen: ev.Finished,
				Live: true, Tries: []int{1, 2}})
		}
	}
	return ev
}

// unanswered is how long a pulse waits for who does not answer it.
const unanswered = 3 * time.Second

// pulse is what the light look at the router, the switch and the radio sees.
func (s *site) pulse(ctx context.Context, plan *inventory.Plan, _ discover.Options) discover.Beat {
	b := discover.Beat{At: time.Now(), Up: map[string]bool{}}
	s.mu.Lock()
	silent := false
	for i := range plan.Devices {
		if d := &plan.Devices[i]; d.Role == inventory.Router || d.Role == inventory.Switch || d.Role == inventory.Radio {
			b.Up[d.Name] = !s.cut && s.there(plan, d)
			silent = silent || !b.Up[d.Name]
		}
	}
	s.mu.Unlock()
	if silent {
		wait(ctx, unanswered)
	}
	return b
}

// outside reports whether the internet line is up.
func (s *site) outside(context.Context, *inventory.Plan) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return !s.dark && !s.cut
}

// looked is how many runs there were.
func (s *site) looked() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.looks
}

// change changes the site.
func (s *site) change(how func(*site)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	how(s)
}
