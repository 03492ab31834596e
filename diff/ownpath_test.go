package diff_test

import (
	"strings"
	"testing"

	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

// cuts are words that tell to take power, or the cable, off a port.
var cuts = []string{"give no power", "power off", "unplug"}

// Wherever we stand, no finding about a port on our own way tells to cut it; about
// one beside it, the same trouble does, or the test would be blind.
//
//	router - core/1, core/8 ~ radio ~ far/1, core/5 - lone passive camera
func TestNoAdviceCutsOurWay(t *testing.T) {
	passive := func(d inventory.Device) inventory.Device {
		d.Takes = inventory.Feed{Standard: poe.Passive, Volts: 24}
		return d
	}
	for _, c := range []struct {
		name   string
		at     string // where we stand by the plan; empty: not in the plan
		placed string // where our MAC was found
		router string // what the router hangs on; empty: it is the root
		ours   string
		beside string
	}{
		{"beyond the radio", "far/3", "far/3", "", "core/8", "core/5"},
		{"beyond it, on a port that is not planned", "far", "far/3", "", "core/8", "core/5"},
		{"at the router's side, the router beyond the radio", "core/2", "core/2", "far/2", "core/8", "core/5"},
		{"the plan does not name us; found beyond the radio", "", "far/3", "", "core/8", "core/5"},
		{"the plan does not name us; found nowhere", "", "", "", "core/8", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			core, far := theSwitch(10), passive(onPort("far", inventory.Switch, 3, "radio-b"))
			core.Name, core.At, core.Port = "core", inventory.ParsePortRef("router/1"), "1"
			router := onPort("router", inventory.Router, 1, c.router)
			if c.router != "" {
				core.At, core.Port = inventory.PortRef{}, ""
			}
			devices := []inventory.Device{router, core, far, passive(onPort("radio-a", inventory.Radio, 4, "core/8")), onPort("radio-b", inventory.Radio, 5, "radio-a"),
				passive(onPort("stub", inventory.Camera, 6, "core/5"))}
			if c.at != "" {
				devices = append(devices, onPort("here", inventory.Server, 0x10, c.at))
			}
			plan := site(devices...)
			s := seen(plan, noon)
			if c.at == "" {
				s.Devices = append(s.Devices, inventory.SeenDevice{MACs: []inventory.MAC{mac(0x10)}, Presence: inventory.Present})
			}
			us := &s.Devices[len(s.Devices)-1]
			us.Self = true
			if ref := inventory.ParsePortRef(c.placed); !ref.IsZero() {
				us.Place = inventory.Place{Switch: ref.Device, Port: inventory.PortName(ref.Port), Basis: inventory.ByFDB, Seen: noon}
			}
			powered(s, "core/8", poe.Class3, 5*poe.Watt)
			powered(s, "core/5", poe.Class3, 5*poe.Watt)
			fs := diff.Audit(plan, s, nil, noon)
			if says(t, fs, c.ours) {
				t.Errorf("advice to cut %s, over which we look: %s", c.ours, say(find(t, fs, "power-to-passive/"+c.ours)))
			}
			if c.beside != "" && !says(t, fs, c.beside) {
				t.Errorf("no advice to take power off %s, which is beside our way", c.beside)
			}
		})
	}
}

// says reports whether the findings about a port, of which there must be some, tell to cut it.
func says(t *testing.T, fs []diff.Finding, port string) bool {
	t.Helper()
	about, cut := 0, false
	for _, f := range fs {
		if f.Where != port && f.Subject != port {
			continue
		}
		about++
		for _, w := range cuts {
			cut = cut || strings.Contains(f.Advice, w)
		}
	}
	if about == 0 {
		t.Fatalf("nothing is told of %s", port)
	}
	return cut
}
