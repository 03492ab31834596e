package diff

import (
	"fmt"
	"net/netip"
	"slices"

	"boundwalk/inventory"
)

// leastRange is how many devices with addresses of one range make it a network
// that the plan lacks; fewer are devices of their own, with a factory address perhaps.
const leastRange = 3

// fromTables are the witnesses that tell of a wire which need not be ours: a
// switch or router knows the addresses of each network that it has a foot in.
var fromTables = []string{inventory.SourceNeighbors, inventory.SourceFDB, inventory.SourceLLDP, inventory.SourceSNMP, inventory.SourceLease, inventory.SourceDNS}

// toldByTables reports whether nothing was heard of the device on a wire that
// this machine is on.
func toldByTables(s *inventory.SeenDevice) bool {
	return !slices.ContainsFunc(s.Witnesses, func(w string) bool { return !slices.Contains(fromTables, w) })
}

// strayed reports whether a device without an IPv4 address in a planned network
// has left one: it was heard outside it, or was in it by the plan or in the run before.
func (a *auditor) strayed(s *inventory.SeenDevice) bool {
	d, was := a.planned[s.Name], a.wasSeen[s.Name]
	return !toldByTables(s) || d != nil && len(d.Addresses) > 0 || was != nil && slices.ContainsFunc(was.Addrs, netip.Addr.Is4)
}

// otherNetworks reports a range that several devices have their addresses in
// and no plan names, as one: a switch that was asked has a foot in that network.
// Whoever is in it is not told of once more.
func (a *auditor) otherNetworks() {
	in := map[netip.Prefix][]*inventory.SeenDevice{}
	for i := range a.snap.Devices {
		s := &a.snap.Devices[i]
		if s.Self || s.Presence != inventory.Present || a.explained(s) || a.guestPort(s) || slices.ContainsFunc(s.Addrs, netip.Addr.Is4) || a.strayed(s) {
			continue
		}
		if r := rangesOf(s); len(r) > 0 {
			in[r[0]] = append(in[r[0]], s)
		}
	}
	for r, devices := range in {
		if len(devices) < leastRange {
			continue
		}
		f := New(WrongNetwork, r.String())
		f.Severity = Note
		for _, s := range devices {
			f.Behind = append(f.Behind, s.Name)
			if s.Planned {
				continue
			}
			f.Severity = Warning
			for _, m := range s.MACs {
				a.known[m] = true
			}
		}
		f.Expected = "addresses of the planned networks alone"
		f.Observed = fmt.Sprintf("%d devices have addresses of %s, as a switch or router that was asked tells", len(f.Behind), r)
		f.Advice = "if that network is yours, write it into the plan under networks:, with unknown: count if its devices are not; then each is judged by itself"
		a.add(f, nil)
	}
}
