package snmp

import (
	"encoding/binary"
	"math"
	"net/netip"

	"github.com/gosnmp/gosnmp"
)

// valueOf takes over what gosnmp decoded. What has an unknown type, is out of
// range or malformed becomes Null.
func valueOf(v gosnmp.SnmpPDU) Value {
	switch v.Type {
	case gosnmp.Integer:
		return ValueOf(Integer, v.Value)
	case gosnmp.OctetString:
		return ValueOf(OctetString, v.Value)
	case gosnmp.ObjectIdentifier:
		s, _ := v.Value.(string)
		if o, err := ParseOID(s); err == nil {
			return ValueOf(ObjectID, o)
		}
	case gosnmp.IPAddress:
		s, _ := v.Value.(string)
		if a, err := netip.ParseAddr(s); err == nil {
			return ValueOf(IPAddress, a)
		}
	case gosnmp.Counter32, gosnmp.Gauge32, gosnmp.TimeTicks, gosnmp.Uinteger32, gosnmp.Counter64:
		return unsigned(v)
	case gosnmp.Opaque, gosnmp.OpaqueFloat, gosnmp.OpaqueDouble:
		return opaque(v)
	case gosnmp.NoSuchObject:
		return Value{Kind: NoSuchObject}
	case gosnmp.NoSuchInstance:
		return Value{Kind: NoSuchInstance}
	case gosnmp.EndOfMibView:
		return Value{Kind: endOfView}
	}
	return Value{}
}

// unsignedKinds has the obsolete UInteger32 (RFC 1442) as the Gauge32 it became.
var unsignedKinds = map[gosnmp.Asn1BER]Kind{
	gosnmp.Counter32: Counter32, gosnmp.Gauge32: Gauge32, gosnmp.Uinteger32: Gauge32,
	gosnmp.TimeTicks: TimeTicks, gosnmp.Counter64: Counter64,
}

func unsigned(v gosnmp.SnmpPDU) Value {
	kind := unsignedKinds[v.Type]
	switch n := v.Value.(type) {
	case uint:
		return ValueOf(kind, uint64(n))
	case uint32:
		return ValueOf(kind, uint64(n))
	case uint64:
		return ValueOf(kind, n)
	}
	return Value{}
}

// opaque keeps the octets. gosnmp unpacks the floats that net-snmp wraps in an
// Opaque; they are wrapped again, so that a reader finds what was sent.
func opaque(v gosnmp.SnmpPDU) Value {
	switch n := v.Value.(type) {
	case []byte:
		return ValueOf(Opaque, n)
	case float32:
		return ValueOf(Opaque, binary.BigEndian.AppendUint32([]byte{0x9f, 0x78, 4}, math.Float32bits(n)))
	case float64:
		return ValueOf(Opaque, binary.BigEndian.AppendUint64([]byte{0x9f, 0x79, 8}, math.Float64bits(n)))
	}
	return Value{}
}
