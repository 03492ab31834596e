package arp

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/netip"
	"os"
	"strings"
	"syscall"
	"time"

	"github.com/mdlayher/ethernet"
	"github.com/mdlayher/packet"
	"golang.org/x/time/rate"
)

// Sweep asks for the addresses of opts.Prefix on the interface named iface and
// returns when the window after the last request has passed. The error matches
// ErrNotRun where the network could not be looked at, os.ErrPermission without
// the right to open a raw socket, and the cause of ctx where that ended it; the
// Result then holds what was seen until then and is not complete.
func Sweep(ctx context.Context, iface string, opts Options) (Result, error) {
	hosts, err := newSpan(opts.Prefix)
	if err != nil {
		return Result{}, err
	}
	at, err := await(ctx, iface, opts.Prefix, opts.Wait)
	if err != nil {
		return Result{}, fmt.Errorf("sweep %s on %s: %w", opts.Prefix, iface, err)
	}
	return ask(ctx, at, hosts, opts)
}

// Foreign is Sweep for a prefix that the interface has no address in, such as
// the range that gear comes with from its factory. Requests carry the
// interface's first address: hosts answer such, unless they check by their
// routes where it comes from, so that silence proves nothing.
func Foreign(ctx context.Context, iface string, opts Options) (Result, error) {
	hosts, err := newSpan(opts.Prefix)
	if err != nil {
		return Result{}, err
	}
	at, err := await(ctx, iface, netip.Prefix{}, opts.Wait)
	if err == nil && len(at.own) == 0 {
		err = fmt.Errorf("%w: the interface has no address", ErrNotRun)
	}
	if err != nil {
		return Result{}, fmt.Errorf("sweep %s on %s: %w", opts.Prefix, iface, err)
	}
	at.sender = at.own[0]
	return ask(ctx, at, hosts, opts)
}

// ask sweeps the hosts from an interface that is ready.
func ask(ctx context.Context, at attachment, hosts span, opts Options) (Result, error) {
	hosts.leave(at.own...)
	hosts.leave(opts.Skip...)
	s := sweep{
		opts:   opts,
		at:     at,
		hosts:  hosts,
		pace:   newPace(cmp.Or(opts.Rate, defaultRate)),
		found:  newCollector(hosts, cmp.Or(opts.MaxReplies, 2*hosts.size+1024)),
		gap:    max(opts.Gap, leastGap),
		window: max(opts.Window, leastWindow),
	}
	s.found.own, s.found.ignore = at.mac, opts.Ignore
	err := at.hear(ctx, s.found, s.send)
	r := s.found.result()
	r.Sender = at.sender
	if err != nil {
		r.Why = err.Error()
		return r, fmt.Errorf("sweep %s on %s: %w", opts.Prefix, at.ifi.Name, err)
	}
	r.Why = r.shortcoming()
	r.Complete = r.Why == ""
	return r, nil
}

// shortcoming says what keeps r from being complete, or nothing.
func (r Result) shortcoming() string {
	var why []string
	if n := len(r.NotAsked); n > 0 {
		why = append(why, fmt.Sprintf("addresses that could not be asked: %d", n))
	}
	if r.Drops > 0 {
		why = append(why, fmt.Sprintf("the kernel dropped %d frames", r.Drops))
	}
	if r.Overflow > 0 {
		why = append(why, fmt.Sprintf("too many senders: %d frames beyond the bound were not kept", r.Overflow))
	}
	return strings.Join(why, "; ")
}

// sweep is the sending side of one Sweep.
type sweep struct {
	opts        Options
	at          attachment
	hosts       span
	pace        *rate.Limiter
	found       *collector
	gap, window time.Duration
	sent, total int
}

// newPace allows perSecond events a second. Above 100 a second it allows bursts
// of 10 ms, since timers are no finer than that everywhere.
func newPace(perSecond int) *rate.Limiter {
	return rate.NewLimiter(rate.Limit(perSecond), max(1, perSecond/100))
}

// send sends all requests: every address once, the planned ones a second time,
// and a third time where that is of use.
func (s *sweep) send(ctx context.Context, conn *packet.Conn) error {
	planned := s.hosts.offsets(s.opts.Planned)
	for i := range s.hosts.offsets(s.opts.LeaveAlone) {
		delete(planned, i)
	}
	var first, again []int
	for i, left := range s.hosts.left {
		if left {
			continue
		}
		first = append(first, i)
		if planned[i] {
			again = append(again, i)
		}
	}
	s.total = len(first) + len(again)
	targets := first
	for try := 1; try <= mostTries && len(targets) > 0; try++ {
		if try == mostTries {
			targets = s.doubtful(again)
			s.total += len(targets)
		}
		if err := s.ask(ctx, conn, targets); err != nil {
			return err
		}
		targets = again
		if err := pause(ctx, s.gap); err != nil {
			return err
		}
	}
	return pause(ctx, s.window-s.gap)
}

// doubtful returns those of targets that no MAC or several MACs answered for.
func (s *sweep) doubtful(targets []int) []int {
	var out []int
	for _, i := range targets {
		if s.found.macs(i) != 1 {
			out = append(out, i)
		}
	}
	return out
}

func (s *sweep) ask(ctx context.Context, conn *packet.Conn, targets []int) error {
	for _, i := range targets {
		if err := pause(ctx, s.pace.Reserve().Delay()); err != nil {
			return err
		}
		frame, err := appendRequest(s.at.mac, s.at.sender, s.hosts.addr(i))
		if err != nil {
			return err
		}
		s.found.ask(i)
		err = write(ctx, conn, frame)
		if errors.Is(err, syscall.ENOBUFS) || errors.Is(err, os.ErrDeadlineExceeded) {
			s.found.unask(i) // the interface's queue stays full
			continue
		}
		if err != nil {
			s.found.unask(i)
			return err
		}
		s.sent++
		if s.opts.Progress != nil {
			s.opts.Progress(s.sent, s.total)
		}
	}
	return nil
}

// write sends one frame to the broadcast address. It tries for a second while
// the interface's queue is full.
func write(ctx context.Context, conn *packet.Conn, frame []byte) error {
	deadline := time.Now().Add(time.Second)
	for {
		if err := conn.SetWriteDeadline(deadline); err != nil {
			return err
		}
		if err := context.Cause(ctx); err != nil {
			return err
		}
		_, err := conn.WriteTo(frame, &packet.Addr{HardwareAddr: ethernet.Broadcast})
		if !errors.Is(err, syscall.ENOBUFS) || time.Now().After(deadline) {
			return lost(err)
		}
		if err := pause(ctx, 10*time.Millisecond); err != nil {
			return err
		}
	}
}

// lost marks the errors of a socket whose interface is gone or down.
func lost(err error) error {
	if errors.Is(err, syscall.ENETDOWN) || errors.Is(err, syscall.ENXIO) || errors.Is(err, syscall.ENODEV) {
		return fmt.Errorf("%w: lost the interface: %w", ErrNotRun, err)
	}
	return err
}

// pause waits for d, or until ctx ends and then returns its cause.
func pause(ctx context.Context, d time.Duration) error {
	if d <= 0 {
		return nil
	}
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return context.Cause(ctx)
	case <-t.C:
		return nil
	}
}
