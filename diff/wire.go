package diff

import (
	"fmt"
	"slices"
	"time"

	"boundwalk/inventory"
	"boundwalk/inventory/cable"
)

// wires reports what is wrong with the links of ports.
func (a *auditor) wires() {
	for i := range a.snap.Ports {
		p := &a.snap.Ports[i]
		ds := a.onPort[i]
		var d *inventory.Device
		if len(ds) > 0 {
			d = ds[0] // an injector and what it feeds may share a port: one link
		}
		if d == nil {
			d = a.uplinkOf(p)
		}
		switch {
		case p.Up == nil:
		case *p.Up:
			a.linkSlow(p, d)
			a.halfDuplex(p, d)
		default:
			a.linkDown(p, ds)
		}
		a.linkErrors(p, d)
	}
}

// uplinkOf is the device itself, where the port is the one that leads to what it
// hangs on and the other side tells nothing of it.
func (a *auditor) uplinkOf(p *inventory.PortState) *inventory.Device {
	d := a.planned[p.Switch]
	if d == nil || d.Port == "" || inventory.PortName(d.Port) != inventory.PortName(p.Port) || a.portOf(d) != nil {
		return nil
	}
	return d
}

// wantedSpeed is the planned speed of the device's link: its own, or what a radio
// link says of its cable side.
func (a *auditor) wantedSpeed(d *inventory.Device) inventory.BitRate {
	want := d.Speed
	for _, l := range a.plan.Links {
		for k, end := range l.Between {
			if end == d.Name {
				want = max(want, l.PortSpeed[k])
			}
		}
	}
	return want
}

// linkSlow holds a link's speed against the plan, else what it was before, for
// what always runs. A television in standby is no finding.
func (a *auditor) linkSlow(p *inventory.PortState, d *inventory.Device) {
	if d == nil || p.Speed <= 0 || a.covered[d.Name] {
		return
	}
	want, why := a.wantedSpeed(d), ""
	if want == 0 {
		switch d.Role {
		case inventory.Camera, inventory.Switch, inventory.Radio, inventory.AccessPoint:
			want, why = a.hist.Speeds[refOf(p)], ", as it was before"
		}
	}
	if want <= p.Speed {
		return
	}
	ref := refOf(p)
	f := New(LinkSlow, ref.String())
	f.Where, f.Basis = ref.String(), inventory.Measured
	f.Expected = fmt.Sprintf("%s to %s%s", want, d.Name, why)
	f.Observed = fmt.Sprintf("%s on %s", p.Speed, portWords(ref))
	f.Advice = "look at the plugs and the cable: one bad pair takes a gigabit link down to 100 Mbit/s; try another cable"
	if l := a.linkOf(d.Name); l != nil {
		f.Observed += fmt.Sprintf("; it is the cable side of the radio link %s, so the radio cannot be faster", l.Name)
	}
	for _, via := range d.Via {
		if i := a.planned[via]; i != nil && i.Feeds.Direct {
			f.Observed += fmt.Sprintf("; the injector %s is for 10 and 100 Mbit/s", via)
		}
	}
	if len(d.Via) > 0 {
		f.Advice = fmt.Sprintf("look at %s first: plugs, damp, and whether it passes gigabit at all; then at the cable", names(d.Via))
		f.Caution = a.passiveCaution(d)
	}
	if f.Caution == "" && d.Cable.Outdoor {
		f.Caution = cable.CautionOutdoor
	}
	a.add(f, d)
}

// linkOf is the radio link that the device is an end of; nil: none.
func (a *auditor) linkOf(device string) *inventory.RadioLink {
	for i := range a.plan.Links {
		if slices.Contains(a.plan.Links[i].Between[:], device) {
			return &a.plan.Links[i]
		}
	}
	return nil
}

func (a *auditor) halfDuplex(p *inventory.PortState, d *inventory.Device) {
	if p.HalfDuplex == nil || !*p.HalfDuplex {
		return
	}
	ref := refOf(p)
	f := New(HalfDuplex, ref.String())
	f.Where, f.Basis = ref.String(), inventory.Measured
	f.Expected = "full duplex"
	f.Observed = "half duplex on " + portWords(ref)
	if p.Speed > 0 {
		f.Observed += fmt.Sprintf(", at %s", p.Speed)
	}
	if late := p.Counters.Late; late != nil && *late > 0 {
		f.Observed += fmt.Sprintf("; %s counted", Plural(int(min(*late, 1<<30)), "late collision", "late collisions"))
	}
	f.Advice = "set both ends to find speed and duplex by themselves: one end that is fixed makes the other fall back to half duplex"
	if d != nil {
		f.Expected += " to " + d.Name
	}
	a.add(f, d)
}

// What counts as errors on a link: our own choice, for no standard draws a line.
// A sound copper link has next to none.
const (
	leastErrors   = 50
	errorsOfBytes = 1e-8 // one in 100,000 frames of 1,000 octets
	errorsPerHour = 30   // where no octets are counted
)

// linkErrors reports a port whose error counters rose fast since the last run.
func (a *auditor) linkErrors(p *inventory.PortState, d *inventory.Device) {
	b, ok := a.hist.Counters[refOf(p)]
	was, now := b.Last.Counters, p.Counters
	if !ok || was.Read.IsZero() || !now.Read.After(was.Read) || !sameCount(was.Discontinuity, now.Discontinuity) {
		return
	}
	ref := refOf(p)
	fcs, hasFCS := risen(was.FCS, now.FCS)
	in, hasIn := risen(was.InErrors, now.InErrors)
	out, _ := risen(was.OutErrors, now.OutErrors)
	if !hasFCS && !hasIn {
		return
	}
	errs := max(fcs, in) + out
	least, share, hourly := uint64(leastErrors), errorsOfBytes, float64(errorsPerHour)
	if a.open(LinkErrors, ref.String()) {
		least, share, hourly = least/2, share/2, hourly/2
	}
	span := now.Read.Sub(was.Read)
	octets, counted := risen(was.In, now.In)
	sent, _ := risen(was.Out, now.Out)
	octets += sent
	rate := float64(errs) / span.Hours()
	switch {
	case errs < least:
		return
	case counted && octets > 0 && float64(errs) < share*float64(octets):
		return
	case (!counted || octets == 0) && rate < hourly:
		return
	}
	f := New(LinkErrors, ref.String())
	f.Where, f.Basis = ref.String(), inventory.Measured
	f.Expected = "next to no damaged frames"
	f.Observed = fmt.Sprintf("%d errors on %s in %s", errs, portWords(ref), lasts(span))
	if fcs > 0 {
		f.Observed += fmt.Sprintf(", %d of them damaged frames", fcs)
	}
	if counted && octets > 0 {
		f.Observed += fmt.Sprintf(", in %s", bytesWords(octets))
	}
	f.Advice = "look at plugs and cable for damp and damage, and try another cable; on a radio link, both ends count as a hint of the air"
	if d != nil {
		f.Expected += " to " + d.Name
		if d.Cable.Outdoor {
			f.Caution = cable.CautionOutdoor
		}
	}
	a.add(f, d)
}

func sameCount(x, y *uint32) bool { return x == nil || y == nil || *x == *y }

// risen is how far a counter rose; false where either reading lacks or it began anew.
func risen(was, now *uint64) (uint64, bool) {
	if was == nil || now == nil || *now < *was {
		return 0, false
	}
	return *now - *was, true
}

func bytesWords(n uint64) string {
	switch {
	case n >= 1e9:
		return fmt.Sprintf("%.1f GB", float64(n)/1e9)
	case n >= 1e6:
		return fmt.Sprintf("%.1f MB", float64(n)/1e6)
	}
	return fmt.Sprintf("%d bytes", n)
}

// linkDown reports a port without link where what the plan has there is not
// told as missing: because it never shows, or could not be looked for.
func (a *auditor) linkDown(p *inventory.PortState, ds []*inventory.Device) {
	was := a.before[portKey(refOf(p))]
	if was == nil || was.Up == nil || *was.Up || a.settling {
		return // one run may be a restart
	}
	for _, d := range ds {
		s := a.seen[d.Name]
		_, span := patience(d.Role)
		asleep := span > 0 || d.Role.Roams() || d.Role == inventory.Television
		if s == nil || asleep || a.covered[d.Name] || a.coveredBy(d) || d.AwayAt(a.now.In(a.loc)) || s.Presence == inventory.Present ||
			d.Role == inventory.Injector {
			continue
		}
		if a.pulseSaw(d.Name) || s.Presence == inventory.Absent && !a.gone[d.Name] {
			continue
		}
		ref := refOf(p)
		f := New(LinkDown, ref.String())
		f.Where, f.Basis = ref.String(), inventory.Measured
		f.Expected = "a link to " + d.Name
		f.Observed = linkWords(p)
		f.Advice, f.Caution = a.lookAt(d)
		a.add(f, d)
		return
	}
}

// coveredBy reports whether what hangs on the device, or it on, is told already:
// a switch that never shows is told by its children.
func (a *auditor) coveredBy(d *inventory.Device) bool {
	if !d.Role.IsPassive() {
		return false
	}
	for i := range a.plan.Devices {
		c := &a.plan.Devices[i]
		if (c.At.Device == d.Name || slices.Contains(c.Via, d.Name)) &&
			(a.covered[c.Name] || a.seen[c.Name] != nil && a.seen[c.Name].Presence == inventory.Present) {
			return true
		}
	}
	return false
}

// restartedAt is when the device started, if that was since the reading before;
// else the zero time.
func (a *auditor) restartedAt(s *inventory.SeenDevice) time.Time {
	if s.UpTime == nil || inventory.JudgeUptime(*s.UpTime, a.hist.Uptimes[s.Name]) != inventory.LifeRestarted {
		return time.Time{}
	}
	return s.UpTime.Read.Add(-s.UpTime.Up)
}
