package main

import (
	"bytes"
	"net/netip"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"boundwalk/deploy/lab/netns"
	"boundwalk/inventory/planfile"
)

// wireYard makes a machine with a bridge and three hosts on it, by real ARP. The
// third host's link is down until someone sets it up.
func wireYard(t *testing.T) *netns.Namespace {
	t.Helper()
	here := netns.New(t)
	var ports []string
	for _, h := range []struct{ port, mac, addr string }{
		{"p1", "00:00:5e:00:53:31", "203.0.113.11/28"}, {"p2", "00:00:5e:00:53:32", "203.0.113.12/28"}, {"p3", "00:00:5e:00:53:33", "203.0.113.13/28"},
	} {
		host := netns.New(t)
		netns.Veth(here, h.port, host, "eth0")
		host.MAC("eth0", h.mac)
		host.Address("eth0", netip.MustParsePrefix(h.addr))
		ports = append(ports, h.port)
	}
	here.Bridge("lan0", ports...)
	here.MAC("lan0", "00:00:5e:00:53:01")
	here.Address("lan0", netip.MustParsePrefix("203.0.113.1/28"))
	here.Exec("ip", "link", "set", "p3", "down")
	return here
}

// By real ARP, without any SNMP: a draft of this machine's own networks, after
// which runs find nothing missing and nothing unknown; then a host that joins
// while commission watches is proved as far as it can be seen, and taken in.
func TestDraftAndCommissionByARP(t *testing.T) {
	if !netns.Inside() {
		t.Parallel()
		wireYard(t).Rerun(t)
		return
	}
	t.Setenv("BOUNDWALK_PLAN", "")
	t.Setenv("BOUNDWALK_LOGBOOK", "")
	plan := filepath.Join(t.TempDir(), "plan.yaml")
	do(t, []int{exitDone}, "draft", "--out", plan)
	f, err := planfile.ReadFile(plan)
	if err != nil {
		t.Fatal(err)
	}
	if n := f.Plan.Networks; len(n) != 1 || n[0].Subnet.String() != "203.0.113.0/28" || n[0].Name != "lan0" {
		t.Errorf("networks: %+v", n)
	}
	var addrs []string
	for _, d := range f.Plan.Devices {
		addrs = append(addrs, d.Address().String())
	}
	slices.Sort(addrs)
	if want := []string{"203.0.113.1", "203.0.113.11", "203.0.113.12"}; !slices.Equal(addrs, want) {
		t.Errorf("devices at %v, want %v", addrs, want)
	}
	do(t, []int{exitDone}, "check", "--plan", plan)
	for range 2 {
		for _, k := range runKeys(t, "--plan", plan) {
			if kind, _, _ := strings.Cut(k, "/"); slices.Contains(presenceKinds, kind) {
				t.Errorf("after the draft, a run finds %s", k)
			}
		}
	}

	told := &onWords{words: "plug it in now", do: func() {
		if out, err := exec.Command("ip", "link", "set", "p3", "up").CombinedOutput(); err != nil {
			t.Errorf("%v: %s", err, out)
		}
	}}
	var out bytes.Buffer
	code := run(t.Context(), []string{"commission", "--plan", plan, "--every", "100ms", "--wait", "1m", "--settle", "1s", "--write"},
		strings.NewReader(""), &out, told)
	if code != exitDone || !strings.Contains(out.String(), "203.0.113.13, in lan0") ||
		!strings.Contains(out.String(), "unknown port: no switch that may be asked has learned it") {
		t.Fatalf("exit %d\n%s\n%s", code, told.buf.String(), out.String())
	}
	text, err := os.ReadFile(plan)
	if err != nil || !bytes.Contains(text, []byte("203.0.113.13")) {
		t.Errorf("not taken in: %v\n%s", err, text)
	}
	for _, k := range runKeys(t, "--plan", plan) {
		if strings.HasPrefix(k, "unknown-device/") {
			t.Errorf("taken in, and found unknown: %s", k)
		}
	}
}
