package discover

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"os"
	"slices"
	"sync"

	"boundwalk/discover/arp"
	"boundwalk/inventory"
)

// The pace of a sweep, in requests a second: a broadcast costs a radio dearly.
const (
	rateScheduled = 20
	rateAsked     = 100
)

// attached finds this machine's interfaces in the plan's networks. Loopback
// counts as none: nothing answers ARP there.
func attached(plan *inventory.Plan) []inventory.Attached {
	ifs, err := net.Interfaces()
	if err != nil {
		return nil
	}
	var out []inventory.Attached
	for _, i := range ifs {
		if i.Flags&net.FlagLoopback != 0 || len(i.HardwareAddr) != 6 {
			continue
		}
		addrs, err := i.Addrs()
		if err != nil {
			continue
		}
		for _, a := range addrs {
			p, err := netip.ParsePrefix(a.String())
			if err != nil || !p.Addr().Is4() {
				continue
			}
			if n, ok := plan.NetworkOf(p.Addr()); ok {
				out = append(out, inventory.Attached{Network: n.Name, Interface: i.Name, MAC: inventory.MAC(i.HardwareAddr), Addr: p.Addr(),
					Up: i.Flags&net.FlagUp != 0})
			}
		}
	}
	return out
}

// sweeps asks each attached network by ARP: interfaces side by side, networks on
// one interface in turn, since they share its wire and with it the pace.
func sweeps(ctx context.Context, plan *inventory.Plan, at []inventory.Attached, opts Options, ev *inventory.Evidence) {
	var mu sync.Mutex
	var wg sync.WaitGroup
	turns := map[string][]inventory.Network{} // by interface
	for _, n := range plan.Networks {
		i := slices.IndexFunc(at, func(a inventory.Attached) bool { return a.Network == n.Name })
		switch {
		case n.Unknown == inventory.UnknownCount:
			ev.Coverage = append(ev.Coverage, inventory.Coverage{Subject: n.Name, Source: inventory.SourceARP, Result: inventory.Skipped,
				Why: "the plan only counts what is there"})
		case i >= 0:
			turns[at[i].Interface] = append(turns[at[i].Interface], n)
		}
	}
	for iface, networks := range turns {
		wg.Go(func() {
			for _, n := range networks {
				part := sweep(ctx, plan, n, iface, opts)
				mu.Lock()
				ev.Coverage = append(ev.Coverage, part.Coverage...)
				ev.Sightings = append(ev.Sightings, part.Sightings...)
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	slices.SortStableFunc(ev.Sightings, func(a, b inventory.Sighting) int { return a.Addr.Compare(b.Addr) })
}

func sweep(ctx context.Context, plan *inventory.Plan, n inventory.Network, iface string, opts Options) inventory.Evidence {
	o := arp.Options{Prefix: n.Subnet, LeaveAlone: plan.LeaveAlone, Rate: rateScheduled,
		Progress: func(sent, total int) { opts.Progress("asking "+n.Name, sent, total) }}
	if opts.Asked {
		o.Rate = rateAsked
	}
	for _, other := range plan.Networks {
		if other.Unknown == inventory.UnknownCount {
			o.Ignore = append(o.Ignore, other.Subnet)
		}
	}
	for _, d := range plan.Devices {
		o.Planned = append(o.Planned, d.Addresses...)
	}
	source := inventory.SourceARP
	r, err := arp.Sweep(ctx, iface, o)
	if errors.Is(err, os.ErrPermission) {
		source = inventory.SourceKernel
		r, err = arp.Wake(ctx, iface, o)
	}
	var ev inventory.Evidence
	ev.Coverage = append(ev.Coverage, arpCoverage(n.Name, r, err, source))
	if err == nil {
		opts.Progress("asking "+n.Name, 1, 1)
	}
	for _, x := range r.Replies {
		ev.Sightings = append(ev.Sightings, sighted(x, source, iface, true))
	}
	for _, x := range r.Heard {
		ev.Sightings = append(ev.Sightings, sighted(x, inventory.SourceListen, iface, true))
	}
	for _, x := range r.Apart { // Assemble counts them, and hides what else it hears of their MACs
		ev.Sightings = append(ev.Sightings, inventory.Sighting{MAC: x.MAC, Addr: x.Addr, Source: inventory.SourceListen, By: iface, Live: true})
	}
	return ev
}

// arpCoverage says how a sweep ended. What the kernel's table tells is never
// complete: it has one MAC for an address and forgets.
func arpCoverage(network string, r arp.Result, err error, source string) inventory.Coverage {
	c := inventory.Coverage{Subject: network, Source: inventory.SourceARP, Result: inventory.Complete}
	switch {
	case errors.Is(err, arp.ErrNotRun):
		c.Result, c.Why = inventory.Skipped, err.Error()
	case errors.Is(err, os.ErrPermission):
		c.Result, c.Why = inventory.Refused, "no right to open a raw socket, and the kernel's table cannot be read"
	case err != nil:
		c.Result, c.Why = inventory.Partial, err.Error()
	case source == inventory.SourceKernel:
		c.Result, c.Why = inventory.Partial, "without the right to open a raw socket only this machine's neighbour table was read, which sees less"
		if r.Why != "" {
			c.Why += ": " + r.Why
		}
	case !r.Complete:
		c.Result, c.Why = inventory.Partial, r.Why
	}
	if r.Malformed+r.Drops > 0 && err == nil {
		c.Why = join(c.Why, fmt.Sprintf("%d malformed frames, %d lost", r.Malformed, r.Drops))
	}
	return c
}

func join(a, b string) string {
	if a == "" {
		return b
	}
	return a + "; " + b
}

// sighted turns a reply into a sighting. The tries that it answered count from
// the first, which is all that two senders of one address can be compared by.
func sighted(r arp.Reply, source, iface string, live bool) inventory.Sighting {
	s := inventory.Sighting{MAC: r.MAC, Addr: r.Addr, Source: source, By: iface, Seen: r.Last, Live: live, Probe: !r.Addr.IsValid()}
	for t := range r.Tries {
		s.Tries = append(s.Tries, t+1)
	}
	return s
}

// remoteNetworks says for each network that is not attached whether a
// router's neighbour table could stand in for a sweep.
func remoteNetworks(plan *inventory.Plan, ev *inventory.Evidence) []inventory.Coverage {
	var out []inventory.Coverage
	for _, n := range plan.Networks {
		if _, swept := ev.Coverage.Result(n.Name, "", inventory.SourceARP); swept {
			continue
		}
		c := inventory.Coverage{Subject: n.Name, Source: inventory.SourceNeighbors, Result: inventory.Skipped,
			Why: "this machine is not attached to it, and no router of the plan has a neighbour table to read"}
		for i := range ev.Agents {
			a := &ev.Agents[i]
			r, asked := a.Tables[inventory.TableNeighbors]
			if !asked || !routes(plan, a, n) {
				continue
			}
			switch r {
			case inventory.Complete:
				c.Result, c.Why = inventory.Complete, "by the neighbour table of "+a.Device
			case inventory.NotOffered:
				if c.Result == inventory.Skipped {
					c.Result, c.Why = inventory.NotOffered, a.Device+" offers no neighbour table"
				}
			default:
				if c.Result != inventory.Complete {
					c.Result, c.Why = inventory.Partial, "the neighbour table of "+a.Device+" was not read to its end"
				}
			}
		}
		out = append(out, c)
	}
	return out
}

// routes reports whether the agent stands in the network as its router.
func routes(plan *inventory.Plan, a *inventory.Agent, n inventory.Network) bool {
	d, ok := plan.Device(a.Device)
	if !ok || d.Role != inventory.Router {
		return false
	}
	return slices.Contains(d.Addresses, n.Gateway) || slices.ContainsFunc(a.Addresses, func(x inventory.AgentAddress) bool { return n.Contains(x.Addr) })
}
