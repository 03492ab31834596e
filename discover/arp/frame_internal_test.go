package arp

import (
	"encoding/hex"
	"errors"
	"net/netip"
	"strings"
	"testing"
)

// The frames of field cases FC-17 and FC-19, without padding.
const (
	replyFrom11   = "00005e0053fe" + "00005e005311" + "0806" + "0001080006040002" + "00005e005311" + "c0000240" + "00005e0053fe" + "c0000205"
	replyFrom12   = "00005e0053fe" + "00005e005312" + "0806" + "0001080006040002" + "00005e005312" + "c0000240" + "00005e0053fe" + "c0000205"
	protocolLen6  = "00005e0053fe" + "00005e005311" + "0806" + "0001080006060002" + "00005e005311" + "c0000240" + "00005e0053fe" + "c0000205"
	probeFrom31   = "ffffffffffff" + "00005e005331" + "0806" + "0001080006040001" + "00005e005331" + "00000000" + "000000000000" + "c6336440"
	requestFrom31 = "ffffffffffff" + "00005e005331" + "0806" + "0001080006040001" + "00005e005331" + "c633646c" + "000000000000" + "c6336401"
)

func unhex(t testing.TB, text string) []byte {
	t.Helper()
	b, err := hex.DecodeString(text)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// padded brings a frame to the 60 octets that Ethernet sends at least.
func padded(t testing.TB, text string) []byte {
	t.Helper()
	return append(unhex(t, text), make([]byte, 60-len(text)/2)...)
}

func TestParse(t *testing.T) {
	addr := netip.MustParseAddr
	m11, m31 := [6]byte{0, 0, 0x5e, 0, 0x53, 0x11}, [6]byte{0, 0, 0x5e, 0, 0x53, 0x31}
	tests := map[string]struct {
		frame []byte
		want  message
		bad   bool
	}{
		"reply of 42 octets": {frame: unhex(t, replyFrom11), want: message{source: m11, mac: m11, addr: addr("192.0.2.64"), target: addr("192.0.2.5")}},
		"reply padded to 60": {frame: padded(t, replyFrom11), want: message{source: m11, mac: m11, addr: addr("192.0.2.64"), target: addr("192.0.2.5")}},
		"request": {frame: padded(t, requestFrom31),
			want: message{source: m31, mac: m31, addr: addr("198.51.100.108"), target: addr("198.51.100.1"), request: true}},
		"a probe's 0.0.0.0 is no addr":  {frame: padded(t, probeFrom31), want: message{source: m31, mac: m31, target: addr("198.51.100.64"), request: true}},
		"protocol length 6":             {frame: padded(t, protocolLen6), bad: true},
		"cut after 34 octets":           {frame: unhex(t, replyFrom11)[:34], bad: true},
		"nothing":                       {bad: true},
		"all lengths 255":               {frame: padded(t, strings.Replace(replyFrom11, "0604", "ffff", 1)), bad: true},
		"hardware type 6":               {frame: padded(t, strings.Replace(replyFrom11, "00010800", "00060800", 1)), bad: true},
		"operation 9 (RFC 2390)":        {frame: padded(t, strings.Replace(replyFrom11, "06040002", "06040009", 1)), bad: true},
		"sender MAC broadcast":          {frame: padded(t, strings.Replace(replyFrom11, "0002"+"00005e005311", "0002"+"ffffffffffff", 1)), bad: true},
		"sender MAC zero":               {frame: padded(t, strings.Replace(replyFrom11, "0002"+"00005e005311", "0002"+"000000000000", 1)), bad: true},
		"sender address multicast":      {frame: padded(t, strings.Replace(replyFrom11, "c0000240", "e0000001", 1)), bad: true},
		"sender address broadcast":      {frame: padded(t, strings.Replace(replyFrom11, "c0000240", "ffffffff", 1)), bad: true},
		"sender address loopback":       {frame: padded(t, strings.Replace(replyFrom11, "c0000240", "7f000001", 1)), bad: true},
		"ethertype of IPv4, not of ARP": {frame: padded(t, strings.Replace(replyFrom11, "0806", "0800", 1)), bad: true},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			got, err := parse(test.frame)
			if (err != nil) != test.bad || test.bad && !errors.Is(err, errMalformed) {
				t.Fatalf("error %v, want one: %v", err, test.bad)
			}
			if got != test.want {
				t.Errorf("got  %+v\nwant %+v", got, test.want)
			}
		})
	}
}

// The layout of a request, octet by octet, from RFC 826; 60 octets with zeros
// behind, as Ethernet demands.
func TestRequestFrame(t *testing.T) {
	mac := [6]byte{0, 0, 0x5e, 0, 0x53, 0xfe}
	got, err := appendRequest(mac, netip.MustParseAddr("192.0.2.5"), netip.MustParseAddr("192.0.2.64"))
	if err != nil {
		t.Fatal(err)
	}
	want := "ffffffffffff" + "00005e0053fe" + "0806" + "0001" + "0800" + "06" + "04" + "0001" +
		"00005e0053fe" + "c0000205" + "000000000000" + "c0000240" + strings.Repeat("00", 18)
	if hex.EncodeToString(got) != want {
		t.Errorf("got  %x\nwant %s", got, want)
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{replyFrom11, replyFrom12, protocolLen6, probeFrom31, requestFrom31, "", "00"} {
		f.Add(unhex(f, s))
	}
	f.Add(unhex(f, strings.Replace(replyFrom11, "0806", "8100000a0806", 1))) // with a VLAN tag
	f.Fuzz(func(t *testing.T, b []byte) {
		m, err := parse(b)
		if err != nil {
			if !errors.Is(err, errMalformed) {
				t.Fatalf("error %v is no errMalformed", err)
			}
			return
		}
		if m.mac[0]&1 != 0 || m.mac == [6]byte{} {
			t.Errorf("took sender MAC %x", m.mac)
		}
		if m.addr.IsValid() && (!m.addr.Is4() || m.addr.IsUnspecified() || m.addr.IsMulticast()) {
			t.Errorf("took sender address %s", m.addr)
		}
	})
}
