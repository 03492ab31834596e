package cable_test

import (
	"math"
	"testing"

	"boundwalk/inventory/cable"
)

func finite(t *testing.T, what string, figures ...float64) {
	t.Helper()
	for _, f := range figures {
		if math.IsNaN(f) || math.IsInf(f, 0) {
			t.Errorf("%s: %v", what, figures)
			return
		}
	}
}

var awkward = []float64{0, math.Copysign(0, -1), 1, -1, 1e-320, 1e-12, 44, 20, 12.95, 1000, 1e6, 1e300, -1e300, math.Inf(1), math.Inf(-1), math.NaN(),
	math.MaxFloat64, math.SmallestNonzeroFloat64}

// FuzzDeliver: any three figures give finite results or an error, and results
// keep to the circuit.
func FuzzDeliver(f *testing.F) {
	for _, v := range awkward {
		for _, r := range awkward {
			for _, p := range []float64{0, 12.95, 1e6, -1, 1e-320, math.NaN(), math.Inf(1)} {
				f.Add(v, r, p)
			}
		}
	}
	f.Fuzz(func(t *testing.T, v, r, p float64) {
		most := cable.MostWatts(v, r)
		finite(t, "most", most)
		if d, err := cable.Receive(v, r, p); err == nil {
			finite(t, "received", d.Volts, d.Amps, d.Loss, d.Source)
			if d.Source-d.Loss > most*(1+1e-9)+1e-9 && most < 1e6 {
				t.Errorf("received %v of at most %v", d.Source-d.Loss, most)
			}
		}
		tree, treeErr := cable.DeliverTree(v, []cable.Node{{-1, r, p}, {0, r, p}, {0, p, r}})
		for _, d := range tree {
			finite(t, "tree", d.Volts, d.Amps, d.Loss, d.Source)
		}
		d, err := cable.Deliver(v, r, p)
		if err != nil {
			if treeErr == nil {
				t.Errorf("one load cannot run (%v) but with two more it can", err)
			}
			return
		}
		finite(t, "delivered", d.Volts, d.Amps, d.Loss, d.Source)
		if !(d.Volts >= v/2*(1-1e-9) && d.Volts <= v) || d.Loss < 0 {
			t.Errorf("from %v V, %v ohm, %v W: %+v", v, r, p, d)
		}
	})
}

// FuzzRun: any length, temperature, gauge and count give a finite resistance
// that four pairs halve.
func FuzzRun(f *testing.F) {
	for _, v := range awkward {
		f.Add(v, v, int8(24), uint8(1), true, 2)
		f.Add(v, 20.0, int8(-128), uint8(255), false, math.MaxInt)
		f.Add(90.0, v, int8(127), uint8(0), false, math.MinInt)
		f.Add(v, v, int8(0), uint8(1), true, 0)
	}
	f.Fuzz(func(t *testing.T, length, celsius float64, gauge int8, conductor uint8, cord bool, connectors int) {
		s := cable.Segment{Length: length, Gauge: cable.Gauge(gauge), Conductor: cable.Conductor(conductor), Cord: cord}
		run := cable.Run{Segments: []cable.Segment{s, {Length: 5, Gauge: 26, Cord: true}}, Connectors: connectors, Celsius: celsius}
		two, four := run.Resistance(cable.TwoPairs), run.Resistance(cable.FourPairs)
		finite(t, "ohms", two, four, s.Gauge.Diameter(), s.Gauge.ConductorOhms(s.Conductor, celsius))
		if two <= 0 || math.Abs(two-2*four) > 1e-9*two {
			t.Errorf("%+v: %v ohm on two pairs, %v on four", run, two, four)
		}
		for _, b := range run.Breaches() {
			finite(t, b.String(), b.Got, b.Limit)
		}
	})
}
