package poe_test

import (
	"errors"
	"testing"

	"boundwalk/inventory/cable"
	"boundwalk/inventory/poe"
)

func metres(m float64, g cable.Gauge) cable.Run {
	return cable.Run{Segments: []cable.Segment{{Length: m, Gauge: g}}, Celsius: 20}
}

func TestOnPaper(t *testing.T) {
	passive := poe.Feed{Standard: poe.Passive, Volts: 24, Plus: pins(t, 4, 5), Minus: pins(t, 7, 8)}
	radio := func(watts poe.Power, least float64) poe.Need {
		return poe.Need{Takes: passive, Most: watts, VoltsLeast: least}
	}
	for _, c := range []struct {
		name                           string
		feed                           poe.Feed
		need                           poe.Need
		run                            cable.Run
		volts, atPort                  float64
		overLimit, low, over, unsteady bool
	}{
		// The standard's own worst channels (IEEE 802.3): full load, nothing wrong.
		{"class 4, worst channel", poe.Feed{Standard: poe.AT}, poe.Need{Class: poe.Class4}, cable.Run{}, 42.5, 30, false, false, false, false},
		{"class 5, worst channel", poe.Feed{Standard: poe.BT3}, poe.Need{Class: poe.Class5}, cable.Run{}, 44.3649, 45.0807, false, false, false, false},
		{"class 6, worst channel", poe.Feed{Standard: poe.BT3}, poe.Need{Class: poe.Class6}, cable.Run{}, 42.5, 60, false, false, false, false},
		{"class 7, worst channel", poe.Feed{Standard: poe.BT4}, poe.Need{Class: poe.Class7}, cable.Run{}, 42.9853, 75.0024, false, false, false, false},
		{"class 8, worst channel", poe.Feed{Standard: poe.BT4}, poe.Need{Class: poe.Class8}, cable.Run{}, 41.1781, 90.0381, false, false, false, false},
		// Computed outside this program: below 42.5 V, the standard fails it too.
		{"class 4 on a 44 V supply", poe.Feed{Standard: poe.AT, Volts: 44}, poe.Need{Class: poe.Class4}, cable.Run{}, 34.8550, 32.1905, true, true, true, false},
		{"class 4, half the channel, 54 V", poe.Feed{Standard: poe.AT, Volts: 54}, poe.Need{Class: poe.Class4},
			cable.Run{Segments: []cable.Segment{{Length: 50}}}, 50.8668, 27.0707, false, false, false, false},
		// A class 4 device on a class 3 port is worked out for what it gets; the
		// next two were computed outside this program.
		{"class 4 on 802.3af", poe.Feed{Standard: poe.AF, Volts: 48}, poe.Need{Class: poe.Class4},
			cable.Run{Celsius: 20, Segments: []cable.Segment{{Length: 90, Gauge: 24}, {Length: 10, Gauge: 26}}}, 45.4595, 13.6737, false, false, false, false},
		{"a class 3 camera that takes 15 W", poe.Feed{Standard: poe.AF}, poe.Need{Class: poe.Class3, Most: 15 * poe.Watt}, cable.Run{}, 39.2192,
			16.8287, true, false, true, false},
		{"a port limited to 9 W", poe.Feed{Standard: poe.AT, Limit: 9 * poe.Watt}, poe.Need{Class: poe.Class3, Most: 10 * poe.Watt}, metres(20, 24),
			49.6608, 10.0683, true, false, false, false},
		// 24 V passive, 24 AWG at 20 °C: the table in the cable tests.
		{"8 W at 60 m", passive, radio(8*poe.Watt, 20), metres(60, 24), 22.1773, 8.6575, false, false, false, false},
		{"12 W at 60 m, least 22 V", passive, radio(12*poe.Watt, 22), metres(60, 24), 21.1305, 13.6296, false, true, false, false},
		{"12 W at 90 m, least not said", passive, radio(12*poe.Watt, 0), metres(90, 24), 19.2835, 14.9350, false, false, false, false},
		{"12 W at 100 m, near the end of what the cable can", passive, radio(12*poe.Watt, 16), metres(100, 24), 18.5532, 15.5230, false, false, false, true},
		// 0.794 A on each wire, above the 0.75 A of BS 7671 section 716; by hand.
		{"36 W at 10 m", passive, radio(36*poe.Watt, 20), metres(10, 24), 22.6622, 38.1251, false, false, true, false},
	} {
		l, err := poe.OnPaper(c.feed, c.need, c.run)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		near(t, c.name+" volts", l.Volts, c.volts, 0.0002)
		near(t, c.name+" at the port", l.AtPort.Watts(), c.atPort, 0.001)
		if l.OverLimit != c.overLimit || l.VoltageLow != c.low || l.OverCurrent != c.over || l.Unsteady != c.unsteady {
			t.Errorf("%s: over limit %v, volts low %v, over current %v, unsteady %v; want %v %v %v %v: %+v", c.name,
				l.OverLimit, l.VoltageLow, l.OverCurrent, l.Unsteady, c.overLimit, c.low, c.over, c.unsteady, l)
		}
	}
}

func TestOnPaperLoad(t *testing.T) {
	l, err := poe.OnPaper(poe.Feed{Standard: poe.AF}, poe.Need{Class: poe.Class4}, cable.Run{})
	if err != nil || l.Granted != poe.Class3 || l.Load != 12_950 || !l.ByClass || l.Limit != 15_400 {
		t.Errorf("class 4 on 802.3af: %+v, %v", l, err)
	}
	l, err = poe.OnPaper(poe.Feed{Standard: poe.AT}, poe.Need{Takes: poe.Feed{Standard: poe.AT}, Most: 20 * poe.Watt}, cable.Run{})
	if err != nil || l.Granted != poe.Class4 || l.Load != 20*poe.Watt || l.ByClass {
		t.Errorf("20 W without a class: %+v, %v", l, err)
	}
	four := poe.Feed{Standard: poe.Passive, Volts: 24, Plus: pins(t, 1, 2, 4, 5), Minus: pins(t, 3, 6, 7, 8)}
	l, err = poe.OnPaper(four, poe.Need{Takes: four, Most: 8 * poe.Watt}, metres(60, 24))
	if err != nil || l.Pairs != cable.FourPairs {
		t.Errorf("passive on four pairs: %+v, %v", l, err)
	}
	near(t, "ohms on four pairs", l.Ohms, 5.0528/2, 0.0001)
}

func TestOnPaperRefuses(t *testing.T) {
	for _, c := range []struct {
		name string
		feed poe.Feed
		need poe.Need
		want error
	}{
		{"nothing known of the device", poe.Feed{Standard: poe.AT}, poe.Need{}, poe.ErrNoLoad},
		{"nothing feeds it", poe.Feed{}, poe.Need{Class: poe.Class3}, poe.ErrNoLoad},
		{"passive volts not known", poe.Feed{Standard: poe.Passive}, poe.Need{Most: poe.Watt}, poe.ErrNoLoad},
		// 24 V, 12 W, 90 m of clad 24 AWG has no solution (computed).
		{"more than the cable can", poe.Feed{Standard: poe.Passive, Volts: 24}, poe.Need{Most: 12 * poe.Watt}, cable.ErrCannotDeliver},
	} {
		run := cable.Run{Celsius: 20, Segments: []cable.Segment{{Length: 90, Gauge: 24, Conductor: cable.CopperCladAluminium}}}
		l, err := poe.OnPaper(c.feed, c.need, run)
		if !errors.Is(err, c.want) {
			t.Errorf("%s: %+v, %v, want %v", c.name, l, err, c.want)
		}
		if (l.Delivery != cable.Delivery{}) {
			t.Errorf("%s: a delivery beside an error: %+v", c.name, l)
		}
	}
}
