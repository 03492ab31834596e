package ndp

import (
	"maps"
	"net/netip"
	"slices"
	"sync"
	"time"

	"github.com/mdlayher/ndp"
	"golang.org/x/net/icmp"
	"golang.org/x/net/ipv6"
)

const (
	icmpv6   = 58  // protocol number
	hopLimit = 255 // of every ND message, RFC 4861, section 3.1
	mostList = 32  // prefixes or name servers kept of one router
)

// claim is what tells neighbours apart.
type claim struct {
	addr netip.Addr
	mac  [6]byte
}

// collector sorts ICMPv6 messages within its bounds. Its methods may be called
// at once.
type collector struct {
	id   int // of our echo requests
	most int
	own  []netip.Addr

	ignore []netip.Prefix // networks whose neighbours stand apart

	mu      sync.Mutex
	claims  map[claim]Neighbor
	macs    map[netip.Addr]int // MACs known for an address; 0: it only answered
	routers map[netip.Addr]Router
	counts  Result // its counters only
}

func newCollector(id, most int, own []netip.Addr) *collector {
	return &collector{
		id:      id,
		most:    most,
		own:     own,
		claims:  make(map[claim]Neighbor),
		macs:    make(map[netip.Addr]int),
		routers: make(map[netip.Addr]Router),
	}
}

// add takes one ICMPv6 message that came from an address with a hop limit.
func (c *collector) add(b []byte, from netip.Addr, hops int, now time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	from = from.WithZone("")
	if len(b) == 0 || slices.Contains(c.own, from) {
		return
	}
	if ipv6.ICMPType(b[0]) == ipv6.ICMPTypeEchoReply {
		m, err := icmp.ParseMessage(icmpv6, b)
		if err != nil {
			c.counts.Malformed++
			return
		}
		if echo, ok := m.Body.(*icmp.Echo); ok && echo.ID == c.id {
			c.note(Neighbor{Addr: from, Seen: now})
		}
		return
	}
	m, err := ndp.ParseMessage(b)
	if err != nil || hops != hopLimit {
		c.counts.Malformed++
		return
	}
	switch m := m.(type) {
	case *ndp.NeighborAdvertisement:
		c.note(Neighbor{Addr: m.TargetAddress.WithZone(""), MAC: linkLayer(m.Options, ndp.Target), Router: m.Router, Seen: now})
	case *ndp.NeighborSolicitation:
		c.note(Neighbor{Addr: from, MAC: linkLayer(m.Options, ndp.Source), Seen: now})
	case *ndp.RouterAdvertisement:
		c.noteRouter(m, from, now)
	}
}

// linkLayer returns the MAC in options, or zero where none is that could be
// a host's.
func linkLayer(options []ndp.Option, which ndp.Direction) [6]byte {
	for _, o := range options {
		if l, ok := o.(*ndp.LinkLayerAddress); ok && l.Direction == which && len(l.Addr) == 6 && l.Addr[0]&1 == 0 {
			return [6]byte(l.Addr)
		}
	}
	return [6]byte{}
}

// note keeps a neighbour. The unspecified sender of a host that is checking its
// own address (RFC 4862) is none.
func (c *collector) note(n Neighbor) {
	if !n.Addr.Is6() || n.Addr.Is4In6() || n.Addr.IsUnspecified() || n.Addr.IsMulticast() || n.Addr.IsLoopback() {
		return
	}
	key := claim{n.Addr, n.MAC}
	if old, known := c.claims[key]; known {
		old.Router = old.Router || n.Router
		c.claims[key] = old
		return
	}
	if n.MAC == ([6]byte{}) {
		if _, known := c.macs[n.Addr]; known {
			return
		}
	} else if bare := (claim{addr: n.Addr}); c.macs[n.Addr] == 0 {
		delete(c.claims, bare)
	}
	if len(c.claims) >= c.most || c.macs[n.Addr] >= mostMACs {
		c.counts.Overflow++
		return
	}
	c.claims[key] = n
	if n.MAC == ([6]byte{}) {
		c.macs[n.Addr] = 0
	} else {
		c.macs[n.Addr]++
	}
}

func (c *collector) noteRouter(m *ndp.RouterAdvertisement, from netip.Addr, now time.Time) {
	if !from.IsLinkLocalUnicast() { // RFC 4861, section 6.1.2
		c.counts.Malformed++
		return
	}
	r := Router{Addr: from, MAC: linkLayer(m.Options, ndp.Source), Lifetime: m.RouterLifetime, Managed: m.ManagedConfiguration, Seen: now}
	for _, o := range m.Options {
		switch o := o.(type) {
		case *ndp.PrefixInformation:
			if p := netip.PrefixFrom(o.Prefix.WithZone(""), int(o.PrefixLength)); p.IsValid() && len(r.Prefixes) < mostList {
				r.Prefixes = append(r.Prefixes, p.Masked())
			}
		case *ndp.RecursiveDNSServer:
			r.DNS = append(r.DNS, o.Servers[:min(len(o.Servers), mostList-len(r.DNS))]...)
		}
	}
	if _, known := c.routers[from]; !known && len(c.routers) >= mostRouters {
		c.counts.Overflow++
		return
	}
	c.routers[from] = r // the last word stands
	c.note(Neighbor{Addr: from, MAC: r.MAC, Router: true, Seen: now})
}

// unresolved returns the addresses that answered without telling their MAC, and
// those of ask that were not heard of, in order.
func (c *collector) unresolved(ask []netip.Addr) []netip.Addr {
	c.mu.Lock()
	defer c.mu.Unlock()
	var out []netip.Addr
	for a, n := range c.macs {
		if n == 0 {
			out = append(out, a)
		}
	}
	for _, a := range ask {
		if a = a.WithZone(""); a.Is6() && !a.Is4In6() && !a.IsMulticast() && c.macs[a] == 0 && !slices.Contains(c.own, a) {
			out = append(out, a)
		}
	}
	slices.SortFunc(out, netip.Addr.Compare)
	return slices.Compact(out)
}

func (c *collector) result() Result {
	c.mu.Lock()
	defer c.mu.Unlock()
	r := c.counts
	for _, n := range slices.SortedFunc(maps.Values(c.claims), func(a, b Neighbor) int {
		if d := a.Addr.Compare(b.Addr); d != 0 {
			return d
		}
		return slices.Compare(a.MAC[:], b.MAC[:])
	}) {
		if slices.ContainsFunc(c.ignore, func(p netip.Prefix) bool { return p.Contains(n.Addr) }) {
			r.Apart = append(r.Apart, n)
		} else {
			r.Neighbors = append(r.Neighbors, n)
		}
	}
	r.Routers = slices.SortedFunc(maps.Values(c.routers), func(a, b Router) int { return a.Addr.Compare(b.Addr) })
	return r
}
