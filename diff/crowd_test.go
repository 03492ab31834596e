package diff_test

import (
	"encoding/binary"
	"fmt"
	"strings"
	"testing"

	"boundwalk/diff"
	"boundwalk/inventory"
)

// switchAgent is what the switch sw with 8 ports tells before it has learned anything.
func switchAgent() inventory.Agent {
	a := inventory.Agent{Device: "sw", Read: noon, BridgeMAC: mac(2), Bridge: map[inventory.BridgePort]inventory.IfIndex{},
		Tables: map[string]inventory.Result{inventory.TableFDB: inventory.Complete}}
	for k := 1; k <= 8; k++ {
		a.Interfaces = append(a.Interfaces, inventory.Interface{Index: inventory.IfIndex(k), Name: fmt.Sprintf("gi%d", k), Type: 6, OperUp: new(true)})
		a.Bridge[inventory.BridgePort(k)] = inventory.IfIndex(k)
	}
	return a
}

// flooded is a run in which port 6 of the switch has learned n invented
// addresses, beside a device with a maker's.
func flooded(plan *inventory.Plan, n int) *inventory.Snapshot {
	a := switchAgent()
	for i := range uint32(n) {
		m := inventory.MAC{2}
		binary.BigEndian.PutUint32(m[2:], i)
		a.FDB = append(a.FDB, inventory.FDBEntry{MAC: m, Port: 6})
	}
	a.FDB = append(a.FDB, inventory.FDBEntry{MAC: mac(0x66), Port: 6}, inventory.FDBEntry{MAC: mac(0x67), Port: 7})
	return inventory.Assemble(plan, &inventory.Evidence{Started: noon, Finished: noon, Agents: []inventory.Agent{a},
		Sightings: []inventory.Sighting{{MAC: mac(0x66), Addr: ip("192.0.2.66"), Source: inventory.SourceARP, Live: true, Seen: noon}},
		Coverage:  inventory.CoverageList{{Subject: "yard", Source: inventory.SourceARP, Result: inventory.Complete}}}, nil, nil)
}

// 100,000 invented addresses in a forwarding table: what is kept is bounded and
// the rest is said; they are one finding, which names the real ones among them
// first; a device on another port is told by itself.
func TestFloodIsOneFinding(t *testing.T) {
	plan := site(theSwitch(8))
	s := flooded(plan, 100_000)
	if len(s.Devices) > 5_000 || len(s.Capped) != 1 || !strings.Contains(s.Capped[0], "more unknown devices") {
		t.Errorf("%d devices are kept, and it is said: %q", len(s.Devices), s.Capped)
	}
	fs := diff.Audit(plan, s, nil, noon)
	want(t, fs, "no-address/"+mac(0x67).String(), "unknown-device/many-at-sw/6")
	tells(t, fs[1].Observed, "100001 unknown devices behind port 6 of sw, such as "+mac(0x66).String(), "made up")
	if got := fs[1].Title(); got != "many unknown devices at sw/6" {
		t.Errorf("its title is %q", got)
	}
}

// A crowd is one finding from 41 on, until they are 20; then each is told.
func TestCrowdComesAndGoes(t *testing.T) {
	plan := site(theSwitch(8))
	m := newMemory()
	for _, c := range []struct{ invented, findings int }{{29, 31}, {39, 41}, {40, 2}, {20, 2}, {19, 21}, {29, 31}} {
		if fs := m.run(plan, flooded(plan, c.invented)); len(fs) != c.findings {
			t.Errorf("with %d beside the real ones there are %d findings, want %d", c.invented, len(fs), c.findings)
		}
	}
}
