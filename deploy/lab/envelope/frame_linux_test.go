package envelope

import (
	"encoding/binary"
	"fmt"
	"net/netip"
	"time"

	"golang.org/x/net/ipv4"
	"golang.org/x/net/ipv6"
)

// A frame is one that was sent, taken apart as far as the rules ask.
type frame struct {
	at    time.Time
	iface string
	raw   []byte // the whole of it

	arp      uint16     // operation by RFC 826; 0: no ARP
	mac      [6]byte    // the sender's by ARP
	src, dst netip.Addr // by ARP the sender's and the target's, else by IP; zero: neither
	proto    int        // of IP
	icmp     int        // type of ICMPv6
	sport    uint16     // of UDP and TCP
	dport    uint16
	payload  []byte // of UDP, TCP and both ICMP
}

// Numbers of the protocols.
const (
	request, reply             = 1, 2 // RFC 826
	icmp4, igmp, tcp, udp      = 1, 2, 6, 17
	hopByHop, icmp6            = 0, 58
	echo6                      = 128           // RFC 4443
	routerSolicit              = 133           // RFC 4861
	solicit, advertise, report = 135, 136, 143 // RFC 4861; RFC 3810, version 2 report
	etherARP, etherV4, etherV6 = 0x806, 0x800, 0x86dd
)

// sweepFrame is the length of a request that the program made itself: it is padded
// to the least that Ethernet has. The kernel's, for an address to which somebody
// sends, is not.
const sweepFrame = 60

func (f frame) swept() bool { return f.arp == request && len(f.raw) == sweepFrame }

func kernelRequest(f frame) bool { return f.arp == request && !f.swept() }

// discard is the port that needs no answer (RFC 863).
const discard = 9

func (f frame) String() string {
	what := fmt.Sprintf("protocol %d", f.proto)
	switch {
	case f.arp == request:
		what = "ARP request"
	case f.arp != 0:
		what = fmt.Sprintf("ARP operation %d", f.arp)
	case f.icmp != 0:
		what = fmt.Sprintf("ICMPv6 type %d", f.icmp)
	case f.proto == udp || f.proto == tcp:
		what = fmt.Sprintf("protocol %d from port %d to %d", f.proto, f.sport, f.dport)
	}
	return fmt.Sprintf("%s on %s: %s, %s to %s, %d bytes", f.at.Format("15:04:05.000"), f.iface, what, f.src, f.dst, len(f.raw))
}

// decode takes an Ethernet frame apart. What it does not know stays zero, which no
// rule allows.
func decode(iface string, b []byte) frame {
	f := frame{iface: iface, raw: append([]byte(nil), b...), proto: -1}
	if len(b) < 14 {
		return f
	}
	body := f.raw[14:]
	switch binary.BigEndian.Uint16(b[12:]) {
	case etherARP:
		if len(body) >= 28 {
			f.arp = binary.BigEndian.Uint16(body[6:])
			f.mac = [6]byte(body[8:14])
			f.src, f.dst = netip.AddrFrom4([4]byte(body[14:18])), netip.AddrFrom4([4]byte(body[24:28]))
		}
	case etherV4:
		h, err := ipv4.ParseHeader(body)
		if err != nil || len(body) < max(h.Len, h.TotalLen) {
			return f
		}
		f.src, _ = netip.AddrFromSlice(h.Src.To4())
		f.dst, _ = netip.AddrFromSlice(h.Dst.To4())
		f.transport(h.Protocol, body[h.Len:h.TotalLen])
	case etherV6:
		h, err := ipv6.ParseHeader(body)
		if err != nil || len(body) < ipv6.HeaderLen+h.PayloadLen {
			return f
		}
		f.src, _ = netip.AddrFromSlice(h.Src)
		f.dst, _ = netip.AddrFromSlice(h.Dst)
		f.v6(h.NextHeader, body[ipv6.HeaderLen:ipv6.HeaderLen+h.PayloadLen])
	}
	return f
}

// v6 steps over a hop-by-hop header, which multicast listener reports have.
func (f *frame) v6(next int, b []byte) {
	if next == hopByHop && len(b) >= 8 && len(b) >= 8+8*int(b[1]) {
		next, b = int(b[0]), b[8+8*int(b[1]):]
	}
	if next == icmp6 && len(b) >= 4 {
		f.proto, f.icmp, f.payload = icmp6, int(b[0]), b
		return
	}
	f.transport(next, b)
}

func (f *frame) transport(proto int, b []byte) {
	f.proto = proto
	if proto == icmp4 {
		f.payload = b
		return
	}
	header := 8
	if proto == tcp && len(b) >= 20 {
		header = int(b[12]>>4) * 4
	}
	if (proto == udp || proto == tcp) && len(b) >= max(8, header) {
		f.sport, f.dport, f.payload = binary.BigEndian.Uint16(b), binary.BigEndian.Uint16(b[2:]), b[header:]
	}
}

// lateAnswer reports whether the kernel tells an agent that nobody waited any more
// for what it answered: port unreachable (RFC 792), with the head of that answer.
func (f frame) lateAnswer() bool {
	const head = 8 // of ICMP, as of UDP
	if f.proto != icmp4 || len(f.payload) < head || f.payload[0] != 3 || f.payload[1] != 3 {
		return false
	}
	answer := f.payload[head:]
	h, err := ipv4.ParseHeader(answer)
	if err != nil || h.Protocol != udp || len(answer) < h.Len+head {
		return false
	}
	from, _ := netip.AddrFromSlice(h.Src.To4())
	return from == f.dst && binary.BigEndian.Uint16(answer[h.Len:]) == 161
}

// Tags of PDUs by RFC 3416, section 3, and that of an encrypted one.
const (
	getRequest, getNext, setRequest, getBulk = 0xa0, 0xa1, 0xa3, 0xa5
	encrypted                                = 0x04
)

// pdu is the tag of the PDU in an SNMP message of any version (RFC 1157, 3416,
// 3412); 0 where it is no message.
func pdu(b []byte) byte {
	_, message, _ := tlv(b)
	_, version, rest := tlv(message)
	_, _, rest = tlv(rest) // community, or header of version 3
	if len(version) == 1 && version[0] == 3 {
		_, _, rest = tlv(rest) // security parameters
		tag, scoped, _ := tlv(rest)
		if tag == encrypted {
			return encrypted
		}
		_, _, rest = tlv(scoped) // engine
		_, _, rest = tlv(rest)   // context
	}
	tag, _, _ := tlv(rest)
	return tag
}

// tlv reads one value by BER; zero values where there is none.
func tlv(b []byte) (tag byte, value, rest []byte) {
	if len(b) < 2 {
		return 0, nil, nil
	}
	size, at := int(b[1]), 2
	if size > 0x80 {
		n := size & 0x7f
		if n > 3 || len(b) < 2+n {
			return 0, nil, nil
		}
		size = 0
		for _, x := range b[2 : 2+n] {
			size = size<<8 | int(x)
		}
		at += n
	}
	if len(b) < at+size {
		return 0, nil, nil
	}
	return b[0], b[at : at+size], b[at+size:]
}
