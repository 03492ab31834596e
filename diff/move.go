package diff

import (
	"fmt"
	"slices"

	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

// replaced reports planned devices in whose stead another address of the link
// layer stands: at their address, or alone on their port. That is one device
// with a new address, not one missing and one unknown.
func (a *auditor) replaced() {
	for _, name := range a.names {
		d, s := a.planned[name], a.seen[name]
		if s == nil || s.Presence == inventory.Present || s.Presence == inventory.NotLooked || len(s.Claimed) == 0 || len(d.MACs) == 0 ||
			a.covered[name] || d.Role.Roams() {
			continue
		}
		if a.alternates(d) {
			a.covered[name] = true // two devices that share an address: told as such
			continue
		}
		other := a.strangerOf(s.Claimed)
		if other != nil && other.Role != "" && other.Role != d.Role && !(other.Role.IsInfrastructure() && d.Role.IsInfrastructure()) {
			continue // something of another kind: one is missing and one unknown
		}
		f := New(ReplacedDevice, name)
		f.Where, f.MACs = d.At.String(), slices.Clone(s.Claimed)
		f.Expected = "the MAC address " + macs(d.MACs)
		f.Observed = "in its stead " + macs(s.Claimed)
		if other != nil {
			f.Observed = sentence(f.Observed, a.traits(other))
		}
		f.Advice = fmt.Sprintf("if you exchanged it, \"boundwalk accept %s\" takes the new address into the plan; if not, look what stands there", f.Key)
		a.add(f, d)
		a.covered[name] = true
		for _, m := range s.Claimed {
			a.known[m] = true
		}
	}
}

// strangerOf is the unknown device that has one of the addresses.
func (a *auditor) strangerOf(ms []inventory.MAC) *inventory.SeenDevice {
	for _, m := range ms {
		if d := a.owner[m]; d != nil && !d.Planned {
			return d
		}
	}
	return nil
}

// move is a planned device on another port than planned.
type move struct {
	dev      *inventory.Device
	seen     *inventory.SeenDevice
	from, to inventory.PortRef
}

// moved reports planned devices that hang on another port. Phones and the like
// never move, and a place that is remembered, inferred or shared proves nothing.
func (a *auditor) moved() {
	type way struct{ from, to inventory.PortRef }
	groups := map[way][]move{}
	var order []way
	for _, name := range a.names {
		d, s := a.planned[name], a.seen[name]
		if s == nil || s.Presence != inventory.Present || s.Self || d.Role.Roams() || a.covered[name] || !a.firmPlace(s) {
			continue
		}
		from := a.plan.ManagedPort(d)
		to := s.Place.Ref()
		if from.IsZero() || portKey(from) == portKey(to) || a.planned[to.Device] == nil || d.Port != "" && a.leads(d, to) {
			continue
		}
		if up := a.planned[d.At.Device]; up != nil && up.Role == inventory.AccessPoint && s.BehindAP {
			continue // by radio from one access point to another
		}
		k := way{portKey(from), portKey(to)}
		if groups[k] == nil {
			order = append(order, k)
		}
		groups[k] = append(groups[k], move{d, s, from, to})
	}
	for _, k := range order {
		a.movedTogether(groups[k])
	}
}

// firmPlace reports whether the place was seen in this run, for the device alone.
func (a *auditor) firmPlace(s *inventory.SeenDevice) bool {
	return !s.Place.IsZero() && s.Place.Among < 2 && (s.Place.Basis == inventory.ByLLDP || s.Place.Basis == inventory.ByFDB)
}

// leads reports whether the port is where the device's own uplink shows: the
// tree may stand the other way round than the plan draws it.
func (a *auditor) leads(d *inventory.Device, to inventory.PortRef) bool {
	up := a.planned[to.Device]
	return up != nil && up.At.Device == d.Name
}

// movedTogether reports what went the same way: where it is all that shows of a
// switch that nobody can ask, that switch was moved; the rest moved singly.
func (a *auditor) movedTogether(group []move) {
	var direct *inventory.Device
	for _, d := range a.on[portKey(group[0].from)] {
		direct = d
	}
	if direct == nil {
		direct = group[0].dev
	}
	var behind []string
	for _, m := range group {
		if m.dev != direct {
			behind = append(behind, m.dev.Name)
		}
	}
	if len(group) > 1 && (direct.Role.IsPassive() || len(behind) < len(group)) {
		a.movedOne(move{direct, group[0].seen, group[0].from, group[0].to}, behind)
		return
	}
	for _, m := range group {
		a.movedOne(m, nil)
	}
}

func (a *auditor) movedOne(m move, behind []string) {
	f := New(MovedDevice, m.dev.Name)
	f.Where, f.Behind, f.Basis = m.to.String(), behind, m.seen.Place.Basis
	f.Expected = "on " + portWords(m.from)
	f.Observed = "on " + portWords(m.to)
	f.Advice = fmt.Sprintf("if that is meant, \"boundwalk accept %s\" takes the new port into the plan; if not, plug it back", f.Key)
	if a.passiveFeed(m.dev) {
		f.Observed += fmt.Sprintf("; the lead of its injector may be live at %s", portWords(m.from))
		if p := a.ports[portKey(m.from)]; p != nil && p.Up != nil && !*p.Up {
			f.Observed += ", which has no link now"
		}
		f.Advice = fmt.Sprintf("find the injector's lead and label it before anything is plugged in near %s; then put %s back, or accept the new port", portWords(m.from), m.dev.Name)
		f.Caution = poe.CautionPassive
	}
	a.add(f, m.dev)
	a.covered[m.dev.Name] = true
	a.coverAll(behind)
}
