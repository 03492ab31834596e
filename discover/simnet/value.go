package simnet

import (
	"fmt"
	"math/bits"
	"slices"
	"time"

	"github.com/gosnmp/gosnmp"
)

// Row is one object instance: a name such as "1.3.6.1.2.1.1.5.0", with or
// without a leading dot, and what the agent answers for it.
type Row struct {
	OID   string
	Value Value
}

// Value is a typed SNMP value, fixed or computed for each answer. The zero
// Value is answered as NULL.
type Value struct {
	kind    gosnmp.Asn1BER
	content any // in the type that gosnmp encodes
	size    int // octets of the BER content
	err     error
	compute func(up time.Duration) Value
}

// Integer is an INTEGER or Integer32 (RFC 2578, 7.1.1).
func Integer(v int32) Value {
	size := 1
	for u := int64(v); u > 127 || u < -128; u >>= 8 {
		size++
	}
	return Value{kind: gosnmp.Integer, content: int(v), size: size}
}

// Octets is an OCTET STRING. The slice is copied.
func Octets(b []byte) Value {
	return Value{kind: gosnmp.OctetString, content: slices.Clone(b), size: len(b)}
}

// Text is an OCTET STRING with the octets of s.
func Text(s string) Value { return Octets([]byte(s)) }

// OID is an OBJECT IDENTIFIER in dotted form. Setting a row to a malformed one
// is an error.
func OID(s string) Value {
	o, err := parseOID(s)
	if err != nil {
		return Value{err: err}
	}
	return Value{kind: gosnmp.ObjectIdentifier, content: o.String(), size: o.size()}
}

// IPAddress is an IpAddress, which is always IPv4 (RFC 2578, 7.1.5).
func IPAddress(a [4]byte) Value {
	return Value{kind: gosnmp.IPAddress, content: a[:], size: len(a)}
}

// Counter32 is a Counter32 (RFC 2578, 7.1.6).
func Counter32(v uint32) Value { return unsigned(gosnmp.Counter32, v) }

// Gauge32 is a Gauge32 or Unsigned32, which are the same on the wire (RFC 2578,
// 7.1.7 and 7.1.11).
func Gauge32(v uint32) Value { return unsigned(gosnmp.Gauge32, v) }

// TimeTicks is a TimeTicks, in hundredths of a second (RFC 2578, 7.1.8).
func TimeTicks(v uint32) Value { return unsigned(gosnmp.TimeTicks, v) }

// Counter64 is a Counter64, which version 1 never carries (RFC 3584, 4.2.2.1).
func Counter64(v uint64) Value {
	return Value{kind: gosnmp.Counter64, content: v, size: unsignedSize(v)}
}

func unsigned(kind gosnmp.Asn1BER, v uint32) Value {
	return Value{kind: kind, content: v, size: unsignedSize(uint64(v))}
}

// unsignedSize counts the leading zero octet that keeps the top bit clear.
func unsignedSize(v uint64) int { return bits.Len64(v)/8 + 1 }

// Computed is worked out for each answer from the time since the agent started.
// f must be safe for concurrent use and return a fixed Value.
func Computed(f func(up time.Duration) Value) Value { return Value{compute: f} }

// Rising starts at base when the agent starts and rises at a steady rate. A
// Counter32, Gauge32 or TimeTicks wraps at 2^32, a Counter64 at 2^64; any other
// base stays as it is. Rising(TimeTicks(0), 100) is a sysUpTime.
func Rising(base Value, perSecond float64) Value {
	return Computed(func(up time.Duration) Value {
		more := uint64(max(0, up.Seconds()*perSecond))
		switch v := base.content.(type) {
		case uint32:
			return unsigned(base.kind, uint32(uint64(v)+more))
		case uint64:
			return Counter64(v + more)
		}
		return base
	})
}

// String shows type and content: "Gauge32 130", octets in hexadecimal. What is
// computed is shown as when the agent starts.
func (v Value) String() string {
	v = v.at(0)
	if b, ok := v.content.([]byte); ok {
		return fmt.Sprintf("%v %x", v.kind, b)
	}
	if v.content == nil {
		return v.kind.String()
	}
	return fmt.Sprintf("%v %v", v.kind, v.content)
}

// at is the value to answer, fixed.
func (v Value) at(up time.Duration) Value {
	if v.compute != nil {
		v = v.compute(up)
	}
	if v.compute != nil || v.err != nil || v.kind == 0 {
		return Value{kind: gosnmp.Null}
	}
	return v
}

// bind is one variable binding of an answer.
type bind struct {
	oid   oid
	value Value
}

func (b bind) pdu() gosnmp.SnmpPDU {
	return gosnmp.SnmpPDU{Name: b.oid.String(), Type: b.value.kind, Value: b.value.content}
}

// size is the length of the encoded binding, in octets.
func (b bind) size() int { return tlvSize(tlvSize(b.oid.size()) + tlvSize(b.value.size)) }

// tlvSize is the length of tag, length and content (X.690, 8.1.3).
func tlvSize(content int) int {
	if content < 128 {
		return content + 2
	}
	return content + 2 + (bits.Len(uint(content))+7)/8
}

// row is a Row as the view keeps it.
type row struct {
	oid   oid
	value Value
}

func (r Row) parse() (row, error) {
	o, err := parseOID(r.OID)
	if err != nil {
		return row{}, err
	}
	if r.Value.err != nil {
		return row{}, fmt.Errorf("value of %s: %w", r.OID, r.Value.err)
	}
	return row{o, r.Value}, nil
}
