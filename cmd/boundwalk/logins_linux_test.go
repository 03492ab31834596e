package main

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"

	"boundwalk/deploy/lab/netns"
)

// door is a host's web page that takes the factory account and counts.
type door struct {
	fakeCamera
	conns atomic.Int32
}

// openDoor serves the page inside a namespace.
func openDoor(in *netns.Namespace, at string) *door {
	d := &door{fakeCamera: fakeCamera{takes: factoryPassword}}
	in.Serve(at, &http.Server{Handler: d, ConnState: func(_ net.Conn, c http.ConnState) {
		if c == http.StateNew {
			d.conns.Add(1)
		}
	}})
	return d
}

const gatePlan = `site: {name: Tern Quay, timezone: Europe/Dublin}
networks:
  yard: {subnet: 203.0.113.0/28}
models:
  dome: {role: camera, factory_login: {over: http, user: admin, password: ` + factoryPassword + `}}
devices:
  slip-cam:  {model: dome, mac: "00:00:5e:00:53:31", address: 203.0.113.11}
  gate-cam:  {model: dome, mac: "00:00:5e:00:53:99", address: 203.0.113.12}
  hoist-cam: {model: dome, mac: "00:00:5e:00:53:33", address: 203.0.113.13}
  lift:      {model: dome, mac: "00:00:5e:00:53:35", address: 203.0.113.10}
leave_alone: [203.0.113.10]
factory_logins: on-request
sources: {mdns: false, ws_discovery: false, reverse_dns: false, echo: false, clocks: false, reach: false}
`

// The gate by real ARP: the planned MAC on the planned address is tried once.
// Another MAC, two that claim one address, an unknown host and one to be left
// alone see no connection at all.
func TestGateByARP(t *testing.T) {
	if netns.Inside() {
		gateRuns(t)
		return
	}
	t.Parallel()
	here := netns.New(t)
	var ports []string
	doors := map[string]*door{}
	for i, h := range []struct{ name, mac, addr string }{
		{"slip-cam", "00:00:5e:00:53:31", "203.0.113.11"}, {"gate-cam", "00:00:5e:00:53:32", "203.0.113.12"},
		{"hoist-cam", "00:00:5e:00:53:33", "203.0.113.13"}, {"spoofer", "00:00:5e:00:53:66", "203.0.113.13"},
		{"unknown", "00:00:5e:00:53:34", "203.0.113.14"}, {"lift", "00:00:5e:00:53:35", "203.0.113.10"},
	} {
		host := netns.New(t)
		ports = append(ports, fmt.Sprintf("p%d", i))
		netns.Veth(here, ports[i], host, "eth0")
		host.MAC("eth0", h.mac)
		host.Address("eth0", netip.MustParsePrefix(h.addr+"/28"))
		doors[h.name] = openDoor(host, h.addr+":80")
	}
	here.Bridge("lan0", ports...)
	here.MAC("lan0", "00:00:5e:00:53:01")
	here.Address("lan0", netip.MustParsePrefix("203.0.113.1/28"))
	here.Rerun(t)
	for name, d := range doors {
		want := 0
		if name == "slip-cam" {
			want = 1
		}
		if n := d.counted(); n != want || want == 0 && d.conns.Load() != 0 {
			t.Errorf("%s counted %d logins and %d connections, want %d", name, n, d.conns.Load(), want)
		}
	}
}

func gateRuns(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "plan.yaml"), []byte(gatePlan), 0o600); err != nil {
		t.Fatal(err)
	}
	program(t, dir, "run", "--logins")
	program(t, dir, "run", "--logins")
	said := strings.Join(strings.Fields(program(t, dir, "show", "logins")), " ")
	for _, want := range []string{
		"slip-cam over http, dome: factory login still accepted",
		"gate-cam, hoist-cam over http, dome: not checked, the MAC on its address is not the planned one",
		"lift over http, dome: not checked, the plan says to leave it alone",
	} {
		if !strings.Contains(said, want) {
			t.Errorf("nothing says %q:\n%s", want, said)
		}
	}
}

// A real agent with the usual community, and one where it was changed.
func TestUsualCommunityAtSnmpd(t *testing.T) {
	netns.Need(t, "snmpd")
	for _, c := range []struct{ communities, want string }{
		{"rocommunity quaypass\nrocommunity public\n", "answers to it"},
		{"rocommunity quaypass\n", "cannot tell"},
	} {
		at := startSnmpd(t, c.communities)
		dir := loginSite(t, &fakeCamera{}, "after-change", fmt.Sprintf("  office-server: {role: server, address: 127.0.0.2, access: yard, agent: %q}", at))
		program(t, dir, "run")
		program(t, dir, "run")
		said := strings.Join(strings.Fields(program(t, dir, "show", "logins")), " ")
		if !strings.Contains(said, "office-server over snmp, usual-read-community: "+c.want) {
			t.Errorf("with %q: %s", c.communities, said)
		}
		found := strings.Contains(program(t, dir, "show", "findings"), "default-community/office-server")
		if found != (c.want == "answers to it") {
			t.Errorf("with %q: finding %v", c.communities, found)
		}
	}
}

// startSnmpd starts net-snmp's agent on a free port of loopback and waits until
// it serves.
func startSnmpd(t *testing.T, conf string) string {
	t.Helper()
	dir := t.TempDir()
	file := filepath.Join(dir, "snmpd.conf")
	if err := os.WriteFile(file, []byte(conf), 0o600); err != nil {
		t.Fatal(err)
	}
	free, err := net.ListenPacket("udp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	at := free.LocalAddr().String()
	free.Close()
	ctx, cancel := context.WithCancel(context.Background())
	cmd := exec.CommandContext(ctx, "snmpd", "-f", "-Lo", "-C", "-c", file, "-I", "-smux", "-p", filepath.Join(dir, "pid"), "udp:"+at)
	cmd.Env = append(os.Environ(), "SNMP_PERSISTENT_DIR="+dir)
	said, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { cancel(); cmd.Wait() }) //nolint:errcheck // it was killed
	var heard strings.Builder
	buf := make([]byte, 512)
	for !strings.Contains(heard.String(), "NET-SNMP version") {
		n, err := said.Read(buf)
		heard.Write(buf[:n])
		if err != nil {
			t.Fatalf("snmpd: %v: %s", err, heard.String())
		}
	}
	return at
}
