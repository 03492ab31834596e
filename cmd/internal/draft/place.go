package draft

import (
	"cmp"
	"slices"
	"strconv"

	"boundwalk/inventory"
)

// device is the drafted entry of what the snapshot calls so.
func (m *drafter) device(snapName string) *inventory.Device {
	for i := range m.plan.Devices {
		if m.seen[m.plan.Devices[i].Name] == snapName {
			return &m.plan.Devices[i]
		}
	}
	return nil
}

// longestLabel is the longest port's label that a plan takes, in bytes.
const longestLabel = 64

// places hangs each device where it was seen. What shares a port hangs behind
// the one that can stand between, else behind a switch that cannot be asked.
func (m *drafter) places() {
	groups := map[inventory.PortRef][]string{} // snapshot names
	var refs []inventory.PortRef
	for i := range m.snap.Devices {
		s := &m.snap.Devices[i]
		d := m.device(s.Name)
		if d == nil {
			continue
		}
		up := m.device(s.Place.Switch)
		if up == nil || up == d || s.Place.Port == "" || s.Place.Basis != inventory.ByLLDP && s.Place.Basis != inventory.ByFDB &&
			s.Place.Basis != inventory.Inferred {
			if d.Role != inventory.Router {
				m.check(d.Name, "at", "no switch that was asked told where it hangs")
			}
			continue
		}
		if len(s.Place.Port) > longestLabel {
			d.At = inventory.PortRef{Device: up.Name}
			m.check(d.Name, "at", "the name of its port is too long for a plan")
			continue
		}
		ref := inventory.PortRef{Device: up.Name, Port: s.Place.Port}
		for _, r := range refs { // the plan makes no difference between Gi1 and gi1
			if r.Device == ref.Device && inventory.PortName(r.Port) == inventory.PortName(ref.Port) {
				ref = r
			}
		}
		if groups[ref] == nil {
			refs = append(refs, ref)
		}
		groups[ref] = append(groups[ref], s.Name)
	}
	slices.SortFunc(refs, func(a, b inventory.PortRef) int {
		return cmp.Or(cmp.Compare(a.Device, b.Device), inventory.ComparePorts(a.Port, b.Port))
	})
	for _, ref := range refs {
		m.hang(ref, groups[ref])
	}
	for _, e := range m.snap.Edges {
		if d := m.device(e.Child); d != nil && e.Own != "" && len(e.Own) <= longestLabel && d.At.Port != "" {
			d.Port = e.Own
		}
	}
	m.freePorts()
}

// hang puts the devices that were seen on one port there.
func (m *drafter) hang(ref inventory.PortRef, group []string) {
	if len(group) == 1 {
		d, s := m.device(group[0]), m.snapDevice(group[0])
		d.At = ref
		if s.Place.Basis == inventory.Inferred {
			m.check(d.Name, "at", "not sure: it lies somewhere behind that port")
		}
		return
	}
	var between []string
	for _, name := range group {
		d := m.device(name)
		if d.Role == inventory.AccessPoint || d.Role == inventory.Radio || d.Role == inventory.Switch {
			between = append(between, name)
		}
	}
	if len(between) == 1 {
		first := m.device(between[0])
		first.At = ref
		for _, name := range group {
			if d := m.device(name); d != first {
				d.At = inventory.PortRef{Device: first.Name}
				if first.Role != inventory.AccessPoint {
					m.check(d.Name, "at", "seen on port %s of %s, as is %s", ref.Port, ref.Device, first.Name)
				}
			}
		}
		return
	}
	sw := inventory.Device{Name: m.name(ref.Device + "-" + slug(ref.Port) + "-switch"), Role: inventory.PlainSwitch, At: ref}
	m.check(sw.Name, "role", "%d devices were seen on port %s of %s, so that a switch must stand between", len(group), ref.Port, ref.Device)
	for _, name := range group {
		m.device(name).At = inventory.PortRef{Device: sw.Name}
	}
	m.plan.Devices = append(m.plan.Devices, sw)
}

func (m *drafter) snapDevice(name string) *inventory.SeenDevice {
	s, ok := m.snap.Device(name)
	if !ok {
		return &inventory.SeenDevice{}
	}
	return s
}

// freePorts drops a device's own port where another device hangs on it, for the plan
// has one word on each port, and counts the numbered ports.
func (m *drafter) freePorts() {
	taken := map[inventory.PortRef]bool{}
	for _, d := range m.plan.Devices {
		taken[inventory.PortRef{Device: d.At.Device, Port: inventory.PortName(d.At.Port)}] = true
	}
	for i := range m.plan.Devices {
		d := &m.plan.Devices[i]
		if d.Port != "" && taken[inventory.PortRef{Device: d.Name, Port: inventory.PortName(d.Port)}] {
			m.check(d.Name, "port", "its own port %s towards %s also has a device behind it", d.Port, d.At.Device)
			d.Port = ""
		}
		d.Ports = m.numbered(d)
	}
}

// numbered is how many ports a switch has, where their labels are the numbers
// from 1 and each of them is there.
func (m *drafter) numbered(d *inventory.Device) int {
	have, top := map[int]bool{}, 0
	for _, p := range m.snap.Ports {
		if p.Switch != m.seen[d.Name] {
			continue
		}
		if n, err := strconv.Atoi(p.Port); err == nil {
			if n < 1 || strconv.Itoa(n) != p.Port {
				return 0
			}
			have[n], top = true, max(top, n)
		}
	}
	if len(have) != top {
		return 0
	}
	return top
}

// rings cuts a loop of devices that hang on one another, which lying or half-read
// tables can make: a plan with one is no plan.
func (m *drafter) rings() {
	by := map[string]*inventory.Device{}
	for i := range m.plan.Devices {
		by[m.plan.Devices[i].Name] = &m.plan.Devices[i]
	}
	for i := range m.plan.Devices {
		d, onWay := &m.plan.Devices[i], map[string]bool{}
		for up := d; up != nil; up = by[up.At.Device] {
			if onWay[up.Name] {
				m.check(up.Name, "at", "the tables put it in a ring with %s; where does it hang?", up.At)
				up.At, up.Port = inventory.PortRef{}, ""
				break
			}
			onWay[up.Name] = true
		}
	}
}

// vlans takes each network's VLAN from the ports of its devices, and says where
// a device's port differs.
func (m *drafter) vlans() {
	for i := range m.plan.Networks {
		n := &m.plan.Networks[i]
		if n.VLAN != 0 {
			continue
		}
		votes := map[int]int{}
		for _, d := range m.plan.Devices {
			if v, ok := m.portVLAN(&d); ok && n.Contains(d.Address()) {
				votes[v]++
			}
		}
		best, second := 0, 0
		for v, k := range votes {
			switch {
			case k > votes[best]:
				best, second = v, votes[best]
			case v != best:
				second = max(second, k)
			}
		}
		used := slices.ContainsFunc(m.plan.Networks, func(o inventory.Network) bool { return o.VLAN == best })
		if best > 0 && votes[best] > second && !used {
			n.VLAN = best
		}
	}
	for i := range m.plan.Devices {
		d := &m.plan.Devices[i]
		v, ok := m.portVLAN(d)
		n, in := m.plan.NetworkOf(d.Address())
		if ok && v > 0 && (!in || n.VLAN != 0 && n.VLAN != v) {
			d.VLAN = v
			if in {
				m.check(d.Name, "vlan", "its port is in VLAN %d, its address in %s", v, n.Name)
			}
		}
	}
}

// portVLAN is the untagged VLAN of the very port that a device hangs on.
func (m *drafter) portVLAN(d *inventory.Device) (int, bool) {
	p, ok := m.port(d.At)
	if !ok || !p.VLANKnown || p.VLAN < 1 || p.VLAN > 4094 {
		return 0, false
	}
	return p.VLAN, true
}

func (m *drafter) port(ref inventory.PortRef) (*inventory.PortState, bool) {
	if ref.Port == "" {
		return nil, false
	}
	return m.snap.Port(inventory.PortRef{Device: m.seen[ref.Device], Port: ref.Port})
}

// order puts the router first, then switches from the root outwards, then the rest
// by where it hangs.
func (m *drafter) order() {
	depth := map[string]int{}
	by := map[string]*inventory.Device{}
	for i := range m.plan.Devices {
		by[m.plan.Devices[i].Name] = &m.plan.Devices[i]
	}
	for _, d := range m.plan.Devices {
		for up := by[d.At.Device]; up != nil; up = by[up.At.Device] {
			depth[d.Name]++
		}
	}
	rank := func(d inventory.Device) int {
		switch {
		case d.Role == inventory.Router:
			return 0
		case d.Role == inventory.Switch:
			return 1
		case d.At.IsZero():
			return 3
		}
		return 2
	}
	slices.SortStableFunc(m.plan.Devices, func(a, b inventory.Device) int {
		c := cmp.Compare(rank(a), rank(b))
		if rank(a) == 1 {
			c = cmp.Or(c, cmp.Compare(depth[a.Name], depth[b.Name]))
		}
		return cmp.Or(c, cmp.Compare(a.At.Device, b.At.Device), inventory.ComparePorts(a.At.Port, b.At.Port),
			a.Address().Compare(b.Address()), cmp.Compare(a.Name, b.Name))
	})
}
