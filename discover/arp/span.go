package arp

import (
	"encoding/binary"
	"fmt"
	"net/netip"
)

// span is the row of addresses that a prefix has for hosts.
type span struct {
	first uint32
	size  int
	left  []bool // by offset: not to be asked
}

// newSpan returns the hosts of p. Network and broadcast address are left out,
// except in a /31 (RFC 3021) and a /32, which have none.
func newSpan(p netip.Prefix) (span, error) {
	if !p.IsValid() || !p.Addr().Is4() {
		return span{}, fmt.Errorf("sweep %s: want an IPv4 prefix", p)
	}
	if p.Bits() < largestPrefix {
		return span{}, fmt.Errorf("sweep %s: larger than a /%d", p, largestPrefix)
	}
	base := p.Masked().Addr().As4()
	s := span{first: binary.BigEndian.Uint32(base[:]), size: 1 << (32 - p.Bits())}
	if p.Bits() < 31 {
		s.first++
		s.size -= 2
	}
	s.left = make([]bool, s.size)
	return s, nil
}

// leave marks addresses that are not to be asked.
func (s span) leave(addrs ...netip.Addr) {
	for _, a := range addrs {
		if i, ok := s.offset(a); ok {
			s.left[i] = true
		}
	}
}

func (s span) addr(i int) netip.Addr {
	return netip.AddrFrom4([4]byte(binary.BigEndian.AppendUint32(nil, s.first+uint32(i))))
}

// offset returns where a stands in s. The zero Addr stands nowhere.
func (s span) offset(a netip.Addr) (int, bool) {
	if !a.Is4() {
		return 0, false
	}
	b := a.As4()
	i := int64(binary.BigEndian.Uint32(b[:])) - int64(s.first)
	return int(i), i >= 0 && i < int64(s.size)
}

// offsets returns where those of addrs stand that are in s and not left out.
func (s span) offsets(addrs []netip.Addr) map[int]bool {
	set := make(map[int]bool)
	for _, a := range addrs {
		if i, ok := s.offset(a); ok && !s.left[i] {
			set[i] = true
		}
	}
	return set
}
