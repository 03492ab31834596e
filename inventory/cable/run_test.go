package cable_test

import (
	"math"
	"testing"

	"boundwalk/inventory/cable"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s = %v, want %v within %v", what, got, want, within)
	}
}

// The nominal diameters of ASTM B258 follow from two anchors and 39 steps; the
// resistances were computed from them with 1.7241e-8 ohm m and 0.00393 per K.
func TestGauge(t *testing.T) {
	for _, c := range []struct {
		gauge                cable.Gauge
		mm, at20, at40, at60 float64
	}{
		{22, 0.6438, 5.2962, 5.7125, 6.1288},
		{23, 0.5733, 6.6784, 7.2033, 7.7283},
		{24, 0.5106, 8.4213, 9.0832, 9.7452},
		{26, 0.4049, 13.3904, 14.4429, 15.4954},
		{28, 0.3211, 21.2916, 22.9651, 24.6387},
	} {
		near(t, c.gauge.String()+" diameter", c.gauge.Diameter(), c.mm, 0.00005)
		near(t, c.gauge.String()+" at 20 °C", 100*c.gauge.ConductorOhms(cable.Copper, 20), c.at20, 0.0001)
		near(t, c.gauge.String()+" at 40 °C", 100*c.gauge.ConductorOhms(cable.Copper, 40), c.at40, 0.0001)
		near(t, c.gauge.String()+" at 60 °C", 100*c.gauge.ConductorOhms(cable.Copper, 60), c.at60, 0.0001)
	}
	// ASTM B258 anchors: AWG 36 is 0.005 in, AWG 4/0 is 0.46 in.
	near(t, "36 AWG", cable.Gauge(36).Diameter(), 0.005*25.4, 1e-12)
	near(t, "4/0 AWG", cable.Gauge(-3).Diameter(), 0.46*25.4, 1e-9)
	if d := cable.Gauge(0).Diameter(); d != 0 {
		t.Errorf("unknown gauge has a diameter of %v", d)
	}
}

// Two-pair power has r times the length, four-pair half of it; 25/4 + 25/4 ohm
// make the 12.5 ohm of ANSI/TIA-568.2-D's 25 ohm loop. The figures at 20 °C are
// computed from the rule in TestGauge; cord, clad and connector factors are
// common practice.
func TestResistance(t *testing.T) {
	solid := func(m float64, g cable.Gauge) []cable.Segment { return []cable.Segment{{Length: m, Gauge: g}} }
	const at20 = 20
	for _, c := range []struct {
		name  string
		run   cable.Run
		pairs cable.Pairs
		want  float64
	}{
		{"24 AWG 100 m on two pairs", cable.Run{Segments: solid(100, 24), Celsius: at20}, cable.TwoPairs, 8.4213},
		{"24 AWG 100 m on four pairs", cable.Run{Segments: solid(100, 24), Celsius: at20}, cable.FourPairs, 4.2107},
		{"any other number of pairs counts as two", cable.Run{Segments: solid(100, 24), Celsius: at20}, 0, 8.4213},
		{"40 °C is assumed", cable.Run{Segments: solid(100, 24)}, cable.TwoPairs, 9.0832},
		{"60 °C is above the 20 °C limit though sound", cable.Run{Segments: solid(100, 24), Celsius: 60}, cable.TwoPairs, 9.7452},
		{"90 m of 24 AWG and 10 m of 26 AWG, solid", cable.Run{Celsius: at20,
			Segments: []cable.Segment{{Length: 90, Gauge: 24}, {Length: 10, Gauge: 26}}}, cable.TwoPairs, 8.9182},
		{"a stranded cord has a fifth more", cable.Run{Celsius: at20,
			Segments: []cable.Segment{{Length: 90, Gauge: 24}, {Length: 10, Gauge: 26, Cord: true}}}, cable.TwoPairs, 0.084213*90 + 1.2*1.33904},
		{"copper-clad aluminium", cable.Run{Celsius: at20, Segments: []cable.Segment{{Length: 100, Gauge: 24,
			Conductor: cable.CopperCladAluminium}}}, cable.TwoPairs, 13.474},
		{"connectors", cable.Run{Segments: solid(100, 24), Celsius: at20, Connectors: 4}, cable.TwoPairs, 8.4213 + 0.8},
		{"nothing known is the standard's channel", cable.Run{}, cable.TwoPairs, 12.5},
		{"nothing known on four pairs", cable.Run{}, cable.FourPairs, 6.25},
		{"unknown gauge scales with a known length", cable.Run{Segments: solid(40, 0)}, cable.TwoPairs, 5},
		{"but not below two connectors", cable.Run{Segments: solid(1, 0)}, cable.TwoPairs, 0.4},
		{"nor below its own", cable.Run{Segments: solid(1, 0), Connectors: 4}, cable.TwoPairs, 0.8},
		{"unknown gauge, known to be clad", cable.Run{Segments: []cable.Segment{{Length: 100, Conductor: cable.CopperCladAluminium}}}, cable.TwoPairs, 20},
		{"unknown length is the longest", cable.Run{Segments: solid(0, 24), Celsius: at20}, cable.TwoPairs, 8.4213},
		{"unknown length of a cord", cable.Run{Celsius: at20, Segments: []cable.Segment{{Gauge: 26, Cord: true}}}, cable.TwoPairs, 1.2 * 1.33904},
	} {
		near(t, c.name, c.run.Resistance(c.pairs), c.want, 0.0005)
	}
}

func TestAssumed(t *testing.T) {
	for _, c := range []struct {
		name          string
		run           cable.Run
		length, gauge bool
	}{
		{"nothing", cable.Run{}, true, true},
		{"length only", cable.Run{Segments: []cable.Segment{{Length: 10}}}, false, true},
		{"gauge only", cable.Run{Segments: []cable.Segment{{Gauge: 23}}}, true, false},
		{"one of two", cable.Run{Segments: []cable.Segment{{Length: 10, Gauge: 23}, {Length: 1}}}, false, true},
		{"all", cable.Run{Segments: []cable.Segment{{Length: 10, Gauge: 23}}}, false, false},
		{"length is not a number", cable.Run{Segments: []cable.Segment{{Length: math.NaN(), Gauge: 23}}}, true, false},
	} {
		if length, gauge := c.run.Assumed(); length != c.length || gauge != c.gauge {
			t.Errorf("%s: assumed length %v gauge %v, want %v %v", c.name, length, gauge, c.length, c.gauge)
		}
	}
}

// Limits: 90, 10 and 100 m and 9.38 ohm/100 m of TIA-568, restated by cabling
// texts. A 24 AWG wire meets the last with about 10 % to spare, 26 AWG cannot,
// and clad 24 AWG cannot.
func TestBreaches(t *testing.T) {
	link := func(m float64, g cable.Gauge) cable.Segment { return cable.Segment{Length: m, Gauge: g} }
	cord := func(m float64) cable.Segment { return cable.Segment{Length: m, Gauge: 26, Cord: true} }
	for _, c := range []struct {
		name     string
		segments []cable.Segment
		want     []string
	}{
		{"the longest sound channel", []cable.Segment{link(90, 24), cord(5), cord(5)}, nil},
		{"a thin cord is no horizontal cable", []cable.Segment{link(50, 23), cord(2)}, nil},
		{"nothing known", nil, nil},
		{"unknown length and gauge", []cable.Segment{{}}, nil},
		{"link", []cable.Segment{link(95, 24)}, []string{"link-length"}},
		{"cords", []cable.Segment{link(80, 24), cord(6), cord(5)}, []string{"cord-length"}},
		{"channel is named alone", []cable.Segment{link(120, 24), cord(15)}, []string{"channel-length"}},
		{"26 AWG in the wall", []cable.Segment{link(20, 26)}, []string{"conductor-resistance"}},
		{"clad 24 AWG", []cable.Segment{{Length: 20, Gauge: 24, Conductor: cable.CopperCladAluminium}}, []string{"conductor-resistance", "copper-clad"}},
		{"clad 22 AWG meets the ohms and is still not permitted", []cable.Segment{{Length: 20, Gauge: 22, Conductor: cable.CopperCladAluminium}},
			[]string{"copper-clad"}},
	} {
		got := cable.Run{Segments: c.segments}.Breaches()
		if len(got) != len(c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
			continue
		}
		for i, b := range got {
			if b.What != c.want[i] {
				t.Errorf("%s: breach %d is %q, want %q", c.name, i, b.What, c.want[i])
			}
			if b.Limit != 0 && b.Got <= b.Limit {
				t.Errorf("%s: %s: %v is not above %v", c.name, b.What, b.Got, b.Limit)
			}
		}
	}
	over := cable.Run{Segments: []cable.Segment{link(20, 26)}}.Breaches()[0]
	if got, want := over.String(), "a wire of 13.39 ohm per 100 m, at most 9.38 ohm are allowed"; got != want {
		t.Errorf("String() = %q, want %q", got, want)
	}
	if over.Caution != cable.CautionBundle {
		t.Errorf("a warm wire stands without its caution: %q", over.Caution)
	}
	// A copper wire meets the limit down to 0.484 mm (computed).
	near(t, "the limit's diameter", 1000*math.Sqrt(4*1.7241e-8/(math.Pi*0.0938)), 0.484, 0.0005)
}
