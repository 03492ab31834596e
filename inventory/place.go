package inventory

import (
	"cmp"
	"maps"
	"slices"
	"strings"
)

// placeAll decides on which port each device hangs: by LLDP, else by the
// forwarding tables, else where it was last.
func (a *assembler) placeAll() {
	a.buildTopology()
	a.placeByFDB()
	a.placeByLLDP()
	for i, d := range a.devs {
		if d.Place.IsZero() && !d.Self {
			a.placeByMemory(i)
		}
	}
}

// buildTopology gives the forwarding tables of all agents to the topology.
func (a *assembler) buildTopology() {
	var bs []bridge
	number := map[string]int{} // view name -> bridge
	for _, v := range a.views {
		if len(v.FDB) == 0 && len(v.Bridge) == 0 {
			continue
		}
		b := bridge{name: v.name, own: a.bridgeMACs(v), direct: map[IfIndex]int{}}
		for _, r := range v.FDB {
			if i := v.ifOf(r.Port); i != 0 && !r.Self && !a.hidden[r.MAC] {
				b.rows = append(b.rows, bridgeRow{r.MAC, i})
			}
		}
		number[v.name] = len(bs)
		bs = append(bs, b)
		a.bridges = append(a.bridges, v)
	}
	for x, v := range a.bridges {
		for k := range v.Neighbors {
			n := &v.Neighbors[k]
			i := v.neighborIf(n)
			if i == 0 || v.isDown(i) {
				continue
			}
			if dev, ok := a.neighborDevice(n); ok {
				if y, isBridge := number[a.devs[dev].Name]; isBridge && y != x {
					bs[x].direct[v.trunk(i)] = y
				}
			}
		}
	}
	a.topo = newTopology(bs)
	a.spots = a.topo.spots()
}

// bridgeMACs are the addresses by which others know the bridge: all of its device's.
func (a *assembler) bridgeMACs(v *agentView) []MAC {
	own := v.macs()
	if i, ok := a.byName[v.name]; ok {
		for _, m := range a.devs[i].MACs {
			if !slices.Contains(own, m) {
				own = append(own, m)
			}
		}
	}
	return own
}

func (v *agentView) isDown(i IfIndex) bool {
	up, known := v.up(i)
	return known && !up
}

func (a *assembler) placeByFDB() {
	for _, d := range a.devs {
		for _, m := range d.MACs {
			s, ok := a.spots[m]
			if !ok {
				continue
			}
			v := a.bridges[s.bridge]
			if v.name == d.Name {
				continue
			}
			p := Place{Switch: v.name, Port: v.label(s.port), Basis: ByFDB, Among: s.among, Seen: v.Read}
			if s.among < 2 {
				p.Among = 0
			}
			if !s.exact {
				p.Among = max(s.among, 2)
				p.Basis = Inferred
			}
			if d.Place.IsZero() || p.Basis == ByFDB && d.Place.Basis == Inferred {
				d.Place = p
			}
		}
	}
	a.placeBridges()
}

// placeBridges hangs the switches themselves into the tree.
func (a *assembler) placeBridges() {
	if len(a.bridges) == 0 {
		return
	}
	for b, h := range a.topo.parents(a.root()) {
		if h.parent < 0 {
			continue
		}
		up, v := a.bridges[h.parent], a.bridges[b]
		d := a.devs[a.deviceOf(v)]
		d.Place = Place{Switch: up.name, Port: up.label(h.port), Basis: ByFDB, Seen: up.Read}
		if h.among > 0 {
			d.Place.Among = h.among + 1
		}
		if !h.exact {
			d.Place.Basis = Inferred
		}
		a.snap.Edges = append(a.snap.Edges, Edge{Child: v.name, Own: v.label(h.own), Parent: up.name, Port: up.label(h.port),
			Basis: d.Place.Basis, Among: d.Place.Among})
	}
}

// root is the bridge that the tree hangs from: the router, else the switch that
// the router hangs on, else the planned switch that hangs on none of the others.
func (a *assembler) root() int {
	byName := func(name string) int {
		return slices.IndexFunc(a.bridges, func(v *agentView) bool { return v.name == name })
	}
	for _, d := range a.plan.Devices {
		if d.Role != Router {
			continue
		}
		if b := byName(d.Name); b >= 0 {
			return b
		}
		for _, m := range a.devs[a.byName[d.Name]].MACs {
			if s, ok := a.spots[m]; ok && s.exact {
				return s.bridge
			}
		}
	}
	for b, v := range a.bridges {
		if v.dev != nil && byName(v.dev.At.Device) < 0 {
			return b
		}
	}
	return 0
}

// neighborDevice is the device that a neighbour row names: by its addresses,
// else by its name.
func (a *assembler) neighborDevice(n *LLDPNeighbor) (int, bool) {
	for _, m := range []MAC{n.ChassisMAC, n.PortMAC} {
		if i, ok := a.owner[m]; ok && m.IsValid() {
			return i, true
		}
	}
	for _, ip := range n.Addresses {
		if i, ok := a.byAddr[ip]; ok {
			return i, true
		}
	}
	if i, ok := a.byName[strings.ToLower(Clean(n.SysName))]; ok && n.SysName != "" {
		return i, true
	}
	return 0, false
}

// placeByLLDP lets a neighbour that speaks for itself outrank the forwarding
// table, where the link is up and it is alone on the port: unmanaged switches pass LLDP on.
func (a *assembler) placeByLLDP() {
	for _, v := range a.views {
		on := map[IfIndex][]int{}
		for k := range v.Neighbors {
			n := &v.Neighbors[k]
			i := v.neighborIf(n)
			if i == 0 || v.isDown(i) {
				continue
			}
			dev, ok := a.neighborDevice(n)
			if !ok {
				dev, ok = a.openNeighbor(n)
			}
			if ok && !slices.Contains(on[i], dev) && a.devs[dev].Name != v.name {
				on[i] = append(on[i], dev)
			}
			if ok {
				a.devs[dev].learnFrom(n)
			}
		}
		for _, i := range slices.Sorted(maps.Keys(on)) {
			for _, dev := range on[i] {
				a.placeNeighbor(v, i, dev, len(on[i]))
			}
		}
	}
}

func (a *assembler) placeNeighbor(v *agentView, i IfIndex, dev, neighbors int) {
	d := a.devs[dev]
	d.witness(SourceLLDP)
	if a.bridgeNamed(d.Name) >= 0 {
		return // a managed switch: the tree alone knows which end is up
	}
	p := Place{Switch: v.name, Port: v.label(i), Basis: ByLLDP, Seen: v.Read}
	if neighbors > 1 {
		p.Among = max(neighbors, d.Place.Among)
	}
	if d.Place.Basis == ByLLDP && d.Place.Among == 0 {
		return
	}
	d.Place = p
}

func (a *assembler) bridgeNamed(name string) int {
	return slices.IndexFunc(a.bridges, func(v *agentView) bool { return v.name == name })
}

// openNeighbor makes a device of a neighbour that nothing else knows, where it
// gives an address of the link layer.
func (a *assembler) openNeighbor(n *LLDPNeighbor) (int, bool) {
	m := n.ChassisMAC
	if !m.IsValid() {
		m = n.PortMAC
	}
	if !m.IsValid() || m.IsMulticast() || a.hidden[m] || len(a.devs) >= len(a.plan.Devices)+mostUnknown {
		return 0, false
	}
	i, ok := a.twin(m)
	if !ok {
		i = a.open(m.String())
	}
	a.claim(m, i)
	return i, true
}

// learnFrom takes what a neighbour says of itself.
func (d *SeenDevice) learnFrom(n *LLDPNeighbor) {
	d.Hostname = cmp.Or(d.Hostname, Clean(n.SysName))
	if n.MED == nil {
		return
	}
	if d.Maker == "" && n.MED.Maker != "" {
		d.Maker, d.MakerBy = Clean(n.MED.Maker), "lldp-med"
	}
	d.Product = cmp.Or(d.Product, Clean(n.MED.Model))
	d.Serial = cmp.Or(d.Serial, Clean(n.MED.Serial))
	d.Firmware = cmp.Or(d.Firmware, Clean(n.MED.Software), Clean(n.MED.Firmware))
}

// placeByMemory keeps the last known place, with its date, of a device that is
// still there: rows age out after some minutes of silence.
func (a *assembler) placeByMemory(i int) {
	d := a.devs[i]
	for _, m := range d.MACs {
		if p, ok := a.hist.Places[m]; ok && !p.IsZero() {
			p.Basis = Remembered
			d.Place = p
			return
		}
	}
}
