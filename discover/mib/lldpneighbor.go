package mib

import (
	"cmp"
	"math"
	"net/netip"
	"slices"

	"boundwalk/discover/snmp"
	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

// Bounds of what one agent may say of its neighbours.
const (
	maxNeighbors = 64 // on one port
	maxAddresses = 16 // of one neighbour
)

// LLDP-EXT-MED-MIB (ANSI/TIA-1057).
var (
	lldpXMedRemInventoryEntry = snmp.MustOID("1.0.8802.1.1.2.1.5.4795.1.3.3.1")
	lldpXMedRemXPoEDeviceType = snmp.MustOID("1.0.8802.1.1.2.1.5.4795.1.3.5.1.1")
	lldpXMedRemXPoEPSEPowerAv = snmp.MustOID("1.0.8802.1.1.2.1.5.4795.1.3.6.1.1")
	lldpXMedRemXPoEPDPowerReq = snmp.MustOID("1.0.8802.1.1.2.1.5.4795.1.3.7.1.1")
)

// remoteKey names a neighbour in one arc. The time mark is no part of it: it only
// says when the row changed (RFC 2021, TimeFilter).
type remoteKey struct {
	port, dest, index uint32
}

type remoteRow struct {
	inventory.LLDPNeighbor
	chassis, portID        []byte
	dot3, dot3v2           powerRow
	medKind                int
	medGiven, medRequested inventory.Power
	med                    inventory.MEDInventory
}

type powerRow struct {
	role                 int // pClassPSE(1), pClassPD(2)
	class                inventory.Class
	requested, allocated inventory.Power
}

func (a lldpArc) key(index snmp.OID) (remoteKey, bool) {
	if n := a.keyLength(); len(index) != n {
		return remoteKey{}, false
	}
	return a.keyOf(index)
}

func (a lldpArc) keyLength() int {
	if a.v2 {
		return 4
	}
	return 3
}

// keyOf reads the front of an index.
func (a lldpArc) keyOf(index snmp.OID) (remoteKey, bool) {
	if len(index) < a.keyLength() {
		return remoteKey{}, false
	}
	k := remoteKey{port: index[1], index: index[2]}
	if a.v2 {
		k.dest, k.index = index[2], index[3]
	}
	return k, k.port > 0 && k.port <= math.MaxInt32
}

func (a lldpArc) remoteFields() []field[remoteRow] {
	fields := []field[remoteRow]{
		{a.remoteColumn(4), func(n *remoteRow, v snmp.Value) { n.ChassisSubtype = code(v) }}, // lldpRemChassisIdSubtype
		{a.remChassis(), func(n *remoteRow, v snmp.Value) { n.chassis, _ = v.Bytes() }},
		{a.remoteColumn(6), func(n *remoteRow, v snmp.Value) { n.PortSubtype = code(v) }},           // lldpRemPortIdSubtype
		{a.remoteColumn(7), func(n *remoteRow, v snmp.Value) { n.portID, _ = v.Bytes() }},           // lldpRemPortId
		{a.remoteColumn(8), func(n *remoteRow, v snmp.Value) { n.PortDescr = text(v) }},             // lldpRemPortDesc
		{a.remoteColumn(9), func(n *remoteRow, v snmp.Value) { n.SysName = text(v) }},               // lldpRemSysName
		{a.remoteColumn(10), func(n *remoteRow, v snmp.Value) { n.SysDescr = description(v) }},      // lldpRemSysDesc
		{a.remoteColumn(12), func(n *remoteRow, v snmp.Value) { n.Capabilities = capabilities(v) }}, // lldpRemSysCapEnabled
		{a.remPVID(), func(n *remoteRow, v snmp.Value) { n.PVID, _ = whole(v, 1, maxVLAN) }},
	}
	return append(fields, a.extensionFields()...)
}

func (a lldpArc) extensionFields() []field[remoteRow] {
	var fields []field[remoteRow]
	at := func(n *remoteRow) *powerRow { return &n.dot3 }
	if a.v2 {
		at = func(n *remoteRow) *powerRow { return &n.dot3v2 }
	}
	for _, entry := range a.powerRem {
		fields = append(fields, []field[remoteRow]{
			{entry.Append(1), func(n *remoteRow, v snmp.Value) { at(n).role = code(v) }}, // …RemPowerPortClass
			{entry.Append(6), func(n *remoteRow, v snmp.Value) { // …RemPowerClass
				k, _ := v.Int64()
				at(n).class, _ = poe.FromMIB(k)
			}},
		}...)
	}
	if a.v2 {
		entry := a.powerRem[len(a.powerRem)-1]
		return append(fields, []field[remoteRow]{
			{entry.Append(10), func(n *remoteRow, v snmp.Value) { n.dot3v2.requested = tenths(v) }}, // lldpV2Xdot3RemPDRequestedPowerValue
			{entry.Append(11), func(n *remoteRow, v snmp.Value) { n.dot3v2.allocated = tenths(v) }}, // lldpV2Xdot3RemPSEAllocatedPowerValue
		}...)
	}
	med := lldpXMedRemInventoryEntry
	return append(fields, []field[remoteRow]{
		{med.Append(1), func(n *remoteRow, v snmp.Value) { n.med.Hardware = text(v) }}, // lldpXMedRemHardwareRev
		{med.Append(2), func(n *remoteRow, v snmp.Value) { n.med.Firmware = text(v) }}, // lldpXMedRemFirmwareRev
		{med.Append(3), func(n *remoteRow, v snmp.Value) { n.med.Software = text(v) }}, // lldpXMedRemSoftwareRev
		{med.Append(4), func(n *remoteRow, v snmp.Value) { n.med.Serial = text(v) }},   // lldpXMedRemSerialNum
		{med.Append(5), func(n *remoteRow, v snmp.Value) { n.med.Maker = text(v) }},    // lldpXMedRemMfgName
		{med.Append(6), func(n *remoteRow, v snmp.Value) { n.med.Model = text(v) }},    // lldpXMedRemModelName
		{lldpXMedRemXPoEDeviceType, func(n *remoteRow, v snmp.Value) { n.medKind = code(v) }},
		{lldpXMedRemXPoEPSEPowerAv, func(n *remoteRow, v snmp.Value) { n.medGiven = tenths(v) }},
		{lldpXMedRemXPoEPDPowerReq, func(n *remoteRow, v snmp.Value) { n.medRequested = tenths(v) }},
	}...)
}

func tenths(v snmp.Value) inventory.Power {
	n, ok := v.Int64()
	if !ok {
		return 0
	}
	p, _ := poe.FromTenths(n)
	return p
}

// power is what was negotiated, from the module that says most.
func (n *remoteRow) power() *inventory.LLDPPower {
	const pd, medPSE, medPD = 2, 2, 3
	class := cmp.Or(n.dot3v2.class, n.dot3.class)
	switch {
	case n.dot3v2.requested > 0 || n.dot3v2.allocated > 0:
		role := cmp.Or(n.dot3v2.role, n.dot3.role)
		return &inventory.LLDPPower{PD: role == pd, Class: class, Requested: n.dot3v2.requested, Allocated: n.dot3v2.allocated, Source: "dot3-v2"}
	case n.medRequested > 0 && n.medKind != medPSE:
		return &inventory.LLDPPower{PD: true, Class: class, Requested: n.medRequested, Source: "med"}
	case n.medGiven > 0 && n.medKind != medPD:
		return &inventory.LLDPPower{Class: class, Allocated: n.medGiven, Source: "med"}
	case n.dot3v2.role != 0:
		return &inventory.LLDPPower{PD: n.dot3v2.role == pd, Class: class, Source: "dot3-v2"}
	case n.dot3.role != 0:
		return &inventory.LLDPPower{PD: n.dot3.role == pd, Class: class, Source: "dot3"}
	}
	return nil
}

// neighbors reads the neighbours of one arc; more is false if a port has too many.
func (a lldpArc) neighbors(r rows) (out []line[remoteKey, remoteRow], whole bool) {
	whole = true
	count := map[uint32]int{}
	addresses := a.addresses(r)
	for _, l := range gather(r, a.key, a.remoteFields()) {
		if count[l.key.port]++; count[l.key.port] > maxNeighbors {
			whole = false
			continue
		}
		n := &l.row
		if a.v2 {
			n.LocalIndex = inventory.IfIndex(l.key.port)
		} else {
			n.Local = inventory.LLDPPort(l.key.port)
		}
		n.Chassis, n.ChassisMAC = identifier(n.chassis, n.ChassisSubtype == chassisMAC, n.ChassisSubtype == chassisNetwork)
		n.PortID, n.PortMAC = identifier(n.portID, n.PortSubtype == portMAC, n.PortSubtype == portNetwork)
		n.Addresses = addresses[l.key]
		if n.med != (inventory.MEDInventory{}) {
			n.MED = &n.med
		}
		out = append(out, l)
	}
	return out, whole
}

// addresses are the management addresses of each neighbour. They stand only in
// the index: family, length, octets; some agents omit the length.
func (a lldpArc) addresses(r rows) map[remoteKey][]netip.Addr {
	out := map[remoteKey][]netip.Addr{}
	for index := range r.column(a.remAddress()) {
		k, ok := a.keyOf(index)
		if !ok {
			continue
		}
		addr, ok := managementAddress(index[a.keyLength():])
		if ok && !addr.IsUnspecified() && len(out[k]) < maxAddresses && !slices.Contains(out[k], addr) {
			out[k] = append(out[k], addr)
		}
	}
	return out
}

func managementAddress(index snmp.OID) (netip.Addr, bool) {
	if addr, ok := addressIndex(index); ok {
		return addr, true
	}
	if len(index) == 5 && index[0] == 1 || len(index) == 17 && index[0] == 2 {
		b, ok := octetsOf(index[1:])
		if !ok {
			return netip.Addr{}, false
		}
		return netip.AddrFromSlice(b)
	}
	return netip.Addr{}, false
}
