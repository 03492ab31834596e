package poe_test

import (
	"math"
	"testing"

	"boundwalk/inventory/cable"
	"boundwalk/inventory/poe"
)

var awkward = []float64{0, 1, -1, 1e-320, 24, 44, 57, 1000, 1e300, -1e300, math.Inf(1), math.Inf(-1), math.NaN()}

// FuzzLine: any feed, device and cable give finite figures and proper words.
func FuzzLine(f *testing.F) {
	for i, v := range awkward {
		f.Add(uint8(5), v, uint8(0x18), uint8(0xC0), false, int32(12_000), v, v, int8(0), uint8(5), 60.0, int8(24))
		f.Add(uint8(i), 54.0, uint8(i*37), uint8(255), true, int32(math.MaxInt32), 24.0, v, int8(i), uint8(i), v, int8(0))
		f.Add(uint8(2), v, uint8(0), uint8(0), i%2 == 0, int32(math.MinInt32), v, 20.0, int8(i-2), uint8(2), 100.0, int8(-128))
	}
	f.Fuzz(func(t *testing.T, standard uint8, volts float64, plus, minus uint8, forced bool, most int32, nominal, bound float64, class int8,
		takes uint8, length float64, gauge int8) {
		feed := poe.Feed{Standard: poe.Standard(standard), Volts: volts, Plus: poe.Pins(plus), Minus: poe.Pins(minus), Forced: forced,
			Direct: forced, Limit: poe.Power(most)}
		need := poe.Need{Takes: poe.Feed{Standard: poe.Standard(takes), Volts: nominal, Plus: poe.Pins(minus), Minus: poe.Pins(plus)}, Class: poe.Class(class),
			Most: poe.Power(most), VoltsLeast: bound, VoltsMost: bound, Gigabit: true}
		for _, k := range poe.Compare(feed, need) {
			if k.What == "" || k.Why == "" || k.Harm == 0 || (k.Harm >= poe.Risky) != (k.Caution != "") {
				t.Errorf("%+v on %+v: %+v", need, feed, k)
			}
		}
		run := cable.Run{Segments: []cable.Segment{{Length: length, Gauge: cable.Gauge(gauge)}}}
		l, err := poe.OnPaper(feed, need, run)
		for _, v := range []float64{l.Volts, l.Amps, l.Loss, l.Source, l.Ohms, l.VoltsNeeded} {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Errorf("%+v", l)
			}
		}
		if err == nil && (l.Load <= 0 || l.Volts <= 0 || l.Source < l.Load.Watts()*(1-1e-6)) {
			t.Errorf("%+v on %+v: %+v", need, feed, l)
		}
	})
}

// FuzzBudget: any figures keep the sums from wrapping over, and room is never
// promised beyond the budget.
func FuzzBudget(f *testing.F) {
	f.Add(int32(65_000), int32(0), int32(24_000), uint8(1), 4, 3, int8(4), int32(0), int32(0), false, 0.9)
	f.Add(int32(math.MaxInt32), int32(math.MinInt32), int32(math.MaxInt32), uint8(4), -1, 0, int8(-128), int32(math.MaxInt32),
		int32(math.MinInt32), true, math.NaN())
	f.Add(int32(math.MinInt32), int32(math.MaxInt32), int32(math.MinInt32), uint8(200), 1<<40, 9, int8(127), int32(math.MinInt32),
		int32(math.MaxInt32), false, math.Inf(1))
	f.Fuzz(func(t *testing.T, usable, guard, reported int32, how uint8, port, priority int, class int8, x, y int32, passive bool, share float64) {
		load := poe.PortLoad{Port: port, Priority: priority, Class: poe.Class(class), Fixed: poe.Power(x), Negotiated: poe.Power(y),
			Autoclass: poe.Power(y), Draw: poe.Power(x), Passive: passive}
		b := poe.Budget{Usable: poe.Power(usable), Guard: poe.Power(guard), Reported: poe.Power(reported), Policy: poe.Policy{Reserves: poe.Reservation(how),
			AutoclassMargin: poe.Power(x), LeastFree1: poe.Power(y), LeastFree2: poe.Power(x)}, Ports: []poe.PortLoad{load, load, {Port: 3, Class: poe.Class3}}}
		r := b.Room(load)
		if r.Fits && (r.Need <= 0 || int64(r.Reserved)+int64(r.Need) > int64(usable) || len(r.Unknown) > 0 || len(r.Shortages) > 0) {
			t.Errorf("%+v: %+v", b, r)
		}
		if r.Short < 0 || r.Reserved < 0 || (r.Short > 0) != (len(r.Shortages) > 0) {
			t.Errorf("%+v: %+v", b, r)
		}
		if sheds := b.Shed(math.MaxInt32, 0); len(sheds) == 0 || len(sheds) > 3 {
			t.Errorf("%+v sheds %v", b, sheds)
		}
		b.Level(poe.Power(y), share, poe.Level(how))
		if p := poe.PassThrough(poe.Power(x), poe.Power(y), share, poe.Power(usable)); p < 0 || p > max(poe.Power(x), 0) {
			t.Errorf("PassThrough(%d, %d, %v, %d) = %d", x, y, share, usable, p)
		}
		if p := poe.Usable([]poe.Power{poe.Power(x), poe.Power(y)}, passive); p < 0 {
			t.Errorf("Usable(%d, %d) = %d", x, y, p)
		}
	})
}
