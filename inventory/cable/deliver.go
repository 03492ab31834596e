package cable

import (
	"errors"
	"fmt"
	"math"
)

// ErrCannotDeliver reports that no voltage at the device satisfies the circuit:
// the load wants more than MostWatts, so it cannot run on this cable.
var ErrCannotDeliver = errors.New("the cable cannot deliver that much")

// MaxConductorAmps is the most design current for one wire and one contact of a
// power-carrying data cable in BS 7671:2018+A4:2026, section 716 (restated by a
// training text). Other countries have other rules.
const MaxConductorAmps = 0.75

// SteadyShare is the part of MostWatts that the published classes stay below:
// class 8 has 71.3 W of 108.16 W. A load above it is outside every class, and a
// little more resistance takes it down.
const SteadyShare = 0.66

// Delivery is the state of one cable with a steady load at its far end.
type Delivery struct {
	Volts  float64 // at the device
	Amps   float64 // through the whole circuit, all wires of one way together
	Loss   float64 // watts lost in the cable
	Source float64 // watts that leave the source
}

// ConductorAmps is the current in each wire, if they share it evenly.
func (d Delivery) ConductorAmps(pairs Pairs) float64 {
	if pairs == FourPairs {
		return d.Amps / 4
	}
	return d.Amps / 2
}

// Deliver works out what a device that takes constant watts gets through ohms
// from a source of volts. It is the upper root of V_pd² - V·V_pd + R·P = 0, the
// stable one; the standard's own relation for class power (IEEE 802.3, eq. 33-2
// and 145-2; from memory) is the same. The error wraps ErrCannotDeliver where
// there is no root. Inputs outside 1 to 1000 V or 0 to 1e6 ohm and watts are
// refused with another error.
func Deliver(volts, ohms, watts float64) (Delivery, error) {
	if err := sane(volts, ohms, watts); err != nil {
		return Delivery{}, fmt.Errorf("deliver %.4g W: %w", watts, err)
	}
	disc := volts*volts - 4*ohms*watts
	if disc < 0 {
		return Delivery{}, fmt.Errorf("deliver %.4g W from %.4g V through %.4g ohm: %w (at most %.4g W)",
			watts, volts, ohms, ErrCannotDeliver, MostWatts(volts, ohms))
	}
	return delivery(volts, ohms, watts/((volts+math.Sqrt(disc))/2)), nil
}

// Receive turns Deliver round: it is what arrives when the source gives no more
// than watts, the most a load may then take being Source less Loss. Past half
// the source voltage more current brings less, so the load is held there.
// Inputs outside the bounds of Deliver are refused.
func Receive(volts, ohms, watts float64) (Delivery, error) {
	if err := sane(volts, ohms, watts); err != nil {
		return Delivery{}, fmt.Errorf("receive %.4g W: %w", watts, err)
	}
	amps := watts / volts
	if amps*ohms > volts/2 {
		amps = volts / 2 / ohms
	}
	return delivery(volts, ohms, amps), nil
}

func delivery(volts, ohms, amps float64) Delivery {
	return Delivery{Volts: volts - amps*ohms, Amps: amps, Loss: amps * amps * ohms, Source: volts * amps}
}

// MostWatts is the most that any load can take through ohms from a source of
// volts, V²/4R. It is zero for inputs that Deliver refuses, and 1e6, more than
// any source has, without resistance.
func MostWatts(volts, ohms float64) float64 {
	if sane(volts, ohms, 0) != nil {
		return 0
	}
	if ohms == 0 {
		return mostFigure
	}
	return min(volts*volts/(4*ohms), mostFigure)
}

const (
	leastVolts, mostVolts = 1.0, 1000.0
	mostFigure            = 1e6 // ohms, watts
)

func sane(volts, ohms, watts float64) error {
	switch { // each comparison is false for NaN
	case !(volts >= leastVolts && volts <= mostVolts):
		return fmt.Errorf("a source of %g V is outside %g to %g V", volts, leastVolts, mostVolts)
	case !(ohms >= 0 && ohms <= mostFigure):
		return fmt.Errorf("a cable of %g ohm is outside 0 to %g ohm", ohms, mostFigure)
	case !(watts >= 0 && watts <= mostFigure):
		return fmt.Errorf("a load of %g W is outside 0 to %g W", watts, mostFigure)
	}
	return nil
}
