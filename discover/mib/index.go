package mib

import (
	"math"
	"net/netip"

	"boundwalk/discover/snmp"
	"boundwalk/inventory"
)

// Indexes of rows (RFC 2578, 7.7). What has another shape is refused.

// oneIndex is an index of one number that is not zero, such as ifIndex.
func oneIndex(index snmp.OID) (int, bool) {
	if len(index) != 1 || index[0] == 0 || index[0] > math.MaxInt32 {
		return 0, false
	}
	return int(index[0]), true
}

// pairIndex is an index of two numbers.
func pairIndex(index snmp.OID) ([2]int, bool) {
	if len(index) != 2 || index[0] > math.MaxInt32 || index[1] > math.MaxInt32 {
		return [2]int{}, false
	}
	return [2]int{int(index[0]), int(index[1])}, true
}

// octetsOf turns numbers into the octets that they stand for.
func octetsOf(numbers []uint32) ([]byte, bool) {
	b := make([]byte, len(numbers))
	for i, n := range numbers {
		if n > 255 {
			return nil, false
		}
		b[i] = byte(n)
	}
	return b, true
}

func macIndex(numbers []uint32) (inventory.MAC, bool) {
	b, ok := octetsOf(numbers)
	if !ok || len(b) != 6 {
		return inventory.MAC{}, false
	}
	return inventory.MAC(b), true
}

// addressIndex is a family, a length and as many octets: InetAddressType and
// InetAddress (RFC 4001), or the like two numbers of LLDP. The zones of
// ipv4z(3) and ipv6z(4) are dropped: they are numbers of the agent's own.
func addressIndex(index []uint32) (netip.Addr, bool) {
	if len(index) < 2 || int64(index[1]) != int64(len(index)-2) {
		return netip.Addr{}, false
	}
	b, ok := octetsOf(index[2:])
	if !ok {
		return netip.Addr{}, false
	}
	switch family := index[0]; {
	case family == 1 && len(b) == 4, family == 2 && len(b) == 16:
		return netip.AddrFromSlice(b)
	case family == 3 && len(b) == 8:
		return netip.AddrFromSlice(b[:4])
	case family == 4 && len(b) == 20:
		return netip.AddrFromSlice(b[:16])
	}
	return netip.Addr{}, false
}
