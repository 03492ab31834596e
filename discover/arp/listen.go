package arp

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"time"

	"github.com/mdlayher/packet"
	"golang.org/x/sync/errgroup"
)

// ListenOptions say how to listen. The zero value works.
type ListenOptions struct {
	// Ignore lists networks whose senders are kept apart, and not told to Each.
	Ignore []netip.Prefix

	// Most bounds the senders that are kept; zero means 4,096. Beyond it
	// frames are only counted, in Result.Overflow.
	Most int

	// Each, if set, is told of a sender when it is first heard. It is called
	// from one goroutine at a time and must return quickly.
	Each func(Reply)
}

// Listen hears ARP on the interface named iface until ctx ends, which is no
// error, and sends nothing. All it heard is in Result.Heard. It is meant to be
// called again for each time between two sweeps, so that nothing grows. Errors
// are those of Sweep; the Result holds what was heard until then.
func Listen(ctx context.Context, iface string, opts ListenOptions) (Result, error) {
	at, err := attach(iface, netip.Prefix{})
	if err != nil {
		return Result{}, fmt.Errorf("listen on %s: %w", iface, err)
	}
	c := newCollector(span{}, 0)
	c.own, c.ignore, c.each = at.mac, opts.Ignore, opts.Each
	c.mostHeard = cmp.Or(opts.Most, mostHeard)
	err = at.hear(ctx, c, func(ctx context.Context, _ *packet.Conn) error {
		<-ctx.Done()
		return context.Cause(ctx)
	})
	r := c.result()
	if err != nil && !errors.Is(err, context.Cause(ctx)) {
		r.Why = err.Error()
		return r, fmt.Errorf("listen on %s: %w", iface, err)
	}
	r.Why = r.shortcoming()
	r.Complete = r.Why == ""
	return r, nil
}

// hear opens a raw socket, feeds every frame to c while send runs, and closes
// it. It fails with ErrNotRun if the interface was lost in between, even if it
// is back.
func (at attachment) hear(ctx context.Context, c *collector, send func(context.Context, *packet.Conn) error) error {
	conn, err := open(at.ifi)
	if err != nil {
		return err
	}
	defer conn.Close()
	g, ctx := errgroup.WithContext(ctx)
	reading, stop := context.WithCancel(ctx)
	g.Go(func() error { return read(reading, conn, c) })
	g.Go(func() error {
		defer stop()
		return send(ctx, conn)
	})
	err = g.Wait()
	if stats, serr := conn.Stats(); serr == nil {
		c.counts.Drops = int(stats.Drops)
	}
	if err != nil {
		return err
	}
	return at.held()
}

// read feeds frames to c until ctx ends. Each read has a deadline, so that it
// ends also where nothing comes any more. A bad frame never ends it.
func read(ctx context.Context, conn *packet.Conn, c *collector) error {
	release := context.AfterFunc(ctx, func() { conn.SetReadDeadline(time.Unix(1, 0)) })
	defer release()
	buf := make([]byte, 2048)
	for {
		if err := conn.SetReadDeadline(time.Now().Add(time.Second)); err != nil {
			return lost(err)
		}
		if ctx.Err() != nil { // after the deadline is set, so that none is missed
			return nil
		}
		n, _, err := conn.ReadFrom(buf)
		if ne, ok := errors.AsType[net.Error](err); ok && ne.Timeout() {
			continue
		}
		if err != nil {
			return lost(err)
		}
		c.add(buf[:n], time.Now())
	}
}
