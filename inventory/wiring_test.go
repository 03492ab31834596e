package inventory_test

import (
	"encoding/binary"
	"flag"
	"fmt"
	"math/rand/v2"
	"net/netip"
	"slices"
	"testing"
	"time"

	"boundwalk/inventory"
)

// wirings is how many sites are made up; DEVELOPERS.md says how to try thousands.
var wirings = flag.Int("wirings", 150, "how many random sites TestRandomWiring makes up")

// A randomSite is a tree of switches as one finds them, with end devices on
// their ports. Some switches cannot be asked, some of those pass LLDP on. Uplinks are single
// cables, aggregates, or radios that bridge; some end devices are radios that translate.
type randomSite struct {
	r       *rand.Rand
	nodes   []wireNode
	devices []wireDevice
	drop    float64 // share of the forwarding rows that are missing
}

type wireNode struct {
	parent    int // -1: the root
	port      int // of the parent
	managed   bool
	lldp      bool // speaks it
	passes    bool // hands it on, which only unmanaged ones do
	aggregate bool // its uplink, on both ends
	next      int  // the next free port; 1 leads up
	macs      []inventory.MAC
}

type wireDevice struct {
	node, port int
	mac        inventory.MAC
	addrs      []netip.Addr
	role       inventory.Role
	lldp       bool
}

func newRandomSite(seed uint64) *randomSite {
	s := &randomSite{r: rand.New(rand.NewPCG(seed, 7))}
	if seed%3 > 0 {
		s.drop = s.r.Float64() * 0.6
	}
	silent := []float64{0, 0.3}[seed%2]
	n := 1 + s.r.IntN(60)
	for k := range n {
		if k == 0 {
			s.addNode(-1, true)
			continue
		}
		up := s.r.IntN(len(s.nodes))
		if s.chance(0.1) && len(s.nodes) < n { // two radios between, which bridge
			up = s.addNode(up, false)
			s.nodes[up].passes = true
			s.addDevice(up, inventory.Radio, 1)
			s.addDevice(up, inventory.Radio, 1)
		}
		s.addNode(up, !s.chance(silent))
	}
	for range 1 + s.r.IntN(120) {
		role, addrs := inventory.Camera, 1
		if s.chance(0.05) {
			role, addrs = inventory.Radio, 2+s.r.IntN(4) // translates for those behind it
		}
		s.addDevice(s.r.IntN(len(s.nodes)), role, addrs)
	}
	return s
}

func (s *randomSite) chance(p float64) bool { return s.r.Float64() < p }

func (s *randomSite) mac(kind byte, k int) inventory.MAC {
	m := inventory.MAC{0, kind, 0x5e}
	binary.BigEndian.PutUint16(m[4:], uint16(k))
	return m
}

func (s *randomSite) addNode(up int, managed bool) int {
	k := len(s.nodes)
	n := wireNode{parent: up, managed: managed, next: 2, lldp: managed && s.chance(0.5), passes: !managed && s.chance(0.5), macs: []inventory.MAC{s.mac(0, k+1)}}
	if managed && s.chance(0.1) { // a stack: one agent, an address for each member
		n.macs = append(n.macs, s.mac(8, k+1))
	}
	if up >= 0 {
		n.port = s.nodes[up].next
		s.nodes[up].next++
		n.aggregate = managed && s.nodes[up].managed && s.chance(0.2)
	}
	s.nodes = append(s.nodes, n)
	return k
}

func (s *randomSite) addDevice(node int, role inventory.Role, addrs int) {
	k := len(s.devices) + 1
	d := wireDevice{node: node, port: s.nodes[node].next, mac: s.mac(4, k), role: role, lldp: s.chance(0.2)}
	s.nodes[node].next++
	for a := range addrs {
		d.addrs = append(d.addrs, netip.AddrFrom4([4]byte{10, byte(a + 1), byte(k >> 8), byte(k)}))
	}
	s.devices = append(s.devices, d)
}

// way is the port of b that leads to o: towards a child's branch, else up.
func (s *randomSite) way(b, o int) int {
	for x := o; x >= 0; x = s.nodes[x].parent {
		if s.nodes[x].parent == b {
			return s.nodes[x].port
		}
	}
	return 1
}

// isAggregate reports whether port p of b is one.
func (s *randomSite) isAggregate(b, p int) bool {
	if p == 1 {
		return s.nodes[b].aggregate
	}
	return slices.ContainsFunc(s.nodes, func(n wireNode) bool { return n.parent == b && n.port == p && n.aggregate })
}

// The numbers of a port: each agent numbers interfaces, bridge ports and LLDP
// ports in ways of its own.
func ifOfPort(b, p int) inventory.IfIndex        { return inventory.IfIndex(10*p + 1000*(b%3)) }
func aggOfPort(p int) inventory.IfIndex          { return inventory.IfIndex(50_000 + p) }
func bridgeOfPort(b, p int) inventory.BridgePort { return inventory.BridgePort(p + 100*(b%2)) }

func nodeName(b int) string { return fmt.Sprintf("switch-%d", b) }

// agent is what the switch tells.
func (s *randomSite) agent(b int) inventory.Agent {
	n := &s.nodes[b]
	a := inventory.Agent{Device: nodeName(b), Read: noon, BridgeMAC: n.macs[0], Bridge: map[inventory.BridgePort]inventory.IfIndex{},
		LAG:    map[inventory.IfIndex]inventory.IfIndex{},
		Tables: map[string]inventory.Result{inventory.TableFDB: inventory.Complete}}
	for p := 1; p < n.next; p++ {
		up := true
		add := func(i inventory.IfIndex, name string, kind int) {
			a.Interfaces = append(a.Interfaces, inventory.Interface{Index: i, Name: name, Type: kind, OperUp: &up, MAC: n.macs[len(n.macs)-1]})
		}
		add(ifOfPort(b, p), fmt.Sprintf("gi%d", p), 6)
		a.Bridge[bridgeOfPort(b, p)] = ifOfPort(b, p)
		a.LLDP.Ports = append(a.LLDP.Ports, inventory.LLDPLocalPort{Num: inventory.LLDPPort(500 + p), Subtype: 5, ID: fmt.Sprintf("gi%d", p)})
		if s.isAggregate(b, p) {
			add(ifOfPort(b, p)+1, fmt.Sprintf("gi%dx", p), 6)
			add(aggOfPort(p), fmt.Sprintf("po%d", p), 161) // ieee8023adLag
			a.LAG[ifOfPort(b, p)], a.LAG[ifOfPort(b, p)+1] = aggOfPort(p), aggOfPort(p)
			a.Bridge[bridgeOfPort(b, p)] = aggOfPort(p)
		}
	}
	learn := func(m inventory.MAC, p int) {
		if !s.chance(s.drop) {
			a.FDB = append(a.FDB, inventory.FDBEntry{MAC: m, Port: bridgeOfPort(b, p)})
		}
	}
	for o := range s.nodes {
		if o != b && s.nodes[o].managed {
			for _, m := range s.nodes[o].macs {
				learn(m, s.way(b, o))
			}
		}
	}
	for _, d := range s.devices {
		if d.node == b {
			learn(d.mac, d.port)
		} else {
			learn(d.mac, s.way(b, d.node))
		}
	}
	return a
}

// speak carries an LLDP frame from a node, but not back through port from, as
// far as unmanaged switches hand it on.
func (s *randomSite) speak(at, from int, told func(node, port int)) {
	reach := func(o, port int) {
		switch {
		case s.nodes[o].managed && s.nodes[o].lldp:
			told(o, port)
		case s.nodes[o].passes:
			s.speak(o, port, told)
		}
	}
	if up := s.nodes[at].parent; up >= 0 && from != 1 {
		reach(up, s.nodes[at].port)
	}
	for c := range s.nodes {
		if s.nodes[c].parent == at && s.nodes[c].port != from {
			reach(c, 1)
		}
	}
}

// evidence is a run on the site, and a plan that names the switches and radios
// and says nothing of where anything hangs.
func (s *randomSite) evidence() (*inventory.Plan, *inventory.Evidence) {
	plan := &inventory.Plan{Site: inventory.Site{Name: "site", Location: time.UTC},
		Networks: []inventory.Network{{Name: "all", Subnet: netip.MustParsePrefix("10.0.0.0/8"), Unknown: inventory.UnknownWarning}}}
	ev := &inventory.Evidence{Started: noon, Finished: noon,
		Coverage: inventory.CoverageList{{Subject: "all", Source: inventory.SourceARP, Result: inventory.Complete}}}
	agents := map[int]*inventory.Agent{}
	for b := range s.nodes {
		if s.nodes[b].managed {
			plan.Devices = append(plan.Devices, inventory.Device{Name: nodeName(b), Role: inventory.Switch, MACs: s.nodes[b].macs[:1], Access: "core"})
			a := s.agent(b)
			agents[b] = &a
		}
	}
	told := func(n inventory.LLDPNeighbor) func(node, port int) {
		return func(node, port int) {
			n.Local = inventory.LLDPPort(500 + port)
			agents[node].Neighbors = append(agents[node].Neighbors, n)
		}
	}
	for b := range s.nodes {
		if s.nodes[b].lldp {
			s.speak(b, 0, told(inventory.LLDPNeighbor{ChassisMAC: s.nodes[b].macs[0], SysName: nodeName(b), Capabilities: []string{"bridge"}}))
		}
	}
	for k, d := range s.devices {
		if d.role == inventory.Radio {
			plan.Devices = append(plan.Devices, inventory.Device{Name: fmt.Sprintf("radio-%d", k), Role: d.role,
				MACs: []inventory.MAC{d.mac}, Addresses: d.addrs[:1]})
		}
		for _, addr := range d.addrs {
			ev.Sightings = append(ev.Sightings, inventory.Sighting{MAC: d.mac, Addr: addr, Source: inventory.SourceARP, Live: true, Seen: noon})
		}
		say := told(inventory.LLDPNeighbor{ChassisMAC: d.mac, Capabilities: []string{"stationOnly"}})
		switch n := s.nodes[d.node]; {
		case d.lldp && n.lldp:
			say(d.node, d.port)
		case d.lldp && n.passes:
			s.speak(d.node, d.port, say)
		}
	}
	for b := range s.nodes {
		if a := agents[b]; a != nil {
			ev.Agents = append(ev.Agents, *a)
		}
	}
	plan.Index()
	return plan, ev
}

// portOf is the node and its port that a place means.
func (s *randomSite) portOf(t *testing.T, snap *inventory.Snapshot, switchName, label string) (node, port int) {
	t.Helper()
	p, ok := snap.Port(inventory.PortRef{Device: switchName, Port: label})
	if _, err := fmt.Sscanf(switchName, "switch-%d", &node); err != nil || !ok {
		t.Fatalf("no port %s/%s", switchName, label)
	}
	for port = 1; port < s.nodes[node].next; port++ {
		if i := ifOfPort(node, port); p.Index == i || p.Index == i+1 || p.Index == aggOfPort(port) {
			return node, port
		}
	}
	t.Fatalf("%s/%s is interface %d, which is no port", switchName, label, p.Index)
	return 0, 0
}

// edgeOf reports whether port p of the managed b touches what hangs on node at:
// at itself, or the stretch of unmanaged switches that it is part of.
func (s *randomSite) edgeOf(b, p, at int) bool {
	if s.nodes[at].managed {
		return false
	}
	next := at
	for next != b {
		if s.nodes[next].managed {
			return false
		}
		next = s.step(next, b)
	}
	return s.way(b, at) == p
}

// step is the node after from on the way to to.
func (s *randomSite) step(from, to int) int {
	if p := s.way(from, to); p != 1 {
		for c := range s.nodes {
			if s.nodes[c].parent == from && s.nodes[c].port == p {
				return c
			}
		}
	}
	return s.nodes[from].parent
}

// check counts the devices that were given a port of their own, and fails where
// one is not right, or is not behind the port that it is said to be behind.
func (s *randomSite) check(t *testing.T, snap *inventory.Snapshot) (exact int) {
	t.Helper()
	for _, d := range s.devices {
		i := slices.IndexFunc(snap.Devices, func(x inventory.SeenDevice) bool { return slices.Contains(x.MACs, d.mac) })
		if i < 0 {
			t.Fatalf("%v was lost", d.mac)
		}
		got := snap.Devices[i].Place
		if got.IsZero() {
			continue
		}
		b, p := s.portOf(t, snap, got.Switch, got.Port)
		behind := b != d.node && s.way(b, d.node) == p
		own := b == d.node && p == d.port || s.edgeOf(b, p, d.node)
		if !own && !behind {
			t.Fatalf("%v hangs on port %d of %d, and is placed at %+v", d.mac, d.port, d.node, got)
		}
		if got.Basis == inventory.Inferred {
			continue
		}
		exact++
		if !own {
			t.Fatalf("%v hangs on port %d of %d, and is placed for sure at %+v", d.mac, d.port, d.node, got)
		}
	}
	return exact
}

// checkTree fails where a switch is said to hang on a port that it is not behind,
// or for sure on one with another managed switch between.
func (s *randomSite) checkTree(t *testing.T, snap *inventory.Snapshot) (sure int) {
	t.Helper()
	for _, e := range snap.Edges {
		var child int
		if n, _ := fmt.Sscanf(e.Child, "switch-%d", &child); n == 0 {
			continue
		}
		b, p := s.portOf(t, snap, e.Parent, e.Port)
		if b == child || s.way(b, child) != p || child == 0 || s.way(child, b) != 1 {
			t.Fatalf("switch %d is not below port %d of %d: %+v", child, p, b, e)
		}
		if e.Basis == inventory.Inferred {
			continue
		}
		sure++
		for x := s.nodes[child].parent; x != b; x = s.nodes[x].parent {
			if s.nodes[x].managed {
				t.Fatalf("switch %d hangs on %d, and is put for sure below port %d of %d: %+v", child, x, p, b, e)
			}
		}
	}
	return sure
}

// Random sites are recovered from what their switches tell: never a wrong port,
// and with whole tables nothing is left out. Where rows are missing, fewer are placed.
func TestRandomWiring(t *testing.T) {
	devices, placed, uplinks, known := 0, 0, 0, 0
	for seed := range uint64(*wirings) {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			s := newRandomSite(seed)
			plan, ev := s.evidence()
			snap := inventory.Assemble(plan, ev, nil, nil)
			exact, sure := s.check(t, snap), s.checkTree(t, snap)
			if s.drop == 0 && exact != len(s.devices) {
				t.Errorf("%d of %d devices are placed from whole tables", exact, len(s.devices))
			}
			if s.drop == 0 && sure != len(ev.Agents)-1 {
				t.Errorf("%d of %d switches are hung up from whole tables", sure, len(ev.Agents)-1)
			}
			devices, placed, uplinks, known = devices+len(s.devices), placed+exact, uplinks+len(ev.Agents)-1, known+sure
		})
	}
	t.Logf("%d of %d devices and %d of %d switches placed for sure, none wrongly", placed, devices, known, uplinks)
}
