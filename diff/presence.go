package diff

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

const (
	usualBoots = 10 * time.Minute // from the mains' return until all is up, unless the plan says
	pulseFresh = 3 * time.Minute  // how old a pulse may be and still speak for now
	aDay       = 24 * time.Hour
)

// settles reports whether the site may still be coming up: this machine or its
// mains came back a short while ago. No absence counts then (FC-23).
func (a *auditor) settles() bool {
	boots := cmp.Or(a.plan.Site.Boots, usualBoots)
	if b := a.hist.Booted; !b.IsZero() && a.now.Sub(b) < boots {
		return true
	}
	return slices.ContainsFunc(a.hist.Outages, func(o inventory.Outage) bool {
		return o.What == "power" && (o.To.IsZero() || a.now.Sub(o.To) < boots)
	})
}

// patience is how long a device may stay away: in runs, this one included, and in time.
func patience(r inventory.Role) (runs int, span time.Duration) {
	switch r {
	case inventory.Printer, inventory.Sensor, inventory.Television, inventory.OtherRole, "":
		return 2, aDay
	}
	return 2, 0
}

// absences finds who is absent in this run, and for whom that counts.
func (a *auditor) absences() {
	if a.settling {
		return
	}
	for _, name := range a.names {
		d, s := a.planned[name], a.seen[name]
		if s == nil || s.Presence != inventory.Absent || d.Role.Roams() || d.AwayAt(a.now.In(a.loc)) || a.pulseSaw(name) {
			continue
		}
		a.absent[name] = true
		past := a.hist.Absences[name]
		runs, span := patience(d.Role)
		if past.Runs+1 >= runs && (span == 0 || a.now.Sub(past.Since) >= span) {
			a.gone[name] = true
		}
	}
}

// pulseSaw reports whether the pulse has just seen what the run did not find.
func (a *auditor) pulseSaw(name string) bool {
	p, ok := a.hist.Pulse[name]
	if !ok || !p.Looked || !p.Up {
		return false
	}
	return a.now.Sub(p.At) <= max(pulseFresh, 2*a.plan.Service.Pulse)
}

// missing reports what is gone, one finding for each cause.
func (a *auditor) missing() {
	if a.cutOff() {
		return
	}
	for name := range a.covered {
		delete(a.gone, name)
		delete(a.absent, name)
	}
	order, behind := a.heads()
	for _, name := range order {
		if c := a.cause[name]; c != nil {
			c.Behind = append(append(c.Behind, name), behind[name]...)
			c.Severity = pressing(c.Severity, a.missingSeverity(append(behind[name], name)))
			a.coverAll(append(behind[name], name))
			continue
		}
		a.missingOne(a.planned[name], behind[name])
	}
}

func (a *auditor) coverAll(list []string) {
	for _, n := range list {
		a.covered[n] = true
	}
}

// missingSeverity is that of the most pressing of what is gone.
func (a *auditor) missingSeverity(list []string) Severity {
	s := Note
	for _, n := range list {
		s = pressing(s, roleSeverity(a.planned[n].Role))
	}
	return s
}

// roleSeverity: infrastructure, cameras and what records them are urgent.
func roleSeverity(r inventory.Role) Severity {
	if r.IsInfrastructure() || r == inventory.Camera || r == inventory.Recorder {
		return Urgent
	}
	return Warning
}

func (a *auditor) missingOne(d *inventory.Device, behind []string) {
	f := New(MissingDevice, d.Name)
	f.Where, f.Behind, f.MACs = d.At.String(), behind, slices.Clone(d.MACs)
	f.Severity = a.missingSeverity(append(slices.Clone(behind), d.Name))
	f.Expected = "there"
	if at := placeWords(d); at != "" {
		f.Expected += ", " + at
	}
	f.Observed = a.absenceWords(d, behind)
	f.Advice, f.Caution = a.lookAt(d)
	if _, ever := a.hist.Last[d.Name]; !ever && len(d.MACs) == 0 && !d.Role.IsPassive() {
		f.Severity = Note // a plan may be ahead of the wiring
		f.Observed = "never seen so far; the plan does not give its MAC address yet"
		f.Advice = "once it is there, \"boundwalk commission " + d.Name + "\" proves it and fills in its address"
	}
	a.add(f, d)
	a.coverAll(append(behind, d.Name))
}

func placeWords(d *inventory.Device) string {
	switch {
	case d.At.IsZero() && d.Address().IsValid():
		return "at " + d.Address().String()
	case d.At.IsZero():
		return ""
	case d.Address().IsValid():
		return "on " + portWords(d.At) + " at " + d.Address().String()
	}
	return "on " + portWords(d.At)
}

func (a *auditor) absenceWords(d *inventory.Device, behind []string) string {
	if !a.absent[d.Name] {
		since := a.now
		for _, n := range behind {
			if t := a.hist.Absences[n].Since; !t.IsZero() && t.Before(since) {
				since = t
			}
		}
		return fmt.Sprintf("%s, all that shows of it, have not answered since %s", names(behind), a.when(since))
	}
	past := a.hist.Absences[d.Name]
	since := past.Since
	if since.IsZero() {
		since = a.now
	}
	words := fmt.Sprintf("not found in %s, since %s", Plural(past.Runs+1, "run", "runs"), a.when(since))
	if last, ok := a.hist.Last[d.Name]; ok {
		words += ", last seen " + a.when(last)
	}
	p := a.portOf(d)
	power := ""
	if p != nil && p.Power != nil && d.TakesPower() && !d.IsPassive() && p.Power.State != inventory.PSEUnknown && p.Power.State != "" {
		power = "power there: " + stateWords(p.Power.State)
	}
	return sentence(words, linkWords(p), power)
}

func stateWords(s inventory.PSEState) string {
	switch s {
	case inventory.PSEDelivering:
		return "given"
	case inventory.PSESearching:
		return "none asked for"
	case inventory.PSEOff:
		return "switched off in the settings"
	case inventory.PSEFault:
		return "a fault"
	case inventory.PSETest:
		return "under test"
	}
	return "not known"
}

// lookAt is where to look first, nearest feed first.
func (a *auditor) lookAt(d *inventory.Device) (advice, caution string) {
	feeds := a.feeders(d)
	switch {
	case d.Role.IsPassive() && len(d.Via) > 0:
		return fmt.Sprintf("look at the power of %s, then at %s itself and its cables", d.Via[0], d.Name), a.passiveCaution(d)
	case len(feeds) > 0:
		return fmt.Sprintf("look at the power of %s and the cable from it, then at %s", feeds[0], d.Name), a.passiveCaution(d)
	case d.Mains != "" && d.Mains != "mains":
		return fmt.Sprintf("look at its power, which comes from %s, then at its cable", d.Mains), ""
	case d.At.Port != "" && d.TakesPower():
		return fmt.Sprintf("look at its cable and at the power on %s", portWords(d.At)), ""
	case d.At.Port != "":
		return fmt.Sprintf("look at its own power, then at its cable to %s", portWords(d.At)), ""
	}
	return "look at its power and its cable", ""
}

// passiveCaution belongs to advice that sends someone to a lead that may be live.
func (a *auditor) passiveCaution(d *inventory.Device) string {
	if a.passiveFeed(d) {
		return poe.CautionPassive
	}
	return ""
}

// passiveFeed reports whether the plan feeds the device without negotiation.
func (a *auditor) passiveFeed(d *inventory.Device) bool {
	if d.IsPassive() {
		return true
	}
	_, feed, ok := a.plan.FedBy(d)
	return ok && feed.Standard == poe.Passive
}
