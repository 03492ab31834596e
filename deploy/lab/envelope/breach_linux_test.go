package envelope

import (
	"net/netip"
	"testing"
	"time"

	"github.com/gosnmp/gosnmp"
)

// snmp is a message with a PDU of the kind, by version 2c or by 3 in the clear.
func snmp(t *testing.T, version gosnmp.SnmpVersion, kind gosnmp.PDUType) []byte {
	t.Helper()
	p := gosnmp.SnmpPacket{Version: version, Community: community, PDUType: kind, RequestID: 7,
		Variables: []gosnmp.SnmpPDU{{Name: ".1.3.6.1.2.1.1.5.0", Type: gosnmp.OctetString, Value: make([]byte, 200)}}}
	if version == gosnmp.Version3 {
		p.SecurityModel, p.MsgMaxSize, p.SecurityParameters = gosnmp.UserSecurityModel, 1500, &gosnmp.UsmSecurityParameters{UserName: "reader"}
	}
	b, err := p.MarshalMsg()
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// The rules see each breach that they are there for, and take what is allowed.
func TestRulesSeeBreaches(t *testing.T) {
	a := netip.MustParseAddr
	own, other := [6]byte{0, 0, 0x5e, 0, 0x53, 9}, [6]byte{0, 0, 0x5e, 0, 0x53, 0x66}
	r := rules{wire: "eth0", own: own, gateway: a("203.0.113.1"), leftAlone: a("203.0.113.50"),
		addrs:    []netip.Addr{a("203.0.113.9"), a("fe80::9"), a("2001:db8:10::9")},
		networks: []netip.Prefix{netip.MustParsePrefix("203.0.113.0/26"), netip.MustParsePrefix("2001:db8:10::/64")},
		asked:    []netip.Addr{a("203.0.113.1"), a("203.0.113.2"), a("203.0.113.50")}}
	sweep, kernel := make([]byte, 60), make([]byte, 42)
	arp := func(op uint16, mac [6]byte, src, dst string, raw []byte) frame {
		return frame{iface: "eth0", raw: raw, arp: op, mac: mac, src: a(src), dst: a(dst)}
	}
	ip := func(proto int, src, dst string, sport, dport uint16, payload []byte) frame {
		return frame{iface: "eth0", proto: proto, src: a(src), dst: a(dst), sport: sport, dport: dport, payload: payload}
	}
	nd := func(iface string, kind int, src, dst string) frame {
		return frame{iface: iface, proto: icmp6, icmp: kind, src: a(src), dst: a(dst)}
	}
	elsewhere := arp(request, own, "203.0.113.9", "203.0.113.2", sweep)
	elsewhere.iface = "eth1"
	const me, sw, lift = "203.0.113.9", "203.0.113.2", "203.0.113.50"
	for _, c := range []struct {
		name  string
		f     frame
		allow bool
	}{
		{"a sweep", arp(request, own, me, "203.0.113.40", sweep), true},
		{"a sweep, who is left alone", arp(request, own, me, lift, sweep), true},
		{"a sweep where none is", elsewhere, false},
		{"a sweep outside", arp(request, own, me, "203.0.113.130", sweep), false},
		{"the kernel's request", arp(request, own, me, sw, kernel), true},
		{"the kernel's request for a stranger", arp(request, own, me, "203.0.113.41", kernel), false},
		{"a probe", arp(request, own, "0.0.0.0", "203.0.113.40", sweep), false},
		{"in another's name", arp(request, own, "203.0.113.1", "203.0.113.40", sweep), false},
		{"from another's MAC", arp(request, other, me, "203.0.113.40", sweep), false},
		{"a forged reply", arp(reply, own, "203.0.113.1", sw, sweep), false},
		{"the kernel's reply", arp(reply, own, me, sw, kernel), true},
		{"an announcement", arp(request, own, me, me, kernel), false},
		{"get", ip(udp, me, sw, 40000, 161, snmp(t, gosnmp.Version2c, gosnmp.GetBulkRequest)), true},
		{"set", ip(udp, me, sw, 40000, 161, snmp(t, gosnmp.Version2c, gosnmp.SetRequest)), false},
		{"get by version 3", ip(udp, me, sw, 40000, 161, snmp(t, gosnmp.Version3, gosnmp.GetNextRequest)), true},
		{"set by version 3", ip(udp, me, sw, 40000, 161, snmp(t, gosnmp.Version3, gosnmp.SetRequest)), false},
		{"no SNMP to an agent's port", ip(udp, me, sw, 40000, 161, []byte("hello")), false},
		{"SNMP to who is left alone", ip(udp, me, lift, 40000, 161, snmp(t, gosnmp.Version2c, gosnmp.GetRequest)), false},
		{"to one outside", ip(tcp, me, "198.51.100.200", 40000, 80, nil), false},
		{"in a foreign name", ip(udp, "203.0.113.1", sw, 40000, 161, snmp(t, gosnmp.Version2c, gosnmp.GetRequest)), false},
		{"a query of multicast DNS", ip(udp, me, "224.0.0.251", 40000, 5353, nil), true},
		{"as a responder asks", ip(udp, me, "224.0.0.251", 5353, 5353, nil), false},
		{"another multicast", ip(udp, me, "224.0.0.252", 40000, 5355, nil), false},
		{"DHCP", ip(udp, "0.0.0.0", "255.255.255.255", 68, 67, nil), false},
		{"DNS elsewhere", ip(udp, me, sw, 40000, 53, nil), false},
		{"a ping to all nodes", nd("eth0", echo6, "fe80::9", "ff02::1"), true},
		{"the same where none is", nd("eth2", echo6, "fe80::9", "ff02::1"), false},
		{"a solicitation where none is", nd("eth1", solicit, "fe80::9", "ff02::1:ff00:1"), false},
		{"the kernel's report of groups", nd("eth1", report, "fe80::9", "ff02::16"), true},
		{"a ping to one node", nd("eth0", echo6, "2001:db8:10::9", "2001:db8:10::31"), false},
		{"a router's advertisement", nd("eth0", 134, "fe80::9", "ff02::1"), false},
		{"an unknown protocol", frame{iface: "eth0", proto: -1}, false},
	} {
		if why := r.breach(c.f); (why == "") != c.allow {
			t.Errorf("%s: %q, allowed: want %t", c.name, why, c.allow)
		}
	}
}

// The busiest second is one that slides.
func TestBusiestSecond(t *testing.T) {
	var frames []frame
	for _, ms := range []int{0, 100, 900, 999, 1000, 1050, 1899, 3000} {
		frames = append(frames, frame{at: time.UnixMilli(int64(ms)), arp: request, raw: make([]byte, sweepFrame)})
	}
	frames = append(frames, frame{at: time.UnixMilli(3001), arp: request, raw: make([]byte, 42)}) // the kernel's
	if got := busiest(frames, frame.swept); got != 5 {
		t.Errorf("%d, want 5: from 100 ms until before 1100 ms", got)
	}
}

// A real frame is taken apart: a request by mdlayher/arp is what the sweep sends.
func TestDecode(t *testing.T) {
	b := []byte("\xff\xff\xff\xff\xff\xff\x00\x00\x5e\x00\x53\x09\x08\x06\x00\x01\x08\x00\x06\x04\x00\x01\x00\x00\x5e\x00\x53\x09\xcb\x00\x71\x09\x00\x00\x00\x00\x00\x00\xcb\x00\x71\x02")
	f := decode("eth0", append(b, make([]byte, 18)...))
	if !f.swept() || f.src != netip.MustParseAddr("203.0.113.9") || f.dst != netip.MustParseAddr("203.0.113.2") || f.mac != [6]byte{0, 0, 0x5e, 0, 0x53, 9} {
		t.Errorf("got %s of %x", f, f.mac)
	}
	for n := range len(b) { // cut short anywhere
		if f := decode("eth0", b[:n]); f.arp != 0 || f.dst.IsValid() {
			t.Errorf("%d bytes: %s", n, f)
		}
	}
}
