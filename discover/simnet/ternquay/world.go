package ternquay

import (
	"maps"
	"net/netip"
	"slices"
	"strconv"
	"strings"
	"time"

	"boundwalk/inventory"
)

// world is what there is at one moment.
type world struct {
	boxes  []box
	panels map[string]panel
	slow   time.Duration // how far the recorder's clock is behind
}

// newWorld is the site as planned. In winter, by the site's own calendar, one
// camera is ashore, as the plan says.
func newWorld(now time.Time) *world {
	w := &world{boxes: slices.Clone(asPlanned), panels: maps.Clone(asBuilt)}
	for name, p := range w.panels {
		p.vlan = maps.Clone(p.vlan)
		w.panels[name] = p
	}
	winter := inventory.Season{From: time.November, To: time.March}
	if zone, err := time.LoadLocation("Europe/Dublin"); err == nil {
		now = now.In(zone)
	}
	w.box("winter-cam").off = winter.Contains(now)
	return w
}

// box is the thing of a name; nil: there is none.
func (w *world) box(name string) *box {
	for i := range w.boxes {
		if w.boxes[i].name == name {
			return &w.boxes[i]
		}
	}
	return nil
}

// parent is what the box hangs on, and the port there.
func (w *world) parent(b *box) (up *box, port string) {
	name, port, _ := strings.Cut(b.at, "/")
	return w.box(name), port
}

// lit reports whether the box is on, and all that leads to it.
func (w *world) lit(b *box) bool {
	for ; b != nil; b, _ = w.parent(b) {
		if b.off {
			return false
		}
	}
	return true
}

// toward is the port of a bridge behind which the other box lies; 0: itself, or
// not known.
func (w *world) toward(from, to *box) int {
	if from == to {
		return 0
	}
	own := from.port
	for b := to; b != nil; {
		up, port := w.parent(b)
		if up == from {
			own = port
			break
		}
		b = up
	}
	n, err := strconv.Atoi(own)
	if err != nil {
		return 0 // the root has nothing above it
	}
	return n
}

// on is what hangs on a port of a bridge and is lit, or, on its own port that
// leads up, what is above it; nil: nothing.
func (w *world) on(b *box, port int) *box {
	if b.port == strconv.Itoa(port) {
		up, _ := w.parent(b)
		return up
	}
	for i := range w.boxes {
		o := &w.boxes[i]
		if up, at := w.parent(o); up == b && at == strconv.Itoa(port) && w.lit(o) {
			return o
		}
	}
	return nil
}

// fast reports whether the link of a port has 1 Gbit/s.
func (w *world) fast(b *box, port int) bool {
	if b.port == strconv.Itoa(port) {
		return b.fast
	}
	o := w.on(b, port)
	return o != nil && o.fast
}

// fed is what takes power from a port.
func (w *world) fed(b *box, port int) *box {
	o := w.on(b, port)
	if o == nil || o.class == 0 || port > w.panels[b.name].feeds || b.port == strconv.Itoa(port) {
		return nil
	}
	return o
}

// flow is the traffic of a port, in bits a second, as the bridge counts it.
type flow struct{ in, out float64 }

// traffic is what a bridge passes on at each port: the cameras' streams on their
// way to the recorder, and a little of all else.
func (w *world) traffic(b *box) map[int]flow {
	const murmur = 20_000 // bit/s each way
	out := map[int]flow{}
	for n := 1; n <= w.panels[b.name].ports; n++ {
		if w.on(b, n) != nil {
			out[n] = flow{murmur, murmur}
		}
	}
	disk := w.box("recorder")
	for i := range w.boxes {
		c := &w.boxes[i]
		from, to := w.toward(b, c), w.toward(b, disk)
		if c.stream == 0 || from == to || !w.lit(c) || !w.lit(disk) {
			continue
		}
		f, t := out[from], out[to]
		f.in += c.stream
		t.out += c.stream
		out[from], out[to] = f, t
	}
	return out
}

// subnets are the networks of the VLANs.
var subnets = map[int]netip.Prefix{
	yard:    netip.MustParsePrefix("203.0.113.0/25"),
	cameras: netip.MustParsePrefix("203.0.113.128/26"),
	berths:  netip.MustParsePrefix("198.51.100.0/24"),
}

// hears reports whether the router knows the box's address: it is lit, and in
// the VLAN that its address belongs to.
func (w *world) hears(b *box) bool {
	if b.addr == "" || b.shows == router || !w.lit(b) {
		return false
	}
	return subnets[b.vlan].Contains(netip.MustParseAddr(b.addr))
}

// macs are the addresses of the box, that of its cable first.
func (b *box) macs() []inventory.MAC {
	var out []inventory.MAC
	for _, s := range []string{b.mac, b.air} {
		if m, err := inventory.ParseMAC(s); err == nil {
			out = append(out, m)
		}
	}
	return out
}

// hw is the box's address on its cable; zero: it has none.
func (b *box) hw() inventory.MAC {
	if m := b.macs(); len(m) > 0 {
		return m[0]
	}
	return inventory.MAC{}
}
