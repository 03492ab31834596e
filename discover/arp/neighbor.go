package arp

import (
	"net/netip"
	"time"
)

// A Neighbor is an entry of the kernel's neighbour tables for ARP and IPv6
// neighbour discovery. The kernel keeps one MAC for an address.
type Neighbor struct {
	Iface string
	Addr  netip.Addr // IPv4 or IPv6, without zone
	MAC   [6]byte
	State NeighborState

	// Confirmed is when the neighbour last proved that it can be reached, to
	// 10 ms.
	Confirmed time.Time
}

// A NeighborState is how sure the kernel is of an entry. The states are those
// of RFC 4861, section 7.3.2, and one more.
type NeighborState string

// The states of entries with a MAC; those without are never returned.
const (
	Reachable NeighborState = "reachable" // confirmed within the last half minute or so
	Stale     NeighborState = "stale"     // not confirmed lately
	Delay     NeighborState = "delay"     // in use, about to be asked
	Probe     NeighborState = "probe"     // being asked
	Permanent NeighborState = "permanent" // set by hand, never asked
)
