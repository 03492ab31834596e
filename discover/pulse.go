package discover

import (
	"context"
	"errors"
	"net/netip"
	"slices"
	"sync"
	"time"

	"boundwalk/discover/mib"
	"boundwalk/discover/reach"
	"boundwalk/discover/snmp"
	"boundwalk/inventory"

	"golang.org/x/sync/errgroup"
)

// Beat is what one pulse saw.
type Beat struct {
	At     time.Time         // when it began
	Agents []inventory.Agent // what those that answered told, in the plan's order
	Up     map[string]bool   // planned device -> it answered; who was not asked is not in it
}

// pulseMost bounds a pulse, so that one always ends before the next is due.
const pulseMost = 30 * time.Second

// Pulse asks the planned routers, switches, radios, access points and UPSes in a
// few packets each whether they are there, what they give and what is up. Those
// without an agent are pinged where the plan leaves pings on and they are on
// an attached network. Topology is for [Survey].
func Pulse(ctx context.Context, plan *inventory.Plan, opts Options) Beat {
	ctx, cancel := context.WithTimeout(ctx, pulseMost)
	defer cancel()
	b := Beat{At: time.Now(), Up: map[string]bool{}}
	at := attached(plan)
	var jobs []*agentJob
	var mute []*inventory.Device
	for i := range plan.Devices {
		d := &plan.Devices[i]
		if !hasPulse(d.Role) {
			continue
		}
		if d.Access != "" {
			if j := newJob(plan, d, opts); j.skip == nil {
				jobs = append(jobs, j)
				continue
			}
		}
		if plan.Sources.Echo && (singles{plan: plan, at: at}).near(d.Address()) {
			mute = append(mute, d)
		}
	}
	var wg sync.WaitGroup
	var pings map[string]bool
	wg.Go(func() { pings = ping(ctx, mute) })
	beatAgents(ctx, jobs, opts)
	wg.Wait()
	for _, j := range jobs {
		switch {
		case j.ok:
			b.Up[j.device.Name] = true
			j.got.Agent.Device = j.device.Name
			b.Agents = append(b.Agents, j.got.Agent)
		case j.err != nil && ctx.Err() == nil:
			b.Up[j.device.Name] = !errors.Is(j.err, snmp.ErrNoResponse)
		}
	}
	for name, up := range pings {
		b.Up[name] = up
	}
	return b
}

func hasPulse(r inventory.Role) bool {
	switch r {
	case inventory.Router, inventory.Switch, inventory.Radio, inventory.AccessPoint, inventory.UPS:
		return true
	}
	return false
}

func beatAgents(ctx context.Context, jobs []*agentJob, opts Options) {
	var g errgroup.Group
	g.SetLimit(agentsAtOnce)
	for _, j := range jobs {
		g.Go(func() error {
			c, err := snmp.Dial(ctx, j.target, j.cred, snmp.Options{Repetitions: opts.Repetitions[j.device.Name], Sockets: 1})
			if err != nil {
				j.err = err
				return nil
			}
			defer c.Close()
			j.got = mib.Pulse(ctx, c, mib.Request{Device: j.device.Name, Objects: j.device.Objects})
			j.ok = true
			return nil
		})
	}
	g.Wait()
}

// ping asks who has no agent. Without the right to send pings nobody was asked.
func ping(ctx context.Context, list []*inventory.Device) map[string]bool {
	if len(list) == 0 {
		return nil
	}
	var addrs []netip.Addr
	for _, d := range list {
		addrs = append(addrs, d.Address())
	}
	r := reach.Ping(ctx, addrs, reach.PingOptions{Count: 2})
	if r.End != string(inventory.Complete) && r.End != string(inventory.NoAnswer) {
		return nil
	}
	up := map[string]bool{}
	for _, d := range list {
		k := slices.IndexFunc(r.Echoes, func(e reach.Echo) bool { return e.Addr == d.Address() })
		if k >= 0 && r.Echoes[k].Sent > 0 {
			up[d.Name] = r.Echoes[k].Received > 0
		}
	}
	return up
}
