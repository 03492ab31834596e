package diff

import (
	"time"

	"boundwalk/inventory"
)

// Sheet is the plan reckoned through on paper: data for tables. Zero figures are
// not known unless a comment says otherwise; the slices are the caller's.
type Sheet struct {
	Ports      []PortLine      // what is fed over its cable, in the plan's order
	Supplies   []SupplyLine    // switches, injectors and pass-through switches that feed, in the plan's order
	Links      []LinkLine      // radio links, in the plan's order
	Recordings []RecordingLine // recorders with a disk, in the plan's order
	UPSes      []UPSLine       // in the plan's order
}

// PortLine is one device that takes its power over its cable.
type PortLine struct {
	Device  string
	From    inventory.PortRef // the port or injector that feeds it
	Feed    inventory.Feed
	Class   inventory.Class // unknown: passive, or not said
	Most    inventory.Power // the most that it draws at its own input
	ByClass bool            // Most is the class's ceiling, for the plan gives no draw
	Volts   float64         // at the device
	Amps    float64
	Loss    float64 // watts lost in its cable
	AtPort  inventory.Power
	Limit   inventory.Power // the most that the port gives
	Assumed bool            // the length or gauge of its cable is assumed at its worst
	Notes   []string        // what a reader must know, one sentence each
}

// SupplyLine is what one device has to give to all its ports.
type SupplyLine struct {
	Device   string
	Budget   inventory.Power
	Computed bool // Budget is what the device's own feed leaves over
	Guard    inventory.Power
	Reserved inventory.Power // set aside by the switch's own rule
	Method   string          // that rule; empty: a passive feed reserves nothing
	Drawn    inventory.Power // at most, all ports together, losses in the cables included
	Left     inventory.Power // of the budget above the guard, by the larger of the two; below zero it is overbooked
	Unknown  []string        // devices of which neither class nor draw is known: their watts are in no sum
}

// LinkLine is one radio link.
type LinkLine struct {
	Link      string
	FreeSpace float64    // dB
	PathLoss  float64    // dB, with what stands in the way
	Fresnel   float64    // metres to keep free below the ray at the middle
	Obstacle  float64    // metres to keep free at the obstacle
	Levels    [2]float64 // dBm expected at each end, the near side first
	Margin    float64    // dB of the best rate over the sensitivity
	AirRate   inventory.BitRate
	Usable    inventory.BitRate // data, both directions together
	Bounded   string            // what bounds Usable: air, or the device whose cable side does
	Load      inventory.BitRate
	Share     float64 // of Usable
	Radiated  [2]float64
	Problem   string // why there are no figures
	Notes     []string
}

// RecordingLine is one recorder's disk.
type RecordingLine struct {
	Recorder string
	Cameras  int
	PerDay   int64   // bytes
	Kept     float64 // days
	Want     float64 // days
	More     int     // further cameras that fit, with the largest stream of those there
	Problem  string
}

// UPSLine is one UPS with what hangs on it.
type UPSLine struct {
	UPS     string
	Rated   inventory.Power
	Load    inventory.Power // the plan's figure, else summed from what the plan says of its loads
	Summed  bool
	Runtime time.Duration // on paper, good to 30 % at most
	Want    time.Duration
	Unknown []string // loads of which no watts are known
}

// PaperLines reckons the plan through and gives the figures that Paper judges.
// A nil plan gives an empty sheet.
func PaperLines(plan *inventory.Plan) Sheet {
	if plan == nil {
		return Sheet{}
	}
	p := newPaper(plan)
	s := Sheet{Links: p.linkLines(), Recordings: p.recordingLines(), UPSes: p.upsLines()}
	for _, f := range p.feeds {
		s.Ports = append(s.Ports, f.portLine())
	}
	for _, b := range p.budgets {
		s.Supplies = append(s.Supplies, b.line())
	}
	return s
}
