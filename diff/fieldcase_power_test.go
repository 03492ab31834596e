package diff_test

import (
	"testing"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

// FC-01: a camera that is fine all day and drops after dusk is one finding, with
// the peak, the losses and the restart.
func TestFC01DropsAfterDusk(t *testing.T) {
	plan := site(theSwitch(14), camera("slip-cam", 5, "sw/5"), camera("gate-cam", 9, "sw/9"), camera("hoist-cam", 13, "sw/13"))
	m := newMemory()
	at := func(h, min int) time.Time { return time.Date(2026, 11, 24, h, min, 0, 0, time.UTC) }
	run := func(now time.Time, edit func(*inventory.Snapshot)) []diff.Finding {
		s := seen(plan, now)
		lost := powered(s, "sw/5", poe.Class3, 5100)
		lost.Power.MPSAbsent = new(uint32(4))
		powered(s, "sw/9", poe.Class3, 14000)
		short := powered(s, "sw/13", poe.Class3, 5000)
		short.Power.Short = new(uint32(15))
		edit(s)
		return m.run(plan, s)
	}
	up := func(s *inventory.Snapshot, d time.Duration) {
		x, _ := s.Device("slip-cam")
		x.UpTime = &inventory.UpTime{Ticks: uint32(d / (10 * time.Millisecond)), Read: s.Finished, Up: d}
	}
	day := run(at(14, 0), func(s *inventory.Snapshot) { up(s, 90*time.Hour) })
	want(t, day, "port-power-near/sw/9")
	tells(t, day[0].Observed, "no night has been seen yet", "gate-cam", "14 W of 15.4 W")

	want(t, run(at(20, 30), func(s *inventory.Snapshot) {
		*s.Ports[0].Power.Draw = 12600
		up(s, 96*time.Hour+30*time.Minute)
	}), "port-power-near/sw/9")

	night := at(2, 0).AddDate(0, 0, 1)
	fs := run(night, func(s *inventory.Snapshot) {
		lose(s, "slip-cam")
		s.Ports[0].Power.State, s.Ports[0].Power.Draw, s.Ports[0].Power.MPSAbsent = inventory.PSESearching, nil, new(uint32(7))
	})
	want(t, fs, "port-power-near/sw/9", "power-faults/sw/5")
	tells(t, fs[1].Observed, "3 power losses", "port 5 of sw", "12.6 W of 15.4 W", "slip-cam does not answer")

	fs = run(night.Add(6*time.Hour), func(s *inventory.Snapshot) {
		*s.Ports[0].Power.Draw, s.Ports[0].Power.MPSAbsent = 5000, new(uint32(7))
		up(s, 5*time.Hour+50*time.Minute)
	})
	want(t, fs, "port-power-near/sw/9", "power-faults/sw/5")
	tells(t, fs[1].Observed, "3 power losses", "12.6 W", "Tue 24 Nov 20:30", "up 5 h 50 min", "Wed 25 Nov 02:10")
	if !fs[1].Since.Equal(night) {
		t.Errorf("open since %v, want the night", fs[1].Since)
	}
}

// A camera that stays away after the losses is told by them, as urgent as it is.
func TestFaultsExplainAbsence(t *testing.T) {
	plan := site(theSwitch(8), camera("slip-cam", 5, "sw/5"))
	m := newMemory()
	for k := range 3 {
		s := seen(plan, noon.Add(time.Duration(k)*15*time.Minute))
		p := powered(s, "sw/5", poe.Class3, 5000)
		p.Power.Overload = new(uint32(0))
		if k > 0 {
			lose(s, "slip-cam")
			p.Power.State, p.Power.Draw, p.Power.Overload = inventory.PSESearching, nil, new(uint32(2))
		}
		fs := m.run(plan, s)
		switch k {
		case 0:
			want(t, fs)
		case 2:
			want(t, fs, "power-faults/sw/5")
			if fs[0].Severity != diff.Urgent || len(fs[0].Behind) != 1 {
				t.Errorf("%s", say(fs[0]))
			}
		}
	}
}

func fourOn65() (*inventory.Plan, func(time.Time) *inventory.Snapshot) {
	sw := theSwitch(8)
	plan := site(sw, camera("cam-1", 11, "sw/1"), camera("cam-2", 12, "sw/2"), camera("cam-3", 13, "sw/3"), camera("cam-4", 14, "sw/4"))
	return plan, func(now time.Time) *inventory.Snapshot {
		s := seen(plan, now)
		for _, ref := range []string{"sw/1", "sw/2", "sw/3", "sw/4"} {
			powered(s, ref, poe.Class3, 0)
		}
		p := port(s, "sw/5")
		p.Up = new(false)
		p.Power = &inventory.PortPower{Index: inventory.PSEIndex{Group: 1, Port: 5}, State: inventory.PSESearching, Enabled: new(true), Denied: new(uint32(0))}
		s.Supplies = []inventory.SupplyState{{Switch: "sw", Supply: "1", Budget: new(65 * poe.Watt), Used: new(24 * poe.Watt),
			Reserved: new(inventory.Power(61600)), Method: "by-class"}}
		return s
	}
}

// FC-02: power is refused though far less is drawn than the budget; the three
// figures stand side by side.
func TestFC02RefusedBelowBudget(t *testing.T) {
	plan, run := fourOn65()
	plan.Devices = append(plan.Devices, camera("cam-5", 15, "sw/5"))
	m := newMemory()
	first := run(noon)
	lose(first, "cam-5")
	m.run(plan, first)
	second := run(noon.Add(15 * time.Minute))
	lose(second, "cam-5")
	second.Ports[4].Power.Denied = new(uint32(6))
	fs := m.run(plan, second)
	want(t, fs, "power-denied/sw/5")
	tells(t, fs[0].Observed, "denied 6 times", "61.6 W of 65 W reserved by class although 24 W drawn")
	if fs[0].Severity != diff.Urgent || fs[0].Behind[0] != "cam-5" {
		t.Errorf("the camera that is gone for it is not in it: %s", say(fs[0]))
	}
}

// FC-02, variant: counters flat and the port empty: one note, no room for one more.
func TestFC02NoRoomForOneMore(t *testing.T) {
	plan, run := fourOn65()
	m := newMemory()
	m.run(plan, run(noon))
	fs := m.run(plan, run(noon.Add(15*time.Minute)))
	want(t, fs, "supply-reserved/sw supply 1")
	tells(t, fs[0].Observed, "61.6 W of 65 W", "24 W drawn, as the switch reports", "3.4 W is free", "no room for another class 3 device")
	if fs[0].Severity != diff.Note {
		t.Errorf("severity %s", fs[0].Severity)
	}
}

// A planned device that is not fed yet and will not fit makes the supply near.
func TestSupplyWithoutRoomForPlanned(t *testing.T) {
	plan, run := fourOn65()
	plan.Devices = append(plan.Devices, camera("cam-5", 15, "sw/5"))
	s := run(noon)
	lose(s, "cam-5")
	fs := diff.Audit(plan, s, nil, noon)
	want(t, fs, "supply-power-near/sw supply 1")
	tells(t, fs[0].Observed, "no room for cam-5, which needs 15.4 W where 3.4 W is free")
}

// FC-04: a passive device on a port that merely searches is as planned; on one
// that gives power it is the strongest warning; seen elsewhere, its lead may be live.
func TestFC04Passive(t *testing.T) {
	feed := inventory.Feed{Standard: poe.Passive, Volts: 24, Plus: 0b11000, Minus: 0b11000000}
	radio := onPort("radio-a", inventory.Radio, 0x51, "sw/8")
	radio.Takes, radio.Via = feed, []string{"injector"}
	plan := site(theSwitch(10), radio, inventory.Device{Name: "injector", Role: inventory.Injector, Feeds: feed})
	run := func() *inventory.Snapshot {
		s := seen(plan, noon)
		p := port(s, "sw/8")
		p.Power = &inventory.PortPower{Index: inventory.PSEIndex{Group: 1, Port: 8}, State: inventory.PSESearching}
		return s
	}
	m := newMemory()
	want(t, m.run(plan, run()))

	s := run()
	s.Ports[0].Power.State, s.Ports[0].Power.Class = inventory.PSEDelivering, poe.Class3
	fs := m.run(plan, s)
	want(t, fs, "power-to-passive/sw/8")
	if fs[0].Severity != diff.Urgent || fs[0].Caution != poe.CautionPassive {
		t.Errorf("%s", say(fs[0]))
	}
	tells(t, fs[0].Observed, "port 8 of sw gives class 3 power")

	s = run()
	s.Ports[0].Up = new(false)
	port(s, "sw/6")
	x, _ := s.Device("radio-a")
	x.Place.Port = "6"
	fs = m.run(plan, s)
	want(t, fs, "moved-device/radio-a")
	tells(t, fs[0].Observed, "on port 6 of sw", "the lead of its injector may be live at port 8 of sw")
	if fs[0].Caution != poe.CautionPassive {
		t.Errorf("no caution: %s", say(fs[0]))
	}
}

// Power is never to be cut on the way that we ourselves look over.
func TestAdviceSparesOurPath(t *testing.T) {
	feed := inventory.Feed{Standard: poe.Passive, Volts: 24}
	server := onPort("office-server", inventory.Server, 0x10, "far-switch/1")
	far := onPort("far-switch", inventory.Switch, 0x03, "sw/8")
	far.Takes = feed
	plan := site(theSwitch(10), far, server)
	s := seen(plan, noon)
	s.Devices[2].Self = true
	powered(s, "sw/8", poe.Class3, 0)
	f := find(t, diff.Audit(plan, s, nil, noon), "power-to-passive/sw/8")
	tells(t, f.Advice, "change nothing on it from afar")
}

func TestPortPowerBand(t *testing.T) {
	plan := site(theSwitch(8), camera("cam", 5, "sw/5"))
	run := func(draw inventory.Power, open string) []diff.Finding {
		s := seen(plan, noon)
		powered(s, "sw/5", poe.Class3, draw)
		h := &inventory.History{Open: map[string]inventory.Episode{}}
		if open != "" {
			h.Open[open] = inventory.Episode{Opened: noon}
		}
		return diff.Audit(plan, s, h, noon)
	}
	// 15.4 W: 90 % is 13.86 W, 85 % is 13.09 W, 95 % is 14.63 W.
	for _, c := range []struct {
		name string
		draw inventory.Power
		open string
		want []string
	}{
		{"below", 13800, "", nil},
		{"at 90 %", 13900, "", []string{"port-power-near/sw/5"}},
		{"kept within the band", 13200, "port-power-near/sw/5", []string{"port-power-near/sw/5"}},
		{"left below the band", 13000, "port-power-near/sw/5", nil},
		{"over", 15500, "", []string{"port-power-over/sw/5"}},
		{"over is kept within the band", 14700, "port-power-over/sw/5", []string{"port-power-over/sw/5"}},
		{"then near", 14500, "port-power-over/sw/5", []string{"port-power-near/sw/5"}},
	} {
		t.Run(c.name, func(t *testing.T) { want(t, run(c.draw, c.open), c.want...) })
	}
}

// A negotiated limit is near its draw by design, and a draw that was not
// measured is not judged.
func TestNegotiatedIsNeverNear(t *testing.T) {
	plan := site(theSwitch(8), camera("cam", 5, "sw/5"))
	s := seen(plan, noon)
	p := powered(s, "sw/5", poe.Class3, 15*poe.Watt)
	p.Power.DrawBasis = inventory.Negotiated
	want(t, diff.Audit(plan, s, nil, noon))
	p.Power.DrawBasis, p.Power.Limit, p.Power.LimitBasis = inventory.Measured, new(inventory.Power(9000)), inventory.Negotiated
	*p.Power.Draw = 8900
	want(t, diff.Audit(plan, s, nil, noon))
}

func TestNotPowered(t *testing.T) {
	plan := site(theSwitch(8), camera("cam", 5, "sw/5"))
	for _, c := range []struct {
		name  string
		state inventory.PSEState
		there bool
		want  []string
	}{
		{"switched off in the settings", inventory.PSEOff, false, []string{"not-powered/sw/5"}},
		{"a fault", inventory.PSEFault, false, []string{"not-powered/sw/5"}},
		{"searching: it is missing, and that says it", inventory.PSESearching, false, []string{"missing-device/cam"}},
		{"it has its power from elsewhere", inventory.PSEOff, true, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			m := newMemory()
			var fs []diff.Finding
			for k := range 2 {
				s := seen(plan, noon.Add(time.Duration(k)*time.Hour))
				if !c.there {
					lose(s, "cam")
				}
				p := port(s, "sw/5")
				p.Power = &inventory.PortPower{State: c.state}
				fs = m.run(plan, s)
			}
			want(t, fs, c.want...)
		})
	}
}

func TestClassDiffers(t *testing.T) {
	for _, c := range []struct {
		name        string
		plan, shown inventory.Class
		want        []string
	}{
		{"as planned", poe.Class3, poe.Class3, nil},
		{"class 0 sets aside as much as class 3", poe.Class3, poe.Class0, nil},
		{"another", poe.Class3, poe.Class4, []string{"class-differs/sw/5"}},
		{"the smaller port's own highest", poe.Class6, poe.Class4, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			plan := site(theSwitch(8), camera("cam", 5, "sw/5"))
			plan.Devices[1].Class = c.plan
			s := seen(plan, noon)
			powered(s, "sw/5", c.shown, 0)
			want(t, diff.Audit(plan, s, nil, noon), c.want...)
		})
	}
}

func TestSupplyNear(t *testing.T) {
	plan := site(theSwitch(8))
	s := seen(plan, noon)
	s.Supplies = []inventory.SupplyState{{Switch: "sw", Supply: "1", Budget: new(100 * poe.Watt), Used: new(79 * poe.Watt)}}
	want(t, diff.Audit(plan, s, nil, noon))
	*s.Supplies[0].Used = 81 * poe.Watt
	fs := diff.Audit(plan, s, nil, noon)
	want(t, fs, "supply-power-near/sw supply 1")
	if fs[0].Caution != poe.CautionMains || fs[0].Title() != "sw is near its power budget" {
		t.Errorf("no caution, or a number for the only supply: %s", say(fs[0]))
	}
	s.Supplies = append(s.Supplies, inventory.SupplyState{Switch: "sw", Supply: "2", Budget: new(100 * poe.Watt), Used: new(81 * poe.Watt)})
	fs = diff.Audit(plan, s, nil, noon)
	want(t, fs, "supply-power-near/sw supply 1", "supply-power-near/sw supply 2")
	tells(t, fs[0].Expected, "of supply 1, ")
	s.Supplies = s.Supplies[:1]
	*s.Supplies[0].Used = 20 * poe.Watt
	h := &inventory.History{Supplies: map[inventory.SupplyRef][]inventory.Peak{{Switch: "sw", Supply: "1"}: {
		{Day: noon.AddDate(0, 0, -20), Draw: 99 * poe.Watt, Basis: inventory.Measured},
		{Day: noon.AddDate(0, 0, -3), At: noon.AddDate(0, 0, -3), Draw: 101 * poe.Watt, Basis: inventory.Measured}}}}
	fs = diff.Audit(plan, s, h, noon)
	want(t, fs, "supply-power-over/sw supply 1")
	tells(t, fs[0].Observed, "101 %", "Sun 22 Nov 12:00")
}

// A port counts one lost load when its device is unplugged: that is the absence,
// told as such, and no fault of the port's.
func TestOneLossOfAnAbsentDevice(t *testing.T) {
	plan := site(theSwitch(8), camera("slip-cam", 5, "sw/5"))
	m := newMemory()
	for k := range 3 {
		s := seen(plan, noon.Add(time.Duration(k)*15*time.Minute))
		p := powered(s, "sw/5", poe.Class3, 5000)
		p.Power.MPSAbsent = new(uint32(7))
		if k > 0 {
			lose(s, "slip-cam")
			p.Power.State, p.Power.Draw, p.Power.MPSAbsent = inventory.PSESearching, nil, new(uint32(8))
		}
		fs := m.run(plan, s)
		if k < 2 {
			want(t, fs)
		} else {
			want(t, fs, "missing-device/slip-cam")
		}
	}
}
