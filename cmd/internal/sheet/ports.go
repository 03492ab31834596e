package sheet

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"boundwalk/diff"
	"boundwalk/inventory"
)

// ports is a table for each device with ports.
func (m *maker) ports() []Table {
	var out []Table
	for i := range m.plan.Devices {
		d := &m.plan.Devices[i]
		if labels := m.labels(d); len(labels) > 0 {
			out = append(out, m.portSheet(d, labels))
		}
	}
	return out
}

// labels are the ports of a device, as people count them.
func (m *maker) labels(d *inventory.Device) []string {
	set := map[string]bool{}
	for k := 1; k <= d.Ports; k++ {
		set[strconv.Itoa(k)] = true
	}
	for _, p := range d.PortPlans {
		set[p.Port] = true
	}
	if d.Port != "" && len(set) > 0 {
		set[d.Port] = true
	}
	for i := range m.plan.Devices {
		if o := &m.plan.Devices[i]; o.At.Device == d.Name && o.At.Port != "" {
			set[o.At.Port] = true
		}
	}
	var out []string
	for l := range set {
		out = append(out, l)
	}
	slices.SortFunc(out, inventory.ComparePorts)
	return out
}

func (m *maker) portSheet(sw *inventory.Device, labels []string) Table {
	t := Table{Part: "ports", Title: "Ports of " + sw.Name, Columns: columns("port>", "device", "what", "VLAN", "feed", "at most>", "of>", "cable", "remark")}
	if s := m.supply(sw.Name); s != nil {
		t.Notes = append(t.Notes, supplyWords(s))
	}
	if w := where(sw); w != "" {
		t.Notes = append(t.Notes, w)
	}
	for _, l := range labels {
		t.Rows = append(t.Rows, m.portRow(sw, l))
	}
	return t
}

func where(sw *inventory.Device) string {
	var words []string
	if sw.Room != "" {
		words = append(words, "It stands in: "+sw.Room+".")
	}
	switch {
	case sw.Mains == "mains":
		words = append(words, "It plugs into the mains.")
	case sw.Mains != "":
		words = append(words, "It plugs into "+sw.Mains+".")
	}
	return strings.Join(words, " ")
}

func (m *maker) portRow(sw *inventory.Device, label string) []string {
	pp := sw.PortPlan(label)
	d := m.deviceAt(inventory.PortRef{Device: sw.Name, Port: label})
	var remark []string
	if pp.Label != "" {
		remark = append(remark, pp.Label)
	}
	feed := feedWords(sw.FeedAt(label))
	if d == nil {
		state := "free"
		switch {
		case sw.Port == label:
			state, feed = "to "+m.above(sw), ""
		case slices.Contains(sw.Spare, label):
			state = "spare"
		case slices.Contains(sw.Guest, label):
			state = "for guests"
		}
		return []string{label, state, "", "", feed, "", "", m.cableOfUplink(sw, label), strings.Join(remark, ", ")}
	}
	vlan := d.VLAN
	trunk := d.Role == inventory.Switch || d.Role == inventory.Router // carries several unless the plan says
	if n, ok := m.plan.NetworkOf(d.Address()); ok && vlan == 0 && !trunk && !slices.Contains(d.Tagged, n.VLAN) {
		vlan = n.VLAN
	}
	most, limit := "", ""
	if l, ok := m.portLine(d.Name); ok && (l.From.Device == sw.Name) {
		most, limit = power(l.AtPort), power(l.Limit)
	} else if len(d.Via) > 0 {
		feed = "none: " + strings.Join(d.Via, ", ") + " feeds it"
		if d.IsPassive() {
			remark = append(remark, "the lead beyond the injector is live: plug nothing else in")
		}
	} else if ok {
		feed = "from " + l.From.String()
	}
	if pp.Lowest {
		remark = append(remark, "shed first")
	}
	if len(d.Away) > 0 {
		remark = append(remark, "away "+d.Away[0].String())
	}
	return []string{label, d.Name, what(d), vlanWords(vlan, d.Tagged), feed, most, limit, orDash(d.Cable.Label), strings.Join(remark, ", ")}
}

func (m *maker) above(sw *inventory.Device) string {
	if !sw.At.IsZero() {
		return sw.At.String()
	}
	if len(sw.Via) > 0 {
		return sw.Via[len(sw.Via)-1]
	}
	return "the rest of the site"
}

func (m *maker) cableOfUplink(sw *inventory.Device, label string) string {
	if sw.Port == label {
		return orDash(sw.Cable.Label)
	}
	return ""
}

// deviceAt is the device that the plan puts on a port; what stands between it
// and the port is named with it.
func (m *maker) deviceAt(ref inventory.PortRef) *inventory.Device {
	for i := range m.plan.Devices {
		d := &m.plan.Devices[i]
		if d.At.Device == ref.Device && inventory.PortName(d.At.Port) == inventory.PortName(ref.Port) && d.Role != inventory.Injector {
			return d
		}
	}
	return nil
}

func vlanWords(untagged int, tagged []int) string {
	var words []string
	if untagged > 0 {
		words = append(words, strconv.Itoa(untagged))
	}
	if len(tagged) > 0 {
		var t []string
		for _, v := range tagged {
			t = append(t, strconv.Itoa(v))
		}
		words = append(words, "tagged "+strings.Join(t, ", "))
	}
	return orDash(strings.Join(words, ", "))
}

func feedWords(f inventory.Feed) string {
	if f.IsZero() {
		return "no power"
	}
	s := f.Standard.String()
	if f.Volts > 0 && !strings.Contains(s, "V") {
		s += fmt.Sprintf(" %g V", f.Volts)
	}
	if f.Forced {
		s += ", forced"
	}
	return s
}

func (m *maker) supply(name string) *diff.SupplyLine {
	for i := range m.paper.Supplies {
		if m.paper.Supplies[i].Device == name {
			return &m.paper.Supplies[i]
		}
	}
	return nil
}

func supplyWords(s *diff.SupplyLine) string {
	words := fmt.Sprintf("Budget %s", power(s.Budget))
	if s.Reserved > 0 {
		words += fmt.Sprintf(", %s reserved", s.Reserved)
	}
	if s.Drawn > 0 {
		words += fmt.Sprintf(", at most %s drawn", s.Drawn)
	}
	if s.Budget > 0 {
		words += fmt.Sprintf(", %s left", s.Left)
	}
	words += "."
	if len(s.Unknown) > 0 {
		words += " Watts not known, in no sum: " + strings.Join(s.Unknown, ", ") + "."
	}
	return words
}
