package inventory_test

import (
	"testing"

	"boundwalk/inventory"
)

func TestHeadcount(t *testing.T) {
	old, other := inventory.MAC{0, 0, 0x5e, 0, 0x53, 1}, inventory.MAC{0, 0, 0x5e, 0, 0x53, 2}
	s := inventory.Snapshot{Devices: []inventory.SeenDevice{
		{Name: "slip-cam", Planned: true, Presence: inventory.Absent, MACs: []inventory.MAC{old}, Claimed: []inventory.MAC{other}},
		{Name: "shed-ap", Planned: true, Presence: inventory.Present},
		{Name: "rack-injector", Planned: true, Presence: inventory.Unseeable},
		{Name: "winter-cam", Planned: true, Presence: inventory.Absent, Away: true},
		{Name: "yard-phone", Planned: true, Presence: inventory.Absent, Role: inventory.Phone},
		{Name: "yard-tablet", Planned: true, Presence: inventory.Present, Role: inventory.Tablet},
		{Name: "stands in slip-cam's stead", Presence: inventory.Present, MACs: []inventory.MAC{other}},
		{Name: "stranger", Presence: inventory.Present},
		{Name: "a phone", Presence: inventory.Present, Private: true, BehindAP: true},
		{Name: "a made-up address on a cable", Presence: inventory.Present, Private: true},
		{Name: "this machine", Presence: inventory.Present, Self: true},
		{Name: "office-server", Planned: true, Presence: inventory.Present, Self: true},
	}}
	if got, want := s.Headcount(), (inventory.Headcount{Planned: 4, There: 3, Away: 2, Unknown: 2, Private: 1}); got != want {
		t.Errorf("got %+v, want %+v", got, want)
	}
}
