package segment

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"

	"boundwalk/deploy/lab/netns"
)

// FC-18 by the kernel's own proxy ARP: a router answers for every address that it
// has a way to. It is one finding; who really is there is told apart by the MAC
// that else answers, and nobody else appears.
func TestFC18KernelProxyARP(t *testing.T) {
	s := newSegment(t)
	router := s.plug("00:00:5e:00:53:01", "203.0.113.1/27")
	s.plug("00:00:5e:00:53:31", "203.0.113.20/27")
	s.plug("00:00:5e:00:53:32", "203.0.113.21/27")
	s.In.Exec("ip", "addr", "flush", "dev", "eth0", "scope", "global")
	s.In.Exec("ip", "addr", "add", "203.0.113.9/27", "dev", "eth0")
	netns.Veth(router, "far0", router, "far1")
	router.Exec("ip", "route", "add", "203.0.113.16/28", "dev", "far0")
	router.Exec("sysctl", "-qw", "net.ipv4.ip_forward=1", "net.ipv4.conf.eth0.proxy_arp=1", "net.ipv4.neigh.eth0.proxy_delay=0")
	s.Write("plan.yaml", `site: {name: Tern Quay, timezone: Europe/Dublin}
networks:
  yard: {subnet: 203.0.113.0/27, gateway: 203.0.113.1}
sources: {mdns: false, ws_discovery: false, reverse_dns: false}
devices:
  quay-router: {role: router, mac: "00:00:5e:00:53:01", address: 203.0.113.1}
  office-server: {role: server, mac: "00:00:5e:00:53:09", address: 203.0.113.9}
  slip-cam: {role: camera, mac: "00:00:5e:00:53:31", address: 203.0.113.20}
`)
	r := s.Run()
	if got, want := r.Keys(), []string{"proxy-arp/quay-router", "unknown-device/00:00:5e:00:53:32"}; !slices.Equal(got, want) {
		t.Errorf("findings %v, want %v", got, want)
	}
	// It answers for .16 to .30: .31 is the broadcast address, which is not asked.
	if f := r.Finding("proxy-arp/quay-router"); !strings.Contains(f.Observed, "for 16 addresses") {
		t.Errorf("it says %q, want 15 that it has a way to, and its own", f.Observed)
	}
	devs := s.Devices()
	if len(devs) != 4 {
		t.Errorf("%d devices, want the planned three and the unknown one: %v", len(devs), devs)
	}
	for name, addr := range map[string]string{"quay-router": "203.0.113.1", "slip-cam": "203.0.113.20", "00:00:5e:00:53:32": "203.0.113.21"} {
		if got := v4(devs[name].Addresses); !slices.Equal(got, []string{addr}) {
			t.Errorf("%s has %v, want %s alone", name, got, addr)
		}
	}
}

func v4(addrs []string) []string {
	return slices.DeleteFunc(slices.Clone(addrs), func(a string) bool { return strings.Contains(a, ":") })
}

// FC-20 with real hosts, which speak IPv6 as well: a camera with its factory
// address, and one that gave itself one, are told by what they speak as. A third
// has just an IPv6 address that the router advertised, and lacks nothing where
// the plan says so.
func TestFC20RealHosts(t *testing.T) {
	s := newSegment(t)
	factory := s.plug("00:00:5e:00:53:31", "198.51.100.108/24")
	factory.Start("ping", "-q", "-i", "0.5", "198.51.100.1")
	self := s.plug("00:00:5e:00:53:32", "169.254.7.9/16")
	self.Start("ping", "-q", "-i", "0.5", "169.254.7.10")
	s.plug("00:00:5e:00:53:33", "2001:db8:10::33/64")
	s.In.Exec("ip", "addr", "add", "2001:db8:10::9/64", "dev", "eth0", "nodad")
	s.Write("plan.yaml", `site: {name: Tern Quay, timezone: Europe/Dublin}
networks:
  yard: {subnet: 203.0.113.0/25, subnet6: "2001:db8:10::/64"}
sources: {mdns: false, ws_discovery: false, reverse_dns: false}
devices:
  office-server: {role: server, mac: "00:00:5e:00:53:09", address: 203.0.113.9}
  mast-sensor: {role: sensor, mac: "00:00:5e:00:53:33", address: "2001:db8:10::33"}
`)
	r := s.Run()
	if got, want := r.Keys(), []string{"no-address/00:00:5e:00:53:31", "no-address/00:00:5e:00:53:32"}; !slices.Equal(got, want) {
		t.Errorf("findings %v, want %v", got, want)
	}
	for mac, words := range map[string]string{"31": "speaks as 198.51.100.108", "32": "169.254.7.9, which it gave itself"} {
		if f := r.Finding("no-address/00:00:5e:00:53:" + mac); !strings.Contains(f.Observed, words) {
			t.Errorf("it says %q, want %q", f.Observed, words)
		}
	}
	if d := s.Devices()["mast-sensor"]; d.Presence != "present" || !slices.Contains(d.Addresses, "2001:db8:10::33") {
		t.Errorf("who has IPv6 alone is %+v", d)
	}
}

// The oracle for all: the kernel's own tables after it has met everybody. Each
// address that the run gives a device is that MAC's there, in both families, and
// none is left out. (Of several IPv6 addresses in one network a host answers by one.)
func TestAddressesEqualTheKernels(t *testing.T) {
	s := newSegment(t)
	for k := range 8 {
		addrs := []string{fmt.Sprintf("203.0.113.%d/25", 40+k), fmt.Sprintf("2001:db8:10::%d/64", 40+k)}
		if k%3 == 0 { // one MAC with several addresses
			addrs = append(addrs, fmt.Sprintf("203.0.113.%d/25", 60+k))
		}
		s.plug(fmt.Sprintf("00:00:5e:00:53:%02x", 0x40+k), addrs...)
	}
	s.In.Exec("ip", "addr", "add", "2001:db8:10::9/64", "dev", "eth0", "nodad")
	s.Write("plan.yaml", `site: {name: Tern Quay, timezone: Europe/Dublin}
networks:
  yard: {subnet: 203.0.113.0/25, subnet6: "2001:db8:10::/64"}
sources: {mdns: false, ws_discovery: false, reverse_dns: false}
devices:
  office-server: {role: server, mac: "00:00:5e:00:53:09", address: 203.0.113.9}
`)
	s.Run()
	var ours []string
	for _, d := range s.Devices() {
		if d.Name == "office-server" { // no neighbour of itself
			continue
		}
		for _, a := range d.Addresses {
			ours = append(ours, a+" "+d.MACs[0])
		}
	}
	s.In.Exec("sh", "-c", "for k in $(seq 39 70); do ping -c1 -W1 -n -q 203.0.113.$k & ping -c1 -W1 -n -q 2001:db8:10::$k & done >/dev/null; wait")
	var table []struct{ Dst, LLAddr string }
	if err := json.Unmarshal([]byte(s.In.Exec("ip", "-j", "neigh", "show", "dev", "eth0")), &table); err != nil {
		t.Fatal(err)
	}
	var kernel []string
	for _, n := range table {
		if n.LLAddr != "" && !strings.HasPrefix(n.Dst, "fe80:") {
			kernel = append(kernel, n.Dst+" "+n.LLAddr)
		}
	}
	ours = slices.DeleteFunc(ours, func(a string) bool { return strings.HasPrefix(a, "fe80:") })
	slices.Sort(ours)
	slices.Sort(kernel)
	if len(kernel) != 8+3+8 || !slices.Equal(ours, kernel) {
		t.Errorf("found          %v\nkernel resolves %v", ours, kernel)
	}
}
