package inventory

import "slices"

// presence judges each planned device: there, looked for in vain, or not
// looked for. Not looked is never "not there".
func (a *assembler) presence() {
	now := a.ev.Finished
	if loc := a.plan.Site.Location; loc != nil {
		now = now.In(loc)
	}
	for i, d := range a.devs {
		p := a.entry(i)
		d.Away = p != nil && p.AwayAt(now)
		switch {
		case d.Self || len(d.Witnesses) > 0:
			d.Presence = Present
		case p == nil:
			d.Presence = Present // something said it is there, if only an announcement
		case p.Role.IsPassive() && len(p.MACs) == 0 && len(p.Addresses) == 0:
			d.Presence = Unseeable
		case a.ev.Aborted:
			d.Presence = NotLooked
		case a.looked(p):
			d.Presence = Absent
		default:
			d.Presence = NotLooked
		}
	}
	a.weakWitness()
	for _, d := range a.devs {
		d.BehindAP = a.behindAP(d)
	}
}

// weakWitness: where nothing better could look, a row in a router's neighbour
// table keeps a device from being missed; it outlives the device by minutes.
func (a *assembler) weakWitness() {
	for i := range a.ev.Sightings {
		s := &a.ev.Sightings[i]
		if s.Live || s.Source != SourceNeighbors {
			continue
		}
		k, ok := a.owner[s.MAC]
		if !ok {
			continue
		}
		d := a.devs[k]
		if d.Presence != Absent && d.Presence != NotLooked {
			continue
		}
		if p := a.entry(k); p != nil && a.portLooked(p) {
			continue // its switch would have learned it
		}
		d.Presence = Present
		d.witness(SourceNeighbors)
	}
}

// looked reports whether the place where the device should show was looked at,
// and completely: its network by ARP, or by the tables of router and switches.
func (a *assembler) looked(p *Device) bool {
	ip := p.Address()
	n, ok := a.plan.NetworkOf(ip)
	if ip.IsValid() && ok {
		if r, did := a.ev.Coverage.Result(n.Name, "", SourceARP); did {
			return r == Complete
		}
		if r, did := a.ev.Coverage.Result(n.Name, "", SourceNeighbors); did && r == Complete {
			return true
		}
	}
	return a.portLooked(p)
}

// portLooked reports whether the switch where the device is planned told its
// whole forwarding table in this run.
func (a *assembler) portLooked(p *Device) bool {
	at := a.plan.ManagedPort(p)
	for _, v := range a.views {
		if v.name == at.Device && !at.IsZero() {
			return v.Tables[TableFDB] == Complete
		}
	}
	return false
}

// behindAP reports whether the device's port leads to an access point or
// radio, or to a port that the plan opens to guests.
func (a *assembler) behindAP(d *SeenDevice) bool {
	if d.Place.IsZero() {
		return false
	}
	if sw, ok := a.plan.Device(d.Place.Switch); ok {
		if sw.Role == AccessPoint || slices.Contains(sw.Guest, d.Place.Port) {
			return true
		}
	}
	if a.apPorts == nil {
		a.apPorts = map[PortRef]bool{}
		for i, o := range a.devs {
			if o.Role != AccessPoint {
				continue
			}
			a.apPorts[o.Place.Ref()] = true
			if p := a.entry(i); p != nil {
				a.apPorts[a.plan.ManagedPort(p)] = true
			}
		}
	}
	return a.apPorts[d.Place.Ref()]
}
