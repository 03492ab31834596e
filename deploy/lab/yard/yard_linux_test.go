// Package yard audits a small network of real hosts in namespaces with the
// program itself: real ARP on a bridge, Debian's snmpd on the switch.
package yard

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"net/netip"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"boundwalk/deploy/lab/netns"
)

// A yard is a switch with the auditor and hosts on its ports p1 to p<n>.
type yard struct {
	t     *testing.T
	sw    *netns.Namespace
	audit *netns.Namespace
	hosts map[int]*netns.Namespace
	dir   string
	bin   string
}

const auditor = 9 // its port and address

func hostMAC(k int) string        { return fmt.Sprintf("00:00:5e:00:53:%02x", k) }
func hostAddr(k int) netip.Prefix { return netip.MustParsePrefix(fmt.Sprintf("203.0.113.%d/27", k)) }

func newYard(t *testing.T, hosts ...int) *yard {
	for _, p := range []string{"snmpd", "snmpbulkwalk"} {
		netns.Need(t, p)
	}
	y := &yard{t: t, sw: netns.New(t), hosts: map[int]*netns.Namespace{}, dir: t.TempDir()}
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
	y.audit = y.hosts[auditor]
	y.sw.Bridge("br0", ports...)
	y.sw.MAC("br0", hostMAC(2))
	y.sw.Address("br0", hostAddr(2))
	y.bin = filepath.Join(y.dir, "boundwalk")
	build := exec.Command("go", "build", "-o", y.bin, "boundwalk/cmd/boundwalk")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("build: %v\n%s", err, out)
	}
	return y
}

// startAgent runs snmpd on the switch, and returns once it answers.
func (y *yard) startAgent() {
	conf := filepath.Join(y.dir, "snmpd.conf")
	y.write(conf, "agentAddress udp:203.0.113.2:161\nrocommunity quay\nsysName yard-switch\n")
	y.sw.Start("env", "MIBS=", "snmpd", "-f", "-Lo", "-C", "-c", conf, "-I", "-smux", "-p", filepath.Join(y.dir, "snmpd.pid"))
	y.until("snmpd answers", func() bool { return strings.Contains(y.walk("1.3.6.1.2.1.1.5"), "yard-switch") })
}

// walk is net-snmp's own view of the switch.
func (y *yard) walk(oid string) string {
	out, _ := exec.Command("ip", "netns", "exec", y.audit.Name, "snmpbulkwalk", "-v2c", "-c", "quay", "-m", "", "-On", "-Oq", "-t", "1", "-r", "0", "203.0.113.2", oid).Output()
	return string(out)
}

func (y *yard) write(path, text string) {
	y.t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		y.t.Fatal(err)
	}
}

// until polls for what a daemon takes its time for, and fails after a minute.
func (y *yard) until(what string, done func() bool) {
	y.t.Helper()
	tick := time.NewTicker(100 * time.Millisecond)
	defer tick.Stop()
	for end := time.After(time.Minute); !done(); {
		select {
		case <-end:
			y.t.Fatalf("a minute has passed before %s", what)
		case <-tick.C:
		}
	}
}

// run runs the program on the auditor's host and gives what it wrote to
// standard output and its exit code.
func (y *yard) run(args ...string) (string, int) {
	y.t.Helper()
	cmd := exec.Command("ip", append([]string{"netns", "exec", y.audit.Name, y.bin}, append(args, "--plan", filepath.Join(y.dir, "plan.yaml"))...)...)
	var stdout, stderr bytes.Buffer
	cmd.Stdout, cmd.Stderr = &stdout, &stderr
	err := cmd.Run()
	if e, ok := errors.AsType[*exec.ExitError](err); ok && e.ExitCode() < 5 {
		return stdout.String(), e.ExitCode()
	}
	if err != nil {
		y.t.Fatalf("boundwalk %v: %v\n%s", args, err, stderr.String())
	}
	return stdout.String(), 0
}

// findings gives the keys of one run's findings, without the notes.
func (y *yard) findings() []string {
	y.t.Helper()
	out, _ := y.run("run", "--json")
	var r struct {
		Findings []struct{ Key, Severity string }
	}
	if err := json.Unmarshal([]byte(out), &r); err != nil {
		y.t.Fatalf("%v\n%s", err, out)
	}
	var keys []string
	for _, f := range r.Findings {
		if f.Severity != "note" {
			keys = append(keys, f.Key)
		}
	}
	slices.Sort(keys)
	return keys
}

type deviceRow struct {
	Name      string
	Planned   bool
	Presence  string
	Addresses []string
}

func (y *yard) devices() map[string]deviceRow {
	y.t.Helper()
	out, _ := y.run("show", "devices", "--json")
	var rows []deviceRow
	if err := json.Unmarshal([]byte(out), &rows); err != nil {
		y.t.Fatalf("%v\n%s", err, out)
	}
	m := map[string]deviceRow{}
	for _, r := range rows {
		m[r.Name] = r
	}
	return m
}

func (y *yard) plan(hosts ...int) {
	text := "site: {name: Tern Quay, timezone: Europe/Dublin}\nnetworks:\n  yard: {subnet: 203.0.113.0/27}\n" +
		"access:\n  yard: {snmp: v2c, community: file:yard.community}\nsources: {mdns: false, ws_discovery: false, reverse_dns: false}\n" +
		"devices:\n  yard-switch: {role: switch, mac: \"" + hostMAC(2) + "\", address: 203.0.113.2, access: yard}\n" +
		"  server: {role: server, mac: \"" + hostMAC(auditor) + "\", address: " + hostAddr(auditor).Addr().String() + ", at: yard-switch/p9}\n"
	for _, k := range hosts {
		text += fmt.Sprintf("  host-%d: {role: camera, mac: %q, address: %s, at: yard-switch/p%d}\n", k, hostMAC(k), hostAddr(k).Addr(), k)
	}
	y.write(filepath.Join(y.dir, "plan.yaml"), text)
	y.write(filepath.Join(y.dir, "yard.community"), "quay\n")
}

// Seven hosts on a bridge: what is planned is there, what is not is told; then
// one joins, one leaves, and two runs later it is missing. ARP is checked
// against the kernel's own table, ports against net-snmp.
func TestHostsJoinAndLeave(t *testing.T) {
	y := newYard(t, 11, 12, 13, 14, 15, 16, 17)
	y.startAgent()
	y.plan(11, 12, 13, 14, 15)
	y.sw.Exec("ip", "link", "set", "p17", "down") // joins later

	if got, want := y.findings(), []string{"unknown-device/" + hostMAC(16)}; !slices.Equal(got, want) {
		t.Fatalf("first run: got %v, want %v", got, want)
	}
	devs := y.devices()
	y.againstKernel(devs)
	y.againstNetSNMP()

	y.sw.Exec("ip", "link", "set", "p14", "down")
	y.sw.Exec("ip", "link", "set", "p17", "up")
	joined := []string{"unknown-device/" + hostMAC(16), "unknown-device/" + hostMAC(17)}
	if got := y.findings(); !slices.Equal(got, joined) {
		t.Fatalf("second run: got %v, want %v: one look misses nobody", got, joined)
	}
	want := append([]string{"missing-device/host-14"}, joined...)
	if got := y.findings(); !slices.Equal(got, want) {
		t.Fatalf("third run: got %v, want %v", got, want)
	}
	y.sw.Exec("ip", "link", "set", "p14", "up")
	if got := y.findings(); !slices.Equal(got, joined) {
		t.Fatalf("fourth run: got %v, want %v: it is back", got, joined)
	}
}

// againstKernel: the addresses that the run found are those that the kernel
// resolves when it pings each of them.
func (y *yard) againstKernel(devs map[string]deviceRow) {
	y.t.Helper()
	var ours []string
	for _, d := range devs {
		if d.Presence == "present" && d.Name != "server" {
			for _, a := range d.Addresses {
				if strings.HasPrefix(a, "203.0.113.") {
					ours = append(ours, a)
				}
			}
		}
	}
	slices.Sort(ours)
	for k := 1; k < 31; k++ {
		_ = exec.Command("ip", "netns", "exec", y.audit.Name, "ping", "-c1", "-W1", "-n", "-q", hostAddr(k).Addr().String()).Start()
	}
	var kernel []string
	y.until("the kernel has resolved them", func() bool {
		kernel = nil
		for _, line := range strings.Split(y.audit.Exec("ip", "-4", "neigh", "show", "dev", "eth0"), "\n") {
			if f := strings.Fields(line); len(f) > 3 && slices.Contains(f, "lladdr") {
				kernel = append(kernel, f[0])
			}
		}
		slices.Sort(kernel)
		return len(kernel) >= len(ours)
	})
	if !slices.Equal(ours, kernel) {
		y.t.Errorf("found %v, the kernel resolves %v", ours, kernel)
	}
}

// againstNetSNMP: the ports that the run shows are interfaces that net-snmp
// reads, with the same names.
func (y *yard) againstNetSNMP() {
	y.t.Helper()
	out, _ := y.run("show", "ports", "--json")
	var rows []struct{ Interface string }
	if err := json.Unmarshal([]byte(out), &rows); err != nil {
		y.t.Fatalf("%v\n%s", err, out)
	}
	names := y.walk("1.3.6.1.2.1.31.1.1.1.1")
	for k := 11; k <= 17; k++ {
		p := fmt.Sprintf("p%d", k)
		found := slices.ContainsFunc(rows, func(r struct{ Interface string }) bool { return r.Interface == p })
		if !found || !strings.Contains(names, p) {
			y.t.Errorf("port %s: shown %v, read by net-snmp %v", p, found, strings.Contains(names, p))
		}
	}
}

// Fourth case of FC-23, and rule 1: with the auditor's own cable out, nobody is
// missing and nothing is compared.
func TestOwnCableOut(t *testing.T) {
	y := newYard(t, 11)
	y.plan(11)
	y.findings()
	y.sw.Exec("ip", "link", "set", "p9", "down")
	for range 3 {
		for _, key := range y.findings() {
			if strings.HasPrefix(key, "missing-device/") {
				t.Errorf("%s, although this machine's own cable is out", key)
			}
		}
	}
}
