package segment

import (
	"bytes"
	"slices"
	"strings"
	"testing"
)

const guestsPlan = `site: {name: Tern Quay, timezone: Europe/Dublin}
networks:
  yard: {subnet: 203.0.113.0/25, gateway: 203.0.113.1}
  berths: {subnet: 198.51.100.0/24, vlan: 30, unknown: count, subnet6: "2001:db8:30::/64"}
sources: {dhcp_probe: true, reach: true}
devices:
  office-server: {role: server, mac: "00:00:5e:00:53:09", address: 203.0.113.9}
  slip-cam: {role: camera, mac: "00:00:5e:00:53:31", address: 203.0.113.31}
`

// The boats' own devices are counted, and no MAC of theirs is kept anywhere: on
// the auditor's leg in their network, and on the yard's own wire, where they speak
// ARP, IPv6 and multicast DNS like everybody. Nothing is sent into their network.
func TestCountedNetworkKeepsNoMAC(t *testing.T) {
	s := newSegment(t)
	s.plug("00:00:5e:00:53:31", "203.0.113.31/25")
	s.plug("00:00:5e:00:53:12", "203.0.113.12/25") // unknown, and kept
	// Two boats on the yard's wire: one by both families, one that just came.
	both := s.plug("02:00:5e:00:53:a1", "198.51.100.21/24", "2001:db8:30::a1/64")
	newcomer := s.plug("00:00:5e:00:53:a2", "198.51.100.22/24")
	s.announce(both, "boat-phone", "_airplay._tcp", 7000)
	for _, h := range []string{"198.51.100.1", "198.51.100.2"} { // they look for their router
		both.Start("ping", "-q", "-i", "0.5", h)
		newcomer.Start("ping", "-q", "-i", "0.5", h)
	}
	// The auditor's leg in the berths, with a third boat and a DHCP server of theirs.
	berths := &segment{Site: s.Site, t: t, hub: wire(t)}
	berths.cable(s.In, "eth1", "00:00:5e:00:53:0a", "198.51.100.9/24")
	third := berths.plug("00:00:5e:00:53:a3", "198.51.100.23/24", "2001:db8:30::a3/64")
	third.Start("ping", "-q", "-i", "0.5", "198.51.100.1")
	_, log := berths.serveDHCP(third, "berths", "--port=0", "--dhcp-range=198.51.100.100,198.51.100.120,255.255.255.0,1h")
	s.Write("plan.yaml", guestsPlan)

	r := s.Run()
	if got, want := r.Keys(), []string{"unknown-device/00:00:5e:00:53:12"}; !slices.Equal(got, want) {
		t.Errorf("findings %v, want %v", got, want)
	}
	for _, source := range []string{"arp", "ndp", "mdns", "ws-discovery", "dhcp"} {
		if got := r.Looked("berths", source); got != "" && !strings.HasPrefix(got, "skipped") {
			t.Errorf("%s ended %q in the counted network", source, got)
		}
	}
	text, _, _ := s.Output("run")
	if !strings.Contains(text, "2 on berths, only counted") {
		t.Errorf("the two on the yard's wire are not counted:\n%s", text)
	}

	kept, snapshots := s.Logbook("logbook.db")
	if snapshots == 0 || !bytes.Contains(kept, []byte("00:00:5e:00:53:12")) {
		t.Fatal("the logbook does not hold the unknown device either: the search is blind")
	}
	for _, mac := range [][]byte{{2, 0, 0x5e, 0, 0x53, 0xa1}, {0, 0, 0x5e, 0, 0x53, 0xa2}, {0, 0, 0x5e, 0, 0x53, 0xa3}} {
		for _, form := range forms(mac) {
			if i := bytes.Index(bytes.ToLower(kept), form); i >= 0 {
				t.Errorf("%x is in the logbook as %q: …%q…", mac, form, kept[max(0, i-120):min(len(kept), i+60)])
			}
		}
	}
	for _, word := range []string{"boat-phone", "198.51.100.21", "198.51.100.22", "198.51.100.23", "2001:db8:30::a1", "2001:db8:30::a3"} {
		if i := bytes.Index(kept, []byte(word)); i >= 0 {
			t.Errorf("%s, of a boat, is in the logbook: …%q…", word, kept[max(0, i-120):min(len(kept), i+60)])
		}
	}
	if out := third.Exec("ip", "neigh", "show", "dev", "eth0"); strings.Contains(out, "198.51.100.9 ") || strings.Contains(out, "00:00:5e:00:53:0a") {
		t.Errorf("a boat has met the auditor: %s", out)
	}
	if strings.Contains(read(t, log), "DHCPDISCOVER") {
		t.Error("a discover was sent into the counted network")
	}
}

// forms are the ways in which a MAC may be written, and those in which an IPv6
// address holds it.
func forms(mac []byte) [][]byte {
	const digits = "0123456789abcdef"
	var hex []byte
	for _, b := range mac {
		hex = append(hex, digits[b>>4], digits[b&15])
	}
	join := func(size int, sep string) []byte {
		var parts [][]byte
		for part := range slices.Chunk(hex, size) {
			parts = append(parts, part)
		}
		return bytes.Join(parts, []byte(sep))
	}
	eui := []byte(string(hex[8:12])) // the last four digits of an interface identifier by RFC 4291, after fe00:
	return [][]byte{mac, hex, join(2, ":"), join(2, "-"), join(4, "."), append([]byte("5eff:fe00:"), eui...)}
}
