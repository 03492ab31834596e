package poe

// Reservation is how a switch sets power aside for a port. The zero value means
// that nobody said; it is reckoned as ByClass, which reserves the most.
type Reservation uint8

// The four ways, restated from switch manuals.
const (
	ByClass Reservation = iota + 1 // the class's output
	Fixed                          // the administrator's figure
	ByLLDP                         // what was negotiated; the class where nothing was
	ByUse                          // what is drawn, moved as it changes
)

// String returns "by-class", "fixed", "by-lldp", "by-use", or "not said".
func (r Reservation) String() string {
	words := [...]string{"not said", "by-class", "fixed", "by-lldp", "by-use"}
	if int(r) >= len(words) {
		return words[0]
	}
	return words[r]
}

// Policy is how one switch gives power out. The zero value reserves by class,
// with the standard's figures.
type Policy struct {
	Reserves Reservation

	// Outputs are a maker's own figures for classes, where they have a margin
	// over the standard's (one manual has 4.2, 7.4, 16.2 and 31.6 W for classes
	// 1 to 4). A class that is not there has the standard's.
	Outputs map[Class]Power

	// AutoclassMargin is added to a power measured by Autoclass.
	AutoclassMargin Power

	// LeastFree1 and LeastFree2 are what must be free before a Type 1 device, or
	// one of a later Type, is let in, whatever it would draw (17 W and 33 W in one
	// manual). Zero: no such rule.
	LeastFree1, LeastFree2 Power
}

// PortLoad is what one port gives. All powers are at the port: add the cable to
// what LLDP says (AtPort). Zero powers are not known; negative ones count as
// such.
type PortLoad struct {
	// Port is its number on the switch, which decides the order of shedding.
	Port int

	// Priority is 1 critical, 2 high, 3 low, as in RFC 3621; others count as low.
	Priority int

	// Class is what the device shows or, for a planned one, will show.
	Class Class

	Fixed      Power // the administrator's figure
	Negotiated Power // by LLDP
	Autoclass  Power // measured at power-up; valid for the cable it was measured on
	Draw       Power // highest seen, or planned

	// Passive marks a load that no one negotiates for: it needs its draw.
	Passive bool
}

// Reserve is what the switch sets aside for a port, and by which rule: a rule
// that lacks its figure falls back to the class. A zero rule means that it is
// not known, and then so is the power.
func (p Policy) Reserve(port PortLoad) (Power, Reservation) {
	switch {
	case port.Passive && port.Draw > 0:
		return port.Draw, ByUse
	case port.Passive:
		return 0, 0
	case p.Reserves == Fixed && port.Fixed > 0:
		return port.Fixed, Fixed
	case p.Reserves == ByLLDP && port.Negotiated > 0:
		return port.Negotiated, ByLLDP
	case p.Reserves == ByUse && port.Draw > 0:
		return port.Draw, ByUse
	}
	output := p.output(port.Class)
	if output <= 0 {
		return 0, 0
	}
	if port.Autoclass > 0 {
		output = min(output, add(port.Autoclass, max(p.AutoclassMargin, 0)))
	}
	return output, ByClass
}

// admission is what must be free for a device to be let in. At that moment it
// has not talked LLDP and has drawn nothing, so only its class, or a fixed
// figure, speaks for it.
func (p Policy) admission(port PortLoad) (Power, Reservation) {
	if !port.Class.known() && !port.Passive {
		port.Class = classOfOutput(port.Draw)
	}
	port.Negotiated, port.Autoclass = 0, 0
	if !port.Passive {
		port.Draw = 0
	}
	return p.Reserve(port)
}

func (p Policy) output(c Class) Power {
	if own := p.Outputs[c]; own > 0 && c.known() {
		return own
	}
	return c.Ratings().Output
}

// leastFree is the maker's rule for letting a device in.
func (p Policy) leastFree(port PortLoad) Power {
	c := port.Class
	if !c.known() {
		c = classOfOutput(port.Draw)
	}
	switch {
	case port.Passive:
		return 0
	case c.Ratings().Type == 1:
		return p.LeastFree1
	default:
		return p.LeastFree2
	}
}

// classOfOutput is the smallest class whose port gives so much.
func classOfOutput(draw Power) Class {
	if draw <= 0 {
		return 0
	}
	for c := Class1; c <= Class8; c++ {
		if ratings[c].Output >= draw {
			return c
		}
	}
	return 0
}

// add sums without wrapping over.
func add(a, b Power) Power { return clamp(int64(a) + int64(b)) }
