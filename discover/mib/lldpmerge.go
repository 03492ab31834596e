package mib

import (
	"cmp"
	"slices"
	"strings"

	"boundwalk/inventory"
)

// decodeLLDPNeighbors joins both arcs: a neighbour that stands in both, or twice
// on one port, becomes one. It is not whole if a port has too many to keep.
func decodeLLDPNeighbors(r rows, ag *inventory.Agent) (out []inventory.LLDPNeighbor, whole bool) {
	older, all1 := lldp1.neighbors(r)
	newer, all2 := lldp2.neighbors(r)
	local := localInterfaces(ag)
	list := make([]remoteRow, 0, len(older)+len(newer))
	for _, l := range older {
		list = append(list, l.row)
	}
	for _, l := range newer {
		n := l.row
		if len(n.chassis) == 0 && powerOnly(list, older, l, local) {
			continue
		}
		list = append(list, n)
	}
	type place struct {
		index inventory.IfIndex
		port  inventory.LLDPPort
	}
	on := map[place][]int{}
	for i := range list {
		n := &list[i]
		at := place{index: n.LocalIndex}
		if at.index == 0 {
			if at.index = local(n.Local); at.index == 0 {
				at.port = n.Local
			}
		}
		n.Power = n.power()
		k := slices.IndexFunc(on[at], func(k int) bool { return sameNeighbor(&out[k], &n.LLDPNeighbor) })
		if k >= 0 {
			mergeNeighbor(&out[on[at][k]], &n.LLDPNeighbor)
			continue
		}
		on[at] = append(on[at], len(out))
		out = append(out, n.LLDPNeighbor)
	}
	return out, all1 && all2
}

// powerOnly gives a row that only the power module of the newer arc has, as an
// agent may that offers just this beside the older arc, to its neighbour there.
func powerOnly(list []remoteRow, older []line[remoteKey, remoteRow], l line[remoteKey, remoteRow], local func(inventory.LLDPPort) inventory.IfIndex) bool {
	for i, o := range older {
		if o.key.index == l.key.index && local(o.row.Local) == l.row.LocalIndex {
			list[i].dot3v2, list[i].LocalIndex = l.row.dot3v2, l.row.LocalIndex
			return true
		}
	}
	return false
}

// localInterfaces leads the ports of the older arc to interfaces: by the name or
// the description that the port carries, then as bridge port, then by the number
// itself (IEEE 802.1AB, LldpPortNumber).
func localInterfaces(ag *inventory.Agent) func(inventory.LLDPPort) inventory.IfIndex {
	names := map[string]inventory.IfIndex{}
	known := map[inventory.IfIndex]bool{}
	for _, i := range ag.Interfaces {
		known[i.Index] = true
		for _, n := range []string{i.Name, inventory.Clean(i.Descr)} {
			if had, ok := names[n]; ok && had != i.Index {
				names[n] = 0
			} else {
				names[n] = i.Index
			}
		}
	}
	delete(names, "")
	ports := map[inventory.LLDPPort]inventory.IfIndex{}
	for _, p := range ag.LLDP.Ports {
		ports[p.Num] = cmp.Or(p.Index, names[p.ID], names[p.Descr])
	}
	return func(n inventory.LLDPPort) inventory.IfIndex {
		if i := cmp.Or(ports[n], ag.Bridge[inventory.BridgePort(n)]); i != 0 {
			return i
		}
		if known[inventory.IfIndex(n)] {
			return inventory.IfIndex(n)
		}
		return 0
	}
}

// sameNeighbor reports whether two rows of one port are one neighbour: the same
// chassis, or a chassis named in two ways while system name or port agree. Two
// chassis named in the same way are two, whatever else is alike: behind an
// unmanaged switch two cameras both call their port eth0.
func sameNeighbor(x, y *inventory.LLDPNeighbor) bool {
	if x.ChassisSubtype == y.ChassisSubtype {
		return x.Chassis == y.Chassis && x.Chassis != ""
	}
	if x.SysName != "" && y.SysName != "" {
		return x.SysName == y.SysName
	}
	return samePort(x.PortID, y.PortID)
}

// samePort reports whether two port IDs agree, one perhaps shortened: Eth1/19
// and Ethernet1/19.
func samePort(x, y string) bool {
	word := func(s string) (string, string) {
		i := strings.IndexAny(s, "0123456789")
		if i < 0 {
			return s, ""
		}
		return strings.TrimSpace(s[:i]), s[i:]
	}
	xs, xn := word(strings.ToLower(x))
	ys, yn := word(strings.ToLower(y))
	if x == "" || xn != yn {
		return false
	}
	return xs == ys || xn != "" && xs != "" && ys != "" && (strings.HasPrefix(xs, ys) || strings.HasPrefix(ys, xs))
}

// mergeNeighbor fills what to does not say from another row of it. A chassis named
// by its MAC says more than any other.
func mergeNeighbor(to, from *inventory.LLDPNeighbor) {
	if !to.ChassisMAC.IsValid() && from.ChassisMAC.IsValid() || to.Chassis == "" {
		to.ChassisSubtype, to.Chassis, to.ChassisMAC = from.ChassisSubtype, from.Chassis, from.ChassisMAC
	}
	if to.PortID == "" {
		to.PortSubtype, to.PortID, to.PortMAC = from.PortSubtype, from.PortID, from.PortMAC
	}
	to.Local = cmp.Or(to.Local, from.Local)
	to.LocalIndex = cmp.Or(to.LocalIndex, from.LocalIndex)
	to.PortDescr = cmp.Or(to.PortDescr, from.PortDescr)
	to.SysName = cmp.Or(to.SysName, from.SysName)
	to.SysDescr = cmp.Or(to.SysDescr, from.SysDescr)
	to.PVID = cmp.Or(to.PVID, from.PVID)
	if to.Capabilities == nil {
		to.Capabilities = from.Capabilities
	}
	if to.MED == nil {
		to.MED = from.MED
	}
	if p := from.Power; p != nil && (to.Power == nil || to.Power.Requested+to.Power.Allocated == 0 && p.Requested+p.Allocated > 0) {
		to.Power = p
	}
	for _, a := range from.Addresses {
		if len(to.Addresses) < maxAddresses && !slices.Contains(to.Addresses, a) {
			to.Addresses = append(to.Addresses, a)
		}
	}
}
