package diff

import (
	"cmp"
	"fmt"
	"net/netip"
	"slices"

	"boundwalk/inventory"
)

// secondServer reports an address range that no plan names and that planned
// devices got their addresses from, with or without an answer to a probe (FC-22).
// Who is affected is neither missing nor in the wrong network.
func (a *auditor) secondServer() {
	affected := map[netip.Prefix][]string{}
	for _, name := range a.names {
		s := a.seen[name]
		if s == nil || s.Self || slices.ContainsFunc(s.Addrs, netip.Addr.Is4) || !a.strayed(s) {
			continue
		}
		for _, r := range rangesOf(s) {
			affected[r] = append(affected[r], name)
		}
	}
	owners := map[netip.Prefix][]*inventory.SeenDevice{}
	for i := range a.snap.Devices {
		if d := &a.snap.Devices[i]; !d.Planned && !d.Self {
			for _, r := range rangesOf(d) {
				owners[r] = append(owners[r], d)
			}
		}
	}
	ranges := make([]netip.Prefix, 0, len(affected))
	for r := range affected {
		ranges = append(ranges, r)
	}
	slices.SortFunc(ranges, func(x, y netip.Prefix) int { return x.Addr().Compare(y.Addr()) })
	for _, r := range ranges {
		server := likelyServer(owners[r], r)
		if len(affected[r]) < 2 && (server == nil || !routerLike(server, r)) {
			continue
		}
		a.secondRange(r, server, affected[r])
	}
	a.offers()
}

// rangesOf is the ranges, 256 addresses each, of a device's IPv4 addresses that
// lie in no planned network; self-assigned ones come from no server.
func rangesOf(s *inventory.SeenDevice) []netip.Prefix {
	var out []netip.Prefix
	for _, ip := range s.Foreign {
		if !ip.Is4() || ip.IsLinkLocalUnicast() || ip.IsLoopback() {
			continue
		}
		if r, err := ip.Prefix(24); err == nil && !slices.Contains(out, r) {
			out = append(out, r)
		}
	}
	return out
}

// likelyServer is the unknown device of the range most likely to give it out:
// the one with an address as routers have it, else the only one.
func likelyServer(of []*inventory.SeenDevice, r netip.Prefix) *inventory.SeenDevice {
	for _, d := range of {
		if routerLike(d, r) {
			return d
		}
	}
	if len(of) == 1 {
		return of[0]
	}
	return nil
}

// routerLike: the first or last usable address of the range, as is common practice.
func routerLike(d *inventory.SeenDevice, r netip.Prefix) bool {
	return slices.ContainsFunc(d.Foreign, func(ip netip.Addr) bool {
		last := ip.AsSlice()
		return r.Contains(ip) && len(last) == 4 && (last[3] == 1 || last[3] == 254)
	})
}

func (a *auditor) secondRange(r netip.Prefix, server *inventory.SeenDevice, affected []string) {
	f := New(SecondDHCPServer, r.String())
	f.Expected = "addresses of the planned networks alone"
	f.Behind = affected
	f.Observed = fmt.Sprintf("%s %s addresses of %s", names(affected), map[bool]string{true: "has", false: "have"}[len(affected) == 1], r)
	f.Advice = "find what gives out addresses there, switch its DHCP server off or unplug it, then restart who got an address from it"
	if server != nil {
		id := idOf(server)
		f.Observed += fmt.Sprintf("; likely DHCP server %s, %s", id, a.traits(server))
		f.Where, f.MACs = server.Place.Ref().String(), slices.Clone(server.MACs)
		for _, m := range server.MACs {
			a.known[m] = true
		}
		if !server.Place.IsZero() {
			f.Advice = fmt.Sprintf("look what hangs on %s, switch its DHCP server off or unplug it, then restart who got an address from it",
				portWords(server.Place.Ref()))
		}
	}
	a.add(f, nil)
	a.coverAll(affected)
}

// offers reports servers that answered our own discover and are none of the plan's.
func (a *auditor) offers() {
	for _, s := range a.snap.DHCP {
		if a.rightful(s) {
			continue
		}
		subject := s.Network
		if _, ok := a.plan.NetworkOf(s.Offered); !ok && s.Offered.Is4() {
			if r, err := s.Offered.Prefix(24); err == nil {
				subject = r.String()
			}
		}
		f := New(SecondDHCPServer, cmp.Or(subject, s.Addr.String()))
		f.Expected = "one DHCP server, the plan's"
		f.Observed = fmt.Sprintf("%s (%s) offers %s", s.Addr, s.MAC, s.Offered)
		f.Advice = "find it by its MAC address in the switches' tables, and switch its DHCP server off"
		f.Basis = inventory.Measured
		if o := a.owner[s.MAC]; o != nil {
			f.Where = o.Place.Ref().String()
			f.Observed = sentence(f.Observed, a.placeOf(o))
		}
		if s.MAC.IsValid() {
			f.MACs = []inventory.MAC{s.MAC}
			a.known[s.MAC] = true
		}
		if i := slices.IndexFunc(a.found, func(o *Finding) bool { return o.Key == f.Key }); i >= 0 {
			a.found[i].Observed = sentence(a.found[i].Observed, f.Observed)
			continue
		}
		a.add(f, nil)
	}
}

// rightful: a planned router or server, by its MAC address, its address, or as
// the gateway of a planned network.
func (a *auditor) rightful(s inventory.DHCPServer) bool {
	for i := range a.plan.Devices {
		d := &a.plan.Devices[i]
		if d.Role != inventory.Router && d.Role != inventory.Server {
			continue
		}
		if s.MAC.IsValid() && d.HasMAC(s.MAC) || slices.Contains(d.Addresses, s.Addr) && (len(d.MACs) == 0 || !s.MAC.IsValid()) {
			return true
		}
	}
	if o := a.owner[s.MAC]; o != nil && o.Planned && (o.Role == inventory.Router || o.Role == inventory.Server) {
		return true
	}
	return slices.ContainsFunc(a.plan.Networks, func(n inventory.Network) bool {
		return n.Gateway.IsValid() && n.Gateway == s.Addr && (!s.MAC.IsValid() || a.owner[s.MAC] == nil || a.owner[s.MAC].Planned)
	})
}
