// Package wsd finds cameras by WS-Discovery and other devices by SSDP, on an
// attached IPv4 link.
//
// Cameras speak the April 2005 form of WS-Discovery, and that is what Probe
// sends. A camera may be set not to be found and must then stay silent, and
// switches may hold multicast back: no answer is no absence. All texts are as
// the devices sent them, not cleaned; lengths and counts are bounded.
package wsd

import (
	"cmp"
	"context"
	"fmt"
	"net/netip"
	"slices"
	"time"
)

// A Camera is what one ProbeMatch says. It need not be a camera if other types
// were asked for.
type Camera struct {
	// Endpoint is the device's lasting identity, mostly "urn:uuid:…".
	Endpoint string

	Types  []string // without their prefixes, such as "NetworkVideoTransmitter"
	Scopes []string
	XAddrs []string // its services' URLs; may hold a stale or factory address

	// Name, Hardware, Location and MAC are from the ONVIF scopes, decoded;
	// empty where there is none.
	Name, Hardware, Location, MAC string

	// From is where the answer came from: the fact to trust.
	From netip.Addr
	Seen time.Time
}

// Options say how to ask. The zero value works.
type Options struct {
	// Ignore lists networks whose answers are counted but not kept.
	Ignore []netip.Prefix

	// Window is how long to listen after the last packet. Zero means 4 s.
	Window time.Duration

	// Most bounds the devices kept; zero means 512.
	Most int
}

// Counts are what both kinds of search count, and how they ended.
type Counts struct {
	Sent      int // packets
	Malformed int // datagrams that are no answer
	Unrelated int // answers to somebody else's question
	Foreign   int // datagrams from outside the link's networks
	Ignored   int // datagrams of Options.Ignore
	Overflow  int // answers not kept since a bound was reached

	// End is complete, no-answer, partial (stopped, or a bound reached) or
	// skipped (no IPv4 there).
	End string
	Why string // says more, unless End is complete
}

// A ProbeResult is what a Probe found. The caller owns it.
type ProbeResult struct {
	Cameras []Camera // by From, then Endpoint
	Counts
}

const (
	defaultWindow = 4 * time.Second
	defaultMost   = 512
	mostOfOne     = 16   // devices kept of one address
	mostList      = 32   // types, scopes or URLs of one device
	longestText   = 1024 // octets of each
)

// cameraType is the ONVIF type of a camera, whose prefix the probe declares.
const cameraType = "dn:NetworkVideoTransmitter"

var probeGroup = netip.MustParseAddrPort("239.255.255.250:3702")

// Probe asks cameras on the interface named iface to name themselves. It
// returns within a second after ctx ended.
func Probe(ctx context.Context, iface string, opts Options) ProbeResult {
	return probe(ctx, iface, cameraType, opts)
}

func probe(ctx context.Context, iface, types string, opts Options) ProbeResult {
	id, packet := newProbe(types)
	found := make(map[identity]Camera)
	kept := bounds{most: cmp.Or(opts.Most, defaultMost)}
	// The datagram is repeated as SOAP over UDP has it; from memory.
	counts := exchange(ctx, iface, question{group: probeGroup, ttl: 1, packet: packet, gaps: []time.Duration{100 * time.Millisecond}}, opts,
		func(b []byte, from netip.Addr, now time.Time) error {
			cameras, err := parseMatches(b, id)
			for _, c := range cameras {
				key := identity{from, c.Endpoint}
				if _, known := found[key]; !known && !kept.take(from) {
					continue
				}
				c.From, c.Seen = from, now
				found[key] = c
			}
			return err
		})
	counts.finish(len(found), kept.overflow)
	r := ProbeResult{Counts: counts}
	for _, c := range found {
		r.Cameras = append(r.Cameras, c)
	}
	slices.SortFunc(r.Cameras, func(a, b Camera) int {
		return cmp.Or(a.From.Compare(b.From), cmp.Compare(a.Endpoint, b.Endpoint))
	})
	return r
}

// identity tells devices apart.
type identity struct {
	from netip.Addr
	name string
}

// bounds keeps one address from taking all the room.
type bounds struct {
	most, total, overflow int
	of                    map[netip.Addr]int
}

func (b *bounds) take(from netip.Addr) bool {
	if b.of == nil {
		b.of = make(map[netip.Addr]int)
	}
	if b.total >= b.most || b.of[from] >= mostOfOne {
		b.overflow++
		return false
	}
	b.total++
	b.of[from]++
	return true
}

func (c *Counts) finish(found, overflow int) {
	c.Overflow = overflow
	switch {
	case c.End != "":
	case overflow > 0:
		c.End, c.Why = "partial", fmt.Sprintf("too many answers: %d beyond the bounds were not kept", overflow)
	case found == 0:
		c.End, c.Why = "no-answer", "no device answered"
	default:
		c.End = "complete"
	}
}
