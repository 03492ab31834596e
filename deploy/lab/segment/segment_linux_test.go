// Package segment audits one wire with real daemons on it: DHCP servers, IPv6
// routers, responders of multicast DNS and WS-Discovery, and gear with a mind of
// its own. The program itself runs in a namespace beside them.
package segment

import (
	"encoding/json"
	"fmt"
	"net/netip"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"boundwalk/deploy/lab/netns"
	"boundwalk/deploy/lab/program"
)

func TestMain(m *testing.M) { os.Exit(program.Main(m)) }

// A segment is a wire, the auditor on it, and whoever else is plugged in.
type segment struct {
	*program.Site
	t     *testing.T
	hub   *netns.Namespace
	ports int
}

const auditorMAC = "00:00:5e:00:53:09"

// newSegment makes a wire with the auditor at 203.0.113.9. Its test runs beside
// the others: they mostly wait.
func newSegment(t *testing.T) *segment {
	t.Helper()
	t.Parallel()
	s := &segment{t: t, hub: wire(t)}
	s.Site = program.NewSite(t, s.plug(auditorMAC, "203.0.113.9/25"))
	return s
}

// wire is a switch that never speaks itself.
func wire(t *testing.T) *netns.Namespace {
	t.Helper()
	hub := netns.New(t)
	hub.Exec("sysctl", "-qw", "net.ipv6.conf.default.disable_ipv6=1")
	hub.Bridge("br0")
	return hub
}

// plug hangs a new host on the wire by its eth0.
func (s *segment) plug(mac string, addrs ...string) *netns.Namespace {
	s.t.Helper()
	h := netns.New(s.t)
	s.cable(h, "eth0", mac, addrs...)
	return h
}

// cable hangs an interface of a host on the wire.
func (s *segment) cable(h *netns.Namespace, iface, mac string, addrs ...string) {
	s.t.Helper()
	s.ports++
	port := fmt.Sprintf("p%d", s.ports)
	netns.Veth(s.hub, port, h, iface)
	h.Exec("sysctl", "-qw", "net.ipv6.conf."+iface+".accept_dad=0") // usable at once
	h.Exec("ip", "link", "set", iface, "down")
	h.MAC(iface, mac)
	h.Exec("ip", "link", "set", iface, "up")
	for _, a := range addrs {
		h.Address(iface, netip.MustParsePrefix(a))
	}
	s.hub.Exec("ip", "link", "set", port, "master", "br0")
}

// serveDHCP runs Debian's dnsmasq on a host, and returns its lease file and its
// log once it serves.
func (s *segment) serveDHCP(h *netns.Namespace, name string, args ...string) (leases, log string) {
	s.t.Helper()
	netns.Need(s.t, "dnsmasq")
	leases, log = s.Write(name+".leases", ""), s.Write(name+".log", "")
	h.Start(append([]string{"dnsmasq", "--keep-in-foreground", "--conf-file=/dev/null", "--user=root", "--pid-file=", "--no-ping", "--no-resolv", "--no-hosts",
		"--interface=eth0", "--bind-interfaces", "--dhcp-authoritative", "--log-dhcp", "--dhcp-leasefile=" + leases, "--log-facility=" + log}, args...)...)
	netns.Until(s.t, name+" serves", func() bool { return strings.Contains(read(s.t, log), "started") })
	return leases, log
}

func read(t *testing.T, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// announce runs Debian's avahi-daemon on a host with one service, and returns once
// that is announced. Its folders are fixed, so it gets a file system view of its own.
func (s *segment) announce(h *netns.Namespace, name, service string, port int) {
	s.t.Helper()
	netns.Need(s.t, "avahi-daemon")
	dir := filepath.Join(s.Dir, name+".services")
	if err := os.Mkdir(dir, 0o755); err != nil {
		s.t.Fatal(err)
	}
	s.Write(name+".services/a.service", fmt.Sprintf("<service-group><name>%s</name><service><type>%s</type><port>%d</port></service></service-group>", name, service, port))
	conf := s.Write(name+".conf", "[server]\nhost-name="+name+"\nallow-interfaces=eth0\nenable-dbus=no\n[publish]\npublish-hinfo=no\npublish-workstation=no\n")
	log := s.Write(name+".log", "")
	h.Start("unshare", "--mount", "sh", "-c",
		"mount --bind "+dir+" /etc/avahi/services && mount -t tmpfs tmpfs /run && mkdir /run/avahi-daemon && exec avahi-daemon --no-drop-root --no-chroot --no-rlimits -f "+conf+" > "+log+" 2>&1")
	netns.Until(s.t, name+" announces", func() bool { return strings.Contains(read(s.t, log), "successfully established") })
}

// learned6 waits until a host has made itself an address from a router's
// advertisement, and returns it.
func learned6(t *testing.T, h *netns.Namespace) string {
	t.Helper()
	var links []struct {
		Info []struct{ Local string } `json:"addr_info"`
	}
	netns.Until(t, "a host has an address by router advertisement", func() bool {
		links = nil
		if err := json.Unmarshal([]byte(h.Exec("ip", "-j", "-6", "addr", "show", "dev", "eth0", "scope", "global", "dynamic")), &links); err != nil {
			t.Fatal(err)
		}
		return len(links) > 0 && len(links[0].Info) > 0
	})
	return links[0].Info[0].Local
}
