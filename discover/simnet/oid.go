package simnet

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// maxSubIDs is the most sub-identifiers an OID can have (RFC 2578, 7.1.3).
const maxSubIDs = 128

var errOID = errors.New("not an object identifier")

// oid is an object identifier. Agents order rows by its numbers, not its text.
type oid []uint32

// parseOID reads the dotted form, with or without a leading dot, within the
// limits of X.690, 8.19: the first two numbers share one sub-identifier.
func parseOID(s string) (oid, error) {
	dotted := strings.TrimPrefix(s, ".")
	n := strings.Count(dotted, ".") + 1
	if n < 2 || n > maxSubIDs {
		return nil, fmt.Errorf("%.60q: %w: %d numbers, 2 to %d expected", s, errOID, n, maxSubIDs)
	}
	o := make(oid, 0, n)
	for part := range strings.SplitSeq(dotted, ".") {
		v, err := strconv.ParseUint(part, 10, 32)
		if err != nil || part[0] == '+' {
			return nil, fmt.Errorf("%.60q: %w: part %.20q", s, errOID, part)
		}
		o = append(o, uint32(v))
	}
	if o[0] > 2 || o[0] < 2 && o[1] > 39 || o[1] > 1<<32-1-80 {
		return nil, fmt.Errorf("%.60q: %w: starts with %d.%d", s, errOID, o[0], o[1])
	}
	return o, nil
}

// String is the form that gosnmp uses, with a leading dot.
func (o oid) String() string {
	b := make([]byte, 0, 4*len(o))
	for _, v := range o {
		b = append(b, '.')
		b = strconv.AppendUint(b, uint64(v), 10)
	}
	return string(b)
}

func (o oid) compare(p oid) int { return slices.Compare(o, p) }

func (o oid) under(prefix oid) bool {
	return len(o) >= len(prefix) && slices.Equal(o[:len(prefix)], prefix)
}

// size is the length of the BER content, in octets (X.690, 8.19).
func (o oid) size() int {
	n := base128Size(uint64(o[0])*40 + uint64(o[1]))
	for _, v := range o[2:] {
		n += base128Size(uint64(v))
	}
	return n
}

func base128Size(v uint64) int {
	n := 1
	for v >>= 7; v > 0; v >>= 7 {
		n++
	}
	return n
}
