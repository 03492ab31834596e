package discover

import (
	"context"
	"fmt"
	"net/netip"
	"slices"
	"sync"

	"boundwalk/discover/dnssd"
	"boundwalk/discover/ndp"
	"boundwalk/discover/wsd"
	"boundwalk/inventory"
)

// further are the sources beside ARP and SNMP that the plan leaves on. Those on
// a link run once for each attached network that is not only counted.
func further(plan *inventory.Plan, at []inventory.Attached, opts Options) []Source {
	l := links{plan: plan, opts: opts}
	for _, n := range plan.Networks {
		if n.Unknown == inventory.UnknownCount {
			l.ignore = append(append(l.ignore, n.Subnet), n.Subnet6...)
		}
	}
	var out []Source
	for _, a := range at {
		if n, ok := plan.NetworkNamed(a.Network); !ok || n.Unknown == inventory.UnknownCount || !a.Up {
			continue
		}
		if slices.Contains(l.done, a.Interface) {
			continue // two networks on one interface share its link
		}
		l.done = append(l.done, a.Interface)
		out = append(out, l.neighbors(a))
		if plan.Sources.MDNS {
			out = append(out, l.browse(a))
		}
		if plan.Sources.WSDiscovery {
			out = append(out, l.probe(a))
		}
	}
	return out
}

// links asks on attached links by multicast.
type links struct {
	plan   *inventory.Plan
	opts   Options
	ignore []netip.Prefix
	done   []string
}

// ended turns a source's own word for how it ended into coverage.
func ended(network, source, end, why string) inventory.Coverage {
	return inventory.Coverage{Subject: network, Source: source, Result: inventory.Result(end), Why: why}
}

func (l links) neighbors(a inventory.Attached) Source {
	return func(ctx context.Context, ev *inventory.Evidence) {
		o := ndp.Options{Ignore: l.ignore}
		for _, d := range l.plan.Devices {
			o.Ask = append(o.Ask, d.Addresses...)
		}
		r := ndp.Look(ctx, a.Interface, o)
		for _, n := range slices.Concat(r.Neighbors, r.Apart) { // Assemble counts the latter, and hides their MACs
			ev.Sightings = append(ev.Sightings, inventory.Sighting{MAC: n.MAC, Addr: n.Addr, Source: inventory.SourceND, By: a.Interface, Seen: n.Seen, Live: true})
		}
		ev.Coverage = append(ev.Coverage, ended(a.Network, inventory.SourceND, r.End, r.Why))
		l.note(ev, a, "IPv6 neighbours", r.Overflow)
	}
}

func (l links) browse(a inventory.Attached) Source {
	return func(ctx context.Context, ev *inventory.Evidence) {
		r := dnssd.Browse(ctx, a.Interface, dnssd.Options{Ignore: l.ignore})
		for _, s := range r.Services {
			if l.leftAlone(s.From) {
				continue
			}
			ev.Services = append(ev.Services, inventory.Announced{Addr: s.From, Source: inventory.SourceMDNS, Type: inventory.Clean(s.Type),
				Name: inventory.Clean(s.Instance), Port: s.Port})
			ev.Sightings = append(ev.Sightings, inventory.Sighting{Addr: s.From, Name: inventory.Clean(s.Host), Source: inventory.SourceMDNS,
				By: a.Interface, Seen: s.Seen, Live: true})
		}
		ev.Coverage = append(ev.Coverage, ended(a.Network, inventory.SourceMDNS, r.End, r.Why))
		l.note(ev, a, "mDNS records", r.Overflow)
	}
}

// probe asks cameras and root devices at once; a root device is then asked once
// what it is.
func (l links) probe(a inventory.Attached) Source {
	return func(ctx context.Context, ev *inventory.Evidence) {
		var wg sync.WaitGroup
		var cams wsd.ProbeResult
		var roots []inventory.Announced
		var counts wsd.Counts
		wg.Go(func() { cams = wsd.Probe(ctx, a.Interface, wsd.Options{Ignore: l.ignore}) })
		wg.Go(func() { roots, counts = l.roots(ctx, a) })
		wg.Wait()
		for _, c := range cams.Cameras {
			s := inventory.Announced{Addr: c.From, Source: inventory.SourceWSD, Name: inventory.Clean(c.Name), Model: inventory.Clean(c.Hardware)}
			for _, t := range c.Types {
				s.Type = inventory.Clean(t)
				ev.Services = append(ev.Services, s)
			}
			ev.Sightings = append(ev.Sightings, inventory.Sighting{Addr: c.From, Source: inventory.SourceWSD, By: a.Interface, Seen: c.Seen, Live: true})
		}
		ev.Services = append(ev.Services, roots...)
		ev.Coverage = append(ev.Coverage, ended(a.Network, inventory.SourceWSD, cams.End, cams.Why), ended(a.Network, inventory.SourceSSDP, counts.End, counts.Why))
		l.note(ev, a, "WS-Discovery answers", cams.Overflow)
		l.note(ev, a, "SSDP answers", counts.Overflow)
	}
}

func (l links) roots(ctx context.Context, a inventory.Attached) ([]inventory.Announced, wsd.Counts) {
	r := wsd.Search(ctx, a.Interface, wsd.Options{Ignore: l.ignore})
	out := make([]inventory.Announced, 0, len(r.Roots))
	for _, root := range r.Roots {
		if l.leftAlone(root.From) {
			continue
		}
		s := inventory.Announced{Addr: root.From, Source: inventory.SourceSSDP, Type: "upnp:rootdevice"}
		if !within(l.plan, root.From) { // this wire carries a network that the plan does not name
			out = append(out, s)
			continue
		}
		if d, err := wsd.Describe(ctx, root); err == nil { // what it does not tell stays unknown
			s.Name, s.Maker, s.Model = inventory.Clean(d.FriendlyName), inventory.Clean(d.Manufacturer), inventory.Clean(d.ModelName)
		}
		out = append(out, s)
	}
	return out, r.Counts
}

func (l links) leftAlone(a netip.Addr) bool { return slices.Contains(l.plan.LeaveAlone, a) }

func (l links) note(ev *inventory.Evidence, a inventory.Attached, what string, over int) {
	if over > 0 {
		ev.Capped = append(ev.Capped, fmt.Sprintf("%s: %d more %s than are kept", a.Network, over, what))
	}
}
