// Package yard audits a small network of real hosts in namespaces with the
// program itself: real ARP on a bridge, Debian's snmpd on the switch.
package yard

import (
	"fmt"
	"net/netip"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"boundwalk/deploy/lab/netns"
	"boundwalk/deploy/lab/program"
)

// A yard is a switch with the auditor and hosts on its ports p1 to p<n>.
type yard struct {
	*program.Site
	t     *testing.T
	sw    *netns.Namespace
	hosts map[int]*netns.Namespace
}

const auditor = 9 // its port and address

func hostMAC(k int) string        { return fmt.Sprintf("00:00:5e:00:53:%02x", k) }
func hostAddr(k int) netip.Prefix { return netip.MustParsePrefix(fmt.Sprintf("203.0.113.%d/27", k)) }

// newYard wires a yard. Its test runs beside the others: they mostly wait.
func newYard(t *testing.T, hosts ...int) *yard {
	t.Helper()
	t.Parallel()
	y := &yard{t: t, sw: netns.New(t), hosts: map[int]*netns.Namespace{}}
	var ports []string
	for _, k := range append(slices.Clone(hosts), auditor) {
		h := netns.New(t)
		port := fmt.Sprintf("p%d", k)
		netns.Veth(y.sw, port, h, "eth0")
		h.MAC("eth0", hostMAC(k))
		h.Address("eth0", hostAddr(k))
		y.hosts[k] = h
		ports = append(ports, port)
	}
	y.sw.Bridge("br0", ports...)
	y.sw.MAC("br0", hostMAC(2))
	y.sw.Address("br0", hostAddr(2))
	y.Site = program.NewSite(t, y.hosts[auditor])
	return y
}

// startAgent runs snmpd on the switch, and returns once it answers.
func (y *yard) startAgent() {
	y.t.Helper()
	y.agentOn(y.sw, hostAddr(2).Addr(), "yard-switch")
}

// agentOn runs Debian's snmpd on a host, and returns once it answers. Lines
// are further ones of its configuration.
func (y *yard) agentOn(host *netns.Namespace, addr netip.Addr, name string, lines ...string) {
	y.t.Helper()
	netns.Need(y.t, "snmpd")
	netns.Need(y.t, "snmpbulkwalk")
	conf := y.Write(name+".conf", "agentAddress udp:"+addr.String()+":161\nrocommunity quay\nsysName "+name+"\n"+strings.Join(lines, "\n")+"\n")
	host.Start("env", "MIBS=", "SNMP_PERSISTENT_DIR="+filepath.Join(y.Dir, name), "snmpd", "-f", "-LE", "3", "-C", "-c", conf, "-I", "-smux", "-p", filepath.Join(y.Dir, name+".pid"))
	netns.Until(y.t, name+" answers", func() bool { return strings.Contains(y.walk(addr.String(), "1.3.6.1.2.1.1.5"), name) })
}

// walk is net-snmp's own view of an agent, from the auditor's machine.
func (y *yard) walk(agent, oid string) string {
	out, _ := exec.Command("ip", "netns", "exec", y.In.Name, "snmpbulkwalk", "-v2c", "-c", "quay", "-m", "", "-On", "-Oq", "-t", "1", "-r", "0", agent, oid).Output()
	return string(out)
}

// plan writes the plan of a yard: the switch, this machine, and cameras.
func (y *yard) plan(hosts ...int) { y.planWith("access: yard, ", "", hosts...) }

// planWith is plan with a word more on the switch, and lines before the devices.
func (y *yard) planWith(onSwitch, before string, hosts ...int) {
	y.t.Helper()
	if !strings.Contains(before, "sources:") {
		before += "sources: {mdns: false, ws_discovery: false, reverse_dns: false}\n"
	}
	text := "site: {name: Tern Quay, timezone: Europe/Dublin}\nnetworks:\n  yard: {subnet: 203.0.113.0/27}\n" +
		"access:\n  yard: {snmp: v2c, community: file:yard.community}\n" + before +
		"devices:\n  yard-switch: {role: switch, " + onSwitch + "mac: \"" + hostMAC(2) + "\", address: 203.0.113.2}\n" +
		"  server: {role: server, mac: \"" + hostMAC(auditor) + "\", address: " + hostAddr(auditor).Addr().String() + ", at: yard-switch/p9}\n"
	for _, k := range hosts {
		text += fmt.Sprintf("  host-%d: {role: camera, mac: %q, address: %s, at: yard-switch/p%d}\n", k, hostMAC(k), hostAddr(k).Addr(), k)
	}
	y.Write("plan.yaml", text)
	y.Write("yard.community", "quay\n")
}

// Seven hosts on a bridge: what is planned is there, what is not is told; then
// one joins, one leaves, and two runs later it is missing. ARP is checked
// against the kernel's own table, ports against net-snmp.
func TestHostsJoinAndLeave(t *testing.T) {
	y := newYard(t, 11, 12, 13, 14, 15, 16, 17)
	y.sw.Exec("ip", "link", "set", "p17", "down") // joins later
	y.startAgent()                                // after it, since snmpd keeps what it has read for a while
	y.plan(11, 12, 13, 14, 15)

	if got, want := y.Run().Keys(), []string{"unknown-device/" + hostMAC(16)}; !slices.Equal(got, want) {
		t.Fatalf("first run: got %v, want %v", got, want)
	}
	devs := y.Devices()
	y.againstKernel(devs)
	y.againstNetSNMP()

	y.sw.Exec("ip", "link", "set", "p14", "down")
	y.sw.Exec("ip", "link", "set", "p17", "up")
	joined := []string{"unknown-device/" + hostMAC(16), "unknown-device/" + hostMAC(17)}
	if got := y.Run().Keys(); !slices.Equal(got, joined) {
		t.Fatalf("second run: got %v, want %v: one look misses nobody", got, joined)
	}
	want := append([]string{"missing-device/host-14"}, joined...)
	if got := y.Run().Keys(); !slices.Equal(got, want) {
		t.Fatalf("third run: got %v, want %v", got, want)
	}
	y.sw.Exec("ip", "link", "set", "p14", "up")
	if got := y.Run().Keys(); !slices.Equal(got, joined) {
		t.Fatalf("fourth run: got %v, want %v: it is back", got, joined)
	}
}

// againstKernel: the addresses that the run found, with their MACs, are those
// that the kernel resolves when it pings each of the network.
func (y *yard) againstKernel(devs map[string]program.Device) {
	y.t.Helper()
	var ours []string
	for _, d := range devs {
		for _, a := range d.Addresses {
			if d.Presence == "present" && d.Name != "server" && strings.HasPrefix(a, "203.0.113.") {
				ours = append(ours, a+" "+d.MACs[0])
			}
		}
	}
	y.In.Exec("sh", "-c", "for k in $(seq 1 30); do ping -c1 -W1 -n -q 203.0.113.$k >/dev/null & done; wait")
	var kernel []string
	for line := range strings.Lines(y.In.Exec("ip", "-4", "neigh", "show", "dev", "eth0")) {
		if f := strings.Fields(line); len(f) > 3 && f[1] == "lladdr" {
			kernel = append(kernel, f[0]+" "+f[2])
		}
	}
	slices.Sort(ours)
	slices.Sort(kernel)
	if len(kernel) < 6 || !slices.Equal(ours, kernel) {
		y.t.Errorf("found          %v\nkernel resolves %v", ours, kernel)
	}
}

type portRow struct {
	Switch, Port, Interface, Link string
	SpeedMbps                     *float64 `json:"speed_mbps"`
	Device                        *string
	Power                         *powerRow
}

type powerRow struct {
	State    string
	Class    *int
	DrawW    *float64 `json:"draw_w"`
	MappedBy string   `json:"mapped_by"`
}

// againstNetSNMP: name, state and speed of each port that the run shows are
// what net-snmp's snmpbulkwalk reads of that interface.
func (y *yard) againstNetSNMP() {
	y.t.Helper()
	var rows []portRow
	y.JSON(&rows, "show", "ports")
	column := func(oid string) map[string]string { return y.column("203.0.113.2", oid) }
	names, speed := column("1.3.6.1.2.1.31.1.1.1.1"), column("1.3.6.1.2.1.31.1.1.1.15") // ifName, ifHighSpeed
	admin, oper := column("1.3.6.1.2.1.2.2.1.7"), column("1.3.6.1.2.1.2.2.1.8")         // ifAdminStatus, ifOperStatus
	var ours, theirs []string
	for _, r := range rows {
		mbps := 0.0
		if r.SpeedMbps != nil {
			mbps = *r.SpeedMbps
		}
		ours = append(ours, fmt.Sprintf("%s %s %g", r.Interface, r.Link, mbps))
	}
	for k, name := range names {
		if name == "lo" { // no port
			continue
		}
		link, mbps := map[string]string{"1": "up", "2": "down"}[oper[k]], speed[k]
		if admin[k] == "2" {
			link = "off"
		}
		if link != "up" {
			mbps = "0" // a speed is told only of a link that is up
		}
		theirs = append(theirs, fmt.Sprintf("%s %s %s", name, link, mbps))
	}
	slices.Sort(ours)
	slices.Sort(theirs)
	if len(theirs) < 8 || !slices.Equal(ours, theirs) {
		y.t.Errorf("shown         %v\nnet-snmp reads %v", ours, theirs)
	}
}

// column is one column of a table as net-snmp reads it: the index's last number
// -> value.
func (y *yard) column(agent, oid string) map[string]string {
	out := map[string]string{}
	for line := range strings.Lines(y.walk(agent, oid)) {
		if at, v, ok := strings.Cut(strings.TrimSpace(line), " "); ok {
			out[at[strings.LastIndexByte(at, '.')+1:]] = strings.Trim(v, "\"")
		}
	}
	return out
}

// Fourth case of FC-23, and rule 1: with the auditor's own cable out, nobody is
// missing and nothing is compared.
func TestOwnCableOut(t *testing.T) {
	y := newYard(t, 11)
	y.plan(11)
	y.Run().Keys()
	y.sw.Exec("ip", "link", "set", "p9", "down")
	for range 3 {
		for _, key := range y.Run().Keys() {
			if strings.HasPrefix(key, "missing-device/") {
				t.Errorf("%s, although this machine's own cable is out", key)
			}
		}
	}
}
