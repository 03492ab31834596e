package arp

import (
	"fmt"
	"net"

	"github.com/jsimonetti/rtnetlink/v2"
	"github.com/mdlayher/packet"
	"golang.org/x/sys/unix"
)

// open opens a raw socket for ARP frames with a large receive buffer.
func open(ifi *net.Interface) (*packet.Conn, error) {
	conn, err := packet.Listen(ifi, packet.Raw, unix.ETH_P_ARP, nil)
	if err != nil {
		return nil, lost(err)
	}
	raw, err := conn.SyscallConn()
	if err == nil {
		// Only an attempt: what is lost for want of it is counted as drops.
		// The first needs CAP_NET_ADMIN, the second is capped by the kernel.
		err = raw.Control(func(fd uintptr) {
			if unix.SetsockoptInt(int(fd), unix.SOL_SOCKET, unix.SO_RCVBUFFORCE, receiveBuffer) != nil {
				_ = unix.SetsockoptInt(int(fd), unix.SOL_SOCKET, unix.SO_RCVBUF, receiveBuffer)
			}
		})
	}
	if err != nil {
		conn.Close()
		return nil, err
	}
	return conn, nil
}

// carrier reports whether the interface has a carrier, and how often it has
// lost or found one. The RUNNING flag would lag behind by up to a second.
func carrier(ifi *net.Interface) (on bool, changes uint32, err error) {
	conn, err := rtnetlink.Dial(nil)
	if err != nil {
		return false, 0, fmt.Errorf("netlink: %w", err)
	}
	defer conn.Close()
	link, err := conn.Link.Get(uint32(ifi.Index))
	if err != nil {
		return false, 0, fmt.Errorf("%w: state of the interface: %w", ErrNotRun, err)
	}
	on = ifi.Flags&net.FlagRunning != 0
	if a := link.Attributes; a != nil {
		if a.Carrier != nil {
			on = *a.Carrier != 0
		}
		if a.CarrierChanges != nil {
			changes = *a.CarrierChanges
		}
	}
	return on, changes, nil
}
