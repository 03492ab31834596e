package yard

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"boundwalk/deploy/lab/bridgemib"
	"boundwalk/deploy/lab/netns"
)

// Six hosts with lldpd on a bridge, whose snmpd has lldpd as its subagent: each
// is known by the name that it tells by LLDP, at its port. Then one joins and one
// leaves, with their cables: the new one is told with its name, the other is
// missing two runs later and keeps no neighbour, and comes back.
func TestNeighboursJoinAndLeave(t *testing.T) {
	y := newYard(t, 11, 12, 13, 14, 15, 16, 17)
	y.sw.Exec("ip", "link", "set", "p17", "down") // joins later
	y.agents(y.sw, hostAddr(2).Addr(), "yard-switch", "'p*' -C br0", bridgemib.Bridge(t))
	for k := 11; k <= 17; k++ {
		y.neighbours(y.hosts[k], fmt.Sprintf("host-%d", k), "-I", "eth0")
	}
	y.plan(11, 12, 13, 14, 15)

	y.untilTold(11, 12, 13, 14, 15, 16)
	stranger := "unknown-device/" + hostMAC(16)
	r := y.Run()
	if got := r.Keys(); !slices.Equal(got, []string{stranger}) {
		t.Fatalf("first run: %v", got)
	}
	if f := r.Finding(stranger); f.Where != "yard-switch/p16" || !strings.Contains(f.Observed, "host-16") {
		t.Errorf("the unknown one: %+v", f)
	}
	y.checkNames(11, 12, 13, 14, 15, 16)

	y.sw.Exec("ip", "link", "set", "p14", "down")
	y.plug(17)
	y.untilTold(11, 12, 13, 15, 16, 17)
	joined := []string{stranger, "unknown-device/" + hostMAC(17)}
	r = y.Run()
	if got := r.Keys(); !slices.Equal(got, joined) {
		t.Fatalf("second run: got %v, want %v: one look misses nobody", got, joined)
	}
	if f := r.Finding(joined[1]); f.Where != "yard-switch/p17" || !strings.Contains(f.Observed, "host-17") {
		t.Errorf("the one that joined: %+v", f)
	}
	y.checkNames(11, 12, 13, 15, 16, 17)
	if got, want := y.Run().Keys(), append([]string{"missing-device/host-14"}, joined...); !slices.Equal(got, want) {
		t.Fatalf("third run: got %v, want %v", got, want)
	}
	if d := y.Devices()["host-14"]; d.Presence != "absent" {
		t.Errorf("the one that left is %+v", d)
	}

	y.plug(14)
	y.untilTold(11, 12, 13, 14, 15, 16, 17)
	if got := y.Run().Keys(); !slices.Equal(got, joined) {
		t.Fatalf("fourth run: got %v, want %v: it is back", got, joined)
	}
	y.checkNames(11, 12, 13, 14, 15, 16, 17)
}

// plug sets a port up, and returns once the switch's agent says so: snmpd keeps
// what it has read for a while, and a neighbour on a port that is down is none.
func (y *yard) plug(k int) {
	y.t.Helper()
	port := fmt.Sprintf("p%d", k)
	y.sw.Exec("ip", "link", "set", port, "up")
	netns.Until(y.t, port+" is up", func() bool {
		oper := y.column("203.0.113.2", "1.3.6.1.2.1.2.2.1.8") // ifOperStatus
		for index, name := range y.column("203.0.113.2", "1.3.6.1.2.1.31.1.1.1.1") {
			if name == port {
				return oper[index] == "1"
			}
		}
		return false
	})
}

// untilTold returns once the switch's agent names these hosts as its neighbours and no other.
func (y *yard) untilTold(hosts ...int) {
	y.t.Helper()
	var want []string
	for _, k := range hosts {
		want = append(want, fmt.Sprintf("host-%d", k))
	}
	netns.Until(y.t, fmt.Sprintf("the switch's neighbours are %v", want), func() bool {
		var told []string
		for line := range strings.Lines(y.walk("203.0.113.2", "1.0.8802.1.1.2.1.4.1.1.9")) { // lldpRemSysName
			_, name, _ := strings.Cut(strings.TrimSpace(line), " ")
			told = append(told, strings.Trim(name, `"`))
		}
		slices.Sort(told)
		return slices.Equal(told, want)
	})
}

// checkNames: each host calls itself as its lldpd does, and hangs on its port.
func (y *yard) checkNames(hosts ...int) {
	y.t.Helper()
	var rows []struct {
		Hostname, Where string
		MACs            []string
	}
	y.JSON(&rows, "show", "devices")
	for _, k := range hosts {
		want := fmt.Sprintf("host-%d yard-switch/p%d", k, k)
		got := "none"
		for _, d := range rows {
			if slices.Contains(d.MACs, hostMAC(k)) {
				got = d.Hostname + " " + d.Where
			}
		}
		if got != want {
			y.t.Errorf("the host at port %d is %q, want %q", k, got, want)
		}
	}
}
