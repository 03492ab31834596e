package mib

import (
	"fmt"
	"math"
	"net/netip"
	"testing"

	"boundwalk/discover/snmp"
	"boundwalk/inventory"
)

// RFC 2578, 7.7, and for the neighbour tables RFC 4293: the suffixes as net-snmp's
// parser takes them apart.
func TestIndexes(t *testing.T) {
	v6 := snmp.OID{32, 1, 13, 184, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1}
	local := snmp.OID{254, 128, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1, 0, 0, 0, 3}
	for name, c := range map[string]struct {
		index snmp.OID
		want  string // empty: refused
	}{
		"ipv4":                   {snmp.OID{1, 4, 192, 0, 2, 1}, "192.0.2.1"},
		"ipv6":                   {append(snmp.OID{2, 16}, v6...), "2001:db8::1"},
		"ipv6z":                  {append(snmp.OID{4, 20}, local...), "fe80::1"},
		"ipv4z":                  {snmp.OID{3, 8, 192, 0, 2, 1, 0, 0, 0, 3}, "192.0.2.1"},
		"length beyond the rest": {snmp.OID{1, 5, 192, 0, 2, 1}, ""},
		"family 1, length 5":     {snmp.OID{1, 5, 192, 0, 2, 1, 1}, ""},
		"an octet of 256":        {snmp.OID{1, 4, 192, 0, 2, 256}, ""},
		"too short":              {snmp.OID{1}, ""},
		"huge length":            {snmp.OID{1, math.MaxUint32, 1}, ""},
		"a name":                 {snmp.OID{16, 4, 65, 66, 67, 68}, ""},
		"empty":                  {nil, ""},
	} {
		got, ok := addressIndex(c.index)
		if ok != (c.want != "") || ok && got != netip.MustParseAddr(c.want) {
			t.Errorf("%s: %v, %v", name, got, ok)
		}
	}
	if k, ok := mediaNeighbor(snmp.OID{3, 192, 0, 2, 10}); !ok || k != (neighborKey{3, netip.MustParseAddr("192.0.2.10")}) {
		t.Errorf("ipNetToMedia: %v, %v", k, ok)
	}
	if k, ok := physicalNeighbor(append(snmp.OID{3, 2, 16}, v6...)); !ok || k != (neighborKey{3, netip.MustParseAddr("2001:db8::1")}) {
		t.Errorf("ipNetToPhysical: %v, %v", k, ok)
	}
	for _, bad := range []snmp.OID{nil, {3}, {0, 192, 0, 2, 10}, {3, 192, 0, 2}, {3, 192, 0, 2, 10, 1}} {
		if k, ok := mediaNeighbor(bad); ok {
			t.Errorf("ipNetToMedia %v: %v", bad, k)
		}
	}
	if k, ok := filterMAC(snmp.OID{10, 0, 26, 43, 60, 77, 94}); !ok || k.filter != 10 || k.mac.String() != "00:1a:2b:3c:4d:5e" {
		t.Errorf("dot1qTpFdb: %v, %v", k, ok)
	}
	for _, bad := range []snmp.OID{nil, {10}, {10, 0, 26, 43, 60, 77}, {10, 0, 26, 43, 60, 77, 300}, {10, 0, 0, 0, 0, 0, 0}} {
		if k, ok := filterMAC(bad); ok {
			t.Errorf("dot1qTpFdb %v: %v", bad, k)
		}
	}
}

// The management address of a neighbour, with its length and as agents write it
// that omit it.
func TestManagementAddress(t *testing.T) {
	v6 := snmp.OID{32, 1, 13, 184, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 32}
	for name, c := range map[string]struct {
		index snmp.OID
		want  string
	}{
		"ipv4":                  {snmp.OID{1, 4, 192, 0, 2, 20}, "192.0.2.20"},
		"ipv4 without length":   {snmp.OID{1, 192, 0, 2, 20}, "192.0.2.20"},
		"ipv4, looks like 3":    {snmp.OID{1, 3, 0, 2, 20}, "3.0.2.20"},
		"ipv6":                  {append(snmp.OID{2, 16}, v6...), "2001:db8::20"},
		"ipv6 without length":   {append(snmp.OID{2}, v6...), "2001:db8::20"},
		"MAC":                   {snmp.OID{6, 6, 0, 26, 43, 60, 77, 94}, ""},
		"an octet of 300":       {snmp.OID{1, 300, 0, 2, 20}, ""},
		"family 2 with 4 of it": {snmp.OID{2, 4, 192, 0, 2, 20}, ""},
	} {
		got, ok := managementAddress(c.index)
		if ok != (c.want != "") || ok && got.String() != c.want {
			t.Errorf("%s: %v, %v", name, got, ok)
		}
	}
}

// RFC 2021, TimeFilter: row 1 changed at tick 6 and row 2 at tick 8, so that a walk
// meets 16 instances of two rows.
func TestTimeFilter(t *testing.T) {
	key := lldp1.remChassis()
	var r rows
	for mark := range uint32(9) {
		if mark <= 6 {
			r = append(r, row(key, octets("one"), mark, 1, 1))
		}
		r = append(r, row(key, octets("two"), mark, 2, 1))
	}
	if len(r) != 16 {
		t.Fatal(len(r))
	}
	got, whole := lldp1.neighbors(r)
	if len(got) != 2 || !whole {
		t.Errorf("%d neighbours, whole %v", len(got), whole)
	}
	if mark, repeated := repeatedMarks(r, key); mark != 0 || !repeated {
		t.Errorf("first mark %d, repeated %v", mark, repeated)
	}
	// What real agents have: each row once, at the time it changed.
	r = rows{row(key, octets("one"), 100, 1, 1), row(key, octets("two"), 200, 2, 1), row(key, octets("new"), 300, 1, 1)}
	if _, repeated := repeatedMarks(r, key); repeated {
		t.Error("marks that differ are taken for repeats")
	}
	got, _ = lldp1.neighbors(r)
	if len(got) != 2 || got[0].row.Chassis != "new" {
		t.Errorf("the latest mark does not win: %+v", got)
	}
}

func TestNeighborsBounded(t *testing.T) {
	var r rows
	for i := range uint32(9000) {
		r = append(r, row(lldp1.remChassis(), octets(fmt.Sprint(i)), 0, 5, i+1))
	}
	got, whole := decodeLLDPNeighbors(r, &inventory.Agent{})
	if len(got) != maxNeighbors || whole {
		t.Errorf("%d neighbours, whole %v", len(got), whole)
	}
}
