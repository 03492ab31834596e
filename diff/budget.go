package diff

import (
	"strconv"

	"boundwalk/inventory"
	"boundwalk/inventory/cable"
	"boundwalk/inventory/poe"
)

// budgetLine is what one device has to give on paper, and what is asked of it.
type budgetLine struct {
	dev      *inventory.Device
	computed bool       // its budget is what its own feed leaves over
	full     poe.Budget // with every unknown cable at its worst
	sure     poe.Budget // with unknown cables that lose nothing
	members  []*feedLine
	unknown  []string
}

// sums gathers who feeds whom.
func (p *paper) sums() {
	fed := map[*inventory.Device][]*feedLine{}
	for _, f := range p.feeds {
		if f.src != nil {
			fed[f.src] = append(fed[f.src], f)
		}
	}
	for i := range p.plan.Devices {
		d := &p.plan.Devices[i]
		b := &budgetLine{dev: d, members: fed[d]}
		if p.planned[d.Name] != d || len(b.members) == 0 && d.UsableBudget() == 0 {
			continue
		}
		p.fill(b)
		p.budgets = append(p.budgets, b)
	}
}

func (p *paper) fill(b *budgetLine) {
	usable := b.dev.UsableBudget()
	if in := p.feedOf[b.dev.Name]; in != nil && b.dev.Role == inventory.PassThroughSwitch {
		if left, ok := p.passedOn(in); ok {
			usable, b.computed = left, true
		}
	}
	b.full = poe.Budget{Usable: usable, Guard: b.dev.Guard, Policy: b.dev.Policy()}
	b.sure = b.full
	for k, f := range b.members {
		l := f.load(k + 1)
		if f.line.Load <= 0 && !classed(l.Class) {
			b.unknown = append(b.unknown, f.dev.Name)
			continue
		}
		l.Draw = f.draw()
		if f.err == nil {
			l.Draw = f.line.AtPort
		}
		b.full.Ports = append(b.full.Ports, l)
		l.Draw = f.draw()
		b.sure.Ports = append(b.sure.Ports, l)
	}
}

// draw is what the line takes at its port, a cable of unknown length lossless;
// where the cable cannot be reckoned, what its device takes.
func (f *feedLine) draw() inventory.Power {
	if f.sureErr != nil {
		return f.together
	}
	return f.sure.AtPort
}

// load is the line as the switch's rule sees it. K numbers it where its port has no number.
func (f *feedLine) load(k int) poe.PortLoad {
	l := poe.PortLoad{Port: k, Priority: 2, Class: f.need.Class, Passive: f.passive()}
	if n, err := strconv.Atoi(f.from.Port); err == nil && n > 0 {
		l.Port = n
	}
	if !classed(l.Class) && !l.Passive {
		l.Class = poe.ClassFor(f.need.Most)
	}
	if f.src != nil {
		plan := f.src.PortPlan(f.from.Port)
		l.Fixed = plan.Max
		if plan.Lowest {
			l.Priority = 3
		}
		if g := f.feed.Standard.Grant(l.Class); classed(g) {
			l.Class = g // a smaller port reserves for what it grants
		}
	}
	return l
}

// passedOn is what a switch that is fed over its uplink has left for others.
func (p *paper) passedOn(in *feedLine) (inventory.Power, bool) {
	d := in.dev
	if !in.passive() {
		input := in.line.Granted.Ratings().Input
		return poe.PassThrough(input, d.Own, d.Efficiency, d.UsableBudget()), input > 0
	}
	if in.src == nil || in.src.UsableBudget() <= 0 || !(in.feed.Volts > 0) {
		return 0, false
	}
	run := in.run
	if in.assumed {
		run = shortest(run)
	}
	got, err := cable.Receive(in.feed.Volts, run.Resistance(in.line.Pairs), in.src.UsableBudget().Watts())
	if err != nil {
		return 0, false
	}
	input := poe.FromWatts(got.Source - got.Loss)
	if d.Feeds.Standard == poe.Passive { // handed on as it is, not converted
		left := max(input-max(d.Own, 0), 0)
		if own := d.UsableBudget(); own > 0 {
			left = min(left, own)
		}
		return left, true
	}
	return poe.PassThrough(input, d.Own, d.Efficiency, d.UsableBudget()), true
}

func (b *budgetLine) line() SupplyLine {
	reserved, _ := b.full.Reserved()
	l := SupplyLine{Device: b.dev.Name, Budget: b.full.Usable, Computed: b.computed, Guard: b.full.Guard, Drawn: b.full.Drawn(), Unknown: b.unknown}
	if b.reserves() {
		l.Reserved, l.Method = reserved, b.method().String()
	}
	if l.Budget > 0 {
		l.Left = l.Budget - max(l.Guard, 0) - max(l.Reserved, l.Drawn)
	}
	return l
}

// reserves reports whether the device sets power aside: a passive feed does not.
func (b *budgetLine) reserves() bool { return b.dev.Feeds.Standard.Highest() != 0 }

func (b *budgetLine) method() poe.Reservation {
	if r := b.dev.Reserves; r != 0 {
		return r
	}
	return poe.ByClass
}
