package poe

import (
	"fmt"
	"math"
	"strconv"

	"boundwalk/inventory/cable"
)

// Power is in milliwatts. Zero is no power; where a field says so it stands
// for a figure that nobody knows.
type Power int32 // milliwatts

// Watt makes a Power from whole watts: 130 * poe.Watt.
const Watt Power = 1000

// FromWatts rounds to the nearest milliwatt. What a Power cannot hold becomes
// the nearest that it can; what is not a number becomes zero.
func FromWatts(watts float64) Power {
	if math.IsNaN(watts) {
		return 0
	}
	return Power(min(max(math.Round(watts*1000), math.MinInt32), math.MaxInt32))
}

// Watts returns p in watts.
func (p Power) Watts() float64 { return float64(p) / 1000 }

// String returns "65 W" for whole watts, else one decimal, rounded half away
// from zero: "12.9 W".
func (p Power) String() string {
	if p%Watt == 0 {
		return strconv.Itoa(int(p/Watt)) + " W"
	}
	sign, mw := "", int64(p)
	if mw < 0 {
		sign, mw = "-", -mw
	}
	tenths := (mw + 50) / 100
	return fmt.Sprintf("%s%d.%d W", sign, tenths/10, tenths%10)
}

// FromTenths turns a figure of LLDP, in tenths of a watt at the device, into a
// Power. The 802.3 power fields run to 999 and those of LLDP-MED to 1023; more,
// or less than zero, is an error. Zero means that the field says nothing.
func FromTenths(tenths int64) (Power, error) {
	if tenths < 0 || tenths > 1023 {
		return 0, fmt.Errorf("LLDP power of %d tenths of a watt is outside 0 to 1023", tenths)
	}
	return Power(tenths) * 100, nil
}

// AtPort is what a port gives so that device arrives at the far end of a run:
// device and the loss in the cable. Volts are those at the port; the least that
// its Type allows makes the loss the largest. Hold the result, not the figure
// of LLDP, against a switch's budget. The error is that of cable.Deliver.
func AtPort(device Power, volts float64, pairs cable.Pairs, run cable.Run) (Power, error) {
	d, err := cable.Deliver(volts, run.Resistance(pairs), device.Watts())
	if err != nil {
		return 0, err
	}
	return FromWatts(d.Source), nil
}
