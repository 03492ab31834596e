package inventory

// Dark names the devices that never show themselves, such as a plain switch, of
// which all that hangs behind is absent: two devices at least, or else the one
// that shows is the better name.
func (s *Snapshot) Dark() map[string]bool {
	children := map[string][]string{}
	for _, e := range s.Edges {
		children[e.Parent] = append(children[e.Parent], e.Child)
	}
	out := map[string]bool{}
	for i := range s.Devices {
		if d := &s.Devices[i]; d.Presence == Unseeable {
			if gone, there := s.shows(d.Name, children, map[string]bool{}); gone > 1 && there == 0 {
				out[d.Name] = true
			}
		}
	}
	return out
}

// shows counts the nearest devices behind name that tell of it: those that are
// absent, and those that are not. What may rightly be absent tells nothing.
func (s *Snapshot) shows(name string, children map[string][]string, seen map[string]bool) (gone, there int) {
	seen[name] = true // the tables may lie; no device counts twice
	for _, c := range children[name] {
		d, ok := s.Device(c)
		if !ok || seen[c] {
			continue
		}
		switch {
		case d.Presence == Unseeable:
			g, t := s.shows(c, children, seen)
			gone, there = gone+g, there+t
		case d.Away || d.Role.Roams() || d.Presence == NotLooked:
		case d.Presence == Absent:
			gone++
		default:
			there++
		}
	}
	return gone, there
}
