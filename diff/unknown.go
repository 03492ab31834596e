package diff

import (
	"fmt"
	"maps"
	"slices"

	"boundwalk/inventory"
)

// unknown reports what no plan names. Phones with made-up addresses are counted
// where they come by radio; on a cable, or in a network that wants it strict, each is told (FC-21).
func (a *auditor) unknown() {
	unplaced := map[string]int{}
	var list []*inventory.SeenDevice
	for i := range a.snap.Devices {
		d := &a.snap.Devices[i]
		if d.Planned || d.Self || a.explained(d) || a.guestPort(d) {
			continue
		}
		policy := a.policyOf(d)
		if policy == inventory.UnknownCount {
			continue
		}
		if d.Private && policy != inventory.UnknownUrgent && (d.BehindAP || d.Place.IsZero()) {
			if d.Place.IsZero() {
				unplaced[d.Network]++
			}
			continue
		}
		list = append(list, d)
	}
	crowds := a.crowds(list)
	for _, d := range list {
		if crowds[crowdOf(d)] == nil {
			a.unknownOne(d, a.policyOf(d))
		}
	}
	for _, at := range slices.Sorted(maps.Keys(crowds)) {
		a.crowd(at, crowds[at])
	}
	a.changing(unplaced)
}

// explained reports whether another finding tells of one of the device's
// addresses already, or it is what answers for others.
func (a *auditor) explained(d *inventory.SeenDevice) bool {
	return slices.ContainsFunc(d.MACs, func(m inventory.MAC) bool { return a.known[m] })
}

// guestPort reports whether the plan opens the device's port to guests.
func (a *auditor) guestPort(d *inventory.SeenDevice) bool {
	sw := a.planned[d.Place.Switch]
	return sw != nil && slices.ContainsFunc(sw.Guest, func(g string) bool { return inventory.PortName(g) == inventory.PortName(d.Place.Port) })
}

func (a *auditor) policyOf(d *inventory.SeenDevice) inventory.UnknownPolicy {
	if n, ok := a.plan.NetworkNamed(d.Network); ok {
		return n.Unknown
	}
	return ""
}

// idOf is the name that a device without a plan keeps from run to run.
func idOf(d *inventory.SeenDevice) string {
	if len(d.MACs) == 0 {
		return d.Name
	}
	return slices.MinFunc(d.MACs, inventory.MAC.Compare).String()
}

func (a *auditor) unknownOne(d *inventory.SeenDevice, policy inventory.UnknownPolicy) {
	kind := UnknownDevice
	id := idOf(d)
	if d.NoAddress && !a.open(UnknownDevice, id) && a.missesAddress(d) {
		kind = NoAddress
	}
	f := New(kind, id)
	f.Where, f.MACs, f.Basis = d.Place.Ref().String(), slices.Clone(d.MACs), d.Place.Basis
	if s := Severity(policy); s == Urgent || s == Note {
		f.Severity = s
	}
	f.Expected = "nothing that the plan does not name"
	if d.Network != "" {
		f.Expected = fmt.Sprintf("nothing in %s that the plan does not name", d.Network)
	}
	f.Observed = a.traits(d)
	f.Advice = fmt.Sprintf("if it is yours, \"boundwalk accept %s\" takes it into the plan; if not, unplug it", f.Key)
	if kind == NoAddress {
		f.Observed = sentence(f.Observed, foreignWords(d))
		f.Advice = "if you have just added it, give it an address of its network, or let it ask for one; a factory address is reached from a computer set to the same range"
	}
	a.add(f, nil)
}

// missesAddress reports whether the lack of an address means anything: its
// network was looked at, and it had none before.
func (a *auditor) missesAddress(d *inventory.SeenDevice) bool {
	if was := a.wasSeen[d.Name]; was != nil && was.HasAddress() {
		return false // asleep: its row in the forwarding table outlived it
	}
	if len(d.Foreign) > 0 {
		return true
	}
	return a.lookedAt(d.Network)
}

// lookedAt reports whether the addresses of a network were looked for,
// completely; where the network is not known, those of all.
func (a *auditor) lookedAt(network string) bool {
	some := false
	for _, n := range a.snap.Networks {
		if network != "" && n.Name != network || network == "" && n.Counted > 0 {
			continue
		}
		if n.Looked != inventory.Complete {
			return false
		}
		some = true
	}
	return some
}

func foreignWords(d *inventory.SeenDevice) string {
	switch {
	case len(d.Foreign) == 0:
		return "it has no address in this network, perhaps a factory or self-assigned one elsewhere"
	case d.Foreign[0].Is4() && d.Foreign[0].IsLinkLocalUnicast():
		return fmt.Sprintf("it has no address in this network, but %s, which it gave itself: DHCP did not answer it", d.Foreign[0])
	}
	return fmt.Sprintf("it has no address in this network, but speaks as %s, perhaps its factory address", addrs(d.Foreign[:min(len(d.Foreign), 3)]))
}

// changing counts the devices with made-up addresses, beside last week's count.
func (a *auditor) changing(unplaced map[string]int) {
	for _, n := range a.snap.Networks {
		now, other := n.Private, unplaced[n.Name]
		if p, ok := a.plan.NetworkNamed(n.Name); !ok || p.Unknown == inventory.UnknownUrgent || p.Unknown == inventory.UnknownCount || now+other == 0 {
			continue
		}
		f := New(ChangingMACDevices, n.Name)
		f.Expected = "phones and the like, which change their addresses"
		f.Observed = Plural(now, "private device", "private devices") + " on Wi-Fi"
		if was, ok := a.hist.Private[n.Name]; ok {
			f.Observed += fmt.Sprintf(" (%d last week)", was)
			if was > 0 && now >= 2*was && now > was+2 {
				f.Observed += ", at least twice as many"
				f.Advice = "ask who has come; if nobody did, change the Wi-Fi password"
			}
		}
		if other > 0 {
			f.Observed += fmt.Sprintf(", and %d whose port is not known", other)
		}
		a.add(f, nil)
	}
}
