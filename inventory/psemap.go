package inventory

import (
	"cmp"
	"maps"
	"slices"
	"strconv"
)

// How a PSE row was mapped to its port, and how sure that is.
const (
	MapPlan       = "plan"
	MapEnergy     = "energy-context" // ENERGY-OBJECT-CONTEXT through entAliasMapping, defined by RFC 7461 and RFC 6933
	MapEnergyLLDP = "energy-lldp"    // eoLldpPortNumber, defined likewise
	MapLLDP       = "lldp-pse"       // as many LLDP ports say that they are power sources as there are rows
	MapEntity     = "entity-order"   // the rows keep the order and the gaps of the entity table's ports
	MapOrder      = "port-order"     // as many rows as ports of one family, in order
	MapIfIndex    = "number-ifindex"
	MapBridge     = "number-bridge"
	MapName       = "number-name" // the number at the end of the port's name

	SureDeclared = "declared"
	SureDefined  = "defined"
	SureInferred = "inferred"
	SureAssumed  = "assumed"
)

// mapping leads a PSE row to an interface.
type mapping struct {
	Index IfIndex
	By    string
	Sure  string
}

// mapPSE maps the rows of an agent's PSE table to interfaces. No standard
// object does that directly (RFC 3621), so the ways are tried by how much they
// prove: the plan's word row by row, the chain of defined objects row by row, then
// one rule for the whole table that holds for every row. A row that none reaches has no mapping.
func mapPSE(v *agentView) map[PSEIndex]mapping {
	if v.mappings == nil {
		v.mappings = newMapping(v)
	}
	return v.mappings
}

func newMapping(v *agentView) map[PSEIndex]mapping {
	out := make(map[PSEIndex]mapping, len(v.PSEPorts))
	rest := make([]PSEIndex, 0, len(v.PSEPorts))
	for _, p := range v.PSEPorts {
		if m, ok := mapDeclared(v, p.Index); ok {
			out[p.Index] = m
		} else if m, ok := mapDefined(v, p.Index); ok {
			out[p.Index] = m
		} else {
			rest = append(rest, p.Index)
		}
	}
	if len(rest) == 0 {
		return out
	}
	slices.SortFunc(rest, func(x, y PSEIndex) int {
		return cmp.Or(cmp.Compare(x.Group, y.Group), cmp.Compare(x.Port, y.Port))
	})
	taken := map[IfIndex]bool{}
	for _, m := range out {
		taken[m.Index] = true
	}
	for _, rule := range []func(*agentView, []PSEIndex) (map[PSEIndex]IfIndex, string, string){
		byLLDPSources, byEntityOrder, byNumbers, byOrder,
	} {
		m, by, sure := rule(v, rest)
		if len(m) != len(rest) || clashes(m, taken) {
			continue
		}
		for k, i := range m {
			out[k] = mapping{i, by, sure}
		}
		return out
	}
	return out
}

func clashes(m map[PSEIndex]IfIndex, taken map[IfIndex]bool) bool {
	seen := map[IfIndex]bool{}
	for _, i := range m {
		if taken[i] || seen[i] {
			return true
		}
		seen[i] = true
	}
	return false
}

func mapDeclared(v *agentView, k PSEIndex) (mapping, bool) {
	if v.dev == nil {
		return mapping{}, false
	}
	for _, p := range v.dev.PortPlans {
		if p.PSE != "" && (p.PSE == strconv.Itoa(k.Group)+"."+strconv.Itoa(k.Port) || k.Group <= 1 && p.PSE == strconv.Itoa(k.Port)) {
			for _, i := range slices.Sorted(maps.Keys(v.labels)) {
				if PortName(v.labels[i]) == PortName(p.Port) {
					return mapping{i, MapPlan, SureDeclared}, true
				}
			}
		}
	}
	return mapping{}, false
}

func mapDefined(v *agentView, k PSEIndex) (mapping, bool) {
	for _, o := range v.Energy {
		if o.Port != k || k.Port == 0 {
			continue
		}
		for _, e := range v.Entities {
			if e.Index == o.Entity && len(e.Interfaces) == 1 {
				return mapping{e.Interfaces[0], MapEnergy, SureDefined}, true
			}
		}
		if o.LLDP != 0 {
			if i := v.ifOfLLDP(o.LLDP); i != 0 {
				return mapping{i, MapEnergyLLDP, SureDefined}, true
			}
		}
	}
	return mapping{}, false
}

// byLLDPSources: the LLDP ports that say they are power sources, in order,
// where there are as many as rows.
func byLLDPSources(v *agentView, rows []PSEIndex) (map[PSEIndex]IfIndex, string, string) {
	var sources []LLDPPort
	for _, p := range v.LLDP.Ports {
		if p.PSE {
			sources = append(sources, p.Num)
		}
	}
	slices.Sort(sources)
	if len(sources) != len(rows) {
		return nil, "", ""
	}
	m := map[PSEIndex]IfIndex{}
	for k, r := range rows {
		if i := v.ifOfLLDP(sources[k]); i != 0 {
			m[r] = i
		}
	}
	return m, MapLLDP, SureInferred
}

// byEntityOrder: one distance between row numbers and the entity numbers of
// ports with an interface, the same for each row of a group, gaps included.
func byEntityOrder(v *agentView, rows []PSEIndex) (map[PSEIndex]IfIndex, string, string) {
	ports := map[EntityIndex]IfIndex{}
	for _, e := range v.Entities {
		if e.Class == 10 && len(e.Interfaces) == 1 {
			ports[e.Index] = e.Interfaces[0]
		}
	}
	m := map[PSEIndex]IfIndex{}
	for lo := 0; lo < len(rows); {
		hi := lo
		for hi < len(rows) && rows[hi].Group == rows[lo].Group {
			hi++
		}
		group := rows[lo:hi]
		if !entityDistance(group, ports, m) {
			return nil, "", ""
		}
		lo = hi
	}
	return m, MapEntity, SureInferred
}

// entityDistance finds the one distance that takes every row of the group to a
// port. A group without gaps fits in many places, so it must cover a whole stretch of ports.
func entityDistance(group []PSEIndex, ports map[EntityIndex]IfIndex, m map[PSEIndex]IfIndex) bool {
	var found []EntityIndex
	for e := range ports {
		d := e - EntityIndex(group[0].Port)
		fits := true
		for _, r := range group {
			if ports[EntityIndex(r.Port)+d] == 0 {
				fits = false
				break
			}
		}
		if fits && ports[EntityIndex(group[0].Port)+d-1] == 0 && ports[EntityIndex(group[len(group)-1].Port)+d+1] == 0 {
			found = append(found, d)
		}
	}
	if len(found) != 1 {
		return false
	}
	for _, r := range group {
		m[r] = ports[EntityIndex(r.Port)+found[0]]
	}
	return true
}

// byNumbers: a convention that holds for every row. Where several hold and
// disagree, the one whose delivering rows have a link; a tie proves nothing.
func byNumbers(v *agentView, rows []PSEIndex) (map[PSEIndex]IfIndex, string, string) {
	byLabel := map[int]IfIndex{}
	for i, n := range v.family {
		if k, err := strconv.Atoi(n); err == nil {
			byLabel[k] = i
		}
	}
	ways := []struct {
		by   string
		find func(PSEIndex) IfIndex
	}{
		{MapName, func(k PSEIndex) IfIndex { return byLabel[k.Port] }},
		{MapIfIndex, func(k PSEIndex) IfIndex {
			if f := v.byIf[IfIndex(k.Port)]; f != nil && isPhysical(*f) {
				return f.Index
			}
			return 0
		}},
		{MapBridge, func(k PSEIndex) IfIndex {
			if f := v.byIf[v.ifOf(BridgePort(k.Port))]; f != nil && isPhysical(*f) {
				return f.Index
			}
			return 0
		}},
	}
	type candidate struct {
		by    string
		m     map[PSEIndex]IfIndex
		links int
	}
	var cs []candidate
	for _, w := range ways {
		c := candidate{by: w.by, m: map[PSEIndex]IfIndex{}}
		for _, r := range rows {
			if i := w.find(r); i != 0 {
				c.m[r] = i
			}
		}
		if len(c.m) != len(rows) || clashes(c.m, nil) {
			continue
		}
		c.links = linksOf(v, c.m)
		cs = append(cs, c)
	}
	if len(cs) == 0 {
		return nil, "", ""
	}
	best := slices.MaxFunc(cs, func(x, y candidate) int { return cmp.Compare(x.links, y.links) })
	for _, c := range cs {
		if c.links == best.links && !sameMapping(c.m, best.m) {
			return nil, "", ""
		}
	}
	return best.m, best.by, SureAssumed
}

func sameMapping(x, y map[PSEIndex]IfIndex) bool {
	for k, i := range x {
		if y[k] != i {
			return false
		}
	}
	return true
}

// linksOf counts the delivering rows that a mapping takes to a port with link.
func linksOf(v *agentView, m map[PSEIndex]IfIndex) int {
	n := 0
	for _, p := range v.PSEPorts {
		if i, ok := m[p.Index]; ok && p.State == PSEDelivering {
			if up, known := v.up(i); up && known {
				n++
			}
		}
	}
	return n
}

// byOrder: as many rows as the largest family of ports has members, in order.
func byOrder(v *agentView, rows []PSEIndex) (map[PSEIndex]IfIndex, string, string) {
	family := v.family
	if len(family) != len(rows) {
		return nil, "", ""
	}
	order := make([]IfIndex, 0, len(family))
	for i := range family {
		order = append(order, i)
	}
	slices.SortFunc(order, func(x, y IfIndex) int { return ComparePorts(v.names[x], v.names[y]) })
	m := map[PSEIndex]IfIndex{}
	for k, r := range rows {
		m[r] = order[k]
	}
	return m, MapOrder, SureAssumed
}
