package ndp

import (
	"encoding/binary"
	"net/netip"
	"reflect"
	"slices"
	"testing"
	"time"

	"github.com/mdlayher/ndp"
	"golang.org/x/net/icmp"
	"golang.org/x/net/ipv6"
)

var (
	start  = time.Date(2026, 3, 2, 14, 0, 0, 0, time.UTC)
	camera = netip.MustParseAddr("2001:db8::31")
	local  = netip.MustParseAddr("fe80::200:5eff:fe00:5331")
	mac31  = [6]byte{0, 0, 0x5e, 0, 0x53, 0x31}
	mac32  = [6]byte{0, 0, 0x5e, 0, 0x53, 0x32}
)

// advertisement is a neighbour advertisement octet by octet, from RFC 4861,
// sections 4.4 and 4.6.1: solicited, override, with the target's MAC.
func advertisement(target netip.Addr, mac [6]byte) []byte {
	b := []byte{136, 0, 0, 0, 0x60, 0, 0, 0}
	b = append(b, target.AsSlice()...)
	b = append(b, 2, 1)
	return append(b, mac[:]...)
}

func echoReply(t testing.TB, id int) []byte {
	t.Helper()
	b, err := (&icmp.Message{Type: ipv6.ICMPTypeEchoReply, Body: &icmp.Echo{ID: id, Seq: 1}}).Marshal(nil)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func routerAdvertisement(t testing.TB) []byte {
	t.Helper()
	b, err := ndp.MarshalMessage(&ndp.RouterAdvertisement{
		ManagedConfiguration: true,
		RouterLifetime:       30 * time.Minute,
		Options: []ndp.Option{
			&ndp.LinkLayerAddress{Direction: ndp.Source, Addr: mac31[:]},
			&ndp.PrefixInformation{PrefixLength: 64, OnLink: true, Prefix: netip.MustParseAddr("2001:db8::")},
			&ndp.RecursiveDNSServer{Lifetime: time.Hour, Servers: []netip.Addr{netip.MustParseAddr("2001:db8::1")}},
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

var heard = map[string]struct {
	feed func(t *testing.T, c *collector)
	want Result
}{
	"an advertisement": {
		func(t *testing.T, c *collector) { c.add(advertisement(camera, mac31), local, 255, start) },
		Result{Neighbors: []Neighbor{{Addr: camera, MAC: mac31, Seen: start}}},
	},
	"two MACs for one address are both kept": {
		func(t *testing.T, c *collector) {
			c.add(advertisement(camera, mac32), local, 255, start)
			c.add(advertisement(camera, mac31), local, 255, start)
			c.add(advertisement(camera, mac31), local, 255, start.Add(time.Second))
		},
		Result{Neighbors: []Neighbor{{Addr: camera, MAC: mac31, Seen: start}, {Addr: camera, MAC: mac32, Seen: start}}},
	},
	"a pong alone has no MAC": {
		func(t *testing.T, c *collector) { c.add(echoReply(t, 7), local.WithZone("eth0"), 64, start) },
		Result{Neighbors: []Neighbor{{Addr: local, Seen: start}}},
	},
	"the MAC comes later": {
		func(t *testing.T, c *collector) {
			c.add(echoReply(t, 7), local, 64, start)
			c.add(advertisement(local, mac31), local, 255, start)
			c.add(echoReply(t, 7), local, 64, start)
		},
		Result{Neighbors: []Neighbor{{Addr: local, MAC: mac31, Seen: start}}},
	},
	"a pong for somebody else": {func(t *testing.T, c *collector) { c.add(echoReply(t, 8), local, 64, start) }, Result{}},
	"from beyond the link": {
		func(t *testing.T, c *collector) { c.add(advertisement(camera, mac31), local, 254, start) },
		Result{Malformed: 1},
	},
	"cut": {
		func(t *testing.T, c *collector) { c.add(advertisement(camera, mac31)[:20], local, 255, start) },
		Result{Malformed: 1},
	},
	"an option of length zero": {
		func(t *testing.T, c *collector) {
			b := advertisement(camera, mac31)
			b[25] = 0
			c.add(b, local, 255, start)
		},
		Result{Malformed: 1},
	},
	"a host that checks its own address has none yet": {
		func(t *testing.T, c *collector) {
			b, err := ndp.MarshalMessage(&ndp.NeighborSolicitation{TargetAddress: camera})
			if err != nil {
				t.Fatal(err)
			}
			c.add(b, netip.IPv6Unspecified(), 255, start)
		},
		Result{},
	},
	"a router": {
		func(t *testing.T, c *collector) { c.add(routerAdvertisement(t), local, 255, start) },
		Result{
			Neighbors: []Neighbor{{Addr: local, MAC: mac31, Router: true, Seen: start}},
			Routers: []Router{{Addr: local, MAC: mac31, Lifetime: 30 * time.Minute, Managed: true, Seen: start,
				Prefixes: []netip.Prefix{netip.MustParsePrefix("2001:db8::/64")}, DNS: []netip.Addr{netip.MustParseAddr("2001:db8::1")}}},
		},
	},
	"a router that is not link-local (RFC 4861, 6.1.2)": {
		func(t *testing.T, c *collector) { c.add(routerAdvertisement(t), camera, 255, start) },
		Result{Malformed: 1},
	},
}

func TestCollector(t *testing.T) {
	for name, test := range heard {
		t.Run(name, func(t *testing.T) {
			c := newCollector(7, 100, []netip.Addr{netip.MustParseAddr("fe80::1")})
			test.feed(t, c)
			got := c.result()
			if len(got.Neighbors) == 0 {
				got.Neighbors = nil
			}
			if len(got.Routers) == 0 {
				got.Routers = nil
			}
			if !reflect.DeepEqual(got, test.want) {
				t.Errorf("got  %+v\nwant %+v", got, test.want)
			}
		})
	}
}

// Neighbours in networks that are to be ignored stand apart, with their MACs;
// which of their link-local addresses is the same device is for the caller to tell.
func TestIgnoredNetworksStandApart(t *testing.T) {
	c := newCollector(7, 100, nil)
	c.ignore = []netip.Prefix{netip.MustParsePrefix("2001:db8::/64")}
	c.add(advertisement(camera, mac31), local, 255, start)
	c.add(advertisement(local, mac31), local, 255, start)
	got := c.result()
	if want := []Neighbor{{Addr: camera, MAC: mac31, Seen: start}}; !reflect.DeepEqual(got.Apart, want) {
		t.Errorf("apart: %+v, want %+v", got.Apart, want)
	}
	if want := []Neighbor{{Addr: local, MAC: mac31, Seen: start}}; !reflect.DeepEqual(got.Neighbors, want) {
		t.Errorf("kept: %+v, want %+v", got.Neighbors, want)
	}
}

func TestFlood(t *testing.T) {
	c := newCollector(7, 500, nil)
	for i := range uint32(100_000) {
		mac := [6]byte(append([]byte{2, 0}, binary.BigEndian.AppendUint32(nil, i)...))
		target := camera.As16()
		copy(target[8:], mac[2:])
		if i%2 == 0 {
			target = camera.As16()
		}
		c.add(advertisement(netip.AddrFrom16(target), mac), local, 255, start)
	}
	got := c.result()
	if len(got.Neighbors) != 500 || got.Overflow != 100_000-500 {
		t.Errorf("%d neighbours, %d overflow; want 500 and the rest", len(got.Neighbors), got.Overflow)
	}
	own := 0
	for _, n := range got.Neighbors {
		if n.Addr == camera {
			own++
		}
	}
	if own != mostMACs {
		t.Errorf("%d MACs for one address, want %d", own, mostMACs)
	}
	if end, why := got.ending(nil); end != "partial" || why == "" {
		t.Errorf("ended %q %q, want partial and a reason", end, why)
	}
}

func TestUnresolved(t *testing.T) {
	c := newCollector(7, 100, []netip.Addr{netip.MustParseAddr("2001:db8::5")})
	c.add(echoReply(t, 7), local, 64, start)
	c.add(advertisement(camera, mac31), camera, 255, start)
	got := c.unresolved([]netip.Addr{
		camera, // known
		local,  // in doubt already
		netip.MustParseAddr("2001:db8::40"),
		netip.MustParseAddr("2001:db8::5"), // our own
		netip.MustParseAddr("203.0.113.1"),
		netip.MustParseAddr("ff02::1"),
		{},
	})
	want := []netip.Addr{netip.MustParseAddr("2001:db8::40"), local}
	if !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

func FuzzAdd(f *testing.F) {
	f.Add(advertisement(camera, mac31), uint8(255))
	f.Add(routerAdvertisement(f), uint8(255))
	f.Add(echoReply(f, 7), uint8(64))
	f.Add([]byte{134}, uint8(255))
	f.Fuzz(func(t *testing.T, b []byte, hops uint8) {
		c := newCollector(7, 10, nil)
		for range 2 {
			c.add(b, local, int(hops), start)
		}
		r := c.result()
		for _, n := range r.Neighbors {
			if !n.Addr.Is6() || n.Addr.IsMulticast() || n.MAC[0]&1 != 0 {
				t.Errorf("kept %+v", n)
			}
		}
		for _, n := range r.Routers {
			if len(n.Prefixes) > mostList || len(n.DNS) > mostList {
				t.Errorf("kept %d prefixes, %d servers", len(n.Prefixes), len(n.DNS))
			}
		}
	})
}
