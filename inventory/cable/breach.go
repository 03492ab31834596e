package cable

import "fmt"

const (
	maxChannel = 100.0 // m, link and cords; restated by a cabling text on TIA-568
	maxLink    = 90.0  // m, the fixed part
	maxCords   = 10.0  // m, all cords together

	// conductorLimit is the most that a horizontal conductor of Cat 5e to 6A may
	// have, in ohms per 100 m at 20 °C (TIA-568, restated by two cabling texts).
	conductorLimit = 9.38
)

// Cautions for advice that touches cable. Each defers to local codes and
// licensed trades and stands beside the advice, not in a block of its own.
const (
	CautionBundle = "Cables that carry power warm each other in a bundle, and heat raises their resistance. " +
		"Keep bundles small and follow the local wiring code; fixed wiring is work for a licensed installer."
	CautionOutdoor = "Copper outdoors or between buildings carries lightning surges and differences of earth potential. " +
		"Use fibre or radio, or surge protectors bonded at both ends by a licensed electrician under the local code."
	cautionClad = "Copper-clad aluminium runs hotter than copper for the same power and breaks at terminations. " +
		"Do not bundle it for power; replace it as the local wiring code requires, by a licensed installer where it is fixed."
)

// Breach is one way in which a run is outside the cabling standards.
type Breach struct {
	// What is one of channel-length, link-length, cord-length (metres),
	// conductor-resistance (ohms per 100 m of one wire at 20 °C), and
	// copper-clad, which has no figures.
	What string

	// Got is the run's figure and Limit the most that is allowed.
	Got, Limit float64

	// Caution is empty where nothing but speed is at stake.
	Caution string
}

// String is one plain sentence without a full stop.
func (b Breach) String() string {
	switch b.What {
	case "channel-length":
		return fmt.Sprintf("%.4g m of cable and cords, at most %.4g m are allowed", b.Got, b.Limit)
	case "link-length":
		return fmt.Sprintf("%.4g m of fixed cable, at most %.4g m are allowed", b.Got, b.Limit)
	case "cord-length":
		return fmt.Sprintf("%.4g m of cords, at most %.4g m are allowed", b.Got, b.Limit)
	case "conductor-resistance":
		return fmt.Sprintf("a wire of %.2f ohm per 100 m, at most %.2f ohm are allowed", b.Got, b.Limit)
	default:
		return "copper-clad aluminium, which no cabling standard permits"
	}
}

// Breaches lists where the run is outside the standards, in a fixed order, or
// nil. Unknown lengths and gauges count as sound. A channel that is too long is
// one breach: its parts are then not named again. The caller owns the slice.
func (r Run) Breaches() []Breach {
	var link, cords, wire float64
	clad := false
	for _, s := range r.Segments {
		length := 0.0
		if s.Length > 0 {
			length = s.metres()
		}
		if s.Cord {
			cords += length
		} else {
			link += length
			wire = max(wire, 100*s.Gauge.ConductorOhms(s.Conductor, 20))
		}
		clad = clad || s.Conductor == CopperCladAluminium
	}
	var out []Breach
	if link+cords > maxChannel {
		out = append(out, Breach{What: "channel-length", Got: link + cords, Limit: maxChannel})
	} else {
		if link > maxLink {
			out = append(out, Breach{What: "link-length", Got: link, Limit: maxLink})
		}
		if cords > maxCords {
			out = append(out, Breach{What: "cord-length", Got: cords, Limit: maxCords})
		}
	}
	if wire > conductorLimit {
		out = append(out, Breach{What: "conductor-resistance", Got: wire, Limit: conductorLimit, Caution: CautionBundle})
	}
	if clad {
		out = append(out, Breach{What: "copper-clad", Caution: cautionClad})
	}
	return out
}
