package digest

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
)

// How many supplies and ports the mail shows, the fullest first.
const (
	mostSupplies = 4
	mostPorts    = 5
	drawnPorts   = 3 // in the picture
)

const day = 24 * time.Hour

// load is what a supply or a port gives: now, at most in the week, and of what.
type load struct {
	Name   string
	Supply inventory.SupplyRef // or Port
	Port   inventory.PortRef
	Now    inventory.Power
	Has    bool // Now is known
	Basis  inventory.Basis
	Peak   inventory.Power
	PeakAt time.Time // zero: there is no peak
	Night  bool      // the week holds a night
	Limit  inventory.Power
	Of     string // whose limit it is
	Near   float64
}

// share is the highest known draw as a share of the limit.
func (l load) share() float64 { return share(max(l.Now, l.Peak), l.Limit) }

// peakOf is the week's highest measured draw.
func peakOf(peaks []inventory.Peak, now time.Time) (best inventory.Peak, night, ok bool) {
	for _, k := range peaks {
		if k.Basis != inventory.Measured || now.Sub(k.Day) > 8*day {
			continue
		}
		night = night || k.Night
		if !ok || k.Draw > best.Draw {
			best, ok = k, true
		}
	}
	return best, night, ok
}

// supplies are the supplies that told what they give, the fullest first. What
// is summed from the plan alone is for paper.
func (b *builder) supplies() []load {
	if b.Snapshot == nil {
		return nil
	}
	var out []load
	for i := range b.Snapshot.Supplies {
		s := &b.Snapshot.Supplies[i]
		draw, basis := s.Load()
		if draw == nil || basis == inventory.Planned || s.Budget == nil || *s.Budget <= 0 {
			continue
		}
		l := load{Name: clean(s.Switch), Supply: inventory.SupplyRef{Switch: s.Switch, Supply: s.Supply}, Now: *draw, Has: true, Basis: basis,
			Limit: *s.Budget, Near: b.Plan.Near.SupplyShare}
		if s.BudgetBasis == inventory.Planned {
			l.Of = "planned"
		}
		if b.Snapshot.SeveralSupplies(s.Switch) {
			l.Name += " supply " + clean(s.Supply)
		}
		if k, night, ok := peakOf(b.History.Supplies[l.Supply], b.Now); ok {
			l.Peak, l.PeakAt, l.Night = k.Draw, k.At, night
		}
		out = append(out, l)
	}
	return fullest(out)
}

func fullest(list []load) []load {
	slices.SortStableFunc(list, func(x, y load) int { return cmp.Compare(y.share(), x.share()) })
	return list
}

// ports are the feeding ports whose draw is known, the fullest first: measured
// ones before negotiated ones, which are never near. The second result counts
// those that feed and do not tell how much.
func (b *builder) ports() (known []load, silent int) {
	if b.Snapshot == nil {
		return nil, 0
	}
	var measured, negotiated []load
	for i := range b.Snapshot.Ports {
		p := &b.Snapshot.Ports[i]
		w := p.Power
		if w == nil || w.State != inventory.PSEDelivering {
			continue
		}
		l := load{Name: b.portName(p), Port: inventory.PortRef{Device: p.Switch, Port: p.Port}, Basis: w.DrawBasis}
		if w.Draw != nil {
			l.Now, l.Has = *w.Draw, true
		}
		k, night, ok := peakOf(b.History.Peaks[l.Port], b.Now)
		if ok {
			l.Peak, l.PeakAt, l.Night = k.Draw, k.At, night
		}
		if !l.Has && !ok {
			silent++
			continue
		}
		if w.Grant == nil {
			continue
		}
		l.Limit = *w.Grant
		if n, ok := w.Class.Number(); ok && w.Class.Ratings().Output == *w.Grant {
			l.Of = fmt.Sprintf("class %d", n)
		}
		if w.DrawBasis == inventory.Negotiated && !ok {
			negotiated = append(negotiated, l)
			continue
		}
		l.Near = b.Plan.Near.PortShare
		measured = append(measured, l)
	}
	return append(fullest(measured), fullest(negotiated)...), silent
}

// portName is the port with what the plan hangs on it, not on what hangs there.
func (b *builder) portName(p *inventory.PortState) string {
	ref := inventory.PortRef{Device: p.Switch, Port: p.Port}
	var there []string
	for _, name := range p.Planned {
		if d, ok := b.Plan.Device(name); ok && (d.At == ref || len(p.Planned) == 1) {
			there = append(there, name)
		}
	}
	name := clean(ref.String())
	if len(there) == 1 {
		name += ", " + clean(there[0])
	}
	return name
}

// Wanted says whose samples [Build] draws: the fullest supply and the fullest ports.
func Wanted(in In) ([]inventory.SupplyRef, []inventory.PortRef) {
	b := newBuilder(in)
	var supplies []inventory.SupplyRef
	for _, l := range b.drawnSupplies() {
		supplies = append(supplies, l.Supply)
	}
	var ports []inventory.PortRef
	for _, l := range b.drawnPorts() {
		ports = append(ports, l.Port)
	}
	return supplies, ports
}

func (b *builder) drawnSupplies() []load {
	s := b.supplies()
	return s[:min(len(s), 1)]
}

func (b *builder) drawnPorts() []load {
	p, _ := b.ports()
	return p[:min(len(p), drawnPorts)]
}

func (b *builder) power(pictures []Picture) section {
	s := section{Title: "Power", Pictures: pictures}
	supplies := b.supplies()
	ports, silent := b.ports()
	var dark []string
	for _, l := range supplies[:min(len(supplies), mostSupplies)] {
		s.Bars = append(s.Bars, b.bar(l))
	}
	for _, l := range ports[:min(len(ports), mostPorts)] {
		s.Bars = append(s.Bars, b.bar(l))
		if !l.PeakAt.IsZero() && !l.Night {
			dark = append(dark, l.Name)
		}
	}
	var rest []string
	if n := len(supplies) - mostSupplies; n > 0 {
		rest = append(rest, diff.Plural(n, "supply", "supplies"))
	}
	if n := len(ports) - mostPorts; n > 0 {
		rest = append(rest, diff.Plural(n, "port", "ports"))
	}
	if len(rest) > 0 {
		s.Foot = append(s.Foot, "Less full: "+strings.Join(rest, " and ")+`; "boundwalk show ports" lists them.`)
	}
	if silent > 0 {
		s.Foot = append(s.Foot, diff.Plural(silent, "port feeds", "ports feed")+" without saying how much; a class is a ceiling and no draw.")
	}
	if len(dark) > 0 {
		s.Foot = append(s.Foot, "No night seen yet: "+strings.Join(dark, "; ")+". Lamps and heaters draw most then.")
	}
	return s
}

func (b *builder) bar(l load) bar {
	var parts []string
	of := " of " + l.Limit.String()
	if l.Of != "" {
		of += " (" + l.Of + ")"
	}
	if l.Has {
		parts = append(parts, l.Now.String()+" now")
	}
	if !l.PeakAt.IsZero() {
		parts = append(parts, fmt.Sprintf("peak %s %s", l.Peak, b.at(l.PeakAt)))
	}
	words := strings.Join(parts, ", ") + "," + of + ": " + percent(l.share())
	if l.Basis != "" {
		words += ", " + string(l.Basis)
	}
	now := 0.0
	if l.Has {
		now = share(l.Now, l.Limit)
	}
	return bar{Name: l.Name, Figures: words, Now: min(now, 1), Peak: min(l.share(), 1), Full: l.Near > 0 && l.share() >= l.Near}
}

func share(part, whole inventory.Power) float64 {
	if whole <= 0 {
		return 0
	}
	return max(part.Watts()/whole.Watts(), 0)
}
