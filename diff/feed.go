package diff

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"boundwalk/inventory"
	"boundwalk/inventory/cable"
	"boundwalk/inventory/poe"
)

// paper is a plan reckoned through.
type paper struct {
	*auditor
	feeds   []*feedLine
	feedOf  map[string]*feedLine // by device
	budgets []*budgetLine
}

func newPaper(plan *inventory.Plan) *paper {
	p := &paper{auditor: newAuditor(plan, &inventory.Snapshot{}, &inventory.History{}, time.Time{}), feedOf: map[string]*feedLine{}}
	for i := range plan.Devices {
		d := &plan.Devices[i]
		if f := p.lineTo(d); f != nil && p.planned[d.Name] == d {
			p.feeds = append(p.feeds, f)
			p.feedOf[d.Name] = f
		}
	}
	for _, f := range p.feeds {
		f.single()
	}
	p.trees()
	p.sums()
	return p
}

// feedLine is one device, its cable and what feeds it.
type feedLine struct {
	dev, src *inventory.Device // src nil: the plan names nothing that feeds it
	from     inventory.PortRef
	feed     inventory.Feed
	need     poe.Need
	run      cable.Run
	assumed  bool // the length of the cable is not in the plan

	line poe.Line
	err  error // of line
	// sure is the line with an unknown cable as short as can be: what fails even
	// so is a fault of the plan, and not of a guess.
	sure     poe.Line
	sureErr  error
	together inventory.Power // own need and that of all it hands its feed on to
}

// lineTo is the line to a device that takes its power over its cable; nil for others.
func (p *paper) lineTo(d *inventory.Device) *feedLine {
	if d.Mains != "" || d.Role == inventory.Injector || !d.TakesPower() && d.Role != inventory.PassThroughSwitch {
		return nil
	}
	f := &feedLine{dev: d, need: d.Need(), run: d.Run()}
	f.assumed, _ = f.run.Assumed()
	if src, feed, ok := p.plan.FedBy(d); ok {
		f.src, f.feed = src, feed
		f.from = inventory.PortRef{Device: src.Name}
		if src.Name == d.At.Device {
			f.from = d.At
		}
	}
	if d.Role == inventory.PassThroughSwitch && !classed(f.need.Class) && f.need.Takes.IsZero() && d.Feeds.Standard == poe.Passive {
		f.need.Takes = d.Feeds // it hands on what it gets
	}
	if f.src != nil && f.from.Port != "" {
		if most := f.src.PortPlan(f.from.Port).Max; most > 0 && (f.feed.Limit == 0 || most < f.feed.Limit) {
			f.feed.Limit = most
		}
	}
	return f
}

// single works the line out by itself.
func (f *feedLine) single() {
	if f.src == nil {
		f.err, f.sureErr = poe.ErrNoLoad, poe.ErrNoLoad
		return
	}
	need := f.need
	if own := f.dev.Own; own > 0 && need.Most == 0 && f.passive() {
		need.Most = own
	}
	f.line, f.err = poe.OnPaper(f.feed, need, f.run)
	f.sure, f.sureErr, f.together = f.line, f.err, f.line.Load
	if f.assumed {
		f.sure, f.sureErr = poe.OnPaper(f.feed, need, shortest(f.run))
	}
}

// classed reports whether the class is known.
func classed(c inventory.Class) bool {
	_, ok := c.Number()
	return ok
}

func (f *feedLine) passive() bool { return f.feed.Standard == poe.Passive }

// shortest is the run with its unknown lengths as short as can be.
func shortest(r cable.Run) cable.Run {
	r.Segments = slices.Clone(r.Segments)
	for i := range r.Segments {
		if !(r.Segments[i].Length > 0) {
			r.Segments[i].Length = 0.1
		}
	}
	return r
}

// trees works out again what one passive feed shares: a switch that hands its
// feed on pulls the voltage down for all behind it.
func (p *paper) trees() {
	for _, root := range p.feeds {
		if !root.passive() || root.src == nil || p.handsOn(root.src) {
			continue
		}
		if kids := p.below(root); len(kids) > 0 {
			p.tree(root)
		}
	}
}

// handsOn reports whether the device passes a passive feed on without converting it.
func (p *paper) handsOn(d *inventory.Device) bool {
	f := p.feedOf[d.Name]
	return d.Role == inventory.PassThroughSwitch && d.Feeds.Standard == poe.Passive && f != nil && f.passive()
}

// below is what a switch that hands its feed on feeds itself.
func (p *paper) below(f *feedLine) []*feedLine {
	if !p.handsOn(f.dev) {
		return nil
	}
	var out []*feedLine
	for _, k := range p.feeds {
		if k.src == f.dev && k != f {
			out = append(out, k)
		}
	}
	return out
}

func (p *paper) tree(root *feedLine) {
	members, parent := []*feedLine{root}, []int{-1}
	for i := 0; i < len(members) && len(members) <= len(p.feeds); i++ {
		for _, k := range p.below(members[i]) {
			if !slices.Contains(members, k) {
				members, parent = append(members, k), append(parent, i)
			}
		}
	}
	work := func(run func(*feedLine) cable.Run, keep func(*feedLine, cable.Delivery, error)) {
		nodes := make([]cable.Node, len(members))
		for i, m := range members {
			nodes[i] = cable.Node{Parent: parent[i], Ohms: run(m).Resistance(m.line.Pairs), Watts: m.ownNeed().Watts()}
		}
		ds, err := cable.DeliverTree(root.feed.Volts, nodes)
		for i, m := range members {
			var d cable.Delivery
			if err == nil {
				d = ds[i]
			}
			keep(m, d, err)
		}
	}
	for i := len(members) - 1; i >= 0; i-- {
		members[i].together += members[i].ownNeed() - members[i].line.Load
		if up := parent[i]; up >= 0 {
			members[up].together += members[i].together
		}
	}
	assumed := slices.ContainsFunc(members, func(m *feedLine) bool { return m.assumed })
	work(func(m *feedLine) cable.Run { return m.run }, func(m *feedLine, d cable.Delivery, err error) {
		m.line, m.err = m.shared(m.line, d), err
		m.sure, m.sureErr = m.line, m.err
		if assumed {
			m.assumed = true
		}
	})
	if assumed {
		work(func(m *feedLine) cable.Run { return shortest(m.run) }, func(m *feedLine, d cable.Delivery, err error) {
			m.sure, m.sureErr = m.shared(m.line, d), err
		})
	}
}

// ownNeed is the device's own draw, without what it hands on.
func (f *feedLine) ownNeed() inventory.Power {
	switch {
	case f.dev.Own > 0:
		return f.dev.Own
	case f.dev.Draws.Most > 0:
		return f.dev.Draws.Most
	}
	return f.line.Load
}

// shared puts what the whole tree gives a device in place of what it would get alone.
func (f *feedLine) shared(l poe.Line, d cable.Delivery) poe.Line {
	l.Delivery, l.AtPort = d, poe.FromWatts(d.Source)
	l.VoltageLow = l.VoltsNeeded > 0 && d.Volts < l.VoltsNeeded-1e-6
	l.OverCurrent = d.ConductorAmps(l.Pairs) > cable.MaxConductorAmps+1e-6
	l.OverLimit = l.Limit > 0 && l.AtPort > l.Limit
	l.Load = f.ownNeed()
	return l
}

func (f *feedLine) portLine() PortLine {
	l := PortLine{Device: f.dev.Name, From: f.from, Feed: f.feed, Class: f.need.Class, Most: f.line.Load, ByClass: f.line.ByClass,
		Limit: f.line.Limit, Assumed: f.assumed}
	if _, gauge := f.run.Assumed(); gauge {
		l.Assumed = true
	}
	switch {
	case f.src == nil:
		l.Notes = append(l.Notes, "The plan names nothing that feeds it.")
	case errors.Is(f.err, poe.ErrNoLoad):
		l.Notes = append(l.Notes, "Neither its draw nor its class is known.")
	case f.err != nil && f.assumed && f.sureErr == nil:
		l.Notes = append(l.Notes, "A cable of the longest kind would not do, and the plan does not say how long it is.")
	case f.err != nil:
		l.Notes = append(l.Notes, "Its cable cannot deliver that much.")
	default:
		l.Volts, l.Amps, l.Loss, l.AtPort = f.line.Volts, f.line.Amps, f.line.Loss, f.line.AtPort
		if f.assumed && (f.line.VoltageLow || f.line.OverCurrent) && !f.sure.VoltageLow && !f.sure.OverCurrent {
			l.Notes = append(l.Notes, "A cable of the longest kind would not do, and the plan does not say how long it is.")
		}
	}
	for _, b := range f.run.Breaches() {
		l.Notes = append(l.Notes, "Its cable: "+b.String()+".")
	}
	if n := f.dev.Cable.Bundle; n > 0 {
		l.Notes = append(l.Notes, fmt.Sprintf("%d cables lie together, and warm each other.", n))
	}
	return l
}
