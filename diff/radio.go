package diff

import (
	"cmp"
	"fmt"
	"strings"
	"time"

	"boundwalk/inventory"
	"boundwalk/inventory/radio"
	"boundwalk/inventory/video"
)

// levelWindow is how far back a radio's own level is looked at: long enough to
// see a season coming.
const levelWindow = 8 * 7 * aDay

// radios reports radios that hear less than they did, and links that carry
// nearly all they can. The cable side is judged with the other links, and comes
// first: a slow port is no fault of the air (FC-25).
func (a *auditor) radios() {
	for i := range a.snap.Radios {
		r := &a.snap.Radios[i]
		if d := a.planned[r.Device]; d != nil && r.Level != nil && !a.covered[r.Device] {
			a.levelLow(d, r)
		}
	}
	p := &paper{auditor: a}
	for i := range a.plan.Links {
		a.linkLoad(p.linkOnPaper(&a.plan.Links[i]))
	}
	a.uplinkLoads()
}

// levelLow holds a radio's level against the median of its own past weeks, for
// three days, so that rain and wet leaves pass.
func (a *auditor) levelLow(d *inventory.Device, r *inventory.RadioState) {
	today := radio.DBm(*r.Level)
	var past []radio.DBm
	start := midnight(a.now, a.loc)
	for _, l := range a.hist.Levels[r.Device] {
		switch {
		case !l.Day.Before(start):
			today = radio.DBm(l.DBm) // the median of what was read today
		case a.now.Sub(l.Day) <= levelWindow:
			past = append(past, radio.DBm(l.DBm))
		}
	}
	opts := radio.LevelOptions{}
	if a.open(RadioLevelLow, d.Name) {
		opts = radio.LevelOptions{Drop: 5, Floor: -69, Days: 1} // a band against flapping
	}
	t := radio.LevelLow(past, today, opts)
	if !t.Low {
		return
	}
	f := New(RadioLevelLow, d.Name)
	f.Where, f.Basis = cmp.Or(r.Link, d.At.String()), inventory.Measured
	f.Observed = fmt.Sprintf("%.0f dBm today, low for %s", float64(today), Plural(t.Days, "day", "days"))
	f.Expected = "at least -70 dBm"
	if t.MedianKnown {
		f.Expected = fmt.Sprintf("about %.0f dBm, the median of its own last weeks", float64(t.Median))
		f.Observed += fmt.Sprintf(", %.0f dB below that", float64(t.Down))
	}
	if l := a.linkOf(d.Name); l != nil && l.Level != nil {
		if diff, likely, ok := radio.Deviation(today, radio.DBm(*l.Level)); ok && likely != "" {
			f.Observed += fmt.Sprintf("; %.0f dB from what the installer noted, which points at %s", float64(diff), likely)
		}
	}
	f.Advice = "look for growth or new things in the way, a dish that moved, and wet plugs, from the ground first"
	f.Caution = strings.Join([]string{radio.CautionHeights, radio.CautionLightning, radio.CautionTransmitter}, " ")
	a.add(f, d)
}

func midnight(t time.Time, loc *time.Location) time.Time {
	y, m, d := t.In(loc).Date()
	return time.Date(y, m, d, 0, 0, 0, 0, loc)
}

// traffic is what went in and out of a port between its last reading and this
// one; false where no counter tells, or a 32-bit one may have wrapped (RFC 2863).
func (a *auditor) traffic(p *inventory.PortState) (in, out inventory.BitRate, span time.Duration, ok bool) {
	if p == nil {
		return 0, 0, 0, false
	}
	was, now := a.hist.Counters[refOf(p)].Last.Counters, p.Counters
	span = now.Read.Sub(was.Read)
	if was.Read.IsZero() || span < leastSpan || !sameCount(was.Discontinuity, now.Discontinuity) || !(now.Wide && was.Wide) && wraps(p.Speed, span) {
		return 0, 0, span, false
	}
	i, iok := risen(was.In, now.In)
	o, ook := risen(was.Out, now.Out)
	rate := func(octets uint64) inventory.BitRate { return inventory.BitRate(float64(octets) * 8 / span.Seconds()) }
	in, out = rate(i), rate(o)
	const beyond = 1.05 // of the link's speed: a counter that jumped
	if !iok || !ook || p.Speed > 0 && float64(max(in, out)) > beyond*float64(p.Speed) {
		return 0, 0, span, false
	}
	return in, out, span, true
}

const leastSpan = time.Minute // shorter readings say little of a stream

// wraps reports whether 32 bits of octets can run over in the span at that speed.
func wraps(speed inventory.BitRate, span time.Duration) bool {
	return float64(speed)*span.Seconds() > 8*(1<<32)
}

// linkLoad holds what a radio link carries, by the counters of its cable side,
// against what it can: by its rate in the air where that is told, else by paper.
func (a *auditor) linkLoad(l linkPaper) {
	var port *inventory.PortState
	var in, out inventory.BitRate
	var span time.Duration
	for _, end := range l.plan.Between {
		d := a.planned[end]
		if d == nil || a.covered[end] {
			continue
		}
		p := a.portOf(d)
		if i, o, s, ok := a.traffic(p); ok && i+o > in+out {
			port, in, out, span = p, i, o, s
		}
	}
	usable, how := a.airRate(l.plan)
	if usable == 0 && l.err == nil {
		var by string
		usable, by = l.carries()
		how = "by the plan, bounded by " + boundWords(by)
	}
	if port == nil || usable <= 0 {
		return
	}
	share := a.near.LinkShare
	if a.open(LinkLoadNear, l.plan.Name) {
		share -= a.near.Band
	}
	load := in + out // the air is shared between both directions
	if j := video.JudgeLink(video.BitRate(load), video.BitRate(usable), share); !j.Near {
		return
	}
	f := New(LinkLoadNear, l.plan.Name)
	f.Where, f.Basis = refOf(port).String(), inventory.Measured
	f.Expected = fmt.Sprintf("at most %.0f %% of %s, %s", 100*a.near.LinkShare, short(usable), how)
	f.Observed = fmt.Sprintf("%.0f %%: %s both ways together, the mean of %s on %s", 100*float64(load)/float64(usable), short(load),
		lasts(span), portWords(refOf(port)))
	f.Advice = "lower the cameras' rates or view fewer streams across it; if the air is slow, look at its level first"
	f.Caution = radio.CautionLimits
	a.add(f, a.planned[l.plan.Between[0]])
}

// short is a rate without digits that mean nothing.
func short(r inventory.BitRate) inventory.BitRate {
	if r >= 1e6 {
		return (r + 5e4) / 1e5 * 1e5
	}
	return r
}

// airRate is what the link carries by the rates that its radios tell.
func (a *auditor) airRate(l *inventory.RadioLink) (inventory.BitRate, string) {
	var rates []radio.BitRate
	for i := range a.snap.Radios {
		r := &a.snap.Radios[i]
		if (r.Device == l.Between[0] || r.Device == l.Between[1]) && r.Rate != nil {
			rates = append(rates, radio.BitRate(*r.Rate))
		}
	}
	switch len(rates) {
	case 0:
		return 0, ""
	case 1:
		rates = append(rates, rates[0])
	}
	u := inventory.BitRate(radio.Usable(rates[0], rates[1]))
	return u, fmt.Sprintf("half of the %s that the air has", short(inventory.BitRate(min(rates[0], rates[1]))))
}

// uplinkLoads holds the traffic between switches against what their cable carries.
func (a *auditor) uplinkLoads() {
	for i := range a.snap.Ports {
		p := &a.snap.Ports[i]
		for _, d := range a.onPort[i] {
			if d.Role != inventory.Switch && d.Role != inventory.Router && d.Role != inventory.PlainSwitch || p.Speed <= 0 || a.covered[d.Name] {
				continue
			}
			in, out, span, ok := a.traffic(p)
			if !ok {
				continue
			}
			ref := refOf(p)
			usable := inventory.BitRate(video.PortUsable(video.BitRate(p.Speed)))
			share := a.near.LinkShare
			if a.open(LinkLoadNear, ref.String()) {
				share -= a.near.Band
			}
			if !video.JudgeLink(video.BitRate(max(in, out)), video.BitRate(usable), share).Near {
				continue
			}
			f := New(LinkLoadNear, ref.String())
			f.Where, f.Basis = ref.String(), inventory.Measured
			f.Expected = fmt.Sprintf("at most %.0f %% of the %s that it carries of data, to %s", 100*a.near.LinkShare, usable, d.Name)
			f.Observed = fmt.Sprintf("%.0f %%: %s, the mean of %s on %s", 100*float64(max(in, out))/float64(usable), short(max(in, out)),
				lasts(span), portWords(ref))
			f.Advice = "see what sends so much; if it is the cameras, lower their rates or take a faster link"
			a.add(f, d)
		}
	}
}
