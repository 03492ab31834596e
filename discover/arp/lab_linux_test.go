package arp_test

import (
	"context"
	"encoding/binary"
	"fmt"
	"net"
	"net/netip"
	"sync"
	"testing"

	"github.com/mdlayher/ethernet"
	"github.com/mdlayher/packet"

	"boundwalk/deploy/lab/netns"
	"boundwalk/discover/arp"
)

const (
	auditor  = "203.0.113.5" // the sweeping host's address
	ethARP   = 0x0806
	opReply  = 2
	devices  = 0x11 // the last octet of the first scripted MAC
	gatewayM = "00:00:5e:00:53:fe"
)

var network = netip.MustParsePrefix("203.0.113.0/24")

// cable connects a sweeping namespace (interface eth0, 203.0.113.5/24) with
// the namespace of its peers (interface eth0, no address).
func cable(t *testing.T) (near, far *netns.Namespace) {
	t.Helper()
	near, far = netns.New(t), netns.New(t)
	netns.Veth(near, "eth0", far, "eth0")
	near.MAC("eth0", gatewayM)
	near.Address("eth0", netip.MustParsePrefix(auditor+"/24"))
	return near, far
}

// sweep runs Sweep inside a namespace.
func sweep(t *testing.T, ctx context.Context, in *netns.Namespace, opts arp.Options) (arp.Result, error) {
	t.Helper()
	var r arp.Result
	var err error
	in.Do(func() { r, err = arp.Sweep(ctx, "eth0", opts) })
	return r, err
}

// station is a raw socket on eth0 of a namespace that counts the requests it
// sees and answers them as a script says.
type station struct {
	conn *packet.Conn
	mu   sync.Mutex
	asks map[netip.Addr]int
	from map[netip.Addr]int // by sender address
}

// newStation answers each request with the frames that script returns for the
// target and the number of the request for it. A nil script is silent.
func newStation(t *testing.T, in *netns.Namespace, script func(target netip.Addr, ask int) [][]byte) *station {
	t.Helper()
	s := &station{asks: make(map[netip.Addr]int), from: make(map[netip.Addr]int)}
	var err error
	in.Do(func() {
		var ifi *net.Interface
		if ifi, err = net.InterfaceByName("eth0"); err == nil {
			s.conn, err = packet.Listen(ifi, packet.Raw, ethARP, nil)
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	ended := make(chan struct{})
	t.Cleanup(func() { s.conn.Close(); <-ended })
	go func() {
		defer close(ended)
		buf := make([]byte, 256)
		for {
			n, _, err := s.conn.ReadFrom(buf)
			if err != nil {
				return
			}
			if n < 42 || buf[21] != 1 {
				continue
			}
			target := netip.AddrFrom4([4]byte(buf[38:42]))
			s.mu.Lock()
			s.asks[target]++
			s.from[netip.AddrFrom4([4]byte(buf[28:32]))]++
			ask := s.asks[target]
			s.mu.Unlock()
			if script == nil {
				continue
			}
			for _, frame := range script(target, ask) {
				s.send(frame)
			}
		}
	}()
	return s
}

func (s *station) send(frame []byte) {
	s.conn.WriteTo(frame, &packet.Addr{HardwareAddr: ethernet.Broadcast}) //nolint:errcheck // a test misses its frame then
}

func (s *station) asked(addr string) int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.asks[netip.MustParseAddr(addr)]
}

func mac(last byte) [6]byte { return [6]byte{0, 0, 0x5e, 0, 0x53, last} }

// frame is an ARP packet by RFC 826, written out here apart from the code
// under test, padded to 60 octets.
func frame(op uint16, sender [6]byte, addr netip.Addr) []byte {
	b := append(make([]byte, 0, 60), ethernet.Broadcast...)
	b = append(b, sender[:]...)
	b = append(b, 0x08, 0x06, 0, 1, 8, 0, 6, 4)
	b = binary.BigEndian.AppendUint16(b, op)
	b = append(b, sender[:]...)
	ip := addr.As4()
	b = append(b, ip[:]...)
	b = append(b, make([]byte, 10)...)
	return append(b, make([]byte, 60-len(b))...)
}

// show is a reply in short: address, last octet of the MAC, tries.
func show(list []arp.Reply) []string {
	out := make([]string, len(list))
	for i, r := range list {
		out[i] = fmt.Sprintf("%s -%02x %d", r.Addr, r.MAC[5], r.Tries)
	}
	return out
}
