package ups_test

import (
	"errors"
	"math"
	"testing"
	"time"

	"boundwalk/inventory/ups"
)

func minutes(m float64) time.Duration { return time.Duration(m * float64(time.Minute)) }

func apart(a, b time.Duration) time.Duration { return (a - b).Abs() }

// Source: the runtime formula as calculators that cite IEEE 1188 and IEC 62040
// print it, worked by hand for 12 V and 9 Ah.
func TestRuntime(t *testing.T) {
	small := ups.Battery{Volts: 12, AmpHours: 9, Efficiency: 0.85}
	aged := small
	aged.Age = 0.8
	for _, c := range []struct {
		name    string
		battery ups.Battery
		load    ups.Watts
		want    float64 // minutes
	}{
		{"new", small, 60, 91.8},
		{"aged", aged, 60, 73.44},
		{"aged, twice the load", aged, 120, 36.72},
		{"in watt-hours", ups.Battery{Energy: 108, Efficiency: 0.85}, 60, 91.8},
		{"half the charge", ups.Battery{Energy: 108, Efficiency: 0.85, Depth: 0.5}, 60, 45.9},
		{"usual efficiency", ups.Battery{Energy: 108}, 60, 86.4},
	} {
		if got, err := c.battery.Runtime(c.load); err != nil || apart(got, minutes(c.want)) > time.Second {
			t.Errorf("%s: %v, %v, want %v", c.name, got, err, minutes(c.want))
		}
	}
	for name, b := range map[string]ups.Battery{
		"nothing said": {}, "no volts": {AmpHours: 9}, "below zero": {Energy: -1}, "not a number": {Energy: ups.WattHours(math.NaN())},
		"efficiency over 1": {Energy: 1, Efficiency: 1.1}, "age not a number": {Energy: 1, Age: math.NaN()}, "depth infinite": {Energy: 1, Depth: math.Inf(1)},
		"too large": {Volts: 1000, AmpHours: 1e4},
	} {
		if got, err := b.Runtime(60); !errors.Is(err, ups.ErrRange) || got != 0 {
			t.Errorf("%s: %v, %v, want ErrRange", name, got, err)
		}
	}
	for _, load := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if got, err := small.Runtime(ups.Watts(load)); !errors.Is(err, ups.ErrRange) || got != 0 {
			t.Errorf("load %v: %v, %v, want ErrRange", load, got, err)
		}
	}
}

// Common practice: a switch's supply turns 85 to 90 % into use.
func TestMainsLoad(t *testing.T) {
	if got, err := ups.MainsLoad(60, 8, 0); err != nil || math.Abs(float64(got)-80) > 1e-9 {
		t.Errorf("60 W delivered and 8 W own: %v, %v, want 80 W", got, err)
	}
	if got, err := ups.MainsLoad(60, 8, 2); !errors.Is(err, ups.ErrRange) || got != 0 {
		t.Errorf("efficiency of 2: %v, %v", got, err)
	}
}

func FuzzArithmetic(f *testing.F) {
	nan, inf := math.NaN(), math.Inf(1)
	f.Add(108.0, 12.0, 9.0, 0.85, 0.8, 1.0, 60.0)
	f.Add(nan, inf, -inf, nan, inf, nan, nan)
	f.Add(1e5, 0.0, 0.0, 1.0, 1.0, 1.0, 0.1)
	f.Add(0.0, math.MaxFloat64, math.MaxFloat64, 0.0, math.SmallestNonzeroFloat64, 0.0, 1e6)
	f.Add(0.0, 1.0, 1e4, 1e-300, 1e-300, 1e-300, 0.01)
	f.Fuzz(func(t *testing.T, energy, volts, ah, efficiency, age, depth, load float64) {
		d, err := ups.Battery{Energy: ups.WattHours(energy), Volts: volts, AmpHours: ah, Efficiency: efficiency, Age: age, Depth: depth}.Runtime(ups.Watts(load))
		if d < 0 || err != nil && d != 0 {
			t.Errorf("runtime %v, %v", d, err)
		}
		if mains, err := ups.MainsLoad(ups.Watts(load), ups.Watts(volts), efficiency); !(mains >= 0) || math.IsInf(float64(mains), 0) || err != nil && mains != 0 {
			t.Errorf("mains load %v, %v", mains, err)
		}
	})
}
