package lease

import (
	"errors"
	"fmt"
	"net"
	"net/netip"
	"slices"
	"time"

	"github.com/insomniacslk/dhcp/dhcpv4"
	"golang.org/x/net/bpf"
	"golang.org/x/net/ipv4"
)

// An Offer is what one DHCP server would give (RFC 2131). It was not taken.
type Offer struct {
	Server netip.Addr // server identifier, option 54; else the sender's address
	MAC    [6]byte    // of the frame: the server, or a relay on this link
	Addr   netip.Addr // offered
	Prefix netip.Prefix
	Router []netip.Addr  // option 3
	DNS    []netip.Addr  // option 6
	Domain string        // option 15
	Time   time.Duration // option 51; zero: not told
	Seen   time.Time
}

// DiscoverOptions say how to ask. The zero value works.
type DiscoverOptions struct {
	// Window is how long to wait for offers; zero means 6 s, since servers
	// ping an address for some seconds before they offer it.
	Window time.Duration
}

// A DiscoverResult is which servers answered. The caller owns it.
type DiscoverResult struct {
	Offers    []Offer // by MAC, then Server
	Sent      int     // discovers: 1, or 0
	Malformed int     // datagrams that are no offer to us
	Overflow  int     // offers beyond 16

	// End is complete, no-answer, partial (stopped, or a bound reached),
	// refused (no right to open a raw socket) or skipped (no such interface).
	End string
	Why string // says more, unless End is complete
}

const (
	defaultWindow = 6 * time.Second
	mostOffers    = 16
	mostAddrs     = 8 // routers or name servers of one offer
	serverPort    = 67
	clientPort    = 68
	etherIPv4     = 0x0800
	clientID      = "boundwalk" // behind the type octet 0, RFC 2132, section 9.14
)

// offerFilter lets UDP to the client port pass, so that a busy link's other
// traffic is not copied to us.
func offerFilter() []bpf.Instruction {
	return []bpf.Instruction{
		bpf.LoadAbsolute{Off: 9, Size: 1}, // protocol
		bpf.JumpIf{Cond: bpf.JumpNotEqual, Val: 17, SkipTrue: 5},
		bpf.LoadAbsolute{Off: 6, Size: 2}, // fragment offset
		bpf.JumpIf{Cond: bpf.JumpBitsSet, Val: 0x1fff, SkipTrue: 3},
		bpf.LoadMemShift{Off: 0},                 // header length
		bpf.LoadIndirect{Off: 2, Size: 2},        // destination port
		bpf.JumpIf{Val: clientPort, SkipTrue: 1}, // JumpEqual
		bpf.RetConstant{Val: 0},
		bpf.RetConstant{Val: 1 << 16},
	}
}

// parseOffer decodes an IPv4 packet with an offer that answers discover.
func parseOffer(b []byte, discover *dhcpv4.DHCPv4) (Offer, error) {
	h, err := ipv4.ParseHeader(b)
	if err != nil {
		return Offer{}, fmt.Errorf("DHCP offer: %w", err)
	}
	if h.Version != 4 || h.Protocol != 17 || h.Len < ipv4.HeaderLen || len(b) < h.Len+8 {
		return Offer{}, errors.New("DHCP offer: no whole UDP datagram")
	}
	m, err := dhcpv4.FromBytes(b[h.Len+8:])
	if err != nil {
		return Offer{}, fmt.Errorf("DHCP offer: %w", err)
	}
	if m.OpCode != dhcpv4.OpcodeBootReply || m.MessageType() != dhcpv4.MessageTypeOffer ||
		m.TransactionID != discover.TransactionID || !slices.Equal(m.ClientHWAddr, discover.ClientHWAddr) {
		return Offer{}, errors.New("DHCP offer: not an answer to ours")
	}
	o := Offer{
		Addr:   addr(m.YourIPAddr),
		Server: addr(m.ServerIdentifier()),
		Router: addrs(m.Router()),
		DNS:    addrs(m.DNS()),
		Domain: m.DomainName(),
		Time:   m.IPAddressLeaseTime(0),
	}
	if !o.Addr.IsValid() || o.Addr.IsUnspecified() {
		return Offer{}, errors.New("DHCP offer: offers no address")
	}
	if !o.Server.IsValid() {
		o.Server = addr(h.Src)
	}
	o.Domain = o.Domain[:min(len(o.Domain), longestName)]
	if ones, bits := m.SubnetMask().Size(); bits == 32 {
		o.Prefix = netip.PrefixFrom(o.Addr, ones).Masked()
	}
	return o, nil
}

func addr(ip net.IP) netip.Addr {
	a, _ := netip.AddrFromSlice(ip.To4())
	return a
}

func addrs(list []net.IP) []netip.Addr {
	var out []netip.Addr
	for _, ip := range list[:min(len(list), mostAddrs)] {
		if a := addr(ip); a.IsValid() {
			out = append(out, a)
		}
	}
	return out
}
