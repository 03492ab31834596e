package mib

import (
	"math"
	"net/netip"
	"strings"

	"boundwalk/discover/snmp"
	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

// Values in the types of the inventory. What does not fit is the zero value or nil.

// maxDescr is how much of a description is kept: as much as its type can hold.
const maxDescr = 255

// text is a device's own words, short.
func text(v snmp.Value) string { return inventory.Clean(raw(v)) }

// description is text as long as SnmpAdminString and DisplayString can be.
func description(v snmp.Value) string { return inventory.CleanTo(raw(v), maxDescr) }

func raw(v snmp.Value) string {
	b, _ := v.Bytes()
	return string(b[:min(len(b), 4*maxDescr)])
}

// whole is a number from low to high.
func whole(v snmp.Value, low, high int64) (int, bool) {
	n, ok := v.Int64()
	if !ok || n < low || n > high {
		return 0, false
	}
	return int(n), true
}

// code is an enumerated value, or 0.
func code(v snmp.Value) int {
	n, _ := whole(v, 0, math.MaxInt32)
	return n
}

// truth is a TruthValue (RFC 2579): true(1), false(2), and nothing else.
func truth(v snmp.Value) *bool { return choice(v, 1, 2) }

// choice is one of two numbers.
func choice(v snmp.Value, yes, no int64) *bool {
	if n, ok := v.Int64(); ok && (n == yes || n == no) {
		return new(n == yes)
	}
	return nil
}

func counter(v snmp.Value) *uint64 {
	if n, ok := v.Uint64(); ok {
		return &n
	}
	return nil
}

func counter32(v snmp.Value) *uint32 {
	if n, ok := v.Uint64(); ok && n <= math.MaxUint32 {
		return new(uint32(n))
	}
	return nil
}

// ticks are TimeTicks, hundredths of a second; unsigned (FC-10).
func ticks(v snmp.Value) *uint32 { return counter32(v) }

// watts is a figure in whole watts; zero is a figure.
func watts(v snmp.Value, low, high int64) *inventory.Power {
	if n, ok := whole(v, low, high); ok {
		return new(inventory.Power(n) * poe.Watt)
	}
	return nil
}

// mac is a PhysAddress: six octets, or the text that some agents send instead
// (12, 14 or 17 characters; common practice). Six zero octets are none.
func mac(v snmp.Value) inventory.MAC {
	b, _ := v.Bytes()
	return macOf(b)
}

func macOf(b []byte) inventory.MAC {
	if len(b) == 6 {
		return inventory.MAC(b)
	}
	s := strings.TrimRight(string(b[:min(len(b), 32)]), "\x00 ")
	if n := len(s); n != 12 && n != 14 && n != 17 {
		return inventory.MAC{}
	}
	m, err := inventory.ParseMAC(s)
	if err != nil {
		return inventory.MAC{}
	}
	return m
}

// address is an IpAddress; invalid if it is none or all zero.
func address(v snmp.Value) netip.Addr {
	a, ok := v.Addr()
	if !ok || a.IsUnspecified() {
		return netip.Addr{}
	}
	return a
}
