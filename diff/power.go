package diff

import (
	"fmt"
	"slices"
	"time"

	"boundwalk/inventory"
	"boundwalk/inventory/cable"
	"boundwalk/inventory/poe"
)

// portPower reports what is wrong with the power on each port.
func (a *auditor) portPower() {
	for i := range a.snap.Ports {
		p := &a.snap.Ports[i]
		if p.Power == nil {
			continue
		}
		d := a.fedOn(i)
		if a.toPassive(p, a.onPort[i]) {
			continue // whatever else is wrong there, this comes first
		}
		denied := a.denied(p, d)
		a.faults(p, d)
		if !denied {
			a.notPowered(p, d)
		}
		a.portNear(p, d)
		a.classDiffers(p, d)
	}
}

// fedOn is the one device that the plan hangs on the snapshot's port itself; nil:
// none, or several.
func (a *auditor) fedOn(port int) *inventory.Device {
	if ds := a.onPort[port]; len(ds) == 1 {
		return ds[0]
	}
	return nil
}

// toPassive: a port that gives power to a device planned as passive, or into an
// injector for one, is the strongest warning there is (FC-04).
func (a *auditor) toPassive(p *inventory.PortState, on []*inventory.Device) bool {
	if p.Power.State != inventory.PSEDelivering {
		return false
	}
	for _, d := range on {
		if !a.passiveFeed(d) {
			continue
		}
		ref := refOf(p)
		f := New(PowerToPassive, ref.String())
		f.Where, f.Basis = ref.String(), inventory.Measured
		f.Expected = fmt.Sprintf("no power: %s takes a passive feed", d.Name)
		f.Observed = fmt.Sprintf("%s gives %s power", portWords(ref), p.Power.Class)
		if p.Power.Draw != nil {
			f.Observed += fmt.Sprintf(", %s %s", *p.Power.Draw, p.Power.DrawBasis)
		}
		f.Advice = a.withoutPower(ref, d)
		f.Caution = poe.CautionPassive
		a.add(f, d)
		return true
	}
	return false
}

// withoutPower advises how to take power off a port. What our own path runs
// over is not to be cut from here.
func (a *auditor) withoutPower(ref inventory.PortRef, d *inventory.Device) string {
	if a.ourPath(ref) {
		return fmt.Sprintf("go there: the way from here to the site runs over %s, so change nothing on it from afar; on the spot, put the injector back between the port and %s", portWords(ref), d.Name)
	}
	return fmt.Sprintf("set %s to give no power, and see what hangs there before anything is plugged in", portWords(ref))
}

// ourPath reports whether the port lies between the machine that boundwalk runs
// on and the router. Where nothing tells on which port that machine hangs, each
// port that leads on to other gear may be on the way.
func (a *auditor) ourPath(ref inventory.PortRef) bool {
	k := portKey(ref)
	self := a.self()
	if self == "" {
		at := a.selfFound()
		if a.planned[at.Device] == nil {
			p := a.ports[k]
			return p == nil || p.Uplink || slices.ContainsFunc(a.on[k], func(d *inventory.Device) bool { return d.Role.IsInfrastructure() })
		}
		if portKey(at) == k {
			return true
		}
		self = at.Device
	}
	chain := map[string]bool{}
	for n, steps := self, 0; n != "" && steps <= len(a.plan.Devices); n, steps = a.up(n), steps+1 {
		d := a.planned[n]
		if portKey(d.At) == k || (inventory.PortRef{Device: n, Port: inventory.PortName(d.Port)}) == k {
			return true
		}
		chain[n] = true
	}
	// The other way round: the router hangs below where we stand.
	for _, d := range a.on[k] {
		if d.Role == inventory.Router || a.aboveRouter(d.Name) {
			return true
		}
	}
	return false
}

// selfFound is the port on which this machine was found, if the plan does not
// name it; zero: on none.
func (a *auditor) selfFound() inventory.PortRef {
	for i := range a.snap.Devices {
		if d := &a.snap.Devices[i]; d.Self && !d.Place.IsZero() {
			return d.Place.Ref()
		}
	}
	return inventory.PortRef{}
}

// up is what the device hangs on by the plan; empty: nothing.
func (a *auditor) up(name string) string {
	d := a.planned[name]
	if d == nil || a.planned[d.At.Device] == nil {
		return ""
	}
	return d.At.Device
}

// aboveRouter reports whether a router hangs on the device, by the plan.
func (a *auditor) aboveRouter(name string) bool {
	for i := range a.plan.Devices {
		if a.plan.Devices[i].Role != inventory.Router {
			continue
		}
		for n, steps := a.plan.Devices[i].Name, 0; n != "" && steps <= len(a.plan.Devices); n, steps = a.up(n), steps+1 {
			if n == name {
				return true
			}
		}
	}
	return false
}

// base is the reading of a counter to count from: the oldest of the week, or the
// last run's where the counter began anew since. False: nothing to compare with.
func (a *auditor) base(p *inventory.PortState, of func(*inventory.PortPower) *uint32) (rise uint32, since time.Time, ok bool) {
	now := of(p.Power)
	if now == nil || *now == 0 {
		return 0, since, false // nothing can have risen to zero
	}
	b, has := a.hist.Counters[refOf(p)]
	if !has {
		return 0, since, false
	}
	for _, was := range []*inventory.PortState{&b.Week, &b.Last} {
		if was.Power == nil {
			continue
		}
		if x := of(was.Power); x != nil && *x <= *now {
			return *now - *x, was.Counters.Read, true
		}
	}
	return 0, since, false
}

// denied reports that the switch refused a device its power (FC-02).
func (a *auditor) denied(p *inventory.PortState, d *inventory.Device) bool {
	rise, since, ok := a.base(p, func(w *inventory.PortPower) *uint32 { return w.Denied })
	if !ok || rise == 0 {
		return false
	}
	ref := refOf(p)
	f := New(PowerDenied, ref.String())
	f.Where, f.Basis = ref.String(), inventory.Measured
	f.Expected = "power for what hangs there"
	if d != nil {
		f.Expected = "power for " + d.Name
	}
	f.Observed = fmt.Sprintf("%s denied %s%s", portWords(ref), Plural(int(rise), "time", "times"), a.sinceWords(since))
	if s := a.supplyOf(p); s != nil {
		f.Observed = sentence(f.Observed, supplyWords(s))
	}
	f.Advice = "free power on that switch: lower what its ports reserve, move a device to another switch or injector, or raise the supply"
	if d != nil && a.passiveFeed(d) {
		f.Advice = "see what hangs there: the plan feeds " + d.Name + " by an injector, so leave the port's power off"
		f.Caution = poe.CautionPassive
	} else if f.Caution == "" {
		f.Caution = poe.CautionMains
	}
	a.explain(a.add(f, d), d)
	return true
}

// explain makes the finding the cause of the device's absence, should it be gone.
func (a *auditor) explain(f *Finding, d *inventory.Device) {
	if d != nil && a.cause[d.Name] == nil {
		a.cause[d.Name] = f
	}
}

func (a *auditor) sinceWords(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return " since " + a.when(t)
}

// faults reports ports whose counters of overload, short circuit or lost devices
// rose, with what the device's own uptime tells of it (FC-01).
func (a *auditor) faults(p *inventory.PortState, d *inventory.Device) {
	var parts []string
	var since time.Time
	total := uint32(0)
	for _, c := range []struct {
		one, many string
		of        func(*inventory.PortPower) *uint32
	}{
		{"overload", "overloads", func(w *inventory.PortPower) *uint32 { return w.Overload }},
		{"short circuit", "short circuits", func(w *inventory.PortPower) *uint32 { return w.Short }},
		{"power loss", "power losses", func(w *inventory.PortPower) *uint32 { return w.MPSAbsent }},
	} {
		rise, from, ok := a.base(p, c.of)
		if !ok || rise == 0 {
			continue
		}
		if c.one == "power loss" && rise == 1 && !a.suffered(p, d) {
			continue // someone unplugged a device
		}
		parts = append(parts, Plural(int(rise), c.one, c.many))
		total += rise
		since = from
	}
	if total == 0 {
		return
	}
	ref := refOf(p)
	f := New(PowerFaults, ref.String())
	f.Where, f.Basis = ref.String(), inventory.Measured
	f.Expected = "steady power"
	f.Observed = fmt.Sprintf("%s on %s%s", joinAnd(parts), portWords(ref), a.sinceWords(since))
	f.Observed = sentence(f.Observed, a.peakWords(p), a.restartWords(d))
	f.Advice = "look at the plug and the cable there for damp or damage, then hold the highest draw against the port's limit: lamps and heaters draw most at night"
	if d != nil {
		f.Expected += " for " + d.Name
		a.faulted[d.Name] = true
		if d.Cable.Outdoor {
			f.Caution = cable.CautionOutdoor
		}
	}
	a.explain(a.add(f, d), d)
}

func joinAnd(parts []string) string {
	if len(parts) < 2 {
		return names(parts)
	}
	last := len(parts) - 1
	return fmt.Sprintf("%s and %s", names(parts[:last]), parts[last])
}

// suffered reports whether the device on the port is away or has just started.
func (a *auditor) suffered(p *inventory.PortState, d *inventory.Device) bool {
	if d == nil {
		return false
	}
	// One loss and then absent is an unplugging, which missing-device tells.
	if s := a.seen[d.Name]; s != nil && s.Presence == inventory.Present && a.restartedAt(s) != (time.Time{}) {
		return true
	}
	return false
}

// restartWords tells that the device on a faulty port started again.
func (a *auditor) restartWords(d *inventory.Device) string {
	if d == nil {
		return ""
	}
	s := a.seen[d.Name]
	if s == nil {
		return ""
	}
	if s.UpTime != nil && s.Presence == inventory.Present && s.UpTime.Up < 7*aDay && s.UpTime.Up > 0 {
		return fmt.Sprintf("%s started at %s (up %s)", d.Name, a.when(s.UpTime.Read.Add(-s.UpTime.Up)), lasts(s.UpTime.Up))
	}
	if s.Presence == inventory.Absent {
		return d.Name + " does not answer"
	}
	return ""
}

// notPowered reports a port that gives nothing to a device which the plan feeds
// there, where the port itself says why. A port that merely searches may have
// nothing plugged in: then the device is missing, and that says it.
func (a *auditor) notPowered(p *inventory.PortState, d *inventory.Device) {
	w := p.Power
	if d == nil || !d.TakesPower() || a.passiveFeed(d) || len(d.Via) > 0 || d.Mains != "" || a.covered[d.Name] || d.AwayAt(a.now.In(a.loc)) || d.Role.Roams() {
		return
	}
	if w.State != inventory.PSEOff && w.State != inventory.PSEFault {
		return
	}
	if s := a.seen[d.Name]; s == nil || s.Presence == inventory.Present {
		return // it has its power from elsewhere
	}
	if a.settling {
		return
	}
	ref := refOf(p)
	f := New(NotPowered, ref.String())
	f.Where, f.Basis = ref.String(), inventory.Measured
	f.Expected = "power for " + d.Name
	f.Observed = "power on " + portWords(ref) + ": " + stateWords(w.State)
	f.Advice = fmt.Sprintf("switch the power of %s on in the switch's settings", portWords(ref))
	if w.State == inventory.PSEFault {
		f.Advice = fmt.Sprintf("unplug what hangs on %s and look at plug and cable for damp, damage or a short circuit; try the device on a short cable", portWords(ref))
		if d.Cable.Outdoor {
			f.Caution = cable.CautionOutdoor
		}
	}
	a.explain(a.add(f, d), d)
	if !a.gone[d.Name] {
		a.covered[d.Name] = true
	}
}

// classDiffers notes a class other than planned; where a smaller port grants
// less than the device asks for, that is what it must show.
func (a *auditor) classDiffers(p *inventory.PortState, d *inventory.Device) {
	w := p.Power
	if d == nil || w.State != inventory.PSEDelivering || w.Class == 0 || d.Class == 0 || len(d.Via) > 0 || a.covered[d.Name] {
		return
	}
	sw := a.planned[p.Switch]
	granted := d.Class
	if sw != nil {
		if g := sw.FeedAt(p.Port).Standard.Grant(d.Class); g != 0 {
			granted = g
		}
	}
	alike := w.Class.Ratings().Output == d.Class.Ratings().Output || w.Class == granted
	tableEnds := w.Class == poe.Class4 && d.Class > poe.Class4 // RFC 3621 knows no higher class
	if alike || tableEnds || !slices.Contains(p.Seen, d.Name) && len(p.Seen) > 0 {
		return
	}
	ref := refOf(p)
	f := New(ClassDiffers, ref.String())
	f.Where, f.Basis = ref.String(), inventory.Measured
	f.Expected = fmt.Sprintf("%s of %s", d.Class, d.Name)
	f.Observed = fmt.Sprintf("%s, so up to %s are set aside for it", w.Class, w.Class.Ratings().Output)
	f.Advice = "set the plan right, or see whether another device hangs there"
	a.add(f, d)
}
