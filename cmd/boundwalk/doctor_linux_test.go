package main

import (
	"net/netip"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"boundwalk/deploy/lab/netns"
)

const attachedPlan = `site: {name: Tern Quay}
networks:
  yard:    {subnet: 203.0.113.0/28}
  cameras: {subnet: 203.0.113.128/26}
  berths:  {subnet: 198.51.100.0/24, unknown: count}
access: {yard: {snmp: v2c, community: file:yard.community}}
devices:
  quay-switch: {role: switch, address: 203.0.113.2, agent: 127.0.0.1:1, access: yard}
  shed-switch: {role: switch, address: 203.0.113.3, agent: 127.0.0.1:2, access: yard}
service: {mail: {to: a@example.net, from: b@example.net, server: "127.0.0.1:1", security: plain}}
`

// In a namespace of its own: attached to one network, not to the other, with a
// secret that others may read, and with nobody to take the mail.
func TestDoctorAttached(t *testing.T) {
	if !netns.Inside() {
		t.Parallel()
		here, host := netns.New(t), netns.New(t)
		netns.Veth(here, "lan0", host, "eth0")
		here.Address("lan0", netip.MustParsePrefix("203.0.113.1/28"))
		here.Rerun(t)
		return
	}
	plan := filepath.Join(t.TempDir(), "plan.yaml")
	if err := os.WriteFile(plan, []byte(attachedPlan), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(filepath.Dir(plan), "yard.community"), []byte("only-read\n"), 0o604); err != nil {
		t.Fatal(err)
	}
	t.Setenv("BOUNDWALK_LOGBOOK", "")
	out, _ := do(t, []int{exitFindings}, "doctor", "--plan", plan, "--mail", "master@example.net")
	for _, want := range []string{
		"pass raw sockets: allowed",
		"pass yard: attached by lan0 (203.0.113.1): swept by ARP",
		"warn cameras: neither attached nor known to a router that may be asked do attach this machine to it",
		"pass berths: only counted",
		"there is none yet do \"boundwalk run\" makes it",
		"fail 2 agents: refused: access yard: secret file:yard.community",
		"mode 0604): chmod o= takes that away: quay-switch, shed-switch do correct the access in the plan, its secret",
		"fail 127.0.0.1:1: mail: 127.0.0.1:1: connect",
		"do see that its name and port in the plan are right",
	} {
		if !strings.Contains(unwrapped(out), want) {
			t.Errorf("no %q in:\n%s", want, out)
		}
	}
	if out, err := exec.Command("ip", "link", "set", "lan0", "down").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	out, _ = do(t, []int{exitFindings}, "doctor", "--plan", plan)
	if want := "fail yard: attached by lan0 (203.0.113.1), which is down do bring the interface up"; !strings.Contains(unwrapped(out), want) {
		t.Errorf("no %q in:\n%s", want, out)
	}
}
