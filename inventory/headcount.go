package inventory

import "slices"

// Headcount is how many devices a snapshot holds of each kind that people are
// told. All that counts devices counts by it.
type Headcount struct {
	Planned int // all that can be seen and is meant to be there
	There   int // of those
	Away    int // planned and not there, and rightly so: its months, or a phone
	Unknown int // in nobody's stead, and none of the private ones
	Private int // with a made-up address behind an access point, as phones have
}

// Headcount counts the devices.
func (s *Snapshot) Headcount() Headcount {
	claimed := map[MAC]bool{} // told with the planned device in whose stead they stand
	for i := range s.Devices {
		for _, m := range s.Devices[i].Claimed {
			claimed[m] = true
		}
	}
	var n Headcount
	for i := range s.Devices {
		d := &s.Devices[i]
		switch {
		case d.Planned && d.Presence == Unseeable, d.Self && !d.Planned:
		case d.Planned && d.Presence != Present && (d.Away || d.Role.Roams()):
			n.Away++
		case d.Planned:
			n.Planned++
			if d.Presence == Present {
				n.There++
			}
		case slices.ContainsFunc(d.MACs, func(m MAC) bool { return claimed[m] }):
		case d.Private && d.BehindAP:
			n.Private++
		default:
			n.Unknown++
		}
	}
	return n
}
