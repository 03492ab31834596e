package discover

import (
	"context"
	"errors"
	"fmt"
	"net/netip"
	"os"
	"slices"

	"boundwalk/discover/arp"
	"boundwalk/inventory"
)

// factoryBits bounds a range that is looked into: a /22 has 1,022 addresses, ten
// seconds' worth of broadcasts.
const factoryBits = 22

// FactoryRanges asks by ARP in the further ranges that the plan names beside
// its attached networks, for gear that still has the address of its factory. It is
// for a commission, where a person waits: a run never looks there.
func FactoryRanges(plan *inventory.Plan) Source {
	return func(ctx context.Context, ev *inventory.Evidence) {
		for _, a := range attached(plan) {
			n, ok := plan.NetworkNamed(a.Network)
			if !ok || n.Unknown == inventory.UnknownCount || !a.Up {
				continue
			}
			for _, r := range n.Probe {
				factoryRange(ctx, plan, a, r, ev)
			}
		}
	}
}

func factoryRange(ctx context.Context, plan *inventory.Plan, a inventory.Attached, r netip.Prefix, ev *inventory.Evidence) {
	c := inventory.Coverage{Subject: a.Network, Table: "factory range " + r.String(), Source: inventory.SourceARP, Result: inventory.Skipped}
	defer func() { ev.Coverage = append(ev.Coverage, c) }()
	overlaps := func(n inventory.Network) bool { return n.Subnet.Overlaps(r) }
	switch i := slices.IndexFunc(plan.Networks, overlaps); {
	case i >= 0:
		c.Why = "it lies in the network " + plan.Networks[i].Name
		return
	case !r.Addr().Is4() || r.Bits() < factoryBits:
		c.Why = fmt.Sprintf("only IPv4 ranges up to a /%d are looked into", factoryBits)
		return
	}
	o := arp.Options{Prefix: r, Skip: plan.LeaveAlone, Rate: rateAsked}
	for _, n := range plan.Networks {
		if n.Unknown == inventory.UnknownCount {
			o.Ignore = append(o.Ignore, n.Subnet)
		}
	}
	got, err := arp.Foreign(ctx, a.Interface, o)
	switch {
	case errors.Is(err, os.ErrPermission):
		c.Why = "no right to open a raw socket"
	case errors.Is(err, arp.ErrNotRun):
		c.Why = err.Error()
	case err != nil:
		c.Result, c.Why = inventory.Partial, err.Error()
	case !got.Complete:
		c.Result, c.Why = inventory.Partial, got.Why
	default:
		c.Result = inventory.Complete
	}
	for _, x := range got.Replies {
		ev.Sightings = append(ev.Sightings, sighted(x, inventory.SourceARP, a.Interface, true))
	}
	for _, x := range got.Heard {
		ev.Sightings = append(ev.Sightings, sighted(x, inventory.SourceListen, a.Interface, true))
	}
}
