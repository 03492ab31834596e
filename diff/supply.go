package diff

import (
	"fmt"
	"strconv"
	"strings"

	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

// supplies reports supplies that are near what they can give, or have promised
// nearly all of it. What is only summed from the plan is for paper.
func (a *auditor) supplies() {
	ports := map[inventory.SupplyRef][]int{} // into the snapshot's ports
	for i := range a.snap.Ports {
		if p := &a.snap.Ports[i]; p.Power != nil {
			k := inventory.SupplyRef{Switch: p.Switch, Supply: strconv.Itoa(p.Power.Index.Group)}
			ports[k] = append(ports[k], i)
		}
	}
	for i := range a.snap.Supplies {
		s := &a.snap.Supplies[i]
		if s.Budget != nil && *s.Budget > 0 {
			a.supply(s, ports[inventory.SupplyRef{Switch: s.Switch, Supply: s.Supply}])
		}
	}
}

// onlySupply is what a key says of the first supply, and a title leaves out: most
// switches have one. Where there are several, what was expected names it.
const onlySupply = " supply 1"

// supplySubject names a supply in keys.
func supplySubject(s *inventory.SupplyState) string { return s.Switch + " supply " + s.Supply }

// supplyOf is the supply that feeds a port; nil: no agent told of it.
func (a *auditor) supplyOf(p *inventory.PortState) *inventory.SupplyState {
	for i := range a.snap.Supplies {
		s := &a.snap.Supplies[i]
		if s.Switch == p.Switch && s.Supply == strconv.Itoa(p.Power.Index.Group) {
			return s
		}
	}
	return nil
}

// supplyWords says the three figures that are never to be taken for one another:
// what is reserved, the budget, and what is drawn (FC-02).
func supplyWords(s *inventory.SupplyState) string {
	var parts []string
	of := ""
	if s.Budget != nil {
		of = " of " + s.Budget.String()
	}
	if s.Reserved != nil {
		parts = append(parts, fmt.Sprintf("%s%s reserved%s", *s.Reserved, of, methodWords(s.Method)))
	}
	if load, basis := s.Load(); load != nil {
		how := string(basis)
		if s.Used != nil {
			how = "as the switch reports"
		}
		parts = append(parts, fmt.Sprintf("%s drawn, %s", *load, how))
	}
	return strings.Join(parts, " although ")
}

func methodWords(m string) string {
	if m == "" {
		return ""
	}
	return " " + strings.ReplaceAll(m, "-", " ")
}

func (a *auditor) supply(s *inventory.SupplyState, ports []int) {
	dev := a.planned[s.Switch]
	b := a.budgetOf(s, dev, ports)
	next, waiting := a.nextOn(s, b.Policy, ports)
	subject := supplySubject(s)
	was := poe.Calm
	switch {
	case a.open(SupplyPowerOver, subject):
		was = poe.Over
	case a.open(SupplyPowerNear, subject):
		was = poe.Near
	}
	peak, at, measured := a.supplyPeak(s)
	level := poe.Calm
	if measured {
		level = levelOf(peak, *s.Budget, a.near.SupplyShare, a.near.Band, was)
	}
	_, noRoom := b.Level(next, 1, was)
	if dev == nil && noRoom {
		noRoom = false
	}
	switch {
	case level == poe.Calm && noRoom && a.refused(ports):
		return // the refusal says it
	case level == poe.Calm && !noRoom:
		a.reserved(s, dev)
		return
	}
	f := New(SupplyPowerNear, subject)
	f.Advice = "before anything is added, make room: move a device to another switch or injector, lower what ports reserve, or take a larger supply"
	if level == poe.Over {
		f = New(SupplyPowerOver, subject)
		f.Advice = "take load off this switch now: it will cut ports off, the lowest priority first"
	}
	f.Where, f.Caution = s.Switch, poe.CautionMains
	f.Expected = fmt.Sprintf("at most %.0f %% of its budget of %s drawn", 100*a.near.SupplyShare, *s.Budget)
	if a.snap.SeveralSupplies(s.Switch) {
		f.Expected = fmt.Sprintf("of supply %s, %s", s.Supply, f.Expected)
	}
	var parts []string
	if measured {
		f.Basis = inventory.Measured
		parts = append(parts, fmt.Sprintf("%.0f %%: highest %s of %s, %s", 100*peak.Watts()/s.Budget.Watts(), peak, *s.Budget, at))
	}
	parts = append(parts, supplyWords(s))
	if noRoom {
		free := *s.Budget - s.Guard
		if s.Reserved != nil {
			free -= *s.Reserved
		}
		parts = append(parts, fmt.Sprintf("no room for %s, which needs %s where %s is free", waiting, next, max(free, 0)))
	}
	f.Observed = sentence(parts...)
	a.add(f, dev)
}

// supplyPeak is the highest measured load of the week, now included.
func (a *auditor) supplyPeak(s *inventory.SupplyState) (peak inventory.Power, at string, ok bool) {
	for _, k := range a.hist.Supplies[inventory.SupplyRef{Switch: s.Switch, Supply: s.Supply}] {
		if k.Basis == inventory.Measured && a.now.Sub(k.Day) <= 8*aDay && (!ok || k.Draw > peak) {
			peak, at, ok = k.Draw, a.when(k.At), true
		}
	}
	if load, basis := s.Load(); load != nil && basis == inventory.Measured && (!ok || *load > peak) {
		peak, at, ok = *load, "now", true
	}
	return peak, at, ok
}

// budgetOf is the supply as package poe reckons it, with what was seen on its ports.
func (a *auditor) budgetOf(s *inventory.SupplyState, dev *inventory.Device, ports []int) poe.Budget {
	b := poe.Budget{Usable: *s.Budget, Guard: s.Guard}
	if s.Used != nil {
		b.Reported = *s.Used
	}
	if dev != nil {
		b.Policy = dev.Policy()
	}
	for k, i := range ports {
		p := &a.snap.Ports[i]
		w := p.Power
		if w.State != inventory.PSEDelivering {
			continue
		}
		l := poe.PortLoad{Port: k + 1, Priority: w.Priority, Class: w.Class}
		if dev != nil {
			l.Fixed = dev.PortPlan(p.Port).Max
		}
		if w.Draw != nil && w.DrawBasis == inventory.Measured {
			l.Draw = *w.Draw
		}
		if w.LimitBasis == inventory.Negotiated && w.Limit != nil {
			l.Negotiated = *w.Limit
		}
		b.Ports = append(b.Ports, l)
	}
	return b
}

// nextOn is the most that a planned device on one of the supply's ports which
// does not give power yet would need, and its name.
func (a *auditor) nextOn(s *inventory.SupplyState, policy poe.Policy, ports []int) (most inventory.Power, name string) {
	for _, i := range ports {
		p, d := &a.snap.Ports[i], a.fedOn(i)
		if d == nil || p.Power.State == inventory.PSEDelivering || !d.TakesPower() || len(d.Via) > 0 || d.Mains != "" || a.passiveFeed(d) ||
			d.AwayAt(a.now.In(a.loc)) || a.covered[d.Name] {
			continue
		}
		class := d.Class
		if class == 0 {
			class = poe.ClassFor(d.Draws.Most)
		}
		need, by := policy.Reserve(poe.PortLoad{Class: class, Fixed: a.planned[s.Switch].PortPlan(p.Port).Max, Draw: d.Draws.Most})
		if by != 0 && need > most {
			most, name = need, d.Name
		}
	}
	return most, name
}

// refused reports whether one of the ports has a refusal told already.
func (a *auditor) refused(ports []int) bool {
	for _, f := range a.found {
		if f.Kind != PowerDenied {
			continue
		}
		for _, i := range ports {
			if refOf(&a.snap.Ports[i]).String() == f.Subject {
				return true
			}
		}
	}
	return false
}

// reserved notes a supply that has promised nearly all it has, though less is drawn.
func (a *auditor) reserved(s *inventory.SupplyState, dev *inventory.Device) {
	if s.Reserved == nil {
		return
	}
	subject := supplySubject(s)
	threshold := a.near.SupplyShare
	if a.open(SupplyReserved, subject) {
		threshold -= a.near.Band
	}
	share := (s.Reserved.Watts() + s.Guard.Watts()) / s.Budget.Watts()
	if share < threshold-1e-9 {
		return
	}
	f := New(SupplyReserved, subject)
	f.Where = s.Switch
	f.Expected = fmt.Sprintf("less than %.0f %% of %s promised", 100*a.near.SupplyShare, *s.Budget)
	if a.snap.SeveralSupplies(s.Switch) {
		f.Expected = fmt.Sprintf("of supply %s, %s", s.Supply, f.Expected)
	}
	free := max(*s.Budget-s.Guard-*s.Reserved, 0)
	f.Observed = sentence(supplyWords(s), fmt.Sprintf("%s is free: %s", free, fitsWords(free)))
	f.Advice = "nothing while nothing is added; \"boundwalk check --add\" says whether one more device fits"
	a.add(f, dev)
}

// fitsWords says which classes still find room, by what a port sets aside for them.
func fitsWords(free inventory.Power) string {
	for c := poe.Class4; c >= poe.Class1; c-- {
		if free < c.Ratings().Output {
			continue
		}
		if c == poe.Class4 {
			return "room for another class 4 device"
		}
		return fmt.Sprintf("room for another %s device, none for %s", c, c+1)
	}
	return "no room for another class 3 device, nor for a smaller one"
}
