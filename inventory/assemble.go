package inventory

import (
	"cmp"
	"fmt"
	"maps"
	"net/netip"
	"slices"
)

// mostUnknown bounds the devices that no plan names: a flood of invented
// addresses must not fill memory and logbook. The rest is counted.
const mostUnknown = 4096

// Assemble decides which facts of the evidence are one device, on which port
// it sits, what the port draws and how that is known, and how the switches hang
// together. It is pure: the same arguments give the same snapshot, and it keeps
// none of them. Maker, which may be nil, tells a maker from an address.
func Assemble(plan *Plan, ev *Evidence, hist *History, maker func(MAC) string) *Snapshot {
	if hist == nil {
		hist = &History{}
	}
	a := &assembler{plan: plan, ev: ev, hist: hist, maker: maker, owner: map[MAC]int{}, byAddr: map[netip.Addr]int{}, byName: map[string]int{},
		counted: map[string]map[string]bool{}, hidden: map[MAC]bool{}, unmapped: map[string]int{},
		snap: &Snapshot{Started: ev.Started, Finished: ev.Finished, Aborted: ev.Aborted, Coverage: slices.Clone(ev.Coverage), DHCP: ev.DHCP,
			Logins: ev.Logins, Capped: slices.Clone(ev.Capped)}}
	a.views = viewAgents(plan, ev)
	a.planned()
	a.proxies()
	a.countGuests()
	a.ownMACs()
	a.sightings()
	a.agentAddresses()
	a.learned()
	a.hearsay()
	a.placeAll()
	a.claims()
	a.describe()
	a.presence()
	a.ports()
	a.edges()
	a.rest()
	a.finish()
	return a.snap
}

// assembler holds one Assemble while it runs.
type assembler struct {
	plan  *Plan
	ev    *Evidence
	hist  *History
	maker func(MAC) string
	snap  *Snapshot

	views     []*agentView
	devs      []*SeenDevice // the planned ones first, in the plan's order
	owner     map[MAC]int   // into devs
	byAddr    map[netip.Addr]int
	byName    map[string]int
	counted   map[string]map[string]bool // network -> what was counted there
	hidden    map[MAC]bool               // addresses of networks that only count
	vlanOf    map[MAC]int                // the VLAN it was learned in, -1: several; filled on first use
	apPorts   map[PortRef]bool
	plannedAt map[PortRef]int // port -> 1 + the device planned on it; filled on first use
	unmapped  map[string]int  // agent -> PSE rows that no port could be found for
	proxy     map[MAC]bool
	vouched   map[binding]bool // by a source that no proxy answers for; filled on first use
	spots     map[MAC]spot
	topo      *topology
	bridges   []*agentView // of topo, by its numbers
	over      int          // unknown devices beyond mostUnknown
}

// planned opens a device for each of the plan's.
func (a *assembler) planned() {
	for i := range a.plan.Devices {
		d := &a.plan.Devices[i]
		a.devs = append(a.devs, &SeenDevice{Name: d.Name, Planned: true, Role: d.Role, Maker: d.Maker, Product: d.Product, Serial: d.Serial})
		a.byName[d.Name] = i
		for _, m := range d.MACs {
			a.claim(m, i)
		}
		for _, ip := range d.Addresses {
			a.byAddr[ip] = i
		}
	}
}

// plan entry of a device; nil for an unknown one.
func (a *assembler) entry(i int) *Device {
	if i < len(a.plan.Devices) {
		return &a.plan.Devices[i]
	}
	return nil
}

func (a *assembler) claim(m MAC, i int) {
	if _, taken := a.owner[m]; taken || !m.IsValid() || m.IsMulticast() {
		return
	}
	a.owner[m] = i
	a.devs[i].MACs = append(a.devs[i].MACs, m)
}

// ownMACs gives each agent's own addresses to its device: its interface table,
// its bridge and chassis address, and the rows that it marks as its own. An address that two agents
// claim is nobody's.
func (a *assembler) ownMACs() {
	claims := map[MAC]int{}
	for _, v := range a.views {
		i := a.deviceOf(v)
		for _, m := range v.macs() {
			if o, taken := claims[m]; taken && o != i {
				claims[m] = -1
				continue
			}
			claims[m] = i
		}
	}
	for _, m := range slices.SortedFunc(maps.Keys(claims), MAC.Compare) {
		if i := claims[m]; i >= 0 {
			a.claim(m, i)
		}
	}
	a.aliasMACs()
}

// agentAddresses gives each agent's own IP addresses in planned networks to its
// device, the planned address at which it answered, and the other that it answered from.
func (a *assembler) agentAddresses() {
	for _, v := range a.views {
		i := a.deviceOf(v)
		for _, x := range v.Addresses {
			if _, ok := a.plan.NetworkOf(x.Addr); ok && !x.Addr.IsLoopback() {
				a.addAddr(i, x.Addr)
			}
		}
		if p := a.entry(i); p != nil && slices.Contains(p.Addresses, v.Target.Addr()) {
			a.addAddr(i, v.Target.Addr())
		}
		if !v.Alias.IsLoopback() {
			a.addAddr(i, v.Alias)
		}
	}
}

// deviceOf is the device that an agent speaks for; an agent that no plan names
// opens one.
func (a *assembler) deviceOf(v *agentView) int {
	if i, ok := a.byName[v.name]; ok {
		return i
	}
	for _, m := range v.macs() {
		if i, ok := a.owner[m]; ok {
			a.byName[v.name] = i
			return i
		}
	}
	i := a.open(v.name)
	a.byName[v.name] = i
	return i
}

// open adds an unknown device.
func (a *assembler) open(name string) int {
	a.devs = append(a.devs, &SeenDevice{Name: name})
	return len(a.devs) - 1
}

// sightings spreads what the sources saw over the devices.
func (a *assembler) sightings() {
	order := make([]int, len(a.ev.Sightings))
	for i := range order {
		order[i] = i
	}
	// Those with an address of the link layer first: they decide who is who.
	slices.SortStableFunc(order, func(x, y int) int {
		return cmp.Compare(boolInt(!a.ev.Sightings[x].MAC.IsValid()), boolInt(!a.ev.Sightings[y].MAC.IsValid()))
	})
	for _, k := range order {
		a.sighting(&a.ev.Sightings[k])
	}
	for _, at := range a.ev.Attached {
		if i, ok := a.owner[at.MAC]; ok {
			a.devs[i].Self = true
		} else if i, ok := a.byAddr[at.Addr]; ok {
			a.devs[i].Self = true
			a.claim(at.MAC, i)
		} else if at.MAC.IsValid() && len(a.devs) < len(a.plan.Devices)+mostUnknown {
			i := a.open(at.MAC.String())
			a.devs[i].Self = true
			a.claim(at.MAC, i)
			a.addAddr(i, at.Addr)
		}
	}
}

func (a *assembler) sighting(s *Sighting) {
	if s.MAC.IsMulticast() || a.hidden[s.MAC] || a.guestAddr(s) || a.isHearsay(s) {
		return
	}
	i, ok := a.whose(s)
	if !ok {
		return
	}
	d := a.devs[i]
	if s.MAC.IsValid() && s.Addr.IsValid() && !s.Probe && !(a.proxy[s.MAC] && !a.secondWitness(s)) {
		a.addAddr(i, s.Addr)
	}
	if s.Name != "" && d.Hostname == "" {
		d.Hostname = Clean(s.Name)
	}
	if s.Live {
		d.witness(s.Source)
	}
}

// isHearsay reports a row that alone is no sign of life: of some agent's neighbour
// table about a network that no plan names, for what lives there is not the site's;
// and a lease, which outlives its client, where the sweep was whole and would have met it.
func (a *assembler) isHearsay(s *Sighting) bool {
	if s.Live || s.Source != SourceNeighbors && s.Source != SourceLease {
		return false
	}
	n, planned := a.plan.NetworkOf(s.Addr)
	if !planned || s.Source == SourceNeighbors {
		return !planned
	}
	r, swept := a.ev.Coverage.Result(n.Name, "", SourceARP)
	return swept && r == Complete
}

// hearsay takes from such rows the addresses and names of devices that something
// else has seen: gear with a factory address shows so.
func (a *assembler) hearsay() {
	for k := range a.ev.Sightings {
		s := &a.ev.Sightings[k]
		i, known := a.owner[s.MAC]
		if !known || !s.MAC.IsValid() || !a.isHearsay(s) || s.Source == SourceLease && len(a.devs[i].Witnesses) == 0 {
			continue
		}
		a.addAddr(i, s.Addr)
		a.devs[i].Hostname = cmp.Or(a.devs[i].Hostname, Clean(s.Name))
	}
}

// whose is the device that a sighting is about. A new address of the link
// layer opens an unknown device; a name or address alone does not.
func (a *assembler) whose(s *Sighting) (int, bool) {
	if !s.MAC.IsValid() {
		i, ok := a.byAddr[s.Addr]
		return i, ok
	}
	if i, ok := a.owner[s.MAC]; ok {
		return i, true
	}
	if i, ok := a.twin(s.MAC); ok {
		a.claim(s.MAC, i)
		return i, true
	}
	// A planned device without planned addresses of the link layer is known by
	// its IP address.
	if i, ok := a.byAddr[s.Addr]; ok && i < len(a.plan.Devices) && len(a.plan.Devices[i].MACs) == 0 && len(a.devs[i].MACs) == 0 && !a.proxy[s.MAC] {
		a.claim(s.MAC, i)
		return i, true
	}
	if len(a.devs) >= len(a.plan.Devices)+mostUnknown {
		a.over++
		return 0, false
	}
	i := a.open(s.MAC.String())
	a.claim(s.MAC, i)
	return i, true
}

// twin finds the owner of an address that differs in the local bit alone: one
// box with an address for the cable and another made from it for the air.
func (a *assembler) twin(m MAC) (int, bool) {
	t := m
	t[0] ^= 2
	i, ok := a.owner[t]
	return i, ok
}

func (a *assembler) addAddr(i int, ip netip.Addr) {
	d := a.devs[i]
	ip = ip.WithZone("")
	if !ip.IsValid() || ip.IsUnspecified() || ip.IsMulticast() || slices.Contains(d.Addrs, ip) || slices.Contains(d.Foreign, ip) {
		return
	}
	if _, ok := a.plan.NetworkOf(ip); !ok && isOfNetwork(ip) && (ip.Is4() || a.plans6()) {
		d.Foreign = append(d.Foreign, ip)
		return
	}
	d.Addrs = append(d.Addrs, ip)
	if _, taken := a.byAddr[ip]; !taken {
		a.byAddr[ip] = i
	}
}

// plans6 reports whether the plan has a word on IPv6 at all: where it has none, an
// address that a provider's router gave out is not outside of anything.
func (a *assembler) plans6() bool {
	return slices.ContainsFunc(a.plan.Networks, func(n Network) bool { return len(n.Subnet6) > 0 })
}

// learned opens a device for each address that only the forwarding tables know.
func (a *assembler) learned() {
	fresh := map[MAC]bool{}
	for _, v := range a.views {
		for _, r := range v.FDB {
			if r.Self || r.MAC.IsMulticast() || !r.MAC.IsValid() || a.hidden[r.MAC] {
				continue
			}
			if i, ok := a.owner[r.MAC]; ok {
				a.devs[i].witness(SourceFDB)
				continue
			}
			fresh[r.MAC] = true
		}
	}
	for _, m := range slices.SortedFunc(maps.Keys(fresh), MAC.Compare) {
		if i, ok := a.twin(m); ok {
			a.claim(m, i)
			a.devs[i].witness(SourceFDB)
			continue
		}
		if len(a.devs) >= len(a.plan.Devices)+mostUnknown {
			a.over++
			continue
		}
		i := a.open(m.String())
		a.claim(m, i)
		a.devs[i].witness(SourceFDB)
	}
}

func (d *SeenDevice) witness(source string) {
	if !slices.Contains(d.Witnesses, source) {
		d.Witnesses = append(d.Witnesses, source)
	}
}

// finish sorts what has no order of its own yet and counts what was left out.
func (a *assembler) finish() {
	rest := a.devs[len(a.plan.Devices):]
	slices.SortStableFunc(rest, func(x, y *SeenDevice) int {
		return cmp.Or(cmp.Compare(x.Place.Switch, y.Place.Switch), ComparePorts(x.Place.Port, y.Place.Port), cmp.Compare(x.Name, y.Name))
	})
	for _, d := range a.devs {
		slices.SortFunc(d.MACs, MAC.Compare)
		a.sortAddrs(d)
		slices.Sort(d.Witnesses)
		a.snap.Devices = append(a.snap.Devices, *d)
	}
	if a.over > 0 {
		a.snap.Capped = append(a.snap.Capped, fmt.Sprintf("%d more unknown devices than the %d that are kept", a.over, mostUnknown))
	}
}

// sortAddrs puts the addresses that the plan gives a device first, in its order.
func (a *assembler) sortAddrs(d *SeenDevice) {
	var planned []netip.Addr
	if i, ok := a.byName[d.Name]; ok && i < len(a.plan.Devices) {
		planned = a.plan.Devices[i].Addresses
	}
	rank := func(ip netip.Addr) int { // link-local ones last: nobody types them
		if k := slices.Index(planned, ip); k >= 0 {
			return k
		}
		return len(planned) + boolInt(!isOfNetwork(ip))
	}
	slices.SortFunc(d.Addrs, func(x, y netip.Addr) int { return cmp.Or(cmp.Compare(rank(x), rank(y)), x.Compare(y)) })
}

// ComparePorts orders port labels as people do: 2 before 10.
func ComparePorts(x, y string) int {
	xs, xn := splitNumber(x)
	ys, yn := splitNumber(y)
	return cmp.Or(cmp.Compare(xs, ys), cmp.Compare(len(xn), len(yn)), cmp.Compare(xn, yn))
}

func boolInt(b bool) int {
	if b {
		return 1
	}
	return 0
}
