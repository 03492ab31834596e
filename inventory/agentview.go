package inventory

import (
	"slices"
	"strings"
)

// agentView is an agent with the keys that its five number spaces need.
type agentView struct {
	*Agent
	name   string  // the planned device, else its address
	dev    *Device // nil: no plan names it
	names  map[IfIndex]string
	family map[IfIndex]string // the numbers of the largest family of names
	labels map[IfIndex]string
	byIf   map[IfIndex]*Interface
	byName map[string]IfIndex // cleaned ifName and ifDescr, where unique
	order  int

	entities map[EntityIndex]*Entity // filled on first use
	mappings map[PSEIndex]mapping    // by mapPSE; filled on first use
}

func viewAgents(plan *Plan, ev *Evidence) []*agentView {
	order := make(map[string]int, len(plan.Devices))
	for i := range plan.Devices {
		order[plan.Devices[i].Name] = i
	}
	named := namedPorts(plan)
	views := make([]*agentView, 0, len(ev.Agents))
	for i := range ev.Agents {
		ag := &ev.Agents[i]
		v := &agentView{Agent: ag, name: ag.Device, byIf: map[IfIndex]*Interface{}}
		if v.name == "" {
			v.name = ag.Target.Addr().String()
		}
		if d, ok := plan.Device(ag.Device); ok {
			v.dev, v.order = d, order[d.Name]
		} else {
			v.order = len(plan.Devices) + i
		}
		v.names = portNames(ag.Interfaces)
		v.family = numberedFamily(ag.Interfaces, v.names)
		v.labels = portLabels(ag.Interfaces, v.names, v.family, v.dev, named[v.name])
		v.byName = map[string]IfIndex{}
		for k := range ag.Interfaces {
			f := &ag.Interfaces[k]
			v.byIf[f.Index] = f
			v.remember(f.Name, f.Index)
			if Clean(f.Descr) != Clean(f.Name) {
				v.remember(f.Descr, f.Index)
			}
		}
		views = append(views, v)
	}
	slices.SortStableFunc(views, func(x, y *agentView) int { return x.order - y.order })
	return views
}

// namedPorts are the ports that the plan speaks of, by device.
func namedPorts(plan *Plan) map[string]map[string]bool {
	out := map[string]map[string]bool{}
	add := func(device string, ports ...string) {
		for _, p := range ports {
			if out[device] == nil {
				out[device] = map[string]bool{}
			}
			if p != "" {
				out[device][PortName(p)] = true
			}
		}
	}
	for i := range plan.Devices {
		d := &plan.Devices[i]
		add(d.At.Device, d.At.Port)
		add(d.Name, d.Port)
		add(d.Name, d.Spare...)
		add(d.Name, d.Guest...)
	}
	return out
}

func (v *agentView) remember(name string, i IfIndex) {
	n := strings.ToLower(Clean(name))
	if n == "" {
		return
	}
	if _, twice := v.byName[n]; twice {
		i = 0
	}
	v.byName[n] = i
}

// macs are the agent's own addresses, without those that mean nothing.
func (v *agentView) macs() []MAC {
	var out []MAC
	add := func(m MAC) {
		if m.IsValid() && !m.IsMulticast() && !slices.Contains(out, m) {
			out = append(out, m)
		}
	}
	seen := map[MAC]bool{}
	for _, i := range v.Interfaces {
		if i.Type == 24 || seen[i.MAC] { // softwareLoopback; one address on all ports
			continue
		}
		seen[i.MAC] = true
		add(i.MAC)
	}
	add(v.BridgeMAC)
	add(v.LLDP.ChassisMAC)
	for _, r := range v.FDB {
		if r.Self {
			add(r.MAC)
		}
	}
	return out
}

// ifOf is the interface of a bridge port; an aggregate stays one. 0: the table lacks it.
func (v *agentView) ifOf(p BridgePort) IfIndex {
	if p == 0 {
		return 0
	}
	return v.Bridge[p]
}

// ifOfLLDP is the interface of a local LLDP port: by what the port's id says,
// by its description, then by the number alone, which the MIB lets equal the
// bridge port on a bridge and the ifIndex elsewhere (IEEE 802.1AB LldpPortNumber).
func (v *agentView) ifOfLLDP(num LLDPPort) IfIndex {
	for _, p := range v.LLDP.Ports {
		if p.Num != num {
			continue
		}
		if i := v.byLocalID(p); i != 0 {
			return i
		}
	}
	if i := v.ifOf(BridgePort(num)); i != 0 {
		return i
	}
	if _, ok := v.byIf[IfIndex(num)]; ok {
		return IfIndex(num)
	}
	return 0
}

func (v *agentView) byLocalID(p LLDPLocalPort) IfIndex {
	if p.Index != 0 {
		return p.Index
	}
	switch p.Subtype {
	case 5, 7: // interfaceName, local: the latter often is the name as well
		if i := v.byName[strings.ToLower(Clean(p.ID))]; i != 0 {
			return i
		}
	case 3: // macAddress, where only one interface has it
		var found []IfIndex
		for _, f := range v.Interfaces {
			if f.MAC == p.MAC && p.MAC.IsValid() && isPhysical(f) {
				found = append(found, f.Index)
			}
		}
		if len(found) == 1 {
			return found[0]
		}
	case 1: // interfaceAlias
		for _, f := range v.Interfaces {
			if a := Clean(f.Alias); a != "" && a == Clean(p.ID) {
				return f.Index
			}
		}
	}
	return v.byName[strings.ToLower(Clean(p.Descr))]
}

// neighborIf is the interface that a neighbour was heard on, of an aggregate
// the member.
func (v *agentView) neighborIf(n *LLDPNeighbor) IfIndex {
	if n.LocalIndex != 0 {
		return n.LocalIndex
	}
	return v.ifOfLLDP(n.Local)
}

// trunk is the aggregate that an interface belongs to, else itself: the
// forwarding table speaks of the aggregate, LLDP of the member.
func (v *agentView) trunk(i IfIndex) IfIndex {
	if agg := v.LAG[i]; agg != 0 {
		return agg
	}
	return i
}

// up reports whether the interface is up, and whether that is known.
func (v *agentView) up(i IfIndex) (up, known bool) {
	f := v.byIf[i]
	if f == nil || f.OperUp == nil {
		return false, false
	}
	return *f.OperUp, true
}

// label is the port as people call it.
func (v *agentView) label(i IfIndex) string { return v.labels[i] }
