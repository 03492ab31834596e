package diff_test

import (
	"fmt"
	"net/netip"
	"slices"
	"strings"
	"testing"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

// FC-10: a wrap after 497 days is no restart, and an uptime that never moves is no use.
func TestFC10Uptime(t *testing.T) {
	plan := site(theSwitch(8))
	for _, c := range []struct {
		name  string
		ticks []uint32
		want  []string
	}{
		{"it wraps", []uint32{4294900000, 292704}, nil},
		{"it restarted", []uint32{4294900000, 12000}, []string{"restarted/sw"}},
		{"it always says 0", []uint32{0, 0, 0}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			m := newMemory()
			var fs []diff.Finding
			for k, ticks := range c.ticks {
				s := seen(plan, noon.Add(time.Duration(k)*time.Hour))
				s.Devices[0].UpTime = &inventory.UpTime{Ticks: ticks, Read: s.Finished, Up: time.Duration(ticks) * 10 * time.Millisecond}
				fs = m.run(plan, s)
			}
			want(t, fs, c.want...)
			if len(fs) > 0 {
				tells(t, fs[0].Observed, "started at Wed 25 Nov 12:58, up 2 min")
			}
		})
	}
}

// FC-13: after an update the interfaces have new numbers under the same names:
// one line, whatever else the restart did.
func TestFC13Renumbered(t *testing.T) {
	plan := site(theSwitch(24), camera("cam", 5, "sw/5"))
	m := newMemory()
	var fs []diff.Finding
	for k, first := range []int{10001, 10025} {
		s := seen(plan, noon.Add(time.Duration(k)*time.Hour))
		ag := inventory.AgentState{Device: "sw", Result: inventory.Complete, Version: "v3", Ports: map[string]int{}}
		for n := range 24 {
			ag.Ports[fmt.Sprintf("Fa0/%d", n+1)] = first + n
		}
		s.Agents = append(s.Agents, ag)
		powered(s, "sw/5", poe.Class3, 6*poe.Watt)
		up := []time.Duration{900 * time.Hour, 10 * time.Minute}[k]
		s.Devices[0].UpTime = &inventory.UpTime{Ticks: uint32(up / (10 * time.Millisecond)), Read: s.Finished, Up: up}
		fs = m.run(plan, s)
	}
	want(t, fs, "ports-renumbered/sw")
	tells(t, fs[0].Observed, "24 ports", "started at")
}

// FC-16: a radio with three addresses is one device, and no phone.
func TestFC16OneRadioManyMACs(t *testing.T) {
	radio := onPort("radio", inventory.Radio, 0x92, "sw/8")
	plan := site(theSwitch(8), radio)
	ev := &inventory.Evidence{Started: noon, Finished: noon,
		Coverage: inventory.CoverageList{{Subject: "yard", Source: inventory.SourceARP, Result: inventory.Complete}}}
	for _, s := range []struct {
		m  inventory.MAC
		ip string
	}{{mac(2), "192.0.2.2"}, {mac(0x92), "192.0.2.146"}, {local(0x92), "192.0.2.147"}} {
		ev.Sightings = append(ev.Sightings, inventory.Sighting{MAC: s.m, Addr: ip(s.ip), Source: inventory.SourceARP, Live: true, Seen: noon})
	}
	snap := inventory.Assemble(plan, ev, nil, nil)
	want(t, diff.Audit(plan, snap, nil, noon))
}

// FC-17: two that answer in two tries are a conflict; a swap is a replacement;
// to and fro is a suspected conflict, and no device that changes back and forth.
func TestFC17SameAddress(t *testing.T) {
	t.Run("both at once", func(t *testing.T) {
		plan := site(theSwitch(8), camera("cam", 0x40, "sw/5"))
		s := seen(plan, noon)
		s.Devices = append(s.Devices, inventory.SeenDevice{Name: mac(0x12).String(), MACs: []inventory.MAC{mac(0x12)}, Presence: inventory.Present, Network: "yard",
			Place: inventory.Place{Switch: "sw", Port: "7", Basis: inventory.ByFDB}})
		s.Shared = []inventory.SharedAddr{{Addr: ip("192.0.2.64"), MACs: []inventory.MAC{mac(0x12), mac(0x40)}, Tries: 1}}
		m := newMemory()
		want(t, m.run(plan, s), "unknown-device/00:00:5e:00:53:12") // one try alone may be a swap
		fs := m.run(plan, s)
		want(t, fs, "address-conflict/192.0.2.64")
		tells(t, fs[0].Observed, "00:00:5e:00:53:12 on port 7 of sw", "cam (00:00:5e:00:53:40) on port 5 of sw")
		s.Shared[0].Tries = 2
		want(t, diff.Audit(plan, s, nil, noon), "address-conflict/192.0.2.64")
	})
	run := func(m *memory, k int, who byte) []diff.Finding {
		plan := site(theSwitch(8), camera("cam", 0x11, "sw/5"))
		plan.Devices[1].Addresses = []netip.Addr{ip("192.0.2.64")}
		s := seen(plan, noon.Add(time.Duration(k)*15*time.Minute))
		if who != 0x11 {
			lose(s, "cam")
			x, _ := s.Device("cam")
			x.Claimed = []inventory.MAC{mac(who)}
			s.Devices = append(s.Devices, inventory.SeenDevice{Name: mac(who).String(), MACs: []inventory.MAC{mac(who)}, Addrs: []netip.Addr{ip("192.0.2.64")},
				Presence: inventory.Present, Network: "yard"})
		}
		return m.run(plan, s)
	}
	t.Run("a swap", func(t *testing.T) {
		m := newMemory()
		want(t, run(m, 0, 0x11))
		fs := run(m, 1, 0x12)
		want(t, fs, "replaced-device/cam")
		tells(t, fs[0].Expected, "00:00:5e:00:53:11")
		tells(t, fs[0].Observed, "00:00:5e:00:53:12")
		want(t, run(m, 2, 0x12), "replaced-device/cam")
	})
	t.Run("to and fro", func(t *testing.T) {
		m := newMemory()
		want(t, run(m, 0, 0x11))
		want(t, run(m, 1, 0x12), "replaced-device/cam")
		fs := run(m, 2, 0x11)
		want(t, fs, "address-conflict/192.0.2.64")
		tells(t, fs[0].Observed, "suspected")
		want(t, run(m, 3, 0x12), "address-conflict/192.0.2.64")
	})
}

// FC-18: a router that answers for every address is one finding, not 230 unknown devices.
func TestFC18ProxyARP(t *testing.T) {
	var devices []inventory.Device
	ev := &inventory.Evidence{Started: noon, Finished: noon,
		Coverage: inventory.CoverageList{{Subject: "yard", Source: inventory.SourceARP, Result: inventory.Complete}}}
	heard := func(m inventory.MAC, last byte) {
		ev.Sightings = append(ev.Sightings, inventory.Sighting{MAC: m, Addr: netip.AddrFrom4([4]byte{192, 0, 2, last}), Source: inventory.SourceARP,
			Live: true, Seen: noon, Tries: []int{1}})
	}
	for n := byte(1); n <= 20; n++ {
		d := onPort(fmt.Sprintf("device-%d", n), inventory.Server, n, "")
		if n == 1 {
			d.Name, d.Role, d.MACs = "router", inventory.Router, []inventory.MAC{mac(0xfe)}
		}
		devices = append(devices, d)
		heard(d.MACs[0], n)
	}
	for n := 21; n < 255; n++ {
		heard(mac(0xfe), byte(n))
	}
	plan := site(devices...)
	fs := diff.Audit(plan, inventory.Assemble(plan, ev, nil, nil), nil, noon)
	want(t, fs, "proxy-arp/router")
	tells(t, fs[0].Observed, "235 addresses")
}

// FC-20: a new device with an address of elsewhere is told with its port, class
// and that address; the sender 0.0.0.0 is none.
func TestFC20NoAddressHere(t *testing.T) {
	for _, c := range []struct{ name, from, says string }{
		{"a factory address", "198.51.100.108", "198.51.100.108"},
		{"self-assigned", "169.254.7.9", "DHCP did not answer"},
		{"silent", "", "it has no address in this network"},
	} {
		t.Run(c.name, func(t *testing.T) {
			plan := site(theSwitch(8))
			cam := mac(0x31)
			ag := inventory.Agent{Device: "sw", Read: noon, Version: "v3", BridgeMAC: mac(2), Bridge: map[inventory.BridgePort]inventory.IfIndex{},
				Tables: map[string]inventory.Result{inventory.TableFDB: inventory.Complete}, FDB: []inventory.FDBEntry{{MAC: cam, Port: 6, VLAN: 10}},
				PSEPorts: []inventory.PSEPort{{Index: inventory.PSEIndex{Group: 1, Port: 6}, State: inventory.PSEDelivering, Class: poe.Class3}}}
			for k := 1; k <= 8; k++ {
				ag.Interfaces = append(ag.Interfaces, inventory.Interface{Index: inventory.IfIndex(k), Name: fmt.Sprintf("gi%d", k), Type: 6, OperUp: new(k == 6)})
				ag.Bridge[inventory.BridgePort(k)] = inventory.IfIndex(k)
			}
			ev := &inventory.Evidence{Started: noon, Finished: noon, Agents: []inventory.Agent{ag},
				Coverage: inventory.CoverageList{{Subject: "yard", Source: inventory.SourceARP, Result: inventory.Complete}},
				Sightings: []inventory.Sighting{{MAC: mac(2), Addr: ip("192.0.2.2"), Source: inventory.SourceARP, Live: true},
					{MAC: cam, Addr: ip("0.0.0.0"), Source: inventory.SourceListen, Live: true, Probe: true}}}
			if c.from != "" {
				ev.Sightings = append(ev.Sightings, inventory.Sighting{MAC: cam, Addr: ip(c.from), Source: inventory.SourceListen, Live: true})
			}
			fs := diff.Audit(plan, inventory.Assemble(plan, ev, nil, nil), nil, noon)
			want(t, fs, "no-address/00:00:5e:00:53:31")
			tells(t, fs[0].Observed, "port 6 of sw", "class 3 power", c.says)
			if strings.Contains(fs[0].Observed, "0.0.0.0") {
				t.Errorf("0.0.0.0 became an address: %s", say(fs[0]))
			}
		})
	}
}

// A device that sleeps keeps its row in the forwarding table and its finding.
func TestAsleepIsNotWithoutAddress(t *testing.T) {
	plan := site(theSwitch(8))
	run := func(addrs ...netip.Addr) *inventory.Snapshot {
		s := seen(plan, noon)
		s.Devices = append(s.Devices, inventory.SeenDevice{Name: mac(0x31).String(), MACs: []inventory.MAC{mac(0x31)}, Addrs: addrs,
			NoAddress: len(addrs) == 0, Network: "yard",
			Presence: inventory.Present, Place: inventory.Place{Switch: "sw", Port: "6", Basis: inventory.ByFDB}})
		return s
	}
	m := newMemory()
	for range 2 {
		want(t, m.run(plan, run(ip("192.0.2.77"))), "unknown-device/00:00:5e:00:53:31")
		want(t, m.run(plan, run()), "unknown-device/00:00:5e:00:53:31")
		want(t, m.run(plan, run()), "unknown-device/00:00:5e:00:53:31")
	}
}

// A planned camera that has lost its IPv4 address, and answers by IPv6 alone, is
// told in the second run as one that the switch alone knows.
func TestLostAddressAnswersByIPv6(t *testing.T) {
	plan := site(theSwitch(8), camera("cam", 0x31, "sw/6"))
	run := func() *inventory.Snapshot {
		s := seen(plan, noon)
		d := &s.Devices[1]
		d.Presence, d.Addrs, d.Witnesses = inventory.Present, []netip.Addr{ip("fe80::31")}, []string{inventory.SourceFDB, inventory.SourceND}
		return s
	}
	m := newMemory()
	want(t, m.run(plan, run()))
	want(t, m.run(plan, run()), "no-address/cam")
}

// FC-21: phones behind an access point are a count with last week's; a made-up
// address on a cable is told, first; a maker's address is always told.
func TestFC21PrivateAddresses(t *testing.T) {
	plan := site(theSwitch(8))
	unknown := func(m inventory.MAC, port string, behindAP bool) inventory.SeenDevice {
		return inventory.SeenDevice{Name: m.String(), MACs: []inventory.MAC{m}, Addrs: []netip.Addr{ip("192.0.2.80")}, Private: m.IsLocal(),
			Presence: inventory.Present, Network: "yard",
			BehindAP: behindAP, Place: inventory.Place{Switch: "sw", Port: port, Basis: inventory.ByFDB},
			Maker: map[bool]string{true: "Example Works"}[!m.IsLocal()], MakerBy: "registry"}
	}
	s := seen(plan, noon)
	s.Networks[0].Private = 3
	for _, n := range []byte{4, 5, 6} {
		s.Devices = append(s.Devices, unknown(local(n), "7", true))
	}
	h := &inventory.History{Private: map[string]int{"yard": 3}}
	fs := diff.Audit(plan, s, h, noon)
	want(t, fs, "changing-mac-devices/yard")
	tells(t, fs[0].Observed, "3 private devices on Wi-Fi (3 last week)")

	powered(s, "sw/4", poe.Class3, 0)
	s.Devices = append(s.Devices, unknown(mac(0x44), "7", true), unknown(local(9), "4", false))
	fs = diff.Audit(plan, s, h, noon)
	want(t, fs, "unknown-device/02:00:5e:00:53:09", "unknown-device/00:00:5e:00:53:44", "changing-mac-devices/yard")
	tells(t, fs[0].Observed, "port 4 of sw", "class 3 power", "tells no maker")
	tells(t, fs[1].Observed, "Example Works")

	h.Private["yard"] = 1
	s.Networks[0].Private = 5
	tells(t, find(t, diff.Audit(plan, s, h, noon), "changing-mac-devices/yard").Observed, "at least twice as many")
}

// FC-21 from the switch's own table: three phones behind the access point, other
// ones a week later, are a count; what has a maker's address there is told, and so
// is a made-up address on a cable.
func TestFC21FromTheTable(t *testing.T) {
	plan := site(theSwitch(8), onPort("ap", inventory.AccessPoint, 0x07, "sw/7"))
	run := func(more []inventory.FDBEntry, phones ...byte) *inventory.Snapshot {
		a := switchAgent()
		a.FDB = append(more, inventory.FDBEntry{MAC: mac(0x07), Port: 7})
		a.PSEPorts = []inventory.PSEPort{{Index: inventory.PSEIndex{Group: 1, Port: 4}, State: inventory.PSEDelivering, Class: poe.Class3}}
		ev := &inventory.Evidence{Started: noon, Finished: noon,
			Coverage: inventory.CoverageList{{Subject: "yard", Source: inventory.SourceARP, Result: inventory.Complete}}}
		answer := func(m inventory.MAC, last byte) {
			ev.Sightings = append(ev.Sightings, inventory.Sighting{MAC: m, Addr: netip.AddrFrom4([4]byte{192, 0, 2, last}),
				Source: inventory.SourceARP, Live: true, Seen: noon})
		}
		answer(mac(2), 2)
		answer(mac(7), 7)
		for k, n := range phones {
			a.FDB = append(a.FDB, inventory.FDBEntry{MAC: local(n), Port: 7})
			answer(local(n), byte(80+k))
		}
		for k, r := range more {
			answer(r.MAC, byte(90+k))
		}
		ev.Agents = []inventory.Agent{a}
		return inventory.Assemble(plan, ev, nil, func(inventory.MAC) string { return "Example Works" })
	}
	h := &inventory.History{Private: map[string]int{"yard": 3}}
	for _, phones := range [][]byte{{0x21, 0x22, 0x23}, {0x24, 0x25, 0x26}} {
		fs := diff.Audit(plan, run(nil, phones...), h, noon)
		want(t, fs, "changing-mac-devices/yard")
		tells(t, fs[0].Observed, "3 private devices on Wi-Fi (3 last week)")
	}
	fs := diff.Audit(plan, run([]inventory.FDBEntry{{MAC: mac(0x44), Port: 7}, {MAC: local(9), Port: 4}}, 0x24, 0x25, 0x26), h, noon)
	want(t, fs, "unknown-device/02:00:5e:00:53:09", "unknown-device/00:00:5e:00:53:44", "changing-mac-devices/yard")
	tells(t, fs[0].Observed, "port 4 of sw", "class 3 power", "tells no maker")
	tells(t, fs[1].Observed, "port 7 of sw", "Example Works")
}

// FC-22: without a probe, the addresses of two cameras give a second DHCP server
// away; one finding names it with its port and who is affected.
func TestFC22SecondServer(t *testing.T) {
	router := onPort("router", inventory.Router, 0xfe, "")
	router.Addresses = []netip.Addr{ip("192.0.2.1")}
	plan := site(router, theSwitch(10), camera("cam-1", 0x41, "sw/1"), camera("cam-2", 0x42, "sw/2"))
	s := seen(plan, noon)
	for k, name := range []string{"cam-1", "cam-2"} {
		d, _ := s.Device(name)
		d.Addrs, d.Foreign, d.Witnesses = nil, []netip.Addr{ip(fmt.Sprintf("203.0.113.2%d", k))}, []string{inventory.SourceListen}
	}
	s.Devices = append(s.Devices, inventory.SeenDevice{Name: mac(0x66).String(), MACs: []inventory.MAC{mac(0x66)},
		Foreign: []netip.Addr{ip("203.0.113.1")}, Presence: inventory.Present,
		NoAddress: true, Place: inventory.Place{Switch: "sw", Port: "9", Basis: inventory.ByFDB}})
	fs := diff.Audit(plan, s, nil, noon)
	want(t, fs, "second-dhcp-server/203.0.113.0/24")
	tells(t, fs[0].Observed, "cam-1 and cam-2", "likely DHCP server 00:00:5e:00:53:66", "port 9 of sw")
	if !slices.Equal(fs[0].Behind, []string{"cam-1", "cam-2"}) || fs[0].Where != "sw/9" {
		t.Errorf("%s", say(fs[0]))
	}

	s.Shared = []inventory.SharedAddr{{Addr: ip("192.0.2.1"), MACs: []inventory.MAC{mac(0x66), mac(0xfe)}, Tries: 2}}
	fs = diff.Audit(plan, s, nil, noon)
	want(t, fs, "address-conflict/192.0.2.1", "second-dhcp-server/203.0.113.0/24")
	tells(t, fs[0].Expected, "the gateway of yard")

	t.Run("an answer to a probe", func(t *testing.T) {
		s := seen(plan, noon)
		s.DHCP = []inventory.DHCPServer{{Addr: ip("192.0.2.1"), MAC: mac(0xfe), Offered: ip("192.0.2.99"), Network: "yard"}}
		want(t, diff.Audit(plan, s, nil, noon))
		s.DHCP = append(s.DHCP, inventory.DHCPServer{Addr: ip("203.0.113.1"), MAC: mac(0x66), Offered: ip("203.0.113.50"), Network: "yard"})
		want(t, diff.Audit(plan, s, nil, noon), "second-dhcp-server/203.0.113.0/24")
	})
}

// A switch that was asked has a foot in a network that the plan lacks: its
// neighbour table tells addresses of devices that it has learned. That is one
// finding, and no second DHCP server.
func TestNetworkThatThePlanLacks(t *testing.T) {
	plan := site(theSwitch(10), camera("cam-1", 0x41, "sw/1"), camera("cam-2", 0x42, "sw/2"))
	for k := range plan.Devices {
		plan.Devices[k].Addresses = nil
	}
	told := func(names ...string) *inventory.Snapshot {
		s := seen(plan, noon)
		for k, name := range names {
			d, _ := s.Device(name)
			if d == nil {
				s.Devices = append(s.Devices, inventory.SeenDevice{Name: name, MACs: []inventory.MAC{mac(byte(k) + 0x60)},
					Presence: inventory.Present, NoAddress: true,
					Place: inventory.Place{Switch: "sw", Port: "9", Basis: inventory.ByFDB}})
				d = &s.Devices[len(s.Devices)-1]
			}
			d.Addrs, d.Foreign, d.Witnesses = nil, []netip.Addr{ip(fmt.Sprintf("203.0.113.2%d", k))}, []string{inventory.SourceFDB}
		}
		return s
	}
	all := []string{"cam-1", "cam-2", mac(0x62).String(), mac(0x63).String()}
	fs := diff.Audit(plan, told(all...), nil, noon)
	want(t, fs, "wrong-network/203.0.113.0/24")
	tells(t, fs[0].Title(), "203.0.113.0/24 is in no network of the plan", "4 devices in all")
	if fs[0].Severity != diff.Warning || !slices.Equal(fs[0].Behind, []string{mac(0x62).String(), mac(0x63).String(), "cam-1", "cam-2"}) {
		t.Errorf("%s", say(fs[0]))
	}
	// All planned: nothing that anyone must do soon. Two are no network.
	plan.Devices = append(plan.Devices, camera("cam-3", 0x43, "sw/3"))
	plan.Devices[len(plan.Devices)-1].Addresses = nil
	if fs = diff.Audit(plan, told("cam-1", "cam-2", "cam-3"), nil, noon); len(fs) != 1 || fs[0].Severity != diff.Note {
		t.Errorf("all planned: %v", fs)
	}
	want(t, diff.Audit(plan, told("cam-1", "cam-2"), nil, noon))
	// Who was in a planned network in the run before has left it.
	h := &inventory.History{Previous: seen(plan, noon.Add(-time.Hour))}
	for k := range h.Previous.Devices {
		h.Previous.Devices[k].Addrs = []netip.Addr{ip(fmt.Sprintf("192.0.2.%d", k+1))}
	}
	want(t, diff.Audit(plan, told("cam-1", "cam-2", "cam-3"), h, noon), "second-dhcp-server/203.0.113.0/24")
}
