package poe

import "fmt"

// CautionPassive stands beside whatever is said about a feed that is live
// without asking.
const CautionPassive = "A passive or forced feed is live all the time and checks nothing. Before anything is plugged in, " +
	"switch it off, label the lead, and check volts, polarity and pins with a meter against the makers' sheets. " +
	"Local codes come first; fixed wiring and mains are work for licensed trades."

// Harm is what comes of a wrong pairing, mildest first. The zero value is none.
type Harm uint8

// The harms.
const (
	Degraded    Harm = iota + 1 // runs, with less than it should
	Unpowered                   // does not run, or not for long; nothing breaks
	Risky                       // may break the device or the port
	Destructive                 // breaks the device
)

// String returns a few plain words.
func (h Harm) String() string {
	words := [...]string{"harmless", "runs with less", "no power, no damage", "may do damage", "destroys the device"}
	if int(h) >= len(words) {
		return words[len(words)-1]
	}
	return words[h]
}

// Conflict is one reason why a feed and a device do not go together.
type Conflict struct {
	// What is one of no-feed, no-signature, under-voltage, over-voltage,
	// volts-unknown, not-negotiated, live-on-plain-port, reversed-polarity,
	// pins-differ, pins-unknown, extra-pins, no-gigabit, class-granted-less,
	// draw-over-class.
	What string

	Harm Harm

	// Why is one plain sentence with the figures, without a full stop.
	Why string

	// Caution is empty where nothing can break.
	Caution string
}

const (
	safeExtraLow = 57.0 // V, the most that 802.3 puts on a pair
	deviceRuns   = 37.0 // V, the least at which a Type 1 device must run
	nominalSlack = 0.2  // our own allowance around a nominal voltage; no source
)

// Compare says what f does to a device, worst first, nil if they go together.
// It judges the voltage at the port; what is left of it at the end of the cable
// is for OnPaper. A device that shows no class and is not planned to take power
// may be anything, so a live feed is risky for it. Common practice, except where
// a class figure decides.
func Compare(f Feed, n Need) []Conflict {
	var c conflicts
	volts, live := f.live()
	switch {
	case live && n.passive():
		c.passive(f, n, volts)
	case live && n.negotiates():
		c.notNegotiated(volts)
	case live:
		c.add("live-on-plain-port", Risky, "%s stands on the pairs of a device that takes no power from them, as far as known", voltsText(volts))
	case f.Standard.Highest() != 0 && n.passive():
		c.add("no-signature", Unpowered, "an %s port looks for a device that asks, and a passive one does not", f.Standard)
	case f.Standard.Highest() != 0 && n.negotiates():
		c.classes(f, n)
	case n.passive() || n.negotiates():
		c.add("no-feed", Unpowered, "nothing feeds a device that takes its power over the cable")
	}
	if n.Gigabit && f.Direct {
		c.add("no-gigabit", Degraded, "the injector is for 10 and 100 Mb/s: its voltage sits on 4,5 and 7,8, which gigabit needs for data")
	}
	return c.sorted()
}

type conflicts []Conflict

func (c *conflicts) add(what string, harm Harm, why string, args ...any) {
	k := Conflict{What: what, Harm: harm, Why: fmt.Sprintf(why, args...)}
	if harm >= Risky {
		k.Caution = CautionPassive
	}
	*c = append(*c, k)
}

// sorted puts the worst first and keeps the order of finding among equals.
func (c conflicts) sorted() []Conflict {
	var out []Conflict
	for h := Destructive; h >= Degraded; h-- {
		for _, k := range c {
			if k.Harm == h {
				out = append(out, k)
			}
		}
	}
	return out
}

// passive is a live feed on a passive device: volts, then pins.
func (c *conflicts) passive(f Feed, n Need, volts float64) {
	nominal := n.Takes.Volts
	least, most := n.bounds()
	switch {
	case !(volts > 0) || !(most > 0):
		c.add("volts-unknown", Risky, "%s at the port, %s for the device: one of them is not known", voltsText(volts), voltsText(nominal))
	case volts > most:
		c.add("over-voltage", Destructive, "%s at the port, the device takes %s, at most %s", voltsText(volts), voltsText(nominal), voltsText(most))
	case volts < least:
		c.add("under-voltage", Unpowered, "%s at the port, the device takes %s, at least %s", voltsText(volts), voltsText(nominal), voltsText(least))
	}
	c.pins(f, n)
}

// bounds is what voltage the device may be given; zero most: not known.
func (n Need) bounds() (least, most float64) {
	least, most = n.VoltsLeast, n.VoltsMost
	if !(least > 0) {
		least = n.Takes.Volts * (1 - nominalSlack)
	}
	if !(most > 0) {
		most = n.Takes.Volts * (1 + nominalSlack)
	}
	return least, most
}

func (c *conflicts) pins(f Feed, n Need) {
	from, to := f, n.Takes
	if from.Plus == 0 || from.Minus == 0 || to.Plus == 0 || to.Minus == 0 {
		c.add("pins-unknown", Risky, "plus on %s and minus on %s at the port, plus on %s and minus on %s at the device: never assume them",
			from.Plus, from.Minus, to.Plus, to.Minus)
		return
	}
	const text = "plus on %s and minus on %s at the port, plus on %s and minus on %s at the device"
	if n.AnyPolarity && from.Plus&to.Minus != 0 {
		from.Plus, from.Minus = from.Minus, from.Plus
	}
	switch {
	case from.Plus&to.Minus != 0 || from.Minus&to.Plus != 0:
		c.add("reversed-polarity", Destructive, text, f.Plus, f.Minus, to.Plus, to.Minus)
	case from.Plus&to.Plus == 0 || from.Minus&to.Minus == 0:
		// Voltage stands where the device has its data or nothing at all.
		c.add("pins-differ", Risky, text, f.Plus, f.Minus, to.Plus, to.Minus)
	case (from.Plus|from.Minus)&^(to.Plus|to.Minus) != 0:
		c.add("extra-pins", Risky, text+": more pins are live than the device expects", f.Plus, f.Minus, to.Plus, to.Minus)
	case (to.Plus|to.Minus)&^(from.Plus|from.Minus) != 0:
		c.add("pins-differ", Degraded, text+": fewer wires carry the current than the device has for it", f.Plus, f.Minus, to.Plus, to.Minus)
	}
}

// notNegotiated is a live feed on a device of the standard. Such a device takes
// either polarity, but one side of the protection is gone. That it stays off
// below 30 to 36 V is from memory.
func (c *conflicts) notNegotiated(volts float64) {
	const text = "a device that negotiates its power on a port that does not: %s"
	switch {
	case !(volts > 0):
		c.add("not-negotiated", Risky, text+", volts not known", "no detection, no limit by class")
	case volts > safeExtraLow:
		c.add("over-voltage", Destructive, text+" at the port, at most %s are allowed", voltsText(volts), voltsText(safeExtraLow))
	case volts < deviceRuns:
		c.add("not-negotiated", Unpowered, text+" is below the %s it needs", voltsText(volts), voltsText(deviceRuns))
	default:
		c.add("not-negotiated", Risky, text+" without detection or a limit by class", voltsText(volts))
	}
}

// classes is a negotiating device on a port of a standard.
func (c *conflicts) classes(f Feed, n Need) {
	if n.Class.known() && n.Most > n.Class.Ratings().Input {
		c.add("draw-over-class", Unpowered, "the device draws up to %s, more than the %s of its %s: the port may cut it off",
			n.Most, n.Class.Ratings().Input, n.Class)
	}
	granted := f.grant(n)
	switch enough := granted.Ratings().Input; {
	case !n.Class.known() && n.Most > 0 && (granted == 0 || n.Most > enough),
		n.Class.known() && granted < n.Class && (n.Most <= 0 || n.Most > enough):
		if granted == 0 {
			granted = f.Standard.Highest()
		}
		c.add("class-granted-less", Degraded, "an %s port grants %s, %s at the device, which is less than it may want: it may switch functions off without an alarm",
			f.Standard, granted, granted.Ratings().Input)
	}
}

func voltsText(volts float64) string {
	if !(volts > 0) {
		return "unknown volts"
	}
	return fmt.Sprintf("%.4g V", volts)
}
