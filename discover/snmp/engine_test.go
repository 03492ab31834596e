package snmp_test

import (
	"encoding/hex"
	"net/netip"
	"strings"
	"testing"

	"boundwalk/discover/simnet"
	"boundwalk/discover/snmp"
)

// The rule is RFC 3411's SnmpEngineID; the enterprise in the first line is the
// RFC's own example. The other octets are computed.
func TestEngineID(t *testing.T) {
	type reading struct {
		enterprise uint32
		ok         bool
		mac        [6]byte
		addr       netip.Addr
		text       string
	}
	for _, tt := range []struct {
		name, id string
		want     reading
	}{
		{"MAC", "80001f880300005e005301", reading{enterprise: 8072, ok: true, mac: [6]byte{0, 0, 0x5e, 0, 0x53, 1}}},
		{"IPv4", "80001f8801c000020a", reading{enterprise: 8072, ok: true, addr: netip.MustParseAddr("192.0.2.10")}},
		{"IPv6", "80001f880220010db8000000000000000000000001", reading{enterprise: 8072, ok: true, addr: netip.MustParseAddr("2001:db8::1")}},
		{"text", "80001f880473772d31", reading{enterprise: 8072, ok: true, text: "sw-1"}},
		{"old format", "000002b80102030405060708", reading{enterprise: 696, ok: true}},
		{"old format, fifth octet as for text", "000002b80461626364656667", reading{enterprise: 696, ok: true}},
		{"octets", "800002b80501020304", reading{enterprise: 696, ok: true}},
		{"MAC of five octets", "80001f880300005e0053", reading{enterprise: 8072, ok: true}},
		{"IPv4 in six octets", "80001f8801c000020a0000", reading{enterprise: 8072, ok: true}},
		{"format alone", "80001f8803", reading{enterprise: 8072, ok: true}},
		{"empty", "", reading{}},
		{"four octets", "80001f88", reading{}},
		{"33 octets", "80001f8804" + strings.Repeat("61", 28), reading{}},
		{"all zero", "000000000000000000000000", reading{}},
		{"all ones", "ffffffffffffffffffffffff", reading{}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			id, err := hex.DecodeString(tt.id)
			if err != nil {
				t.Fatal(err)
			}
			e := snmp.Engine{ID: id}
			var got reading
			got.enterprise, got.ok = e.Enterprise()
			got.mac, _ = e.MAC()
			got.addr, _ = e.Addr()
			got.text, _ = e.Text()
			if got != tt.want {
				t.Errorf("got %+v, want %+v", got, tt.want)
			}
		})
	}
}

// A device says who it is to anyone (RFC 3414, section 4).
func TestDiscover(t *testing.T) {
	id := "\x80\x00\x1f\x88\x03\x00\x00\x5e\x00\x53\x01"
	dev := start(t, simnet.AgentOptions{Engine: id, Boots: 7})
	got, err := snmp.Discover(t.Context(), dev.addr, snmp.Options{})
	if err != nil || string(got.ID) != id || got.Boots != 7 {
		t.Fatalf("got %+v, %v", got, err)
	}
	if mac, ok := got.MAC(); !ok || mac != [6]byte{0, 0, 0x5e, 0, 0x53, 1} {
		t.Errorf("got MAC %x, %v", mac, ok)
	}
	if n := dev.Counts().Received; n != 1 {
		t.Errorf("took %d datagrams, want one", n)
	}
}
