package mib

import (
	"boundwalk/discover/snmp"
	"boundwalk/inventory"
)

// dot1dStpPortTable of BRIDGE-MIB (RFC 4188).
var dot1dStpPortState = snmp.MustOID("1.3.6.1.2.1.17.2.15.1.3")

// decodeSTP reads blocking(2), which is also how discarding of the rapid
// protocol shows (from memory).
func decodeSTP(r rows) []inventory.STPPort {
	var out []inventory.STPPort
	for index, v := range r.column(dot1dStpPortState) {
		port, ok := oneIndex(index)
		if state := code(v); ok && state != 0 {
			out = append(out, inventory.STPPort{Port: inventory.BridgePort(port), Blocking: state == 2})
		}
	}
	return out
}
