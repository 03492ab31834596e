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

// Source: Peukert's law, worked by hand; exponents from memory.
func TestDischarge(t *testing.T) {
	for k, want := range map[float64]float64{1: 108, 1.15: 75.26, 1.2: 66.72} {
		if got, err := ups.Discharge(9, 20, 5, k); err != nil || apart(got, minutes(want)) > time.Second {
			t.Errorf("k %v: %v, %v, want %v", k, got, err, minutes(want))
		}
	}
	one, _ := ups.Discharge(9, 20, 5, 1.2)
	if two, err := ups.Discharge(9, 20, 10, 1.2); err != nil || two >= one/2 {
		t.Errorf("twice the current: %v of %v, %v, want less than half", two, one, err)
	}
	if got, err := ups.Discharge(9, 20, 0, 1.2); !errors.Is(err, ups.ErrRange) || got != 0 {
		t.Errorf("no current: %v, %v", got, err)
	}
}

func TestAgeing(t *testing.T) {
	for years, want := range map[float64]float64{-1: 1, 0: 1, 1: 0.9, 2: 0.8, 2.5: 0.75, 3: 0.7, 9: 0.7, math.Inf(1): 0.7} {
		if got := ups.AgeFactor(years); math.Abs(got-want) > 1e-9 {
			t.Errorf("%v years: %v, want %v", years, got, want)
		}
	}
	for celsius, want := range map[float64]float64{-20: 1, 25: 1, 35: 0.5, 45: 0.25, math.Inf(-1): 1} {
		if got := ups.LifeFactor(celsius); math.Abs(got-want) > 1e-9 {
			t.Errorf("%v degC: %v, want %v", celsius, got, want)
		}
	}
	if a, l := ups.AgeFactor(math.NaN()), ups.LifeFactor(math.NaN()); a != 1 || l != 1 {
		t.Errorf("NaN: %v and %v", a, l)
	}
}

// Source: upsOutputPercentLoad of RFC 1628, the greater of the two shares; worked by hand.
func TestShare(t *testing.T) {
	both := ups.Rating{Real: 360, Apparent: 600}
	for _, c := range []struct {
		name   string
		rating ups.Rating
		load   ups.Watts
		factor float64
		want   float64
	}{
		{"watts bind", both, 150, 0.95, 0.41667},
		{"both bind", both, 200, 0.6, 0.55556},
		{"volt-amperes bind", both, 200, 0.5, 0.66667},
		{"volt-amperes only", ups.Rating{Apparent: 600}, 150, 0.95, 0.26316},
		{"watts only", ups.Rating{Real: 360}, 150, 0, 0.41667},
		{"usual factor", ups.Rating{Apparent: 600}, 270, 0, 0.5},
		{"no load", both, 0, 0, 0},
	} {
		if got, err := c.rating.Share(c.load, c.factor); err != nil || math.Abs(got-c.want) > 0.00001 {
			t.Errorf("%s: %.5f, %v, want %v", c.name, got, err, c.want)
		}
	}
	for name, got := range map[string]func() (float64, error){
		"no rating":       func() (float64, error) { return ups.Rating{}.Share(1, 1) },
		"rating below 0":  func() (float64, error) { return ups.Rating{Real: -1, Apparent: 600}.Share(1, 1) },
		"load NaN":        func() (float64, error) { return both.Share(ups.Watts(math.NaN()), 1) },
		"factor over one": func() (float64, error) { return both.Share(1, 1.5) },
		"factor NaN":      func() (float64, error) { return both.Share(1, math.NaN()) },
	} {
		if v, err := got(); !errors.Is(err, ups.ErrRange) || v != 0 {
			t.Errorf("%s: %v, %v, want ErrRange", name, v, err)
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
		if d, err := ups.Discharge(ah, volts, load, age); d < 0 || err != nil && d != 0 {
			t.Errorf("discharge %v, %v", d, err)
		}
		share, _ := ups.Rating{Real: ups.Watts(volts), Apparent: ups.VoltAmps(ah)}.Share(ups.Watts(load), efficiency)
		mains, _ := ups.MainsLoad(ups.Watts(load), ups.Watts(volts), efficiency)
		for _, v := range []float64{share, float64(mains), ups.AgeFactor(age), ups.LifeFactor(load)} {
			if math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
				t.Errorf("%v", v)
			}
		}
	})
}
