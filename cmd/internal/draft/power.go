package draft

import (
	"fmt"
	"slices"

	"boundwalk/inventory"
	"boundwalk/inventory/planfile"
	"boundwalk/inventory/poe"
)

// power says what switches give and devices take, as far as it was seen.
func (m *drafter) power() {
	highest := map[string]int{}
	for _, p := range m.snap.Ports {
		if p.Power != nil {
			k, _ := p.Power.Class.Number()
			highest[p.Switch] = max(highest[p.Switch], k, 1)
		}
	}
	for i := range m.plan.Devices {
		d := &m.plan.Devices[i]
		if k := highest[m.seen[d.Name]]; k > 0 && m.seen[d.Name] != "" {
			d.Feeds = poe.Feed{Standard: poe.AT}
			if k > 4 {
				d.Feeds.Standard = poe.BT4
			}
			m.check(d.Name, "feeds", "which standard it gives by is on its data sheet")
			m.budget(d)
			m.reserves(d)
		}
		m.draws(d)
	}
}

// reserves tells a switch that sets power aside as it is used: it feeds ports
// whose classes together are more than it has.
func (m *drafter) reserves(d *inventory.Device) {
	var promised inventory.Power
	for _, p := range m.snap.Ports {
		if p.Switch == m.seen[d.Name] && p.Power != nil && p.Power.State == inventory.PSEDelivering {
			promised += p.Power.Class.Ratings().Output
		}
	}
	if d.Budget > 0 && promised > d.Budget {
		d.Reserves = poe.ByUse
		m.check(d.Name, "reserves", "its ports' classes add up to %s, more than its budget: by class it could not", promised)
	}
}

func (m *drafter) budget(d *inventory.Device) {
	for _, s := range m.snap.Supplies {
		if s.Switch != m.seen[d.Name] || s.Budget == nil || *s.Budget <= 0 || s.BudgetBasis != inventory.Measured {
			continue
		}
		d.Supplies = append(d.Supplies, *s.Budget)
	}
	if len(d.Supplies) == 1 {
		d.Budget, d.Supplies = d.Supplies[0], nil
	}
}

// draws takes what a device drew: from the logbook where that knows its port,
// else what it draws now.
func (m *drafter) draws(d *inventory.Device) {
	p, ok := m.port(d.At)
	switch {
	case ok && p.Power != nil && p.Power.State == inventory.PSEDelivering:
		d.Class = p.Power.Class
		switch w := p.Power.Draw; {
		case w == nil || *w <= 0:
		case p.Power.DrawBasis == inventory.Measured:
			d.Draws.Usual = atDevice(d, *w)
			m.check(d.Name, "draws", "measured once at the port, its cable included")
		case p.Power.DrawBasis == inventory.Negotiated: // what it may take, not what it takes
			d.Draws.Most = atDevice(d, *w)
			m.check(d.Name, "draws", "negotiated with the port, its cable included")
		}
	case ok && p.Power != nil && d.Role == inventory.Radio:
		m.check(d.Name, "via", "its port gives it no power: is there an injector between? Until you know, plug nothing else into that lead")
	}
	if m.past.Last == nil || m.past.Draws == nil {
		return
	}
	for i := range m.past.Last.Devices {
		was := &m.past.Last.Devices[i]
		if was.Place.IsZero() || was.Place.Among > 1 || !slices.ContainsFunc(was.MACs, d.HasMAC) {
			continue
		}
		samples := m.past.Draws(was.Place.Ref())
		if usual, most := Used(samples); most > 0 {
			d.Draws = inventory.Draws{Usual: atDevice(d, usual), Most: atDevice(d, most)}
			m.remarks = slices.DeleteFunc(m.remarks, func(r planfile.Remark) bool { return r.Device == d.Name && r.Key == "draws" })
			m.check(d.Name, "draws", "by %s of the logbook at its port, its cable included; the most may be yet to come", samplesOf(len(samples)))
		}
		return
	}
}

func samplesOf(n int) string {
	if n == 1 {
		return "1 sample"
	}
	return fmt.Sprintf("%d samples", n)
}

// tenth is how fine a draft writes watts: no meter in a port is better.
const tenth = poe.Watt / 10

// atDevice is what a device draws of what leaves its port, rounded up: at most
// what its class grants it, for what is above that is lost in the cable.
func atDevice(d *inventory.Device, port inventory.Power) inventory.Power {
	w := (port + tenth - 1) / tenth * tenth
	if most := d.Class.Ratings().Input; most > 0 {
		w = min(w, most)
	}
	return w
}
