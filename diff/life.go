package diff

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"github.com/robfig/cron/v3"

	"boundwalk/inventory"
)

// Restarts within so short a time have one cause.
const together = 10 * time.Minute

// life reports restarts, firmware, renumbered ports, and who would not be looked at.
func (a *auditor) life() {
	renumbered := map[string]bool{}
	for _, name := range a.names {
		d, s := a.planned[name], a.seen[name]
		if a.renumbered(d) {
			renumbered[name] = true
		}
		if s != nil {
			a.firmware(d, s)
		}
	}
	a.restarts(renumbered)
	a.couldNotLook()
}

// firmware reports other firmware than planned, else than before.
func (a *auditor) firmware(d *inventory.Device, s *inventory.SeenDevice) {
	if s.Firmware == "" || s.Presence != inventory.Present {
		return
	}
	want, why := inventory.Clean(d.Firmware), "planned"
	if want == "" {
		want, why = inventory.Clean(a.hist.Firmware[d.Name]), "before"
	}
	if want == "" || want == inventory.Clean(s.Firmware) {
		return
	}
	f := New(FirmwareChanged, d.Name)
	f.Where = d.At.String()
	f.Expected = want + ", " + why
	f.Observed = inventory.Clean(s.Firmware)
	f.Advice = "see that its settings survived: passwords, address, streams"
	a.add(f, d)
}

// renumbered reports, in one line, a switch whose interfaces have other numbers
// than in the run before. Ports are kept by name, so nothing else follows (FC-13).
func (a *auditor) renumbered(d *inventory.Device) bool {
	now := a.agents[d.Name]
	if now == nil || a.hist.Previous == nil {
		return false
	}
	was, ok := a.hist.Previous.Agent(d.Name)
	if !ok {
		return false
	}
	n := 0
	for name, i := range now.Ports {
		if old, had := was.Ports[name]; had && old != i {
			n++
		}
	}
	if n == 0 {
		return false
	}
	f := New(PortsRenumbered, d.Name)
	f.Where = d.Name
	f.Expected = "the port numbers of the last run"
	f.Observed = fmt.Sprintf("%s of its agent have other numbers under the same names", Plural(n, "port", "ports"))
	if s := a.seen[d.Name]; s != nil {
		if at := a.restartedAt(s); !at.IsZero() {
			f.Observed += "; it started at " + a.when(at)
		}
	}
	f.Advice = "nothing: boundwalk keeps ports by their names"
	a.add(f, d)
	return true
}

// restart is a device that started since it was last read.
type restart struct {
	dev *inventory.Device
	at  time.Time
	up  time.Duration
}

// restarts reports who restarted, one finding for those that did together. A
// planned time, a firmware change, renumbered ports and a power fault say it already.
func (a *auditor) restarts(told map[string]bool) {
	for _, f := range a.found {
		if f.Kind == FirmwareChanged {
			told[f.Subject] = true
		}
	}
	var all []restart
	for _, name := range a.names {
		d, s := a.planned[name], a.seen[name]
		if s == nil || s.Presence != inventory.Present || told[name] || a.faulted[name] {
			continue
		}
		at := a.restartedAt(s)
		if at.IsZero() || a.plannedRestart(d, at) {
			continue
		}
		all = append(all, restart{d, at, s.UpTime.Up})
	}
	slices.SortStableFunc(all, func(x, y restart) int {
		return cmp.Or(x.at.Compare(y.at), cmp.Compare(a.tree.depth[x.dev.Name], a.tree.depth[y.dev.Name]))
	})
	for len(all) > 0 {
		n := 1
		for n < len(all) && all[n].at.Sub(all[0].at) <= together {
			n++
		}
		a.restartedTogether(all[:n])
		all = all[n:]
	}
}

// restartedTogether: what hangs behind another that restarted went with it; of
// three or more without such a parent the mains are the likely cause.
func (a *auditor) restartedTogether(group []restart) {
	in := map[string]int{}
	for i, r := range group {
		in[r.dev.Name] = i
	}
	behind := map[string][]string{}
	var heads []restart
	for _, r := range group {
		head := ""
		for n, steps := a.tree.parent[r.dev.Name], 0; n != "" && steps <= len(a.plan.Devices); n, steps = a.tree.parent[n], steps+1 {
			if _, ok := in[n]; ok && a.poweredThrough(r.dev, n) {
				head = n
			}
		}
		if head != "" {
			behind[head] = append(behind[head], r.dev.Name)
			continue
		}
		heads = append(heads, r)
	}
	if len(heads) >= 3 {
		first := heads[0]
		for _, h := range heads[1:] {
			if a.tree.depth[h.dev.Name] < a.tree.depth[first.dev.Name] {
				first = h
			}
		}
		var rest []string
		for _, r := range group {
			if r.dev != first.dev {
				rest = append(rest, r.dev.Name)
			}
		}
		a.restarted(first, rest, fmt.Sprintf("%d devices started within %s: a power cut is likely", len(group),
			lasts(max(group[len(group)-1].at.Sub(group[0].at), time.Minute))))
		return
	}
	for _, h := range heads {
		a.restarted(h, behind[h.dev.Name], "")
	}
}

// poweredThrough reports whether the device has its power from the switch, or
// from one that has.
func (a *auditor) poweredThrough(d *inventory.Device, from string) bool {
	for range len(a.plan.Devices) {
		src, _, ok := a.plan.FedBy(d)
		if !ok || d.Mains != "" || !d.TakesPower() {
			return false
		}
		if src.Name == from {
			return true
		}
		d = src
	}
	return false
}

func (a *auditor) restarted(r restart, behind []string, why string) {
	f := New(Restarted, r.dev.Name)
	f.Where, f.Behind, f.Basis = r.dev.At.String(), behind, inventory.Measured
	f.Expected = "running on since the last run"
	f.Observed = sentence(fmt.Sprintf("started at %s, up %s", a.when(r.at), lasts(r.up)), why)
	for _, o := range a.hist.Outages {
		if o.What == "power" && !r.at.Before(o.From) && (o.To.IsZero() || r.at.Before(o.To.Add(together))) {
			f.Observed = sentence(f.Observed, "the site was dark from "+a.when(o.From))
			break
		}
	}
	f.Advice = "if nobody restarted it, look at its power"
	a.add(f, r.dev)
}

// plannedRestart reports whether the plan allows the device to restart then.
func (a *auditor) plannedRestart(d *inventory.Device, at time.Time) bool {
	const slack = 2 * time.Minute // as exact as an uptime is
	for _, w := range d.Restarts {
		s, err := cron.ParseStandard(w.Cron)
		if err != nil {
			continue
		}
		begins := s.Next(at.In(a.loc).Add(-w.For - slack - time.Second))
		if !begins.IsZero() && !begins.After(at.Add(slack)) {
			return true
		}
	}
	return false
}

// couldNotLook reports planned agents that refused, or stayed silent in two runs,
// though the device itself is there.
func (a *auditor) couldNotLook() {
	for _, name := range a.names {
		d, ag := a.planned[name], a.agents[name]
		if ag == nil || a.covered[name] || a.absent[name] || d.AwayAt(a.now.In(a.loc)) {
			continue
		}
		if s := a.seen[name]; s == nil || s.Presence == inventory.Absent {
			continue
		}
		switch ag.Result {
		case inventory.Refused:
		case inventory.NoAnswer:
			if a.settling || a.answeredBefore(name) {
				continue
			}
		default:
			continue
		}
		f := New(CouldNotLook, name)
		f.Where = d.At.String()
		f.Expected = "an answer from its SNMP agent"
		f.Observed = "no answer, though the device is there"
		f.Advice = "see that its SNMP agent is on and lets this machine ask"
		if ag.Result == inventory.Refused {
			f.Observed = "its agent refuses"
			f.Advice = fmt.Sprintf("see that the entry %q under access has the right user and secrets", d.Access)
		}
		if why := a.whyNot(name); why != "" {
			f.Observed = sentence(f.Observed, why)
		}
		a.add(f, d)
	}
}

func (a *auditor) answeredBefore(name string) bool {
	if a.hist.Previous == nil {
		return false
	}
	was, ok := a.hist.Previous.Agent(name)
	return ok && (was.Result == inventory.Complete || was.Result == inventory.Partial)
}

func (a *auditor) whyNot(name string) string {
	for _, c := range a.snap.Coverage {
		if c.Subject == name && c.Source == inventory.SourceSNMP && c.Table == "" {
			return c.Why
		}
	}
	return ""
}
