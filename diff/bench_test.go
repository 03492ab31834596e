package diff_test

import (
	"encoding/binary"
	"fmt"
	"net/netip"
	"testing"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

// campus is a plan with a core, switches of distribution and leaves of 20
// cameras each, and what a run sees of it: one in twenty cameras is silent.
type campus struct {
	plan *inventory.Plan
	ev   *inventory.Evidence
	n    int
}

func newCampus(devices int) *campus {
	c := &campus{plan: site(), ev: &inventory.Evidence{Started: noon, Finished: noon,
		Coverage: inventory.CoverageList{{Subject: "yard", Source: inventory.SourceARP, Result: inventory.Complete}}}}
	c.plan.Networks[0].Subnet = netip.MustParsePrefix("10.0.0.0/8")
	leaves := devices / 20
	dists := (leaves + 23) / 24
	core := c.bridge("core", "", dists)
	for d := range dists {
		dist := c.bridge(fmt.Sprintf("dist-%d", d), fmt.Sprintf("core/%d", d+1), 26)
		c.learn(core, dist, d+1)
		c.learn(dist, core, 26)
		for l := d * 24; l < min(leaves, (d+1)*24); l++ {
			leaf := c.bridge(fmt.Sprintf("leaf-%d", l), fmt.Sprintf("dist-%d/%d", d, l%24+1), 24)
			c.learn(dist, leaf, l%24+1)
			c.learn(core, leaf, d+1)
			c.learn(leaf, dist, 25)
			c.learn(leaf, core, 25)
			for k := range 20 {
				m := c.camera(fmt.Sprintf("leaf-%d/%d", l, k+1))
				if c.n%20 != 0 {
					for _, at := range []struct{ agent, port int }{{leaf, k + 1}, {dist, l%24 + 1}, {core, d + 1}} {
						c.ev.Agents[at.agent].FDB = append(c.ev.Agents[at.agent].FDB, inventory.FDBEntry{MAC: m, Port: inventory.BridgePort(at.port)})
					}
				}
			}
		}
	}
	c.plan.Index()
	return c
}

func (c *campus) add(d inventory.Device) inventory.MAC {
	c.n++
	var m inventory.MAC
	binary.BigEndian.PutUint32(m[2:], uint32(c.n))
	ip := netip.AddrFrom4([4]byte{10, byte(c.n >> 16), byte(c.n >> 8), byte(c.n)})
	d.MACs, d.Addresses = []inventory.MAC{m}, []netip.Addr{ip}
	c.plan.Devices = append(c.plan.Devices, d)
	if c.n%20 != 0 || d.Role == inventory.Switch {
		c.ev.Sightings = append(c.ev.Sightings, inventory.Sighting{MAC: m, Addr: ip, Source: inventory.SourceARP, Live: true, Seen: noon, Tries: []int{1}})
	}
	return m
}

func (c *campus) bridge(name, at string, ports int) int {
	m := c.add(inventory.Device{Name: name, Role: inventory.Switch, Access: "core", At: inventory.ParsePortRef(at), Ports: ports,
		Feeds: inventory.Feed{Standard: poe.AT}, Budget: 370 * poe.Watt})
	a := inventory.Agent{Device: name, Read: noon, Version: "v3", BridgeMAC: m, Bridge: map[inventory.BridgePort]inventory.IfIndex{},
		Tables: map[string]inventory.Result{inventory.TableFDB: inventory.Complete},
		System: inventory.System{UpTime: new(uint32(1e6))}, Supplies: []inventory.PSESupply{{Group: 1, Budget: new(370 * poe.Watt), Used: new(100 * poe.Watt)}}}
	for k := 1; k <= ports+2; k++ {
		a.Interfaces = append(a.Interfaces, inventory.Interface{Index: inventory.IfIndex(k), Name: fmt.Sprintf("gi%d", k), Type: 6, OperUp: new(true),
			Speed: 1e9, InOctets: new(uint64(1e9)), OutOctets: new(uint64(1e9)), Wide: true, InErrors: new(uint64(0)), FCSErrors: new(uint64(0))})
		a.Bridge[inventory.BridgePort(k)] = inventory.IfIndex(k)
		if k <= ports {
			a.PSEPorts = append(a.PSEPorts, inventory.PSEPort{Index: inventory.PSEIndex{Group: 1, Port: k}, State: inventory.PSEDelivering,
				Class: poe.Class3, Actual: new(5 * poe.Watt), Denied: new(uint32(0)), Overload: new(uint32(0)), Short: new(uint32(0)), MPSAbsent: new(uint32(0))})
		}
	}
	c.ev.Agents = append(c.ev.Agents, a)
	return len(c.ev.Agents) - 1
}

func (c *campus) learn(at, whom, port int) {
	a := &c.ev.Agents[at]
	a.FDB = append(a.FDB, inventory.FDBEntry{MAC: c.ev.Agents[whom].BridgeMAC, Port: inventory.BridgePort(port)})
}

func (c *campus) camera(at string) inventory.MAC {
	return c.add(inventory.Device{Name: fmt.Sprintf("cam-%d", c.n+1), Role: inventory.Camera, At: inventory.ParsePortRef(at), Class: poe.Class3,
		Draws: inventory.Draws{Most: 11 * poe.Watt}, Stream: 4e6})
}

// history is a logbook of five weeks beside the snapshot.
func (c *campus) history(s *inventory.Snapshot) *inventory.History {
	m := newMemory()
	m.run(c.plan, s)
	for ref := range m.Peaks {
		for k := range 35 {
			m.Peaks[ref] = append(m.Peaks[ref], inventory.Peak{Day: noon.AddDate(0, 0, k-35), Draw: 6 * poe.Watt, Basis: inventory.Measured})
		}
	}
	for name, a := range m.Absences {
		a.Since = a.Since.Add(-time.Hour)
		m.Absences[name] = a
	}
	return &m.History
}

func benchmarkRun(b *testing.B, n int, assemble bool) {
	c := newCampus(n)
	snap := inventory.Assemble(c.plan, c.ev, nil, nil)
	hist := c.history(snap)
	b.ReportAllocs()
	for b.Loop() {
		if assemble {
			snap = inventory.Assemble(c.plan, c.ev, hist, nil)
		}
		if fs := diff.Audit(c.plan, snap, hist, noon); len(fs) < n/40 {
			b.Fatalf("%d findings", len(fs))
		}
	}
}

func BenchmarkAudit(b *testing.B) {
	for _, n := range []int{1000, 10000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) { benchmarkRun(b, n, false) })
	}
}

func BenchmarkAssembleAudit(b *testing.B) {
	for _, n := range []int{1000, 10000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) { benchmarkRun(b, n, true) })
	}
}

func BenchmarkPaper(b *testing.B) {
	for _, n := range []int{1000, 10000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			c := newCampus(n)
			for b.Loop() {
				diff.Paper(c.plan)
				diff.PaperLines(c.plan)
			}
		})
	}
}
