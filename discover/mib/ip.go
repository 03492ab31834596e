package mib

import (
	"net/netip"
	"time"

	"boundwalk/discover/snmp"
	"boundwalk/inventory"
)

// IP-MIB (RFC 4293): the agent's own addresses, old table and new.
var (
	ipAdEntry         = snmp.MustOID("1.3.6.1.2.1.4.20.1")
	ipAddressEntry    = snmp.MustOID("1.3.6.1.2.1.4.34.1")
	ipNetToMediaEntry = snmp.MustOID("1.3.6.1.2.1.4.22.1")
	ipNetToPhysEntry  = snmp.MustOID("1.3.6.1.2.1.4.35.1")

	ipAdEntIfIndex             = ipAdEntry.Append(2)
	ipAddressIfIndex           = ipAddressEntry.Append(3)
	ipNetToMediaPhysAddress    = ipNetToMediaEntry.Append(2)
	ipNetToPhysicalPhysAddress = ipNetToPhysEntry.Append(4)
)

type addressRow struct {
	inventory.AgentAddress
	kind, status int
}

var ipAdFields = []field[addressRow]{
	{ipAdEntIfIndex, setAddressIndex},
	{ipAdEntry.Append(3), func(a *addressRow, v snmp.Value) { a.Prefix = maskLength(address(v)) }}, // ipAdEntNetMask
}

var ipAddressFields = []field[addressRow]{
	{ipAddressIfIndex, setAddressIndex},
	{ipAddressEntry.Append(4), func(a *addressRow, v snmp.Value) { a.kind = code(v) }}, // ipAddressType
	{ipAddressEntry.Append(5), func(a *addressRow, v snmp.Value) { // ipAddressPrefix: the last number of the pointer
		if o, ok := v.OID(); ok && len(o) > 2 {
			a.Prefix = int(min(o[len(o)-1], 1000))
		}
	}},
	{ipAddressEntry.Append(6), func(a *addressRow, v snmp.Value) { // ipAddressOrigin
		a.Origin = word(v, "", "", "manual", "", "dhcp", "linklayer", "random")
	}},
	{ipAddressEntry.Append(7), func(a *addressRow, v snmp.Value) { // ipAddressStatus
		a.status = code(v)
		a.State = word(v, "", "preferred", "deprecated", "invalid", "inaccessible", "", "tentative", "duplicate", "optimistic")
	}},
}

func setAddressIndex(a *addressRow, v snmp.Value) { a.Index = inventory.IfIndex(code(v)) }

// word is the word for an enumerated value, counted from zero.
func word(v snmp.Value, words ...string) string {
	n, _ := whole(v, 0, int64(len(words)-1))
	return words[n]
}

// maskLength is the length of a netmask whose ones are in one piece, else 0.
func maskLength(mask netip.Addr) int {
	if !mask.Is4() {
		return 0
	}
	n, b := 0, mask.As4()
	for n < 32 && b[n/8]&(0x80>>(n%8)) != 0 {
		n++
	}
	if p, err := mask.Prefix(n); err != nil || p.Addr() != mask {
		return 0
	}
	return n
}

func decodeAddresses(r rows) []inventory.AgentAddress {
	var out []inventory.AgentAddress
	seen := map[netip.Addr]bool{}
	add := func(addr netip.Addr, a addressRow) {
		if addr.IsUnspecified() || seen[addr] {
			return
		}
		seen[addr] = true
		a.Addr = addr
		if a.Prefix > addr.BitLen() {
			a.Prefix = 0
		}
		out = append(out, a.AgentAddress)
	}
	for _, l := range gather(r, soleAddress, ipAddressFields) {
		if l.row.kind != 3 { // broadcast(3) is nobody's
			add(l.key, l.row)
		}
	}
	for _, l := range gather(r, plainAddress, ipAdFields) {
		add(l.key, l.row)
	}
	return out
}

func soleAddress(index snmp.OID) (netip.Addr, bool) { return addressIndex(index) }

// plainAddress is an index of four numbers without family and length.
func plainAddress(index snmp.OID) (netip.Addr, bool) {
	b, ok := octetsOf(index)
	if !ok || len(b) != 4 {
		return netip.Addr{}, false
	}
	return netip.AddrFromSlice(b)
}

type neighborKey struct {
	port int
	addr netip.Addr
}

type neighborRow struct {
	mac         inventory.MAC
	kind, state int
}

var ipNetToMediaFields = []field[neighborRow]{
	{ipNetToMediaPhysAddress, setNeighborMAC},
	{ipNetToMediaEntry.Append(4), setNeighborKind}, // ipNetToMediaType
}

var ipNetToPhysicalFields = []field[neighborRow]{
	{ipNetToPhysicalPhysAddress, setNeighborMAC},
	{ipNetToPhysEntry.Append(6), setNeighborKind},                                          // ipNetToPhysicalType
	{ipNetToPhysEntry.Append(7), func(n *neighborRow, v snmp.Value) { n.state = code(v) }}, // ipNetToPhysicalState
}

func setNeighborMAC(n *neighborRow, v snmp.Value)  { n.mac = mac(v) }
func setNeighborKind(n *neighborRow, v snmp.Value) { n.kind = code(v) }

// decodeNeighbors joins both neighbour tables. A row is no presence: it outlives
// the device by the time-out of the table.
func decodeNeighbors(r rows, by string, read time.Time) []inventory.Sighting {
	var out []inventory.Sighting
	type pair struct {
		neighborKey
		mac inventory.MAC
	}
	seen := map[pair]bool{}
	add := func(k neighborKey, n neighborRow) {
		const invalid, local = 2, 5          // of the type
		gone := n.state == 5 || n.state == 7 // invalid, incomplete
		if n.kind == invalid || n.kind == local || gone || !n.mac.IsValid() || n.mac.IsMulticast() ||
			k.addr.IsUnspecified() || k.addr.IsMulticast() || seen[pair{k, n.mac}] {
			return
		}
		seen[pair{k, n.mac}] = true
		out = append(out, inventory.Sighting{
			MAC: n.mac, Addr: k.addr, Source: inventory.SourceNeighbors, By: by, Port: k.port, Seen: read,
		})
	}
	for _, l := range gather(r, physicalNeighbor, ipNetToPhysicalFields) {
		add(l.key, l.row)
	}
	for _, l := range gather(r, mediaNeighbor, ipNetToMediaFields) {
		add(l.key, l.row)
	}
	return out
}

func mediaNeighbor(index snmp.OID) (neighborKey, bool) {
	if len(index) != 5 {
		return neighborKey{}, false
	}
	return neighborAt(index[:1], index[1:], plainAddress)
}

func physicalNeighbor(index snmp.OID) (neighborKey, bool) {
	if len(index) < 3 {
		return neighborKey{}, false
	}
	return neighborAt(index[:1], index[1:], soleAddress)
}

func neighborAt(port, rest snmp.OID, decode func(snmp.OID) (netip.Addr, bool)) (neighborKey, bool) {
	n, ok := oneIndex(port)
	addr, valid := decode(rest)
	return neighborKey{n, addr}, ok && valid
}
