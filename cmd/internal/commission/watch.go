// Package commission waits for a device that was just added and proves it:
// Watch sees it come, Judge goes through what matters of it step by step, and
// Record is the page that is left with the owner. It reads only, through what
// the caller gives it.
package commission

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"boundwalk/inventory"
)

// Options say how to watch.
type Options struct {
	Name string // a planned device to wait for; empty: whatever comes

	Wait   time.Duration // until something has come; zero means 5 minutes
	Every  time.Duration // between two light reads; zero means 3 seconds
	Settle time.Duration // for what has come to show all of itself; zero means 45 seconds

	// Peek is a light read: a word for each port that changes when a cable is
	// plugged in or power comes. Look is a whole one; with sweep it also asks
	// the attached networks, which costs broadcasts.
	Peek func(ctx context.Context) map[string]string
	Look func(ctx context.Context, sweep bool) (*inventory.Snapshot, error)
	Tell func(words string) // news for who waits; nil: nobody does
}

// lookEach: without a change at the ports, only each so many light reads is a whole one.
const lookEach = 5

// mostSweeps bounds the broadcasts while a device settles.
const mostSweeps = 3

// Watched is what came.
type Watched struct {
	Before, After *inventory.Snapshot
	Arrived       []string            // names in After, sorted by where they hang
	Ports         []inventory.PortRef // woke up, and no MAC address was learned there
	Began, Ended  time.Time
}

// Watch looks at how it stands, waits for something to come, and for that to
// settle. It ends without an arrival when its time is up; the error is that of
// ctx or of Look.
func Watch(ctx context.Context, plan *inventory.Plan, o Options) (Watched, error) {
	o.Wait, o.Every, o.Settle = cmp.Or(o.Wait, 5*time.Minute), cmp.Or(o.Every, 3*time.Second), cmp.Or(o.Settle, 45*time.Second)
	if o.Tell == nil {
		o.Tell = func(string) {}
	}
	w := &watcher{Options: o, plan: plan, out: Watched{Began: time.Now()}}
	err := w.run(ctx)
	w.out.Ended = time.Now()
	return w.out, err
}

type watcher struct {
	Options
	plan   *inventory.Plan
	out    Watched
	was    map[string]string
	sweeps int
	blind  bool // a switch tells nothing of its ports: what comes there is seen by sweeps alone
}

// unseen reports whether the ports where something may come tell nothing: those
// of the named device's switch, else of any that the plan gives an access.
func (w *watcher) unseen() bool {
	seen := map[string]bool{}
	for i := range w.out.Before.Ports {
		seen[w.out.Before.Ports[i].Switch] = true
	}
	if d, ok := w.plan.Device(w.Name); ok {
		if at := w.plan.ManagedPort(d); !at.IsZero() {
			return !seen[at.Device]
		}
	}
	return len(seen) == 0 || slices.ContainsFunc(w.plan.Devices, func(d inventory.Device) bool {
		return d.Role == inventory.Switch && d.Access != "" && !seen[d.Name]
	})
}

func (w *watcher) run(ctx context.Context) (err error) {
	if w.out.Before, err = w.Look(ctx, true); err != nil {
		return err
	}
	w.was = w.Peek(ctx)
	w.out.After = w.out.Before
	w.blind = w.unseen()
	if w.Name != "" {
		// Whatever stands in its place already is proved as well: nothing else will come there.
		if w.out.Arrived = arrivedAs(w.plan, &inventory.Snapshot{}, w.out.Before, w.Name); len(w.out.Arrived) > 0 {
			w.Tell(w.Name + " is there already")
			return w.settle(ctx, true)
		}
	}
	if len(w.out.Before.Ports) == 0 && !slices.ContainsFunc(w.out.Before.Networks, func(n inventory.NetworkState) bool {
		return n.Looked == inventory.Complete || n.Looked == inventory.Partial
	}) {
		return nil // no use in waiting where nothing can be seen
	}
	if w.Name != "" {
		w.Tell("waiting for " + w.Name + ": plug it in now")
	} else {
		w.Tell("waiting for whatever comes next: plug it in now")
	}
	if err := w.wait(ctx); err != nil || !w.came() {
		return err
	}
	return w.settle(ctx, false)
}

func (w *watcher) came() bool { return len(w.out.Arrived)+len(w.out.Ports) > 0 }

// pause waits for d, or until ctx ends and then returns its cause.
func pause(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return context.Cause(ctx)
	case <-t.C:
		return nil
	}
}

// wait reads lightly until something has come, or the time is up.
func (w *watcher) wait(ctx context.Context) error {
	end := time.Now().Add(w.Wait)
	for tick := 1; time.Now().Before(end); tick++ {
		if err := pause(ctx, w.Every); err != nil {
			return err
		}
		now := w.Peek(ctx)
		woke := changed(w.was, now)
		if len(now) > 0 {
			w.was = now
		}
		if len(woke) > 0 {
			w.Tell("something changed at " + strings.Join(woke, ", "))
		} else if tick%lookEach != 0 {
			continue
		}
		if err := w.look(ctx, len(woke) > 0 || w.blind); err != nil {
			return err
		}
		if len(w.out.Arrived) > 0 {
			return nil
		}
		if len(w.out.Ports) > 0 && len(woke) > 0 { // power comes first, the MAC address some seconds later
			return nil
		}
	}
	return nil
}

// look is a whole one, with what has come since the beginning.
func (w *watcher) look(ctx context.Context, sweep bool) error {
	snap, err := w.Look(ctx, sweep)
	if err != nil {
		return err
	}
	w.out.After = snap
	w.out.Arrived = Arrivals(w.plan, w.out.Before, snap, w.Name)
	w.out.Ports = nil
	for _, p := range wokePorts(w.out.Before, snap) {
		named := slices.ContainsFunc(w.out.Arrived, func(n string) bool {
			s, ok := snap.Device(n)
			return ok && s.Place.Ref() == p
		})
		if !named && (w.Name == "" || w.plannedAt(p)) && !w.holds(snap, p) {
			w.out.Ports = append(w.out.Ports, p)
		}
	}
	return nil
}

func (w *watcher) plannedAt(p inventory.PortRef) bool {
	d, ok := w.plan.Device(w.Name)
	return ok && w.plan.ManagedPort(d) == p
}

// holds reports whether a device that was there before is behind the port: then
// it only woke up.
func (w *watcher) holds(snap *inventory.Snapshot, p inventory.PortRef) bool {
	return slices.ContainsFunc(snap.Devices, func(s inventory.SeenDevice) bool {
		return s.Place.Ref() == p && s.Place.Basis != inventory.Remembered && s.Presence == inventory.Present
	})
}

// settle looks on until all that has come shows link, power, address, or its
// time is up. What was there already did not come: there are no arrivals to find.
func (w *watcher) settle(ctx context.Context, there bool) error {
	for _, n := range w.out.Arrived {
		if !there {
			w.Tell("there it is: " + n)
		}
	}
	end := time.Now().Add(w.Settle)
	for !w.settled() && time.Now().Before(end) {
		if err := pause(ctx, w.Every); err != nil {
			return err
		}
		w.sweeps++
		if there {
			snap, err := w.Look(ctx, w.sweeps <= mostSweeps)
			if err != nil {
				return err
			}
			w.out.After = snap
			continue
		}
		if err := w.look(ctx, w.sweeps <= mostSweeps || w.blind); err != nil {
			return err
		}
	}
	return nil
}

func (w *watcher) settled() bool {
	if len(w.out.Ports) > 0 || len(w.out.Arrived) == 0 {
		return false
	}
	return !slices.ContainsFunc(w.out.Arrived, func(n string) bool {
		s, ok := w.out.After.Device(n)
		return !ok || !shown(w.out.After, s)
	})
}

// shown reports whether a device has shown what it is going to.
func shown(snap *inventory.Snapshot, s *inventory.SeenDevice) bool {
	if s.Presence != inventory.Present || len(s.Addrs) == 0 {
		return false
	}
	p, ok := snap.Port(s.Place.Ref())
	if ok && p.Up != nil && !*p.Up {
		return false // agents keep what they read of their ports for a while
	}
	if !ok || p.Power == nil || p.Power.State != inventory.PSEDelivering {
		return true
	}
	_, classed := p.Power.Class.Number()
	return classed && (p.Power.Draw != nil && *p.Power.Draw > 0 || !measures(snap, p.Switch))
}

// measures reports whether a switch tells the watts of single ports, so that it
// is worth waiting for those of one more.
func measures(snap *inventory.Snapshot, name string) bool {
	return slices.ContainsFunc(snap.Ports, func(p inventory.PortState) bool {
		return p.Switch == name && p.Power != nil && p.Power.DrawBasis == inventory.Measured
	})
}

// changed lists the ports whose word is another than before, or new.
func changed(was, now map[string]string) []string {
	var out []string
	for p, word := range now {
		if was[p] != word {
			out = append(out, p)
		}
	}
	slices.SortFunc(out, inventory.ComparePorts)
	return out
}

// Arrivals names the devices of after that were not there before, or hang
// elsewhere now. Where ports woke up, only what hangs on those counts: a printer may wake at any
// time. With a name only that device, or what stands on its port in its place, counts.
func Arrivals(plan *inventory.Plan, before, after *inventory.Snapshot, name string) []string {
	if name != "" {
		return arrivedAs(plan, before, after, name)
	}
	woke := wokePorts(before, after)
	var all, fresh []string
	for i := range after.Devices {
		s := &after.Devices[i]
		if s.Self || s.Presence != inventory.Present || s.Private && s.BehindAP || !isNew(before, s) {
			continue
		}
		all = append(all, s.Name)
		if slices.Contains(woke, s.Place.Ref()) {
			fresh = append(fresh, s.Name)
		}
	}
	if len(fresh) > 0 {
		return fresh
	}
	return all
}

// isNew reports whether a device was not there before, or its place changed for sure.
func isNew(before *inventory.Snapshot, s *inventory.SeenDevice) bool {
	for i := range before.Devices {
		b := &before.Devices[i]
		same := b.Name == s.Name || slices.ContainsFunc(s.MACs, func(m inventory.MAC) bool { return slices.Contains(b.MACs, m) })
		if !same || b.Presence != inventory.Present {
			continue
		}
		return firm(s) && firm(b) && s.Place.Ref() != b.Place.Ref() && !s.Role.Roams()
	}
	return true
}

func firm(s *inventory.SeenDevice) bool {
	return !s.Place.IsZero() && s.Place.Among < 2 && (s.Place.Basis == inventory.ByLLDP || s.Place.Basis == inventory.ByFDB)
}

// Placed reports whether a planned device hangs where it belongs, alone and for sure.
func Placed(plan *inventory.Plan, d *inventory.Device, s *inventory.SeenDevice) bool {
	at := plan.ManagedPort(d)
	return firm(s) && !at.IsZero() && s.Place.Ref() == at
}

// arrivedAs finds a planned device, or what stands in its place.
func arrivedAs(plan *inventory.Plan, before, after *inventory.Snapshot, name string) []string {
	s, ok := after.Device(name)
	if ok && s.Presence == inventory.Present {
		return []string{name}
	}
	d, planned := plan.Device(name)
	if !ok || !planned {
		return nil
	}
	at := plan.ManagedPort(d)
	for i := range after.Devices {
		o := &after.Devices[i]
		if o.Planned || o.Presence != inventory.Present || !isNew(before, o) {
			continue
		}
		claims := slices.ContainsFunc(o.MACs, func(m inventory.MAC) bool { return slices.Contains(s.Claimed, m) })
		if claims || firm(o) && !at.IsZero() && o.Place.Ref() == at {
			return []string{o.Name}
		}
	}
	return nil
}

// wokePorts are the ports that have a link or give power now and did neither before.
func wokePorts(before, after *inventory.Snapshot) []inventory.PortRef {
	var out []inventory.PortRef
	for i := range after.Ports {
		p := &after.Ports[i]
		ref := inventory.PortRef{Device: p.Switch, Port: p.Port}
		b, ok := before.Port(ref)
		if ok && awake(p) && !awake(b) {
			out = append(out, ref)
		}
	}
	return out
}

func awake(p *inventory.PortState) bool {
	return p.Up != nil && *p.Up || p.Power != nil && p.Power.State == inventory.PSEDelivering
}

// Signs turns a light read into a word for each port.
func Signs(agents []inventory.Agent) map[string]string {
	out := map[string]string{}
	for i := range agents {
		a := &agents[i]
		for _, f := range a.Interfaces {
			if f.OperUp != nil {
				out[fmt.Sprintf("%s interface %d", a.Device, f.Index)] = fmt.Sprint(*f.OperUp)
			}
		}
		for _, p := range a.PSEPorts {
			out[fmt.Sprintf("%s power port %d", a.Device, p.Index.Port)] = string(p.State)
		}
	}
	return out
}
