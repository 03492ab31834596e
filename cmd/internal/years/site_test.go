// Package years_test runs years of service in minutes, with the clock as an
// argument: runs of a site, the logbook that they fill, and the digests read
// from it.
package years_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"net/netip"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/inventory/planfile"
	"boundwalk/inventory/poe"
	"boundwalk/store"
)

// The switches of the site, by their PSE ports; the port after those leads up.
var switches = []struct {
	name   string
	ports  int
	budget inventory.Power
}{{"quay-switch", 24, 370 * poe.Watt}, {"shed-switch", 16, 240 * poe.Watt}, {"loft-switch", 8, 123 * poe.Watt}}

// A site is a plan of 60 devices, 26 of them with agents, and the evidence that
// a run of it gathers.
type site struct {
	plan   *inventory.Plan
	chance *rand.Rand
	start  time.Time
	guests []inventory.Sighting // devices that came by today, with addresses of their own making
	day    int                  // of the guests
	gone   map[string]int       // device -> runs for which it stays silent
}

// planText is the plan of the site, its devices where their numbers say.
func planText() string {
	var b strings.Builder
	b.WriteString(`site: {name: Tern Quay, timezone: Europe/Dublin}
networks:
  yard:    {subnet: 203.0.113.0/25, vlan: 10, gateway: 203.0.113.1, dynamic: 203.0.113.80-203.0.113.120, unknown: note}
  cameras: {subnet: 203.0.113.128/26, vlan: 20, unknown: urgent}
access: {core: {snmp: v3, user: audit}}
models:
  dome: {role: camera, class: 3, draws: {usual: 5 W, most: 11 W}, stream: 4 Mbit/s}
  disc: {role: access-point, access: core, class: 4, draws: {usual: 9 W, most: 17 W}, speed: 1 Gbit/s}
devices:
`)
	n := 0
	add := func(name, what string, net int) {
		n++
		fmt.Fprintf(&b, "  %s: {%s, mac: \"00:00:5e:00:53:%02x\", address: 203.0.113.%d}\n", name, what, n, net+n)
	}
	add("quay-router", "role: router, access: core, ports: 4, important: true", 0)
	for k, s := range switches {
		add(s.name, fmt.Sprintf("role: switch, access: core, at: quay-router/%d, port: %d, ports: %d, feeds: 802.3at, budget: %d W", k+1, s.ports+1, s.ports+1, s.budget/poe.Watt), 0)
	}
	add("rack-ups", "role: ups, access: core, at: quay-router/4", 0)
	add("recorder", "role: recorder, access: core, at: quay-switch/1, speed: 1 Gbit/s", 0)
	add("office-server", "role: server, access: core, at: quay-switch/2, speed: 1 Gbit/s", 0)
	add("office-printer", "role: printer, access: core, at: quay-switch/3", 0)
	for k := range 6 {
		add(fmt.Sprintf("ap-%d", k+1), fmt.Sprintf("model: disc, at: %s/%d", switches[k/2].name, []int{4, 5, 1, 2, 1, 2}[k]), 0)
	}
	radio := `role: radio, access: core, level_object: {oid: "1.3.6.1.4.1.32473.2.1.1", index: none, unit: dBm}`
	add("quay-radio", radio+", at: quay-switch/6", 0)
	add("pontoon-radio", radio, 0)
	for k := range 38 {
		at := fmt.Sprintf("quay-switch/%d", k+7)
		switch {
		case k >= 32:
			at = fmt.Sprintf("loft-switch/%d", k-32+3)
		case k >= 18:
			at = fmt.Sprintf("shed-switch/%d", k-18+3)
		}
		access := ""
		if k%4 == 0 {
			access = ", access: core"
		}
		add(fmt.Sprintf("cam-%02d", k+1), "model: dome, at: "+at+access, 112)
	}
	for k := range 6 {
		add(fmt.Sprintf("phone-%d", k+1), "role: phone", 0)
	}
	b.WriteString(`radio_links: {basin: {between: [quay-radio, pontoon-radio], distance: 340 m, frequency: 5510 MHz, width: 40 MHz, needs: 40 Mbit/s, port_speed: 1 Gbit/s}}
service: {mail: {to: [owner@example.net], from: walk@example.net, server: "mail.example.net:587"}}
`)
	return b.String()
}

func newSite(t testing.TB, start time.Time) *site {
	t.Helper()
	f, err := planfile.Parse("plan.yaml", []byte(planText()))
	if err != nil {
		t.Fatal(err)
	}
	if n := len(f.Plan.Devices); n != 60 {
		t.Fatalf("the plan has %d devices, want 60", n)
	}
	return &site{plan: f.Plan, chance: rand.New(rand.NewPCG(60, 365)), start: start, gone: map[string]int{}}
}

// look is the evidence of one run: lamps draw at night, counters go on, and now
// and then a device falls silent for some runs, restarts or is a stranger.
func (s *site) look(at time.Time) *inventory.Evidence {
	ev := &inventory.Evidence{Started: at.Add(-20 * time.Second), Finished: at}
	for _, n := range s.plan.Networks {
		ev.Coverage = append(ev.Coverage, inventory.Coverage{Subject: n.Name, Source: inventory.SourceARP, Result: inventory.Complete})
	}
	s.guest(at)
	ev.Sightings = append(ev.Sightings, s.guests...)
	if s.chance.IntN(300) == 0 { // every three days or so
		d := s.plan.Devices[1+s.chance.IntN(len(s.plan.Devices)-1)]
		s.gone[d.Name] = 1 + s.chance.IntN(8)
	}
	for i := range s.plan.Devices {
		d := &s.plan.Devices[i]
		if s.gone[d.Name] > 0 {
			s.gone[d.Name]--
			if d.Access != "" {
				ev.Coverage = append(ev.Coverage, inventory.Coverage{Subject: d.Name, Source: inventory.SourceSNMP, Result: inventory.NoAnswer, Why: "no response within 2 s, three tries"})
			}
			continue
		}
		ev.Sightings = append(ev.Sightings, inventory.Sighting{MAC: d.MACs[0], Addr: d.Addresses[0], Source: inventory.SourceARP, Live: true, Seen: at, Tries: []int{1}})
		if d.Access == "" {
			ev.Coverage = append(ev.Coverage, inventory.Coverage{Subject: d.Name, Source: inventory.SourceSNMP, Result: inventory.Skipped, Why: "the plan has no access"})
			continue
		}
		ev.Agents = append(ev.Agents, s.agent(d, at))
		ev.Coverage = append(ev.Coverage, inventory.Coverage{Subject: d.Name, Source: inventory.SourceSNMP, Result: inventory.Complete})
		for _, table := range tables {
			ev.Coverage = append(ev.Coverage, covered(ev.Agents[len(ev.Agents)-1], table))
		}
	}
	return ev
}

var tables = []string{inventory.TableSystem, inventory.TableInterfaces, inventory.TableEther, inventory.TableIP, inventory.TableNeighbors, inventory.TableBridge,
	inventory.TableFDB, inventory.TableVLAN, inventory.TableLLDP, inventory.TablePSE, inventory.TablePSE8023, inventory.TableEntity, inventory.TableSensor,
	inventory.TableEnergy, inventory.TableHost, inventory.TableUPS, inventory.TableDot11, inventory.TablePrinter, inventory.TableLAG}

func covered(a inventory.Agent, table string) inventory.Coverage {
	c := inventory.Coverage{Subject: a.Device, Table: table, Source: inventory.SourceSNMP, Result: a.Tables[table]}
	if c.Result == inventory.NotOffered {
		c.Why = "the agent has no such rows"
	}
	return c
}

// guest lets three devices with made-up addresses come by each day.
func (s *site) guest(at time.Time) {
	if day := at.YearDay(); day != s.day || s.guests == nil {
		s.day, s.guests = day, nil
		for range 3 {
			m := inventory.MAC{0x02, 0, 0x5e, byte(s.chance.IntN(256)), byte(s.chance.IntN(256)), byte(s.chance.IntN(256))}
			s.guests = append(s.guests, inventory.Sighting{MAC: m, Addr: netip.AddrFrom4([4]byte{203, 0, 113, byte(80 + s.chance.IntN(40))}), Source: inventory.SourceARP, Live: true, Tries: []int{1}})
		}
	}
	for i := range s.guests {
		s.guests[i].Seen = at
	}
}

func (s *site) agent(d *inventory.Device, at time.Time) inventory.Agent {
	up := uint32(at.Sub(s.start)/(10*time.Millisecond)) + 1_000_000
	a := inventory.Agent{Device: d.Name, Read: at, Version: "v3", Tables: map[string]inventory.Result{}, System: inventory.System{UpTime: &up, Name: d.Name}}
	for _, t := range tables {
		a.Tables[t] = inventory.NotOffered
	}
	offer := func(names ...string) {
		for _, n := range names {
			a.Tables[n] = inventory.Complete
		}
	}
	offer(inventory.TableSystem, inventory.TableInterfaces, inventory.TableIP)
	switch d.Role {
	case inventory.Switch, inventory.Router:
		offer(inventory.TableBridge, inventory.TableFDB, inventory.TableEther)
		s.bridge(&a, d, at)
	case inventory.Radio:
		level := -61 + 2*math.Sin(float64(at.Unix())/20000)
		a.Objects = []inventory.ObjectReading{{Use: "level", Kind: "none", Value: &level}}
		fallthrough
	default:
		a.Interfaces = []inventory.Interface{s.port(1, "eth0", at)}
	}
	return a
}

func (s *site) port(k int, name string, at time.Time) inventory.Interface {
	octets := uint64(at.Sub(s.start)/time.Second) * uint64(50_000*k)
	return inventory.Interface{Index: inventory.IfIndex(k), Name: name, Type: 6, AdminUp: some(true), OperUp: some(true), Speed: 1e9,
		InOctets: &octets, OutOctets: &octets, Wide: true, InErrors: some(uint64(0)), FCSErrors: some(uint64(0))}
}

// bridge fills in what a switch or the router tells of its ports.
func (s *site) bridge(a *inventory.Agent, d *inventory.Device, at time.Time) {
	a.BridgeMAC, a.Bridge = d.MACs[0], map[inventory.BridgePort]inventory.IfIndex{}
	ports := 4
	for _, sw := range switches {
		if sw.name == d.Name {
			ports = sw.ports + 1
			a.Tables[inventory.TablePSE], a.Tables[inventory.TablePSE8023] = inventory.Complete, inventory.Complete
			s.feed(a, sw.ports, sw.budget, at)
		}
	}
	for k := 1; k <= ports; k++ {
		a.Interfaces = append(a.Interfaces, s.port(k, fmt.Sprintf("gi%d", k), at))
		a.Bridge[inventory.BridgePort(k)] = inventory.IfIndex(k)
	}
	for i := range s.plan.Devices {
		o := &s.plan.Devices[i]
		var port int
		switch {
		case o.Name == d.Name || s.gone[o.Name] > 0:
			continue
		case o.At.Device == d.Name:
			fmt.Sscan(o.At.Port, &port) //nolint:errcheck // 0 is skipped below
		case d.Role == inventory.Router: // behind the switch that it hangs on
			for k, sw := range switches {
				if sw.name == o.At.Device {
					port = k + 1
				}
			}
		case o.Role == inventory.Phone || o.Name == "pontoon-radio":
		default:
			port = ports
		}
		if port > 0 {
			a.FDB = append(a.FDB, inventory.FDBEntry{MAC: o.MACs[0], Port: inventory.BridgePort(port)})
		}
	}
}

func (s *site) feed(a *inventory.Agent, ports int, budget inventory.Power, at time.Time) {
	var sum inventory.Power
	for k := 1; k <= ports; k++ {
		draw := s.draw(a.Device, k, at)
		sum += draw
		a.PSEPorts = append(a.PSEPorts, inventory.PSEPort{Index: inventory.PSEIndex{Group: 1, Port: k}, Enabled: some(true), State: inventory.PSEDelivering, Class: poe.Class3,
			Actual: &draw, Denied: some(uint32(0)), Overload: some(uint32(0)), Short: some(uint32(0)), MPSAbsent: some(uint32(0))})
	}
	a.Supplies = []inventory.PSESupply{{Group: 1, On: some(true), Budget: &budget, Used: &sum}}
}

// draw is what a port gives at a time: the same for the same arguments.
func (s *site) draw(device string, port int, at time.Time) inventory.Power {
	w := 4.5 + 0.1*float64(port%5)
	if hour := at.In(s.plan.Site.Location).Hour(); hour < 7 || hour >= 18 {
		w += 3 // lamps
	}
	noise := rand.New(rand.NewPCG(uint64(at.Unix()), uint64(len(device)*100+port)))
	return inventory.Power(w*1000) + inventory.Power(noise.IntN(900))
}

func some[T any](v T) *T { return &v }

// run is one whole run as the daemon does it, with the time as an argument.
func (s *site) run(t testing.TB, l *store.Logbook, at time.Time) {
	t.Helper()
	ctx := t.Context()
	id, err := l.Begin(ctx, "schedule", at.Add(-20*time.Second))
	if err != nil {
		t.Fatal(err)
	}
	ev := s.look(at)
	hist, err := l.History(ctx, at, s.plan.Site.Location)
	if err != nil {
		t.Fatal(err)
	}
	snap := inventory.Assemble(s.plan, ev, hist, nil)
	if _, err := l.Save(ctx, id, s.plan, snap, diff.Audit(s.plan, snap, hist, at), false); err != nil {
		t.Fatal(err)
	}
}

func open(t testing.TB) (*store.Logbook, string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "logbook.db")
	l, err := store.Open(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	return l, path
}
