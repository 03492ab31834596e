// Package ups is the arithmetic of a small uninterruptible supply: its runtime
// on paper, what a switch that it feeds takes, and what a raw value of its agent
// can mean.
//
// Sources: RFC 1628 (UPS-MIB) for what an agent says; common practice, IEEE
// 1188 and IEC 62040 as calculators restate them for the runtime. Prefer the
// UPS's own estimate: any formula is good to 30 % at most.
//
// No function panics or returns NaN or an infinity. A value that no such supply
// has is an error that wraps ErrRange. All functions are pure.
package ups

import (
	"errors"
	"fmt"
	"math"
	"time"
)

// Watts is real power.
type Watts float64

// WattHours is energy.
type WattHours float64

// ErrRange is returned, wrapped, for a value outside what the arithmetic is
// meant for. NaN and the infinities are always outside.
var ErrRange = errors.New("out of range")

// usualEfficiency of a small inverter is 0.75 to 0.85, of a large one 0.85 to
// 0.95 (common practice).
const usualEfficiency = 0.8

// Battery is what stands behind the inverter. Either Energy or both Volts and
// AmpHours are needed.
type Battery struct {
	Energy   WattHours
	Volts    float64
	AmpHours float64

	Efficiency float64 // of the inverter; zero: 0.8
	Age        float64 // what is left of the capacity, about 0.8 after two years; zero: 1, new
	Depth      float64 // share of the charge that may be used; zero: 1, lead-acid down to cut-off
}

// Runtime is how long the battery feeds the load, energy x efficiency x age x
// depth / load, to the second; it may be 30 % off either way. Load is at the
// UPS's output, 0.1 W to 1 MW: see MainsLoad.
func (b Battery) Runtime(load Watts) (time.Duration, error) {
	energy, err := b.energy()
	if err == nil {
		err = errors.Join(
			within("load", load, 0.1, 1e6, "W"),
			within("efficiency", b.Efficiency, 0, 1, ""),
			within("age factor", b.Age, 0, 1, ""),
			within("depth", b.Depth, 0, 1, ""))
	}
	if err != nil {
		return 0, fmt.Errorf("runtime: %w", err)
	}
	hours := float64(energy) * or(b.Efficiency, usualEfficiency) * or(b.Age, 1) * or(b.Depth, 1) / float64(load)
	return span(hours), nil
}

func (b Battery) energy() (WattHours, error) {
	if b.Energy != 0 {
		return b.Energy, within("battery", b.Energy, 0.1, 1e5, "Wh")
	}
	return WattHours(b.Volts * b.AmpHours), errors.Join(
		within("battery", b.Volts, 1, 1000, "V"),
		within("battery", b.AmpHours, 0.1, 1e4, "Ah"),
		within("battery", b.Volts*b.AmpHours, 0.1, 1e5, "Wh"))
}

func or(v, usual float64) float64 {
	if v == 0 {
		return usual
	}
	return v
}

// span is hours as a duration, to the second. Callers keep it under 250 years.
func span(hours float64) time.Duration {
	return time.Duration(math.Round(hours*3600)) * time.Second
}

// Lead-acid batteries are replaced at three to five years (common practice).
const (
	ReplaceFrom = 3 // years
	ReplaceBy   = 5
)

// within reports a value that is not between lo and hi. Written so that NaN fails.
func within[T ~float64](what string, v, lo, hi T, unit string) error {
	if v >= lo && v <= hi {
		return nil
	}
	return fmt.Errorf("%s %v %s is not within %v to %v: %w", what, float64(v), unit, float64(lo), float64(hi), ErrRange)
}
