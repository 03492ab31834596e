package arp

import (
	"encoding/binary"
	"net/netip"
	"reflect"
	"runtime"
	"strings"
	"testing"
	"time"
)

var (
	start = time.Date(2026, 3, 2, 14, 0, 0, 0, time.UTC)
	mac11 = [6]byte{0, 0, 0x5e, 0, 0x53, 0x11}
	mac12 = [6]byte{0, 0, 0x5e, 0, 0x53, 0x12}
	mac31 = [6]byte{0, 0, 0x5e, 0, 0x53, 0x31}
)

func site(t testing.TB) span {
	t.Helper()
	s, err := newSpan(netip.MustParsePrefix("192.0.2.0/24"))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// FC-17: both senders of one address are kept, with the tries they answered.
func TestTwoDevicesWithOneAddress(t *testing.T) {
	s := site(t)
	c := newCollector(s, 100)
	i, _ := s.offset(netip.MustParseAddr("192.0.2.64"))
	at := func(ms int) time.Time { return start.Add(time.Duration(ms) * time.Millisecond) }
	c.ask(i)
	c.add(padded(t, replyFrom11), at(1))
	c.add(padded(t, replyFrom12), at(41))
	c.ask(i)
	c.add(padded(t, replyFrom11), at(1002))
	got := c.result()
	addr := netip.MustParseAddr("192.0.2.64")
	want := []Reply{
		{Addr: addr, MAC: mac11, EthernetSource: mac11, Seen: at(1), Last: at(1002), Tries: 2},
		{Addr: addr, MAC: mac12, EthernetSource: mac12, Seen: at(41), Last: at(41), Tries: 1},
	}
	if !reflect.DeepEqual(got.Replies, want) {
		t.Errorf("got  %+v\nwant %+v", got.Replies, want)
	}
	if c.macs(i) != 2 || len(got.Heard) != 0 || got.Sent != 2 {
		t.Errorf("%d MACs, %d heard, %d sent; want 2, 0, 2", c.macs(i), len(got.Heard), got.Sent)
	}
}

// FC-19: good, protocol length 6, cut, good: both devices, two counted errors.
func TestMalformedFramesAreCounted(t *testing.T) {
	s := site(t)
	c := newCollector(s, 100)
	i, _ := s.offset(netip.MustParseAddr("192.0.2.64"))
	c.ask(i)
	for _, frame := range [][]byte{padded(t, replyFrom11), padded(t, protocolLen6), unhex(t, replyFrom11)[:34], padded(t, replyFrom12)} {
		c.add(frame, start)
	}
	got := c.result()
	if len(got.Replies) != 2 || got.Malformed != 2 {
		t.Errorf("%d replies, %d malformed; want 2 and 2", len(got.Replies), got.Malformed)
	}
}

// FC-20: what was not asked for is heard, with its address outside the
// network; a probe leaves its MAC and no address.
func TestHeardUnasked(t *testing.T) {
	c := newCollector(site(t), 100)
	var told []Reply
	c.each = func(r Reply) { told = append(told, r) }
	c.add(padded(t, requestFrom31), start)
	c.add(padded(t, probeFrom31), start)
	c.add(padded(t, probeFrom31), start.Add(time.Second))
	c.add(padded(t, replyFrom11), start) // gratuitous: nobody asked
	got := c.result()
	want := []Reply{
		{MAC: mac31, EthernetSource: mac31, Seen: start, Last: start.Add(time.Second)},
		{Addr: netip.MustParseAddr("192.0.2.64"), MAC: mac11, EthernetSource: mac11, Seen: start, Last: start},
		{Addr: netip.MustParseAddr("198.51.100.108"), MAC: mac31, EthernetSource: mac31, Seen: start, Last: start},
	}
	if !reflect.DeepEqual(got.Heard, want) || len(got.Replies) != 0 {
		t.Errorf("got  %+v and %d replies\nwant %+v", got.Heard, len(got.Replies), want)
	}
	if len(told) != 3 {
		t.Errorf("told of %d senders, want each of 3 once", len(told))
	}
}

// Senders of ignored networks are kept apart, with the address that tells so,
// and nobody is told of them.
func TestIgnoredNetworksStandApart(t *testing.T) {
	c := newCollector(site(t), 100)
	c.ignore = []netip.Prefix{netip.MustParsePrefix("198.51.100.0/24")}
	c.each = func(r Reply) { t.Errorf("told of %+v", r) }
	c.add(padded(t, requestFrom31), start)
	c.add(padded(t, probeFrom31), start) // asks for an address there
	got := c.result()
	if len(got.Heard) != 0 || got.Ignored != 2 {
		t.Errorf("%d heard, %d ignored; want 0 and 2", len(got.Heard), got.Ignored)
	}
	for _, r := range got.Apart {
		if r.MAC != mac31 || !c.ignore[0].Contains(r.Addr) {
			t.Errorf("apart: %+v", r)
		}
	}
	if len(got.Apart) == 0 {
		t.Error("nobody stands apart")
	}
}

func TestMismatchedSource(t *testing.T) {
	c := newCollector(site(t), 100)
	frame := padded(t, replyFrom11)
	copy(frame[6:12], mac12[:])
	c.add(frame, start)
	got := c.result()
	if got.Mismatched != 1 || got.Heard[0].EthernetSource != mac12 || got.Heard[0].MAC != mac11 {
		t.Errorf("got %+v, want one mismatch with both MACs", got)
	}
}

// Our own frame, brought back by a loop, is no other device.
func TestOwnFrames(t *testing.T) {
	c := newCollector(site(t), 100)
	c.own = mac11
	c.add(padded(t, replyFrom11), start)
	if got := c.result(); len(got.Heard) != 0 {
		t.Errorf("heard %+v", got.Heard)
	}
}

// A flood of 100,000 invented MACs is capped and said, keeps no memory, and
// does not crowd out the answer that was asked for.
func TestFlood(t *testing.T) {
	s := site(t)
	c := newCollector(s, 2*s.size)
	asked, _ := s.offset(netip.MustParseAddr("192.0.2.64"))
	c.ask(asked)
	frame := padded(t, replyFrom12)
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	for i := range uint32(100_000) {
		mac := binary.BigEndian.AppendUint32([]byte{2, 0}, i)
		copy(frame[6:12], mac)
		copy(frame[22:28], mac)
		frame[31] = byte(65 + i%2) // half of them for an address next to the asked one
		if i%4 == 0 {
			frame[31] = 64 // a quarter for the asked one
		}
		c.add(frame, start)
	}
	runtime.GC()
	runtime.ReadMemStats(&after)
	got := c.result()
	if len(got.Replies) != mostMACs || len(got.Heard) != mostHeard || got.Overflow != 100_000-mostMACs-mostHeard {
		t.Errorf("%d replies, %d heard, %d overflow", len(got.Replies), len(got.Heard), got.Overflow)
	}
	if !strings.Contains(got.shortcoming(), "too many senders") {
		t.Errorf("shortcoming is %q", got.shortcoming())
	}
	if grown := int64(after.HeapAlloc) - int64(before.HeapAlloc); grown > 4<<20 {
		t.Errorf("the flood holds %d bytes, want at most 4 MiB", grown)
	}
	// The next address, asked later, is still heard.
	other, _ := s.offset(netip.MustParseAddr("192.0.2.70"))
	c.ask(other)
	frame = padded(t, replyFrom11)
	frame[31] = 70
	c.add(frame, start)
	if n := c.macs(other); n != 1 {
		t.Errorf("after the flood %d MACs answered for .70, want 1", n)
	}
}

func TestSpan(t *testing.T) {
	tests := map[string]struct {
		prefix, first, last string
		size                int
	}{
		"a /24 without network and broadcast": {"203.0.113.7/24", "203.0.113.1", "203.0.113.254", 254},
		"a /30":                               {"203.0.113.4/30", "203.0.113.5", "203.0.113.6", 2},
		"a /31 has no broadcast (RFC 3021)":   {"203.0.113.4/31", "203.0.113.4", "203.0.113.5", 2},
		"a /32":                               {"203.0.113.4/32", "203.0.113.4", "203.0.113.4", 1},
		"a /16":                               {"198.18.0.0/16", "198.18.0.1", "198.18.255.254", 65534},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			s, err := newSpan(netip.MustParsePrefix(test.prefix))
			if err != nil {
				t.Fatal(err)
			}
			if s.size != test.size || s.addr(0).String() != test.first || s.addr(s.size-1).String() != test.last {
				t.Errorf("got %d from %s to %s", s.size, s.addr(0), s.addr(s.size-1))
			}
			for i := range s.size {
				if j, ok := s.offset(s.addr(i)); !ok || i != j {
					t.Fatalf("offset of %s is %d %v, want %d", s.addr(i), j, ok, i)
				}
			}
			for _, outside := range []netip.Addr{s.addr(0).Prev(), s.addr(s.size - 1).Next(), {}, netip.MustParseAddr("2001:db8::1")} {
				if _, ok := s.offset(outside); ok {
					t.Errorf("%s is in the span", outside)
				}
			}
		})
	}
	for _, bad := range []string{"10.0.0.0/15", "2001:db8::/120"} {
		if _, err := newSpan(netip.MustParsePrefix(bad)); err == nil {
			t.Errorf("%s was taken", bad)
		}
	}
	if _, err := newSpan(netip.Prefix{}); err == nil {
		t.Error("the zero prefix was taken")
	}
}
