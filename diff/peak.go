package diff

import (
	"fmt"
	"slices"

	"boundwalk/inventory"
	"boundwalk/inventory/poe"
)

// peakOf is the highest measured draw of the port in the last week, now included.
func (a *auditor) peakOf(p *inventory.PortState) (peak inventory.Peak, night, ok bool) {
	for _, k := range slices.Backward(a.hist.Peaks[refOf(p)]) {
		if a.now.Sub(k.Day) > 8*aDay {
			break // they come oldest first
		}
		if k.Basis != inventory.Measured {
			continue
		}
		night = night || k.Night
		if !ok || k.Draw >= peak.Draw { // of equals the first
			peak, ok = k, true
		}
	}
	if w := p.Power; w.Draw != nil && w.DrawBasis == inventory.Measured && (!ok || *w.Draw > peak.Draw) {
		peak, ok = inventory.Peak{At: a.snap.Finished, Draw: *w.Draw, Basis: inventory.Measured}, true
	}
	if h := a.snap.Finished.In(a.loc).Hour(); p.Power.Draw != nil && (h >= 21 || h < 5) {
		night = true
	}
	return peak, night, ok
}

// peakWords says the week's highest draw against the port's limit.
func (a *auditor) peakWords(p *inventory.PortState) string {
	peak, night, ok := a.peakOf(p)
	if !ok {
		return ""
	}
	words := fmt.Sprintf("highest draw %s, measured %s", peak.Draw, a.when(peak.At))
	if g := p.Power.Grant; g != nil {
		words = fmt.Sprintf("highest draw %s of %s, measured %s", peak.Draw, *g, a.when(peak.At))
	}
	if !night {
		words += "; no night has been seen yet"
	}
	return words
}

// portNear holds the week's highest measured draw against what the hardware or
// the class grants. A negotiated limit is near its draw by design.
func (a *auditor) portNear(p *inventory.PortState, d *inventory.Device) {
	peak, _, ok := a.peakOf(p)
	if !ok || p.Power.Grant == nil || p.Power.State != inventory.PSEDelivering {
		return
	}
	ref := refOf(p)
	was := poe.Calm
	switch {
	case a.open(PortPowerOver, ref.String()):
		was = poe.Over
	case a.open(PortPowerNear, ref.String()):
		was = poe.Near
	}
	level := levelOf(peak.Draw, *p.Power.Grant, a.near.PortShare, a.near.Band, was)
	if level == poe.Calm {
		return
	}
	f := New(PortPowerNear, ref.String())
	f.Advice = fmt.Sprintf("before anything is added there, see what draws so much at %s; a port that grants more, or a shorter cable, gives room", a.when(peak.At))
	if level == poe.Over {
		f = New(PortPowerOver, ref.String())
		f.Advice = "move what hangs there to a port that grants more, or lower its draw: the port may cut it off at any time"
	}
	f.Where, f.Basis = ref.String(), inventory.Measured
	f.Expected = fmt.Sprintf("at most %.0f %% of %s, which %s grants", 100*a.near.PortShare, *p.Power.Grant, grantWords(p.Power))
	f.Observed = fmt.Sprintf("%.0f %%: %s", 100*peak.Draw.Watts()/p.Power.Grant.Watts(), a.peakWords(p))
	if p.Power.Sure == "assumed" {
		f.Observed += "; which power row belongs to the port is assumed from its number"
	}
	if d != nil {
		f.Observed = sentence(f.Observed, "it feeds "+d.Name)
	}
	a.add(f, d)
}

func grantWords(w *inventory.PortPower) string {
	if w.Class != 0 && w.Class.Ratings().Output >= *w.Grant {
		return w.Class.String()
	}
	return "the port"
}

// levelOf is poe.LevelOf with the plan's own band.
func levelOf(part, whole inventory.Power, threshold, band float64, was poe.Level) poe.Level {
	if was >= poe.Near {
		// poe has a band of 5 points; the plan may have another.
		threshold += 0.05 - band
	}
	return poe.LevelOf(part, whole, min(threshold, 1), was)
}
