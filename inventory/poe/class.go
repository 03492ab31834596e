package poe

import (
	"fmt"
	"strconv"

	"boundwalk/inventory/cable"
)

// Class is a power class of IEEE 802.3, 0 to 8. The zero value means that the
// class is unknown; class 0, the answer of a device that shows none, is Class0.
type Class int8

// The classes. 0 to 3 came with 802.3af, 4 with 802.3at, 5 to 8 with 802.3bt.
const (
	Class0 Class = iota + 1
	Class1
	Class2
	Class3
	Class4
	Class5
	Class6
	Class7
	Class8
)

// ClassOf returns the class with a number, 0 to 8, as LLDP's extended class and
// a plan write it; any other number is an error.
func ClassOf(number int64) (Class, error) {
	if number < 0 || number > 8 {
		return 0, fmt.Errorf("power class %d is outside 0 to 8", number)
	}
	return Class(number + 1), nil
}

// FromMIB decodes pethPsePortPowerClassifications (RFC 3621) and its like in
// IEEE 802.3.1 and the LLDP MIBs, which count from one: class0(1) to class4(5).
// They have no value for classes 5 to 8. The RFC's object holds only while the
// port delivers power: do not ask for the class of an idle port.
func FromMIB(code int64) (Class, error) {
	if code < 1 || code > 5 {
		return 0, fmt.Errorf("class not understood (%d)", code)
	}
	return Class(code), nil
}

// Number is the class's number, 0 to 8. It is false for an unknown class.
func (c Class) Number() (int, bool) {
	if !c.known() {
		return 0, false
	}
	return int(c) - 1, true
}

func (c Class) known() bool { return c >= Class0 && c <= Class8 }

// String returns "class 3", or "class unknown".
func (c Class) String() string {
	n, ok := c.Number()
	if !ok {
		return "class unknown"
	}
	return fmt.Sprintf("class %d", n)
}

// MarshalJSON writes the class's number, null for an unknown class, so that the
// inner code, one higher, never leaves the program.
func (c Class) MarshalJSON() ([]byte, error) {
	if n, ok := c.Number(); ok {
		return strconv.AppendInt(nil, int64(n), 10), nil
	}
	return []byte("null"), nil
}

// UnmarshalJSON reads what MarshalJSON writes; other values are an error.
func (c *Class) UnmarshalJSON(text []byte) error {
	if string(text) == "null" {
		*c = 0
		return nil
	}
	n, err := strconv.ParseInt(string(text), 10, 64)
	if err != nil {
		return fmt.Errorf("power class %q is not a number", text)
	}
	*c, err = ClassOf(n)
	return err
}

// Ratings is a row of the class table. Volts and amperes hold for the Type that
// brought the class; the same device on a later Type's port gets more volts.
type Ratings struct {
	Type  int // 1 to 4
	Pairs cable.Pairs

	// Output is what a port must be able to give for the class, Input the most
	// that a device may take at its end of the cable.
	Output, Input Power

	// PortVolts and PortVoltsMost are the range at the port.
	PortVolts, PortVoltsMost float64

	// DeviceVolts is the least that arrives at a device on the worst channel.
	// For classes 1 and 2, where no figure of their own was found, it is that of
	// Type 1. Those of classes 5 and 7 are from memory.
	DeviceVolts float64

	// PairSetAmps is the most current on two pairs, PairSetOhms the two-pair
	// resistance of the channel that the class was computed for. Four pairs are
	// two such sets side by side. The ohms are from memory and confirmed by the
	// published powers, which no others give.
	PairSetAmps, PairSetOhms float64
}

// Watts: Ethernet Alliance overview of 802.3bt for 1 to 8, restated 802.3af
// table for 0 and for 12.95 W (802.3bt prints 13.0). Volts and amperes: a
// restated table of the four Types.
var ratings = [...]Ratings{
	Class0: {1, cable.TwoPairs, 15_400, 12_950, 44, 57, 37, 0.35, 20},
	Class1: {1, cable.TwoPairs, 4_000, 3_840, 44, 57, 37, 0.35, 20},
	Class2: {1, cable.TwoPairs, 7_000, 6_490, 44, 57, 37, 0.35, 20},
	Class3: {1, cable.TwoPairs, 15_400, 12_950, 44, 57, 37, 0.35, 20},
	Class4: {2, cable.TwoPairs, 30_000, 25_500, 50, 57, 42.5, 0.6, 12.5},
	Class5: {3, cable.FourPairs, 45_000, 40_000, 50, 57, 44.3, 0.6, 12.5},
	Class6: {3, cable.FourPairs, 60_000, 51_000, 50, 57, 42.5, 0.6, 12.5},
	Class7: {4, cable.FourPairs, 75_000, 62_000, 52, 57, 42.9, 0.96, 12.5},
	Class8: {4, cable.FourPairs, 90_000, 71_300, 52, 57, 41.1, 0.96, 12.5},
}

// Ratings returns the class's row, the zero Ratings for an unknown class.
// Classes 1 to 4 may also be fed on four pairs; two are the worse case.
func (c Class) Ratings() Ratings {
	if !c.known() {
		return Ratings{}
	}
	return ratings[c]
}

// ClassFor is the smallest class, 1 or above, whose device may take so much at
// its end of the cable. It is unknown if none does, or if input is not above
// zero.
func ClassFor(input Power) Class {
	if input <= 0 {
		return 0
	}
	for c := Class1; c <= Class8; c++ {
		if ratings[c].Input >= input {
			return c
		}
	}
	return 0
}
