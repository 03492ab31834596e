package inventory

import (
	"cmp"
	"maps"
	"slices"
)

// A bridge is a switch whose forwarding table was read, as topology sees it.
type bridge struct {
	name string
	own  []MAC // its own addresses
	rows []bridgeRow
	// direct holds what LLDP says: the bridge on the other end of a port.
	direct map[IfIndex]int
}

// bridgeRow is a learned address behind a port.
type bridgeRow struct {
	mac  MAC
	port IfIndex
}

// A spot is where topology puts an address: a port of a bridge. Exact is false
// where all that is known is that it lies somewhere behind that port.
type spot struct {
	bridge int
	port   IfIndex
	exact  bool
	among  int // addresses on the same stretch of wire, other bridges not counted
}

// topology is who stands behind which port. It reasons on a tree: spanning
// tree sees to it that the forwarding is one.
type topology struct {
	bridges []bridge
	// toward[a*n+b] is the port of a that leads to b; 0: unknown.
	toward  []IfIndex
	n       int
	unknown []int // by bridge: how many others lie in an unknown direction
	behind  []map[IfIndex]int
	seen    map[MAC][]sighted
}

type sighted struct {
	bridge int
	port   IfIndex
}

// implyRounds bounds the work on tables with many gaps: each round reaches one
// bridge further.
const implyRounds = 8

// newTopology finds, for each pair of bridges, the port that leads from one to
// the other: by LLDP, by the other's own address in the forwarding table, then
// by what those imply. The work grows with the rows, and with the square of the bridges.
func newTopology(bridges []bridge) *topology {
	n := len(bridges)
	t := &topology{bridges: bridges, n: n, toward: make([]IfIndex, n*n), unknown: make([]int, n),
		behind: make([]map[IfIndex]int, n), seen: map[MAC][]sighted{}}
	owner := map[MAC]int{}
	for b := range bridges {
		for _, m := range bridges[b].own {
			if o, taken := owner[m]; taken && o != b {
				owner[m] = -1 // two bridges claim it, so it points at neither
				continue
			}
			owner[m] = b
		}
	}
	for a := range bridges {
		for _, r := range bridges[a].rows {
			b, isBridge := owner[r.mac]
			switch {
			case !isBridge:
				t.seen[r.mac] = append(t.seen[r.mac], sighted{a, r.port})
			case b >= 0 && b != a:
				t.toward[a*n+b] = r.port
			}
		}
	}
	for a := range bridges {
		for _, port := range slices.Sorted(maps.Keys(bridges[a].direct)) {
			if b := bridges[a].direct[port]; b != a {
				t.toward[a*n+b] = port
			}
		}
	}
	t.imply()
	t.count()
	return t
}

// imply fills gaps: where c lies on port p of a, and a and b lie on different
// ports of c, b lies behind p too. Likewise an address that b has on a port
// not leading to a shows where b is as seen from a.
func (t *topology) imply() {
	t.count()
	if !slices.ContainsFunc(t.unknown, func(n int) bool { return n > 0 }) {
		return
	}
	t.implyByShared()
	for range implyRounds {
		changed := false
		for a := range t.n {
			for b := range t.n {
				if a == b || t.toward[a*t.n+b] != 0 {
					continue
				}
				if p := t.through(a, b); p != 0 {
					t.toward[a*t.n+b] = p
					changed = true
				}
			}
		}
		if !changed {
			return
		}
	}
}

func (t *topology) through(a, b int) IfIndex {
	for c := range t.n {
		p := t.toward[a*t.n+c]
		if p == 0 {
			continue
		}
		r, s := t.toward[c*t.n+a], t.toward[c*t.n+b]
		if r != 0 && s != 0 && r != s {
			return p
		}
	}
	return 0
}

func (t *topology) implyByShared() {
	for _, m := range slices.SortedFunc(maps.Keys(t.seen), MAC.Compare) {
		obs := t.seen[m]
		for _, x := range obs {
			if t.unknown[x.bridge] == 0 {
				continue
			}
			for _, y := range obs {
				if x.bridge == y.bridge || t.toward[x.bridge*t.n+y.bridge] != 0 {
					continue
				}
				// y knows where x is, and has the address elsewhere: from x, the
				// address lies beyond y.
				if back := t.toward[y.bridge*t.n+x.bridge]; back != 0 && back != y.port {
					t.toward[x.bridge*t.n+y.bridge] = x.port
				}
			}
		}
	}
}

func (t *topology) count() {
	clear(t.unknown)
	for a := range t.n {
		t.behind[a] = map[IfIndex]int{}
		for b := range t.n {
			switch p := t.toward[a*t.n+b]; {
			case a == b:
			case p == 0:
				t.unknown[a]++
			default:
				t.behind[a][p]++
			}
		}
	}
}

// leads reports whether the port leads to another bridge.
func (t *topology) leads(a int, p IfIndex) bool { return t.behind[a][p] > 0 }

// spots places every learned address that is not a bridge's own. An address that the data
// cannot place is left out.
func (t *topology) spots() map[MAC]spot {
	out := make(map[MAC]spot, len(t.seen))
	among := map[sighted]int{}
	for m, obs := range t.seen {
		s, ok := t.locate(obs)
		if !ok {
			continue
		}
		out[m] = s
		among[sighted{s.bridge, s.port}]++
	}
	for m, s := range out {
		s.among = among[sighted{s.bridge, s.port}]
		out[m] = s
	}
	return out
}

// locate decides where an address with these sightings hangs.
func (t *topology) locate(obs []sighted) (spot, bool) {
	var edge []sighted
	for _, o := range obs {
		if !t.leads(o.bridge, o.port) {
			edge = append(edge, o)
		}
	}
	switch {
	case len(edge) > 1:
		return spot{}, false // two ends of the tree at once: it moved, or the rows lie
	case len(edge) == 1:
		return t.atEdge(edge[0], obs)
	}
	return t.inside(obs)
}

// atEdge confirms a port without known bridges behind it: bridges in an unknown
// direction may yet stand there.
func (t *topology) atEdge(e sighted, obs []sighted) (spot, bool) {
	if !t.agrees(e, obs) {
		return spot{}, false
	}
	return spot{bridge: e.bridge, port: e.port, exact: t.unknown[e.bridge] == 0 || t.ruledOut(e, obs)}, true
}

// agrees reports whether all other sightings point towards e's bridge, where
// they know the way.
func (t *topology) agrees(e sighted, obs []sighted) bool {
	for _, o := range obs {
		if o.bridge == e.bridge {
			if o.port != e.port {
				return false
			}
			continue
		}
		if way := t.toward[o.bridge*t.n+e.bridge]; way != 0 && way != o.port {
			return false
		}
	}
	return true
}

// ruledOut reports whether each bridge in an unknown direction from e is known
// not to hold the address itself: it has the address towards e.
func (t *topology) ruledOut(e sighted, obs []sighted) bool {
	sees := map[int]IfIndex{}
	for _, o := range obs {
		sees[o.bridge] = o.port
	}
	for b := range t.n {
		if b == e.bridge || t.toward[e.bridge*t.n+b] != 0 {
			continue
		}
		way := t.toward[b*t.n+e.bridge]
		if p, ok := sees[b]; !ok || way == 0 || p != way {
			return false
		}
	}
	return true
}

// inside places an address that is seen on ports between bridges alone: on
// the stretch between them where all of them agree, else behind the port with
// the fewest bridges.
func (t *topology) inside(obs []sighted) (spot, bool) {
	if len(obs) == 0 {
		return spot{}, false
	}
	best := slices.MinFunc(obs, func(x, y sighted) int {
		return cmp.Or(cmp.Compare(t.behind[x.bridge][x.port], t.behind[y.bridge][y.port]), cmp.Compare(x.bridge, y.bridge), cmp.Compare(x.port, y.port))
	})
	sees := map[int]IfIndex{}
	for _, o := range obs {
		sees[o.bridge] = o.port
	}
	exact := t.unknown[best.bridge] == 0 && t.agrees(best, obs)
	for b := range t.n {
		if b == best.bridge || t.toward[best.bridge*t.n+b] != best.port {
			continue
		}
		if p, ok := sees[b]; !ok || p != t.toward[b*t.n+best.bridge] {
			exact = false
		}
	}
	return spot{bridge: best.bridge, port: best.port, exact: exact}, true
}

// parents hangs the bridges under the root: for each, the bridge above, the
// port there, and its own port that leads up; -1 where the data cannot tell.
func (t *topology) parents(root int) []hang {
	out := make([]hang, t.n)
	for b := range out {
		out[b] = t.parent(root, b)
		if h := &out[b]; h.parent >= 0 {
			h.exact = t.adjacent(h.parent, h.port, b)
		}
	}
	for b := range out { // bridges that share a port share an unmanaged switch
		for c := range out {
			if b != c && out[b].parent >= 0 && out[b].parent == out[c].parent && out[b].port == out[c].port {
				out[b].among++
			}
		}
	}
	return out
}

// hang is one bridge's place in the tree.
type hang struct {
	parent int
	port   IfIndex // of the parent
	own    IfIndex // of the child, towards the parent; 0: unknown
	among  int     // others on the same port of the parent
	exact  bool    // false: all that is known is that it lies somewhere behind that port
}

func (t *topology) parent(root, b int) hang {
	best := hang{parent: -1}
	if b == root {
		return best
	}
	least := t.n + 1
	up := t.toward[b*t.n+root]
	for a := range t.n {
		down := t.toward[a*t.n+b]
		if a == b || down == 0 {
			continue
		}
		if a != root {
			if t.toward[a*t.n+root] == down || t.toward[a*t.n+root] == 0 {
				continue // a has b and the root on one port: it is not on the way
			}
			if own := t.toward[b*t.n+a]; up != 0 && own != 0 && own != up {
				continue
			}
		}
		if size := t.behind[a][down]; size < least {
			least, best = size, hang{parent: a, port: down, own: cmp.Or(t.toward[b*t.n+a], up)}
		}
	}
	return best
}

// adjacent reports whether no other known bridge stands between port p of a and
// b, which lies behind it: LLDP says so, which no bridge hands on, or each other one is
// known to be off the way.
func (t *topology) adjacent(a int, p IfIndex, b int) bool {
	up := t.toward[b*t.n+a]
	if d, ok := t.bridges[a].direct[p]; ok && d == b {
		return true
	}
	if d, ok := t.bridges[b].direct[up]; ok && d == a {
		return true
	}
	for c := range t.n {
		if c != a && c != b && !t.offTheWay(c, a, p, b, up) {
			return false
		}
	}
	return true
}

// offTheWay reports whether c is known not to stand between port p of a and port
// up of b: on another port of either, or with both on one port of its own.
func (t *topology) offTheWay(c, a int, p IfIndex, b int, up IfIndex) bool {
	if way := t.toward[a*t.n+c]; way != 0 && way != p {
		return true
	}
	if way := t.toward[b*t.n+c]; way != 0 && up != 0 && way != up {
		return true
	}
	toA, toB := t.toward[c*t.n+a], t.toward[c*t.n+b]
	return toA != 0 && toA == toB
}
