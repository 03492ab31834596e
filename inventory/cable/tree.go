package cable

import (
	"fmt"
	"math"
)

// Node is a device in a tree that one source feeds, where a device may pass
// the voltage it gets on to others without converting it, as a small switch on
// a passive feed does. A switch that makes a new voltage ends the tree: it is
// one load here, and the source of a tree of its own.
type Node struct {
	// Parent is the position of the node it is fed from, which stands earlier
	// in the slice; -1 is the source.
	Parent int

	Ohms  float64 // of the cable to the parent
	Watts float64 // its own need, without what it passes on
}

const (
	mostSweeps = 10_000
	settled    = 1e-12 // of the source voltage
)

// DeliverTree works out each node's Delivery, in the order of nodes: Volts at
// the node, Amps and Loss in the cable to it, Source the watts that enter that
// cable. All loads pull on the shared cables at once, so none can be worked out
// alone. An error that wraps ErrCannotDeliver means that not all of them can
// run together; within a few millionths of that edge it may say so early.
func DeliverTree(volts float64, nodes []Node) ([]Delivery, error) {
	for i, n := range nodes {
		if n.Parent < -1 || n.Parent >= i {
			return nil, fmt.Errorf("deliver to node %d: its parent %d does not stand before it", i, n.Parent)
		}
		if err := sane(volts, n.Ohms, n.Watts); err != nil {
			return nil, fmt.Errorf("deliver to node %d: %w", i, err)
		}
	}
	at := make([]float64, len(nodes)) // volts
	for i := range at {
		at[i] = volts
	}
	amps := make([]float64, len(nodes))
	for range mostSweeps {
		// From above every sweep can only lower the voltages, so they settle on
		// the stable state if there is one.
		moved, dead := sweep(volts, nodes, at, amps)
		if dead {
			break
		}
		if moved <= settled*volts {
			return deliveries(volts, nodes, at, amps), nil
		}
	}
	return nil, fmt.Errorf("deliver to %d devices from %.4g V: %w", len(nodes), volts, ErrCannotDeliver)
}

// sweep adds the currents up from the ends to the source and then takes the
// voltages down from the source to the ends. It returns the largest change, and
// whether a node lost all its voltage.
func sweep(volts float64, nodes []Node, at, amps []float64) (moved float64, dead bool) {
	for i, n := range nodes {
		amps[i] = n.Watts / at[i]
	}
	for i := len(nodes) - 1; i >= 0; i-- {
		if p := nodes[i].Parent; p >= 0 {
			amps[p] += amps[i]
		}
	}
	for i, n := range nodes {
		from := volts
		if n.Parent >= 0 {
			from = at[n.Parent]
		}
		now := from - n.Ohms*amps[i]
		if now <= 0 {
			return 0, true
		}
		moved = max(moved, math.Abs(at[i]-now))
		at[i] = now
	}
	return moved, false
}

func deliveries(volts float64, nodes []Node, at, amps []float64) []Delivery {
	out := make([]Delivery, len(nodes))
	for i, n := range nodes {
		from := volts
		if n.Parent >= 0 {
			from = at[n.Parent]
		}
		out[i] = Delivery{Volts: at[i], Amps: amps[i], Loss: amps[i] * amps[i] * n.Ohms, Source: from * amps[i]}
	}
	return out
}
