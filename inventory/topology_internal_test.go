package inventory

import (
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"testing"
)

// A wiring is a random tree of bridges, some of them silent (unmanaged), with
// end devices on their ports, and the forwarding tables that follow from it.
type wiring struct {
	parent  []int     // of each bridge; -1: the root
	port    []IfIndex // of the parent; the child's own uplink is port 1
	managed []bool
	devices map[MAC]sighted // where each end device really hangs
	bridges []bridge        // the managed ones
	index   []int           // bridge -> index in bridges, -1: silent
}

func bridgeMAC(k int) MAC { return testMAC(0x00, k) }
func testMAC(kind byte, k int) MAC {
	m := MAC{0, kind, 0x5e}
	m[3] = byte(k >> 16)
	binary.BigEndian.PutUint16(m[4:], uint16(k))
	return m
}

func randomWiring(r *rand.Rand, switches, devices int, silent, drop float64) *wiring {
	w := &wiring{devices: map[MAC]sighted{}}
	next := make([]IfIndex, switches)
	for b := range switches {
		next[b] = 2
		w.managed = append(w.managed, b == 0 || r.Float64() >= silent)
		if b == 0 {
			w.parent, w.port = append(w.parent, -1), append(w.port, 0)
			continue
		}
		p := r.IntN(b)
		w.parent, w.port = append(w.parent, p), append(w.port, next[p])
		next[p]++
	}
	for d := range devices {
		b := r.IntN(switches)
		w.devices[testMAC(1, d+1)] = sighted{b, next[b]}
		next[b]++
	}
	for b := range switches {
		w.index = append(w.index, -1)
		if w.managed[b] {
			w.index[b] = len(w.bridges)
			w.bridges = append(w.bridges, bridge{name: fmt.Sprint(b), own: []MAC{bridgeMAC(b + 1)}})
		}
	}
	for b := range switches {
		if !w.managed[b] {
			continue
		}
		tb := &w.bridges[w.index[b]]
		add := func(m MAC, p IfIndex) {
			if r.Float64() >= drop {
				tb.rows = append(tb.rows, bridgeRow{m, p})
			}
		}
		for o := range switches {
			if o != b && w.managed[o] {
				add(bridgeMAC(o+1), w.way(b, o))
			}
		}
		for m, at := range w.devices {
			if at.bridge == b {
				add(m, at.port)
			} else {
				add(m, w.way(b, at.bridge))
			}
		}
	}
	return w
}

// way is the port of b that leads to o: towards a child's branch, else up.
func (w *wiring) way(b, o int) IfIndex {
	for x := o; x >= 0; x = w.parent[x] {
		if w.parent[x] == b {
			return w.port[x]
		}
	}
	return 1
}

// trueSpots are the answers that are right for a device: its own bridge's port
// where that is managed, else any port of a managed bridge on the same stretch of silent ones.
func (w *wiring) right(at sighted, s spot) bool {
	if w.managed[at.bridge] {
		return s.bridge == w.index[at.bridge] && s.port == at.port
	}
	// The stretch: all silent bridges that hang together, and the managed ones around it.
	stretch := map[int]bool{at.bridge: true}
	for changed := true; changed; {
		changed = false
		for b := range w.parent {
			p := w.parent[b]
			if p < 0 || w.managed[b] || w.managed[p] || stretch[b] == stretch[p] {
				continue
			}
			stretch[b], stretch[p], changed = true, true, true
		}
	}
	for b := range w.parent {
		p := w.parent[b]
		if p >= 0 && stretch[b] && w.managed[p] && s.bridge == w.index[p] && s.port == w.port[b] {
			return true
		}
		if p >= 0 && stretch[p] && w.managed[b] && s.bridge == w.index[b] && s.port == 1 {
			return true
		}
	}
	return false
}

// Random wiring is recovered from the tables that follow from it: never a
// wrong port; with whole tables every device; with rows missing, fewer.
func TestTopologyRecoversRandomWiring(t *testing.T) {
	for seed := range uint64(400) {
		r := rand.New(rand.NewPCG(seed, 1))
		silent, drop := 0.0, 0.0
		if seed%2 == 1 {
			silent = 0.3
		}
		if seed%4 >= 2 {
			drop = r.Float64() * 0.6
		}
		w := randomWiring(r, 1+r.IntN(60), 1+r.IntN(120), silent, drop)
		topo := newTopology(w.bridges)
		spots := topo.spots()
		exact := 0
		for m, at := range w.devices {
			s, ok := spots[m]
			if ok && s.exact {
				exact++
				if !w.right(at, s) {
					t.Fatalf("seed %d: %v hangs on %v, placed at %+v", seed, m, at, s)
				}
			}
			if ok && !s.exact && !w.behind(s, at) {
				t.Fatalf("seed %d: %v hangs on %v, which is not behind %+v", seed, m, at, s)
			}
		}
		if drop == 0 && exact != len(w.devices) {
			t.Fatalf("seed %d: %d of %d placed from whole tables", seed, exact, len(w.devices))
		}
		if drop == 0 && silent == 0 {
			checkParents(t, w, topo)
		}
	}
}

// behind reports whether the device really lies beyond that port.
func (w *wiring) behind(s spot, at sighted) bool {
	for b, i := range w.index {
		if i != s.bridge {
			continue
		}
		if b == at.bridge {
			return s.port == at.port
		}
		return w.way(b, at.bridge) == s.port
	}
	return false
}

func checkParents(t *testing.T, w *wiring, topo *topology) {
	t.Helper()
	for b, h := range topo.parents(0) {
		if b == 0 {
			continue
		}
		if h.parent != w.parent[b] || h.port != w.port[b] || h.own != 1 {
			t.Fatalf("bridge %d: got %+v, want parent %d port %d", b, h, w.parent[b], w.port[b])
		}
	}
}

func BenchmarkTopology(b *testing.B) {
	for _, size := range []struct{ switches, devices int }{{50, 1000}, {500, 10000}} {
		b.Run(fmt.Sprintf("%d switches %d MACs", size.switches, size.devices), func(b *testing.B) {
			w := randomWiring(rand.New(rand.NewPCG(1, 1)), size.switches, size.devices, 0, 0)
			for b.Loop() {
				newTopology(w.bridges).spots()
			}
		})
	}
}
