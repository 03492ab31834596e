package mib

import (
	"boundwalk/discover/snmp"
	"boundwalk/inventory"
)

// Q-BRIDGE-MIB (RFC 4363).
var (
	dot1qVlanCurrentEntry = snmp.MustOID("1.3.6.1.2.1.17.7.1.4.2.1")
	dot1qVlanStaticEntry  = snmp.MustOID("1.3.6.1.2.1.17.7.1.4.3.1")
	dot1qVlanFdbId        = dot1qVlanCurrentEntry.Append(3)
	dot1qVlanStaticName   = dot1qVlanStaticEntry.Append(1)
	dot1qPvid             = snmp.MustOID("1.3.6.1.2.1.17.7.1.4.5.1.1")
)

// maxVLAN is the last VLAN ID (IEEE 802.1Q); what is above is the switch's own affair.
const maxVLAN = 4094

// maxMembers bounds the ports of all VLANs of one agent: a PortList of a few
// octets stands for many ports, and an agent may send megabytes of them.
const maxMembers = 1 << 18

type vlanRow struct {
	name             string
	egress, untagged snmp.Value
	status           int
	filter           *int
}

var vlanCurrentFields = []field[vlanRow]{
	{dot1qVlanFdbId, func(l *vlanRow, v snmp.Value) {
		if n, ok := whole(v, 0, 1<<32-1); ok {
			l.filter = &n
		}
	}},
	{dot1qVlanCurrentEntry.Append(4), setEgress},   // dot1qVlanCurrentEgressPorts
	{dot1qVlanCurrentEntry.Append(5), setUntagged}, // dot1qVlanCurrentUntaggedPorts
}

var vlanStaticFields = []field[vlanRow]{
	{dot1qVlanStaticName, func(l *vlanRow, v snmp.Value) { l.name = text(v) }},
	{dot1qVlanStaticEntry.Append(2), setEgress},                                             // dot1qVlanStaticEgressPorts
	{dot1qVlanStaticEntry.Append(4), setUntagged},                                           // dot1qVlanStaticUntaggedPorts
	{dot1qVlanStaticEntry.Append(5), func(l *vlanRow, v snmp.Value) { l.status = code(v) }}, // dot1qVlanStaticRowStatus
}

func setEgress(l *vlanRow, v snmp.Value)   { l.egress = v }
func setUntagged(l *vlanRow, v snmp.Value) { l.untagged = v }

func vlanID(index snmp.OID) (int, bool) {
	id, ok := oneIndex(index)
	return id, ok && id <= maxVLAN
}

// currentVLAN is the index of dot1qVlanCurrentTable without its time mark.
func currentVLAN(index snmp.OID) (int, bool) {
	if len(index) != 2 {
		return 0, false
	}
	return vlanID(index[1:])
}

// decodeVLANs takes the ports of a VLAN from what is in force, else from what is
// configured. It is not whole if there are more ports than are kept.
func decodeVLANs(r rows) (out []inventory.VLAN, whole bool) {
	at := map[int]int{}
	members := 0
	add := func(id int, l vlanRow) {
		i, ok := at[id]
		if !ok {
			i, at[id] = len(out), len(out)
			out = append(out, inventory.VLAN{ID: id, Name: l.name})
		}
		if l.egress.Kind != snmp.OctetString || members > maxMembers {
			return
		}
		out[i].Egress, out[i].Untagged = portList(l.egress), portList(l.untagged)
		members += len(out[i].Egress) + len(out[i].Untagged)
	}
	for _, l := range gather(r, vlanID, vlanStaticFields) {
		const active = 1
		if l.row.status == 0 || l.row.status == active {
			add(l.key, l.row)
		}
	}
	for _, l := range gather(r, currentVLAN, vlanCurrentFields) {
		add(l.key, l.row)
	}
	return out, members <= maxMembers
}

func decodePVID(r rows) map[inventory.BridgePort]int {
	pvid := numbered(r, dot1qPvid, func(port, vlan int) (inventory.BridgePort, int) { return inventory.BridgePort(port), vlan })
	for p, id := range pvid {
		if id > maxVLAN {
			delete(pvid, p)
		}
	}
	return pvid
}

// filterVLANs maps a filtering database to its VLAN. Where several VLANs share
// one, a row of it does not tell which, and it maps to zero.
func filterVLANs(r rows) map[int]int {
	vlans := map[int]int{}
	for _, l := range gather(r, currentVLAN, vlanCurrentFields[:1]) {
		if l.row.filter == nil {
			continue
		}
		f := *l.row.filter
		if _, shared := vlans[f]; shared {
			vlans[f] = 0
		} else {
			vlans[f] = l.key
		}
	}
	return vlans
}
