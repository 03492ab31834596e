package arp

import (
	"net/netip"
	"slices"
)

// A Proxy is a MAC that answers for many addresses, as a router does with
// proxy ARP (RFC 1027). Its addresses are no devices unless something else
// witnesses them.
type Proxy struct {
	MAC   [6]byte
	Addrs []netip.Addr // in order
}

// ProxyARP returns the MACs that answer for more than eight addresses, or for
// more than a quarter of the swept ones where that is less, yet for no fewer
// than four: in a tiny network one router has two addresses soon. The bound is
// common practice, not a standard. Swept is the number of addresses asked;
// replies heard unasked do not count. The order is that of the MACs.
func ProxyARP(replies []Reply, swept int) []Proxy {
	most := min(8, max(3, swept/4))
	byMAC := make(map[[6]byte][]netip.Addr)
	for _, r := range replies {
		if r.Tries > 0 && r.Addr.IsValid() {
			byMAC[r.MAC] = append(byMAC[r.MAC], r.Addr)
		}
	}
	var out []Proxy
	for mac, addrs := range byMAC {
		slices.SortFunc(addrs, netip.Addr.Compare)
		addrs = slices.Compact(addrs)
		if len(addrs) > most {
			out = append(out, Proxy{MAC: mac, Addrs: addrs})
		}
	}
	slices.SortFunc(out, func(a, b Proxy) int { return slices.Compare(a.MAC[:], b.MAC[:]) })
	return out
}
