// Package draft makes a first plan of what is there: evidence in, a plan and
// what to check in it out. It is pure but for Attached, which lists this
// machine's own interfaces. Package planfile writes the plan.
package draft

import (
	"cmp"
	"fmt"
	"net/netip"
	"slices"

	"boundwalk/inventory"
	"boundwalk/inventory/planfile"
)

// Options say what to look at. Nothing is asked but what they name.
type Options struct {
	Site     string // empty: the site
	Networks []inventory.Network
	Access   []inventory.Access
	Agents   []Agent
}

// Agent is an SNMP agent that a person named, with the access that it takes.
type Agent struct {
	Target netip.AddrPort // the port is never 0
	Access string
}

// Past is what a logbook remembers, for names and draws. The zero value is none.
type Past struct {
	Last  *inventory.Snapshot // of the last run; nil: none
	Draws func(inventory.PortRef) []inventory.Power
}

// Draft is a first plan.
type Draft struct {
	Plan    *inventory.Plan
	Remarks []planfile.Remark
	Notes   []string // what a person must know beside the plan, one sentence each
}

// Scaffold is the plan by which to look: the networks, and an entry for each
// agent that may be asked.
func Scaffold(o Options) *inventory.Plan {
	p := planfile.Defaults()
	p.Site.Name = cmp.Or(o.Site, "the site")
	p.Networks = slices.Clone(o.Networks)
	p.Access = slices.Clone(o.Access)
	for i, a := range o.Agents {
		d := inventory.Device{Name: agentName(i), Access: a.Access, Agent: a.Target}
		if _, ok := p.NetworkOf(a.Target.Addr()); ok && !a.Target.Addr().IsLoopback() {
			d.Addresses = []netip.Addr{a.Target.Addr()}
		}
		p.Devices = append(p.Devices, d)
	}
	p.Index()
	return p
}

// agentName holds an agent's place until it has told its name. No device can
// call itself so, for a name in a plan has no blank.
func agentName(i int) string { return fmt.Sprintf("agent %d", i+1) }

// Make turns the evidence that a survey by the scaffold gathered into a plan:
// in one order whatever order the evidence has, and so that the next run finds nothing unknown.
func Make(scaffold *inventory.Plan, ev *inventory.Evidence, past Past, maker func(inventory.MAC) string) Draft {
	m := &drafter{plan: clonePlan(scaffold), ev: cloneEvidence(ev), past: past, maker: maker, names: map[string]bool{}}
	m.networks()
	m.agents()
	m.plan.Index()
	m.snap = inventory.Assemble(m.plan, m.ev, nil, maker)
	m.devices()
	m.places()
	m.rings()
	m.vlans()
	m.power()
	m.order()
	m.neighbors()
	m.plan.Index()
	return Draft{m.plan, m.remarks, m.notes}
}

// drafter holds one Make while it runs.
type drafter struct {
	plan    *inventory.Plan
	ev      *inventory.Evidence
	past    Past
	maker   func(inventory.MAC) string
	snap    *inventory.Snapshot
	names   map[string]bool   // taken
	seen    map[string]string // draft name -> the snapshot's
	remarks []planfile.Remark
	notes   []string
}

func (m *drafter) check(device, key, format string, args ...any) {
	m.remarks = append(m.remarks, planfile.Remark{Device: device, Key: key, Text: fmt.Sprintf(format, args...)})
}

func (m *drafter) note(format string, args ...any) {
	m.notes = append(m.notes, fmt.Sprintf(format, args...))
}

func clonePlan(p *inventory.Plan) *inventory.Plan {
	q := *p
	q.Networks, q.Devices = slices.Clone(p.Networks), slices.Clone(p.Devices)
	return &q
}

// cloneEvidence copies what Make writes to: the names of agents.
func cloneEvidence(ev *inventory.Evidence) *inventory.Evidence {
	e := *ev
	e.Agents = slices.Clone(ev.Agents)
	e.Coverage = slices.Clone(ev.Coverage)
	return &e
}

// networks adds what the agents are attached to and nobody named. Whose they
// are nobody has said, so that they are only counted: a guest's address is not for the plan.
func (m *drafter) networks() {
	for i := range m.ev.Agents {
		for _, a := range m.ev.Agents[i].Addresses {
			if a.Prefix < 8 || a.Prefix > 30 || !a.Addr.Is4() || a.Addr.IsLoopback() || a.Addr.IsLinkLocalUnicast() || !ours(a.Addr) {
				continue
			}
			sub := netip.PrefixFrom(a.Addr, a.Prefix).Masked()
			if slices.ContainsFunc(m.plan.Networks, func(n inventory.Network) bool { return n.Subnet.Overlaps(sub) }) {
				continue
			}
			m.plan.Networks = append(m.plan.Networks, inventory.Network{Name: m.name("net-" + sub.Addr().String()), Subnet: sub, Unknown: inventory.UnknownCount})
			m.note("the network %s was found at an agent; it is only counted, since nobody said whose devices are there: to look into it, draft again with --network NAME=%s", sub, sub)
		}
	}
	for i := range m.plan.Networks {
		n := &m.plan.Networks[i]
		n.Unknown = cmp.Or(n.Unknown, inventory.UnknownWarning)
		if !n.Gateway.IsValid() {
			n.Gateway = m.gateway(n)
		}
	}
	slices.SortStableFunc(m.plan.Networks, func(a, b inventory.Network) int { return a.Subnet.Addr().Compare(b.Subnet.Addr()) })
}

// ours reports whether an address is of a kind that sites use inside (RFC 1918,
// RFC 5737 for examples), so that the provider's network is left out.
func ours(a netip.Addr) bool {
	return a.IsPrivate() || slices.ContainsFunc(exampleNets, func(p netip.Prefix) bool { return p.Contains(a) })
}

var exampleNets = []netip.Prefix{netip.MustParsePrefix("192.0.2.0/24"), netip.MustParsePrefix("198.51.100.0/24"), netip.MustParsePrefix("203.0.113.0/24")}

// gateway is the address of the one agent with a foot in several networks.
func (m *drafter) gateway(n *inventory.Network) netip.Addr {
	var found []netip.Addr
	for i := range m.ev.Agents {
		if !m.routes(&m.ev.Agents[i]) {
			continue
		}
		for _, a := range m.ev.Agents[i].Addresses {
			if n.Subnet.Contains(a.Addr) {
				found = append(found, a.Addr)
			}
		}
	}
	if len(found) == 1 {
		return found[0]
	}
	return netip.Addr{}
}

// routes reports whether an agent has an address in several networks, or is a gateway.
func (m *drafter) routes(a *inventory.Agent) bool {
	in := map[string]bool{}
	for _, x := range a.Addresses {
		if n, ok := m.plan.NetworkOf(x.Addr); ok {
			in[n.Name] = true
			if n.Gateway == x.Addr {
				return true
			}
		}
	}
	return len(in) > 1
}

// agents gives the scaffold's entries the names that their agents tell, and
// drops those that were silent.
func (m *drafter) agents() {
	called := map[string]string{}
	var keep []inventory.Device
	for i := range m.plan.Devices {
		d := m.plan.Devices[i]
		k := slices.IndexFunc(m.ev.Agents, func(a inventory.Agent) bool { return a.Device == d.Name })
		if k < 0 {
			why := "it did not answer"
			for _, c := range m.ev.Coverage {
				if c.Subject == d.Name && c.Why != "" {
					why = c.Why
				}
			}
			m.note("the agent at %s is not in the draft: %s", d.Agent, why)
			called[d.Name] = ""
			continue
		}
		a := &m.ev.Agents[k]
		was, _ := m.before(a.BridgeMAC, a.LLDP.ChassisMAC)
		name := m.name(cmp.Or(was, slug(a.System.Name), slug("agent-"+d.Agent.Addr().String())))
		called[d.Name] = name
		d.Name = name
		if m.routes(a) {
			d.Role = inventory.Router
		}
		keep = append(keep, d)
	}
	m.plan.Devices = keep
	for i := range m.ev.Agents {
		if n, ok := called[m.ev.Agents[i].Device]; ok {
			m.ev.Agents[i].Device = n
		}
	}
	m.ev.Coverage = slices.DeleteFunc(m.ev.Coverage, func(c inventory.Coverage) bool {
		n, ok := called[c.Subject]
		return ok && n == ""
	})
	for i := range m.ev.Coverage {
		if n, ok := called[m.ev.Coverage[i].Subject]; ok {
			m.ev.Coverage[i].Subject = n
		}
	}
}

// neighbors names agents that LLDP told of and nobody asked.
func (m *drafter) neighbors() {
	asked := map[netip.Addr]bool{}
	for i := range m.plan.Devices {
		d := &m.plan.Devices[i]
		if d.Access != "" {
			for _, a := range append(slices.Clone(d.Addresses), d.Agent.Addr()) {
				asked[a] = true
			}
		}
	}
	var told []string
	for i := range m.ev.Agents {
		for k := range m.ev.Agents[i].Neighbors {
			n := &m.ev.Agents[i].Neighbors[k]
			for _, a := range n.Addresses {
				if _, ok := m.plan.NetworkOf(a); !ok || asked[a] {
					continue
				}
				asked[a] = true
				told = append(told, fmt.Sprintf("%s at %s tells its address by LLDP and was not asked; if it is yours, draft again with --agent %s",
					cmp.Or(inventory.Clean(n.SysName), "a neighbour"), a, a))
			}
		}
	}
	slices.Sort(told)
	m.notes = append(m.notes, told...)
}

// Used turns a port's samples into what it usually and at most drew.
func Used(samples []inventory.Power) (usual, most inventory.Power) {
	if len(samples) == 0 {
		return 0, 0
	}
	s := slices.Sorted(slices.Values(samples))
	return s[(len(s)-1)/2], s[len(s)-1]
}
