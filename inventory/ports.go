package inventory

import (
	"cmp"
	"maps"
	"slices"
	"strings"
)

// manyMACs: a port that learned more is taken for an uplink, even without a
// neighbour that says so.
const manyMACs = 3

// ports states what each port of each agent does, and its power.
func (a *assembler) ports() {
	seen := map[PortRef][]string{}
	for _, d := range a.devs {
		if !d.Place.IsZero() && d.Place.Basis != Remembered {
			seen[d.Place.Ref()] = append(seen[d.Place.Ref()], d.Name)
		}
	}
	planned := map[PortRef][]string{}
	for i := range a.plan.Devices {
		d := &a.plan.Devices[i]
		if at := a.plan.ManagedPort(d); !at.IsZero() {
			planned[at] = append(planned[at], d.Name)
		}
	}
	for _, v := range a.views {
		if !v.hasPorts() {
			continue
		}
		power := a.powerOf(v)
		macs := v.macCounts()
		untagged, tagged, known := v.vlans()
		for k := range v.Interfaces {
			f := &v.Interfaces[k]
			pw := power[f.Index]
			ref := PortRef{v.name, v.label(f.Index)}
			if !isPhysical(*f) && pw == nil && macs[f.Index] == 0 && len(seen[ref]) == 0 {
				continue
			}
			p := PortState{Switch: v.name, Port: ref.Port, Interface: Clean(f.Name), Index: f.Index, AdminUp: f.AdminUp, Up: f.OperUp,
				HalfDuplex: f.HalfDuplex, Planned: planned[ref], Seen: seen[ref], MACCount: macs[f.Index],
				VLAN: untagged[f.Index], Tagged: tagged[f.Index], VLANKnown: known, Power: pw, Counters: countersOf(v, f)}
			p.Interface = cmp.Or(p.Interface, Clean(f.Descr))
			if f.OperUp != nil && *f.OperUp {
				p.Speed = f.Speed
			}
			a.uplink(v, f, &p)
			a.snap.Ports = append(a.snap.Ports, p)
		}
		a.supplies(v, power)
	}
	a.paperSupplies()
}

// hasPorts reports whether the agent is of a kind whose ports are worth a line:
// it bridges, or it feeds.
func (v *agentView) hasPorts() bool {
	if v.dev != nil && (v.dev.Role == Switch || v.dev.Role == Router) {
		return len(v.Interfaces) > 0
	}
	return len(v.Bridge) > 2 || len(v.PSEPorts) > 0
}

func countersOf(v *agentView, f *Interface) PortCounters {
	return PortCounters{Read: v.Read, In: f.InOctets, Out: f.OutOctets, Wide: f.Wide, InErrors: f.InErrors, OutErrors: f.OutErrors,
		FCS: f.FCSErrors, Late: f.LateColls, Discontinuity: f.Discontinuity}
}

func (v *agentView) macCounts() map[IfIndex]int {
	type learned struct {
		port IfIndex
		mac  MAC
	}
	seen := make(map[learned]bool, len(v.FDB))
	n := make(map[IfIndex]int, len(v.Bridge))
	for _, r := range v.FDB {
		k := learned{v.ifOf(r.Port), r.MAC}
		if r.Self || k.port == 0 || seen[k] || r.MAC.IsMulticast() {
			continue
		}
		seen[k] = true
		n[k.port]++
	}
	return n
}

// vlans gives each interface its untagged VLAN and its tagged ones (RFC 4363
// dot1qPvid, dot1qVlanCurrentEgressPorts and …UntaggedPorts).
func (v *agentView) vlans() (untagged map[IfIndex]int, tagged map[IfIndex][]int, known bool) {
	untagged, tagged = map[IfIndex]int{}, map[IfIndex][]int{}
	for _, p := range slices.Sorted(maps.Keys(v.PVID)) {
		if i := v.ifOf(p); i != 0 {
			untagged[i] = v.PVID[p]
		}
	}
	for _, vl := range v.VLANs {
		for _, p := range vl.Egress {
			i := v.ifOf(p)
			if i == 0 || slices.Contains(vl.Untagged, p) || slices.Contains(tagged[i], vl.ID) {
				continue
			}
			tagged[i] = append(tagged[i], vl.ID)
		}
	}
	for i := range tagged {
		slices.Sort(tagged[i])
	}
	return untagged, tagged, len(v.PVID) > 0
}

// uplink judges whether the port leads to more than one device, and names who
// spoke on it.
func (a *assembler) uplink(v *agentView, f *Interface, p *PortState) {
	for k := range v.Neighbors {
		n := &v.Neighbors[k]
		if v.neighborIf(n) != f.Index || v.isDown(f.Index) {
			continue
		}
		name := cmp.Or(Clean(n.SysName), n.ChassisMAC.String(), Clean(n.Chassis))
		if i, ok := a.neighborDevice(n); ok {
			name = a.devs[i].Name
		}
		if name != "" && !slices.Contains(p.Neighbors, name) {
			p.Neighbors = append(p.Neighbors, name)
		}
		for _, c := range n.Capabilities {
			if c == "bridge" || c == "wlanAccessPoint" || c == "router" || c == "repeater" {
				p.Uplink, p.UplinkWhy = true, "LLDP neighbour "+name
			}
		}
	}
	b := slices.Index(a.bridges, v)
	switch {
	case b >= 0 && a.topo.leads(b, v.trunk(f.Index)):
		p.Uplink, p.UplinkWhy = true, cmp.Or(p.UplinkWhy, "another switch lies behind it")
	case p.MACCount > manyMACs:
		p.Uplink, p.UplinkWhy = true, cmp.Or(p.UplinkWhy, "it learned many addresses")
	}
}

// edges hangs each device that has a place into the tree; the switches are
// there already. Where the plan knows what stands between a device and the port behind which it was
// seen, the plan's word draws the branch.
func (a *assembler) edges() {
	hung := map[string]bool{}
	for _, e := range a.snap.Edges {
		hung[e.Child] = true
	}
	for i, d := range a.devs {
		p := a.entry(i)
		var e Edge
		switch {
		case hung[d.Name]:
			continue
		case !d.Place.IsZero() && (p == nil || !a.seenThrough(p)):
			e = Edge{Parent: d.Place.Switch, Port: d.Place.Port, Basis: d.Place.Basis, Among: d.Place.Among}
		case p != nil && !a.plan.Above(p).IsZero():
			up := a.plan.Above(p)
			e = Edge{Own: p.Port, Parent: up.Device, Port: up.Port, Basis: Planned}
			if up.Port != "" && up == a.plan.ManagedPort(p) && d.Place.Ref() == up {
				e.Basis = d.Place.Basis
			}
		default:
			continue
		}
		e.Child = d.Name
		if p != nil && len(p.Via) > 0 {
			e.Note = "via " + strings.Join(p.Via, ", ")
		}
		a.snap.Edges = append(a.snap.Edges, e)
	}
}

// seenThrough reports whether the plan's way to the device leads through the
// very port behind which it was seen, with others behind it.
func (a *assembler) seenThrough(p *Device) bool {
	at, d := a.plan.ManagedPort(p), a.devs[a.byName[p.Name]]
	return !at.IsZero() && d.Place.Ref() == at && (at != p.At || d.Place.Among > 1 && d.Place.Basis != ByLLDP)
}
