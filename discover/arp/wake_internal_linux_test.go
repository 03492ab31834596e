package arp

import (
	"net/netip"
	"testing"
)

// The kernel's table bounds whom a datagram may wake; those to be left alone
// are never sent one. All others are named as not asked.
func TestToWake(t *testing.T) {
	s := site(t)
	s.leave(netip.MustParseAddr("192.0.2.1"))
	alone := s.offsets([]netip.Addr{netip.MustParseAddr("192.0.2.3")})
	targets, not := toWake(s, alone, 100)
	if len(targets) != 100 || targets[0].String() != "192.0.2.2" || targets[1].String() != "192.0.2.4" {
		t.Errorf("targets are %d from %v, want 100 without .1 and .3", len(targets), targets[:2])
	}
	if len(not) != 253-100 || not[0].String() != "192.0.2.3" {
		t.Errorf("%d not asked from %v, want 153 from .3", len(not), not[:1])
	}
}
