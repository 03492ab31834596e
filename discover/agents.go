package discover

import (
	"context"
	"errors"
	"fmt"
	"net/netip"
	"slices"
	"sync"
	"time"

	"boundwalk/discover/mib"
	"boundwalk/discover/snmp"
	"boundwalk/inventory"

	"golang.org/x/sync/errgroup"
)

// agentsAtOnce bounds how many agents are read side by side.
const agentsAtOnce = 16

// agentMost bounds the reading of one agent, so that one that answers each request at the last
// moment does not keep the run to its deadline.
const agentMost = 3 * time.Minute

// agents reads the planned SNMP agents, one slot for each.
type agents struct {
	plan *inventory.Plan
	opts Options
	jobs []*agentJob
	most time.Duration // for one agent
	done chan struct{} // closed when all were read once
	mu   sync.Mutex
	read int
}

// agentJob is one planned agent and what it told.
type agentJob struct {
	device *inventory.Device
	target netip.AddrPort
	access *inventory.Access
	cred   snmp.Credentials
	weak   []string
	skip   *inventory.Coverage // why it is not asked
	client *snmp.Client
	got    mib.Reading
	ok     bool
	err    error
}

func newAgents(plan *inventory.Plan, opts Options) *agents {
	a := &agents{plan: plan, opts: opts, most: agentMost, done: make(chan struct{})}
	for i := range plan.Devices {
		d := &plan.Devices[i]
		if d.Access == "" {
			continue
		}
		a.jobs = append(a.jobs, newJob(plan, d, opts))
	}
	return a
}

func newJob(plan *inventory.Plan, d *inventory.Device, opts Options) *agentJob {
	j := &agentJob{device: d, target: d.Agent}
	skip := func(r inventory.Result, why string) *agentJob {
		j.skip = &inventory.Coverage{Subject: d.Name, Source: inventory.SourceSNMP, Result: r, Why: why}
		return j
	}
	access, ok := plan.AccessNamed(d.Access)
	if !ok {
		return skip(inventory.Skipped, "the plan has no access "+d.Access)
	}
	if !j.target.IsValid() {
		j.target = netip.AddrPortFrom(d.Address(), access.Port)
	}
	switch {
	case !j.target.IsValid():
		return skip(inventory.Skipped, "the plan gives it no address")
	case slices.Contains(plan.LeaveAlone, j.target.Addr()):
		return skip(inventory.Skipped, "the plan leaves it alone")
	case !d.Agent.IsValid() && !within(plan, j.target.Addr()): // a slip of the pen must not send a community across the internet
		return skip(inventory.Skipped, "its address lies in no network of the plan")
	}
	cred, err := credentials(access, opts.Secrets)
	if err != nil {
		return skip(inventory.Refused, err.Error())
	}
	j.access, j.cred, j.weak = access, cred, cred.Weak()
	return j
}

// within reports whether the address may be asked at all: it lies in a network of
// the plan, or on this machine.
func within(plan *inventory.Plan, a netip.Addr) bool {
	_, ok := plan.NetworkOf(a)
	return ok || a.IsLoopback()
}

// credentials resolves an access. Its errors name the access and the reference,
// never a secret.
func credentials(a *inventory.Access, secrets func(inventory.SecretRef) (string, error)) (snmp.Credentials, error) {
	c := snmp.Credentials{Version: a.Version, User: a.User, Auth: a.Auth, Privacy: a.Privacy, Context: a.Context}
	switch a.Version {
	case "v1":
		c.Version = "1"
	case "v2c":
		c.Version = "2c"
	case "v3":
		c.Version = "3"
	}
	for _, s := range []struct {
		ref inventory.SecretRef
		to  *snmp.Secret
	}{{a.Community, &c.Community}, {a.AuthKey, &c.AuthSecret}, {a.PrivKey, &c.PrivacySecret}} {
		if s.ref == "" {
			continue
		}
		if secrets == nil {
			return c, fmt.Errorf("access %s: nothing resolves its secrets", a.Name)
		}
		text, err := secrets(s.ref)
		if err != nil {
			return c, fmt.Errorf("access %s: %w", a.Name, err)
		}
		*s.to = snmp.Secret(text)
	}
	if err := c.Validate(); err != nil {
		return c, fmt.Errorf("access %s: %w", a.Name, err)
	}
	return c, nil
}

// collect reads every agent once. A dead one must not end the others.
func (a *agents) collect(ctx context.Context, _ *inventory.Evidence) {
	defer close(a.done)
	var g errgroup.Group
	g.SetLimit(agentsAtOnce)
	for _, j := range a.jobs {
		if j.skip != nil {
			continue
		}
		g.Go(func() error {
			a.ask(ctx, j, false)
			return nil
		})
	}
	g.Wait()
}

func (a *agents) ask(ctx context.Context, j *agentJob, alive bool) {
	c, err := snmp.Dial(ctx, j.target, j.cred, snmp.Options{Repetitions: a.opts.Repetitions[j.device.Name], Alive: alive})
	if err != nil {
		j.err = err
	} else {
		j.client, j.err = c, nil
		within, cancel := context.WithTimeout(ctx, a.most)
		j.got = mib.Collect(within, c, mib.Request{
			Device: j.device.Name, Objects: j.device.Objects, Contexts: j.contexts(), VLANs: vlans(a.plan),
		})
		cancel()
		j.ok = true
		if errors.Is(j.got.Err, context.DeadlineExceeded) && ctx.Err() == nil {
			j.got.Err = fmt.Errorf("reading it took longer than %v", a.most)
		}
	}
	a.mu.Lock()
	a.read++
	a.opts.Progress("reading agents", min(a.read, len(a.jobs)), len(a.jobs))
	a.mu.Unlock()
}

// contexts is what the access says of further contexts. Many devices may share it, and
// only a switch is asked for VLANs that it does not list.
func (j *agentJob) contexts() string {
	if j.access.Contexts == inventory.ContextsPerVLAN && j.device.Role != inventory.Switch {
		return inventory.ContextsListed
	}
	return j.access.Contexts
}

// vlans are those of the plan's networks, in order.
func vlans(plan *inventory.Plan) []int {
	var out []int
	for _, n := range plan.Networks {
		if n.VLAN != 0 {
			out = append(out, n.VLAN)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// relearn reads the forwarding tables again once the sweeps have woken
// everything, since rows age out after some minutes of silence. An agent that was silent
// although its device answered ARP may answer from another address, and is asked once more for that.
func (a *agents) relearn(ctx context.Context, seen []inventory.Sighting, swept bool) {
	<-a.done
	alive := map[netip.Addr]bool{}
	for _, s := range seen {
		alive[s.Addr] = true
	}
	var g errgroup.Group
	g.SetLimit(agentsAtOnce)
	for _, j := range a.jobs {
		g.Go(func() error {
			switch {
			case j.skip != nil || ctx.Err() != nil:
			case errors.Is(j.err, snmp.ErrNoResponse) && alive[j.target.Addr()]:
				a.ask(ctx, j, true)
			case j.ok && swept:
				ctx, cancel := context.WithTimeout(ctx, a.most)
				defer cancel()
				mib.Relearn(ctx, j.client, &j.got)
			}
			return nil
		})
	}
	g.Wait()
	for _, j := range a.jobs {
		if j.client != nil {
			j.client.Close()
		}
	}
}

// merge adds what the agents told to the evidence.
func (a *agents) merge(ev *inventory.Evidence) {
	for _, j := range a.jobs {
		if j.skip != nil {
			ev.Coverage = append(ev.Coverage, *j.skip)
			continue
		}
		c := inventory.Coverage{Subject: j.device.Name, Source: inventory.SourceSNMP, Result: inventory.Complete}
		if !j.ok {
			c.Result, c.Why = agentResult(j.err)
			ev.Coverage = append(ev.Coverage, c)
			continue
		}
		if j.got.Err != nil {
			c.Result, c.Why = inventory.Partial, j.got.Err.Error()
		}
		ev.Coverage = append(ev.Coverage, c)
		ev.Coverage = append(ev.Coverage, j.got.Coverage...)
		ev.Sightings = append(ev.Sightings, j.got.Neighbors...)
		ag := j.got.Agent
		ag.Device, ag.Target, ag.Weak, ag.Version = j.device.Name, j.target, j.weak, j.access.Version
		ev.Agents = append(ev.Agents, ag)
	}
}

func agentResult(err error) (inventory.Result, string) {
	why := err.Error()
	if t, ok := errors.AsType[*snmp.TargetError](err); ok {
		why = t.Err.Error()
	}
	if errors.Is(err, snmp.ErrNoResponse) {
		return inventory.NoAnswer, why + ": it is off, filtered, has no agent, or the community is wrong"
	}
	return inventory.Refused, why
}
