package snmp

import (
	"context"
	"errors"
	"net/netip"
)

// Engine is what an SNMP version 3 engine says of itself (RFC 3411, section 5).
type Engine struct {
	ID    []byte // snmpEngineID, 5 to 32 octets
	Boots uint32 // snmpEngineBoots; 2147483647: latched, the agent refuses all (RFC 3414, 2.2.2)
	Time  uint32 // snmpEngineTime, seconds since Boots rose
}

// Discover asks target for its engine without any credentials (RFC 3414,
// section 4).
func Discover(ctx context.Context, target netip.AddrPort, opts Options) (Engine, error) {
	return Engine{}, errors.ErrUnsupported
}
