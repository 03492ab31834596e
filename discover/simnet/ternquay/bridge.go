package ternquay

import (
	"fmt"
	"net/netip"
	"slices"

	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

// bridging fills in what a router or switch knows as a bridge.
func (w *world) bridging(b *box, a *inventory.Agent) {
	p := w.panels[b.name]
	a.BridgeMAC = b.hw()
	a.Bridge = map[inventory.BridgePort]inventory.IfIndex{}
	a.PVID = map[inventory.BridgePort]int{}
	a.LLDP = inventory.LLDPLocal{ChassisSubtype: 4, Chassis: b.mac, ChassisMAC: b.hw(), SysName: b.name}
	for n := 1; n <= p.ports; n++ {
		a.Interfaces = append(a.Interfaces, w.portInterface(b, n))
		a.Bridge[inventory.BridgePort(n)] = p.ifIndex(n)
		a.PVID[inventory.BridgePort(n)] = p.untagged(n)
		a.LLDP.Ports = append(a.LLDP.Ports, inventory.LLDPLocalPort{Num: inventory.LLDPPort(p.lldp + n - 1), Subtype: 5, ID: p.ifName(n), Descr: p.ifName(n),
			PSE: n <= p.feeds && !p.exact})
		if o := w.on(b, n); o != nil && o.speaks() {
			a.Neighbors = append(a.Neighbors, w.neighbor(b, n, o))
		}
	}
	for _, v := range []int{yard, cameras, berths} {
		a.VLANs = append(a.VLANs, p.members(v))
	}
	a.FDB = w.learned(b)
	w.feeding(b, a)
	if p.entity > 0 {
		a.Entities = p.entities(b)
	}
}

func (p panel) ifIndex(n int) inventory.IfIndex { return inventory.IfIndex(p.index + n - 1) }

func (p panel) ifName(n int) string { return fmt.Sprint(p.name, n) }

func (p panel) untagged(n int) int {
	if v := p.vlan[n]; v != 0 {
		return v
	}
	return yard
}

// members are the ports of a VLAN.
func (p panel) members(vlan int) inventory.VLAN {
	names := map[int]string{yard: "yard", cameras: "cameras", berths: "berths"}
	v := inventory.VLAN{ID: vlan, Name: names[vlan]}
	for n := 1; n <= p.ports; n++ {
		switch {
		case p.untagged(n) == vlan:
			v.Egress = append(v.Egress, inventory.BridgePort(n))
			v.Untagged = append(v.Untagged, inventory.BridgePort(n))
		case slices.Contains(p.tagged[n], vlan):
			v.Egress = append(v.Egress, inventory.BridgePort(n))
		}
	}
	return v
}

func (w *world) portInterface(b *box, n int) inventory.Interface {
	p := w.panels[b.name]
	up := w.on(b, n) != nil
	i := inventory.Interface{Index: p.ifIndex(n), Name: p.ifName(n), Descr: p.ifName(n), Type: ethernet, MAC: b.hw(), AdminUp: new(true), OperUp: &up, Connector: new(true),
		InErrors: new(uint64), OutErrors: new(uint64), FCSErrors: new(uint64), LateColls: new(uint64), HalfDuplex: new(false)}
	switch {
	case !up:
	case w.fast(b, n):
		i.Speed = 1e9
	default:
		i.Speed = 1e8
	}
	return i
}

// learned is the forwarding table: everything that is lit has spoken lately.
func (w *world) learned(b *box) []inventory.FDBEntry {
	out := []inventory.FDBEntry{{MAC: b.hw(), VLAN: yard, Self: true}}
	for i := range w.boxes {
		o := &w.boxes[i]
		n := w.toward(b, o)
		if n == 0 || o.mac == "" || !w.lit(o) {
			continue
		}
		vlans := []int{o.vlan}
		if o.shows == router {
			vlans = []int{yard, cameras, berths}
		}
		for _, v := range vlans {
			out = append(out, inventory.FDBEntry{MAC: o.hw(), Port: inventory.BridgePort(n), VLAN: v})
		}
	}
	return out
}

// speaks reports whether the box sends LLDP.
func (b *box) speaks() bool {
	return b.shows == router || b.shows == bridge || b.shows == wireless || b.by != ""
}

// neighbor is what the box o told of itself by LLDP on port n of b.
func (w *world) neighbor(b *box, n int, o *box) inventory.LLDPNeighbor {
	p := w.panels[b.name]
	l := inventory.LLDPNeighbor{Local: inventory.LLDPPort(p.lldp + n - 1), LocalIndex: p.ifIndex(n), ChassisSubtype: 4, Chassis: o.mac, ChassisMAC: o.hw(),
		PortSubtype: 5, PortID: "eth0", PortDescr: "eth0", SysName: o.name, SysDescr: descriptions[o.shows], Addresses: []netip.Addr{netip.MustParseAddr(o.addr)}}
	switch o.shows {
	case router:
		l.Capabilities = []string{"bridge", "router"}
	case bridge:
		l.Capabilities = []string{"bridge"}
	case wireless:
		l.Capabilities = []string{"wlanAccessPoint"}
	default:
		l.Capabilities = []string{"stationOnly"}
		l.MED = &inventory.MEDInventory{Maker: "Fairlead", Model: "Dome 4", Firmware: "2.1.7"}
	}
	if far, ok := w.panels[o.name]; ok {
		l.PortID = far.ifName(w.toward(o, b))
		l.PortDescr = l.PortID
	}
	if o.asks > 0 && w.fed(b, n) == o {
		l.Power = &inventory.LLDPPower{PD: true, Class: o.powerClass(), Requested: poe.FromWatts(o.asks), Allocated: poe.FromWatts(o.asks), Source: o.by}
	}
	return l
}

func (b *box) powerClass() poe.Class {
	c, err := poe.ClassOf(int64(b.class))
	if err != nil {
		return 0
	}
	return c
}

// feeding fills in the PSE rows and the supply of a switch that gives power.
func (w *world) feeding(b *box, a *inventory.Agent) {
	p := w.panels[b.name]
	for n := 1; n <= p.feeds; n++ {
		row := inventory.PSEPort{Index: inventory.PSEIndex{Group: 1, Port: n}, Enabled: new(true), State: inventory.PSESearching, Priority: 3,
			Denied: new(uint32), Overload: new(uint32), Short: new(uint32), BadSig: new(uint32)}
		if slices.Contains(p.dark, n) {
			row.Enabled, row.State = new(false), inventory.PSEOff
		} else if o := w.fed(b, n); o != nil {
			row.State, row.Class = inventory.PSEDelivering, o.powerClass()
			if p.exact {
				row.Actual = new(poe.FromWatts(o.watts))
			}
		}
		a.PSEPorts = append(a.PSEPorts, row)
	}
	if p.feeds > 0 {
		a.Supplies = []inventory.PSESupply{{Group: 1, On: new(true), Budget: new(poe.FromWatts(p.budget)), Used: new(poe.FromWatts(w.given(b)))}}
	}
}

// given is what all ports of a switch give together, in watts.
func (w *world) given(b *box) float64 {
	sum := 0.0
	for n := 1; n <= w.panels[b.name].feeds; n++ {
		if o := w.fed(b, n); o != nil {
			sum += o.watts
		}
	}
	return sum
}

// entities are the chassis and its ports. Those that give power stand apart from
// the others, so that their numbers have a gap.
func (p panel) entities(b *box) []inventory.Entity {
	out := []inventory.Entity{{Index: 1, Class: 3, Name: b.name, Descr: descriptions[b.shows], Maker: "Fairlead", Model: "Quoin 10P", Serial: "TQ-0002", Hardware: "B", Software: "4.2.1"}}
	for n := 1; n <= p.ports; n++ {
		at := p.entity + n - 1
		if n > p.feeds {
			at += 2
		}
		out = append(out, inventory.Entity{Index: inventory.EntityIndex(at), Class: 10, In: 1, Position: n, Name: p.ifName(n), Interfaces: []inventory.IfIndex{p.ifIndex(n)}})
	}
	return out
}
