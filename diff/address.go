package diff

import (
	"fmt"
	"net/netip"
	"slices"
	"strings"
	"time"

	"boundwalk/inventory"
)

// flipWindow is how far back an address that goes to and fro between two
// devices still counts.
const flipWindow = 7 * aDay

// addresses reports what is wrong with addresses.
func (a *auditor) addresses() {
	a.conflicts()
	a.proxies()
	for _, name := range a.names {
		d, s := a.planned[name], a.seen[name]
		if s == nil || s.Presence != inventory.Present || a.covered[name] || len(d.Addresses) == 0 || s.Self {
			continue
		}
		a.addressOf(d, s)
	}
}

// addressOf holds a present device's addresses against the plan.
func (a *auditor) addressOf(d *inventory.Device, s *inventory.SeenDevice) {
	if slices.ContainsFunc(s.Addrs, func(ip netip.Addr) bool { return slices.Contains(d.Addresses, ip) }) {
		return
	}
	want, _ := a.plan.NetworkOf(d.Address())
	v4 := slices.DeleteFunc(slices.Clone(s.Addrs), func(ip netip.Addr) bool { return !ip.Is4() })
	f := Finding{}
	switch {
	case len(v4) > 0:
		got, _ := a.plan.NetworkOf(v4[0])
		f = New(AddressDiffers, d.Name)
		if want != nil && got != nil && want.Name != got.Name {
			f = New(WrongNetwork, d.Name)
		}
		f.Observed = addrs(v4)
		if got != nil {
			f.Observed += ", in " + got.Name
		}
		f.Advice = fmt.Sprintf("set its address right, or \"boundwalk accept %s\" if the new one is meant", f.Key)
	case len(s.Foreign) > 0 && s.Foreign[0].IsLinkLocalUnicast():
		f = New(NoAddress, d.Name)
		f.Observed = foreignWords(s)
		f.Advice = "see whether the DHCP server is up and has addresses left, then restart the device"
	case len(s.Foreign) > 0:
		f = New(WrongNetwork, d.Name)
		f.Observed = addrs(s.Foreign[:min(len(s.Foreign), 3)]) + ", which lies in no planned network"
		f.Advice = "set its address right: it may have been reset to its factory settings"
	case a.silent(d, s):
		f = New(NoAddress, d.Name)
		f.Observed = sentence("its MAC address is there, but it does not answer at its address", a.placeOf(s))
		f.Advice = "it may hang, or have lost its settings: restart it, then look at its address"
	default:
		return
	}
	f.Where = s.Place.Ref().String()
	f.Expected = addrs(d.Addresses)
	if want != nil {
		f.Expected += ", in " + want.Name
	}
	a.add(f, d)
}

func (a *auditor) placeOf(s *inventory.SeenDevice) string {
	if s.Place.IsZero() {
		return ""
	}
	return "on " + portWords(s.Place.Ref())
}

// silent reports whether a device that is always awake showed its MAC address
// alone, in this run and the one before, while its network was looked at.
func (a *auditor) silent(d *inventory.Device, s *inventory.SeenDevice) bool {
	if _, span := patience(d.Role); span > 0 || d.Role.Roams() || a.settling || a.pulseSaw(d.Name) {
		return false
	}
	was := a.wasSeen[d.Name]
	n, ok := a.plan.NetworkOf(d.Address())
	return ok && n.Unknown != inventory.UnknownCount && a.lookedAt(n.Name) && onlyLearned(s) && was != nil && onlyLearned(was)
}

func onlyLearned(s *inventory.SeenDevice) bool {
	return !s.HasAddress() && len(s.Witnesses) > 0 && !slices.ContainsFunc(s.Witnesses, func(w string) bool {
		return w != inventory.SourceFDB && w != inventory.SourceND
	})
}

// conflicts reports addresses that two devices answer for: in two tries of a
// run, in two runs, or to and fro between runs (FC-17).
func (a *auditor) conflicts() {
	said := map[netip.Addr]bool{}
	for _, sh := range a.snap.Shared {
		if sh.Tries < 2 && !a.sharedBefore(sh.Addr) {
			continue
		}
		said[sh.Addr] = true
		f := New(AddressConflict, sh.Addr.String())
		f.MACs = slices.Clone(sh.MACs)
		f.Observed = fmt.Sprintf("%d devices answer for it: %s", len(sh.MACs), a.whereAll(sh.MACs))
		a.addConflict(f, sh.Addr)
	}
	for i := range a.plan.Devices {
		d := &a.plan.Devices[i]
		for _, ip := range d.Addresses {
			if ms := a.flips(ip); len(ms) > 1 && !said[ip] {
				said[ip] = true
				f := New(AddressConflict, ip.String())
				f.MACs = ms
				f.Observed = "suspected: from run to run it goes to and fro between " + a.whereAll(ms)
				a.addConflict(f, ip)
			}
		}
	}
}

func (a *auditor) addConflict(f Finding, ip netip.Addr) {
	f.Expected = "one device at " + ip.String()
	f.Advice = "give one of them another address; unplug the one that was added last until then"
	var about *inventory.Device
	if i := slices.IndexFunc(a.plan.Devices, func(d inventory.Device) bool { return slices.Contains(d.Addresses, ip) }); i >= 0 {
		about = &a.plan.Devices[i]
		f.Expected = about.Name + " alone at " + ip.String()
		f.Where = about.At.String()
	}
	if n, ok := a.plan.NetworkOf(ip); ok && n.Gateway == ip {
		f.Expected = "the gateway of " + n.Name + " alone at " + ip.String()
		f.Advice = "find the device that is not the gateway by its port, and unplug it: all that leaves the network may pass through it"
	}
	for _, m := range f.MACs {
		a.known[m] = true
	}
	a.add(f, about)
}

func (a *auditor) sharedBefore(ip netip.Addr) bool {
	return a.hist.Previous != nil && slices.ContainsFunc(a.hist.Previous.Shared, func(s inventory.SharedAddr) bool { return s.Addr == ip })
}

// whereAll names the owners of addresses with their ports.
func (a *auditor) whereAll(ms []inventory.MAC) string {
	var out []string
	for _, m := range ms {
		word := m.String()
		if s := a.owner[m]; s != nil {
			if s.Planned {
				word = s.Name + " (" + word + ")"
			}
			if p := a.placeOf(s); p != "" {
				word += " " + p
			}
		}
		out = append(out, word)
	}
	return strings.Join(out, ", ")
}

// alternates reports whether one of the device's addresses goes to and fro.
func (a *auditor) alternates(d *inventory.Device) bool {
	return slices.ContainsFunc(d.Addresses, func(ip netip.Addr) bool { return len(a.flips(ip)) > 1 })
}

// flips lists the two owners between which an address went to and fro: first
// one, then the other, then the first again. A swap alone is none.
func (a *auditor) flips(ip netip.Addr) []inventory.MAC {
	past := a.hist.Flips[ip.String()]
	if len(past) == 0 {
		return nil
	}
	var row []inventory.MAC // newest first, without repeats
	push := func(m inventory.MAC) {
		if m.IsValid() && (len(row) == 0 || row[len(row)-1] != m) {
			row = append(row, m)
		}
	}
	push(a.answering(ip))
	for _, c := range past {
		if a.now.Sub(c.At) <= flipWindow+time.Minute {
			push(c.MAC)
		}
	}
	for k := 2; k < len(row); k++ {
		if row[k] == row[k-2] {
			two := []inventory.MAC{row[k], row[k-1]}
			slices.SortFunc(two, inventory.MAC.Compare)
			return two
		}
	}
	return nil
}

// answering is the one address of the link layer that had ip in this run.
func (a *auditor) answering(ip netip.Addr) inventory.MAC {
	if d := a.holder[ip]; d != nil {
		return d.MACs[0]
	}
	return inventory.MAC{}
}

// proxies reports who answers ARP for addresses that are not its own (FC-18).
func (a *auditor) proxies() {
	for _, p := range a.snap.Proxies {
		who := p.Device
		if who == "" {
			who = p.MAC.String()
		}
		f := New(ProxyARP, who)
		f.MACs = []inventory.MAC{p.MAC}
		f.Expected = "an answer for its own address alone"
		f.Observed = fmt.Sprintf("%s answered for %d addresses of %s", p.MAC, p.Count, p.Network)
		if s := a.owner[p.MAC]; s != nil {
			f.Where = s.Place.Ref().String()
		}
		f.Advice = "switch proxy ARP off there, unless it is meant; until then absent devices of that network may seem present"
		a.known[p.MAC] = true
		a.add(f, a.planned[p.Device])
	}
}
