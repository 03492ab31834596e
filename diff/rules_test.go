package diff_test

import (
	"net/netip"
	"strings"
	"testing"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

func TestSeverities(t *testing.T) {
	for _, c := range []struct {
		name string
		edit func(*inventory.Plan)
		want diff.Severity
	}{
		{"the default", func(*inventory.Plan) {}, diff.Warning},
		{"important raises by one step", func(p *inventory.Plan) { p.Devices[1].Important = true }, diff.Urgent},
		{"the plan overrides", func(p *inventory.Plan) {
			p.Severity = map[string]string{"link-slow": "note"}
			p.Devices[1].Important = true
		}, diff.Note},
		{"off", func(p *inventory.Plan) { p.Severity = map[string]string{"link-slow": "off"} }, ""},
		{"a word that is none changes nothing", func(p *inventory.Plan) { p.Severity = map[string]string{"link-slow": "loud"} }, diff.Warning},
	} {
		t.Run(c.name, func(t *testing.T) {
			plan := site(theSwitch(8), camera("cam", 5, "sw/5"))
			plan.Devices[1].Speed = 1e9
			c.edit(plan)
			s := seen(plan, noon)
			port(s, "sw/5").Speed = 100e6
			fs := diff.Audit(plan, s, nil, noon)
			if c.want == "" {
				want(t, fs)
				return
			}
			want(t, fs, "link-slow/sw/5")
			if fs[0].Severity != c.want {
				t.Errorf("severity %s, want %s", fs[0].Severity, c.want)
			}
		})
	}
}

// The severity of an unknown device is its network's; an override of the kind
// holds where the network says nothing of its own.
func TestUnknownByNetwork(t *testing.T) {
	for _, c := range []struct {
		name     string
		policy   inventory.UnknownPolicy
		override string
		want     diff.Severity // empty: none
	}{
		{"urgent", inventory.UnknownUrgent, "", diff.Urgent},
		{"warning", inventory.UnknownWarning, "", diff.Warning},
		{"note", inventory.UnknownNote, "", diff.Note},
		{"counted", inventory.UnknownCount, "", ""},
		{"overridden", inventory.UnknownWarning, "note", diff.Note},
		{"the strict network wins", inventory.UnknownUrgent, "note", diff.Urgent},
		{"off everywhere", inventory.UnknownUrgent, "off", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			plan := site(theSwitch(8))
			plan.Networks[0].Unknown = c.policy
			if c.override != "" {
				plan.Severity = map[string]string{"unknown-device": c.override}
			}
			s := seen(plan, noon)
			s.Devices = append(s.Devices, inventory.SeenDevice{Name: mac(0x77).String(), MACs: []inventory.MAC{mac(0x77)}, Network: "yard",
				Presence: inventory.Present, Addrs: []netip.Addr{ip("192.0.2.77")}})
			fs := diff.Audit(plan, s, nil, noon)
			if c.want == "" {
				want(t, fs)
				return
			}
			want(t, fs, "unknown-device/00:00:5e:00:53:77")
			if fs[0].Severity != c.want {
				t.Errorf("severity %s, want %s", fs[0].Severity, c.want)
			}
		})
	}
}

func TestWhoIsNotUnknown(t *testing.T) {
	for _, c := range []struct {
		name string
		dev  inventory.SeenDevice
		want []string
	}{
		{"this machine", inventory.SeenDevice{Self: true}, nil},
		{"on a guest port", inventory.SeenDevice{Place: inventory.Place{Switch: "sw", Port: "8", Basis: inventory.ByFDB}}, nil},
		{"private by radio", inventory.SeenDevice{Private: true, BehindAP: true, Place: inventory.Place{Switch: "sw", Port: "7"}}, nil},
		{"private on a cable", inventory.SeenDevice{Private: true, Place: inventory.Place{Switch: "sw", Port: "7"}}, []string{"unknown-device/00:00:5e:00:53:77"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			sw := theSwitch(8)
			sw.Guest = []string{"8"}
			plan := site(sw)
			s := seen(plan, noon)
			d := c.dev
			d.Name, d.MACs, d.Network, d.Presence, d.Addrs = mac(0x77).String(), []inventory.MAC{mac(0x77)}, "yard", inventory.Present,
				[]netip.Addr{ip("192.0.2.77")}
			s.Devices = append(s.Devices, d)
			want(t, diff.Audit(plan, s, nil, noon), c.want...)
		})
	}
	t.Run("private without a port is counted, in a strict network told", func(t *testing.T) {
		plan := site(theSwitch(8))
		s := seen(plan, noon)
		s.Devices = append(s.Devices, inventory.SeenDevice{Name: local(1).String(), MACs: []inventory.MAC{local(1)}, Private: true, Network: "yard",
			Presence: inventory.Present})
		fs := diff.Audit(plan, s, nil, noon)
		want(t, fs, "changing-mac-devices/yard")
		tells(t, fs[0].Observed, "1 whose port is not known")
		plan.Networks[0].Unknown = inventory.UnknownUrgent
		want(t, diff.Audit(plan, s, nil, noon), "unknown-device/02:00:5e:00:53:01")
	})
}

func TestMoved(t *testing.T) {
	phone := onPort("phone", inventory.Phone, 0x61, "sw/6")
	for _, c := range []struct {
		name  string
		dev   string
		place inventory.Place
		want  []string
	}{
		{"seen by its switch", "cam", inventory.Place{Switch: "sw", Port: "7", Basis: inventory.ByFDB}, []string{"moved-device/cam"}},
		{"said by LLDP", "cam", inventory.Place{Switch: "sw", Port: "7", Basis: inventory.ByLLDP}, []string{"moved-device/cam"}},
		{"remembered", "cam", inventory.Place{Switch: "sw", Port: "7", Basis: inventory.Remembered}, nil},
		{"inferred", "cam", inventory.Place{Switch: "sw", Port: "7", Basis: inventory.Inferred}, nil},
		{"among others", "cam", inventory.Place{Switch: "sw", Port: "7", Basis: inventory.ByFDB, Among: 3}, nil},
		{"a phone", "phone", inventory.Place{Switch: "sw", Port: "7", Basis: inventory.ByFDB}, nil},
		{"the label in another case", "cam", inventory.Place{Switch: "sw", Port: "GI5", Basis: inventory.ByFDB}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			cam := camera("cam", 5, "sw/gi5")
			plan := site(theSwitch(0), cam, phone)
			s := seen(plan, noon)
			d, _ := s.Device(c.dev)
			d.Place = c.place
			want(t, diff.Audit(plan, s, nil, noon), c.want...)
		})
	}
}

// A switch that nobody can ask is moved as one, with all that hangs on it.
func TestMovedTogether(t *testing.T) {
	plan := site(theSwitch(8), inventory.Device{Name: "desk", Role: inventory.PlainSwitch, At: inventory.ParsePortRef("sw/5")},
		onPort("pc", inventory.OtherRole, 0x11, "desk/1"), onPort("printer", inventory.Printer, 0x12, "desk/2"))
	s := seen(plan, noon)
	for _, n := range []string{"pc", "printer"} {
		d, _ := s.Device(n)
		d.Place = inventory.Place{Switch: "sw", Port: "6", Basis: inventory.ByFDB}
	}
	fs := diff.Audit(plan, s, nil, noon)
	want(t, fs, "moved-device/desk")
	tells(t, fs[0].Observed, "on port 6 of sw")
	if len(fs[0].Behind) != 2 {
		t.Errorf("%s", say(fs[0]))
	}
}

// A plain switch of which all that shows is gone is the cause; one child alone is its own name.
func TestDeadPassive(t *testing.T) {
	plan := site(theSwitch(8), inventory.Device{Name: "desk", Role: inventory.PlainSwitch, At: inventory.ParsePortRef("sw/5")},
		onPort("ap", inventory.AccessPoint, 0x21, "sw/1"),
		onPort("ap-2", inventory.AccessPoint, 0x22, "sw/2"), onPort("srv", inventory.Server, 0x23, "sw/3"), camera("cam-1", 0x31, "desk/1"),
		camera("cam-2", 0x32, "desk/2"))
	for _, c := range []struct {
		name string
		gone []string
		want []string
	}{
		{"all of it", []string{"cam-1", "cam-2"}, []string{"missing-device/desk"}},
		{"one of two", []string{"cam-1"}, []string{"missing-device/cam-1"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			m := newMemory()
			var fs []diff.Finding
			for k := range 2 {
				s := seen(plan, noon.Add(time.Duration(k)*15*time.Minute))
				lose(s, c.gone...)
				down := port(s, "sw/5")
				down.Up = new(false)
				fs = m.run(plan, s)
			}
			want(t, fs, c.want...)
			if len(c.gone) == 2 {
				tells(t, fs[0].Observed, "cam-1 and cam-2, all that shows of it", "Wed 25 Nov 12:00")
			}
		})
	}
}

func TestAwayAndNeverSeen(t *testing.T) {
	cam := camera("winter-cam", 5, "sw/5")
	cam.Away = []inventory.Season{{From: time.November, To: time.March}}
	later := onPort("later-ap", inventory.AccessPoint, 6, "sw/6")
	later.MACs = nil
	plan := site(theSwitch(8), cam, later, onPort("a", inventory.Server, 7, ""), onPort("b", inventory.Server, 8, ""))
	m := newMemory()
	var fs []diff.Finding
	for range 2 {
		s := seen(plan, noon)
		lose(s, "winter-cam", "later-ap")
		fs = m.run(plan, s)
	}
	want(t, fs, "missing-device/later-ap")
	if fs[0].Severity != diff.Note {
		t.Errorf("a plan may be ahead of the wiring: %s", say(fs[0]))
	}
	spring := time.Date(2026, 4, 1, 12, 0, 0, 0, time.UTC)
	s := seen(plan, spring)
	lose(s, "winter-cam")
	want(t, diff.Audit(plan, s, &inventory.History{Absences: map[string]inventory.Absence{"winter-cam": {Since: spring.Add(-time.Hour), Runs: 3}}},
		spring), "missing-device/winter-cam")
}

func TestReplacedByAnotherKind(t *testing.T) {
	plan := site(theSwitch(8), camera("cam", 5, "sw/5"), onPort("a", inventory.Server, 7, ""))
	m := newMemory()
	var fs []diff.Finding
	for range 2 {
		s := seen(plan, noon)
		lose(s, "cam")
		d, _ := s.Device("cam")
		d.Claimed = []inventory.MAC{mac(0x70)}
		s.Devices = append(s.Devices, inventory.SeenDevice{Name: mac(0x70).String(), MACs: []inventory.MAC{mac(0x70)},
			Addrs: []netip.Addr{ip("192.0.2.70")}, Role: inventory.Printer, Network: "yard", Presence: inventory.Present})
		fs = m.run(plan, s)
	}
	want(t, fs, "missing-device/cam", "unknown-device/00:00:5e:00:53:70")
}

func TestAddresses(t *testing.T) {
	plan := site(theSwitch(8), camera("cam", 5, "sw/5"))
	plan.Networks = append(plan.Networks, inventory.Network{Name: "cameras", Subnet: netip.MustParsePrefix("203.0.113.0/24"), VLAN: 20,
		Unknown: inventory.UnknownUrgent})
	for _, c := range []struct {
		name    string
		addrs   []netip.Addr
		foreign []netip.Addr
		want    []string
		says    string
	}{
		{"as planned, and one more", []netip.Addr{ip("192.0.2.5"), ip("192.0.2.6")}, nil, nil, ""},
		{"another", []netip.Addr{ip("192.0.2.6")}, nil, []string{"address-differs/cam"}, "192.0.2.6, in yard"},
		{"another network", []netip.Addr{ip("203.0.113.6")}, nil, []string{"wrong-network/cam"}, "203.0.113.6, in cameras"},
		{"of no network", nil, []netip.Addr{ip("198.51.100.108")}, []string{"wrong-network/cam"}, "no planned network"},
		{"self-assigned", nil, []netip.Addr{ip("169.254.7.9")}, []string{"no-address/cam"}, "DHCP did not answer"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := seen(plan, noon)
			d, _ := s.Device("cam")
			d.Addrs, d.Foreign = c.addrs, c.foreign
			fs := diff.Audit(plan, s, nil, noon)
			want(t, fs, c.want...)
			for _, f := range fs {
				tells(t, f.Observed, c.says)
				tells(t, f.Expected, "192.0.2.5, in yard")
			}
		})
	}
	t.Run("its MAC address alone, for the second run", func(t *testing.T) {
		m := newMemory()
		for k := range 2 {
			s := seen(plan, noon)
			d, _ := s.Device("cam")
			d.Addrs, d.Witnesses = nil, []string{inventory.SourceFDB}
			want(t, m.run(plan, s), [][]string{nil, {"no-address/cam"}}[k]...)
		}
	})
}

func TestTitlesAreWhole(t *testing.T) {
	f := diff.New(diff.CutOff, "Tern Quay")
	f.Behind = []string{"a", "b"}
	if got := f.Title(); strings.Contains(got, "%") || !strings.HasSuffix(got, "2 devices in all") {
		t.Errorf("title %q", got)
	}
}

func TestLevelsWithoutHistoryAreQuiet(t *testing.T) {
	plan := site(theSwitch(8), camera("cam", 5, "sw/5"))
	s := seen(plan, noon)
	p := powered(s, "sw/5", poe.Class3, 5*poe.Watt)
	p.Power.Denied, p.Power.Overload, p.Power.Short, p.Power.MPSAbsent = new(uint32(9)), new(uint32(9)), new(uint32(9)), new(uint32(9))
	want(t, diff.Audit(plan, s, nil, noon)) // a first run with counters is history
}
