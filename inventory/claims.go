package inventory

import (
	"net/netip"
	"slices"
)

// claims notes what answers in a device's stead: addresses of the link layer
// at its planned address or alone on its planned port that are not its own;
// and addresses that several devices answer for.
func (a *assembler) claims() {
	a.sharedAddresses()
	at := map[netip.Addr]int{}
	for i := range a.plan.Devices {
		for _, ip := range a.plan.Devices[i].Addresses {
			at[ip] = i
		}
	}
	for k := range a.ev.Sightings {
		s := &a.ev.Sightings[k]
		i, planned := at[s.Addr]
		if planned && s.Live && s.MAC.IsValid() && !a.proxy[s.MAC] && !a.hidden[s.MAC] && !slices.Contains(a.devs[i].MACs, s.MAC) {
			a.devs[i].claimedBy(s.MAC)
		}
	}
	a.newcomers()
}

func (d *SeenDevice) claimedBy(m MAC) {
	if !slices.Contains(d.Claimed, m) {
		d.Claimed = append(d.Claimed, m)
	}
}

// newcomers: an unknown device alone on the port where the plan has one device
// is what may have replaced it.
func (a *assembler) newcomers() {
	wanted := map[PortRef]int{}
	for i := range a.plan.Devices {
		p := &a.plan.Devices[i]
		if at := a.plan.ManagedPort(p); at == p.At && !at.IsZero() {
			wanted[at] = i
		}
	}
	for _, d := range a.devs[len(a.plan.Devices):] {
		i, ok := wanted[d.Place.Ref()]
		if ok && d.Place.Among == 0 && (d.Place.Basis == ByFDB || d.Place.Basis == ByLLDP) {
			for _, m := range d.MACs {
				a.devs[i].claimedBy(m)
			}
		}
	}
}

// sharedAddresses finds addresses for which two or more MACs of different
// devices answered, and in how many tries at least two did.
func (a *assembler) sharedAddresses() {
	type owners struct {
		macs  []MAC
		tries map[int]int
	}
	at := map[netip.Addr]*owners{}
	for i := range a.ev.Sightings {
		s := &a.ev.Sightings[i]
		if !s.Live || s.Probe || !s.MAC.IsValid() || !s.Addr.IsValid() || a.proxy[s.MAC] || a.hidden[s.MAC] {
			continue
		}
		o := at[s.Addr]
		if o == nil {
			o = &owners{tries: map[int]int{}}
			at[s.Addr] = o
		}
		if slices.Contains(o.macs, s.MAC) {
			continue
		}
		o.macs = append(o.macs, s.MAC)
		for _, t := range s.Tries {
			o.tries[t]++
		}
	}
	for ip, o := range at {
		if len(o.macs) < 2 || a.oneDevice(o.macs) {
			continue
		}
		slices.SortFunc(o.macs, MAC.Compare)
		sh := SharedAddr{Addr: ip, MACs: o.macs}
		for _, n := range o.tries {
			if n > 1 {
				sh.Tries++
			}
		}
		for _, m := range o.macs {
			if i, ok := a.owner[m]; ok && !slices.Contains(sh.Names, a.devs[i].Name) {
				sh.Names = append(sh.Names, a.devs[i].Name)
			}
		}
		a.snap.Shared = append(a.snap.Shared, sh)
	}
	slices.SortFunc(a.snap.Shared, func(x, y SharedAddr) int { return x.Addr.Compare(y.Addr) })
}

func (a *assembler) oneDevice(ms []MAC) bool {
	first, ok := a.owner[ms[0]]
	return ok && !slices.ContainsFunc(ms[1:], func(m MAC) bool {
		i, ok := a.owner[m]
		return !ok || i != first
	})
}

// aliasMACs gives an agent the address of the link layer behind another IP
// address that it answered from (FC-07): what is there is no device of its own.
func (a *assembler) aliasMACs() {
	for _, v := range a.views {
		if !v.Alias.IsValid() {
			continue
		}
		at := map[MAC]bool{}
		for k := range a.ev.Sightings {
			if s := &a.ev.Sightings[k]; s.Addr == v.Alias && s.Live && s.MAC.IsValid() {
				at[s.MAC] = true
			}
		}
		for m := range at {
			if len(at) == 1 && !a.proxy[m] && !a.hidden[m] {
				a.claim(m, a.deviceOf(v))
			}
		}
	}
}
