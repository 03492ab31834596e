package diff_test

import (
	"fmt"
	"net/netip"
	"slices"
	"strings"
	"testing"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

func mac(last byte) inventory.MAC   { return inventory.MAC{0, 0, 0x5e, 0, 0x53, last} }
func local(last byte) inventory.MAC { return inventory.MAC{2, 0, 0x5e, 0, 0x53, last} }
func ip(s string) netip.Addr        { return netip.MustParseAddr(s) }

func site(devices ...inventory.Device) *inventory.Plan {
	return &inventory.Plan{
		Site: inventory.Site{Name: "Tern Quay", Location: time.UTC},
		Networks: []inventory.Network{{Name: "yard", Subnet: netip.MustParsePrefix("192.0.2.0/24"), VLAN: 10, Gateway: ip("192.0.2.1"),
			Unknown: inventory.UnknownWarning}},
		Devices: devices,
	}
}

func theSwitch(ports int) inventory.Device {
	return inventory.Device{Name: "sw", Role: inventory.Switch, MACs: []inventory.MAC{mac(2)}, Addresses: []netip.Addr{ip("192.0.2.2")}, Access: "core",
		Ports: ports, Feeds: inventory.Feed{Standard: poe.AT}}
}

func onPort(name string, role inventory.Role, last byte, at string) inventory.Device {
	d := inventory.Device{Name: name, Role: role, MACs: []inventory.MAC{mac(last)},
		Addresses: []netip.Addr{netip.AddrFrom4([4]byte{192, 0, 2, last})}, At: inventory.ParsePortRef(at)}
	return d
}

func camera(name string, last byte, at string) inventory.Device {
	d := onPort(name, inventory.Camera, last, at)
	d.Class, d.Draws.Most = poe.Class3, 12*poe.Watt
	return d
}

// seen is a run in which all of the plan is there, as planned.
func seen(plan *inventory.Plan, at time.Time) *inventory.Snapshot {
	s := &inventory.Snapshot{Started: at.Add(-10 * time.Second), Finished: at}
	for _, n := range plan.Networks {
		s.Networks = append(s.Networks, inventory.NetworkState{Name: n.Name, Looked: inventory.Complete, How: inventory.SourceARP})
	}
	for i := range plan.Devices {
		d := &plan.Devices[i]
		x := inventory.SeenDevice{Name: d.Name, Planned: true, Role: d.Role, MACs: d.MACs, Addrs: d.Addresses, Presence: inventory.Present,
			Witnesses: []string{inventory.SourceARP}}
		if d.Role.IsPassive() && len(d.MACs) == 0 {
			x.Presence, x.Witnesses = inventory.Unseeable, nil
		} else if ref := plan.ManagedPort(d); !ref.IsZero() {
			x.Place = inventory.Place{Switch: ref.Device, Port: ref.Port, Basis: inventory.ByFDB, Seen: at}
		}
		s.Devices = append(s.Devices, x)
	}
	return s
}

// lose makes devices absent.
func lose(s *inventory.Snapshot, names ...string) {
	for _, n := range names {
		d, _ := s.Device(n)
		d.Presence, d.Witnesses, d.Addrs, d.Place = inventory.Absent, nil, nil, inventory.Place{}
	}
}

// port adds a port that is up, without power.
func port(s *inventory.Snapshot, ref string) *inventory.PortState {
	r := inventory.ParsePortRef(ref)
	s.Ports = append(s.Ports, inventory.PortState{Switch: r.Device, Port: r.Port, AdminUp: new(true), Up: new(true),
		Counters: inventory.PortCounters{Read: s.Finished}})
	return &s.Ports[len(s.Ports)-1]
}

// powered adds a port that gives power.
func powered(s *inventory.Snapshot, ref string, c inventory.Class, draw inventory.Power) *inventory.PortState {
	p := port(s, ref)
	grant := c.Ratings().Output
	p.Power = &inventory.PortPower{Index: inventory.PSEIndex{Group: 1}, State: inventory.PSEDelivering, Class: c, Grant: &grant, Limit: &grant,
		LimitBasis: inventory.ByClass}
	if draw > 0 {
		p.Power.Draw, p.Power.DrawBasis = &draw, inventory.Measured
	}
	return p
}

// memory is what the logbook would remember, kept as the store does.
type memory struct{ inventory.History }

func newMemory() *memory {
	return &memory{inventory.History{Last: map[string]time.Time{}, Absences: map[string]inventory.Absence{}, Flips: map[string][]inventory.Claim{},
		Peaks: map[inventory.PortRef][]inventory.Peak{}, Uptimes: map[string][]inventory.UpTime{}, Counters: map[inventory.PortRef]inventory.CounterBase{},
		Open: map[string]inventory.Episode{}, Firmware: map[string]string{}, Speeds: map[inventory.PortRef]inventory.BitRate{}}}
}

// run audits a snapshot and remembers it.
func (m *memory) run(plan *inventory.Plan, s *inventory.Snapshot) []diff.Finding {
	fs := diff.Audit(plan, s, &m.History, s.Finished)
	m.Previous = s
	m.Runs = append([]inventory.RunMark{{At: s.Finished}}, m.Runs...)
	for i := range s.Devices {
		d := &s.Devices[i]
		switch d.Presence {
		case inventory.Present:
			m.Last[d.Name] = s.Finished
			delete(m.Absences, d.Name)
			for _, ip := range d.Addrs {
				c := m.Flips[ip.String()]
				if len(d.MACs) == 1 && (len(c) == 0 || c[0].MAC != d.MACs[0]) {
					m.Flips[ip.String()] = append([]inventory.Claim{{At: s.Finished, MAC: d.MACs[0]}}, c...)
				}
			}
		case inventory.Absent:
			a := m.Absences[d.Name]
			if a.Runs == 0 {
				a.Since = s.Finished
			}
			a.Runs++
			m.Absences[d.Name] = a
		}
		if d.UpTime != nil {
			m.Uptimes[d.Name] = append([]inventory.UpTime{*d.UpTime}, m.Uptimes[d.Name]...)
		}
		if d.Firmware != "" {
			m.Firmware[d.Name] = d.Firmware
		}
	}
	for _, p := range s.Ports {
		m.keepPort(p, s.Finished)
	}
	open := map[string]inventory.Episode{}
	for _, f := range fs {
		e, was := m.Open[f.Key]
		if !was {
			e = inventory.Episode{Key: f.Key, Opened: s.Finished}
		}
		open[f.Key] = e
	}
	m.Open = open
	return fs
}

func (m *memory) keepPort(p inventory.PortState, at time.Time) {
	ref := inventory.PortRef{Device: p.Switch, Port: p.Port}
	b, had := m.Counters[ref]
	b.Last = p
	if !had {
		b.Week = p
	}
	m.Counters[ref] = b
	m.Speeds[ref] = max(m.Speeds[ref], p.Speed)
	if w := p.Power; w != nil && w.Draw != nil && w.DrawBasis == inventory.Measured {
		h := at.Hour()
		m.peak(ref, at, *w.Draw, h >= 21 || h < 5)
	}
}

func (m *memory) peak(ref inventory.PortRef, at time.Time, draw inventory.Power, night bool) {
	day := at.Truncate(24 * time.Hour)
	ps := m.Peaks[ref]
	if n := len(ps); n == 0 || !ps[n-1].Day.Equal(day) {
		ps = append(ps, inventory.Peak{Day: day, Basis: inventory.Measured})
	}
	p := &ps[len(ps)-1]
	p.Night = p.Night || night
	if draw > p.Draw {
		p.Draw, p.At = draw, at
	}
	m.Peaks[ref] = ps
}

// want fails unless the keys are exactly these, in this order.
func want(t *testing.T, fs []diff.Finding, keys ...string) {
	t.Helper()
	got := make([]string, 0, len(fs))
	for _, f := range fs {
		got = append(got, f.Key)
	}
	if !slices.Equal(got, keys) {
		t.Errorf("findings\n got %q\nwant %q", got, keys)
		for _, f := range fs {
			t.Logf("%s", say(f))
		}
	}
}

func say(f diff.Finding) string {
	return fmt.Sprintf("%s %s | where %s | planned %s | found %s | behind %v | do %s | caution %s", f.Severity, f.Title(), f.Where, f.Expected,
		f.Observed, f.Behind, f.Advice, f.Caution)
}

func find(t *testing.T, fs []diff.Finding, key string) diff.Finding {
	t.Helper()
	for _, f := range fs {
		if f.Key == key {
			return f
		}
	}
	t.Fatalf("no finding %s", key)
	return diff.Finding{}
}

// tells fails unless the text has all of the words.
func tells(t *testing.T, text string, words ...string) {
	t.Helper()
	for _, w := range words {
		if !strings.Contains(text, w) {
			t.Errorf("%q does not say %q", text, w)
		}
	}
}
