package mib

import (
	"slices"

	"boundwalk/discover/snmp"
)

// IEEE8021-BRIDGE-MIB and IEEE8021-Q-BRIDGE-MIB (IEEE 802.1Q, clause 17), the successors of
// BRIDGE-MIB and Q-BRIDGE-MIB, which some switches offer alone. Their indexes have the
// number of a bridge component before what the older ones have.
var (
	ieeeBridgeAddress = snmp.MustOID("1.3.111.2.802.1.1.2.1.1.1.1.2") // ieee8021BridgeBaseBridgeAddress
	ieeePortIfIndex   = snmp.MustOID("1.3.111.2.802.1.1.2.1.1.4.1.3") // ieee8021BridgeBasePortIfIndex
	ieeeFdbPort       = snmp.MustOID("1.3.111.2.802.1.1.4.1.2.2.1.2") // ieee8021QBridgeTpFdbPort
	ieeeFdbStatus     = snmp.MustOID("1.3.111.2.802.1.1.4.1.2.2.1.3") // ieee8021QBridgeTpFdbStatus
	ieeeVlanFdbID     = snmp.MustOID("1.3.111.2.802.1.1.4.1.4.2.1.4") // ieee8021QBridgeVlanFdbId
	ieeeVlanEgress    = snmp.MustOID("1.3.111.2.802.1.1.4.1.4.2.1.5") // ieee8021QBridgeVlanCurrentEgressPorts
	ieeeVlanUntagged  = snmp.MustOID("1.3.111.2.802.1.1.4.1.4.2.1.6") // ieee8021QBridgeVlanCurrentUntaggedPorts
	ieeeVlanName      = snmp.MustOID("1.3.111.2.802.1.1.4.1.4.3.1.3") // ieee8021QBridgeVlanStaticName
	ieeePvid          = snmp.MustOID("1.3.111.2.802.1.1.4.1.4.5.1.1") // ieee8021QBridgePvid
)

// successor is a column and the older one that says the same.
type successor struct {
	column, older snmp.OID
	component     int      // where it stands in the index
	key           snmp.OID // the older table's column that tells whether it is there
}

var successors = []successor{
	{ieeeBridgeAddress, dot1dBaseBridgeAddress, 0, dot1dBaseBridgeAddress},
	{ieeePortIfIndex, dot1dBasePortIfIndex, 0, dot1dBasePortIfIndex},
	{ieeeFdbPort, dot1qTpFdbPort, 0, dot1qTpFdbPort},
	{ieeeFdbStatus, dot1qTpFdbStatus, 0, dot1qTpFdbPort},
	{ieeeVlanFdbID, dot1qVlanFdbId, 1, dot1qVlanFdbId}, // behind the time mark
	{ieeeVlanEgress, dot1qVlanCurrentEntry.Append(4), 1, dot1qVlanFdbId},
	{ieeeVlanUntagged, dot1qVlanCurrentEntry.Append(5), 1, dot1qVlanFdbId},
	{ieeeVlanName, dot1qVlanStaticName, 0, dot1qVlanStaticName},
	{ieeePvid, dot1qPvid, 0, dot1qPvid},
}

// insteadOf asks for columns of the successors where the agent has them and not the older
// key. Their table of ports, asked for of each agent, tells that it has them.
func insteadOf(older snmp.OID, columns ...snmp.OID) func(rows) []snmp.OID {
	return func(have rows) []snmp.OID {
		if len(have.below(older)) > 0 || len(have.below(ieeePortIfIndex)) == 0 {
			return nil
		}
		return columns
	}
}

// asOlder puts the rows of the successors in the place of the older modules' where
// those have none, so that both are decoded alike. Of several bridge components
// it keeps the first; whole is false if another had rows.
func asOlder(r rows) (out rows, whole bool) {
	whole = true
	var moved []snmp.Row
	first, known := uint32(0), false
	for _, s := range successors {
		if len(r.below(s.key)) > 0 {
			continue
		}
		for index, v := range r.column(s.column) {
			if len(index) <= s.component {
				continue
			}
			component := index[s.component]
			if !known {
				first, known = component, true
			}
			if component != first {
				whole = false
				continue
			}
			tail := slices.Concat(index[:s.component], index[s.component+1:])
			if len(tail) == 0 {
				tail = snmp.OID{0} // a scalar there
			}
			moved = append(moved, snmp.Row{OID: s.older.Append(tail...), Value: v})
		}
	}
	if len(moved) == 0 {
		return r, whole
	}
	return sorted(r, moved), whole
}
