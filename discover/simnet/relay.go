package simnet

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"slices"
	"sync"
	"sync/atomic"
	"time"
)

// Relay passes datagrams on to a target and the answers back, each after a
// delay, as a long or slow link would.
type Relay struct {
	Target netip.AddrPort
	Delay  time.Duration // each way; 0: none

	requests, answers atomic.Int64
}

// Passed tells how many datagrams came from clients and from the target.
func (r *Relay) Passed() (requests, answers int) {
	return int(r.requests.Load()), int(r.answers.Load())
}

// Serve relays what arrives on conn until ctx is done, and then returns nil. It
// leaves conn open, with a read deadline in the past. Each client address gets
// a socket of its own towards the target.
func (r *Relay) Serve(ctx context.Context, conn net.PacketConn) error {
	ctx, cancel := context.WithCancel(ctx)
	there, back := newLine(), newLine()
	var lines, readers sync.WaitGroup
	lines.Go(func() { there.run(ctx) })
	lines.Go(func() { back.run(ctx) })
	clients := make(map[string]*net.UDPConn)
	defer func() {
		cancel()
		for _, up := range clients {
			up.Close()
		}
		readers.Wait()
		close(there)
		close(back)
		lines.Wait()
	}()
	var failed error
	err := readPackets(ctx, conn, func(b []byte, from net.Addr) {
		r.requests.Add(1)
		up := clients[from.String()]
		if up == nil {
			var err error
			if up, err = net.DialUDP("udp", nil, net.UDPAddrFromAddrPort(r.Target)); err != nil {
				failed = fmt.Errorf("relay to %s: %w", r.Target, err)
				cancel()
				return
			}
			clients[from.String()] = up
			readers.Go(func() { r.bring(up, conn, from, back) })
		}
		out := slices.Clone(b)
		there.put(r.Delay, func() { up.Write(out) }) // an error is a lost datagram
	})
	if failed != nil {
		return failed
	}
	return err
}

// bring passes answers back until up is closed.
func (r *Relay) bring(up *net.UDPConn, conn net.PacketConn, to net.Addr, back line) {
	buf := make([]byte, 1<<16)
	for {
		n, err := up.Read(buf)
		switch {
		case err == nil:
			r.answers.Add(1)
			out := slices.Clone(buf[:n])
			back.put(r.Delay, func() { conn.WriteTo(out, to) })
		case errors.Is(err, net.ErrClosed):
			return
		}
		// Else the target refused by ICMP, which a connected socket reports at the
		// next read: a lost datagram.
	}
}
