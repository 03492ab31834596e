package inventory

import (
	"cmp"
	"net/netip"
	"slices"
)

// countGuests counts the devices of networks that the plan only counts, and
// hides their addresses from all that follows: none of them is kept.
func (a *assembler) countGuests() {
	vlans := map[int]string{}
	for _, n := range a.plan.Networks {
		if n.Unknown == UnknownCount {
			a.counted[n.Name] = map[string]bool{}
			if n.VLAN != 0 {
				vlans[n.VLAN] = n.Name
			}
		}
	}
	if len(a.counted) == 0 {
		return
	}
	own := map[MAC]bool{}
	for _, v := range a.views {
		for _, m := range v.macs() {
			own[m] = true
		}
	}
	hide := func(network string, m MAC) {
		if _, planned := a.owner[m]; planned || own[m] || !m.IsValid() || m.IsMulticast() {
			return
		}
		a.hidden[m] = true
		a.counted[network][m.String()] = true
	}
	for i := range a.ev.Sightings {
		s := &a.ev.Sightings[i]
		if n, ok := a.guestNetwork(s); ok && s.MAC.IsValid() {
			hide(n, s.MAC)
		}
	}
	for _, v := range a.views {
		untagged, tagged, _ := v.vlans()
		for _, r := range v.FDB {
			vlan := r.VLAN
			if i := v.ifOf(r.Port); vlan == 0 && len(tagged[i]) == 0 {
				vlan = untagged[i] // the table of RFC 4188 names none, and the port has no other
			}
			if n := vlans[vlan]; n != "" && !r.Self {
				hide(n, r.MAC)
			}
		}
	}
}

func (a *assembler) guestNetwork(s *Sighting) (string, bool) {
	n, ok := a.plan.NetworkOf(s.Addr)
	if !ok || n.Unknown != UnknownCount {
		return "", false
	}
	return n.Name, true
}

// guestAddr reports whether a sighting lies in a network that only counts and
// is of no planned device; an address without MAC counts by itself.
func (a *assembler) guestAddr(s *Sighting) bool {
	n, ok := a.guestNetwork(s)
	if !ok {
		return false
	}
	if _, planned := a.owner[s.MAC]; planned {
		return false
	}
	if _, planned := a.byAddr[s.Addr]; planned {
		return false
	}
	if !s.MAC.IsValid() && s.Live {
		a.counted[n][s.Addr.String()] = true
	}
	return true
}

// proxyLimit is how many addresses of a network one MAC may answer for before
// it is taken for a proxy: eight, in a small network a quarter of it.
func proxyLimit(n *Network) int {
	hosts := 1 << min(32-n.Subnet.Bits(), 16)
	return min(8, max(4, hosts/4))
}

// proxies finds addresses of the link layer that answer ARP for many others
// (RFC 1027): what they say of an address counts only with a second witness.
func (a *assembler) proxies() {
	a.proxy = map[MAC]bool{}
	type answers struct {
		mac     MAC
		network string
	}
	addrs := map[answers]map[netip.Addr]bool{}
	for i := range a.ev.Sightings {
		s := &a.ev.Sightings[i]
		n, ok := a.plan.NetworkOf(s.Addr)
		if s.Source != SourceARP || !s.MAC.IsValid() || !s.Addr.Is4() || !ok {
			continue
		}
		k := answers{s.MAC, n.Name}
		if addrs[k] == nil {
			addrs[k] = map[netip.Addr]bool{}
		}
		addrs[k][s.Addr] = true
	}
	var list []ProxyARP
	for k, set := range addrs {
		n, _ := a.plan.NetworkNamed(k.network)
		if len(set) <= proxyLimit(n) {
			continue
		}
		if i, ok := a.owner[k.mac]; ok && a.entry(i).Role == Radio {
			continue // a radio that translates addresses is a line of its own
		}
		a.proxy[k.mac] = true
		list = append(list, ProxyARP{MAC: k.mac, Network: k.network, Count: len(set)})
	}
	slices.SortFunc(list, func(x, y ProxyARP) int {
		return cmp.Or(x.MAC.Compare(y.MAC), cmp.Compare(x.Network, y.Network))
	})
	a.snap.Proxies = list
}

// secondWitness reports whether someone else speaks for the address that a
// proxy answered for: another MAC, another source, or the plan's own word that it is the proxy's.
func (a *assembler) secondWitness(s *Sighting) bool {
	if i, ok := a.owner[s.MAC]; ok {
		if d := a.entry(i); d != nil && (slices.Contains(d.Addresses, s.Addr) || d.Address() == s.Addr) {
			return true
		}
		if n, ok := a.plan.NetworkOf(s.Addr); ok && n.Gateway == s.Addr {
			return true
		}
	}
	if a.vouched == nil {
		a.vouched = map[binding]bool{}
		for i := range a.ev.Sightings {
			o := &a.ev.Sightings[i]
			switch o.Source {
			case SourceSNMP, SourceLLDP, SourceMDNS, SourceWSD, SourceSSDP, SourceLease:
				a.vouched[binding{o.MAC, o.Addr}] = true
			}
		}
	}
	return a.vouched[binding{s.MAC, s.Addr}]
}

// binding is an address of the link layer with one of the network layer.
type binding struct {
	mac  MAC
	addr netip.Addr
}
