package sheet

import (
	"cmp"
	"fmt"
	"net/netip"
	"slices"
	"strings"

	"boundwalk/inventory"
)

// addresses is a table for each network.
func (m *maker) addresses() []Table {
	var out []Table
	for _, n := range m.plan.Networks {
		t := Table{Part: "addresses", Title: "Addresses in " + n.Name, Columns: columns("address", "device", "what", "MAC", "room")}
		words := n.Subnet.String()
		if n.VLAN > 0 {
			words += fmt.Sprintf(", VLAN %d", n.VLAN)
		}
		if n.Gateway.IsValid() {
			words += ", gateway " + n.Gateway.String()
		}
		for _, r := range n.Dynamic {
			words += fmt.Sprintf(", given out by DHCP: %s", r)
		}
		if n.Unknown == inventory.UnknownCount {
			words += "; for other people's devices, which are only counted"
		}
		t.Notes = []string{words + "."}
		type line struct {
			a netip.Addr
			d *inventory.Device
		}
		var lines []line
		for i := range m.plan.Devices {
			for _, a := range m.plan.Devices[i].Addresses {
				if n.Contains(a) {
					lines = append(lines, line{a, &m.plan.Devices[i]})
				}
			}
		}
		slices.SortFunc(lines, func(x, y line) int { return x.a.Compare(y.a) })
		for _, l := range lines {
			var macs []string
			for _, x := range l.d.MACs {
				macs = append(macs, x.String())
			}
			t.Rows = append(t.Rows, []string{l.a.String(), l.d.Name, what(l.d), orDash(strings.Join(macs, " ")), m.room(l.d)})
		}
		out = append(out, t)
	}
	return out
}

// spare says what is left for more, by switch.
func (m *maker) spare() Table {
	t := Table{Part: "spare", Title: "Spare ports and watts", Columns: columns("switch", "free ports", "kept spare", "budget>", "left>", "largest class that fits>")}
	for i := range m.plan.Devices {
		sw := &m.plan.Devices[i]
		if sw.Ports == 0 && len(sw.PortPlans) == 0 {
			continue
		}
		var free, kept []string
		for _, l := range m.labels(sw) {
			switch {
			case l == sw.Port || m.deviceAt(inventory.PortRef{Device: sw.Name, Port: l}) != nil || slices.Contains(sw.Guest, l):
			case slices.Contains(sw.Spare, l):
				kept = append(kept, l)
			default:
				free = append(free, l)
			}
		}
		budget, left, class := dash, dash, dash
		if s := m.supply(sw.Name); s != nil && s.Budget > 0 {
			budget, left = s.Budget.String(), s.Left.String()
			class = m.largest(sw, s.Left)
		}
		t.Rows = append(t.Rows, []string{sw.Name, orDash(strings.Join(free, ", ")), orDash(strings.Join(kept, ", ")), budget, left, class})
	}
	if len(t.Rows) > 0 {
		t.Notes = []string{`"boundwalk check --add ROLE,CLASS,SWITCH/PORT,LENGTH" answers for a single device, its cable included.`}
	}
	return t
}

// largest is the highest class whose reservation the watts left would carry,
// as far as the feed goes.
func (m *maker) largest(sw *inventory.Device, left inventory.Power) string {
	best := dash
	for n := 1; n <= 8; n++ {
		c := inventory.Class(n + 1)
		if sw.Feeds.Standard.Grant(c) == c && c.Ratings().Output > 0 && c.Ratings().Output <= left {
			best = fmt.Sprint(n)
		}
	}
	return best
}

// models counts what there is of each kind.
func (m *maker) models() Table {
	t := Table{Part: "models", Title: "Models and counts", Columns: columns("what", "role", "count>", "firmware", "devices")}
	type kind struct {
		what, role, firmware string
		names                []string
	}
	var kinds []kind
	for i := range m.plan.Devices {
		d := &m.plan.Devices[i]
		k := slices.IndexFunc(kinds, func(k kind) bool {
			return k.what == what(d) && k.role == string(d.Role) && k.firmware == d.Firmware
		})
		if k < 0 {
			kinds, k = append(kinds, kind{what: what(d), role: string(d.Role), firmware: d.Firmware}), len(kinds)
		}
		kinds[k].names = append(kinds[k].names, d.Name)
	}
	slices.SortStableFunc(kinds, func(a, b kind) int {
		return cmp.Or(cmp.Compare(slices.Index(inventory.Roles, inventory.Role(a.role)), slices.Index(inventory.Roles, inventory.Role(b.role))),
			cmp.Compare(a.what, b.what))
	})
	for _, k := range kinds {
		t.Rows = append(t.Rows, []string{k.what, orDash(k.role), fmt.Sprint(len(k.names)), orDash(k.firmware), strings.Join(k.names, ", ")})
	}
	return t
}

// built sets what the last run saw beside the plan.
func (m *maker) built(snap *inventory.Snapshot) Table {
	t := Table{Part: "as-built", Title: "As built against as planned",
		Columns: columns("device", "planned at", "found at", "planned address", "found address", "is it so")}
	same, unknown := 0, 0
	instead := map[inventory.MAC]bool{} // told in the line of the device in whose stead they stand
	for i := range m.plan.Devices {
		d := &m.plan.Devices[i]
		s, ok := snap.Device(d.Name)
		if !ok || s.Presence == inventory.Unseeable {
			continue
		}
		for _, m := range s.Claimed {
			instead[m] = true
		}
		found, addr := dash, dash
		if !s.Place.IsZero() && s.Place.Basis != inventory.Remembered {
			found = s.Place.Ref().String()
		}
		if len(s.Addrs) > 0 {
			addr = s.Addrs[0].String()
			for _, a := range s.Addrs {
				if slices.Contains(d.Addresses, a) {
					addr = a.String()
				}
			}
		}
		verdict := m.verdict(d, s, found, addr)
		if verdict == "yes" {
			same++
		}
		planned := dash
		if d.Address().IsValid() {
			planned = d.Address().String()
		}
		t.Rows = append(t.Rows, []string{d.Name, orDash(d.At.String()), found, planned, addr, verdict})
	}
	for i := range snap.Devices {
		if s := &snap.Devices[i]; !s.Planned && !s.Self && !slices.ContainsFunc(s.MACs, func(m inventory.MAC) bool { return instead[m] }) {
			unknown++
			addr := dash
			if len(s.Addrs) > 0 {
				addr = s.Addrs[0].String()
			}
			t.Rows = append(t.Rows, []string{s.Name, dash, orDash(s.Place.Ref().String()), dash, addr, "not in the plan"})
		}
	}
	t.Notes = []string{fmt.Sprintf("By the run of %s: %d as planned, %d not in the plan.", snap.Finished.In(m.zone()).Format("2 Jan 2006 15:04"), same, unknown)}
	return t
}

func (m *maker) verdict(d *inventory.Device, s *inventory.SeenDevice, found, addr string) string {
	switch s.Presence {
	case inventory.Absent:
		switch {
		case len(s.Claimed) > 0:
			return "other MAC " + s.Claimed[0].String()
		case s.Away:
			return "away, as planned"
		case d.Role.Roams():
			return "not there now"
		}
		return "not found"
	case inventory.NotLooked:
		return "not looked"
	}
	var wrong []string
	at := m.plan.ManagedPort(d)
	if found != dash && !at.IsZero() && !strings.EqualFold(at.String(), found) && !d.Role.Roams() && s.Place.Ref().Device != d.Name && !m.hangsOn(found, d.Name) {
		wrong = append(wrong, "other port")
	}
	if addr != dash && len(d.Addresses) > 0 && !slices.ContainsFunc(d.Addresses, func(a netip.Addr) bool { return a.String() == addr }) {
		wrong = append(wrong, "other address")
	}
	if len(s.Claimed) > 0 {
		wrong = append(wrong, "other MAC "+s.Claimed[0].String())
	}
	return cmp.Or(strings.Join(wrong, ", "), "yes")
}

// hangsOn reports whether the device of a port hangs on the named one: the run
// may draw the tree the other way round.
func (m *maker) hangsOn(ref, name string) bool {
	d, ok := m.plan.Device(inventory.ParsePortRef(ref).Device)
	return ok && d.At.Device == name
}
