package snmp

import (
	"bytes"
	"context"
	"encoding/binary"
	"net/netip"
)

// Engine is what an SNMP version 3 engine says of itself (RFC 3411, section 5).
// Its methods read the ID, and report false where that has no such part.
type Engine struct {
	ID    []byte // snmpEngineID, 5 to 32 octets
	Boots uint32 // snmpEngineBoots; 2147483647: latched, the agent refuses all (RFC 3414, 2.2.2)
	Time  uint32 // snmpEngineTime, seconds since Boots rose
}

// Discover asks target for its engine without any credentials (RFC 3414,
// section 4). Errors are a [TargetError].
func Discover(ctx context.Context, target netip.AddrPort, opts Options) (Engine, error) {
	c := newClient(target, Credentials{}, opts)
	defer c.Close()
	var engine Engine
	err := c.contact(ctx, func(s *session, tries int) (err error) {
		engine, err = s.discover(ctx, tries)
		return err
	})
	if err != nil {
		return Engine{}, &TargetError{Op: "discover", Target: target, Err: err}
	}
	return engine, nil
}

// valid tells by the rules of SnmpEngineID: 5 to 32 octets, not all zero, not
// all 0xff.
func (e Engine) valid() bool {
	n := len(e.ID)
	return n >= 5 && n <= 32 && bytes.Count(e.ID, []byte{0}) < n && bytes.Count(e.ID, []byte{0xff}) < n
}

// Enterprise is the private enterprise number of whoever made the engine, which
// need not be the maker of the device.
func (e Engine) Enterprise() (uint32, bool) {
	if !e.valid() {
		return 0, false
	}
	return binary.BigEndian.Uint32(e.ID) &^ (1 << 31), true
}

// part gives what follows octet 5, where the ID is in the new form (its first
// bit is set) and octet 5 names one of formats.
func (e Engine) part(formats ...byte) ([]byte, bool) {
	if !e.valid() || e.ID[0]&0x80 == 0 || !bytes.Contains(formats, e.ID[4:5]) {
		return nil, false
	}
	return e.ID[5:], true
}

// MAC is the address in the ID (format 3), six octets.
func (e Engine) MAC() ([6]byte, bool) {
	b, ok := e.part(3)
	if !ok || len(b) != 6 {
		return [6]byte{}, false
	}
	return [6]byte(b), true
}

// Addr is the IPv4 or IPv6 address in the ID (formats 1 and 2).
func (e Engine) Addr() (netip.Addr, bool) {
	b, ok := e.part(1, 2)
	if !ok || len(b) != map[byte]int{1: 4, 2: 16}[e.ID[4]] {
		return netip.Addr{}, false
	}
	return netip.AddrFromSlice(b)
}

// Text is the administrator's text in the ID (format 4), as the device sent it.
func (e Engine) Text() (string, bool) {
	b, ok := e.part(4)
	return string(b), ok
}
