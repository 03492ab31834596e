// Package commission adds devices to a network of namespaces while the built
// program's commission watches: real ARP and LLDP, Debian's snmpd with the kernel's
// bridge, and a table of power over Ethernet that the tests change.
package commission

import (
	"flag"
	"fmt"
	"net/netip"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"boundwalk/deploy/lab/bridgemib"
	"boundwalk/deploy/lab/netns"
	"boundwalk/deploy/lab/program"
)

func TestMain(m *testing.M) {
	if bridgemib.Extend() {
		return
	}
	flag.Parse()
	if err := flag.Set("test.parallel", "6"); err != nil { // they mostly wait
		panic(err)
	}
	os.Exit(program.Main(m))
}

// A shed is a switch that feeds its ports p5 to p7, with a router on p1 and the
// recorder, which is the machine that looks, on p9.
type shed struct {
	*program.Site
	t  *testing.T
	sw *netns.Namespace
}

// A feed is what a port gives: it delivers to a device of the class.
type feed struct{ class, milliwatts int }

func mac(k int) string { return fmt.Sprintf("00:00:5e:00:53:%02x", k) }

// plan is the shed's. The address of a factory is 198.51.100.x.
const plan = `site: {name: Tern Quay, timezone: Europe/Dublin}
networks:
  yard: {subnet: 203.0.113.0/27, gateway: 203.0.113.1, probe: 198.51.100.0/28}
sources: {mdns: false, ws_discovery: false, reverse_dns: false, clocks: false, echo: false, reach: false}
access:
  yard: {snmp: v2c, community: file:yard.community}
models:                      # what several have in common
  dome: {role: camera, class: 3, draws: {usual: 5 W, most: 11 W}, stream: 4 Mbit/s, factory_login: {over: http, user: admin, password: tide-Table-7719}}
devices:
  router: {role: router, mac: "00:00:5e:00:53:01", address: 203.0.113.1, mains: mains}
  shed-switch:               # it feeds what hangs on p5 to p7
    {role: switch, mac: "00:00:5e:00:53:02", address: 203.0.113.2, access: yard, at: router/2, port: p1, feeds: 802.3at, budget: 60 W,
     ports: {p5: {pse: 1/5}, p6: {pse: 1/6}, p7: {pse: 1/7}}, mains: mains}
  recorder:  {role: recorder, mac: "00:00:5e:00:53:09", address: 203.0.113.9, at: shed-switch/p9, recording: {disk: 4 TB, keep: 14 days}, mains: mains}
  slip-cam:  {model: dome, mac: "00:00:5e:00:53:31", address: 203.0.113.11, at: shed-switch/p5}
  gate-cam:  {model: dome, mac: "00:00:5e:00:53:32", address: 203.0.113.12, at: shed-switch/p6}
factory_logins: on-request
`

// newShed wires it. Its test runs beside the others: they mostly wait.
func newShed(t *testing.T) *shed {
	t.Helper()
	t.Parallel()
	s := &shed{t: t, sw: netns.New(t)}
	s.sw.Bridge("br0")
	s.sw.MAC("br0", mac(2))
	s.sw.Address("br0", netip.MustParsePrefix("203.0.113.2/27"))
	s.host(1, mac(1), "203.0.113.1/27")
	s.plug(1)
	s.Site = program.NewSite(t, s.host(9, mac(9), "203.0.113.9/27"))
	s.plug(9)
	s.Write("yard.community", "quay\n")
	s.Write("plan.yaml", plan)
	s.feeds(nil)
	return s
}

// host makes a machine on a port of the switch whose cable is not plugged in yet.
func (s *shed) host(port int, mac string, addrs ...string) *netns.Namespace {
	s.t.Helper()
	h := netns.New(s.t)
	name := fmt.Sprintf("p%d", port)
	netns.Veth(s.sw, name, h, "eth0")
	s.sw.Exec("ip", "link", "set", name, "down", "master", "br0")
	h.MAC("eth0", mac)
	for _, a := range addrs {
		h.Address("eth0", netip.MustParsePrefix(a))
	}
	return h
}

// factory gives a host the address that it left its factory with, and the
// default route that goes with it; IPv6 it has none.
func factory(h *netns.Namespace, addr string) {
	h.Exec("sysctl", "-qw", "net.ipv6.conf.all.disable_ipv6=1")
	h.Address("eth0", netip.MustParsePrefix(addr))
	h.Exec("ip", "route", "add", "default", "via", "198.51.100.1")
}

func (s *shed) plug(ports ...int) {
	s.t.Helper()
	for _, p := range ports {
		s.sw.Exec("ip", "link", "set", fmt.Sprintf("p%d", p), "up")
	}
}

// feeds has the switch give power to these ports and search on the others, by
// POWER-ETHERNET-MIB (RFC 3621), and by IEEE8023-POWER-ETHERNET-MIB, which alone
// tells a port's watts.
func (s *shed) feeds(power map[int]feed) {
	s.t.Helper()
	used := 0
	rows := map[string]string{}
	for _, arc := range []string{".1.3.6.1.2.1.105", ".1.3.111.2.802.3.1.8"} {
		var b strings.Builder
		for port := 5; port <= 7; port++ {
			f, on := power[port]
			state := 2 // searching(2)
			if on {
				state = 3 // deliveringPower(3)
			}
			for column, value := range map[int]int{3: 1, 6: state, 10: f.class + 1} { // AdminEnable, DetectionStatus, PowerClassifications
				fmt.Fprintf(&b, "%s.1.1.1.%d.1.%d integer %d\n", arc, column, port, value)
			}
			if arc != ".1.3.6.1.2.1.105" {
				fmt.Fprintf(&b, "%s.1.1.1.15.1.%d integer %d\n", arc, port, f.milliwatts) // ActualPower
				used += f.milliwatts
			}
		}
		rows[arc] = b.String()
	}
	main := ".1.3.6.1.2.1.105.1.3.1.1."
	rows[".1.3.6.1.2.1.105"] += fmt.Sprintf("%s2.1 gauge 60\n%s3.1 integer 1\n%s4.1 gauge %d\n", main, main, main, (used+500)/1000)
	for name, arc := range map[string]string{"rfc.rows": ".1.3.6.1.2.1.105", "ieee.rows": ".1.3.111.2.802.3.1.8"} {
		if err := os.Rename(s.Write(name+".new", rows[arc]), filepath.Join(s.Dir, name)); err != nil {
			s.t.Fatal(err)
		}
	}
}

// agent runs snmpd on the switch, with lldpd as its subagent (AgentX, RFC 2741),
// and returns once it answers.
func (s *shed) agent() {
	s.t.Helper()
	netns.Need(s.t, "snmpd")
	netns.Need(s.t, "snmpbulkwalk")
	socket := filepath.Join(s.Dir, "agentx")
	conf := s.Write("snmpd.conf", strings.Join([]string{"agentAddress udp:203.0.113.2:161", "rocommunity quay", "sysName shed-switch",
		"master agentx", "agentXSocket " + socket, bridgemib.Bridge(s.t),
		bridgemib.File(s.t, ".1.3.6.1.2.1.105", filepath.Join(s.Dir, "rfc.rows")),
		bridgemib.File(s.t, ".1.3.111.2.802.3.1.8", filepath.Join(s.Dir, "ieee.rows"))}, "\n")+"\n")
	s.sw.Start("env", "MIBS=", "SNMP_PERSISTENT_DIR="+filepath.Join(s.Dir, "snmp"), "snmpd", "-f", "-LE", "3", "-C", "-c", conf, "-I", "-smux", "-p", filepath.Join(s.Dir, "snmpd.pid"))
	netns.Until(s.t, "the switch answers", func() bool {
		out, _ := exec.Command("ip", "netns", "exec", s.In.Name, "snmpbulkwalk", "-v2c", "-c", "quay", "-m", "", "-On", "-Oq", "-t", "1", "-r", "0", "203.0.113.2", "1.3.111.2.802.3.1.8").Output()
		return strings.Contains(string(out), ".1.1.1.15.1.7 ")
	})
	s.lldp(s.sw, "shed-switch", "-I", "p*", "-C", "br0", "-x", "-X", socket)
}

// lldp runs Debian's lldpd. Its folders are fixed, so it gets a file system view of
// its own; and lldpcli, which it has read the settings, may not read the site's folder.
func (s *shed) lldp(in *netns.Namespace, name string, args ...string) {
	s.t.Helper()
	netns.Need(s.t, "lldpd")
	conf := s.Write(name+".lldp", "configure lldp tx-interval 1\nconfigure system hostname "+name+"\n")
	in.Start("unshare", "--mount", "sh", "-c", "mount -t tmpfs tmpfs /run && mkdir /run/lldpd && install -m 0644 "+conf+" /run/settings && exec lldpd -d -O /run/settings -S "+name+" "+strings.Join(args, " "))
}
