package inventory

import (
	"cmp"
	"maps"
	"slices"
	"strconv"
	"strings"

	"boundwalk/inventory/cable"
	"boundwalk/inventory/poe"
)

// powerOf states the power side of an agent's ports, by interface.
func (a *assembler) powerOf(v *agentView) map[IfIndex]*PortPower {
	out := map[IfIndex]*PortPower{}
	maps := mapPSE(v)
	for k := range v.PSEPorts {
		row := &v.PSEPorts[k]
		m, ok := maps[row.Index]
		if !ok {
			a.unmapped[v.name]++
			continue
		}
		p := &PortPower{Index: row.Index, MappedBy: m.By, Sure: m.Sure, Enabled: row.Enabled, State: row.State, Priority: row.Priority,
			Denied: row.Denied, Overload: row.Overload, Short: row.Short, MPSAbsent: row.MPSAbsent, BadSig: row.BadSig}
		if row.State == PSEDelivering {
			p.Class, p.ClassNote = row.Class, row.ClassNote
			a.draw(v, row, m.Index, p)
		}
		a.limit(v, m.Index, p)
		out[m.Index] = p
	}
	return out
}

// draw finds what the port gives and how that is known: measured before
// negotiated. A class is a ceiling, and never a draw.
func (a *assembler) draw(v *agentView, row *PSEPort, i IfIndex, p *PortPower) {
	set := func(w Power, b Basis, source string) {
		p.Draw, p.DrawBasis, p.DrawSource = &w, b, source
	}
	if w, ok := planObjectPower(v, row.Index, i); ok {
		set(w, Measured, "object named by the plan")
		return
	}
	if row.Actual != nil {
		set(*row.Actual, Measured, "pethPsePortActualPower")
		return
	}
	if w, ok := sensorPower(v, i); ok {
		set(w, Measured, "entPhySensorValue")
		return
	}
	for _, o := range v.Energy {
		if o.Measured && o.Power != nil && (o.Port == row.Index && row.Index.Port != 0 || entityOf(v, o.Entity) == i) {
			set(*o.Power, Measured, "eoPower")
			return
		}
	}
	if n := negotiated(v, i); n != nil {
		if w, ok := a.atPort(v, i, cmp.Or(n.Requested, n.Allocated)); ok && w > 0 {
			set(w, Negotiated, "LLDP "+n.Source+" with the cable's loss")
			if n.Class != 0 {
				p.Class, p.ClassNote = n.Class, ""
			}
		}
	}
}

// negotiated is what the one neighbour on the port that takes power said.
func negotiated(v *agentView, i IfIndex) *LLDPPower {
	var found *LLDPPower
	for k := range v.Neighbors {
		n := &v.Neighbors[k]
		if n.Power == nil || !n.Power.PD || v.neighborIf(n) != i || v.isDown(i) {
			continue
		}
		if found != nil && found.Source != "med" {
			continue
		}
		found = n.Power
	}
	return found
}

// atPort adds the loss in the planned cable to what a device takes at its own end.
func (a *assembler) atPort(v *agentView, i IfIndex, device Power) (Power, bool) {
	if device <= 0 {
		return 0, false
	}
	run := cable.Run{}
	if d := a.plannedOn(v, i); d != nil {
		run = d.Run()
	}
	class := poe.ClassFor(device)
	r := class.Ratings()
	w, err := poe.AtPort(device, r.PortVolts, r.Pairs, run)
	return w, err == nil
}

// plannedOn is the one device that the plan hangs on the port itself.
func (a *assembler) plannedOn(v *agentView, i IfIndex) *Device {
	if v.dev == nil {
		return nil
	}
	if a.plannedAt == nil {
		a.plannedAt = map[PortRef]int{}
		for k := range a.plan.Devices {
			if at := a.plan.Devices[k].At; at.Port != "" {
				a.plannedAt[PortRef{at.Device, PortName(at.Port)}] = k + 1
			}
		}
	}
	if k := a.plannedAt[PortRef{v.name, PortName(v.label(i))}]; k > 0 {
		return &a.plan.Devices[k-1]
	}
	return nil
}

// sensorPower sums nothing: it takes the one watt sensor under the port's
// entity, or volts times amperes where there is one of each (RFC 3433).
func sensorPower(v *agentView, i IfIndex) (Power, bool) {
	var watts, volts, amps []float64
	for _, s := range v.Sensors {
		if s.Value == nil || entityOf(v, s.Entity) != i {
			continue
		}
		switch s.Type {
		case 6:
			watts = append(watts, *s.Value)
		case 3, 4:
			volts = append(volts, *s.Value)
		case 5:
			amps = append(amps, *s.Value)
		}
	}
	switch {
	case len(watts) == 1:
		return poe.FromWatts(watts[0]), watts[0] >= 0 && watts[0] < 1000
	case len(watts) == 0 && len(volts) == 1 && len(amps) == 1:
		w := volts[0] * amps[0]
		return poe.FromWatts(w), w >= 0 && w < 1000
	}
	return 0, false
}

// entityOf is the interface that an entity belongs to: its own, or that of the
// port which holds it. 0: none.
func entityOf(v *agentView, e EntityIndex) IfIndex {
	if v.entities == nil {
		v.entities = map[EntityIndex]*Entity{}
		for k := range v.Entities {
			v.entities[v.Entities[k].Index] = &v.Entities[k]
		}
	}
	for range 8 { // nesting is shallow; a loop in the table ends here
		x := v.entities[e]
		if x == nil {
			return 0
		}
		if len(x.Interfaces) == 1 {
			return x.Interfaces[0]
		}
		if x.Class == 10 { // port, without a known interface
			return 0
		}
		e = x.In
	}
	return 0
}

func planObjectPower(v *agentView, k PSEIndex, i IfIndex) (Power, bool) {
	for _, o := range v.Objects {
		if o.Use != "power" || o.Value == nil {
			continue
		}
		if o.matches(v, k, i) && *o.Value >= 0 && *o.Value < 1e6 {
			return Power(*o.Value), true
		}
	}
	return 0, false
}

func (o *ObjectReading) matches(v *agentView, k PSEIndex, i IfIndex) bool {
	switch o.Kind {
	case "interface":
		return IfIndex(o.Index) == i
	case "pse":
		return PSEIndex{o.Group, o.Index} == k
	case "port":
		_, n := splitNumber(v.label(i))
		return n == strconv.Itoa(o.Index)
	}
	return false
}

// limit is the least of what the class or the hardware grants, what was
// negotiated, and what the plan allows; grant is the first alone.
func (a *assembler) limit(v *agentView, i IfIndex, p *PortPower) {
	var feed Feed
	var max Power
	if v.dev != nil {
		feed, max = v.dev.FeedAt(v.label(i)), v.dev.PortPlan(v.label(i)).Max
	}
	least := func(w Power, b Basis) {
		if w > 0 && (p.Limit == nil || w < *p.Limit) {
			p.Limit, p.LimitBasis = &w, b
		}
	}
	hardware := feed.Standard.Highest().Ratings().Output
	if feed.Limit > 0 && (hardware == 0 || feed.Limit < hardware) {
		hardware = feed.Limit
	}
	granted := p.Class.Ratings().Output
	switch {
	case granted > 0 && (hardware == 0 || granted <= hardware):
		least(granted, ByClass)
	case hardware > 0:
		least(hardware, Planned)
	}
	if p.Limit != nil {
		g := *p.Limit
		p.Grant = &g
	}
	least(max, Planned)
	if n := negotiated(v, i); n != nil && p.State == PSEDelivering {
		if w, ok := a.atPort(v, i, n.Allocated); ok {
			least(w, Negotiated)
		}
	}
}

// supplies states each supply of an agent: what it has, gives and has promised.
func (a *assembler) supplies(v *agentView, power map[IfIndex]*PortPower) {
	for _, s := range v.Supplies {
		st := SupplyState{Switch: v.name, Supply: strconv.Itoa(s.Group), Budget: s.Budget, Used: s.Used, On: s.On}
		if s.Budget != nil {
			st.BudgetBasis = Measured
		}
		var policy poe.Policy
		if v.dev != nil {
			st.Guard, policy = v.dev.Guard, v.dev.Policy()
			if st.Budget == nil && v.dev.Budget > 0 && len(v.Supplies) == 1 {
				b := v.dev.Budget
				st.Budget, st.BudgetBasis = &b, Planned
			}
		}
		sumPorts(&st, s.Group, v, power, policy)
		a.snap.Supplies = append(a.snap.Supplies, st)
	}
}

func sumPorts(st *SupplyState, group int, v *agentView, power map[IfIndex]*PortPower, policy poe.Policy) {
	var drawn, reserved Power
	basis, known := Measured, true
	for _, i := range slices.Sorted(maps.Keys(power)) {
		p := power[i]
		if p.Index.Group != group || p.State != PSEDelivering {
			continue
		}
		if p.Draw == nil {
			st.Unknown++
		} else {
			drawn += *p.Draw
			if p.DrawBasis == Negotiated {
				basis = Negotiated
			}
		}
		r, by := policy.Reserve(loadOf(v, i, p))
		if by == 0 {
			known = false
			continue
		}
		p.Reserved = &r
		reserved += r
		if m := by.String(); st.Method == "" {
			st.Method = m
		} else if !strings.Contains(st.Method, m) {
			st.Method += ", " + m
		}
	}
	if st.Unknown == 0 {
		st.Drawn, st.DrawnBasis = &drawn, basis
	}
	if known {
		st.Reserved = &reserved
	}
}

// loadOf is the port as its switch's policy sees it.
func loadOf(v *agentView, i IfIndex, p *PortPower) poe.PortLoad {
	l := poe.PortLoad{Priority: p.Priority, Class: p.Class}
	if v.dev != nil {
		l.Fixed = v.dev.PortPlan(v.label(i)).Max
	}
	if p.Draw != nil {
		l.Draw = *p.Draw
	}
	if p.LimitBasis == Negotiated {
		l.Negotiated = *p.Limit
	}
	return l
}

// paperSupplies adds what feeds without an agent: injectors and pass-through
// switches, whose draw can only be summed from the plan.
func (a *assembler) paperSupplies() {
	fed := map[string][]int{} // feeder -> who takes its power from it
	for k := range a.plan.Devices {
		if src, _, ok := a.plan.FedBy(&a.plan.Devices[k]); ok {
			fed[src.Name] = append(fed[src.Name], k)
		}
	}
	for i := range a.plan.Devices {
		d := &a.plan.Devices[i]
		if d.Role != Injector && d.Role != PassThroughSwitch {
			continue
		}
		st := SupplyState{Switch: d.Name, Supply: "1", BudgetBasis: Planned, DrawnBasis: Planned}
		if b := a.paperBudget(d); b > 0 {
			st.Budget = &b
		}
		if drawn := a.paperLoad(fed, d.Name, 0); drawn > 0 {
			st.Drawn = &drawn
		}
		a.snap.Supplies = append(a.snap.Supplies, st)
	}
}

// paperBudget is what a feeder has to give; a pass-through switch has what its
// injector leaves over.
func (a *assembler) paperBudget(d *Device) Power {
	if b := d.UsableBudget(); b > 0 || d.Role != PassThroughSwitch {
		return b
	}
	src, feed, ok := a.plan.FedBy(d)
	if !ok || feed.Standard != poe.Passive {
		return 0
	}
	return max(src.UsableBudget()-d.Own, 0)
}

// paperLoad sums what hangs on a feeder at its most, with what pass-through
// switches pass on. The depth ends a ring, which the plan cannot have.
func (a *assembler) paperLoad(fed map[string][]int, name string, depth int) (sum Power) {
	if depth > 8 {
		return 0
	}
	for _, k := range fed[name] {
		d := &a.plan.Devices[k]
		sum += cmp.Or(d.Draws.Most, d.Own, d.Class.Ratings().Input)
		if d.Role == PassThroughSwitch {
			sum += a.paperLoad(fed, d.Name, depth+1)
		}
	}
	return sum
}
