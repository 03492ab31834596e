package inventory_test

import (
	"encoding/binary"
	"fmt"
	"net/netip"
	"testing"
	"time"

	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

// campus is a plan and the evidence of a run as planned: a core, a switch of
// distribution for each 24 leaves, and 20 cameras on each leaf.
func campus(devices int) (*inventory.Plan, *inventory.Evidence) {
	leaves := max(devices/20, 1)
	dists := (leaves + 23) / 24
	c := &campusBuilder{plan: &inventory.Plan{Site: inventory.Site{Name: "campus", Location: time.UTC},
		Networks: []inventory.Network{{Name: "all", Subnet: netip.MustParsePrefix("10.0.0.0/8"), Unknown: inventory.UnknownWarning}}},
		ev: &inventory.Evidence{Started: noon, Finished: noon,
			Coverage: inventory.CoverageList{{Subject: "all", Source: inventory.SourceARP, Result: inventory.Complete}}}}
	core := c.addSwitch("core", "", "", dists)
	for d := range dists {
		dist := c.addSwitch(fmt.Sprintf("dist-%d", d), "core", fmt.Sprint(d+1), 26)
		for l := d * 24; l < min(leaves, (d+1)*24); l++ {
			leaf := c.addSwitch(fmt.Sprintf("leaf-%d", l), fmt.Sprintf("dist-%d", d), fmt.Sprint(l%24+1), 24)
			for k := range devices / leaves {
				m := c.addCamera(fmt.Sprintf("leaf-%d", l), k+1)
				c.see(leaf, m, k+1)
				c.see(dist, m, l%24+1)
				c.see(core, m, d+1)
			}
		}
	}
	c.seeSwitches(dists, leaves)
	c.plan.Index()
	return c.plan, c.ev
}

type campusBuilder struct {
	plan *inventory.Plan
	ev   *inventory.Evidence
	n    int
}

func (c *campusBuilder) next() (inventory.MAC, netip.Addr) {
	c.n++
	var m inventory.MAC
	binary.BigEndian.PutUint32(m[2:], uint32(c.n))
	return m, netip.AddrFrom4([4]byte{10, byte(c.n >> 16), byte(c.n >> 8), byte(c.n)})
}

func (c *campusBuilder) addSwitch(name, at, port string, ports int) int {
	m, a := c.next()
	c.plan.Devices = append(c.plan.Devices, inventory.Device{Name: name, Role: inventory.Switch, MACs: []inventory.MAC{m}, Addresses: []netip.Addr{a},
		Access: "core", At: inventory.PortRef{Device: at, Port: port}, Ports: ports, Feeds: inventory.Feed{Standard: poe.AT}})
	ag := bridgeAgent(name, m, ports+2)
	for k := 1; k <= ports; k++ {
		ag.PSEPorts = append(ag.PSEPorts, inventory.PSEPort{Index: inventory.PSEIndex{Group: 1, Port: k}, State: inventory.PSEDelivering,
			Class: poe.Class3, Actual: new(5 * poe.Watt)})
	}
	ag.Supplies = []inventory.PSESupply{{Group: 1, Budget: new(370 * poe.Watt), Used: new(100 * poe.Watt)}}
	c.ev.Agents = append(c.ev.Agents, ag)
	c.ev.Sightings = append(c.ev.Sightings, inventory.Sighting{MAC: m, Addr: a, Source: inventory.SourceARP, Live: true, Seen: noon})
	return len(c.ev.Agents) - 1
}

func (c *campusBuilder) addCamera(sw string, port int) inventory.MAC {
	m, a := c.next()
	c.plan.Devices = append(c.plan.Devices, inventory.Device{Name: fmt.Sprintf("cam-%d", c.n), Role: inventory.Camera, MACs: []inventory.MAC{m},
		Addresses: []netip.Addr{a}, At: inventory.PortRef{Device: sw, Port: fmt.Sprint(port)}, Class: poe.Class3})
	c.ev.Sightings = append(c.ev.Sightings, inventory.Sighting{MAC: m, Addr: a, Source: inventory.SourceARP, Live: true, Seen: noon})
	return m
}

func (c *campusBuilder) see(agent int, m inventory.MAC, port int) {
	a := &c.ev.Agents[agent]
	a.FDB = append(a.FDB, inventory.FDBEntry{MAC: m, Port: inventory.BridgePort(100 + port)})
}

// seeSwitches lets the switches know one another as far as the management
// station's traffic teaches them: up to the core, down to what is below.
func (c *campusBuilder) seeSwitches(dists, leaves int) {
	at := map[string]int{}
	for i, a := range c.ev.Agents {
		at[a.Device] = i
	}
	own := func(name string) inventory.MAC { return c.ev.Agents[at[name]].BridgeMAC }
	for d := range dists {
		dist := fmt.Sprintf("dist-%d", d)
		c.see(at["core"], own(dist), d+1)
		c.see(at[dist], own("core"), 26)
		for o := range dists {
			if o != d {
				c.see(at[dist], own(fmt.Sprintf("dist-%d", o)), 26)
			}
		}
		for l := range leaves {
			leaf := fmt.Sprintf("leaf-%d", l)
			if l/24 == d {
				c.see(at["core"], own(leaf), d+1)
				c.see(at[dist], own(leaf), l%24+1)
				c.see(at[leaf], own(dist), 25)
				c.see(at[leaf], own("core"), 25)
			} else {
				c.see(at[dist], own(leaf), 26)
			}
		}
	}
	for l := range leaves {
		for o := range leaves {
			if o != l {
				c.see(at[fmt.Sprintf("leaf-%d", l)], own(fmt.Sprintf("leaf-%d", o)), 25)
			}
		}
		for d := range dists {
			if d != l/24 {
				c.see(at[fmt.Sprintf("leaf-%d", l)], own(fmt.Sprintf("dist-%d", d)), 25)
			}
		}
	}
}

func BenchmarkAssemble(b *testing.B) {
	for _, n := range []int{1000, 10000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			plan, ev := campus(n)
			b.ReportAllocs()
			for b.Loop() {
				s := inventory.Assemble(plan, ev, nil, nil)
				if p := s.Devices[len(s.Devices)-1].Place; p.Basis != inventory.ByFDB || p.Among != 0 {
					b.Fatalf("the last camera is at %+v", p)
				}
			}
		})
	}
}
