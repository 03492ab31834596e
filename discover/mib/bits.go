package mib

import (
	"boundwalk/discover/snmp"
	"boundwalk/inventory"
)

// maxPorts bounds a PortList: dot1dBasePort ends at 65535 (RFC 4188).
const maxPorts = 65535

// portList decodes a PortList (RFC 4363): the highest bit of the first octet is
// port 1; octets that are missing hold no ports.
func portList(v snmp.Value) []inventory.BridgePort {
	var ports []inventory.BridgePort
	b, _ := v.Bytes()
	for i := range 8 * min(len(b), (maxPorts+7)/8) {
		if bit(b, i) && i < maxPorts {
			ports = append(ports, inventory.BridgePort(i+1))
		}
	}
	return ports
}

// bit is bit n of a BITS value, the first being the highest of the first octet
// (RFC 3417, section 8).
func bit(b []byte, n int) bool {
	return n/8 < len(b) && b[n/8]&(0x80>>(n%8)) != 0
}
