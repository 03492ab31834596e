package wsd

import (
	"cmp"
	"context"
	"errors"
	"net/netip"
	"slices"
	"time"

	"boundwalk/discover/multicast"

	"golang.org/x/sync/errgroup"
)

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
	conn, within, err := multicast.Open(ctx, iface, q.ttl)
	if err != nil {
		return Counts{End: "skipped", Why: err.Error()}
	}
	defer conn.Close()
	var counts Counts
	sent := 0
	g, gctx := errgroup.WithContext(ctx)
	reading, stop := context.WithCancel(gctx)
	g.Go(func() error {
		return multicast.Read(reading, conn, 1<<16, func(b []byte, from netip.Addr) {
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
			if err := multicast.Send(conn, q.packet, q.group); err != nil {
				return err
			}
			sent++
			if i == len(q.gaps) {
				break
			}
			if err := multicast.Pause(gctx, q.gaps[i]); err != nil {
				return err
			}
		}
		return multicast.Pause(gctx, cmp.Or(opts.Window, defaultWindow))
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
