package wsd

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"slices"
	"time"

	"golang.org/x/net/ipv4"
	"golang.org/x/sync/errgroup"
)

// mostBytes bounds what is read in all.
const mostBytes = 4 << 20

// errUnrelated is returned by a parser for an answer to another question.
var errUnrelated = errors.New("answer to another question")

// question is one multicast packet that is sent again after each of gaps.
type question struct {
	group  netip.AddrPort
	ttl    int
	packet []byte
	gaps   []time.Duration
}

// exchange asks q on an interface and gives each datagram that comes back from
// the link to take, in one goroutine. Counts.End is empty if all went well.
func exchange(ctx context.Context, iface string, q question, opts Options, take func([]byte, netip.Addr, time.Time) error) Counts {
	conn, within, err := open(ctx, iface, q.ttl)
	if err != nil {
		return Counts{End: "skipped", Why: err.Error()}
	}
	defer conn.Close()
	var counts Counts
	sent := 0
	g, gctx := errgroup.WithContext(ctx)
	reading, stop := context.WithCancel(gctx)
	g.Go(func() error {
		return read(reading, conn, func(b []byte, from netip.Addr) {
			holds := func(p netip.Prefix) bool { return p.Contains(from) }
			switch {
			case !slices.ContainsFunc(within, holds):
				counts.Foreign++
			case slices.ContainsFunc(opts.Ignore, holds):
				counts.Ignored++
			default:
				counts.tally(take(b, from, time.Now()))
			}
		})
	})
	g.Go(func() error {
		defer stop()
		for i := 0; ; i++ {
			if err := conn.SetWriteDeadline(time.Now().Add(time.Second)); err != nil {
				return err
			}
			if _, err := conn.WriteTo(q.packet, net.UDPAddrFromAddrPort(q.group)); err != nil {
				return fmt.Errorf("ask %s: %w", q.group, err)
			}
			sent++
			if i == len(q.gaps) {
				break
			}
			if err := pause(gctx, q.gaps[i]); err != nil {
				return err
			}
		}
		return pause(gctx, cmp.Or(opts.Window, defaultWindow))
	})
	err = g.Wait()
	counts.Sent = sent
	if err != nil {
		counts.End, counts.Why = "partial", err.Error()
	}
	return counts
}

func (c *Counts) tally(err error) {
	switch {
	case errors.Is(err, errUnrelated):
		c.Unrelated++
	case err != nil:
		c.Malformed++
	}
}

// pause waits for d, or until ctx ends and then returns its cause.
func pause(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return context.Cause(ctx)
	case <-t.C:
		return nil
	}
}

// open returns a socket on a port of its own that sends multicast by iface, and
// the IPv4 networks of iface.
func open(ctx context.Context, iface string, ttl int) (net.PacketConn, []netip.Prefix, error) {
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

// read gives datagrams to take until ctx ends or too much was read.
func read(ctx context.Context, conn net.PacketConn, take func([]byte, netip.Addr)) error {
	release := context.AfterFunc(ctx, func() { conn.SetReadDeadline(time.Unix(1, 0)) })
	defer release()
	buf := make([]byte, 1<<16)
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
