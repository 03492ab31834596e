package inventory

// Above is what a planned device's data goes through on its way to the router:
// mostly what it hangs on (At). The far radio of a link is reached through the
// air, not through the switch that feeds it, and what hangs on nothing itself is reached
// through the far radio that hangs on it. Zero: the plan does not say.
func (p *Plan) Above(d *Device) PortRef {
	if near, ok := p.acrossAir(d.Name); ok {
		return PortRef{Device: near}
	}
	if !d.At.IsZero() || len(p.Links) == 0 {
		return d.At
	}
	for i := range p.Links {
		far := p.Links[i].Between[1]
		if r, ok := p.Device(far); ok && r.At.Device == d.Name {
			return PortRef{Device: far, Port: r.Port}
		}
	}
	return PortRef{}
}

// acrossAir is the near end of the link whose far end the device is.
func (p *Plan) acrossAir(name string) (string, bool) {
	for i := range p.Links {
		if b := p.Links[i].Between; b[1] == name && b[0] != "" {
			return b[0], true
		}
	}
	return "", false
}

// ManagedPort is the port of the nearest switch above the device that can be
// asked, as the plan has it: what hangs on a pass-through switch, an access
// point or the far side of a radio link is seen there. Zero where the plan does not say.
func (p *Plan) ManagedPort(d *Device) PortRef {
	at := p.Above(d)
	for range len(p.Devices) { // the plan has no loops; this only makes sure
		up, ok := p.Device(at.Device)
		if !ok {
			return PortRef{}
		}
		if up.Access != "" && at.Port != "" && up.Role != Radio {
			return at
		}
		if at = p.Above(up); at.IsZero() {
			return PortRef{}
		}
	}
	return PortRef{}
}
