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

type vlanRow struct {
	inventory.VLAN
	status int
	filter *int
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
	{dot1qVlanStaticName, func(l *vlanRow, v snmp.Value) { l.Name = text(v) }},
	{dot1qVlanStaticEntry.Append(2), setEgress},                                             // dot1qVlanStaticEgressPorts
	{dot1qVlanStaticEntry.Append(4), setUntagged},                                           // dot1qVlanStaticUntaggedPorts
	{dot1qVlanStaticEntry.Append(5), func(l *vlanRow, v snmp.Value) { l.status = code(v) }}, // dot1qVlanStaticRowStatus
}

func setEgress(l *vlanRow, v snmp.Value)   { l.Egress = portList(v) }
func setUntagged(l *vlanRow, v snmp.Value) { l.Untagged = portList(v) }

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
// configured.
func decodeVLANs(r rows) []inventory.VLAN {
	var out []inventory.VLAN
	at := map[int]int{}
	for _, l := range gather(r, vlanID, vlanStaticFields) {
		const active = 1
		if l.row.status != 0 && l.row.status != active {
			continue
		}
		l.row.ID = l.key
		at[l.key] = len(out)
		out = append(out, l.row.VLAN)
	}
	for _, l := range gather(r, currentVLAN, vlanCurrentFields) {
		i, ok := at[l.key]
		if !ok {
			i, at[l.key] = len(out), len(out)
			out = append(out, inventory.VLAN{ID: l.key})
		}
		if l.row.Egress != nil {
			out[i].Egress, out[i].Untagged = l.row.Egress, l.row.Untagged
		}
	}
	return out
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
