package inventory_test

import (
	"encoding/json"
	"fmt"
	"net/netip"
	"slices"
	"strings"
	"testing"

	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

// The field cases, each by an input that stands in for what the sources saw.

// FC-03: the class counts from one and holds only while delivering; a class is
// a ceiling and never a draw; the supply's total is never spread.
func TestFC03ClassIsNoDraw(t *testing.T) {
	plan := site(switchPlan("sw", mac(2), "192.0.2.2", 3))
	plan.Devices[0].Feeds = inventory.Feed{Standard: poe.AT}
	a := bridgeAgent("sw", mac(2), 3)
	a.PSEPorts = []inventory.PSEPort{
		{Index: inventory.PSEIndex{Group: 1, Port: 1}, State: inventory.PSESearching},
		{Index: inventory.PSEIndex{Group: 1, Port: 2}, State: inventory.PSEDelivering, Class: poe.Class4},
		{Index: inventory.PSEIndex{Group: 1, Port: 3}, State: inventory.PSEDelivering, Class: poe.Class3},
	}
	a.Supplies = []inventory.PSESupply{{Group: 1, Budget: new(370 * poe.Watt), Used: new(30 * poe.Watt)}}
	s := inventory.Assemble(plan, &inventory.Evidence{Finished: noon, Agents: []inventory.Agent{a}}, nil, nil)
	for k, want := range map[string]struct {
		state inventory.PSEState
		limit inventory.Power
	}{"1": {inventory.PSESearching, 30_000}, "2": {inventory.PSEDelivering, 30_000}, "3": {inventory.PSEDelivering, 15_400}} {
		p, ok := s.Port(inventory.PortRef{Device: "sw", Port: k})
		if !ok || p.Power == nil {
			t.Fatalf("port %s has no power state: %+v", k, p)
		}
		if p.Power.State != want.state || p.Power.Draw != nil || p.Power.Limit == nil || *p.Power.Limit != want.limit {
			t.Errorf("port %s: got %s draw %v limit %v, want %s, no draw, %v", k, p.Power.State, p.Power.Draw, p.Power.Limit, want.state, want.limit)
		}
	}
	su := s.Supplies[0]
	if *su.Used != 30_000 || su.Drawn != nil || su.Unknown != 2 || *su.Reserved != 45_400 {
		t.Errorf("supply: got %+v", su)
	}
}

// FC-13: after a restart the interface numbers differ and two names carry stray
// bytes; the port keeps its key.
func TestFC13PortKeepsItsKey(t *testing.T) {
	plan := site(inventory.Device{Name: "sw", Role: inventory.Switch, MACs: []inventory.MAC{mac(2)}, Access: "core", Ports: 24},
		inventory.Device{Name: "cam", Role: inventory.Camera, MACs: []inventory.MAC{mac(5)}, At: inventory.PortRef{Device: "sw", Port: "5"}})
	build := func(first int, stray bool) *inventory.Snapshot {
		a := inventory.Agent{Device: "sw", Read: noon, BridgeMAC: mac(2), Bridge: map[inventory.BridgePort]inventory.IfIndex{}}
		for k := 1; k <= 24; k++ {
			name := fmt.Sprintf("Fa0/%d", k)
			if stray && k < 3 {
				name = "\x01\x01" + name
			}
			a.Interfaces = append(a.Interfaces, inventory.Interface{Index: inventory.IfIndex(first + k), Name: inventory.Clean(name), Type: 6, OperUp: new(true)})
			a.Bridge[inventory.BridgePort(k)] = inventory.IfIndex(first + k)
		}
		a.FDB = []inventory.FDBEntry{{MAC: mac(5), Port: 5}}
		return inventory.Assemble(plan, &inventory.Evidence{Finished: noon, Agents: []inventory.Agent{a}}, nil, nil)
	}
	before, after := build(10000, false), build(10024, true)
	for i := range before.Ports {
		if before.Ports[i].Port != after.Ports[i].Port {
			t.Errorf("port %d: %q became %q", i, before.Ports[i].Port, after.Ports[i].Port)
		}
	}
	if got := device(t, after, "cam").Place.Ref(); got != (inventory.PortRef{Device: "sw", Port: "5"}) {
		t.Errorf("the camera is at %v", got)
	}
	if before.Agents[0].Ports["Fa0/5"] != 10005 || after.Agents[0].Ports["Fa0/5"] != 10029 {
		t.Error("the numbers that changed must be kept, to say so in one line")
	}
}

// FC-14: a bridge port is no interface number; rows of the switch itself, on
// port 0, or on an unknown port place nothing; the next run remembers.
func TestFC14ForwardingTraps(t *testing.T) {
	plan := site(inventory.Device{Name: "stack", Role: inventory.Switch, MACs: []inventory.MAC{mac(3)}, Access: "core"})
	a := inventory.Agent{Device: "stack", Read: noon, Tables: map[string]inventory.Result{inventory.TableFDB: inventory.Complete},
		Interfaces: []inventory.Interface{{Index: 11008, Name: "Fa3/0/8", Type: 6, OperUp: new(true)}, {Index: 118, Name: "Vl118", Type: 53}},
		Bridge:     map[inventory.BridgePort]inventory.IfIndex{118: 11008},
		FDB:        []inventory.FDBEntry{{MAC: mac(1), Port: 118}, {MAC: mac(2), Port: 0}, {MAC: mac(3), Port: 118, Self: true}, {MAC: mac(4), Port: 77}}}
	s := inventory.Assemble(plan, &inventory.Evidence{Finished: noon, Agents: []inventory.Agent{a}}, nil, nil)
	if got := device(t, s, mac(1).String()).Place; got.Switch != "stack" || got.Port != "Fa3/0/8" && got.Port != "8" {
		t.Errorf("-01 is at %+v", got)
	}
	for _, m := range []inventory.MAC{mac(2), mac(4)} {
		if d := device(t, s, m.String()); !d.Place.IsZero() || d.Presence != inventory.Present {
			t.Errorf("%v: got %+v, want present without port", m, d)
		}
	}
	if slices.Contains(unplanned(s), mac(3).String()) {
		t.Error("-03 is the switch itself")
	}
	// The row has aged out, yet the device answers.
	place := device(t, s, mac(1).String()).Place
	a.FDB = nil
	ev := swept(answered(mac(1), "192.0.2.11", 1))
	ev.Agents = []inventory.Agent{a}
	s = inventory.Assemble(plan, ev, &inventory.History{Places: map[inventory.MAC]inventory.Place{mac(1): place}}, nil)
	if got := device(t, s, mac(1).String()).Place; got.Port != place.Port || got.Basis != inventory.Remembered || !got.Seen.Equal(place.Seen) {
		t.Errorf("got %+v, want the remembered place with its date", got)
	}
}

// FC-15: many MACs on an uplink; the device belongs to the deepest switch. A
// neighbour on a port that is down is no presence.
func TestFC15DeepestSwitch(t *testing.T) {
	a, b := switchPlan("a", mac(1), "192.0.2.1", 10), switchPlan("b", mac(2), "192.0.2.2", 4)
	plan := site(a, b)
	var rows []inventory.FDBEntry
	for k := byte(20); k < 28; k++ {
		rows = append(rows, inventory.FDBEntry{MAC: mac(k), Port: 108})
	}
	agentA := bridgeAgent("a", mac(1), 10, append(rows, inventory.FDBEntry{MAC: mac(2), Port: 108})...)
	agentA.LLDP.Ports = []inventory.LLDPLocalPort{{Num: 8, Subtype: 5, ID: "gi8"}, {Num: 3, Subtype: 5, ID: "gi3"}}
	agentA.Neighbors = []inventory.LLDPNeighbor{{Local: 8, ChassisMAC: mac(2), SysName: "b", Capabilities: []string{"bridge"}},
		{Local: 3, ChassisMAC: mac(33), SysName: "gone", Capabilities: []string{"bridge"}}}
	agentA.Interfaces[2].OperUp = new(false)
	agentB := bridgeAgent("b", mac(2), 4, inventory.FDBEntry{MAC: mac(20), Port: 102}, inventory.FDBEntry{MAC: mac(1), Port: 101})
	s := inventory.Assemble(plan, &inventory.Evidence{Finished: noon, Agents: []inventory.Agent{agentA, agentB}}, nil, nil)
	if got := device(t, s, mac(20).String()).Place.Ref().String(); got != "b/2" {
		t.Errorf("the device is at %s, want b/2", got)
	}
	if p, _ := s.Port(inventory.PortRef{Device: "a", Port: "8"}); !p.Uplink {
		t.Error("a/8 leads to another switch")
	}
	if slices.Contains(unplanned(s), mac(33).String()) {
		t.Error("a neighbour row on a port that is down is no presence")
	}
	if got := device(t, s, "b").Place; got.Ref().String() != "a/8" {
		t.Errorf("b hangs at %+v", got)
	}
}

// FC-16: a radio with a MAC for the cable, one with the local bit, and one for
// the air is one device.
func TestFC16OneRadioManyMACs(t *testing.T) {
	plan := site(inventory.Device{Name: "radio", Role: inventory.Radio, MACs: []inventory.MAC{mac(0x92)}, Addresses: []netip.Addr{ip("192.0.2.20")}, Access: "yard"})
	a := inventory.Agent{Device: "radio", Read: noon, Interfaces: []inventory.Interface{{Index: 1, Name: "lo", Type: 24},
		{Index: 2, Name: "eth", Type: 6, MAC: mac(0x92)}}}
	for k := 3; k < 8; k++ {
		a.Interfaces = append(a.Interfaces, inventory.Interface{Index: inventory.IfIndex(k), Name: "air", Type: 71, MAC: mac(0xa2)})
	}
	ev := swept(answered(mac(0x92), "192.0.2.20", 1), answered(local(0x92), "192.0.2.77", 1))
	ev.Agents = []inventory.Agent{a}
	s := inventory.Assemble(plan, ev, nil, nil)
	if got := device(t, s, "radio").MACs; len(got) != 3 || len(unplanned(s)) != 0 {
		t.Errorf("got MACs %v, others %v; want three MACs and no unknown device", got, unplanned(s))
	}
	for k := range 5 {
		ev.Sightings = append(ev.Sightings, answered(mac(0xa2), fmt.Sprintf("192.0.2.%d", 100+k), 1))
	}
	s = inventory.Assemble(plan, ev, nil, nil)
	d := device(t, s, "radio")
	if len(unplanned(s)) != 0 || len(s.Shared) != 0 || len(d.Notes) != 1 {
		t.Errorf("got others %v, shared %v, notes %v; want the one line that the radio translates", unplanned(s), s.Shared, d.Notes)
	}
}

// FC-17: both senders of an address are kept, and in how many tries they met.
func TestFC17TwoSenders(t *testing.T) {
	s := inventory.Assemble(site(), swept(answered(mac(0x11), "192.0.2.64", 1, 2), answered(mac(0x12), "192.0.2.64", 1, 2)), nil, nil)
	want := inventory.SharedAddr{Addr: ip("192.0.2.64"), MACs: []inventory.MAC{mac(0x11), mac(0x12)}, Tries: 2,
		Names: []string{mac(0x11).String(), mac(0x12).String()}}
	if len(s.Shared) != 1 || fmt.Sprint(s.Shared[0]) != fmt.Sprint(want) {
		t.Errorf("got %+v, want %+v", s.Shared, want)
	}
}

// FC-18: a router that answers for every address is one line, not 230 devices.
func TestFC18ProxyARP(t *testing.T) {
	var all []inventory.Sighting
	for k := 1; k < 255; k++ {
		m := mac(0xfe)
		if k <= 20 {
			m = mac(byte(k))
		}
		all = append(all, answered(m, fmt.Sprintf("192.0.2.%d", k), 1))
	}
	s := inventory.Assemble(site(), swept(all...), nil, nil)
	if len(s.Proxies) != 1 || s.Proxies[0].MAC != mac(0xfe) || s.Proxies[0].Count != 234 {
		t.Errorf("got %+v", s.Proxies)
	}
	if n := len(s.Devices); n != 21 || len(device(t, s, mac(0xfe).String()).Addrs) != 0 {
		t.Errorf("got %d devices, want 20 and the proxy itself without the addresses", n)
	}
	// An access point that answers for six sleeping clients is none.
	all = nil
	for k := range 6 {
		all = append(all, answered(mac(7), fmt.Sprintf("192.0.2.%d", 70+k), 1))
	}
	if s := inventory.Assemble(site(), swept(all...), nil, nil); len(s.Proxies) != 0 {
		t.Errorf("got %+v, want none", s.Proxies)
	}
}

// FC-20: the switch sees a MAC that no address in the network belongs to; an
// ARP probe gives none, a foreign address is kept as foreign.
func TestFC20NoAddressHere(t *testing.T) {
	plan := site(switchPlan("sw", mac(2), "192.0.2.2", 8))
	plan.Devices[0].Feeds = inventory.Feed{Standard: poe.AF}
	a := bridgeAgent("sw", mac(2), 8, inventory.FDBEntry{MAC: mac(0x31), Port: 106})
	for k := 1; k <= 8; k++ {
		p := inventory.PSEPort{Index: inventory.PSEIndex{Group: 1, Port: k}, State: inventory.PSESearching}
		if k == 6 {
			p.State, p.Class = inventory.PSEDelivering, poe.Class3
		}
		a.PSEPorts = append(a.PSEPorts, p)
	}
	ev := swept(inventory.Sighting{MAC: mac(0x31), Source: inventory.SourceListen, Probe: true, Live: true, Seen: noon},
		inventory.Sighting{MAC: mac(0x31), Addr: ip("198.51.100.108"), Source: inventory.SourceListen, Live: true, Seen: noon})
	ev.Agents = []inventory.Agent{a}
	s := inventory.Assemble(plan, ev, nil, nil)
	d := device(t, s, mac(0x31).String())
	if !d.NoAddress || len(d.Addrs) != 0 || len(d.Foreign) != 1 || d.Foreign[0] != ip("198.51.100.108") || d.Place.Ref().String() != "sw/6" {
		t.Errorf("got %+v", d)
	}
	// What every IPv6 host makes itself is no address of the network.
	ev.Sightings = append(ev.Sightings, inventory.Sighting{MAC: mac(0x31), Addr: ip("fe80::31"), Source: inventory.SourceND, Live: true, Seen: noon})
	if d := device(t, inventory.Assemble(plan, ev, nil, nil), mac(0x31).String()); !d.NoAddress || d.HasAddress() || len(d.Addrs) != 1 {
		t.Errorf("with a link-local address: %+v", d)
	}
	if p, _ := s.Port(d.Place.Ref()); p.Power == nil || p.Power.State != inventory.PSEDelivering || p.Power.Class != poe.Class3 {
		t.Errorf("port: %+v", p)
	}
}

// FC-21 and the privacy rule: nothing of a network that is only counted is kept.
func TestCountedNetworkKeepsNothing(t *testing.T) {
	plan := site()
	plan.Networks = append(plan.Networks, inventory.Network{Name: "berths", Subnet: netip.MustParsePrefix("198.51.100.0/24"), VLAN: 30,
		Unknown: inventory.UnknownCount})
	ev := swept(inventory.Sighting{MAC: local(1), Addr: ip("198.51.100.7"), Source: inventory.SourceNeighbors, By: "router"},
		inventory.Sighting{MAC: local(2), Addr: ip("198.51.100.8"), Source: inventory.SourceNeighbors, By: "router"},
		// On the same wire by IPv6: its address says nothing, the MAC of the first line does.
		inventory.Sighting{MAC: local(1), Addr: ip("fe80::1"), Source: inventory.SourceND, By: "eth0", Live: true},
		// It answers for an address that the plan gives a device in the counted network.
		inventory.Sighting{MAC: local(5), Addr: ip("198.51.100.9"), Source: inventory.SourceListen, By: "eth0", Live: true})
	plan.Devices = append(plan.Devices, inventory.Device{Name: "berth-ap", Role: inventory.AccessPoint, MACs: []inventory.MAC{mac(9)},
		Addresses: []netip.Addr{ip("198.51.100.9")}})
	a := bridgeAgent("sw", mac(2), 4, inventory.FDBEntry{MAC: local(1), Port: 101}, inventory.FDBEntry{MAC: local(3), Port: 101, VLAN: 30},
		inventory.FDBEntry{MAC: local(4), Port: 102}) // by RFC 4188, on a port of VLAN 30 alone
	a.PVID = map[inventory.BridgePort]int{102: 30}
	ev.Agents = []inventory.Agent{a}
	s := inventory.Assemble(plan, ev, nil, nil)
	if got := s.Networks[1].Counted; got != 5 {
		t.Errorf("counted %d, want 5", got)
	}
	text, err := json.Marshal(s)
	if err != nil || strings.Contains(string(text), "02:00:5e") {
		t.Errorf("%v: a MAC of the counted network is in the snapshot: %s", err, text)
	}
	for _, d := range s.Devices {
		for _, m := range d.MACs {
			if m.IsLocal() {
				t.Errorf("%v of the counted network was kept: %+v", m, d)
			}
		}
	}
}

// Rule 1: not looked is not "not there".
func TestNotLookedIsNoAbsence(t *testing.T) {
	cam := inventory.Device{Name: "cam", Role: inventory.Camera, MACs: []inventory.MAC{mac(5)}, Addresses: []netip.Addr{ip("192.0.2.5")}}
	for _, tt := range []struct {
		name   string
		result inventory.Result
		want   inventory.Presence
	}{
		{"the sweep was complete", inventory.Complete, inventory.Absent},
		{"the sweep was cut short", inventory.Partial, inventory.NotLooked},
		{"no right to sweep", inventory.Refused, inventory.NotLooked},
		{"the interface was down", inventory.Skipped, inventory.NotLooked},
	} {
		t.Run(tt.name, func(t *testing.T) {
			ev := swept()
			ev.Coverage[0].Result = tt.result
			if got := device(t, inventory.Assemble(site(cam), ev, nil, nil), "cam").Presence; got != tt.want {
				t.Errorf("got %s, want %s", got, tt.want)
			}
		})
	}
	ev := swept()
	ev.Aborted = true
	if got := device(t, inventory.Assemble(site(cam), ev, nil, nil), "cam").Presence; got != inventory.NotLooked {
		t.Errorf("an aborted run: got %s", got)
	}
}

// A switch's neighbour table may speak of networks that are not the site's:
// such a row opens no device, yet tells the foreign address of one that is there.
func TestForeignNeighborRowsOpenNothing(t *testing.T) {
	row := func(m inventory.MAC, addr string) inventory.Sighting {
		return inventory.Sighting{MAC: m, Addr: ip(addr), Source: inventory.SourceNeighbors, By: "sw", Seen: noon}
	}
	ev := swept(row(mac(0x41), "198.51.100.41"), row(mac(0x42), "198.51.100.42"), row(mac(0x43), "192.0.2.43"))
	ev.Agents = []inventory.Agent{bridgeAgent("sw", mac(2), 4, inventory.FDBEntry{MAC: mac(0x42), Port: 103})}
	s := inventory.Assemble(site(switchPlan("sw", mac(2), "192.0.2.2", 4)), ev, nil, nil)
	if got := unplanned(s); len(got) != 2 || slices.Contains(got, mac(0x41).String()) {
		t.Errorf("got %v, want -42, which the switch has learned, and -43, which is in the network", got)
	}
	if d := device(t, s, mac(0x42).String()); len(d.Foreign) != 1 || d.Foreign[0] != ip("198.51.100.42") {
		t.Errorf("got %+v", d)
	}
}

// A lease outlives its client: where the sweep was whole, a device that only a
// lease knows is not there; of one that answers, it tells the name.
func TestLeaseAloneIsNoDevice(t *testing.T) {
	lease := func(m inventory.MAC, addr, name string) inventory.Sighting {
		return inventory.Sighting{MAC: m, Addr: ip(addr), Name: name, Source: inventory.SourceLease, By: "dnsmasq", Seen: noon}
	}
	ev := swept(lease(mac(0x51), "192.0.2.51", "gone"), lease(mac(0x52), "192.0.2.52", "tern"), answered(mac(0x52), "192.0.2.52", 1))
	s := inventory.Assemble(site(), ev, nil, nil)
	if got := unplanned(s); len(got) != 1 || device(t, s, mac(0x52).String()).Hostname != "tern" {
		t.Errorf("got %v, want -52 alone, called tern", got)
	}
	ev.Coverage[0].Result = inventory.Partial
	if got := unplanned(inventory.Assemble(site(), ev, nil, nil)); len(got) != 2 {
		t.Errorf("got %v, want both where the sweep was not whole", got)
	}
}

// A plan that has no word on IPv6 puts no IPv6 address outside; one that has, does.
func TestUnplannedIPv6(t *testing.T) {
	ev := swept(answered(mac(0x51), "192.0.2.51", 1), inventory.Sighting{MAC: mac(0x51), Addr: ip("2001:db8::51"),
		Source: inventory.SourceND, Live: true, Seen: noon})
	plan := site()
	if d := device(t, inventory.Assemble(plan, ev, nil, nil), mac(0x51).String()); len(d.Addrs) != 2 || len(d.Foreign) != 0 {
		t.Errorf("got %+v", d)
	}
	plan.Networks[0].Subnet6 = []netip.Prefix{netip.MustParsePrefix("2001:db8:1::/64")}
	if d := device(t, inventory.Assemble(plan, ev, nil, nil), mac(0x51).String()); len(d.Addrs) != 1 || len(d.Foreign) != 1 {
		t.Errorf("where another is planned: got %+v", d)
	}
}

// A plan may name ports by their numbers, or as the agent does; the labels
// follow it, and both mean the same port.
func TestPortsAreCalledAsThePlanDoes(t *testing.T) {
	for _, port := range []string{"5", "gi5", "GI5"} {
		plan := site(switchPlan("sw", mac(2), "192.0.2.2", 0),
			inventory.Device{Name: "cam", Role: inventory.Camera, MACs: []inventory.MAC{mac(5)}, At: inventory.PortRef{Device: "sw", Port: port}})
		a := bridgeAgent("sw", mac(2), 8, inventory.FDBEntry{MAC: mac(5), Port: 105})
		s := inventory.Assemble(plan, &inventory.Evidence{Finished: noon, Agents: []inventory.Agent{a}}, nil, nil)
		if got := device(t, s, "cam").Place.Port; inventory.PortName(got) != inventory.PortName(port) {
			t.Errorf("planned on %q, placed on %q", port, got)
		}
	}
}
