package discover_test

import (
	"context"
	"maps"
	"slices"
	"testing"

	"boundwalk/discover"
	"boundwalk/discover/simnet"
	"boundwalk/inventory"
)

// A pulse tells who answers and what the ports give; it asks cameras nothing,
// and reads no topology.
func TestPulse(t *testing.T) {
	draw, up := inventory.Power(5100), true
	feeding := small("quay-switch")
	feeding.Interfaces[0].OperUp = &up
	feeding.PSEPorts = []inventory.PSEPort{{Index: inventory.PSEIndex{Group: 1, Port: 5}, State: inventory.PSEDelivering, Actual: &draw}}
	feeding.FDB = []inventory.FDBEntry{{MAC: inventory.MAC{0, 0, 0x5e, 0, 0x53, 9}, Port: 1}}
	plan := loopback(
		inventory.Device{Name: "quay-switch", Role: inventory.Switch, Access: "yard", Agent: agent(t, feeding, simnet.Faults{})},
		inventory.Device{Name: "dead", Role: inventory.Switch, Access: "yard", Agent: silent(t)},
		inventory.Device{Name: "slip-cam", Role: inventory.Camera, Access: "yard", Agent: silent(t)},
		inventory.Device{Name: "no-secret", Role: inventory.Radio, Access: "core", Agent: silent(t)},
		inventory.Device{Name: "office-printer", Role: inventory.Printer})
	plan.Access = append(plan.Access, inventory.Access{Name: "core", Version: "v2c", Community: "file:other"})
	b := discover.Pulse(t.Context(), plan, discover.Options{Secrets: secrets})
	if want := map[string]bool{"quay-switch": true, "dead": false}; !maps.Equal(b.Up, want) {
		t.Errorf("up: %v, want %v", b.Up, want)
	}
	if len(b.Agents) != 1 || b.At.IsZero() {
		t.Fatalf("%d agents at %v", len(b.Agents), b.At)
	}
	a := b.Agents[0]
	if k := slices.IndexFunc(a.PSEPorts, func(p inventory.PSEPort) bool { return p.Index.Port == 5 }); k < 0 ||
		a.PSEPorts[k].Actual == nil || *a.PSEPorts[k].Actual != draw || a.PSEPorts[k].State != inventory.PSEDelivering {
		t.Errorf("ports: %+v", a.PSEPorts)
	}
	if len(a.FDB) != 0 || a.Interfaces[0].OperUp == nil || !*a.Interfaces[0].OperUp {
		t.Errorf("read %d rows of topology; interfaces %+v", len(a.FDB), a.Interfaces)
	}
}

// A pulse that was stopped says of nobody that it is down.
func TestPulseStopped(t *testing.T) {
	plan := loopback(inventory.Device{Name: "dead", Role: inventory.Switch, Access: "yard", Agent: silent(t)})
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if b := discover.Pulse(ctx, plan, discover.Options{Secrets: secrets}); len(b.Up) != 0 {
		t.Errorf("up: %v", b.Up)
	}
}
