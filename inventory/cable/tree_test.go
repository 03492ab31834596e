package cable_test

import (
	"errors"
	"math/rand/v2"
	"testing"

	"boundwalk/inventory/cable"
)

// A node with nothing behind it is Deliver.
func TestDeliverTreeOfOne(t *testing.T) {
	one, err := cable.Deliver(24, 5.0528, 12)
	if err != nil {
		t.Fatal(err)
	}
	tree, err := cable.DeliverTree(24, []cable.Node{{Parent: -1, Ohms: 5.0528, Watts: 12}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "volts", tree[0].Volts, one.Volts, 1e-9)
	near(t, "source", tree[0].Source, one.Source, 1e-9)
	near(t, "loss", tree[0].Loss, one.Loss, 1e-9)
}

// The hut of the example site: an injector of 24 V, 15 m to a switch that takes
// 2 W and passes the feed on to a radio (7 W, 3 m) and a camera (4 W, 40 m).
// Solid 24 AWG at 20 °C. What comes out must obey Ohm and Kirchhoff.
func TestDeliverTreeHut(t *testing.T) {
	const perMetre = 0.084213
	nodes := []cable.Node{{-1, 15 * perMetre, 2}, {0, 3 * perMetre, 7}, {0, 40 * perMetre, 4}}
	d, err := cable.DeliverTree(24, nodes)
	if err != nil {
		t.Fatal(err)
	}
	kirchhoff(t, 24, nodes, d)
	if !(d[2].Volts < d[1].Volts && d[1].Volts < d[0].Volts && d[0].Volts < 24) {
		t.Errorf("volts do not fall along the cables: %+v", d)
	}
	// 13 W all at the switch would take less than with the two cables behind it.
	lumped, err := cable.Deliver(24, nodes[0].Ohms, 13)
	if err != nil {
		t.Fatal(err)
	}
	if d[0].Volts >= lumped.Volts {
		t.Errorf("%v V at the switch, want below %v V", d[0].Volts, lumped.Volts)
	}
}

func kirchhoff(t *testing.T, volts float64, nodes []cable.Node, d []cable.Delivery) {
	t.Helper()
	drawn := make([]float64, len(nodes))
	total, lost, used := 0.0, 0.0, 0.0
	for i, n := range nodes {
		from := volts
		if n.Parent >= 0 {
			from = d[n.Parent].Volts
			drawn[n.Parent] += d[i].Amps
		} else {
			total += d[i].Source
		}
		near(t, "volts along a cable", from-n.Ohms*d[i].Amps, d[i].Volts, 1e-6*volts)
		lost += d[i].Loss
		used += n.Watts
	}
	for i, n := range nodes {
		near(t, "watts of a node", (d[i].Amps-drawn[i])*d[i].Volts, n.Watts, 1e-6*(1+n.Watts))
	}
	near(t, "all watts", total, lost+used, 1e-6*(1+total))
}

func TestDeliverTreeRandom(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 24))
	ran, refused := 0, 0
	for range 2000 {
		volts := 12 + 45*rng.Float64()
		nodes := make([]cable.Node, 1+rng.IntN(8))
		for i := range nodes {
			nodes[i] = cable.Node{Parent: rng.IntN(i+1) - 1, Ohms: 8 * rng.Float64(), Watts: 14 * rng.Float64()}
		}
		d, err := cable.DeliverTree(volts, nodes)
		if err != nil {
			if !errors.Is(err, cable.ErrCannotDeliver) {
				t.Fatal(err)
			}
			refused++
			continue
		}
		ran++
		kirchhoff(t, volts, nodes, d)
	}
	if ran < 300 || refused < 300 {
		t.Errorf("only %d ran and %d were refused: the inputs do not try both", ran, refused)
	}
}

// A star without cable behind the switch is one load of the sum, so the closed
// form says exactly when it can run.
func TestDeliverTreeEdge(t *testing.T) {
	for _, c := range []struct {
		share float64
		runs  bool
	}{{0.5, true}, {0.99, true}, {0.99999, true}, {1.00001, false}, {1.5, false}} {
		part := c.share * cable.MostWatts(24, 8) / 3
		d, err := cable.DeliverTree(24, []cable.Node{{-1, 8, part}, {0, 0, part}, {0, 0, part}})
		if (err == nil) != c.runs {
			t.Errorf("share %v: %v, want runs %v", c.share, err, c.runs)
			continue
		}
		if !c.runs {
			continue
		}
		one, err := cable.Deliver(24, 8, 3*part)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "volts", d[2].Volts, one.Volts, 1e-6)
	}
}

func TestDeliverTreeRefuses(t *testing.T) {
	for name, nodes := range map[string][]cable.Node{
		"its own parent":    {{Parent: 0}},
		"a later parent":    {{Parent: -1}, {Parent: 2}, {Parent: -1}},
		"below the source":  {{Parent: -2}},
		"a negative load":   {{Parent: -1, Watts: -1}},
		"a negative length": {{Parent: -1, Ohms: -1}},
	} {
		if d, err := cable.DeliverTree(24, nodes); err == nil || errors.Is(err, cable.ErrCannotDeliver) {
			t.Errorf("%s: %v, %v", name, d, err)
		}
	}
	if d, err := cable.DeliverTree(24, nil); err != nil || len(d) != 0 {
		t.Errorf("no devices: %v, %v", d, err)
	}
}
