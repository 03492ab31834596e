package envelope

import (
	"fmt"
	"net/netip"
	"slices"
	"time"
)

// rules say what may be sent on the auditor's interfaces. What none of them
// allows is a breach.
type rules struct {
	wire      string         // the one interface on which something may be sent
	own       [6]byte        // its MAC address
	addrs     []netip.Addr   // its own addresses, IPv4 and IPv6
	networks  []netip.Prefix // those of the plan that are not only counted
	gateway   netip.Addr
	leftAlone netip.Addr
	asked     []netip.Addr // those of the plan that may be sent to: devices, mail server
}

var (
	allNodes, allRouters = netip.MustParseAddr("ff02::1"), netip.MustParseAddr("ff02::2")
	reports4, reports6   = netip.MustParseAddr("224.0.0.22"), netip.MustParseAddr("ff02::16")
	mdns, discovery      = netip.MustParseAddr("224.0.0.251"), netip.MustParseAddr("239.255.255.250")
	solicitedNode        = netip.MustParsePrefix("ff02::1:ff00:0/104")
	linkLocal            = netip.MustParsePrefix("fe80::/64")
)

// breach says what a frame breaks; empty: nothing.
func (r rules) breach(f frame) string {
	switch {
	case f.joins():
		return ""
	case f.iface != r.wire:
		return "the plan has nothing to look for there"
	case f.arp != 0:
		return r.arp(f)
	case f.dst.Is6():
		return r.v6(f)
	case f.dst.Is4():
		return r.v4(f)
	}
	return "unknown to the rules"
}

// joins: the kernel by itself says on each interface which multicast groups it is
// in (RFC 3376, RFC 3810). All else that it would send unasked is switched off.
func (f frame) joins() bool {
	return f.proto == igmp && f.dst == reports4 || f.icmp == report && f.dst == reports6
}

func (r rules) planned(a netip.Addr) bool {
	return slices.ContainsFunc(r.networks, func(p netip.Prefix) bool { return p.Contains(a) })
}

func (r rules) arp(f frame) string {
	switch {
	case f.mac != r.own || !slices.Contains(r.addrs, f.src):
		return "ARP in another's name, or in none"
	case f.arp == reply:
		return "" // by the kernel, to who asked for us
	case f.arp != request:
		return "no request"
	case f.src == f.dst:
		return "an announcement"
	case !r.planned(f.dst):
		return "asks for an address outside of the plan's networks"
	case !f.swept() && !slices.Contains(r.asked, f.dst):
		return "somebody sends to an address that no plan names"
	}
	return ""
}

// v6 allows what looks for neighbours: one ping to all nodes, solicitations of
// routers and neighbours, and the kernel's answers to such.
func (r rules) v6(f frame) string {
	switch {
	case !slices.Contains(r.addrs, f.src):
		return "from a foreign address"
	case f.icmp == echo6 && f.dst == allNodes, f.icmp == routerSolicit && f.dst == allRouters:
	case f.icmp == solicit && solicitedNode.Contains(f.dst):
	case (f.icmp == solicit || f.icmp == advertise) && (linkLocal.Contains(f.dst) || r.planned(f.dst)):
	case f.proto == tcp && slices.Contains(r.asked, f.dst): // a management port
	default:
		return "neither neighbour discovery nor to an address that the plan names"
	}
	return ""
}

func (r rules) v4(f frame) string {
	switch {
	case !slices.Contains(r.addrs, f.src):
		return "from a foreign address"
	case f.dst == r.leftAlone:
		return "the plan leaves it alone"
	case f.dst == mdns:
		if f.proto != udp || f.dport != 5353 || f.sport == 5353 {
			return "no query of a client that only asks (RFC 6762, section 5.1)"
		}
	case f.dst == discovery:
		if f.proto != udp || f.dport != 3702 && f.dport != 1900 {
			return "neither WS-Discovery nor SSDP"
		}
	case !slices.Contains(r.asked, f.dst):
		return "to an address that the plan does not name"
	case f.dport == 53 && f.dst != r.gateway:
		return "a question of DNS to other than the gateway"
	case f.proto == udp && f.dport == 161:
		if tag := pdu(f.payload); !slices.Contains([]byte{getRequest, getNext, getBulk, encrypted}, tag) {
			return fmt.Sprintf("SNMP with the PDU %#x", tag)
		}
	case f.proto != udp && f.proto != tcp && f.proto != icmp4:
		return "unknown to the rules"
	}
	return ""
}

// slack is what a window of a second may hold beyond the rate: the bucket's one
// token, and one request whose turn was before the window and that the machine
// held back until into it. Each next turn is given after the last frame left, so
// a delay is never caught up.
const slack = 2

// busiest is the most frames of a kind that left within any second.
func busiest(frames []frame, kind func(frame) bool) int {
	var times []time.Time
	most := 0
	for _, f := range frames {
		if !kind(f) {
			continue
		}
		times = append(times, f.at)
		for f.at.Sub(times[0]) >= time.Second {
			times = times[1:]
		}
		most = max(most, len(times))
	}
	return most
}

// tries counts a sweep's requests by address.
func tries(frames []frame) map[netip.Addr]int {
	n := map[netip.Addr]int{}
	for _, f := range frames {
		if f.swept() {
			n[f.dst]++
		}
	}
	return n
}
