package segment

import (
	"fmt"
	"slices"
	"strings"
	"testing"
)

const roguePlan = `site: {name: Tern Quay, timezone: Europe/Dublin}
networks:
  yard: {subnet: 203.0.113.0/25, gateway: 203.0.113.1}
sources: {mdns: false, ws_discovery: false, reverse_dns: false, echo: false, dhcp_probe: %t, leases: {path: %q, format: dnsmasq}}
devices:
  quay-router: {role: router, mac: "00:00:5e:00:53:01", address: 203.0.113.1}
  office-server: {role: server, mac: "00:00:5e:00:53:09", address: 203.0.113.9}
  slip-cam: {role: camera, mac: "00:00:5e:00:53:31", address: 203.0.113.31}
  gate-cam: {role: camera, mac: "00:00:5e:00:53:32", address: 203.0.113.32}
`

// FC-22, with two of Debian's dnsmasq: the rightful one, and one with a range of
// its own. Nothing is asked of them until the plan switches the discover on; then
// the second is one finding with its MAC and address, and neither gives a lease.
func TestFC22RogueServer(t *testing.T) {
	s := newSegment(t)
	router := s.plug("00:00:5e:00:53:01", "203.0.113.1/25")
	rogue := s.plug("00:00:5e:00:53:66", "198.51.100.1/24")
	s.plug("00:00:5e:00:53:31", "203.0.113.31/25")
	s.plug("00:00:5e:00:53:32", "203.0.113.32/25")
	leases, rightfulLog := s.serveDHCP(router, "rightful", "--port=0", "--dhcp-range=203.0.113.64,203.0.113.90,255.255.255.128,1h")
	rogueLeases, rogueLog := s.serveDHCP(rogue, "rogue", "--port=0", "--dhcp-range=198.51.100.100,198.51.100.120,255.255.255.0,1h")

	s.Write("plan.yaml", fmt.Sprintf(roguePlan, false, leases))
	if got, want := s.Run().Keys(), []string{"no-address/00:00:5e:00:53:66"}; !slices.Equal(got, want) {
		t.Errorf("without the discover it finds %v, want %v: it is on the wire, and in no planned network", got, want)
	}
	for _, log := range []string{rightfulLog, rogueLog} {
		if strings.Contains(read(t, log), "DHCPDISCOVER") {
			t.Error("a discover was sent, and the plan does not switch it on")
		}
	}

	s.Write("plan.yaml", fmt.Sprintf(roguePlan, true, leases))
	r := s.Run()
	key := "second-dhcp-server/198.51.100.0/24"
	if got := r.Keys(); !slices.Equal(got, []string{key}) {
		t.Fatalf("findings %v, want %s alone", got, key)
	}
	f := r.Finding(key)
	if f.Severity != "urgent" || !strings.Contains(f.Observed, "00:00:5e:00:53:66") || !strings.Contains(f.Observed, "198.51.100.1 ") {
		t.Errorf("the second server is %+v", f)
	}
	for _, file := range []string{leases, rogueLeases} {
		if got := strings.TrimSpace(read(t, file)); got != "" {
			t.Errorf("the discover took a lease: %q", got)
		}
	}
	for _, log := range []string{rightfulLog, rogueLog} {
		if n := strings.Count(read(t, log), "DHCPDISCOVER"); n != 1 || strings.Contains(read(t, log), "DHCPREQUEST") {
			t.Errorf("the server was asked %d times, want once, and no request", n)
		}
	}
}

// FC-22 without a discover: two cameras take their addresses from the rogue. It
// is one finding for both, and neither is missing nor in the wrong network; once
// the rogue answers for the gateway as well, that is told too.
func TestFC22ConcludedFromAddresses(t *testing.T) {
	s := newSegment(t)
	s.plug("00:00:5e:00:53:01", "203.0.113.1/25")
	rogue := s.plug("00:00:5e:00:53:66", "198.51.100.1/24")
	s.serveDHCP(rogue, "rogue", "--port=0", "--dhcp-range=198.51.100.100,198.51.100.120,255.255.255.0,1h")
	for mac, name := range map[string]string{"00:00:5e:00:53:31": "slip-cam", "00:00:5e:00:53:32": "gate-cam"} {
		cam := s.plug(mac)
		s.takeLease(cam, mac, name)
		cam.Start("ping", "-q", "-i", "0.5", "198.51.100.9") // it looks for its recorder where there is none
	}
	rogue.Start("ping", "-q", "-i", "0.5", "198.51.100.9")
	s.Write("plan.yaml", fmt.Sprintf(roguePlan, false, s.Write("none.leases", "")))
	key := "second-dhcp-server/198.51.100.0/24"
	for range 3 { // as long as nothing changes it stays one finding
		r := s.Run()
		if got := r.Keys(); !slices.Equal(got, []string{key}) {
			t.Fatalf("findings %v, want %s alone", got, key)
		}
		f := r.Finding(key)
		if !slices.Equal(f.Behind, []string{"gate-cam", "slip-cam"}) || !strings.Contains(f.Observed, "likely DHCP server 00:00:5e:00:53:66") {
			t.Errorf("the second range is %+v", f)
		}
	}
	rogue.Exec("ip", "addr", "add", "203.0.113.1/25", "dev", "eth0")
	r := s.Run()
	if got, want := r.Keys(), []string{"address-conflict/203.0.113.1", key}; !slices.Equal(got, want) {
		t.Errorf("findings %v, want %v", got, want)
	}
	if r.Findings[0].Key != "address-conflict/203.0.113.1" {
		t.Errorf("%s stands on top, want the conflict on the gateway", r.Findings[0].Key)
	}
}
