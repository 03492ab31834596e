package inventory_test

import (
	"testing"

	"boundwalk/inventory"
)

// A plain switch is dark where all that shows of it is absent, two devices at
// least; what may rightly be absent tells nothing.
func TestDark(t *testing.T) {
	const absent, present = inventory.Absent, inventory.Present
	for _, tt := range []struct {
		name string
		have map[string]inventory.Presence
		away bool
		want bool
	}{
		{"both are gone", map[string]inventory.Presence{"a": absent, "b": absent}, false, true},
		{"one is there", map[string]inventory.Presence{"a": absent, "b": present}, false, false},
		{"one alone is the better name", map[string]inventory.Presence{"a": absent}, false, false},
		{"both are away", map[string]inventory.Presence{"a": absent, "b": absent}, true, false},
		{"nobody looked for one", map[string]inventory.Presence{"a": absent, "b": inventory.NotLooked}, false, false},
	} {
		s := &inventory.Snapshot{Devices: []inventory.SeenDevice{{Name: "loft-switch", Presence: inventory.Unseeable}, {Name: "box", Presence: inventory.Unseeable}},
			Edges: []inventory.Edge{{Child: "box", Parent: "loft-switch"}}}
		up := "loft-switch"
		for _, name := range []string{"a", "b"} {
			if p, ok := tt.have[name]; ok {
				s.Devices = append(s.Devices, inventory.SeenDevice{Name: name, Role: inventory.Camera, Presence: p, Away: tt.away})
				s.Edges = append(s.Edges, inventory.Edge{Child: name, Parent: up})
				up = "box" // the second hangs behind another that never shows
			}
		}
		if got := s.Dark()["loft-switch"]; got != tt.want {
			t.Errorf("%s: dark is %v", tt.name, got)
		}
	}
}
