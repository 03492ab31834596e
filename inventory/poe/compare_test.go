package poe_test

import (
	"slices"
	"strings"
	"testing"

	"boundwalk/inventory/poe"
)

func pins(t *testing.T, numbers ...int) poe.Pins {
	t.Helper()
	p, err := poe.PinsOf(numbers...)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

type comparison struct {
	name string
	feed poe.Feed
	need poe.Need
	want string // the words, worst first, with the harm of the first
}

func compare(t *testing.T, list []comparison) {
	t.Helper()
	for _, c := range list {
		var words []string
		got := poe.Compare(c.feed, c.need)
		for i, k := range got {
			words = append(words, k.What)
			if k.Why == "" || strings.Contains(k.Why, "%!") {
				t.Errorf("%s: %s has no proper reason: %q", c.name, k.What, k.Why)
			}
			if (k.Caution != "") != (k.Harm >= poe.Risky) {
				t.Errorf("%s: %s (%s) has caution %q", c.name, k.What, k.Harm, k.Caution)
			}
			if i > 0 && k.Harm > got[i-1].Harm {
				t.Errorf("%s: %s stands after something milder", c.name, k.What)
			}
		}
		text := strings.Join(words, " ")
		if len(got) > 0 {
			text += ": " + got[0].Harm.String()
		}
		if text != c.want {
			t.Errorf("%s: %q, want %q", c.name, text, c.want)
		}
	}
}

// What the comparisons are made of.
var (
	camera = poe.Need{Class: poe.Class3, Most: 11 * poe.Watt}
	radio  = poe.Need{Takes: passive(24), Most: 7 * poe.Watt}
)

const plus, minus = poe.Pins(1<<3 | 1<<4), poe.Pins(1<<6 | 1<<7) // 4,5 and 7,8

func passive(volts float64) poe.Feed {
	return poe.Feed{Standard: poe.Passive, Volts: volts, Plus: plus, Minus: minus}
}

func port(s poe.Standard) poe.Feed { return poe.Feed{Standard: s} }

func with(n poe.Need, change func(*poe.Need)) poe.Need { change(&n); return n }

func feed(f poe.Feed, change func(*poe.Feed)) poe.Feed { change(&f); return f }

// What harms what is common practice, except for the class figures. Alternative B, S polarity, is 4,5 plus and 7,8 minus (IEEE
// 802.3 Table 145-3, restated in the Linux kernel's documentation).
func TestCompareFits(t *testing.T) {
	compare(t, []comparison{
		{"24 V radio on its 24 V injector", passive(24), radio, ""},
		{"class 3 camera on 802.3af", port(poe.AF), camera, ""},
		{"class 3 camera on 802.3bt", port(poe.BT4), camera, ""},
		{"laptop on 802.3at", port(poe.AT), poe.Need{}, ""},
		{"laptop on a plain port", poe.Feed{}, poe.Need{}, ""},
	})
}

func TestCompareVolts(t *testing.T) {
	compare(t, []comparison{
		{"24 V radio on a standard port: no power, no damage", port(poe.AT), radio, "no-signature: no power, no damage"},
		{"48 V into a 24 V radio", passive(48), radio, "over-voltage: destroys the device"},
		{"54 V into a 24 V radio", passive(54), radio, "over-voltage: destroys the device"},
		{"a forced port into a 24 V radio", poe.Feed{Standard: poe.AT, Forced: true, Plus: plus, Minus: minus}, radio, "over-voltage: destroys the device"},
		{"a forced port whose volts are given", poe.Feed{Standard: poe.AT, Forced: true, Volts: 50, Plus: plus, Minus: minus}, radio,
			"over-voltage: destroys the device"},
		{"54 V into a 48 V device", passive(54), poe.Need{Takes: passive(48)}, ""},
		{"54 V into a 48 V device that bears 50 V", passive(54), poe.Need{Takes: passive(48), VoltsMost: 50}, "over-voltage: destroys the device"},
		{"24 V into a 48 V device", passive(24), poe.Need{Takes: passive(48)}, "under-voltage: no power, no damage"},
		{"24 V into one that takes 18 to 57 V", passive(24), poe.Need{Takes: passive(48), VoltsLeast: 18, VoltsMost: 57}, ""},
		{"24 V into an 802.3af camera", passive(24), camera, "not-negotiated: no power, no damage"},
		{"48 V into an 802.3af camera", passive(48), camera, "not-negotiated: may do damage"},
		{"60 V into an 802.3af camera", passive(60), camera, "over-voltage: destroys the device"},
		{"passive feed of unknown volts into a camera", passive(0), camera, "not-negotiated: may do damage"},
		{"24 V into a laptop", passive(24), poe.Need{}, "live-on-plain-port: may do damage"},
		{"a forced port into a printer", poe.Feed{Standard: poe.AF, Forced: true}, poe.Need{}, "live-on-plain-port: may do damage"},
		{"unknown volts into a radio", passive(0), radio, "volts-unknown: may do damage"},
		{"24 V into a radio of unknown volts", passive(24), poe.Need{Takes: passive(0)}, "volts-unknown: may do damage"},
	})
}

func TestComparePins(t *testing.T) {
	compare(t, []comparison{
		{"plus and minus swapped", feed(passive(24), func(f *poe.Feed) { f.Plus, f.Minus = minus, plus }), radio, "reversed-polarity: destroys the device"},
		{"swapped, and the device does not mind", feed(passive(24), func(f *poe.Feed) { f.Plus, f.Minus = minus, plus }),
			with(radio, func(n *poe.Need) { n.AnyPolarity = true }), ""},
		{"one wire crossed", feed(passive(24), func(f *poe.Feed) { f.Plus, f.Minus = pins(t, 4, 7), pins(t, 5, 8) }), radio,
			"reversed-polarity: destroys the device"},
		{"one wire crossed is no polarity", feed(passive(24), func(f *poe.Feed) { f.Plus, f.Minus = pins(t, 4, 7), pins(t, 5, 8) }),
			with(radio, func(n *poe.Need) { n.AnyPolarity = true }), "reversed-polarity: destroys the device"},
		{"on the data pairs", feed(passive(24), func(f *poe.Feed) { f.Plus, f.Minus = pins(t, 1, 2), pins(t, 3, 6) }), radio, "pins-differ: may do damage"},
		{"on all four pairs", feed(passive(24), func(f *poe.Feed) { f.Plus, f.Minus = pins(t, 1, 2, 4, 5), pins(t, 3, 6, 7, 8) }), radio,
			"extra-pins: may do damage"},
		{"two pairs into a device for four", passive(24), with(radio,
			func(n *poe.Need) { n.Takes.Plus, n.Takes.Minus = pins(t, 1, 2, 4, 5), pins(t, 3, 6, 7, 8) }), "pins-differ: runs with less"},
		{"pins of the feed unknown", poe.Feed{Standard: poe.Passive, Volts: 24}, radio, "pins-unknown: may do damage"},
		{"too high and swapped", feed(passive(48), func(f *poe.Feed) { f.Plus, f.Minus = minus, plus }), radio,
			"over-voltage reversed-polarity: destroys the device"},
		{"pins unknown does not hide what destroys", poe.Feed{Standard: poe.Passive, Volts: 48}, radio, "over-voltage pins-unknown: destroys the device"},
	})
}

func TestCompareGigabit(t *testing.T) {
	compare(t, []comparison{
		{"gigabit on a 10/100 injector", feed(passive(24), func(f *poe.Feed) { f.Direct = true }),
			with(radio, func(n *poe.Need) { n.Gigabit = true }), "no-gigabit: runs with less"},
		{"100 Mb/s on a 10/100 injector", feed(passive(24), func(f *poe.Feed) { f.Direct = true }), radio, ""},
		{"gigabit on an injector made for it", passive(24), with(radio, func(n *poe.Need) { n.Gigabit = true }), ""},
	})
}

func TestCompareClasses(t *testing.T) {
	compare(t, []comparison{
		{"class 4 on 802.3af, draw unknown", port(poe.AF), poe.Need{Class: poe.Class4}, "class-granted-less: runs with less"},
		{"class 4 on 802.3af, 20 W", port(poe.AF), poe.Need{Class: poe.Class4, Most: 20 * poe.Watt}, "class-granted-less: runs with less"},
		{"class 4 on 802.3af that never takes above 10 W", port(poe.AF), poe.Need{Class: poe.Class4, Most: 10 * poe.Watt}, ""},
		{"class 0 on 802.3af", port(poe.AF), poe.Need{Class: poe.Class0}, ""},
		{"20 W and no class on 802.3af", port(poe.AF), poe.Need{Takes: port(poe.AT), Most: 20 * poe.Watt}, "class-granted-less: runs with less"},
		{"80 W and no class on 802.3bt", port(poe.BT4), poe.Need{Takes: port(poe.BT4), Most: 80 * poe.Watt}, "class-granted-less: runs with less"},
		{"class 3 drawing 14 W", port(poe.AT), poe.Need{Class: poe.Class3, Most: 14 * poe.Watt}, "draw-over-class: no power, no damage"},
		{"camera on a port without power", poe.Feed{}, camera, "no-feed: no power, no damage"},
		{"radio on a port without power", poe.Feed{}, radio, "no-feed: no power, no damage"},
	})
}

func TestCompareWords(t *testing.T) {
	f := poe.Feed{Standard: poe.Passive, Volts: 48, Plus: pins(t, 4, 5), Minus: pins(t, 7, 8)}
	n := poe.Need{Takes: poe.Feed{Standard: poe.Passive, Volts: 24, Plus: pins(t, 4, 5), Minus: pins(t, 7, 8)}}
	got := poe.Compare(f, n)[0]
	want := poe.Conflict{What: "over-voltage", Harm: poe.Destructive, Why: "48 V at the port, the device takes 24 V, at most 28.8 V", Caution: poe.CautionPassive}
	if got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
	if !strings.Contains(poe.CautionPassive, "Local codes") || !strings.Contains(poe.CautionPassive, "licensed") {
		t.Error("the caution does not defer to local codes and licensed trades")
	}
}

// Every pairing that can break something is told, whatever the figures: a live
// feed is silent only for a passive device of fitting volts and pins.
func TestCompareNeverSilent(t *testing.T) {
	sets := []poe.Pins{0, pins(t, 4, 5), pins(t, 7, 8), pins(t, 1, 2), pins(t, 1, 2, 4, 5)}
	for _, volts := range []float64{0, 12, 24, 48, 57, 90} {
		for _, plus := range sets {
			for _, minus := range sets {
				f := poe.Feed{Standard: poe.Passive, Volts: volts, Plus: plus, Minus: minus}
				needs := []poe.Need{{}, {Class: poe.Class0}, {Takes: poe.Feed{Standard: poe.AT}}}
				for _, v := range []float64{0, 24, 48} {
					needs = append(needs, poe.Need{Takes: poe.Feed{Standard: poe.Passive, Volts: v, Plus: pins(t, 4, 5), Minus: pins(t, 7, 8)}})
				}
				for _, n := range needs {
					fits := n.Takes.Volts > 0 && volts >= 0.8*n.Takes.Volts && volts <= 1.2*n.Takes.Volts &&
						plus == n.Takes.Plus && minus == n.Takes.Minus
					if got := poe.Compare(f, n); (len(got) == 0) != fits {
						t.Errorf("%+v on %+v: %v", n, f, got)
					}
				}
			}
		}
	}
}

func TestPinsOf(t *testing.T) {
	if s := pins(t, 5, 4).String(); s != "4,5" {
		t.Errorf("pins print as %q", s)
	}
	if s := poe.Pins(0).String(); s != "pins unknown" {
		t.Errorf("no pins print as %q", s)
	}
	for _, numbers := range [][]int{{0}, {9}, {4, 4}, {-1}} {
		if p, err := poe.PinsOf(numbers...); err == nil {
			t.Errorf("PinsOf(%v) = %v", numbers, p)
		}
	}
}

// Type 1 ends at class 3, 2 at class 4, 3 at class 6, 4 at class 8; a larger
// device gets the port's highest (Ethernet Alliance overview).
func TestGrant(t *testing.T) {
	for _, c := range []struct {
		port        poe.Standard
		class, want poe.Class
	}{
		{poe.AF, poe.Class0, poe.Class0}, {poe.AF, poe.Class3, poe.Class3}, {poe.AF, poe.Class4, poe.Class3},
		{poe.AT, poe.Class4, poe.Class4}, {poe.AT, poe.Class8, poe.Class4}, {poe.BT3, poe.Class7, poe.Class6},
		{poe.BT4, poe.Class8, poe.Class8}, {poe.BT4, 0, 0}, {poe.Passive, poe.Class3, 0}, {0, poe.Class3, 0}, {99, poe.Class3, 0}, {poe.BT4, 44, 0},
	} {
		if got := c.port.Grant(c.class); got != c.want {
			t.Errorf("%s grants %s %s, want %s", c.port, c.class, got, c.want)
		}
	}
	var words []string
	for s := range poe.Passive + 2 {
		words = append(words, s.String())
	}
	if want := []string{"no power", "802.3af", "802.3at", "802.3bt type 3", "802.3bt type 4", "passive", "no power"}; !slices.Equal(words, want) {
		t.Errorf("standards print as %q", words)
	}
}
