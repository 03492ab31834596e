package report

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"

	"boundwalk/diff"
	"boundwalk/inventory"
)

// Tree draws which device hangs on which port of which.
func Tree(w io.Writer, s *inventory.Snapshot, style Style) error {
	p := newPage(w, style)
	children := map[string][]inventory.Edge{}
	hangs := map[string]bool{}
	for _, e := range s.Edges {
		children[e.Parent] = append(children[e.Parent], e)
		hangs[e.Child] = true
	}
	for _, es := range children {
		slices.SortStableFunc(es, func(a, b inventory.Edge) int {
			return cmp.Or(inventory.ComparePorts(a.Port, b.Port), cmp.Compare(a.Child, b.Child))
		})
	}
	t := &tree{p: p, s: s, children: withoutPrivate(s, children), drawn: map[string]bool{}, census: newCensus(s, nil)}
	for i := range s.Devices {
		if d := &s.Devices[i]; !hangs[d.Name] && len(children[d.Name]) > 0 {
			t.draw(d.Name, "", "", "")
		}
	}
	var loose []string
	for i := range s.Devices {
		d := &s.Devices[i]
		if !t.drawn[d.Name] && !(d.Private && d.BehindAP) && d.Presence != inventory.Unseeable {
			loose = append(loose, deviceName(d))
		}
	}
	if len(loose) > 0 {
		p.line("")
		p.hang("Place not known: ", strings.Join(loose, ", "))
	}
	if shared := t.shared(); len(shared) > 0 {
		p.line("")
		p.wrap("", "More than one neighbour speaks on "+strings.Join(shared, ", ")+": an unmanaged switch between?")
	}
	return p.w.Flush()
}

// shared lists the ports on which several neighbours speak, though nothing that
// is known to hang there could stand between.
func (t *tree) shared() []string {
	var out []string
	for i := range t.s.Ports {
		x := &t.s.Ports[i]
		ref := inventory.PortRef{Device: x.Switch, Port: x.Port}
		between := slices.ContainsFunc(t.children[x.Switch], func(e inventory.Edge) bool {
			d, ok := t.s.Device(e.Child)
			return ok && e.Port == x.Port && d.Role.IsPassive()
		})
		if len(x.Neighbors) > 1 && !between {
			out = append(out, fmt.Sprintf("%s (%s)", ref, strings.Join(x.Neighbors, ", ")))
		}
	}
	return out
}

type tree struct {
	p        *page
	s        *inventory.Snapshot
	children map[string][]inventory.Edge
	drawn    map[string]bool
	census   census
	note     string // of the edge to what is drawn next
}

func (t *tree) draw(name, lead, below, head string) {
	d, ok := t.s.Device(name)
	if ok && t.drawn[name] { // the tables may lie; no device is drawn twice
		return
	}
	t.drawn[name] = true
	line := lead + head + name
	if ok {
		line = lead + head + deviceName(d)
		if d.Role != "" {
			line += "  " + role(d)
		}
		line += t.mark(d)
	}
	if t.note != "" {
		line += ", " + t.note
		t.note = ""
	}
	t.p.line("%s", line)
	es := t.children[name]
	for k, e := range es {
		branch, next := "├─ ", "│  "
		if k == len(es)-1 {
			branch, next = "└─ ", "   "
		}
		t.note = e.Note
		t.draw(e.Child, below+branch, below+next, edgeHead(e))
	}
}

// mark says what a reader of the tree must know of a device: that it is not there,
// or not meant.
func (t *tree) mark(d *inventory.SeenDevice) string {
	switch {
	case d.Presence == inventory.Absent:
		return "  (" + absence(d) + ")"
	case t.census.dark[d.Name]:
		return "  (dark)"
	case d.Planned:
		return ""
	}
	if name := t.census.standsFor(d); name != "" {
		return "  (in the stead of " + name + ")"
	}
	return "  (" + t.census.state(d) + ")"
}

// withoutPrivate puts one leaf with their number in the place of private devices
// behind an access point: they are counted and not listed.
func withoutPrivate(s *inventory.Snapshot, children map[string][]inventory.Edge) map[string][]inventory.Edge {
	private := map[string]bool{}
	for i := range s.Devices {
		if d := &s.Devices[i]; !d.Planned && d.Private && d.BehindAP {
			private[d.Name] = true
		}
	}
	out := map[string][]inventory.Edge{}
	for parent, es := range children {
		n := map[string]int{} // by port
		for _, e := range es {
			if private[e.Child] {
				n[e.Port]++
			}
		}
		for _, e := range es {
			switch {
			case !private[e.Child]:
				out[parent] = append(out[parent], e)
			case n[e.Port] > 0:
				out[parent] = append(out[parent], inventory.Edge{Child: diff.Plural(n[e.Port], "private device", "private devices") + " on Wi-Fi",
					Parent: parent, Port: e.Port})
				n[e.Port] = 0
			}
		}
	}
	return out
}

func edgeHead(e inventory.Edge) string {
	var s string
	if e.Port != "" {
		s = e.Port + ": "
	}
	switch {
	case e.Basis == inventory.Remembered:
		s += "(last seen) "
	case e.Basis == inventory.Planned:
		s += "(planned) "
	case e.Among > 1:
		s += fmt.Sprintf("(among %d) ", e.Among)
	case e.Basis == inventory.Inferred:
		s += "(somewhere behind) "
	}
	return s
}

type edgeJSON struct {
	Device string  `json:"device"`
	Own    *string `json:"own_port"`
	Parent string  `json:"parent"`
	Port   *string `json:"port"`
	Basis  *string `json:"basis"`
	Among  *int    `json:"among"`
}

// TreeJSON writes who hangs on what as a list.
func TreeJSON(w io.Writer, s *inventory.Snapshot) error {
	out := []edgeJSON{}
	for i := range s.Edges {
		e := &s.Edges[i]
		j := edgeJSON{Device: e.Child, Own: text(e.Own), Parent: e.Parent, Port: text(e.Port), Basis: text(e.Basis)}
		if e.Among > 1 {
			j.Among = &e.Among
		}
		out = append(out, j)
	}
	return write(w, out)
}
