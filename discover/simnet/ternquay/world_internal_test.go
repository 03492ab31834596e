package ternquay

import (
	"math"
	"strings"
	"testing"
	"time"
)

var (
	summer = time.Date(2026, time.June, 1, 12, 0, 0, 0, time.UTC)
	winter = time.Date(2026, time.December, 1, 12, 0, 0, 0, time.UTC)
)

// changed gives the site as planned and after each of its changes.
func changed(t *testing.T, check func(t *testing.T, w *world)) {
	w := newWorld(summer)
	t.Run("as planned", func(t *testing.T) { check(t, w) })
	for _, c := range drift {
		c.do(w)
		t.Run(c.Finding, func(t *testing.T) { check(t, w) })
	}
}

// What one end of a wire sends the other gets, for each wire between two bridges
// that count.
func TestWiresAgree(t *testing.T) {
	changed(t, func(t *testing.T, w *world) {
		wires := 0
		for i := range w.boxes {
			below := &w.boxes[i]
			above, _ := w.parent(below)
			if below.port == "" || above == nil {
				continue
			}
			wires++
			up := w.traffic(below)[w.toward(below, above)]
			down := w.traffic(above)[w.toward(above, below)]
			if up.in != down.out || up.out != down.in {
				t.Errorf("%s: %+v below, %+v above", below.name, up, down)
			}
		}
		if wires != 2 {
			t.Errorf("%d wires between bridges, want 2", wires)
		}
	})
}

// The recorder gets what the cameras send that are lit, and no switch makes
// or swallows anything.
func TestStreamsArrive(t *testing.T) {
	changed(t, func(t *testing.T, w *world) {
		want := 0.0
		for i := range w.boxes {
			if c := &w.boxes[i]; w.lit(c) {
				want += c.stream
			}
		}
		b := w.box("quay-switch")
		const murmur = 20_000
		flows := w.traffic(b)
		if got := flows[1].out - murmur; got != want || want == 0 {
			t.Errorf("the recorder gets %.0f bit/s of %.0f", got, want)
		}
		in, out := 0.0, 0.0
		for _, f := range flows {
			in, out = in+f.in, out+f.out
		}
		if in != out {
			t.Errorf("%.0f bit/s in, %.0f out", in, out)
		}
	})
}

// Forwarding tables and wires tell the same: whatever the switch below has on its
// own side, the bridge above has on the port to it.
func TestTablesAgree(t *testing.T) {
	changed(t, func(t *testing.T, w *world) {
		top := map[string]int{}
		root := w.box("quay-router")
		for _, r := range w.learned(root) {
			top[r.MAC.String()] = int(r.Port)
		}
		for _, name := range []string{"quay-switch", "shed-switch"} {
			b := w.box(name)
			up := w.toward(b, root)
			down := w.toward(root, b)
			rows := 0
			for _, r := range w.learned(b) {
				if r.Self || int(r.Port) == up {
					continue
				}
				rows++
				if got := top[r.MAC.String()]; got != down {
					t.Errorf("%s lies below %s, but on port %d of the router, not %d", r.MAC, name, got, down)
				}
			}
			if rows < 5 {
				t.Errorf("%s learned only %d addresses", name, rows)
			}
		}
	})
}

// What is dark tells nothing, and neither does all behind it.
func TestDark(t *testing.T) {
	w := newWorld(summer)
	w.box("quay-radio").off = true
	for _, name := range []string{"quay-radio", "pontoon-radio", "basin-cam", "winter-cam"} {
		b := w.box(name)
		if w.lit(b) || w.hears(b) {
			t.Errorf("%s is lit", name)
		}
		for _, r := range w.learned(w.box("quay-switch")) {
			if r.MAC == b.hw() {
				t.Errorf("the switch still has %s", name)
			}
		}
	}
	if w.on(w.box("quay-switch"), 8) != nil {
		t.Error("its port still has link")
	}
	w = newWorld(summer)
	if rows := w.air(w.box("quay-radio")); len(rows) != 2 {
		t.Errorf("the radio tells %d objects, want level and rate", len(rows))
	}
	w.box("pontoon-radio").off = true
	if rows := w.air(w.box("quay-radio")); rows != nil {
		t.Error("a radio without its far end tells a level")
	}
}

// The camera that is ashore in winter is so whenever the site is started.
func TestSeason(t *testing.T) {
	for at, lit := range map[time.Time]bool{summer: true, winter: false} {
		w := newWorld(at)
		if got := w.lit(w.box("winter-cam")); got != lit {
			t.Errorf("in %s: lit is %v", at.Month(), got)
		}
	}
	if asPlanned[0].off || newWorld(winter).panels["shed-switch"].vlan[6] != 0 {
		t.Error("a world changes what it is made from")
	}
	w := newWorld(summer)
	w.panels["shed-switch"].vlan[6] = cameras
	if asBuilt["shed-switch"].vlan[6] != 0 {
		t.Error("a world changes the panels that it is made from")
	}
}

// A counter never falls, and its rate is that of the traffic on each side of a change.
func TestMeters(t *testing.T) {
	w := newWorld(summer)
	b := w.box("quay-switch")
	n := &node{name: b.name, started: summer, meters: map[int]meter{}}
	n.count(w, b, summer.Add(time.Hour))
	m := n.meters[5]
	if got, want := m.in, (4*mega+20_000)/8*3600; math.Abs(got-want) > 1 {
		t.Errorf("an hour of a camera is %.0f octets, want %.0f", got, want)
	}
	w.box("slip-cam").off = true
	n.count(w, b, summer.Add(2*time.Hour))
	after := n.meters[5]
	if got, want := after.in-m.in, (4*mega+20_000)/8*3600; math.Abs(got-want) > 1 {
		t.Errorf("the second hour counted %.0f octets, want %.0f", got, want)
	}
	n.count(w, b, summer.Add(3*time.Hour))
	if n.meters[5].in != after.in {
		t.Error("a dark camera still sends")
	}
}

// Only documentation's addresses: RFC 5737 and RFC 7042, or locally administered.
func TestAddresses(t *testing.T) {
	seen := map[string]string{}
	changed(t, func(t *testing.T, w *world) {
		clear(seen)
		for i := range w.boxes {
			b := &w.boxes[i]
			for _, m := range []string{b.mac, b.air} {
				if m != "" && !strings.HasPrefix(m, "00:00:5e:00:53:") && !strings.HasPrefix(m, "02:00:5e:00:53:") {
					t.Errorf("%s has %s", b.name, m)
				}
			}
			if (b.mac == "") != (b.addr == "") {
				t.Errorf("%s has an address of one kind only", b.name)
			}
			for _, a := range []string{b.mac, b.addr} {
				if o := seen[a]; o != "" && a != "" {
					t.Errorf("%s and %s share %s", b.name, o, a)
				}
				seen[a] = b.name
			}
			if b.addr != "" && !strings.HasPrefix(b.addr, "203.0.113.") && !strings.HasPrefix(b.addr, "198.51.100.") {
				t.Errorf("%s has %s", b.name, b.addr)
			}
			if up, _ := w.parent(b); up == nil && b.shows != router {
				t.Errorf("%s hangs on nothing", b.name)
			}
		}
	})
}
