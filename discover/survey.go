// Package discover looks at the network: it runs the sources side by side
// within the plan's scope and merges what they saw into the evidence of one
// run, beside the coverage. It only reads.
//
// What is sent where is bounded by the plan: ARP on attached networks, SNMP to
// planned agents, and the further sources that the plan switches on. Networks
// that the plan only counts are never swept.
package discover

import (
	"context"
	"sync"
	"time"

	"boundwalk/discover/login"
	"boundwalk/inventory"
)

// Options say how to look. Secrets is required where the plan has an access.
type Options struct {
	// Asked means that a person waits: sweeps send 100 requests a second, else 20.
	Asked bool
	// Secrets resolves a reference of the plan.
	Secrets func(inventory.SecretRef) (string, error)
	// Repetitions are the request sizes that worked before, by device.
	Repetitions map[string]int
	// Progress is told how far each part is. It may be called from several
	// goroutines, one at a time for each part, and must return quickly.
	Progress func(part string, done, total int)
	// AgentsOnly reads the agents and asks no network: a look that costs no broadcast.
	AgentsOnly bool
	// Further are sources beside ARP and SNMP, such as what the daemon heard
	// between two runs.
	Further []Source
	// Deadline bounds a whole run; zero means 10 minutes.
	Deadline time.Duration
	// Ledger counts tries of factory accounts before they are sent; nil: none is sent.
	Ledger login.Ledger
	// LoginsAsked means that a person asked for these tries. A day between two
	// tries and what else the gate of package login wants hold all the same.
	LoginsAsked bool
	// LoginsOf names the only devices whose accounts may be tried; nil: all. What is
	// tried there is up to the gate all the same.
	LoginsOf []string
}

// Source adds what it saw to the evidence. It blocks until it is done or ctx
// ends; its own part is merged when it returns.
type Source func(ctx context.Context, ev *inventory.Evidence)

// Survey looks once. The evidence is Aborted if ctx ended before all sources
// did; it is then whole in itself, and never to be compared.
func Survey(ctx context.Context, plan *inventory.Plan, opts Options) *inventory.Evidence {
	if opts.Deadline == 0 {
		opts.Deadline = 10 * time.Minute
	}
	if opts.Progress == nil {
		opts.Progress = func(string, int, int) {}
	}
	outer := ctx
	ctx, cancel := context.WithTimeout(ctx, opts.Deadline)
	defer cancel()
	ev := &inventory.Evidence{Started: time.Now()}
	agents := newAgents(plan, opts)
	if opts.AgentsOnly {
		quiet := *plan
		quiet.Networks, quiet.Sources = nil, inventory.Sources{}
		plan = &quiet
	}
	ev.Attached = attached(plan)
	swept := newHeard()
	sources := []Source{
		agents.collect,
		func(ctx context.Context, part *inventory.Evidence) {
			sweeps(ctx, plan, ev.Attached, opts, part)
			swept.tell(part.Sightings)
		},
		func(ctx context.Context, _ *inventory.Evidence) {
			agents.relearn(ctx, swept.wait(), len(ev.Attached) > 0)
		},
	}
	sources = append(sources, further(plan, ev.Attached, opts)...)
	sources = append(sources, single(plan, ev.Attached, swept)...)
	sources = append(sources, opts.Further...)
	sideBySide(ctx, ev, sources)
	agents.merge(ev)
	ev.Coverage = append(ev.Coverage, remoteNetworks(plan, ev)...)
	if outer.Err() == nil {
		checkLogins(ctx, plan, opts, agents, ev)
	}
	ev.Finished = time.Now()
	ev.Aborted = outer.Err() != nil
	return ev
}

// sideBySide runs the sources at once and merges their parts in the order of
// the sources, so that the evidence does not depend on which ended first.
func sideBySide(ctx context.Context, ev *inventory.Evidence, sources []Source) {
	parts := make([]inventory.Evidence, len(sources))
	var wg sync.WaitGroup
	for i, s := range sources {
		wg.Go(func() { s(ctx, &parts[i]) })
	}
	wg.Wait()
	for i := range parts {
		p := &parts[i]
		ev.Coverage = append(ev.Coverage, p.Coverage...)
		ev.Sightings = append(ev.Sightings, p.Sightings...)
		ev.Services = append(ev.Services, p.Services...)
		ev.Reach = append(ev.Reach, p.Reach...)
		ev.Clocks = append(ev.Clocks, p.Clocks...)
		ev.DHCP = append(ev.DHCP, p.DHCP...)
		ev.Logins = append(ev.Logins, p.Logins...)
		ev.Agents = append(ev.Agents, p.Agents...)
		ev.Capped = append(ev.Capped, p.Capped...)
	}
}

// heard hands what the sweeps saw to the sources that ask single addresses.
type heard struct {
	done chan struct{}
	seen []inventory.Sighting
}

func newHeard() *heard { return &heard{done: make(chan struct{})} }

func (h *heard) tell(seen []inventory.Sighting) {
	h.seen = seen
	close(h.done)
}

// wait blocks until the sweeps are over; they end when their context does.
func (h *heard) wait() []inventory.Sighting {
	<-h.done
	return h.seen
}
