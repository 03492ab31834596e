package snmp

import (
	"bytes"
	"encoding/hex"
	"errors"
	"net/netip"
	"strings"
	"testing"

	"github.com/gosnmp/gosnmp"
)

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.Join(strings.Fields(s), ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// tlv is a BER value with a length in the long form where it must be.
func tlv(tag byte, content ...byte) []byte {
	n := len(content)
	switch {
	case n < 0x80:
		return append([]byte{tag, byte(n)}, content...)
	case n < 0x100:
		return append([]byte{tag, 0x81, byte(n)}, content...)
	}
	return append([]byte{tag, 0x82, byte(n >> 8), byte(n)}, content...)
}

// responseTo1 is a version 2c response from community public to request 1.
func responseTo1(varbinds ...byte) []byte {
	pdu := append([]byte{2, 1, 1, 2, 1, 0, 2, 1, 0}, tlv(0x30, varbinds...)...)
	return tlv(0x30, append([]byte("\x02\x01\x01\x04\x06public"), tlv(0xa2, pdu...)...)...)
}

var publicWire = newCommunity(Credentials{Version: "2c", Community: "public"})

// Whole messages, computed by RFC 3416 and RFC 3417, section 8; the request is
// one that a general ASN.1 tool decodes.
func TestMessages(t *testing.T) {
	got, err := publicWire.encode(request{pdu: gosnmp.GetRequest, oids: []OID{pingOID}}, 1)
	want := unhex(t, `30 26 02 01 01 04 06 70 75 62 6c 69 63 a0 19 02 01 01 02 01 00 02 01 00
		30 0e 30 0c 06 08 2b 06 01 02 01 01 03 00 05 00`)
	if err != nil || !bytes.Equal(got, want) {
		t.Errorf("get: got %x, %v", got, err)
	}
	for _, tt := range []struct {
		name, in string
		want     Value
	}{
		{"ticks", `30 29 02 01 01 04 06 70 75 62 6c 69 63 a2 1c 02 01 01 02 01 00 02 01 00
			30 11 30 0f 06 08 2b 06 01 02 01 01 03 00 43 03 01 e2 40`, ValueOf(TimeTicks, 123456)},
		{"row gone", `30 26 02 01 01 04 06 70 75 62 6c 69 63 a2 19 02 01 01 02 01 00 02 01 00
			30 0e 30 0c 06 08 2b 06 01 02 01 01 03 00 81 00`, Value{Kind: NoSuchInstance}},
		// RFC 3417, 8.1: lengths may take more octets than needed.
		{"lengths not minimal", `30 82 00 2f 02 01 01 04 06 70 75 62 6c 69 63 a2 82 00 20 02 01 01 02 01 00 02 01 00
			30 82 00 13 30 81 10 06 81 08 2b 06 01 02 01 01 03 00 43 03 01 e2 40`, ValueOf(TimeTicks, 123456)},
	} {
		p, err := publicWire.decode(unhex(t, tt.in), []uint32{1})
		if err != nil || len(p.Variables) != 1 || p.Variables[0].Name != "."+pingOID.String() || valueOf(p.Variables[0]) != tt.want {
			t.Errorf("%s: got %v, %v", tt.name, p, err)
		}
	}
	tooBig := unhex(t, "302402040000000104067075626c6963a2140204000000010204000000010204000000003000")
	if p, err := publicWire.decode(tooBig, []uint32{1}); err != nil || p.Error != gosnmp.TooBig || len(p.Variables) != 0 {
		t.Errorf("tooBig: got %v, %v", p, err)
	}
}

// Values by the tags of RFC 2578, section 2 and the rules of its section 7.1; the
// encodings are computed by RFC 3417, section 8.
func TestValueEncodings(t *testing.T) {
	oid := func(s string) Value { return ValueOf(ObjectID, MustOID(s)) }
	for _, tt := range []struct {
		in   string
		want Value // zero: of no use
	}{
		{"02 01 00", ValueOf(Integer, 0)}, {"02 01 ff", ValueOf(Integer, -1)},
		{"02 01 7f", ValueOf(Integer, 127)}, {"02 01 80", ValueOf(Integer, -128)},
		{"02 02 00 80", ValueOf(Integer, 128)}, {"02 02 ff 7f", ValueOf(Integer, -129)},
		{"02 04 7f ff ff ff", ValueOf(Integer, 2147483647)}, {"02 04 80 00 00 00", ValueOf(Integer, -2147483648)},
		{"02 05 00 80 00 00 00", Value{}},
		{"40 04 c0 00 02 0a", ValueOf(IPAddress, netip.MustParseAddr("192.0.2.10"))},
		{"40 00", Value{}}, {"40 10 20010db8000000000000000000000001", Value{}},
		{"41 05 00 ff ff ff ff", ValueOf(Counter32, 4294967295)}, {"41 04 ff ff ff ff", ValueOf(Counter32, 4294967295)},
		{"41 05 01 00 00 00 00", Value{}}, {"42 05 01 00 00 00 00", Value{}}, {"41 0a 00000000000000000001", Value{}},
		{"42 05 00 ff ff ff ff", ValueOf(Gauge32, 4294967295)},
		{"43 03 01 e2 40", ValueOf(TimeTicks, 123456)}, {"43 05 00 81 d2 c3 c9", ValueOf(TimeTicks, 0x81d2c3c9)},
		{"44 07 9f 78 04 41 c8 00 00", ValueOf(Opaque, "\x9f\x78\x04\x41\xc8\x00\x00")},
		{"44 0b 9f 79 08 4039000000000000", ValueOf(Opaque, "\x9f\x79\x08\x40\x39\x00\x00\x00\x00\x00\x00")},
		{"44 02 04 00", ValueOf(Opaque, "\x04\x00")},
		{"46 05 01 00 00 00 00", ValueOf(Counter64, 4294967296)},
		{"46 09 00 ff ff ff ff ff ff ff ff", ValueOf(Counter64, ^uint64(0))},
		{"47 01 05", ValueOf(Gauge32, 5)}, // UInteger32 of RFC 1442
		{"04 00", ValueOf(OctetString, "")}, {"04 03 00 ff 0a", ValueOf(OctetString, "\x00\xff\n")},
		{"05 00", Value{}}, {"01 01 ff", Value{}},
		{"80 00", Value{Kind: NoSuchObject}}, {"81 00", Value{Kind: NoSuchInstance}}, {"82 00", Value{Kind: endOfView}},
		{"06 03 88 37 03", oid("2.999.3")}, {"06 03 81 34 03", oid("2.100.3")},
		{"06 09 60 86 48 01 65 03 04 02 01", oid("2.16.840.1.101.3.4.2.1")}, // published: RFC 9090
		{"06 0b 28 c4 62 01 01 02 01 04 01 01 09", oid("1.0.8802.1.1.2.1.4.1.1.9")},
		{"06 0e 2b 6f 02 86 22 03 01 08 01 01 01 0f 01 01", oid("1.3.111.2.802.3.1.8.1.1.1.15.1.1")},
		{"06 09 2a 86 48 ce 34 04 05 01 01", oid("1.2.840.10036.4.5.1.1")},
		{"06 08 2b 06 01 8f ff ff ff 7f", oid("1.3.6.1.4294967295")}, {"06 01 00", oid("0.0")},
		{"06 82 00 81 2b" + strings.Repeat("01", 128), Value{}}, // 130 sub-identifiers
	} {
		t.Run(tt.in, func(t *testing.T) {
			varbind := tlv(0x30, append(unhex(t, "06 08 2b 06 01 02 01 01 03 00"), unhex(t, tt.in)...)...)
			p, err := publicWire.decode(responseTo1(varbind...), []uint32{1})
			if err != nil || len(p.Variables) != 1 {
				t.Fatalf("got %v, %v", p, err)
			}
			if got := valueOf(p.Variables[0]); got != tt.want {
				t.Errorf("got %v, want %v", got, tt.want)
			}
		})
	}
}

// What cannot be read in an answer to us is told from what is no answer.
func TestUnreadable(t *testing.T) {
	name := unhex(t, "06 08 2b 06 01 02 01 01 03 00")
	whole := responseTo1(tlv(0x30, append(name, 0x43, 1, 7)...)...)
	for _, tt := range []struct {
		name string
		in   []byte
		want error
	}{
		{"nothing", nil, errStray},
		{"one octet", []byte{0x30}, errStray},
		{"text", []byte("HTTP/1.1 400 Bad Request\r\n\r\n"), errStray},
		{"cut short", whole[:len(whole)-3], errStray},
		{"three octets in an address", responseTo1(tlv(0x30, append(name, 0x40, 3, 192, 0, 2)...)...), errGarbled},
		{"nine octets in an integer", responseTo1(tlv(0x30, append(name, 2, 9, 1, 2, 3, 4, 5, 6, 7, 8, 9)...)...), errGarbled},
		{"value longer than its varbind", responseTo1(tlv(0x30, append(name, 0x43, 4, 7)...)...), errGarbled},
		{"sub-identifier beyond 32 bits", responseTo1(tlv(0x30, 6, 6, 0x2b, 0x9f, 0xff, 0xff, 0xff, 0x7f, 5, 0)...), errGarbled},
		{"indefinite length", responseTo1(0x30, 0x80), errGarbled},
	} {
		if p, err := publicWire.decode(tt.in, []uint32{1}); !errors.Is(err, tt.want) {
			t.Errorf("%s: got %v, %v, want %v", tt.name, p, err, tt.want)
		}
	}
}

func TestVarbindSize(t *testing.T) {
	for _, s := range []string{"1.3.6.1.2.1.1.3.0", "1.0.8802.1.1.2.1.4.1.1.9", "1.3.6.1.4294967295", "1.3.6.1.2.1.17.4.3.1.1.0.255.127.128.16383.16384"} {
		with, err := publicWire.encode(request{pdu: gosnmp.GetRequest, oids: []OID{MustOID(s)}}, 1)
		if err != nil {
			t.Fatal(err)
		}
		without, err := publicWire.encode(request{pdu: gosnmp.GetRequest}, 1)
		if err != nil {
			t.Fatal(err)
		}
		// The first two sub-identifiers share an octet; an estimate above is sound.
		if got, want := varbindSize(MustOID(s)), len(with)-len(without); got < want || got > want+1 {
			t.Errorf("%s: got %d, encoded %d", s, got, want)
		}
	}
}
