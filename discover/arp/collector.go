package arp

import (
	"math/bits"
	"net/netip"
	"slices"
	"sync"
	"time"
)

// sender is what tells replies apart.
type sender struct {
	addr netip.Addr
	mac  [6]byte
}

// sighting is a Reply in the making. tries has a bit for each try answered.
type sighting struct {
	Reply
	tries uint8
}

// collector sorts frames into answers and hearsay within its bounds. Its
// methods may be called at once.
type collector struct {
	own       [6]byte // our frames, which a loop may bring back
	ignore    []netip.Prefix
	most      int            // bound on answers
	mostHeard int            // bound on the others
	each      func(Reply)    // told of each new sender; may be nil
	span      span           // the addresses that may be asked
	mu        sync.Mutex     //
	asked     []uint8        // by offset in span: how many requests went out
	owners    []uint8        // by offset in span: how many MACs answered
	answer    map[sender]int // index in answers
	other     map[sender]int // index in heard
	kept      []sighting     //
	heard     []sighting     //
	apart     map[sender]bool
	counts    Result // its counters only
}

func newCollector(s span, most int) *collector {
	return &collector{
		most:      most,
		mostHeard: mostHeard,
		span:      s,
		asked:     make([]uint8, s.size),
		owners:    make([]uint8, s.size),
		answer:    make(map[sender]int),
		other:     make(map[sender]int),
		apart:     make(map[sender]bool),
	}
}

// ask notes that a request for the address at offset i is about to be sent.
func (c *collector) ask(i int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.asked[i]++
	c.counts.Sent++
}

// unask takes ask back after the request could not be sent.
func (c *collector) unask(i int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.asked[i]--
	c.counts.Sent--
}

// macs returns how many MACs answered for the address at offset i.
func (c *collector) macs(i int) int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return int(c.owners[i])
}

// add takes one frame that came at now.
func (c *collector) add(frame []byte, now time.Time) {
	m, err := parse(frame)
	if r, fresh := c.note(m, err, now); fresh && c.each != nil {
		c.each(r)
	}
}

func (c *collector) note(m message, err error, now time.Time) (Reply, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if err != nil {
		c.counts.Malformed++
		return Reply{}, false
	}
	if m.mac == c.own {
		return Reply{}, false
	}
	if at, ignored := c.ignores(m); ignored {
		c.counts.Ignored++
		if len(c.apart) < mostHeard {
			c.apart[sender{at, m.mac}] = true
		}
		return Reply{}, false
	}
	if m.source != m.mac {
		c.counts.Mismatched++
	}
	key := sender{m.addr, m.mac}
	fresh := Reply{Addr: m.addr, MAC: m.mac, EthernetSource: m.source, Seen: now, Last: now}
	i, inside := c.span.offset(m.addr)
	if m.request || !inside || c.asked[i] == 0 {
		return fresh, c.keep(c.other, &c.heard, key, fresh, 0, c.mostHeard)
	}
	if _, known := c.answer[key]; !known && c.owners[i] >= mostMACs {
		c.counts.Overflow++
		return Reply{}, false
	}
	added := c.keep(c.answer, &c.kept, key, fresh, 1<<(c.asked[i]-1), c.most)
	if added {
		c.owners[i]++
	}
	return fresh, added
}

// ignores reports whether the sender is of a network that is not to be kept,
// and the address that tells so. A probe has no address yet; the one that it
// asks for tells its network.
func (c *collector) ignores(m message) (netip.Addr, bool) {
	addr := m.addr
	if !addr.IsValid() {
		addr = m.target
	}
	return addr, slices.ContainsFunc(c.ignore, func(p netip.Prefix) bool { return p.Contains(addr) })
}

// keep adds a sighting to list or brings the known one up to date, and reports
// whether it was added.
func (c *collector) keep(index map[sender]int, list *[]sighting, key sender, r Reply, try uint8, most int) bool {
	if i, known := index[key]; known {
		(*list)[i].Last = r.Seen
		(*list)[i].tries |= try
		return false
	}
	if len(*list) >= most {
		c.counts.Overflow++
		return false
	}
	index[key] = len(*list)
	*list = append(*list, sighting{Reply: r, tries: try})
	return true
}

// result returns the counters and what was kept, in order.
func (c *collector) result() Result {
	c.mu.Lock()
	defer c.mu.Unlock()
	r := c.counts
	r.Replies = ordered(c.kept)
	r.Heard = ordered(c.heard)
	var apart []sighting
	for s := range c.apart {
		apart = append(apart, sighting{Reply: Reply{Addr: s.addr, MAC: s.mac}})
	}
	r.Apart = ordered(apart)
	for i, n := range c.asked {
		if n == 0 && !c.span.left[i] {
			r.NotAsked = append(r.NotAsked, c.span.addr(i))
		}
	}
	return r
}

func ordered(list []sighting) []Reply {
	out := make([]Reply, len(list))
	for i, s := range list {
		out[i] = s.Reply
		out[i].Tries = bits.OnesCount8(s.tries)
	}
	slices.SortFunc(out, func(a, b Reply) int {
		if c := a.Addr.Compare(b.Addr); c != 0 {
			return c
		}
		return slices.Compare(a.MAC[:], b.MAC[:])
	})
	return out
}
