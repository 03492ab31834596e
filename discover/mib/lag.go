package mib

import (
	"boundwalk/discover/snmp"
	"boundwalk/inventory"
)

// IEEE8023-LAG-MIB (IEEE 802.1AX).
var dot3adAggPortAttachedAggID = snmp.MustOID("1.2.840.10006.300.43.1.2.1.1.13")

// decodeLAG maps the members that are attached to their aggregate. Zero is none,
// and some agents name the port itself.
func decodeLAG(r rows) map[inventory.IfIndex]inventory.IfIndex {
	lag := numbered(r, dot3adAggPortAttachedAggID, func(member, aggregate int) (inventory.IfIndex, inventory.IfIndex) {
		return inventory.IfIndex(member), inventory.IfIndex(aggregate)
	})
	for member, aggregate := range lag {
		if member == aggregate {
			delete(lag, member)
		}
	}
	return lag
}
