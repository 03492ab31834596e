package snmp

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// maxSubIDs is the most sub-identifiers an OID can have (RFC 2578, 7.1.3).
const maxSubIDs = 128

// OID is an object identifier, one number a sub-identifier. The nil OID is
// invalid and sorts before all others.
type OID []uint32

// ParseOID reads the dotted form, with or without a leading dot. Names, empty
// parts, numbers beyond 32 bits and more than 128 parts are errors.
func ParseOID(s string) (OID, error) {
	dotted := strings.TrimPrefix(s, ".")
	if dotted == "" {
		return nil, fmt.Errorf("oid %.60q: no sub-identifier", s)
	}
	n := strings.Count(dotted, ".") + 1
	if n > maxSubIDs {
		return nil, fmt.Errorf("oid %.60q: %d sub-identifiers, at most %d", s, n, maxSubIDs)
	}
	o := make(OID, 0, n)
	for part := range strings.SplitSeq(dotted, ".") {
		v, err := strconv.ParseUint(part, 10, 32)
		if err != nil {
			return nil, fmt.Errorf("oid %.60q: %.20q is no sub-identifier", s, part)
		}
		o = append(o, uint32(v))
	}
	return o, nil
}

// MustOID is [ParseOID] for constants: it panics on what cannot be parsed.
func MustOID(s string) OID {
	o, err := ParseOID(s)
	if err != nil {
		panic(err)
	}
	return o
}

// String is the dotted form without a leading dot.
func (o OID) String() string {
	b := make([]byte, 0, 4*len(o))
	for i, v := range o {
		if i > 0 {
			b = append(b, '.')
		}
		b = strconv.AppendUint(b, uint64(v), 10)
	}
	return string(b)
}

// Compare is negative, zero or positive as o sorts before, with or after p. The
// order is that of RFC 3416: numeric, a prefix before what extends it.
func (o OID) Compare(p OID) int { return slices.Compare(o, p) }

// HasPrefix reports whether o is prefix or lies below it.
func (o OID) HasPrefix(prefix OID) bool {
	return len(o) >= len(prefix) && slices.Equal(o[:len(prefix)], prefix)
}

// Append returns a new OID: o followed by suffix. It never shares memory with o.
func (o OID) Append(suffix ...uint32) OID {
	return slices.Concat(o, suffix)
}
