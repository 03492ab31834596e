package yard

import (
	"fmt"
	"net/netip"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"boundwalk/deploy/lab/bridgemib"
	"boundwalk/deploy/lab/netns"
)

// neighbours runs Debian's lldpd on a host, with the arguments given. Its folders
// are fixed, so it gets a file system view of its own.
func (y *yard) neighbours(host *netns.Namespace, name string, args ...string) {
	y.t.Helper()
	netns.Need(y.t, "lldpd")
	conf := y.Write(name+".lldp", "configure lldp tx-interval 1\nconfigure system hostname "+name+"\n")
	host.Start("unshare", "--mount", "sh", "-c", "mount -t tmpfs tmpfs /run && mkdir /run/lldpd && install -m 0644 "+conf+" /run/settings && exec lldpd -d -O /run/settings -S "+name+" "+strings.Join(args, " "))
}

// agents runs snmpd on a host with lldpd as its subagent (AgentX, RFC 2741).
func (y *yard) agents(host *netns.Namespace, addr netip.Addr, name, ifaces string, lines ...string) {
	y.t.Helper()
	socket := filepath.Join(y.Dir, name+".x")
	y.agentOn(host, addr, name, append(lines, "master agentx", "agentXSocket "+socket)...)
	y.neighbours(host, name, "-I", ifaces, "-x", "-X", socket)
}

// Two switches, six hosts with snmpd and lldpd, one without either, and a switch
// that nobody can ask with two hosts behind it, which passes LLDP on. Where each
// hangs is what the wiring says, and how the switches hang together too; a host
// that was plugged elsewhere has moved.
func TestPlacesEqualTheWiring(t *testing.T) {
	y := newYard(t, 11, 12, 13)
	far, desk := netns.New(t), netns.New(t)
	desk.Exec("sysctl", "-qw", "net.ipv6.conf.all.disable_ipv6=1", "net.ipv6.conf.default.disable_ipv6=1") // it never speaks
	hosts := map[int]*netns.Namespace{11: y.hosts[11], 12: y.hosts[12], 13: y.hosts[13]}
	for k, sw := range map[int]*netns.Namespace{14: far, 15: far, 16: far, 19: far, 21: desk, 22: desk} {
		h := netns.New(t)
		netns.Veth(sw, fmt.Sprintf("p%d", k), h, "eth0")
		h.MAC("eth0", hostMAC(k))
		h.Address("eth0", hostAddr(k))
		hosts[k] = h
	}
	netns.Veth(y.sw, "t1", far, "t2")
	netns.Veth(y.sw, "p17", desk, "u1")
	y.sw.Exec("ip", "link", "set", "t1", "master", "br0")
	y.sw.Exec("ip", "link", "set", "p17", "master", "br0")
	far.Bridge("br0", "p14", "p15", "p16", "p19", "t2")
	far.MAC("br0", hostMAC(3))
	far.Address("br0", hostAddr(3))
	// It passes 01:80:c2:00:00:0e on and joins no group: nothing on the wire is its own.
	desk.Exec("ip", "link", "add", "br0", "up", "type", "bridge", "group_fwd_mask", "0x4000", "mcast_snooping", "0")
	for _, port := range []string{"u1", "p21", "p22"} {
		desk.Exec("ip", "link", "set", port, "master", "br0")
	}

	y.agents(y.sw, hostAddr(2).Addr(), "yard-switch", "p*,t1 -C br0", bridgemib.Bridge(t))
	y.agents(far, hostAddr(3).Addr(), "far-switch", "p*,t2 -C br0", bridgemib.Bridge(t))
	for _, k := range []int{11, 12, 13, 14, 15, 16} {
		y.agents(hosts[k], hostAddr(k).Addr(), fmt.Sprintf("host-%d", k), "eth0")
	}
	y.neighbours(hosts[21], "host-21", "-I", "eth0")
	y.neighbours(hosts[22], "host-22", "-I", "eth0")
	neighbours := func(agent string) int {
		return strings.Count(y.walk(agent, "1.0.8802.1.1.2.1.4.1.1.9"), "\n") // lldpRemSysName
	}
	netns.Until(t, "the switches know their neighbours", func() bool {
		return neighbours("203.0.113.2") == 6 && neighbours("203.0.113.3") == 4
	})

	wiring := map[string]string{"far-switch": "yard-switch/t1", "server": "yard-switch/p9", "host-21": "yard-switch/p17", "host-22": "yard-switch/p17"}
	plan := "site: {name: Tern Quay, timezone: Europe/Dublin}\nnetworks:\n  yard: {subnet: 203.0.113.0/27}\n" +
		"sources: {mdns: false, ws_discovery: false, reverse_dns: false}\naccess:\n  yard: {snmp: v2c, community: file:yard.community}\ndevices:\n" +
		"  yard-switch: {role: switch, mac: \"" + hostMAC(2) + "\", address: 203.0.113.2, access: yard}\n" +
		"  far-switch: {role: switch, mac: \"" + hostMAC(3) + "\", address: 203.0.113.3, access: yard, at: yard-switch/t1, port: t2}\n" +
		"  desk-switch: {role: pass-through-switch, at: yard-switch/p17}\n" +
		"  server: {role: server, mac: \"" + hostMAC(auditor) + "\", address: 203.0.113.9, at: yard-switch/p9}\n"
	for k := range hosts {
		sw, at := "yard-switch", "yard-switch"
		switch {
		case k == 13: // plugged into the wrong switch, says the plan
			at = "far-switch"
		case k >= 14 && k < 20:
			sw, at = "far-switch", "far-switch"
		case k > 20:
			at = "desk-switch"
		}
		if k < 20 {
			wiring[fmt.Sprintf("host-%d", k)] = fmt.Sprintf("%s/p%d", sw, k)
		}
		plan += fmt.Sprintf("  host-%d: {role: camera, mac: %q, address: 203.0.113.%d, at: %s/p%d}\n", k, hostMAC(k), k, at, k)
	}
	y.Write("plan.yaml", plan)
	y.Write("yard.community", "quay\n")
	r := y.Run()
	if got, want := r.Keys(), []string{"moved-device/host-13"}; !slices.Equal(got, want) {
		t.Errorf("findings %v, want %v", got, want)
	}
	devices := y.Devices()
	for name, want := range wiring {
		if got := devices[name]; got.Where != want || got.Presence != "present" {
			t.Errorf("%s hangs on %q (%s), the wiring says %s", name, got.Where, got.Presence, want)
		}
	}
}
