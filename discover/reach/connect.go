package reach

import (
	"cmp"
	"context"
	"errors"
	"net"
	"net/netip"
	"syscall"
	"time"

	"golang.org/x/sync/errgroup"
)

// A PortState is how an attempt to connect ended.
type PortState string

// The states of a TCP port. Closed is an answer: the device is there.
const (
	Open        PortState = "open"
	Closed      PortState = "closed"      // refused by the device
	Silent      PortState = "silent"      // no answer in time
	Unreachable PortState = "unreachable" // a router, or our own machine, says so
	NotTried    PortState = ""            // stopped before its turn
)

// A Port is one TCP port of one address and what became of the attempt.
type Port struct {
	netip.AddrPort
	State PortState
	Delay time.Duration // until the answer; zero if there was none
	Seen  time.Time     // when it was tried
}

// ConnectOptions say how to connect. The zero value works.
type ConnectOptions struct {
	Rate    int           // attempts a second; zero means 20
	Timeout time.Duration // for each attempt; zero means 2 s
}

// A ConnectResult has a Port for each attempt asked for, in the same order.
type ConnectResult struct {
	Ports []Port
	End   string // complete, no-answer (nothing answered) or partial (stopped)
	Why   string // says more, unless End is complete
}

// mostAttempts bounds the connections under way at once.
const mostAttempts = 16

// Connect tries each of targets once: it connects, sends nothing and closes.
// It returns within a second after ctx ended.
func Connect(ctx context.Context, targets []netip.AddrPort, opts ConnectOptions) ConnectResult {
	r := ConnectResult{Ports: make([]Port, len(targets)), End: "complete"}
	for i, t := range targets {
		r.Ports[i].AddrPort = t
	}
	pace := newPace(cmp.Or(opts.Rate, defaultRate))
	dialer := net.Dialer{Timeout: cmp.Or(opts.Timeout, defaultTimeout)}
	var g errgroup.Group // not WithContext: one dead device ends no other's turn
	g.SetLimit(mostAttempts)
	for i := range r.Ports {
		if err := pause(ctx, pace.Reserve().Delay()); err != nil {
			r.End, r.Why = "partial", err.Error()
			break
		}
		g.Go(func() error {
			r.Ports[i].try(ctx, &dialer)
			return nil
		})
	}
	g.Wait() //nolint:errcheck // none of them fails
	if err := context.Cause(ctx); err != nil {
		r.End, r.Why = "partial", err.Error()
	} else if len(targets) > 0 && !r.answered() {
		r.End, r.Why = "no-answer", "no port answered"
	}
	return r
}

func (r ConnectResult) answered() bool {
	for _, p := range r.Ports {
		if p.State == Open || p.State == Closed {
			return true
		}
	}
	return false
}

func (p *Port) try(ctx context.Context, dialer *net.Dialer) {
	p.Seen = time.Now()
	conn, err := dialer.DialContext(ctx, "tcp", p.String())
	took := time.Since(p.Seen)
	switch {
	case err == nil:
		conn.Close()
		p.State, p.Delay = Open, took
	case ctx.Err() != nil:
		p.State = NotTried // it may have answered yet
	case errors.Is(err, syscall.ECONNREFUSED), errors.Is(err, syscall.ECONNRESET):
		p.State, p.Delay = Closed, took
	case errors.Is(sentinel(err), ErrNoAnswer):
		p.State = Silent
	default:
		p.State = Unreachable
	}
}
