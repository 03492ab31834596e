package cable

import (
	"fmt"
	"math"
)

const (
	// AssumedCelsius is the temperature of a cable nobody measured. It is an
	// assumption on the warm side: resistance grows by 3.93 % each 10 K.
	AssumedCelsius = 40.0

	// ChannelOhms is the two-pair resistance of the longest channel whose gauge
	// is not known: a pair's loop may have 25 ohm (ANSI/TIA-568.2-D), and power
	// goes out on both wires of one pair and back on both of another.
	ChannelOhms = 12.5

	// ConnectorOhms is what one mated connector adds to each conductor. Common
	// practice says 0.1 to 0.2 ohm; this is the upper end.
	ConnectorOhms = 0.2
)

const (
	copperOhmMetre  = 1.7241e-8 // annealed copper at 20 °C, 100 % IACS; from memory
	copperPerKelvin = 0.00393   // likewise

	cladFactor     = 1.6 // sellers' figures run from 1.4 to 1.6 (bare aluminium 1.64)
	strandedFactor = 1.2 // common practice: up to 20 % worse than solid

	coldest, hottest = -60.0, 150.0 // °C; outside it the linear rule means nothing
	longest          = 1e6          // m; keeps sums finite
)

// Gauge is an American wire gauge, 23 for 23 AWG. Zero means unknown; larger
// sizes count down from there, -1 for 2/0 to -3 for 4/0.
type Gauge int8

// Diameter is the nominal diameter of a solid wire in millimetres by the rule
// of ASTM B258: AWG 36 has 0.005 in, 4/0 has 0.46 in, with 39 equal ratios
// between. It is zero for an unknown gauge.
func (g Gauge) Diameter() float64 {
	if g == 0 {
		return 0
	}
	return 25.4 * 0.005 * math.Pow(92, (36-float64(g))/39)
}

// String returns "23 AWG", or "unknown gauge" for zero.
func (g Gauge) String() string {
	if g == 0 {
		return "unknown gauge"
	}
	return fmt.Sprintf("%d AWG", int(g))
}

// Conductor is what the wires are made of. The zero value is copper, the only
// metal that the cabling standards allow.
type Conductor uint8

// The two metals sold as data cable.
const (
	Copper Conductor = iota
	CopperCladAluminium
)

// String returns "copper" or "copper-clad aluminium".
func (c Conductor) String() string {
	if c == CopperCladAluminium {
		return "copper-clad aluminium"
	}
	return "copper"
}

// Pairs is the number of pairs that carry the power. Whatever is not FourPairs
// counts as TwoPairs, which has twice the resistance.
type Pairs uint8

// Power runs on two pairs (one out, one back) or on all four.
const (
	TwoPairs  Pairs = 2
	FourPairs Pairs = 4
)

// Segment is one length of the same cable.
type Segment struct {
	// Length is in metres. Zero or less means unknown: 100 m are assumed, or
	// 10 m for a cord, the most that the standards allow.
	Length float64

	// Gauge may be unknown: the standard's worst channel is assumed.
	Gauge Gauge

	Conductor Conductor

	// Cord marks a stranded patch cord.
	Cord bool
}

// Run is a cable from a port to a device. The zero value is a run of which
// nothing is known: the longest channel of the worst cable that is permitted.
type Run struct {
	Segments []Segment

	// Connectors counts the mated connectors that are to be added. Where a
	// gauge is unknown they are part of the assumed channel.
	Connectors int

	// Celsius is the temperature of the cable; zero means AssumedCelsius.
	Celsius float64
}

// ConductorOhms is the resistance of one metre of one solid wire. It is zero
// for an unknown gauge. A temperature that is not a number counts as
// AssumedCelsius; others are held between -60 and 150 °C.
func (g Gauge) ConductorOhms(c Conductor, celsius float64) float64 {
	if g == 0 {
		return 0
	}
	if math.IsNaN(celsius) {
		celsius = AssumedCelsius
	}
	celsius = min(max(celsius, coldest), hottest)
	metres := g.Diameter() / 1000
	r := copperOhmMetre / (math.Pi * metres * metres / 4)
	return r * c.factor() * (1 + copperPerKelvin*(celsius-20))
}

func (c Conductor) factor() float64 {
	if c == CopperCladAluminium {
		return cladFactor
	}
	return 1
}

// Resistance is the whole way out and back in ohms with power on the given
// pairs. With r ohm per metre of one wire it is r times the length on two
// pairs and half of that on four; at most 1e6. See Assumed for what was guessed.
func (r Run) Resistance(pairs Pairs) float64 {
	segments := r.Segments
	if len(segments) == 0 {
		segments = []Segment{{}}
	}
	celsius := r.Celsius
	if celsius == 0 {
		celsius = AssumedCelsius
	}
	ohms, guessed := 0.0, false
	for _, s := range segments {
		ohms += s.ohms(celsius)
		guessed = guessed || s.Gauge == 0
	}
	if guessed {
		// The 12.5 ohm count the connectors in, but a short run must not
		// shrink below the two that every run has.
		ohms = max(ohms, ConnectorOhms*float64(max(r.Connectors, 2)))
	} else {
		ohms += ConnectorOhms * float64(max(r.Connectors, 0))
	}
	ohms = min(ohms, mostFigure)
	if pairs == FourPairs {
		return ohms / 2
	}
	return ohms
}

func (s Segment) ohms(celsius float64) float64 {
	factor := 1.0
	if s.Cord {
		factor = strandedFactor
	}
	perMetre := s.Gauge.ConductorOhms(s.Conductor, celsius)
	if s.Gauge == 0 {
		perMetre = ChannelOhms / maxChannel * s.Conductor.factor()
	}
	return perMetre * factor * s.metres()
}

// metres is the length to reckon with, where none is given the longest allowed.
func (s Segment) metres() float64 {
	switch {
	case s.Length > 0: // not for NaN
		return min(s.Length, longest)
	case s.Cord:
		return maxCords
	default:
		return maxChannel
	}
}

// Assumed reports what the plan leaves open, so that a figure computed from the
// run can say so: whether a length, and whether a gauge, was assumed.
func (r Run) Assumed() (length, gauge bool) {
	if len(r.Segments) == 0 {
		return true, true
	}
	for _, s := range r.Segments {
		length = length || !(s.Length > 0)
		gauge = gauge || s.Gauge == 0
	}
	return length, gauge
}
