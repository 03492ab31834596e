package cable_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"boundwalk/inventory/cable"
)

// Operating points of IEEE 802.3: the published volts, amperes and watts are in
// the names (watts from the Ethernet Alliance overview of 802.3bt, volts from
// restated per-Type tables). The decimals, and the rows without a published
// figure, were computed outside this program by the same relation.
func TestDeliver(t *testing.T) {
	for _, c := range []struct {
		name                          string
		v, r, p, volts, amps, sourceW float64
	}{
		{"class 1: 4 W", 44, 20, 3.84, 42.1792, 0.09104, 4.0058},
		{"class 2: 7 W", 44, 20, 6.49, 40.8202, 0.15899, 6.9956},
		{"class 3: 37 V, 0.35 A, 15.4 W", 44, 20, 12.95, 37.0000, 0.35000, 15.4000},
		{"class 4: 42.5 V, 0.6 A, 30 W", 50, 12.5, 25.5, 42.5000, 0.60000, 30.0000},
		{"class 5: 45 W", 50, 6.25, 40, 44.3649, 0.90161, 45.0807},
		{"class 6: 42.5 V, 60 W", 50, 6.25, 51, 42.5000, 1.20000, 60.0000},
		{"class 7: 75 W", 52, 6.25, 62, 42.9853, 1.44235, 75.0024},
		{"class 8: 41.1 V, 90 W", 52, 6.25, 71.3, 41.1781, 1.73150, 90.0381},
		{"class 3 as 802.3bt prints it, 13.0 W", 44, 20, 13.0, 36.9666, 0.35167, 15.4734},
		{"class 4 at 57 V", 57, 12.5, 25.5, 50.7149, 0.50281, 28.6602},
		{"class 4 on a 44 V supply", 44, 12.5, 25.5, 34.8550, 0.73160, 32.1905},
		{"half length, 54 V", 54, 6.25, 25.5, 50.8668, 0.50131, 27.0707},
		{"90 m 24 AWG and 10 m 26 AWG, class 4 at 50 V", 50, 8.9182, 25.5, 44.9395, 0.56743, 28.3715},
		{"the same at 54 V", 54, 8.9182, 25.5, 49.3961, 0.51624, 27.8767},
		{"the same, class 3 at 48 V", 48, 8.9182, 12.95, 45.4595, 0.28487, 13.6737},
		{"no cable", 48, 0, 12, 48, 0.25, 12},
		{"no load", 48, 10, 0, 48, 0, 0},
	} {
		d, err := cable.Deliver(c.v, c.r, c.p)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		near(t, c.name+" volts", d.Volts, c.volts, 0.0001)
		near(t, c.name+" amperes", d.Amps, c.amps, 0.00001)
		near(t, c.name+" source", d.Source, c.sourceW, 0.0003)
		near(t, c.name+" loss", d.Loss, c.sourceW-c.p, 0.0003)
	}
}

// 24.0 V through solid 24 AWG at 20 °C, out on one pair and back on another,
// copper and clad (x 1.6), computed outside this program. Zero: it cannot run.
func TestDeliverPassive(t *testing.T) {
	for _, c := range []struct {
		metres, watts, ohms, volts, amps, clad float64
	}{
		{30, 8, 2.5264, 23.1260, 0.34593, 22.5670},
		{60, 8, 5.0528, 22.1773, 0.36073, 20.9064},
		{60, 12, 5.0528, 21.1305, 0.56790, 18.8547},
		{90, 8, 7.5792, 21.1305, 0.37860, 18.8547},
		{90, 12, 7.5792, 19.2835, 0.62229, 0},
		{100, 12, 8.4213, 18.5532, 0.64679, 0},
	} {
		run := func(conductor cable.Conductor) float64 {
			return cable.Run{Celsius: 20, Segments: []cable.Segment{{Length: c.metres, Gauge: 24, Conductor: conductor}}}.Resistance(cable.TwoPairs)
		}
		near(t, "ohms", run(cable.Copper), c.ohms, 0.0001)
		d, err := cable.Deliver(24, run(cable.Copper), c.watts)
		if err != nil {
			t.Errorf("%v m, %v W: %v", c.metres, c.watts, err)
		}
		near(t, "volts", d.Volts, c.volts, 0.0002)
		near(t, "amperes", d.Amps, c.amps, 0.00001)
		clad, err := cable.Deliver(24, run(cable.CopperCladAluminium), c.watts)
		if c.clad == 0 {
			if !errors.Is(err, cable.ErrCannotDeliver) {
				t.Errorf("%v m, %v W clad: %+v, %v; want ErrCannotDeliver", c.metres, c.watts, clad, err)
			}
			continue
		}
		near(t, "clad volts", clad.Volts, c.clad, 0.0003)
	}
}

// P_max = V²/4R by hand; class 8 (71.3 W, 52 V, 6.25 ohm) sets SteadyShare.
func TestMostWatts(t *testing.T) {
	for _, c := range []struct{ v, r, want float64 }{
		{44, 20, 24.2}, {50, 12.5, 50}, {50, 6.25, 100}, {52, 6.25, 108.16},
	} {
		most := cable.MostWatts(c.v, c.r)
		near(t, "most", most, c.want, 1e-9)
		d, err := cable.Deliver(c.v, c.r, most*(1-1e-12))
		if err != nil {
			t.Errorf("the most itself, from %v V: %v", c.v, err)
		}
		near(t, "volts at the most", d.Volts, c.v/2, 1e-3)
		if _, err := cable.Deliver(c.v, c.r, most*1.000001); !errors.Is(err, cable.ErrCannotDeliver) {
			t.Errorf("a millionth more, from %v V: %v, want ErrCannotDeliver", c.v, err)
		}
	}
	if share := 71.3 / cable.MostWatts(52, 6.25); share > cable.SteadyShare {
		t.Errorf("class 8 at %v is above SteadyShare %v", share, cable.SteadyShare)
	}
	_, err := cable.Deliver(24, 13.474, 12)
	if want := "deliver 12 W from 24 V through 13.47 ohm: the cable cannot deliver that much (at most 10.69 W)"; err == nil || err.Error() != want {
		t.Errorf("error %v, want %q", err, want)
	}
}

// Balanced current of each wire: the Type's nominal current by two wires (IEEE
// 802.3: 0.35 A, 0.6 A), and 1.7315 A by four for class 8.
func TestConductorAmps(t *testing.T) {
	for _, c := range []struct {
		name          string
		v, r, p, want float64
		pairs         cable.Pairs
	}{
		{"class 3", 44, 20, 12.95, 0.175, cable.TwoPairs},
		{"class 4", 50, 12.5, 25.5, 0.30, cable.TwoPairs},
		{"class 6", 50, 6.25, 51, 0.30, cable.FourPairs},
		{"class 8", 52, 6.25, 71.3, 0.433, cable.FourPairs},
	} {
		d, err := cable.Deliver(c.v, c.r, c.p)
		if err != nil {
			t.Fatal(err)
		}
		near(t, c.name, d.ConductorAmps(c.pairs), c.want, 0.0005)
	}
}

// slowDeliver is the circuit without the closed form: it raises the current
// until the device has its watts, and knows only V - I·R and P = V·I.
func slowDeliver(v, r, p float64) (volts, amps float64, ok bool) {
	low, high := 0.0, v/(2*r)
	if (v-high*r)*high < p {
		return 0, 0, false
	}
	for range 200 {
		mid := (low + high) / 2
		if (v-mid*r)*mid < p {
			low = mid
		} else {
			high = mid
		}
	}
	return v - high*r, high, true
}

func TestDeliverAgainstSlowTwin(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 8023))
	ran, refused := 0, 0
	for range 20_000 {
		v, r := 5+55*rng.Float64(), 0.05+30*rng.Float64()
		p := 1.3 * rng.Float64() * v * v / (4 * r)
		volts, amps, ok := slowDeliver(v, r, p)
		d, err := cable.Deliver(v, r, p)
		edge := math.Abs(p/cable.MostWatts(v, r)-1) < 1e-9
		if (err == nil) != ok && !edge {
			t.Fatalf("%v V %v ohm %v W: closed form says %v, circuit %v", v, r, p, err, ok)
		}
		if err != nil || !ok {
			refused++
			continue
		}
		ran++
		within := 1e-9
		if edge {
			within = 1e-4 // the root is steep there
		}
		near(t, "volts", d.Volts, volts, within*v)
		near(t, "amperes", d.Amps, amps, within*v/r)
		near(t, "watts at the device", d.Source-d.Loss, p, 1e-9*v*v/r)
		back, err := cable.Receive(v, r, d.Source)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "received", back.Source-back.Loss, p, 1e-9*v*v/r)
	}
	if ran < 5000 || refused < 2000 {
		t.Errorf("only %d ran and %d were refused: the inputs do not try both", ran, refused)
	}
}

func TestReceivePastTheTop(t *testing.T) {
	// From 24 V through 13.474 ohm no load gets more than 10.69 W, however
	// much the source has.
	d, err := cable.Receive(24, 13.474, 100)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "volts", d.Volts, 12, 1e-9)
	near(t, "watts", d.Source-d.Loss, cable.MostWatts(24, 13.474), 1e-9)
}
