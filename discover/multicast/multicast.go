// Package multicast holds what the sources that ask by IPv4 multicast share: a
// socket on one interface, reading until a context ends, and pausing.
package multicast

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"time"

	"golang.org/x/net/ipv4"
)

// mostBytes bounds what one Read takes in all.
const mostBytes = 4 << 20

// Open returns a socket on a port of its own that sends multicast by the interface,
// and the IPv4 networks of the interface. It does not hear what it sends itself.
func Open(ctx context.Context, iface string, ttl int) (net.PacketConn, []netip.Prefix, error) {
	ifi, err := net.InterfaceByName(iface)
	if err != nil {
		return nil, nil, fmt.Errorf("interface %s: %w", iface, err)
	}
	if ifi.Flags&net.FlagUp == 0 {
		return nil, nil, fmt.Errorf("interface %s is down", iface)
	}
	addrs, err := ifi.Addrs()
	if err != nil {
		return nil, nil, fmt.Errorf("interface %s: its addresses: %w", iface, err)
	}
	var within []netip.Prefix
	for _, a := range addrs {
		if p, err := netip.ParsePrefix(a.String()); err == nil && p.Addr().Is4() {
			within = append(within, p)
		}
	}
	if len(within) == 0 {
		return nil, nil, fmt.Errorf("interface %s has no IPv4 address", iface)
	}
	var lc net.ListenConfig
	conn, err := lc.ListenPacket(ctx, "udp4", netip.AddrPortFrom(within[0].Addr(), 0).String())
	if err != nil {
		return nil, nil, err
	}
	pc := ipv4.NewPacketConn(conn)
	if err := errors.Join(pc.SetMulticastInterface(ifi), pc.SetMulticastTTL(ttl), pc.SetMulticastLoopback(false)); err != nil {
		conn.Close()
		return nil, nil, fmt.Errorf("multicast on %s: %w", iface, err)
	}
	return conn, within, nil
}

// Send sends one datagram to the group.
func Send(conn net.PacketConn, packet []byte, group netip.AddrPort) error {
	if err := conn.SetWriteDeadline(time.Now().Add(time.Second)); err != nil {
		return err
	}
	if _, err := conn.WriteTo(packet, net.UDPAddrFromAddrPort(group)); err != nil {
		return fmt.Errorf("ask %s: %w", group, err)
	}
	return nil
}

// Read gives datagrams of at most largest octets to take until ctx ends, which is
// no error, or more than 4 MiB came. What take gets is valid until it returns.
func Read(ctx context.Context, conn net.PacketConn, largest int, take func(b []byte, from netip.Addr)) error {
	release := context.AfterFunc(ctx, func() { conn.SetReadDeadline(time.Unix(1, 0)) })
	defer release()
	buf := make([]byte, largest)
	for bytes := 0; bytes < mostBytes; {
		if err := conn.SetReadDeadline(time.Now().Add(time.Second)); err != nil {
			return err
		}
		if ctx.Err() != nil { // after the deadline is set, so that none is missed
			return nil
		}
		n, from, err := conn.ReadFrom(buf)
		if ne, ok := errors.AsType[net.Error](err); ok && ne.Timeout() {
			continue
		}
		if err != nil {
			return fmt.Errorf("read answers: %w", err)
		}
		bytes += n
		if u, ok := from.(*net.UDPAddr); ok {
			take(buf[:n], u.AddrPort().Addr().Unmap())
		}
	}
	return fmt.Errorf("more than %d MiB of answers", mostBytes>>20)
}

// Pause waits for d, or until ctx ends and then returns its cause.
func Pause(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return context.Cause(ctx)
	case <-t.C:
		return nil
	}
}
