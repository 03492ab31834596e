package inventory

import (
	"slices"
	"strings"

	"boundwalk/inventory/cable"
	"boundwalk/inventory/poe"
)

// Run is the device's cable as package cable computes it. A run whose length or
// gauge the plan does not say is the worst that the standards allow.
func (d *Device) Run() cable.Run {
	conductor := cable.Copper
	if strings.EqualFold(d.Cable.Conductor, "cca") {
		conductor = cable.CopperCladAluminium
	}
	return cable.Run{
		Segments: []cable.Segment{{Length: d.Cable.Length, Gauge: cable.Gauge(d.Cable.Gauge), Conductor: conductor, Cord: d.Cable.Stranded}},
		Celsius:  d.Cable.Celsius,
	}
}

// Need is what the device takes over its cable.
func (d *Device) Need() poe.Need {
	return poe.Need{Takes: d.Takes, Class: d.Class, Most: d.Draws.Most, VoltsLeast: d.MinVolt, VoltsMost: d.MaxVolt,
		AnyPolarity: d.AnyPolarity, Gigabit: d.Speed >= 1e9}
}

// TakesPower reports whether the plan says that the device is fed over its data cable.
func (d *Device) TakesPower() bool {
	_, classed := d.Class.Number()
	return classed || !d.Takes.IsZero() || d.Draws.Most > 0 && d.Mains == ""
}

// IsPassive reports whether the device is planned for a feed that negotiates nothing.
func (d *Device) IsPassive() bool { return d.Takes.Standard == poe.Passive }

// FedBy is what puts power on the device's cable: the last injector on its
// way, else the switch it hangs on, with the feed of that port. False where the plan names neither.
func (p *Plan) FedBy(d *Device) (*Device, Feed, bool) {
	for _, name := range slices.Backward(d.Via) {
		if i, ok := p.Device(name); ok && !i.Feeds.IsZero() {
			return i, i.Feeds, true
		}
	}
	if sw, ok := p.Device(d.At.Device); ok {
		f := sw.FeedAt(d.At.Port)
		return sw, f, !f.IsZero()
	}
	return nil, Feed{}, false
}

// Policy is how the switch gives power out. A switch of which the plan says
// nothing is taken to reserve by class.
func (d *Device) Policy() poe.Policy { return poe.Policy{Reserves: d.Reserves} }

// UsableBudget is what the device has to give: its own figure, else what its
// supplies make together. Zero: not said.
func (d *Device) UsableBudget() Power {
	if d.Budget > 0 {
		return d.Budget
	}
	return poe.Usable(d.Supplies, d.Redundant)
}
