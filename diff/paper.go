package diff

import (
	"errors"
	"fmt"
	"net/netip"
	"slices"
	"strings"

	"boundwalk/inventory"
	"boundwalk/inventory/cable"
	"boundwalk/inventory/poe"
)

// Paper checks the plan on paper: power, cable, addresses, radio links and
// recordings. It is pure. What rests on a guess, such as the length of a cable
// that the plan does not give, is no finding: PaperLines shows it. The findings
// come in the order of Sort, without a date; a nil plan has none.
func Paper(plan *inventory.Plan) []Finding {
	if plan == nil {
		return nil
	}
	p := newPaper(plan)
	for _, rule := range []func(){p.hazards, p.lines, p.overBudget, p.planAddresses, p.twice, p.links, p.overlaps, p.recordings, p.upses} {
		rule()
	}
	return p.finish()
}

func (p *paper) put(k Kind, d *inventory.Device, expected, observed, advice string) *Finding {
	f := New(k, d.Name)
	f.Where, f.Basis = d.At.String(), inventory.Planned
	f.Expected, f.Observed, f.Advice = expected, observed, advice
	return p.add(f, d)
}

// hazards holds each feed against what is to hang on it.
func (p *paper) hazards() {
	for _, f := range p.feeds {
		p.hazard(f)
	}
	for i := range p.plan.Devices {
		d := &p.plan.Devices[i]
		if p.feedOf[d.Name] != nil || d.Role == inventory.Injector {
			continue
		}
		// What takes no power must not hang on a live lead.
		if src, feed, ok := p.plan.FedBy(d); ok {
			for _, c := range poe.Compare(feed, poe.Need{}) {
				p.conflict(d, src, c)
			}
		}
	}
	p.liveIntoInjector()
}

func (p *paper) hazard(f *feedLine) {
	if f.src == nil {
		k := p.put(PassiveHazard, f.dev, "a feed for "+f.dev.Name, "the plan names nothing that feeds it",
			"name what feeds it: a switch with feeds, an injector under via, or mains")
		k.Severity = Warning
		return
	}
	for _, c := range poe.Compare(f.feed, f.need) {
		if c.What == "class-granted-less" && f.sure.OverLimit {
			continue // told with its watts
		}
		p.conflict(f.dev, f.src, c)
		return // the worst of them; mending it changes the rest
	}
}

// conflict reports a pairing by what comes of it.
func (p *paper) conflict(d, src *inventory.Device, c poe.Conflict) {
	f := p.put(PassiveHazard, d, "a feed that fits "+d.Name, fmt.Sprintf("from %s: %s", src.Name, c.Why), "")
	f.Caution = c.Caution
	switch {
	case c.Harm >= poe.Risky:
		f.Advice = fmt.Sprintf("do not plug it in: feed %s as its maker says, or hang it elsewhere", d.Name)
	case c.Harm == poe.Unpowered:
		f.Advice = "it will not run this way: give it a feed that suits it"
		if d.IsPassive() {
			f.Advice = "it will not run this way: put its own injector between (via), and leave the port's power off"
			f.Caution = poe.CautionPassive
		}
	default:
		f.Severity = Note
		f.Advice = "see whether it does all that you want of it this way"
	}
	if d.Important {
		f.Severity = f.Severity.raised()
	}
}

// liveIntoInjector: a port that gives power without asking, into an injector.
func (p *paper) liveIntoInjector() {
	for i := range p.plan.Devices {
		d := &p.plan.Devices[i]
		sw := p.planned[d.At.Device]
		if len(d.Via) == 0 || sw == nil {
			continue
		}
		feed := sw.FeedAt(d.At.Port)
		if feed.Standard != poe.Passive && !feed.Forced {
			continue
		}
		f := p.put(PassiveHazard, d, fmt.Sprintf("no power from %s into %s", portWords(d.At), names(d.Via)),
			fmt.Sprintf("%s gives power without asking", portWords(d.At)),
			fmt.Sprintf("set %s to give no power; on the spot only where your own way to the site runs over it", portWords(d.At)))
		f.Caution = poe.CautionPassive
	}
}

// lines judges volts and amperes at the end of each cable.
func (p *paper) lines() {
	for _, f := range p.feeds {
		if f.src == nil {
			continue
		}
		run := f.runWords()
		switch {
		case errors.Is(f.sureErr, cable.ErrCannotDeliver):
			p.put(VoltageLow, f.dev, fmt.Sprintf("%s at %s", f.line.Load, f.dev.Name), "the cable cannot deliver that much over "+run,
				"use a thicker or shorter cable, a higher voltage, or a feed nearer to it").Caution = f.caution()
			continue
		case f.sureErr != nil:
			continue
		}
		l := f.sure
		switch {
		case l.OverLimit: // what it would draw then is no use to reckon with
			p.put(OverBudget, f.dev, fmt.Sprintf("at most %s from %s", l.Limit, portWords(f.from)),
				fmt.Sprintf("%s at the port: %s at the device and %.1f W lost in %s", l.AtPort, l.Load, l.Loss, run),
				"hang it on a port that gives more, or shorten the cable")
			continue
		case l.VoltageLow:
			p.put(VoltageLow, f.dev, fmt.Sprintf("at least %.4g V", l.VoltsNeeded), fmt.Sprintf("%.1f V at %s drawn, over %s", l.Volts, l.Load, run),
				"use a thicker or shorter cable, or a feed nearer to it").Caution = f.caution()
		}
		if l.OverCurrent {
			p.put(OverCurrent, f.dev, f.currentAllowed(), fmt.Sprintf("%.2f A on each wire, %.2f A in all, over %s", l.ConductorAmps(l.Pairs), l.Amps, run),
				"use all four pairs, a higher voltage, or a shorter cable").Caution = cable.CautionBundle
		}
	}
}

func (f *feedLine) currentAllowed() string {
	if set := f.sure.Granted.Ratings().PairSetAmps; set > 0 && set/2 < cable.MaxConductorAmps {
		return fmt.Sprintf("at most %.2f A on each wire", set/2)
	}
	return fmt.Sprintf("at most %.2f A on each wire", cable.MaxConductorAmps)
}

func (f *feedLine) caution() string {
	switch {
	case f.passive():
		return poe.CautionPassive
	case f.dev.Cable.Outdoor:
		return cable.CautionOutdoor
	}
	return ""
}

// runWords says the cable in a sentence.
func (f *feedLine) runWords() string {
	c := f.dev.Cable
	words := "a cable of unknown length"
	if c.Length > 0 {
		words = fmt.Sprintf("%.4g m", c.Length)
	}
	if c.Gauge != 0 {
		words += fmt.Sprintf(" of %s", cable.Gauge(c.Gauge))
	}
	if strings.EqualFold(c.Conductor, "cca") {
		words += " copper-clad aluminium"
	}
	return words
}

// overBudget holds what all ports together draw or reserve against what their
// device has to give.
func (p *paper) overBudget() {
	for _, b := range p.budgets {
		if b.sure.Usable <= 0 {
			continue
		}
		budget := fmt.Sprintf("at most %s", b.sure.Usable)
		if b.computed {
			budget += ", which its own feed leaves it"
		}
		if drawn := b.sure.Drawn(); drawn > b.sure.Usable {
			f := p.put(OverBudget, b.dev, budget, fmt.Sprintf("%s drawn at most by %s", drawn, Plural(len(b.members), "device", "devices")),
				"take load off it, or give it a larger supply")
			f.Caution, f.Behind = poe.CautionMains, memberNames(b.members)
			continue
		}
		p.noRoom(b, budget)
	}
}

func memberNames(fs []*feedLine) []string {
	out := make([]string, 0, len(fs))
	for _, f := range fs {
		out = append(out, f.dev.Name)
	}
	return out
}

// noRoom reports what the switch would refuse, though the draw alone would fit:
// it sets aside more than is drawn. The last in the plan are taken to come last.
func (p *paper) noRoom(b *budgetLine, budget string) {
	if !b.reserves() {
		return
	}
	total, sum := b.sure.Usable-max(b.sure.Guard, 0), inventory.Power(0)
	reserved, _ := b.sure.Reserved()
	var late []*feedLine
	for _, f := range b.members {
		need, by := b.sure.Policy.Reserve(withDraw(f.load(1), f.draw()))
		if by == 0 {
			continue
		}
		if sum+need > total {
			late = append(late, f)
			continue
		}
		sum += need
	}
	if len(late) == 0 {
		return
	}
	f := p.put(NoRoom, late[0].dev, budget, fmt.Sprintf("%s reserved %s by %s, %s drawn at most", reserved, b.method(), b.dev.Name, b.sure.Drawn()),
		"hang it on another switch or an injector, or lower what ports reserve; the switch refuses it though the draw would fit")
	if b.sure.Guard > 0 {
		f.Expected += fmt.Sprintf(", %s of it kept free", b.sure.Guard)
	}
	f.Behind = memberNames(late[1:])
	f.Caution = poe.CautionMains
}

func withDraw(l poe.PortLoad, draw inventory.Power) poe.PortLoad {
	l.Draw = draw
	return l
}

// planAddresses reports addresses that lie in no planned network.
func (p *paper) planAddresses() {
	if len(p.plan.Networks) == 0 {
		return
	}
	for i := range p.plan.Devices {
		d := &p.plan.Devices[i]
		outside := slices.DeleteFunc(slices.Clone(d.Addresses), func(ip netip.Addr) bool { _, in := p.plan.NetworkOf(ip); return in })
		if len(outside) > 0 {
			p.put(AddressOutside, d, "an address in one of the planned networks", addrs(outside)+" lies in none",
				"set the address right, or add its network to the plan")
		}
	}
}

// twice reports what the plan gives to two at once.
func (p *paper) twice() {
	byAddr, byMAC := map[netip.Addr]string{}, map[inventory.MAC]string{}
	for i := range p.plan.Devices {
		d := &p.plan.Devices[i]
		for _, ip := range d.Addresses {
			if who, taken := byAddr[ip]; taken && who != d.Name {
				p.double(ip.String(), d, who)
			}
			byAddr[ip] = d.Name
		}
		for _, m := range d.MACs {
			if who, taken := byMAC[m]; taken && who != d.Name {
				p.double(m.String(), d, who)
			}
			byMAC[m] = d.Name
		}
		for _, s := range d.Spare {
			for _, o := range p.on[portKey(inventory.PortRef{Device: d.Name, Port: s})] {
				p.double(portWords(o.At), o, "the spare ports")
			}
		}
	}
	p.samePort()
	for _, n := range p.plan.Networks {
		if who := byAddr[n.Gateway]; who != "" && p.planned[who].Role != inventory.Router && p.planned[who].Role != inventory.Server &&
			p.planned[who].Role != inventory.Switch {
			p.double(n.Gateway.String(), p.planned[who], "the gateway of "+n.Name)
		}
	}
}

// samePort reports ports with two devices; an injector and what it feeds are one chain.
func (p *paper) samePort() {
	for i := range p.plan.Devices {
		d := &p.plan.Devices[i]
		on := p.on[portKey(d.At)]
		if len(on) == 0 || on[0] == d || d.At.Port == "" || slices.Contains(d.Via, on[0].Name) || slices.Contains(on[0].Via, d.Name) {
			continue
		}
		p.double(portWords(d.At), d, on[0].Name)
	}
}

func (p *paper) double(what string, d *inventory.Device, who string) {
	f := New(DoubleAssignment, what)
	f.Where, f.Basis = d.At.String(), inventory.Planned
	f.Expected, f.Observed = "one owner", fmt.Sprintf("planned for %s and for %s", d.Name, who)
	f.Advice = "give one of them another"
	p.add(f, d)
}
