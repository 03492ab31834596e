package snmp_test

import (
	"math"
	"net/netip"
	"slices"
	"testing"

	"boundwalk/discover/snmp"
)

func TestParseOID(t *testing.T) {
	long := snmp.OID(make([]uint32, 128))
	for _, tt := range []struct {
		name, in string
		want     snmp.OID // nil: an error
	}{
		{"dotted", "1.3.6.1.2.1.1.3.0", snmp.OID{1, 3, 6, 1, 2, 1, 1, 3, 0}},
		{"leading dot", ".1.3.6", snmp.OID{1, 3, 6}},
		{"largest sub-identifier", "1.3.6.1.4294967295", snmp.OID{1, 3, 6, 1, 4294967295}},
		{"128 sub-identifiers", long.String(), long},
		{"129 sub-identifiers", long.String() + ".0", nil},
		{"beyond 32 bits", "1.4294967296", nil},
		{"empty", "", nil},
		{"dot alone", ".", nil},
		{"empty part", "1..3", nil},
		{"trailing dot", "1.3.", nil},
		{"negative", "1.-3", nil},
		{"plus sign", "1.+3", nil},
		{"name", "sysDescr.0", nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got, err := snmp.ParseOID(tt.in)
			if (err == nil) != (tt.want != nil) || !slices.Equal(got, tt.want) {
				t.Errorf("got %v, %v, want %v", got, err, tt.want)
			}
		})
	}
}

// The order is numeric, a prefix before what extends it (RFC 3416, 4.2.2).
func TestOIDOrder(t *testing.T) {
	sorted := []snmp.OID{
		nil, snmp.MustOID("1.3"), snmp.MustOID("1.3.6.1.2.1.2.2.1.2.9"),
		snmp.MustOID("1.3.6.1.2.1.2.2.1.2.10"), snmp.MustOID("1.3.6.1.2.1.2.2.1.2.10.0"), snmp.MustOID("1.3.111"),
	}
	for i, a := range sorted {
		for j, b := range sorted {
			if got := a.Compare(b); (got < 0) != (i < j) || (got > 0) != (i > j) {
				t.Errorf("%v to %v: got %d", a, b, got)
			}
		}
	}
	if a := snmp.MustOID("1.3.61"); a.HasPrefix(snmp.MustOID("1.3.6")) {
		t.Error("1.3.61 is not below 1.3.6")
	}
}

func TestOIDAppendDoesNotShare(t *testing.T) {
	entry := append(make(snmp.OID, 0, 8), 1, 3, 6)
	a, b := entry.Append(1), entry.Append(2, 9)
	if a.String() != "1.3.6.1" || b.String() != "1.3.6.2.9" || entry.String() != "1.3.6" {
		t.Errorf("got %v, %v, %v", entry, a, b)
	}
}

// FC-10: what does not fit in kind or range is unknown, not zero and not negative.
func TestValueRanges(t *testing.T) {
	addr := netip.MustParseAddr("192.0.2.10")
	type reading struct {
		i   int64
		iOK bool
		u   uint64
		uOK bool
	}
	for _, tt := range []struct {
		name string
		in   snmp.Value
		kind snmp.Kind
		want reading
	}{
		{"integer", snmp.ValueOf(snmp.Integer, 7), snmp.Integer, reading{7, true, 7, true}},
		{"minus one", snmp.ValueOf(snmp.Integer, -1), snmp.Integer, reading{-1, true, math.MaxUint64, false}},
		{"lowest", snmp.ValueOf(snmp.Integer, int64(math.MinInt32)), snmp.Integer, reading{math.MinInt32, true, 1<<64 - 1<<31, false}},
		{"integer beyond 32 bits", snmp.ValueOf(snmp.Integer, int64(1)<<31), snmp.Null, reading{}},
		{"integer below 32 bits", snmp.ValueOf(snmp.Integer, int64(-1)<<31-1), snmp.Null, reading{}},
		{"integer from 64 bits", snmp.ValueOf(snmp.Integer, uint64(math.MaxUint64)), snmp.Null, reading{}},
		{"252 days of ticks", snmp.ValueOf(snmp.TimeTicks, 2178049673), snmp.TimeTicks, reading{2178049673, true, 2178049673, true}},
		{"highest gauge", snmp.ValueOf(snmp.Gauge32, math.MaxUint32), snmp.Gauge32, reading{math.MaxUint32, true, math.MaxUint32, true}},
		{"counter beyond 32 bits", snmp.ValueOf(snmp.Counter32, 1<<32), snmp.Null, reading{}},
		{"negative counter", snmp.ValueOf(snmp.Counter32, -1), snmp.Null, reading{}},
		{"highest Counter64", snmp.ValueOf(snmp.Counter64, uint64(math.MaxUint64)), snmp.Counter64, reading{-1, false, math.MaxUint64, true}},
		{"text where ticks belong", snmp.ValueOf(snmp.OctetString, "12 days"), snmp.OctetString, reading{}},
		{"text as number", snmp.ValueOf(snmp.Integer, "12"), snmp.Null, reading{}},
		{"address as text", snmp.ValueOf(snmp.OctetString, addr), snmp.Null, reading{}},
		{"IPv6 as IpAddress", snmp.ValueOf(snmp.IPAddress, netip.IPv6Loopback()), snmp.Null, reading{}},
		{"row gone", snmp.ValueOf(snmp.NoSuchInstance, nil), snmp.NoSuchInstance, reading{}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var got reading
			got.i, got.iOK = tt.in.Int64()
			got.u, got.uOK = tt.in.Uint64()
			if tt.in.Kind != tt.kind || got != tt.want {
				t.Errorf("got %v %+v, want %v %+v", tt.in.Kind, got, tt.kind, tt.want)
			}
		})
	}
}

func TestValueTypes(t *testing.T) {
	oid := snmp.MustOID("1.3.6.1.4.4294967295")
	if got, ok := snmp.ValueOf(snmp.ObjectID, oid).OID(); !ok || got.Compare(oid) != 0 {
		t.Errorf("OID: got %v, %v", got, ok)
	}
	addr := netip.MustParseAddr("192.0.2.10")
	if got, ok := snmp.ValueOf(snmp.IPAddress, addr).Addr(); !ok || got != addr {
		t.Errorf("Addr: got %v, %v", got, ok)
	}
	text := snmp.ValueOf(snmp.OctetString, "port0\x00")
	if got, ok := text.Bytes(); !ok || string(got) != "port0\x00" {
		t.Errorf("Bytes: got %q, %v", got, ok)
	}
	if _, ok := text.OID(); ok {
		t.Error("a text is no OID")
	}
	if _, ok := text.Addr(); ok {
		t.Error("a text is no address")
	}
	if _, ok := snmp.ValueOf(snmp.Integer, 1).Bytes(); ok {
		t.Error("an integer has no octets")
	}
	if text != snmp.ValueOf(snmp.OctetString, []byte("port0\x00")) {
		t.Error("equal values compare unequal")
	}
	for v, want := range map[snmp.Value]string{
		text:                               `OCTET STRING "port0\x00"`,
		snmp.ValueOf(snmp.Integer, -1):     "INTEGER -1",
		snmp.ValueOf(snmp.Gauge32, 9):      "Gauge32 9",
		snmp.ValueOf(snmp.ObjectID, oid):   "OBJECT IDENTIFIER 1.3.6.1.4.4294967295",
		snmp.ValueOf(snmp.IPAddress, addr): "IpAddress 192.0.2.10",
		{}:                                 "Null",
		{Kind: 200}:                        "Kind(200)",
	} {
		if got := v.String(); got != want {
			t.Errorf("got %s, want %s", got, want)
		}
	}
}
