package inventory_test

import (
	"testing"

	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

// pontoon is the outbuilding of the example: one injector feeds a little switch,
// which feeds the far radio and a camera on; data comes over the air.
func pontoon() *inventory.Plan {
	passive := inventory.Feed{Standard: poe.Passive, Volts: 24}
	p := site(
		inventory.Device{Name: "quay-switch", Role: inventory.Switch, Access: "core", Ports: 10},
		inventory.Device{Name: "quay-radio", Role: inventory.Radio, Access: "yard", At: inventory.PortRef{Device: "quay-switch", Port: "8"},
			Takes: passive, Draws: inventory.Draws{Most: 7 * poe.Watt}, Via: []string{"rack-injector"}},
		inventory.Device{Name: "rack-injector", Role: inventory.Injector, Feeds: passive, Budget: 24 * poe.Watt},
		inventory.Device{Name: "hut-injector", Role: inventory.Injector, Feeds: passive, Budget: 24 * poe.Watt},
		inventory.Device{Name: "pontoon-radio", Role: inventory.Radio, At: inventory.PortRef{Device: "pontoon-switch", Port: "1"}, Takes: passive,
			Draws: inventory.Draws{Most: 7 * poe.Watt}},
		inventory.Device{Name: "pontoon-switch", Role: inventory.PassThroughSwitch, Via: []string{"hut-injector"}, Own: 2 * poe.Watt, Feeds: passive, Ports: 3},
		inventory.Device{Name: "basin-cam", Role: inventory.Camera, MACs: []inventory.MAC{mac(36)},
			At: inventory.PortRef{Device: "pontoon-switch", Port: "3"}, Takes: passive, Draws: inventory.Draws{Most: 4 * poe.Watt}},
	)
	p.Links = []inventory.RadioLink{{Name: "basin", Between: [2]string{"quay-radio", "pontoon-radio"}}}
	return p
}

// Data reaches the far side through the air, though power comes from its own end.
func TestAboveCrossesTheAir(t *testing.T) {
	p := pontoon()
	for name, want := range map[string]string{"basin-cam": "pontoon-switch/3", "pontoon-switch": "pontoon-radio", "pontoon-radio": "quay-radio",
		"quay-radio": "quay-switch/8", "quay-switch": ""} {
		d, _ := p.Device(name)
		if got := p.Above(d).String(); got != want {
			t.Errorf("above %s: got %q, want %q", name, got, want)
		}
	}
	d, _ := p.Device("basin-cam")
	if got := p.ManagedPort(d).String(); got != "quay-switch/8" {
		t.Errorf("the camera is seen at %q", got)
	}
}

// The tree draws the plan's branch behind the one port where all of it is seen.
func TestTreeBehindRadio(t *testing.T) {
	p := pontoon()
	a := bridgeAgent("quay-switch", mac(2), 10, inventory.FDBEntry{MAC: mac(36), Port: 108}, inventory.FDBEntry{MAC: mac(51), Port: 108})
	p.Devices[1].MACs = []inventory.MAC{mac(51)}
	s := inventory.Assemble(p, &inventory.Evidence{Finished: noon, Agents: []inventory.Agent{a}}, nil, nil)
	want := map[string]string{"quay-radio": "quay-switch/8", "pontoon-radio": "quay-radio", "pontoon-switch": "pontoon-radio", "basin-cam": "pontoon-switch/3"}
	for _, e := range s.Edges {
		if w := want[e.Child]; w != "" {
			if got := (inventory.PortRef{Device: e.Parent, Port: e.Port}).String(); got != w {
				t.Errorf("%s hangs on %s, want %s", e.Child, got, w)
			}
			delete(want, e.Child)
		}
	}
	if len(want) > 0 {
		t.Errorf("not in the tree: %v", want)
	}
}

// What a pass-through switch passes on loads its injector too: 2 + 7 + 4 W.
func TestPaperSuppliesOfAChain(t *testing.T) {
	s := inventory.Assemble(pontoon(), &inventory.Evidence{Finished: noon}, nil, nil)
	for _, want := range []struct {
		name          string
		drawn, budget inventory.Power
	}{{"rack-injector", 7_000, 24_000}, {"hut-injector", 13_000, 24_000}, {"pontoon-switch", 11_000, 22_000}} {
		found := false
		for _, x := range s.Supplies {
			if x.Switch == want.name {
				found = true
				if x.Drawn == nil || *x.Drawn != want.drawn || x.Budget == nil || *x.Budget != want.budget {
					t.Errorf("%s: drawn %v of %v, want %v of %v", want.name, x.Drawn, x.Budget, want.drawn, want.budget)
				}
			}
		}
		if !found {
			t.Errorf("%s is no supply", want.name)
		}
	}
}
