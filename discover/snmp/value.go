package snmp

import (
	"encoding/binary"
	"fmt"
	"math"
	"net/netip"
)

// Kind is the type of a value as it came over the wire (RFC 2578, section 2;
// RFC 3416, section 3).
type Kind uint8

// The kinds. NoSuchObject and NoSuchInstance say that the agent answered and
// has no such value for this request. Null, the zero value, says that nothing
// usable came: the agent failed on it, or answered something else.
const (
	Null Kind = iota
	Integer
	OctetString
	ObjectID
	IPAddress
	Counter32
	Gauge32 // also Unsigned32
	TimeTicks
	Counter64
	Opaque
	NoSuchObject
	NoSuchInstance
	endOfView
)

var kindNames = [...]string{
	Null: "Null", Integer: "INTEGER", OctetString: "OCTET STRING",
	ObjectID: "OBJECT IDENTIFIER", IPAddress: "IpAddress", Counter32: "Counter32",
	Gauge32: "Gauge32", TimeTicks: "TimeTicks", Counter64: "Counter64", Opaque: "Opaque",
	NoSuchObject: "noSuchObject", NoSuchInstance: "noSuchInstance", endOfView: "endOfMibView",
}

// String is the name that the standard uses.
func (k Kind) String() string {
	if int(k) < len(kindNames) {
		return kindNames[k]
	}
	return fmt.Sprintf("Kind(%d)", uint8(k))
}

// Value is one value from an agent. It is comparable. Kind says what it is; its
// methods give it in a Go type and report false where kind or range does not
// fit, so that a text where a number belongs is unknown and not zero.
type Value struct {
	Kind Kind
	num  uint64 // numbers; an Integer in two's complement
	raw  string // octets; an ObjectID as four octets a sub-identifier
}

// ValueOf makes a value of kind k: from int, int64 or uint64 for numbers, string
// or []byte for OctetString and Opaque, [OID] for ObjectID, [netip.Addr] (IPv4)
// for IPAddress, nil for the rest. What does not fit the kind is a Null.
func ValueOf(k Kind, v any) Value {
	switch v := v.(type) {
	case int:
		return number(k, v < 0, uint64(v))
	case int64:
		return number(k, v < 0, uint64(v))
	case uint64:
		return number(k, false, v)
	case string:
		return octets(k, v)
	case []byte:
		return octets(k, string(v))
	case OID:
		if k == ObjectID && len(v) <= maxSubIDs {
			b := make([]byte, 0, 4*len(v))
			for _, id := range v {
				b = binary.BigEndian.AppendUint32(b, id)
			}
			return Value{Kind: k, raw: string(b)}
		}
	case netip.Addr:
		if k == IPAddress && v.Is4() {
			return Value{Kind: k, raw: string(v.AsSlice())}
		}
	case nil:
		if k == NoSuchObject || k == NoSuchInstance || k == endOfView {
			return Value{Kind: k}
		}
	}
	return Value{}
}

// number checks the ranges of RFC 2578, 7.1. Counter32, Gauge32 and TimeTicks
// are unsigned whatever the sign bit says: some agents leave out the leading
// zero octet, and the library hands their four octets over as unsigned.
func number(k Kind, negative bool, n uint64) Value {
	switch k {
	case Integer:
		if negative == (int64(n) < 0) && int64(n) >= math.MinInt32 && int64(n) <= math.MaxInt32 {
			return Value{Kind: k, num: n}
		}
	case Counter32, Gauge32, TimeTicks:
		if !negative && n <= math.MaxUint32 {
			return Value{Kind: k, num: n}
		}
	case Counter64:
		if !negative {
			return Value{Kind: k, num: n}
		}
	}
	return Value{}
}

func octets(k Kind, s string) Value {
	if k == OctetString || k == Opaque {
		return Value{Kind: k, raw: s}
	}
	return Value{}
}

// Int64 gives an Integer, or any other number that fits.
func (v Value) Int64() (int64, bool) {
	switch v.Kind {
	case Integer:
		return int64(v.num), true
	case Counter32, Gauge32, TimeTicks:
		return int64(v.num), true
	case Counter64:
		return int64(v.num), v.num <= math.MaxInt64
	}
	return 0, false
}

// Uint64 gives a Counter32, Gauge32, TimeTicks or Counter64, or an Integer that
// is not negative. TimeTicks are hundredths of a second.
func (v Value) Uint64() (uint64, bool) {
	switch v.Kind {
	case Counter32, Gauge32, TimeTicks, Counter64:
		return v.num, true
	case Integer:
		return v.num, int64(v.num) >= 0
	}
	return 0, false
}

// Bytes gives the octets of an OctetString or Opaque, as the device sent them:
// any length, any characters. The caller owns the slice.
func (v Value) Bytes() ([]byte, bool) {
	if v.Kind == OctetString || v.Kind == Opaque {
		return []byte(v.raw), true
	}
	return nil, false
}

// OID gives an ObjectID. The caller owns the slice. 0.0 is a legal value.
func (v Value) OID() (OID, bool) {
	if v.Kind != ObjectID {
		return nil, false
	}
	o := make(OID, len(v.raw)/4)
	for i := range o {
		o[i] = binary.BigEndian.Uint32([]byte(v.raw[4*i : 4*i+4]))
	}
	return o, true
}

// Addr gives an IPAddress, which is always IPv4.
func (v Value) Addr() (netip.Addr, bool) {
	if v.Kind != IPAddress {
		return netip.Addr{}, false
	}
	return netip.AddrFromSlice([]byte(v.raw))
}

// String is for logs and test failures: kind and value, octets quoted.
func (v Value) String() string {
	switch v.Kind {
	case Integer:
		return fmt.Sprintf("%v %d", v.Kind, int64(v.num))
	case Counter32, Gauge32, TimeTicks, Counter64:
		return fmt.Sprintf("%v %d", v.Kind, v.num)
	case OctetString, Opaque:
		return fmt.Sprintf("%v %q", v.Kind, v.raw)
	case ObjectID:
		o, _ := v.OID()
		return fmt.Sprintf("%v %v", v.Kind, o)
	case IPAddress:
		a, _ := v.Addr()
		return fmt.Sprintf("%v %v", v.Kind, a)
	}
	return v.Kind.String()
}

// Row is one instance of an object and its value.
type Row struct {
	OID   OID
	Value Value
}
