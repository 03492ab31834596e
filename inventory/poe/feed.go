package poe

import (
	"fmt"
	"math/bits"
	"strconv"
	"strings"

	"boundwalk/inventory/cable"
)

// Standard is how a port gives power, or how a device takes it. The zero value
// is none at all.
type Standard uint8

// Standards of feeding. 802.3bt has two Types, whose ports end at class 6 and
// at class 8.
const (
	AF      Standard = iota + 1 // 802.3af, Type 1, up to class 3
	AT                          // 802.3at, Type 2, up to class 4
	BT3                         // 802.3bt Type 3, up to class 6
	BT4                         // 802.3bt Type 4, up to class 8
	Passive                     // voltage on the pairs without asking
)

// String returns "802.3af", "802.3at", "802.3bt type 3", "802.3bt type 4",
// "passive" or "no power".
func (s Standard) String() string {
	words := [...]string{"no power", "802.3af", "802.3at", "802.3bt type 3", "802.3bt type 4", "passive"}
	if int(s) >= len(words) {
		return words[0]
	}
	return words[s]
}

// Highest is the largest class that a port of this standard grants; unknown for
// passive and none.
func (s Standard) Highest() Class {
	switch s {
	case AF:
		return Class3
	case AT:
		return Class4
	case BT3:
		return Class6
	case BT4:
		return Class8
	default:
		return 0
	}
}

// Grant is the class that a port of this standard gives a device of class c. A
// larger device on a smaller port gets the port's highest: the link comes up,
// and the device goes without some of its functions, often without an alarm.
// It is unknown if c is, or if the port does not negotiate.
func (s Standard) Grant(c Class) Class {
	if !c.known() || s.Highest() == 0 {
		return 0
	}
	return min(c, s.Highest())
}

// Pins is a set of the eight pins of a jack. The zero value means unknown.
type Pins uint8

// PinsOf makes a set of pin numbers, 1 to 8; another number, or one that stands
// there twice, is an error.
func PinsOf(numbers ...int) (Pins, error) {
	var p Pins
	for _, n := range numbers {
		if n < 1 || n > 8 {
			return 0, fmt.Errorf("pin %d is outside 1 to 8", n)
		}
		if p&(1<<(n-1)) != 0 {
			return 0, fmt.Errorf("pin %d stands there twice", n)
		}
		p |= 1 << (n - 1)
	}
	return p, nil
}

// String lists the pins, "4,5", or "pins unknown".
func (p Pins) String() string {
	if p == 0 {
		return "pins unknown"
	}
	var out []string
	for n := 1; n <= 8; n++ {
		if p&(1<<(n-1)) != 0 {
			out = append(out, strconv.Itoa(n))
		}
	}
	return strings.Join(out, ",")
}

// Feed is what a port or an injector puts on a cable, and in a Need what a
// passive device wants there. The zero value is no feed.
type Feed struct {
	Standard Standard

	// Volts is the voltage at the port. For a passive feed zero means unknown;
	// for the others it means the least that the Type allows.
	Volts float64

	// Plus and Minus are the pins of a passive feed.
	Plus, Minus Pins

	// Forced marks a port of a standard that was set to give power without
	// looking for a device first. It is as live as a passive one.
	Forced bool

	// Direct marks a 10/100 injector that puts the voltage straight on 4,5 and
	// 7,8, where gigabit needs data.
	Direct bool

	// Limit is a lower limit for this port, by its maker or its setting; zero:
	// the granted class alone limits it.
	Limit Power
}

// IsZero reports whether f is no feed.
func (f Feed) IsZero() bool { return f == Feed{} }

// Need is what a device takes over the cable. The zero value is a device that
// takes no power, as far as anyone knows.
type Need struct {
	// Takes is what a passive device wants: its standard is Passive, its volts
	// are nominal. Any other standard means a device that negotiates, none
	// leaves that to the class.
	Takes Feed

	// Class is what a device that negotiates shows.
	Class Class

	// Most is its highest draw at its own end, with lamp, heater and start-up;
	// zero: not known, its class is the ceiling.
	Most Power

	// VoltsLeast and VoltsMost are what a passive device's maker allows. Zero:
	// not said; a feed is then chosen within a fifth of the nominal volts.
	VoltsLeast, VoltsMost float64

	// AnyPolarity: the maker says that either polarity will do.
	AnyPolarity bool

	// Gigabit: the link is planned at 1 Gb/s or more.
	Gigabit bool
}

// passive reports whether the device wants a passive feed.
func (n Need) passive() bool { return n.Takes.Standard == Passive }

// negotiates reports whether the device shows a PSE what it is.
func (n Need) negotiates() bool {
	return !n.passive() && (n.Takes.Standard.Highest() != 0 || n.Class.known())
}

// live is the voltage that stands on the cable whatever is plugged in; zero for
// an unknown voltage.
func (f Feed) live() (volts float64, ok bool) {
	switch {
	case f.Standard == Passive:
		return f.Volts, true
	case f.Forced && f.Standard.Highest() != 0:
		if f.Volts > 0 {
			return f.Volts, true
		}
		return f.Standard.Highest().Ratings().PortVoltsMost, true
	default:
		return 0, false
	}
}

// grant is the class a port gives to the device, whose class may be implied by
// its draw.
func (f Feed) grant(n Need) Class {
	c := n.Class
	if !c.known() {
		c = ClassFor(n.Most)
	}
	return f.Standard.Grant(c)
}

// volts is what stands at the port on paper: as given, or the least of the Type.
func (f Feed) volts() float64 {
	if f.Volts > 0 || f.Standard == Passive {
		return f.Volts
	}
	return f.Standard.Highest().Ratings().PortVolts
}

func (f Feed) pairs(granted Class) cable.Pairs {
	if f.Standard == Passive {
		if bits.OnesCount8(uint8(f.Plus|f.Minus)) == 8 {
			return cable.FourPairs
		}
		return cable.TwoPairs
	}
	return granted.Ratings().Pairs
}
