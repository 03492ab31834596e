package discover

import (
	"net/netip"
	"testing"
	"testing/synctest"
	"time"

	"boundwalk/discover/arp"
	"boundwalk/inventory"
)

// A camera heard five minutes ago may have gone since, and it answers when it is
// asked; a sensor that sleeps does not.
func TestListenerSource(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		cam, sensor, guest := inventory.MAC{0, 0, 0x5e, 0, 0x53, 1}, inventory.MAC{0, 0, 0x5e, 0, 0x53, 2}, inventory.MAC{2, 0, 0x5e, 0, 0x53, 3}
		plan := &inventory.Plan{Devices: []inventory.Device{{Name: "slip-cam", Role: inventory.Camera, MACs: []inventory.MAC{cam}},
			{Name: "frost-sensor", Role: inventory.Sensor, MACs: []inventory.MAC{sensor}}}}
		var l Listener
		heard := func(m inventory.MAC, last byte) {
			now := time.Now()
			l.add("eth0", arp.Reply{MAC: m, Addr: netip.AddrFrom4([4]byte{203, 0, 113, last}), Seen: now, Last: now})
		}
		heard(cam, 1)
		heard(sensor, 2)
		heard(guest, 3)
		time.Sleep(5 * time.Minute)
		heard(cam, 4)
		var ev inventory.Evidence
		l.Source(plan)(t.Context(), &ev)
		live := map[netip.Addr]bool{}
		for _, s := range ev.Sightings {
			live[s.Addr] = s.Live
			if s.Source != inventory.SourceListen || s.By != "eth0" {
				t.Errorf("%+v", s)
			}
		}
		at := func(last byte) bool { return live[netip.AddrFrom4([4]byte{203, 0, 113, last})] }
		if len(live) != 4 || at(1) || !at(2) || !at(3) || !at(4) {
			t.Errorf("live: %v", live)
		}
		ev = inventory.Evidence{}
		if l.Source(plan)(t.Context(), &ev); len(ev.Sightings) != 0 {
			t.Error("told twice")
		}
	})
}

func TestListenerBound(t *testing.T) {
	var l Listener
	for k := range mostListened + 10 {
		l.add("eth0", arp.Reply{MAC: [6]byte{2, 0, 0x5e, 0, byte(k >> 8), byte(k)}})
	}
	var ev inventory.Evidence
	l.Source(&inventory.Plan{})(t.Context(), &ev)
	if len(ev.Sightings) != mostListened || len(ev.Capped) != 1 {
		t.Errorf("%d kept, and it is said: %q", len(ev.Sightings), ev.Capped)
	}
}
