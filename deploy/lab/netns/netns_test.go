package netns_test

import (
	"net"
	"net/netip"
	"strings"
	"testing"

	"boundwalk/deploy/lab/netns"
)

// Three hosts on a switch reach each other, and each sees only its own
// interfaces, from a goroutine inside as from a process inside.
func TestWiring(t *testing.T) {
	if netns.Inside() {
		if _, err := net.InterfaceByName("eth9"); err != nil {
			t.Errorf("the process is not inside: %v", err)
		}
		return
	}
	hub, a, b := netns.New(t), netns.New(t), netns.New(t)
	netns.Veth(hub, "p1", a, "eth9")
	netns.Veth(hub, "p2", b, "eth9")
	hub.Bridge("br0", "p1", "p2")
	a.Address("eth9", netip.MustParsePrefix("203.0.113.2/24"), netip.MustParsePrefix("2001:db8::2/64"))
	b.Address("eth9", netip.MustParsePrefix("203.0.113.3/24"), netip.MustParsePrefix("2001:db8::3/64"))
	b.MAC("eth9", "02:00:5e:00:53:03")

	a.Exec("ping", "-c", "1", "-W", "5", "203.0.113.3")
	a.Exec("ping", "-c", "1", "-W", "5", "2001:db8::3")
	if out := a.Exec("ip", "neigh", "show", "203.0.113.3"); !strings.Contains(out, "02:00:5e:00:53:03") {
		t.Errorf("neighbour of a is %q, want the MAC given to b", out)
	}

	var inside, outside error
	a.Do(func() { _, inside = net.InterfaceByName("eth9") })
	_, outside = net.InterfaceByName("eth9")
	if inside != nil || outside == nil {
		t.Errorf("eth9 inside: %v, outside: %v; want it inside only", inside, outside)
	}
	a.Rerun(t)
}
