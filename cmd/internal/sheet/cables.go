package sheet

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"boundwalk/inventory"
)

// extra is what is bought beyond the length of a run, for its ends and for
// what is cut wrong (common practice).
const extra = 0.10

// cables is a line for each cable: both ends, where they are, and how long.
func (m *maker) cables() Table {
	t := Table{Part: "cables", Title: "Cable schedule", Columns: columns("label", "from", "from room", "to", "to room", "panel", "length>", "cable", "remark")}
	for i := range m.plan.Devices {
		d := &m.plan.Devices[i]
		if !wired(d) {
			continue
		}
		from, room := m.farEnd(d)
		var remark []string
		if len(d.Via) > 0 {
			remark = append(remark, "via "+strings.Join(d.Via, ", "))
		}
		if d.Cable.Outdoor {
			remark = append(remark, "outdoor")
		}
		if d.Cable.Bundle > 1 {
			remark = append(remark, fmt.Sprintf("bundle of %d", d.Cable.Bundle))
		}
		t.Rows = append(t.Rows, []string{orDash(d.Cable.Label), from, room, end(d), m.room(d), orDash(d.Panel), metres(d.Cable.Length),
			orDash(makeOf(d.Cable)), strings.Join(remark, ", ")})
	}
	slices.SortStableFunc(t.Rows, func(a, b []string) int {
		x, y := a[0] == dash, b[0] == dash
		switch {
		case x && !y:
			return 1
		case y && !x:
			return -1
		}
		return inventory.ComparePorts(a[0], b[0])
	})
	return t
}

// wired reports whether a cable leads to the device. What roams, and what hangs
// on an access point, has none.
func wired(d *inventory.Device) bool {
	if d.Role.Roams() && d.At.Port == "" {
		return false
	}
	return !d.At.IsZero() || len(d.Via) > 0
}

// farEnd is the other end of a device's cable and where that is.
func (m *maker) farEnd(d *inventory.Device) (ref, room string) {
	ref = d.At.String()
	up := d.At.Device
	if d.At.IsZero() {
		ref, up = d.Via[len(d.Via)-1], d.Via[len(d.Via)-1]
	}
	if u, ok := m.plan.Device(up); ok {
		return ref, m.room(u)
	}
	return ref, dash
}

// end is the device's own end of its cable.
func end(d *inventory.Device) string {
	return inventory.PortRef{Device: d.Name, Port: d.Port}.String()
}

// makeOf is what a cable is made of, such as "23 AWG copper, stranded".
func makeOf(c inventory.CableRun) string {
	var words []string
	if c.Gauge > 0 {
		words = append(words, fmt.Sprintf("%d AWG", c.Gauge))
	}
	if c.Conductor != "" {
		words = append(words, c.Conductor)
	}
	s := strings.Join(words, " ")
	if c.Stranded {
		s = strings.TrimPrefix(s+", stranded", ", ")
	}
	return s
}

// metres sums what is to be bought, by the make of cable.
func (m *maker) metres() Table {
	t := Table{Part: "cables", Title: "Cable to buy", Columns: columns("cable", "runs>", "length>", "to buy>", "without a length>")}
	type sum struct {
		key           string
		runs, unknown int
		length        float64
	}
	var sums []sum
	for i := range m.plan.Devices {
		d := &m.plan.Devices[i]
		if !wired(d) {
			continue
		}
		key := cmp.Or(makeOf(d.Cable), "not said")
		if d.Cable.Outdoor {
			key += ", for outdoors"
		}
		k := slices.IndexFunc(sums, func(s sum) bool { return s.key == key })
		if k < 0 {
			sums, k = append(sums, sum{key: key}), len(sums)
		}
		sums[k].runs++
		sums[k].length += d.Cable.Length
		if d.Cable.Length == 0 {
			sums[k].unknown++
		}
	}
	slices.SortFunc(sums, func(a, b sum) int { return cmp.Compare(a.key, b.key) })
	for _, s := range sums {
		buy := dash
		if s.length > 0 {
			buy = fmt.Sprintf("%.0f m", math.Ceil(s.length*(1+extra)))
		}
		unknown := ""
		if s.unknown > 0 {
			unknown = fmt.Sprint(s.unknown)
		}
		t.Rows = append(t.Rows, []string{s.key, fmt.Sprint(s.runs), metres(s.length), buy, unknown})
	}
	if len(t.Rows) > 0 {
		t.Notes = append(t.Notes, "To buy is the length and 10 % for the ends and what is cut wrong; runs without a length are not in it.")
	}
	return t
}
