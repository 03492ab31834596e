package poe

import (
	"errors"
	"fmt"
	"math"

	"boundwalk/inventory/cable"
)

// ErrNoLoad reports that neither a draw nor a class says what a device takes, or
// that no voltage is known for it, so that nothing can be worked out.
var ErrNoLoad = errors.New("neither load nor feed is known")

// roundedTables is how far the printed class figures are from what the
// standard's own equation gives on its worst channel: 45.08 W for class 5,
// 4.006 W for class 1, 90.04 W for class 8.
const roundedTables = 1.005

// Line is a planned port, its cable and its device, worked out for the device's
// highest draw.
type Line struct {
	cable.Delivery

	Granted Class // what the port grants; unknown on a passive feed
	Pairs   cable.Pairs
	Ohms    float64
	Load    Power // at the device; ByClass where Most was not known
	ByClass bool

	// AtPort is what the port gives. Limit is the most that it may, zero where
	// none is known, and OverLimit says that it does not suffice.
	AtPort, Limit Power
	OverLimit     bool

	// VoltsNeeded is the least at the device by its class, or its maker if it is
	// passive; zero where that is not known. VoltageLow: it gets less.
	VoltsNeeded float64
	VoltageLow  bool

	// OverCurrent: more than the Type allows on two pairs, or more on one wire
	// than cable.MaxConductorAmps.
	OverCurrent bool

	// Unsteady: the load is above cable.SteadyShare of the most that the cable
	// could carry at all.
	Unsteady bool
}

// OnPaper works out a line with the least volts that the port's Type allows,
// unless the feed states others. Ask Compare first whether the two go together
// at all. The error wraps ErrNoLoad, or cable.ErrCannotDeliver; then the fields
// up to ByClass, and Limit, still hold. Other errors are volts that no feed has.
func OnPaper(f Feed, n Need, run cable.Run) (Line, error) {
	var l Line
	l.Granted = f.grant(n)
	l.Pairs = f.pairs(l.Granted)
	l.Ohms = run.Resistance(l.Pairs)
	l.Load = n.Most
	if l.Load <= 0 {
		l.Load, l.ByClass = l.Granted.Ratings().Input, true
	}
	l.Limit = f.limit(l.Granted)
	volts := f.volts()
	if l.Load <= 0 || !(volts > 0) {
		return l, fmt.Errorf("feed a device by %s: %w", f.Standard, ErrNoLoad)
	}
	d, err := cable.Deliver(volts, l.Ohms, l.Load.Watts())
	if err != nil {
		return l, err
	}
	l.Delivery = d
	l.AtPort = FromWatts(d.Source)
	l.OverLimit = l.Limit > 0 && d.Source > l.Limit.Watts()*roundedTables
	if !n.passive() {
		l.VoltsNeeded = l.Granted.Ratings().DeviceVolts
	} else if n.VoltsLeast > 0 && n.VoltsLeast <= math.MaxInt32 { // not for NaN
		l.VoltsNeeded = n.VoltsLeast
	}
	const rounding = 1e-6
	l.VoltageLow = d.Volts < l.VoltsNeeded-rounding
	pairSet := l.Granted.Ratings().PairSetAmps
	perSet := 2 * d.ConductorAmps(l.Pairs)
	l.OverCurrent = pairSet > 0 && perSet > pairSet+rounding || d.ConductorAmps(l.Pairs) > cable.MaxConductorAmps+rounding
	l.Unsteady = l.Load.Watts() > cable.SteadyShare*cable.MostWatts(volts, l.Ohms)
	return l, nil
}

// limit is the most that the port gives; zero: not known.
func (f Feed) limit(granted Class) Power {
	output := granted.Ratings().Output
	switch {
	case f.Limit <= 0:
		return output
	case output <= 0:
		return f.Limit
	default:
		return min(output, f.Limit)
	}
}
