package diff

import (
	"cmp"
	"fmt"

	"boundwalk/inventory"
)

// leastCutOff is how many must be missing before we doubt ourselves: of two
// devices one alone is more than half.
const leastCutOff = 3

// cutOff reports that more than half of the plan is missing for the second run:
// then the first thing to doubt is where we look from (FC-23). It says all that
// is missing in one finding.
func (a *auditor) cutOff() bool {
	var gone []string
	looked := 0
	for _, name := range a.names {
		d, s := a.planned[name], a.seen[name]
		if s == nil || s.Self || d.Role.Roams() || s.Presence == inventory.NotLooked || s.Presence == inventory.Unseeable || d.AwayAt(a.now.In(a.loc)) {
			continue
		}
		looked++
		if a.absent[name] && a.hist.Absences[name].Runs > 0 {
			gone = append(gone, name)
		}
	}
	if len(gone) < leastCutOff || 2*len(gone) <= looked {
		return false
	}
	f := New(CutOff, cmp.Or(a.plan.Site.Name, "site"))
	f.Behind = gone
	f.Expected = fmt.Sprintf("%d planned devices answer", looked)
	f.Observed = fmt.Sprintf("%d of %d do not", len(gone), looked)
	f.Advice = "look first at the cable, switch port and power of the machine that boundwalk runs on"
	if order, behind := a.heads(); len(order) > 0 {
		h := order[0]
		for _, o := range order {
			if len(behind[o]) > len(behind[h]) {
				h = o
			}
		}
		if n := len(behind[h]); n > 0 {
			f.Observed += fmt.Sprintf("; the nearest that is silent is %s, with %d behind it", h, n)
			f.Advice += ", then at " + h
		}
	}
	a.add(f, nil)
	a.coverAll(gone)
	return true
}

// internet reports a line to the outside that is down and lasts.
func (a *auditor) internet() {
	for _, o := range a.hist.Outages {
		if o.What != "internet" || !o.To.IsZero() {
			continue
		}
		f := New(InternetDown, "internet line")
		f.Expected = "the outside in reach"
		if a.plan.Service.Outside != "" {
			f.Expected = a.plan.Service.Outside + " in reach"
		}
		f.Observed = fmt.Sprintf("not reached since %s, for %s", a.when(o.From), lasts(a.now.Sub(o.From)))
		f.Advice = "look at the modem or the fibre box and its power, then ask the provider"
		f.Basis = inventory.Measured
		a.add(f, nil)
		return
	}
}
