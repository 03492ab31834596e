package diff_test

import (
	"net/netip"
	"testing"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
)

func TestVLAN(t *testing.T) {
	for _, c := range []struct {
		name   string
		edit   func(*inventory.Device)
		vlan   int
		tagged []int
		want   []string
		says   []string
	}{
		{"the network's", func(*inventory.Device) {}, 10, nil, nil, nil},
		{"another", func(*inventory.Device) {}, 20, nil, []string{"wrong-vlan/sw/5"}, []string{"VLAN 20 (cameras) untagged on port 5 of sw"}},
		{"the plan's own word", func(d *inventory.Device) { d.VLAN = 20 }, 20, nil, nil, nil},
		{"tagged as planned", func(d *inventory.Device) { d.Tagged = []int{10, 30} }, 1, []int{10, 30}, nil, nil},
		{"one tagged lacks", func(d *inventory.Device) { d.Tagged = []int{10, 30} }, 1, []int{10}, []string{"wrong-vlan/sw/5"}, []string{"without VLAN 30 tagged"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			plan := site(theSwitch(8), onPort("ap", inventory.AccessPoint, 5, "sw/5"))
			plan.Networks = append(plan.Networks, inventory.Network{Name: "cameras", Subnet: netip.MustParsePrefix("203.0.113.0/24"), VLAN: 20})
			c.edit(&plan.Devices[1])
			s := seen(plan, noon)
			p := port(s, "sw/5")
			p.VLANKnown, p.VLAN, p.Tagged = true, c.vlan, c.tagged
			fs := diff.Audit(plan, s, nil, noon)
			want(t, fs, c.want...)
			for _, f := range fs {
				tells(t, f.Observed, c.says...)
			}
		})
	}
	t.Run("the wrong network follows from it", func(t *testing.T) {
		plan := site(theSwitch(8), camera("cam", 5, "sw/5"))
		plan.Networks = append(plan.Networks, inventory.Network{Name: "cameras", Subnet: netip.MustParsePrefix("203.0.113.0/24"), VLAN: 20})
		s := seen(plan, noon)
		d, _ := s.Device("cam")
		d.Addrs = []netip.Addr{ip("203.0.113.5")}
		p := port(s, "sw/5")
		p.VLANKnown, p.VLAN = true, 20
		fs := diff.Audit(plan, s, nil, noon)
		want(t, fs, "wrong-vlan/sw/5")
		tells(t, fs[0].Observed, "203.0.113.5")
	})
}

func TestLinkSpeed(t *testing.T) {
	for _, c := range []struct {
		name    string
		role    inventory.Role
		planned inventory.BitRate
		before  inventory.BitRate
		want    []string
	}{
		{"slower than planned", inventory.Server, 1e9, 0, []string{"link-slow/sw/5"}},
		{"an access point that was faster", inventory.AccessPoint, 0, 1e9, []string{"link-slow/sw/5"}},
		{"a television in standby", inventory.Television, 0, 1e9, nil},
		{"never faster", inventory.Camera, 0, 100e6, nil},
		{"faster than planned", inventory.Camera, 10e6, 0, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			plan := site(theSwitch(8), onPort("x", c.role, 5, "sw/5"))
			plan.Devices[1].Speed = c.planned
			s := seen(plan, noon)
			port(s, "sw/5").Speed = 100e6
			h := &inventory.History{Speeds: map[inventory.PortRef]inventory.BitRate{{Device: "sw", Port: "5"}: c.before}}
			want(t, diff.Audit(plan, s, h, noon), c.want...)
		})
	}
}

func TestHalfDuplexAndErrors(t *testing.T) {
	plan := site(theSwitch(8), camera("cam", 5, "sw/5"))
	run := func(errs, octets uint64, open bool) []diff.Finding {
		s := seen(plan, noon)
		p := port(s, "sw/5")
		p.Counters.FCS, p.Counters.In = new(1000+errs), new(1e9+octets)
		h := &inventory.History{Counters: map[inventory.PortRef]inventory.CounterBase{{Device: "sw", Port: "5"}: {
			Last: inventory.PortState{Counters: inventory.PortCounters{Read: noon.Add(-15 * time.Minute), FCS: new(uint64(1000)), In: new(uint64(1e9))}}}}}
		if open {
			h.Open = map[string]inventory.Episode{"link-errors/sw/5": {}}
		}
		return diff.Audit(plan, s, h, noon)
	}
	want(t, run(0, 1e8, false))                      // history, however much
	want(t, run(49, 1e6, false))                     // too few
	want(t, run(90, 1e10, false))                    // too few for so much traffic: 1 in 111 MB
	want(t, run(90, 1e10, true), "link-errors/sw/5") // but not yet well
	fs := run(90, 5e9, false)
	want(t, fs, "link-errors/sw/5")
	tells(t, fs[0].Observed, "90 errors on port 5 of sw in 15 min", "5.0 GB")

	s := seen(plan, noon)
	p := port(s, "sw/5")
	p.HalfDuplex, p.Counters.Late = new(true), new(uint64(7))
	fs = diff.Audit(plan, s, nil, noon)
	want(t, fs, "half-duplex/sw/5")
	tells(t, fs[0].Observed, "7 late collisions")
}

func TestLinkDown(t *testing.T) {
	plan := site(theSwitch(8), camera("cam", 5, "sw/5"), onPort("tv", inventory.Television, 6, "sw/6"))
	m := newMemory()
	for k := range 3 {
		s := seen(plan, noon.Add(time.Duration(k)*15*time.Minute))
		for _, n := range []string{"cam", "tv"} {
			d, _ := s.Device(n)
			d.Presence = inventory.NotLooked // its network could not be looked at
		}
		port(s, "sw/5").Up = new(false)
		port(s, "sw/6").Up = new(false)
		want(t, m.run(plan, s), [][]string{nil, {"link-down/sw/5"}, {"link-down/sw/5"}}[k]...)
	}
}
