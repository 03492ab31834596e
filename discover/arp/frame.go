package arp

import (
	"errors"
	"fmt"
	"net/netip"

	"github.com/mdlayher/arp"
	"github.com/mdlayher/ethernet"
)

// errMalformed is returned for a frame that is no ARP packet for IPv4 over
// Ethernet, or that states impossible addresses.
var errMalformed = errors.New("malformed ARP frame")

// message is what one valid frame says.
type message struct {
	source  [6]byte // of the Ethernet header
	mac     [6]byte
	addr    netip.Addr // zero for 0.0.0.0
	target  netip.Addr
	request bool
}

// parse decodes an Ethernet frame with an ARP packet as described in RFC 826.
// Padding behind the packet is ignored. The codec takes any lengths and
// operations, so those are checked here.
func parse(b []byte) (message, error) {
	var frame ethernet.Frame
	if err := frame.UnmarshalBinary(b); err != nil {
		return message{}, fmt.Errorf("%w: %w", errMalformed, err)
	}
	if frame.EtherType != ethernet.EtherTypeARP {
		return message{}, fmt.Errorf("%w: ethertype %#04x", errMalformed, uint16(frame.EtherType))
	}
	var p arp.Packet
	if err := p.UnmarshalBinary(frame.Payload); err != nil {
		return message{}, fmt.Errorf("%w: %w", errMalformed, err)
	}
	if p.HardwareType != 1 || p.ProtocolType != uint16(ethernet.EtherTypeIPv4) || p.HardwareAddrLength != 6 || p.IPLength != 4 {
		return message{}, fmt.Errorf("%w: hardware type %d length %d, protocol %#04x length %d",
			errMalformed, p.HardwareType, p.HardwareAddrLength, p.ProtocolType, p.IPLength)
	}
	if p.Operation != arp.OperationRequest && p.Operation != arp.OperationReply {
		return message{}, fmt.Errorf("%w: operation %d", errMalformed, p.Operation)
	}
	m := message{
		source:  [6]byte(frame.Source),
		mac:     [6]byte(p.SenderHardwareAddr),
		target:  p.TargetIP,
		request: p.Operation == arp.OperationRequest,
	}
	if m.mac[0]&1 != 0 || m.mac == [6]byte{} {
		return message{}, fmt.Errorf("%w: sender MAC %x", errMalformed, m.mac)
	}
	if p.SenderIP.IsUnspecified() {
		return m, nil
	}
	if !unicast(p.SenderIP) {
		return message{}, fmt.Errorf("%w: sender address %s", errMalformed, p.SenderIP)
	}
	m.addr = p.SenderIP
	return m, nil
}

// unicast reports whether a host may own the IPv4 address a: it is not in
// 0.0.0.0/8 (RFC 1122), 127.0.0.0/8, 224.0.0.0/4 or 240.0.0.0/4 (RFC 1112).
func unicast(a netip.Addr) bool {
	first := a.As4()[0]
	return first != 0 && first != 127 && first < 224
}

// appendRequest returns the frame of a request for target, padded to the
// Ethernet minimum.
func appendRequest(mac [6]byte, sender, target netip.Addr) ([]byte, error) {
	// RFC 826 leaves the target hardware address open; zero is what hosts send.
	p, err := arp.NewPacket(arp.OperationRequest, mac[:], sender, make([]byte, 6), target)
	if err != nil {
		return nil, err
	}
	payload, err := p.MarshalBinary()
	if err != nil {
		return nil, err
	}
	frame := ethernet.Frame{
		Destination: ethernet.Broadcast,
		Source:      mac[:],
		EtherType:   ethernet.EtherTypeARP,
		Payload:     payload,
	}
	return frame.MarshalBinary()
}
