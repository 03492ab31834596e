package arp

import (
	"context"
	"fmt"
	"net"
	"net/netip"
	"time"
)

// attachment is an interface that is ready for ARP.
type attachment struct {
	ifi     *net.Interface
	mac     [6]byte
	sender  netip.Addr
	own     []netip.Addr // all IPv4 addresses of the interface
	changes uint32       // of its carrier until now
}

// await waits at most wait for the interface to be ready with an address in
// prefix. With the zero Prefix any or no address will do.
func await(ctx context.Context, iface string, prefix netip.Prefix, wait time.Duration) (attachment, error) {
	for until := time.Now().Add(wait); ; {
		at, err := attach(iface, prefix)
		if err == nil || !time.Now().Before(until) {
			return at, err
		}
		if err := pause(ctx, 250*time.Millisecond); err != nil {
			return attachment{}, err
		}
	}
}

func attach(iface string, prefix netip.Prefix) (attachment, error) {
	ifi, err := net.InterfaceByName(iface)
	if err != nil {
		return attachment{}, fmt.Errorf("%w: no interface of that name: %w", ErrNotRun, err)
	}
	if ifi.Flags&net.FlagUp == 0 {
		return attachment{}, fmt.Errorf("%w: the interface is down", ErrNotRun)
	}
	on, changes, err := carrier(ifi)
	if err != nil {
		return attachment{}, err
	}
	if !on {
		return attachment{}, fmt.Errorf("%w: the interface has no carrier", ErrNotRun)
	}
	if len(ifi.HardwareAddr) != 6 || ifi.Flags&net.FlagLoopback != 0 {
		return attachment{}, fmt.Errorf("%w: the interface is no Ethernet", ErrNotRun)
	}
	addrs, err := ifi.Addrs()
	if err != nil {
		return attachment{}, fmt.Errorf("%w: its addresses: %w", ErrNotRun, err)
	}
	at := attachment{ifi: ifi, mac: [6]byte(ifi.HardwareAddr), changes: changes}
	for _, a := range addrs {
		p, err := netip.ParsePrefix(a.String())
		if err != nil || !p.Addr().Is4() {
			continue
		}
		at.own = append(at.own, p.Addr())
		if !at.sender.IsValid() && prefix.Contains(p.Addr()) {
			at.sender = p.Addr()
		}
	}
	if prefix.IsValid() && !at.sender.IsValid() {
		return attachment{}, fmt.Errorf("%w: the interface has no address in %s", ErrNotRun, prefix)
	}
	return at, nil
}

// held returns nil if the interface has kept its carrier since attach.
func (at attachment) held() error {
	on, changes, err := carrier(at.ifi)
	if err != nil {
		return err
	}
	if !on || changes != at.changes {
		return fmt.Errorf("%w: lost carrier on the way", ErrNotRun)
	}
	return nil
}
